package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestMannKendallReproducesItsReferences(t *testing.T) {
	trend := func(order, value []float64) *Trend {
		r, err := MannKendall(order, value, .95, Nearest)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	rhine := readPublished(t, "maxau_s.csv")
	m := trend(rhine.numbers("year"), rhine.numbers("s"))
	const (
		vignette = "[P] vignette of R package trend: Rhine at Maxau"
		ours     = "[R] R package trend, scipy 1.10.1 theilslopes"
	)
	reproduce(t, []printed{
		{"z", m.Z, "-3.8445", vignette},
		{"p", m.P, "0.0001208", vignette},
		{"slope", m.Slope, "-0.2876139", vignette},
		{"low", m.SlopeLow.V, "-0.4196477", vignette},
		{"high", m.SlopeHigh.V, "-0.1519026", vignette},
		{"n", float64(m.N), "45", vignette},
		{"S", float64(m.S), "-394", ours},
		{"Var S", m.VarS, "10450", ours},
		{"z", m.Z, "-3.844451666", ours},
		{"p", m.P, ".0001208223", ours},
		{"slope", m.Slope, "-.2876138824", ours},
		{"low", m.SlopeLow.V, "-.4196476782", ours},
		{"high", m.SlopeHigh.V, "-.1519025875", ours},
	})
	nile := readPublished(t, "nile.csv")
	m = trend(nile.numbers("year"), nile.numbers("flow"))
	const river = "[R] R 4.2.2 cor.test(method = 'kendall', continuity = TRUE), scipy 1.10.1 theilslopes: Nile, with ties"
	reproduce(t, []printed{
		{"S", float64(m.S), "-1387", river},
		{"Var S", m.VarS, "112728.3333", river},
		{"z", m.Z, "-4.128066523", river},
		{"p", m.P, "3.658262922e-05", river},
		{"tau-b", m.TauB.V, "-.2807413347", river},
		{"slope", m.Slope, "-2.6", river},
		{"low", m.SlopeLow.V, "-3.627906977", river},
		{"high", m.SlopeHigh.V, "-1.428571429", river},
	})
	m = trend([]float64{1, 2, 3, 4, 5, 6, 7, 8}, []float64{1, 2, 2, 3, 5, 4, 4, 6})
	const tiny = "[R] R 4.2.2 cor.test, eight points with ties"
	reproduce(t, []printed{
		{"S", float64(m.S), "22", tiny},
		{"Var S", m.VarS, "63.33333333", tiny},
		{"z", m.Z, "2.638779622", tiny},
		{"p", m.P, ".008320505", tiny},
		{"tau-b", m.TauB.V, ".8153742483", tiny},
		{"slope", m.Slope, ".6333333333", tiny},
	})
}

func TestSenLimitsRoundOutward(t *testing.T) {
	const source = "[R] R 4.2.2, all slopes sorted: ranks 394 and 597 of 990, 2145 and 2806 of 4950"
	for _, tt := range []struct{ file, column, low, high string }{
		{"maxau_s.csv", "s", "-0.419893380120", "-0.150769439881"},
		{"nile.csv", "flow", "-3.62857142857", "-1.42424242424"},
	} {
		river := readPublished(t, tt.file)
		m, err := MannKendall(river.numbers("year"), river.numbers(tt.column), .95, Outward)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"low", m.SlopeLow.V, tt.low, source}, {"high", m.SlopeHigh.V, tt.high, source}})
	}
}

func TestMannKendallReproducesAPublishedStatistic(t *testing.T) {
	// Column Q of the Rhine series is not at hand; its S and variance are.
	const source = "[P] vignette of R package trend: S −144, Var S 10450, z −1.3989, p .1619"
	z := (-144. + 1) / math.Sqrt(10450)
	reproduce(t, []printed{{"z", z, "-1.3989", source}, {"p", normalTwoSided(z), "0.1619", source}})
}

func TestMannKendallWithTiesInBoth(t *testing.T) {
	m, err := MannKendall([]float64{1, 1, 2, 2, 3, 4, 4, 5}, []float64{2, 1, 3, 3, 2, 5, 4, 5}, .95, Outward)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[R] R 4.2.2 cor.test(c(1,1,2,2,3,4,4,5), c(2,1,3,3,2,5,4,5), method = 'kendall', exact = FALSE, continuity = TRUE)"
	reproduce(t, []printed{
		{"z", m.Z, "2.33050450488", source},
		{"p", m.P, "0.0197795022037", source},
		{"tau-b", m.TauB.V, "0.760000000000", source},
	})
}

func TestMannKendallAtItsEdges(t *testing.T) {
	flat, err := MannKendall([]float64{1, 2, 3}, []float64{4, 4, 4}, .95, Outward)
	if err != nil {
		t.Fatal(err)
	}
	if flat.VarS != 0 || flat.Z != 0 || flat.P != 1 || flat.TauB.OK || flat.Slope != 0 || flat.SlopeLow != Some(0) {
		t.Errorf("all values equal: %+v, want z 0, p 1, no tau", flat)
	}
	short, err := MannKendall([]float64{1, 2, 3}, []float64{1, 2, 4}, .95, Outward)
	if err != nil {
		t.Fatal(err)
	}
	if short.SlopeLow.OK || short.SlopeHigh.OK || short.Why == "" {
		t.Errorf("three points: %+v, want no limits and why", short)
	}
	for _, tt := range []struct {
		name         string
		order, value []float64
		want         error
	}{
		{"no points", nil, nil, ErrEmpty},
		{"one point", []float64{1}, []float64{1}, ErrNoSpread},
		{"one order", []float64{1, 1}, []float64{1, 2}, ErrNoSpread},
		{"lengths that differ", []float64{1, 2}, []float64{1}, ErrBadInput},
		{"an infinite value", []float64{1, 2}, []float64{1, math.Inf(1)}, ErrBadInput},
		{"too many points", make([]float64, LongestTrend+1), make([]float64, LongestTrend+1), ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := MannKendall(tt.order, tt.value, .95, Outward); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestMannKendallLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 25).Draw(t, "n")
		value := rapid.SliceOfN(rapid.Map(rapid.IntRange(-6, 6), func(v int) float64 { return float64(v) }), n, n).Draw(t, "value")
		order := make([]float64, n)
		for i := range order {
			order[i] = float64(i)
		}
		a, err := MannKendall(order, value, .9, Outward)
		if err != nil {
			t.Fatal(err)
		}
		way := rapid.Permutation(indices(n)).Draw(t, "way")
		movedOrder, movedValue, negative := make([]float64, n), make([]float64, n), make([]float64, n)
		for to, from := range way {
			movedOrder[to], movedValue[to] = order[from], value[from]
			negative[from] = -value[from]
		}
		b, err := MannKendall(movedOrder, movedValue, .9, Outward)
		if err != nil {
			t.Fatal(err)
		}
		if *a != *b {
			t.Fatalf("the order of rows matters: %+v and %+v", a, b)
		}
		c, err := MannKendall(order, negative, .9, Outward)
		if err != nil {
			t.Fatal(err)
		}
		if a.S != -c.S || a.Z != -c.Z || a.Slope != -c.Slope || a.SlopeLow.V != -c.SlopeHigh.V {
			t.Fatalf("turning the values over does not change the sign alone: %+v and %+v", a, c)
		}
		if a.SlopeLow.OK && !(a.SlopeLow.V <= a.Slope && a.Slope <= a.SlopeHigh.V) {
			t.Fatalf("the slope is outside its limits: %+v", a)
		}
		if a.TauB.OK && math.Abs(a.TauB.V) > 1+1e-12 {
			t.Fatalf("tau-b %v beyond 1", a.TauB.V)
		}
	})
}
