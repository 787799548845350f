package study

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// hits draws how many of n independent pairs show something of probability p.
func hits(r *rand.Rand, n int, p float64) int {
	k := 0
	for range n {
		if r.Float64() < p {
			k++
		}
	}
	return k
}

// beta draws a share from Beta(a, b).
func beta(r *rand.Rand, a, b float64) float64 {
	return distuv.Beta{Alpha: a, Beta: b, Src: r}.Rand()
}

// pick draws a place by its weights, which sum to 1.
func pick(r *rand.Rand, weights []float64) int {
	u := r.Float64()
	for i, w := range weights {
		if u -= w; u < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// life is the Weibull law of the lives in the study: a half is worn by about
// 600 km, as is common in the trade (common practice, no source).
var life = law{shape: 2.5, scale: 700}

// law is a Weibull law.
type law struct{ shape, scale float64 }

func (l law) draw(r *rand.Rand) float64 { return l.scale * math.Pow(r.ExpFloat64(), 1/l.shape) }

// sound is the share still sound at t.
func (l law) sound(t float64) float64 { return math.Exp(-math.Pow(t/l.scale, l.shape)) }

// quantile is the distance by which a share p has failed.
func (l law) quantile(p float64) float64 {
	return l.scale * math.Pow(-math.Log1p(-p), 1/l.shape)
}

// next is the distance by which a pair sound at km has failed with probability
// risk.
func (l law) next(km, risk float64) float64 {
	return l.scale * math.Pow(math.Pow(km/l.scale, l.shape)-math.Log1p(-risk), 1/l.shape)
}

// mean is the mean life up to tau, by Simpson's rule.
func (l law) mean(tau float64) float64 {
	const steps = 2000
	h := tau / steps
	sum := l.sound(0) + l.sound(tau)
	for i := 1; i < steps; i++ {
		sum += float64(2+2*(i%2)) * l.sound(float64(i)*h)
	}
	return sum * h / 3
}

// km10 rounds a distance to whole tens, as counters hear it.
func km10(km float64) float64 { return 10 * math.Round(km/10) }

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }
