package models

import (
	"context"

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

type signOffRow struct {
	Subject id      `gorm:"column:subject;primaryKey"`
	Purpose string  `gorm:"column:purpose;primaryKey"`
	Account string  `gorm:"column:account;primaryKey"`
	Device  text    `gorm:"column:device"`
	At      instant `gorm:"column:at"`
}

var signOffLayout = layoutOf("sign_off", signOffRow{})

// SignOff notes that by stands by something about a reading, which needn't be
// stored yet. Whether they are who they say is the caller's to check, by
// SignInPIN or SignIn. A second time changes nothing.
func (db *DB) SignOff(ctx context.Context, by Actor, reading assess.UUID, p Purpose) error {
	row := signOffRow{Subject: id(reading), Purpose: string(p), Account: by.Account, Device: text(by.Device), At: instant(db.now())}
	return wrap(db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, signOffLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&row)...))
		if err != nil || n == 0 {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "sign-off." + row.Purpose, subject: "inspection:" + reading.String()})
	}), "signing off reading %s", reading)
}

// SignedOff reports whether an account stands by something about a reading.
func (db *DB) SignedOff(ctx context.Context, reading assess.UUID, p Purpose, account string) (bool, error) {
	var n int
	_, err := db.scalar(ctx, db.q(), &n, "SELECT count(*) FROM sign_off WHERE subject = ? AND purpose = ? AND account = ?",
		id(reading), string(p), account)
	return n > 0, wrap(err, "reading the sign-offs of %s", reading)
}
