package stats

import (
	"cmp"
	"math"
)

// EWMAOptions set an exponentially weighted moving average chart.
type EWMAOptions[O cmp.Ordered] struct {
	// Lambda is the weight of the newest value, above 0 to 1; 0 means 0.2.
	Lambda float64
	// Width is the half width in standard errors of the average; 0 means 3.
	Width float64
	// Asymptotic draws the limits of a long series from the first point on.
	Asymptotic bool
	Process[O]
}

// Defaults of the EWMA chart: common practice, no source.
const usualLambda = 0.2

// EWMA charts z_t = λ x_t + (1 − λ) z_{t−1}, started at the target, within
//
//	target ∓ L σ √(λ/(2 − λ) [1 − (1 − λ)^{2t}])
//
// The point's value is z_t. It finds small lasting shifts that single points
// hide.
//
// Errors: ErrEmpty, ErrNoSpread where σ is learnt from a baseline without
// spread, ErrBadInput for λ outside (0, 1], a width of 0 or less, a value
// that is no finite number or an order that stands twice.
//
// Source: NIST/SEMATECH e-Handbook 6.3.2.4.
func EWMA[O cmp.Ordered](values []Value[O], opt EWMAOptions[O]) (*Chart[O], error) {
	lambda, width := opt.Lambda, opt.Width
	if lambda == 0 {
		lambda = usualLambda
	}
	if width == 0 {
		width = usualSigma
	}
	if !(lambda > 0 && lambda <= 1) || !(width > 0) {
		return nil, badInput("lambda %v and width %v, must lie in (0, 1] and above 0", opt.Lambda, opt.Width)
	}
	values, err := valuesByOrder(values)
	if err != nil {
		return nil, err
	}
	target, sd, err := opt.learn(values)
	if err != nil {
		return nil, err
	}
	chart := &Chart[O]{Points: make([]ChartPoint[O], len(values))}
	z := target
	for i, v := range values {
		z = lambda*v.Value + (1-lambda)*z
		half := width * sd * math.Sqrt(lambda/(2-lambda))
		if !opt.Asymptotic {
			half *= math.Sqrt(-math.Expm1(2 * float64(i+1) * math.Log1p(-lambda)))
		}
		if !finite(z, target-half, target+half) {
			return nil, ErrBeyondNumbers
		}
		chart.Points[i] = ChartPoint[O]{
			Order: v.Order, Value: Some(z), Centre: Some(target), Low: Some(target - half), High: Some(target + half),
			Out: math.Abs(z-target) > half,
		}
	}
	return chart, nil
}
