package models

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"strings"
	"time"

	"gorm.io/gorm"

	"solewright/assess"
	"solewright/models/retail"
)

// tokenPrefix lets a secret be recognised where it shouldn't be.
const tokenPrefix = "swt_"

// newSecret returns a secret of 256 random bits, and the hash it is known by.
// A hash without salt is enough for a secret that can't be guessed.
func newSecret(prefix string) (secret string, h hash) {
	random := make([]byte, 32)
	_, _ = rand.Read(random) // never fails: see crypto/rand
	secret = prefix + strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(random))
	return secret, sha256.Sum256([]byte(secret))
}

// Token is what an API token may do. Unlike an account it has one role, in as
// many scopes as need be: it is a program's, not a person's who does two jobs. A
// program that needs two roles gets two tokens, each with as little as its part
// takes, which the trail names apart and which end one by one.
type Token struct {
	Name      string
	Role      retail.Role
	Scopes    []retail.Scope
	CreatedBy string
	CreatedAt time.Time
	Expires   time.Time
	RevokedAt time.Time
}

type tokenRow struct {
	Name      string  `gorm:"column:name;primaryKey"`
	Secret    hash    `gorm:"column:secret"`
	Role      string  `gorm:"column:role"`
	Scopes    string  `gorm:"column:scopes"`
	CreatedBy text    `gorm:"column:created_by"`
	CreatedAt instant `gorm:"column:created_at"`
	ExpiresAt instant `gorm:"column:expires_at"`
	RevokedAt instant `gorm:"column:revoked_at"`
}

func (tokenRow) TableName() string { return "api_token" }

func (row *tokenRow) token() Token {
	return Token{
		Name: row.Name, Role: retail.Role(row.Role), Scopes: parsedWords(row.Scopes, retail.ParseScope),
		CreatedBy: string(row.CreatedBy), CreatedAt: time.Time(row.CreatedAt),
		Expires: time.Time(row.ExpiresAt), RevokedAt: time.Time(row.RevokedAt),
	}
}

// AddToken makes an API token that ends after the time it is given, and returns
// its secret, which is shown this once. Of t, the name, role and scopes count.
// A name that is taken, even by a token that has ended, is ErrConflict.
func (db *DB) AddToken(ctx context.Context, by Actor, t Token, lasts time.Duration) (secret string, err error) {
	if t.Name == "" {
		return "", refused("name", t.Name, "a name for the token")
	}
	if err := isWritten(tokenName, t.Name); err != nil {
		return "", err
	}
	if lasts <= 0 {
		return "", refused("days", lasts.String(), "a time in the future")
	}
	secret, h := newSecret(tokenPrefix)
	now := db.now()
	row := tokenRow{
		Name: t.Name, Secret: h, Role: string(t.Role), Scopes: retail.Words(t.Scopes), CreatedBy: text(by.Account),
		CreatedAt: instant(now), ExpiresAt: instant(now.Add(lasts)),
	}
	err = db.tx(ctx, func(tx *txn) error {
		if err := db.checkScopes(ctx, tx, t.Role, t.Scopes); err != nil {
			return err
		}
		switch _, err := takeRow[tokenRow](tx.g.Where("name = ?", t.Name)); {
		case err == nil:
			return fmt.Errorf("there is or was a token of that name: choose another: %w", ErrConflict)
		case !errors.Is(err, gorm.ErrRecordNotFound):
			return err
		}
		if err := tx.g.Create(&row).Error; err != nil {
			return err
		}
		return db.noteAudit(ctx, tx, by, entry{
			action: "token.create", subject: "token:" + t.Name, after: row.Role + " " + row.Scopes,
		})
	})
	return secret, wrap(err, "adding token %s", t.Name)
}

// Token returns what the holder of a secret may do; ErrDenied where it is
// unknown, has ended or was revoked.
func (db *DB) Token(ctx context.Context, secret string) (Token, error) {
	row, err := takeRow[tokenRow](db.g(ctx).Where("secret = ?", hash(sha256.Sum256([]byte(secret)))))
	switch {
	case errors.Is(err, gorm.ErrRecordNotFound):
		return Token{}, fmt.Errorf("the token is unknown: %w", ErrDenied)
	case err != nil:
		return Token{}, wrap(err, "reading a token")
	case row.RevokedAt != instant{}:
		return Token{}, fmt.Errorf("token %s was revoked: %w", row.Name, ErrDenied)
	case !time.Time(row.ExpiresAt).After(db.now()):
		return Token{}, fmt.Errorf("token %s has expired: %w", row.Name, ErrDenied)
	}
	return row.token(), nil
}

// Tokens returns all API tokens, the ended among them, by name.
func (db *DB) Tokens(ctx context.Context) ([]Token, error) {
	rows, err := findRows[tokenRow](db.g(ctx).Order("name"))
	return mapped(rows, (*tokenRow).token), wrap(err, "reading the tokens")
}

// RevokeToken ends a token now.
func (db *DB) RevokeToken(ctx context.Context, by Actor, name string) error {
	return wrap(db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, db.dialect.sql("UPDATE api_token SET revoked_at = ? WHERE name = ? AND revoked_at IS NULL"),
			instant(db.now()), name))
		if err := oneRow(n, err); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "token.revoke", subject: "token:" + name})
	}), "revoking token %s", name)
}

// Device is a tablet that belongs to a store.
type Device struct {
	Code       string
	Store      string
	EnrolledAt time.Time // zero while its enrolment code waits
	RevokedAt  time.Time
	CreatedAt  time.Time
}

type deviceRow struct {
	Code           string  `gorm:"column:code;primaryKey"`
	Store          string  `gorm:"column:store"`
	Enrolment      hash    `gorm:"column:enrolment"`
	EnrolmentUntil instant `gorm:"column:enrolment_until"`
	Secret         hash    `gorm:"column:secret"`
	EnrolledAt     instant `gorm:"column:enrolled_at"`
	RevokedAt      instant `gorm:"column:revoked_at"`
	CreatedAt      instant `gorm:"column:created_at"`
}

func (deviceRow) TableName() string { return "device" }

func (row *deviceRow) device() Device {
	return Device{
		Code: row.Code, Store: row.Store, EnrolledAt: time.Time(row.EnrolledAt),
		RevokedAt: time.Time(row.RevokedAt), CreatedAt: time.Time(row.CreatedAt),
	}
}

// enrolmentLasts is how long an enrolment code can be used. House value: long
// enough to walk to the tablet.
const enrolmentLasts = time.Hour

// AddDevice sets up a tablet for a store and returns the code to type on it
// within the hour. For a tablet that is set up it makes a new code; the tablet's
// secret stays good until the code is used. A revoked tablet, or one of another
// store, is ErrConflict.
func (db *DB) AddDevice(ctx context.Context, by Actor, code, store string) (enrolment string, err error) {
	if code == "" {
		return "", refused("device", code, "a code for the tablet")
	}
	var random [5]byte
	_, _ = rand.Read(random[:]) // never fails: see crypto/rand
	enrolment = assess.NewPairRef(random)
	h, until := hash(sha256.Sum256([]byte(enrolment))), instant(db.now().Add(enrolmentLasts))
	err = db.tx(ctx, func(t *txn) error {
		if _, err := db.zoneOf(ctx, t, store); err != nil {
			return err
		}
		row, err := takeRow[deviceRow](t.g.Where("code = ?", code))
		if wrong := isWritten(deviceCode, code); wrong != nil && err != nil {
			return wrong
		}
		switch {
		case errors.Is(err, gorm.ErrRecordNotFound):
			err = t.g.Create(&deviceRow{
				Code: code, Store: store, Enrolment: h, EnrolmentUntil: until, CreatedAt: instant(db.now()),
			}).Error
		case err != nil:
		case row.RevokedAt != instant{}:
			err = fmt.Errorf("the device was revoked: choose another code: %w", ErrConflict)
		case row.Store != store:
			err = fmt.Errorf("the device belongs to store %s: revoke it, and set it up under another code: %w", row.Store, ErrConflict)
		default:
			_, err = t.ExecContext(ctx, db.dialect.sql("UPDATE device SET enrolment = ?, enrolment_until = ? WHERE code = ?"), h, until, code)
		}
		if err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "device.add", subject: "device:" + code, after: store})
	})
	return enrolment, wrap(err, "adding device %s", code)
}

// EnrolDevice exchanges an enrolment code, typed in either case, for the
// device's secret. addr is the address that asks. A code that is wrong, used or
// too old is ErrDenied.
func (db *DB) EnrolDevice(ctx context.Context, enrolment, addr string) (d Device, secret string, err error) {
	if err := db.attempt(ctx, []limit{{"enrol:" + addr, pinAttempts}}); err != nil {
		return Device{}, "", wrap(err, "enrolling a device")
	}
	typed, err := assess.ParsePairRef(enrolment)
	if err != nil {
		return Device{}, "", refused("enrolment", enrolment, "the eight characters and the check character that the office shows")
	}
	secret, h := newSecret("")
	err = db.tx(ctx, func(t *txn) error {
		row, err := takeRow[deviceRow](t.g.Where("enrolment = ? AND enrolment_until > ? AND revoked_at IS NULL",
			hash(sha256.Sum256([]byte(typed))), instant(db.now())))
		if errors.Is(err, gorm.ErrRecordNotFound) {
			return fmt.Errorf("the code is wrong, used or too old: ask the office for a new one: %w", ErrDenied)
		}
		if err != nil {
			return err
		}
		row.EnrolledAt = instant(db.now())
		n, err := affected(t.ExecContext(ctx, db.dialect.sql(
			"UPDATE device SET secret = ?, enrolled_at = ?, enrolment = NULL, enrolment_until = NULL WHERE code = ? AND enrolment = ?"),
			h, row.EnrolledAt, row.Code, row.Enrolment))
		if err == nil && n == 0 {
			err = ErrDenied // somebody else was faster with the same code
		}
		if err != nil {
			return err
		}
		d = row.device()
		return db.noteAudit(ctx, t, Actor{Device: row.Code}, entry{action: "device.enrol", subject: "device:" + row.Code})
	})
	if err != nil {
		return Device{}, "", wrap(err, "enrolling a device")
	}
	return d, secret, wrap(db.forgive(ctx, "enrol:"+addr), "enrolling a device")
}

// Device returns the device with this secret; ErrDenied where it is unknown or
// was revoked.
func (db *DB) Device(ctx context.Context, secret string) (Device, error) {
	row, err := takeRow[deviceRow](db.g(ctx).Where("secret = ?", hash(sha256.Sum256([]byte(secret)))))
	switch {
	case errors.Is(err, gorm.ErrRecordNotFound):
		return Device{}, fmt.Errorf("the device is unknown: %w", ErrDenied)
	case err != nil:
		return Device{}, wrap(err, "reading a device")
	case row.RevokedAt != instant{}:
		return Device{}, fmt.Errorf("device %s was revoked: %w", row.Code, ErrDenied)
	}
	return row.device(), nil
}

// Devices returns a store's devices, or all where store is empty, by code.
func (db *DB) Devices(ctx context.Context, store string) ([]Device, error) {
	rows, err := findRows[deviceRow](db.g(ctx).Where("store = ? OR ? = ''", store, store).Order("code"))
	return mapped(rows, (*deviceRow).device), wrap(err, "reading the devices")
}

// RevokeDevice ends a device now.
func (db *DB) RevokeDevice(ctx context.Context, by Actor, code string) error {
	return wrap(db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, db.dialect.sql(
			"UPDATE device SET revoked_at = ?, enrolment = NULL, enrolment_until = NULL WHERE code = ? AND revoked_at IS NULL"),
			instant(db.now()), code))
		if err := oneRow(n, err); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "device.revoke", subject: "device:" + code})
	}), "revoking device %s", code)
}
