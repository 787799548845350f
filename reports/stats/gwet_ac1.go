package stats

import "math"

// Agreement is a coefficient of agreement with its standard error and limits,
// undefined where one item or cluster says nothing of a spread.
type Agreement struct {
	Value         float64
	SE, Low, High Float
}

// spread sets the standard error and, by t with df degrees of freedom, the limits,
// cut at −1 and 1.
func (a *Agreement) spread(se, df, conf float64) {
	half := tCritical(df, conf) * se
	a.SE, a.Low, a.High = Some(se), Some(math.Max(-1, a.Value-half)), Some(math.Min(1, a.Value+half))
}

// GwetAC1 returns Gwet's AC1, agreement corrected for chance in a way that
// stays put where one level is rare (kappa then falls although raters agree).
// With q levels, p_a the mean over the n′ items of two grades or more of
// a_i = Σ_k r_ik(r_ik − 1)/(r_i(r_i − 1)), and π_k the mean over all n graded
// items of r_ik/r_i:
//
//	p_e = Σ π_k (1 − π_k)/(q − 1),  AC1 = (p_a − p_e)/(1 − p_e)
//	e_i = Σ_k r_ik (1 − π_k)/(r_i (q − 1))
//	x_i = n/n′ [r_i ≥ 2] (a_i − p_e)/(1 − p_e) − 2 (1 − AC1)(e_i − p_e)/(1 − p_e)
//	Var = Σ (x_i − AC1)² / [n (n − 1)]
//
// Unused levels count in q. Limits by t with n − 1 degrees of freedom, of a
// sample of an unbounded number of items; a single item has none.
//
// Errors: ErrNotPaired where no item has two grades, ErrOneCategory for fewer
// than two levels, ErrBadInput for conf outside (0, 1).
//
// Source: Gwet KL (2008) British Journal of Mathematical and Statistical
// Psychology 61:29–48.
func GwetAC1(r *Ratings, conf float64) (*Agreement, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	g, err := gwet(r)
	if err != nil {
		return nil, err
	}
	a := &Agreement{Value: g.value}
	if g.items < 2 {
		return a, nil
	}
	sum := 0.0
	for _, p := range r.Patterns {
		x := g.score(p) - g.value
		sum += float64(p.Items) * x * x
	}
	a.spread(math.Sqrt(sum/(g.items*(g.items-1))), g.items-1, conf)
	return a, nil
}

// gwetAC1 is AC1 and what its items add to it, as GwetAC1 has it.
type gwetAC1 struct {
	items, paired float64 // n and n′
	pi            []float64
	chance        float64
	value         float64
}

func gwet(r *Ratings) (*gwetAC1, error) {
	if r.Levels < 2 {
		return nil, ErrOneCategory
	}
	g := &gwetAC1{pi: make([]float64, r.Levels)}
	agreement := 0.0
	for _, p := range r.Patterns {
		f, m := float64(p.Items), p.size()
		g.items += f
		for l, c := range p.Counts {
			g.pi[l] += f * float64(c) / float64(m)
		}
		if m >= 2 {
			g.paired += f
			agreement += f * p.alike()
		}
	}
	if g.paired == 0 {
		return nil, ErrNotPaired
	}
	for l := range g.pi {
		g.pi[l] /= g.items
		g.chance += g.pi[l] * (1 - g.pi[l])
	}
	g.chance /= float64(r.Levels - 1)
	g.value = (agreement/g.paired - g.chance) / (1 - g.chance)
	return g, nil
}

// score is x_i of an item.
func (g *gwetAC1) score(p Pattern) float64 {
	x, m := 0.0, p.size()
	if m >= 2 {
		x = g.items / g.paired * (p.alike() - g.chance) / (1 - g.chance)
	}
	e := 0.0
	for l, c := range p.Counts {
		e += float64(c) * (1 - g.pi[l])
	}
	e /= float64(m * (len(g.pi) - 1))
	return x - 2*(1-g.value)*(e-g.chance)/(1-g.chance)
}

// alike is the share of pairs of an item's grades, two or more, that are the same.
func (p *Pattern) alike() float64 {
	same, m := 0, p.size()
	for _, c := range p.Counts {
		same += c * (c - 1)
	}
	return float64(same) / float64(m*(m-1))
}
