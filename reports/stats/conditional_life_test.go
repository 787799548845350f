package stats

import (
	"errors"
	"math"
	"runtime"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestAPairSoundNowReachesTheRisk(t *testing.T) {
	const closed = "[O] closed form and R qweibull of the conditional law"
	weibull := func(shape, scale float64) *Weibull {
		return &Weibull{Shape: shape, Scale: scale, Mu: math.Log(scale), Sigma: 1 / shape, conf: 0.95}
	}
	shock := fitWeibull(t, asIntervals(readPublished(t, "shock_absorber.csv").exits("km", "failed")), 0.95)
	for _, tc := range []struct {
		name     string
		w        *Weibull
		km, risk float64
		want     float64
		source   string
	}{
		{"a shape of 2 at 300", weibull(2, 500), 300, .2, 381.8191822, closed},
		{"a shape of 1 has no memory", weibull(1, 500), 300, .2, 411.5717757, closed},
		{"a new pair has the quantile", weibull(2, 500), 0, .2, 236.1903633, closed},
		{"a shock absorber at 10,000 km", shock, 10000, .2, 18165.5431, closed},
		{"a shock absorber at 20,000 km", shock, 20000, .1, 21707.6619, closed},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := tc.w.ConditionalQuantile(tc.km, tc.risk)
			if err != nil {
				t.Fatal(err)
			}
			if !relativelyClose(got.Km.V, tc.want, 1e-8) {
				t.Errorf("km %.10g, want %.10g (%s)", got.Km.V, tc.want, tc.source)
			}
		})
	}
}

func TestANewPairsLimitsAreThoseOfTheQuantile(t *testing.T) {
	w := fitWeibull(t, nistFailures(t), 0.95)
	q, err := w.Quantile(.2)
	if err != nil {
		t.Fatal(err)
	}
	got, err := w.ConditionalQuantile(0, .2)
	if err != nil {
		t.Fatal(err)
	}
	if !relativelyClose(got.Low.V, q.Low.V, 1e-12) || !relativelyClose(got.High.V, q.High.V, 1e-12) {
		t.Errorf("limits %v to %v, of the quantile %v to %v", got.Low.V, got.High.V, q.Low.V, q.High.V)
	}
}

func TestLimitsOfTheNextDistanceStayBeyondNow(t *testing.T) {
	w := fitWeibull(t, nistFailures(t), 0.95)
	rapid.Check(t, func(t *rapid.T) {
		km := rapid.Float64Range(0, 2000).Draw(t, "km")
		risk := rapid.Float64Range(.001, .999).Draw(t, "risk")
		got, err := w.ConditionalQuantile(km, risk)
		if err != nil {
			t.Fatal(err)
		}
		if !(km < got.Low.V && got.Low.V < got.Km.V && got.Km.V < got.High.V) {
			t.Errorf("%v to %v around %v, now %v", got.Low.V, got.High.V, got.Km.V, km)
		}
		if share := (w.Failed(got.Km.V) - w.Failed(km)) / (1 - w.Failed(km)); math.Abs(share-risk) > 1e-9 {
			t.Errorf("by %v a share of %v has failed, want %v", got.Km.V, share, risk)
		}
	})
}

func TestTheSupportBracketsTheNextDistance(t *testing.T) {
	const fay = "[O] masses of example 1 of Fay & Shaw 2010, conditional shares by hand"
	const hand = "[O] by hand"
	end := Some
	published := &Life{Support: []Mass{{2, end(3), 2. / 7}, {5, end(6), 2. / 7}, {9, end(10), 3. / 14}, {10, end(12), 3. / 14}}}
	ours, err := NPMLE([]Interval{{100, 200, 2}, {300, 400, 1}, {500, math.Inf(1), 2}})
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name        string
		life        *Life
		km, risk    float64
		left, right Float
		source      string
	}{
		{"a fifth", published, 4, .2, end(5), end(6), fay},
		{"two fifths exactly", published, 4, .4, end(5), end(6), fay},
		{"a half", published, 4, .5, end(9), end(10), fay},
		{"nine tenths", published, 4, .9, end(10), end(12), fay},
		{"inside a support interval the share sound is a range", published, 5.5, .5, end(9), end(10), fay},
		{"sound between the ends", ours, 250, .2, end(300), end(400), hand},
		{"beyond the data", ours, 250, .5, end(500), None, hand},
		{"past the last one seen worn", ours, 600, .2, end(600), None, hand},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := tc.life.ConditionalQuantile(tc.km, tc.risk)
			if err != nil {
				t.Fatal(err)
			}
			if got.Left != tc.left || got.Right != tc.right || (got.Why == "") != tc.right.OK {
				t.Errorf("%v to %v (%s), want %v to %v (%s)", got.Left, got.Right, got.Why, tc.left, tc.right, tc.source)
			}
		})
	}
}

func TestConditionalQuantilesRefuseWhatIsNoDistanceOrRisk(t *testing.T) {
	w, life := fitWeibull(t, nistFailures(t), 0.95), &Life{}
	for _, v := range [][2]float64{{-1, .2}, {math.NaN(), .2}, {math.Inf(1), .2}, {5, 0}, {5, 1}, {5, math.NaN()}} {
		if _, err := w.ConditionalQuantile(v[0], v[1]); !errors.Is(err, ErrBadInput) {
			t.Errorf("Weibull at %v: %v", v, err)
		}
		if _, err := life.ConditionalQuantile(v[0], v[1]); !errors.Is(err, ErrBadInput) {
			t.Errorf("NPMLE at %v: %v", v, err)
		}
	}
}

func TestALifeBandHoldsTheEstimate(t *testing.T) {
	x := readPublished(t, "breast_cosmesis.csv").where("treatment", "RadChem").intervals("left", "right")
	life, err := NPMLE(x)
	if err != nil {
		t.Fatal(err)
	}
	at := []float64{11, 20, 30}
	band, err := LifeBand(x, at, 200, 1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range band {
		if s := life.SurvivalAt(at[i]); p.Time != at[i] || !(p.Low <= s && s <= p.High && p.Low < p.High) {
			t.Errorf("at %v: %v to %v around %v", at[i], p.Low, p.High, s)
		}
	}
	if _, err := LifeBand(nil, at, 200, 1, 0.95); !errors.Is(err, ErrEmpty) {
		t.Errorf("no pairs: %v", err)
	}
}

func TestALifeBandDoesNotDependOnTheOrderOfRows(t *testing.T) {
	x := readPublished(t, "breast_cosmesis.csv").intervals("left", "right")
	at := []float64{4, 11, 20, 47}
	want, err := LifeBand(x, at, 100, 3, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	got, err := LifeBand(reordered(x, 5), at, 100, 3, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	// Each resample by hand, through the public estimate.
	weights := make([]int, len(x))
	for i := range x {
		weights[i] = x[i].N
	}
	for i := range at {
		b, err := Resampled(weights, 100, 3, 0.95, func(weights []int) (float64, bool) {
			again := slices.Clone(x)
			for i := range again {
				again[i].N = weights[i]
			}
			life, err := NPMLE(again)
			if err != nil {
				return 0, false
			}
			return life.SurvivalAt(at[i]), true
		})
		if err != nil {
			t.Fatal(err)
		}
		if got[i] != want[i] || math.Abs(b.Low-want[i].Low) > 1e-9 || math.Abs(b.High-want[i].High) > 1e-9 {
			t.Errorf("at %v: %+v, rows in another order %+v, one by one %+v", at[i], want[i], got[i], b)
		}
	}
}

func TestBandsDoNotDependOnTheNumberOfWorkers(t *testing.T) {
	x := readPublished(t, "breast_cosmesis.csv").where("treatment", "RadChem").intervals("left", "right")
	var grades []Grade
	for i := range 200 {
		grades = append(grades, Grade{i / 4, i % 4, i * i % 7 % 3})
	}
	answer := func(workers int) ([]BandPoint, []Bootstrap) {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
		band, err := LifeBand(x, []float64{8, 18, 30, 44}, 100, 3, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		limits, err := DawidSkeneLimits(grades, nil, 3, 100, 3, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		return band, limits
	}
	band, limits := answer(1)
	for _, workers := range []int{2, 5} {
		b, l := answer(workers)
		if !slices.Equal(b, band) || !slices.Equal(l, limits) {
			t.Errorf("%d workers: %v, %v; one: %v, %v", workers, b, l, band, limits)
		}
	}
}
