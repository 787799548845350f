package stats

import (
	"math"
)

// Limits say how far two methods of measuring the same thing part.
type Limits struct {
	N int `json:"n"`
	// Bias is the mean of first − second, SD their standard deviation.
	Bias float64 `json:"bias"`
	SD   float64 `json:"sd"`
	// Low and High hold about 95 % of differences: bias ∓ 1.96 SD.
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
	BiasLow  float64 `json:"bias_low"`
	BiasHigh float64 `json:"bias_high"`
	// SELimit is the standard error of a limit, SD √(3/n); its t interval
	// around either limit follows.
	SELimit  float64 `json:"se_limit"`
	LowLow   float64 `json:"low_low"`
	LowHigh  float64 `json:"low_high"`
	HighLow  float64 `json:"high_low"`
	HighHigh float64 `json:"high_high"`
}

// limitsWidth is the half width of the limits in standard deviations, the
// normal quantile of 97.5 % (the paper of 1986 rounds it to 2).
const limitsWidth = 1.959963984540054

// BlandAltman returns the limits of agreement of paired measurements, with t
// intervals (n − 1 degrees of freedom) at confidence conf.
//
// Errors: ErrEmpty for no pairs, ErrNoSpread for one pair or where all
// differences are equal, ErrBadInput for lengths that differ, numbers that
// are not finite or conf outside (0, 1).
//
// Source: Bland JM, Altman DG (1986) Lancet i:307–310.
func BlandAltman(first, second []float64, conf float64) (*Limits, error) {
	return limitsOfAgreement(first, second, nil, limitsWidth, conf)
}

// BlandAltmanCounted is BlandAltman where pair i stands count[i] times; a
// count below 0 is ErrBadInput.
func BlandAltmanCounted(first, second []float64, count []int, conf float64) (*Limits, error) {
	if len(count) != len(first) {
		return nil, badInput("%d pairs and %d counts, must be as many", len(first), len(count))
	}
	return limitsOfAgreement(first, second, count, limitsWidth, conf)
}

func limitsOfAgreement(first, second []float64, count []int, width, conf float64) (*Limits, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	if len(first) != len(second) {
		return nil, badInput("%d first and %d second measurements, must be as many", len(first), len(second))
	}
	times := func(i int) int {
		if count == nil {
			return 1
		}
		return count[i]
	}
	d := make([]float64, len(first))
	pairs, total := 0, 0.0
	lowest, highest := math.Inf(1), math.Inf(-1)
	for i := range d {
		d[i] = first[i] - second[i]
		if math.IsNaN(d[i]) || math.IsInf(d[i], 0) {
			return nil, badInput("pair %d is (%v, %v), must be finite numbers", i+1, first[i], second[i])
		}
		if times(i) < 0 {
			return nil, badInput("pair %d has count %d, must be 0 or more", i+1, times(i))
		}
		if times(i) > 0 {
			pairs += times(i)
			total += float64(times(i)) * d[i]
			lowest, highest = min(lowest, d[i]), max(highest, d[i])
		}
	}
	switch {
	case pairs == 0:
		return nil, ErrEmpty
	case lowest == highest:
		return nil, ErrNoSpread.because("all differences are equal, or there is only one")
	}
	n := float64(pairs)
	l := &Limits{N: pairs, Bias: total / n}
	squares := 0.0
	for i, v := range d {
		squares += float64(times(i)) * (v - l.Bias) * (v - l.Bias)
	}
	l.SD = math.Sqrt(squares / (n - 1))
	l.Low, l.High = l.Bias-width*l.SD, l.Bias+width*l.SD
	l.SELimit = l.SD * math.Sqrt(3/n)
	t := tCritical(n-1, conf)
	l.BiasLow, l.BiasHigh = l.Bias-t*l.SD/math.Sqrt(n), l.Bias+t*l.SD/math.Sqrt(n)
	l.LowLow, l.LowHigh = l.Low-t*l.SELimit, l.Low+t*l.SELimit
	l.HighLow, l.HighHigh = l.High-t*l.SELimit, l.High+t*l.SELimit
	if !finite(l.SD, l.Low, l.High, l.LowLow, l.HighHigh) {
		return nil, ErrBeyondNumbers
	}
	return l, nil
}
