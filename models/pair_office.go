package models

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"solewright/assess"
	"solewright/models/retail"
)

// PairFilter picks pairs; zero fields don't restrict, but for Scopes.
type PairFilter struct {
	// Scopes are whose pairs are seen, by the store that had them last: none sees
	// nothing, Fleet everything.
	Scopes []retail.Scope
	Store  string
	Runner string
	Model  assess.UUID
	// Open leaves out what was traded in or merged; Contradicting everything
	// but the pairs whose readings contradict each other.
	Open, Contradicting bool
}

// Pairs returns a page of pairs by reference, and the cursor of the next page,
// empty at the end.
func (db *DB) Pairs(ctx context.Context, f PairFilter, p Page) ([]Pair, string, error) {
	var w where
	w.scopes("last_store", f.Scopes)
	if f.Store != "" {
		w.and("last_store = ?", f.Store)
	}
	if f.Runner != "" {
		w.and("runner = ?", f.Runner)
	}
	if !f.Model.IsZero() {
		w.and("model_id = ?", id(f.Model))
	}
	if f.Open {
		w.and("ended_at IS NULL AND merged_into IS NULL")
	}
	if f.Contradicting {
		w.and("contradicts > 0")
	}
	if p.After != "" {
		c, err := cursorOf(p.After, 1)
		if err != nil {
			return nil, "", err
		}
		w.and("ref > ?", c[0])
	}
	all, err := db.pairsIn(ctx, db.reader(), w.String()+" ORDER BY ref LIMIT ?", append(w.args, p.limit()+1)...)
	if err != nil || len(all) <= p.limit() {
		return all, "", wrap(err, "listing pairs")
	}
	all = all[:p.limit()]
	return all, cursor(all[len(all)-1].Ref), nil
}

// OpenPairs returns a runner's open pairs of a model, newest first, for the
// fitter to confirm; size, as printed, narrows them where it is known. They are
// offered, never taken by themselves.
func (db *DB) OpenPairs(ctx context.Context, runner string, model assess.UUID, size string) ([]Pair, error) {
	w := where{}
	w.and("runner = ? AND model_id = ? AND ended_at IS NULL AND merged_into IS NULL", runner, id(model))
	if size != "" {
		w.and("(size_label IS NULL OR size_label = ?)", size)
	}
	all, err := db.pairsIn(ctx, db.q(), w.String()+" ORDER BY created_at DESC, ref", w.args...)
	return all, wrap(err, "looking for open pairs")
}

func (db *DB) pairsIn(ctx context.Context, q querier, tail string, args ...any) ([]Pair, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+pairLayout.list("")+" FROM pair"+tail), args...)
	if err != nil {
		return nil, err
	}
	all := []Pair{}
	err = scanAll(rows, func(row *pairRow) error {
		all = append(all, row.pair())
		return nil
	})
	return all, err
}

// CreatePair stores a pair that was sold; of p, what a sale knows counts. A
// reference that is known already is ErrConflict.
func (db *DB) CreatePair(ctx context.Context, by Actor, p Pair) error {
	ref, err := assess.ParsePairRef(p.Ref)
	if err != nil {
		return refused("pair_ref", p.Ref, "eight characters and a check character")
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		if _, err := db.zoneOf(ctx, t, p.Store); err != nil {
			return err
		}
		if _, known, err := db.pairRowIn(ctx, t, ref); err != nil || known {
			if known {
				err = fmt.Errorf("the reference is taken: print another slip: %w", ErrConflict)
			}
			return err
		}
		row := pairRow{
			Ref: ref, ModelID: id(p.ModelID), SizeLabel: text(p.SizeLabel), SizeMM: number(p.SizeMM), Batch: text(p.Batch),
			Runner: text(p.Runner), BoughtOn: text(p.BoughtOn), Store: p.Store, CreatedAt: instant(db.now()),
		}
		if err := db.beginPair(ctx, t, &row); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "pair.create", subject: "pair:" + ref})
	}), "creating pair %s", ref)
}

// MergePairs says that two pairs are one: the readings, trade-ins and fittings
// of from become those of into, whose interval of life is computed anew; from
// leads to into from then on. Pairs that were merged before, or that were both
// traded in, are ErrConflict.
func (db *DB) MergePairs(ctx context.Context, by Actor, from, into, reason string) error {
	if reason == "" {
		return assess.FieldError{Field: "reason", Want: "why they are one pair", Err: assess.ErrMissingField}
	}
	if from == into {
		return refused("into", into, "another pair")
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		var both [2]pairRow
		for i, ref := range []string{from, into} {
			row, known, err := db.pairRowIn(ctx, t, ref)
			switch {
			case err != nil:
				return err
			case !known:
				return fmt.Errorf("pair %s: %w", ref, ErrNotFound)
			case row.MergedInto != "":
				return fmt.Errorf("pair %s was merged into %s: %w", ref, row.MergedInto, ErrConflict)
			}
			both[i] = row
		}
		if both[0].EndedAt != (instant{}) && both[1].EndedAt != (instant{}) {
			return fmt.Errorf("both were traded in: void one trade-in first: %w", ErrConflict)
		}
		// What only the sale of the other pair knew is kept.
		f := &both[0]
		if _, err := t.ExecContext(ctx, db.dialect.sql(`UPDATE pair SET model_id = coalesce(model_id, ?), size_label = coalesce(size_label, ?),
			size_mm = coalesce(size_mm, ?), batch = coalesce(batch, ?), runner = coalesce(runner, ?), bought_on = coalesce(bought_on, ?)
			WHERE ref = ?`), f.ModelID, f.SizeLabel, f.SizeMM, f.Batch, f.Runner, f.BoughtOn, into); err != nil {
			return err
		}
		moved, err := db.movePairs(ctx, t, from, into, "")
		if err != nil {
			return err
		}
		for _, u := range []struct {
			query string
			args  []any
		}{
			{"UPDATE pair SET merged_into = ? WHERE merged_into = ?", []any{into, from}},
			{"UPDATE pair SET merged_into = ?, version = version + 1 WHERE ref = ?", []any{into, from}},
		} {
			if _, err := t.ExecContext(ctx, db.dialect.sql(u.query), u.args...); err != nil {
				return err
			}
		}
		return db.noteAudit(ctx, t, by, entry{
			action: "pair.merge", subject: "pair:" + from, before: strings.Join(moved, " "), after: into + " " + reason,
		})
	}), "merging pair %s into %s", from, into)
}

// SplitPair takes readings out of a pair, which turned out to be another's, and
// returns the reference of the new pair they make. At least one reading must
// go, and one that is not blind stay.
func (db *DB) SplitPair(ctx context.Context, by Actor, ref string, readings []assess.UUID, reason string) (string, error) {
	if reason == "" {
		return "", assess.FieldError{Field: "reason", Want: "why they are two pairs", Err: assess.ErrMissingField}
	}
	var next string
	err := db.tx(ctx, func(t *txn) error {
		past, err := db.pastOf(ctx, t, ref)
		if err != nil {
			return err
		}
		if len(past) == 0 {
			return ErrNotFound
		}
		stay := 0
		for _, p := range past {
			if !slices.Contains(readings, assess.UUID(p.ID)) && p.Kind != int(assess.Blind) {
				stay++
			}
		}
		for _, r := range readings {
			if !slices.ContainsFunc(past, func(p pastRow) bool { return p.ID == id(r) }) {
				return refused("inspections", r.String(), "readings of pair "+ref)
			}
		}
		if stay == 0 || len(readings) == 0 {
			return refused("inspections", "", "some of the pair's readings, not all")
		}
		var random [10]byte
		_, _ = rand.Read(random[:]) // never fails: see crypto/rand
		n, err := db.newRef(ctx, t, assess.NewV7(db.now().UnixMilli(), random))
		if err != nil {
			return err
		}
		next = string(n)
		var w where
		args := make([]any, len(readings))
		for i, r := range readings {
			args[i] = id(r)
		}
		w.inAny("id", args)
		if _, err := db.movePairs(ctx, t, ref, next, w.String()[len(" WHERE "):], w.args...); err != nil {
			return err
		}
		names := make([]string, len(readings))
		for i, r := range readings {
			names[i] = r.String()
		}
		return db.noteAudit(ctx, t, by, entry{
			action: "pair.split", subject: "pair:" + ref, before: strings.Join(names, " "), after: next + " " + reason,
		})
	})
	return next, wrap(err, "splitting pair %s", ref)
}

// movePairs moves readings, with their trade-ins, from one pair to another and
// computes both anew; an empty condition moves all, and the fittings too. It
// returns the ids of what it moved.
func (db *DB) movePairs(ctx context.Context, t *txn, from, to, condition string, args ...any) ([]string, error) {
	chosen := "pair_ref = ?"
	if condition != "" {
		chosen += " AND " + condition
	}
	all := append([]any{from}, args...)
	moved, err := db.uuids(ctx, t, "SELECT id FROM inspection WHERE "+chosen+" ORDER BY id", all...)
	if err != nil {
		return nil, err
	}
	type step struct {
		query string
		args  []any
	}
	steps := []step{
		{"INSERT INTO change (op, store, id, pair_ref) SELECT ?, store, id, ? FROM inspection WHERE " + chosen, append([]any{int(PairMoved), to}, all...)},
		{"UPDATE trade_in SET pair_ref = ? WHERE inspection_id IN (SELECT id FROM inspection WHERE " + chosen + ")", append([]any{to}, all...)},
		{"UPDATE inspection SET pair_ref = ? WHERE " + chosen, append([]any{to}, all...)},
	}
	if condition == "" {
		steps = append(steps,
			step{"UPDATE fitting SET old_pair = ? WHERE old_pair = ?", []any{to, from}},
			step{"UPDATE fitting SET chosen_pair = ? WHERE chosen_pair = ?", []any{to, from}})
	}
	for _, s := range steps {
		if _, err := t.ExecContext(ctx, db.dialect.sql(s.query), s.args...); err != nil {
			return nil, err
		}
	}
	for _, ref := range []string{from, to} {
		if _, err := db.recompute(ctx, t, ref); err != nil {
			return nil, err
		}
		if err := db.reopen(ctx, t, ref); err != nil {
			return nil, err
		}
	}
	return moved, nil
}

// uuids returns the ids of a query, written out.
func (db *DB) uuids(ctx context.Context, q querier, query string, args ...any) ([]string, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql(query), args...)
	if err != nil {
		return nil, err
	}
	type idRow struct{ ID id }
	var all []string
	err = scanAll(rows, func(row *idRow) error {
		all = append(all, assess.UUID(row.ID).String())
		return nil
	})
	return all, err
}

// PairLine is what statistics see of a pair: the pair, its interval of life, and
// its last live reading that is not blind. Values are places in the lists of
// assess.Record.
type PairLine struct {
	Ref, Model, Category, Batch string
	ModelID                     assess.UUID
	Gait, Strike                assess.Value
	Posture                     assess.Value // of the foot whose shoe decided the pattern
	Surface, UsedFor            assess.Value
	Store, Month                string
	RunnerKey                   string // the same for all pairs of a runner, and leads to nobody
	Kind                        assess.RecordKind
	Heel, Fore                  assess.Pattern
	Side                        assess.MoreWorn
	Lower, Upper                assess.Value // unread where readings contradict each other, or none has a distance
	Verdict                     assess.Verdict
	Reason                      string // the code of the worst finding
}

// lineRow is what PairLine is read from.
type lineRow struct {
	Ref       string `gorm:"column:p.ref"`
	Batch     text   `gorm:"column:p.batch"`
	Runner    text   `gorm:"column:p.runner"`
	ModelID   id     `gorm:"column:p.model_id"`
	LowerKM   number `gorm:"column:p.lower_km"`
	UpperKM   number `gorm:"column:p.upper_km"`
	Brand     text   `gorm:"column:m.brand"`
	Model     text   `gorm:"column:m.model"`
	Version   text   `gorm:"column:m.version"`
	Category  text   `gorm:"column:m.category"`
	Store     string `gorm:"column:i.store"`
	Month     string `gorm:"column:i.month"`
	Kind      int    `gorm:"column:i.kind"`
	Gait      number `gorm:"column:i.gait"`
	LPosture  number `gorm:"column:i.l_posture"`
	RPosture  number `gorm:"column:i.r_posture"`
	Strike    number `gorm:"column:i.strike"`
	Surface   number `gorm:"column:i.surface"`
	UsedFor   number `gorm:"column:i.used_for"`
	Heel      code   `gorm:"column:i.heel"`
	Fore      code   `gorm:"column:i.fore"`
	Side      code   `gorm:"column:i.side"`
	DecidedBy number `gorm:"column:i.decided_by"`
	Advised   code   `gorm:"column:coalesce(i.advised, i.advised_sent)"`
	Codes     text   `gorm:"column:i.codes"`
}

var lineLayout = layoutOf("pair", lineRow{})

// EachPairLine calls f with every pair that has a live reading, by reference, in
// pages; from, to and store are of its last reading, and empty for no bound.
func (db *DB) EachPairLine(ctx context.Context, scopes []retail.Scope, from, to, store string, f func(*PairLine) error) error {
	secret, err := db.ID(ctx)
	if err != nil {
		return err
	}
	last := ""
	for {
		var w where
		w.scopes("i.store", scopes)
		if err := w.days("i.day", from, to); err != nil {
			return err
		}
		if store != "" {
			w.and("i.store = ?", store)
		}
		// The page is cut first: with the join before the limit, PostgreSQL may
		// join all pairs for each page.
		var next text
		if _, err := db.scalar(ctx, db.reader(), &next,
			"SELECT max(ref) FROM (SELECT ref FROM pair WHERE ref > ? ORDER BY ref LIMIT ?) p", last, streamPage); err != nil {
			return wrap(err, "reading the pairs")
		}
		if next == "" {
			return nil
		}
		w.and("p.ref > ? AND p.ref <= ? AND p.merged_into IS NULL", last, next)
		rows, err := db.reader().QueryContext(ctx, db.dialect.sql("SELECT "+lineLayout.list("")+
			" FROM pair p JOIN inspection i ON i.store = p.last_store AND i.id = p.last_id LEFT JOIN shoe_model m ON m.id = p.model_id"+
			w.String()+" ORDER BY p.ref"), w.args...)
		if err != nil {
			return wrap(err, "reading the pairs")
		}
		page := make([]PairLine, 0, streamPage)
		if err := scanAll(rows, func(row *lineRow) error {
			page = append(page, row.line(secret))
			return nil
		}); err != nil {
			return wrap(err, "reading the pairs")
		}
		for i := range page {
			if err := f(&page[i]); err != nil {
				return err
			}
		}
		last = string(next)
	}
}

func (row *lineRow) line(secret string) PairLine {
	l := PairLine{
		Ref: row.Ref, Category: string(row.Category), Batch: string(row.Batch), ModelID: assess.UUID(row.ModelID),
		Model: strings.Join(strings.Fields(string(row.Brand+" "+row.Model+" "+row.Version)), " "),
		Gait:  assess.Value(row.Gait), Strike: assess.Value(row.Strike), Surface: assess.Value(row.Surface),
		UsedFor: assess.Value(row.UsedFor), Store: row.Store, Month: row.Month, Kind: assess.RecordKind(row.Kind),
		Heel: assess.Pattern(row.Heel), Fore: assess.Pattern(row.Fore), Side: assess.MoreWorn(row.Side),
		Lower: assess.Value(row.LowerKM), Upper: assess.Value(row.UpperKM), Verdict: assess.Verdict(row.Advised),
	}
	l.Reason, _, _ = strings.Cut(string(row.Codes), " ")
	l.Posture = decidingPosture(row.DecidedBy, row.LPosture, row.RPosture)
	if row.Runner != "" {
		h := hmac.New(sha256.New, []byte(secret))
		h.Write([]byte(row.Runner))
		l.RunnerKey = hex.EncodeToString(h.Sum(nil)[:8])
	}
	return l
}

// EachInspection calls f with every reading that a filter picks, the voided
// among them unless Live is set, by store and id, in pages.
func (db *DB) EachInspection(ctx context.Context, f InspectionFilter, each func(*Inspection) error) error {
	var (
		store string
		last  assess.UUID
	)
	for {
		w, err := f.where()
		if err != nil {
			return err
		}
		w.and("(i.store, i.id) > (?, ?)", store, last[:])
		page, err := db.inspectionsIn(ctx, db.reader(), w.String()+" ORDER BY i.store, i.id LIMIT ?", append(w.args, streamPage)...)
		if err != nil {
			return wrap(err, "reading the readings")
		}
		for _, in := range page {
			if err := each(in); err != nil {
				return err
			}
		}
		if len(page) < streamPage {
			return nil
		}
		store, last = page[len(page)-1].Store, page[len(page)-1].ID
	}
}
