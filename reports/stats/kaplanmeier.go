package stats

import (
	"math"
	"strings"
)

// CurveCI names the scale on which a survival curve's intervals are made.
type CurveCI string

// The three scales in use. Log-log is this package's default: it stays
// inside 0–1 and covers best in small groups.
const (
	LogLog CurveCI = "log-log"
	Log    CurveCI = "log"
	Plain  CurveCI = "plain"
)

// KMOptions says what KaplanMeier reports beside the curve.
type KMOptions struct {
	// Conf is the confidence level of every interval.
	Conf float64
	// CI is the scale of the intervals; empty means LogLog.
	CI CurveCI
	// Tau is the horizon of the restricted mean; 0 leaves the mean out.
	Tau float64
}

// KMPoint is the Kaplan–Meier curve from Time, a distance with at least one
// event, up to the next one.
type KMPoint struct {
	Time   float64 `json:"time"`
	AtRisk int     `json:"n_risk"`
	Events int     `json:"n_event"`
	Surv   float64 `json:"surv"`
	// SE is Greenwood's standard error of Surv, Low and High its limits. All
	// three are undefined where Surv has reached 0.
	SE   Float `json:"se"`
	Low  Float `json:"low"`
	High Float `json:"high"`
}

// KM is the right-censored life of one group.
type KM struct {
	N      int       `json:"n"`
	Events int       `json:"events"`
	Curve  []KMPoint `json:"curve"`
	// Median is the first time at which at most half are sound, with the
	// limits of Brookmeyer and Crowley.
	Median     Float `json:"median"`
	MedianLow  Float `json:"median_low"`
	MedianHigh Float `json:"median_high"`
	// RMST is the mean life up to the horizon asked for.
	RMST   Float `json:"rmst"`
	RMSTSE Float `json:"rmst_se"`
	// Why says in one line what is undefined above, and why.
	Why string `json:"why,omitempty"`
}

// KaplanMeier estimates the share S(t) still sound at each distance from
// right-censored data:
//
//	S(t) = Π over t_i ≤ t of (1 − d_i/n_i)
//	Var S = S² G,  G = Σ over t_i ≤ t of d_i / (n_i (n_i − d_i))   (Greenwood)
//
// with d_i events among n_i pairs at risk. Limits at z = the normal quantile:
// log-log S^exp(∓z√G/log S), log S·exp(∓z√G) cut at 1, plain S ∓ zS√G cut to
// 0–1. Where S reaches 0, G and the limits are undefined.
//
// The median is the first time with S ≤ ½; where S equals ½ over a stretch,
// its midpoint. Its limits are where the limits of the curve cross ½ in the
// same way, undefined where they do not.
//
// Distances of trade-in are not times of failure: this is not the curve for
// life between two looks (see NPMLE).
//
// Errors: ErrBadInput, ErrEmpty. No event at all is no error: S stays 1.
//
// Sources: Kaplan EL, Meier P (1958) J Am Stat Assoc 53:457–481; Greenwood M
// (1926) Reports on Public Health 33; Kalbfleisch JD, Prentice RL (1980) The
// Statistical Analysis of Failure Time Data (log-log); Brookmeyer R, Crowley
// J (1982) Biometrics 38:29–41 (median).
func KaplanMeier(x []Exit, opt KMOptions) (*KM, error) {
	if err := checkConf(opt.Conf); err != nil {
		return nil, err
	}
	if opt.CI == "" {
		opt.CI = LogLog
	}
	if opt.CI != LogLog && opt.CI != Log && opt.CI != Plain {
		return nil, badInput("interval scale is %q, must be log-log, log or plain", opt.CI)
	}
	x, err := tidyExits(x)
	if err != nil {
		return nil, err
	}
	if len(x) == 0 {
		return nil, ErrEmpty
	}

	km := &KM{Curve: []KMPoint{}}
	km.N, km.Events = countPairs(x)
	z := normalCritical(opt.Conf)
	atRisk, surv, g := km.N, 1.0, 0.0
	for _, e := range x {
		if e.Events > 0 {
			n, d := float64(atRisk), float64(e.Events)
			surv *= (n - d) / n
			p := KMPoint{Time: e.Time, AtRisk: atRisk, Events: e.Events, Surv: surv}
			if surv > 0 {
				g += d / (n * (n - d))
				p.SE = Some(surv * math.Sqrt(g))
				low, high := opt.CI.limits(surv, z*math.Sqrt(g))
				p.Low, p.High = Some(low), Some(high)
			}
			km.Curve = append(km.Curve, p)
		}
		atRisk -= e.Events + e.Censored
	}

	var why []string
	last := x[len(x)-1].Time
	km.Median = crossing(km.Curve, last, 0.5, func(p KMPoint) Float { return Some(p.Surv) })
	km.MedianLow = crossing(km.Curve, last, 0.5, func(p KMPoint) Float { return p.Low })
	km.MedianHigh = crossing(km.Curve, last, 0.5, func(p KMPoint) Float { return p.High })
	switch {
	case !km.Median.OK:
		why = append(why, "median: more than half are still sound where the data end")
	case !km.MedianHigh.OK:
		why = append(why, "median_high: the upper limit stays above a half where the data end")
	}
	if opt.Tau != 0 {
		m, err := RMST(x, opt.Tau, opt.Conf)
		switch reason, ok := err.(*Reason); {
		case ok:
			why = append(why, "rmst: "+reason.Detail)
		case err != nil:
			return nil, err
		default:
			km.RMST, km.RMSTSE = Some(m.RMST), Some(m.SE)
		}
	}
	km.Why = strings.Join(why, "; ")
	return km, nil
}

// limits returns the limits of a survival share s in (0, 1] whose logarithm
// has standard error w/z; w = z√G.
func (ci CurveCI) limits(s, w float64) (low, high float64) {
	switch ci {
	case Log:
		return s * math.Exp(-w), math.Min(1, s*math.Exp(w))
	case Plain:
		return math.Max(0, s-s*w), math.Min(1, s+s*w)
	}
	// −log S is above 0: a point of the curve has an event, so S < 1.
	w /= -math.Log(s)
	return math.Pow(s, math.Exp(w)), math.Pow(s, math.Exp(-w))
}

// flatTolerance is how near a product of survival shares must come to a
// level to count as equal to it; rounding leaves errors near 1e-16 a factor.
// It is the square root of the spacing of float64, as in R's survival.
const flatTolerance = 1.5e-8

// crossing returns where the step curve value(p) first falls to level or
// below; where it equals level, the midpoint between there and its next fall
// or, without one, the last time of the data. None where it stays above.
func crossing(curve []KMPoint, last, level float64, value func(KMPoint) Float) Float {
	for i, p := range curve {
		v := value(p)
		if !v.OK || v.V > level+flatTolerance {
			continue
		}
		if v.V < level-flatTolerance {
			return Some(p.Time)
		}
		for _, next := range curve[i+1:] {
			if w := value(next); w.OK && w.V < level-flatTolerance {
				return Some((p.Time + next.Time) / 2)
			}
		}
		return Some((p.Time + last) / 2)
	}
	return None
}
