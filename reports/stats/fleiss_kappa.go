package stats

import "math"

// FleissResult is chance-corrected agreement of several raters.
type FleissResult struct {
	Kappa float64 `json:"kappa"`
	// Z tests kappa against 0.
	Z float64 `json:"z"`
	// N is the number of items, Raters the grades each of them has.
	N      int `json:"n"`
	Raters int `json:"raters"`
	// Categories is the kappa of each level against the rest, undefined for a
	// level that is unused or used alone.
	Categories []Float `json:"categories"`
}

// ErrUnequalGrades says that items have different numbers of grades.
var ErrUnequalGrades = &Reason{"unequal-grades", "the items do not all have the same number of grades"}

// FleissKappa returns kappa for items that all have n ≥ 2 grades, by whatever
// raters. With p_j the share of level j among all grades:
//
//	P_i = (Σ_j n_ij² − n)/(n(n − 1)),  P_e = Σ p_j²,  κ = (P̄ − P_e)/(1 − P_e)
//	Var₀ = 2 [(Σ p q)² − Σ p q (q − p)] / [(Σ p q)² N n (n − 1)],  q = 1 − p
//
// Errors: ErrNotPaired below two grades an item, ErrUnequalGrades,
// ErrOneCategory where all grades are equal.
//
// Sources: Fleiss JL (1971) Psychological Bulletin 76:378–382; standard error
// Fleiss JL, Nee JCM, Landis JR (1979) Psychological Bulletin 86:974–977.
func FleissKappa(r *Ratings) (*FleissResult, error) {
	out := &FleissResult{Categories: make([]Float, r.Levels)}
	totals := make([]float64, r.Levels)
	agreeing := 0.0
	disputed := make([]float64, r.Levels) // Σ n_ij (n − n_ij) by level
	for i, p := range r.Patterns {
		m := p.size()
		if i > 0 && m != out.Raters {
			return nil, ErrUnequalGrades
		}
		out.Raters = m
		out.N += p.Items
		f := float64(p.Items)
		for l, c := range p.Counts {
			totals[l] += f * float64(c)
			agreeing += f * float64(c*(c-1))
			disputed[l] += f * float64(c*(m-c))
		}
	}
	if out.Raters < 2 {
		return nil, ErrNotPaired
	}
	n, items := float64(out.Raters), float64(out.N)
	pairs := items * n * (n - 1)
	chance, pq, skew := 0.0, 0.0, 0.0
	for l, t := range totals {
		p := t / (items * n)
		q := 1 - p
		chance += p * p
		pq += p * q
		skew += p * q * (q - p)
		if p > 0 && t < items*n {
			out.Categories[l] = Some(1 - disputed[l]/(pairs*p*q))
		}
	}
	for _, t := range totals {
		if t == items*n {
			return nil, ErrOneCategory
		}
	}
	out.Kappa = (agreeing/pairs - chance) / (1 - chance)
	out.Z = out.Kappa / math.Sqrt(2*(pq*pq-skew)/(pq*pq*pairs))
	return out, nil
}
