package stats

import (
	"testing"

	"pgregory.net/rapid"
)

func TestBinomialTails(t *testing.T) {
	const source = "mpmath 1.2.1, term by term in 60 digits; R 4.2.2 dbinom, pbinom agree"
	for _, tt := range []struct {
		name            string
		k, n            int
		p               float64
		at, least, most float64
		tol             float64
	}{
		{"a small binomial", 5, 10, .3, 0.10291934519999999, 0.15026833259999998, 0.95265101260000001, 1e-14},
		{"a rare event", 3, 40, .002, 7.3396771865899915e-5, 7.4777196358884601e-5, 0.99999861957550702, 1e-14},
		{"a thousand pairs", 60, 1000, .0255, 1.3891568611649794e-9, 2.3106630902970202e-9, 0.99999999907849377, 1e-14},
		{"twenty thousand pairs", 5678, 20000, .28, 0.0029483593968406885, 0.11124159613981707, 0.89170676325702362, 1e-13},
		{"a million pairs", 20, 1000000, 1e-6, 1.5118435571457851e-19, 1.587255444215342e-19, 1, 1e-13},
		{"far out", 700, 1000, .3, 1.7739858556443891e-149, 2.1719162763987846e-149, 1, 1e-13},
		{"below the mean", 144, 1000, .2, 8.8479230539697719e-7, 0.99999826762666781, 2.6171656375892683e-6, 1e-13},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for what, pair := range map[string][2]float64{
				"P(X = k)": {binomialPMF(tt.k, tt.n, tt.p), tt.at},
				"P(X ≥ k)": {binomialAtLeast(tt.k, tt.n, tt.p), tt.least},
				"P(X ≤ k)": {binomialAtMost(tt.k, tt.n, tt.p), tt.most},
			} {
				if !relativelyClose(pair[0], pair[1], tt.tol) {
					t.Errorf("%s = %.17g, want %.17g (%s)", what, pair[0], pair[1], source)
				}
			}
		})
	}
}

func TestBinomialLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 200).Draw(t, "n")
		k := rapid.IntRange(-1, n+1).Draw(t, "k")
		p := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{0, 1})).Draw(t, "p")
		if sum := binomialAtLeast(k, n, p) + binomialAtMost(k-1, n, p); !relativelyClose(sum, 1, 1e-12) {
			t.Fatalf("P(X ≥ k) + P(X ≤ k−1) = %v", sum)
		}
		if a, b := binomialPMF(k, n, p), binomialAtLeast(k, n, p)-binomialAtLeast(k+1, n, p); a-b > 1e-12 || b-a > 1e-12 {
			t.Fatalf("P(X = k) = %v, difference of tails %v", a, b)
		}
		if a, b := binomialAtLeast(k, n, p), binomialAtMost(n-k, n, 1-p); a-b > 1e-12 || b-a > 1e-12 {
			t.Fatalf("swapping hit and miss changed the tail: %v and %v", a, b)
		}
	})
}
