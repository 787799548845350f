package stats

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

// samplesOf pairs two columns with the order 1, 2, …
func samplesOf(hits, size []float64) []Sample[int] {
	out := make([]Sample[int], len(hits))
	for i := range hits {
		out[i] = Sample[int]{i + 1, hits[i], size[i]}
	}
	return out
}

// outside returns the orders of the points beyond their limits.
func outside(c *Chart[int]) []int {
	var out []int
	for _, p := range c.Points {
		if p.Out {
			out = append(out, p.Order)
		}
	}
	return out
}

func wantOrders(t *testing.T, got []int, source string, want ...int) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("out: %v, want %v (%s)", got, want, source)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("out: %v, want %v (%s)", got, want, source)
		}
	}
}

func TestPChartReproducesOrangeJuice(t *testing.T) {
	cans := readPublished(t, "p_chart_orange_juice.csv")
	samples := samplesOf(cans.numbers("nonconforming"), cans.numbers("n"))
	c, err := PChart(samples, ChartOptions[int]{})
	if err != nil {
		t.Fatal(err)
	}
	const (
		book = "[P2] Montgomery; NIST/SEMATECH e-Handbook 6.3.3.2, as quoted by a public test file"
		ours = "[R] by formula on the published counts, R 4.2.2"
	)
	p := c.Points[0]
	reproduce(t, []printed{
		{"centre", p.Centre.V, "0.2313", book},
		{"low", p.Low.V, "0.0524", book},
		{"high", p.High.V, "0.4102", book},
		{"centre", p.Centre.V, "0.2313333333", ours},
		{"low", p.Low.V, "0.05242754807", ours},
		{"high", p.High.V, "0.4102391186", ours},
	})
	wantOrders(t, outside(c), book, 15, 23)

	var clean []Sample[int]
	for _, s := range samples {
		if s.Order != 15 && s.Order != 23 {
			clean = append(clean, s)
		}
	}
	if c, err = PChart(clean, ChartOptions[int]{}); err != nil {
		t.Fatal(err)
	}
	const memory = "[M] Montgomery, revised limits without samples 15 and 23"
	p = c.Points[0]
	reproduce(t, []printed{
		{"centre", p.Centre.V, "0.2150", memory},
		{"low", p.Low.V, "0.0407", memory},
		{"high", p.High.V, "0.3893", memory},
		{"low", p.Low.V, "0.0407028400", ours},
		{"high", p.High.V, "0.3892971600", ours},
	})
}

func TestUChartReproducesItsReferences(t *testing.T) {
	computers := readPublished(t, "u_chart_pc_manufacture.csv")
	c, err := UChart(samplesOf(computers.numbers("nonconformities"), computers.numbers("units")), ChartOptions[int]{})
	if err != nil {
		t.Fatal(err)
	}
	const (
		memory = "[M] Montgomery, personal computers"
		ours   = "[R] by formula on the published counts, R 4.2.2"
	)
	p := c.Points[0]
	reproduce(t, []printed{
		{"centre", p.Centre.V, "1.93", memory},
		{"high", p.High.V, "3.79", memory},
		{"low", p.Low.V, "0.07", memory},
		{"low", p.Low.V, "0.06613305196", ours},
		{"high", p.High.V, "3.793866948", ours},
	})

	cloth := samplesOf(
		[]float64{14, 12, 20, 11, 7, 10, 21, 16, 19, 23},
		[]float64{10, 8, 13, 10, 10, 10, 12, 11, 12, 13},
	)
	if c, err = UChart(cloth, ChartOptions[int]{}); err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{{"centre", c.Points[0].Centre.V, "1.40367", "[P2] R package qcc, data set dyedcloth"}})
}

func TestCChartReproducesWafers(t *testing.T) {
	wafers := readPublished(t, "c_chart_nist_wafers.csv")
	c, err := CChart(samplesOf(wafers.numbers("defects"), wafers.numbers("defects")), ChartOptions[int]{})
	if err != nil {
		t.Fatal(err)
	}
	const source = "[P2] NIST/SEMATECH e-Handbook 6.3.3.1"
	p := c.Points[0]
	reproduce(t, []printed{{"centre", p.Centre.V, "16", source}, {"high", p.High.V, "28", source}, {"low", p.Low.V, "4", source}})
	wantOrders(t, outside(c), source+": 28 is not beyond 28", 24)
}

func TestChartsLearnFromTheBaselineOnly(t *testing.T) {
	samples := []Sample[string]{{"2026-03", 9, 10}, {"2026-01", 1, 10}, {"2026-02", 3, 10}, {"2026-04", 0, 0}}
	c, err := PChart(samples, ChartOptions[string]{Sigma: 2, Baseline: &Range[string]{"2026-01", "2026-02"}})
	if err != nil {
		t.Fatal(err)
	}
	if c.Points[0].Order != "2026-01" || c.Points[2].Centre != Some(.2) || !c.Points[2].Out {
		t.Errorf("got %+v, want months in order, centre 4/20 and March out", c.Points)
	}
	if p := c.Points[3]; p.Value.OK || p.Low.OK || p.Out {
		t.Errorf("an empty month: %+v, want no value", p)
	}
}

func TestChartsRefuse(t *testing.T) {
	for _, tt := range []struct {
		name string
		run  func() error
		want error
	}{
		{"no samples", func() error { _, err := PChart[int](nil, ChartOptions[int]{}); return err }, ErrEmpty},
		{"an empty baseline", func() error {
			_, err := PChart([]Sample[int]{{1, 1, 2}}, ChartOptions[int]{Baseline: &Range[int]{5, 9}})
			return err
		}, ErrEmpty},
		{"more hits than pairs", func() error { _, err := PChart([]Sample[int]{{1, 3, 2}}, ChartOptions[int]{}); return err }, ErrBadInput},
		{"a negative width", func() error { _, err := PChart([]Sample[int]{{1, 1, 2}}, ChartOptions[int]{Sigma: -1}); return err }, ErrBadInput},
		{"faults without units", func() error { _, err := UChart([]Sample[int]{{1, 3, 0}}, ChartOptions[int]{}); return err }, ErrBadInput},
		{"a c chart with two units a point", func() error {
			_, err := CChart([]Sample[int]{{1, 3, 0}, {1, 2, 0}}, ChartOptions[int]{})
			return err
		}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := tt.run(); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestChartLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "n")
		var whole, split []Sample[int]
		for i := range n {
			size := rapid.IntRange(1, 50).Draw(t, "size")
			hits := rapid.IntRange(0, size).Draw(t, "hits")
			part := rapid.IntRange(0, hits).Draw(t, "part")
			whole = append(whole, Sample[int]{i, float64(hits), float64(size)})
			split = append(split, Sample[int]{i, float64(part), float64(part)}, Sample[int]{i, float64(hits - part), float64(size - part)})
		}
		a, err := PChart(whole, ChartOptions[int]{})
		if err != nil {
			t.Fatal(err)
		}
		b, err := PChart(rapid.Permutation(split).Draw(t, "order"), ChartOptions[int]{})
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range a.Points {
			if q := b.Points[i]; p != q {
				t.Fatalf("splitting or reordering samples matters: %+v and %+v", p, q)
			}
			if !(0 <= p.Low.V && p.Low.V <= p.Centre.V && p.Centre.V <= p.High.V && p.High.V <= 1) {
				t.Fatalf("0 ≤ low ≤ centre ≤ high ≤ 1 broken: %+v", p)
			}
		}
	})
}
