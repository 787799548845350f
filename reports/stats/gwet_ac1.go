package stats

// GwetAC1 returns Gwet's AC1, agreement corrected for chance in a way that
// stays put where one level is rare (kappa then falls although raters agree).
// With q levels, p_a the mean over items of two grades or more of
// Σ_k r_ik(r_ik − 1)/(r_i(r_i − 1)), and π_k the mean over all graded items of
// r_ik/r_i:
//
//	p_e = Σ π_k (1 − π_k)/(q − 1),  AC1 = (p_a − p_e)/(1 − p_e)
//
// Unused levels count in q.
//
// Errors: ErrNotPaired where no item has two grades, ErrOneCategory for fewer
// than two levels.
//
// Source: Gwet KL (2008) British Journal of Mathematical and Statistical
// Psychology 61:29–48.
func GwetAC1(r *Ratings) (float64, error) {
	if r.Levels < 2 {
		return 0, ErrOneCategory
	}
	items, paired, agreement := 0.0, 0.0, 0.0
	pi := make([]float64, r.Levels)
	for _, p := range r.Patterns {
		f, m := float64(p.Items), p.size()
		items += f
		same := 0
		for l, c := range p.Counts {
			pi[l] += f * float64(c) / float64(m)
			same += c * (c - 1)
		}
		if m >= 2 {
			paired += f
			agreement += f * float64(same) / float64(m*(m-1))
		}
	}
	if paired == 0 {
		return 0, ErrNotPaired
	}
	chance := 0.0
	for _, v := range pi {
		chance += v / items * (1 - v/items)
	}
	chance /= float64(r.Levels - 1)
	return (agreement/paired - chance) / (1 - chance), nil
}
