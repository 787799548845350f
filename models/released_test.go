package models_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// update writes the golden schemas anew: go test ./models -run Golden -update
var update = flag.Bool("update", false, "write the golden schemas anew")

// The queries that describe a schema, a line each.
var schemaQueries = map[string][]string{
	"sqlite": {`SELECT sql FROM sqlite_master WHERE sql IS NOT NULL AND tbl_name <> 'goose_db_version' AND name NOT LIKE 'sqlite_%' ORDER BY tbl_name, type DESC, name`},
	"postgres": {
		`SELECT c.relname || '.' || a.attname || ' ' || format_type(a.atttypid, a.atttypmod)
			|| CASE WHEN a.attcollation <> t.typcollation THEN ' COLLATE ' || (SELECT collname FROM pg_collation WHERE oid = a.attcollation) ELSE '' END
			|| CASE WHEN a.attnotnull THEN ' NOT NULL' ELSE '' END
			|| CASE a.attidentity WHEN 'a' THEN ' GENERATED ALWAYS AS IDENTITY' ELSE '' END
			|| coalesce(' DEFAULT ' || pg_get_expr(d.adbin, d.adrelid), '')
		FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid JOIN pg_type t ON t.oid = a.atttypid
		LEFT JOIN pg_attrdef d ON d.adrelid = c.oid AND d.adnum = a.attnum
		WHERE c.relnamespace = 'public'::regnamespace AND c.relkind = 'r' AND a.attnum > 0 AND NOT a.attisdropped AND c.relname <> 'goose_db_version'
		ORDER BY c.relname COLLATE "C", a.attnum`,
		`SELECT conrelid::regclass || ' ' || conname || ' ' || pg_get_constraintdef(oid) FROM pg_constraint
		WHERE connamespace = 'public'::regnamespace AND contype <> 'n' AND conrelid::regclass::text <> 'goose_db_version' ORDER BY conrelid::regclass::text COLLATE "C", conname COLLATE "C"`,
		`SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename <> 'goose_db_version' ORDER BY tablename COLLATE "C", indexname COLLATE "C"`,
	},
}

// texts returns the one column of a query.
func texts(t *testing.T, db *models.DB, query string) []string {
	t.Helper()
	rows, err := db.Primary().QueryContext(t.Context(), query)
	must(t, err)
	defer rows.Close()
	var all []string
	for rows.Next() {
		var s string
		must(t, rows.Scan(&s))
		all = append(all, s)
	}
	must(t, rows.Err())
	return all
}

// TestSchemaIsTheGoldenOne shows every change of a schema in review, in the
// words of the database that it was made in.
func TestSchemaIsTheGoldenOne(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		var got strings.Builder
		for _, query := range schemaQueries[db.Dialect()] {
			for _, line := range texts(t, db, query) {
				fmt.Fprintln(&got, line)
			}
		}
		name := filepath.Join("testdata", "schema."+db.Dialect()+".txt")
		if *update {
			must(t, os.WriteFile(name, []byte(got.String()), 0o644))
		}
		want, err := os.ReadFile(name)
		must(t, err)
		if got.String() != string(want) {
			same(t, strings.Split(got.String(), "\n"), strings.Split(string(want), "\n"))
			t.Errorf("%s is another: go test ./models -run Golden -update writes what is", name)
		}
	})
}

// released is the oldest schema that was released; what lay in it stands in
// testdata/released-6.*.sql.
const released = 6

// values returns every row of tables as text, of the columns given for each.
func values(t *testing.T, db *models.DB, of map[string][]string) map[string][]string {
	t.Helper()
	all := map[string][]string{}
	for table, names := range of {
		parts := make([]string, len(names))
		for i, c := range names {
			parts[i] = "quote(" + c + ")"
			if db.Dialect() == "postgres" {
				parts[i] = "quote_nullable(" + c + "::text)"
			}
		}
		all[table] = texts(t, db, "SELECT "+strings.Join(parts, " || ', ' || ")+" FROM "+table+" ORDER BY 1")
	}
	return all
}

// TestAReleasedDatabaseUpgradesAndReadsTheSame goes the way of a retailer who
// has worked with the first release.
func TestAReleasedDatabaseUpgradesAndReadsTheSame(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		t.Run(kind, func(t *testing.T) {
			db := dbtest.OpenURL(t, dbtest.EmptyURL(t, kind))
			must(t, db.UpTo(t.Context(), released))
			stored, err := os.ReadFile(filepath.Join("testdata", fmt.Sprintf("released-%d.%s.sql", released, kind)))
			must(t, err)
			for statement := range strings.SplitSeq(string(stored), ");\n") {
				if statement != "" {
					_, err := db.Primary().ExecContext(t.Context(), statement+")")
					must(t, err)
				}
			}
			of := map[string][]string{}
			for _, table := range tables(t, db) {
				of[table] = columns(t, db, table)
			}
			before := values(t, db, of)
			for _, table := range []string{"inspection", "inspection_value", "pair", "fitting", "trade_in", "audit", "change", "erasure", "account", "shoe_model"} {
				if len(before[table]) == 0 {
					t.Errorf("there is nothing in %s to read again", table)
				}
			}
			wantErr(t, db.CheckSchema(t.Context()), models.ErrSchemaOld)

			from, to, err := db.Migrate(t.Context())
			must(t, err)
			if from != released || to != models.WantedSchema() {
				t.Errorf("from %d to %d, want %d to %d", from, to, released, models.WantedSchema())
			}
			t.Run("every value is what it was", func(t *testing.T) {
				same(t, values(t, db, of), before)
			})
			t.Run("what is derived counts the same", func(t *testing.T) {
				v, err := db.Verify(t.Context(), func(d models.Difference) error {
					t.Errorf("%+v", d)
					return nil
				})
				must(t, err)
				if v.Inspections != len(before["inspection"]) {
					t.Errorf("%+v, want %d readings", v, len(before["inspection"]))
				}
			})
			t.Run("every reading, fitting and trade-in can be read", func(t *testing.T) {
				ctx := context.Background()
				got := map[string]int{}
				must(t, db.EachInspection(ctx, models.InspectionFilter{Scopes: models.Fleet}, func(in *models.Inspection) error {
					got["inspection"]++
					if in.Kind != assess.Blind && !slices.ContainsFunc(before["pair"], func(row string) bool { return strings.Contains(row, "'"+in.PairRef+"'") }) {
						t.Errorf("reading %s has lost its pair", in.ID)
					}
					return nil
				}))
				must(t, db.EachFitting(ctx, func(*models.StoredFitting) error {
					got["fitting"]++
					return nil
				}))
				must(t, db.EachTradeIn(ctx, models.Fleet, "", "", func(*models.StoredTradeIn) error {
					got["trade_in"]++
					return nil
				}))
				accounts, err := db.Accounts(ctx)
				must(t, err)
				got["account"] = len(accounts)
				for i := range accounts {
					if a := &accounts[i]; len(a.Scopes) == 0 || len(a.Grants()) != len(a.Scopes) {
						t.Errorf("account %s holds %v of %v", a.Code, a.Grants(), a.Scopes)
					}
				}
				for table, n := range got {
					if n != len(before[table]) {
						t.Errorf("%d rows of %s, want %d", n, table, len(before[table]))
					}
				}
			})
		})
	}
}
