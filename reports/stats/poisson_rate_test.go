package stats

import (
	"errors"
	"math"
	"testing"
)

func TestPoissonRates(t *testing.T) {
	for _, tt := range []struct {
		name      string
		events    int
		exposure  float64
		conf      float64
		low, high float64
		source    string
	}{
		{"ten of a thousand", 10, 1000, .95, 0.004795388696, 0.018390356042, "[R] R 4.2.2 poisson.test(10, 1000)$conf.int"},
		{"none of fifty", 0, 50, .95, 0, 0.07377758908, "[R] poisson.test(0, 50)$conf.int; −ln(0.025)/50"},
		{"one in a unit at 99 %", 1, 1, .99, 0.005012541824, 7.430129500280, "[R] poisson.test(1, conf.level = .99)$conf.int"},
		{"hundreds", 165, 2400, .95, 0.05865996542, 0.08007740859, "[R] poisson.test(165, 2400)$conf.int"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := PoissonRate(tt.events, tt.exposure, tt.conf)
			if err != nil || math.Abs(r.Low-tt.low) > 1e-6*math.Max(tt.low, 1) || math.Abs(r.High-tt.high) > 1e-6*tt.high || r.Rate != float64(tt.events)/tt.exposure {
				t.Errorf("%+v, %v, want %v to %v by %s", r, err, tt.low, tt.high, tt.source)
			}
		})
	}
	for _, bad := range []struct {
		events   int
		exposure float64
	}{{-1, 10}, {1, 0}} {
		if _, err := PoissonRate(bad.events, bad.exposure, .95); !errors.Is(err, ErrBadInput) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}
