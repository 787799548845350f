package dashboard

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math/big"
	"net/http"
	"net/url"
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
	Code, Retired, SignsIn string
	Held                   []heldRole
	Here, MayChange        bool
}

// heldRole is a role that a person holds, and where.
type heldRole struct{ Role, Scopes string }

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
	accounts, err := s.accountsOf(ctx, who, setStaff)
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
			Code: a.Code, Retired: a.Retired, SignsIn: w.signsIn(a), Here: a.Code == view.Code, MayChange: may,
		}
		text := a.Code
		for _, held := range heldRoles(a.Grants()) {
			held.Role = w.word(held.Role)
			row.Held = append(row.Held, held)
			text += " " + held.Role + " " + held.Scopes
		}
		if row.Here {
			values, found = staffLines(&a.Staff), true
			view.MayChange, view.HasPassword, view.HasPIN = may, a.HasPassword, a.HasPIN
		}
		switch {
		case !row.Here && !view.All && !a.Active(),
			view.Query != "" && !strings.Contains(strings.ToLower(text), strings.ToLower(view.Query)):
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
	lines := []written{
		{name: "staff", needed: true, fixed: view.Code != ""},
		{name: "role", kind: "select", choices: w.choicesOf(rolesFor(who)), needed: true},
		{name: "scopes", needed: true, choices: scopeChoices(who)},
	}
	for i := range len(retail.Roles) - 1 {
		role, scopes := alsoNames(i)
		lines = append(lines,
			written{name: role, kind: "select", label: "office.staff.also", choices: w.choicesOf(rolesFor(who), w.say("office.staff.no-other"))},
			written{name: scopes, label: "office.field.scopes", choices: scopeChoices(who)})
		if values[role] == "" && values[scopes] == "" {
			break // one that is empty, for one more
		}
	}
	view.Lines = w.sheet("staff", append(lines, written{name: "retired", kind: "date", label: "office.staff.retired"}), values, sent.wrong)
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
		if slices.ContainsFunc(who.Grants, func(g retail.Grant) bool { return setsUp(g.Role, role) }) {
			all = append(all, string(role))
		}
	}
	return all
}

// setsUp reports whether one role sets up another.
func setsUp(by, role retail.Role) bool {
	return reachOf(by, setStaff) != never && (by == retail.Office || slices.Contains(administered, role))
}

// heldRoles gathers grants by role, in the order that the roles come in.
func heldRoles(grants []retail.Grant) []heldRole {
	var all []heldRole
	for _, g := range grants {
		i := slices.IndexFunc(all, func(h heldRole) bool { return h.Role == string(g.Role) })
		if i < 0 {
			all = append(all, heldRole{string(g.Role), g.Scope.String()})
			continue
		}
		all[i].Scopes += " " + g.Scope.String()
	}
	return all
}

// alsoNames names the two lines of a further role, of which there is one for
// each role but the main one.
func alsoNames(i int) (role, scopes string) {
	return fmt.Sprintf("also_role_%d", i), fmt.Sprintf("also_scopes_%d", i)
}

// staffLines returns what stands on the form of a stored person.
func staffLines(person *retail.Staff) map[string]string {
	values := writeSheet(retail.StaffList, person)
	for i, held := range heldRoles(person.Also) {
		role, scopes := alsoNames(i)
		values[role], values[scopes] = held.Role, held.Scopes
	}
	return values
}

// readPerson reads a person from the form. What is refused of a further role is
// said on its line.
func readPerson(posted url.Values) (retail.Staff, error) {
	person, err := readSheet(retail.StaffList, posted)
	wrong, known := wrongFieldsOf(err)
	if err != nil && !known {
		return person, err
	}
	for i := range len(retail.Roles) - 1 {
		roleLine, scopesLine := alsoNames(i)
		role, places := posted.Get(roleLine), strings.Fields(posted.Get(scopesLine))
		switch {
		case role == "" && len(places) > 0:
			wrong.Add(assess.FieldError{Field: roleLine, Want: "the role that they have there", Err: assess.ErrMissingField})
		case role != "" && len(places) == 0:
			wrong.Add(assess.FieldError{Field: scopesLine, Want: "fleet, or regions and stores", Err: assess.ErrMissingField})
		}
		for _, place := range places {
			g, ok := retail.ParseGrant(role + "@" + place)
			if role != "" && !ok {
				wrong.Add(assess.FieldError{Field: scopesLine, Value: place, Want: "fleet, region:CODE or store:CODE", Err: assess.ErrOutOfRange})
			}
			person.Also = append(person.Also, g)
		}
	}
	if len(wrong) > 0 {
		return person, wrong
	}
	return person, nil
}

// onAlsoLine says what is wrong with the further roles on the line of the form
// that it is about.
func onAlsoLine(wrong assess.FieldErrors, person *retail.Staff) {
	for i := range wrong {
		if wrong[i].Field != "also" {
			continue
		}
		_, wrong[i].Field = alsoNames(0)
		for n, held := range heldRoles(person.Also) {
			if strings.HasPrefix(wrong[i].Value, held.Role+"@") {
				_, wrong[i].Field = alsoNames(n)
				break
			}
		}
	}
}

func scopeChoices(who Identity) []choice {
	var all []choice
	for _, sc := range who.scopes(setStaff) {
		all = append(all, choice{Value: sc.String(), Text: sc.String()})
	}
	return all
}

// maySetStaff reports whether who may set up an account as it stands: each role
// of it is one that who sets up where it is held. Nobody sets up the account
// that they are signed in with, so that nobody locks themselves out or widens
// what they may do.
func (s *Server) maySetStaff(ctx context.Context, who Identity, a retail.Staff) (bool, error) {
	if a.Code == who.Code {
		return false, nil
	}
	for i, g := range a.Grants() {
		region, err := s.regionOf(ctx, g.Scope)
		if errors.Is(err, models.ErrNotFound) {
			wrong := assess.FieldError{Field: "scopes", Value: g.Scope.String(), Want: "a store that is set up", Err: assess.ErrOutOfRange}
			if i >= len(a.Scopes) {
				wrong.Field, wrong.Value = "also", g.String()
			}
			return false, wrong
		}
		if err != nil {
			return false, err
		}
		var by []retail.Scope
		for _, mine := range who.Grants {
			if setsUp(mine.Role, g.Role) {
				by = append(by, mine.Scope)
			}
		}
		if !covers(by, g.Scope.Store, region) {
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
	person, err := readPerson(posted)
	if err == nil {
		err = s.saveStaff(c, person)
	}
	if wrong, why, ok := s.words(c).refusal(err); ok {
		onAlsoLine(wrong, &person)
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
