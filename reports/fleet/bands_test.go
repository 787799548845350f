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

func TestJoinedGroupsOfLivesAreThoseOfAllTheirPairs(t *testing.T) {
	v, err := fleettest.Load(t.Context(), sim.New(sim.Options{Inspections: 2000}))
	check(t, err)
	all := fleet.Filter{Scopes: models.Fleet}
	by, err := v.Life(all, fleet.Gait)
	check(t, err)
	if len(by) < 4 {
		t.Fatalf("pairs under %d gaits", len(by))
	}
	joined := by[1]
	joined.By = nil
	joined.Join(by[3])
	all.Only = []fleet.Only{{Dim: fleet.Gait, Words: []string{by[1].By[0], by[3].By[0]}}}
	want, err := v.Life(all)
	check(t, err)
	joined.By = want[0].By
	if !reflect.DeepEqual(joined, want[0]) {
		t.Errorf("joined: %+v\nasked: %+v", joined, want[0])
	}
	if again, err := v.Life(fleet.Filter{Scopes: models.Fleet}, fleet.Gait); err != nil || !reflect.DeepEqual(again, by) {
		t.Errorf("the groups that were joined have changed: %v", err)
	}
}
