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
	"strings"
	"sync"
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
	for _, kind := range Kinds(t) {
		t.Run(kind, func(t *testing.T) { f(t, OpenURL(t, MigratedURL(t, kind), options...)) })
	}
}

// Open returns a SQLite database in a temporary file, with the schema.
func Open(t testing.TB, options ...Option) *models.DB {
	t.Helper()
	return OpenURL(t, MigratedURL(t, sqliteKind), options...)
}

// OpenPostgres returns a PostgreSQL database of its own, with the schema. It
// fails the test where there is no server: see Kinds.
func OpenPostgres(t testing.TB, options ...Option) *models.DB {
	t.Helper()
	return OpenURL(t, MigratedURL(t, postgresKind), options...)
}

// The kinds of databases, by the name of their dialect.
const (
	sqliteKind   = "sqlite"
	postgresKind = "postgres"
)

// Kinds returns the kinds of databases that tests run on.
func Kinds(t testing.TB) []string {
	t.Helper()
	if postgres(t) == "" {
		return []string{sqliteKind}
	}
	return []string{sqliteKind, postgresKind}
}

// EmptyURL returns the address of a database without a schema.
func EmptyURL(t testing.TB, kind string) string {
	t.Helper()
	if kind == postgresKind {
		return postgresURL(t, "")
	}
	return sqliteURL(t)
}

func sqliteURL(t testing.TB) string {
	t.Helper()
	return "file:" + filepath.Join(t.TempDir(), "solewright.db")
}

// templates are databases with the schema, made once, of which copies are handed
// out. A PostgreSQL template stays on the scratch server.
var templates struct {
	sync.Mutex
	sqlite   []byte
	postgres string
}

// MigratedURL returns the address of a database with the schema.
func MigratedURL(t testing.TB, kind string) string {
	t.Helper()
	templates.Lock()
	defer templates.Unlock()
	if kind == postgresKind {
		if templates.postgres == "" {
			templates.postgres = newName()
			run(t, postgres(t), "CREATE DATABASE "+templates.postgres)
			migrate(t, onServer(t, templates.postgres))
		}
		return postgresURL(t, " TEMPLATE "+templates.postgres)
	}
	if templates.sqlite == nil {
		address := sqliteURL(t)
		migrate(t, address)
		templates.sqlite = contents(t, address)
	}
	return copied(t, templates.sqlite)
}

// Copies returns what opens SQLite databases that hold what settle puts into the
// first of them. The others are copies of its file: where many tests begin alike,
// what takes long, as hashing passwords does, is done once.
func Copies(settle func(t testing.TB, db *models.DB)) func(t testing.TB, options ...Option) *models.DB {
	var (
		mu      sync.Mutex
		settled []byte
	)
	return func(t testing.TB, options ...Option) *models.DB {
		t.Helper()
		mu.Lock()
		defer mu.Unlock()
		if settled == nil {
			address := MigratedURL(t, sqliteKind)
			closing(t, address, func(db *models.DB) { settle(t, db) })
			settled = contents(t, address)
		}
		return OpenURL(t, copied(t, settled), options...)
	}
}

// contents returns the file of a SQLite database that is closed.
func contents(t testing.TB, address string) []byte {
	t.Helper()
	b, err := os.ReadFile(strings.TrimPrefix(address, "file:"))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// copied writes the file of a SQLite database and returns its address.
func copied(t testing.TB, file []byte) string {
	t.Helper()
	address := sqliteURL(t)
	if err := os.WriteFile(strings.TrimPrefix(address, "file:"), file, 0o600); err != nil {
		t.Fatal(err)
	}
	return address
}

// migrate brings the schema of a database up to date.
func migrate(t testing.TB, address string) {
	t.Helper()
	closing(t, address, func(db *models.DB) {
		if _, _, err := db.Migrate(context.Background()); err != nil {
			t.Fatal(err)
		}
	})
}

// closing has f work on a database and closes it, which on SQLite leaves
// everything in the one file.
func closing(t testing.TB, address string, f func(db *models.DB)) {
	t.Helper()
	db, err := models.Open(context.Background(), models.Options{URL: address})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}()
	f(db)
}

// OpenURL opens a database, which is closed when the test ends.
func OpenURL(t testing.TB, address string, options ...Option) *models.DB {
	t.Helper()
	o := models.Options{URL: address}
	for _, option := range options {
		option(&o)
	}
	db, err := models.Open(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	return db
}

// number tells the databases of one test run apart.
var number atomic.Int64

func newName() string {
	return fmt.Sprintf("solewright_%d_%d_%d", os.Getpid(), time.Now().UnixNano(), number.Add(1))
}

// postgresURL makes a database on the scratch server, which is dropped when the
// test ends, and returns its address.
func postgresURL(t testing.TB, how string) string {
	t.Helper()
	server, name := postgres(t), newName()
	run(t, server, "CREATE DATABASE "+name+how)
	t.Cleanup(func() { run(t, server, "DROP DATABASE "+name+" WITH (FORCE)") })
	return onServer(t, name)
}

// onServer returns the address of a database of the scratch server.
func onServer(t testing.TB, name string) string {
	t.Helper()
	server := postgres(t)
	if server == "" {
		t.Fatalf("%s is not set", serverVariable)
	}
	u, err := url.Parse(server)
	if err != nil {
		t.Fatalf("%s: %v", serverVariable, err)
	}
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
