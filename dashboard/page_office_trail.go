package dashboard

import (
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// trailPage shows the audit trail, newest first, and what it is searched by.
type trailPage struct {
	officeFrame
	Lines []sheetLine
	Rows  []trailRow
	// First leads back to the newest line and Next to older ones, where there are any.
	First, Next string
}

// trailRow is one line of the audit trail.
type trailRow struct {
	At, Person, Tablet, Action, Subject, Before, After string
}

// trailShown is how many lines of the trail a page shows.
const trailShown = 50

// showTrail answers with a page of the audit trail.
func (s *Server) showTrail(c *gin.Context) error {
	view := trailPage{officeFrame: s.officeFrame(c)}
	values := map[string]string{}
	for _, name := range []string{"person", "tablet", "action", "subject", "first", "last"} {
		values[name] = strings.TrimSpace(c.Query(name))
	}
	f, wrong := trailAsked(values)
	view.Lines = s.words(c).sheet("trail", []written{
		{name: "person"},
		{name: "tablet"},
		{name: "action"},
		{name: "subject"},
		{name: "first", kind: "date"},
		{name: "last", kind: "date"},
	}, values, wrong)
	if len(wrong) > 0 {
		return s.render(c, http.StatusUnprocessableEntity, "office-trail", view)
	}
	cursor := c.Query("cursor")
	found, next, err := s.db.Audit(c.Request.Context(), f, models.Page{After: cursor, Limit: trailShown})
	if err != nil {
		return wrongQuery(err)
	}
	for i := range found {
		e := &found[i]
		view.Rows = append(view.Rows, trailRow{
			At: e.At.UTC().Format(time.DateTime), Person: e.Account, Tablet: e.Device, Action: e.Action,
			Subject: e.Subject, Before: e.Before, After: e.After,
		})
	}
	if cursor != "" {
		view.First = address(c)
	}
	if next != "" {
		view.Next = address(c, "cursor", next)
	}
	return s.render(c, http.StatusOK, "office-trail", view)
}

// trailAsked reads a search of the trail. Its days are those of UTC, as the
// trail belongs to no store, and both are included.
func trailAsked(values map[string]string) (models.AuditFilter, assess.FieldErrors) {
	f := models.AuditFilter{
		Account: values["person"], Device: values["tablet"], Action: values["action"], Subject: values["subject"],
	}
	var wrong assess.FieldErrors
	day := func(name string) time.Time {
		if values[name] == "" {
			return time.Time{}
		}
		t, err := time.Parse(time.DateOnly, values[name])
		if err != nil {
			wrong.Add(assess.FieldError{Field: name, Value: values[name], Want: "a day such as 2026-10-31", Err: assess.ErrOutOfRange})
		}
		return t
	}
	f.From = day("first")
	if last := day("last"); !last.IsZero() {
		f.To = last.AddDate(0, 0, 1)
	}
	return f, wrong
}
