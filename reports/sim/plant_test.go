package sim_test

import (
	"testing"

	"solewright/assess"
	"solewright/reports/sim"
)

// counts is what plain counting says of the planted problems.
type counts struct {
	// Pairs read under 250 km: with the bond parted, of all; in the batch and
	// in all others.
	partedBatch, partedRest [2]int
	// Pairs with a true life under 250 km.
	shortBatch, shortRest [2]int
	// Readings that say replace or retire, and of pairs truly worn, at the store
	// and at all others.
	replaceStore, replaceRest, wornStore, wornRest [2]int
	// Readings with a medial forefoot by observed gait: the model under pronated
	// feet, the model under others, other models under pronated feet.
	medialPlanted, medialOther, medialRest [2]int
}

func add(c *[2]int, is bool) {
	c[1]++
	if is {
		c[0]++
	}
}

func rate(c [2]int) float64 { return float64(c[0]) / float64(c[1]) }

// count counts what a page would see, and the true lives beside it.
func count(f *sim.Fleet) counts {
	var (
		c      counts
		p      = f.Plants()
		result assess.Result
		seen   = map[uint64]bool{}
	)
	for rec, truth := range f.Inspections() {
		if rec.Kind == assess.Blind || !rec.Supersedes.IsZero() {
			continue
		}
		assess.Default().Judge(&rec.Reading, &f.Models[truth.Model].AsNew, &result)

		parted, short := &c.partedRest, &c.shortRest
		if truth.Model == p.BatchModel && rec.Batch == p.Batch {
			parted, short = &c.partedBatch, &c.shortBatch
		}
		if rec.KM.OK() && rec.KM.Int() < 250 {
			add(parted, rec.Shoe[0][assess.Bond].Is(assess.Parted) || rec.Shoe[1][assess.Bond].Is(assess.Parted))
		}
		if !seen[truth.Pair] {
			seen[truth.Pair] = true
			add(short, truth.PairLifeKM < 250)
		}

		replaces, worn := &c.replaceRest, &c.wornRest
		if rec.Store == f.Stores[p.Store].Code {
			replaces, worn = &c.replaceStore, &c.wornStore
		}
		add(replaces, result.Verdict == assess.ReplacePair || result.Verdict == assess.RetirePair)
		add(worn, truth.Worn())

		if !rec.Gait.OK() || result.Pattern.Fore == assess.NoPattern {
			continue
		}
		medial, rolls := result.Pattern.Fore == assess.MedialWear, rec.Gait.Int() >= 3
		switch {
		case truth.Model == p.Model && rolls:
			add(&c.medialPlanted, medial)
		case truth.Model == p.Model:
			add(&c.medialOther, medial)
		case rolls:
			add(&c.medialRest, medial)
		}
	}
	return c
}

// TestThePlantedProblemsAreInTheDataAndOnlyWhenPlanted counts both fleets. The
// bounds are those of the package comment, wide enough for any seed: they are
// tried with three.
func TestThePlantedProblemsAreInTheDataAndOnlyWhenPlanted(t *testing.T) {
	for seed := range uint64(3) {
		with, without := sim.New(sim.Options{Seed: seed, Plant: true}), sim.New(sim.Options{Seed: seed})
		is, isnt := count(with), count(without)
		t.Logf("seed %d: with %+v, without %+v", seed, is, isnt)
		for _, row := range []struct {
			name      string
			got       float64
			low, high float64
		}{
			{"planted: pairs of the batch seen", float64(is.shortBatch[1]), 150, 400},
			{"planted: the batch's bond is parted under 250 km", rate(is.partedBatch), 0.25, 0.45},
			{"planted: other bonds are not", rate(is.partedRest), 0.015, 0.05},
			{"planted: true lives of the batch under 250 km", rate(is.shortBatch), 0.40, 0.62},
			{"planted: true lives of the rest under 250 km", rate(is.shortRest), 0.08, 0.16},
			{"not planted: the batch's bond is like the rest's", rate(isnt.partedBatch) - rate(isnt.partedRest), -0.04, 0.04},
			{"not planted: true lives of the batch are like the rest's", rate(isnt.shortBatch) - rate(isnt.shortRest), -0.07, 0.07},

			{"planted: the store replaces more", rate(is.replaceStore) - rate(is.replaceRest), 0.06, 0.16},
			{"planted: its pairs are not more worn", rate(is.wornStore) - rate(is.wornRest), -0.05, 0.05},
			{"not planted: the store replaces like the rest", rate(isnt.replaceStore) - rate(isnt.replaceRest), -0.05, 0.05},

			{"planted: the model wears its inner forefoot under pronated feet", rate(is.medialPlanted), 0.45, 0.62},
			{"planted: other models do less", rate(is.medialRest), 0.08, 0.14},
			{"planted: the model doesn't under other feet", rate(is.medialOther), 0.02, 0.08},
			{"not planted: the model is like the others", rate(isnt.medialPlanted) - rate(isnt.medialRest), -0.06, 0.06},
		} {
			t.Run(row.name, func(t *testing.T) {
				if row.got < row.low || row.got > row.high {
					t.Errorf("seed %d: %.3f, want %.3f to %.3f", seed, row.got, row.low, row.high)
				}
			})
		}
	}
}

func TestThePlantsAreWhereThePackageCommentSays(t *testing.T) {
	f := sim.New(sim.Options{Inspections: 1, Plant: true})
	p := f.Plants()
	m, b := &f.Models[p.Model], &f.Models[p.BatchModel]
	for _, row := range []struct{ got, want string }{
		{m.Brand + " " + m.Model + " " + m.Version, "Siltrune Klombisk 1"},
		{p.Batch + " of " + b.Brand + " " + b.Model + " " + b.Version, "E2502 of Hodrumel Trolmune 1"},
		{f.Stores[p.Store].Code, "E3"},
	} {
		if row.got != row.want {
			t.Errorf("planted at %q, the package comment says %q", row.got, row.want)
		}
	}
	if q := sim.New(sim.Options{Inspections: 1}).Plants(); q.Planted || q.Model != p.Model || q.Batch != p.Batch || q.Store != p.Store {
		t.Errorf("without plants %+v, with %+v", q, p)
	}
}

func TestOnlyThePlantsDifferBetweenFleets(t *testing.T) {
	with, without := sim.New(sim.Options{Seed: 11, Inspections: 5000, Plant: true}), sim.New(sim.Options{Seed: 11, Inspections: 5000})
	plain := map[assess.UUID]assess.Record{}
	for rec := range without.Inspections() {
		plain[rec.ID] = *rec
	}
	p := with.Plants()
	same, other := 0, 0
	for rec, truth := range with.Inspections() {
		touched := truth.Model == p.Model || truth.Model == p.BatchModel || rec.Store == with.Stores[p.Store].Code
		if touched {
			continue
		}
		if before, ok := plain[rec.ID]; ok && before == *rec {
			same++
		} else {
			other++
		}
	}
	// What differs are later pairs of runners who had a planted one.
	if share := float64(other) / float64(same+other); share > 0.12 {
		t.Errorf("%d of %d untouched records differ", other, same+other)
	}
}
