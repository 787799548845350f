package wear_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"os/exec"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/exchange"
	"solewright/models/retail"
	"solewright/reports/fleet"
	"solewright/reports/sim"
	"solewright/reports/tally"
	"solewright/reports/wear"
)

var operator = models.Actor{Account: "test"}

// settled is an invented retailer in a database and in memory.
type settled struct {
	sim  *sim.Fleet
	db   *models.DB
	view *fleet.View
}

// settle stores an invented retailer.
func settle(t testing.TB, o sim.Options) settled {
	t.Helper()
	return settleIn(t, o, dbtest.Open(t))
}

// settleIn stores one in a database.
func settleIn(t testing.TB, o sim.Options, db *models.DB) settled {
	t.Helper()
	ctx := t.Context()
	o.Judge = true
	f := sim.New(o)
	names := map[string]string{}
	for _, r := range f.Regions {
		names[r.Code] = r.Name
	}
	var stores []retail.StoreLine
	for _, s := range f.Stores {
		stores = append(stores, retail.StoreLine{Store: s, RegionName: names[s.Region]})
	}
	feed(t, db, "stores", retail.StoreLines.CSV, stores)
	feed(t, db, "shoe-models", retail.ShoeModels.CSV, f.Models)
	records := func(yield func(*assess.Record) bool) {
		for r := range f.Inspections() {
			if !yield(r) {
				return
			}
		}
	}
	_, err := db.ImportInspections(ctx, operator, exchange.Judged(ctx, db, f.End().Format("2006-01-02"), iter.Seq[*assess.Record](records)), models.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	c := fleet.New(fleet.Options{Source: db.Feed()})
	if err := c.Load(ctx); err != nil {
		t.Fatal(err)
	}
	return settled{f, db, c.View()}
}

func feed[T any](t testing.TB, db *models.DB, kind string, table *assess.Table[T], rows []T) {
	t.Helper()
	file := table.AppendHeader(nil)
	for i := range rows {
		file = table.Append(file, &rows[i])
	}
	sum, err := exchange.Import(t.Context(), db, operator, kind, bytes.NewReader(file), exchange.Options{})
	if err != nil || len(sum.Bad) > 0 {
		t.Fatal(kind, err, sum.Bad)
	}
}

// pairsCSV is what export pairs writes.
func (s settled) pairsCSV(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	err := exchange.Export(t.Context(), s.db, "pairs", exchange.Asked{Scopes: models.Fleet}, func(row []byte) error {
		b.Write(row)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// rowsOf leaves the rows that meet conditions, as a person would in a table.
func rowsOf(t testing.TB, file []byte, only map[string]string) (header []string, rows [][]string) {
	t.Helper()
	all, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	header = all[0]
	for _, row := range all[1:] {
		keep := true
		for column, word := range only {
			keep = keep && row[slices.Index(header, column)] == word
		}
		if keep {
			rows = append(rows, row)
		}
	}
	return header, rows
}

// command runs solewright tally on a file, as its own process does.
func command(t testing.TB, file []byte, args ...string) any {
	t.Helper()
	var out bytes.Buffer
	if err := tally.Run(append(args, "-"), tally.Console{Stdin: bytes.NewReader(file), Stdout: &out, Stderr: &out}); err != nil {
		t.Fatal(args, err)
	}
	return object(t, out.Bytes())
}

// object decodes an answer, without the places of dropped rows, which are those
// of another file; groups go by what they are of, not by which came first.
func object(t testing.TB, text []byte) any {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber() // to the last digit
	var o map[string]any
	if err := d.Decode(&o); err != nil {
		t.Fatal(err)
	}
	delete(o["dropped"].(map[string]any), "first")
	if groups, ok := o["groups"].([]any); ok {
		if score, ok := o["score"].(map[string]any); ok { // its u goes by group
			for i, u := range score["u"].([]any) {
				groups[i].(map[string]any)["u"] = u
			}
			delete(score, "u")
		}
		slices.SortFunc(groups, func(a, b any) int { return strings.Compare(groupKey(a), groupKey(b)) })
	}
	return o
}

func groupKey(g any) string {
	m := g.(map[string]any)
	if by, ok := m["by"]; ok {
		return fmt.Sprint(by)
	}
	return fmt.Sprint(m)
}

func csvOf(header []string, rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write(header)
	w.WriteAll(rows)
	return b.Bytes()
}

func parameters(p map[string]string) func(string) string {
	return func(name string) string { return p[name] }
}

// Every answer is what solewright tally prints for export pairs, to the last
// digit.
func TestAnswersAreThoseOfTally(t *testing.T) {
	s := settle(t, sim.Options{Inspections: 4000, Plant: true, Seed: 3})
	file := s.pairsCSV(t)
	model := s.sim.Models[s.sim.Plants().Model]
	label := strings.Join(strings.Fields(model.Brand+" "+model.Model+" "+model.Version), " ")
	ask := func(t *testing.T, p map[string]string) wear.Ask {
		a, err := wear.Read(parameters(p), s.view, models.Fleet)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	same := func(t *testing.T, got wear.Answer, want any) {
		t.Helper()
		g := object(t, got.RawMessage)
		if !reflect.DeepEqual(g, want) {
			t.Errorf("the answer differs from tally's: %.20q", differences("", g, want))
		}
	}
	t.Run("shares of patterns, by category and gait", func(t *testing.T) {
		got, err := wear.Shares(s.view, ask(t, map[string]string{"part": "forefoot", "by": "category,gait"}), "")
		must(t, err)
		same(t, got, command(t, file, "shares", "--of", "pattern_fore", "--by", "category,gait"))
	})
	t.Run("shares of verdicts of one model, by kind", func(t *testing.T) {
		got, err := wear.Shares(s.view, ask(t, map[string]string{"model": label, "by": "kind"}), "verdict")
		must(t, err)
		header, rows := rowsOf(t, file, map[string]string{"model": label})
		same(t, got, command(t, csvOf(header, rows), "shares", "--of", "verdict", "--by", "kind"))
	})
	t.Run("association of pattern and gait", func(t *testing.T) {
		got, err := wear.Association(s.view, ask(t, map[string]string{"part": "heel"}), fleet.Gait)
		must(t, err)
		same(t, got, command(t, file, "association", "--rows", "pattern_heel", "--cols", "gait"))
	})
	t.Run("life by gait", func(t *testing.T) {
		got, err := wear.Life(s.view, ask(t, map[string]string{"by": "gait"}), 0)
		must(t, err)
		same(t, got, command(t, file, "life", "--lower", "lower", "--upper", "upper", "--by", "gait"))
	})
	t.Run("life under one gait, by category", func(t *testing.T) {
		got, err := wear.Life(s.view, ask(t, map[string]string{"gait": "neutral", "by": "category"}), 0)
		must(t, err)
		header, rows := rowsOf(t, file, map[string]string{"gait": "neutral"})
		same(t, got, command(t, csvOf(header, rows), "life", "--lower", "lower", "--upper", "upper", "--by", "category"))
	})
	header, rows := rowsOf(t, file, nil)
	at := func(name string) int { return slices.Index(header, name) }
	// hits adds pairs up, as a person would before the statistics of counts.
	hits := func(column string) (out [][]string) {
		seen := map[string][2]int{}
		for _, row := range rows {
			c := seen[row[at(column)]]
			switch row[at("verdict")] {
			case "replace", "retire":
				c[0]++
				c[1]++
			case "keep", "recheck":
				c[1]++
			}
			seen[row[at(column)]] = c
		}
		for i, key := range slices.Sorted(maps.Keys(seen)) {
			out = append(out, []string{key, strconv.Itoa(i), strconv.Itoa(seen[key][0]), strconv.Itoa(seen[key][1])})
		}
		return out
	}
	t.Run("trend of pairs found worn", func(t *testing.T) {
		got, err := wear.Trend(s.view, ask(t, nil))
		must(t, err)
		months := csvOf([]string{"month", "score", "hits", "size"}, hits("month"))
		same(t, got.Chart, command(t, months, "chart", "--kind", "p", "--order", "month", "--hits", "hits", "--size", "size"))
		same(t, got.Trend, command(t, months, "trend", "--hits", "hits", "--size", "size", "--score", "score"))
	})
	t.Run("funnel of stores", func(t *testing.T) {
		got, err := wear.Stores(s.view, ask(t, nil))
		must(t, err)
		stores := csvOf([]string{"store", "score", "hits", "size"}, hits("store"))
		same(t, got, command(t, stores, "funnel", "--hits", "hits", "--size", "size", "--by", "store"))
	})
	t.Run("nobody in reach has no pairs", func(t *testing.T) {
		got, err := wear.Shares(s.view, wear.Ask{}, "")
		must(t, err)
		if o := object(t, got.RawMessage).(map[string]any); fmt.Sprint(o["n"]) != "0" || o["why"] == nil {
			t.Errorf("the answer is %v", o)
		}
	})
}

func TestReadNamesEveryFault(t *testing.T) {
	s := settle(t, sim.Options{Inspections: 50})
	for _, tt := range []struct {
		name string
		in   map[string]string
		at   []string
	}{
		{"a part and a pattern that there aren't", map[string]string{"part": "toe", "pattern": "odd"}, []string{"part", "pattern"}},
		{"a split that there isn't", map[string]string{"by": "gait,colour"}, []string{"by"}},
		{"too many splits", map[string]string{"by": "gait,store,model"}, []string{"by"}},
		{"a day that isn't one", map[string]string{"from": "spring", "to": "2026-13"}, []string{"from", "to"}},
		{"distances that aren't any", map[string]string{"km_from": "far", "km_to": "-3"}, []string{"km_from", "km_to"}},
		{"a word of no closed list", map[string]string{"gait": "wobbly", "kind": "gift"}, []string{"gait", "kind"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := wear.Read(parameters(tt.in), s.view, models.Fleet)
			var at []string
			if all, ok := err.(assess.FieldErrors); ok {
				for _, e := range all {
					at = append(at, e.Field)
				}
			}
			slices.Sort(at)
			if !slices.Equal(at, tt.at) {
				t.Errorf("faults at %v, want %v: %v", at, tt.at, err)
			}
		})
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	for path := range strings.Lines(string(out)) {
		switch path = strings.TrimSpace(path); path {
		case "net/http", "database/sql", "gorm.io/gorm", "solewright/models":
			t.Errorf("wear depends on %s: it asks the fleet in memory, and nothing else", path)
		}
	}
}

// differences lists where two objects part, by their path.
func differences(path string, a, b any) []string {
	switch x := a.(type) {
	case map[string]any:
		y, _ := b.(map[string]any)
		var all []string
		for _, k := range slices.Sorted(maps.Keys(x)) {
			all = append(all, differences(path+"/"+k, x[k], y[k])...)
		}
		return all
	case []any:
		y, _ := b.([]any)
		if len(x) != len(y) {
			return []string{fmt.Sprintf("%s: %d items, want %d", path, len(x), len(y))}
		}
		var all []string
		for i := range x {
			all = append(all, differences(path+"/"+strconv.Itoa(i), x[i], y[i])...)
		}
		return all
	}
	if !reflect.DeepEqual(a, b) {
		return []string{fmt.Sprintf("%s: %v, want %v", path, a, b)}
	}
	return nil
}
