package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// looks reads counts of pairs looked at and found worn.
func (p published) looks(time, n, worn string) []Exit {
	p.t.Helper()
	total, failed := p.numbers(n), p.numbers(worn)
	var x []Exit
	for i, t := range p.numbers(time) {
		x = append(x, Exit{t, int(failed[i]), int(total[i] - failed[i])})
	}
	return x
}

func TestCurrentStatusReproducesPublishedSteps(t *testing.T) {
	const (
		pava = "[R] R 4.2.2 Iso 0.0-18.1 pava"
		rfm  = "[R] R 4.2.2 Iso 0.0-18.1 pava; data of Hoel & Walburg 1972"
	)
	turbine, mice, hepatitis := readPublished(t, "turbine_wheel_inspection.csv"), readPublished(t, "rfm_mice_lung_tumour.csv"), readPublished(t, "hepatitisA_bulgaria.csv")
	type step struct {
		from float64 // the value holds from this distance on
		want string
	}
	for _, tt := range []struct {
		name   string
		x      []Exit
		steps  []step
		n      int
		worn   int
		loglik string
		source string
	}{
		{"turbine wheels", turbine.looks("hours", "inspected", "cracked"), []step{
			{4, "0"},
			{10, ".0697674419"},
			{14, ".0697674419"},
			{18, ".0958904110"},
			{22, ".1666666667"},
			{26, ".2222222222"},
			{30, ".2222222222"},
			{34, ".4615384615"},
			{38, ".5810810811"},
			{42, ".5810810811"},
			{46, ".5833333333"},
		}, 432, 106, "", pava},
		{"conventional mice", mice.where("group", "ce").exits("age_days", "tumour"), []step{
			{45, "0"},
			{381, ".1666666667"},
			{477, ".2222222222"},
			{515, ".2285714286"},
			{650, ".3333333333"},
			{698, ".4166666667"},
			{775, ".5000000000"},
			{779, ".6666666667"},
		}, 96, 27, "-51.09773107", rfm},
		{"germ-free mice", mice.where("group", "ge").exits("age_days", "tumour"), []step{
			{412, "0"}, {546, ".5000000000"}, {692, ".6666666667"}, {710, ".7500000000"}, {888, ".8333333333"}, {1008, "1"},
		}, 48, 35, "-24.03893588", rfm},
		{"hepatitis A", hepatitis.looks("age", "total", "seropositive"), []step{
			{1, ".1875"},
			{2, ".1935483871"},
			{4, ".3076923077"},
			{5, ".3589743590"},
			{8, ".3636363636"},
			{9, ".3703703704"},
			{17, ".4750"},
			{20, ".5945945946"},
			{21, ".6250"},
			{22, ".6964285714"},
			{27, ".7692307692"},
			{28, ".7741935484"},
			{30, ".7761194030"},
			{36, ".8777777778"},
			{44, ".9613259669"},
			{63, ".9761904762"},
			{70, "1"},
		}, 850, 597, "", pava},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := CurrentStatus(tt.x)
			if err != nil {
				t.Fatal(err)
			}
			if r.N != tt.n {
				t.Errorf("n = %d, want %d", r.N, tt.n)
			}
			if r.Worn != tt.worn {
				t.Errorf("worn = %d, want %d", r.Worn, tt.worn)
			}
			var rows []printed
			for _, s := range r.Steps {
				at := 0
				for at+1 < len(tt.steps) && tt.steps[at+1].from <= s.Time {
					at++
				}
				rows = append(rows, printed{fmt.Sprintf("failed by %g", s.Time), s.FailedBy, tt.steps[at].want, tt.source})
			}
			if tt.loglik != "" {
				rows = append(rows, printed{"log-likelihood", r.LogLik, tt.loglik, tt.source})
			}
			reproduce(t, rows)
		})
	}
}

func TestCurrentStatusLimitsReproduceDirectSolution(t *testing.T) {
	const source = "[R] R 4.2.2: the two cut isotonic fits written out, uniroot at tolerance 1e-14, c = 2.26916"
	turbine := readPublished(t, "turbine_wheel_inspection.csv").looks("hours", "inspected", "cracked")
	want := []struct {
		at        float64
		low, high string
	}{
		{4, "0", "0.02867270249"},
		{14, "0.03579536128", "0.12781407734"},
		{20, "0.05504945765", "0.26249915062"},
		{22, "0.08379704132", "0.26249915062"},
		{30, "0.1583643723", "0.3195606233"},
		{38, "0.4899770688", "0.6511786112"},
		{46, "0.5102217737", "0.7017720891"},
	}
	var at []float64
	for _, w := range want {
		at = append(at, w.at)
	}
	band, err := CurrentStatusLimits(turbine, at, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range want {
		reproduce(t, []printed{
			{fmt.Sprintf("low at %g", w.at), band[i].Low, w.low, source},
			{fmt.Sprintf("high at %g", w.at), band[i].High, w.high, source},
		})
	}
}

func TestSubsamplingReproducesItsLawAtOneLook(t *testing.T) {
	// At one look F* is hypergeometric: 300 of 1,000 worn, 100 drawn. The share
	// within .06 of .3 is .8657, within .07 it is .9162, so q at 90 % is .07.
	const source = "[R] R 4.2.2 dhyper(k, 300, 700, 100), summed where |k/100 − .3| ≤ q"
	band, err := CurrentStatusSubsampled([]Exit{{100, 300, 700}}, []float64{100}, 4000, 1, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	half := math.Cbrt(0.1) * 0.07
	if math.Abs(band[0].Low-(0.3-half)) > 1e-9 || math.Abs(band[0].High-(0.3+half)) > 1e-9 {
		t.Errorf("limits %v, want .3 ∓ %v (%s)", band[0], half, source)
	}
	again, err := CurrentStatusSubsampled([]Exit{{100, 100, 300}, {100, 200, 400}}, []float64{100}, 4000, 1, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	if again[0] != band[0] {
		t.Errorf("split looks give %v, whole ones %v", again[0], band[0])
	}
}

func TestCurrentStatusRefuses(t *testing.T) {
	looks := []Exit{{100, 1, 3}, {300, 2, 1}}
	limits := func(x []Exit, at, conf float64) error {
		_, err := CurrentStatusLimits(x, []float64{at}, conf)
		return err
	}
	subsampled := func(x []Exit, at float64, replicates int) error {
		_, err := CurrentStatusSubsampled(x, []float64{at}, replicates, 1, 0.95)
		return err
	}
	for _, tt := range []struct {
		name string
		call func() error
		want error
	}{
		{"nothing", func() error { _, err := CurrentStatus(nil); return err }, ErrEmpty},
		{"a negative count", func() error { _, err := CurrentStatus([]Exit{{100, -1, 2}}); return err }, ErrBadInput},
		{"limits of nothing", func() error { return limits(nil, 100, 0.95) }, ErrEmpty},
		{"limits before the first look", func() error { return limits(looks, 99, 0.95) }, ErrNotReached},
		{"limits beyond the last look", func() error { return limits(looks, 301, 0.95) }, ErrNotReached},
		{"limits at no number", func() error { return limits(looks, math.NaN(), 0.95) }, ErrNotReached},
		{"limits at a level without a quantile", func() error { return limits(looks, 200, 0.97) }, ErrNoLaw},
		{"limits at a percentage", func() error { return limits(looks, 200, 95) }, ErrBadInput},
		{"subsamples of nothing", func() error { return subsampled(nil, 100, 9) }, ErrEmpty},
		{"subsamples beyond the last look", func() error { return subsampled(looks, 301, 9) }, ErrNotReached},
		{"no subsamples", func() error { return subsampled(looks, 200, 0) }, ErrBadInput},
		{"limits of a negative count", func() error { return limits([]Exit{{100, -1, 2}}, 100, 0.95) }, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.call(); !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
		})
	}
}

func TestCurrentStatusLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rightCensored(t, "looks")
		r, err := CurrentStatus(x)
		if err != nil {
			t.Fatal(err)
		}
		again, err := CurrentStatus(rearranged(x, rapid.Uint64().Draw(t, "seed")))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(r.Steps, again.Steps) || r.LogLik != again.LogLik {
			t.Fatalf("split and shuffled rows change the steps: %v, %v", r, again)
		}
		// The same looks as intervals, (0, t] or (t, ∞): the general estimate
		// must reach the same likelihood.
		var intervals []Interval
		for _, e := range x {
			intervals = append(intervals, Interval{0, e.Time, e.Events}, Interval{e.Time, math.Inf(1), e.Censored})
		}
		general, err := NPMLE(intervals)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(general.LogLik-r.LogLik) > 1e-7*(1+math.Abs(r.LogLik)) {
			t.Fatalf("log-likelihood %v, by intervals %v", r.LogLik, general.LogLik)
		}
		var at []float64
		before := 0.0
		for _, s := range r.Steps {
			if s.FailedBy < before || s.FailedBy > 1 {
				t.Fatalf("failed share falls or leaves 0–1: %v", r.Steps)
			}
			before = s.FailedBy
			at = append(at, s.Time)
		}
		wide, err := CurrentStatusLimits(x, at, 0.99)
		if err != nil {
			t.Fatal(err)
		}
		narrow, err := CurrentStatusLimits(x, at, 0.5)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range r.Steps {
			if !(0 <= wide[i].Low && wide[i].Low <= narrow[i].Low && narrow[i].Low <= s.FailedBy &&
				s.FailedBy <= narrow[i].High && narrow[i].High <= wide[i].High && wide[i].High <= 1) {
				t.Fatalf("limits at %g do not nest around %v: %v, %v", s.Time, s.FailedBy, narrow[i], wide[i])
			}
		}
	})
}
