package stats

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

func TestRMSTReproducesPublishedValues(t *testing.T) {
	const (
		vignette = "[P] R package survRM2, vignette rmst2, first 312 pbc patients, tau = 10"
		survfit  = "[R] R 4.2.2 survival 3.5-3 survfit, rmean = tau"
	)
	mean := func(x []Exit, tau float64) *RestrictedMean {
		t.Helper()
		m, err := RMST(x, tau, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	pbc, leukaemia := readPublished(t, "pbc312_rmst.csv"), readPublished(t, "freireich_6mp.csv")
	drug, placebo := mean(pbc.where("arm", "1").exits("t", "s"), 10), mean(pbc.where("arm", "0").exits("t", "s"), 10)
	sixMP, control := mean(leukaemia.where("treat", "6-MP").exits("time", "cens"), 20), mean(leukaemia.where("treat", "control").exits("time", "cens"), 20)
	d, err := RMSTDifference(drug, placebo, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"arm 1", drug.RMST, "7.146", vignette},
		{"arm 1 SE", drug.SE, "0.283", vignette},
		{"arm 1 low", drug.Low, "6.592", vignette},
		{"arm 1 high", drug.High, "7.701", vignette},
		{"arm 0", placebo.RMST, "7.283", vignette},
		{"arm 0 SE", placebo.SE, "0.295", vignette},
		{"arm 0 low", placebo.Low, "6.704", vignette},
		{"arm 0 high", placebo.High, "7.863", vignette},
		{"difference", d.Difference, "-0.137", vignette},
		{"difference low", d.Low, "-0.939", vignette},
		{"difference high", d.High, "0.665", vignette},
		{"p", d.P, "0.738", vignette},
		{"arm 1", drug.RMST, "7.1464930", survfit},
		{"arm 1 SE", drug.SE, "0.28277485", survfit},
		{"arm 0", placebo.RMST, "7.2834158", survfit},
		{"arm 0 SE", placebo.SE, "0.29547809", survfit},
		{"6-MP", sixMP.RMST, "16.116526611", survfit},
		{"6-MP SE", sixMP.SE, "1.251560196", survfit},
		{"control", control.RMST, "8.428571429", survfit},
		{"control SE", control.SE, "1.268082683", survfit},
	})
}

func TestRMSTEdges(t *testing.T) {
	t.Run("everyone failed before the horizon: the plain mean", func(t *testing.T) {
		m, err := RMST([]Exit{{10, 1, 0}, {20, 1, 0}, {60, 1, 0}}, 1000, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"mean of 10, 20, 60", m.RMST, "30.00000000", "closed form"}})
	})
	t.Run("nobody failed by the horizon: the horizon without error", func(t *testing.T) {
		m, err := RMST([]Exit{{100, 0, 3}}, 80, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if m.RMST != 80 || m.SE != 0 {
			t.Errorf("got %v (%v), want 80 (0)", m.RMST, m.SE)
		}
		if _, err := RMSTDifference(m, m, 0.95); !errors.Is(err, ErrNoSpread) {
			t.Errorf("difference of two means without error: %v, want ErrNoSpread", err)
		}
	})
	for _, tt := range []struct {
		name string
		x    []Exit
		tau  float64
		conf float64
		want error
	}{
		{"data that end, still sound, before the horizon", []Exit{{10, 1, 0}, {20, 0, 1}}, 21, 0.95, ErrNotReached},
		{"nothing to count", nil, 10, 0.95, ErrEmpty},
		{"no horizon", []Exit{{10, 1, 0}}, 0, 0.95, ErrBadInput},
		{"a level of 1", []Exit{{10, 1, 0}}, 5, 1, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := RMST(tt.x, tt.tau, tt.conf); !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
		})
	}
}

func TestRMSTNeverFallsWithTheHorizon(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rightCensored(t, "group")
		before := 0.0
		for tau := 5.0; tau <= 150; tau += 5 {
			m, err := RMST(x, tau, 0.95)
			if errors.Is(err, ErrNotReached) {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if m.RMST < before-1e-9 || m.RMST > tau+1e-9 {
				t.Fatalf("mean to %g is %v, to 5 less %v", tau, m.RMST, before)
			}
			before = m.RMST
		}
	})
}
