package wear

import (
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// EarlyShare is the share of one batch's pairs found worn among those judged
// under [EarlyKM]; Batch is empty for pairs whose batch wasn't read.
type EarlyShare struct {
	Batch string
	stats.Share
}

// Early answers, by batch, which share of the pairs asked about that were last
// read under [EarlyKM] was found worn (advised replace or retire), with Wilson's
// interval. Pairs of unknown distance and incomplete readings are left out, as
// is a batch without any pair judged. Ask about one model: batches of two models
// may have the same name.
func Early(v *fleet.View, a Ask) ([]EarlyShare, error) {
	groups, err := v.Looks(a.Filter(), fleet.Batch)
	if err != nil {
		return nil, err
	}
	var all []EarlyShare
	for i := range groups {
		var r rate
		for _, in := range strata(&groups[i], "", "", EarlyKM, EarlyKM) {
			r = rate{r.hits + in.hits, r.size + in.size}
		}
		if r.size == 0 {
			continue
		}
		s, err := share(r)
		if err != nil {
			return nil, err
		}
		all = append(all, EarlyShare{groups[i].By[0], s})
	}
	return all, nil
}
