package stats

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// printed is one number of a source beside ours. The last digit of want sets
// the tolerance: half a unit of it.
type printed struct {
	what   string
	got    float64
	want   string
	source string
}

// reproduce checks that every row agrees to the digits its source prints.
func reproduce(t *testing.T, rows []printed) {
	t.Helper()
	for _, r := range rows {
		want, err := strconv.ParseFloat(r.want, 64)
		if err != nil {
			t.Fatalf("%s: %v", r.what, err)
		}
		if !(math.Abs(r.got-want) <= halfUnit(r.want)) {
			t.Errorf("%s = %.15g, want %s (%s)", r.what, r.got, r.want, r.source)
		}
	}
}

// halfUnit returns half a unit of the last digit of a printed number, and a
// hair more for the rounding of the comparison itself.
func halfUnit(number string) float64 {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(number), "e")
	_, decimals, _ := strings.Cut(mantissa, ".")
	power := -len(decimals)
	if exponent != "" {
		e, err := strconv.Atoi(exponent)
		if err != nil {
			return 0
		}
		power += e
	}
	return 0.5000001 * math.Pow(10, float64(power))
}

func TestHalfUnitOfAPrintedNumber(t *testing.T) {
	for number, want := range map[string]float64{
		"0.430": 0.0005, ".8": 0.05, "28": 0.5, "4.1e-05": 0.05e-5, "-0.25": 0.005,
	} {
		if got := halfUnit(number); math.Abs(got/want-1) > 1e-6 {
			t.Errorf("halfUnit(%s) = %v, want %v", number, got, want)
		}
	}
}

// wholes returns a column of a data set as whole numbers.
func (p published) wholes(column string) []int {
	p.t.Helper()
	out := make([]int, len(p.rows))
	for i, w := range p.words(column) {
		v, err := strconv.Atoi(w)
		if err != nil {
			p.t.Fatalf("%s: row %d: %v", p.name, i+1, err)
		}
		out[i] = v
	}
	return out
}

// relativelyClose says whether got is within tol of want, relatively.
func relativelyClose(got, want, tol float64) bool {
	return got == want || math.Abs(got-want) <= tol*math.Abs(want)
}
