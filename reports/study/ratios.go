package study

import (
	"fmt"
	"math/rand/v2"

	"solewright/reports/stats"
)

// ratios are the time ratios of lives under different feet and surfaces.
func ratios() []Scenario {
	var list []Scenario
	for _, n := range []int{80, 300} {
		s := timeRatios(n)
		for i := range s.Claims[:3] {
			s = s.strays(i+1, 0.93, 0.96, whyWald, "the likelihood-ratio p and the number of events stand beside the ratios")
		}
		list = append(list, s.strays(4, 0.045, 0.07, whyRatio, "the number of events stands beside the p"))
	}
	return list
}

// The true time ratios: of a life under pronated feet against neutral ones, and
// for each standard deviation of the stride.
const (
	pronatedRatio = 0.8
	strideRatio   = 1.0 // says nothing about life
)

// timeRatios draws lives that depend on gait and not on stride, seen at up to
// three looks.
func timeRatios(n int) Scenario {
	gaits := []string{"neutral", "pronated"}
	return Scenario{
		Part: "life", Data: fmt.Sprintf("%d pairs of two gaits, looked at up to three times", n),
		Claims: []Claim{
			covers("time ratio of a gait, Wald"), covers("time ratio of what has no effect, Wald"), covers("scale at the reference, Wald"),
			rejects("likelihood ratio, of what has no effect"),
		},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			x := make([]stats.Interval, n)
			gait, stride := make([]string, n), make([]float64, n)
			for i := range x {
				g := r.IntN(len(gaits))
				gait[i], stride[i] = gaits[g], r.NormFloat64()
				t := life.draw(r)
				if g == 1 {
					t *= pronatedRatio
				}
				lower, upper := look(t, schedule(r, 1))
				x[i] = stats.Interval{Lower: lower, Upper: upper, N: 1}
			}
			byGait, byStride := stats.Covariate{Name: "gait", Words: gait}, stats.Covariate{Name: "stride", Numbers: stride}
			both, err := stats.RegressLife(x, []stats.Covariate{byGait, byStride}, Conf)
			if err != nil {
				return none(4, err)
			}
			without, err := stats.RegressLife(x, []stats.Covariate{byGait}, Conf)
			if err != nil {
				return none(4, err)
			}
			out := make([]Outcome, 4)
			for _, term := range both.Terms {
				switch term.Term {
				case "gait=pronated":
					out[0] = covered(pronatedRatio, term.Low, term.High)
				case "stride":
					out[1] = covered(strideRatio, term.Low, term.High)
				case "(Intercept)":
					out[2] = covered(life.scale, term.Low, term.High)
				}
			}
			const critical = 3.841458820694124 // of a chi-square with 1 degree of freedom, at 5 %
			out[3] = yes(2*(both.LogLik-without.LogLik) > critical)
			return out, nil
		},
	}
}
