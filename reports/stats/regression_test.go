package stats

import (
	"cmp"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func regress(t testing.TB, x []Interval, on ...Covariate) *Regression {
	t.Helper()
	r, err := RegressLife(x, on, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// lookRows reads looks as one interval a row, in the order of the file.
func (p published) lookRows(lower, upper, count string) []Interval {
	x := make([]Interval, len(p.rows))
	ups := p.numbers(upper)
	for i, low := range p.numbers(lower) {
		x[i] = Interval{low, ups[i], 1}
		if math.IsNaN(ups[i]) {
			x[i].Upper = math.Inf(1)
		}
		if math.IsNaN(low) {
			x[i].Lower = 0
		}
		if count != "" {
			x[i].N = p.wholes(count)[i]
		}
	}
	return x
}

// exitRows reads right-censored rows one by one.
func (p published) exitRows(time, event, word string) []Interval {
	x := make([]Interval, len(p.rows))
	events := p.words(event)
	for i, t := range p.numbers(time) {
		x[i] = Interval{t, t, 1}
		if events[i] != word {
			x[i].Upper = math.Inf(1)
		}
	}
	return x
}

// termRow is a term with its coefficient and standard error as printed.
type termRow struct{ term, coef, se string }

func TestRegressionReproducesSurvreg(t *testing.T) {
	cosmesis, mp, lung := readPublished(t, "breast_cosmesis.csv"), readPublished(t, "freireich_6mp.csv"), readPublished(t, "lung.csv")
	veteran, mice, looks := readPublished(t, "veteran_celltype.csv"), readPublished(t, "rfm_mice_lung_tumour.csv"), readPublished(t, "looks_regression.csv")
	var status []Interval
	for i, age := range mice.numbers("age_days") {
		if mice.words("tumour")[i] == "1" {
			status = append(status, Interval{0, age, 1})
		} else {
			status = append(status, Interval{age, math.Inf(1), 1})
		}
	}
	const survreg = "[R] R 4.2.2 survival 3.5-3, survreg.control(rel.tolerance = 1e-14), "
	for _, tt := range []struct {
		name                 string
		x                    []Interval
		on                   []Covariate
		terms                []termRow
		logScale, seLogScale string
		logLik, logLikNull   string
		source               string
	}{
		{
			"intervals and one factor", cosmesis.lookRows("left", "right", ""),
			[]Covariate{{Name: "treatment", Words: cosmesis.words("treatment")}},
			[]termRow{{"(Intercept)", "3.8992762304", "0.1405297913"}, {"treatment=RadChem", "-0.5675505366", "0.1757295633"}},
			"-0.4791013600", "0.1198919820", "-143.32082711", "-148.79243115",
			survreg + "Surv(left, right, type = 'interval2') ~ treatment, left 0 as NA",
		},
		{
			"exact and right-censored, another reference", mp.exitRows("time", "cens", "1"),
			[]Covariate{{Name: "treat", Words: mp.words("treat"), Reference: "control"}},
			[]termRow{{"(Intercept)", "2.248352", ".165972"}, {"treat=6-MP", "1.2673345874", "0.3106399360"}},
			"-0.3117092209", "0.1472918826", "-106.57949158", "-116.40540698",
			survreg + "Surv(time, cens) ~ treat; Stata and Kleinbaum & Klein print 2.248, 1.267, p 1.366 [M]",
		},
		{
			"two numbers", lung.exitRows("time", "status", "2"),
			[]Covariate{{Name: "age", Numbers: lung.numbers("age")}, {Name: "sex", Numbers: lung.numbers("sex")}},
			[]termRow{{"(Intercept)", "6.2748530584", "0.4813669529"}, {"age", "-0.0122570256", "0.0069574723"}, {"sex", "0.3820851397", "0.1274768405"}},
			"-0.2822953434", "0.0618832721", "-1147.05443143", "-1153.85118809",
			survreg + "Surv(time, status) ~ age + sex",
		},
		{
			"four levels", veteran.exitRows("time", "status", "1"),
			[]Covariate{{Name: "celltype", Words: veteran.words("celltype")}},
			[]termRow{
				{"(Intercept)", "4.1903479899", "0.2029114822"},
				{"celltype=large", "0.9534178732", "0.2858214235"},
				{"celltype=smallcell", "0.1330098358", "0.2541156973"},
				{"celltype=squamous", "1.2162021760", "0.2743859691"},
			},
			"0.0300248477", "0.0688361589", "-734.15744698", "-748.09121399",
			survreg + "Surv(time, status) ~ celltype",
		},
		{
			"four levels, another reference", veteran.exitRows("time", "status", "1"),
			[]Covariate{{Name: "celltype", Words: veteran.words("celltype"), Reference: "squamous"}},
			[]termRow{
				{"(Intercept)", "5.4065501658", "0.1878305017"},
				{"celltype=adeno", "-1.2162021760", "0.2743859691"},
				{"celltype=large", "-0.2627843027", "0.2745644283"},
				{"celltype=smallcell", "-1.0831923401", "0.2405345231"},
			},
			"0.0300248477", "0.0688361589", "-734.15744698", "-748.09121399",
			survreg + "Surv(time, status) ~ relevel(celltype, 'squamous')",
		},
		{
			"one look each", status,
			[]Covariate{{Name: "group", Words: mice.words("group")}},
			[]termRow{{"(Intercept)", "6.9481399926", "0.2109540923"}, {"group=ge", "-0.3876037968", "0.2809809171"}},
			"-0.7071870258", "0.3818961253", "-80.32020129", "-83.00441901",
			survreg + "Surv(left, right, type = 'interval2') ~ group",
		},
		{
			"exact, left, right and between looks, with counts, two factors and a number", looks.lookRows("lower", "upper", "count"),
			[]Covariate{{Name: "model", Words: looks.words("model")}, {Name: "gait", Words: looks.words("gait")}, {Name: "mass", Numbers: looks.numbers("mass")}},
			[]termRow{
				{"(Intercept)", "6.9631458270", "0.2358139983"},
				{"model=Birch", "0.3749022549", "0.0814111178"},
				{"model=Cedar", "-0.1492900153", "0.0782868057"},
				{"gait=medial", "-0.1018898825", "0.0669585063"},
				{"mass", "-0.0091509634", "0.0030576113"},
			},
			"-1.0957829800", "0.0740017094", "-425.33994041", "-451.56279420",
			survreg + "Surv(lower, upper, type = 'interval2') ~ model + gait + mass, weights = count, lower 0 as NA",
		},
		{
			"counts, one factor", looks.lookRows("lower", "upper", "count"),
			[]Covariate{{Name: "gait", Words: looks.words("gait"), Reference: "medial"}},
			[]termRow{{"(Intercept)", "6.3129594797", "0.0496754109"}, {"gait=even", "0.1552434586", "0.0747496766"}},
			"-0.9349031610", "0.0693232774", "-449.46224638", "-451.56279420",
			survreg + "Surv(lower, upper, type = 'interval2') ~ relevel(gait, 'medial'), weights = count",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := regress(t, tt.x, tt.on...)
			rows := []printed{
				{"log scale", r.LogScale, tt.logScale, tt.source},
				{"log scale SE", r.SELogScale, tt.seLogScale, tt.source},
				{"log-likelihood", r.LogLik, tt.logLik, tt.source},
				{"log-likelihood without covariates", r.LogLikNull.V, tt.logLikNull, tt.source},
			}
			if len(r.Terms) != len(tt.terms) {
				t.Fatalf("terms %+v, want %+v", r.Terms, tt.terms)
			}
			for i, want := range tt.terms {
				got := r.Terms[i]
				if got.Term != want.term {
					t.Errorf("term %d is %s, want %s", i, got.Term, want.term)
				}
				rows = append(rows, printed{want.term, got.Coef, want.coef, tt.source}, printed{want.term + " SE", got.SE, want.se, tt.source})
			}
			reproduce(t, rows)
			if r.DF != len(tt.terms)-1 || math.Abs(r.LRT.V-2*(r.LogLik-r.LogLikNull.V)) > 1e-9 {
				t.Errorf("likelihood ratio %v at %d degrees of freedom", r.LRT, r.DF)
			}
		})
	}
}

func TestRegressionTests(t *testing.T) {
	cosmesis, mp := readPublished(t, "breast_cosmesis.csv"), readPublished(t, "freireich_6mp.csv")
	c := regress(t, cosmesis.lookRows("left", "right", ""), Covariate{Name: "treatment", Words: cosmesis.words("treatment")})
	m := regress(t, mp.exitRows("time", "cens", "1"), Covariate{Name: "treat", Words: mp.words("treat"), Reference: "control"})
	const (
		survreg = "[R] R 4.2.2 survival 3.5-3 survreg"
		wald    = "[R] 2 * pnorm(-|coef/se|) of survreg"
	)
	treated := m.Terms[1]
	reproduce(t, []printed{
		{"cosmesis, likelihood ratio", c.LRT.V, "10.94", survreg},
		{"cosmesis, scale", math.Exp(c.LogScale), ".61934", survreg},
		{"cosmesis, Wald p", c.Terms[1].P, ".0012392815", wald},
		{"cosmesis, likelihood-ratio p", c.P.V, ".00094", "[R] pchisq(10.94320808, 1, lower = FALSE)"},
		{"6-MP, likelihood ratio", m.LRT.V, "19.6518308", survreg},
		{"6-MP, shape", math.Exp(-m.LogScale), "1.365757502", survreg},
		{"6-MP, hazard ratio", math.Exp(-treated.Coef / math.Exp(m.LogScale)), ".177129935", survreg},
		{"6-MP, Wald p", treated.P, "4.5083344e-05", wald},
		{"6-MP, ratio of lives", treated.Ratio.V, "3.5514", "[R] exp(1.2673345874)"},
		{"6-MP, ratio low", treated.Low.V, "1.9319", "[R] exp(1.2673345874 - 1.959964 * .3106399360)"},
		{"6-MP, ratio high", treated.High.V, "6.5285", "[R] exp(1.2673345874 + 1.959964 * .3106399360)"},
		{"6-MP, variance of intercept", m.VCov[0][0], ".0275466361", survreg},
		{"6-MP, covariance intercept, 6-MP", m.VCov[0][1], "-.030325062", survreg},
		{"6-MP, covariance intercept, log scale", m.VCov[0][2], "-.0066160998", survreg},
		{"6-MP, variance of 6-MP", m.VCov[1][1], ".09649717", survreg},
		{"6-MP, covariance 6-MP, log scale", m.VCov[1][2], ".0157268554", survreg},
		{"6-MP, variance of log scale", m.VCov[2][2], ".0216948987", survreg},
	})
}

func TestRegressionWithoutEstimate(t *testing.T) {
	inf := math.Inf(1)
	spread := []Interval{{10, 10, 3}, {40, 40, 2}, {60, inf, 4}, {20, 30, 1}, {5, 70, 1}, {35, inf, 2}}
	for _, tt := range []struct {
		name   string
		x      []Interval
		on     []Covariate
		want   error
		detail string
	}{
		{"nothing", nil, []Covariate{{Name: "g", Words: []string{}}}, ErrEmpty, ""},
		{"no covariate", spread, nil, ErrBadInput, "no covariate"},
		{"values for other rows", spread, []Covariate{{Name: "g", Words: []string{"a"}}}, ErrBadInput, "1 values for 6 rows"},
		{"numbers and words", spread[:1], []Covariate{{Name: "g", Words: []string{"a"}, Numbers: []float64{1}}}, ErrBadInput, "not both"},
		{"no number", spread, []Covariate{{Name: "g", Numbers: []float64{1, 2, 3, math.NaN(), 5, 6}}}, ErrBadInput, "row 4"},
		{"bounds the wrong way round", []Interval{{20, 10, 1}}, []Covariate{{Name: "g", Words: []string{"a"}}}, ErrBadInput, "must not lie below"},
		{"one level", spread, []Covariate{{Name: "g", Words: []string{"a", "a", "a", "a", "a", "a"}}}, ErrNoSpread, "g=a"},
		{"one number", spread, []Covariate{{Name: "g", Numbers: []float64{2, 2, 2, 2, 2, 2}}}, ErrNoSpread, "g 2"},
		{"an unknown reference", spread, []Covariate{{Name: "g", Words: []string{"a", "b", "a", "b", "a", "b"}, Reference: "c"}}, ErrNoReference, "g=c"},
		{"nobody worn", []Interval{{10, inf, 1}, {20, inf, 1}}, []Covariate{{Name: "g", Words: []string{"a", "b"}}}, ErrNoEvents, ""},
		{"a level never worn", spread, []Covariate{{Name: "g", Words: []string{"a", "a", "b", "a", "a", "b"}}}, ErrSeparation, "no pair with g=b"},
		{"the reference never worn", spread, []Covariate{{Name: "g", Words: []string{"c", "c", "b", "c", "c", "b"}}}, ErrSeparation, "no pair with g=b"},
		{
			"a level always worn at its first look",
			[]Interval{{10, 10, 3}, {40, 40, 2}, {60, inf, 4}, {0, 30, 5}},
			[]Covariate{{Name: "g", Words: []string{"a", "a", "a", "b"}}},
			ErrSeparation, "every pair with g=b",
		},
		{
			"a number parts worn from sound",
			[]Interval{{0, 50, 3}, {0, 30, 2}, {40, inf, 4}, {20, inf, 2}},
			[]Covariate{{Name: "m", Numbers: []float64{1, 2, 3, 4}}},
			ErrSeparation, "m: ",
		},
		{
			"two factors that are one", spread,
			[]Covariate{{Name: "g", Words: []string{"a", "b", "a", "b", "a", "b"}}, {Name: "h", Words: []string{"x", "y", "x", "y", "x", "y"}}},
			ErrAliased, "h=y",
		},
		{
			"all failures at one distance",
			[]Interval{{30, 30, 4}, {20, inf, 2}, {30, 30, 1}, {10, inf, 1}},
			[]Covariate{{Name: "g", Words: []string{"a", "a", "b", "b"}}},
			ErrNoMaximum, "30 parts",
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := RegressLife(tt.x, tt.on, 0.95)
			if !errors.Is(err, tt.want) {
				t.Fatalf("got %v, want %v", err, tt.want)
			}
			if !strings.Contains(err.Error(), tt.detail) {
				t.Errorf("%q does not say %q", err, tt.detail)
			}
		})
	}
}

// regressionData draws looks with a factor and a number.
func regressionData(t *rapid.T) (x []Interval, words []string, numbers []float64) {
	n := rapid.IntRange(6, 30).Draw(t, "n")
	r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	for range n {
		low := float64(10 * r.IntN(30))
		up := low + float64(10*(1+r.IntN(20)))
		switch r.IntN(4) {
		case 0:
			up = math.Inf(1)
		case 1:
			low = up
		}
		x = append(x, Interval{low, up, 1 + r.IntN(3)})
		words = append(words, string(rune('a'+r.IntN(3))))
		numbers = append(numbers, math.Round(100*r.NormFloat64())/10)
	}
	return x, words, numbers
}

// plainRegression writes the log-likelihood out, row by row.
func plainRegression(x []Interval, words []string, numbers []float64, r *Regression) float64 {
	sum := 0.0
	for i, v := range x {
		mu := 0.0
		for _, term := range r.Terms {
			switch term.Term {
			case "(Intercept)":
				mu += term.Coef
			case "m":
				mu += term.Coef * numbers[i]
			case "g=" + words[i]:
				mu += term.Coef
			}
		}
		sum += plainLogLik([]Interval{v}, math.Exp(-r.LogScale), math.Exp(mu))
	}
	return sum
}

func TestRegressionLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, words, numbers := regressionData(t)
		fit := func(x []Interval, words []string, numbers []float64) (*Regression, error) {
			return RegressLife(x, []Covariate{{Name: "g", Words: words}, {Name: "m", Numbers: numbers}}, 0.95)
		}
		a, err := fit(x, words, numbers)
		if err != nil {
			if !isReason(err) {
				t.Fatalf("good data refused: %v", err)
			}
			return
		}
		if a.LogScale < -3 || a.LogScale > 3 {
			return // plain arithmetic loses its digits there
		}
		// Where the data hardly determine a term, rounding in the information is
		// magnified by the square of its standard error.
		worst := slices.MaxFunc(a.Terms, func(a, b RegressionTerm) int { return cmp.Compare(a.SE, b.SE) }).SE
		if worst > 100 {
			return
		}
		near := 1e-8 * (1 + worst*worst/100)
		// No neighbour is likelier, by the formula written out.
		best := plainRegression(x, words, numbers, a)
		if !relativelyClose(a.LogLik, best, 1e-8) {
			t.Fatalf("log-likelihood %v, written out %v", a.LogLik, best)
		}
		for i := range a.Terms {
			for _, step := range []float64{-.05, .05} {
				b := *a
				b.Terms = slices.Clone(a.Terms)
				b.Terms[i].Coef += step * a.Terms[i].SE
				if l := plainRegression(x, words, numbers, &b); l > best+1e-9 {
					t.Fatalf("%s %+v raises the log-likelihood from %v to %v", b.Terms[i].Term, step, best, l)
				}
			}
		}

		// Rows in another order and split into ones; levels renamed in the same
		// order; another unit of distance and of the number.
		var y []Interval
		var w []string
		var u []float64
		for _, i := range rand.New(rand.NewPCG(1, uint64(len(x)))).Perm(len(x)) {
			for range x[i].N {
				y = append(y, Interval{x[i].Lower * 1000, x[i].Upper * 1000, 1})
				w = append(w, "level "+words[i])
				u = append(u, 5+numbers[i]/2)
			}
		}
		b, err := fit(y, w, u)
		if err != nil {
			t.Fatalf("the same data in other units: %v", err)
		}
		close := func(got, want float64) bool { return math.Abs(got-want) <= near*(1+math.Abs(want)) }
		m := len(a.Terms) - 1
		if !close(b.Terms[m].Coef, 2*a.Terms[m].Coef) || !close(b.Terms[m].P, a.Terms[m].P) {
			t.Fatalf("half the unit turns %+v into %+v", a.Terms[m], b.Terms[m])
		}
		if shift := math.Log(1000) - 5*b.Terms[m].Coef; !close(b.Terms[0].Coef, a.Terms[0].Coef+shift) {
			t.Fatalf("metres for kilometres turn the intercept %v into %v", a.Terms[0].Coef, b.Terms[0].Coef)
		}
		for i := 1; i < m; i++ {
			if !close(b.Terms[i].Coef, a.Terms[i].Coef) || !close(b.Terms[i].SE, a.Terms[i].SE) {
				t.Fatalf("%+v became %+v", a.Terms[i], b.Terms[i])
			}
		}
		if !close(b.LRT.V, a.LRT.V) || !close(b.LogScale, a.LogScale) || !close(b.SELogScale, a.SELogScale) {
			t.Fatalf("%+v became %+v", a, b)
		}
		c, err := fit(slices.Concat(y, y[:0]), w, u)
		if err != nil || math.Abs(c.LogLik-b.LogLik) > 1e-9 {
			t.Fatalf("the same rows again: %v, %v", c, err)
		}
	})
}

func TestRowOrderAndSplittingLeaveARegressionAlone(t *testing.T) {
	p := readPublished(t, "looks_regression.csv")
	x, words, numbers := p.lookRows("lower", "upper", "count"), p.words("model"), p.numbers("mass")
	a := regress(t, x, Covariate{Name: "model", Words: words}, Covariate{Name: "mass", Numbers: numbers})
	var y []Interval
	var w []string
	var u []float64
	for i := len(x) - 1; i >= 0; i-- {
		for range x[i].N {
			y, w, u = append(y, Interval{x[i].Lower, x[i].Upper, 1}), append(w, words[i]), append(u, numbers[i])
		}
	}
	b := regress(t, y, Covariate{Name: "model", Words: w}, Covariate{Name: "mass", Numbers: u})
	for i := range a.Terms {
		if !relativelyClose(b.Terms[i].Coef, a.Terms[i].Coef, 1e-9) || !relativelyClose(b.Terms[i].SE, a.Terms[i].SE, 1e-9) {
			t.Errorf("%+v became %+v", a.Terms[i], b.Terms[i])
		}
	}
}

func TestAFitWithoutANullSaysSo(t *testing.T) {
	inf := math.Inf(1)
	// Within each model the worn ones went farther; across models they did not.
	x := []Interval{{0, 40, 6}, {40, inf, 3}, {0, 20, 3}, {20, inf, 6}, {0, 400, 4}, {400, inf, 8}, {0, 200, 1}, {200, inf, 9}}
	r := regress(t, x, Covariate{Name: "g", Words: []string{"a", "a", "a", "a", "b", "b", "b", "b"}})
	if r.LogLikNull.OK || r.LRT.OK || r.P.OK || r.Why == "" {
		t.Errorf("without covariates the share worn falls with distance: %+v, want no likelihood ratio, and why", r)
	}
}
