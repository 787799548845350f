package fleet_test

import (
	"context"
	"fmt"
	"iter"
	"slices"
	"testing"
	"time"
	_ "time/tzdata" // the zones of the stores, wherever the test runs

	"github.com/google/go-cmp/cmp"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/exchange"
	"solewright/models/retail"
	"solewright/reports/fleet"
	"solewright/reports/sim"
)

var office = models.Actor{Account: "office"}

// now is after everything that the simulated retailer recorded.
func now() time.Time { return time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC) }

func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// settle stores the places, people and models of a simulated retailer.
func settle(t testing.TB, db *models.DB, f *sim.Fleet) {
	t.Helper()
	ctx := t.Context()
	for _, r := range f.Regions {
		check(t, db.SaveRegion(ctx, office, r))
	}
	for _, s := range f.Stores {
		check(t, db.SaveStore(ctx, office, s))
	}
	for _, m := range f.Models {
		must(db.SaveShoeModel(ctx, office, m))(t)
	}
}

// records copies what a simulated retailer recorded.
func records(f *sim.Fleet) []assess.Record {
	all := make([]assess.Record, 0, f.Len())
	for r := range f.Inspections() {
		all = append(all, *r)
	}
	return all
}

func pointers(all []assess.Record) iter.Seq[*assess.Record] {
	return func(yield func(*assess.Record) bool) {
		for i := range all {
			if !yield(&all[i]) {
				return
			}
		}
	}
}

// importAll stores readings as an import does.
func importAll(t testing.TB, db *models.DB, all []assess.Record) {
	t.Helper()
	must(db.ImportInspections(t.Context(), office, exchange.Judged(t.Context(), db, exchange.Today(now()), pointers(all)), models.ImportOptions{}))(t)
}

// loaded is a simulated retailer's database and the copy of it.
func loaded(t testing.TB, db *models.DB, readings int) *fleet.Copy {
	t.Helper()
	f := sim.New(sim.Options{Seed: 7, Inspections: readings, Plant: true, Judge: true})
	settle(t, db, f)
	importAll(t, db, records(f))
	c := fleet.New(fleet.Options{Source: db.Feed(), Clock: now})
	check(t, c.Load(t.Context()))
	return c
}

// lines is what `solewright export pairs` shows.
func lines(t testing.TB, db *models.DB) []models.PairLine {
	t.Helper()
	var all []models.PairLine
	check(t, db.EachPairLine(context.Background(), models.Fleet, "", "", "", func(l *models.PairLine) error {
		all = append(all, *l)
		return nil
	}))
	return all
}

func word(list []string, v assess.Value) string {
	if !v.OK() {
		return ""
	}
	return list[v.Int()]
}

// wordOf is a line's word of a dimension.
func wordOf(l *models.PairLine, d fleet.Dim) string {
	switch d {
	case fleet.Model:
		if l.ModelID.IsZero() {
			return ""
		}
		return l.ModelID.String()
	case fleet.Category:
		return l.Category
	case fleet.Batch:
		return l.Batch
	case fleet.Gait:
		return word(assess.GaitWords, l.Gait)
	case fleet.Posture:
		return word(assess.GaitWords, l.Posture)
	case fleet.Strike:
		return word(assess.StrikeWords, l.Strike)
	case fleet.Surface:
		return word(assess.Surfaces, l.Surface)
	case fleet.UsedFor:
		return word(assess.UsedForWords, l.UsedFor)
	case fleet.Store:
		return l.Store
	case fleet.Month:
		return l.Month
	case fleet.Kind:
		return l.Kind.String()
	case fleet.HeelPattern:
		return l.Heel.String()
	case fleet.ForePattern:
		return l.Fore.String()
	case fleet.Side:
		return l.Side.String()
	case fleet.Verdict:
		return l.Verdict.String()
	case fleet.Reason:
		return l.Reason
	}
	panic(fmt.Sprint("export pairs has no ", d))
}

// exported are the dimensions that are columns of export pairs.
var exported = []fleet.Dim{
	fleet.Model, fleet.Category, fleet.Batch, fleet.Gait, fleet.Posture, fleet.Strike, fleet.Surface, fleet.UsedFor,
	fleet.Store, fleet.Month, fleet.Kind, fleet.HeelPattern, fleet.ForePattern, fleet.Side, fleet.Verdict, fleet.Reason,
}

// counts counts lines as View.Count counts pairs, by a key of the words.
func counts(lines []models.PairLine, dims ...fleet.Dim) map[string]int {
	m := map[string]int{}
	for i := range lines {
		by := make([]string, len(dims))
		for k, d := range dims {
			by[k] = wordOf(&lines[i], d)
		}
		m[fmt.Sprint(by)]++
	}
	return m
}

func asMap(cells []fleet.Cell) map[string]int {
	m := map[string]int{}
	for _, c := range cells {
		m[fmt.Sprint(c.By)] += c.N
	}
	return m
}

func fleetWide() fleet.Filter { return fleet.Filter{Scopes: models.Fleet} }

func TestCountsOfPairsAreThoseOfTheExport(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		v := loaded(t, db, 3000).View()
		all := lines(t, db)
		if v.Pairs != len(all) || v.Rows <= v.Pairs {
			t.Fatalf("%d pairs of %d readings, the export has %d pairs", v.Pairs, v.Rows, len(all))
		}
		for _, d := range exported {
			for _, other := range []fleet.Dim{fleet.Gait, fleet.Month} {
				if d == other {
					continue
				}
				got := must(v.Count(fleetWide(), d, other))(t)
				if diff := cmp.Diff(counts(all, d, other), asMap(got)); diff != "" {
					t.Errorf("by %s and %s (-export +copy):\n%s", d, other, diff)
				}
			}
		}
		t.Run("and under filters", func(t *testing.T) {
			model := wordOf(&all[0], fleet.Model)
			f := fleetWide()
			f.From, f.To = "2025-06", "2026-03"
			f.Only = []fleet.Only{{Dim: fleet.Gait, Words: []string{"neutral", "pronated", ""}}, {Dim: fleet.Verdict, Words: []string{"replace"}}}
			kept := slices.DeleteFunc(slices.Clone(all), func(l models.PairLine) bool {
				return l.Month < "2025-06" || l.Month > "2026-03" || l.Verdict != assess.ReplacePair ||
					!slices.Contains([]string{"neutral", "pronated", ""}, wordOf(&l, fleet.Gait))
			})
			if len(kept) < 50 {
				t.Fatalf("only %d pairs to compare", len(kept))
			}
			if diff := cmp.Diff(counts(kept, fleet.HeelPattern), asMap(must(v.Count(f, fleet.HeelPattern))(t))); diff != "" {
				t.Errorf("(-export +copy):\n%s", diff)
			}
			f.Only = []fleet.Only{{Dim: fleet.Model, Words: []string{model}}}
			f.Scopes = []retail.Scope{{Store: all[0].Store}, {Store: all[1].Store}}
			f.From, f.To = "", ""
			kept = slices.DeleteFunc(slices.Clone(all), func(l models.PairLine) bool {
				return wordOf(&l, fleet.Model) != model || l.Store != all[0].Store && l.Store != all[1].Store
			})
			if diff := cmp.Diff(counts(kept, fleet.Month), asMap(must(v.Count(f, fleet.Month))(t))); diff != "" {
				t.Errorf("(-export +copy):\n%s", diff)
			}
		})
		t.Run("and intervals of life", func(t *testing.T) {
			want := map[string]int{}
			for _, l := range all {
				if l.Lower.OK() || l.Upper.OK() {
					want[fmt.Sprint(wordOf(&l, fleet.Model), l.Lower.Int(), l.Upper)]++
				}
			}
			got := map[string]int{}
			for _, g := range must(v.Life(fleetWide(), fleet.Model))(t) {
				for _, s := range g.Spans {
					got[fmt.Sprint(g.By[0], s.Lower, s.Upper)] += s.N
				}
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(-export +copy):\n%s", diff)
			}
		})
	}, dbtest.Clock(now))
}
