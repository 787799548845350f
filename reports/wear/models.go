package wear

import (
	"cmp"
	"math"
	"slices"

	"solewright/assess"
	"solewright/models/retail"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// directional are the patterns that lean to a side.
var directional = []assess.Pattern{assess.MedialWear, assess.LateralWear}

// modelWear looks for models that wear to one side more than others of their
// category do under the same gait.
func modelWear(v *fleet.View, a Ask) ([]Signal, error) {
	var tested []Signal
	for _, part := range []Part{Heel, Forefoot} {
		cells, err := v.Count(a.filter(), fleet.Gait, fleet.Model, part.Dim())
		if err != nil {
			return nil, err
		}
		models := modelsByGait(v, cells)
		for pattern := range directional {
			found, err := modelCells(v, models, part, pattern)
			if err != nil {
				return nil, err
			}
			tested = append(tested, found...)
		}
	}
	return tested, nil
}

// modelByGait is the pairs of a model under one gait, and how many of them have each
// of the directional patterns.
type modelByGait struct {
	category, gait, model string
	size                  int
	hits                  [2]int
}

func (m *modelByGait) rate(pattern int) rate { return rate{m.hits[pattern], m.size} }

// likeGait says that two are of one category and one gait.
func (m *modelByGait) likeGait(other *modelByGait) bool {
	return m.category == other.category && m.gait == other.gait
}

// modelsByGait puts together what was counted by gait, model and pattern, in order of
// the category, the gait and the model; what isn't known of either is left out.
func modelsByGait(v *fleet.View, cells []fleet.Cell) []modelByGait {
	var all []modelByGait
	for i := range cells {
		gait, model, pattern := cells[i].By[0], cells[i].By[1], cells[i].By[2]
		if gait == "" || model == "" || pattern == "" {
			continue
		}
		if n := len(all); n == 0 || all[n-1].model != model || all[n-1].gait != gait {
			all = append(all, modelByGait{category: v.Category(model), gait: gait, model: model})
		}
		m := &all[len(all)-1]
		m.size += cells[i].N
		for k, p := range directional {
			if p.String() == pattern {
				m.hits[k] += cells[i].N
			}
		}
	}
	slices.SortStableFunc(all, func(a, b modelByGait) int {
		return cmp.Compare(slices.Index(retail.Categories, a.category), slices.Index(retail.Categories, b.category))
	})
	return all
}

// fewExpected is how many hits, and how many others, have to be expected of a cell
// that is to say how far cells lie apart: below, the square of what it is off by
// says little. Common practice for chi-square: Cochran WG (1954) Biometrics
// 10:417–451.
const fewExpected = 5

// modelCells compares each model with the others of its category under the same
// gait, by the place of a pattern among the directional ones. All models together say
// how far their log odds lie apart.
func modelCells(v *fleet.View, models []modelByGait, part Part, pattern int) ([]Signal, error) {
	var (
		tested []Signal
		faced  []atRisk
		apart  []stats.Deviation
		others []float64
	)
	for len(models) > 0 {
		n, all, squares := 0, rate{}, 0.0
		for n < len(models) && models[n].likeGait(&models[0]) {
			r := models[n].rate(pattern)
			all, squares = rate{all.hits + r.hits, all.size + r.size}, squares+float64(r.size)*float64(r.size)
			n++
		}
		alike := models[:n]
		models = models[n:]
		for i := range alike {
			v.Rest()
			m := &alike[i]
			r := m.rate(pattern)
			rest := rate{all.hits - r.hits, all.size - r.size}
			if r.size < MinPairs || rest.size < MinPairs {
				continue
			}
			d, err := stats.Newcombe(stats.Trials{Hits: r.hits, Size: r.size}, stats.Trials{Hits: rest.hits, Size: rest.size}, conf)
			if err != nil {
				return nil, err
			}
			var at atRisk
			at.add(r, rest)
			s, err := Signal{Kind: ModelWears, Model: m.model, Category: m.category, Gait: m.gait, Part: part.String(), Pattern: directional[pattern].String()}.
				finding(r.hits, r.size, float64(rest.hits)/float64(rest.size))
			if err != nil {
				return nil, err
			}
			s.Beyond = float64(r.size) * d.Low // more than others; less is no news
			of := (squares - float64(r.size)*float64(r.size)) / (float64(rest.size) * float64(rest.size))
			if at.expected >= fewExpected && float64(r.size)-at.expected >= fewExpected {
				apart = append(apart, at.deviation(of))
			}
			tested, faced, others = append(tested, s), append(faced, at), append(others, of)
		}
	}
	spread := stats.OddsSpread(apart)
	for i := range tested {
		v.Rest()
		var err error
		if tested[i].P, err = faced[i].tail(spread * math.Sqrt(1+others[i])); err != nil {
			return nil, err
		}
	}
	return tested, nil
}
