package models

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"solewright/assess"
)

// SecondReading is a pair that two people read the same day: the first openly,
// the second blind.
type SecondReading struct {
	First, Blind *Inspection
}

// Beside returns the blind readings of one pair by the reading that each stands
// beside: of those that stand and that somebody else made the same day, the
// nearest in time. A blind reading beside none is left out, and so is one whose
// reader turned out to have read the pair openly before.
func Beside(all []*Inspection) map[assess.UUID][]*Inspection {
	by := make(map[assess.UUID][]*Inspection)
	for _, b := range all {
		if b.Kind != assess.Blind || !b.Live() {
			continue
		}
		if slices.ContainsFunc(all, func(in *Inspection) bool {
			return in.Kind != assess.Blind && in.VoidedAt.IsZero() && in.Staff == b.Staff && in.Day == b.Day && !in.At.After(b.At)
		}) {
			continue // openly, on a tablet that was off line, so that nothing refused the blind one
		}
		var first *Inspection
		for _, in := range all {
			if in.Kind == assess.Blind || !in.Live() || in.Staff == b.Staff || in.Day != b.Day {
				continue
			}
			if first == nil || in.At.Sub(b.At).Abs() < first.At.Sub(b.At).Abs() {
				first = in
			}
		}
		if first != nil {
			by[first.ID] = append(by[first.ID], b)
		}
	}
	return by
}

// SecondReadings returns pairs read twice, the newest first, at most limit of
// them; more says that there are others. f picks the blind readings.
func (db *DB) SecondReadings(ctx context.Context, f InspectionFilter, limit int) (all []SecondReading, more bool, err error) {
	f.Kind, f.Live = assess.Blind, true
	page := Page{Limit: MaxLimit}
	for {
		blind, next, err := db.Inspections(ctx, f, page)
		if err != nil {
			return nil, false, err
		}
		firsts, err := db.firstReadings(ctx, blind)
		if err != nil {
			return nil, false, wrap(err, "reading what was read before second readings")
		}
		for _, b := range blind {
			first := firsts[b.ID]
			if first == nil {
				continue
			}
			if len(all) == limit {
				return all, true, nil
			}
			all = append(all, SecondReading{First: first, Blind: b})
		}
		if next == "" {
			return all, false, nil
		}
		page.After = next
	}
}

// firstReadings returns the reading that each blind one stands beside, by the
// blind one.
func (db *DB) firstReadings(ctx context.Context, blind []*Inspection) (map[assess.UUID]*Inspection, error) {
	of := make(map[assess.UUID]*Inspection)
	seen := make(map[string]bool)
	var refs []any
	for _, b := range blind {
		if b.PairRef != "" && !seen[b.PairRef] {
			seen[b.PairRef] = true
			refs = append(refs, b.PairRef)
		}
	}
	if len(refs) == 0 {
		return of, nil
	}
	var w where
	w.inAny("i.pair_ref", refs)
	all, err := db.inspectionsIn(ctx, db.reader(), w.String(), w.args...)
	if err != nil {
		return nil, err
	}
	pairs, byID := make(map[string][]*Inspection), make(map[assess.UUID]*Inspection)
	for _, in := range all {
		pairs[in.PairRef] = append(pairs[in.PairRef], in)
		byID[in.ID] = in
	}
	for _, readings := range pairs {
		for first, seconds := range Beside(readings) {
			for _, b := range seconds {
				of[b.ID] = byID[first]
			}
		}
	}
	return of, nil
}

// ReadBlind reports whether somebody read a pair blind on a local day.
func (db *DB) ReadBlind(ctx context.Context, ref, staff, day string) (bool, error) {
	var n int
	_, err := db.scalar(ctx, db.q(), &n, "SELECT count(*) FROM inspection WHERE pair_ref = ? AND staff = ? AND day = ? AND kind = ? AND voided_at IS NULL AND superseded_by IS NULL",
		ref, staff, day, int(assess.Blind))
	return n > 0, wrap(err, "looking for a second reading of pair %s", ref)
}

// knewFirst is the condition that who made the blind reading b knew what the
// pair reads like: they read it openly before, that day, or signed for what
// somebody else read, or were shown it. A reading that is void is of nothing. The
// time of day is the tablets': a reading that comes late from one that was off line
// counts from when it was made.
var knewFirst = fmt.Sprintf(`b.voided_at IS NULL AND (EXISTS (
	SELECT 1 FROM inspection o WHERE o.pair_ref = b.pair_ref AND o.staff = b.staff AND o.day = b.day
		AND o.kind <> %[1]d AND o.voided_at IS NULL AND o.at <= b.at
) OR EXISTS (
	SELECT 1 FROM inspection o JOIN sign_off s ON s.subject = o.id WHERE o.pair_ref = b.pair_ref AND o.day = b.day
		AND o.kind <> %[1]d AND o.voided_at IS NULL AND s.account = b.staff AND s.at <= b.at
) OR EXISTS (
	SELECT 1 FROM inspection o JOIN verdict_seen v ON v.inspection_id = o.id WHERE o.pair_ref = b.pair_ref AND o.day = b.day
		AND o.kind <> %[1]d AND o.voided_at IS NULL AND v.staff = b.staff AND v.seen_at <= b.at
))`, int(assess.Blind))

// refuseKnowing says why somebody's reading isn't blind.
func refuseKnowing(staff string) error {
	return refused("staff", staff, "somebody who has not read the pair openly that day nor seen its verdict nor signed for it: a second reading is blind")
}

// checkBlind refuses a blind reading, already stored, by somebody who knew what
// the pair reads like; of who was shown it, it says when.
func (db *DB) checkBlind(ctx context.Context, t *txn, row *inspectionRow) error {
	if row.Kind != int(assess.Blind) || row.PairRef == "" {
		return nil
	}
	var n int
	_, err := db.scalar(ctx, t, &n, "SELECT count(*) FROM inspection b WHERE b.store = ? AND b.id = ? AND "+knewFirst, row.Store, row.ID)
	if err != nil || n == 0 {
		return err
	}
	var seen instant
	shown, err := db.scalar(ctx, t, &seen, "SELECT v.seen_at FROM verdict_seen v JOIN inspection o ON o.id = v.inspection_id WHERE o.pair_ref = ? AND o.day = ?"+
		" AND v.staff = ? AND v.seen_at <= ? ORDER BY v.seen_at LIMIT 1", row.PairRef, row.Day, row.Staff, row.At)
	if err != nil || !shown {
		return errors.Join(err, refuseKnowing(row.Staff))
	}
	zone, err := db.zoneOf(ctx, t, row.Store)
	if err != nil {
		return err
	}
	return refused("staff", row.Staff, fmt.Sprintf("somebody who has not seen the pair's verdict, as %s did at %s: a second reading is blind",
		row.Staff, time.Time(seen).In(zone).Format("15:04")))
}

// seenFor is how long it is kept who was shown a verdict: a tablet that was off
// line brings a second reading later than this at no time. House value.
const seenFor = 60 * 24 * time.Hour

// recently is how far back a reading may be of somebody's own day, in any zone.
const recently = 48 * time.Hour

// Lately says whether a reading of a day is so new that [DB.SawPairs] notes who was
// shown its verdict.
func (db *DB) Lately(day string) bool { return day >= db.lately() }

// lately is the first day of readings that are new.
func (db *DB) lately() string { return db.now().Add(-recently).Format(time.DateOnly) }

// SawPairs notes that somebody was shown the verdicts of pairs, so far as others
// read them lately: from then on they can't read them blind the same day, which is
// all that it is for. A second time notes nothing and writes nothing.
func (db *DB) SawPairs(ctx context.Context, staff string, refs ...string) error {
	if len(refs) == 0 {
		return nil
	}
	now := db.now()
	var w where
	w.in("i.pair_ref", refs)
	w.and("i.day >= ? AND i.kind <> ? AND i.voided_at IS NULL AND i.staff <> ? AND NOT EXISTS (SELECT 1 FROM verdict_seen v WHERE v.inspection_id = i.id AND v.staff = ?)",
		db.lately(), int(assess.Blind), staff, staff)
	// Looking first keeps who looks again out of the way of who writes.
	rows, err := db.q().QueryContext(ctx, db.dialect.sql("SELECT DISTINCT i.id FROM inspection i"+w.String()), w.args...)
	if err != nil {
		return wrap(err, "looking who saw a verdict")
	}
	type idRow struct{ ID id }
	var shown []seenRow
	if err := scanAll(rows, func(row *idRow) error {
		shown = append(shown, seenRow{InspectionID: row.ID, Staff: staff, SeenAt: instant(now)})
		return nil
	}); err != nil || len(shown) == 0 {
		return wrap(err, "looking who saw a verdict")
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		for i := range shown {
			if _, err := t.ExecContext(ctx, seenLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&shown[i])...); err != nil {
				return err
			}
		}
		return nil
	}), "noting who saw a verdict")
}

// SawVerdicts returns when somebody was first shown the verdicts of readings, by
// reading; one that they weren't shown is left out.
func (db *DB) SawVerdicts(ctx context.Context, staff string, readings ...assess.UUID) (map[assess.UUID]time.Time, error) {
	saw := make(map[assess.UUID]time.Time)
	if len(readings) == 0 {
		return saw, nil
	}
	args := make([]any, len(readings))
	for i, r := range readings {
		args[i] = id(r)
	}
	var w where
	w.and("staff = ?", staff)
	w.inAny("inspection_id", args)
	rows, err := db.q().QueryContext(ctx, db.dialect.sql("SELECT "+seenLayout.list("")+" FROM verdict_seen"+w.String()), w.args...)
	if err != nil {
		return nil, wrap(err, "reading who saw a verdict")
	}
	err = scanAll(rows, func(row *seenRow) error {
		saw[assess.UUID(row.InspectionID)] = time.Time(row.SeenAt)
		return nil
	})
	return saw, wrap(err, "reading who saw a verdict")
}

// ForgetSeen forgets who was shown verdicts longer ago than a second reading can
// come in late, and returns how many were forgotten.
func (db *DB) ForgetSeen(ctx context.Context) (n int, err error) {
	return n, wrap(db.tx(ctx, func(t *txn) error {
		n, err = affected(t.ExecContext(ctx, db.dialect.sql("DELETE FROM verdict_seen WHERE seen_at < ?"), instant(db.now().Add(-seenFor))))
		return err
	}), "forgetting who saw verdicts")
}

type seenRow struct {
	InspectionID id      `gorm:"column:inspection_id;primaryKey"`
	Staff        string  `gorm:"column:staff;primaryKey"`
	SeenAt       instant `gorm:"column:seen_at"`
}

var seenLayout = layoutOf("verdict_seen", seenRow{})
