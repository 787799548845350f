package models

import (
	"context"
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
	// ForReading: what a second reader says, or a trainee's keep.
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
}

func (s *SignOff) check() error {
	var errs assess.FieldErrors
	credit := s.Purpose == ForCredit
	switch {
	case credit && s.Currency == "":
		errs.Add(assess.FieldError{Field: "currency", Want: "the currency of the credit, such as EUR", Err: assess.ErrMissingField})
	case !credit && (s.Credit != 0 || s.Currency != ""):
		errs.Add(assess.FieldError{Field: "credit", Value: fmt.Sprint(s.Credit), Want: "nothing but for a credit", Err: assess.ErrInconsistent})
	}
	if s.Credit < 0 {
		errs.Add(assess.FieldError{Field: "credit", Value: fmt.Sprint(s.Credit), Want: "0 or more", Err: assess.ErrOutOfRange})
	}
	return errs.Err()
}

type signOffRow struct {
	Subject  id      `gorm:"column:subject;primaryKey"`
	Purpose  string  `gorm:"column:purpose;primaryKey"`
	Account  string  `gorm:"column:account;primaryKey"`
	Credit   int64   `gorm:"column:credit;primaryKey"`
	Currency string  `gorm:"column:currency;primaryKey"`
	Device   text    `gorm:"column:device"`
	At       instant `gorm:"column:at"`
}

var signOffLayout = layoutOf("sign_off", signOffRow{})

// SignOff notes that by stands by something. Whether they are who they say is
// the caller's to check, by SignInPIN or SignIn. A second time changes nothing.
func (db *DB) SignOff(ctx context.Context, by Actor, s SignOff) error {
	if err := s.check(); err != nil {
		return err
	}
	row := signOffRow{
		Subject: id(s.Reading), Purpose: string(s.Purpose), Account: by.Account, Credit: s.Credit, Currency: s.Currency,
		Device: text(by.Device), At: instant(db.now()),
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, signOffLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&row)...))
		if err != nil || n == 0 {
			return err
		}
		e := entry{action: "sign-off." + row.Purpose, subject: "inspection:" + s.Reading.String()}
		if s.Purpose == ForCredit {
			e.after = fmt.Sprintf("%d %s", s.Credit, s.Currency)
		}
		return db.noteAudit(ctx, t, by, e)
	}), "signing off reading %s", s.Reading)
}

// SignedOff reports whether an account stands by exactly this.
func (db *DB) SignedOff(ctx context.Context, s SignOff, account string) (bool, error) {
	var n int
	_, err := db.scalar(ctx, db.q(), &n,
		"SELECT count(*) FROM sign_off WHERE subject = ? AND purpose = ? AND account = ? AND credit = ? AND currency = ?",
		id(s.Reading), string(s.Purpose), account, s.Credit, s.Currency)
	return n > 0, wrap(err, "reading the sign-offs of %s", s.Reading)
}
