package stats

import (
	"math"
	"slices"
)

// Trend says whether a series drifts, and by how much.
type Trend struct {
	N    int     `json:"n"`
	S    int     `json:"s"`
	VarS float64 `json:"var_s"`
	Z    float64 `json:"z"`
	P    float64 `json:"p"`
	// TauB is undefined where all values are equal.
	TauB Float `json:"tau_b"`
	// Slope is Sen's, per unit of order, with its limits; a limit is
	// undefined where too few points reach the confidence asked.
	Slope     float64 `json:"slope"`
	SlopeLow  Float   `json:"slope_low"`
	SlopeHigh Float   `json:"slope_high"`
	Why       string  `json:"why,omitempty"`
}

// SenRanks says how the ranks of the limits of Sen's slope become whole.
type SenRanks uint8

// Outward takes the next rank outward, so that a limit never claims more than
// its confidence; Nearest rounds, as R and SciPy do.
const (
	Outward SenRanks = iota
	Nearest
)

// LongestTrend bounds a series: every pair of points has a slope.
const LongestTrend = 5000

// MannKendall tests a series for a monotone trend and estimates Sen's slope.
//
//	S = Σ_{i<j} sign(x_j − x_i)
//	Var S = [n(n−1)(2n+5) − Σ t(t−1)(2t+5)]/18 over groups of t equal values
//	z = (S ∓ 1)/√Var S, 0 for S = 0; p two-sided
//	slope = median of (x_j − x_i)/(order_j − order_i)
//
// Points of one order do not compare; Var S then takes Kendall's form for
// ties in both. With N slopes and C = z √Var S the limits are the slopes of
// rank (N − C)/2 and (N + C)/2 + 1, made whole as asked. All values equal:
// Var S is 0, z 0 and p 1.
//
// Errors: ErrEmpty for no points, ErrNoSpread where all orders are equal,
// ErrBadInput for lengths that differ, numbers that are not finite, more than
// 5000 points (reduce them to days or months) or conf outside (0, 1).
//
// Sources: Mann HB (1945) Econometrica 13:245–259; Kendall MG (1975) Rank
// Correlation Methods; Sen PK (1968) JASA 63:1379–1389; Gilbert RO (1987).
func MannKendall(order, value []float64, conf float64, ranks SenRanks) (*Trend, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	n := len(value)
	if len(order) != n || n > LongestTrend {
		return nil, badInput("%d orders and %d values, must be as many, up to %d", len(order), n, LongestTrend)
	}
	for i := range value {
		if v := order[i] + value[i]; math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, badInput("point %d is (%v, %v), must be finite numbers", i+1, order[i], value[i])
		}
	}
	if n == 0 {
		return nil, ErrEmpty
	}
	t := &Trend{N: n, P: 1}
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range value {
		for j := i + 1; j < n; j++ {
			run := order[j] - order[i]
			if run == 0 {
				continue
			}
			rise := value[j] - value[i]
			slopes = append(slopes, rise/run)
			switch {
			case rise != 0 && (rise > 0) == (run > 0):
				t.S++
			case rise != 0:
				t.S--
			}
		}
	}
	if len(slopes) == 0 {
		return nil, ErrNoSpread.because("all points have the same order")
	}
	values, orders := tiesOf(value), tiesOf(order)
	m := float64(n)
	t.VarS = math.Max(0, (m*(m-1)*(2*m+5)-values.cubic-orders.cubic)/18+
		values.pairs*orders.pairs/(2*m*(m-1)))
	if n > 2 {
		t.VarS += values.triples * orders.triples / (9 * m * (m - 1) * (m - 2))
	}
	if values.groups == 1 {
		t.VarS = 0
	}
	if t.S != 0 && t.VarS > 0 {
		s := float64(t.S)
		t.Z = (s - math.Copysign(1, s)) / math.Sqrt(t.VarS)
		t.P = normalTwoSided(t.Z)
	}
	if values.groups > 1 {
		all := m * (m - 1)
		t.TauB = Some(2 * float64(t.S) / math.Sqrt((all-values.pairs)*(all-orders.pairs)))
	}
	slices.Sort(slopes)
	count := len(slopes)
	t.Slope = (slopes[(count-1)/2] + slopes[count/2]) / 2
	c := normalCritical(conf) * math.Sqrt(t.VarS)
	from, to := (float64(count)-c)/2, (float64(count)+c)/2+1
	low, high := int(math.Floor(from)), int(math.Ceil(to))
	if ranks == Nearest {
		low, high = int(math.Round(from)), int(math.Round(to))
	}
	if low >= 1 && high <= count {
		t.SlopeLow, t.SlopeHigh = Some(slopes[low-1]), Some(slopes[high-1])
	} else if t.VarS == 0 {
		t.SlopeLow, t.SlopeHigh = Some(t.Slope), Some(t.Slope)
	} else {
		t.Why = "too few points for limits of the slope at this confidence"
	}
	return t, nil
}

// ties sums over groups of equal numbers of size t.
type ties struct {
	groups                int
	pairs, triples, cubic float64 // t(t−1), t(t−1)(t−2), t(t−1)(2t+5)
}

func tiesOf(x []float64) ties {
	sorted := slices.Sorted(slices.Values(x))
	var s ties
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		t := float64(j - i)
		s.groups++
		s.pairs += t * (t - 1)
		s.triples += t * (t - 1) * (t - 2)
		s.cubic += t * (t - 1) * (2*t + 5)
		i = j
	}
	return s
}
