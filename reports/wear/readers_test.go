package wear_test

import (
	"testing"

	"solewright/models"
	"solewright/reports/fleet/fleettest"
	"solewright/reports/sim"
	"solewright/reports/wear"
)

// The planted store's people grade every zone harder: its page says that it looks
// like its readers, and says so of no store where nothing was planted.
func TestAStoreThatReadsHardLooksLikeItsReaders(t *testing.T) {
	for _, planted := range []bool{true, false} {
		f := sim.New(sim.Options{Plant: planted})
		view, err := fleettest.Load(t.Context(), f)
		must(t, err)
		stand, err := wear.Standings(view, wear.Ask{Scopes: models.Fleet})
		must(t, err)
		store := f.Stores[f.Plants().Store].Code
		for i := range f.Stores {
			code := f.Stores[i].Code
			r, err := wear.HowRead(view, wear.Ask{Scopes: models.Fleet}, stand, code)
			must(t, err)
			if want := planted && code == store; (r.Cause == wear.Readers) != want {
				t.Errorf("planted %v: %s is put down to %s", planted, code, r.Cause)
			}
		}
	}
}
