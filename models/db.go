package models

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/url"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"gorm.io/gorm"
	"gorm.io/gorm/logger"
	"gorm.io/gorm/schema"
)

// Options say where the database is and how it is used.
type Options struct {
	// URL is file:PATH for SQLite, or postgres://… for PostgreSQL.
	URL string
	// Replicas are postgres://… addresses of streaming replicas. Lists, exports
	// and streams are read there; what must see the last write is not.
	Replicas []string
	// MaxConns bounds the connections of one pool; 0 means 4 for each processor,
	// and at least 16, on PostgreSQL, and one for each processor, at least 4,
	// on SQLite.
	MaxConns int
	// Clock is the clock; nil means time.Now.
	Clock func() time.Time
	// Log gets what happens on the way: migrations, retries. Nil is silent.
	Log *slog.Logger
}

// DB is an open database. It is safe for concurrent use, but for the one that
// [DB.Together] hands out.
type DB struct {
	*opened
	within *txn // set while several verbs run as one
}

// opened is what all handles of one database share.
type opened struct {
	dialect dialect
	primary *pool
	readers []*pool // replicas, or on SQLite a pool of its own for long reads
	next    atomic.Uint32
	gorm    *gorm.DB
	clock   func() time.Time
	log     *slog.Logger
	hashing chan struct{} // one slot for each password being hashed
	zones   sync.Map      // of stores, by code
}

// dialect is what differs between the databases, beyond the words of SQL.
type dialect uint8

const (
	sqliteDialect dialect = iota
	postgresDialect
)

// String returns sqlite or postgres, which are also the folders of migrations.
func (d dialect) String() string { return [...]string{"sqlite", "postgres"}[d] }

// Open connects to the database and checks that the connection is as the
// package needs it: on SQLite every pragma is read back. It does not look at
// the schema; see [DB.CheckSchema] and [DB.Migrate].
func Open(ctx context.Context, o Options) (*DB, error) {
	db := &DB{opened: &opened{clock: o.Clock, log: o.Log, hashing: make(chan struct{}, hashers())}}
	if db.clock == nil {
		db.clock = time.Now
	}
	if db.log == nil {
		db.log = slog.New(slog.DiscardHandler)
	}
	var err error
	switch scheme, _, _ := strings.Cut(o.URL, ":"); scheme {
	case "file":
		err = db.openSQLite(ctx, o)
	case "postgres", "postgresql":
		err = db.openPostgres(ctx, o)
	default:
		err = refused("db", redacted(o.URL), "file:PATH or postgres://…")
	}
	if err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// openGorm hands the primary pool to gorm. The configuration is built for each
// call, because gorm writes the dialect into it.
func (db *DB) openGorm(d gorm.Dialector) (err error) {
	db.gorm, err = gorm.Open(d, &gorm.Config{
		SkipDefaultTransaction: true, // verbs open their own
		DisableAutomaticPing:   true,
		Logger:                 logger.Discard, // errors are returned, and logged once at the top
		NowFunc:                db.now,
		NamingStrategy:         schema.NamingStrategy{SingularTable: true},
	})
	return err
}

// Close closes all connections.
func (db *DB) Close() error {
	var err error
	if db.primary != nil {
		err = db.primary.Close()
	}
	for _, r := range db.readers {
		err = errors.Join(err, r.Close())
	}
	return err
}

// Ping reports whether the primary answers.
func (db *DB) Ping(ctx context.Context) error {
	return wrap(db.primary.PingContext(ctx), "pinging the database")
}

// Dialect returns sqlite or postgres.
func (db *DB) Dialect() string { return db.dialect.String() }

// Pool is the state of one pool of connections.
type Pool struct {
	Name string // primary, reader, replica-1, …
	sql.DBStats
	Statements int64 // sent since the start
}

// Pools returns the state of every pool, for metrics.
func (db *DB) Pools() []Pool {
	pools := []Pool{{"primary", db.primary.Stats(), db.primary.statements.Load()}}
	for i, r := range db.readers {
		name := "reader"
		if db.dialect == postgresDialect {
			name = fmt.Sprintf("replica-%d", i+1)
		}
		pools = append(pools, Pool{name, r.Stats(), r.statements.Load()})
	}
	return pools
}

// q returns where verbs read and write: the primary, or the transaction that
// they run in together.
func (db *DB) q() querier {
	if db.within != nil {
		return db.within
	}
	return db.primary
}

// g is q for gorm.
func (db *DB) g(ctx context.Context) *gorm.DB {
	if db.within != nil {
		return db.within.g
	}
	return db.gorm.WithContext(ctx)
}

// takeRow returns the row that q picks: gorm.ErrRecordNotFound where there is none.
// With gorm.G, all that gorm can do would be compiled anew for each kind of row.
func takeRow[R any](q *gorm.DB) (R, error) {
	var row R
	err := q.Take(&row).Error
	return row, err
}

// findRows returns the rows that q picks.
func findRows[R any](q *gorm.DB) ([]R, error) {
	var rows []R
	err := q.Find(&rows).Error
	return rows, err
}

// reader returns where to read what need not see the very last write.
func (db *DB) reader() querier {
	if db.within != nil {
		return db.within
	}
	return db.readerPool()
}

// readerPool is reader outside of a transaction.
func (db *DB) readerPool() *pool {
	if len(db.readers) == 0 {
		return db.primary
	}
	return db.readers[int(db.next.Add(1))%len(db.readers)]
}

// now returns the time as it is stored: UTC, microseconds.
func (db *DB) now() time.Time { return db.clock().UTC().Truncate(time.Microsecond) }

// maxRetries is how often a transaction is tried again after the database
// undid it for a deadlock or a failed serialization. House value.
const maxRetries = 8

// tx runs f in a transaction, which is undone if f returns an error. On SQLite
// the transaction holds the write lock from its start. After a deadlock, f runs
// again from the beginning, so it must not change anything but its results.
func (db *DB) tx(ctx context.Context, f func(*txn) error) error {
	if db.within != nil {
		return db.savepoint(ctx, f)
	}
	for attempt := 0; ; attempt++ {
		err := db.txOnce(ctx, f)
		if attempt == maxRetries || !errors.Is(classify(err), ErrBusy) || db.dialect == sqliteDialect {
			return err
		}
		if err := db.backoff(ctx, attempt); err != nil {
			return err
		}
	}
}

// Together runs f in one transaction: the verbs of the database it gets happen
// all or, where f returns an error, not at all. A verb that fails undoes only
// itself, so that f may go on and fail at the end. Reads see what was written.
// It is for one goroutine; and it must be short, because on SQLite nobody else
// writes meanwhile. After a deadlock f runs again.
func (db *DB) Together(ctx context.Context, f func(*DB) error) error {
	return db.tx(ctx, func(t *txn) error { return f(&DB{opened: db.opened, within: t}) })
}

// TryWrite writes some 100 KiB and takes them back, to find out whether the
// database takes writes again: ErrFull and ErrReadOnly where it doesn't.
func (db *DB) TryWrite(ctx context.Context) error {
	// Each is a transaction: pages that are freed in the one that took them are
	// never written.
	statements := []string{
		"INSERT OR REPLACE INTO meta (key, value) VALUES ('room', hex(zeroblob(50000)))",
		"DELETE FROM meta WHERE key = 'room'",
	}
	if db.dialect == postgresDialect {
		// A table of its own asks for room on the disk; an existing one may have some left.
		statements = []string{"CREATE TEMP TABLE room ON COMMIT DROP AS SELECT repeat(md5(i::text), 32) FROM generate_series(1, 100) i"}
	}
	for _, s := range statements {
		if err := db.tx(ctx, func(t *txn) error {
			_, err := t.ExecContext(ctx, s)
			return err
		}); err != nil {
			return wrap(err, "trying to write")
		}
	}
	return nil
}

// savepoint runs f so that its failure undoes only what it did.
func (db *DB) savepoint(ctx context.Context, f func(*txn) error) error {
	t := db.within
	if _, err := t.ExecContext(ctx, "SAVEPOINT verb"); err != nil {
		return classify(err)
	}
	if err := f(t); err != nil {
		_, undo := t.ExecContext(ctx, "ROLLBACK TO SAVEPOINT verb")
		return errors.Join(err, classify(undo))
	}
	_, err := t.ExecContext(ctx, "RELEASE SAVEPOINT verb")
	return classify(err)
}

// backoff waits a little longer, at random, on each further attempt.
func (db *DB) backoff(ctx context.Context, attempt int) error {
	wait := time.Duration(rand.Int64N(int64(2*time.Millisecond) << attempt))
	t := time.NewTimer(wait)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

func (db *DB) txOnce(ctx context.Context, f func(*txn) error) (err error) {
	t, err := db.primary.begin(ctx)
	if err != nil {
		return classify(err)
	}
	done := false
	defer func() {
		if !done {
			err = errors.Join(err, ignoreDone(t.Rollback()))
		}
	}()
	g := db.gorm.Session(&gorm.Session{NewDB: true, Context: ctx})
	g.Statement.ConnPool = t
	if err := f(&txn{countedTx: t, g: g}); err != nil {
		return err
	}
	done = true
	return classify(t.Commit())
}

// ignoreDone drops the error of rolling back what the database has already
// ended, as after a cancelled context.
func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// txn is an open transaction: plain SQL by its own methods, gorm's verbs by g.
type txn struct {
	*countedTx
	g      *gorm.DB
	writes int // records that verbs changed
}

// querier is what reads and writes: a pool or a transaction.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	PrepareContext(ctx context.Context, query string) (*sql.Stmt, error)
}

// pool counts the statements that go through a sql.DB.
type pool struct {
	*sql.DB
	statements *atomic.Int64
}

func newPool(db *sql.DB, conns int) *pool {
	// Fewer idle connections than open ones would close and open them under
	// load, and run the pragmas again each time.
	db.SetMaxOpenConns(conns)
	db.SetMaxIdleConns(conns)
	return &pool{db, new(atomic.Int64)}
}

func (p *pool) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	p.statements.Add(1)
	return p.DB.ExecContext(ctx, query, args...)
}

func (p *pool) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	p.statements.Add(1)
	return p.DB.QueryContext(ctx, query, args...)
}

func (p *pool) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	p.statements.Add(1)
	return p.DB.QueryRowContext(ctx, query, args...)
}

// GetDBConn lets gorm find the pool behind the counting.
func (p *pool) GetDBConn() (*sql.DB, error) { return p.DB, nil }

func (p *pool) begin(ctx context.Context) (*countedTx, error) {
	t, err := p.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	return &countedTx{t, p.statements}, nil
}

// countedTx counts the statements of a transaction with those of its pool.
type countedTx struct {
	*sql.Tx
	statements *atomic.Int64
}

func (t *countedTx) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	t.statements.Add(1)
	return t.Tx.ExecContext(ctx, query, args...)
}

func (t *countedTx) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	t.statements.Add(1)
	return t.Tx.QueryContext(ctx, query, args...)
}

func (t *countedTx) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	t.statements.Add(1)
	return t.Tx.QueryRowContext(ctx, query, args...)
}

// redacted returns the address of a database without its password.
func redacted(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		scheme, _, _ := strings.Cut(address, ":")
		return scheme + ":…"
	}
	return u.Redacted()
}

// oneRow turns an update that met no row into ErrNotFound.
func oneRow(n int, err error) error {
	if err == nil && n == 0 {
		return ErrNotFound
	}
	return err
}

func affected(r sql.Result, err error) (int, error) {
	if err != nil {
		return 0, err
	}
	n, err := r.RowsAffected()
	return int(n), err
}

func processors(each, least int) int { return max(each*runtime.GOMAXPROCS(0), least) }
