package models

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
	"golang.org/x/text/language"
	"gorm.io/gorm"

	"solewright/assess"
	"solewright/models/retail"
)

// Account is a person's account: what retail.Staff says, and how it signs in.
type Account struct {
	retail.Staff
	// Epoch goes up when the account is retired or its roles, scopes, password or
	// PIN change. A session made under an older one has ended.
	Epoch               int
	HasPassword, HasPIN bool
	// Mark is the drawing that the person is found by on a tablet, one of
	// retail.Marks; empty where none was chosen.
	Mark string
	// Lang is the language the person reads, a BCP 47 tag; empty where they never said.
	Lang string
}

// Active reports whether the account may sign in.
func (a *Account) Active() bool { return a.Retired == "" }

type accountRow struct {
	Code         string  `gorm:"column:code;primaryKey"`
	Role         string  `gorm:"column:role"`
	Scopes       string  `gorm:"column:scopes"`
	Retired      text    `gorm:"column:retired"`
	PasswordHash text    `gorm:"column:password_hash" json:"-"`
	PINHash      text    `gorm:"column:pin_hash" json:"-"`
	Epoch        int     `gorm:"column:epoch" json:"-"`
	CreatedAt    instant `gorm:"column:created_at" json:"-"`
	Mark         text    `gorm:"column:mark" json:"-"`
	Lang         text    `gorm:"column:lang" json:"-"`
	Also         text    `gorm:"column:also"`
}

func (accountRow) TableName() string { return "account" }

func (row *accountRow) account() Account {
	return Account{
		Staff: retail.Staff{
			Code: row.Code, Role: retail.Role(row.Role), Scopes: parsedWords(row.Scopes, retail.ParseScope),
			Also: parsedWords(string(row.Also), retail.ParseGrant), Retired: string(row.Retired),
		},
		Epoch: row.Epoch, HasPassword: row.PasswordHash != "", HasPIN: row.PINHash != "",
		Mark: string(row.Mark), Lang: string(row.Lang),
	}
}

// parsedWords reads what [retail.Words] wrote. A word that parse doesn't know
// reaches nothing.
func parsedWords[T any](words string, parse func(string) (T, bool)) []T {
	var all []T
	for w := range strings.FieldsSeq(words) {
		if v, ok := parse(w); ok {
			all = append(all, v)
		}
	}
	return all
}

// checkScopes refuses a role or a scope that doesn't exist.
func (db *DB) checkScopes(ctx context.Context, q querier, role retail.Role, scopes []retail.Scope) error {
	if !slices.Contains(retail.Roles, role) {
		return refused("role", string(role), "fitter, trainee, manager, trainer or office")
	}
	if len(scopes) == 0 {
		return refused("scopes", "", "fleet, or regions and stores")
	}
	for _, s := range scopes {
		if err := db.checkPlace(ctx, q, "scopes", s.String(), s); err != nil {
			return err
		}
	}
	return nil
}

// checkPlace refuses a scope whose region or store isn't set up.
func (db *DB) checkPlace(ctx context.Context, q querier, field, value string, s retail.Scope) error {
	query, code := "SELECT count(*) FROM store WHERE code = ?", s.Store
	if s.Store == "" {
		query, code = "SELECT count(*) FROM region WHERE code = ?", s.Region
	}
	if code == "" {
		return nil
	}
	var n int
	if err := q.QueryRowContext(ctx, db.dialect.sql(query), code).Scan(&n); err != nil {
		return err
	}
	if n == 0 {
		return refused(field, value, "a region or store that is set up")
	}
	return nil
}

// besideTrainee are the roles that a trainee can't hold: each can be the second
// person of a verdict, which is what a trainee's own verdicts wait for. Common
// practice, no source.
var besideTrainee = []retail.Role{retail.Fitter, retail.Manager, retail.Office}

// checkAlso refuses further roles that say nothing new, that don't go with the
// others, or that are held where nothing is set up.
func (db *DB) checkAlso(ctx context.Context, q querier, s *retail.Staff) error {
	seen := map[retail.Grant]bool{}
	for _, g := range s.Also {
		switch {
		case !slices.Contains(retail.Roles, g.Role):
			return refused("also", g.String(), "fitter, trainee, manager, trainer or office")
		case g.Role == s.Role:
			return inconsistent("also", g.String(), "another role than the main one, whose stores and regions stand beside it")
		case seen[g]:
			return inconsistent("also", g.String(), "each role in each place once")
		}
		seen[g] = true
		if err := db.checkPlace(ctx, q, "also", g.String(), g.Scope); err != nil {
			return err
		}
	}
	if !s.Holds(retail.Trainee) {
		return nil
	}
	for _, g := range s.Grants() {
		if slices.Contains(besideTrainee, g.Role) {
			return inconsistent("also", retail.Words(s.Also),
				fmt.Sprintf("trainee or %s, not both: who learns to read pairs can't be the second person of a verdict", g.Role))
		}
	}
	return nil
}

// Accounts returns all accounts, the retired among them, by code.
func (db *DB) Accounts(ctx context.Context) ([]Account, error) {
	rows, err := findRows[accountRow](db.g(ctx).Order("code"))
	return mapped(rows, (*accountRow).account), wrap(err, "reading the accounts")
}

// Account returns one account.
func (db *DB) Account(ctx context.Context, code string) (Account, error) {
	row, err := takeRow[accountRow](db.g(ctx).Where("code = ?", code))
	return row.account(), wrap(err, "account %s", code)
}

// StaffAt returns the active accounts that act in a store by its own name, by
// code: who may be found at its tablets.
func (db *DB) StaffAt(ctx context.Context, store string) ([]Account, error) {
	like := "%store:" + store + "%"
	rows, err := findRows[accountRow](db.g(ctx).Where("retired IS NULL AND (scopes LIKE ? OR also LIKE ?)", like, like).Order("code"))
	all := slices.DeleteFunc(mapped(rows, (*accountRow).account), func(a Account) bool { // a code may begin with another
		return !slices.ContainsFunc(a.Grants(), func(g retail.Grant) bool { return g.Scope.Store == store })
	})
	return all, wrap(err, "reading the staff of store %s", store)
}

// SetMark sets the drawing that a person is found by on a tablet.
func (db *DB) SetMark(ctx context.Context, by Actor, code, mark string) error {
	if !slices.Contains(retail.Marks, mark) {
		return refused("mark", mark, strings.Join(retail.Marks, ", "))
	}
	return wrap(db.setTaste(ctx, by, code, "mark", mark), "setting the mark of %s", code)
}

// SetLang sets the language that a person reads, a BCP 47 tag.
func (db *DB) SetLang(ctx context.Context, by Actor, code, lang string) error {
	tag, err := language.Parse(lang)
	if err != nil {
		return refused("lang", lang, "a language tag, such as en or es")
	}
	return wrap(db.setTaste(ctx, by, code, "lang", tag.String()), "setting the language of %s", code)
}

// setTaste changes a column of an account that says nothing of what the person
// may do, so that sessions stay.
func (db *DB) setTaste(ctx context.Context, by Actor, code, column, value string) error {
	return db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, db.dialect.sql("UPDATE account SET "+column+" = ? WHERE code = ?"), value, code))
		if err := oneRow(n, err); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "staff." + column, subject: "staff:" + code, after: value})
	})
}

// Codes of people and tablets, and what a token is called, as an export of them and
// of their readings can be read back. Who was set up otherwise before stays.
var (
	staffCode  = assess.Code("staff", 32, itself)
	deviceCode = assess.Code("device", 64, itself)
	tokenName  = assess.Text("name", 80, itself)
)

func itself(s *string) *string { return s }

// isWritten refuses a text that a field can't be.
func isWritten(f assess.Field[string], text string) error {
	if want := f.Parse(new(string), text); want != "" {
		return refused(f.Name, text, want)
	}
	return nil
}

// SaveStaff creates an account, or changes the one with its code. A change of
// roles, scopes or retirement ends its sessions.
func (db *DB) SaveStaff(ctx context.Context, by Actor, s retail.Staff) error {
	if s.Code == "" {
		return refused("staff", s.Code, "a code")
	}
	row := accountRow{
		Code: s.Code, Role: string(s.Role), Scopes: retail.Words(s.Scopes), Also: text(retail.Words(s.Also)), Retired: text(s.Retired),
	}
	return wrap(db.tx(ctx, func(t *txn) error {
		if err := db.checkScopes(ctx, t, s.Role, s.Scopes); err != nil {
			return err
		}
		if err := db.checkAlso(ctx, t, &s); err != nil {
			return err
		}
		old, err := takeRow[accountRow](t.g.Where("code = ?", s.Code))
		isKnown := err == nil
		if wrong := isWritten(staffCode, s.Code); wrong != nil && !isKnown {
			return wrong
		}
		if err != nil && !errors.Is(err, gorm.ErrRecordNotFound) {
			return err
		}
		row.PasswordHash, row.PINHash, row.Epoch, row.CreatedAt = old.PasswordHash, old.PINHash, old.Epoch+1, old.CreatedAt
		row.Mark, row.Lang = old.Mark, old.Lang
		if !isKnown {
			row.CreatedAt = instant(db.now())
		}
		return db.saveAudited(ctx, t, by, "staff", s.Code, &old, &row, isKnown)
	}), "saving account %s", s.Code)
}

// RetireStaff ends an account on a day (YYYY-MM-DD), and its sessions.
func (db *DB) RetireStaff(ctx context.Context, by Actor, code, day string) error {
	a, err := db.Account(ctx, code)
	if err != nil {
		return err
	}
	a.Retired = day
	return db.SaveStaff(ctx, by, a.Staff)
}

// The least length of a password, and the length of a PIN. House values; NIST
// SP 800-63B asks for 8 characters at least, and for no rules of composition.
// A PIN signs in only on an enrolled device.
const (
	MinPassword = 12
	MaxPassword = 256
	PINDigits   = 6
)

// SetPassword sets an account's password and ends its sessions.
func (db *DB) SetPassword(ctx context.Context, by Actor, code, password string) error {
	if n := utf8.RuneCountInString(password); n < MinPassword || n > MaxPassword {
		return secretRefused("password", fmt.Sprintf("%d to %d characters", MinPassword, MaxPassword))
	}
	return wrap(db.setSecret(ctx, by, code, "password_hash", password), "setting the password of %s", code)
}

// SetPIN sets an account's PIN and ends its sessions.
func (db *DB) SetPIN(ctx context.Context, by Actor, code, pin string) error {
	if !goodPIN(pin) {
		return secretRefused("pin", fmt.Sprintf("%d digits, not all in one step", PINDigits))
	}
	return wrap(db.setSecret(ctx, by, code, "pin_hash", pin), "setting the PIN of %s", code)
}

// secretRefused is refused without showing the value.
func secretRefused(field, want string) error {
	return assess.FieldError{Field: field, Want: want, Err: assess.ErrOutOfRange}
}

// goodPIN reports whether a PIN has its digits, and whether they differ from
// one to the next by more than one fixed step, as in 111111 and 654321.
func goodPIN(pin string) bool {
	if len(pin) != PINDigits {
		return false
	}
	oneStep := true
	for i := range len(pin) {
		if pin[i] < '0' || pin[i] > '9' {
			return false
		}
		if i >= 2 && int(pin[i])-int(pin[i-1]) != int(pin[1])-int(pin[0]) {
			oneStep = false
		}
	}
	return !oneStep
}

func (db *DB) setSecret(ctx context.Context, by Actor, code, column, secret string) error {
	hashed, err := db.hashed(ctx, secret)
	if err != nil {
		return err
	}
	return db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, db.dialect.sql(
			"UPDATE account SET "+column+" = ?, epoch = epoch + 1 WHERE code = ?"), hashed, code))
		if err := oneRow(n, err); err != nil {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "staff." + strings.TrimSuffix(column, "_hash"), subject: "staff:" + code})
	})
}

// argonParams are the least that OWASP's Password Storage Cheat Sheet asks of
// Argon2id: 19 MiB of memory, two passes, one lane.
var argonParams = &argon2id.Params{Memory: 19 * 1024, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// hashers is how many passwords are hashed at once: the memory of each, times
// this, is what a flood of sign-ins can take.
func hashers() int { return max(runtime.GOMAXPROCS(0), 2) }

// whileHashing runs f, which takes the memory of one hash, when a slot is free.
func (db *DB) whileHashing(ctx context.Context, f func() error) error {
	select {
	case db.hashing <- struct{}{}:
		defer func() { <-db.hashing }()
		return f()
	case <-ctx.Done():
		return fmt.Errorf("waiting to check a password: %w", errors.Join(ErrBusy, ctx.Err()))
	}
}

func (db *DB) hashed(ctx context.Context, secret string) (h string, err error) {
	err = db.whileHashing(ctx, func() (err error) {
		h, err = argon2id.CreateHash(secret, argonParams)
		return err
	})
	return h, err
}

// noHash is a hash that nobody's secret has: checking against it takes as long
// as checking a real one, so that the time does not tell which accounts exist.
var noHash = sync.OnceValues(func() (string, error) {
	return argon2id.CreateHash("no account", argonParams)
})

// matches checks a secret against a hash, which may be empty.
func (db *DB) matches(ctx context.Context, secret string, hash text) (ok bool, err error) {
	err = db.whileHashing(ctx, func() error {
		h := string(hash)
		if h == "" {
			if h, err = noHash(); err != nil {
				return err
			}
		}
		ok, err = argon2id.ComparePasswordAndHash(secret, h)
		return err
	})
	return ok && hash != "", err
}

// TooMany says how long an account, device or address has to wait after too
// many failed attempts. It unwraps to ErrTooMany.
type TooMany struct {
	Wait  time.Duration
	first bool // the first attempt past the limit, which the audit trail notes
}

// Error says how long to wait.
func (e *TooMany) Error() string {
	return fmt.Sprintf("%v: wait %s", ErrTooMany, e.Wait.Round(time.Second))
}

// Unwrap returns ErrTooMany.
func (e *TooMany) Unwrap() error { return ErrTooMany }

// How many failed attempts a subject has within attemptWindow. House values:
// few enough that guessing six digits is hopeless, enough for a bad morning.
const (
	attemptWindow   = 15 * time.Minute
	accountAttempts = 10
	pinAttempts     = 5
	addressAttempts = 60
)

// SignIn checks an account's password. addr is the address that asks, or empty.
// Wrong, unknown and retired are all ErrDenied; past the limit of failures it
// is a TooMany, whatever the password.
func (db *DB) SignIn(ctx context.Context, code, password, addr string) (Account, error) {
	a, err := db.signIn(ctx, Actor{Account: code}, "password", password, []limit{
		{"account:" + code, accountAttempts}, {"address:" + addr, addressAttempts},
	})
	return a, wrap(err, "signing in %s", code)
}

// SignInByProvider returns the account of somebody whom a provider of sign-in
// vouches for: an active manager, trainer or the office. Anybody else is
// ErrDenied.
func (db *DB) SignInByProvider(ctx context.Context, code string) (Account, error) {
	who, e := Actor{Account: code}, entry{action: "sign-in.provider", subject: "staff:" + code}
	a, err := db.Account(ctx, code)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return Account{}, err
	}
	if err != nil || !a.Active() || !a.Holds(retail.Manager) && !a.Holds(retail.Trainer) && !a.Holds(retail.Office) {
		e.action = "sign-in.denied"
		return Account{}, wrap(errors.Join(ErrDenied, db.noteAudit(ctx, db.q(), who, e)), "signing in %s", code)
	}
	return a, wrap(db.noteAudit(ctx, db.q(), who, e), "signing in %s", code)
}

// SignInPIN checks an account's PIN on an enrolled device.
func (db *DB) SignInPIN(ctx context.Context, device, code, pin string) (Account, error) {
	a, err := db.signIn(ctx, Actor{Account: code, Device: device}, "pin", pin, []limit{
		{"pin:" + device + ":" + code, pinAttempts}, {"device:" + device, addressAttempts},
	})
	return a, wrap(err, "signing in %s on %s", code, device)
}

// limit is how many failures a subject may have.
type limit struct {
	subject string
	most    int
}

func (db *DB) signIn(ctx context.Context, who Actor, how, secret string, limits []limit) (Account, error) {
	// Attempts count before the secret is looked at: many at once would
	// otherwise all be let through.
	if err := db.attempt(ctx, limits); err != nil {
		if over, ok := errors.AsType[*TooMany](err); ok && over.first {
			err = errors.Join(err, db.noteAudit(ctx, db.q(), who, entry{action: "sign-in.too-many", subject: "staff:" + who.Account}))
		}
		return Account{}, err
	}
	row, err := takeRow[accountRow](db.g(ctx).Where("code = ?", who.Account))
	if err != nil && !errors.Is(err, gorm.ErrRecordNotFound) {
		return Account{}, err
	}
	hash := row.PasswordHash
	if how == "pin" {
		hash = row.PINHash
	}
	ok, err := db.matches(ctx, secret, hash)
	if err != nil {
		return Account{}, err
	}
	a := row.account()
	if !ok || !a.Active() {
		return Account{}, errors.Join(ErrDenied, db.noteAudit(ctx, db.q(), who, entry{action: "sign-in.denied", subject: "staff:" + who.Account}))
	}
	if err := db.forgive(ctx, limits[0].subject); err != nil {
		return Account{}, err
	}
	return a, db.noteAudit(ctx, db.q(), who, entry{action: "sign-in." + how, subject: "staff:" + a.Code})
}

// attempt counts an attempt for each subject, and refuses where one is past its
// limit.
func (db *DB) attempt(ctx context.Context, limits []limit) error {
	var over *TooMany
	now := db.now()
	for _, l := range limits {
		var (
			n    int
			ends instant
		)
		err := db.q().QueryRowContext(ctx, db.dialect.sql(`
			INSERT INTO sign_in_attempt (subject, failures, window_ends) VALUES (?, 1, ?)
			ON CONFLICT (subject) DO UPDATE SET
				failures    = CASE WHEN sign_in_attempt.window_ends <= ? THEN 1 ELSE sign_in_attempt.failures + 1 END,
				window_ends = CASE WHEN sign_in_attempt.window_ends <= ? THEN excluded.window_ends ELSE sign_in_attempt.window_ends END
			RETURNING failures, window_ends`),
			l.subject, instant(now.Add(attemptWindow)), instant(now), instant(now)).Scan(&n, &ends)
		if err != nil {
			return err
		}
		if n > l.most {
			over = &TooMany{Wait: time.Time(ends).Sub(now), first: n == l.most+1}
		}
	}
	if over != nil {
		return over
	}
	return nil
}

// forgive forgets a subject's failures.
func (db *DB) forgive(ctx context.Context, subject string) error {
	_, err := db.q().ExecContext(ctx, db.dialect.sql("DELETE FROM sign_in_attempt WHERE subject = ?"), subject)
	return err
}
