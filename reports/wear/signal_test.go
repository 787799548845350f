package wear_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/reports/fleet"
	"solewright/reports/fleet/fleettest"
	"solewright/reports/sim"
	"solewright/reports/wear"
	"solewright/reports/wear/weartest"
)

// nullFleets are few, for time; deploy/prove.sh signals asks many more.
const nullFleets = 8

// A fleet with nothing planted raises no more signals than stated: at a q of 5 %
// one fleet in twenty raises one of a kind (Benjamini & Hochberg 1995, where every
// null hypothesis holds).
func TestAFleetWithNothingPlantedRaisesNoMoreThanStated(t *testing.T) {
	raised, err := weartest.Null(t.Context(), weartest.Fleets{N: nullFleets, First: 1})
	must(t, err)
	for _, r := range raised {
		if most := weartest.Most(nullFleets); r.False > most {
			t.Errorf("%s: %d of %d fleets raise a false signal, want no more than %d", r.Kind, r.False, nullFleets, most)
		}
	}
}

// The chart of a batch that fails early signals sooner than it states of doubled
// odds (Steiner et al. 2000): the planted one has some six times the odds.
func TestTheEarlyFailureChartSignalsWithinItsStatedDelay(t *testing.T) {
	d, err := weartest.Charts(t.Context(), weartest.Fleets{N: 2, First: 1})
	must(t, err)
	if d.Found != d.Fleets || d.Delay > d.Doubled {
		t.Errorf("%+v", d)
	}
	t.Logf("%+v", d)
}

func TestTheBoundIsThatOfTheBinomial(t *testing.T) {
	for _, tt := range []struct {
		fleets, most int
		source       string
	}{
		{8, 3, "[R] R 4.2.2 qbinom(0.001, 8, 0.05, lower.tail = FALSE)"},
		{100, 13, "[R] likewise of 100"},
		{200, 21, "[R] likewise of 200"},
	} {
		if got := weartest.Most(tt.fleets); got != tt.most {
			t.Errorf("of %d fleets %d, want %d: %s", tt.fleets, got, tt.most, tt.source)
		}
	}
}

// The planted problems stand first among the signals of their kind.
func TestThePlantedProblemsAreFound(t *testing.T) {
	f := sim.New(sim.Options{Plant: true})
	view, err := fleettest.Load(t.Context(), f)
	must(t, err)
	found, err := wear.Signals(view, wear.Ask{Scopes: models.Fleet})
	must(t, err)
	for _, kind := range []wear.Kind{wear.EarlyBatch, wear.StoreApart, wear.ModelWears} {
		at := slices.IndexFunc(found, func(g wear.Signal) bool { return g.Kind == kind })
		if at < 0 || !weartest.Is(f, &found[at]) {
			t.Errorf("%s: what was planted doesn't stand first: %+v", kind, found)
		}
	}
	if len(found) == 0 || found[0].Kind != wear.EarlyBatch || !strings.HasPrefix(found[0].Reason, "bond-") {
		t.Errorf("the first of all is no batch whose bond parts: %+v", found[:min(1, len(found))])
	}
	for i := range found {
		g := &found[i]
		cells, err := view.Count(g.Pairs(wear.Ask{Scopes: models.Fleet}).Filter())
		must(t, err)
		if len(cells) != 1 || cells[0].N != g.Hits {
			t.Errorf("%v stand behind %d hits of %+v", cells, g.Hits, g)
		}
		if g.Size < wear.MinPairs {
			t.Errorf("a signal of %d: %+v", g.Size, g)
		}
	}
}

// Whatever database the records lie in, the signals and what they are counted from
// are those of the records alone.
func TestSignalsAreThoseOfTheRecordsOnEveryDatabase(t *testing.T) {
	o := sim.Options{Inspections: 6000, Plant: true, Seed: 3}
	plain, err := fleettest.Load(t.Context(), sim.New(o))
	must(t, err)
	ask := wear.Ask{Scopes: models.Fleet}
	want, err := wear.Signals(plain, ask)
	must(t, err)
	if len(want) == 0 {
		t.Fatal("nothing stands out: there is nothing to compare")
	}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		view := settleIn(t, o, db).view
		for _, dims := range [][]fleet.Dim{
			{fleet.Model, fleet.Batch, fleet.Verdict},
			{fleet.Store, fleet.Month, fleet.Kind},
			{fleet.Gait, fleet.Strike, fleet.HeelPattern, fleet.ForePattern},
			{fleet.Posture, fleet.Surface, fleet.UsedFor},
			{fleet.Staff, fleet.KMSource, fleet.GaitBefore},
			{fleet.Reason, fleet.Side},
			{fleet.Code},
		} {
			for _, readings := range []bool{false, true} {
				f := fleet.Filter{Scopes: models.Fleet, Readings: readings}
				a, err := view.Count(f, dims...)
				must(t, err)
				b, err := plain.Count(f, dims...)
				must(t, err)
				if !reflect.DeepEqual(a, b) {
					t.Errorf("counted by %v, readings %t, the database has %d cells, the records %d, or others", dims, readings, len(a), len(b))
				}
			}
		}
		f := fleet.Filter{Scopes: models.Fleet}
		a, err := view.Life(f, fleet.Category)
		must(t, err)
		b, err := plain.Life(f, fleet.Category)
		must(t, err)
		if !reflect.DeepEqual(a, b) {
			t.Error("intervals of life differ")
		}
		got, err := wear.Signals(view, ask)
		must(t, err)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("the database has %+v, the records %+v", got, want)
		}
	})
}
