package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestHeapingReproducesCensusAges(t *testing.T) {
	males := readPublished(t, "pasex_males_single_age.csv")
	age, count := males.wholes("age"), males.wholes("count")
	h, err := MeasureHeaping(age, count, HeapingOptions{})
	if err != nil {
		t.Fatal(err)
	}
	zero, err := Whipple(age, count, Range[int]{23, 62}, 0)
	if err != nil {
		t.Fatal(err)
	}
	const (
		published = "[P] US Census Bureau PAS SINGAGE, males, as in the documentation of R package DemoTools"
		ours      = "[R] by formula on the published counts, R 4.2.2"
	)
	reproduce(t, []printed{
		{"Whipple", h.Whipple05.V / 100, "2.34", published},
		{"Whipple", h.Whipple05.V / 100, "2.33873", published},
		{"Whipple of digit 0", zero / 100, "2.601614", published},
		{"Myers, without the half", 2 * h.Myers.V, "47.46", published},
		{"Myers, without the half", 2 * h.Myers.V, "47.46004", published},
		{"Whipple", h.Whipple05.V, "233.8729863", ours},
		{"Whipple of digit 0", zero, "260.1613995", ours},
		{"Myers", h.Myers.V, "23.73002042", ours},
	})
	for d, want := range []string{"24.1540", "5.7156", "7.6384", "6.9895", "5.2626", "18.7434", "6.6749", "10.8326", "6.8658", "7.1231"} {
		reproduce(t, []printed{{"blended share", h.Blended[d], want, ours}})
	}
}

func TestHeapingOfKilometresByHand(t *testing.T) {
	km := []int{100, 150, 200, 203, 317, 450}
	h, err := MeasureHeaping(km, []int{2, 1, 1, 1, 1, 4}, HeapingOptions{Whipple: &Range[int]{100, 450}, Myers: &Range[int]{100, 459}})
	if err != nil {
		t.Fatal(err)
	}
	// Eight of ten end in 0, all of them multiples of 50, three of 100:
	// χ² = 49 + 2·0 + 7·1, Whipple 100·5·.8.
	if h.N != 10 || h.Digits[0] != 8 || h.Digits[3] != 1 || h.Share50 != .8 || h.Share100 != .3 || math.Abs(h.Chi2-56) > 1e-12 || h.Whipple05 != Some(400) {
		t.Errorf("got %+v, want χ² 56, shares .8 and .3, Whipple 400 (by hand)", h)
	}
}

func TestHeapingRefuses(t *testing.T) {
	for _, tt := range []struct {
		name          string
		values, count []int
		opt           HeapingOptions
		want          error
	}{
		{"nothing", nil, nil, HeapingOptions{}, ErrEmpty},
		{"nothing counted", []int{4}, []int{0}, HeapingOptions{}, ErrEmpty},
		{"a negative value", []int{-4}, nil, HeapingOptions{}, ErrBadInput},
		{"a negative count", []int{4}, []int{-1}, HeapingOptions{}, ErrBadInput},
		{"lengths that differ", []int{4, 5}, []int{1}, HeapingOptions{}, ErrBadInput},
		{"a range that runs backwards", []int{30}, nil, HeapingOptions{Whipple: &Range[int]{9, 3}}, ErrBadInput},
		{"a range of broken decades", []int{30}, nil, HeapingOptions{Myers: &Range[int]{5, 50}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := MeasureHeaping(tt.values, tt.count, tt.opt); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	young, err := MeasureHeaping([]int{5, 20, 120}, nil, HeapingOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if young.Whipple05.OK || young.Why == "" {
		t.Errorf("ages outside 23–62: %+v, want no index, and why", young)
	}
	far, err := MeasureHeaping([]int{300, 450}, nil, HeapingOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if far.Whipple05 != Some(500) || far.Myers.OK || far.Why == "" {
		t.Errorf("kilometres: %+v, want Whipple 500 over all of them (by hand), and Myers undefined with why", far)
	}
	if _, err := Whipple([]int{30}, nil, Range[int]{23, 62}, 11); !errors.Is(err, ErrBadInput) {
		t.Errorf("a digit of eleven: err = %v, want ErrBadInput", err)
	}
}

func TestHeapingLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		km := rapid.SliceOfN(rapid.IntRange(10, 89), 1, 60).Draw(t, "km")
		a, err := MeasureHeaping(km, nil, HeapingOptions{})
		if err != nil {
			t.Fatal(err)
		}
		count := map[int]int{}
		for _, v := range km {
			count[v]++
		}
		var values, counts []int
		for v, c := range count {
			values, counts = append(values, v), append(counts, c)
		}
		b, err := MeasureHeaping(values, counts, HeapingOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if a.Digits != b.Digits || math.Abs(a.Myers.V-b.Myers.V) > 1e-9 || a.Whipple05 != b.Whipple05 || math.Abs(a.Chi2-b.Chi2) > 1e-9 {
			t.Fatalf("counting equal values together matters: %+v and %+v", a, b)
		}
		if a.Myers.V < -1e-9 || a.Myers.V > 90+1e-9 || a.Whipple05.V < 0 || a.Whipple05.V > 500 {
			t.Fatalf("an index outside its range: %+v", a)
		}
	})
}
