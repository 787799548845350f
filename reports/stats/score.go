package stats

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Scores names how an interval observation is scored against the pooled life.
type Scores string

const (
	// SunScores make the test the log-rank test: on exact and right-censored
	// data they are the log-rank scores.
	SunScores Scores = "sun"
	// FinkelsteinScores are those of grouped proportional hazards, near Sun's.
	FinkelsteinScores Scores = "finkelstein"
)

func (s Scores) check() error {
	if s != SunScores && s != FinkelsteinScores {
		return badInput("scores are %q, must be sun or finkelstein", s)
	}
	return nil
}

// ScoreResult is a score test of k groups seen in intervals.
type ScoreResult struct {
	Chi2 float64 `json:"chi2"`
	DF   int     `json:"df"`
	P    float64 `json:"p"`
	// U is each group's sum of scores, in the order of the groups: observed
	// less expected failures, above 0 where a group fails early.
	U []float64 `json:"u"`
}

// ScoreTest tests whether k groups seen in intervals share one life. With S
// the pooled estimate (NPMLE) at the ends of its support, an observation
// (L, R] scores
//
//	Sun          c = [S(L) log S̃(L) − S(R) log S̃(R)] / [S(L) − S(R)]
//	             S̃(t_j) = exp(−Σ over l ≤ j of λ_l), λ_l = 1 − S(t_l)/S(t_{l−1})
//	Finkelstein  the same with log S in place of log S̃
//
// (S log S = 0 at S = 0), U_g sums the scores of group g, and by permutation
// of the groups over the scores
//
//	χ² = Σ_g (U_g − n_g c̄)²/n_g ÷ Σ_i (c_i − c̄)²/(n − 1),  df = k − 1
//
// It holds where all groups are looked at on like schedules; where one is seen
// more often, use InformationScoreTest.
//
// Errors: ErrBadInput; ErrOneGroup where fewer than two groups hold data;
// ErrNoSpread where all observations score alike; ErrNotConverged.
//
// Sources: Sun J (1996) Stat Med 15:1387–1395; Finkelstein DM (1986)
// Biometrics 42:845–854; Fay MP (1999) Biometrics 55:1–14 and Fay MP, Shaw PA
// (2010) J Stat Softw 36(2) for the permutation form.
func ScoreTest(groups [][]Interval, scores Scores) (*ScoreResult, error) {
	s, err := scoreGroups(groups, scores)
	if err != nil {
		return nil, err
	}
	r := &ScoreResult{DF: s.held - 1, U: s.sums()}
	r.Chi2 = s.statistic(r.U)
	r.P = chiSquareTail(r.Chi2, r.DF)
	return r, nil
}

// scored holds the scores of pooled distinct intervals and each group's
// counts on them.
type scored struct {
	fit    *massFit
	score  []float64 // of pooled row i
	counts [][]int   // counts[g][i] pairs of group g on row i
	size   []int     // of each group
	n      int
	held   int // groups that hold data
	mean   float64
	spread float64 // Σ (c − c̄)² / (n − 1)
}

func scoreGroups(groups [][]Interval, scores Scores) (*scored, error) {
	if err := scores.check(); err != nil {
		return nil, err
	}
	pooled, err := tidyIntervals(slices.Concat(groups...))
	if err != nil {
		return nil, err
	}
	s := &scored{size: make([]int, len(groups))}
	for g, x := range groups {
		counts := make([]int, len(pooled))
		for _, v := range x {
			if at, ok := slices.BinarySearchFunc(pooled, v, compareBounds); ok {
				counts[at] += v.N
				s.size[g] += v.N
			}
		}
		if s.size[g] > 0 {
			s.held++
		}
		s.n += s.size[g]
		s.counts = append(s.counts, counts)
	}
	if s.held < 2 {
		return nil, ErrOneGroup
	}
	if s.fit, err = fitMasses(pooled); err != nil {
		return nil, err
	}
	s.score = s.fit.scores(scores)
	if s.mean, s.spread, err = spreadOf(pooled, s.score, s.n); err != nil {
		return nil, err
	}
	return s, nil
}

// scores returns the score of each row.
func (f *massFit) scores(kind Scores) []float64 {
	_, weighted := weightedAround(f.mass, kind)
	c := make([]float64, len(f.runs))
	for i, r := range f.runs {
		c[i] = (weighted[r.first] - weighted[r.last+1]) / f.prob[i]
	}
	return c
}

// sums returns each group's sum of scores.
func (s *scored) sums() []float64 {
	u := make([]float64, len(s.counts))
	for g, counts := range s.counts {
		for i, c := range counts {
			u[g] += float64(c) * s.score[i]
		}
	}
	return u
}

// statistic returns the permutation chi-square of the groups' sums, the same to the
// last digit whatever order the groups come in.
func (s *scored) statistic(u []float64) float64 {
	terms := make([]float64, 0, len(s.size))
	for g, n := range s.size {
		if n > 0 {
			terms = append(terms, math.Pow(u[g]-float64(n)*s.mean, 2)/float64(n))
		}
	}
	slices.Sort(terms)
	chi2 := 0.0
	for _, t := range terms {
		chi2 += t
	}
	return chi2 / s.spread
}

// ScorePermutation returns the p-value of ScoreTest by redealing the pairs to
// the groups times times: (1 + redeals at least as far out) / (times + 1). It
// is exact up to the redealing where groups are too small for the chi-square;
// the estimate of the life stays, as it does not know the groups. It costs
// times × pairs.
//
// Errors: those of ScoreTest, ErrBadInput for times below 1.
func ScorePermutation(groups [][]Interval, scores Scores, times int, seed uint64) (p float64, err error) {
	if times < 1 {
		return 0, badInput("times is %d, must be 1 or more", times)
	}
	s, err := scoreGroups(groups, scores)
	if err != nil {
		return 0, err
	}
	// In the order of the pooled rows, whatever the order of groups.
	deck := make([]float64, 0, s.n)
	for i, c := range s.score {
		for _, counts := range s.counts {
			for range counts[i] {
				deck = append(deck, c)
			}
		}
	}
	const rounding = 1e-9
	observed := s.statistic(s.sums()) - rounding
	r := rand.New(rand.NewPCG(seed, 0))
	u := make([]float64, len(s.size))
	far := 0
	for range times {
		at := 0
		for g, n := range s.size {
			u[g] = 0
			for range n {
				j := at + r.IntN(len(deck)-at)
				deck[at], deck[j] = deck[j], deck[at]
				u[g] += deck[at]
				at++
			}
		}
		if s.statistic(u) >= observed {
			far++
		}
	}
	return float64(far+1) / float64(times+1), nil
}

// InformationScoreTest is the score test of grouped proportional hazards with
// its variance from the observed information instead of from permutation: it
// does not need the groups to be looked at on like schedules. With H = −log S
// at the ends of the support as nuisance parameters γ and β the log hazard
// ratios of all groups but the first,
//
//	χ² = Uᵀ V⁻ U,  V = I_ββ − I_βγ I_γγ⁻¹ I_γβ,  df = rank of V
//
// where innermost intervals without mass are left out.
//
// Errors: those of ScoreTest, and ErrNoSpread where the information on the
// groups, or on the life itself, is singular.
//
// Source: Finkelstein DM (1986) Biometrics 42:845–854.
func InformationScoreTest(groups [][]Interval) (*ScoreResult, error) {
	s, err := scoreGroups(groups, FinkelsteinScores)
	if err != nil {
		return nil, err
	}
	// index[j] is the nuisance parameter H before innermost interval j; H is 0
	// before the first mass (no parameter) and infinite after the last.
	surv := soundAround(s.fit.mass)
	index := make([]int, len(surv))
	params := 0
	for j := range surv {
		if j > 0 && s.fit.mass[j-1] > 0 && surv[j] > 0 {
			params++
		}
		index[j] = params - 1
	}
	k := len(groups)
	baseline := mat.NewSymDense(max(params, 1), nil)
	cross := mat.NewDense(max(params, 1), k, nil)
	v := newSymmetric(k)
	for i, r := range s.fit.runs {
		n := 0.0
		for g := range groups {
			n += float64(s.counts[g][i])
		}
		a, b := index[r.first], index[r.last+1]
		before, after, d, c := surv[r.first], surv[r.last+1], s.fit.prob[i], s.score[i]
		ha := -math.Log(before)
		hb := 0.0 // any number: it is multiplied by after
		if after > 0 {
			hb = -math.Log(after)
		}
		// First and second derivatives of log(e^(−Aθ) − e^(−Bθ)) at θ = 1 in A,
		// B and log θ.
		la, lb := -before/d, after/d
		da, db := (ha-1)*before/d-la*c, (1-hb)*after/d-lb*c
		dd := ((ha-1)*ha*before+(1-hb)*hb*after)/d - c*c
		for g := range groups {
			v.add(g, g, -float64(s.counts[g][i])*dd)
		}
		if before < 1 {
			baseline.SetSym(a, a, baseline.At(a, a)-n*(before/d-la*la))
			for g := range groups {
				cross.Set(a, g, cross.At(a, g)-float64(s.counts[g][i])*da)
			}
		}
		if after > 0 {
			baseline.SetSym(b, b, baseline.At(b, b)+n*(after/d+lb*lb))
			for g := range groups {
				cross.Set(b, g, cross.At(b, g)-float64(s.counts[g][i])*db)
			}
			if before < 1 {
				baseline.SetSym(a, b, baseline.At(a, b)+n*la*lb)
			}
		}
	}
	information := v.diagonal()
	if params > 0 {
		var chol mat.Cholesky
		if !chol.Factorize(baseline) {
			return nil, ErrNoSpread.because("the data do not fix the pooled life well enough to weigh the groups")
		}
		var solved, explained mat.Dense
		if err := chol.SolveTo(&solved, cross); err != nil {
			return nil, ErrNoSpread.because("the data do not fix the pooled life well enough to weigh the groups")
		}
		explained.Mul(cross.T(), &solved)
		for g := range k {
			for h := range g + 1 {
				v.add(g, h, -explained.At(g, h))
			}
		}
	}
	// One group's β is 0: hazards that all change alike are another life, and no
	// difference. What is left of a group's information is known as well as the
	// pooled life, whose gap is 1e-8 at most.
	contrasts := newSymmetric(k - 1)
	for g := 1; g < k; g++ {
		for h := 1; h <= g; h++ {
			contrasts.add(g-1, h-1, v.a[g*k+h])
		}
	}
	r := &ScoreResult{U: s.sums()}
	r.Chi2, r.DF = contrasts.quadraticForm(r.U[1:], information[1:], 1e-7)
	if r.DF == 0 {
		return nil, ErrNoSpread.because("the data hold no information on the difference of the groups")
	}
	r.P = chiSquareTail(r.Chi2, r.DF)
	return r, nil
}
