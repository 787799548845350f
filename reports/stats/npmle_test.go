package stats

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func npmle(t testing.TB, x []Interval) *Life {
	t.Helper()
	r, err := NPMLE(x)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestNPMLEReproducesPublishedMasses(t *testing.T) {
	const (
		example = "[P] Fay & Shaw 2010 J Stat Softw 36(2), NPMLE of example1, exact fractions"
		icfit   = "[P] Fay & Shaw 2010 J Stat Softw 36(2), summary(icfit), which matches Icens"
		em      = "recomputed by self-consistency to a reduced gradient of 1.0000000000"
	)
	cosmesis := readPublished(t, "breast_cosmesis.csv")
	rad, chemo := cosmesis.where("treatment", "Rad").intervals("left", "right"), cosmesis.where("treatment", "RadChem").intervals("left", "right")
	type mass struct {
		left, right float64
		want        string
	}
	for _, tt := range []struct {
		name   string
		x      []Interval
		want   []mass
		loglik string
		source string
	}{
		{
			"seven lives",
			[]Interval{{2, 3, 1}, {5, 6, 1}, {1, 7, 2}, {9, 12, 1}, {8, 10, 1}, {10, 13, 1}},
			[]mass{{2, 3, ".2857142857142857"}, {5, 6, ".2857142857142857"}, {9, 10, ".2142857142857143"}, {10, 12, ".2142857142857143"}},
			"", example,
		},
		{"cosmesis, radiotherapy", rad, []mass{
			{4, 5, ".0463"},
			{6, 7, ".0334"},
			{7, 8, ".0887"},
			{11, 12, ".0708"},
			{24, 25, ".0926"},
			{33, 34, ".0818"},
			{38, 40, ".1209"},
			{46, 48, ".4656"},
		}, "", icfit},
		{"cosmesis, with chemotherapy", chemo, []mass{
			{4, 5, ".0433"},
			{5, 8, ".0433"},
			{11, 12, ".0692"},
			{16, 17, ".1454"},
			{18, 19, ".1411"},
			{19, 20, ".1157"},
			{24, 25, ".0999"},
			{30, 31, ".0709"},
			{35, 36, ".1608"},
			{44, 48, ".0552"},
			{48, 60, ".0552"},
		}, "", icfit},
		{"cosmesis, radiotherapy, more digits", rad, []mass{
			{4, 5, ".04634677"},
			{6, 7, ".03336337"},
			{7, 8, ".08866737"},
			{11, 12, ".07075292"},
			{24, 25, ".09264584"},
			{33, 34, ".08178576"},
			{38, 40, ".12087983"},
			{46, 48, ".46555814"},
		}, "-58.06002195", em},
		{"cosmesis, with chemotherapy, more digits", chemo, []mass{
			{4, 5, ".04328263"},
			{5, 8, ".04328263"},
			{11, 12, ".06920558"},
			{16, 17, ".14539772"},
			{18, 19, ".14109490"},
			{19, 20, ".11574593"},
			{24, 25, ".09986531"},
			{30, 31, ".07088138"},
			{35, 36, ".16083111"},
			{44, 48, ".05520641"},
			{48, 60, ".05520641"},
		}, "-65.63696491", em},
		{"cosmesis, both arms", cosmesis.intervals("left", "right"), []mass{
			{4, 5, ".04494910"},
			{6, 7, ".02259308"},
			{7, 8, ".05603829"},
			{11, 12, ".07904606"},
			{16, 17, ".06054556"},
			{18, 19, ".02155745"},
			{19, 20, ".14407167"},
			{24, 25, ".04971880"},
			{30, 31, ".09112570"},
			{38, 39, ".12644708"},
			{46, 48, ".18685818"},
			{48, 60, ".11704904"},
		}, "-136.96380387", em},
		{
			"by hand: two in (100, 200], one in (300, 400], two sound at 500",
			[]Interval{{100, 200, 2}, {300, 400, 1}, {500, math.Inf(1), 2}},
			[]mass{{100, 200, ".40000000000000"}, {300, 400, ".20000000000000"}, {500, math.Inf(1), ".40000000000000"}},
			"", "closed form: disjoint intervals keep their shares",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := npmle(t, tt.x)
			if len(r.Support) != len(tt.want) {
				t.Fatalf("support is %v, want %d intervals", r.Support, len(tt.want))
			}
			var rows []printed
			for j, w := range tt.want {
				m := r.Support[j]
				if m.Left != w.left || m.Right != Some(w.right) {
					t.Errorf("interval %d is (%v, %v], want (%v, %v] (%s)", j+1, m.Left, m.Right, w.left, w.right, tt.source)
				}
				rows = append(rows, printed{fmt.Sprintf("mass on (%g, %g]", w.left, w.right), m.Mass, w.want, tt.source})
			}
			if tt.loglik != "" {
				rows = append(rows, printed{"log-likelihood", r.LogLik, tt.loglik, tt.source})
			}
			reproduce(t, rows)
		})
	}
}

func TestNPMLECurve(t *testing.T) {
	const survfit = "[R] R 4.2.2 survival 3.5-3 survfit(type = 'interval2') on example1 of Fay & Shaw 2010: .714 .429 .214 0"
	r := npmle(t, []Interval{{2, 3, 1}, {5, 6, 1}, {1, 7, 2}, {9, 12, 1}, {8, 10, 1}, {10, 13, 1}})
	at := map[float64]string{2: "1.000", 3: ".714", 5: ".714", 6: ".429", 9: ".429", 10: ".214", 12: "0.000"}
	if len(r.Curve) != len(at) {
		t.Fatalf("curve is %v", r.Curve)
	}
	for _, p := range r.Curve {
		reproduce(t, []printed{
			{fmt.Sprintf("S(%g) from below", p.Time), p.SurvLow, at[p.Time], survfit},
			{fmt.Sprintf("S(%g) from above", p.Time), p.SurvHigh, at[p.Time], survfit},
		})
	}
	cosmesis := npmle(t, readPublished(t, "breast_cosmesis.csv").where("treatment", "Rad").intervals("left", "right"))
	for _, p := range cosmesis.Curve {
		if p.Time == 40 {
			reproduce(t, []printed{{"S(42) of radiotherapy, no mass in (40, 44]", p.SurvHigh, ".465558", "recomputed to convergence; survfit stops at .465539"}})
		}
		if p.Time == 38 {
			reproduce(t, []printed{{"S before (38, 40] of radiotherapy", p.SurvHigh, ".5864380", "sum of the masses recomputed beyond"}})
		}
	}
}

func TestNPMLEMedian(t *testing.T) {
	inf := math.Inf(1)
	for _, tt := range []struct {
		name string
		x    []Interval
		want *[2]float64
	}{
		{"inside one interval", []Interval{{0, 100, 1}, {100, 200, 3}, {200, 300, 1}}, &[2]float64{100, 200}},
		{"exactly a half between two", []Interval{{0, 100, 2}, {300, 400, 2}}, &[2]float64{100, 300}},
		{"exactly a half between touching ones", []Interval{{0, 100, 2}, {100, 400, 2}}, &[2]float64{100, 100}},
		{"an exact life", []Interval{{50, 50, 1}, {80, 80, 3}, {90, 90, 1}}, &[2]float64{80, 80}},
		{"beyond the data", []Interval{{0, 100, 1}, {300, inf, 2}}, nil},
		{"a half sound at the end", []Interval{{0, 100, 1}, {300, inf, 1}}, &[2]float64{100, 300}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := npmle(t, tt.x)
			switch {
			case (r.Median == nil) != (tt.want == nil), r.Median != nil && *r.Median != *tt.want:
				t.Errorf("got %v, want %v", r.Median, tt.want)
			case r.Median == nil && !strings.HasPrefix(r.Why, "median: "):
				t.Errorf("no reason for a missing median: %q", r.Why)
			}
		})
	}
}

func TestNPMLEInJSON(t *testing.T) {
	b, err := json.Marshal(npmle(t, []Interval{{0, 100, 1}, {300, math.Inf(1), 3}}))
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{
		`"n":4`, `"support":[{"left":0,"right":100,"mass":0.25},{"left":300,"right":null,"mass":0.75}]`,
		`"median":null`, `"why":"median: `, `{"time":300,"surv_low":0.75,"surv_high":0.75}]`,
	} {
		if !strings.Contains(string(b), part) {
			t.Errorf("no %s in %s", part, b)
		}
	}
}

func TestNPMLERefuses(t *testing.T) {
	for _, tt := range []struct {
		name string
		x    []Interval
		want error
	}{
		{"nothing", nil, ErrEmpty},
		{"intervals of nobody", []Interval{{100, 200, 0}}, ErrEmpty},
		{"bounds the wrong way round", []Interval{{200, 100, 1}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := NPMLE(tt.x); !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
		})
	}
}

// covers says whether an observation covers an innermost interval, from
// their bounds alone.
func covers(v Interval, m Mass) bool {
	right := math.Inf(1)
	if m.Right.OK {
		right = m.Right.V
	}
	if v.Lower == v.Upper {
		return m.Left == v.Lower && right == v.Lower
	}
	// An exact life at the excluded lower bound is not covered.
	return v.Lower <= m.Left && right <= v.Upper && !(m.Left == right && m.Left == v.Lower)
}

// gradient returns the reduced gradient of a fit by innermost interval, from
// its definition.
func gradient(x []Interval, fit *Life) func(Mass) float64 {
	n := 0
	prob := make([]float64, len(x))
	for i, v := range x {
		n += v.N
		for _, m := range fit.Support {
			if covers(v, m) {
				prob[i] += m.Mass
			}
		}
	}
	return func(m Mass) float64 {
		d := 0.0
		for i, v := range x {
			if covers(v, m) {
				d += float64(v.N) / (float64(n) * prob[i])
			}
		}
		return d
	}
}

func TestNPMLELeavesCandidatesWithoutGainEmpty(t *testing.T) {
	x := readPublished(t, "breast_cosmesis.csv").where("treatment", "Rad").intervals("left", "right")
	fit, err := NPMLE(x)
	if err != nil {
		t.Fatal(err)
	}
	at := gradient(x, fit)
	const source = "[O] self-consistency to a reduced gradient of 1.0000000000, Finkelstein & Wolfe 1985, radiotherapy"
	reproduce(t, []printed{
		{"gradient on (15, 16]", at(Mass{Left: 15, Right: Some(16)}), ".472", source},
		{"gradient on (40, 44]", at(Mass{Left: 40, Right: Some(44)}), ".939", source},
	})
	for _, m := range fit.Support {
		if m.Left == 15 || m.Left == 40 {
			t.Errorf("mass %v on (%v, %v], want none (%s)", m.Mass, m.Left, m.Right.V, source)
		}
	}
}

// certify checks the conditions of a maximum from the data and the reported
// support alone: masses sum to 1, and no elementary interval between two
// endpoints of the data would gain from mass.
func certify(t interface{ Fatalf(string, ...any) }, x []Interval, r *Life) {
	total := 0.0
	for _, m := range r.Support {
		total += m.Mass
	}
	if math.Abs(total-1) > 1e-12 {
		t.Fatalf("masses add to %v", total)
	}
	var at []float64
	for _, v := range x {
		at = append(at, v.Lower, v.Upper)
	}
	gradient := gradient(x, r)
	for _, m := range r.Support {
		if d := gradient(m); math.Abs(d-1) > 1e-8 {
			t.Fatalf("gradient on the support, at (%v, %v], is %v", m.Left, m.Right, d)
		}
	}
	largest := 0.0
	for _, q := range at {
		for _, p := range at {
			if q <= p && !math.IsInf(q, 1) {
				largest = math.Max(largest, gradient(Mass{Left: q, Right: Some(p)}))
			}
		}
	}
	if largest-1 > 1e-8 || math.Abs(math.Max(0, largest-1)-r.Gap) > 1e-9 {
		t.Fatalf("largest gradient is 1 + %v, reported gap %v", largest-1, r.Gap)
	}
}

func TestNPMLECertificate(t *testing.T) {
	cosmesis := readPublished(t, "breast_cosmesis.csv")
	for name, x := range map[string][]Interval{
		"cosmesis, radiotherapy":      cosmesis.where("treatment", "Rad").intervals("left", "right"),
		"cosmesis, with chemotherapy": cosmesis.where("treatment", "RadChem").intervals("left", "right"),
		"cosmesis, both arms":         cosmesis.intervals("left", "right"),
	} {
		t.Run(name, func(t *testing.T) { certify(t, x, npmle(t, x)) })
	}
}

func TestNPMLELaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := intervalCensored(t, "group")
		r, err := NPMLE(x)
		if err != nil {
			t.Fatal(err)
		}
		certify(t, x, r)
		before := 1.0
		for _, p := range r.Curve {
			if p.SurvLow > before || p.SurvHigh > before || p.SurvLow < 0 {
				t.Fatalf("curve rises or leaves 0–1: %v", r.Curve)
			}
			before = p.SurvLow
		}

		again, err := NPMLE(reordered(x, rapid.Uint64().Draw(t, "seed")))
		if err != nil {
			t.Fatal(err)
		}
		if len(again.Support) != len(r.Support) || math.Abs(again.LogLik-r.LogLik) > 1e-9*math.Abs(r.LogLik) {
			t.Fatalf("split and shuffled rows change the fit: %v, %v", r, again)
		}
		for j, m := range again.Support {
			if math.Abs(m.Mass-r.Support[j].Mass) > 1e-9 {
				t.Fatalf("mass %v becomes %v", r.Support[j], m)
			}
		}

		const scale = 8
		far := make([]Interval, len(x))
		for i, v := range x {
			far[i] = Interval{v.Lower * scale, v.Upper * scale, v.N}
		}
		scaled, err := NPMLE(far)
		if err != nil {
			t.Fatal(err)
		}
		for j, m := range scaled.Support {
			if m.Left != scale*r.Support[j].Left || m.Mass != r.Support[j].Mass {
				t.Fatalf("another unit of distance turns %v into %v", r.Support[j], m)
			}
		}
	})
}

func TestNPMLEIsKaplanMeierOnRightCensoredLives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		exits := rightCensored(t, "group")
		// One far interval that overlaps no other row makes the general solver
		// do the work, and takes its share of the mass.
		extra := rapid.IntRange(0, 1).Draw(t, "with a far interval")
		x := asIntervals(exits)
		km, err := KaplanMeier(exits, KMOptions{Conf: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		if extra == 1 {
			x = append(x, Interval{1000, 2000, 1}, Interval{1500, 2500, 1}, Interval{1800, 3000, 1})
			if km, err = KaplanMeier(append(exits, Exit{2000, 3, 0}), KMOptions{Conf: 0.95}); err != nil {
				t.Fatal(err)
			}
		}
		r, err := NPMLE(x)
		if err != nil {
			t.Fatal(err)
		}
		surv := map[float64]float64{}
		for _, p := range r.Curve {
			surv[p.Time] = p.SurvHigh
		}
		for _, p := range km.Curve {
			if s, ok := surv[p.Time]; !ok || math.Abs(s-p.Surv) > 1e-8 {
				t.Fatalf("S(%g) is %v, Kaplan–Meier %v", p.Time, s, p.Surv)
			}
		}
	})
}
