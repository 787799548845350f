package stats

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

func TestFisherReproducesItsReferences(t *testing.T) {
	const (
		tea   = "[R] R 4.2.2 fisher.test, scipy 1.10.1; Fisher 1935, tea tasting"
		twins = "[R] R 4.2.2 fisher.test; Fisher 1962, convictions of like-sex twins"
		loose = "[R] R 4.2.2 fisher.test, to the digits its solver (tolerance 1.2e-4) gets right"
		exact = "mpmath 1.2.1, bisection in 30 digits"
	)
	f, err := FisherTest(3, 1, 1, 3, .95)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"tea p_greater", f.PGreater, "0.243", "[M] Fisher 1935, The Design of Experiments"},
		{"tea p_greater", f.PGreater, "0.242857142857", tea},
		{"tea p_two", f.PTwo, "0.485714285714", tea},
		{"tea odds ratio", f.OddsRatio.V, "6.4083", loose},
		{"tea odds ratio", f.OddsRatio.V, "6.4083196582", exact},
		{"tea low", f.OddsLow.V, "0.2117355954466", exact},
		{"tea high", f.OddsHigh.V, "626.2435305888", exact},
	})
	f, err = FisherTest(2, 15, 10, 3, .95)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"twins p_less", f.PLess, "0.0004652", "[M] R help page of fisher.test"},
		{"twins p_less", f.PLess, "0.0004651809434", twins},
		{"twins p_two", f.PTwo, "0.0005367241191", twins},
		{"twins odds ratio", f.OddsRatio.V, "0.046937", loose},
		{"twins low", f.OddsLow.V, "0.0033", loose},
		{"twins high", f.OddsHigh.V, "0.3632", loose},
		{"twins odds ratio", f.OddsRatio.V, "0.04693663904968", exact},
		{"twins low", f.OddsLow.V, "0.003317163950657", exact},
		{"twins high", f.OddsHigh.V, "0.3631896023567", exact},
	})
	f, err = FisherTest(150, 30, 70, 210, .95)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"odds ratio", f.OddsRatio.V, "14.88756415792", exact},
		{"low", f.OddsLow.V, "9.103286214383", exact},
		{"high", f.OddsHigh.V, "24.96406190311", exact},
	})
}

func TestFisherTailsKeepTheirDigits(t *testing.T) {
	const source = "exact fractions of the hypergeometric, rounded once to 17 digits"
	for _, tt := range []struct {
		a, b, c, d         int
		two, less, greater float64
	}{
		{3, 1, 1, 3, 0.48571428571428571, 0.98571428571428577, 0.24285714285714285},
		{2, 15, 10, 3, 0.00053672411914343582, 0.00046518094336290503, 0.99998451901868612},
		{150, 30, 70, 210, 2.8711832747260058e-36, 1, 2.6173408751548029e-36},
		{5, 995, 20, 9980, 0.070817616840894576, 0.97813427127920372, 0.070817616840894576},
		{40, 2, 3, 45, 1.7511928852685648e-19, 1, 1.5711154474574288e-19},
	} {
		f, err := FisherTest(tt.a, tt.b, tt.c, tt.d, .95)
		if err != nil {
			t.Fatal(err)
		}
		for what, pair := range map[string][2]float64{
			"p_two": {f.PTwo, tt.two}, "p_less": {f.PLess, tt.less}, "p_greater": {f.PGreater, tt.greater},
		} {
			if !relativelyClose(pair[0], pair[1], 1e-12) {
				t.Errorf("(%d %d / %d %d) %s = %.17g, want %.17g (%s)", tt.a, tt.b, tt.c, tt.d, what, pair[0], pair[1], source)
			}
		}
	}
}

func TestFisherAtItsEdges(t *testing.T) {
	t.Run("a zero margin leaves one table, so p is 1", func(t *testing.T) {
		f, err := FisherTest(0, 0, 3, 5, .95)
		if err != nil {
			t.Fatal(err)
		}
		if f.PTwo != 1 || f.PLess != 1 || f.PGreater != 1 || f.OddsRatio.OK || f.OddsLow.OK || f.OddsHigh.OK {
			t.Errorf("got %+v, want p 1 and no odds ratio (R 4.2.2 fisher.test: p-value = 1)", f)
		}
	})
	t.Run("an empty cell closes one side only", func(t *testing.T) {
		f, err := FisherTest(0, 5, 4, 3, .95)
		if err != nil {
			t.Fatal(err)
		}
		const source = "[R] R 4.2.2 fisher.test(matrix(c(0, 5, 4, 3), 2, byrow = TRUE))"
		reproduce(t, []printed{
			{"p_two", f.PTwo, "0.0808080808081", source},
			{"high", f.OddsHigh.V, "1.7461", source},
			{"high", f.OddsHigh.V, "1.74612372198", "mpmath 1.2.1, bisection in 30 digits"},
		})
		if f.OddsRatio != Some(0) || f.OddsLow.OK {
			t.Errorf("odds ratio %v from %v, want 0 without a lower end (%s)", f.OddsRatio, f.OddsLow, source)
		}
	})
	if _, err := FisherTest(1, -1, 2, 3, .95); !errors.Is(err, ErrBadInput) {
		t.Errorf("a negative count: err = %v, want ErrBadInput", err)
	}
	if _, err := FisherTest(1, 1, 2, 3, 0); !errors.Is(err, ErrBadInput) {
		t.Errorf("no confidence: err = %v, want ErrBadInput", err)
	}
}

func TestFisherLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.IntRange(0, 40)
		a, b, c, d := cell.Draw(t, "a"), cell.Draw(t, "b"), cell.Draw(t, "c"), cell.Draw(t, "d")
		f, err := FisherTest(a, b, c, d, .95)
		if err != nil {
			t.Fatal(err)
		}
		swapped, err := FisherTest(c, d, a, b, .95)
		if err != nil {
			t.Fatal(err)
		}
		turned, err := FisherTest(a, c, b, d, .95)
		if err != nil {
			t.Fatal(err)
		}
		if !relativelyClose(f.PTwo, swapped.PTwo, 1e-9) || !relativelyClose(f.PLess, swapped.PGreater, 1e-9) || !relativelyClose(f.PTwo, turned.PTwo, 1e-9) {
			t.Fatalf("swapping rows or turning the table matters: %+v, %+v, %+v", f, swapped, turned)
		}
		for _, p := range []float64{f.PTwo, f.PLess, f.PGreater} {
			if !(p > 0 && p <= 1) {
				t.Fatalf("p outside (0, 1]: %+v", f)
			}
		}
		if f.OddsRatio.OK && f.OddsRatio.V > 0 && f.OddsLow.OK && f.OddsHigh.OK && !(f.OddsLow.V <= f.OddsRatio.V && f.OddsRatio.V <= f.OddsHigh.V) {
			t.Fatalf("the odds ratio is outside its interval: %+v", f)
		}
	})
}
