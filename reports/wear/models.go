package wear

import (
	"math"

	"solewright/assess"
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
		cells, err := v.Count(a.filter(), fleet.Category, fleet.Gait, fleet.Model, part.Dim())
		if err != nil {
			return nil, err
		}
		for _, pattern := range directional {
			found, err := modelCells(v, cells, part, pattern.String())
			if err != nil {
				return nil, err
			}
			tested = append(tested, found...)
		}
	}
	return tested, nil
}

// fewExpected is how many hits, and how many others, have to be expected of a cell
// that is to say how far cells lie apart: below, the square of what it is off by
// says little. Common practice for chi-square: Cochran WG (1954) Biometrics
// 10:417–451.
const fewExpected = 5

// modelCells compares each model with the others of its category under the same
// gait. All cells of a pattern together say how far the log odds of models lie
// apart.
func modelCells(v *fleet.View, cells []fleet.Cell, part Part, pattern string) ([]Signal, error) {
	type group struct{ category, gait string }
	type unit struct {
		group
		model string
	}
	own, all, squares := map[unit]rate{}, map[group]rate{}, map[group]float64{}
	var order []unit
	for _, c := range cells {
		if c.By[1] == "" || c.By[2] == "" || c.By[3] == "" {
			continue
		}
		g := group{c.By[0], c.By[1]}
		u := unit{g, c.By[2]}
		if _, ok := own[u]; !ok {
			order = append(order, u)
		}
		hit := 0
		if c.By[3] == pattern {
			hit = c.N
		}
		own[u] = rate{own[u].hits + hit, own[u].size + c.N}
		all[g] = rate{all[g].hits + hit, all[g].size + c.N}
	}
	for u, r := range own {
		squares[u.group] += float64(r.size) * float64(r.size)
	}
	var (
		tested []Signal
		faced  []atRisk
		apart  []stats.Deviation
		others []float64
	)
	for _, u := range order {
		v.Rest()
		r := own[u]
		rest := rate{all[u.group].hits - r.hits, all[u.group].size - r.size}
		if r.size < MinPairs || rest.size < MinPairs {
			continue
		}
		d, err := stats.Newcombe(stats.Trials{Hits: r.hits, Size: r.size}, stats.Trials{Hits: rest.hits, Size: rest.size}, conf)
		if err != nil {
			return nil, err
		}
		var at atRisk
		at.add(r, rest)
		s, err := Signal{Kind: ModelWears, Model: u.model, Category: u.category, Gait: u.gait, Part: part.String(), Pattern: pattern}.
			finding(r.hits, r.size, float64(rest.hits)/float64(rest.size))
		if err != nil {
			return nil, err
		}
		s.Beyond = float64(r.size) * d.Low // more than others; less is no news
		of := (squares[u.group] - float64(r.size)*float64(r.size)) / (float64(rest.size) * float64(rest.size))
		if at.expected >= fewExpected && float64(r.size)-at.expected >= fewExpected {
			apart = append(apart, at.deviation(of))
		}
		tested, faced, others = append(tested, s), append(faced, at), append(others, of)
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
