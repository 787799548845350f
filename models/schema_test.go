package models_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"

	"solewright/models"
	"solewright/models/dbtest"
)

// tables returns the tables of a database, but for the migrations' own.
func tables(t *testing.T, db *models.DB) []string {
	t.Helper()
	query := "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> 'goose_db_version' ORDER BY name"
	if db.Dialect() == "postgres" {
		query = "SELECT tablename FROM pg_tables WHERE schemaname = 'public' AND tablename <> 'goose_db_version' ORDER BY tablename"
	}
	rows, err := db.Primary().QueryContext(t.Context(), query)
	must(t, err)
	defer rows.Close()
	var names []string
	for rows.Next() {
		var name string
		must(t, rows.Scan(&name))
		names = append(names, name)
	}
	must(t, rows.Err())
	return names
}

// columns returns the columns of a table in order.
func columns(t *testing.T, db *models.DB, table string) []string {
	t.Helper()
	rows, err := db.Primary().QueryContext(t.Context(), "SELECT * FROM "+table+" LIMIT 0")
	must(t, err)
	defer rows.Close()
	names, err := rows.Columns()
	must(t, err)
	must(t, rows.Err())
	return names
}

func TestRowsHaveNotDriftedFromTheSchema(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		for table, row := range models.Rows {
			got, want := models.Columns(row), columns(t, db, table)
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("%s has columns\n%v\nand its row\n%v", table, want, got)
			}
		}
	})
}

func TestBothDialectsHaveTheSameMigrations(t *testing.T) {
	sqlite, err := models.MigrationNames("sqlite")
	must(t, err)
	postgres, err := models.MigrationNames("postgres")
	must(t, err)
	if !slices.Equal(sqlite, postgres) {
		t.Errorf("sqlite has %v, postgres %v", sqlite, postgres)
	}
	if int64(len(sqlite)) != models.WantedSchema() {
		t.Errorf("%d files, want version %d", len(sqlite), models.WantedSchema())
	}
	for i, name := range sqlite {
		if want := fmt.Sprintf("%05d_", i+1); !strings.HasPrefix(name, want) {
			t.Errorf("file %d is %s, want %s…", i+1, name, want)
		}
	}
}

func TestBothDialectsHaveTheSameTables(t *testing.T) {
	shape := map[string]map[string][]string{}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		shape[db.Dialect()] = map[string][]string{}
		for _, table := range tables(t, db) {
			shape[db.Dialect()][table] = columns(t, db, table)
		}
		if len(shape[db.Dialect()]) < 30 {
			t.Errorf("only %d tables", len(shape[db.Dialect()]))
		}
	})
	first := slices.Sorted(maps.Keys(shape))[0]
	for dialect, s := range shape {
		if !maps.EqualFunc(s, shape[first], slices.Equal) {
			t.Errorf("%s and %s differ:\n%v\n%v", dialect, first, s, shape[first])
		}
	}
}

func TestMigrate(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		t.Run(kind, func(t *testing.T) {
			db := dbtest.OpenURL(t, dbtest.EmptyURL(t, kind))
			want := models.WantedSchema()
			t.Run("an empty database is behind", func(t *testing.T) {
				wantErr(t, db.CheckSchema(t.Context()), models.ErrSchemaOld)
			})
			t.Run("up", func(t *testing.T) {
				from, to, err := db.Migrate(t.Context())
				must(t, err)
				if from != 0 || to != want {
					t.Errorf("from %d to %d, want 0 to %d", from, to, want)
				}
				must(t, db.CheckSchema(t.Context()))
			})
			before := tables(t, db)
			id, err := db.ID(t.Context())
			must(t, err)
			t.Run("up again changes nothing", func(t *testing.T) {
				from, to, err := db.Migrate(t.Context())
				must(t, err)
				again, err := db.ID(t.Context())
				must(t, err)
				if from != want || to != want || again != id || len(id) != 32 {
					t.Errorf("from %d to %d, id %s and %s", from, to, id, again)
				}
				sets, err := db.Versions(t.Context(), models.RuleSets)
				must(t, err)
				if len(sets) != 1 {
					t.Errorf("%d rule sets", len(sets))
				}
			})
			t.Run("down leaves nothing", func(t *testing.T) {
				must(t, db.Down(t.Context(), 0))
				if left := tables(t, db); len(left) != 0 {
					t.Errorf("left: %v", left)
				}
				wantErr(t, db.CheckSchema(t.Context()), models.ErrSchemaOld)
			})
			t.Run("and up again makes the same", func(t *testing.T) {
				_, _, err := db.Migrate(t.Context())
				must(t, err)
				same(t, tables(t, db), before)
			})
			t.Run("a step behind is behind", func(t *testing.T) {
				must(t, db.Down(t.Context(), want-1))
				wantErr(t, db.CheckSchema(t.Context()), models.ErrSchemaOld)
				_, _, err := db.Migrate(t.Context())
				must(t, err)
			})
			t.Run("a schema from the future is refused", func(t *testing.T) {
				_, err := db.Primary().ExecContext(t.Context(), db.SQL("INSERT INTO goose_db_version (version_id, is_applied) VALUES (?, ?)"), want+1, true)
				must(t, err)
				wantErr(t, db.CheckSchema(t.Context()), models.ErrSchemaNew)
				_, _, err = db.Migrate(t.Context())
				wantErr(t, err, models.ErrSchemaNew)
			})
		})
	}
}

func TestServersThatStartTogetherMigrateOnce(t *testing.T) {
	for _, kind := range dbtest.Kinds(t) {
		if kind == "sqlite" {
			continue // one process has the file
		}
		t.Run(kind, func(t *testing.T) {
			const servers = 4
			address := dbtest.EmptyURL(t, kind)
			errs := make([]error, servers)
			var wg sync.WaitGroup
			for i := range servers {
				db := dbtest.OpenURL(t, address)
				wg.Go(func() { _, _, errs[i] = db.Migrate(t.Context()) })
			}
			wg.Wait()
			for _, err := range errs {
				must(t, err)
			}
			db := dbtest.OpenURL(t, address)
			must(t, db.CheckSchema(t.Context()))
			sets, err := db.Versions(t.Context(), models.RuleSets)
			must(t, err)
			if len(sets) != 1 {
				t.Errorf("%d rule sets", len(sets))
			}
		})
	}
}
