package stats

import (
	"slices"
)

// ErrNotConverged says that an iteration ended without its certificate.
var ErrNotConverged = &Reason{"not-converged", "the estimate could not be computed to its certificate"}

// Mass is the share of lives that end in (Left, Right], or at Left exactly
// where both are equal. Right is undefined for lives that end beyond the data.
type Mass struct {
	Left  float64 `json:"left"`
	Right Float   `json:"right"`
	Mass  float64 `json:"mass"`
}

// BracketPoint is the share still sound at a distance. At the ends of the
// support, where NPMLE reports it, both bounds are equal; between the ends of
// one support interval the share falls from the first value to the second and
// is not known further.
type BracketPoint struct {
	Time     float64 `json:"time"`
	SurvLow  float64 `json:"surv_low"`
	SurvHigh float64 `json:"surv_high"`
}

// Life is the non-parametric life of one group seen in intervals.
type Life struct {
	N       int            `json:"n"`
	Support []Mass         `json:"support"`
	LogLik  float64        `json:"loglik"`
	Gap     float64        `json:"gap"`
	Curve   []BracketPoint `json:"curve"`
	// Median is the pair of ends between which S crosses a half.
	Median *[2]float64 `json:"median"`
	// Why says why Median is undefined.
	Why string `json:"why,omitempty"`
}

// NPMLE estimates the life of pairs of which each is known to end in
// (Lower, Upper], by the masses s_j on the innermost intervals (Turnbull) that
// maximise
//
//	log L = Σ_i n_i log Σ_j a_ij s_j,  s ≥ 0, Σ s = 1
//
// with a_ij = 1 where innermost interval j lies in observation i. Only the
// mass of an innermost interval is identified, not where inside it lies. On
// exact and right-censored data it is the Kaplan–Meier estimate.
//
// Gap certifies the maximum: it is the largest reduced gradient
//
//	D_j = (1/n) Σ_i n_i a_ij / (A s)_i
//
// less 1, over all innermost intervals. D ≤ 1 everywhere and D = 1 on the
// support hold at the maximum and nowhere else; n·Gap bounds what log L can
// still gain. Gap comes out below 1e-9.
//
// The assumption is that a pair's visits do not depend on its wear.
//
// Cost: rows once to count them (Intervals), then a few passes over distinct
// intervals and the cube of the support, which is some dozens for intervals.
// Some thousands of distinct exact lives among intervals take seconds.
//
// Errors: ErrBadInput, ErrEmpty, ErrNotConverged.
//
// Sources: Peto R (1973) Appl Stat 22:86–91; Turnbull BW (1976) J R Stat Soc
// B 38:290–295; Gentleman R, Geyer CJ (1994) Biometrika 81:618–623 (the
// certificate); Wang Y (2008) Comput Stat Data Anal 52:2388–2402 (the
// method; see maximise).
func NPMLE(x []Interval) (*Life, error) {
	x, err := tidyIntervals(x)
	if err != nil {
		return nil, err
	}
	f, err := fitMasses(x)
	if err != nil {
		return nil, err
	}
	return f.life(), nil
}

// massFit is a solved massProblem with the bounds it came from.
type massFit struct {
	massProblem
	bounds      *bounds
	n           int
	gap, logLik float64
}

// fitMasses solves for the masses of tidy intervals.
func fitMasses(x []Interval) (*massFit, error) {
	if len(x) == 0 {
		return nil, ErrEmpty
	}
	f := &massFit{bounds: newBounds(x)}
	count := make([]int, len(x))
	for i, v := range x {
		count[i] = v.N
		f.n += v.N
	}
	f.load(f.bounds, count)
	f.start()
	gap, loglik, ok := f.maximise()
	if !ok {
		return nil, ErrNotConverged.because("the masses of %d distinct intervals stopped at a gradient of 1 + %.1e", len(x), gap)
	}
	f.gap, f.logLik = gap, loglik*float64(f.n)
	return f, nil
}

// life reports a fit.
func (f *massFit) life() *Life {
	r := &Life{N: f.n, LogLik: f.logLik, Gap: f.gap}
	for j, s := range f.mass {
		if s > 0 {
			b := f.inner[j]
			r.Support = append(r.Support, Mass{f.bounds.ends[b.left].at, Some(f.bounds.ends[b.right].at), s})
		}
	}
	r.Curve = curveOf(r.Support)
	if m, ok := crossingBracket(r.Support, 0.5); ok {
		r.Median = &m
	} else {
		r.Why = "median: more than half are still sound where the data end"
	}
	return r
}

// curveOf returns the share sound at every finite end of the support.
func curveOf(support []Mass) []BracketPoint {
	curve := []BracketPoint{}
	add := func(time, surv float64) {
		if last := len(curve) - 1; last >= 0 && curve[last].Time == time {
			curve[last] = BracketPoint{time, surv, surv}
			return
		}
		curve = append(curve, BracketPoint{time, surv, surv})
	}
	surv := soundBefore(support)
	for j, m := range support {
		if m.Left < m.Right.V || !m.Right.OK {
			add(m.Left, surv[j])
		}
		if m.Right.OK {
			add(m.Right.V, surv[j+1])
		}
	}
	return curve
}

// soundBefore returns the share sound before each support interval and, last,
// beyond them all: 1 down to 0.
func soundBefore(support []Mass) []float64 {
	surv := make([]float64, len(support)+1)
	for j, m := range slices.Backward(support) {
		surv[j] = surv[j+1] + m.Mass
	}
	surv[0] = 1
	return surv
}

// levelTolerance is how near a sum of masses must come to a level to count as
// reaching it: masses certified to 1e-9 of the gradient hold about 8 digits.
const levelTolerance = 1e-8

// crossingBracket returns the ends between which the share sound falls to
// level: the support interval that does it or, where the share equals level
// after it, the stretch from there to the next one. ok is false where the
// crossing lies beyond the data.
func crossingBracket(support []Mass, level float64) (ends [2]float64, ok bool) {
	surv := soundBefore(support)
	for j, m := range support {
		switch after := surv[j+1]; {
		case after > level+levelTolerance:
			continue
		case !m.Right.OK:
			return ends, false
		case after >= level-levelTolerance && j+1 < len(support):
			return [2]float64{m.Right.V, support[j+1].Left}, true
		}
		return [2]float64{m.Left, m.Right.V}, true
	}
	return ends, false
}
