package main

import (
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"solewright/assess"
	"solewright/models"
)

// database is where the records are, the same in every command that needs them.
type database struct {
	DB       string   `name:"db" placeholder:"URL" help:"file:PATH for the embedded database (default solewright.db in the data folder) or postgres://…"`
	Replicas []string `name:"db-replica" placeholder:"URL" help:"postgres://… of a replica to read from; may be given more than once."`
	Data     string   `default:"data" placeholder:"DIR" help:"The data folder."`
}

// open opens the database without looking at its schema. The embedded one's
// folder is made; its file only where create is set, so that a mistyped path is
// an error and not an empty database.
func (d *database) open(a *app, log *slog.Logger, create bool) (*models.DB, error) {
	url := d.DB
	if url == "" {
		url = "file:" + filepath.Join(d.Data, "solewright.db")
	}
	if path, embedded := strings.CutPrefix(url, "file:"); embedded {
		if path == "" {
			return nil, usageError{fmt.Errorf("--db: %q: want file:PATH", url)}
		}
		if _, err := os.Stat(path); os.IsNotExist(err) && !create {
			return nil, fmt.Errorf("there is no database at %s: make one with solewright migrate, or name another with --db", path)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
			return nil, fmt.Errorf("the folder of the database: %w", err)
		}
		if len(d.Replicas) > 0 {
			return nil, usageError{errors.New("--db-replica: the embedded database has none: it goes with --db postgres://…")}
		}
	} else if !onPostgres(url) {
		return nil, usageError{fmt.Errorf("--db: %q: want file:PATH or postgres://…", url)}
	}
	for _, r := range d.Replicas {
		if !onPostgres(r) {
			return nil, usageError{fmt.Errorf("--db-replica: %q: want postgres://…", r)}
		}
	}
	db, err := models.Open(a.ctx, models.Options{URL: url, Replicas: d.Replicas, Clock: a.now, Log: log})
	if wrong, ok := errors.AsType[assess.FieldError](err); ok {
		err = usageError{fmt.Errorf("--%s: %s", wrong.Field, wrong.Reason())}
	}
	return db, err
}

func onPostgres(url string) bool {
	return strings.HasPrefix(url, "postgres://") || strings.HasPrefix(url, "postgresql://")
}

// snapshot is the file from which the fleet in memory starts again.
func (d *database) snapshot() string { return filepath.Join(d.Data, "fleet.snapshot") }

// use opens the database, checks that its schema is this program's, and runs f.
func (d *database) use(a *app, f func(*models.DB) error) error {
	db, err := d.open(a, nil, false)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := db.CheckSchema(a.ctx); err != nil {
		return err
	}
	return f(db)
}

// operator is who the audit trail names for what is done at the command line.
var operator = models.Actor{Account: "solewright"}
