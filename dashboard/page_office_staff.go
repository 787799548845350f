package dashboard

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math/big"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// staffPage lists people by code, and holds the form of one of them.
type staffPage struct {
	officeFrame
	Query string
	All   bool // the retired too
	Rows  []staffRow
	More  int // how many more there are than shown
	// Code is whose form it is, empty for somebody new.
	Code        string
	Lines       []sheetLine
	FormWrong   string
	MayChange   bool
	HasPassword bool
	HasPIN      bool
	// Secret is a new password or PIN, shown this once.
	Secret, SecretOf, SecretNote string
}

// staffRow is one person of the list.
type staffRow struct {
	Code, Role, Scopes, Retired, SignsIn string
	Here, MayChange                      bool
}

// staffShown is how many people a list shows; a search narrows it.
const staffShown = 200

// administered are the roles that a manager sets up; the office sets up all.
var administered = []retail.Role{retail.Fitter, retail.Trainee}

// staffForm is what was sent to the page, and what came of it.
type staffForm struct {
	values           map[string]string
	wrong            assess.FieldErrors
	why              string
	secret, secretOf string
	isPIN            bool
}

// showStaff answers with the people in scope.
func (s *Server) showStaff(c *gin.Context) error {
	return s.staffPage(c, http.StatusOK, staffForm{})
}

func (s *Server) staffPage(c *gin.Context, status int, sent staffForm) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	accounts, err := s.accountsOf(ctx, who)
	if err != nil {
		return err
	}
	view := staffPage{
		officeFrame: s.officeFrame(c), Query: strings.TrimSpace(c.Query("q")), All: c.Query("all") != "",
		Code: either(sent.secretOf, c.Query("staff")), MayChange: true, Secret: sent.secret, SecretOf: sent.secretOf,
	}
	values, found := map[string]string{}, false
	for i := range accounts {
		a := &accounts[i]
		may, err := s.maySetStaff(ctx, who, a.Staff)
		if err != nil {
			return err
		}
		row := staffRow{
			Code: a.Code, Role: w.word(string(a.Role)), Scopes: scopeList(a.Scopes), Retired: a.Retired,
			SignsIn: w.signsIn(a), Here: a.Code == view.Code, MayChange: may,
		}
		if row.Here {
			values, found = writeSheet(retail.StaffList, &a.Staff), true
			view.MayChange, view.HasPassword, view.HasPIN = may, a.HasPassword, a.HasPIN
		}
		switch {
		case !row.Here && !view.All && !a.Active(),
			view.Query != "" && !strings.Contains(strings.ToLower(row.Code+" "+row.Scopes+" "+row.Role), strings.ToLower(view.Query)):
		case len(view.Rows) == staffShown:
			view.More++
		default:
			view.Rows = append(view.Rows, row)
		}
	}
	if !found {
		view.Code = ""
	}
	if sent.values != nil {
		values = sent.values
	}
	view.Lines = w.sheet("staff", []written{
		{name: "staff", needed: true, fixed: view.Code != ""},
		{name: "role", kind: "select", choices: w.choicesOf(rolesFor(who)), needed: true},
		{name: "scopes", needed: true, choices: scopeChoices(who)},
		{name: "retired", kind: "date", label: "office.staff.retired"},
	}, values, sent.wrong)
	view.FormWrong = either(sent.why, strayErrors(sent.wrong, view.Lines))
	if sent.secret == "" {
		return s.render(c, status, "office-staff", view)
	}
	view.SecretNote = w.say("office.secret.password")
	if sent.isPIN {
		view.SecretNote = w.say("office.secret.pin")
	}
	return s.renderOnce(c, status, "office-staff", view)
}

// signsIn says with what an account signs in.
func (w words) signsIn(a *models.Account) string {
	switch {
	case a.HasPassword && a.HasPIN:
		return w.say("office.staff.both")
	case a.HasPassword:
		return w.say("office.staff.password")
	case a.HasPIN:
		return w.say("office.staff.pin")
	}
	return w.say("office.staff.neither")
}

// rolesFor lists the roles that somebody sets up.
func rolesFor(who Identity) []string {
	var all []string
	for _, role := range retail.Roles {
		if who.Role == retail.Office || slices.Contains(administered, role) {
			all = append(all, string(role))
		}
	}
	return all
}

func scopeList(scopes []retail.Scope) string {
	all := make([]string, len(scopes))
	for i, sc := range scopes {
		all[i] = sc.String()
	}
	return strings.Join(all, " ")
}

func scopeChoices(who Identity) []choice {
	all := make([]choice, len(who.Scopes))
	for i, sc := range who.Scopes {
		all[i] = choice{Value: sc.String(), Text: sc.String()}
	}
	return all
}

// maySetStaff reports whether who may set up an account as it stands: all of
// its scopes lie in those of who, and its role is one that who sets up. Nobody
// sets up the account that they are signed in with, so that nobody locks
// themselves out or widens what they may do.
func (s *Server) maySetStaff(ctx context.Context, who Identity, a retail.Staff) (bool, error) {
	if a.Code == who.Code || !slices.Contains(rolesFor(who), string(a.Role)) {
		return false, nil
	}
	for _, scope := range a.Scopes {
		region := scope.Region
		if scope.Store != "" {
			st, err := s.store(ctx, scope.Store)
			if errors.Is(err, models.ErrNotFound) {
				return false, assess.FieldError{Field: "scopes", Value: scope.String(), Want: "a store that is set up", Err: assess.ErrOutOfRange}
			}
			if err != nil {
				return false, err
			}
			region = st.Region
		}
		if !who.covers(scope.Store, region) {
			return false, nil
		}
	}
	return true, nil
}

// errNotYours refuses an account that lies beyond somebody's scope or role.
func errNotYours() error {
	return refuse(forbidden, "the account's role or scope is beyond yours, or it is your own")
}

// settable returns an account that who may set up.
func (s *Server) settable(c *gin.Context, code string) (models.Account, error) {
	a, err := s.db.Account(c.Request.Context(), code)
	if err != nil {
		return a, err
	}
	if may, err := s.maySetStaff(c.Request.Context(), s.who(c), a.Staff); err != nil || !may {
		return a, errors.Join(err, errNotYours())
	}
	return a, nil
}

// doStaff stores what was written on the form of a person.
func (s *Server) doStaff(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	person, err := readSheet(retail.StaffList, posted)
	if err == nil {
		err = s.saveStaff(c, person)
	}
	if wrong, why, ok := s.words(c).refusal(err); ok {
		return s.staffPage(c, http.StatusUnprocessableEntity, staffForm{values: typed(posted), wrong: wrong, why: why})
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/staff?"+encodeQuery("staff", person.Code), "staff", person.Code)
}

func (s *Server) saveStaff(c *gin.Context, person retail.Staff) error {
	ctx, who := c.Request.Context(), s.who(c)
	switch _, err := s.settable(c, person.Code); {
	case errors.Is(err, models.ErrNotFound):
	case c.Query("staff") == "":
		return taken("staff", person.Code)
	case err != nil:
		return err
	}
	if may, err := s.maySetStaff(ctx, who, person); err != nil || !may {
		if err == nil {
			err = errNotYours()
		}
		return err
	}
	return s.db.SaveStaff(ctx, who.actor(), person)
}

// doSecret makes a new password or PIN for somebody and shows it, this once:
// the answer to the form is the page itself, because an address must not hold
// a secret.
func (s *Server) doSecret(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, by := c.Request.Context(), s.who(c).actor()
	a, err := s.settable(c, posted.Get("staff"))
	if err != nil {
		return err
	}
	sent := staffForm{secretOf: a.Code, isPIN: posted.Get("what") == "pin"}
	if sent.isPIN {
		sent.secret, err = s.newPIN(ctx, by, a.Code)
	} else {
		sent.secret = rand.Text()
		err = s.db.SetPassword(ctx, by, a.Code, sent.secret)
	}
	if err != nil {
		return err
	}
	return s.staffPage(c, http.StatusOK, sent)
}

// newPIN sets a PIN by chance. A PIN that is refused as too easy is drawn anew.
func (s *Server) newPIN(ctx context.Context, by models.Actor, code string) (string, error) {
	many := new(big.Int).Exp(big.NewInt(10), big.NewInt(models.PINDigits), nil)
	for {
		n, err := rand.Int(rand.Reader, many)
		if err != nil {
			return "", err
		}
		pin := fmt.Sprintf("%0*d", models.PINDigits, n)
		err = s.db.SetPIN(ctx, by, code, pin)
		if _, refused := wrongFieldsOf(err); !refused {
			return pin, err
		}
	}
}
