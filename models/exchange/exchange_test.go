package exchange_test

import (
	"bytes"
	"errors"
	"iter"
	"slices"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/exchange"
	"solewright/models/retail"
	"solewright/reports/sim"
)

// office is who imports in these tests.
var office = models.Actor{Account: "O-1"}

// today is the day whose rules judge a reading that names none.
const today = "2026-11-25"

// kinds are all that can be imported, each after what it names.
var kinds = []string{"stores", "staff", "shoe-models", "runners", "fittings", "sales", "events", "inspections"}

// file writes a table of some rows.
func file[T any](table *assess.Table[T], rows iter.Seq[*T]) []byte {
	text := table.AppendHeader(nil)
	for v := range rows {
		text = table.Append(text, v)
	}
	return text
}

// each yields pointers to the items of a list.
func each[T any](all []T) iter.Seq[*T] {
	return func(yield func(*T) bool) {
		for i := range all {
			if !yield(&all[i]) {
				return
			}
		}
	}
}

// invented returns the files of a small invented retailer, by kind.
func invented() map[string][]byte {
	fleet := sim.New(sim.Options{Seed: 5, Inspections: 150, Stores: 12, Judge: true})
	stores := func(yield func(*retail.StoreLine) bool) {
		for _, s := range fleet.Stores {
			if !yield(&retail.StoreLine{Store: s, RegionName: "Region " + s.Region}) {
				return
			}
		}
	}
	sales := func(yield func(*retail.Sale) bool) {
		for s := range fleet.Sales() {
			if !yield(&s) {
				return
			}
		}
	}
	inspections := assess.AppendCSVHeader(nil)
	for r := range fleet.Inspections() {
		inspections = assess.AppendCSV(inspections, r)
	}
	return map[string][]byte{
		"stores":      file(retail.StoreLines.CSV, stores),
		"staff":       file(retail.StaffList.CSV, each(fleet.Staff)),
		"shoe-models": file(retail.ShoeModels.CSV, each(fleet.Models)),
		"runners":     file(retail.Runners.CSV, fleet.Runners()),
		"fittings":    file(retail.Fittings.CSV, fleet.Fittings()),
		"sales":       file(retail.Sales.CSV, sales),
		"events":      file(retail.Events.CSV, each(fleet.Events)),
		"inspections": inspections,
	}
}

func importOf(t *testing.T, db *models.DB, kind string, text []byte, o exchange.Options) (exchange.Summary, error) {
	t.Helper()
	o.Today = today
	return exchange.Import(t.Context(), db, office, kind, bytes.NewReader(text), o)
}

// mustImport imports a file whose rows are all good.
func mustImport(t *testing.T, db *models.DB, kind string, text []byte) exchange.Summary {
	t.Helper()
	sum, err := importOf(t, db, kind, text, exchange.Options{})
	for _, bad := range sum.Bad {
		t.Errorf("%s, line %d: %v", kind, bad.Line, bad.Err)
	}
	if err != nil {
		t.Fatalf("%s: %v", kind, err)
	}
	return sum
}

func exportOf(t *testing.T, db *models.DB, kind string, ask exchange.Asked) string {
	t.Helper()
	var out bytes.Buffer
	if err := exchange.Export(t.Context(), db, kind, ask, func(row []byte) error {
		out.Write(row)
		return nil
	}); err != nil {
		t.Fatalf("%s: %v", kind, err)
	}
	return out.String()
}

var all = exchange.Asked{Scopes: models.Fleet}

// rowsOf returns how many rows a file has, whose values hold no line breaks.
func rowsOf(text string) int { return strings.Count(text, "\r\n") - 1 }

// settled fills a database with the files of a retailer.
func settled(t *testing.T, db *models.DB, files map[string][]byte) {
	t.Helper()
	for _, kind := range kinds {
		mustImport(t, db, kind, files[kind])
	}
}

func TestEveryKindComesBackTheSame(t *testing.T) {
	files := invented()
	for _, kind := range exchange.ImportKinds {
		if !slices.Contains(kinds, kind) || rowsOf(string(files[kind])) < 3 {
			t.Errorf("there are %d rows of %s to try", rowsOf(string(files[kind])), kind)
		}
	}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		for _, kind := range kinds {
			sum := mustImport(t, db, kind, files[kind])
			if n := rowsOf(string(files[kind])); sum.Read != n || sum.Stored != n || sum.Known != 0 {
				t.Errorf("%s: %d rows read and %d stored of %d", kind, sum.Read, sum.Stored, n)
			}
		}
		once := map[string]string{}
		for _, kind := range exchange.ExportKinds {
			once[kind] = exportOf(t, db, kind, all)
			if n := rowsOf(once[kind]); kind != "pairs" && n != rowsOf(string(files[kind])) || n == 0 {
				t.Errorf("%s: %d rows exported of %d", kind, n, rowsOf(string(files[kind])))
			}
		}
		t.Run("from another database, every byte", func(t *testing.T) {
			second := dbtest.OpenURL(t, dbtest.MigratedURL(t, db.Dialect()))
			for _, kind := range kinds {
				mustImport(t, second, kind, []byte(once[kind]))
			}
			for _, kind := range exchange.ExportKinds {
				if kind == "pairs" {
					continue // its runner keys are each database's own
				}
				if got := exportOf(t, second, kind, all); got != once[kind] {
					t.Errorf("%s came back otherwise", kind)
				}
			}
		})
		t.Run("the same file twice changes nothing", func(t *testing.T) {
			before := changesIn(t, db)
			for _, kind := range kinds {
				sum := mustImport(t, db, kind, files[kind])
				if n := rowsOf(string(files[kind])); sum.Known != n || sum.Stored != 0 {
					t.Errorf("%s: %d of %d rows are known", kind, sum.Known, n)
				}
				if got := exportOf(t, db, kind, all); got != once[kind] {
					t.Errorf("%s changed", kind)
				}
			}
			if after := changesIn(t, db); after.Number != before.Number {
				t.Errorf("the audit trail grew by %+v", after)
			}
		})
	})
}

// changesIn returns the last line of the audit trail that isn't the one every
// import leaves.
func changesIn(t *testing.T, db *models.DB) models.AuditEntry {
	t.Helper()
	lines, _, err := db.Audit(t.Context(), models.AuditFilter{}, models.Page{})
	if err != nil {
		t.Fatal(err)
	}
	at := slices.IndexFunc(lines, func(e models.AuditEntry) bool { return e.Action != "import" })
	if at < 0 {
		t.Fatal("the trail holds nothing but imports")
	}
	return lines[at]
}

func TestADryRunStoresNothing(t *testing.T) {
	files := invented()
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		for _, kind := range kinds {
			rows := 0
			sum, err := importOf(t, db, kind, files[kind], exchange.Options{DryRun: true, Progress: func(n int) { rows = n }})
			n := rowsOf(string(files[kind]))
			if err != nil || len(sum.Bad) > 0 || sum.Read != n || sum.Stored != n || rows != n {
				t.Errorf("%s: %+v, %v, %d rows of progress, want %d", kind, sum, err, rows, n)
			}
			if got := rowsOf(exportOf(t, db, kind, all)); got != 0 {
				t.Errorf("%s: a dry run stored %d rows", kind, got)
			}
			mustImport(t, db, kind, files[kind]) // for the kinds after it
		}
	})
}

// spoilt is a row that is to be refused, made of a good one.
type spoilt struct{ kind, column, value string }

var spoils = []spoilt{
	{"stores", "zone", "Europe/Nowhere"},
	{"staff", "role", "king"},
	{"shoe-models", "category", "slippers"},
	{"runners", "unit", "leagues"},
	{"fittings", "gait", "sideways"},
	{"sales", "month", "2026-13"},
	{"events", "from", "31-10-2026"},
	{"inspections", "l_lining", "velvet"},
}

// spoil sets a column of the n-th row, from 0, of a file without quoted values.
func spoil(t *testing.T, text []byte, s spoilt, n int) ([]byte, string) {
	t.Helper()
	lines := strings.SplitAfter(string(text), "\r\n")
	header := strings.Split(strings.TrimSuffix(lines[0], "\r\n"), ",")
	cells := strings.Split(strings.TrimSuffix(lines[n+1], "\r\n"), ",")
	at := slices.Index(header, s.column)
	if at < 0 || len(cells) != len(header) || cells[at] == s.value {
		t.Fatalf("%s: %s of row %d can't be spoilt: %q", s.kind, s.column, n, lines[n+1])
	}
	cells[at] = s.value
	lines[n+1] = strings.Join(cells, ",") + "\r\n"
	return []byte(strings.Join(lines, "")), lines[n+1]
}

// plainRow returns the place of a row of a file that has no quoted values, and
// is not its first.
func plainRow(t *testing.T, text []byte) int {
	t.Helper()
	for i, line := range strings.Split(string(text), "\r\n") {
		if i > 1 && line != "" && !strings.Contains(line, `"`) {
			return i - 1
		}
	}
	t.Fatal("every row has a quoted value")
	return 0
}

func TestABadRowIsNamedAndStoresNothingUnlessTheGoodAreKept(t *testing.T) {
	files := invented()
	for _, kind := range exchange.ImportKinds {
		if !slices.ContainsFunc(spoils, func(s spoilt) bool { return s.kind == kind }) {
			t.Errorf("no bad row of %s is tried", kind)
		}
	}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		for _, s := range spoils {
			t.Run(s.kind, func(t *testing.T) {
				place := plainRow(t, files[s.kind])
				text, row := spoil(t, files[s.kind], s, place)
				n := rowsOf(string(text))
				sum, err := importOf(t, db, s.kind, text, exchange.Options{})
				if !errors.Is(err, exchange.ErrRefused) {
					t.Fatalf("got %v, want ErrRefused", err)
				}
				if len(sum.Bad) != 1 || sum.Bad[0].Row != place || sum.Bad[0].Line != place+2 || sum.Read != n {
					t.Fatalf("%+v, want row %d on line %d of %d", sum, place, place+2, n)
				}
				if says := sum.Bad[0].Err.Error(); !strings.Contains(says, s.column) || !strings.Contains(says, s.value) {
					t.Errorf("%q names no %s and %s", says, s.column, s.value)
				}
				if got := rowsOf(exportOf(t, db, s.kind, all)); got != 0 {
					t.Errorf("%d rows were stored", got)
				}

				var rejected bytes.Buffer
				if err := exchange.Rejected(s.kind, bytes.NewReader(text), sum.Bad, &rejected); err != nil {
					t.Fatal(err)
				}
				header, _, _ := strings.Cut(string(text), "\r\n")
				if got := rejected.String(); got != header+"\r\n"+row {
					t.Errorf("rejected:\n%s\nwant the header and\n%s", got, row)
				}

				sum, err = importOf(t, db, s.kind, text, exchange.Options{KeepGood: true})
				if err != nil || sum.Stored != n-1 || len(sum.Bad) != 1 {
					t.Errorf("with the good kept: %+v, %v, want %d stored", sum, err, n-1)
				}
				if got := rowsOf(exportOf(t, db, s.kind, all)); got != n-1 {
					t.Errorf("%d rows are there, want %d", got, n-1)
				}
				mustImport(t, db, s.kind, files[s.kind]) // for the kinds after it
			})
		}
	})
}

// What only the database can refuse is named by its row too.
func TestWhatNamesNothingStoredIsRefused(t *testing.T) {
	files := invented()
	for _, row := range []struct {
		name, kind string
		file       string
		column     string
	}{
		{"an event of no store", "events", "store,from,to,word\r\nZZ9,2026-01-01,2026-01-02,offer\r\n", "store"},
		{"a sale of no store", "sales", "store,model,batch,month,pairs\r\nZZ9,017f22e2-79b0-7cc3-98c4-dc0c0c07398f,,2026-01,3\r\n", "store"},
		{"a reading at no store", "inspections", "inspection_id,store,staff,at,kind\r\n017f22e2-79b0-7cc3-98c4-dc0c0c07398f,ZZ9,E1-01,2026-01-02T10:00:00Z,check\r\n", "store"},
		{"a reading under no rules", "inspections", "inspection_id,store,staff,at,kind,rules\r\n017f22e2-79b0-7cc3-98c4-dc0c0c07398f,E1,E1-01,2026-01-02T10:00:00Z,check,99\r\n", "rules"},
		{"a reading without an id and without a pair", "inspections", "store,staff,at,kind\r\nE1,E1-01,2026-01-02T10:00:00Z,check\r\n", "pair_ref"},
	} {
		t.Run(row.name, func(t *testing.T) {
			dbtest.Each(t, func(t *testing.T, db *models.DB) {
				mustImport(t, db, "stores", files["stores"])
				sum, err := importOf(t, db, row.kind, []byte(row.file), exchange.Options{})
				if !errors.Is(err, exchange.ErrRefused) || len(sum.Bad) != 1 || sum.Bad[0].Line != 2 || !strings.Contains(sum.Bad[0].Err.Error(), row.column) {
					t.Errorf("%+v, %v: want line 2 refused for its %s", sum, err, row.column)
				}
			})
		})
	}
}

// A blind reading by who read the pair openly is refused, whichever stands first
// in the file, beside what else is wrong with it.
func TestABlindReadingByWhoKnewThePairIsNamedByItsLine(t *testing.T) {
	const text = "inspection_id,pair_ref,store,staff,at,kind\r\n" +
		"017f22e2-79b0-7cc3-98c4-dc0c0c073981,7K3M9QTDS,E1,E1-01,2026-05-31T12:00:00Z,blind\r\n" +
		"017f22e2-79b0-7cc3-98c4-dc0c0c073982,7K3M9QTDS,E1,E1-02,2026-05-31T12:00:00Z,blind\r\n" +
		"017f22e2-79b0-7cc3-98c4-dc0c0c073983,7K3M9QTDS,E1,E1-01,2026-05-31T11:00:00Z,check\r\n" +
		"017f22e2-79b0-7cc3-98c4-dc0c0c073984,7K3M9QTDS,E1,E1-01,2026-05-31T13:00:00Z,slippers\r\n"
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		mustImport(t, db, "stores", invented()["stores"])
		sum, err := importOf(t, db, "inspections", []byte(text), exchange.Options{})
		if !errors.Is(err, exchange.ErrRefused) || len(sum.Bad) != 2 {
			t.Fatalf("%+v, %v, want two lines refused", sum, err)
		}
		for i, want := range []struct {
			line          int
			column, value string
		}{{2, "staff", "E1-01"}, {5, "kind", "slippers"}} {
			bad := sum.Bad[i]
			if says := bad.Err.Error(); bad.Line != want.line || !strings.Contains(says, want.column) || !strings.Contains(says, want.value) {
				t.Errorf("line %d: %q, want line %d, %s and %s", bad.Line, says, want.line, want.column, want.value)
			}
		}
		if n := rowsOf(exportOf(t, db, "inspections", all)); n != 0 {
			t.Errorf("%d readings are stored", n)
		}
		if sum, err := importOf(t, db, "inspections", []byte(text), exchange.Options{KeepGood: true}); err != nil || sum.Stored != 2 || len(sum.Bad) != 2 {
			t.Errorf("with the good kept: %+v, %v", sum, err)
		}
		if n := rowsOf(exportOf(t, db, "inspections", all)); n != 2 {
			t.Errorf("%d readings are stored, want 2", n)
		}
	})
}

// A sum of the Foot Posture Index in a file is banded by what was published for
// the reading's day, in the store's calendar.
func TestASumOfPostureIsBandedByItsDay(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		mustImport(t, db, "stores", invented()["stores"])
		// House values, so that a sum of 6 stands in another band than in set 1.
		bands := assess.PostureBands{Low: [5]int{-12, -4, 0, 7, 10}, Source: "house values"}
		if _, err := db.AddPostureBands(t.Context(), office, "2026-06-01", bands, "of our own stores"); err != nil {
			t.Fatal(err)
		}
		const text = "pair_ref,store,staff,at,kind,l_posture,r_posture\r\n" +
			"7K3M9QTDS,E1,E1-01,2026-05-31T12:00:00Z,check,6,pronated\r\n" +
			"7K3M9QTDS,E1,E1-01,2026-06-01T12:00:00Z,check,6,7\r\n" +
			"7K3M9QTDS,E1,E1-01,2025-12-31T12:00:00Z,check,6,\r\n" // before the first set
		first := mustImport(t, db, "inspections", []byte(text))
		if again := mustImport(t, db, "inspections", []byte(text)); first.Stored != 3 || again.Stored != 0 || again.Known != 3 {
			t.Errorf("stored %d, and %d of the same file again", first.Stored, again.Stored)
		}
		got := map[string][2]string{}
		err := db.EachInspection(t.Context(), models.InspectionFilter{Scopes: models.Fleet}, func(in *models.Inspection) error {
			var said [2]string
			for f, v := range in.Posture {
				if v.OK() {
					said[f] = assess.GaitWords[v.Int()]
				}
			}
			got[in.Day] = said
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for day, want := range map[string][2]string{"2026-05-31": {"pronated", "pronated"}, "2026-06-01": {"neutral", "pronated"}, "2025-12-31": {"pronated", ""}} {
			if got[day] != want {
				t.Errorf("on %s the bands are %q, want %q", day, got[day], want)
			}
		}
	})
}

func TestAFileThatIsNoneOfTheKindIsRefusedWhole(t *testing.T) {
	db := dbtest.Open(t)
	for _, kind := range exchange.ImportKinds {
		for _, row := range []struct{ name, file string }{
			{"an empty file", ""},
			{"another header", "colour,taste\r\nred,sweet\r\n"},
		} {
			t.Run(kind+" from "+row.name, func(t *testing.T) {
				sum, err := importOf(t, db, kind, []byte(row.file), exchange.Options{KeepGood: true})
				if err == nil || sum.Stored > 0 {
					t.Errorf("%+v, %v", sum, err)
				}
			})
		}
	}
}

// column returns the values of a column of a file without quoted values in it.
func column(t *testing.T, text, name string) []string {
	t.Helper()
	lines := strings.Split(strings.TrimSuffix(text, "\r\n"), "\r\n")
	at := slices.Index(strings.Split(lines[0], ","), name)
	if at < 0 {
		t.Fatalf("no column %s", name)
	}
	var values []string
	for _, line := range lines[1:] {
		values = append(values, strings.Split(line, ",")[at])
	}
	return values
}

func TestAnExportHoldsWhatIsAskedForAndInScope(t *testing.T) {
	files := invented()
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		settled(t, db, files)
		for _, row := range []struct {
			name, kind string
			ask        exchange.Asked
			keeps      func(store, day string) bool
		}{
			{"readings of a store", "inspections", exchange.Asked{Scopes: models.Fleet, Store: "E1"}, func(store, _ string) bool { return store == "E1" }},
			{"readings of a region's scope", "inspections", exchange.Asked{Scopes: []retail.Scope{{Region: "N"}}}, func(store, _ string) bool { return store[0] == 'N' }},
			{"readings of some days", "inspections", exchange.Asked{Scopes: models.Fleet, From: "2025-03-01", To: "2025-12-31"}, func(_, day string) bool { return day >= "2025-03-01" && day <= "2025-12-31" }},
			{"fittings of a store and some days", "fittings", exchange.Asked{Scopes: models.Fleet, Store: "N1", From: "2025-03-01"}, func(store, day string) bool { return store == "N1" && day >= "2025-03-01" }},
			{"nothing without scopes", "inspections", exchange.Asked{}, func(_, _ string) bool { return false }},
		} {
			t.Run(row.name, func(t *testing.T) {
				text := exportOf(t, db, row.kind, all)
				stores, days := column(t, text, "store"), column(t, text, "at")
				want := 0
				for i := range stores {
					// Opening hours lie within one day of UTC, which is the store's.
					if row.keeps(stores[i], days[i][:len("2026-10-31")]) {
						want++
					}
				}
				got := rowsOf(exportOf(t, db, row.kind, row.ask))
				if got != want || want == len(stores) || want == 0 && len(row.ask.Scopes) > 0 {
					t.Errorf("%d rows of %d, want %d", got, len(stores), want)
				}
			})
		}
	})
}

// A write that fails ends an export with its error.
func TestAnExportEndsWithTheErrorOfItsReader(t *testing.T) {
	db := dbtest.Open(t)
	settled(t, db, invented())
	gone := errors.New("the reader is gone")
	for _, kind := range exchange.ExportKinds {
		rows := 0
		err := exchange.Export(t.Context(), db, kind, all, func([]byte) error {
			if rows++; rows == 2 {
				return gone
			}
			return nil
		})
		if !errors.Is(err, gone) || rows != 2 {
			t.Errorf("%s: %v after %d rows", kind, err, rows)
		}
	}
}

// A fitter who types in a shoe may know its brand alone, or what is printed on it.
func TestATypedInShoeOfOneWordComesBack(t *testing.T) {
	files := invented()
	readings := []byte("pair_ref,store,staff,at,kind,brand,model\r\n")
	for n, words := range []string{"Ondrell,", ",Fenline", "Ondrell,Fenline"} {
		readings = append(readings, assess.NewPairRef([5]byte{byte(n)})+",E1,E1-01,2026-10-05T11:00:00Z,check,"+words+"\r\n"...)
	}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		mustImport(t, db, "stores", files["stores"])
		mustImport(t, db, "inspections", readings)
		second := dbtest.OpenURL(t, dbtest.MigratedURL(t, db.Dialect()))
		for _, kind := range []string{"stores", "shoe-models", "inspections"} {
			once := exportOf(t, db, kind, all)
			mustImport(t, second, kind, []byte(once))
			if got := exportOf(t, second, kind, all); got != once || kind != "stores" && rowsOf(once) != 3 {
				t.Errorf("%s came back otherwise: %s, was %s", kind, got, once)
			}
		}
	})
	for text, field := range map[string]string{
		"brand,model\r\nOndrell,\r\n":       "model",
		"brand,model\r\n,Fenline\r\n":       "brand",
		"version,typed_in\r\nthree,yes\r\n": "model",
	} {
		db := dbtest.Open(t)
		sum, err := importOf(t, db, "shoe-models", []byte(text), exchange.Options{})
		if !errors.Is(err, exchange.ErrRefused) || len(sum.Bad) != 1 || !strings.Contains(sum.Bad[0].Err.Error(), field+": missing") {
			t.Errorf("%q: %+v, %v; want that %s is missing", text, sum, err, field)
		}
	}
}
