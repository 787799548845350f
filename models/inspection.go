package models

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"solewright/assess"
)

// Actor is who does something: a person's account, the device it was done on,
// or both. Jobs of the service itself have the account "solewright".
type Actor struct {
	Account, Device string
}

// Facts are what the engine found in a reading under the reading's own rules,
// as they are stored beside it.
type Facts struct {
	Verdict assess.Verdict
	How     assess.How
	// Codes are the codes of the findings, worst first, each once.
	Codes []string
	// Pattern is the wear pattern. Stored, its indices are in ten-thousandths.
	Pattern assess.PairPattern
	Grade   assess.GradeLetter
	Route   assess.Route
	Flags   assess.Flags
	Engine  string // version of the engine
}

// FactsOf returns the facts of a result. engine is the engine's version.
func FactsOf(r *assess.Result, engine string) Facts {
	f := Facts{
		Verdict: r.Verdict, How: r.How, Pattern: r.Pattern,
		Grade: r.Grade, Route: r.Route, Flags: r.Flags, Engine: engine,
	}
	seen := make(map[string]bool, len(r.Findings))
	for i := range r.Findings {
		if c := r.Findings[i].Code; !seen[c] {
			seen[c] = true
			f.Codes = append(f.Codes, c)
		}
	}
	return f
}

// NewInspection is a reading to be stored.
type NewInspection struct {
	Record assess.Record
	// SHA is the SHA-256 of the canonical form of the body, by which the same
	// reading sent again is known.
	SHA   [sha256.Size]byte
	Facts Facts
	// AsNew is the number of the model's as-new values that the reading was
	// judged with, 0 for none.
	AsNew int
	// ClockOffset is the server's clock less the tablet's, as estimated; 0 when
	// unknown. Stored, it is at most 12 days either way.
	ClockOffset time.Duration
	// Signed is the signature that the reading takes, if it takes one; it is used
	// up as the reading is stored.
	Signed *Signature
}

// Inspection is a reading as it is stored.
type Inspection struct {
	assess.Record
	Facts        Facts
	ModelID      assess.UUID // zero where the reading names no model
	AsNew        int
	Day, Month   string // in the store's zone at the time
	SupersededBy assess.UUID
	Erased       bool // the runner's data was erased
	ClockOffset  time.Duration
}

// Live reports whether the reading stands: neither voided nor superseded.
func (in *Inspection) Live() bool { return in.VoidedAt.IsZero() && in.SupersededBy.IsZero() }

// Saved is a stored reading, and whether this call stored it.
type Saved struct {
	Inspection
	Created bool
}

// MaxClockOff is how far a tablet's clock may be off before the reading is
// flagged. House value.
const MaxClockOff = 5 * time.Minute

// maxStoredOffset is the largest offset of a clock that has room in its column; a
// clock that was further off, as one that begins in 1970, stands as so much. Day and
// month go by the whole of it.
const maxStoredOffset = 12 * 24 * time.Hour

// errMoved says that somebody else changed a pair between reading and writing
// it; the caller reads again.
var errMoved = fmt.Errorf("the pair was changed at the same time: %w", ErrBusy)

// SaveInspection stores a reading once. The same body again returns what is
// stored, with Created false; another body under the same id is ErrConflict.
// In the same transaction the reading's pair is created or its interval of life
// computed anew, a superseded reading is struck out, and the change and the
// audit trail are written. A reading that is not blind and names no pair gets a
// new pair; one of a merged pair goes to the pair it was merged into. A model
// that the catalogue doesn't know is added as typed in.
//
// A reading whose Supersedes is set amends that one: ErrConflict where it was
// voided or amended before. A reading that takes a signature and has none is
// ErrUnsigned. A blind reading by who read the pair openly before, that day, or
// signed for its verdict is refused.
func (db *DB) SaveInspection(ctx context.Context, by Actor, in NewInspection) (Saved, error) {
	if err := checkNew(&in); err != nil {
		return Saved{}, err
	}
	s, err := db.saveAtOnce(ctx, by, in)
	if errors.Is(err, errLongWay) {
		err = db.tx(ctx, func(t *txn) error {
			var err error
			s, err = db.saveIn(ctx, t, by, in)
			return err
		})
	}
	if errors.Is(classify(err), ErrConflict) {
		// Another writer may have stored the same body a moment before.
		if again, ok, e := db.sameBody(ctx, db.q(), &in); e != nil || ok {
			return again, e
		}
	}
	return s, wrap(err, "storing reading %s", in.Record.ID)
}

// checkNew refuses what no row can hold.
func checkNew(in *NewInspection) error {
	r := &in.Record
	var errs assess.FieldErrors
	missing := func(field, want string) {
		errs.Add(assess.FieldError{Field: field, Want: want, Err: assess.ErrMissingField})
	}
	if r.ID.IsZero() {
		missing("inspection_id", "a UUID")
	}
	if r.Store == "" {
		missing("store", "the code of a store")
	}
	if r.Staff == "" {
		missing("staff", "the code of who read the pair")
	}
	if r.At.IsZero() {
		missing("at", "when the pair was read")
	}
	if r.Kind == assess.NoKind {
		missing("kind", "trade-in, check or blind")
	}
	return errs.Err()
}

// saveIn is SaveInspection within a transaction.
func (db *DB) saveIn(ctx context.Context, t *txn, by Actor, in NewInspection) (Saved, error) {
	if s, ok, err := db.sameBody(ctx, t, &in); err != nil || ok {
		return s, err
	}
	if err := db.useSignature(ctx, t, in.Signed); err != nil {
		return Saved{}, err
	}
	row, vals, err := db.prepared(ctx, t, &in)
	if err != nil {
		return Saved{}, err
	}
	if err := db.strikeOut(ctx, t, row); err != nil {
		return Saved{}, err
	}
	if _, err := t.ExecContext(ctx, inspectionLayout.insert(db.dialect), fields(row)...); err != nil {
		return Saved{}, err
	}
	for i := range vals {
		if _, err := t.ExecContext(ctx, valueLayout.insert(db.dialect), fields(&vals[i])...); err != nil {
			return Saved{}, err
		}
	}
	if err := db.checkBlind(ctx, t, row); err != nil {
		return Saved{}, err
	}
	contradicts, err := db.recompute(ctx, t, string(row.PairRef))
	if err != nil {
		return Saved{}, err
	}
	if err := db.noteChange(ctx, t, change{Op: Added, Store: row.Store, ID: row.ID, PairRef: row.PairRef}); err != nil {
		return Saved{}, err
	}
	if err := db.noteAudit(ctx, t, by, entry{action: createAction, subject: createSubject(in.Record.ID)}); err != nil {
		return Saved{}, err
	}
	stored, err := asStored(row, vals, contradicts)
	if err != nil {
		return Saved{}, err
	}
	return Saved{Inspection: *stored, Created: true}, nil
}

// sameBody looks whether the reading's id is taken. With the same body it
// returns what is stored and true; with another, ErrConflict.
func (db *DB) sameBody(ctx context.Context, q querier, in *NewInspection) (Saved, bool, error) {
	var sha hash
	err := q.QueryRowContext(ctx, db.dialect.sql("SELECT body_sha FROM inspection WHERE store = ? AND id = ?"),
		in.Record.Store, id(in.Record.ID)).Scan(&sha)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Saved{}, false, nil
	case err != nil:
		return Saved{}, false, err
	case sha == hash{}:
		return Saved{}, false, fmt.Errorf("reading %s was erased with its runner: it can't be sent again: %w", in.Record.ID, ErrConflict)
	case sha != hash(in.SHA):
		return Saved{}, false, fmt.Errorf("reading %s is stored with another content: amend it instead: %w", in.Record.ID, ErrConflict)
	}
	stored, err := db.inspectionIn(ctx, q, "i.store = ? AND i.id = ?", in.Record.Store, id(in.Record.ID))
	if err != nil {
		return Saved{}, false, err
	}
	return Saved{Inspection: *stored}, true, nil
}

// prepared lays the reading out as rows and fills in what the database knows:
// the store's day, the model, the pair.
func (db *DB) prepared(ctx context.Context, t *txn, in *NewInspection) (*inspectionRow, []valueRow, error) {
	r := &in.Record
	if r.ReceivedAt.IsZero() {
		r.ReceivedAt = db.now()
	}
	row, vals, err := newRow(in)
	if err != nil {
		return nil, nil, err
	}
	zone, err := db.zoneOf(ctx, t, r.Store)
	if err != nil {
		return nil, nil, err
	}
	if err := row.finish(in, zone); err != nil {
		return nil, nil, err
	}
	if row.ModelID, err = db.modelFor(ctx, t, r.Brand, r.Model, r.Version); err != nil {
		return nil, nil, err
	}
	if row.PairRef, err = db.pairFor(ctx, t, r); err != nil {
		return nil, nil, err
	}
	return row, vals, nil
}

// finish fills in the local day and the flags that are the database's to set.
func (row *inspectionRow) finish(in *NewInspection, zone *time.Location) error {
	var err error
	if row.Day, row.Month, err = localDay(in.Record.At.Add(in.ClockOffset), zone); err != nil {
		return err
	}
	flags := assess.Flags(row.Flags) &^ assess.FlagPairContradicts // a property of the pair as it is now
	if in.ClockOffset.Abs() > MaxClockOff {
		flags |= assess.FlagClockOff
	}
	if a, sent := in.Facts.Verdict, in.Record.Advised; a != sent && a != assess.NoVerdict && sent != assess.NoVerdict {
		flags |= assess.FlagVerdictDiffers
	}
	row.Flags = int64(flags)
	return nil
}

// localDay returns the day and the month of an instant in a store's zone. Only a
// year of four digits can stand in them.
func localDay(at time.Time, zone *time.Location) (day, month string, err error) {
	day = at.In(zone).Format(time.DateOnly)
	if len(day) != len(time.DateOnly) {
		return "", "", refused("at", at.Format(time.RFC3339), "an instant that lies before the year 10000 in the store's zone")
	}
	return day, day[:len("2006-01")], nil
}

// strikeOut links the row with the one it supersedes and the one that
// supersedes it, whichever came first, has the photos follow, and computes the
// other's pair anew.
func (db *DB) strikeOut(ctx context.Context, t *txn, row *inspectionRow) error {
	err := t.QueryRowContext(ctx, db.dialect.sql("SELECT id FROM inspection WHERE store = ? AND supersedes = ?"),
		row.Store, row.ID).Scan(&row.SupersededBy)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if row.SupersededBy != (id{}) {
		if err := db.photosFollow(ctx, t, row.Store, row.ID, row.SupersededBy); err != nil {
			return err
		}
	}
	if row.Supersedes == (id{}) {
		return nil
	}
	if err := db.photosFollow(ctx, t, row.Store, row.Supersedes, row.ID); err != nil {
		return err
	}
	var old struct {
		pair     text
		by       id
		voidedAt instant
	}
	err = t.QueryRowContext(ctx, db.dialect.sql("SELECT pair_ref, superseded_by, voided_at FROM inspection WHERE store = ? AND id = ?"),
		row.Store, row.Supersedes).Scan(&old.pair, &old.by, &old.voidedAt)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil // it comes later, as from another tablet that was off line
	case err != nil:
		return err
	case old.by != id{}:
		return fmt.Errorf("reading %s was %w", assess.UUID(row.Supersedes), ErrAmended)
	case old.voidedAt != instant{}:
		return fmt.Errorf("reading %s can't be amended, make a new one: it is %w", assess.UUID(row.Supersedes), ErrVoid)
	}
	n, err := affected(t.ExecContext(ctx, db.dialect.sql(
		"UPDATE inspection SET superseded_by = ? WHERE store = ? AND id = ? AND superseded_by IS NULL AND voided_at IS NULL"),
		row.ID, row.Store, row.Supersedes))
	if err == nil && n == 0 {
		err = errMoved
	}
	if err != nil {
		return err
	}
	if err := db.noteChange(ctx, t, change{Op: Superseded, Store: row.Store, ID: row.Supersedes, PairRef: old.pair}); err != nil {
		return err
	}
	if old.pair == row.PairRef {
		return nil // computed when the row itself is in
	}
	_, err = db.recompute(ctx, t, string(old.pair))
	return err
}

// asStored returns the value of a row and its rare values.
func asStored(row *inspectionRow, vals []valueRow, contradicts Contradiction) (*Inspection, error) {
	in, err := row.inspection(contradicts)
	if err != nil {
		return nil, err
	}
	for i := range vals {
		if err := addValue(&in.Reading, &vals[i]); err != nil {
			return nil, err
		}
	}
	return in, nil
}

// voidReason is the text that a reason may be, so that it comes back from an
// export.
var voidReason = assess.Text("void_reason", 300, itself)

// VoidInspection marks a reading as void and computes its pair anew. Voiding a
// void reading is ErrConflict.
func (db *DB) VoidInspection(ctx context.Context, by Actor, reading assess.UUID, reason string) (*Inspection, error) {
	if reason == "" {
		return nil, assess.FieldError{Field: "void_reason", Want: "why the reading is void", Err: assess.ErrMissingField}
	}
	if err := isWritten(voidReason, reason); err != nil {
		return nil, err
	}
	var voided *Inspection
	err := db.tx(ctx, func(t *txn) error {
		old, err := db.inspectionIn(ctx, t, "i.id = ?", id(reading))
		if err != nil {
			return err
		}
		if !old.VoidedAt.IsZero() {
			return fmt.Errorf("it is %w", ErrVoid)
		}
		n, err := affected(t.ExecContext(ctx, db.dialect.sql(
			"UPDATE inspection SET voided_at = ?, void_reason = ? WHERE store = ? AND id = ? AND voided_at IS NULL"),
			instant(db.now()), reason, old.Store, id(reading)))
		if err == nil && n == 0 {
			err = errMoved
		}
		if err != nil {
			return err
		}
		if _, err := db.recompute(ctx, t, old.PairRef); err != nil {
			return err
		}
		if err := db.noteChange(ctx, t, change{Op: Voided, Store: old.Store, ID: id(reading), PairRef: text(old.PairRef)}); err != nil {
			return err
		}
		if err := db.noteAudit(ctx, t, by, entry{
			action: "inspection.void", subject: "inspection:" + reading.String(), after: reason,
		}); err != nil {
			return err
		}
		voided, err = db.inspectionIn(ctx, t, "i.store = ? AND i.id = ?", old.Store, id(reading))
		return err
	})
	return voided, wrap(err, "voiding reading %s", reading)
}

// Inspection returns the reading with this id.
func (db *DB) Inspection(ctx context.Context, reading assess.UUID) (*Inspection, error) {
	in, err := db.inspectionIn(ctx, db.q(), "i.id = ?", id(reading))
	return in, wrap(err, "reading %s", reading)
}

// inspectionSelect reads inspections with whether their pair contradicts itself.
var inspectionSelect = "SELECT coalesce(p.contradicts, 0), " + inspectionLayout.list("i.") +
	" FROM inspection i LEFT JOIN pair p ON p.ref = i.pair_ref"

// inspectionIn returns the one inspection that meets a condition.
func (db *DB) inspectionIn(ctx context.Context, q querier, where string, args ...any) (*Inspection, error) {
	all, err := db.inspectionsIn(ctx, q, " WHERE "+where+" LIMIT 1", args...)
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, ErrNotFound
	}
	return all[0], nil
}

// inspectionsIn returns the inspections of a statement's tail, in its order,
// with their rare values, in two queries.
func (db *DB) inspectionsIn(ctx context.Context, q querier, tail string, args ...any) ([]*Inspection, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql(inspectionSelect+tail), args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var (
		row         inspectionRow
		contradicts Contradiction
		into        = append([]any{&contradicts}, fields(&row)...)
		all         []*Inspection
		rare        []*Inspection
	)
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		in, err := row.inspection(contradicts)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", assess.UUID(row.ID), err)
		}
		all = append(all, in)
		if row.HasValues {
			rare = append(rare, in)
		}
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	return all, db.addValues(ctx, q, rare)
}
