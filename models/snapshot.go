package models

import (
	"context"
	"database/sql"
	"errors"
	"io"
	"io/fs"
)

// Snapshots keep the last snapshot of the fleet in memory in PostgreSQL, so that a
// server that comes up elsewhere, or on a machine without a disk of its own, needn't
// read every reading. What is kept can be made anew at any time: it is not in the
// log, and a PostgreSQL that crashed has none. SQLite keeps none, for the data folder
// beside it has the file.
type Snapshots struct{ db *DB }

// Snapshots returns the snapshots of the fleet in the database.
func (db *DB) Snapshots() Snapshots { return Snapshots{db} }

// snapshotPart is how much of a snapshot one row holds. House value.
const snapshotPart = 1 << 20

// Fetch writes the snapshot that was kept last. The error is [fs.ErrNotExist] where
// there is none. Whoever reads it finds out by its checksum whether it is whole.
func (s Snapshots) Fetch(ctx context.Context, to io.Writer) (err error) {
	defer func() { err = wrap(err, "fetching the snapshot of the fleet") }()
	rows, err := s.db.primary.QueryContext(ctx,
		"SELECT body FROM fleet_snapshot WHERE made = (SELECT max(made) FROM fleet_snapshot WHERE ends) AND NOT ends ORDER BY part")
	if err != nil {
		return err
	}
	defer rows.Close()
	err = fs.ErrNotExist
	for rows.Next() {
		var body sql.RawBytes
		if err := rows.Scan(&body); err != nil {
			return err
		}
		if _, err := to.Write(body); err != nil {
			return err
		}
		err = nil
	}
	return errors.Join(rows.Err(), err)
}

// Keep keeps a snapshot in the place of the last, all or nothing. Each part is a
// transaction of its own, for what is followed waits for the oldest that is open;
// what counts is the row that ends it.
func (s Snapshots) Keep(ctx context.Context, from io.Reader) (err error) {
	if s.db.dialect == sqliteDialect {
		return nil
	}
	defer func() { err = wrap(err, "keeping the snapshot of the fleet") }()
	// A server that is at it at the same moment has the same number, and one fails.
	var made int64
	if err := s.db.primary.QueryRowContext(ctx, "SELECT coalesce(max(made), 0) + 1 FROM fleet_snapshot").Scan(&made); err != nil {
		return err
	}
	put := func(part int, ends bool, body []byte) error {
		return s.db.tx(ctx, func(t *txn) error {
			_, err := t.ExecContext(ctx, "INSERT INTO fleet_snapshot (made, part, ends, body) VALUES ($1, $2, $3, $4)", made, part, ends, body)
			return err
		})
	}
	body := make([]byte, snapshotPart)
	for part := 0; ; part++ {
		n, err := io.ReadFull(from, body)
		switch {
		case err == nil || errors.Is(err, io.ErrUnexpectedEOF):
			if err := put(part, false, body[:n]); err != nil {
				return err
			}
			continue
		case !errors.Is(err, io.EOF):
			return err
		}
		if err := put(part, true, nil); err != nil {
			return err
		}
		return s.db.tx(ctx, func(t *txn) error {
			_, err := t.ExecContext(ctx, "DELETE FROM fleet_snapshot WHERE made < $1", made)
			return err
		})
	}
}
