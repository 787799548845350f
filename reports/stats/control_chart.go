package stats

import (
	"cmp"
	"math"
	"slices"
)

// Sample is one point of a chart of counts: hits among size pairs (p chart),
// faults on size units looked at (u chart), faults of one unit (c chart).
// Order places it in time: a month, a date, a number.
type Sample[O cmp.Ordered] struct {
	Order O
	Hits  float64
	Size  float64
}

// Value is one point of a chart of measurements.
type Value[O cmp.Ordered] struct {
	Order O
	Value float64
}

// Range names the orders From to To, both included.
type Range[O cmp.Ordered] struct{ From, To O }

// ChartOptions say where the centre comes from and how wide the limits are.
type ChartOptions[O cmp.Ordered] struct {
	// Sigma is the half width in standard errors; 0 means the usual 3.
	Sigma float64
	// Baseline limits the points the centre is learnt from; nil means all.
	Baseline *Range[O]
}

// ChartPoint is one point with the limits that hold for its size. An empty
// sample has no value and no limits.
type ChartPoint[O cmp.Ordered] struct {
	Order  O     `json:"order"`
	Value  Float `json:"value"`
	Centre Float `json:"centre"`
	Low    Float `json:"low"`
	High   Float `json:"high"`
	// Out says that the value lies beyond a limit, not merely on it.
	Out bool `json:"out"`
}

// Chart is a series in time with its limits.
type Chart[O cmp.Ordered] struct {
	Points []ChartPoint[O] `json:"points"`
}

// usualSigma is the half width of a Shewhart chart, in standard errors.
const usualSigma = 3

// PChart charts shares. With p̄ = Σ hits / Σ size over the baseline, limits
// are p̄ ∓ 3 √(p̄(1 − p̄)/nᵢ), cut at 0 and 1. Samples of one order are added
// up; an empty one has no point value.
//
// Errors: ErrEmpty where the baseline holds no pairs, ErrBadInput for hits
// outside 0–size.
//
// Source: NIST/SEMATECH e-Handbook 6.3.3.2; Montgomery, Introduction to
// Statistical Quality Control.
func PChart[O cmp.Ordered](samples []Sample[O], opt ChartOptions[O]) (*Chart[O], error) {
	for _, s := range samples {
		if !(s.Hits >= 0 && s.Hits <= s.Size) {
			return nil, badInput("order %v has %v hits of %v, must lie in 0 to size", s.Order, s.Hits, s.Size)
		}
	}
	return chartOfCounts(samples, opt, 1, func(p float64) float64 { return p * (1 - p) })
}

// UChart charts faults per unit where samples differ in size. With ū = Σ
// faults / Σ size over the baseline, limits are ū ∓ 3 √(ū/nᵢ), cut at 0. A
// size need not be whole.
//
// Errors: ErrEmpty where the baseline holds no unit, ErrBadInput for a
// negative count or size, or faults without units.
//
// Source: Montgomery, Introduction to Statistical Quality Control.
func UChart[O cmp.Ordered](samples []Sample[O], opt ChartOptions[O]) (*Chart[O], error) {
	for _, s := range samples {
		if !(s.Hits >= 0 && s.Size >= 0) || s.Size == 0 && s.Hits > 0 {
			return nil, badInput("order %v has %v faults on %v units, must be 0 or more", s.Order, s.Hits, s.Size)
		}
	}
	return chartOfCounts(samples, opt, math.Inf(1), func(u float64) float64 { return u })
}

// CChart charts faults of units of equal size, one a point: limits are
// c̄ ∓ 3 √c̄, cut at 0. Size is not read.
//
// Errors: ErrEmpty where the baseline holds no point, ErrBadInput for a
// negative count or an order that stands twice.
//
// Source: NIST/SEMATECH e-Handbook 6.3.3.1.
func CChart[O cmp.Ordered](samples []Sample[O], opt ChartOptions[O]) (*Chart[O], error) {
	units := make([]Sample[O], len(samples))
	seen := map[O]bool{}
	for i, s := range samples {
		if seen[s.Order] {
			return nil, badInput("order %v stands twice, a c chart has one unit a point", s.Order)
		}
		seen[s.Order] = true
		units[i] = Sample[O]{s.Order, s.Hits, 1}
	}
	return UChart(units, opt)
}

// chartOfCounts charts hits/size, a mean of size draws of the given variance.
func chartOfCounts[O cmp.Ordered](samples []Sample[O], opt ChartOptions[O], most float64, variance func(centre float64) float64) (*Chart[O], error) {
	sigma := opt.Sigma
	if sigma == 0 {
		sigma = usualSigma
	}
	if !(sigma > 0) {
		return nil, badInput("sigma is %v, must be above 0", opt.Sigma)
	}
	samples = byOrder(samples)
	hits, size := 0.0, 0.0
	for _, s := range samples {
		if opt.Baseline.holds(s.Order) {
			hits += s.Hits
			size += s.Size
		}
	}
	if size == 0 {
		return nil, ErrEmpty.because("no baseline point holds data")
	}
	if !finite(hits, size) {
		return nil, ErrBeyondNumbers
	}
	centre := hits / size
	chart := &Chart[O]{Points: make([]ChartPoint[O], len(samples))}
	for i, s := range samples {
		p := ChartPoint[O]{Order: s.Order}
		if s.Size > 0 {
			half := sigma * math.Sqrt(variance(centre)/s.Size)
			low, high := math.Max(0, centre-half), math.Min(most, centre+half)
			v := s.Hits / s.Size
			p.Value, p.Centre, p.Low, p.High = Some(v), Some(centre), Some(low), Some(high)
			p.Out = v < low || v > high
		}
		chart.Points[i] = p
	}
	return chart, nil
}

// holds says whether an order lies in the range; a nil range holds all.
func (r *Range[O]) holds(o O) bool {
	return r == nil || r.From <= o && o <= r.To
}

// byOrder sorts samples in time and adds up those of one order.
func byOrder[O cmp.Ordered](samples []Sample[O]) []Sample[O] {
	sorted := slices.Clone(samples)
	slices.SortStableFunc(sorted, func(a, b Sample[O]) int { return cmp.Compare(a.Order, b.Order) })
	out := sorted[:0]
	for _, s := range sorted {
		if last := len(out) - 1; last >= 0 && out[last].Order == s.Order {
			out[last].Hits += s.Hits
			out[last].Size += s.Size
			continue
		}
		out = append(out, s)
	}
	return out
}

// valuesByOrder sorts measurements in time and refuses two of one order.
func valuesByOrder[O cmp.Ordered](values []Value[O]) ([]Value[O], error) {
	sorted := slices.Clone(values)
	slices.SortStableFunc(sorted, func(a, b Value[O]) int { return cmp.Compare(a.Order, b.Order) })
	for i, v := range sorted {
		if math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
			return nil, badInput("order %v has value %v, must be a finite number", v.Order, v.Value)
		}
		if i > 0 && sorted[i-1].Order == v.Order {
			return nil, badInput("order %v stands twice, a chart of values has one a point", v.Order)
		}
	}
	if len(sorted) == 0 {
		return nil, ErrEmpty
	}
	return sorted, nil
}

// Process states what a chart of values is held against; an undefined part
// is learnt from the baseline (mean, and standard deviation with n − 1).
type Process[O cmp.Ordered] struct {
	Target   Float
	SD       Float
	Baseline *Range[O]
}

func (p Process[O]) learn(values []Value[O]) (target, sd float64, err error) {
	var base []float64
	for _, v := range values {
		if p.Baseline.holds(v.Order) {
			base = append(base, v.Value)
		}
	}
	if len(base) == 0 && !(p.Target.OK && p.SD.OK) {
		return 0, 0, ErrEmpty.because("no baseline point holds data")
	}
	mean, spread := meanSD(base)
	if target = mean; p.Target.OK {
		target = p.Target.V
	}
	if sd = spread; p.SD.OK {
		sd = p.SD.V
		if !(sd > 0) {
			return 0, 0, badInput("sd is %v, must be above 0", sd)
		}
	}
	if !finite(target, sd) {
		return 0, 0, ErrBeyondNumbers
	}
	if !(sd > 0) {
		return 0, 0, ErrNoSpread.because("the baseline has no spread to measure against")
	}
	return target, sd, nil
}

// meanSD returns the mean and the standard deviation with n − 1, the latter 0
// below two values.
func meanSD(x []float64) (mean, sd float64) {
	if len(x) == 0 {
		return 0, 0
	}
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	if len(x) < 2 {
		return mean, 0
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(x)-1))
}
