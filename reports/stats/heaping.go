package stats

// Heaping says whether whole numbers were written down as round ones.
type Heaping struct {
	N int `json:"n"`
	// Digits counts the values by last digit, 0 to 9.
	Digits [10]int `json:"digits"`
	// Chi2 holds them against a tenth each, 9 degrees of freedom.
	Chi2 float64 `json:"chi2"`
	DF   int     `json:"df"`
	P    float64 `json:"p"`
	// Share50 and Share100 are the shares of multiples of 50 and 100 (a
	// fiftieth and a hundredth without heaping).
	Share50  float64 `json:"share50"`
	Share100 float64 `json:"share100"`
	// Whipple05 is 100 without preference for 0 and 5 to 500 with nothing
	// else; Myers 0 for none to 90 for one digit only. Undefined where no
	// value lies in their range.
	Whipple05 Float `json:"whipple_05"`
	Myers     Float `json:"myers"`
	// Blended is the blended share of each digit, in percent, behind Myers.
	Blended []float64 `json:"blended"`
	Why     string    `json:"why,omitempty"`
}

// HeapingOptions set the ranges read; nil means the published ones for ages:
// 23–62 for Whipple, 10–89 for Myers. For kilometres give the whole range.
type HeapingOptions struct {
	Whipple *Range[int]
	Myers   *Range[int]
}

var (
	whippleAges = Range[int]{23, 62}
	myersAges   = Range[int]{10, 89}
)

// MeasureHeaping measures digit preference in whole numbers; count[i] pairs
// have values[i] (nil: one each).
//
// Errors: ErrEmpty for nothing counted, ErrBadInput for a negative value or
// count, lengths that differ, or a range that Whipple or MyersBlended refuse.
func MeasureHeaping(values, count []int, opt HeapingOptions) (*Heaping, error) {
	if err := checkWeighted(values, count); err != nil {
		return nil, err
	}
	h := &Heaping{DF: 9}
	fifty, hundred := 0, 0
	for i, v := range values {
		c := weightAt(count, i)
		h.N += c
		h.Digits[v%10] += c
		if v%50 == 0 {
			fifty += c
		}
		if v%100 == 0 {
			hundred += c
		}
	}
	if h.N == 0 {
		return nil, ErrEmpty
	}
	n := float64(h.N)
	for _, d := range h.Digits {
		off := float64(d) - n/10
		h.Chi2 += off * off / (n / 10)
	}
	h.P = chiSquareTail(h.Chi2, h.DF)
	h.Share50, h.Share100 = float64(fifty)/n, float64(hundred)/n
	within := whippleAges
	if opt.Whipple != nil {
		within = *opt.Whipple
	}
	w, err := Whipple(values, count, within, 0, 5)
	switch {
	case err == nil:
		h.Whipple05 = Some(w)
	case isReason(err):
		h.Why = err.Error()
	default:
		return nil, err
	}
	if within = myersAges; opt.Myers != nil {
		within = *opt.Myers
	}
	index, blended, err := MyersBlended(values, count, within)
	switch {
	case err == nil:
		h.Myers, h.Blended = Some(index), blended[:]
	case isReason(err):
		h.Why = err.Error()
	default:
		return nil, err
	}
	return h, nil
}

// Whipple returns the index of preference for the last digits given, over a
// range:
//
//	100 · (10/number of digits) · (values ending in them / values)
//
// 100 is none. Source: Shryock HS, Siegel JS (1976) The Methods and Materials
// of Demography.
//
// Errors: ErrEmpty where no value lies in the range, ErrBadInput for a digit
// outside 0–9 or a range that runs backwards.
func Whipple(values, count []int, within Range[int], digits ...int) (float64, error) {
	if err := checkWeighted(values, count); err != nil {
		return 0, err
	}
	if within.From > within.To || len(digits) == 0 {
		return 0, badInput("range %d–%d for %d digits, must run forward and hold a digit", within.From, within.To, len(digits))
	}
	var wanted [10]bool
	for _, d := range digits {
		if d < 0 || d > 9 || wanted[d] {
			return 0, badInput("digit %d, must lie in 0–9 and stand once", d)
		}
		wanted[d] = true
	}
	all, hits := 0, 0
	for i, v := range values {
		if within.holds(v) {
			all += weightAt(count, i)
			if wanted[v%10] {
				hits += weightAt(count, i)
			}
		}
	}
	if all == 0 {
		return 0, ErrEmpty.because("no value lies in %d–%d", within.From, within.To)
	}
	return 100 * 10 / float64(len(digits)) * float64(hits) / float64(all), nil
}

// MyersBlended returns Myers' index over whole decades, and the blended share
// of each digit in percent. With A_d the values ending in d over the range,
// B_d the same without the first ten:
//
//	blended_d = (d + 1) A_d + (9 − d) B_d
//	index = ½ Σ |100 blended_d / Σ blended − 10|
//
// from 0 (none) to 90 (one digit only). Blending takes out that low digits
// come first in a falling population. Some programs print it without the half.
//
// Errors: ErrEmpty where no value lies in the range, ErrBadInput unless the
// range runs from a multiple of 10 over at least two whole decades.
//
// Source: Myers RJ (1940) Transactions of the Actuarial Society of America
// 41:395–415.
func MyersBlended(values, count []int, within Range[int]) (index float64, percent [10]float64, err error) {
	if err := checkWeighted(values, count); err != nil {
		return 0, percent, err
	}
	if within.From%10 != 0 || within.To%10 != 9 || within.To-within.From < 19 {
		return 0, percent, badInput("range %d–%d, must run over at least two whole decades, such as 10–89", within.From, within.To)
	}
	sum := 0.0
	for i, v := range values {
		if !within.holds(v) {
			continue
		}
		d := v % 10
		weight := d + 1
		if v >= within.From+10 {
			weight = 10
		}
		b := float64(weight) * float64(weightAt(count, i))
		percent[d] += b
		sum += b
	}
	if sum == 0 {
		return 0, percent, ErrEmpty.because("no value lies in %d–%d", within.From, within.To)
	}
	for d := range percent {
		percent[d] *= 100 / sum
		index += max(percent[d]-10, 10-percent[d]) / 2
	}
	return index, percent, nil
}

// checkWeighted refuses values or counts below 0, and counts that are not one
// a value.
func checkWeighted(values, count []int) error {
	if count != nil && len(count) != len(values) {
		return badInput("%d values and %d counts, must be as many", len(values), len(count))
	}
	for i, v := range values {
		if v < 0 || weightAt(count, i) < 0 {
			return badInput("value %d counted %d times, must both be 0 or more", v, weightAt(count, i))
		}
	}
	return nil
}

// weightAt returns the count of row i, one without counts.
func weightAt(count []int, i int) int {
	if count == nil {
		return 1
	}
	return count[i]
}
