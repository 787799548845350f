package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
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

// The quantiles that intervals stand on come from gonum; here they are held to
// R's.
func TestQuantilesKeepTheirDigits(t *testing.T) {
	student := func(p, df float64) float64 { return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p) }
	fisher := func(p, df1, df2 float64) float64 { return distuv.F{D1: df1, D2: df2}.Quantile(p) }
	for _, tt := range []struct {
		name      string
		got, want float64
		source    string
	}{
		{"normal beyond 5", normalTwoSided(5), 5.7330314375838782e-07, "R 4.2.2 2*pnorm(-5)"},
		{"normal beyond 10", normalTwoSided(10), 1.5239706048321054e-23, "R 4.2.2 2*pnorm(-10)"},
		{"normal beyond 30", normalTwoSided(-30), 9.8134278542963744e-198, "R 4.2.2 2*pnorm(-30)"},
		{"normal at 95 %", normalCritical(.95), 1.9599639845400536, "R 4.2.2 qnorm(.975)"},
		{"normal at 99 %", normalCritical(.99), 2.5758293035488999, "R 4.2.2 qnorm(.995)"},
		{"t of 1", student(.975, 1), 12.706204736174694, "R 4.2.2 qt(.975, 1)"},
		{"t of 5", student(.975, 5), 2.5705818356363137, "R 4.2.2 qt(.975, 5)"},
		{"t of 30", student(.975, 30), 2.0422724563012378, "R 4.2.2 qt(.975, 30)"},
		{"t of 9,999", student(.975, 9999), 1.9602012636213568, "R 4.2.2 qt(.975, 9999)"},
		{"t of 16, far out", student(.9995, 16), 4.0149963271841074, "R 4.2.2 qt(.9995, 16)"},
		{"F of 5 and 18", fisher(.975, 5, 18), 3.3819678058752429, "R 4.2.2 qf(.975, 5, 18)"},
		{"F of 18 and 5", fisher(.975, 18, 5), 6.3618832046543519, "R 4.2.2 qf(.975, 18, 5)"},
		{"F of 199 and 1,800", fisher(.975, 199, 1800), 1.219964554579364, "R 4.2.2 qf(.975, 199, 1800)"},
		{"F of 3.7 and 5", fisher(.975, 3.7, 5), 7.4821878000980799, "R 4.2.2 qf(.975, 3.7, 5)"},
		{"Beta, low", mathext.InvRegIncBeta(6.341608, 24.1148, .025), 0.086216241702367635, "R 4.2.2 qbeta(.025, 6.341608, 24.1148)"},
		{"Beta, high", mathext.InvRegIncBeta(6.341608, 24.1148, .975), 0.36635186685447974, "R 4.2.2 qbeta(.975, 6.341608, 24.1148)"},
		{"Beta near 0", mathext.InvRegIncBeta(.3, 40, .025), 8.034305372211098e-08, "R 4.2.2 qbeta(.025, .3, 40)"},
		{"Beta of thousands", mathext.InvRegIncBeta(2000.5, 8000, .975), 0.20793635243328501, "R 4.2.2 qbeta(.975, 2000.5, 8000)"},
		{"binomial", binomialAtMost(3, 20, .3), 0.10708680450373097, "R 4.2.2 pbinom(3, 20, .3)"},
		{"binomial of many", binomialAtMost(150, 100000, .002), 0.00012963676594056041, "R 4.2.2 pbinom(150, 100000, .002)"},
		{"binomial, none", binomialAtMost(0, 1000, .05), 5.2918227477449857e-23, "R 4.2.2 pbinom(0, 1000, .05)"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if math.Abs(tt.got/tt.want-1) > 1e-12 {
				t.Errorf("got %.17g, want %.17g, off by %.1e (%s)", tt.got, tt.want, math.Abs(tt.got/tt.want-1), tt.source)
			}
		})
	}
}
