package stats

import (
	"errors"
	"testing"
)

func valuesOf(x []float64) []Value[int] {
	out := make([]Value[int], len(x))
	for i, v := range x {
		out[i] = Value[int]{i + 1, v}
	}
	return out
}

func TestEWMAReproducesNIST(t *testing.T) {
	nist := readPublished(t, "nist_ewma.csv")
	opt := EWMAOptions[int]{Lambda: .3, Asymptotic: true, Process: Process[int]{Target: Some(50), SD: Some(2.0539)}}
	c, err := EWMA(valuesOf(nist.numbers("x")), opt)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[P2] NIST/SEMATECH e-Handbook 6.3.2.4, quoted in a public test file"
	for i, want := range nist.words("ewma_published_2dp") {
		reproduce(t, []printed{{"EWMA", c.Points[i].Value.V, want, source}})
	}
	if out := outside(c); len(out) > 0 {
		t.Errorf("signals at %v, want none (%s)", out, source)
	}
	const ours = "[R] by formula, R 4.2.2 (the handbook rounds √(.3/1.7) to .4201 and prints 52.5884, 47.4115)"
	p := c.Points[0]
	reproduce(t, []printed{
		{"high", p.High.V, "52.58843174", ours},
		{"low", p.Low.V, "47.41156826", ours},
		{"high", p.High.V, "52.5884", source},
		{"z₂₀", c.Points[19].Value.V, "51.98824326", ours},
	})
	opt.Asymptotic = false
	if c, err = EWMA(valuesOf(nist.numbers("x")), opt); err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"51.84851", "52.25639401", "52.43140557", "52.51271535", "52.55161146"} {
		reproduce(t, []printed{{"exact high", c.Points[i].High.V, want, ours}})
	}
}

func TestEWMAWithFullWeightIsTheSeriesItself(t *testing.T) {
	x := []float64{5, 9, 1, 7}
	c, err := EWMA(valuesOf(x), EWMAOptions[int]{Lambda: 1, Process: Process[int]{Baseline: &Range[int]{1, 3}}})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range c.Points {
		// Mean 5 and standard deviation 4 of 5, 9, 1: by hand.
		if p.Value != Some(x[i]) || p.Centre != Some(5) || p.High != Some(17) {
			t.Errorf("point %d: %+v, want value %v within 5 ∓ 12", i, p, x[i])
		}
	}
}

func TestEWMARefuses(t *testing.T) {
	flat := valuesOf([]float64{4, 4, 4})
	for _, tt := range []struct {
		name   string
		values []Value[int]
		opt    EWMAOptions[int]
		want   error
	}{
		{"no values", nil, EWMAOptions[int]{}, ErrEmpty},
		{"no spread", flat, EWMAOptions[int]{}, ErrNoSpread},
		{"a weight above one", flat, EWMAOptions[int]{Lambda: 2}, ErrBadInput},
		{"a negative width", flat, EWMAOptions[int]{Width: -1}, ErrBadInput},
		{"a negative deviation", flat, EWMAOptions[int]{Process: Process[int]{SD: Some(-1)}}, ErrBadInput},
		{"an order twice", []Value[int]{{1, 2}, {1, 3}}, EWMAOptions[int]{}, ErrBadInput},
		{"an empty baseline", flat, EWMAOptions[int]{Process: Process[int]{Baseline: &Range[int]{7, 9}}}, ErrEmpty},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := EWMA(tt.values, tt.opt); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}
