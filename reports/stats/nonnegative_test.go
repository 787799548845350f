package stats

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestPivoterMeetsTheConditionsOfAMinimum(t *testing.T) {
	var q pivoter
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(1, 25).Draw(t, "k")
		rows := k + rapid.IntRange(0, 5).Draw(t, "more rows")
		value := rapid.Float64Range(-1, 1)
		// H = AᵀA + I/100 is positive definite, and near singular where the
		// rows repeat.
		a := make([]float64, rows*k)
		for i := range a {
			a[i] = value.Draw(t, "a")
		}
		h, b, guess := make([]float64, k*k), make([]float64, k), make([]float64, k)
		for i := range k {
			for j := range k {
				for r := range rows {
					h[i*k+j] += a[r*k+i] * a[r*k+j]
				}
			}
			h[i*k+i] += 0.01
			b[i] = value.Draw(t, "b")
			guess[i] = math.Max(0, value.Draw(t, "guess"))
		}
		x := q.minimise(h, b, guess)
		for i := range k {
			slope := -b[i]
			for j := range k {
				slope += h[i*k+j] * x[j]
			}
			if x[i] < 0 || slope < -1e-9 || x[i] > 0 && slope > 1e-9 {
				t.Fatalf("x[%d] = %v with slope %v is no minimum", i, x[i], slope)
			}
		}
	})
}

func TestPivoterByHand(t *testing.T) {
	// ½(2x² + 2xy + 2y²) − x + 5y: y is held at 0, then 2x = 1.
	var q pivoter
	x := q.minimise([]float64{2, 1, 1, 2}, []float64{1, -5}, []float64{0, 1})
	if math.Abs(x[0]-0.5) > 1e-15 || x[1] != 0 {
		t.Errorf("got %v, want 0.5, 0 (closed form)", x)
	}
}
