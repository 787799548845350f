package stats

import "math"

// McNemarResult compares two yes–no readings of the same pairs.
type McNemarResult struct {
	// B counts first yes and second no, C first no and second yes.
	B      int     `json:"b"`
	C      int     `json:"c"`
	PExact float64 `json:"p_exact"`
	PMid   float64 `json:"p_mid"`
	// Chi2 and P are undefined where the readings never differ.
	Chi2 Float  `json:"chi2"`
	P    Float  `json:"p"`
	Why  string `json:"why,omitempty"`
}

// McNemar tests whether the two readings say yes equally often, from the
// pairs on which they differ:
//
//	p_exact = min(1, 2 P(Bin(b + c, ½) ≤ min(b, c)))
//	p_mid   = p_exact − P(X = min(b, c)), 1 − P(X = b)/2 where b = c
//	χ² = (b − c)²/(b + c), 1 degree of freedom, no continuity correction
//
// No difference at all: p is 1 and χ² undefined.
//
// Errors: ErrBadInput for a negative count.
//
// Sources: McNemar Q (1947) Psychometrika 12:153–157; Fagerland MW, Lydersen
// S, Laake P (2013) BMC Medical Research Methodology 13:91 (mid-p).
func McNemar(b, c int) (*McNemarResult, error) {
	if b < 0 || c < 0 {
		return nil, badInput("b %d and c %d, must be 0 or more", b, c)
	}
	r := &McNemarResult{B: b, C: c, PExact: 1, PMid: 1}
	n, least := b+c, min(b, c)
	if n == 0 {
		r.Why = ErrNoDisagreement.Detail
		return r, nil
	}
	at := binomialPMF(least, n, 0.5)
	if b == c {
		r.PMid = 1 - at/2
	} else {
		r.PExact = math.Min(1, 2*binomialAtMost(least, n, 0.5))
		r.PMid = r.PExact - at
	}
	d := float64(b - c)
	chi2 := d * d / float64(n)
	r.Chi2, r.P = Some(chi2), Some(chiSquareTail(chi2, 1))
	return r, nil
}

// ErrNoDisagreement says that two readings never differ.
var ErrNoDisagreement = &Reason{"no-disagreement", "the two readings never differ"}
