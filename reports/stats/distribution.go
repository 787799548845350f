package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// The distribution functions every test here ends in. Tails are computed as
// tails, never as 1 − something, so that a p of 1e-30 keeps its digits.

// checkConf refuses a confidence level outside (0, 1).
func checkConf(conf float64) error {
	if !(conf > 0 && conf < 1) {
		return badInput("conf is %v, must lie between 0 and 1, for example 0.95", conf)
	}
	return nil
}

// normalCritical returns the z that a standard normal exceeds in absolute
// value with probability 1 − conf: 1.959963984540054 for 0.95.
func normalCritical(conf float64) float64 {
	return -mathext.NormalQuantile((1 - conf) / 2)
}

// tCritical returns the t that Student's t with df degrees of freedom exceeds in
// absolute value with probability 1 − conf: 2.200985 for 11 and 0.95.
func tCritical(df, conf float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(1 - (1-conf)/2)
}

// normalTwoSided returns P(|Z| ≥ |z|) for a standard normal Z.
func normalTwoSided(z float64) float64 {
	return math.Erfc(math.Abs(z) / math.Sqrt2)
}

// chiSquareTail returns P(X ≥ x) for a chi-square X with df degrees of
// freedom.
func chiSquareTail(x float64, df int) float64 {
	if x <= 0 {
		return 1
	}
	if df == 1 {
		return math.Erfc(math.Sqrt(x / 2))
	}
	return mathext.GammaIncRegComp(float64(df)/2, x/2)
}
