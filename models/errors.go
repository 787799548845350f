package models

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"
	"gorm.io/gorm"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"solewright/assess"
)

// The sentinels. Test for them with errors.Is; the message around them says
// which record, and what to do.
var (
	// ErrNotFound says that no such record exists.
	ErrNotFound = errors.New("not found")
	// ErrConflict says that the record exists with other content, or that
	// another record holds the key.
	ErrConflict = errors.New("conflicts with what is stored")
	// ErrAmended and ErrVoid are ErrConflict of a reading that another took the place
	// of, and of one that is void.
	ErrAmended = fmt.Errorf("amended before: amend the latest: %w", ErrConflict)
	ErrVoid    = fmt.Errorf("void already: %w", ErrConflict)
	// ErrSchemaOld says that the database's schema is behind the program.
	ErrSchemaOld = errors.New("the database schema is older than this program: run solewright migrate")
	// ErrSchemaNew says that the program is behind the database's schema.
	ErrSchemaNew = errors.New("the database schema is newer than this program: install the newer solewright")
	// ErrBusy says that the database is locked or overloaded; trying again helps.
	ErrBusy = errors.New("the database is busy: try again in a moment")
	// ErrFull says that the disk or the database's quota is full.
	ErrFull = errors.New("the database's disk is full: free some space, nothing was stored")
	// ErrReadOnly says that the database takes no writes.
	ErrReadOnly = errors.New("the database is read-only: check the file's permissions, or that this is the primary")
	// ErrUnreachable says that there is no connection to the database.
	ErrUnreachable = errors.New("the database can't be reached: check its address and that it runs")
	// ErrDamaged says that the file is no database or is damaged.
	ErrDamaged = errors.New("the database file is damaged or not a database: restore the last backup")
	// ErrDenied says that credentials are wrong, expired or revoked.
	ErrDenied = errors.New("not accepted")
	// ErrTooMany says that there were too many failed attempts.
	ErrTooMany = errors.New("too many attempts")
)

// errClosedFile is ErrUnreachable of a file, which has no address and doesn't run.
var errClosedFile error = closedFile{}

type closedFile struct{}

func (closedFile) Error() string {
	return "the database file can't be opened: it and its folder must be there and be writable"
}

func (closedFile) Is(err error) bool { return err == ErrUnreachable }

// refused says which field of an input is wrong, and what is allowed.
func refused(field, value, want string) error {
	return assess.FieldError{Field: field, Value: value, Want: want, Err: assess.ErrOutOfRange}
}

// inconsistent is a problem with a value that can't stand beside the others.
func inconsistent(field, value, want string) error {
	return assess.FieldError{Field: field, Value: value, Want: want, Err: assess.ErrInconsistent}
}

// wrap says what was being done, and puts the sentinel for err's cause in its
// chain. A nil err stays nil.
func wrap(err error, format string, args ...any) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf(format+": %w", append(args, classify(err))...)
}

// cause puts a sentinel in front of a driver's error, keeping both in the chain.
type cause struct{ sentinel, err error }

func (c *cause) Error() string   { return c.sentinel.Error() + " (" + c.err.Error() + ")" }
func (c *cause) Unwrap() []error { return []error{c.sentinel, c.err} }

// classify maps errors of gorm, database/sql and both drivers to the sentinels.
func classify(err error) error {
	switch {
	case errors.Is(err, gorm.ErrRecordNotFound), errors.Is(err, sql.ErrNoRows):
		return ErrNotFound
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	}
	if s := sentinelOf(err); s != nil {
		return &cause{s, err}
	}
	return err
}

func sentinelOf(err error) error {
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return sqliteSentinel(e.Code())
	}
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		return postgresSentinel(e.Code)
	}
	if _, ok := errors.AsType[*pgconn.ConnectError](err); ok {
		return ErrUnreachable
	}
	if _, ok := errors.AsType[*net.OpError](err); ok {
		return ErrUnreachable
	}
	// A server that dies in the middle says nothing: the connection ends. pgconn
	// says of its own errors that nothing was sent.
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, driver.ErrBadConn) || errors.Is(err, net.ErrClosed) || pgconn.SafeToRetry(err) {
		return ErrUnreachable
	}
	return nil
}

// sqliteSentinel goes by SQLite's result codes (https://sqlite.org/rescode.html);
// the low byte is the primary code.
func sqliteSentinel(code int) error {
	switch code {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return ErrConflict
	}
	switch code & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return ErrBusy
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM:
		return ErrReadOnly
	case sqlite3.SQLITE_CANTOPEN:
		return errClosedFile
	case sqlite3.SQLITE_IOERR:
		return ErrUnreachable
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return ErrDamaged
	}
	return nil
}

// postgresSentinel goes by PostgreSQL's error codes
// (https://www.postgresql.org/docs/current/errcodes-appendix.html).
func postgresSentinel(code string) error {
	switch code {
	case "23505": // unique_violation
		return ErrConflict
	case "40001", "40P01", "55P03": // serialization_failure, deadlock_detected, lock_not_available
		return ErrBusy
	case "53100": // disk_full
		return ErrFull
	case "25006": // read_only_sql_transaction
		return ErrReadOnly
	case "3D000", "28P01", "28000": // invalid_catalog_name, invalid_password, invalid_authorization
		return ErrUnreachable
	case "53200", "53300", "53400": // out_of_memory, too_many_connections, configuration_limit_exceeded
		return ErrBusy
	case "57P01", "57P02", "57P03": // admin_shutdown, crash_shutdown, cannot_connect_now
		return ErrUnreachable
	case "XX001", "XX002": // data_corrupted, index_corrupted
		return ErrDamaged
	}
	if strings.HasPrefix(code, "08") { // connection exceptions
		return ErrUnreachable
	}
	return nil
}

// missingTable reports whether a statement failed because its table isn't there.
func missingTable(err error) bool {
	if e, ok := errors.AsType[*pgconn.PgError](err); ok {
		return e.Code == "42P01" // undefined_table
	}
	return err != nil && strings.Contains(err.Error(), "no such table") // SQLite has no code of its own for it
}
