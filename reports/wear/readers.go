package wear

import (
	"maps"
	"math"
	"slices"

	"solewright/assess"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// Shift is how a store's readings of one zone differ from like ones elsewhere.
type Shift struct {
	// Zone is one of the ten, of either shoe.
	Zone assess.Col
	N    int
	// Here is the mean grade, Elsewhere that of readings of the same kind of visit
	// and category in all other stores, weighted by the store's own mix.
	Here, Elsewhere float64
	// Q is the chance of means as far apart, after Benjamini and Hochberg over the
	// zones. The two shoes of a pair count as one reading.
	Q float64
}

// Cause is what a store's difference looks like.
type Cause string

// The causes, in the order in which they are asked about.
const (
	// NotApart: the store is within the limits of the funnel like for like.
	NotApart Cause = "not-apart"
	// Readers: nearly every zone is read alike harder, or milder, in the same
	// direction as the verdicts.
	Readers Cause = "readers"
	// OneModel: more than half of what is beyond expectation comes from one model.
	OneModel Cause = "model"
	// Unclear: neither.
	Unclear Cause = "unclear"
)

// Reading is how a store reads.
type Reading struct {
	Standing
	Cause Cause
	// Shifts are by zone; Same of them are read as the verdicts go, beyond chance.
	Shifts []Shift
	Same   int
	// Model is where most of what is beyond expectation comes from, and Part which
	// part of it.
	Model string
	Part  float64
}

// manyZones is in how many of the ten zones a difference is the reader's and not
// the shoes'. House value: rubber that wears differently does so in some zones.
const manyZones = 8

// HowRead answers whether a store's readings are apart from like ones elsewhere,
// and whether that looks like its readers: people who grade harder do so in every
// zone and on every model, where another mix of feet or shoes shows in some. It
// is a reason to compare readers, and no proof. The question asks about all stores,
// and stand is its [Standings].
func HowRead(v *fleet.View, a Ask, stand *Stand, store string) (r *Reading, err error) {
	r = &Reading{Cause: NotApart}
	at := slices.IndexFunc(stand.Stores, func(s Standing) bool { return s.Store == store })
	if at < 0 {
		return r, nil
	}
	r.Standing = stand.Stores[at]
	if r.Shifts, err = shifts(v, a, store); err != nil {
		return nil, err
	}
	if r.Model, r.Part, err = mostBeyond(v, a, store); err != nil {
		return nil, err
	}
	for _, s := range r.Shifts {
		if s.Q < maxQ && (s.Here > s.Elsewhere) == (r.Z > 0) {
			r.Same++
		}
	}
	switch {
	case !stand.Outside(&r.Standing):
	case r.Same >= manyZones:
		r.Cause = Readers
	case r.Part > 0.5:
		r.Cause = OneModel
	default:
		r.Cause = Unclear
	}
	return r, nil
}

// moments are the sums of a zone's grades.
type moments struct{ n, sum, squares float64 }

// zones adds up the grades of both shoes by kind of visit and category.
func zones(v *fleet.View, a Ask) (map[like]*[assess.NumZones]moments, error) {
	a.Pattern, a.Readings = "", true
	groups, err := v.Grades(a.filter(), fleet.Kind, fleet.Category)
	all := map[like]*[assess.NumZones]moments{}
	for i := range groups {
		g := &groups[i]
		of := new([assess.NumZones]moments)
		for shoe := range g.Zones {
			for z := range of {
				for grade, n := range g.Zones[shoe][z].Grades {
					of[z].n += float64(n)
					of[z].sum += float64(n * grade)
					of[z].squares += float64(n * grade * grade)
				}
			}
		}
		all[alike(g.By[0], g.By[1])] = of
	}
	return all, err
}

// shifts sets a store's grades beside like ones elsewhere, zone by zone.
func shifts(v *fleet.View, a Ask, store string) ([]Shift, error) {
	all, err := zones(v, a)
	if err != nil {
		return nil, err
	}
	mine, err := zones(v, a.With(fleet.Store, store))
	if err != nil {
		return nil, err
	}
	var (
		found []Shift
		p     []float64
	)
	keys := slices.Sorted(maps.Keys(all))
	for z := range assess.NumZones {
		var here, elsewhere, n, variance float64
		for _, key := range keys {
			of, m := all[key], mine[key]
			if m == nil {
				continue
			}
			rest := moments{of[z].n - m[z].n, of[z].sum - m[z].sum, of[z].squares - m[z].squares}
			if m[z].n == 0 || rest.n == 0 {
				continue
			}
			mean := rest.sum / rest.n
			here, elsewhere, n = here+m[z].sum, elsewhere+m[z].n*mean, n+m[z].n
			// Two shoes of a pair are hardly two readings: half as many count.
			spread := max(0, rest.squares/rest.n-mean*mean)
			variance += 2 * spread * m[z].n * (1 + m[z].n/rest.n)
		}
		if n < 2*MinPairs || variance == 0 {
			continue
		}
		found = append(found, Shift{Zone: assess.Col(z), N: int(n / 2), Here: here / n, Elsewhere: elsewhere / n})
		p = append(p, twoSided((here-elsewhere)/math.Sqrt(variance)))
	}
	for i, q := range stats.BH(p) {
		found[i].Q = q
	}
	return found, nil
}

// mostBeyond returns the model with the most of what a store has beyond
// expectation, and its part of that, in the direction in which the store lies.
func mostBeyond(v *fleet.View, a Ask, store string) (model string, part float64, err error) {
	a.Pattern, a.Readings = "", true
	count := func(a Ask) ([]measured, error) {
		groups, err := v.Bands(a.filter(), 2*bandKM, fleet.Model, fleet.Kind, fleet.Category)
		return byFirst(groups), err
	}
	all, err := count(a)
	if err != nil {
		return "", 0, err
	}
	mine, err := count(a.With(fleet.Store, store))
	if err != nil {
		return "", 0, err
	}
	of, own := total(all), total(mine)
	beyond := make([]float64, len(mine))
	sum := 0.0
	for i := range mine {
		for _, s := range mine[i].by {
			beyond[i] += float64(s.hits) - float64(s.size)*of[s.like].less(own[s.like])
		}
		sum += beyond[i]
	}
	for i := range mine {
		if share := beyond[i] / sum; sum != 0 && share > part {
			model, part = mine[i].words[0], share
		}
	}
	return model, part, nil
}
