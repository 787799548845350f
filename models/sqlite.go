package models

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	gormsqlite "github.com/libtnb/sqlite"
)

// pragma is a setting of a SQLite connection, and what reading it back gives.
type pragma struct{ name, set, want string }

// sqlitePragmas hold for every connection of the primary pool. A full sync at
// each commit keeps what was acknowledged through a power cut; a larger page
// cache than this makes readers slow after every write of another connection.
var sqlitePragmas = []pragma{
	{"journal_mode", "WAL", "wal"},
	{"synchronous", "FULL", "2"},
	{"busy_timeout", "5000", "5000"}, // ms
	{"foreign_keys", "1", "1"},
	{"cache_size", "-8192", "-8192"}, // KiB when negative
}

// readerPragmas are for the pool of long reads besides: it doesn't write by
// mistake, and it reads pages where the system holds them. Without the map, a
// row of a long read costs several times as much, mostly for pages that are
// copied into a cache that is too small for them. Writers go without: a disk
// that fails under a map ends the program, where a failed read is an error.
var readerPragmas = []pragma{
	{"query_only", "1", "1"},
	{"mmap_size", "2147418112", "2147418112"}, // bytes; the most that SQLite takes
}

func (db *DB) openSQLite(ctx context.Context, o Options) error {
	db.dialect = sqliteDialect
	path := strings.TrimPrefix(o.URL, "file:")
	if path == "" || strings.HasPrefix(path, ":memory:") {
		return refused("db", o.URL, "file:PATH; a database in memory is one per connection")
	}
	conns := o.MaxConns
	if conns == 0 {
		conns = processors(1, 4)
	}
	var err error
	if db.primary, err = sqlitePool(ctx, path, "immediate", conns, sqlitePragmas); err != nil {
		return err
	}
	reader, err := sqlitePool(ctx, path, "deferred", conns, slices.Concat(sqlitePragmas, readerPragmas))
	if err != nil {
		return err
	}
	db.readers = []*pool{reader}
	return db.openGorm(gormsqlite.New(gormsqlite.Config{Conn: db.primary}))
}

// sqlitePool opens the file and reads every pragma back: a driver ignores an
// option it doesn't know in silence.
func sqlitePool(ctx context.Context, path, lock string, conns int, pragmas []pragma) (*pool, error) {
	s, err := sql.Open(gormsqlite.DriverName, sqliteDSN(path, lock, pragmas))
	if err != nil {
		return nil, wrap(err, "opening %s", path)
	}
	p := newPool(s, conns)
	for _, w := range pragmas {
		var got string
		if err := p.QueryRowContext(ctx, "PRAGMA "+w.name).Scan(&got); err != nil {
			_ = p.Close()
			return nil, wrap(err, "opening %s", path)
		}
		if got != w.want {
			_ = p.Close()
			return nil, fmt.Errorf("opening %s: pragma %s is %s, want %s: is the file on a network share?", path, w.name, got, w.want)
		}
	}
	return p, nil
}

// sqliteDSN writes the address as a URI, in which a path may hold any
// character. Writers take the lock when they begin: a transaction that reads
// first and asks for the lock later fails at once, whatever the timeout.
// Times are written as integers of microseconds.
func sqliteDSN(path, lock string, pragmas []pragma) string {
	var b strings.Builder
	b.WriteString("file:")
	b.WriteString(strings.NewReplacer("%", "%25", "?", "%3f", "#", "%23").Replace(path))
	fmt.Fprintf(&b, "?_txlock=%s&_time_integer_format=unix_micro", lock)
	for _, p := range pragmas {
		fmt.Fprintf(&b, "&_pragma=%s(%s)", p.name, p.set)
	}
	return b.String()
}
