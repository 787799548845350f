package models

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"time"

	"gorm.io/gorm"

	"solewright/assess"
	"solewright/models/retail"
)

type runnerRow struct {
	Code         string  `gorm:"column:code;primaryKey"`
	TeachingDate text    `gorm:"column:teaching_date"`
	TeachingText text    `gorm:"column:teaching_text"`
	HealthDate   text    `gorm:"column:health_date"`
	HealthText   text    `gorm:"column:health_text"`
	Unit         text    `gorm:"column:unit"`
	MassBand     text    `gorm:"column:mass_band"`
	CreatedAt    instant `gorm:"column:created_at" json:"-"`
	ErasedAt     instant `gorm:"column:erased_at" json:"-"`
}

func (runnerRow) TableName() string { return "runner" }

func (row *runnerRow) runner() retail.Runner {
	return retail.Runner{
		Code:           row.Code,
		TeachingPhotos: retail.Consent{Date: string(row.TeachingDate), Text: string(row.TeachingText)},
		HealthNotes:    retail.Consent{Date: string(row.HealthDate), Text: string(row.HealthText)},
		Unit:           string(row.Unit), MassBand: string(row.MassBand),
	}
}

// Runner returns what is kept of a runner: a code and consents.
func (db *DB) Runner(ctx context.Context, code string) (retail.Runner, error) {
	row, err := takeRow[runnerRow](db.g(ctx).Where("code = ?", code))
	return row.runner(), wrap(err, "runner %s", code)
}

// EachRunner calls f with every runner who was not erased, by code.
func (db *DB) EachRunner(ctx context.Context, f func(*retail.Runner) error) error {
	last := ""
	for {
		rows, err := findRows[runnerRow](db.g(ctx).Where("code > ? AND erased_at IS NULL", last).Order("code").Limit(streamPage))
		if err != nil {
			return wrap(err, "reading the runners")
		}
		for i := range rows {
			r := rows[i].runner()
			if err := f(&r); err != nil {
				return err
			}
			last = r.Code
		}
		if len(rows) < streamPage {
			return nil
		}
	}
}

// SaveRunner creates a runner, or changes the one with this code; consents that
// are empty are withdrawn.
func (db *DB) SaveRunner(ctx context.Context, by Actor, r retail.Runner) error {
	if r.Code == "" {
		return refused("runner", r.Code, "a code")
	}
	row := runnerRow{
		Code: r.Code, TeachingDate: text(r.TeachingPhotos.Date), TeachingText: text(r.TeachingPhotos.Text),
		HealthDate: text(r.HealthNotes.Date), HealthText: text(r.HealthNotes.Text),
		Unit: text(r.Unit), MassBand: text(r.MassBand), CreatedAt: instant(db.now()),
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		old, err := takeRow[runnerRow](t.g.Where("code = ?", r.Code))
		if err != nil && !errors.Is(err, gorm.ErrRecordNotFound) {
			return err
		}
		if err == nil {
			row.CreatedAt, row.ErasedAt = old.CreatedAt, old.ErasedAt
		}
		return db.saveAudited(ctx, t, by, "runner", r.Code, &old, &row, err == nil)
	}), "saving runner %s", r.Code)
}

// Erasure is what erasing a runner did.
type Erasure struct {
	// Key is the random key that stands for the runner now.
	Key string
	// Pairs are the pairs concerned: reports that showed them are made again.
	Pairs []string
	// Photos are the SHA-256 of photos to delete from the store of photos; no
	// other reading shows them.
	Photos [][sha256.Size]byte
	// Inspections and Fittings count the records that were cleared.
	Inspections, Fittings int
}

// EraseRunner replaces a runner's code by a random key everywhere, in the audit
// trail too, and clears what the runner said: notes, and that pain was
// mentioned. Photos are unlinked, unless the runner gave them for teaching. What
// was read off the shoes stays, as of somebody unknown. A runner that appears
// nowhere is ErrNotFound.
//
// The hash of what the tablet sent goes too, because it could be tried against
// guesses of the code. A tablet that sends an erased reading again is told
// ErrConflict.
func (db *DB) EraseRunner(ctx context.Context, by Actor, code string) (Erasure, error) {
	var e Erasure
	err := db.tx(ctx, func(t *txn) error {
		var err error
		if e, err = db.erase(ctx, t, by, code); err != nil {
			return err
		}
		var salt [16]byte
		_, _ = rand.Read(salt[:]) // never fails: see crypto/rand
		_, err = t.ExecContext(ctx, db.dialect.sql("INSERT INTO erasure (salt, code_sha, erased_at) VALUES (?, ?, ?)"),
			salt[:], erasureSHA(salt[:], code), instant(db.now()))
		return err
	})
	// The code itself must not reach a log by way of an error.
	return e, wrap(err, "erasing a runner")
}

func erasureSHA(salt []byte, code string) hash {
	return sha256.Sum256(append(salt[:len(salt):len(salt)], code...))
}

func (db *DB) erase(ctx context.Context, t *txn, by Actor, code string) (Erasure, error) {
	var random [5]byte
	_, _ = rand.Read(random[:]) // never fails: see crypto/rand
	first := assess.NewPairRef(random)[:8]
	_, _ = rand.Read(random[:])
	e := Erasure{Key: "X-" + first + assess.NewPairRef(random)[:8]}
	var teaching text
	if _, err := db.scalar(ctx, t, &teaching, "SELECT teaching_date FROM runner WHERE code = ?", code); err != nil {
		return e, err
	}
	var err error
	if e.Pairs, err = db.words(ctx, t, "SELECT ref FROM pair WHERE runner = ? ORDER BY ref", code); err != nil {
		return e, err
	}
	if teaching == "" {
		if e.Photos, err = db.unlinkPhotos(ctx, t, code); err != nil {
			return e, err
		}
	}
	if _, err := t.ExecContext(ctx, db.dialect.sql(
		"INSERT INTO change (op, store, id, pair_ref) SELECT ?, store, id, pair_ref FROM inspection WHERE runner = ?"), int(Erased), code); err != nil {
		return e, err
	}
	// A sale may know a runner whom no reading names.
	if _, err := t.ExecContext(ctx, db.dialect.sql("INSERT INTO change (op, pair_ref) SELECT ?, ref FROM pair WHERE runner = ?"), int(Erased), code); err != nil {
		return e, err
	}
	pain := painPlace + 1 // SQL counts characters from 1
	touched := 0
	for _, u := range []struct {
		count *int
		query string
		args  []any
	}{
		{&touched, "UPDATE runner SET code = ?, teaching_date = NULL, teaching_text = NULL, health_date = NULL, health_text = NULL, mass_band = NULL, erased_at = ? WHERE code = ?", []any{e.Key, instant(db.now()), code}},
		{&e.Inspections, "UPDATE inspection SET runner = ?, note = NULL, erased = ?, body_sha = NULL, pair_checks = substr(pair_checks, 1, ?) || '-' || substr(pair_checks, ?) WHERE runner = ?", []any{e.Key, flag(true), pain - 1, pain + 1, code}},
		{&e.Fittings, "UPDATE fitting SET runner = ?, note = NULL, referred = ?, erased = ?, body_sha = NULL WHERE runner = ?", []any{e.Key, flag(false), flag(true), code}},
		{&touched, "UPDATE pair SET runner = ?, version = version + 1 WHERE runner = ?", []any{e.Key, code}},
	} {
		n, err := affected(t.ExecContext(ctx, db.dialect.sql(u.query), u.args...))
		if err != nil {
			return e, err
		}
		*u.count += n
	}
	if touched+e.Inspections+e.Fittings == 0 {
		return e, ErrNotFound
	}
	if err := db.eraseTrail(ctx, t, code, e.Key); err != nil {
		return e, err
	}
	return e, db.noteAudit(ctx, t, by, entry{
		action: "runner.erase", subject: "runner:" + e.Key,
		after: fmt.Sprintf(`{"inspections":%d,"fittings":%d,"photos":%d}`, e.Inspections, e.Fittings, len(e.Photos)),
	})
}

// painPlace is where the pair's string of checks says that pain was mentioned.
var painPlace = func() int {
	for i, c := range PairChecks {
		if c == assess.PainMentioned {
			return i
		}
	}
	panic("models: no place for pain_mentioned")
}()

// eraseTrail replaces a runner's code in the audit trail.
func (db *DB) eraseTrail(ctx context.Context, t *txn, code, key string) error {
	rows, err := t.QueryContext(ctx, db.dialect.sql("SELECT "+auditLayout.list("")+" FROM audit WHERE runner = ? OR subject = ?"), code, "runner:"+code)
	if err != nil {
		return err
	}
	var found []auditRow
	if err := scanAll(rows, func(row *auditRow) error {
		found = append(found, *row)
		return nil
	}); err != nil {
		return err
	}
	// Codes hold no quotes, so a code stands in JSON between two of them.
	swap := func(s text) text { return text(strings.ReplaceAll(string(s), `"`+code+`"`, `"`+key+`"`)) }
	for _, row := range found {
		subject := row.Subject
		if subject == "runner:"+code {
			subject = "runner:" + key
		}
		if _, err := t.ExecContext(ctx, db.dialect.sql("UPDATE audit SET runner = ?, subject = ?, before = ?, after = ? WHERE number = ?"),
			key, subject, swap(row.Before), swap(row.After), row.Number); err != nil {
			return err
		}
	}
	return nil
}

// unlinkPhotos takes the photos off a runner's readings, and returns those that
// no other reading shows.
func (db *DB) unlinkPhotos(ctx context.Context, t *txn, code string) ([][sha256.Size]byte, error) {
	const theirs = "FROM inspection_photo p JOIN inspection i ON i.store = p.store AND i.id = p.inspection_id WHERE i.runner = ?"
	rows, err := t.QueryContext(ctx, db.dialect.sql(`SELECT DISTINCT p.sha `+theirs+` AND NOT EXISTS (
		SELECT 1 FROM inspection_photo o JOIN inspection j ON j.store = o.store AND j.id = o.inspection_id
		WHERE o.sha = p.sha AND (j.runner IS NULL OR j.runner <> ?))`), code, code)
	if err != nil {
		return nil, err
	}
	type shaRow struct{ SHA hash }
	var gone [][sha256.Size]byte
	if err := scanAll(rows, func(row *shaRow) error {
		gone = append(gone, row.SHA)
		return nil
	}); err != nil {
		return nil, err
	}
	if _, err := t.ExecContext(ctx, db.dialect.sql(
		"DELETE FROM inspection_photo WHERE (store, inspection_id) IN (SELECT store, id FROM inspection WHERE runner = ?)"), code); err != nil {
		return nil, err
	}
	for _, sha := range gone {
		if _, err := t.ExecContext(ctx, db.dialect.sql("UPDATE photo SET deleted_at = ? WHERE sha = ?"), instant(db.now()), hash(sha)); err != nil {
			return nil, err
		}
	}
	return gone, nil
}

// words returns the text column of a query.
func (db *DB) words(ctx context.Context, q querier, query string, args ...any) ([]string, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql(query), args...)
	if err != nil {
		return nil, err
	}
	type wordRow struct{ Word text }
	var all []string
	err = scanAll(rows, func(row *wordRow) error {
		all = append(all, string(row.Word))
		return nil
	})
	return all, err
}

// ErasureMark remembers that somebody was erased, and when. It leads to no
// record; it only answers whether a code was erased.
type ErasureMark struct {
	Salt     []byte            `json:"salt"`
	CodeSHA  [sha256.Size]byte `json:"code_sha256"` // of the salt and the code
	ErasedAt time.Time         `json:"erased_at"`
}

// Erasures returns the erasure list, to be kept apart from the backups.
func (db *DB) Erasures(ctx context.Context) ([]ErasureMark, error) {
	rows, err := db.q().QueryContext(ctx, "SELECT salt, code_sha, erased_at FROM erasure ORDER BY erased_at, code_sha")
	if err != nil {
		return nil, wrap(err, "reading the erasure list")
	}
	type markRow struct {
		Salt     []byte
		CodeSHA  hash
		ErasedAt instant
	}
	var all []ErasureMark
	err = scanAll(rows, func(row *markRow) error {
		all = append(all, ErasureMark{Salt: append([]byte(nil), row.Salt...), CodeSHA: row.CodeSHA, ErasedAt: time.Time(row.ErasedAt)})
		return nil
	})
	return all, wrap(err, "reading the erasure list")
}

// ReplayErasures erases every runner of the database whom the list marks, as
// after restoring a backup from before, or after a tablet that was off line sent
// a reading of somebody erased meanwhile. It returns what was erased.
func (db *DB) ReplayErasures(ctx context.Context, by Actor, list []ErasureMark) ([]Erasure, error) {
	codes, err := db.words(ctx, db.q(), `
		SELECT code FROM runner UNION SELECT runner FROM inspection WHERE runner IS NOT NULL
		UNION SELECT runner FROM fitting WHERE runner IS NOT NULL UNION SELECT runner FROM pair WHERE runner IS NOT NULL
		UNION SELECT runner FROM audit WHERE runner IS NOT NULL`)
	if err != nil {
		return nil, wrap(err, "replaying erasures")
	}
	marked := make(map[hash]ErasureMark, len(list))
	salts := map[string]bool{}
	for _, m := range list {
		marked[m.CodeSHA] = m
		salts[string(m.Salt)] = true
	}
	var done []Erasure
	for _, code := range codes {
		for salt := range salts {
			m, ok := marked[erasureSHA([]byte(salt), code)]
			if !ok {
				continue
			}
			var e Erasure
			err := db.tx(ctx, func(t *txn) error {
				var err error
				if e, err = db.erase(ctx, t, by, code); err != nil && !errors.Is(err, ErrNotFound) {
					return err
				}
				_, err = t.ExecContext(ctx, db.dialect.sql("INSERT INTO erasure (salt, code_sha, erased_at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING"),
					m.Salt, hash(m.CodeSHA), instant(m.ErasedAt))
				return err
			})
			if err != nil {
				return done, wrap(err, "replaying erasures")
			}
			done = append(done, e)
			break
		}
	}
	return done, nil
}
