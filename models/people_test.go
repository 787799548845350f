package models_test

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/alexedwards/scs/v2"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

var _ scs.CtxStore = models.Sessions{}

// clock is a clock that a test moves.
type clock struct {
	sync.Mutex
	t time.Time
}

func (c *clock) now() time.Time {
	c.Lock()
	defer c.Unlock()
	return c.t
}

func (c *clock) move(d time.Duration) {
	c.Lock()
	defer c.Unlock()
	c.t = c.t.Add(d)
}

const (
	password = "correct horse battery"
	pin      = "271828"
)

// hire sets up a fitter with a password and a PIN, and an enrolled tablet.
func hire(t *testing.T, db *models.DB) {
	t.Helper()
	setUp(t, db)
	must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "F-1", Role: retail.Fitter, Scopes: []retail.Scope{{Store: "S-1"}}}))
	must(t, db.SetPassword(t.Context(), office, "F-1", password))
	must(t, db.SetPIN(t.Context(), office, "F-1", pin))
}

func TestStaff(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		s := retail.Staff{Code: "M-1", Role: retail.Manager, Scopes: []retail.Scope{{Region: "SOUTH"}, {Store: "S-2"}}}
		must(t, db.SaveStaff(t.Context(), office, s))
		a, err := db.Account(t.Context(), "M-1")
		must(t, err)
		same(t, a.Staff, s)
		if a.HasPassword || a.HasPIN || !a.Active() {
			t.Errorf("a new account is %+v", a)
		}
		must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "O-1", Role: retail.Office, Scopes: models.Fleet}))
		all, err := db.Accounts(t.Context())
		must(t, err)
		if len(all) != 3 || all[2].Code != "O-1" || len(all[2].Scopes) != 1 || all[2].Scopes[0] != (retail.Scope{}) {
			t.Errorf("got %+v", all)
		}
		for _, c := range []struct {
			name  string
			s     retail.Staff
			field string
		}{
			{"a role that doesn't exist is refused", retail.Staff{Code: "X", Role: "king", Scopes: models.Fleet}, "role"},
			{"no scope is refused", retail.Staff{Code: "X", Role: retail.Fitter}, "scopes"},
			{"a store that isn't there is refused", retail.Staff{Code: "X", Role: retail.Fitter, Scopes: []retail.Scope{{Store: "S-9"}}}, "scopes"},
			{"a region that isn't there is refused", retail.Staff{Code: "X", Role: retail.Fitter, Scopes: []retail.Scope{{Region: "WEST"}}}, "scopes"},
			{"a code that no export could give back is refused", retail.Staff{Code: "the new one", Role: retail.Fitter, Scopes: models.Fleet}, "staff"},
			{"a code with a NUL is refused", retail.Staff{Code: "X\x00", Role: retail.Fitter, Scopes: models.Fleet}, "staff"},
			{"a code that is too long is refused", retail.Staff{Code: strings.Repeat("X", 33), Role: retail.Fitter, Scopes: models.Fleet}, "staff"},
			{"no code is refused", retail.Staff{Role: retail.Fitter, Scopes: models.Fleet}, "staff"},
		} {
			t.Run(c.name, func(t *testing.T) { wantField(t, db.SaveStaff(t.Context(), office, c.s), c.field) })
		}
		t.Run("an account holds several roles, each with its scope", func(t *testing.T) {
			s := retail.Staff{
				Code: "F-5", Role: retail.Fitter, Scopes: []retail.Scope{{Store: "S-1"}},
				Also: []retail.Grant{{Role: retail.Trainer}, {Role: retail.Manager, Scope: retail.Scope{Store: "S-2"}}},
			}
			must(t, db.SaveStaff(t.Context(), office, s))
			before, err := db.Account(t.Context(), "F-5")
			must(t, err)
			same(t, before.Staff, s)
			s.Also = s.Also[:1]
			must(t, db.SaveStaff(t.Context(), office, s))
			after, err := db.Account(t.Context(), "F-5")
			must(t, err)
			same(t, after.Staff, s)
			if after.Epoch <= before.Epoch {
				t.Errorf("taking a role away left the sessions: epoch %d, then %d", before.Epoch, after.Epoch)
			}
			trail, _, err := db.Audit(t.Context(), models.AuditFilter{Subject: "staff:F-5"}, models.Page{Limit: 1})
			must(t, err)
			if e := trail[0]; e.Action != "staff.change" || !strings.Contains(e.Before, `"also":"trainer@fleet manager@store:S-2"`) || !strings.Contains(e.After, `"also":"trainer@fleet"`) {
				t.Errorf("the trail says %+v", e)
			}
		})
		at1 := []retail.Scope{{Store: "S-1"}}
		for _, c := range []struct {
			name string
			role retail.Role
			also []retail.Grant
		}{
			{"a further role that doesn't exist is refused", retail.Fitter, []retail.Grant{{Role: "king"}}},
			{"a further role where nothing is set up is refused", retail.Fitter, retail.Grants(retail.Trainer, retail.Scope{Region: "WEST"})},
			{"the main role again is refused", retail.Fitter, retail.Grants(retail.Fitter, retail.Scope{Store: "S-2"})},
			{"one role twice in one place is refused", retail.Fitter, []retail.Grant{{Role: retail.Trainer}, {Role: retail.Trainer}}},
			{"a fitter who is a trainee too is refused", retail.Fitter, retail.Grants(retail.Trainee, at1...)},
			{"a trainee who is a fitter elsewhere is refused", retail.Trainee, retail.Grants(retail.Fitter, retail.Scope{Store: "S-2"})},
			{"a trainer who is trainee and manager is refused", retail.Trainer, append(retail.Grants(retail.Trainee, at1...), retail.Grants(retail.Manager, at1...)...)},
		} {
			t.Run(c.name, func(t *testing.T) {
				wantField(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "X", Role: c.role, Scopes: at1, Also: c.also}), "also")
			})
		}
		t.Run("a trainer who learns to read pairs is fine", func(t *testing.T) {
			must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "F-6", Role: retail.Trainee, Scopes: at1, Also: []retail.Grant{{Role: retail.Trainer}}}))
		})
		t.Run("a change of role keeps the password and ends sessions", func(t *testing.T) {
			before, err := db.Account(t.Context(), "F-1")
			must(t, err)
			must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "F-1", Role: retail.Trainer, Scopes: models.Fleet}))
			after, err := db.SignIn(t.Context(), "F-1", password, "")
			must(t, err)
			if after.Epoch <= before.Epoch || after.Role != retail.Trainer {
				t.Errorf("before %+v, after %+v", before, after)
			}
		})
		t.Run("hashes are no part of the audit trail", func(t *testing.T) {
			all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "staff."}, models.Page{Limit: 100})
			must(t, err)
			if len(all) == 0 {
				t.Error("nothing was written")
			}
			for _, e := range all {
				if strings.Contains(e.Before+e.After, "argon2id") {
					t.Errorf("%+v", e)
				}
			}
		})
	})
}

func TestSignIn(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		a, err := db.SignIn(t.Context(), "F-1", password, "192.0.2.1")
		must(t, err)
		if a.Code != "F-1" || a.Role != retail.Fitter {
			t.Errorf("got %+v", a)
		}
		_, err = db.SignInPIN(t.Context(), "T-1", "F-1", pin)
		must(t, err)
		for _, c := range []struct{ name, code, secret string }{
			{"a wrong password is not accepted", "F-1", "wrong horse battery"},
			{"a PIN is no password", "F-1", pin},
			{"an unknown account is not accepted", "F-9", password},
			{"no password is not accepted", "F-1", ""},
		} {
			t.Run(c.name, func(t *testing.T) {
				_, err := db.SignIn(t.Context(), c.code, c.secret, "192.0.2.1")
				wantErr(t, err, models.ErrDenied)
			})
		}
		t.Run("a password is no PIN", func(t *testing.T) {
			_, err := db.SignInPIN(t.Context(), "T-1", "F-1", password)
			wantErr(t, err, models.ErrDenied)
		})
		t.Run("an account without a PIN has none", func(t *testing.T) {
			must(t, db.SaveStaff(t.Context(), office, retail.Staff{Code: "F-2", Role: retail.Fitter, Scopes: models.Fleet}))
			_, err := db.SignInPIN(t.Context(), "T-1", "F-2", "")
			wantErr(t, err, models.ErrDenied)
		})
		t.Run("a retired account is not accepted", func(t *testing.T) {
			must(t, db.RetireStaff(t.Context(), office, "F-1", "2026-03-14"))
			_, err := db.SignIn(t.Context(), "F-1", password, "192.0.2.1")
			wantErr(t, err, models.ErrDenied)
		})
		t.Run("signing in is in the audit trail, accepted or not", func(t *testing.T) {
			all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "sign-in."}, models.Page{Limit: 100})
			must(t, err)
			n := map[string]int{}
			for _, e := range all {
				n[e.Action]++
			}
			same(t, n, map[string]int{"sign-in.password": 1, "sign-in.pin": 1, "sign-in.denied": 7})
		})
	}, dbtest.Clock(c.now))
}

func TestTooManyAttempts(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		hire(t, db)
		wrong := func(ctx context.Context) error {
			_, err := db.SignInPIN(ctx, "T-1", "F-1", "000001")
			return err
		}
		t.Run("at once are not let through together", func(t *testing.T) {
			const tries = 12
			errs := make([]error, tries)
			var wg sync.WaitGroup
			for i := range tries {
				wg.Go(func() { errs[i] = wrong(t.Context()) })
			}
			wg.Wait()
			denied, tooMany := 0, 0
			for _, err := range errs {
				switch {
				case errors.Is(err, models.ErrDenied):
					denied++
				case errors.Is(err, models.ErrTooMany):
					tooMany++
				default:
					t.Error(err)
				}
			}
			if denied != 5 || tooMany != tries-5 {
				t.Errorf("%d were tried and %d not, want 5 and %d", denied, tooMany, tries-5)
			}
		})
		t.Run("are noted once", func(t *testing.T) {
			all, _, err := db.Audit(t.Context(), models.AuditFilter{Action: "sign-in.too-many"}, models.Page{})
			must(t, err)
			if len(all) != 1 {
				t.Errorf("%d entries", len(all))
			}
		})
		t.Run("shut out the right PIN too, and say for how long", func(t *testing.T) {
			_, err := db.SignInPIN(t.Context(), "T-1", "F-1", pin)
			tooMany, ok := errors.AsType[*models.TooMany](err)
			if !ok || tooMany.Wait != 15*time.Minute {
				t.Errorf("got %v", err)
			}
		})
		t.Run("shut out neither another tablet nor the password", func(t *testing.T) {
			_, err := db.SignInPIN(t.Context(), "T-2", "F-1", pin)
			must(t, err)
			_, err = db.SignIn(t.Context(), "F-1", password, "192.0.2.1")
			must(t, err)
		})
		t.Run("are forgotten when their time is over", func(t *testing.T) {
			c.move(15 * time.Minute)
			_, err := db.SignInPIN(t.Context(), "T-1", "F-1", pin)
			must(t, err)
		})
		t.Run("of one address shut it out for every account", func(t *testing.T) {
			_, err := db.SignIn(t.Context(), "F-9", "", "192.0.2.7")
			wantErr(t, err, models.ErrDenied)
			// Sixty guesses would take their time to hash.
			_, err = db.Primary().ExecContext(t.Context(), "UPDATE sign_in_attempt SET failures = 60 WHERE subject = 'address:192.0.2.7' AND failures = 1")
			must(t, err)
			_, err = db.SignIn(t.Context(), "F-1", password, "192.0.2.7")
			wantErr(t, err, models.ErrTooMany)
		})
		t.Run("are purged when they are over", func(t *testing.T) {
			c.move(time.Hour)
			must(t, db.Sessions().Purge(t.Context()))
			var n int
			must(t, db.Primary().QueryRowContext(t.Context(), "SELECT count(*) FROM sign_in_attempt").Scan(&n))
			if n != 0 {
				t.Errorf("%d are left", n)
			}
		})
	}, dbtest.Clock(c.now))
}

func TestSecretsAreRefused(t *testing.T) {
	db := dbtest.Open(t)
	hire(t, db)
	for _, s := range []string{"", "short", strings.Repeat("é", models.MinPassword-1), strings.Repeat("x", models.MaxPassword+1)} {
		wantField(t, db.SetPassword(t.Context(), office, "F-1", s), "password")
	}
	must(t, db.SetPassword(t.Context(), office, "F-1", strings.Repeat("é", models.MinPassword)))
	for _, s := range []string{"", "12345", "1234567", "12345a", "111111", "123456", "654321", "２７１８２８"} {
		wantField(t, db.SetPIN(t.Context(), office, "F-1", s), "pin")
	}
	must(t, db.SetPIN(t.Context(), office, "F-1", "135791")) // its last step differs
	wantErr(t, db.SetPassword(t.Context(), office, "F-9", password), models.ErrNotFound)
	t.Run("without showing them", func(t *testing.T) {
		if err := db.SetPassword(t.Context(), office, "F-1", "hush-hush"); strings.Contains(err.Error(), "hush") {
			t.Error(err)
		}
	})
}

func TestSessions(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		s := db.Sessions()
		must(t, s.CommitCtx(t.Context(), "token", []byte{1, 0, 2}, at.Add(time.Hour).In(time.FixedZone("", 7200))))
		find := func(want []byte) {
			t.Helper()
			b, found, err := s.FindCtx(t.Context(), "token")
			must(t, err)
			if found != (want != nil) {
				t.Errorf("found %t", found)
			}
			same(t, b, want)
		}
		find([]byte{1, 0, 2})
		must(t, s.Commit("token", []byte{3}, at.Add(2*time.Hour)))
		find([]byte{3})
		must(t, s.CommitCtx(t.Context(), "other", []byte{4}, at.Add(time.Hour)))
		c.move(2*time.Hour - time.Microsecond)
		find([]byte{3})
		c.move(time.Microsecond)
		find(nil)
		must(t, s.Purge(t.Context()))
		var n int
		must(t, db.Primary().QueryRowContext(t.Context(), "SELECT count(*) FROM session").Scan(&n))
		if n != 0 {
			t.Errorf("%d ended sessions are left", n)
		}
		must(t, s.DeleteCtx(t.Context(), "never"))
		c.move(-2 * time.Hour)
	}, dbtest.Clock(c.now))
}

func TestTokens(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		want := models.Token{Name: "till", Role: retail.Fitter, Scopes: []retail.Scope{{Store: "S-1"}}}
		secret, err := db.AddToken(t.Context(), office, want, 24*time.Hour)
		must(t, err)
		got, err := db.Token(t.Context(), secret)
		must(t, err)
		want.CreatedBy, want.CreatedAt, want.Expires = office.Account, c.now(), c.now().Add(24*time.Hour)
		same(t, got, want)
		t.Run("the secret is not stored", func(t *testing.T) {
			var b []byte
			must(t, db.Primary().QueryRowContext(t.Context(), "SELECT secret FROM api_token").Scan(&b))
			if len(b) != 32 || strings.Contains(secret, string(b)) {
				t.Errorf("stored %x of %s", b, secret)
			}
		})
		t.Run("a name is used once", func(t *testing.T) {
			_, err := db.AddToken(t.Context(), office, want, time.Hour)
			wantErr(t, err, models.ErrConflict)
		})
		t.Run("another secret is not accepted", func(t *testing.T) {
			for _, s := range []string{"", secret[:len(secret)-1], strings.ToUpper(secret)} {
				_, err := db.Token(t.Context(), s)
				wantErr(t, err, models.ErrDenied)
			}
		})
		t.Run("one that lasts no time, or has no name or scope, is refused", func(t *testing.T) {
			_, err := db.AddToken(t.Context(), office, models.Token{Name: "x", Role: retail.Fitter, Scopes: models.Fleet}, 0)
			wantField(t, err, "days")
			_, err = db.AddToken(t.Context(), office, models.Token{Name: "a\nb", Role: retail.Fitter, Scopes: models.Fleet}, time.Hour)
			wantField(t, err, "name")
			_, err = db.AddToken(t.Context(), office, models.Token{Role: retail.Fitter, Scopes: models.Fleet}, time.Hour)
			wantField(t, err, "name")
			_, err = db.AddToken(t.Context(), office, models.Token{Name: "x", Role: retail.Fitter}, time.Hour)
			wantField(t, err, "scopes")
		})
		t.Run("it ends with its time", func(t *testing.T) {
			c.move(24 * time.Hour)
			defer c.move(-24 * time.Hour)
			_, err := db.Token(t.Context(), secret)
			wantErr(t, err, models.ErrDenied)
		})
		t.Run("it ends when it is revoked, once", func(t *testing.T) {
			must(t, db.RevokeToken(t.Context(), office, "till"))
			_, err := db.Token(t.Context(), secret)
			wantErr(t, err, models.ErrDenied)
			wantErr(t, db.RevokeToken(t.Context(), office, "till"), models.ErrNotFound)
			all, err := db.Tokens(t.Context())
			must(t, err)
			if len(all) != 1 || all[0].RevokedAt.IsZero() {
				t.Errorf("got %+v", all)
			}
		})
	}, dbtest.Clock(c.now))
}

func TestDevices(t *testing.T) {
	c := &clock{t: at}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		code, err := db.AddDevice(t.Context(), office, "T-1", "S-1")
		must(t, err)
		d, secret, err := db.EnrolDevice(t.Context(), strings.ToLower(code[:4]+"-"+code[4:]), "192.0.2.1")
		must(t, err)
		if d.Code != "T-1" || d.Store != "S-1" || d.EnrolledAt.IsZero() {
			t.Errorf("enrolled %+v", d)
		}
		got, err := db.Device(t.Context(), secret)
		must(t, err)
		same(t, got, d)
		t.Run("a code is used once", func(t *testing.T) {
			_, _, err := db.EnrolDevice(t.Context(), code, "192.0.2.2")
			wantErr(t, err, models.ErrDenied)
		})
		t.Run("a code gets old", func(t *testing.T) {
			code, err := db.AddDevice(t.Context(), office, "T-2", "S-1")
			must(t, err)
			c.move(time.Hour)
			_, _, err = db.EnrolDevice(t.Context(), code, "192.0.2.3")
			wantErr(t, err, models.ErrDenied)
		})
		t.Run("a mistyped code says so", func(t *testing.T) {
			_, _, err := db.EnrolDevice(t.Context(), "ABC", "192.0.2.4")
			wantField(t, err, "enrolment")
		})
		t.Run("a new code replaces the tablet's secret when it is used", func(t *testing.T) {
			code, err := db.AddDevice(t.Context(), office, "T-1", "S-1")
			must(t, err)
			_, err = db.Device(t.Context(), secret)
			must(t, err)
			_, next, err := db.EnrolDevice(t.Context(), code, "192.0.2.5")
			must(t, err)
			_, err = db.Device(t.Context(), secret)
			wantErr(t, err, models.ErrDenied)
			secret = next
		})
		t.Run("guessing codes is stopped", func(t *testing.T) {
			var err error
			for range 6 {
				_, _, err = db.EnrolDevice(t.Context(), ref(99), "192.0.2.6")
			}
			wantErr(t, err, models.ErrTooMany)
		})
		t.Run("it belongs to its store", func(t *testing.T) {
			for _, code := range []string{"left of the till", "T\x00", strings.Repeat("T", 65)} {
				_, err := db.AddDevice(t.Context(), office, code, "S-1")
				wantField(t, err, "device") // a reading's device comes back from an export
			}
			_, err := db.AddDevice(t.Context(), office, "T-1", "S-2")
			wantErr(t, err, models.ErrConflict)
			_, err = db.AddDevice(t.Context(), office, "T-3", "S-9")
			wantField(t, err, "store")
			all, err := db.Devices(t.Context(), "S-1")
			must(t, err)
			none, err := db.Devices(t.Context(), "S-2")
			must(t, err)
			if len(all) != 2 || len(none) != 0 {
				t.Errorf("S-1 has %d and S-2 %d", len(all), len(none))
			}
		})
		t.Run("it ends when it is revoked, for good", func(t *testing.T) {
			must(t, db.RevokeDevice(t.Context(), office, "T-1"))
			_, err := db.Device(t.Context(), secret)
			wantErr(t, err, models.ErrDenied)
			_, err = db.AddDevice(t.Context(), office, "T-1", "S-1")
			wantErr(t, err, models.ErrConflict)
		})
	}, dbtest.Clock(c.now))
}
