package stats

import (
	"math"
	"slices"
	"sort"
)

// PooledLife is the life of all pairs together, against which those of a part of them are
// tested: it is estimated once, whichever parts are asked about.
type PooledLife struct {
	*Life
	// Of the support, before each of its intervals and, last, beyond all: the share
	// still sound, and its score; see ScoreTest.
	sound, weighted []float64
	mean, spread    float64 // of the scores of all pairs
}

// PoolLife estimates the life of all pairs by NPMLE and scores each against it.
//
// Errors: those of ScoreTest but ErrOneGroup; ErrEmpty.
func PoolLife(x []Interval, scores Scores) (*PooledLife, error) {
	if err := scores.check(); err != nil {
		return nil, err
	}
	x, err := tidyIntervals(x)
	if err != nil {
		return nil, err
	}
	fit, err := fitMasses(x)
	if err != nil {
		return nil, err
	}
	p := &PooledLife{Life: fit.life()}
	mass := make([]float64, len(p.Support))
	for j, m := range p.Support {
		mass[j] = m.Mass
	}
	p.sound, p.weighted = weightedAround(mass, scores)
	p.mean, p.spread, err = spreadOf(x, fit.scores(scores), fit.n)
	return p, err
}

// Against is ScoreTest of some of the pairs against all others; U is that of the part,
// then of the others.
//
// Errors: ErrBadInput, also for a pair that is not of the pool as far as can be seen;
// ErrOneGroup where the part holds no pair or leaves no other.
func (p *PooledLife) Against(part []Interval) (*ScoreResult, error) {
	part, err := tidyIntervals(part)
	if err != nil {
		return nil, err
	}
	s := &scored{size: []int{0, p.N}, n: p.N, mean: p.mean, spread: p.spread}
	u := 0.0
	for _, v := range part {
		c, ok := p.score(v)
		if !ok {
			return nil, badInput("no life of the pool ends between %g and %g", v.Lower, v.Upper)
		}
		u += float64(v.N) * c
		s.size[0] += v.N
	}
	if s.size[1] -= s.size[0]; s.size[0] == 0 || s.size[1] <= 0 {
		return nil, ErrOneGroup
	}
	r := &ScoreResult{DF: 1, U: []float64{u, float64(p.N)*p.mean - u}}
	r.Chi2 = s.statistic(r.U)
	r.P = chiSquareTail(r.Chi2, r.DF)
	return r, nil
}

// score returns the score of a pair; false where nothing of the support lies in its
// interval.
func (p *PooledLife) score(v Interval) (float64, bool) {
	first := sort.Search(len(p.Support), func(j int) bool {
		m := p.Support[j]
		if exact := m.Right.OK && m.Right.V == m.Left; exact && v.Lower < v.Upper {
			return m.Left > v.Lower // a pair is sound at its lower end
		}
		return m.Left >= v.Lower
	})
	end := sort.Search(len(p.Support), func(j int) bool {
		m := p.Support[j]
		return !m.Right.OK && !math.IsInf(v.Upper, 1) || m.Right.OK && m.Right.V > v.Upper
	})
	if end <= first {
		return 0, false
	}
	share := p.sound[first] - p.sound[end]
	return (p.weighted[first] - p.weighted[end]) / share, share > 0
}

// spreadOf returns the mean of the scores of n pairs and their variance.
func spreadOf(x []Interval, score []float64, n int) (mean, spread float64, err error) {
	for i, v := range x {
		mean += float64(v.N) * score[i] / float64(n)
	}
	for i, v := range x {
		spread += float64(v.N) * math.Pow(score[i]-mean, 2) / float64(n-1)
	}
	// Scores are of order 1; what is left of equal ones is rounding.
	const rounding = 1e-18
	if !(spread > rounding) {
		return mean, spread, ErrNoSpread.because("every pair fits the pooled life alike")
	}
	return mean, spread, nil
}

// soundAround returns the share sound before each of some masses and, last, beyond all.
func soundAround(mass []float64) []float64 {
	sound := make([]float64, len(mass)+1)
	for j, s := range slices.Backward(mass) {
		sound[j] = sound[j+1] + s
	}
	sound[0] = 1
	return sound
}

// weightedAround returns soundAround, and with it S log S or S log S̃, 0 where S = 0.
func weightedAround(mass []float64, kind Scores) (sound, weighted []float64) {
	sound = soundAround(mass)
	weighted = make([]float64, len(sound))
	hazard := 0.0
	for j, s := range sound {
		if j > 0 && mass[j-1] > 0 {
			hazard += mass[j-1] / sound[j-1]
		}
		switch {
		case s == 0:
		case kind == SunScores:
			weighted[j] = -s * hazard
		default:
			weighted[j] = s * math.Log(s)
		}
	}
	return sound, weighted
}
