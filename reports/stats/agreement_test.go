package stats

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestWeightedKappaReproducesItsReferences(t *testing.T) {
	kappa := func(counts [][]int, weights [][]float64) *Kappa {
		k, err := WeightedKappa(counts, weights, .95)
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	fromDisagreement := func(d [][]float64) [][]float64 {
		w := make([][]float64, len(d))
		for i, row := range d {
			for _, v := range row {
				w[i] = append(w[i], 1-v/6)
			}
		}
		return w
	}
	cohen := [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}
	const (
		psych     = "[P] R package psych, help of cohen.kappa quoting Cohen 1968"
		recompute = "[R] R package psych"
	)
	symmetric := fromDisagreement([][]float64{{0, 1, 3}, {1, 0, 6}, {3, 6, 0}})
	asymmetric := fromDisagreement([][]float64{{0, 1, 4}, {1, 0, 6}, {2, 2, 0}})
	reproduce(t, []printed{
		{"unweighted", kappa(cohen, IdentityWeights(3)).Kappa, ".492", psych},
		{"weighted", kappa(cohen, symmetric).Kappa, ".348", psych},
		{"asymmetric", kappa(cohen, asymmetric).Kappa, ".353", psych},
		{"unweighted", kappa(cohen, IdentityWeights(3)).Kappa, ".49152542", recompute},
		{"weighted", kappa(cohen, symmetric).Kappa, ".34782609", recompute},
		{"asymmetric", kappa(cohen, asymmetric).Kappa, ".35338346", recompute},
	})

	fce := [][]int{{106, 10, 4}, {22, 28, 10}, {2, 12, 6}}
	all, err := CohenKappa(fce, .95)
	if err != nil {
		t.Fatal(err)
	}
	own := [][]float64{{1, 0, .4444}, {0, 1, .6667}, {.4444, .6667, 1}}
	weighted := kappa(fce, own)
	const (
		memory = "[M] Fleiss, Cohen & Everitt 1969, Psychol Bull 72:323–327"
		models = "[R] statsmodels 0.13.5 cohens_kappa"
	)
	square := func(v float64) float64 { return v * v }
	reproduce(t, []printed{
		{"kappa", all.Unweighted.Kappa, ".429", memory},
		{"kappa", all.Unweighted.Kappa, ".4285714286", models},
		{"SE", all.Unweighted.SE, ".05371100", models},
		{"Var", square(all.Unweighted.SE), ".002884872", models},
		{"Var₀", square(all.Unweighted.SENull), ".003081633", models},
		{"own weights", weighted.Kappa, ".5070699649", "[R] R package psych"},
		{"own weights SE", weighted.SE, ".05699388", models},
		{"own weights SE₀", weighted.SENull, ".06533588", models},
		{"linear", all.Linear.Kappa, ".4923076923", models},
		{"linear Var", square(all.Linear.SE), ".0025723772", models},
		{"quadratic", all.Quadratic.Kappa, ".5666666667", models},
		{"quadratic Var", square(all.Quadratic.SE), ".0030987414", models},
	})
	paradox := [][]int{{118, 5}, {2, 0}}
	reproduce(t, []printed{{"paradox", kappa(paradox, IdentityWeights(2)).Kappa, "-.0233918129", "[R] statsmodels 0.13.5"}})
}

func TestKappaRefuses(t *testing.T) {
	for _, tt := range []struct {
		name   string
		counts [][]int
		want   error
	}{
		{"no items", [][]int{{0, 0}, {0, 0}}, ErrEmpty},
		{"one category used by both", [][]int{{7, 0}, {0, 0}}, ErrOneCategory},
		{"a table that is not square", [][]int{{1, 2}}, ErrBadInput},
		{"a negative count", [][]int{{1, -2}, {0, 1}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := CohenKappa(tt.counts, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestKappaLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 5).Draw(t, "k")
		counts := rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(0, 20), k, k), k, k).Draw(t, "counts")
		counts[0][1]++
		counts[1][0]++
		swapped, reversed := make([][]int, k), make([][]int, k)
		for i := range k {
			swapped[i], reversed[i] = make([]int, k), make([]int, k)
			for j := range k {
				swapped[i][j] = counts[j][i]
				reversed[i][j] = counts[k-1-i][k-1-j]
			}
		}
		a, err := CohenKappa(counts, .95)
		if err != nil {
			t.Fatal(err)
		}
		for _, other := range [][][]int{swapped, reversed} {
			b, err := CohenKappa(other, .95)
			if err != nil {
				t.Fatal(err)
			}
			for i, pair := range [][2]*Kappa{{a.Unweighted, b.Unweighted}, {a.Linear, b.Linear}, {a.Quadratic, b.Quadratic}} {
				if math.Abs(pair[0].Kappa-pair[1].Kappa) > 1e-9 || math.Abs(pair[0].SE-pair[1].SE) > 1e-7 || math.Abs(pair[0].SENull-pair[1].SENull) > 1e-7 {
					t.Fatalf("swapping raters or turning the grades round changed kappa %d: %+v and %+v", i, pair[0], pair[1])
				}
			}
		}
		if k == 2 && (math.Abs(a.Unweighted.Kappa-a.Quadratic.Kappa) > 1e-12 || math.Abs(a.Unweighted.Kappa-a.Linear.Kappa) > 1e-12) {
			t.Fatalf("two grades: the weights matter: %+v", a)
		}
		if a.Unweighted.Kappa > 1 {
			t.Fatalf("kappa %v beyond 1", a.Unweighted.Kappa)
		}
	})
}

// tableOf reads every column of a data set but the first as counts.
func tableOf(t *testing.T, file string) [][]int {
	p := readPublished(t, file)
	out := make([][]int, len(p.rows))
	for _, column := range p.header[1:] {
		for i, v := range p.wholes(column) {
			out[i] = append(out[i], v)
		}
	}
	return out
}

func ratings(t *testing.T, counts [][]int) *Ratings {
	r, err := RatingsOf(counts)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestFleissKappaReproducesItsReferences(t *testing.T) {
	f, err := FleissKappa(ratings(t, tableOf(t, "fleiss1971_counts.csv")))
	if err != nil {
		t.Fatal(err)
	}
	const irr = "[R] R package irr, kappam.fleiss, on Fleiss 1971"
	rows := []printed{
		{"kappa", f.Kappa, "0.430", "[M] Fleiss 1971, Psychol Bull 76:378–382"},
		{"kappa", f.Kappa, ".4302445201", irr},
		{"z", f.Z, "17.65183058", irr},
	}
	for l, want := range []string{".245", ".245", ".520", ".471", ".566"} {
		rows = append(rows, printed{"kappa of a category", f.Categories[l].V, want, irr})
	}
	reproduce(t, rows)
	if f.N != 30 || f.Raters != 6 {
		t.Errorf("%d items of %d grades, want 30 of 6", f.N, f.Raters)
	}
	if f, err = FleissKappa(ratings(t, tableOf(t, "fleiss_10x5x14.csv"))); err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"kappa", f.Kappa, "0.210", "[P2] worked example of the encyclopedia article, quoted by several test suites"},
		{"kappa", f.Kappa, ".2099307044", "[R] statsmodels 0.13.5 fleiss_kappa"},
	})
	for _, tt := range []struct {
		name   string
		counts [][]int
		want   error
	}{
		{"one grade an item", [][]int{{1, 0}, {0, 1}}, ErrNotPaired},
		{"items with different numbers of grades", [][]int{{2, 0}, {1, 2}}, ErrUnequalGrades},
		{"one category", [][]int{{2, 0}, {2, 0}}, ErrOneCategory},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := FleissKappa(ratings(t, tt.counts)); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

// observers is the example of Krippendorff 2011: 12 units, 4 observers, five
// grades, some missing.
func observers(t testing.TB) *Ratings {
	p := readPublished(t, "krippendorff_12x4.csv")
	var grades []Grade
	for rater, name := range p.header[1:] {
		for item, v := range p.numbers(name) {
			if !math.IsNaN(v) {
				grades = append(grades, Grade{item, rater, int(v) - 1})
			}
		}
	}
	r, err := Reduce(grades, 5)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestKrippendorffReproducesItsReferences(t *testing.T) {
	r := observers(t)
	for _, tt := range []struct {
		scale             Scale
		published, recent string
	}{
		{Nominal, ".743", ".7434210526"},
		{Ordinal, ".815", ".8153875038"},
		{IntervalData, ".849", ".8491071429"},
		{Ratio, ".797", ".7974027747"},
	} {
		a, err := Krippendorff(r, tt.scale, []float64{1, 2, 3, 4, 5}, 0, 1, .95)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{
			{string(tt.scale), a.Alpha, tt.published, "[P2] Krippendorff 2011, quoted in many places"},
			{string(tt.scale), a.Alpha, tt.recent, "[R] R package irr, kripp.alpha"},
		})
		if a.Units != 11 || a.Grades != 40 || a.Low.OK {
			t.Errorf("%d units of %d grades, low %v, want 11 of 40 and no interval unasked", a.Units, a.Grades, a.Low)
		}
	}
}

func TestAlphaIntervalIsSeeded(t *testing.T) {
	r := observers(t)
	first, err := Krippendorff(r, Ordinal, nil, BootstrapReplicates, 4, .95)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Krippendorff(r, Ordinal, nil, BootstrapReplicates, 4, .95)
	if err != nil {
		t.Fatal(err)
	}
	if *first != *again {
		t.Errorf("the same seed gave %+v and %+v", first, again)
	}
	if !(first.Low.V < first.Alpha && first.Alpha < first.High.V && first.High.V <= 1) {
		t.Errorf("interval %v–%v does not hold alpha %v", first.Low, first.High, first.Alpha)
	}
	wide, err := Krippendorff(r, Ordinal, nil, BootstrapReplicates, 4, .99)
	if err != nil {
		t.Fatal(err)
	}
	if wide.Low.V > first.Low.V || wide.High.V < first.High.V {
		t.Errorf("99 %% interval %v–%v inside the 95 %% one %v–%v", wide.Low, wide.High, first.Low, first.High)
	}
}

func TestGwetReproducesItsReferences(t *testing.T) {
	ac1, err := GwetAC1(observers(t), .95)
	if err != nil {
		t.Fatal(err)
	}
	paradox, err := GwetAC1(ratings(t, pairCounts([][]int{{118, 5}, {2, 0}})), .95)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"AC1", ac1.Value, "0.77544", "[P2] R package irrCAC, cac.raw4raters; Gwet 2014 p. 120"},
		{"AC1", ac1.Value, ".7754440681", "[R] R package irrCAC"},
		{"its standard error", ac1.SE.V, "0.14295", "[M] R package irrCAC, gwet.ac1.raw(cac.raw4raters), 12 items"},
		{"its lower limit", ac1.Low.V, "0.461", "[M] the same"},
		{"its upper limit", ac1.High.V, "1", "[M] the same"},
		{"paradox", paradox.Value, ".9407763376", "[R] by formula; 118 5 / 2 0"},
	})
	if _, err := GwetAC1(ratings(t, [][]int{{1, 0}}), .95); !errors.Is(err, ErrNotPaired) {
		t.Errorf("one grade an item: err = %v, want ErrNotPaired", err)
	}
}

// pairCounts lists the items of a two-rater table as counts.
func pairCounts(table [][]int) [][]int {
	var out [][]int
	for i, row := range table {
		for j, n := range row {
			for range n {
				c := make([]int, len(table))
				c[i]++
				c[j]++
				out = append(out, c)
			}
		}
	}
	return out
}

func TestAgreementRefuses(t *testing.T) {
	paired := ratings(t, [][]int{{2, 0}, {1, 1}})
	for _, tt := range []struct {
		name string
		run  func() error
		want error
	}{
		{"alpha without pairs", func() error {
			_, err := Krippendorff(ratings(t, [][]int{{1, 0}, {0, 1}}), Nominal, nil, 0, 1, .95)
			return err
		}, ErrNotPaired},
		{"alpha of one category", func() error {
			_, err := Krippendorff(ratings(t, [][]int{{2, 0}, {3, 0}}), Ordinal, nil, 0, 1, .95)
			return err
		}, ErrOneCategory},
		{"an unknown scale", func() error { _, err := Krippendorff(paired, "cubic", nil, 0, 1, .95); return err }, ErrBadInput},
		{"values that are not one a level", func() error {
			_, err := Krippendorff(paired, IntervalData, []float64{1}, 0, 1, .95)
			return err
		}, ErrBadInput},
		{"negative values on a ratio scale", func() error {
			_, err := Krippendorff(paired, Ratio, []float64{-1, 2}, 0, 1, .95)
			return err
		}, ErrBadInput},
		{"no grades", func() error { _, err := Reduce(nil, 3); return err }, ErrEmpty},
		{"a level beyond the last", func() error { _, err := Reduce([]Grade{{0, 0, 3}}, 3); return err }, ErrBadInput},
		{"a wild item number", func() error { _, err := Reduce([]Grade{{1 << 40, 0, 0}}, 3); return err }, ErrBadInput},
		{"a ragged table", func() error { _, err := RatingsOf([][]int{{1, 2}, {1}}); return err }, ErrBadInput},
		{"nothing graded", func() error { _, err := RatingsOf([][]int{{0, 0}}); return err }, ErrEmpty},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.run(); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestAgreementLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		levels := rapid.IntRange(2, 5).Draw(t, "levels")
		var grades []Grade
		for item := range rapid.IntRange(2, 15).Draw(t, "items") {
			for rater := range rapid.IntRange(1, 4).Draw(t, "raters") {
				grades = append(grades, Grade{item, rater, rapid.IntRange(0, levels-1).Draw(t, "level")})
			}
		}
		a, err := Reduce(grades, levels)
		if err != nil {
			t.Fatal(err)
		}
		moved := rapid.Permutation(grades).Draw(t, "moved")
		turned := make([]Grade, len(moved)) // other numbers for items and raters, grades turned round
		for i, g := range moved {
			turned[i] = Grade{40 - g.Item, 9 - g.Rater, levels - 1 - g.Level}
		}
		b, err := Reduce(turned, levels)
		if err != nil {
			t.Fatal(err)
		}
		for _, scale := range []Scale{Nominal, Ordinal, IntervalData} {
			x, err := Krippendorff(a, scale, nil, 0, 1, .95)
			y, other := Krippendorff(b, scale, nil, 0, 1, .95)
			if (err == nil) != (other == nil) {
				t.Fatalf("%s: errors differ: %v and %v", scale, err, other)
			}
			if err != nil {
				if !isReason(err) {
					t.Fatalf("%s: %v, want a reason", scale, err)
				}
				continue
			}
			if math.Abs(x.Alpha-y.Alpha) > 1e-9 || x.Alpha > 1+1e-12 {
				t.Fatalf("%s: order or names matter, or alpha beyond 1: %v and %v", scale, x.Alpha, y.Alpha)
			}
			if levels == 2 && scale != Nominal {
				nominal, err := Krippendorff(a, Nominal, nil, 0, 1, .95)
				if err != nil {
					t.Fatal(err)
				}
				if math.Abs(nominal.Alpha-x.Alpha) > 1e-9 {
					t.Fatalf("two grades: the scale matters: %v and %v", nominal.Alpha, x.Alpha)
				}
			}
		}
		x, err := GwetAC1(a, .95)
		y, other := GwetAC1(b, .95)
		if (err == nil) != (other == nil) || err == nil && (math.Abs(x.Value-y.Value) > 1e-9 || math.Abs(x.SE.V-y.SE.V) > 1e-9 || x.Value > 1+1e-12) {
			t.Fatalf("AC1: %v, %v and %v, %v", x, err, y, other)
		}
	})
}

func TestICCReproducesItsReferences(t *testing.T) {
	p := readPublished(t, "shrout_fleiss.csv")
	readings := make([][]float64, len(p.rows))
	for _, column := range p.header[1:] {
		for i, v := range p.numbers(column) {
			readings[i] = append(readings[i], v)
		}
	}
	r, err := ICC(readings, .95)
	if err != nil {
		t.Fatal(err)
	}
	const (
		paper = "[P] Shrout & Fleiss 1979, quoted by a test of R package psych"
		psych = "[R] R package psych, ICC"
	)
	reproduce(t, []printed{
		{"ICC(1,1)", r.ICC11.ICC.V, ".17", paper},
		{"ICC(2,1)", r.ICC21.ICC.V, ".29", paper},
		{"ICC(3,1)", r.ICC31.ICC.V, ".71", paper},
		{"ICC(1,1)", r.ICC11.ICC.V, ".1657417684", psych},
		{"low", r.ICC11.Low.V, "-.1329323", psych},
		{"high", r.ICC11.High.V, ".7225601", psych},
		{"ICC(2,1)", r.ICC21.ICC.V, ".2897637795", psych},
		{"low", r.ICC21.Low.V, ".0187865", psych},
		{"high", r.ICC21.High.V, ".7610844", psych},
		{"ICC(3,1)", r.ICC31.ICC.V, ".7148407148", psych},
		{"low", r.ICC31.Low.V, ".3424648", psych},
		{"high", r.ICC31.High.V, ".9458583", psych},
		{"ICC(1,4)", r.Average1.V, ".4427971", psych},
		{"ICC(2,4)", r.Average2.V, ".6200505", psych},
		{"ICC(3,4)", r.Average3.V, ".9093155", psych},
		{"BMS", r.BMS, "11.2416667", psych},
		{"JMS", r.JMS, "32.4861111", psych},
		{"EMS", r.EMS, "1.0194444", psych},
		{"WMS", r.WMS, "6.2638889", psych},
		{"F of (1,1)", r.ICC11.F.V, "1.7946784922", "[R] BMS/WMS of the same table"},
	})
}

func TestICCAtItsEdges(t *testing.T) {
	same, err := ICC([][]float64{{1, 1}, {2, 2}, {3, 3}}, .95)
	if err != nil {
		t.Fatal(err)
	}
	if same.ICC11.ICC != Some(1) || same.ICC11.F.OK || same.ICC31.Low.OK || same.Why == "" {
		t.Errorf("raters who never differ: %+v, want 1 without F, and why", same)
	}
	for _, tt := range []struct {
		name     string
		readings [][]float64
		want     error
	}{
		{"one item", [][]float64{{1, 2}}, ErrOneGroup},
		{"one rater", [][]float64{{1}, {2}}, ErrOneGroup},
		{"no spread", [][]float64{{4, 4}, {4, 4}}, ErrNoSpread},
		{"a ragged table", [][]float64{{1, 2}, {3}}, ErrBadInput},
		{"not a number", [][]float64{{1, 2}, {3, math.NaN()}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := ICC(tt.readings, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

// Undefined by the formulas of Shrout & Fleiss (1979) themselves: 0/0, and −1/0.
func TestICCWithoutADenominatorIsUndefined(t *testing.T) {
	for name, tt := range map[string]struct {
		readings             [][]float64
		first, second, third Float
	}{
		"items that differ by their raters alone": {[][]float64{{1.1, .3}, {1.1, .3}, {1.1, .3}}, Some(-1), Some(0), None},
		"readings the other way round":            {[][]float64{{1, 2}, {2, 1}}, Some(-1), None, Some(-1)},
	} {
		r, err := ICC(tt.readings, .95)
		if err != nil {
			t.Fatal(err)
		}
		if r.ICC11.ICC != tt.first || r.ICC21.ICC != tt.second || r.ICC31.ICC != tt.third || r.Why == "" {
			t.Errorf("%s: %v, %v, %v, because %q; want %v, %v, %v", name, r.ICC11.ICC, r.ICC21.ICC, r.ICC31.ICC, r.Why, tt.first, tt.second, tt.third)
		}
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
	}
}

func TestICCLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, k := rapid.IntRange(2, 8).Draw(t, "items"), rapid.IntRange(2, 4).Draw(t, "raters")
		x := rapid.SliceOfN(rapid.SliceOfN(rapid.Map(rapid.IntRange(-20, 20), func(v int) float64 { return float64(v) / 4 }), k, k), n, n).Draw(t, "readings")
		a, err := ICC(x, .95)
		if err != nil {
			if !errors.Is(err, ErrNoSpread) {
				t.Fatal(err)
			}
			return
		}
		y := make([][]float64, n)
		for to, from := range rapid.Permutation(indices(n)).Draw(t, "order") {
			for j := k - 1; j >= 0; j-- {
				y[to] = append(y[to], 3*x[from][j]+7)
			}
		}
		b, err := ICC(y, .95)
		if err != nil {
			t.Fatal(err)
		}
		for name, pair := range map[string][2]IntraclassPart{"(1,1)": {a.ICC11, b.ICC11}, "(2,1)": {a.ICC21, b.ICC21}, "(3,1)": {a.ICC31, b.ICC31}} {
			if pair[0].ICC.OK != pair[1].ICC.OK || math.Abs(pair[0].ICC.V-pair[1].ICC.V) > 1e-9 || pair[0].ICC.V > 1+1e-9 {
				t.Fatalf("ICC%s: order or unit matters, or beyond 1: %v and %v", name, pair[0].ICC, pair[1].ICC)
			}
		}
	})
}

func TestBlandAltmanReproducesItsReferences(t *testing.T) {
	p := readPublished(t, "pefr_bland_altman.csv")
	first, second := p.numbers("wright1"), p.numbers("mini1")
	two, err := limitsOfAgreement(first, second, nil, 2, .95)
	if err != nil {
		t.Fatal(err)
	}
	l, err := BlandAltman(first, second, .95)
	if err != nil {
		t.Fatal(err)
	}
	const (
		paper = "[M] Bland & Altman 1986, from rounded inputs −2.1 ∓ 2 × 38.8"
		ours  = "[R] R 4.2.2, by formula on the published data"
	)
	reproduce(t, []printed{
		{"bias", l.Bias, "-2.1", paper},
		{"SD", l.SD, "38.8", paper},
		{"low", math.Round(two.Bias*10)/10 - 2*math.Round(two.SD*10)/10, "-79.7", paper},
		{"high", math.Round(two.Bias*10)/10 + 2*math.Round(two.SD*10)/10, "75.5", paper},
		{"bias", l.Bias, "-2.117647059", ours},
		{"SD", l.SD, "38.76512987", ours},
		{"low at 2 s", two.Low, "-79.64790681", ours},
		{"high at 2 s", two.High, "75.41261269", ours},
		{"low", l.Low, "-78.09590547", "[R] R 4.2.2 mean(d) - qnorm(.975)*sd(d)"},
		{"high", l.High, "73.86061135", "[R] R 4.2.2 mean(d) + qnorm(.975)*sd(d)"},
		{"bias low", l.BiasLow, "-22.0488377", ours},
		{"bias high", l.BiasHigh, "17.8135436", ours},
		{"lower limit, low", two.LowLow, "-114.1697", ours},
		{"lower limit, high", two.LowHigh, "-45.1261", ours},
		{"lower limit, high", two.LowHigh, "-45.1", "[P2] Bland & Altman 1986, −114.3 to −45.1 from rounded inputs"},
	})
}

func TestBlandAltmanRefuses(t *testing.T) {
	for _, tt := range []struct {
		name          string
		first, second []float64
		want          error
	}{
		{"no pairs", nil, nil, ErrEmpty},
		{"one pair", []float64{1}, []float64{2}, ErrNoSpread},
		{"one difference", []float64{1, 2}, []float64{2, 3}, ErrNoSpread},
		{"lengths that differ", []float64{1, 2}, []float64{2}, ErrBadInput},
		{"not a number", []float64{1, math.NaN()}, []float64{2, 3}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := BlandAltman(tt.first, tt.second, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	a, err := BlandAltman([]float64{1, 5, 3}, []float64{2, 2, 7}, .95)
	if err != nil {
		t.Fatal(err)
	}
	twice, err := BlandAltmanCounted([]float64{1, 9, 5, 3}, []float64{2, 0, 2, 7}, []int{2, 0, 2, 2}, .95)
	if err != nil {
		t.Fatal(err)
	}
	each, err := BlandAltman([]float64{1, 5, 3, 1, 5, 3}, []float64{2, 2, 7, 2, 2, 7}, .95)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(twice.SD-each.SD) > 1e-12 || math.Abs(twice.HighHigh-each.HighHigh) > 1e-12 || twice.N != each.N {
		t.Errorf("counted twice: %+v, written twice: %+v", twice, each)
	}
	if _, err := BlandAltmanCounted([]float64{1, 2}, []float64{2, 4}, []int{1, -1}, .95); !errors.Is(err, ErrBadInput) {
		t.Errorf("a count below 0: %v", err)
	}
	b, err := BlandAltman([]float64{7, 2, 2}, []float64{3, 1, 5}, .95)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.Bias+b.Bias) > 1e-12 || math.Abs(a.Low+b.High) > 1e-12 || math.Abs(a.SD-b.SD) > 1e-12 {
		t.Errorf("swapping the methods does not change the sign alone: %+v and %+v", a, b)
	}
}

func TestBootstrapOfASmoothShareAgreesWithTheory(t *testing.T) {
	var clusters []Cluster
	for i := range 400 {
		hit := 0
		if i%4 == 0 {
			hit = 1
		}
		clusters = append(clusters, Cluster{hit, 1})
	}
	b, err := BootstrapShare(clusters, BootstrapReplicates, 9, .95)
	if err != nil {
		t.Fatal(err)
	}
	// .25 ∓ 1.96 √(.25·.75/400) = .2076, .2924 (normal theory).
	if math.Abs(b.Low-.2076) > .006 || math.Abs(b.High-.2924) > .006 {
		t.Errorf("interval %v–%v, want about .2076–.2924 (normal theory, 400 pairs)", b.Low, b.High)
	}
	if b.Replicates != BootstrapReplicates || b.Skipped != 0 {
		t.Errorf("%d replicates, %d skipped, want all", b.Replicates, b.Skipped)
	}
	moved := append(append([]Cluster{}, clusters[200:]...), clusters[:200]...)
	again, err := BootstrapShare(moved, BootstrapReplicates, 9, .95)
	if err != nil {
		t.Fatal(err)
	}
	if *b != *again {
		t.Errorf("the order of runners matters: %+v and %+v", b, again)
	}
	for _, tt := range []struct {
		name     string
		clusters []Cluster
		want     error
	}{
		{"no runners", nil, ErrEmpty},
		{"more hits than pairs", []Cluster{{2, 1}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := BootstrapShare(tt.clusters, 10, 1, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := Resampled([]int{3}, 10, 1, .95, func([]int) (float64, bool) { return 0, false }); !errors.Is(err, ErrNotReached) {
		t.Errorf("a statistic without value: err = %v, want ErrNotReached", err)
	}
	if _, err := Resampled([]int{-3}, 10, 1, .95, nil); !errors.Is(err, ErrBadInput) {
		t.Errorf("a negative weight: err = %v, want ErrBadInput", err)
	}
}

func TestBothWaysOfDrawingAgree(t *testing.T) {
	// The variance of a multinomial count is n p (1 − p), either way.
	for name, weights := range map[string][]int{"unit by unit": {2, 3, 5}, "row by row": {200, 300, 500}} {
		t.Run(strings.ReplaceAll(name, " ", "_"), func(t *testing.T) {
			n := 0
			for _, w := range weights {
				n += w
			}
			sum, square, times := 0.0, 0.0, 0.0
			_, err := Resampled(weights, 20000, 3, .95, func(w []int) (float64, bool) {
				if w[0]+w[1]+w[2] != n {
					t.Fatalf("drew %v, want %d units", w, n)
				}
				v := float64(w[1])
				sum += v
				square += v * v
				times++
				return v, true
			})
			if err != nil {
				t.Fatal(err)
			}
			mean := sum / times
			variance := square/times - mean*mean
			want := float64(n) * .3 * .7
			if math.Abs(mean-float64(n)*.3) > 4*math.Sqrt(want/times) || math.Abs(variance/want-1) > .05 {
				t.Errorf("mean %v, variance %v, want %v and %v (multinomial)", mean, variance, float64(n)*.3, want)
			}
		})
	}
}
