package models

import (
	"context"
	"database/sql"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"solewright/assess"
	"solewright/models/retail"
)

// Fleet is the scopes that reach everything.
var Fleet = []retail.Scope{{}}

// InspectionFilter picks readings; zero fields don't restrict, but for Scopes.
type InspectionFilter struct {
	// Scopes are whose stores are seen: none sees nothing, Fleet everything.
	Scopes   []retail.Scope
	Store    string
	Region   string
	From, To string // local days, YYYY-MM-DD, both included
	PairRef  string
	Runner   string
	Staff    string
	Device   string
	Model    assess.UUID
	Kind     assess.RecordKind
	Verdict  assess.Verdict // advised
	// Live leaves out what was voided or superseded.
	Live bool
	// Fault keeps what is flagged as a possible fault of the shoe and is not
	// blind, Unclosed of that what nobody has closed as a signal.
	Fault, Unclosed bool
	// Waiting keeps what was kept off line on the word of a second person who
	// proved nothing, and what nobody has confirmed since.
	Waiting bool
	// OldestFirst turns the order round.
	OldestFirst bool
}

// Page asks for a page of a list: up to Limit entries after the cursor that the
// page before returned. A Limit of 0 is DefaultLimit; MaxLimit is the most.
type Page struct {
	After string
	Limit int
}

// The sizes of a page. House values.
const (
	DefaultLimit = 50
	MaxLimit     = 500

	// streamPage is how many rows a stream holds at once.
	streamPage = 1000
)

func (p Page) limit() int {
	if p.Limit <= 0 {
		return DefaultLimit
	}
	return min(p.Limit, MaxLimit)
}

// where collects conditions and their arguments.
type where struct {
	conditions []string
	args       []any
}

func (w *where) and(condition string, args ...any) {
	w.conditions = append(w.conditions, condition)
	w.args = append(w.args, args...)
}

// String returns the WHERE clause, empty without conditions.
func (w *where) String() string {
	if len(w.conditions) == 0 {
		return ""
	}
	return " WHERE " + strings.Join(w.conditions, " AND ")
}

// in adds a condition that a column is one of some words; of none, it is no
// condition.
func (w *where) in(column string, words []string) {
	args := make([]any, len(words))
	for i, s := range words {
		args[i] = s
	}
	w.inAny(column, args)
}

// inAny is in for any type.
func (w *where) inAny(column string, args []any) {
	if len(args) > 0 {
		w.and(column+" IN (?"+strings.Repeat(", ?", len(args)-1)+")", args...)
	}
}

// days restricts a column to local days.
func (w *where) days(column, from, to string) error {
	for _, d := range []struct{ field, day, condition string }{{"from", from, " >= ?"}, {"to", to, " <= ?"}} {
		if d.day == "" {
			continue
		}
		if _, err := time.Parse(time.DateOnly, d.day); err != nil {
			return refused(d.field, d.day, "a day as YYYY-MM-DD")
		}
		w.and(column+d.condition, d.day)
	}
	return nil
}

// scopes restricts a column of store codes to what scopes reach. None reach
// nothing.
func (w *where) scopes(column string, scopes []retail.Scope) {
	var regions, stores []string
	for _, s := range scopes {
		switch {
		case s.Store != "":
			stores = append(stores, s.Store)
		case s.Region != "":
			regions = append(regions, s.Region)
		default:
			return // the fleet
		}
	}
	var parts where
	parts.in(column, stores)
	if len(regions) > 0 {
		var r where
		r.in("region", regions)
		parts.and(column+" IN (SELECT code FROM store"+r.String()+")", r.args...)
	}
	if len(parts.conditions) == 0 {
		w.and("1 = 0")
		return
	}
	w.and("("+strings.Join(parts.conditions, " OR ")+")", parts.args...)
}

func (f *InspectionFilter) where() (*where, error) {
	var w where
	w.scopes("i.store", f.Scopes)
	if f.Region != "" {
		w.and("i.store IN (SELECT code FROM store WHERE region = ?)", f.Region)
	}
	if err := w.days("i.day", f.From, f.To); err != nil {
		return nil, err
	}
	for _, c := range []struct{ column, value string }{
		{"i.store", f.Store}, {"i.pair_ref", f.PairRef}, {"i.runner", f.Runner}, {"i.staff", f.Staff}, {"i.device", f.Device},
	} {
		if c.value != "" {
			w.and(c.column+" = ?", c.value)
		}
	}
	if !f.Model.IsZero() {
		w.and("i.model_id = ?", id(f.Model))
	}
	if f.Kind != assess.NoKind {
		w.and("i.kind = ?", int(f.Kind))
	}
	if f.Verdict != assess.NoVerdict {
		w.and("i.advised = ?", int(f.Verdict))
	}
	if f.Live {
		w.and("i.voided_at IS NULL AND i.superseded_by IS NULL")
	}
	if f.Fault {
		w.and(faulty+" AND i.kind <> ?", int(assess.Blind))
	}
	if f.Unclosed {
		w.and("NOT EXISTS (SELECT 1 FROM signal s WHERE s.id = i.id AND s.state = ?)", string(SignalClosed))
	}
	if f.Waiting {
		w.and(unproven + " AND NOT " + confirmed)
	}
	return &w, nil
}

// unproven is the condition of the index inspection_unproven.
var unproven = fmt.Sprintf("(i.flags & %d) <> 0", assess.FlagSecondUnproven)

// faulty is the condition that the index inspection_fault is made for, which a
// parameter would hide from it.
var faulty = fmt.Sprintf("(i.flags & %d) <> 0", assess.FlagPossibleFault)

// CountInspections counts the readings that a filter picks.
func (db *DB) CountInspections(ctx context.Context, f InspectionFilter) (n int, err error) {
	w, err := f.where()
	if err == nil {
		_, err = db.scalar(ctx, db.reader(), &n, "SELECT count(*) FROM inspection i"+w.String(), w.args...)
	}
	return n, wrap(err, "counting readings")
}

// Inspections returns a page of the readings that a filter picks, newest first
// unless asked otherwise, and the cursor of the next page, empty at the end.
func (db *DB) Inspections(ctx context.Context, f InspectionFilter, p Page) ([]*Inspection, string, error) {
	if len(f.Scopes) == 1 && f.Store == "" {
		f.Store = f.Scopes[0].Store
	}
	w, err := f.where()
	if err != nil {
		return nil, "", err
	}
	order, beyond := "DESC", "<"
	if f.OldestFirst {
		order, beyond = "ASC", ">"
	}
	// One store's readings are in order in the primary key; across stores, the
	// order is that of the index by day.
	keys := []string{"i.day", "i.id", "i.store"}
	if f.Store != "" {
		keys = keys[1:2]
	}
	if p.After != "" {
		c, err := cursorOf(p.After, 3)
		if err != nil {
			return nil, "", err
		}
		u, err := assess.ParseUUID(c[1])
		if err != nil {
			return nil, "", errCursor
		}
		args := []any{c[0], id(u), c[2]}
		if f.Store != "" {
			args = args[1:2]
		}
		w.and("("+strings.Join(keys, ", ")+") "+beyond+" (?"+strings.Repeat(", ?", len(keys)-1)+")", args...)
	}
	n := p.limit()
	tail := w.String()
	if f.Store == "" && db.dialect == sqliteDialect {
		// Left to itself, SQLite would find the stores' readings by the primary key
		// and sort them all by day, for one page; a sign takes that index away.
		tail = strings.ReplaceAll(tail, "i.store IN", "+i.store IN")
	}
	all, err := db.inspectionsIn(ctx, db.reader(), tail+
		" ORDER BY "+strings.Join(keys, " "+order+", ")+" "+order+" LIMIT ?", append(w.args, n+1)...)
	if err != nil {
		return nil, "", wrap(err, "listing readings")
	}
	if len(all) <= n {
		return all, "", nil
	}
	all = all[:n]
	last := all[n-1]
	return all, cursor(last.Day, last.ID.String(), last.Store), nil
}

// addValues reads the rare values of readings, in one query for each few
// hundred.
func (db *DB) addValues(ctx context.Context, q querier, of []*Inspection) error {
	const chunk = 400 // two parameters each, far below the least bound of a statement
	uuid := map[dialect]string{sqliteDialect: "BLOB", postgresDialect: "uuid"}[db.dialect]
	for part := range slices.Chunk(of, chunk) {
		type key struct {
			store string
			id    id
		}
		byID := make(map[key]*Inspection, len(part))
		args := make([]any, 0, 2*len(part))
		for _, in := range part {
			byID[key{in.Store, id(in.ID)}] = in
			args = append(args, in.Store, id(in.ID))
		}
		one := "(CAST(? AS TEXT), CAST(? AS " + uuid + ")), "
		rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+valueLayout.list("")+" FROM inspection_value WHERE (store, id) IN (VALUES "+
			strings.TrimSuffix(strings.Repeat(one, len(part)), ", ")+")"), args...)
		if err != nil {
			return err
		}
		if err := scanAll(rows, func(w *valueRow) error { return addValue(&byID[key{w.Store, w.ID}].Reading, w) }); err != nil {
			return err
		}
	}
	return nil
}

// scanAll calls f with every row of a query, which is the same variable each
// time, and closes it.
func scanAll[R any](rows *sql.Rows, f func(*R) error) error {
	defer rows.Close()
	var row R
	into := fields(&row)
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return err
		}
		if err := f(&row); err != nil {
			return err
		}
	}
	return rows.Err()
}

var errCursor = refused("cursor", "", "the cursor of the page before, unchanged")

// cursor writes the key of the last entry of a page.
func cursor(key ...string) string {
	return base64.RawURLEncoding.EncodeToString([]byte(strings.Join(key, "\x00")))
}

// cursorOf reads a cursor of n parts.
func cursorOf(s string, n int) ([]string, error) {
	b, err := base64.RawURLEncoding.DecodeString(s)
	if err != nil || !utf8.Valid(b) {
		return nil, errCursor
	}
	parts := strings.Split(string(b), "\x00")
	if len(parts) != n {
		return nil, errCursor
	}
	return parts, nil
}
