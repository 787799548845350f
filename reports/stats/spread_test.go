package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func TestTailsWithOddsThatAreOff(t *testing.T) {
	for _, tt := range []struct {
		name   string
		risks  []Risk
		hits   int
		sd     float64
		want   float64
		source string
	}{
		{"twice as many as expected of a hundred", []Risk{{.1, 100}}, 20, .5, 0.082305099996, "[R] R 4.2.2 integrate over pbinom(h − 1, n, plogis(qlogis(p) + sd x), lower.tail = FALSE) dnorm(x)"},
		{"of more", []Risk{{.05, 230}}, 30, .45, 0.0184406652553, "[R] likewise"},
		{"of few that are rare", []Risk{{.02, 40}}, 4, .8, 0.0579878641619, "[R] likewise"},
		{"where odds may be far off", []Risk{{.3, 30}}, 22, 1.2, 0.080407762802, "[R] likewise"},
		{"far out among thousands", []Risk{{.01, 3000}}, 100, .3, 5.88085270617e-05, "[R] likewise"},
		{"of two risks", []Risk{{.05, 20}, {.4, 10}}, 12, .4, 0.00551637910147, "[R] likewise, the two binomials by outer(dbinom, dbinom)"},
		{"exact where odds are right", []Risk{{.25, 2}, {.5, 1}}, 2, 0, .25*.25*.5 + 2*.25*.75*.5 + .25*.25*.5, "by hand"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := OddsTail(tt.risks, tt.hits, tt.sd)
			if err != nil || math.Abs(got-tt.want) > 1e-4*tt.want {
				t.Errorf("%v, %v, want %v by %s", got, err, tt.want, tt.source)
			}
		})
	}
	for _, tt := range []struct {
		name  string
		risks []Risk
		hits  int
		sd    float64
		want  error
	}{
		{"no cases", []Risk{{.1, 0}}, 0, 0, ErrEmpty},
		{"no probability", []Risk{{1.1, 3}}, 1, 0, ErrBadInput},
		{"cases below none", []Risk{{.1, -1}}, 1, 0, ErrBadInput},
		{"hits below none", []Risk{{.1, 3}}, -1, 0, ErrBadInput},
		{"a deviation that isn't one", []Risk{{.1, 3}}, 1, math.NaN(), ErrBadInput},
	} {
		t.Run("refuses "+tt.name, func(t *testing.T) {
			if _, err := OddsTail(tt.risks, tt.hits, tt.sd); !errors.Is(err, tt.want) {
				t.Errorf("%v, want %v", err, tt.want)
			}
		})
	}
}

func TestTheTailIsThePoissonBinomialOneWhereOddsAreRight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 30).Draw(t, "p")
		hits := rapid.IntRange(0, len(p)).Draw(t, "hits")
		var risks []Risk
		for _, x := range p {
			risks = append(risks, Risk{x, 1})
		}
		want, err := PoissonBinomial(p, hits)
		got, err2 := OddsTail(risks, hits, 0)
		if err != nil || err2 != nil || math.Abs(got-want.PAtLeast) > 1e-12 {
			t.Fatalf("%v %v, want %v %v", got, err2, want, err)
		}
	})
}

func TestDispersion(t *testing.T) {
	far := []float64{-2.1, -1.4, -.9, -.6, -.3, .1, .2, .5, .8, 1.1, 1.6, 9.7}
	for _, tt := range []struct {
		name       string
		z          []float64
		phi, at, p float64
		source     string
	}{
		{"one unit far out moves it little", far, 1.4563128182, 9.7, 6.24474011305e-06, "[R] R 4.2.2: z pulled in to quantile(z, c(.1, .9)), mean z² over its integral under dnorm, 0.678654558953; 2 pt(−9.7/√φ, 11)"},
		{"of three units none is pulled in", []float64{3, -2, 1}, 14. / 3, -2.5, 0.366699503619, "[R] mean z²; 2 pt(−2.5/√φ, 2)"},
		{"never less than chance", []float64{.1, -.1, .2}, 1, 1.959963984540054, .05, "the normal's 95 % point"},
		{"of one unit nothing is known", []float64{3}, 9, 3, 1, "no degree of freedom is left"},
		{"of none", nil, 1, 0, 1, "definition"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := MeasureDispersion(tt.z)
			if p := d.P(tt.at); math.Abs(d.Phi-tt.phi) > 1e-9*tt.phi || math.Abs(p-tt.p) > 1e-9*tt.p {
				t.Errorf("φ %v p %v, want %v %v: %s", d.Phi, p, tt.phi, tt.p, tt.source)
			}
		})
	}
}

// deviations sets hits beside a share expected of all.
func deviations(hits, sizes []int, share float64) []Deviation {
	var all []Deviation
	for i, n := range sizes {
		v := float64(n) * share * (1 - share)
		all = append(all, Deviation{Hits: hits[i], Expected: float64(n) * share, Chance: v, Moved: v * v})
	}
	return all
}

func TestOddsSpread(t *testing.T) {
	for _, tt := range []struct {
		name   string
		units  []Deviation
		want   float64
		source string
	}{
		{
			"twelve units", deviations([]int{12, 30, 7, 22, 5, 41, 9, 16, 28, 11, 3, 60}, []int{100, 150, 80, 120, 60, 200, 90, 110, 140, 95, 50, 120}, .15),
			0.377266310999, "[R] R 4.2.2 uniroot of mean z² − 0.678654558953, z pulled in to quantile(z, c(.1, .9))",
		},
		{"three units", deviations([]int{2, 30, 20}, []int{60, 80, 70}, .2), 0.87516699044, "[R] R 4.2.2 uniroot of mean z² − 1"},
		{"no more than chance", deviations([]int{11, 9, 10}, []int{50, 50, 50}, .2), 0, "mean z² is below 1"},
		{"none", nil, 0, "definition"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := OddsSpread(tt.units); math.Abs(got-tt.want) > 1e-8 {
				t.Errorf("%v, want %v: %s", got, tt.want, tt.source)
			}
		})
	}
}

// The test keeps its size among units that differ, where a test against chance
// alone does not.
func TestATestAmongUnitsThatDifferKeepsItsSize(t *testing.T) {
	const fleets, units, size, share, between, alpha = 60, 40, 100, .2, .4, .05
	r := rand.New(rand.NewPCG(1, 2))
	spread, chance := 0, 0
	for range fleets {
		var hits, sizes []int
		for range units {
			odds := share / (1 - share) * math.Exp(between*r.NormFloat64())
			n := 0
			for range size {
				if r.Float64() < odds/(1+odds) {
					n++
				}
			}
			hits, sizes = append(hits, n), append(sizes, size)
		}
		sd := OddsSpread(deviations(hits, sizes, share))
		for _, h := range hits {
			for _, x := range []struct {
				sd float64
				n  *int
			}{{sd, &spread}, {0, &chance}} {
				p, err := OddsTail([]Risk{{share, size}}, h, x.sd)
				if err != nil {
					t.Fatal(err)
				}
				if p < alpha {
					*x.n++
				}
			}
		}
	}
	// Of 2,400 tests 5 % are 120, with a standard deviation of 11.
	if most := fleets*units*alpha + 4*math.Sqrt(fleets*units*alpha*(1-alpha)); float64(spread) > most || float64(chance) < most {
		t.Errorf("%d and by chance alone %d of %d are below %v, want no more than %.0f, and more", spread, chance, fleets*units, alpha, most)
	}
}
