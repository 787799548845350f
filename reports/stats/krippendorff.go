package stats

import "math"

// Scale says how far apart two grades are.
type Scale string

// Scales of Krippendorff's alpha. Nominal: equal or not. Ordinal: by how many
// grades lie between. Interval: by the difference of their values. Ratio: by
// the difference relative to the sum.
const (
	Nominal      Scale = "nominal"
	Ordinal      Scale = "ordinal"
	IntervalData Scale = "interval"
	Ratio        Scale = "ratio"
)

// Alpha is Krippendorff's alpha with its bootstrap interval.
type Alpha struct {
	Alpha float64 `json:"alpha"`
	Low   Float   `json:"alpha_low"`
	High  Float   `json:"alpha_high"`
	// Units is how many items had two grades or more, Grades how many they had.
	Units  int    `json:"units"`
	Grades int    `json:"grades"`
	Why    string `json:"why,omitempty"`
}

// ErrNotPaired says that no item was graded twice.
var ErrNotPaired = &Reason{"not-paired", "no item has two grades to compare"}

// Krippendorff returns alpha for any number of raters and missing grades.
// With o_ck the coincidences (pairs c–k within an item, each over m − 1 for m
// grades), n_c their totals and n the grand total, over items with m ≥ 2:
//
//	α = 1 − (n − 1) Σ o_ck δ²_ck / Σ n_c n_k δ²_ck
//	nominal δ² = 1 for c ≠ k; interval (c − k)²; ratio ((c − k)/(c + k))²
//	ordinal (Σ_{g=c}^{k} n_g − (n_c + n_k)/2)²
//
// values gives what each level measures, for interval and ratio (nil: 0, 1,
// 2, …). 1 is full agreement, 0 chance; it may fall below 0. The interval is
// a percentile bootstrap over items (0 replicates: none); replicates without
// a value are skipped.
//
// Errors: ErrNotPaired where no item has two grades, ErrOneCategory where all
// grades are equal, ErrBadInput for an unknown scale, values that are not one
// a level, or negative values on the ratio scale.
//
// Sources: Krippendorff K (2011) Computing Krippendorff's
// Alpha-Reliability; bootstrap over items: Zapf A et al. (2016) BMC Medical
// Research Methodology 16:93.
func Krippendorff(r *Ratings, scale Scale, values []float64, replicates int, seed uint64, conf float64) (*Alpha, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	c, err := newCoincidences(r, scale, values)
	if err != nil {
		return nil, err
	}
	a := &Alpha{}
	weights := make([]int, len(c.patterns))
	for i, p := range c.patterns {
		weights[i] = p.Items
		a.Units += p.Items
		a.Grades += p.Items * p.size()
	}
	if a.Units == 0 {
		return nil, ErrNotPaired
	}
	v, ok := c.alpha(weights)
	if !ok {
		return nil, ErrOneCategory
	}
	if !finite(v) {
		return nil, ErrBeyondNumbers
	}
	a.Alpha = v
	if replicates > 0 {
		b, err := Resampled(weights, replicates, seed, conf, c.alpha)
		switch {
		case err == nil:
			a.Low, a.High = Some(b.Low), Some(b.High)
		case isReason(err):
			a.Why = err.Error()
		default:
			return nil, err
		}
	}
	return a, nil
}

// coincidences holds the patterns with two grades or more and the scratch
// space of one evaluation.
type coincidences struct {
	patterns []Pattern
	size     []float64
	scale    Scale
	values   []float64
	inner    []float64 // disagreement within a pattern; not for ordinal
	totals   []float64
	midranks []float64
}

func newCoincidences(r *Ratings, scale Scale, values []float64) (*coincidences, error) {
	if values == nil {
		for l := range r.Levels {
			values = append(values, float64(l))
		}
	}
	if len(values) != r.Levels {
		return nil, badInput("%d values for %d levels, must be as many", len(values), r.Levels)
	}
	for l, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) || scale == Ratio && v < 0 {
			return nil, badInput("level %d has value %v, must be finite, and 0 or more on a ratio scale", l+1, v)
		}
	}
	switch scale {
	case Nominal, Ordinal, IntervalData, Ratio:
	default:
		return nil, badInput("scale is %q, must be nominal, ordinal, interval or ratio", scale)
	}
	c := &coincidences{
		scale: scale, values: values,
		totals: make([]float64, r.Levels), midranks: make([]float64, r.Levels),
	}
	for _, p := range r.Patterns {
		if m := p.size(); m >= 2 {
			c.patterns = append(c.patterns, p)
			c.size = append(c.size, float64(m))
			if scale != Ordinal {
				c.inner = append(c.inner, c.disagreement(asFloats(p.Counts), values)/float64(m-1))
			}
		}
	}
	return c, nil
}

func asFloats(counts []int) []float64 {
	out := make([]float64, len(counts))
	for i, v := range counts {
		out[i] = float64(v)
	}
	return out
}

// alpha evaluates the statistic with weights[i] items of pattern i.
func (c *coincidences) alpha(weights []int) (float64, bool) {
	clear(c.totals)
	n, observed := 0.0, 0.0
	for i, w := range weights {
		if w == 0 {
			continue
		}
		f := float64(w)
		n += f * c.size[i]
		for l, g := range c.patterns[i].Counts {
			c.totals[l] += f * float64(g)
		}
		if c.scale != Ordinal {
			observed += f * c.inner[i]
		}
	}
	values := c.values
	if c.scale == Ordinal {
		// The ordinal distance of two grades is that of their middle ranks.
		below := 0.0
		for l, t := range c.totals {
			c.midranks[l] = below + t/2
			below += t
		}
		values = c.midranks
		for i, w := range weights {
			if w > 0 {
				observed += float64(w) * squaredSpread(c.patterns[i].Counts, values) / (c.size[i] - 1)
			}
		}
	}
	expected := c.disagreement(c.totals, values)
	if !(expected > 0) {
		return 0, false
	}
	return 1 - (n-1)*observed/expected, true
}

// disagreement sums δ² over ordered pairs of grades with the given totals.
func (c *coincidences) disagreement(totals, values []float64) float64 {
	switch c.scale {
	case Nominal:
		n, same := 0.0, 0.0
		for _, t := range totals {
			n += t
			same += t * t
		}
		return n*n - same
	case Ratio:
		sum := 0.0
		for i, t := range totals {
			for j := range i {
				if s := values[i] + values[j]; s > 0 {
					d := (values[i] - values[j]) / s
					sum += 2 * t * totals[j] * d * d
				}
			}
		}
		return sum
	}
	return squaredSpread(totals, values)
}

// squaredSpread returns Σ n_i n_j (v_i − v_j)² over ordered pairs, as
// 2 n Σ n_i (v_i − v̄)².
func squaredSpread[N int | float64](totals []N, values []float64) float64 {
	n, mean := 0.0, 0.0
	for i, t := range totals {
		n += float64(t)
		mean += float64(t) * values[i]
	}
	mean /= n
	sum := 0.0
	for i, t := range totals {
		d := values[i] - mean
		sum += float64(t) * d * d
	}
	return 2 * n * sum
}
