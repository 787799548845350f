package fleet_test

import (
	"reflect"
	"testing"

	"solewright/models"
	"solewright/reports/fleet"
	"solewright/reports/fleet/fleettest"
	"solewright/reports/sim"
)

func TestBandsAreLooksTakenTogether(t *testing.T) {
	v, err := fleettest.Load(t.Context(), sim.New(sim.Options{Inspections: 2000}))
	check(t, err)
	f := fleet.Filter{Scopes: models.Fleet, Readings: true}
	for _, width := range []int{1, 50, 250, 1 << 20} {
		want, err := v.Looks(f, fleet.Kind)
		check(t, err)
		for g := range want {
			var bands []fleet.Look
			for _, l := range want[g].Looks {
				from := l.KM - l.KM%width
				if len(bands) == 0 || bands[len(bands)-1].KM != from {
					bands = append(bands, fleet.Look{KM: from})
				}
				b := &bands[len(bands)-1]
				b.N, b.Sound, b.Worn = b.N+l.N, b.Sound+l.Sound, b.Worn+l.Worn
			}
			want[g].Looks = bands
		}
		got, err := v.Bands(f, width, fleet.Kind)
		check(t, err)
		if len(got) < 2 || !reflect.DeepEqual(got, want) {
			t.Errorf("of %d km: %d groups, or others than looks have", width, len(got))
		}
	}
	if _, err := v.Bands(f, 0); err == nil {
		t.Error("bands of no width are taken")
	}
}
