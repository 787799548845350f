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
	rows, err := s.db.primary.QueryContext(ctx, "SELECT body FROM fleet_snapshot ORDER BY part")
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

// Keep keeps a snapshot in the place of the last, all or nothing.
func (s Snapshots) Keep(ctx context.Context, from io.ReadSeeker) error {
	if s.db.dialect == sqliteDialect {
		return nil
	}
	return wrap(s.db.tx(ctx, func(t *txn) error {
		if _, err := from.Seek(0, io.SeekStart); err != nil { // it may be the second try
			return err
		}
		// Truncated, for rows that are deleted would lie there until they are vacuumed.
		if _, err := t.ExecContext(ctx, "TRUNCATE fleet_snapshot"); err != nil {
			return err
		}
		body := make([]byte, snapshotPart)
		for part := 0; ; part++ {
			n, err := io.ReadFull(from, body)
			if n > 0 {
				if _, err := t.ExecContext(ctx, "INSERT INTO fleet_snapshot (part, body) VALUES ($1, $2)", part, body[:n]); err != nil {
					return err
				}
			}
			switch {
			case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
				return nil
			case err != nil:
				return err
			}
		}
	}), "keeping the snapshot of the fleet")
}
