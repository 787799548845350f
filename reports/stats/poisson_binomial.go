package stats

import "math"

// Tail says how surprising a number of failures is against the probabilities
// expected of each pair.
type Tail struct {
	N int `json:"n"`
	// Expected is the sum of the probabilities.
	Expected float64 `json:"expected"`
	Hits     int     `json:"hits"`
	PAtLeast float64 `json:"p_at_least"`
	PAtMost  float64 `json:"p_at_most"`
	// PMid is P(X > hits) + P(X = hits)/2, less cautious than PAtLeast
	// (Lancaster HO 1961 JASA 56:223–234).
	PMid float64 `json:"p_mid"`
}

// PoissonBinomial returns the exact tails of the number of failures among
// independent pairs with the given probabilities of failing, by convolution:
//
//	f_k ← f_k (1 − p) + f_{k−1} p
//
// All terms are positive, so small tails keep their digits (a Fourier
// transform loses them). Both tails include hits. Terms below 1e-300 are
// left out; the cost is the number of pairs times about 80 standard
// deviations of the sum.
//
// Errors: ErrEmpty for no pairs, ErrBadInput for a probability outside 0–1 or
// hits below 0.
//
// Source: Hong Y (2013) Computational Statistics & Data Analysis 59:41–51
// (definition; exact recursion there called RF).
func PoissonBinomial(expected []float64, hits int) (*Tail, error) {
	if len(expected) == 0 {
		return nil, ErrEmpty
	}
	if hits < 0 {
		return nil, badInput("%d hits, must be 0 or more", hits)
	}
	t := &Tail{N: len(expected), Hits: hits}
	for i, p := range expected {
		if err := checkExpected(i, p); err != nil {
			return nil, err
		}
		t.Expected += p
	}
	if hits > len(expected) {
		t.PAtMost = 1 // more than there are cannot fail
		return t, nil
	}
	f, first := poissonBinomialPMF(expected)
	at := 0.0
	if k := hits - first; k >= 0 && k < len(f) {
		at = f[k]
	}
	// Each tail from its small end.
	above, below := 0.0, 0.0
	for k := len(f) - 1; k >= 0 && first+k > hits; k-- {
		above += f[k]
	}
	for k := 0; k < len(f) && first+k < hits; k++ {
		below += f[k]
	}
	t.PAtLeast, t.PAtMost, t.PMid = math.Min(1, above+at), math.Min(1, below+at), math.Min(1, above+at/2)
	return t, nil
}

// negligible is the probability below which a term is dropped.
const negligible = 1e-300

// poissonBinomialPMF returns the probabilities of first, first+1, …
func poissonBinomialPMF(expected []float64) (f []float64, first int) {
	f = make([]float64, 1, len(expected)+1)
	f[0] = 1
	for _, p := range expected {
		if p == 1 {
			first++
			continue
		}
		f = append(f, 0)
		for k := len(f) - 1; k > 0; k-- {
			f[k] = f[k]*(1-p) + f[k-1]*p
		}
		f[0] *= 1 - p
		for len(f) > 1 && f[0] < negligible {
			f = f[1:]
			first++
		}
		for len(f) > 1 && f[len(f)-1] < negligible {
			f = f[:len(f)-1]
		}
	}
	return f, first
}
