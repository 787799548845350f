package main

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/reports/sim"
)

func TestOneServerComputesTheRisksOfADay(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		const day = "2026-11-01"
		t.Run("nothing is stored while nothing is measured", func(t *testing.T) {
			if n, err := computeRisks(t.Context(), db, "early", "2026-10-31"); n != 0 || err != nil {
				t.Errorf("%d curves, %v", n, err)
			}
			if got, err := db.Risks(t.Context(), day); got != nil || err != nil {
				t.Errorf("%+v, %v", got, err)
			}
		})
		a := &app{ctx: t.Context(), now: func() time.Time { return time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC) }, stdout: t.Output(), stderr: t.Output()}
		if err := settle(a, db, sim.New(sim.Options{Seed: 1, Inspections: 1000, Judge: true})); err != nil {
			t.Fatal(err)
		}
		var winners, curves atomic.Int64
		var servers sync.WaitGroup
		for i := range 4 {
			servers.Go(func() {
				n, err := computeRisks(t.Context(), db, fmt.Sprint("server ", i), day)
				if err != nil {
					t.Error(err)
				}
				if n > 0 {
					winners.Add(1)
					curves.Store(int64(n))
				}
			})
		}
		servers.Wait()
		if winners.Load() != 1 {
			t.Fatalf("%d servers computed the day", winners.Load())
		}
		got, err := db.Risks(t.Context(), day)
		if err != nil {
			t.Fatal(err)
		}
		kinds := map[assess.NextBy]int{}
		for _, c := range got.Curves {
			kinds[c.By]++
		}
		if got.AsOf != day || len(got.Curves) != int(curves.Load()) || kinds[assess.NextByAll] != 1 || kinds[assess.NextByCategory] == 0 || kinds[assess.NextByModel] == 0 {
			t.Errorf("as of %s, %v", got.AsOf, kinds)
		}
		if all, err := db.Versions(t.Context(), models.RiskTables); err != nil || len(all) != 1 {
			t.Errorf("%d versions, %v", len(all), err)
		}
	})
}
