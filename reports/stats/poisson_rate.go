package stats

import "gonum.org/v1/gonum/stat/distuv"

// Rate is a number of events per so many units, with its interval.
type Rate struct {
	Events   int     `json:"events"`
	Exposure float64 `json:"exposure"`
	Rate     float64 `json:"rate"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

// PoissonRate returns events per unit of exposure with the exact interval of a
// Poisson count,
//
//	low = ½ χ²(α/2; 2 events) / exposure,  high = ½ χ²(1 − α/2; 2 events + 2) / exposure
//
// where low is 0 for no events. The interval may reach beyond one event a unit: it
// doesn't know that a pair fails once.
//
// Errors: ErrBadInput for events below 0, exposure not above 0 or conf outside
// (0, 1).
//
// Source: Garwood F (1936) Biometrika 28:437–442.
func PoissonRate(events int, exposure, conf float64) (*Rate, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	if events < 0 || !(exposure > 0) {
		return nil, badInput("%d events on an exposure of %v, must be 0 or more and above 0", events, exposure)
	}
	r := &Rate{Events: events, Exposure: exposure, Rate: float64(events) / exposure}
	alpha := 1 - conf
	if events > 0 {
		r.Low = distuv.ChiSquared{K: 2 * float64(events)}.Quantile(alpha/2) / 2 / exposure
	}
	r.High = distuv.ChiSquared{K: 2*float64(events) + 2}.Quantile(1-alpha/2) / 2 / exposure
	return r, nil
}
