package stats

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func TestLogRankReproducesPublishedTests(t *testing.T) {
	const survdiff = "[R] R 4.2.2 survival 3.5-3 survdiff"
	leukaemia, aml, veteran := readPublished(t, "freireich_6mp.csv"), readPublished(t, "aml.csv"), readPublished(t, "veteran_celltype.csv")
	run := func(groups ...[]Exit) *LogRankResult {
		t.Helper()
		r, err := LogRank(groups)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	six := run(leukaemia.where("treat", "6-MP").exits("time", "cens"), leukaemia.where("treat", "control").exits("time", "cens"))
	two := run(aml.where("x", "Maintained").exits("time", "status"), aml.where("x", "Nonmaintained").exits("time", "status"))
	four := run(
		veteran.where("celltype", "squamous").exits("time", "status"), veteran.where("celltype", "smallcell").exits("time", "status"),
		veteran.where("celltype", "adeno").exits("time", "status"), veteran.where("celltype", "large").exits("time", "status"),
	)
	variance := math.Pow(float64(six.Observed[0])-six.Expected[0], 2) / six.Chi2
	reproduce(t, []printed{
		{"6-MP chi2", six.Chi2, "16.79", "[M] Gehan 1965 data, the textbook value"},
		{"6-MP chi2", six.Chi2, "16.79294099", survdiff},
		{"6-MP p", six.P, "4.169e-05", survdiff},
		{"6-MP observed", float64(six.Observed[0]), "9", survdiff},
		{"control observed", float64(six.Observed[1]), "21", survdiff},
		{"6-MP expected", six.Expected[0], "19.25050095", survdiff},
		{"control expected", six.Expected[1], "10.74949905", survdiff},
		{"6-MP variance", variance, "6.256960574", survdiff},
		{"aml chi2", two.Chi2, "3.4", "[M] R package survival, documentation of survdiff"},
		{"aml p", two.P, "0.07", "[M] R package survival, documentation of survdiff"},
		{"aml chi2", two.Chi2, "3.396388699", survdiff},
		{"aml p", two.P, "0.06534", survdiff},
		{"veteran chi2", four.Chi2, "25.4", "[M] R package survival, documentation of survdiff"},
		{"veteran chi2", four.Chi2, "25.40370035", survdiff},
		{"veteran p", four.P, "1.271245939e-05", survdiff},
		{"squamous observed", float64(four.Observed[0]), "31", survdiff},
		{"smallcell observed", float64(four.Observed[1]), "45", survdiff},
		{"adeno observed", float64(four.Observed[2]), "26", survdiff},
		{"large observed", float64(four.Observed[3]), "26", survdiff},
		{"squamous expected", four.Expected[0], "47.65467767", survdiff},
		{"smallcell expected", four.Expected[1], "30.10207933", survdiff},
		{"adeno expected", four.Expected[2], "15.69376461", survdiff},
		{"large expected", four.Expected[3], "34.54947839", survdiff},
	})
	if six.DF != 1 || two.DF != 1 || four.DF != 3 {
		t.Errorf("df %d, %d, %d, want 1, 1, 3 (%s)", six.DF, two.DF, four.DF, survdiff)
	}
}

func TestStratifiedLogRankReproducesR(t *testing.T) {
	const survdiff = "[R] R 4.2.2 survival 3.5-3 survdiff(Surv(time, cens) ~ treat + strata(pair))"
	leukaemia := readPublished(t, "freireich_6mp.csv")
	var strata [][][]Exit
	for pair := 1; pair <= 21; pair++ {
		p := leukaemia.where("pair", strconv.Itoa(pair))
		strata = append(strata, [][]Exit{
			p.where("treat", "6-MP").exits("time", "cens"), p.where("treat", "control").exits("time", "cens"),
		})
	}
	r, err := StratifiedLogRank(strata)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"chi2", r.Chi2, "10.7142857143", survdiff},
		{"p", r.P, "0.00106311", survdiff},
		{"6-MP expected", r.Expected[0], "16.5", survdiff},
		{"control expected", r.Expected[1], "13.5", survdiff},
	})
}

func TestPairwiseLogRankReproducesR(t *testing.T) {
	const survdiff = "[R] R 4.2.2 survival 3.5-3 survdiff on the two groups"
	veteran := readPublished(t, "veteran_celltype.csv")
	names := []string{"squamous", "smallcell", "adeno", "large", "unseen"}
	groups := make([][]Exit, len(names))
	for g, name := range names[:4] {
		groups[g] = veteran.where("celltype", name).exits("time", "status")
	}
	tests, err := PairwiseLogRank(names, [][][]Exit{groups})
	if err != nil {
		t.Fatal(err)
	}
	want := map[[2]string][2]string{
		{"squamous", "smallcell"}: {"11.57367392", "0.000668921225041"},
		{"squamous", "adeno"}:     {"12.0454836411", "0.000519180149284"},
		{"squamous", "large"}:     {"0.822593978656", "0.364422837484"},
		{"smallcell", "adeno"}:    {"0.096843191971", "0.755651328687"},
		{"smallcell", "large"}:    {"9.37090414818", "0.00220456751896"},
		{"adeno", "large"}:        {"17.6693215293", "2.62831687848e-05"},
	}
	var rows []printed
	var made []float64
	for _, p := range tests {
		w, ok := want[[2]string{p.A, p.B}]
		if !ok {
			if p.B != "unseen" || p.P.OK || p.BH.OK || p.Why == "" {
				t.Errorf("a pair with an empty group has a test: %+v", p)
			}
			continue
		}
		rows = append(rows, printed{p.A + "–" + p.B + " chi2", p.Chi2.V, w[0], survdiff}, printed{p.A + "–" + p.B + " p", p.P.V, w[1], survdiff})
		made = append(made, p.P.V)
	}
	reproduce(t, rows)
	if len(made) != 6 || len(tests) != 10 {
		t.Fatalf("%d tests made of %d pairs, want 6 of 10", len(made), len(tests))
	}
	bh, holm := BH(made), Holm(made)
	i := 0
	for _, p := range tests {
		if !p.P.OK {
			continue
		}
		if p.BH.V != bh[i] || p.Holm.V != holm[i] {
			t.Errorf("%s–%s: adjusted %v, %v, want %v, %v over the 6 tests made", p.A, p.B, p.BH.V, p.Holm.V, bh[i], holm[i])
		}
		i++
	}
}

func TestLogRankRefuses(t *testing.T) {
	some := []Exit{{100, 1, 1}, {200, 1, 0}}
	for _, tt := range []struct {
		name   string
		strata [][][]Exit
		want   error
	}{
		{"no strata", nil, ErrEmpty},
		{"one group", [][][]Exit{{some}}, ErrOneGroup},
		{"one group with data", [][][]Exit{{some, nil, nil}}, ErrOneGroup},
		{"no events", [][][]Exit{{{{100, 0, 2}}, {{200, 0, 3}}}}, ErrNoEvents},
		{"groups that never run side by side", [][][]Exit{{{{100, 2, 0}}, nil}, {nil, {{100, 1, 1}}}}, ErrNoSpread},
		{"everyone fails at once", [][][]Exit{{{{100, 2, 0}}, {{100, 3, 0}}}}, ErrNoSpread},
		{"strata of different groups", [][][]Exit{{some, some}, {some}}, ErrBadInput},
		{"a negative time", [][][]Exit{{some, {{-1, 1, 0}}}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := StratifiedLogRank(tt.strata); !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := PairwiseLogRank([]string{"one"}, nil); !errors.Is(err, ErrOneGroup) {
		t.Errorf("pairs of one group: %v, want ErrOneGroup", err)
	}
	if _, err := PairwiseLogRank([]string{"a", "b"}, [][][]Exit{{some}}); !errors.Is(err, ErrBadInput) {
		t.Errorf("two names for one group: %v, want ErrBadInput", err)
	}
}

func TestLogRankLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 5).Draw(t, "groups")
		groups := make([][]Exit, k)
		for g := range groups {
			groups[g] = rightCensored(t, "group")
		}
		r, err := LogRank(groups)
		if errors.Is(err, ErrNoSpread) || errors.Is(err, ErrNoEvents) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for g := range groups {
			sum += float64(r.Observed[g]) - r.Expected[g]
		}
		if math.Abs(sum) > 1e-9 {
			t.Fatalf("observed less expected adds to %v, not 0", sum)
		}

		// The groups in another order, their rows split and shuffled.
		order := rapid.Permutation(indices(k)).Draw(t, "order")
		other := make([][]Exit, k)
		for g, from := range order {
			other[g] = rearranged(groups[from], rapid.Uint64().Draw(t, "seed"))
		}
		again, err := LogRank(other)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(again.Chi2-r.Chi2) > 1e-9*(1+r.Chi2) || again.DF != r.DF {
			t.Fatalf("chi2 %v on %d df becomes %v on %d", r.Chi2, r.DF, again.Chi2, again.DF)
		}
		for g, from := range order {
			if math.Abs(again.Expected[g]-r.Expected[from]) > 1e-9 {
				t.Fatalf("expected %v becomes %v", r.Expected[from], again.Expected[g])
			}
		}
	})
}
