package models

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// SignalState is how far people have come with a signal. One that nobody has
// acted on isn't stored: it is found anew each time.
type SignalState string

// The states of a signal.
const (
	SignalOpen   SignalState = "open"   // commented on, nobody has taken it up
	SignalTaken  SignalState = "taken"  // somebody looks after it
	SignalClosed SignalState = "closed" // with an outcome
)

// SignalOutcomes are what a signal can turn out to be.
var SignalOutcomes = []string{"reader", "case mix", "shoe", "chance"}

// SignalActs are what can be done with a signal.
var SignalActs = []string{"take", "assign", "comment", "close"}

// Signal is a signal that somebody has acted on, with what it was found by.
type Signal struct {
	ID       assess.UUID
	Kind     string
	Scope    string // whose stores it was found in
	Subject  string
	Month    string
	Evidence json.RawMessage
	State    SignalState
	TakenBy  string
	Outcome  string
	Created  time.Time
	Changed  time.Time
	Notes    []SignalNote // oldest first
}

// SignalNote is what somebody said about a signal.
type SignalNote struct {
	Account string
	Words   string
	At      time.Time
}

// SignalAct is what somebody does with a signal. To is who gets it, Outcome
// what it turned out to be, Words why.
type SignalAct struct {
	Do, To, Outcome, Words string
}

// check refuses an act that lacks what it needs.
func (a *SignalAct) check() error {
	var errs assess.FieldErrors
	oneOf := func(field, value string, list []string) {
		if !slices.Contains(list, value) {
			errs.Add(assess.FieldError{Field: field, Value: value, Want: "one of " + strings.Join(list, ", "), Err: assess.ErrMalformed})
		}
	}
	oneOf("do", a.Do, SignalActs)
	if a.Do == "assign" && a.To == "" {
		errs.Add(assess.FieldError{Field: "to", Want: "the code of who looks after it", Err: assess.ErrMissingField})
	}
	if a.Do == "close" {
		oneOf("outcome", a.Outcome, SignalOutcomes)
	}
	if (a.Do == "comment" || a.Do == "close") && strings.TrimSpace(a.Words) == "" {
		errs.Add(assess.FieldError{Field: "words", Want: "what was found, in words", Err: assess.ErrMissingField})
	}
	return errs.Err()
}

type signalRow struct {
	ID        id      `gorm:"column:id;primaryKey"`
	Kind      string  `gorm:"column:kind"`
	Scope     string  `gorm:"column:scope"`
	Subject   string  `gorm:"column:subject"`
	Month     string  `gorm:"column:month"`
	Evidence  string  `gorm:"column:evidence"`
	State     string  `gorm:"column:state"`
	TakenBy   text    `gorm:"column:taken_by"`
	Outcome   text    `gorm:"column:outcome"`
	CreatedAt instant `gorm:"column:created_at"`
	ChangedAt instant `gorm:"column:changed_at"`
}

var signalLayout = layoutOf("signal", signalRow{})

func (row *signalRow) signal() Signal {
	return Signal{
		ID: assess.UUID(row.ID), Kind: row.Kind, Scope: row.Scope, Subject: row.Subject, Month: row.Month,
		Evidence: json.RawMessage(row.Evidence), State: SignalState(row.State), TakenBy: string(row.TakenBy), Outcome: string(row.Outcome),
		Created: time.Time(row.CreatedAt), Changed: time.Time(row.ChangedAt),
	}
}

func (db *DB) signals(ctx context.Context, q querier, tail string, args ...any) ([]signalRow, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+signalLayout.list("")+" FROM signal"+tail), args...)
	if err != nil {
		return nil, err
	}
	var all []signalRow
	err = scanAll(rows, func(row *signalRow) error {
		all = append(all, *row)
		return nil
	})
	return all, err
}

// Signals returns the signals of one scope that somebody has acted on, the last
// changed first, with their notes.
func (db *DB) Signals(ctx context.Context, scope string) ([]Signal, error) {
	rows, err := db.signals(ctx, db.reader(), " WHERE scope = ? ORDER BY changed_at DESC, id", scope)
	if err != nil {
		return nil, wrap(err, "reading the signals")
	}
	all := mapped(rows, (*signalRow).signal)
	at := make(map[id]int, len(rows))
	for i := range rows {
		at[rows[i].ID] = i
	}
	err = db.signalNotes(ctx, db.reader(), func(of assess.UUID, n SignalNote) {
		if i, ok := at[id(of)]; ok { // a signal stored since has its notes next time
			all[i].Notes = append(all[i].Notes, n)
		}
	}, "SELECT n.signal_id, n.account, n.words, n.created_at FROM signal_note n JOIN signal s ON s.id = n.signal_id WHERE s.scope = ? ORDER BY n.number", scope)
	return all, wrap(err, "reading the signals")
}

// SignalsByID returns those of some signals that somebody has acted on, with
// their notes, by id.
func (db *DB) SignalsByID(ctx context.Context, ids ...assess.UUID) (map[assess.UUID]*Signal, error) {
	all := make(map[assess.UUID]*Signal, len(ids))
	if len(ids) == 0 {
		return all, nil
	}
	var w where
	args := make([]any, len(ids))
	for i := range ids {
		args[i] = id(ids[i])
	}
	w.inAny("id", args)
	rows, err := db.signals(ctx, db.q(), w.String(), w.args...)
	if err != nil {
		return nil, wrap(err, "reading the signals")
	}
	for i := range rows {
		s := rows[i].signal()
		all[s.ID] = &s
	}
	w = where{}
	w.inAny("signal_id", args)
	err = db.signalNotes(ctx, db.q(), func(of assess.UUID, n SignalNote) {
		if s := all[of]; s != nil {
			s.Notes = append(s.Notes, n)
		}
	}, "SELECT signal_id, account, words, created_at FROM signal_note"+w.String()+" ORDER BY number", w.args...)
	return all, wrap(err, "reading the signals")
}

// signalNotes calls f with the notes that a query of the notes' columns finds.
func (db *DB) signalNotes(ctx context.Context, q querier, f func(of assess.UUID, n SignalNote), query string, args ...any) error {
	found, err := q.QueryContext(ctx, db.dialect.sql(query), args...)
	if err != nil {
		return err
	}
	defer found.Close()
	for found.Next() {
		var (
			of   id
			note SignalNote
			when instant
		)
		if err := found.Scan(&of, &note.Account, &note.Words, &when); err != nil {
			return err
		}
		note.At = time.Time(when)
		f(assess.UUID(of), note)
	}
	return found.Err()
}

// ActOnSignal does something with a signal, which is stored with its evidence
// the first time; found needs no state. Where found has no evidence, the signal
// must be stored already, else the error is ErrNotFound. A closed one takes
// comments only: anything else is ErrConflict.
func (db *DB) ActOnSignal(ctx context.Context, by Actor, found Signal, act SignalAct) error {
	if err := act.check(); err != nil {
		return err
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		row, err := db.storedSignal(ctx, t, &found)
		if err != nil {
			return err
		}
		before := row
		if row.State == string(SignalClosed) && act.Do != "comment" {
			return fmt.Errorf("it was closed: %s: %w", row.Outcome, ErrConflict)
		}
		switch act.Do {
		case "take":
			row.State, row.TakenBy = string(SignalTaken), text(by.Account)
		case "assign":
			if err := db.mayTakeSignal(ctx, t, act.To); err != nil {
				return err
			}
			row.State, row.TakenBy = string(SignalTaken), text(act.To)
		case "close":
			row.State, row.Outcome = string(SignalClosed), text(act.Outcome)
		}
		row.ChangedAt = instant(db.now())
		if _, err := t.ExecContext(ctx, db.dialect.sql("UPDATE signal SET state = ?, taken_by = ?, outcome = ?, changed_at = ? WHERE id = ?"),
			row.State, row.TakenBy, row.Outcome, row.ChangedAt, row.ID); err != nil {
			return err
		}
		if words := strings.TrimSpace(act.Words); words != "" {
			if _, err := t.ExecContext(ctx, db.dialect.sql("INSERT INTO signal_note (signal_id, account, words, created_at) VALUES (?, ?, ?, ?)"),
				row.ID, by.Account, words, row.ChangedAt); err != nil {
				return err
			}
		}
		return db.noteAudit(ctx, t, by, entry{
			action: "signal." + act.Do, subject: "signal:" + found.ID.String(),
			before: before.State, after: strings.TrimSpace(row.State + " " + string(row.TakenBy) + " " + string(row.Outcome)),
		})
	}), "signal %s", found.ID)
}

// storedSignal returns the row of a signal, storing it the first time.
func (db *DB) storedSignal(ctx context.Context, t *txn, found *Signal) (signalRow, error) {
	row, err := one(db.signals(ctx, t, " WHERE id = ?", id(found.ID)))
	if !errors.Is(err, ErrNotFound) || len(found.Evidence) == 0 {
		return row, err
	}
	now := instant(db.now())
	row = signalRow{
		ID: id(found.ID), Kind: found.Kind, Scope: found.Scope, Subject: found.Subject, Month: found.Month,
		Evidence: string(found.Evidence), State: string(SignalOpen), CreatedAt: now, ChangedAt: now,
	}
	_, err = t.ExecContext(ctx, signalLayout.insert(db.dialect), fields(&row)...)
	return row, classify(err)
}

// mayTakeSignal refuses who is nobody, or has left.
func (db *DB) mayTakeSignal(ctx context.Context, t *txn, code string) error {
	var known int
	_, err := db.scalar(ctx, t, &known, "SELECT count(*) FROM account WHERE code = ? AND (retired IS NULL OR retired > ?)", code, db.now().UTC().Format(time.DateOnly))
	if err == nil && known == 0 {
		return assess.FieldError{Field: "to", Value: code, Want: "the code of somebody who works here", Err: assess.ErrMalformed}
	}
	return err
}

// CreditFilter picks trade-ins; zero fields don't restrict, but for Scopes.
type CreditFilter struct {
	Scopes                  []retail.Scope
	From, To                string // local days, both included
	Region, Store, Category string
}

// Credit is what was given for pairs of one currency, store, category and month,
// in minor units. Advised is what the table said, Overridden how many differed.
type Credit struct {
	Currency, Store, Category, Month string
	Pairs, Overridden                int
	Given, Advised                   int64
}

// Credits adds up the credit of trade-ins that stand, by currency, store,
// category and month, in that order. Nothing is converted.
func (db *DB) Credits(ctx context.Context, f CreditFilter) ([]Credit, error) {
	var all []Credit
	err := db.handOvers(ctx, f, "t.currency, t.store, coalesce(m.category, ''), t.month",
		"sum(CASE WHEN t.credit <> t.advised THEN 1 ELSE 0 END), CAST(sum(t.credit) AS BIGINT), CAST(sum(t.advised) AS BIGINT)",
		func(rows *sql.Rows) error {
			var c Credit
			err := rows.Scan(&c.Currency, &c.Store, &c.Category, &c.Month, &c.Pairs, &c.Overridden, &c.Given, &c.Advised)
			all = append(all, c)
			return err
		})
	return all, wrap(err, "adding up the credit")
}

// Routed is how many pairs of one store, category and month went one way, by the grade
// that they had.
type Routed struct {
	Store, Category, Month string
	Grade                  assess.GradeLetter
	Route                  assess.Route
	Pairs                  int
}

// Routes counts where pairs went at hand-overs that stand, by store, category, month,
// grade and route, in that order.
func (db *DB) Routes(ctx context.Context, f CreditFilter) ([]Routed, error) {
	var all []Routed
	err := db.handOvers(ctx, f, "t.store, coalesce(m.category, ''), t.month, t.grade, t.route", "", func(rows *sql.Rows) error {
		var r Routed
		err := rows.Scan(&r.Store, &r.Category, &r.Month, &r.Grade, &r.Route, &r.Pairs)
		all = append(all, r)
		return err
	})
	return all, wrap(err, "counting where pairs went")
}

// handOvers calls each with groups of the trade-ins that stand, in order: what they are
// grouped by, how many there are, and sums of them.
func (db *DB) handOvers(ctx context.Context, f CreditFilter, groups, sums string, each func(*sql.Rows) error) error {
	var w where
	w.scopes("t.store", f.Scopes)
	if err := w.days("t.day", f.From, f.To); err != nil {
		return err
	}
	if f.Region != "" {
		w.and("t.store IN (SELECT code FROM store WHERE region = ?)", f.Region)
	}
	if f.Store != "" {
		w.and("t.store = ?", f.Store)
	}
	if f.Category != "" {
		w.and("m.category = ?", f.Category)
	}
	w.and("t.voided_at IS NULL")
	if sums != "" {
		sums = ", " + sums
	}
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql("SELECT "+groups+", count(*)"+sums+
		" FROM trade_in t LEFT JOIN pair p ON p.ref = t.pair_ref LEFT JOIN shoe_model m ON m.id = p.model_id"+
		w.String()+" GROUP BY "+groups+" ORDER BY "+groups), w.args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := each(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
