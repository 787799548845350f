package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestCUSUMByHand(t *testing.T) {
	opt := CUSUMOptions[int]{K: .5, H: 2, Process: Process[int]{Target: Some(10), SD: Some(2)}}
	c, err := CUSUM(valuesOf([]float64{10, 13, 14, 13, 5, 4}), opt)
	if err != nil {
		t.Fatal(err)
	}
	// z = 0, 1.5, 2, 1.5, −2.5, −3 by hand.
	upper := []float64{0, 1, 2.5, 3.5, .5, 0}
	lower := []float64{0, 0, 0, 0, 2, 4.5}
	for i := range upper {
		if math.Abs(c.Upper[i]-upper[i])+math.Abs(c.Lower[i]-lower[i]) > 1e-12 {
			t.Errorf("sums at %d: %v and %v, want %v and %v (by hand)", i+1, c.Upper[i], c.Lower[i], upper[i], lower[i])
		}
		if want := upper[i] > 2 || lower[i] > 2; c.Points[i].Out != want {
			t.Errorf("signal at %d: %v, want %v: beyond h, not at it", i+1, c.Points[i].Out, want)
		}
	}
	if c.FirstSignal == nil || *c.FirstSignal != 3 {
		t.Errorf("first signal %v, want order 3 (by hand)", c.FirstSignal)
	}
}

func TestCUSUMRefuses(t *testing.T) {
	if _, err := CUSUM(valuesOf([]float64{1, 1}), CUSUMOptions[int]{}); !errors.Is(err, ErrNoSpread) {
		t.Errorf("no spread: err = %v, want ErrNoSpread", err)
	}
	if _, err := CUSUM(valuesOf([]float64{1, 2}), CUSUMOptions[int]{H: -1}); !errors.Is(err, ErrBadInput) {
		t.Errorf("a negative limit: err = %v, want ErrBadInput", err)
	}
	if _, err := CUSUM(valuesOf([]float64{1, math.Inf(1)}), CUSUMOptions[int]{}); !errors.Is(err, ErrBadInput) {
		t.Errorf("an infinite value: err = %v, want ErrBadInput", err)
	}
}

func TestCUSUMLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-5, 5), 3, 30).Draw(t, "x")
		opt := CUSUMOptions[int]{Process: Process[int]{Target: Some(0), SD: Some(1)}}
		a, err := CUSUM(valuesOf(x), opt)
		if err != nil {
			t.Fatal(err)
		}
		mirrored := make([]float64, len(x))
		for i, v := range x {
			mirrored[i] = -v
		}
		b, err := CUSUM(rapid.Permutation(valuesOf(mirrored)).Draw(t, "order"), opt)
		if err != nil {
			t.Fatal(err)
		}
		for i := range x {
			if a.Upper[i] != b.Lower[i] || a.Lower[i] != b.Upper[i] || a.Upper[i] < 0 {
				t.Fatalf("mirrored values do not swap the sums at %d", i)
			}
		}
	})
}
