package main

import (
	"fmt"
	"time"

	"solewright/reports/wear"
	"solewright/reports/wear/weartest"
)

// How many fleets are drawn with nothing planted and with the three problems, and
// where their seeds begin.
const (
	nullFleets    = 200
	plantedFleets = 60
	chartFleets   = 30
	signalSeed    = 20261126
)

// proveSignals counts what fleets raise that have nothing planted, against what a
// q of 5 % promises, and how often what is planted is found.
func proveSignals(l *lab) error {
	t := newTable("Signals against known truth", "fleets", "kind", "what", "measured", "stated")
	t.note("invented fleets of 20,000 readings over 24 months; every one has other runners, stores that read a little differently and models that wear a little differently; seeds from %d", signalSeed)
	t.note("stated: q ≤ %g, so that of the fleets with nothing to find no more than one in twenty raises a false signal of a kind; %d of %d are the most where that holds, but once in a thousand times (binomial)", weartest.StatedRate, weartest.Most(nullFleets), nullFleets)
	t.note("a store that is raised is truly apart where its people's readings, beside a perfect reader's of the same shoes, account for half of what it is off by or more; of the other kinds every signal counts as false")
	start := time.Now()
	raised, err := weartest.Null(l.ctx, weartest.Fleets{N: nullFleets, First: signalSeed})
	if err != nil {
		return err
	}
	failed := 0
	of := fmt.Sprint(nullFleets, ", nothing planted")
	for _, r := range raised {
		t.row(of, r.Kind, "fleets with a false signal", r.False, fmt.Sprintf("%g expected at most, ≤ %d by chance", weartest.StatedRate*nullFleets, weartest.Most(nullFleets)))
		t.row(of, r.Kind, "fleets with a signal, signals in all", fmt.Sprintf("%d, %d", r.With, r.Signals), "")
		if r.False > weartest.Most(nullFleets) {
			failed++
		}
	}
	found, err := weartest.Planted(l.ctx, weartest.Fleets{N: plantedFleets, First: signalSeed})
	if err != nil {
		return err
	}
	of = fmt.Sprint(plantedFleets, ", three problems planted")
	for _, f := range found {
		t.row(of, f.Kind, "fleets in which it is found, first of its kind, signals of the kind beside it", fmt.Sprintf("%d, %d, %d", f.In, f.First, f.Others), "")
		if f.In == 0 {
			failed++
		}
	}
	charts, err := weartest.Charts(l.ctx, weartest.Fleets{N: chartFleets, First: signalSeed})
	if err != nil {
		return err
	}
	of = fmt.Sprint(chartFleets, ", nothing planted")
	t.row(of, "early-failure chart", "readings between alarms, all models", fmt.Sprintf("%d (%d alarms in %d)", charts.Readings/max(charts.Alarms, 1), charts.Alarms, charts.Readings), fmt.Sprintf("%.0f while the baseline holds; its odds a fifth off cut it to a quarter", charts.Stated))
	of = fmt.Sprint(chartFleets, ", a batch that fails early")
	t.row(of, "early-failure chart", "fleets in which the batch’s own chart signals; readings until then, mean", fmt.Sprintf("%d; %.0f", charts.Found, charts.Delay), fmt.Sprintf("%.0f at doubled odds", charts.Doubled))
	if charts.Found < chartFleets || charts.Delay > charts.Doubled {
		failed++
	}
	t.note("the baseline is a category’s: a model that wears faster than its category raises alarms that are its own, and no chance")
	t.note("%s s", seconds(time.Since(start)))
	if err := l.write("signals", t); err != nil {
		return err
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d kinds don't keep what is stated", failed, len(wear.Kinds))
	}
	return nil
}
