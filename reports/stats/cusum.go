package stats

import "cmp"

// CUSUMOptions set a two-sided cumulative sum chart.
type CUSUMOptions[O cmp.Ordered] struct {
	// K is the allowance and H the decision limit, in standard deviations;
	// 0 means 0.5 and 4, which find a shift of one deviation in about 8 points
	// and alarm falsely once in about 168 (see NormalRunLength).
	K, H float64
	Process[O]
}

// CUSUMPoint says where a chart stands after one value.
type CUSUMPoint[O cmp.Ordered] struct {
	Order O       `json:"order"`
	Value float64 `json:"value"`
	Out   bool    `json:"out"`
}

// CUSUMChart holds both sums, in standard deviations, in order of time.
type CUSUMChart[O cmp.Ordered] struct {
	Points []CUSUMPoint[O] `json:"points"`
	Upper  []float64       `json:"upper"`
	Lower  []float64       `json:"lower"`
	// FirstSignal is the order of the first point beyond H, nil for none.
	FirstSignal *O `json:"first_signal"`
}

// Usual design of the normal CUSUM (Lucas & Crosier 1982, Table 1).
const (
	usualAllowance = 0.5
	usualDecision  = 4
)

// CUSUM sums deviations from the target. With z = (x − target)/sd:
//
//	C⁺_t = max(0, C⁺_{t−1} + z_t − k),  C⁻_t = max(0, C⁻_{t−1} − z_t − k)
//
// from 0, and signals where either exceeds h. The sums run on after a signal.
//
// Errors as EWMA.
//
// Source: Page ES (1954) Biometrika 41:100–115; Lucas JM, Crosier RB (1982)
// Technometrics 24:199–205.
func CUSUM[O cmp.Ordered](values []Value[O], opt CUSUMOptions[O]) (*CUSUMChart[O], error) {
	k, h := opt.K, opt.H
	if k == 0 {
		k = usualAllowance
	}
	if h == 0 {
		h = usualDecision
	}
	if !(k > 0) || !(h > 0) {
		return nil, badInput("k %v and h %v, must be above 0", opt.K, opt.H)
	}
	values, err := valuesByOrder(values)
	if err != nil {
		return nil, err
	}
	target, sd, err := opt.learn(values)
	if err != nil {
		return nil, err
	}
	chart := &CUSUMChart[O]{}
	up, down := 0.0, 0.0
	for _, v := range values {
		z := (v.Value - target) / sd
		up, down = max(0, up+z-k), max(0, down-z-k)
		if !finite(up, down) {
			return nil, ErrBeyondNumbers
		}
		out := up > h || down > h
		chart.Points = append(chart.Points, CUSUMPoint[O]{v.Order, v.Value, out})
		chart.Upper = append(chart.Upper, up)
		chart.Lower = append(chart.Lower, down)
		if out && chart.FirstSignal == nil {
			chart.FirstSignal = &v.Order
		}
	}
	return chart, nil
}
