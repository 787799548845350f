package models

import (
	"context"
	"time"

	"solewright/assess"
)

// Op says what a change did.
type Op int

// The operations of the change feed.
const (
	Added      Op = iota + 1 // a reading was stored
	Voided                   // a reading was voided
	Superseded               // a reading was replaced by an amendment
	PairMoved                // a pair's readings were merged or split
	Rejudged                 // a reading's facts were computed anew
	Erased                   // a reading's runner was erased
)

// change is one row of the change feed.
type change struct {
	Op      Op
	Store   string
	ID      id
	PairRef text
}

func (db *DB) noteChange(ctx context.Context, q querier, c change) error {
	_, err := q.ExecContext(ctx, db.dialect.sql("INSERT INTO change (op, store, id, pair_ref) VALUES (?, ?, ?, ?)"),
		int(c.Op), text(c.Store), c.ID, c.PairRef)
	return err
}

// entry is one line of the audit trail; runner is set where before or after
// names a runner.
type entry struct {
	action, subject, runner, before, after string
}

func (db *DB) noteAudit(ctx context.Context, q querier, by Actor, e entry) error {
	_, err := q.ExecContext(ctx, db.dialect.sql(
		"INSERT INTO audit (at, account, device, action, subject, runner, before, after) VALUES (?, ?, ?, ?, ?, ?, ?, ?)"),
		instant(db.now()), text(by.Account), text(by.Device), e.action, e.subject, text(e.runner), text(e.before), text(e.after))
	return err
}

// Change is one entry of the change feed: read the reading and the pair again.
type Change struct {
	Position
	Op      Op
	Store   string
	ID      assess.UUID
	PairRef string
}

// Position is a place in the change feed. The zero Position is its beginning.
type Position struct {
	Tx, Number int64
}

// Changes returns up to limit changes after a position, in order. On PostgreSQL
// it stops before the oldest transaction that is still writing, so that what
// such a transaction adds later is never passed over. A follower that has read
// everything got fewer than limit.
func (db *DB) Changes(ctx context.Context, after Position, limit int) ([]Change, error) {
	query := "SELECT tx, number, op, store, id, pair_ref FROM change WHERE number > ? ORDER BY number LIMIT ?"
	args := []any{after.Number, limit}
	if db.dialect == postgresDialect {
		query = `SELECT tx::text::bigint, number, op, store, id, pair_ref FROM change
			WHERE (tx, number) > (?::text::xid8, ?) AND tx < pg_snapshot_xmin(pg_current_snapshot())
			ORDER BY tx, number LIMIT ?`
		args = []any{after.Tx, after.Number, limit}
	}
	rows, err := db.primary.QueryContext(ctx, db.dialect.sql(query), args...)
	if err != nil {
		return nil, wrap(err, "reading the change feed")
	}
	defer rows.Close()
	var all []Change
	for rows.Next() {
		var (
			c       Change
			store   text
			reading id
			pair    text
		)
		if err := rows.Scan(&c.Tx, &c.Number, &c.Op, &store, &reading, &pair); err != nil {
			return nil, wrap(err, "reading the change feed")
		}
		c.Store, c.ID, c.PairRef = string(store), assess.UUID(reading), string(pair)
		all = append(all, c)
	}
	return all, wrap(rows.Err(), "reading the change feed")
}

// AuditEntry is one line of the audit trail.
type AuditEntry struct {
	Number          int64
	At              time.Time
	Account, Device string
	Action, Subject string
	Before, After   string
}
