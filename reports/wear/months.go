package wear

import (
	"errors"

	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// monthsMoved looks for months of the last few whose readings are apart from like
// ones of all other months.
func monthsMoved(v *fleet.View, a Ask) ([]Signal, error) {
	a.Readings = true
	groups, err := v.Bands(a.filter(), 2*bandKM, fleet.Month, fleet.Kind, fleet.Category)
	if err != nil {
		return nil, err
	}
	units := byFirst(groups)
	all := total(units)
	var (
		tested []Signal
		z      []float64 // of every month
		recent []float64
	)
	for i := range units {
		var strata []stats.Stratum
		for _, s := range units[i].by {
			of := all[s.like]
			if rest := (stats.Trials{Hits: of.hits - s.hits, Size: of.size - s.size}); rest.Size > 0 {
				strata = append(strata, stats.Stratum{A: stats.Trials{Hits: s.hits, Size: s.size}, B: rest})
			}
		}
		like := units[i].against(all)
		if like.size < MinPairs {
			continue
		}
		found, err := stats.MantelHaenszel(strata)
		if errors.Is(err, stats.ErrEmpty) || errors.Is(err, stats.ErrNoSpread) {
			continue // nothing like it elsewhere, or all or none are worn
		}
		if err != nil {
			return nil, err
		}
		if z = append(z, found.Z); i < len(units)-recentMonths {
			continue
		}
		s, err := Signal{Kind: MonthMoved, Month: units[i].words[0]}.finding(like.hits, like.size, like.share())
		if err != nil {
			return nil, err
		}
		tested, recent = append(tested, s), append(recent, found.Z)
	}
	vary := stats.MeasureDispersion(z)
	for i := range tested {
		tested[i].P = vary.P(recent[i])
	}
	return tested, nil
}
