package stats

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func ratGroups(t testing.TB) []Trials {
	p := readPublished(t, "rat_tumours.csv")
	names, y, n := p.words("group"), p.wholes("y"), p.wholes("n")
	var groups []Trials
	for i := range names {
		groups = append(groups, Trials{names[i], y[i], n[i]})
	}
	return groups
}

func pooled(t testing.TB, groups []Trials) *Pool {
	t.Helper()
	p, err := PoolShares(groups, 1, .95)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestPoolReproducesRatTumours(t *testing.T) {
	groups := ratGroups(t)
	p, history := pooled(t, groups), pooled(t, groups[:70])
	// R's optim, as first printed, stops at (2.304777549, 14.079774822) for 70
	// groups and (2.341608491, 14.114769134) for 71, where the likelihood is
	// 2.7e-11 short of its maximum: those rows are held to the digits that a
	// tighter search keeps. The other rows solve the score equations.
	const (
		optim = "[R] R 4.2.2 optim; data of Tarone 1982 and Gelman et al., Bayesian Data Analysis, Table 5.1"
		root  = "[R] root of the score equations by Newton with digamma and trigamma in R 4.2.2, and with 40 digits in mpmath 1.3.0"
	)
	reproduce(t, []printed{
		{"70 groups, alpha", history.Alpha.V, "2.3048", optim},
		{"70 groups, beta", history.Beta.V, "14.0798", optim},
		{"70 groups, loglik", history.LogLik, "-154.1402497", optim},
		{"alpha", p.Alpha.V, "2.3416", optim},
		{"beta", p.Beta.V, "14.1148", optim},
		{"mean", p.Mean, ".1422919", optim},
		{"rho", p.Rho, ".05729", optim},
		{"loglik", p.LogLik, "-156.5689299", optim},
		{"4 of 14", p.Groups[70].Pooled.V, ".208219", optim},
		{"4 of 14, low", p.Groups[70].Low.V, ".08622", optim},
		{"4 of 14, high", p.Groups[70].High.V, ".36635", optim},

		{"70 groups, alpha", history.Alpha.V, "2.30478331212", root},
		{"70 groups, beta", history.Beta.V, "14.07980903155", root},
		{"70 groups, loglik", history.LogLik, "-154.1402496652", root},
		{"alpha", p.Alpha.V, "2.34161440333", root},
		{"beta", p.Beta.V, "14.11480429844", root},
		{"mean", p.Mean, ".142291858622", root},
		{"rho", p.Rho, ".057285518701", root},
		{"loglik", p.LogLik, "-156.5689298832", root},
		{"4 of 14", p.Groups[70].Pooled.V, ".208219307248", root},
		{"4 of 14, low", p.Groups[70].Low.V, ".086216352263", root},
		{"4 of 14, high", p.Groups[70].High.V, ".366352001163", root},
	})
	for _, g := range p.Groups {
		switch {
		case g.Hits == 0 && g.Size == 20:
			reproduce(t, []printed{{"0 of 20", g.Pooled.V, ".064230511024", root}})
		case g.Hits == 9 && g.Size == 24:
			reproduce(t, []printed{{"9 of 24", g.Pooled.V, ".280341532130", root}})
		}
	}
	if p.Interval != "naive" {
		t.Errorf("interval %q, want naive from 50 groups on", p.Interval)
	}
}

func TestPosteriorReproducesTheTextbook(t *testing.T) {
	const (
		book   = "[P] Gelman et al., Bayesian Data Analysis, section 5.1, rat tumours"
		recomp = "[R] R 4.2.2, the book's moments of the raw rates, unrounded"
	)
	var sum, squares float64
	groups := ratGroups(t)
	for _, g := range groups[:70] {
		rate := float64(g.Hits) / float64(g.Size)
		sum, squares = sum+rate, squares+rate*rate
	}
	mean := sum / 70
	variance := (squares - 70*mean*mean) / 69
	prior := betaFit{mean: mean, theta: 1 / (mean*(1-mean)/variance - 1)}
	a, b := prior.posterior(groups[70])
	sd := math.Sqrt(a * b / ((a + b) * (a + b) * (a + b + 1)))
	reproduce(t, []printed{
		{"mean of the raw rates", mean, ".136", book},
		{"standard deviation of the raw rates", math.Sqrt(variance), ".103", book},
		{"alpha", prior.mean / prior.theta, "1.4", book},
		{"beta", (1 - prior.mean) / prior.theta, "8.6", book},
		{"posterior alpha of 4 in 14", a, "5.4", book},
		{"posterior beta of 4 in 14", b, "18.6", book},
		{"posterior mean of 4 in 14", prior.posteriorMean(groups[70]), ".223", book},
		{"posterior standard deviation of 4 in 14", sd, ".083", book},
		{"mean of the raw rates", mean, ".1360065389", recomp},
		{"standard deviation of the raw rates", math.Sqrt(variance), ".1034922698", recomp},
		{"alpha", prior.mean / prior.theta, "1.356149391", recomp},
		{"beta", (1 - prior.mean) / prior.theta, "8.615057891", recomp},
		{"posterior mean of 4 in 14", prior.posteriorMean(groups[70]), ".223441", recomp},
		{"posterior standard deviation of 4 in 14", sd, ".0833583", recomp},
	})
}

func TestPoolReproducesBattingAverages(t *testing.T) {
	data := readPublished(t, "efron_morris_baseball.csv")
	names, hits, bats := data.words("player_rank"), data.wholes("hits_first_45"), data.wholes("at_bats")
	var players []Trials
	for i := range names {
		players = append(players, Trials{names[i], hits[i], bats[i]})
	}
	p := pooled(t, players)
	const root = "[R] root of the score equations by Newton with digamma and trigamma in R 4.2.2; data of Efron & Morris 1975"
	rows := []printed{
		{"alpha", p.Alpha.V, "210.55084", root},
		{"beta", p.Beta.V, "582.68599", root},
		{"loglik", p.LogLik, "-45.3438962551", root},
	}
	for i, want := range []string{
		".27265664", ".27146366", ".27027068", ".26907770", ".26788472", ".26788472", ".26669174", ".26549876", ".26430578",
		".26430578", ".26311280", ".26311280", ".26311280", ".26311280", ".26311280", ".26191982", ".26072684", ".25953386",
	} {
		rows = append(rows, printed{"player " + names[i], p.Groups[i].Pooled.V, want, root})
	}
	reproduce(t, rows)
	if p.Interval != "laird-louis" {
		t.Errorf("interval %q, want laird-louis below 50 groups", p.Interval)
	}
}

func TestLairdLouisReproducesAnIndependentRefit(t *testing.T) {
	rats := ratGroups(t)
	fit, err := newBetaBinomial(rats).fit()
	if err != nil {
		t.Fatal(err)
	}
	fits, err := refit(rats, fit, 2)
	if err != nil {
		t.Fatal(err)
	}
	low, high := mixtureQuantile(fits, rats[70], .025), mixtureQuantile(fits, rats[70], .975)
	const second = "[O] second program, 50 refits: .0856, .3674"
	if math.Abs(low-.0856) > .002 || math.Abs(high-.3674) > .003 {
		t.Errorf("71 groups, 4 of 14: %v–%v, want about .0856–.3674 (%s)", low, high, second)
	}

	var third []Trials
	for i := 0; i < 70; i += 3 {
		third = append(third, rats[i])
	}
	p := pooled(t, third)
	const source = "[R] R 4.2.2: optim for the fit, 4,000 refits by rbeta, rbinom and optim, uniroot for the mixture; every third rat group"
	reproduce(t, []printed{{"alpha", p.Alpha.V, "1.9122", source}, {"beta", p.Beta.V, "11.4224", source}})
	for _, g := range p.Groups {
		want := [2]float64{}
		switch {
		case g.Hits == 0 && g.Size == 20:
			want = [2]float64{.004658, .16606}
		default:
			continue
		}
		// 400 refits leave some thousandths of noise; the naive limits, .0067
		// and .1564, lie outside.
		if math.Abs(g.Low.V-want[0]) > .001 || math.Abs(g.High.V-want[1]) > .004 {
			t.Errorf("%d of %d: %v–%v, want about %v (%s)", g.Hits, g.Size, g.Low.V, g.High.V, want, source)
		}
	}
}

func TestPoolDoesNotDependOnTheOrderOrSplittingOfGroups(t *testing.T) {
	groups := ratGroups(t)[:40]
	p := pooled(t, groups)
	var rows []Trials
	for i := len(groups) - 1; i >= 0; i-- {
		g := groups[i]
		rows = append(rows, Trials{g.Name, g.Hits / 2, g.Size / 2}, Trials{g.Name, g.Hits - g.Hits/2, g.Size - g.Size/2})
	}
	q := pooled(t, rows)
	for i, g := range p.Groups {
		h := q.Groups[len(groups)-1-i]
		if g.Name != h.Name || !relativelyClose(h.Pooled.V, g.Pooled.V, 1e-9) || !relativelyClose(h.Low.V, g.Low.V, 1e-9) || !relativelyClose(h.High.V, g.High.V, 1e-9) {
			t.Fatalf("%+v became %+v", g, h)
		}
	}
}

func TestPoolByNumberOfGroups(t *testing.T) {
	groups := ratGroups(t)
	few := pooled(t, groups[62:70])
	low, _, err := Wilson(float64(groups[69].Hits), float64(groups[69].Size), .95)
	if err != nil {
		t.Fatal(err)
	}
	if few.Interval != "wilson" || few.Groups[7].Why == "" || few.Groups[7].Pooled.OK || few.Groups[7].Low != Some(low) {
		t.Errorf("8 groups: %q, %+v, want Wilson unshrunk and why", few.Interval, few.Groups[7])
	}
	middle := append([]Trials{{Name: "empty"}}, groups[40:71]...)
	some, again := pooled(t, middle), pooled(t, middle)
	if some.Interval != "laird-louis" {
		t.Errorf("31 groups: %q, want laird-louis", some.Interval)
	}
	for i, g := range some.Groups {
		if g != again.Groups[i] {
			t.Errorf("the same seed gave %+v and %+v", g, again.Groups[i])
		}
		if !(g.Low.V < g.Pooled.V && g.Pooled.V < g.High.V) {
			t.Errorf("group %s: %+v, want the pooled share within its interval", g.Name, g)
		}
		if g.Size == 0 && (g.Share.OK || g.Why == "" || math.Abs(g.Pooled.V-some.Mean) > 1e-12) {
			t.Errorf("an empty group: %+v, want the prior mean %v", g, some.Mean)
		}
	}
}

func TestSumsOverLongStretches(t *testing.T) {
	long := tailOf([]int{40, 70, 1000, 1003, 20000})
	for _, theta := range []float64{1e-7, 1e-3, .02, 1, 300} {
		const base = .3
		var logs, first, second, weighted float64
		for i := range 20000 {
			more := 0.0 // groups with more than i
			for _, n := range []int{40, 70, 1000, 1003, 20000} {
				if n > i {
					more++
				}
			}
			v := 1 / (base + float64(i)*theta)
			logs -= more * math.Log(v)
			first += more * v
			second += more * v * v
			weighted += more * float64(i) * v
		}
		f, ff, w := long.inverses(base, theta)
		for _, sum := range []struct {
			what      string
			got, want float64
		}{
			{"logs", long.logs(base, theta), logs},
			{"first", f, first},
			{"second", ff, second},
			{"weighted", w, weighted},
		} {
			if !relativelyClose(sum.got, sum.want, 1e-10) {
				t.Errorf("θ %v: %s %v, term by term %v", theta, sum.what, sum.got, sum.want)
			}
		}
	}
}

func TestPoolOfGroupsAlike(t *testing.T) {
	var groups []Trials
	for i := range 12 {
		groups = append(groups, Trials{strconv.Itoa(i), 5, 20})
	}
	p := pooled(t, groups)
	if p.Alpha.OK || p.Rho != 0 || p.Why == "" || p.Groups[0].Pooled != Some(.25) || !(p.Groups[0].Low.V < .25 && p.Groups[0].High.V > .25) {
		t.Errorf("groups more alike than chance: %+v, want the pooled rate, no alpha, and why", p)
	}
}

func TestPoolRefuses(t *testing.T) {
	for _, tt := range []struct {
		name   string
		groups []Trials
		want   error
	}{
		{"no pairs", []Trials{{"a", 0, 0}}, ErrEmpty},
		{"one group", []Trials{{"a", 1, 4}, {"b", 0, 0}}, ErrOneGroup},
		{"no hits", []Trials{{"a", 0, 4}, {"b", 0, 5}}, ErrNoSpread},
		{"one pair a group", []Trials{{"a", 0, 1}, {"b", 1, 1}}, ErrNoSpread},
		{"all or none", []Trials{{"a", 0, 4}, {"b", 5, 5}, {"c", 0, 9}}, ErrNoMaximum},
		{"more hits than pairs", []Trials{{"a", 5, 4}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := PoolShares(tt.groups, 1, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestPoolLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var groups, mirrored []Trials
		for i := range rapid.IntRange(2, 9).Draw(t, "n") {
			size := rapid.IntRange(2, 40).Draw(t, "size")
			hits := rapid.IntRange(0, size).Draw(t, "hits")
			groups = append(groups, Trials{strconv.Itoa(i), hits, size})
			mirrored = append(mirrored, Trials{strconv.Itoa(i), size - hits, size})
		}
		a, err := PoolShares(groups, 1, .95)
		if err != nil {
			if !isReason(err) {
				t.Fatal(err)
			}
			return
		}
		b, err := PoolShares(rapid.Permutation(groups).Draw(t, "order"), 1, .95)
		if err != nil {
			t.Fatal(err)
		}
		c, err := PoolShares(mirrored, 1, .95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.LogLik-b.LogLik) > 1e-9 || math.Abs(a.LogLik-c.LogLik) > 1e-9 || math.Abs(a.Mean-b.Mean) > 1e-9 || math.Abs(a.Mean-(1-c.Mean)) > 1e-6 {
			t.Fatalf("order or counting misses matters: %+v, %+v, %+v", a, b, c)
		}
		if a.Alpha.OK {
			// The fit is a maximum: no neighbour is likelier.
			l := newBetaBinomial(groups)
			theta := 1 / (a.Alpha.V + a.Beta.V)
			top := l.loglik(a.Mean, theta)
			for _, f := range []float64{.99, 1.01} {
				if l.loglik(a.Mean, theta*f) > top+1e-9 || l.loglik(a.Mean*f, theta) > top+1e-9 && a.Mean*f < 1 {
					t.Fatalf("a neighbour of the fit %+v is likelier", a)
				}
			}
		}
	})
}
