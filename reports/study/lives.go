package study

import (
	"fmt"
	"math"
	"math/rand/v2"

	"solewright/reports/stats"
)

const (
	whyNormal    = "the law of the estimate is that of large samples, on the scale of the interval"
	whyPlain     = "plain limits are symmetric, the estimate is not"
	whyWald      = "Wald limits lean on the curvature at the maximum alone; with few events they are short"
	whyRatio     = "the likelihood ratio follows chi-square only in large samples"
	pageKM       = "log-log limits are the ones drawn"
	pageRatio    = "likelihood-ratio limits are shown beside, and preferred below 50 events"
	pageEvents   = "the number of events stands beside the interval; below 20 pairs it is greyed"
	pageNext     = "the table of next checks uses the estimate on its early side, never beyond the data"
	whyBrookmey  = "the limits of the median fall on failures: discrete"
	pageBrookmey = "the curve with its limits stands beside the median"
)

// The distances that the life scenarios ask about, in km, and the risk of the
// next check.
const (
	askEarly = 500
	askLate  = 800
	horizon  = 800
	soundKM  = 400
	nextRisk = 0.2
)

// lives are the intervals and tests of right-censored lives.
func lives() []Scenario {
	few := rightCensored(50)
	few = few.strays(1, 0.935, 0.96, whyNormal, pageKM).strays(2, 0.92, 0.96, whyNormal, pageKM).strays(3, 0.92, 0.96, whyPlain, pageKM).
		strays(4, 0.93, 0.97, whyNormal, pageKM).strays(5, 0.91, 0.97, whyNormal, pageKM).strays(6, 0.89, 0.96, whyPlain, pageKM).
		strays(7, 0.93, 0.97, whyBrookmey, pageBrookmey).strays(8, 0.92, 0.96, whyNormal, pageEvents)
	many := rightCensored(200)
	many = many.strays(2, 0.935, 0.96, whyNormal, pageKM).strays(3, 0.935, 0.96, whyPlain, pageKM).
		strays(4, 0.94, 0.96, whyNormal, pageKM).strays(5, 0.93, 0.96, whyNormal, pageKM).strays(6, 0.93, 0.96, whyPlain, pageKM).
		strays(7, 0.94, 0.965, whyBrookmey, pageBrookmey).strays(8, 0.935, 0.96, whyNormal, pageEvents)
	first := len(few.Claims) - len(weibullClaims())
	return []Scenario{
		few.parametricStrays(first, 0.92), many.parametricStrays(first, 0.94),
		logRank("2 groups of 40 pairs, a third censored", 2),
		logRank("3 groups of 40 pairs, a third censored", 3),
		meanDifference("2 groups of 60 pairs, a third censored").strays(1, 0.04, 0.07, whyNormal, pageEvents),
	}
}

// parametricStrays notes what is known against the Weibull intervals, from
// claim first on.
func (s Scenario) parametricStrays(first int, low float64) Scenario {
	for i := range weibullClaims() {
		why, page := whyWald, pageRatio
		switch {
		case i >= 4 && i < 8:
			why, page = whyRatio, pageEvents
		case i == 8:
			why, page = whyNormal, pageNext
		}
		s = s.strays(first+i+1, low, 0.965, why, page)
	}
	return s
}

// rightCensored draws lives that end or are censored between 300 and 1,200 km.
func rightCensored(n int) Scenario {
	claims := []Claim{}
	for _, t := range []int{askEarly, askLate} {
		for _, kind := range []stats.CurveCI{stats.LogLog, stats.Log, stats.Plain} {
			claims = append(claims, covers(fmt.Sprintf("Kaplan–Meier at %d km, %s", t, kind)))
		}
	}
	claims = append(claims, covers("Kaplan–Meier, median (Brookmeyer–Crowley)"), covers(fmt.Sprintf("restricted mean to %d km", horizon)))
	first := len(claims)
	claims = append(claims, weibullClaims()...)
	mean := life.mean(horizon)
	return Scenario{
		Part: "life", Data: fmt.Sprintf("%d lives, Weibull 2.5 and 700 km, censored evenly from 300 to 1,200 km", n), Claims: claims,
		Try: func(r *rand.Rand) ([]Outcome, error) {
			time, worn := censoredLives(r, n)
			exits, err := stats.Exits(time, worn, nil)
			if err != nil {
				return nil, err
			}
			out := make([]Outcome, first, len(claims))
			for k, kind := range []stats.CurveCI{stats.LogLog, stats.Log, stats.Plain} {
				km, err := stats.KaplanMeier(exits, stats.KMOptions{Conf: Conf, CI: kind})
				if err != nil {
					return nil, err
				}
				out[k], out[3+k] = curveAt(km, askEarly), curveAt(km, askLate)
				if kind == stats.LogLog {
					out[6] = covered(life.quantile(0.5), km.MedianLow, km.MedianHigh)
				}
			}
			if m, err := stats.RMST(exits, horizon, Conf); err == nil {
				out[7] = coveredBy(mean, m.Low, m.High)
			} else {
				out[7].None = true
			}
			upper := make([]float64, n)
			for i := range upper {
				upper[i] = time[i]
				if !worn[i] {
					upper[i] = math.Inf(1)
				}
			}
			fitted, err := weibullOutcomes(time, upper, nil)
			return append(out, fitted...), err
		},
	}
}

func censoredLives(r *rand.Rand, n int) (time []float64, worn []bool) {
	time, worn = make([]float64, n), make([]bool, n)
	for i := range time {
		t, c := life.draw(r), between(r, 300, 1200)
		time[i], worn[i] = math.Min(t, c), t <= c
	}
	return time, worn
}

// curveAt holds the limits of a Kaplan–Meier curve at t against the truth.
// Before the first failure and where the curve has ended there are none.
func curveAt(km *stats.KM, t float64) Outcome {
	at := -1
	for i, p := range km.Curve {
		if p.Time <= t {
			at = i
		}
	}
	if at < 0 {
		return Outcome{None: true}
	}
	return covered(life.sound(t), km.Curve[at].Low, km.Curve[at].High)
}

// weibullClaims are those of weibullOutcomes.
func weibullClaims() []Claim {
	var claims []Claim
	for _, by := range []string{"Wald", "likelihood ratio"} {
		for _, of := range []string{"shape", "scale", "B10", "B50"} {
			claims = append(claims, covers("Weibull "+of+", "+by))
		}
	}
	return append(claims, covers(fmt.Sprintf("Weibull, next distance of a pair sound at %d km", soundKM)))
}

// weibullOutcomes holds every limit of a Weibull fit against the truth.
func weibullOutcomes(lower, upper []float64, count []int) ([]Outcome, error) {
	x, err := stats.Intervals(lower, upper, count)
	if err != nil {
		return nil, err
	}
	w, err := stats.FitWeibull(x, Conf)
	if err != nil {
		return none(9, err)
	}
	next, err := w.ConditionalQuantile(soundKM, nextRisk)
	if err != nil {
		return none(9, err)
	}
	b10, b50 := life.quantile(0.1), life.quantile(0.5)
	return []Outcome{
		covered(life.shape, w.ShapeLow, w.ShapeHigh), covered(life.scale, w.ScaleLow, w.ScaleHigh),
		covered(b10, w.B10Low, w.B10High), covered(b50, w.B50Low, w.B50High),
		covered(life.shape, w.ShapeLRLow, w.ShapeLRHigh), covered(life.scale, w.ScaleLRLow, w.ScaleLRHigh),
		covered(b10, w.B10LRLow, w.B10LRHigh), covered(b50, w.B50LRLow, w.B50LRHigh),
		covered(life.next(soundKM, nextRisk), next.Low, next.High),
	}, nil
}

func logRank(data string, groups int) Scenario {
	s := Scenario{Part: "life", Data: data, Claims: []Claim{rejects("log-rank")}, Try: func(r *rand.Rand) ([]Outcome, error) {
		all := make([][]stats.Exit, groups)
		for g := range all {
			time, worn := censoredLives(r, 40)
			var err error
			if all[g], err = stats.Exits(time, worn, nil); err != nil {
				return nil, err
			}
		}
		t, err := stats.LogRank(all)
		if err != nil {
			return none(1, err)
		}
		return []Outcome{rejected(t.P)}, nil
	}}
	return s.strays(1, 0.045, 0.06, whyLargeSample, pageEvents)
}

func meanDifference(data string) Scenario {
	return Scenario{
		Part: "life", Data: data, Claims: []Claim{rejects("difference of restricted means")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			var means [2]*stats.RestrictedMean
			for g := range means {
				time, worn := censoredLives(r, 60)
				exits, err := stats.Exits(time, worn, nil)
				if err != nil {
					return nil, err
				}
				if means[g], err = stats.RMST(exits, horizon, Conf); err != nil {
					return none(1, err)
				}
			}
			d, err := stats.RMSTDifference(means[0], means[1], Conf)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{rejected(d.P)}, nil
		},
	}
}
