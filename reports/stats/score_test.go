package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestScoreTestReproducesPublishedTests(t *testing.T) {
	const (
		vignette = "[P] R package interval, vignette after Fay & Shaw 2010 J Stat Softw 36(2)"
		coin     = "[R] R coin on the scores"
		hessian  = "mpmath 1.2.1, 60 digits: central differences of the full likelihood at its maximum"
	)
	cosmesis := readPublished(t, "breast_cosmesis.csv")
	groups := [][]Interval{
		cosmesis.where("treatment", "Rad").intervals("left", "right"),
		cosmesis.where("treatment", "RadChem").intervals("left", "right"),
	}
	run := func(r *ScoreResult, err error) *ScoreResult {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if r.DF != 1 {
			t.Errorf("df %d, want 1", r.DF)
		}
		return r
	}
	sun, finkelstein := run(ScoreTest(groups, SunScores)), run(ScoreTest(groups, FinkelsteinScores))
	information := run(InformationScoreTest(groups))
	reproduce(t, []printed{
		{"Sun U, radiotherapy", sun.U[0], "-9.141846", vignette},
		{"Sun U, with chemotherapy", sun.U[1], "9.141846", vignette},
		{"Sun |Z|", math.Sqrt(sun.Chi2), "2.6684", vignette},
		{"Sun p", sun.P, "0.007622", vignette},
		{"Sun U", sun.U[0], "-9.14184617", coin},
		{"Sun chi2", sun.Chi2, "7.120289994", coin},
		{"Sun p", sun.P, ".007621637712", coin},
		{"Sun expected, radiotherapy", 46 - sun.U[0], "55.14184617", "pseudo-deaths form: group size less U"},
		{"Sun expected, with chemotherapy", 48 - sun.U[1], "38.85815383", "pseudo-deaths form: group size less U"},
		{"Finkelstein U", finkelstein.U[0], "-9.944182", vignette},
		{"Finkelstein |Z|", math.Sqrt(finkelstein.Chi2), "2.6839", vignette},
		{"Finkelstein p", finkelstein.P, "0.007277", vignette},
		{"Finkelstein U", finkelstein.U[0], "-9.94418244", coin},
		{"Finkelstein chi2", finkelstein.Chi2, "7.203298276", coin},
		{"Finkelstein p", finkelstein.P, ".007276971721", coin},
		{"Finkelstein by information, chi2", information.Chi2, "7.8749", vignette},
		{"Finkelstein by information, p", information.P, "0.005012", vignette},
		{"Finkelstein by information, chi2", information.Chi2, "7.8749412959", hessian},
		{"Finkelstein by information, V", information.U[0] * information.U[0] / information.Chi2, "12.557143048", hessian},
		{"Finkelstein by information, p", information.P, ".005012449860", hessian},
	})
}

func TestScorePermutationAgreesWithPublishedRedealing(t *testing.T) {
	cosmesis := readPublished(t, "breast_cosmesis.csv")
	groups := [][]Interval{
		cosmesis.where("treatment", "Rad").intervals("left", "right"),
		cosmesis.where("treatment", "RadChem").intervals("left", "right"),
	}
	const times = 100_000
	for _, tt := range []struct {
		scores    Scores
		low, high float64
		source    string
	}{
		{SunScores, .00702, .00746, "[R] R coin, a million permutations, 99 % limits"},
		{FinkelsteinScores, .00669, .00712, "[R] R coin, a million permutations, 99 % limits"},
	} {
		p, err := ScorePermutation(groups, tt.scores, times, 1)
		if err != nil {
			t.Fatal(err)
		}
		// Three standard errors of our own redealing on top of R's limits.
		slack := 3 * math.Sqrt(p*(1-p)/times)
		if p < tt.low-slack || p > tt.high+slack {
			t.Errorf("%s: p = %v, want %v–%v (%s)", tt.scores, p, tt.low, tt.high, tt.source)
		}
		again, err := ScorePermutation(groups, tt.scores, times, 1)
		if err != nil {
			t.Fatal(err)
		}
		if again != p {
			t.Errorf("%s: the same seed gives %v, then %v", tt.scores, p, again)
		}
	}
}

func TestScoreTestRefuses(t *testing.T) {
	some := []Interval{{0, 100, 1}, {100, 200, 2}}
	for _, tt := range []struct {
		name   string
		groups [][]Interval
		scores Scores
		want   error
	}{
		{"one group", [][]Interval{some}, SunScores, ErrOneGroup},
		{"one group with data", [][]Interval{some, {{0, 1, 0}}}, SunScores, ErrOneGroup},
		{"nothing", nil, SunScores, ErrOneGroup},
		{"everyone in the same interval", [][]Interval{{{0, 100, 2}}, {{0, 100, 3}}}, SunScores, ErrNoSpread},
		{"overlapping intervals that all fit alike", [][]Interval{{{0, 100, 2}}, {{50, 200, 3}}}, FinkelsteinScores, ErrNoSpread},
		{"unknown scores", [][]Interval{some, some}, "wilcoxon", ErrBadInput},
		{"bounds the wrong way round", [][]Interval{some, {{200, 100, 1}}}, SunScores, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := ScoreTest(tt.groups, tt.scores); !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := ScorePermutation([][]Interval{some, some}, SunScores, 0, 1); !errors.Is(err, ErrBadInput) {
		t.Errorf("no redeals: %v, want ErrBadInput", err)
	}
	if _, err := ScorePermutation([][]Interval{some}, SunScores, 9, 1); !errors.Is(err, ErrOneGroup) {
		t.Errorf("redeals of one group: %v, want ErrOneGroup", err)
	}
	if _, err := InformationScoreTest([][]Interval{some}); !errors.Is(err, ErrOneGroup) {
		t.Errorf("information of one group: %v, want ErrOneGroup", err)
	}
}

func TestSunScoresAreLogRankScoresOnRightCensoredLives(t *testing.T) {
	leukaemia := readPublished(t, "freireich_6mp.csv")
	a, b := leukaemia.where("treat", "6-MP").exits("time", "cens"), leukaemia.where("treat", "control").exits("time", "cens")
	logrank, err := LogRank([][]Exit{a, b})
	if err != nil {
		t.Fatal(err)
	}
	r, err := ScoreTest([][]Interval{asIntervals(a), asIntervals(b)}, SunScores)
	if err != nil {
		t.Fatal(err)
	}
	for g, u := range r.U {
		if want := float64(logrank.Observed[g]) - logrank.Expected[g]; math.Abs(u-want) > 1e-8 {
			t.Errorf("group %d: U = %v, observed less expected of the log-rank test %v", g, u, want)
		}
	}
}

func TestScoreTestLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.IntRange(2, 4).Draw(t, "groups")
		groups := make([][]Interval, k)
		for g := range groups {
			groups[g] = intervalCensored(t, "group")
		}
		order := rapid.Permutation(indices(k)).Draw(t, "order")
		other := make([][]Interval, k)
		for g, from := range order {
			other[g] = reordered(groups[from], rapid.Uint64().Draw(t, "seed"))
		}
		for name, test := range map[string]func([][]Interval) (*ScoreResult, error){
			"Sun":         func(x [][]Interval) (*ScoreResult, error) { return ScoreTest(x, SunScores) },
			"Finkelstein": func(x [][]Interval) (*ScoreResult, error) { return ScoreTest(x, FinkelsteinScores) },
			"information": InformationScoreTest,
		} {
			r, err := test(groups)
			if errors.Is(err, ErrNoSpread) {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			sum := 0.0
			for _, u := range r.U {
				sum += u
			}
			if math.Abs(sum) > 1e-6 {
				t.Fatalf("%s: scores add to %v, not 0", name, sum)
			}
			again, err := test(other)
			if err != nil {
				t.Fatal(err)
			}
			if again.DF != r.DF || math.Abs(again.Chi2-r.Chi2) > 1e-6*(1+r.Chi2) {
				t.Fatalf("%s: chi2 %v on %d df becomes %v on %d", name, r.Chi2, r.DF, again.Chi2, again.DF)
			}
		}
	})
}
