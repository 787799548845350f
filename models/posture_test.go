package models_test

import (
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// Posture bands go by the day: a set that was published holds from its first
// day on, and what held before is there as it was.
func TestPostureBandsHoldFromTheirDay(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		first, err := db.PostureBandsOn(t.Context(), "2026-03-14")
		must(t, err)
		same(t, *first, *assess.CurrentPostureBands())
		next := assess.PostureBands{Version: 9, Low: [5]int{-12, -5, 0, 7, 10}, Source: "invented"}
		n, err := db.AddPostureBands(t.Context(), office, "2026-04-01", next, "trial")
		must(t, err)
		next.Version = 2
		for day, want := range map[string]assess.PostureBands{"2026-03-31": *first, "2026-04-01": next, "2027-01-01": next} {
			got, err := db.PostureBandsOn(t.Context(), day)
			must(t, err)
			same(t, *got, want)
		}
		if n != 2 {
			t.Errorf("the set has number %d, want 2", n)
		}
		_, err = db.PostureBandsOn(t.Context(), "2025-12-31")
		wantErr(t, err, models.ErrNotFound)
		next.Low[2] = -5
		_, err = db.AddPostureBands(t.Context(), office, "2026-05-01", next, "two that begin alike")
		wantField(t, err, "low-2")
	})
}
