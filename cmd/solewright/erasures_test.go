package main

import (
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/photos"
	"solewright/models/retail"
)

// A tablet that was off line sends a reading of somebody who was erased
// meanwhile; the server clears it once a day.
func TestALateReadingOfAnErasedRunnerIsCleared(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		ctx := t.Context()
		for _, err := range []error{
			db.SaveRegion(ctx, operator, retail.Region{Code: "N", Name: "North", Currency: "EUR"}),
			db.SaveStore(ctx, operator, retail.Store{Code: "N1", Name: "One", Region: "N", Zone: "Europe/Berlin", Currency: "EUR", Unit: "km"}),
		} {
			if err != nil {
				t.Fatal(err)
			}
		}
		send := func(n byte, runner string) assess.UUID {
			at := time.Date(2026, 11, 2, 10, int(n), 0, 0, time.UTC)
			saved, err := db.SaveInspection(ctx, operator, models.NewInspection{Record: assess.Record{
				ID: assess.NewV7(at.UnixMilli(), [10]byte{n}), Store: "N1", Staff: "F-1", At: at, Kind: assess.WearCheck, Runner: runner, Note: "said so",
			}})
			if err != nil {
				t.Fatal(err)
			}
			return saved.ID
		}
		runnerOf := func(reading assess.UUID) string {
			in, err := db.Inspection(ctx, reading)
			if err != nil {
				t.Fatal(err)
			}
			return in.Runner
		}
		send(1, "R-1")
		if n, err := replayErasures(ctx, db, "one", "2026-11-01"); n != 0 || err != nil {
			t.Errorf("with nobody to erase: %d, %v", n, err)
		}
		if _, err := db.EraseRunner(ctx, operator, "R-1"); err != nil {
			t.Fatal(err)
		}
		late, others := send(2, "R-1"), send(3, "R-2")

		var mu sync.Mutex
		var erased []int
		var servers sync.WaitGroup
		for _, owner := range []string{"one", "two", "three"} {
			servers.Go(func() {
				n, err := replayErasures(ctx, db, owner, "2026-11-02")
				if err != nil {
					t.Error(err)
				}
				mu.Lock()
				defer mu.Unlock()
				erased = append(erased, n)
			})
		}
		servers.Wait()
		slices.Sort(erased)
		if !slices.Equal(erased, []int{0, 0, 1}) {
			t.Errorf("the servers erased %v, want one of them one", erased)
		}
		if got := runnerOf(late); got == "R-1" || got == "" {
			t.Errorf("the late reading is of %q", got)
		}
		if got := runnerOf(others); got != "R-2" {
			t.Errorf("the reading of another runner is of %q", got)
		}
		if in, err := db.Inspection(ctx, late); err != nil || in.Note != "" || !in.Erased {
			t.Errorf("the late reading says %q, erased %t (%v)", in.Note, in.Erased, err)
		}

		t.Run("not twice a day", func(t *testing.T) {
			again := send(4, "R-1")
			if n, err := replayErasures(ctx, db, "two", "2026-11-02"); n != 0 || err != nil {
				t.Errorf("%d, %v", n, err)
			}
			if got := runnerOf(again); got != "R-1" {
				t.Errorf("it is of %q", got)
			}
		})
		t.Run("and by the service itself on the next", func(t *testing.T) {
			files, err := photos.Open("file:"+t.TempDir(), photos.Access{})
			if err != nil {
				t.Fatal(err)
			}
			ended := make(chan struct{})
			go func() {
				defer close(ended)
				keepErased(t.Context(), db, files, slog.New(slog.DiscardHandler), func() time.Time { return time.Date(2026, 11, 3, 0, 0, 1, 0, time.UTC) })
			}()
			t.Cleanup(func() { <-ended }) // after the context of the subtest
			for {
				lines, _, err := db.Inspections(ctx, models.InspectionFilter{Scopes: models.Fleet, Runner: "R-1"}, models.Page{})
				if err != nil {
					t.Fatal(err)
				}
				if len(lines) == 0 {
					break
				}
			}
		})
	})
}
