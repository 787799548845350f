package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func TestNormalRunLengthReproducesItsReferences(t *testing.T) {
	const (
		lucas  = "[P] Lucas & Crosier 1982, Technometrics 24:199–205, Table 1"
		spc    = "[R] R package spc 0.6.7, xcusum.arl(r = 60)"
		memory = "[M] Montgomery, k = .5, h = 5"
	)
	for _, tt := range []struct {
		h, shift, head float64
		want, source   string
	}{
		{4, 0, 0, "168", lucas},
		{4, .25, 0, "74.2", lucas},
		{4, .5, 0, "26.6", lucas},
		{4, .75, 0, "13.3", lucas},
		{4, 1, 0, "8.38", lucas},
		{4, 1.5, 0, "4.75", lucas},
		{4, 2, 0, "3.34", lucas},
		{4, 2.5, 0, "2.62", lucas},
		{4, 3, 0, "2.19", lucas},
		{4, 4, 0, "1.71", lucas},
		{4, 0, 2, "149", lucas},
		{4, .25, 2, "62.7", lucas},
		{4, .5, 2, "20.1", lucas},
		{4, .75, 2, "8.97", lucas},
		{4, 1, 2, "5.29", lucas},
		{4, 1.5, 2, "2.86", lucas},
		{4, 2, 2, "2.01", lucas},
		{4, 2.5, 2, "1.59", lucas},
		{4, 3, 2, "1.325", "1.32 in Lucas & Crosier 1982, Table 1 [P], by a coarse Markov chain; [O] 1.3252 by simulation, standard error .0005"},
		{4, 4, 2, "1.07", lucas},
		{4, 0, 0, "167.6838", spc},
		{4, .25, 0, "74.22403", spc},
		{4, .5, 0, "26.6302", spc},
		{4, .75, 0, "13.28509", spc},
		{4, 1, 0, "8.383132", spc},
		{4, 1.5, 0, "4.747168", spc},
		{4, 2, 0, "3.34277", spc},
		{4, 2.5, 0, "2.619519", spc},
		{4, 3, 0, "2.194481", spc},
		{4, 4, 0, "1.708457", spc},
		{4, 0, 2, "148.69565", spc},
		{4, 1, 2, "5.286886", spc},
		{5, 0, 0, "465", memory},
		{5, .25, 0, "139", memory},
		{5, .5, 0, "38.0", memory},
		{5, .75, 0, "17.0", memory},
		{5, 1, 0, "10.4", memory},
		{5, 1.5, 0, "5.75", memory},
		{5, 2, 0, "4.01", memory},
		{5, 2.5, 0, "3.11", memory},
		{5, 3, 0, "2.57", memory},
		{5, 4, 0, "2.01", memory},
		{5, 0, 0, "465.4435", spc},
		{5, .25, 0, "139.4937", spc},
		{5, .5, 0, "37.99614", spc},
		{5, .75, 0, "17.04833", spc},
		{5, 1, 0, "10.37597", spc},
		{5, 1.5, 0, "5.747218", spc},
		{5, 2, 0, "4.008871", spc},
		{5, 2.5, 0, "3.113688", spc},
		{5, 3, 0, "2.573252", spc},
		{5, 4, 0, "2.012568", spc},
		{5, 0, 2.5, "430.3908", spc},
		{5, 1, 2.5, "6.346850", spc},
	} {
		r, err := NormalRunLength(.5, tt.h, tt.shift, tt.head)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"two-sided run length", r.ARLTwo.V, tt.want, tt.source}})
	}
	for _, tt := range []struct {
		h, shift     float64
		want, source string
	}{
		{4, 0, "335.3676", spc},
		{3, 0, "117.6", "[P] Brook & Evans 1972 print 117.59 by Markov chain, as quoted by R package spc"},
		{3, 1.5, "3.75", "[P] Brook & Evans 1972, as quoted by R package spc"},
	} {
		r, err := NormalRunLength(.5, tt.h, tt.shift, 0)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"one-sided run length", r.ARLOne, tt.want, tt.source}})
	}
}

func TestEWMARunLengthReproducesItsReferences(t *testing.T) {
	const source = "[R] R package spc 0.6.7, xewma.arl(.1, 2.7, sided = 'two')"
	for shift, want := range map[float64]string{0: "368.993734", .5: "28.19053962", 1: "9.730011622"} {
		arl, err := EWMARunLength(.1, 2.7, shift)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"run length", arl, want, source}})
	}
}

func TestCountRunLengthsReproduceTheirReferences(t *testing.T) {
	const source = "exact linear system on the lattice, after Reynolds & Stoumbos 1999 [O: a simulation agrees]"
	for _, tt := range []struct {
		p    float64
		m    int
		h    float64
		want string
	}{
		{.01, 69, 3, "2300.743068"},
		{.02, 69, 3, "373.447513"},
		{.05, 14, 4, "1195.635403"},
		{.10, 14, 4, "108.461686"},
		{.10, 7, 5, "1690.106446"},
		{.20, 7, 5, "72.945648"},
		{.02, 27, 3, "2185.015045"},
		{.06, 27, 3, "107.884327"},
	} {
		r, err := BernoulliRunLength(tt.p, tt.m, tt.h)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"Bernoulli run length", r.ARLOne, tt.want, source}})
		if r.ARLTwo.OK || r.Why == "" {
			t.Errorf("two-sided length %v, want undefined with why", r.ARLTwo)
		}
	}
	for _, tt := range []struct {
		n        int
		p        float64
		num, den int
		h        float64
		want     string
	}{
		{50, .05, 18, 5, 7, "931.923777"},
		{50, .10, 18, 5, 7, "5.731764"},
		{20, .05, 19, 10, 4, "777.229041"},
		{20, .15, 19, 10, 4, "4.338132"},
	} {
		r, err := BinomialRunLength(tt.n, tt.p, tt.num, tt.den, tt.h)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"binomial run length", r.ARLOne, tt.want, source}})
	}
	for _, tt := range []struct {
		p0, p1 float64
		want   string
	}{{.01, .02, ".0144353447"}, {.05, .10, ".07235837684"}, {.10, .20, ".1452443543"}, {.02, .06, ".03654586086"}} {
		k, err := BernoulliReference(tt.p0, tt.p1)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"k", k, tt.want, "closed form, Reynolds & Stoumbos 1999"}})
	}
}

// riskMix has p = .02 (half the pairs), .05 (three in ten), .15 (one in five).
var riskMix = []float64{.02, .02, .02, .02, .02, .05, .05, .05, .15, .15}

func TestRiskRunLengthReproducesItsReferences(t *testing.T) {
	const source = "[O] Markov chain of Steiner et al. 2000, a second program; a simulation agrees"
	for _, tt := range []struct {
		h, odds float64
		want    [3]string // 400, 800, 1600 states
	}{
		{2, 1, [3]string{"438.775", "439.526", "439.893"}},
		{2, 2, [3]string{"80.3990", "80.4636", "80.4953"}},
		{3, 1, [3]string{"1507.67", "1511.94", "1513.70"}},
		{3, 2, [3]string{"135.026", "135.141", "135.195"}},
		{4.5, 1, [3]string{"7650.9", "7687.5", "7703.5"}},
		{4.5, 2, [3]string{"221.017", "221.201", "221.289"}},
	} {
		for i, states := range []int{400, 800, 1600} {
			arl, err := riskLatticeLength(riskMix, 2, tt.h, tt.odds, states)
			if err != nil {
				t.Fatal(err)
			}
			reproduce(t, []printed{{"run length", arl, tt.want[i], source}})
		}
	}
	for _, tt := range []struct {
		mix                         []float64
		odds, h, true, want, within float64
		source                      string
	}{
		{riskMix, 2, 2, 1, 440.68, 4 * .42, "[O] simulated, standard error .42"},
		{riskMix, 2, 2, 2, 80.582, 4 * .062, "[O] simulated, standard error .062"},
		{riskMix, 2, 3, 1, 1520.2, 4 * 2.7, "[O] simulated, standard error 2.7"},
		{riskMix, 2, 3, 2, 135.248, 4 * .096, "[O] simulated, standard error .096"},
		{riskMix, 2, 4.5, 1, 7757, 4 * 38, "[O] simulated, standard error 38"},
		{riskMix, 2, 4.5, 2, 221.39, 4 * .20, "[O] simulated, standard error .20"},
		{riskMix, 2, 4.5, 1.2, 1997, 4 * 8, "[O] simulated, baseline odds a fifth too low, standard error 8"},
		{[]float64{.05}, 19. / 9, 2.988857607, 1, 1299.3, 4 * 1.8, "[O] simulated Bernoulli chart, standard error 1.8"},
	} {
		r, err := RiskRunLength(tt.mix, tt.odds, tt.h, tt.true)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.ARLOne-tt.want) > tt.within {
			t.Errorf("run length at h %v, true odds %v = %v, want %v ± %v (%s)", tt.h, tt.true, r.ARLOne, tt.want, tt.within, tt.source)
		}
	}
	equal, err := riskLatticeLength([]float64{.05}, 19./9, 2.988857607, 1, 1600)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{{"equal expectations", equal, "1296.58", "[O] Bernoulli chart with k unrounded, n = 1600"}})
}

func TestRiskChartHoldsItsRunLength(t *testing.T) {
	r, err := RiskRunLength(riskMix, 2, 2, 2)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(11, 0))
	cases := make([]Case[int], 400_000)
	for i := range cases {
		p := riskMix[rng.IntN(len(riskMix))]
		cases[i] = Case[int]{i, rng.Float64() < 2*p/(1+p), p}
	}
	c, err := RiskAdjustedCUSUM(cases, 2, 2)
	if err != nil {
		t.Fatal(err)
	}
	signals, last := 0, 0
	for i, p := range c.Points {
		if p.Out {
			signals, last = signals+1, i+1
		}
	}
	mean := float64(last) / float64(signals)
	if math.Abs(mean-r.ARLOne) > 4*mean/math.Sqrt(float64(signals)) {
		t.Errorf("the chart signals every %v cases, its stated run length is %v", mean, r.ARLOne)
	}
}

func TestRunLengthsRefuse(t *testing.T) {
	for _, tt := range []struct {
		name string
		run  func() error
		want error
	}{
		{"a negative allowance", func() error { _, err := NormalRunLength(-1, 4, 0, 0); return err }, ErrBadInput},
		{"a head start beyond the limit", func() error { _, err := NormalRunLength(.5, 4, 0, 4); return err }, ErrBadInput},
		{"a run without end", func() error { _, err := NormalRunLength(2, 50, 0, 0); return err }, ErrNotReached},
		{"no weight", func() error { _, err := EWMARunLength(0, 3, 0); return err }, ErrBadInput},
		{"a lattice of nothing", func() error { _, err := BernoulliRunLength(.1, 0, 3); return err }, ErrBadInput},
		{"nothing ever fails", func() error { _, err := BernoulliRunLength(0, 7, 3); return err }, ErrNotReached},
		{"batches of nothing", func() error { _, err := BinomialRunLength(0, .1, 1, 2, 3); return err }, ErrBadInput},
		{"p0 above p1", func() error { _, err := BernoulliReference(.2, .1); return err }, ErrBadInput},
		{"no cases", func() error { _, err := RiskRunLength(nil, 2, 4, 1); return err }, ErrEmpty},
		{"an impossible expectation", func() error { _, err := RiskRunLength([]float64{2}, 2, 4, 1); return err }, ErrBadInput},
		{"true odds of nought", func() error { _, err := RiskRunLength([]float64{.1}, 2, 4, 0); return err }, ErrBadInput},
		{"pairs that cannot fail", func() error { _, err := RiskRunLength([]float64{0}, 2, 4, 1); return err }, ErrNotReached},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.run(); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}
