package dashboard

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// requestsPage answers a runner who asks what is held about them, or asks to be
// forgotten. The code is posted and never part of an address, which browsers
// and logs keep.
type requestsPage struct {
	officeFrame
	Look []sheetLine
	Held *runnerHeld
	// Erase is the form that erases, once that was asked for.
	Erase []sheetLine
}

// runnerHeld counts what is held about a runner.
type runnerHeld struct {
	Code                                   string
	Pairs, Inspections, TradeIns, Fittings int
}

// runnerRecord is everything that is held about a runner, to hand over.
type runnerRecord struct {
	Code        string            `json:"code"`
	Runner      json.RawMessage   `json:"runner,omitempty"`
	Pairs       []pairOut         `json:"pairs"`
	Inspections []json.RawMessage `json:"inspections"`
	TradeIns    []tradeInOut      `json:"trade_ins"`
	Fittings    []json.RawMessage `json:"fittings"`
	Trail       []runnerTrail     `json:"trail"`
}

// runnerTrail is a line of the audit trail about a runner, without who wrote it.
type runnerTrail struct {
	At     time.Time `json:"at"`
	Action string    `json:"action"`
	Before string    `json:"before,omitempty"`
	After  string    `json:"after,omitempty"`
}

// showRequests answers with the form to look a runner up.
func (s *Server) showRequests(c *gin.Context) error {
	return s.requestsPage(c, http.StatusOK, "", nil, nil)
}

func (s *Server) requestsPage(c *gin.Context, status int, code string, held *runnerHeld, wrong assess.FieldErrors) error {
	w := s.words(c)
	view := requestsPage{officeFrame: s.officeFrame(c), Held: held}
	lookWrong := wrong
	if held != nil && c.PostForm("act") == "erase" {
		view.Erase = w.sheet("erase", []written{{name: "again", needed: true}}, map[string]string{"again": c.PostForm("again")}, wrong)
		lookWrong = nil
	}
	view.Look = w.sheet("look", []written{{name: "runner", needed: true}}, map[string]string{"runner": code}, lookWrong)
	return s.renderOnce(c, status, "office-requests", view)
}

// doRequest shows what is held about a runner and, where that is asked for, the
// form that erases it.
func (s *Server) doRequest(c *gin.Context) error {
	code, record, err := s.runnerAsked(c)
	if wrong, ok := wrongFieldsOf(err); ok {
		return s.requestsPage(c, http.StatusUnprocessableEntity, code, nil, wrong)
	}
	if err != nil {
		return err
	}
	return s.requestsPage(c, http.StatusOK, code, record.count(), nil)
}

// doRecord answers with everything that is held about a runner, as a file.
func (s *Server) doRecord(c *gin.Context) error {
	code, record, err := s.runnerAsked(c)
	if wrong, ok := wrongFieldsOf(err); ok {
		return s.requestsPage(c, http.StatusUnprocessableEntity, code, nil, wrong)
	}
	if err != nil {
		return err
	}
	text, err := json.MarshalIndent(record, "", " ")
	if err != nil {
		return err
	}
	c.Header("Content-Disposition", `attachment; filename="runner.json"`)
	c.Header("Cache-Control", "no-store")
	c.Data(http.StatusOK, "application/json", text)
	return nil
}

// doErase erases a runner whose code was typed a second time.
func (s *Server) doErase(c *gin.Context) error {
	code, record, err := s.runnerAsked(c)
	if wrong, ok := wrongFieldsOf(err); ok {
		return s.requestsPage(c, http.StatusUnprocessableEntity, code, nil, wrong)
	}
	if err != nil {
		return err
	}
	if again := strings.TrimSpace(c.PostForm("again")); again != code {
		return s.requestsPage(c, http.StatusUnprocessableEntity, code, record.count(), assess.FieldErrors{
			{Field: "again", Value: again, Want: "the code of the runner above", Err: assess.ErrInconsistent},
		})
	}
	if _, err := s.erase(c.Request.Context(), s.who(c), code); err != nil {
		return err
	}
	return officeDone(c, "/office/requests", "erased", "")
}

// runnerAsked gathers what is held about the runner of a posted form, and notes
// the look. A code that nothing is held about is a FieldError.
func (s *Server) runnerAsked(c *gin.Context) (string, *runnerRecord, error) {
	posted, err := form(c)
	if err != nil {
		return "", nil, err
	}
	ctx, code := c.Request.Context(), strings.TrimSpace(posted.Get("runner"))
	if code == "" {
		return code, nil, assess.FieldError{Field: "runner", Want: "the code of a runner", Err: assess.ErrMissingField}
	}
	record, err := s.heldOf(ctx, code)
	if err != nil {
		return code, nil, err
	}
	if record.Runner == nil && len(record.Pairs)+len(record.Inspections)+len(record.Fittings) == 0 {
		return code, nil, assess.FieldError{Field: "runner", Value: code, Want: "the code of a runner about whom something is held", Err: assess.ErrOutOfRange}
	}
	return code, record, s.db.AuditRead(ctx, s.who(c).actor(), "runner:"+code)
}

// heldOf gathers everything that is held under a runner's code, in every store.
func (s *Server) heldOf(ctx context.Context, code string) (*runnerRecord, error) {
	held := &runnerRecord{
		Code: code, Pairs: []pairOut{}, Inspections: []json.RawMessage{}, TradeIns: []tradeInOut{},
		Fittings: []json.RawMessage{}, Trail: []runnerTrail{},
	}
	// A reading may name a runner who never gave a consent.
	r, err := s.db.Runner(ctx, code)
	if err != nil && !errors.Is(err, models.ErrNotFound) {
		return nil, err
	}
	if err == nil {
		held.Runner = retail.Runners.JSON.Append(nil, &r)
	}
	page := models.Page{Limit: models.MaxLimit}
	for more := true; more; more = page.After != "" {
		var pairs []models.Pair
		pairs, page.After, err = s.db.Pairs(ctx, models.PairFilter{Scopes: models.Fleet, Runner: code}, page)
		if err != nil {
			return nil, err
		}
		for i := range pairs {
			held.Pairs = append(held.Pairs, pairOf(&pairs[i]))
			tradeIns, err := s.db.TradeInsOf(ctx, pairs[i].Ref)
			if err != nil {
				return nil, err
			}
			for j := range tradeIns {
				held.TradeIns = append(held.TradeIns, tradeInOf(&tradeIns[j]))
			}
		}
	}
	err = s.db.EachInspection(ctx, models.InspectionFilter{Scopes: models.Fleet, Runner: code}, func(in *models.Inspection) error {
		held.Inspections = append(held.Inspections, assess.AppendJSON(nil, &in.Record))
		return nil
	})
	if err != nil {
		return nil, err
	}
	fittings, err := s.db.FittingsOf(ctx, code)
	if err != nil {
		return nil, err
	}
	for _, f := range fittings {
		held.Fittings = append(held.Fittings, retail.Fittings.JSON.Append(nil, &f.Fitting))
	}
	for more := true; more; more = page.After != "" {
		var lines []models.AuditEntry
		lines, page.After, err = s.db.Audit(ctx, models.AuditFilter{Subject: "runner:" + code}, page)
		if err != nil {
			return nil, err
		}
		for _, l := range lines {
			held.Trail = append(held.Trail, runnerTrail{l.At, l.Action, l.Before, l.After})
		}
	}
	return held, nil
}

func (r *runnerRecord) count() *runnerHeld {
	return &runnerHeld{r.Code, len(r.Pairs), len(r.Inspections), len(r.TradeIns), len(r.Fittings)}
}
