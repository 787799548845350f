package models

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"errors"
	"slices"
	"time"

	"solewright/assess"
)

// Pair is a physical pair of shoes: what is known of it, and its interval of
// life as its readings give it.
type Pair struct {
	Ref       string
	ModelID   assess.UUID
	SizeLabel string
	SizeMM    assess.Value
	Batch     string
	Runner    string
	BoughtOn  string // YYYY-MM-DD
	Store     string // where the pair was sold or first read
	CreatedAt time.Time
	Life      Interval
	// LastID is the last live reading that is not blind, and LastStore its store;
	// without one, LastStore is Store.
	LastStore  string
	LastID     assess.UUID
	EndedAt    time.Time // when it was traded in
	MergedInto string    // the pair that it turned out to be
}

// Open reports whether the pair may come back: neither traded in nor merged.
func (p *Pair) Open() bool { return p.EndedAt.IsZero() && p.MergedInto == "" }

// pairRow is one row of pair.
type pairRow struct {
	Ref         string  `gorm:"column:ref;primaryKey"`
	ModelID     id      `gorm:"column:model_id"`
	SizeLabel   text    `gorm:"column:size_label"`
	SizeMM      number  `gorm:"column:size_mm"`
	Batch       text    `gorm:"column:batch"`
	Runner      text    `gorm:"column:runner"`
	BoughtOn    text    `gorm:"column:bought_on"`
	Store       string  `gorm:"column:store"`
	CreatedAt   instant `gorm:"column:created_at"`
	LowerKM     number  `gorm:"column:lower_km"`
	UpperKM     number  `gorm:"column:upper_km"`
	Contradicts int     `gorm:"column:contradicts"`
	Readings    int     `gorm:"column:readings"`
	LastStore   text    `gorm:"column:last_store"`
	LastID      id      `gorm:"column:last_id"`
	EndedAt     instant `gorm:"column:ended_at"`
	MergedInto  text    `gorm:"column:merged_into"`
	Version     int64   `gorm:"column:version"`
}

var pairLayout = layoutOf("pair", pairRow{})

func (row *pairRow) pair() Pair {
	return Pair{
		Ref: row.Ref, ModelID: assess.UUID(row.ModelID), SizeLabel: string(row.SizeLabel),
		SizeMM: assess.Value(row.SizeMM), Batch: string(row.Batch), Runner: string(row.Runner),
		BoughtOn: string(row.BoughtOn), Store: row.Store, CreatedAt: time.Time(row.CreatedAt),
		Life: row.life(), LastStore: string(row.LastStore), LastID: assess.UUID(row.LastID),
		EndedAt: time.Time(row.EndedAt), MergedInto: string(row.MergedInto),
	}
}

func (row *pairRow) life() Interval {
	return Interval{
		Lower: assess.Value(row.LowerKM).Int(), Upper: assess.Value(row.UpperKM),
		Readings: row.Readings, Contradicts: Contradiction(row.Contradicts),
	}
}

// setLife stores an interval; where nothing is known, or readings contradict
// each other, both ends are NULL.
func (row *pairRow) setLife(v Interval) {
	row.LowerKM, row.UpperKM = number(assess.Unread), number(v.Upper)
	if v.Readings > 0 && v.Contradicts == NoContradiction {
		row.LowerKM = number(assess.Of(v.Lower))
	}
	row.Readings, row.Contradicts = v.Readings, int(v.Contradicts)
}

// pastRow is what a reading says about its pair.
type pastRow struct {
	Store        string  `gorm:"column:store"`
	ID           id      `gorm:"column:id"`
	At           instant `gorm:"column:at"`
	Kind         int     `gorm:"column:kind"`
	KM           number  `gorm:"column:km"`
	Advised      code    `gorm:"column:advised"`
	AdvisedSent  code    `gorm:"column:advised_sent"`
	ModelID      id      `gorm:"column:model_id"`
	SizeLabel    text    `gorm:"column:size_label"`
	SizeMM       number  `gorm:"column:size_mm"`
	Batch        text    `gorm:"column:batch"`
	Runner       text    `gorm:"column:runner"`
	BoughtOn     text    `gorm:"column:bought_on"`
	SupersededBy id      `gorm:"column:superseded_by"`
	VoidedAt     instant `gorm:"column:voided_at"`
}

var pastLayout = layoutOf("inspection", pastRow{})

// verdict is what the reading counts as: computed, or as sent where nothing was
// computed.
func (p *pastRow) verdict() assess.Verdict { return assess.Verdict(cmp.Or(p.Advised, p.AdvisedSent)) }

func (p *pastRow) point() LifePoint {
	return LifePoint{
		At: time.Time(p.At), ID: assess.UUID(p.ID), Kind: assess.RecordKind(p.Kind),
		KM: assess.Value(p.KM), Advised: p.verdict(), Live: p.SupersededBy == id{} && p.VoidedAt == instant{},
		Model: assess.UUID(p.ModelID), SizeMM: assess.Value(p.SizeMM),
	}
}

// derive fills in what a pair's readings say of it: its interval of life, its
// last reading, and of each property what the last reading that names it says.
// A property that no live reading names stays as it is, as from the sale.
func (row *pairRow) derive(past []pastRow) {
	inOrder(past)
	points := make([]LifePoint, len(past))
	row.LastStore, row.LastID = text(row.Store), id{}
	for i := range past {
		p := &past[i]
		points[i] = p.point()
		if !points[i].Live || points[i].Kind == assess.Blind {
			continue
		}
		row.LastStore, row.LastID = text(p.Store), p.ID
		row.ModelID = cmpOr(p.ModelID, row.ModelID)
		row.SizeLabel, row.SizeMM = cmp.Or(p.SizeLabel, row.SizeLabel), cmp.Or(p.SizeMM, row.SizeMM)
		row.Batch, row.Runner = cmp.Or(p.Batch, row.Batch), cmp.Or(p.Runner, row.Runner)
		row.BoughtOn = cmp.Or(p.BoughtOn, row.BoughtOn)
	}
	row.setLife(Life(points))
}

// inOrder sorts readings by time, and by id where that is the same.
func inOrder(past []pastRow) {
	slices.SortFunc(past, func(a, b pastRow) int {
		return cmp.Or(time.Time(a.At).Compare(time.Time(b.At)), slices.Compare(a.ID[:], b.ID[:]))
	})
}

// begin makes a pair of its first reading; false where only blind ones name it.
func (row *pairRow) begin(past []pastRow, now time.Time) bool {
	inOrder(past)
	first := slices.IndexFunc(past, func(p pastRow) bool { return p.Kind != int(assess.Blind) })
	if first < 0 {
		return false
	}
	row.Store, row.CreatedAt = past[first].Store, instant(now)
	return true
}

// cmpOr is cmp.Or for ids: the first that is not zero.
func cmpOr(a, b id) id {
	if a != (id{}) {
		return a
	}
	return b
}

// pairFor returns the pair that a reading belongs to: the one it names or, if
// that was merged, the one it was merged into; else a new reference. A blind
// reading that names none has none.
func (db *DB) pairFor(ctx context.Context, q querier, r *assess.Record) (text, error) {
	if r.PairRef == "" {
		if r.Kind == assess.Blind {
			return "", nil
		}
		return db.newRef(ctx, q, r.ID)
	}
	var into text
	err := q.QueryRowContext(ctx, db.dialect.sql("SELECT merged_into FROM pair WHERE ref = ?"), r.PairRef).Scan(&into)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", err
	}
	return cmp.Or(into, text(r.PairRef)), nil
}

// newRef makes a pair reference out of a reading's id, so that storing the same
// reading again makes the same one; a reference that is taken is passed over.
func (db *DB) newRef(ctx context.Context, q querier, reading assess.UUID) (text, error) {
	for n := uint32(0); ; n++ {
		ref := refFrom(reading, n)
		var taken int
		_, err := db.scalar(ctx, q, &taken, "SELECT (SELECT count(*) FROM pair WHERE ref = ?) + (SELECT count(*) FROM inspection WHERE pair_ref = ?)", ref, ref)
		if err != nil || taken == 0 {
			return text(ref), err
		}
	}
}

// refFrom returns the n-th pair reference of a reading's id.
func refFrom(reading assess.UUID, n uint32) string {
	sum := sha256.Sum256(binary.BigEndian.AppendUint32(reading[:], n))
	return assess.NewPairRef([5]byte(sum[:5]))
}

// recompute brings a pair in line with its readings, and creates it if it isn't
// there. A pair that someone else wrote meanwhile is errMoved. A reference that
// only blind readings name makes no pair.
func (db *DB) recompute(ctx context.Context, q querier, ref string) (Contradiction, error) {
	if ref == "" {
		return NoContradiction, nil
	}
	row, known, err := db.pairRowIn(ctx, q, ref)
	if err != nil {
		return 0, err
	}
	past, err := db.pastOf(ctx, q, ref)
	if err != nil {
		return 0, err
	}
	if !known {
		if row.Ref = ref; !row.begin(past, db.now()) {
			return NoContradiction, nil
		}
	}
	row.derive(past)
	return Contradiction(row.Contradicts), db.writePair(ctx, q, &row, known)
}

// pairRowIn reads a pair's row; known is false where there is none.
func (db *DB) pairRowIn(ctx context.Context, q querier, ref string) (row pairRow, known bool, err error) {
	err = q.QueryRowContext(ctx, db.dialect.sql("SELECT "+pairLayout.list("")+" FROM pair WHERE ref = ?"), ref).
		Scan(fields(&row)...)
	if errors.Is(err, sql.ErrNoRows) {
		return pairRow{}, false, nil
	}
	return row, err == nil, err
}

// pastOf reads what the readings of a pair say about it.
func (db *DB) pastOf(ctx context.Context, q querier, ref string) ([]pastRow, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+pastLayout.list("")+" FROM inspection WHERE pair_ref = ?"), ref)
	if err != nil {
		return nil, err
	}
	var past []pastRow
	err = scanAll(rows, func(p *pastRow) error {
		past = append(past, *p)
		return nil
	})
	return past, err
}

// pastBetween reads what the readings of the pairs after one reference and up to
// another say, by reference.
func (db *DB) pastBetween(ctx context.Context, q querier, after, upTo, and string) (map[string][]pastRow, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT pair_ref, "+pastLayout.list("")+
		" FROM inspection WHERE pair_ref > ? AND pair_ref <= ?"+and), after, upTo)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var (
		ref  string
		row  pastRow
		into = append([]any{&ref}, fields(&row)...)
		past = map[string][]pastRow{}
	)
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return nil, err
		}
		past[ref] = append(past[ref], row)
	}
	return past, rows.Err()
}

// writePair inserts a pair, or updates it where nobody else has since it was
// read.
func (db *DB) writePair(ctx context.Context, q querier, row *pairRow, known bool) error {
	if !known {
		n, err := affected(q.ExecContext(ctx, pairLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(row)...))
		if err == nil && n == 0 {
			return errMoved
		}
		return err
	}
	n, err := affected(q.ExecContext(ctx, db.dialect.sql("UPDATE pair SET "+pairUpdate+", version = version + 1 WHERE ref = ? AND version = ?"),
		append(fields(row)[1:len(pairLayout.columns)-1], row.Ref, row.Version)...))
	if err == nil && n == 0 {
		return errMoved
	}
	return err
}

// pairUpdate sets every column but the key and the version.
var pairUpdate = func() string {
	s := ""
	for i, c := range pairLayout.columns[1 : len(pairLayout.columns)-1] {
		if i > 0 {
			s += ", "
		}
		s += c + " = ?"
	}
	return s
}()

// PairHistory is a pair with all its readings, newest first, the voided and
// superseded among them.
type PairHistory struct {
	Pair
	Inspections []*Inspection
}

// Pair returns the pair with this reference and its readings; of a merged pair,
// the one it was merged into.
func (db *DB) Pair(ctx context.Context, ref string) (*PairHistory, error) {
	ref, err := assess.ParsePairRef(ref)
	if err != nil {
		return nil, refused("pair_ref", ref, "eight characters and a check character, as on the slip")
	}
	h, err := db.pairIn(ctx, ref)
	return h, wrap(err, "pair %s", ref)
}

func (db *DB) pairIn(ctx context.Context, ref string) (*PairHistory, error) {
	row, known, err := db.pairRowIn(ctx, db.q(), ref)
	if err == nil && known && row.MergedInto != "" {
		row, known, err = db.pairRowIn(ctx, db.q(), string(row.MergedInto))
	}
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, ErrNotFound
	}
	all, err := db.inspectionsIn(ctx, db.q(), " WHERE i.pair_ref = ? ORDER BY i.at DESC, i.id DESC", row.Ref)
	if err != nil {
		return nil, err
	}
	return &PairHistory{Pair: row.pair(), Inspections: all}, nil
}
