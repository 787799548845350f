package stats

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestIsotonicReproducesPublishedFit(t *testing.T) {
	const source = "[M] Potthoff & Roy 1964 pituitary fissure, ages 8, 10, 12, 14; Robertson, Wright & Dykstra 1988"
	got := isotonic([]float64{67.5 / 3, 70.0 / 3, 62.5 / 3, 24.25}, []float64{3, 3, 3, 2})
	want := []string{"22.2222", "22.2222", "22.2222", "24.25"}
	for i, w := range want {
		reproduce(t, []printed{{fmt.Sprintf("value %d", i+1), got[i], w, source}})
	}
}

func TestIsotonicLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "n")
		y, w := make([]float64, n), make([]float64, n)
		for i := range y {
			y[i] = float64(rapid.IntRange(-5, 5).Draw(t, "y"))
			w[i] = float64(rapid.IntRange(1, 9).Draw(t, "w"))
		}
		f := isotonic(y, w)
		// The Kuhn–Tucker conditions: partial sums of w(y − f) never exceed 0 and
		// are 0 wherever f rises and at the end.
		sum := 0.0
		for i := range f {
			sum += w[i] * (y[i] - f[i])
			rises := i == n-1 || f[i+1] > f[i]
			if i+1 < n && f[i+1] < f[i] {
				t.Fatalf("falls at %d: %v", i, f)
			}
			if sum < -1e-9 || rises && math.Abs(sum) > 1e-9 {
				t.Fatalf("partial sum %v at %d of fit %v to %v", sum, i, f, y)
			}
		}
	})
}
