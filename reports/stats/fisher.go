package stats

import "math"

// Fisher is the exact test of a 2×2 table.
type Fisher struct {
	PTwo     float64 `json:"p_two"`
	PLess    float64 `json:"p_less"`
	PGreater float64 `json:"p_greater"`
	// OddsRatio is the conditional maximum likelihood estimate, OddsLow and
	// OddsHigh its exact limits; a side that has no end is undefined.
	OddsRatio Float `json:"odds_ratio"`
	OddsLow   Float `json:"odds_low"`
	OddsHigh  Float `json:"odds_high"`
}

// Two tables count as equally likely when their probabilities differ by less
// than this, relatively: the value of R's fisher.test.
const exactTie = 1e-7

// FisherTest tests the table (a b / c d) given its margins. Under no
// association a is hypergeometric:
//
//	P(a = k) = C(a+b, k) C(c+d, a+c−k) / C(n, a+c)
//
// p_less is P(a ≤ observed), p_greater P(a ≥ observed), p_two the total
// probability of the tables no likelier than the one observed. A zero margin
// leaves one table only: every p is 1 and the odds ratio is undefined. The
// limits take half of 1 − conf on each side.
//
// A p below 1e-300 may come out as 0: it is beyond what a float64 holds.
//
// Errors: ErrBadInput for a negative count or conf outside (0, 1).
//
// Source: Fisher RA (1935) The Design of Experiments; two-sided rule and
// conditional estimate as R's fisher.test.
func FisherTest(a, b, c, d int, conf float64) (Fisher, error) {
	if err := checkConf(conf); err != nil {
		return Fisher{}, err
	}
	if min(a, b, c, d) < 0 {
		return Fisher{}, badInput("table (%d %d / %d %d), counts must be 0 or more", a, b, c, d)
	}
	h := hypergeometric{white: a + b, black: c + d, drawn: a + c}
	lo, hi := h.support()
	probs := h.weights(1)
	seen := probs[a-lo]
	var f Fisher
	for i, p := range probs {
		if lo+i <= a {
			f.PLess += p
		}
		if lo+i >= a {
			f.PGreater += p
		}
		if p <= seen*(1+exactTie) {
			f.PTwo += p
		}
	}
	f.PLess, f.PGreater, f.PTwo = math.Min(1, f.PLess), math.Min(1, f.PGreater), math.Min(1, f.PTwo)
	if lo == hi {
		return f, nil
	}
	alpha := (1 - conf) / 2
	if a > lo {
		f.OddsLow = Some(oddsWhere(func(odds float64) float64 { return h.tail(odds, a, hi) - alpha }))
	}
	if a < hi {
		f.OddsHigh = Some(oddsWhere(func(odds float64) float64 { return alpha - h.tail(odds, lo, a) }))
	}
	switch {
	case a == lo:
		f.OddsRatio = Some(0)
	case a < hi:
		f.OddsRatio = Some(oddsWhere(func(odds float64) float64 { return h.mean(odds) - float64(a) }))
	}
	return f, nil
}

// hypergeometric counts the white among drawn balls, with Fisher's noncentral
// odds where asked.
type hypergeometric struct{ white, black, drawn int }

func (h hypergeometric) support() (lo, hi int) {
	return max(0, h.drawn-h.black), min(h.white, h.drawn)
}

// weights returns the probabilities of lo … hi at an odds ratio. They grow
// outward from the mode by exact ratios, so tails keep relative accuracy.
func (h hypergeometric) weights(odds float64) []float64 {
	lo, hi := h.support()
	ratio := func(k int) float64 { // P(k+1)/P(k)
		return odds * float64(h.white-k) / float64(k+1) * float64(h.drawn-k) / float64(h.black-h.drawn+k+1)
	}
	mode := lo
	for left, right := lo, hi; left < right; {
		middle := left + (right-left)/2
		if ratio(middle) >= 1 {
			left = middle + 1
		} else {
			right = middle
		}
		mode = left
	}
	w := make([]float64, hi-lo+1)
	w[mode-lo] = 1
	for k := mode; k < hi; k++ {
		w[k+1-lo] = w[k-lo] * ratio(k)
	}
	for k := mode; k > lo; k-- {
		w[k-1-lo] = w[k-lo] / ratio(k-1)
	}
	sum := 0.0
	for _, v := range w {
		sum += v
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// tail returns P(from ≤ X ≤ to) at an odds ratio.
func (h hypergeometric) tail(odds float64, from, to int) float64 {
	lo, _ := h.support()
	sum := 0.0
	for _, p := range h.weights(odds)[from-lo : to-lo+1] {
		sum += p
	}
	return sum
}

func (h hypergeometric) mean(odds float64) float64 {
	lo, _ := h.support()
	sum := 0.0
	for i, p := range h.weights(odds) {
		sum += float64(lo+i) * p
	}
	return sum
}

// oddsWhere returns the odds ratio at which rising crosses nought, by
// bisection on the logarithm.
func oddsWhere(rising func(odds float64) float64) float64 {
	low, high := -1.0, 1.0
	for rising(math.Exp(low)) > 0 && low > -700 {
		low *= 2
	}
	for rising(math.Exp(high)) < 0 && high < 700 {
		high *= 2
	}
	for range 200 {
		middle := (low + high) / 2
		if middle == low || middle == high {
			break
		}
		if rising(math.Exp(middle)) < 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Exp((low + high) / 2)
}
