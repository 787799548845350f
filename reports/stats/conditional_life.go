package stats

import (
	"math"
	"runtime"
	"slices"
)

// ConditionalKm is the distance by which a pair that is sound now fails with a
// given probability.
type ConditionalKm struct {
	Km   Float `json:"km"`
	Low  Float `json:"low"`
	High Float `json:"high"`
	// Why says why High is undefined.
	Why string `json:"why,omitempty"`
}

// ConditionalQuantile returns the distance x by which a pair sound at km has
// failed with probability risk, 1 − S(x)/S(km) = risk:
//
//	x = η [(km/η)^β − log(1 − risk)]^{1/β}
//
// with limits at the level of the fit by the delta method on log(x − km), so
// that they stay beyond km. At km 0 it is Quantile.
//
// Errors: ErrBadInput for a negative km or a risk outside (0, 1);
// ErrNotReached where x is beyond any number.
//
// Source: Meeker WQ, Escobar LA (1998) Statistical Methods for Reliability
// Data, Wiley, ch. 8 (the delta method on a function of the fit).
func (w *Weibull) ConditionalQuantile(km, risk float64) (*ConditionalKm, error) {
	if err := checkConditional(km, risk); err != nil {
		return nil, err
	}
	// With q = −log(1 − risk): log x = μ + σ log A, A = (km/η)^β + q.
	z := (math.Log(km) - w.Mu) / w.Sigma
	e, ze := math.Exp(z), 0.0
	if e > 0 {
		ze = z * e
	}
	a := e - math.Log1p(-risk)
	at := math.Exp(w.Mu + w.Sigma*math.Log(a))
	if math.IsInf(at, 1) || !(at > km) {
		return nil, ErrNotReached
	}
	scale := at / (at - km) // from d log x to d log(x − km)
	dMu := scale * (1 - e/a)
	dLogSigma := scale * w.Sigma * (math.Log(a) - ze/a)
	v := dMu*dMu*w.VCov[0][0] + 2*dMu*dLogSigma*w.VCov[0][1] + dLogSigma*dLogSigma*w.VCov[1][1]
	low, high := limitsOfLog(math.Log(at-km), normalCritical(w.conf)*math.Sqrt(v))
	c := &ConditionalKm{Km: Some(at), Low: Some(km + low.V)} // nearer to km than a number tells: km
	if high.OK {
		c.High = Some(km + high.V)
	}
	if !c.High.OK {
		c.Why = "high: " + beyondNumbers
	}
	return c, nil
}

// ConditionalBracket holds the distances between which a pair that is sound now
// reaches a given probability of failing: not before Left, certainly by Right.
type ConditionalBracket struct {
	Left  Float `json:"left"`
	Right Float `json:"right"`
	// Why says why Right is undefined.
	Why string `json:"why,omitempty"`
}

// ConditionalQuantile returns the ends of the support between which a pair sound
// at km has failed with probability risk. Where km lies inside a support
// interval, S(km) is between the values at its ends, and the bracket holds the
// answers under both. Right is undefined where the data end first.
//
// Errors: ErrBadInput for a negative km or a risk outside (0, 1).
func (l *Life) ConditionalQuantile(km, risk float64) (*ConditionalBracket, error) {
	if err := checkConditional(km, risk); err != nil {
		return nil, err
	}
	before, now := 1.0, 1.0
	for _, m := range l.Support {
		switch {
		case m.Right.OK && m.Right.V <= km:
			before -= m.Mass
			now -= m.Mass
		case m.Left < km:
			now -= m.Mass
		}
	}
	const slack = 1e-12 // shares are sums of masses
	var b ConditionalBracket
	sound := 1.0
	for _, m := range l.Support {
		sound -= m.Mass
		if !b.Left.OK && sound <= (1-risk)*before+slack {
			b.Left = Some(max(m.Left, km))
		}
		if !b.Right.OK && sound <= (1-risk)*now+slack && m.Right.OK {
			b.Right = Some(max(m.Right.V, km))
		}
	}
	if now <= slack || !b.Left.OK || !b.Right.OK {
		b.Right, b.Why = None, ErrNotReached.Detail
	}
	return &b, nil
}

func checkConditional(km, risk float64) error {
	if !(km >= 0) || math.IsInf(km, 1) {
		return badInput("km is %v, must be 0 or more", km)
	}
	if !(risk > 0 && risk < 1) {
		return badInput("risk is %v, must lie between 0 and 1", risk)
	}
	return nil
}

// SurvivalAt returns the share still sound at t; mass inside a support interval
// counts at its right end.
func (l *Life) SurvivalAt(t float64) float64 {
	s := 1.0
	for _, p := range l.Curve {
		if p.Time > t {
			break
		}
		s = p.SurvLow
	}
	return s
}

// LifeBand resamples pairs and returns percentile limits of the share still
// sound at each distance of at. Resamples without an estimate are skipped.
//
// Where most pairs were looked at once the bootstrap has no limit law, though
// in the middle of the curve it errs to the wide side: CurrentStatusLimits is
// for those.
//
// Errors as NPMLE and Resampled.
//
// Source: Efron B, Tibshirani RJ (1993) An Introduction to the Bootstrap.
func LifeBand(x []Interval, at []float64, replicates int, seed uint64, conf float64) ([]BandPoint, error) {
	x, err := tidyIntervals(x)
	if err != nil {
		return nil, err
	}
	weights := make([]int, len(x))
	for i := range x {
		weights[i] = x[i].N
	}
	bounds := newBounds(x)
	limits, err := resampledEach(weights, replicates, seed, conf, len(at), runtime.GOMAXPROCS(0), func() evaluation {
		var m massProblem
		var surv []float64 // before each innermost interval and beyond them all
		return func(weights []int, sound []float64) bool {
			m.load(bounds, weights)
			m.start()
			if _, _, ok := m.maximise(); !ok {
				return false
			}
			surv = resized(surv, len(m.mass)+1)
			for j, s := range slices.Backward(m.mass) {
				surv[j] = surv[j+1] + s
			}
			surv[0] = 1
			for i, t := range at {
				ended, _ := slices.BinarySearchFunc(m.inner, t, func(b innermost, t float64) int {
					if bounds.ends[b.right].at <= t {
						return -1
					}
					return 1
				})
				sound[i] = surv[ended]
			}
			return true
		}
	})
	if err != nil {
		return nil, err
	}
	band := make([]BandPoint, len(at))
	for i, t := range at {
		band[i] = BandPoint{t, limits[i].Low, limits[i].High}
	}
	return band, nil
}
