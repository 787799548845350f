package models

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// TradeIn is the hand-over of a pair to the store: what it was graded, where it
// goes, and the credit given for it. It ends the pair.
type TradeIn struct {
	ID           assess.UUID
	Store        string
	InspectionID assess.UUID
	PairRef      string
	Staff        string
	Device       string
	At           time.Time
	Grade        assess.GradeLetter
	Route        assess.Route
	// Credit is what was given and Advised what the table says, in minor units of
	// the store's currency; CreditTable is the number of the table.
	Credit, Advised int64
	Currency        string
	CreditTable     int
	// OverrideBy and Reason stand where Credit is not what the table says.
	OverrideBy, Reason string
	Voucher            string
	// Signed is the signature that another credit than the table's takes, where
	// the one who gives it may not by themselves; it is used up as the trade-in is
	// stored, and not read back.
	Signed *Signature
}

// StoredTradeIn is a trade-in as it is stored.
type StoredTradeIn struct {
	TradeIn
	ReceivedAt time.Time
	Day, Month string // in the store's zone at the time
	VoidedAt   time.Time
	VoidReason string
}

type tradeInRow struct {
	Store        string  `gorm:"column:store;primaryKey"`
	ID           id      `gorm:"column:id;primaryKey"`
	InspectionID id      `gorm:"column:inspection_id"`
	PairRef      string  `gorm:"column:pair_ref"`
	Staff        string  `gorm:"column:staff"`
	Device       text    `gorm:"column:device"`
	At           instant `gorm:"column:at"`
	ReceivedAt   instant `gorm:"column:received_at"`
	Day          string  `gorm:"column:day"`
	Month        string  `gorm:"column:month"`
	Grade        int     `gorm:"column:grade"`
	Route        int     `gorm:"column:route"`
	Credit       int64   `gorm:"column:credit"`
	Advised      int64   `gorm:"column:advised"`
	Currency     string  `gorm:"column:currency"`
	CreditTable  int     `gorm:"column:credit_table"`
	OverrideBy   text    `gorm:"column:override_by"`
	Reason       text    `gorm:"column:reason"`
	Voucher      text    `gorm:"column:voucher"`
	VoidedAt     instant `gorm:"column:voided_at"`
	VoidReason   text    `gorm:"column:void_reason"`
	BodySHA      hash    `gorm:"column:body_sha"`
}

var tradeInLayout = layoutOf("trade_in", tradeInRow{})

func (row *tradeInRow) tradeIn() StoredTradeIn {
	return StoredTradeIn{
		TradeIn: TradeIn{
			ID: assess.UUID(row.ID), Store: row.Store, InspectionID: assess.UUID(row.InspectionID), PairRef: row.PairRef,
			Staff: row.Staff, Device: string(row.Device), At: time.Time(row.At),
			Grade: assess.GradeLetter(row.Grade), Route: assess.Route(row.Route),
			Credit: row.Credit, Advised: row.Advised, Currency: row.Currency, CreditTable: row.CreditTable,
			OverrideBy: string(row.OverrideBy), Reason: string(row.Reason), Voucher: string(row.Voucher),
		},
		ReceivedAt: time.Time(row.ReceivedAt), Day: row.Day, Month: row.Month,
		VoidedAt: time.Time(row.VoidedAt), VoidReason: string(row.VoidReason),
	}
}

// check refuses a trade-in that lacks something, or whose credit differs from
// the table's without a reason and a name.
func (t *TradeIn) check() error {
	var errs assess.FieldErrors
	missing := func(absent bool, field, want string) {
		if absent {
			errs.Add(assess.FieldError{Field: field, Want: want, Err: assess.ErrMissingField})
		}
	}
	missing(t.ID.IsZero(), "id", "a UUID")
	missing(t.Store == "", "store", "the code of a store")
	missing(t.Staff == "", "staff", "the code of who took the pair in")
	missing(t.At.IsZero(), "at", "when the pair was taken in")
	missing(t.InspectionID.IsZero(), "inspection_id", "the reading it goes by")
	missing(t.Grade == assess.NoGrade, "grade", "A, B, C, D or X")
	missing(t.Route == assess.NoRoute, "route", "where the pair goes")
	override := t.Credit != t.Advised
	missing(override && t.OverrideBy == "", "override_by", "who allowed another credit than the table's")
	missing(override && t.Reason == "", "reason", "why the credit is not the table's")
	for _, w := range []struct {
		field, text string
		limit       int
	}{{"staff", t.Staff, 32}, {"device", t.Device, 64}, {"override_by", t.OverrideBy, 96}, {"reason", t.Reason, 300}, {"voucher", t.Voucher, 80}} {
		if wrong, ok := errors.AsType[assess.FieldError](isWritten(assess.Text(w.field, w.limit, itself), w.text)); ok {
			errs.Add(wrong)
		}
	}
	if t.Credit < 0 || t.Advised < 0 {
		errs.Add(assess.FieldError{Field: "credit", Value: fmt.Sprint(t.Credit), Want: "0 or more", Err: assess.ErrOutOfRange})
	}
	return errs.Err()
}

// SaveTradeIn stores a trade-in once and ends its pair: the same body again
// returns what is stored, with created false; another body under its id, or
// another trade-in of the same pair, is ErrConflict. sha is the SHA-256 of the
// body's canonical form. The currency is the store's; one that is given must be
// the same.
func (db *DB) SaveTradeIn(ctx context.Context, by Actor, in TradeIn, sha [sha256.Size]byte) (stored StoredTradeIn, created bool, err error) {
	if err := in.check(); err != nil {
		return StoredTradeIn{}, false, err
	}
	row := tradeInRow{
		Store: in.Store, ID: id(in.ID), InspectionID: id(in.InspectionID), Staff: in.Staff, Device: text(in.Device),
		At: instant(in.At), Grade: int(in.Grade), Route: int(in.Route), Credit: in.Credit, Advised: in.Advised,
		Currency: in.Currency, CreditTable: in.CreditTable, OverrideBy: text(in.OverrideBy), Reason: text(in.Reason),
		Voucher: text(in.Voucher), BodySHA: sha, ReceivedAt: instant(db.now()),
	}
	err = db.tx(ctx, func(t *txn) error {
		stored, created, err = db.saveTradeIn(ctx, t, by, row, in.PairRef, in.Signed)
		return err
	})
	if errors.Is(err, ErrConflict) {
		// Another writer may have stored the same body a moment before.
		if again, e := db.sameTradeIn(ctx, db.q(), &row); e == nil {
			return again, false, nil
		}
	}
	return stored, created, wrap(err, "storing trade-in %s", in.ID)
}

func (db *DB) saveTradeIn(ctx context.Context, t *txn, by Actor, row tradeInRow, pairRef string, signed *Signature) (StoredTradeIn, bool, error) {
	again, err := db.sameTradeIn(ctx, t, &row)
	if !errors.Is(err, ErrNotFound) {
		return again, false, err
	}
	if err := db.useSignature(ctx, t, signed); err != nil {
		return StoredTradeIn{}, false, err
	}
	zone, err := db.zoneOf(ctx, t, row.Store)
	if err != nil {
		return StoredTradeIn{}, false, err
	}
	if row.Day, row.Month, err = localDay(time.Time(row.At), zone); err != nil {
		return StoredTradeIn{}, false, err
	}
	var currency string
	if _, err := db.scalar(ctx, t, &currency, "SELECT currency FROM store WHERE code = ?", row.Store); err != nil {
		return StoredTradeIn{}, false, err
	}
	if cmp.Or(row.Currency, currency) != currency {
		return StoredTradeIn{}, false, refused("currency", row.Currency, currency+", the store's")
	}
	row.Currency = currency
	// The reading says which pair it is, also after a merge.
	var ref text
	known, err := db.scalar(ctx, t, &ref, "SELECT pair_ref FROM inspection WHERE id = ? LIMIT 1", row.InspectionID)
	switch {
	case err != nil:
		return StoredTradeIn{}, false, err
	case !known || ref == "":
		return StoredTradeIn{}, false, refused("inspection_id", assess.UUID(row.InspectionID).String(), "a stored reading of the pair; send it first")
	}
	if pairRef != "" && pairRef != string(ref) {
		if into, err := db.pairFor(ctx, t, &assess.Record{PairRef: pairRef}); err != nil || into != ref {
			return StoredTradeIn{}, false, errors.Join(err, refused("pair_ref", pairRef, string(ref)+", the reading's pair"))
		}
	}
	row.PairRef = string(ref)
	pair, known, err := db.pairRowIn(ctx, t, row.PairRef)
	switch {
	case err != nil:
		return StoredTradeIn{}, false, err
	case !known:
		return StoredTradeIn{}, false, refused("inspection_id", assess.UUID(row.InspectionID).String(), "a reading that is not blind")
	case pair.EndedAt != instant{}:
		return StoredTradeIn{}, false, fmt.Errorf("pair %s was traded in before: void that trade-in first: %w", row.PairRef, ErrConflict)
	}
	if _, err := t.ExecContext(ctx, tradeInLayout.insert(db.dialect), fields(&row)...); err != nil {
		return StoredTradeIn{}, false, classify(err)
	}
	pair.EndedAt = row.At
	if err := db.writePair(ctx, t, &pair, true); err != nil {
		return StoredTradeIn{}, false, err
	}
	if err := db.noteChange(ctx, t, change{Op: PairMoved, PairRef: text(row.PairRef)}); err != nil {
		return StoredTradeIn{}, false, err
	}
	e := entry{action: "trade-in.create", subject: "trade-in:" + assess.UUID(row.ID).String()}
	if row.OverrideBy != "" {
		e.action, e.after = "trade-in.override", asJSON(&row)
	}
	return row.tradeIn(), true, db.noteAudit(ctx, t, by, e)
}

// sameTradeIn returns the stored trade-in with the row's id and body;
// ErrNotFound where there is none, ErrConflict where its body is another.
func (db *DB) sameTradeIn(ctx context.Context, q querier, row *tradeInRow) (StoredTradeIn, error) {
	have, err := one(db.tradeIns(ctx, q, " WHERE store = ? AND id = ?", row.Store, row.ID))
	if err != nil {
		return StoredTradeIn{}, err
	}
	if have.BodySHA != row.BodySHA {
		return StoredTradeIn{}, fmt.Errorf("trade-in %s is stored with another content: %w", assess.UUID(row.ID), ErrConflict)
	}
	return have.tradeIn(), nil
}

func (db *DB) tradeIns(ctx context.Context, q querier, tail string, args ...any) ([]tradeInRow, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+tradeInLayout.list("")+" FROM trade_in"+tail), args...)
	if err != nil {
		return nil, err
	}
	var all []tradeInRow
	err = scanAll(rows, func(row *tradeInRow) error {
		all = append(all, *row)
		return nil
	})
	return all, err
}

// TradeIn returns the trade-in with this id.
func (db *DB) TradeIn(ctx context.Context, tradeIn assess.UUID) (StoredTradeIn, error) {
	row, err := one(db.tradeIns(ctx, db.q(), " WHERE id = ? LIMIT 1", id(tradeIn)))
	return row.tradeIn(), wrap(err, "trade-in %s", tradeIn)
}

// TradeInsOf returns the trade-ins of a pair, the voided among them, newest
// first.
func (db *DB) TradeInsOf(ctx context.Context, ref string) ([]StoredTradeIn, error) {
	rows, err := db.tradeIns(ctx, db.q(), " WHERE pair_ref = ? ORDER BY at DESC, id DESC", ref)
	return mapped(rows, (*tradeInRow).tradeIn), wrap(err, "trade-ins of pair %s", ref)
}

// EachTradeIn calls f with every trade-in that stands, of local days from and
// to, both included and empty for no bound, in the scopes, by store and id.
func (db *DB) EachTradeIn(ctx context.Context, scopes []retail.Scope, from, to string, f func(*StoredTradeIn) error) error {
	last := tradeInRow{}
	for {
		var w where
		w.scopes("store", scopes)
		if err := w.days("day", from, to); err != nil {
			return err
		}
		w.and("voided_at IS NULL AND (store, id) > (?, ?)", last.Store, last.ID[:])
		rows, err := db.tradeIns(ctx, db.reader(), w.String()+" ORDER BY store, id LIMIT ?", append(w.args, streamPage)...)
		if err != nil {
			return wrap(err, "reading the trade-ins")
		}
		for i := range rows {
			t := rows[i].tradeIn()
			if err := f(&t); err != nil {
				return err
			}
		}
		if len(rows) < streamPage {
			return nil
		}
		last = rows[len(rows)-1]
	}
}

// Worth is what the credit of trade-ins goes by, and how many are alike.
type Worth struct {
	Grade    assess.GradeLetter
	Category string // of the model, empty while unknown
	Day      string // of the trade-in, in the store's calendar
	BoughtOn string // empty where unknown
	Pairs    int
}

// AgeDays is how old the pairs were, unread where that is unknown.
func (w *Worth) AgeDays() assess.Value {
	day, err := time.Parse(time.DateOnly, w.Day)
	bought, errBought := time.Parse(time.DateOnly, w.BoughtOn)
	if err != nil || errBought != nil || bought.After(day) {
		return assess.Unread
	}
	return assess.Of(int(day.Sub(bought).Hours() / 24))
}

// EachWorth calls f with the trade-ins to the store that stand in one currency,
// of local days from and to, both included, in the scopes.
func (db *DB) EachWorth(ctx context.Context, scopes []retail.Scope, currency, from, to string, f func(*Worth) error) error {
	var w where
	w.scopes("t.store", scopes)
	if err := w.days("t.day", from, to); err != nil {
		return err
	}
	w.and("t.currency = ? AND t.voided_at IS NULL AND t.route <> ?", currency, int(assess.BackToRunner))
	const alike = "t.grade, coalesce(m.category, ''), t.day, coalesce(i.bought_on, '')"
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql("SELECT "+alike+", count(*) FROM trade_in t"+
		" LEFT JOIN inspection i ON i.store = t.store AND i.id = t.inspection_id LEFT JOIN pair p ON p.ref = t.pair_ref"+
		" LEFT JOIN shoe_model m ON m.id = p.model_id"+w.String()+" GROUP BY "+alike), w.args...)
	if err != nil {
		return wrap(err, "reading what trade-ins are worth")
	}
	return wrap(scanAll(rows, f), "reading what trade-ins are worth")
}

// VoidTradeIn marks a trade-in as void; its pair is open again.
func (db *DB) VoidTradeIn(ctx context.Context, by Actor, tradeIn assess.UUID, reason string) error {
	if reason == "" {
		return assess.FieldError{Field: "void_reason", Want: "why the trade-in is void", Err: assess.ErrMissingField}
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		row, err := one(db.tradeIns(ctx, t, " WHERE id = ? LIMIT 1", id(tradeIn)))
		if err != nil {
			return err
		}
		n, err := affected(t.ExecContext(ctx, db.dialect.sql(
			"UPDATE trade_in SET voided_at = ?, void_reason = ? WHERE store = ? AND id = ? AND voided_at IS NULL"),
			instant(db.now()), reason, row.Store, row.ID))
		if err != nil {
			return err
		}
		if n == 0 {
			return fmt.Errorf("it is void already: %w", ErrConflict)
		}
		if err := db.reopen(ctx, t, row.PairRef); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "trade-in.void", subject: "trade-in:" + tradeIn.String(), after: reason})
	}), "voiding trade-in %s", tradeIn)
}

// Corrected is a trade-in whose reading was corrected since, so that what became
// of the pair may not be what its grade opens.
type Corrected struct {
	TradeIn StoredTradeIn
	// Was is the reading that it went by, Is the one that stands in its place, or
	// the last one, where that is void.
	Was, Is *Inspection
}

// CorrectedTradeIns returns the trade-ins of stores in scope that stand and whose
// reading was corrected to another verdict or grade, the newest first: somebody
// has to decide about them, by [DB.DecideTradeIn] or [DB.VoidTradeIn].
func (db *DB) CorrectedTradeIns(ctx context.Context, scopes []retail.Scope) ([]Corrected, error) {
	var w where
	w.scopes("store", scopes)
	all, err := db.correctedIn(ctx, db.q(), w)
	return all, wrap(err, "reading the trade-ins whose reading was corrected")
}

// CountCorrectedTradeIns counts what CorrectedTradeIns lists.
func (db *DB) CountCorrectedTradeIns(ctx context.Context, scopes []retail.Scope) (int, error) {
	var (
		w where
		n int
	)
	w.scopes("store", scopes)
	query, args := correctedQuery("count(*)", w)
	_, err := db.scalar(ctx, db.q(), &n, query, args...)
	return n, wrap(err, "counting the trade-ins whose reading was corrected")
}

// CorrectedTradeInsOf returns the trade-ins of a pair that wait for such a
// decision, the newest first.
func (db *DB) CorrectedTradeInsOf(ctx context.Context, ref string) ([]Corrected, error) {
	var w where
	w.and("pair_ref = ?", ref)
	all, err := db.correctedIn(ctx, db.q(), w)
	return all, wrap(err, "reading the trade-ins of pair %s", ref)
}

// correctedQuery selects from the trade-ins t that stand, meet w, and whose reading
// says something else now. i is the reading that stands in its place: the chain
// follows each correction to the next.
func correctedQuery(columns string, w where) (query string, args []any) {
	w.and("voided_at IS NULL AND (store, inspection_id) IN (SELECT store, supersedes FROM inspection WHERE supersedes IS NOT NULL)")
	return `WITH RECURSIVE chain (store, trade_in, reading) AS (
			SELECT store, id, inspection_id FROM trade_in` + w.String() + `
			UNION
			SELECT c.store, c.trade_in, i.superseded_by FROM chain c
			JOIN inspection i ON i.store = c.store AND i.id = c.reading WHERE i.superseded_by IS NOT NULL
		)
		SELECT ` + columns + ` FROM chain c
		JOIN inspection i ON i.store = c.store AND i.id = c.reading
		JOIN trade_in t ON t.store = c.store AND t.id = c.trade_in
		JOIN inspection was ON was.store = t.store AND was.id = t.inspection_id
		WHERE i.superseded_by IS NULL AND i.id <> was.id
		AND (i.voided_at IS NOT NULL OR coalesce(i.advised, 0) <> coalesce(was.advised, 0) OR coalesce(i.grade, 0) <> t.grade)`, w.args
}

// correctedIn returns the trade-ins that meet w and whose reading says something
// else now, the newest first.
func (db *DB) correctedIn(ctx context.Context, q querier, w where) ([]Corrected, error) {
	query, args := correctedQuery("i.id, "+tradeInLayout.list("t."), w)
	rows, err := q.QueryContext(ctx, db.dialect.sql(query+" ORDER BY t.at DESC, t.id DESC"), args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var (
		all []Corrected
		row tradeInRow
		is  id
		now []id
		ids []any
	)
	into := append([]any{&is}, fields(&row)...)
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		all, now = append(all, Corrected{TradeIn: row.tradeIn()}), append(now, is)
		ids = append(ids, row.InspectionID, is)
	}
	if err := rows.Err(); err != nil || len(all) == 0 {
		return nil, err
	}
	type key struct {
		store string
		id    assess.UUID
	}
	var of where
	of.inAny("i.id", ids)
	readings, err := db.inspectionsIn(ctx, q, of.String(), of.args...)
	by := make(map[key]*Inspection, len(readings))
	for _, in := range readings {
		by[key{in.Store, in.ID}] = in
	}
	for i := range all {
		t := &all[i].TradeIn
		all[i].Was, all[i].Is = by[key{t.Store, t.InspectionID}], by[key{t.Store, assess.UUID(now[i])}]
	}
	return all, err
}

// DecideTradeIn puts a trade-in anew by the reading that stands now: another
// grade, where the pair goes, and what is given for it. The one before is voided
// with the reason, and both are in the trail. ErrConflict where nothing is to be
// decided about it any more.
func (db *DB) DecideTradeIn(ctx context.Context, by Actor, old assess.UUID, in TradeIn, reason string) (StoredTradeIn, error) {
	var stored StoredTradeIn
	return stored, wrap(db.Together(ctx, func(db *DB) error {
		var w where
		w.and("id = ?", id(old))
		waits, err := db.correctedIn(ctx, db.q(), w)
		if err != nil {
			return err
		}
		if len(waits) == 0 {
			return fmt.Errorf("nothing is to be decided about it: %w", ErrConflict)
		}
		if err := db.VoidTradeIn(ctx, by, old, reason); err != nil {
			return err
		}
		body, err := json.Marshal(&in)
		if err != nil {
			return err
		}
		stored, _, err = db.SaveTradeIn(ctx, by, in, sha256.Sum256(body))
		return err
	}), "deciding about trade-in %s", old)
}

// reopen sets when a pair ended by the trade-ins that stand.
func (db *DB) reopen(ctx context.Context, t *txn, ref string) error {
	if _, err := t.ExecContext(ctx, db.dialect.sql(`UPDATE pair SET version = version + 1,
		ended_at = (SELECT min(at) FROM trade_in WHERE trade_in.pair_ref = pair.ref AND voided_at IS NULL) WHERE ref = ?`), ref); err != nil {
		return err
	}
	return db.noteChange(ctx, t, change{Op: PairMoved, PairRef: text(ref)})
}
