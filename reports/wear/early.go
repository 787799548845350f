package wear

import (
	"solewright/assess"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// EarlyShare is the share of one batch's readings under [EarlyKM] that found the pair
// worn; Batch is empty for pairs whose batch wasn't read.
type EarlyShare struct {
	Batch string
	stats.Share
}

// Early answers, by batch, which share of the readings under [EarlyKM] of the pairs
// asked about found the pair worn (advised replace or retire), with Wilson's
// interval. It is readings and not each pair's last: pairs of an old batch that were
// last read so early are those that ended there, those of a new one are still on
// their way. Readings of unknown distance and incomplete ones are left out, as is a
// batch without any other. Ask about one model: batches of two models may have the
// same name.
func Early(v *fleet.View, a Ask) ([]EarlyShare, error) {
	a.Readings = true
	groups, err := v.Bands(a.Filter(), EarlyKM, fleet.Batch)
	if err != nil {
		return nil, err
	}
	var all []EarlyShare
	for i := range groups {
		var r rate
		for _, in := range strata(&groups[i], 0, EarlyKM, EarlyKM) {
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

// earlyBatches looks for batches that fail early. What like pairs of the category let
// expect is moved to where the model's other batches lie, as far as they can say:
// a model that wears fast is no bad batch. It is of readings, as [Early] is.
func earlyBatches(v *fleet.View, a Ask) ([]Signal, error) {
	a.Readings = true
	if !a.KMTo.OK() || a.KMTo.Int() >= EarlyKM {
		a.KMTo = assess.Of(EarlyKM - 1) // the rest needn't be counted
	}
	groups, err := v.Bands(a.filter(), bandKM, fleet.Model, fleet.Batch)
	if err != nil {
		return nil, err
	}
	units := make([]measured, len(groups))
	for i := range groups {
		units[i] = measured{groups[i].By, strata(&groups[i], alike("", v.Category(groups[i].By[0])), bandKM, EarlyKM)}
	}
	all := total(units)
	var (
		batches = make([]atRisk, 0, len(units))
		ofModel = map[string]*atRisk{} // all batches of each
		order   []string
		apart   []stats.Deviation
	)
	for i := range units {
		v.Rest()
		r, model := units[i].risks(all), units[i].words[0]
		if ofModel[model] == nil {
			ofModel[model], order = new(atRisk), append(order, model)
		}
		ofModel[model].join(&r)
		batches = append(batches, r)
	}
	for _, m := range order {
		if ofModel[m].size >= MinPairs {
			apart = append(apart, ofModel[m].deviation(0))
		}
	}
	between := stats.OddsSpread(apart)
	tested, faced := make([]Signal, 0, len(units)), make([]atRisk, 0, len(units))
	apart = nil
	for i := range units {
		v.Rest()
		model, batch := units[i].words[0], units[i].words[1]
		if batch == "" || batches[i].size < MinPairs {
			continue
		}
		r := batches[i].besideOthers(ofModel[model], between)
		s, err := Signal{Kind: EarlyBatch, Model: model, Batch: batch}.finding(r.hits, r.size, r.expected/float64(r.size))
		if err != nil {
			return nil, err
		}
		s.Beyond = float64(s.Size) * (s.Low - s.Expected) // only more is a fault
		tested, faced, apart = append(tested, s), append(faced, r), append(apart, r.deviation(0))
	}
	spread := stats.OddsSpread(apart)
	for i := range tested {
		v.Rest()
		if tested[i].P, err = faced[i].tail(spread); err != nil {
			return nil, err
		}
	}
	return tested, nil
}
