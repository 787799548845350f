package main

import (
	"fmt"
	"runtime"
	"time"

	"solewright/reports/fleet"
)

// growthMillions are the sizes of the fleet, in millions of readings: a retailer
// of the same stores and models, a year of whose readings are a million.
var growthMillions = []int64{1, 2, 5, 10}

// growthRounds is how often each question is asked.
const growthRounds = 41

// growthAllowed is how much longer a question may take over ten years than over
// one, where nothing of it lies further back, for the noise of the machine.
const growthAllowed = 1.5

// proveGrowth measures questions of the whole fleet, of a model or a store, and
// of a model or a store in a month, as years are added.
func proveGrowth(l *lab) error {
	first := growthMillions[0]
	last := growthMillions[len(growthMillions)-1]
	t := newTable("The fleet in memory as it grows", "question")
	for _, m := range growthMillions {
		t.head = append(t.head, fmt.Sprintf("%d M", m))
	}
	t.head = append(t.head, fmt.Sprintf("%d M : %d M", last, first), "target")
	t.note("%d stores and %d models with a million readings a year, over %d to %d years; medians of %d, one reader, no answer kept", fleetStores, fleetModels, first, last, growthRounds)
	const month = "2026-06"
	inMonth := func(f fleet.Filter) fleet.Filter {
		f.From, f.To = month, month
		return f
	}
	ofModel := everything(oneOf(fleet.Model, modelID(123).String()))
	ofStore := everything(oneOf(fleet.Store, storeName(77)))
	counts := func(f fleet.Filter, dims ...fleet.Dim) func(*fleet.View) error {
		return counting(func() fleet.Filter { return f }, dims...)
	}
	life := func(f fleet.Filter, dims ...fleet.Dim) func(*fleet.View) error {
		return func(v *fleet.View) error { _, err := v.Life(f, dims...); return err }
	}
	asked := []struct {
		question
		allowed float64
	}{
		{question{"all heel patterns by gait", counts(everything(), fleet.Gait, fleet.HeelPattern)}, float64(last / first)},
		{question{"all verdicts by model", counts(everything(), fleet.Model, fleet.Verdict)}, float64(last / first)},
		{question{"a region's verdicts by month", counts(everything(oneOf(fleet.Region, regionName(5))), fleet.Month, fleet.Verdict)}, float64(last / first)},
		{question{"life by gait", life(everything(), fleet.Gait)}, float64(last / first)},
		{question{"a store's verdicts by month", counts(ofStore, fleet.Month, fleet.Verdict)}, float64(last / first)},
		{question{"a model's heel patterns by gait", counts(ofModel, fleet.Gait, fleet.HeelPattern)}, float64(last / first)},
		{question{"life of a model", life(ofModel)}, float64(last / first)},
		{question{"a model's heel patterns by gait, one month", counts(inMonth(ofModel), fleet.Gait, fleet.HeelPattern)}, growthAllowed},
		{question{"a store's verdicts, one month", counts(inMonth(ofStore), fleet.Verdict)}, growthAllowed},
		{question{"all verdicts by model, one month", counts(inMonth(everything()), fleet.Model, fleet.Verdict)}, growthAllowed},
	}
	took := make([][]time.Duration, len(asked))
	for _, m := range growthMillions {
		c := fleet.New(fleet.Options{Source: &invented{readings: m * 1_000_000, days: m * fleetDays / last}, Answers: -1})
		if err := c.Load(l.ctx); err != nil {
			return err
		}
		runtime.GC() // what the load left behind
		for i, q := range asked {
			var all []time.Duration
			for range growthRounds {
				d, err := timed(func() error { return q.ask(c.View()) })
				if err != nil {
					return fmt.Errorf("%s, %d million: %w", q.name, m, err)
				}
				all = append(all, d)
			}
			took[i] = append(took[i], percentile(all, 50))
		}
	}
	for i, q := range asked {
		cells := []any{q.name}
		for _, d := range took[i] {
			cells = append(cells, fmt.Sprintf("%.3f ms", float64(d.Nanoseconds())/1e6))
		}
		grown := float64(took[i][len(took[i])-1]) / float64(took[i][0])
		t.row(append(cells, fmt.Sprintf("%.1f×", grown), fmt.Sprintf("≤ %.1f×", q.allowed))...)
	}
	return l.write("growth", t)
}
