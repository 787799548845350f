package models

import (
	"context"
	"errors"
	"fmt"

	"solewright/assess"
)

// Purpose is what somebody stands by with a secret of their own on another
// person's screen.
type Purpose string

// The purposes.
const (
	// ForCredit: another credit than the table's.
	ForCredit Purpose = "credit"
	// ForReading: the verdict that is given, where one person alone may not give
	// it: less than an advised replace or retire, or a trainee's keep.
	ForReading Purpose = "reading"
)

// Purposes lists the purposes.
var Purposes = []Purpose{ForCredit, ForReading}

// SignOff is what somebody stands by about a reading, which needn't be stored
// yet.
type SignOff struct {
	Reading assess.UUID
	Purpose Purpose
	// Credit is the amount that ForCredit is about, in minor units of Currency,
	// an ISO 4217 code. Another amount takes another sign-off. Both are zero for
	// any other purpose.
	Credit   int64
	Currency string
	// Given is the verdict that ForReading is about and Advised the one in whose
	// place it is given. Another of either takes another sign-off. Both are zero
	// for any other purpose.
	Advised, Given assess.Verdict
}

// Signature is a sign-off that a record can't be stored without, and whose it
// has to be.
type Signature struct {
	SignOff
	Account string
}

// ErrUnsigned says that nobody signed for what a record needs a signature for,
// or that the signature has served another record.
var ErrUnsigned = errors.New("not signed off")

func (s *SignOff) check() error {
	var errs assess.FieldErrors
	credit, verdict := s.Purpose == ForCredit, s.Purpose == ForReading
	switch {
	case credit && s.Currency == "":
		errs.Add(assess.FieldError{Field: "currency", Want: "the currency of the credit, such as EUR", Err: assess.ErrMissingField})
	case !credit && (s.Credit != 0 || s.Currency != ""):
		errs.Add(assess.FieldError{Field: "credit", Value: fmt.Sprint(s.Credit), Want: "nothing but for a credit", Err: assess.ErrInconsistent})
	}
	if s.Credit < 0 {
		errs.Add(assess.FieldError{Field: "credit", Value: fmt.Sprint(s.Credit), Want: "0 or more", Err: assess.ErrOutOfRange})
	}
	for _, v := range []struct {
		field string
		is    assess.Verdict
	}{{"advised", s.Advised}, {"given", s.Given}} {
		switch none := v.is == assess.NoVerdict; {
		case verdict && none:
			errs.Add(assess.FieldError{Field: v.field, Want: "the verdict that is signed for", Err: assess.ErrMissingField})
		case !verdict && !none:
			errs.Add(assess.FieldError{Field: v.field, Value: v.is.String(), Want: "nothing but for a reading", Err: assess.ErrInconsistent})
		}
	}
	return errs.Err()
}

// words say what is signed for, for the audit trail.
func (s *SignOff) words() string {
	if s.Purpose == ForCredit {
		return fmt.Sprintf("%d %s", s.Credit, s.Currency)
	}
	return fmt.Sprintf("%s, advised %s", s.Given, s.Advised)
}

type signOffRow struct {
	Subject  id      `gorm:"column:subject;primaryKey"`
	Purpose  string  `gorm:"column:purpose;primaryKey"`
	Account  string  `gorm:"column:account;primaryKey"`
	Credit   int64   `gorm:"column:credit;primaryKey"`
	Currency string  `gorm:"column:currency;primaryKey"`
	Advised  int     `gorm:"column:advised;primaryKey"`
	Given    int     `gorm:"column:given;primaryKey"`
	Device   text    `gorm:"column:device"`
	At       instant `gorm:"column:at"`
	UsedAt   instant `gorm:"column:used_at"`
}

var signOffLayout = layoutOf("sign_off", signOffRow{})

// signOffKey picks one sign-off; its arguments are those of key.
const signOffKey = "subject = ? AND purpose = ? AND account = ? AND credit = ? AND currency = ? AND advised = ? AND given = ?"

func (s *Signature) key() []any {
	return []any{id(s.Reading), string(s.Purpose), s.Account, s.Credit, s.Currency, int(s.Advised), int(s.Given)}
}

// SignOff notes that by stands by something. Whether they are who they say is
// the caller's to check, by SignInPIN or SignIn. A second time changes nothing,
// but where the first has served a record: then it may serve one more.
func (db *DB) SignOff(ctx context.Context, by Actor, s SignOff) error {
	if err := s.check(); err != nil {
		return err
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		return db.noteSignOff(ctx, t, by, &s, instant{})
	}), "signing off reading %s", s.Reading)
}

// noteSignOff stores a sign-off and writes the trail, unless one that waits to be
// used is there.
func (db *DB) noteSignOff(ctx context.Context, t *txn, by Actor, s *SignOff, usedAt instant) error {
	row := signOffRow{
		Subject: id(s.Reading), Purpose: string(s.Purpose), Account: by.Account, Credit: s.Credit, Currency: s.Currency,
		Advised: int(s.Advised), Given: int(s.Given), Device: text(by.Device), At: instant(db.now()), UsedAt: usedAt,
	}
	n, err := affected(t.ExecContext(ctx, signOffLayout.insert(db.dialect)+
		" ON CONFLICT (subject, purpose, account, credit, currency, advised, given) DO UPDATE"+
		" SET at = excluded.at, device = excluded.device, used_at = excluded.used_at WHERE sign_off.used_at IS NOT NULL", fields(&row)...))
	if err != nil || n == 0 {
		return err
	}
	return db.noteAudit(ctx, t, by, entry{
		action: "sign-off." + row.Purpose, subject: "inspection:" + s.Reading.String(), after: s.words(),
	})
}

// useSignature uses up the signature of a record that is being stored;
// ErrUnsigned where there is none that waits. A record that needs none has nil.
func (db *DB) useSignature(ctx context.Context, t *txn, s *Signature) error {
	if s == nil {
		return nil
	}
	n, err := affected(t.ExecContext(ctx, db.dialect.sql("UPDATE sign_off SET used_at = ? WHERE used_at IS NULL AND "+signOffKey),
		append([]any{instant(db.now())}, s.key()...)...))
	if err == nil && n == 0 {
		err = fmt.Errorf("%s signed for no such thing, or it has served before: %w", s.Account, ErrUnsigned)
	}
	return err
}

// Waits reports whether a sign-off waits to be used up by a record.
func (db *DB) Waits(ctx context.Context, s Signature) (bool, error) {
	var n int
	_, err := db.scalar(ctx, db.q(), &n, "SELECT count(*) FROM sign_off WHERE used_at IS NULL AND "+signOffKey, s.key()...)
	return n > 0, wrap(err, "looking for a sign-off of reading %s", s.Reading)
}

// confirmed says of a reading i that somebody stands by the verdict that was
// given: at the bench, or afterwards.
const confirmed = "EXISTS (SELECT 1 FROM sign_off o WHERE o.subject = i.id AND o.purpose = '" + string(ForReading) + "' AND o.used_at IS NOT NULL)"

// ConfirmSecond notes that by stands by the verdict of a reading whose second
// person was named off line. ErrConflict where somebody does already, or the
// reading doesn't stand or waits for nobody; the one who read it can't.
func (db *DB) ConfirmSecond(ctx context.Context, by Actor, reading assess.UUID) error {
	return wrap(db.tx(ctx, func(t *txn) error {
		in, err := db.inspectionIn(ctx, t, "i.id = ?", id(reading))
		if err != nil {
			return err
		}
		if in.Staff == by.Account {
			return refused("account", by.Account, "somebody other than who read the pair")
		}
		var n int
		if _, err := db.scalar(ctx, t, &n, "SELECT count(*) FROM inspection i WHERE i.id = ? AND "+unproven+" AND NOT "+confirmed, id(reading)); err != nil {
			return err
		}
		if n == 0 || !in.Live() {
			return fmt.Errorf("it waits for nobody: %w", ErrConflict)
		}
		return db.noteSignOff(ctx, t, by, &SignOff{
			Reading: reading, Purpose: ForReading, Advised: in.Advised, Given: in.Given,
		}, instant(db.now()))
	}), "confirming reading %s", reading)
}

// SignedFor returns who stands by the verdict of readings, by reading: the
// second person at the bench, or who confirmed it afterwards.
func (db *DB) SignedFor(ctx context.Context, readings ...assess.UUID) (map[assess.UUID]string, error) {
	who := make(map[assess.UUID]string)
	if len(readings) == 0 {
		return who, nil
	}
	args := make([]any, len(readings))
	for i, r := range readings {
		args[i] = id(r)
	}
	var w where
	w.and("purpose = ? AND used_at IS NOT NULL", string(ForReading))
	w.inAny("subject", args)
	rows, err := db.q().QueryContext(ctx, db.dialect.sql("SELECT subject, account FROM sign_off"+w.String()+" ORDER BY at"), w.args...)
	if err != nil {
		return nil, wrap(err, "reading who signed")
	}
	defer rows.Close()
	for rows.Next() {
		var subject id
		var account string
		if err := rows.Scan(&subject, &account); err != nil {
			return nil, wrap(err, "reading who signed")
		}
		who[assess.UUID(subject)] = account
	}
	return who, wrap(rows.Err(), "reading who signed")
}
