package stats

import (
	"math"
	"testing"
)

func TestTails(t *testing.T) {
	const mp = "mpmath 1.2.1, 40 digits: gammainc(df/2, x/2, inf, regularized)"
	for _, tt := range []struct {
		name   string
		got    float64
		want   float64
		source string
	}{
		{"chi-square of 2 degrees of freedom", chiSquareTail(30.0701490958, 2), 2.9535891831448151e-7, mp},
		{"chi-square of 1", chiSquareTail(8.2249223, 1), 0.0041318974439396305, mp},
		{"chi-square of 3", chiSquareTail(12.6004113, 3), 0.005585476654159154, mp},
		{"chi-square of 9, far out", chiSquareTail(250, 9), 9.9761514692988247e-49, mp},
		{"chi-square of 9, middle", chiSquareTail(5, 9), 0.83430826019340755, mp},
		{"chi-square of 50", chiSquareTail(100, 50), 3.4549313829848639e-5, mp},
		{"chi-square of 100, far out", chiSquareTail(1000, 100), 2.306076738035398e-148, mp},
		{"chi-square of 300", chiSquareTail(400, 300), 9.6786219949335771e-5, mp},
		{"chi-square near nought", chiSquareTail(0.01, 3), 0.99973483494134439, mp},
		{"chi-square of 4, farther out", chiSquareTail(700, 4), 3.4852862290890077e-150, mp},
		{"chi-square at nought", chiSquareTail(0, 3), 1, "definition"},
		{"normal beyond 1.96", normalTwoSided(1.959963984540054), 0.05, "R 4.2.2 2*pnorm(-1.959963984540054)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if math.Abs(tt.got/tt.want-1) > 1e-12 {
				t.Errorf("got %.17g, want %.17g (%s)", tt.got, tt.want, tt.source)
			}
		})
	}
}
