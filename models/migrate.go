package models

import (
	"context"
	"crypto/rand"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations
var migrations embed.FS

// lockTries is how many seconds a starting server waits for another that
// migrates. House value.
const lockTries = 300

// provider returns the migrations of the database's dialect. On PostgreSQL a
// session lock lets one of several starting servers migrate while the others
// wait; on SQLite only one process has the file.
func (db *DB) provider() (*goose.Provider, error) {
	files, err := fs.Sub(migrations, "migrations/"+db.dialect.String())
	if err != nil {
		return nil, err
	}
	options := []goose.ProviderOption{goose.WithSlog(db.log)}
	d := goose.DialectSQLite3
	if db.dialect == postgresDialect {
		d = goose.DialectPostgres
		locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, lockTries), lock.WithUnlockTimeout(1, lockTries))
		if err != nil {
			return nil, err
		}
		options = append(options, goose.WithSessionLocker(locker))
	}
	return goose.NewProvider(d, db.primary.DB, files, options...)
}

// Migrate brings the schema up to date and returns the versions before and
// after. It may run from several servers at once. A schema that is newer than the
// program is ErrSchemaNew, and stays as it is.
func (db *DB) Migrate(ctx context.Context) (from, to int64, err error) {
	if err := db.CheckSchema(ctx); err != nil && !errors.Is(err, ErrSchemaOld) {
		return 0, 0, err
	}
	p, err := db.provider()
	if err != nil {
		return 0, 0, err
	}
	if from, err = p.GetDBVersion(ctx); err != nil {
		return 0, 0, wrap(err, "reading the schema version")
	}
	if _, err := p.Up(ctx); err != nil {
		return from, from, wrap(err, "migrating the schema")
	}
	if to, err = p.GetDBVersion(ctx); err != nil {
		return from, from, wrap(err, "reading the schema version")
	}
	return from, to, wrap(db.seed(ctx), "seeding the database")
}

// seed writes what every database holds from the start: its own id, the first
// rule set, the posture bands.
func (db *DB) seed(ctx context.Context) error {
	var random [16]byte
	if _, err := rand.Read(random[:]); err != nil {
		return err
	}
	_, err := db.primary.ExecContext(ctx, db.dialect.sql(
		"INSERT INTO meta (key, value) VALUES ('database_id', ?) ON CONFLICT (key) DO NOTHING"),
		hex.EncodeToString(random[:]))
	if err != nil {
		return err
	}
	return db.seedNumbered(ctx)
}

// SchemaVersion returns the version of the schema; 0 is an empty database.
func (db *DB) SchemaVersion(ctx context.Context) (int64, error) {
	p, err := db.provider()
	if err != nil {
		return 0, err
	}
	v, err := p.GetDBVersion(ctx)
	return v, wrap(err, "reading the schema version")
}

// WantedSchema returns the version of the schema that the program is made for.
func WantedSchema() int64 {
	entries, err := migrations.ReadDir("migrations/sqlite")
	if err != nil {
		panic(err) // the files are embedded
	}
	version, err := goose.NumericComponent(entries[len(entries)-1].Name())
	if err != nil {
		panic(err)
	}
	return version
}

// CheckSchema returns ErrSchemaOld or ErrSchemaNew where the schema is not the
// one that the program is made for. It writes nothing.
func (db *DB) CheckSchema(ctx context.Context) error {
	var have int64
	err := db.primary.QueryRowContext(ctx, "SELECT max(version_id) FROM goose_db_version WHERE is_applied").Scan(&have)
	if err != nil && !missingTable(err) {
		return wrap(err, "reading the schema version")
	}
	switch want := WantedSchema(); {
	case have < want:
		return fmt.Errorf("schema %d, want %d: %w", have, want, ErrSchemaOld)
	case have > want:
		return fmt.Errorf("schema %d, want %d: %w", have, want, ErrSchemaNew)
	}
	return nil
}

// ID returns the id that the database got when it was made; a copy keeps it.
func (db *DB) ID(ctx context.Context) (string, error) {
	var v string
	err := db.primary.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = 'database_id'").Scan(&v)
	return v, wrap(err, "reading the database's id")
}
