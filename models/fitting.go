package models

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// StoredFitting is a fitting as it is stored.
type StoredFitting struct {
	retail.Fitting
	ReceivedAt time.Time
	Day, Month string // in the store's zone at the time
	Erased     bool
}

type fittingRow struct {
	Store        string  `gorm:"column:store;primaryKey"`
	ID           id      `gorm:"column:id;primaryKey"`
	Staff        string  `gorm:"column:staff"`
	Runner       text    `gorm:"column:runner"`
	At           instant `gorm:"column:at"`
	ReceivedAt   instant `gorm:"column:received_at"`
	Day          string  `gorm:"column:day"`
	Month        string  `gorm:"column:month"`
	LLengthMM    number  `gorm:"column:l_length_mm"`
	LWidthMM     number  `gorm:"column:l_width_mm"`
	LPosture     string  `gorm:"column:l_posture"`
	RLengthMM    number  `gorm:"column:r_length_mm"`
	RWidthMM     number  `gorm:"column:r_width_mm"`
	RPosture     string  `gorm:"column:r_posture"`
	Gait         number  `gorm:"column:gait"`
	GaitBy       number  `gorm:"column:gait_by"`
	Strike       number  `gorm:"column:strike"`
	StrikeBy     text    `gorm:"column:strike_by"`
	LStrikeIndex number  `gorm:"column:l_strike_index"`
	RStrikeIndex number  `gorm:"column:r_strike_index"`
	Surfaces     text    `gorm:"column:surfaces"`
	UsedFor      number  `gorm:"column:used_for"`
	WeeklyKM     number  `gorm:"column:weekly_km"`
	BeforeWear   number  `gorm:"column:before_wear"`
	OldPair      text    `gorm:"column:old_pair"`
	Tried        text    `gorm:"column:tried"`
	ChosenID     id      `gorm:"column:chosen_id"`
	ChosenSize   text    `gorm:"column:chosen_size"`
	ChosenPair   text    `gorm:"column:chosen_pair"`
	Referred     flag    `gorm:"column:referred"`
	Note         text    `gorm:"column:note"`
	Erased       flag    `gorm:"column:erased"`
	BodySHA      hash    `gorm:"column:body_sha"`
}

var fittingLayout = layoutOf("fitting", fittingRow{})

// postureLetters are the six items of the Foot Posture Index as characters, −2
// to +2 as 0 to 4, '-' unread.
func postureLetters(items [assess.PostureItems]assess.Value) (string, error) {
	b := []byte(strings.Repeat("-", assess.PostureItems))
	for i, v := range items {
		switch n := v.Int() - assess.MinPostureItem; {
		case v == assess.Unread:
		case v.OK() && n >= 0 && n <= assess.MaxPostureItem-assess.MinPostureItem:
			b[i] = '0' + byte(n)
		default:
			return "", refused("posture", fmt.Sprint(v.Int()), "−2 to +2, or nothing")
		}
	}
	return string(b), nil
}

func postureItems(letters string) (items [assess.PostureItems]assess.Value) {
	for i := range min(len(letters), len(items)) {
		if letters[i] != '-' {
			items[i] = assess.Of(int(letters[i]-'0') + assess.MinPostureItem)
		}
	}
	return items
}

// triedText writes the pairs that were tried on as the fitting's CSV does.
func triedText(all []retail.TriedPair) (text, error) {
	written := make([]string, len(all))
	for i, p := range all {
		written[i] = p.String()
		if back, ok := retail.ParseTried(written[i]); !ok || back != p {
			return "", refused("tried", written[i], "a shoe, its size, and words of the lists")
		}
	}
	return text(strings.Join(written, " ")), nil
}

func triedPairs(written text) (all []retail.TriedPair) {
	for word := range strings.FieldsSeq(string(written)) {
		if p, ok := retail.ParseTried(word); ok {
			all = append(all, p)
		}
	}
	return all
}

func newFittingRow(f *retail.Fitting) (*fittingRow, error) {
	l, r := &f.Foot[assess.Left], &f.Foot[assess.Right]
	row := &fittingRow{
		Store: f.Store, ID: id(f.ID), Staff: f.Staff, Runner: text(f.Runner), At: instant(f.At),
		LLengthMM: known(l.LengthMM, 0), LWidthMM: known(l.WidthMM, 0),
		RLengthMM: known(r.LengthMM, 0), RWidthMM: known(r.WidthMM, 0),
		Gait: number(f.Gait), GaitBy: number(f.GaitBy), Strike: number(f.Strike), StrikeBy: text(f.StrikeBy),
		LStrikeIndex: number(f.StrikeIndex[assess.Left]), RStrikeIndex: number(f.StrikeIndex[assess.Right]),
		Surfaces: text(strings.Join(f.Surfaces, " ")), UsedFor: number(f.UsedFor), WeeklyKM: number(f.WeeklyKM),
		BeforeWear: number(f.BeforeWear), OldPair: text(f.OldPair), ChosenID: id(f.ChosenID),
		ChosenSize: text(f.ChosenSize), ChosenPair: text(f.ChosenPair), Referred: flag(f.Referred), Note: text(f.Note),
	}
	var err error
	if row.Tried, err = triedText(f.Tried); err != nil {
		return nil, err
	}
	if row.LPosture, err = postureLetters(l.Posture); err != nil {
		return nil, err
	}
	row.RPosture, err = postureLetters(r.Posture)
	return row, err
}

func (row *fittingRow) fitting() *StoredFitting {
	return &StoredFitting{
		Fitting: retail.Fitting{
			ID: assess.UUID(row.ID), Store: row.Store, Staff: row.Staff, Runner: string(row.Runner), At: time.Time(row.At),
			Foot: [2]retail.Foot{
				{LengthMM: orUnknown(row.LLengthMM, 0), WidthMM: orUnknown(row.LWidthMM, 0), Posture: postureItems(row.LPosture)},
				{LengthMM: orUnknown(row.RLengthMM, 0), WidthMM: orUnknown(row.RWidthMM, 0), Posture: postureItems(row.RPosture)},
			},
			Gait: assess.Value(row.Gait), GaitBy: assess.Value(row.GaitBy), Strike: assess.Value(row.Strike),
			StrikeBy: string(row.StrikeBy), StrikeIndex: [2]assess.Value{assess.Value(row.LStrikeIndex), assess.Value(row.RStrikeIndex)},
			Surfaces: strings.Fields(string(row.Surfaces)), UsedFor: assess.Value(row.UsedFor),
			WeeklyKM: assess.Value(row.WeeklyKM), BeforeWear: assess.Value(row.BeforeWear), OldPair: string(row.OldPair), Tried: triedPairs(row.Tried),
			ChosenID: assess.UUID(row.ChosenID), ChosenSize: string(row.ChosenSize), ChosenPair: string(row.ChosenPair),
			Referred: bool(row.Referred), Note: string(row.Note),
		},
		ReceivedAt: time.Time(row.ReceivedAt), Day: row.Day, Month: row.Month, Erased: bool(row.Erased),
	}
}

// SaveFitting stores a fitting once: the same body again returns what is
// stored, with created false; another body under its id is ErrConflict. sha is
// the SHA-256 of the body's canonical form. A pair that was chosen and isn't
// known yet begins here.
func (db *DB) SaveFitting(ctx context.Context, by Actor, f retail.Fitting, sha [sha256.Size]byte) (stored *StoredFitting, created bool, err error) {
	if f.ID.IsZero() || f.Store == "" || f.Staff == "" || f.At.IsZero() {
		return nil, false, refused("id", f.ID.String(), "an id, a store, a staff code and a time")
	}
	row, err := newFittingRow(&f)
	if err != nil {
		return nil, false, err
	}
	row.BodySHA, row.ReceivedAt = sha, instant(db.now())
	err = db.tx(ctx, func(t *txn) error {
		stored, created, err = db.saveFitting(ctx, t, by, row)
		return err
	})
	if errors.Is(err, ErrConflict) {
		// Another writer may have stored the same body a moment before.
		if again, e := db.sameFitting(ctx, db.q(), row); e == nil {
			return again, false, nil
		}
	}
	return stored, created, wrap(err, "storing fitting %s", f.ID)
}

func (db *DB) saveFitting(ctx context.Context, t *txn, by Actor, row *fittingRow) (*StoredFitting, bool, error) {
	again, err := db.sameFitting(ctx, t, row)
	if !errors.Is(err, ErrNotFound) {
		return again, false, err
	}
	zone, err := db.zoneOf(ctx, t, row.Store)
	if err != nil {
		return nil, false, err
	}
	if row.Day, row.Month, err = localDay(time.Time(row.At), zone); err != nil {
		return nil, false, err
	}
	if _, err := t.ExecContext(ctx, fittingLayout.insert(db.dialect), fields(row)...); err != nil {
		return nil, false, classify(err)
	}
	if row.ChosenPair != "" {
		err := db.beginPair(ctx, t, &pairRow{
			Ref: string(row.ChosenPair), ModelID: row.ChosenID, SizeLabel: row.ChosenSize, Runner: row.Runner,
			BoughtOn: text(row.Day), Store: row.Store, CreatedAt: row.ReceivedAt,
		})
		if err != nil {
			return nil, false, err
		}
	}
	err = db.noteAudit(ctx, t, by, entry{action: "fitting.create", subject: "fitting:" + assess.UUID(row.ID).String()})
	return row.fitting(), true, err
}

// beginPair stores a pair that was sold, unless it is known.
func (db *DB) beginPair(ctx context.Context, t *txn, row *pairRow) error {
	row.LastStore = text(row.Store)
	n, err := affected(t.ExecContext(ctx, pairLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(row)...))
	if err != nil || n == 0 {
		return err
	}
	return db.noteChange(ctx, t, change{Op: PairMoved, PairRef: text(row.Ref)})
}

// sameFitting returns the stored fitting with the row's id and body; ErrNotFound
// where there is none, ErrConflict where its body is another.
func (db *DB) sameFitting(ctx context.Context, q querier, row *fittingRow) (*StoredFitting, error) {
	have, err := one(db.fittings(ctx, q, " WHERE store = ? AND id = ?", row.Store, row.ID))
	if err != nil {
		return nil, err
	}
	if have.BodySHA != row.BodySHA {
		return nil, fmt.Errorf("fitting %s is stored with another content: %w", assess.UUID(row.ID), ErrConflict)
	}
	return have.fitting(), nil
}

func (db *DB) fittings(ctx context.Context, q querier, tail string, args ...any) ([]fittingRow, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+fittingLayout.list("")+" FROM fitting"+tail), args...)
	if err != nil {
		return nil, err
	}
	var all []fittingRow
	err = scanAll(rows, func(row *fittingRow) error {
		all = append(all, *row)
		return nil
	})
	return all, err
}

// Fitting returns the fitting with this id.
func (db *DB) Fitting(ctx context.Context, fitting assess.UUID) (*StoredFitting, error) {
	row, err := one(db.fittings(ctx, db.q(), " WHERE id = ? LIMIT 1", id(fitting)))
	if err != nil {
		return nil, wrap(err, "fitting %s", fitting)
	}
	return row.fitting(), nil
}

// FittingsOf returns a runner's fittings, newest first.
func (db *DB) FittingsOf(ctx context.Context, runner string) ([]*StoredFitting, error) {
	rows, err := db.fittings(ctx, db.q(), " WHERE runner = ? ORDER BY at DESC, id DESC", runner)
	return mapped(rows, (*fittingRow).fitting), wrap(err, "reading fittings")
}

// PostureCount is how many fittings have the same sums of the Foot Posture Index.
type PostureCount struct {
	// Sum is by foot, unread where an item was left out.
	Sum      [2]assess.Value
	Fittings int
}

// PostureCounts counts all fittings by their sums, in no order.
func (db *DB) PostureCounts(ctx context.Context) ([]PostureCount, error) {
	type row struct {
		Left, Right string
		N           int
	}
	rows, err := db.reader().QueryContext(ctx, "SELECT l_posture, r_posture, count(*) FROM fitting GROUP BY l_posture, r_posture")
	if err != nil {
		return nil, wrap(err, "counting fittings by posture")
	}
	counts := map[[2]assess.Value]int{}
	err = scanAll(rows, func(r *row) error {
		counts[[2]assess.Value{assess.PostureSum(postureItems(r.Left)), assess.PostureSum(postureItems(r.Right))}] += r.N
		return nil
	})
	all := make([]PostureCount, 0, len(counts))
	for sum, n := range counts {
		all = append(all, PostureCount{sum, n})
	}
	return all, wrap(err, "counting fittings by posture")
}

// EachFitting calls f with every fitting, by store and id, in pages.
func (db *DB) EachFitting(ctx context.Context, f func(*StoredFitting) error) error {
	last := fittingRow{}
	for {
		rows, err := db.fittings(ctx, db.reader(), " WHERE (store, id) > (?, ?) ORDER BY store, id LIMIT ?", last.Store, last.ID[:], streamPage)
		if err != nil {
			return wrap(err, "reading the fittings")
		}
		for i := range rows {
			if err := f(rows[i].fitting()); err != nil {
				return err
			}
		}
		if len(rows) < streamPage {
			return nil
		}
		last = rows[len(rows)-1]
	}
}
