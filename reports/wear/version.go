package wear

import (
	"slices"

	"solewright/assess"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// Summary is how a model stands in a few numbers, for its versions side by side.
type Summary struct {
	Pairs int
	// Worn is the share found worn of the pairs judged.
	Worn stats.Share
	// Early is the share of readings under [EarlyKM] that found the pair worn.
	Early stats.Share
	// Half is between which distances half of the pairs are worn; nil where that isn't
	// reached, or of fewer than [MinPairs].
	Half *[2]float64
}

// Summarize sums up the pairs asked about, and by the question always their early
// readings: those of a model's first months are told best of all months.
func Summarize(v *fleet.View, a, always Ask) (Summary, error) {
	var s Summary
	cells, err := v.Count(a.filter(), fleet.Verdict)
	if err != nil {
		return s, err
	}
	var judged, early rate
	for _, c := range cells {
		s.Pairs += c.N
		if c.By[0] == "" || c.By[0] == assess.Incomplete.String() {
			continue
		}
		judged.size += c.N
		if slices.Contains(worn, c.By[0]) {
			judged.hits += c.N
		}
	}
	if s.Worn, err = share(judged); err != nil {
		return s, err
	}
	always.Readings = true
	groups, err := v.Bands(always.filter(), EarlyKM)
	if err != nil {
		return s, err
	}
	for i := range groups {
		for _, in := range strata(&groups[i], 0, EarlyKM, EarlyKM) {
			early = rate{early.hits + in.hits, early.size + in.size}
		}
	}
	if s.Early, err = share(early); err != nil {
		return s, err
	}
	life, err := PooledLife(v, a)
	if life != nil {
		s.Half = life.Median
	}
	return s, err
}
