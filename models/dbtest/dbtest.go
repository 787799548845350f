// Package dbtest opens databases for tests: SQLite in a temporary file always,
// and PostgreSQL when SOLEWRIGHT_TEST_POSTGRES holds the address of a scratch
// server. With SOLEWRIGHT_REQUIRE_POSTGRES=1 a missing address fails the test,
// so that a check can't pass by not being run.
package dbtest

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"solewright/models"
)

// The environment that tests go by.
const (
	serverVariable  = "SOLEWRIGHT_TEST_POSTGRES"
	requireVariable = "SOLEWRIGHT_REQUIRE_POSTGRES"
)

// Option changes how a database is opened.
type Option func(*models.Options)

// Clock sets the clock of a database.
func Clock(now func() time.Time) Option { return func(o *models.Options) { o.Clock = now } }

// Each runs f as a subtest on every kind of database there is, each with the
// schema and nothing else in it.
func Each(t *testing.T, f func(t *testing.T, db *models.DB), options ...Option) {
	t.Helper()
	for kind, address := range URLs(t) {
		t.Run(kind, func(t *testing.T) { f(t, migrated(t, address, options)) })
	}
}

// Open returns a SQLite database in a temporary file, with the schema.
func Open(t testing.TB, options ...Option) *models.DB {
	t.Helper()
	return migrated(t, SQLiteURL(t), options)
}

// URLs returns the address of an empty database of every kind there is, by the
// name of its dialect.
func URLs(t testing.TB) map[string]string {
	t.Helper()
	urls := map[string]string{"sqlite": SQLiteURL(t)}
	if postgres(t) != "" {
		urls["postgres"] = PostgresURL(t)
	}
	return urls
}

// SQLiteURL returns the address of a file that isn't there yet.
func SQLiteURL(t testing.TB) string {
	t.Helper()
	return "file:" + filepath.Join(t.TempDir(), "solewright.db")
}

// number tells the databases of one test run apart.
var number atomic.Int64

// PostgresURL makes an empty database on the scratch server, which is dropped
// when the test ends, and returns its address.
func PostgresURL(t testing.TB) string {
	t.Helper()
	server := postgres(t)
	if server == "" {
		t.Fatalf("%s is not set", serverVariable)
	}
	u, err := url.Parse(server)
	if err != nil {
		t.Fatalf("%s: %v", serverVariable, err)
	}
	name := fmt.Sprintf("solewright_%d_%d_%d", os.Getpid(), time.Now().UnixNano(), number.Add(1))
	run(t, server, "CREATE DATABASE "+name)
	t.Cleanup(func() { run(t, server, "DROP DATABASE "+name+" WITH (FORCE)") })
	u.Path = "/" + name
	return u.String()
}

// postgres returns the address of the scratch server, empty where there is none
// and none is required.
func postgres(t testing.TB) string {
	t.Helper()
	server := os.Getenv(serverVariable)
	if server == "" && os.Getenv(requireVariable) == "1" {
		t.Fatalf("%s=1, but %s is not set: sh deploy/pg.sh with COMMAND starts a server and sets it", requireVariable, serverVariable)
	}
	return server
}

// run runs one statement on the scratch server.
func run(t testing.TB, server, statement string) {
	t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		t.Fatal(err)
	}
	_, err = conn.Exec(ctx, statement)
	if err := errors.Join(err, conn.Close(ctx)); err != nil {
		t.Fatal(err)
	}
}

// migrated opens a database and brings its schema up to date.
func migrated(t testing.TB, address string, options []Option) *models.DB {
	t.Helper()
	ctx := context.Background()
	o := models.Options{URL: address}
	for _, option := range options {
		option(&o)
	}
	db, err := models.Open(ctx, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	if _, _, err := db.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	return db
}
