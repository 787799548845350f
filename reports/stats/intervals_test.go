package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// intervals counts the rows of a published data set in (lower, upper]; an
// empty upper bound is sound so far.
func (p published) intervals(lower, upper string) []Interval {
	p.t.Helper()
	up := p.numbers(upper)
	for i, v := range up {
		if math.IsNaN(v) {
			up[i] = math.Inf(1)
		}
	}
	x, err := Intervals(p.numbers(lower), up, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	return x
}

// asIntervals says the same of right-censored exits in intervals.
func asIntervals(exits []Exit) []Interval {
	var x []Interval
	for _, e := range exits {
		x = append(x, Interval{e.Time, e.Time, e.Events}, Interval{e.Time, math.Inf(1), e.Censored})
	}
	return x
}

func TestIntervalsCountDistinctBounds(t *testing.T) {
	inf := math.Inf(1)
	got, err := Intervals(
		[]float64{300, 0, 300, 500, 300, 20}, []float64{600, 300, inf, 500, 600, 30}, []int{1, 1, 2, 1, 4, 0})
	if err != nil {
		t.Fatal(err)
	}
	want := []Interval{{0, 300, 1}, {300, 600, 5}, {300, inf, 2}, {500, 500, 1}}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestIntervalsRefuseBadRows(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	of := func(lower, upper float64) func() error {
		return func() error { _, err := Intervals([]float64{lower}, []float64{upper}, nil); return err }
	}
	for _, tt := range []struct {
		name string
		call func() error
	}{
		{"a negative lower bound", of(-1, 5)},
		{"a lower bound that is not a number", of(nan, 5)},
		{"an upper bound that is not a number", of(1, nan)},
		{"an infinite lower bound", of(inf, inf)},
		{"bounds the wrong way round", of(600, 300)},
		{"a negative count", func() error { _, err := Intervals([]float64{1}, []float64{2}, []int{-1}); return err }},
		{"fewer upper bounds than lower", func() error { _, err := Intervals([]float64{1}, nil, nil); return err }},
		{"fewer counts than bounds", func() error { _, err := Intervals([]float64{1}, []float64{2}, []int{}); return err }},
		{"fewer groups than bounds", func() error { _, err := IntervalsBy([]float64{1}, []float64{2}, nil, []int{}, 1); return err }},
		{"a group beyond the last", func() error { _, err := IntervalsBy([]float64{1}, []float64{2}, nil, []int{1}, 1); return err }},
		{"no groups", func() error { _, err := IntervalsBy([]float64{1}, []float64{2}, nil, nil, 0); return err }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.call(); !errors.Is(err, ErrBadInput) {
				t.Errorf("got %v, want ErrBadInput", err)
			}
		})
	}
}

// intervalCensored draws a small group on a coarse grid: mostly intervals,
// some worn at the first look, sound so far, or exact.
func intervalCensored(t *rapid.T, label string) []Interval {
	n := rapid.IntRange(1, 30).Draw(t, label+" size")
	x := make([]Interval, n)
	for i := range x {
		a := float64(rapid.IntRange(0, 12).Draw(t, label+" lower")) * 10
		b := a + float64(rapid.IntRange(1, 12).Draw(t, label+" width"))*10
		switch rapid.IntRange(0, 5).Draw(t, label+" kind") {
		case 0:
			a = 0
		case 1:
			b = math.Inf(1)
		case 2:
			a = b
		}
		x[i] = Interval{a, b, rapid.IntRange(1, 4).Draw(t, label+" count")}
	}
	return x
}

// reordered returns the same pairs in other rows: every entry split into
// single pairs, and the lot shuffled.
func reordered(x []Interval, seed uint64) []Interval {
	var single []Interval
	for _, v := range x {
		for range v.N {
			single = append(single, Interval{v.Lower, v.Upper, 1})
		}
	}
	r := rand.New(rand.NewPCG(seed, 1))
	r.Shuffle(len(single), func(i, j int) { single[i], single[j] = single[j], single[i] })
	return single
}

func TestIntervalsDoNotDependOnHowRowsAreCounted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := intervalCensored(t, "group")
		var lower, upper []float64
		var count []int
		for _, v := range reordered(x, rapid.Uint64().Draw(t, "seed")) {
			lower, upper, count = append(lower, v.Lower), append(upper, v.Upper), append(count, v.N)
		}
		got, err := Intervals(lower, upper, count)
		if err != nil {
			t.Fatal(err)
		}
		want, err := tidyIntervals(x)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}
