package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// exits counts the rows of a published data set; event holds 1 for an event
// unless another word is given.
func (p published) exits(time, event string, word ...string) []Exit {
	p.t.Helper()
	failed := "1"
	if len(word) > 0 {
		failed = word[0]
	}
	events := make([]bool, len(p.rows))
	for i, w := range p.words(event) {
		events[i] = w == failed
	}
	x, err := Exits(p.numbers(time), events, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	return x
}

func TestExitsCountDistinctTimes(t *testing.T) {
	for _, tt := range []struct {
		name  string
		time  []float64
		event []bool
		count []int
		want  []Exit
	}{
		{
			"whole distances in any order",
			[]float64{500, 300, 500, 500},
			[]bool{true, false, false, true},
			nil,
			[]Exit{{300, 0, 1}, {500, 2, 1}},
		},
		{
			"broken distances",
			[]float64{0.5, 0.25, 0.5},
			[]bool{true, true, false},
			nil,
			[]Exit{{0.25, 1, 0}, {0.5, 1, 1}},
		},
		{
			"far distances that no table holds",
			[]float64{1e12, 3, 1e12},
			[]bool{true, true, true},
			nil,
			[]Exit{{3, 1, 0}, {1e12, 2, 0}},
		},
		{
			"frequencies, a row of none among them",
			[]float64{10, 20, 10},
			[]bool{true, true, false},
			[]int{3, 0, 2},
			[]Exit{{10, 3, 2}},
		},
		{"nothing", nil, nil, nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := Exits(tt.time, tt.event, tt.count)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

func TestExitsRefuseBadRows(t *testing.T) {
	one := []bool{true}
	for _, tt := range []struct {
		name string
		call func() error
	}{
		{"a negative time", func() error { _, err := Exits([]float64{-1}, one, nil); return err }},
		{"a time that is not a number", func() error { _, err := Exits([]float64{math.NaN()}, one, nil); return err }},
		{"an infinite time", func() error { _, err := Exits([]float64{math.Inf(1)}, one, nil); return err }},
		{"a negative count", func() error { _, err := Exits([]float64{1}, one, []int{-1}); return err }},
		{"fewer events than times", func() error { _, err := Exits([]float64{1, 2}, one, nil); return err }},
		{"fewer counts than times", func() error { _, err := Exits([]float64{1}, one, []int{}); return err }},
		{"fewer groups than times", func() error { _, err := ExitsBy([]float64{1}, one, nil, []int{}, 2); return err }},
		{"a group beyond the last", func() error { _, err := ExitsBy([]float64{1}, one, nil, []int{2}, 2); return err }},
		{"no groups", func() error { _, err := ExitsBy([]float64{1}, one, nil, nil, 0); return err }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.call(); !errors.Is(err, ErrBadInput) {
				t.Errorf("got %v, want ErrBadInput", err)
			}
		})
	}
}

// rightCensored draws a small right-censored group on a coarse grid, so that
// ties abound.
func rightCensored(t *rapid.T, label string) []Exit {
	n := rapid.IntRange(1, 40).Draw(t, label+" size")
	x := make([]Exit, n)
	for i := range x {
		x[i].Time = float64(rapid.IntRange(1, 15).Draw(t, label+" time")) * 10
		if rapid.IntRange(0, 2).Draw(t, label+" event") > 0 {
			x[i].Events = rapid.IntRange(1, 3).Draw(t, label+" events")
		} else {
			x[i].Censored = rapid.IntRange(1, 3).Draw(t, label+" censored")
		}
	}
	return x
}

// rearranged returns the same pairs in other rows: every exit split into
// single pairs, and the lot shuffled.
func rearranged(x []Exit, seed uint64) []Exit {
	var single []Exit
	for _, e := range x {
		for range e.Events {
			single = append(single, Exit{e.Time, 1, 0})
		}
		for range e.Censored {
			single = append(single, Exit{e.Time, 0, 1})
		}
	}
	r := rand.New(rand.NewPCG(seed, 1))
	r.Shuffle(len(single), func(i, j int) { single[i], single[j] = single[j], single[i] })
	return single
}

func TestExitsDoNotDependOnHowRowsAreCounted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rightCensored(t, "group")
		scale := rapid.SampledFrom([]float64{1, 0.5, 1e9}).Draw(t, "scale")
		var time []float64
		var event []bool
		var count []int
		for _, e := range rearranged(x, rapid.Uint64().Draw(t, "seed")) {
			time = append(time, e.Time*scale)
			event = append(event, e.Events > 0)
			count = append(count, e.Events+e.Censored)
		}
		got, err := Exits(time, event, count)
		if err != nil {
			t.Fatal(err)
		}
		want, err := tidyExits(x)
		if err != nil {
			t.Fatal(err)
		}
		for i := range want {
			want[i].Time *= scale
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}
