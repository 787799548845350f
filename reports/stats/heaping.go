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
// 23–62 for Whipple, 10–89 for Myers. Values that are no ages, as one lies
// beyond oldestAge, are kilometres: Whipple then reads all of them.
type HeapingOptions struct {
	Whipple *Range[int]
	Myers   *Range[int]
}

var (
	whippleAges = Range[int]{23, 62}
	myersAges   = Range[int]{10, 89}
)

// oldestAge is an age that no data of ages exceed. Common practice, no source.
const oldestAge = 120

// HeapingCount counts whole numbers by how they end. It takes the same room
// however many there are.
type HeapingCount struct {
	n, largest     int
	digits         [10]int
	fifty, hundred int
	whipple, myers endings
	// ages says that Whipple's range is the published one for ages.
	ages bool
}

// NewHeapingCount returns an empty count.
//
// Errors: ErrBadInput for a range that Whipple or MyersBlended refuse.
func NewHeapingCount(opt HeapingOptions) (*HeapingCount, error) {
	h := &HeapingCount{whipple: endings{within: whippleAges}, myers: endings{within: myersAges}}
	if h.ages = opt.Whipple == nil; !h.ages {
		h.whipple.within = *opt.Whipple
	}
	if opt.Myers != nil {
		h.myers.within = *opt.Myers
	}
	if err := h.whipple.forward(); err != nil {
		return nil, err
	}
	return h, h.myers.decades()
}

// Add counts a value, 0 or more, count times, 0 or more.
func (h *HeapingCount) Add(value, count int) {
	if count > 0 {
		h.largest = max(h.largest, value)
	}
	h.n += count
	h.digits[value%10] += count
	if value%50 == 0 {
		h.fifty += count
		if value%100 == 0 {
			h.hundred += count
		}
	}
	h.whipple.add(value, count)
	h.myers.add(value, count)
}

// Measure measures digit preference in what was counted.
//
// Errors: ErrEmpty for nothing counted.
func (h *HeapingCount) Measure() (*Heaping, error) {
	if h.n == 0 {
		return nil, ErrEmpty
	}
	n := float64(h.n)
	m := &Heaping{N: h.n, Digits: h.digits, DF: 9, Share50: float64(h.fifty) / n, Share100: float64(h.hundred) / n}
	for _, d := range m.Digits {
		off := float64(d) - n/10
		m.Chi2 += off * off / (n / 10)
	}
	m.P = chiSquareTail(m.Chi2, m.DF)
	whipple := h.whipple
	if h.ages && h.largest > oldestAge {
		whipple = endings{all: h.digits}
	}
	if w, err := whipple.index(0, 5); err == nil {
		m.Whipple05 = Some(w)
	} else {
		m.Why = err.Error()
	}
	if index, blended, err := h.myers.blended(); err == nil {
		m.Myers, m.Blended = Some(index), blended[:]
	} else {
		m.Why = err.Error()
	}
	return m, nil
}

// MeasureHeaping measures digit preference in whole numbers; count[i] pairs
// have values[i] (nil: one each).
//
// Errors: ErrEmpty for nothing counted, ErrBadInput for a negative value or
// count, lengths that differ, or a range that Whipple or MyersBlended refuse.
func MeasureHeaping(values, count []int, opt HeapingOptions) (*Heaping, error) {
	if err := checkWeighted(values, count); err != nil {
		return nil, err
	}
	h, err := NewHeapingCount(opt)
	if err != nil {
		return nil, err
	}
	for i, v := range values {
		h.Add(v, weightAt(count, i))
	}
	return h.Measure()
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
	e := endings{within: within}
	if err := e.forward(); err != nil {
		return 0, err
	}
	var wanted [10]bool
	for _, d := range digits {
		if d < 0 || d > 9 || wanted[d] {
			return 0, badInput("digit %d, must lie in 0–9 and stand once", d)
		}
		wanted[d] = true
	}
	if len(digits) == 0 {
		return 0, badInput("no digits, must be one or more")
	}
	e.addAll(values, count)
	return e.index(digits...)
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
	e := endings{within: within}
	if err := e.decades(); err != nil {
		return 0, percent, err
	}
	e.addAll(values, count)
	return e.blended()
}

// endings counts the values of a range by their last digit, and apart those of
// its first ten.
type endings struct {
	within   Range[int]
	all      [10]int
	firstTen [10]int
}

func (e *endings) add(v, count int) {
	if !e.within.holds(v) {
		return
	}
	e.all[v%10] += count
	if v-e.within.From < 10 {
		e.firstTen[v%10] += count
	}
}

func (e *endings) addAll(values, count []int) {
	for i, v := range values {
		e.add(v, weightAt(count, i))
	}
}

// forward refuses a range that Whipple doesn't read, decades one that
// MyersBlended doesn't.
func (e *endings) forward() error {
	if e.within.From > e.within.To {
		return badInput("range %d–%d, must run forward", e.within.From, e.within.To)
	}
	return nil
}

func (e *endings) decades() error {
	if r := e.within; r.From%10 != 0 || r.To%10 != 9 || r.To-r.From < 19 {
		return badInput("range %d–%d, must run over at least two whole decades, such as 10–89", r.From, r.To)
	}
	return nil
}

// index is Whipple's of the digits given.
func (e *endings) index(digits ...int) (float64, error) {
	all, hits := 0, 0
	for _, n := range e.all {
		all += n
	}
	for _, d := range digits {
		hits += e.all[d]
	}
	if all == 0 {
		return 0, ErrEmpty.because("no value lies in %d–%d", e.within.From, e.within.To)
	}
	return 100 * 10 / float64(len(digits)) * float64(hits) / float64(all), nil
}

// blended is Myers' index, and the blended share of each digit in percent.
func (e *endings) blended() (index float64, percent [10]float64, err error) {
	sum := 0.0
	for d, n := range e.all {
		percent[d] = float64(10*n - (9-d)*e.firstTen[d]) // (d+1)A + (9−d)(A−first ten)
		sum += percent[d]
	}
	if sum == 0 {
		return 0, percent, ErrEmpty.because("no value lies in %d–%d", e.within.From, e.within.To)
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
