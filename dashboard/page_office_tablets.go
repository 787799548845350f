package dashboard

import (
	"errors"
	"html/template"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// tabletsPage lists the stores' tablets, and holds the form to set one up.
type tabletsPage struct {
	officeFrame
	Rows      []tabletRow
	Lines     []sheetLine
	FormWrong string
	// Revoke is the tablet to revoke, once that was asked for.
	Revoke string
	// Code is a new enrolment code of Tablet, shown this once; QR draws it.
	Tablet, Code string
	QR           template.HTML
}

// tabletRow is one tablet of the list.
type tabletRow struct {
	Code, Store, State, Since string
	Gone                      bool
}

// tabletForm is what was sent to the page, and what came of it.
type tabletForm struct {
	values       map[string]string
	wrong        assess.FieldErrors
	why          string
	tablet, code string
}

// showTablets answers with the tablets of the stores in scope.
func (s *Server) showTablets(c *gin.Context) error {
	return s.tabletsPage(c, http.StatusOK, tabletForm{})
}

func (s *Server) tabletsPage(c *gin.Context, status int, sent tabletForm) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	stores, err := s.db.Stores(ctx)
	if err != nil {
		return err
	}
	devices, err := s.db.Devices(ctx, "")
	if err != nil {
		return err
	}
	view := tabletsPage{officeFrame: s.officeFrame(c), Tablet: sent.tablet, Code: sent.code}
	choices := []choice{{}}
	inScope := map[string]bool{}
	for _, st := range stores {
		if who.allowsAt(setDevices, st.Code, st.Region) {
			inScope[st.Code] = true
			if st.Retired == "" {
				choices = append(choices, choice{Value: st.Code, Text: st.Code + ", " + st.Name})
			}
		}
	}
	for i := range devices {
		d := &devices[i]
		if !inScope[d.Store] {
			continue
		}
		view.Rows = append(view.Rows, w.tabletRow(d))
		if d.Code == c.Query("revoke") && d.RevokedAt.IsZero() {
			view.Revoke = d.Code
		}
	}
	values := sent.values
	if values == nil {
		values = map[string]string{"device": c.Query("device"), "store": c.Query("store")}
		if len(choices) == 2 {
			values["store"] = choices[1].Value
		}
	}
	view.Lines = w.sheet("tablet", []written{
		{name: "device", needed: true},
		{name: "store", kind: "select", choices: choices, needed: true},
	}, values, sent.wrong)
	view.FormWrong = either(sent.why, strayErrors(sent.wrong, view.Lines))
	if sent.code == "" {
		return s.render(c, status, "office-tablets", view)
	}
	drawn, err := drawQR(sent.code)
	if err != nil {
		return err
	}
	view.QR = template.HTML(drawn) // drawn here, of unit squares
	return s.renderOnce(c, status, "office-tablets", view)
}

// tabletRow says how things stand with a tablet.
func (w words) tabletRow(d *models.Device) tabletRow {
	row := tabletRow{Code: d.Code, Store: d.Store, State: w.say("office.tablets.waits"), Since: d.CreatedAt.Format(time.DateOnly)}
	switch {
	case !d.RevokedAt.IsZero():
		row.State, row.Since, row.Gone = w.say("office.tablets.revoked"), d.RevokedAt.Format(time.DateOnly), true
	case !d.EnrolledAt.IsZero():
		row.State, row.Since = w.say("office.tablets.works"), d.EnrolledAt.Format(time.DateOnly)
	}
	return row
}

// doTablet sets up a tablet and shows the code that enrols it, this once.
func (s *Server) doTablet(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, who := c.Request.Context(), s.who(c)
	sent := tabletForm{values: typed(posted), tablet: posted.Get("device")}
	err = s.tabletAllowed(c, posted.Get("store"))
	if err == nil {
		sent.code, err = s.db.AddDevice(ctx, who.actor(), sent.tablet, posted.Get("store"))
	}
	var ok bool
	if sent.wrong, sent.why, ok = s.words(c).refusal(err); ok {
		return s.tabletsPage(c, http.StatusUnprocessableEntity, sent)
	}
	if err != nil {
		return err
	}
	return s.tabletsPage(c, http.StatusOK, sent)
}

// tabletAllowed refuses a store whose tablets the reader doesn't set up.
func (s *Server) tabletAllowed(c *gin.Context, store string) error {
	st, err := s.store(c.Request.Context(), store)
	if errors.Is(err, models.ErrNotFound) {
		return assess.FieldError{Field: "store", Value: store, Want: "the code of a store that is set up", Err: assess.ErrOutOfRange}
	}
	if err != nil {
		return err
	}
	if !s.who(c).allowsAt(setDevices, st.Code, st.Region) {
		return refuse(forbidden, "the store is not in your scope")
	}
	return nil
}

// doRevoke ends a tablet.
func (s *Server) doRevoke(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, code := c.Request.Context(), posted.Get("device")
	devices, err := s.db.Devices(ctx, "")
	if err != nil {
		return err
	}
	for i := range devices {
		if devices[i].Code != code {
			continue
		}
		if err := s.tabletAllowed(c, devices[i].Store); err != nil {
			return err
		}
		if err := s.db.RevokeDevice(ctx, s.who(c).actor(), code); err != nil {
			return err
		}
		return officeDone(c, "/office/tablets", "revoked", code)
	}
	return refuse(notFound, "there is no such tablet")
}
