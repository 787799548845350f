package main

import (
	"bufio"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"solewright/models"
	"solewright/models/retail"
)

// reach is where somebody acts; without a flag it is the fleet.
type reach struct {
	Region []string `placeholder:"CODE" help:"A region they act in; may be given more than once."`
	Store  []string `placeholder:"CODE" help:"A store they act in; may be given more than once."`
}

// scopes returns the reach as scopes, and fails for places that aren't set up.
func (r *reach) scopes(a *app, db *models.DB) ([]retail.Scope, error) {
	var scopes []retail.Scope
	for _, code := range r.Region {
		if _, err := db.Region(a.ctx, code); err != nil {
			return nil, fmt.Errorf("--region: %w", err)
		}
		scopes = append(scopes, retail.Scope{Region: code})
	}
	for _, code := range r.Store {
		if _, err := db.Store(a.ctx, code); err != nil {
			return nil, fmt.Errorf("--store: %w", err)
		}
		scopes = append(scopes, retail.Scope{Store: code})
	}
	if scopes == nil {
		scopes = models.Fleet
	}
	return scopes, nil
}

type staffCmd struct {
	Add      staffAddCmd      `cmd:"" help:"Add an account, or change its roles and reach; prints a first password."`
	Password staffPasswordCmd `cmd:"" help:"Set a password: read from standard input, or made and printed."`
	PIN      staffPINCmd      `cmd:"" name:"pin" help:"Set the PIN for store tablets, read from standard input."`
	Disable  staffDisableCmd  `cmd:"" help:"Retire an account; its sessions end."`
	List     staffListCmd     `cmd:"" help:"List accounts."`
}

type staffAddCmd struct {
	database
	reach
	Code string   `arg:"" help:"The person's code."`
	Role string   `required:"" enum:"fitter,trainee,manager,trainer,office" help:"fitter, trainee, manager, trainer or office."`
	Also []string `placeholder:"ROLE@PLACE" help:"A further role and where: trainer@fleet, manager@region:CODE or fitter@store:CODE; may be given more than once."`
}

// grants returns the further roles.
func (s *staffAddCmd) grants() ([]retail.Grant, error) {
	var all []retail.Grant
	for _, word := range s.Also {
		g, ok := retail.ParseGrant(word)
		if !ok {
			return nil, usageError{fmt.Errorf("--also: %q: want a role and where, such as trainer@fleet or manager@store:CODE", word)}
		}
		all = append(all, g)
	}
	return all, nil
}

func (s *staffAddCmd) Run(a *app) error {
	also, err := s.grants()
	if err != nil {
		return err
	}
	return s.use(a, func(db *models.DB) error {
		scopes, err := s.scopes(a, db)
		if err != nil {
			return err
		}
		_, err = db.Account(a.ctx, s.Code)
		fresh := errors.Is(err, models.ErrNotFound)
		if err != nil && !fresh {
			return err
		}
		if err := db.SaveStaff(a.ctx, operator, retail.Staff{Code: s.Code, Role: retail.Role(s.Role), Scopes: scopes, Also: also}); err != nil || !fresh {
			return err
		}
		return setNewPassword(a, db, s.Code)
	})
}

type staffPasswordCmd struct {
	database
	Code  string `arg:"" help:"The person's code."`
	Stdin bool   `help:"Read the password from the first line of standard input."`
}

func (s *staffPasswordCmd) Run(a *app) error {
	return s.use(a, func(db *models.DB) error {
		if !s.Stdin {
			return setNewPassword(a, db, s.Code)
		}
		password, err := a.firstLine()
		if err != nil {
			return err
		}
		return db.SetPassword(a.ctx, operator, s.Code, password)
	})
}

type staffPINCmd struct {
	database
	Code string `arg:"" help:"The person's code."`
}

func (s *staffPINCmd) Run(a *app) error {
	return s.use(a, func(db *models.DB) error {
		pin, err := a.firstLine()
		if err != nil {
			return err
		}
		return db.SetPIN(a.ctx, operator, s.Code, pin)
	})
}

type staffDisableCmd struct {
	database
	Code string `arg:"" help:"The person's code."`
}

func (s *staffDisableCmd) Run(a *app) error {
	return s.use(a, func(db *models.DB) error {
		return db.RetireStaff(a.ctx, operator, s.Code, a.now().UTC().Format(time.DateOnly))
	})
}

type staffListCmd struct {
	database
	listing
}

func (s *staffListCmd) Run(a *app) error {
	return s.use(a, func(db *models.DB) error {
		all, err := db.Accounts(a.ctx)
		if err != nil {
			return err
		}
		for _, acc := range all {
			if err := s.line(a, field{"code", acc.Code}, field{"role", string(acc.Role)}, field{"scopes", retail.Words(acc.Scopes)},
				field{"also", retail.Words(acc.Also)}, field{"retired", acc.Retired}); err != nil {
				return err
			}
		}
		return nil
	})
}

type tokenCmd struct {
	Add    tokenAddCmd    `cmd:"" help:"Make an API token; prints its secret once."`
	Revoke tokenRevokeCmd `cmd:"" help:"End a token."`
	List   tokenListCmd   `cmd:"" help:"List tokens; secrets are not kept."`
}

type tokenAddCmd struct {
	database
	reach
	Name string `arg:"" help:"What the token is for."`
	Role string `required:"" enum:"fitter,trainee,manager,trainer,office" help:"fitter, trainee, manager, trainer or office."`
	Days int    `default:"365" help:"How many days it lasts."`
}

func (t *tokenAddCmd) Run(a *app) error {
	if t.Days < 1 || t.Days > 3650 {
		return usageError{fmt.Errorf("--days: %d: want 1 to 3650", t.Days)}
	}
	return t.use(a, func(db *models.DB) error {
		scopes, err := t.scopes(a, db)
		if err != nil {
			return err
		}
		secret, err := db.AddToken(a.ctx, operator, models.Token{Name: t.Name, Role: retail.Role(t.Role), Scopes: scopes},
			time.Duration(t.Days)*24*time.Hour)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(a.stdout, secret)
		return err
	})
}

type tokenRevokeCmd struct {
	database
	Name string `arg:"" help:"The token's name."`
}

func (t *tokenRevokeCmd) Run(a *app) error {
	return t.use(a, func(db *models.DB) error { return db.RevokeToken(a.ctx, operator, t.Name) })
}

type tokenListCmd struct {
	database
	listing
}

func (t *tokenListCmd) Run(a *app) error {
	return t.use(a, func(db *models.DB) error {
		all, err := db.Tokens(a.ctx)
		if err != nil {
			return err
		}
		for _, tok := range all {
			state := "until " + tok.Expires.Format(time.DateOnly)
			if !tok.RevokedAt.IsZero() {
				state = "revoked " + tok.RevokedAt.Format(time.DateOnly)
			}
			if err := t.line(a, field{"name", tok.Name}, field{"role", string(tok.Role)}, field{"scopes", retail.Words(tok.Scopes)}, field{"state", state}); err != nil {
				return err
			}
		}
		return nil
	})
}

// setNewPassword makes a password nobody can guess and prints it, alone on its
// line, for the person to change.
func setNewPassword(a *app, db *models.DB, code string) error {
	password := rand.Text()
	if err := db.SetPassword(a.ctx, operator, code, password); err != nil {
		return err
	}
	_, err := fmt.Fprintln(a.stdout, password)
	return err
}

// firstLine returns the first line of standard input.
func (a *app) firstLine() (string, error) {
	line, err := bufio.NewReader(a.stdin).ReadString('\n')
	if err != nil && err != io.EOF {
		return "", err
	}
	return strings.TrimRight(line, "\r\n"), nil
}
