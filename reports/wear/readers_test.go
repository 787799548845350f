package wear_test

import (
	"testing"

	"solewright/models"
	"solewright/reports/sim"
	"solewright/reports/wear"
)

// The planted store's people grade every zone harder: its page says that it looks
// like its readers, and says so of no store where nothing was planted.
func TestAStoreThatReadsHardLooksLikeItsReaders(t *testing.T) {
	for _, planted := range []bool{true, false} {
		s := settle(t, sim.Options{Plant: planted})
		store := s.sim.Stores[s.sim.Plants().Store].Code
		for i := range s.sim.Stores {
			code := s.sim.Stores[i].Code
			r, err := wear.HowRead(s.view, wear.Ask{Scopes: models.Fleet}, code)
			must(t, err)
			if want := planted && code == store; (r.Cause == wear.Readers) != want {
				t.Errorf("planted %v: %s is put down to %s", planted, code, r.Cause)
			}
		}
	}
}
