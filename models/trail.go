package models

import (
	"context"
	"encoding/json"
	"strconv"
	"strings"
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
	Relinked                 // a reading's typed-in model was linked to a catalogued one
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
	db.wrote()
	return err
}

// wrote counts a record that changed.
func (db *DB) wrote() {
	if db.within != nil {
		db.within.writes++
	}
}

// Writes returns how many records the verbs that run together changed so far: one
// that finds what it was to store adds nothing.
func (db *DB) Writes() int {
	if db.within == nil {
		return 0
	}
	return db.within.writes
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
		args = []any{strconv.FormatInt(after.Tx, 10), after.Number, limit}
	}
	rows, err := db.q().QueryContext(ctx, db.dialect.sql(query), args...)
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

// AuditEntry is one line of the audit trail: who, on which device, when, what,
// and what it was before and after.
type AuditEntry struct {
	Number          int64
	At              time.Time
	Account, Device string
	Action, Subject string
	Before, After   string
}

type auditRow struct {
	Number  int64   `gorm:"column:number;primaryKey"`
	At      instant `gorm:"column:at"`
	Account text    `gorm:"column:account"`
	Device  text    `gorm:"column:device"`
	Action  string  `gorm:"column:action"`
	Subject string  `gorm:"column:subject"`
	Runner  text    `gorm:"column:runner"`
	Before  text    `gorm:"column:before"`
	After   text    `gorm:"column:after"`
}

var auditLayout = layoutOf("audit", auditRow{})

func (row *auditRow) entry() AuditEntry {
	return AuditEntry{
		Number: row.Number, At: time.Time(row.At), Account: string(row.Account), Device: string(row.Device),
		Action: row.Action, Subject: row.Subject, Before: string(row.Before), After: string(row.After),
	}
}

// AuditFilter picks lines of the audit trail; zero fields don't restrict.
type AuditFilter struct {
	Account, Device string
	// Action is what was done, such as inspection.void; with a trailing dot, all
	// of a kind, such as "staff.".
	Action   string
	Subject  string // such as store:S-0001
	From, To time.Time
}

// Audit returns a page of the audit trail, newest first, and the cursor of the
// next, empty at the end.
func (db *DB) Audit(ctx context.Context, f AuditFilter, p Page) ([]AuditEntry, string, error) {
	var w where
	for _, c := range []struct{ column, value string }{{"account", f.Account}, {"device", f.Device}, {"subject", f.Subject}} {
		if c.value != "" {
			w.and(c.column+" = ?", c.value)
		}
	}
	if kind, ok := strings.CutSuffix(f.Action, "."); ok {
		w.and("action >= ? AND action < ?", kind+".", kind+"/") // the character after the dot
	} else if f.Action != "" {
		w.and("action = ?", f.Action)
	}
	if !f.From.IsZero() {
		w.and("at >= ?", instant(f.From))
	}
	if !f.To.IsZero() {
		w.and("at < ?", instant(f.To))
	}
	if p.After != "" {
		c, err := cursorOf(p.After, 1)
		if err != nil {
			return nil, "", err
		}
		n, err := strconv.ParseInt(c[0], 10, 64)
		if err != nil {
			return nil, "", errCursor
		}
		w.and("number < ?", n)
	}
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql("SELECT "+auditLayout.list("")+" FROM audit"+w.String()+
		" ORDER BY number DESC LIMIT ?"), append(w.args, p.limit()+1)...)
	if err != nil {
		return nil, "", wrap(err, "reading the audit trail")
	}
	all := []AuditEntry{}
	err = scanAll(rows, func(row *auditRow) error {
		all = append(all, row.entry())
		return nil
	})
	if err != nil || len(all) <= p.limit() {
		return all, "", wrap(err, "reading the audit trail")
	}
	all = all[:p.limit()]
	return all, cursor(strconv.FormatInt(all[len(all)-1].Number, 10)), nil
}

// AuditRead notes that somebody looked at something outside their own scope,
// such as pair:REF.
func (db *DB) AuditRead(ctx context.Context, by Actor, subject string) error {
	return wrap(db.noteAudit(ctx, db.q(), by, entry{action: "read", subject: subject}), "noting a read")
}

// Import is what became of a file that somebody brought in. Refused says that
// rows were bad, Why, where it isn't empty, that the import failed otherwise;
// nothing was stored then, but for the good rows where they were to be kept.
type Import struct {
	At      time.Time `json:"-"`
	Account string    `json:"-"`
	Kind    string    `json:"-"`
	File    string    `json:"file,omitempty"`
	Read    int       `json:"read"`
	Stored  int       `json:"stored"`
	Known   int       `json:"known"`
	Refused int       `json:"refused"`
	Why     string    `json:"why,omitempty"`
}

// Failed reports whether nothing came of the import.
func (i *Import) Failed() bool { return i.Why != "" || i.Refused > 0 && i.Stored == 0 && i.Known == 0 }

// importAction is the action of an import in the audit trail.
const importAction = "import"

// NoteImport notes in the audit trail what became of a file.
func (db *DB) NoteImport(ctx context.Context, by Actor, i Import) error {
	text, err := json.Marshal(i)
	if err == nil {
		err = db.noteAudit(ctx, db.q(), by, entry{action: importAction, subject: "import:" + i.Kind, after: string(text)})
	}
	return wrap(err, "noting an import")
}

// Imports returns the last imports, newest first.
func (db *DB) Imports(ctx context.Context, limit int) ([]Import, error) {
	entries, _, err := db.Audit(ctx, AuditFilter{Action: importAction}, Page{Limit: limit})
	if err != nil {
		return nil, err
	}
	all := make([]Import, len(entries))
	for n := range entries {
		e, i := &entries[n], &all[n]
		if err := json.Unmarshal([]byte(e.After), i); err != nil {
			return nil, wrap(err, "reading the imports")
		}
		i.At, i.Account, i.Kind = e.At, e.Account, strings.TrimPrefix(e.Subject, "import:")
	}
	return all, nil
}

// ClaimJob takes a job's period for owner: true for the one winner among all
// servers, until the lease is over or the job is finished. A period whose owner
// let the lease run out is taken over.
func (db *DB) ClaimJob(ctx context.Context, job, period, owner string, lease time.Duration) (bool, error) {
	now := db.now()
	n, err := affected(db.q().ExecContext(ctx, db.dialect.sql(`
		INSERT INTO job_run (job, period, owner, lease_until, attempts) VALUES (?, ?, ?, ?, 1)
		ON CONFLICT (job, period) DO UPDATE
			SET owner = excluded.owner, lease_until = excluded.lease_until, attempts = job_run.attempts + 1
			WHERE job_run.done_at IS NULL AND job_run.lease_until < ?`),
		job, period, owner, instant(now.Add(lease)), instant(now)))
	return n == 1, wrap(err, "claiming job %s %s", job, period)
}

// FinishJob says that the owner has done a job's period. ErrConflict says that
// another owner has taken it over meanwhile.
func (db *DB) FinishJob(ctx context.Context, job, period, owner string) error {
	n, err := affected(db.q().ExecContext(ctx, db.dialect.sql(
		"UPDATE job_run SET done_at = ? WHERE job = ? AND period = ? AND owner = ? AND done_at IS NULL"),
		instant(db.now()), job, period, owner))
	if err == nil && n == 0 {
		err = ErrConflict
	}
	return wrap(err, "finishing job %s %s", job, period)
}
