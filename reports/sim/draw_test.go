package sim

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestStreamsMatchTheReferenceSplitMix64(t *testing.T) {
	// Source: splitmix64.c of S. Vigna, seed 1234567, as on Rosetta Code,
	// "Pseudo-random numbers/Splitmix64".
	d := roll(1234567)
	for i, want := range []uint64{
		6457827717110365317, 3203168211198807973, 9817491932198370423, 4593380528125082431, 16408922859458223821,
	} {
		if got := d.next(); got != want {
			t.Errorf("draw %d: got %d, want %d", i, got, want)
		}
	}
}

func TestTablesHoldTheirDistributions(t *testing.T) {
	tables := tabulate()
	at := func(q *quantileTable, p float64) float64 { return float64(q[int(p*quantiles)]) / one }
	mean := func(q *quantileTable) float64 {
		sum := 0.0
		for _, v := range q {
			sum += float64(v) / one
		}
		return sum / quantiles
	}
	// The tables are read at (i + ½)/4096, so a quantile is good to one place.
	for _, row := range []struct {
		name      string
		got, want float64
		tol       float64
		source    string
	}{
		{"97.5 % of the standard normal", at(&tables.normal, 0.975), 1.959964, 5e-3, "any table of the normal distribution"},
		{"median of a runner's factor", at(&tables.runner, 0.5), 1, 1e-3, "algebra: a lognormal with log mean 0"},
		{"mean of a runner's factor", mean(&tables.runner), math.Exp(sdRunner * sdRunner / 2), 2e-3, "algebra: exp(σ²/2); log SD 0.4, simulator_params"},
		{"mean of a side's factor", mean(&tables.side), math.Exp(sdSide * sdSide / 2), 1e-3, "algebra: exp(σ²/2); log SD 0.15, simulator_params"},
		{"mean of the exponential", mean(&tables.exponential), 1, 2e-3, "algebra"},
		{"63.2 % of a Weibull life", at(&tables.fatigue, 1-math.Exp(-1)), 1, 1e-3, "algebra: F(scale) = 1 − 1/e"},
		{"mean of a Weibull life of shape 2.2", mean(&tables.rub), math.Gamma(1 + 1/shapeRub), 2e-3, "algebra: Γ(1 + 1/k)"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if math.Abs(row.got-row.want) > row.tol {
				t.Errorf("got %.5f, want %.5f ± %g (%s)", row.got, row.want, row.tol, row.source)
			}
		})
	}
}

func TestEveryCodeIsGivenOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		key := rapid.Uint64().Draw(t, "key")
		a := rapid.Uint64Range(0, 1<<40-1).Draw(t, "a")
		b := rapid.Uint64Range(0, 1<<40-1).Draw(t, "b")
		x, y := permute40(key, a), permute40(key, b)
		if x>>40 != 0 {
			t.Fatalf("code %x has more than 40 bits", x)
		}
		if (a == b) != (x == y) {
			t.Fatalf("%d and %d have the codes %d and %d", a, b, x, y)
		}
	})
}

func TestPickFollowsItsWeights(t *testing.T) {
	weights := []int{5, 0, 15, 80}
	var got [4]int
	d := roll(7)
	const n = 100_000
	for range n {
		got[d.pick(weights, 100)]++
	}
	for i, w := range weights {
		p := float64(w) / 100
		// Five standard errors of a share.
		if diff := math.Abs(float64(got[i])/n - p); diff > 5*math.Sqrt(p*(1-p)/n) {
			t.Errorf("weight %d came up in %.4f", w, float64(got[i])/n)
		}
	}
}
