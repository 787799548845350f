package stats

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

func TestWilsonReproducesItsReferences(t *testing.T) {
	const (
		table     = "[P2] Newcombe 1998, Stat Med 17:857–872, Table I, method 3"
		recompute = "[R] R 4.2.2 prop.test(correct = FALSE) and statsmodels 0.13.5"
	)
	for _, tt := range []struct {
		hits, size float64
		conf       float64
		low, high  string
		source     string
	}{
		{81, 263, .95, "0.2553", "0.3662", table},
		{15, 148, .95, "0.0624", "0.1605", table},
		{0, 20, .95, "0.0000", "0.1611", table},
		{1, 29, .95, "0.0061", "0.1718", table},
		{81, 263, .95, "0.2552885199", "0.3662095770", recompute},
		{15, 148, .95, "0.0623863995", "0.1604872417", recompute},
		{0, 20, .95, "0", "0.1611251581", recompute},
		{1, 29, .95, "0.0061132143", "0.1717552188", recompute},
		{29, 29, .95, "0.8830302015", "1", recompute},
		{5, 10, .95, "0.2365930905", "0.7634069095", recompute},
		{0, 1, .95, "0", "0.7934506856", recompute},
		{1, 1, .95, "0.2065493144", "1", recompute},
		{15, 148, .99, "0.0536448696", "0.1832673501", recompute},
		{15, 148, .90, "0.0674432622", "0.1495729317", recompute},
	} {
		low, high, err := Wilson(tt.hits, tt.size, tt.conf)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{
			{"lower limit", low, tt.low, tt.source},
			{"upper limit", high, tt.high, tt.source},
		})
	}
}

func TestWilsonIsExactAtItsEnds(t *testing.T) {
	low, _, err := Wilson(0, 29, .95)
	if err != nil || low != 0 {
		t.Errorf("no hit: lower limit %v, %v, want exactly 0 (definition)", low, err)
	}
	_, high, err := Wilson(29, 29, .95)
	if err != nil || high != 1 {
		t.Errorf("all hits: upper limit %v, %v, want exactly 1 (definition)", high, err)
	}
}

func TestWilsonRefuses(t *testing.T) {
	for _, tt := range []struct {
		name             string
		hits, size, conf float64
		want             error
	}{
		{"a share of nothing", 0, 0, .95, ErrEmpty},
		{"more hits than pairs", 3, 2, .95, ErrBadInput},
		{"fewer hits than none", -1, 2, .95, ErrBadInput},
		{"certainty", 1, 2, 1, ErrBadInput},
		{"no confidence", 1, 2, 0, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, _, err := Wilson(tt.hits, tt.size, tt.conf); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := Shares([]string{"medial", "even"}, []int{0, 0}, .95); !errors.Is(err, ErrEmpty) {
		t.Errorf("shares of nothing: err = %v, want ErrEmpty", err)
	}
	if _, err := Shares([]string{"medial"}, []int{1, 2}, .95); !errors.Is(err, ErrBadInput) {
		t.Errorf("a count without level: err = %v, want ErrBadInput", err)
	}
	if _, err := Shares([]string{"medial"}, []int{-1}, .95); !errors.Is(err, ErrBadInput) {
		t.Errorf("a count below 0: err = %v, want ErrBadInput", err)
	}
}

func TestSharesCountEveryLevel(t *testing.T) {
	shares, err := Shares([]string{"medial", "even", "lateral"}, []int{15, 133, 0}, .95)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[R] R 4.2.2 prop.test(15, 148, correct = FALSE)"
	reproduce(t, []printed{
		{"share", shares[0].Share.V, "0.1013513514", "15/148"},
		{"low", shares[0].Low.V, "0.0623863995", source},
		{"high", shares[0].High.V, "0.1604872417", source},
	})
	if shares[2].Hits != 0 || shares[2].Share != Some(0) || shares[2].Low != Some(0) {
		t.Errorf("a level without pairs: %+v, want a share of 0 from 0", shares[2])
	}
	if shares[0].Deff.OK || shares[0].NEff.OK {
		t.Errorf("design effect of unclustered pairs: %+v, want undefined", shares[0])
	}
}

func TestWilsonLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 1_000_000).Draw(t, "size")
		hits := rapid.IntRange(0, size).Draw(t, "hits")
		conf := rapid.Float64Range(.5, .999).Draw(t, "conf")
		low, high, err := Wilson(float64(hits), float64(size), conf)
		if err != nil {
			t.Fatal(err)
		}
		p := float64(hits) / float64(size)
		if !(0 <= low && low <= p+1e-12 && p <= high+1e-12 && high <= 1) {
			t.Fatalf("0 ≤ low ≤ share ≤ high ≤ 1 broken: %v %v %v", low, p, high)
		}
		misses, most, err := Wilson(float64(size-hits), float64(size), conf)
		if err != nil {
			t.Fatal(err)
		}
		if !relativelyClose(1-most, low, 1e-9) && low > 1e-6 || !relativelyClose(1-misses, high, 1e-9) {
			t.Fatalf("swapping hits and misses does not mirror the interval: %v %v and %v %v", low, high, misses, most)
		}
		wideLow, wideHigh, err := Wilson(float64(hits), float64(size), conf+(1-conf)/2)
		if err != nil {
			t.Fatal(err)
		}
		if wideLow > low || wideHigh < high {
			t.Fatalf("more confidence gave a shorter interval")
		}
	})
}
