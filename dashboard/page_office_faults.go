package dashboard

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/wear"
)

// faultsPage lists the possible faults of shoes: nearly new pairs that failed,
// one reading each, and batches that fail early. A person takes each, and closes
// it with what it turned out to be.
type faultsPage struct {
	officeFrame
	All      bool // the closed too
	Rows     []faultRow
	Batches  []faultBatch
	Reading  bool // that the fleet is being read, and batches aren't known yet
	ID       string
	Fault    *faultView
	Lines    []sheetLine
	Wrong    string
	Next     string
	First    string
	Outcomes []choice
}

// faultRow is one reading that may show a fault.
type faultRow struct {
	ID, Day, Store, Ref, Spaced, Shoe, Why, State string
	Here, Closed                                  bool
}

// faultBatch is a batch that fails early, found as a signal.
type faultBatch struct{ Head, Who, Pairs string }

// faultView is the fault that is looked at.
type faultView struct {
	faultRow
	Batch, Distance, Note string
	Photos                []faultPhoto
	Notes                 []string
	Closed                bool
}

type faultPhoto struct{ Src, Words string }

// faultForm is what was sent about a fault, and what is wrong with it.
type faultForm struct {
	values map[string]string
	wrong  assess.FieldErrors
	why    string
}

const (
	faultsShown = 50
	// faultKind is the kind of signal that a flagged reading becomes once somebody
	// acts on it; its id is the reading's.
	faultKind = "possible-fault"
	// faultWidth is the width of a photo on the page, in pixels.
	faultWidth = "320"
)

// showFaults answers with the possible faults in scope.
func (s *Server) showFaults(c *gin.Context) error {
	return s.faultsPage(c, http.StatusOK, c.Query("id"), faultForm{})
}

func (s *Server) faultsPage(c *gin.Context, status int, picked string, sent faultForm) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	view := faultsPage{officeFrame: s.officeFrame(c), All: c.Query("all") != "", Wrong: sent.why}
	f := models.InspectionFilter{Scopes: who.scopes(actOnSignals), Live: true, Fault: true, Unclosed: !view.All}
	found, next, err := s.db.Inspections(ctx, f, models.Page{After: c.Query("cursor"), Limit: faultsShown})
	if err != nil {
		return wrongQuery(err)
	}
	if c.Query("cursor") != "" {
		view.First = address(c)
	}
	if next != "" {
		view.Next = address(c, "cursor", next)
	}
	ids := make([]assess.UUID, len(found))
	for i, in := range found {
		ids[i] = in.ID
	}
	signals, err := s.db.SignalsByID(ctx, ids...)
	if err != nil {
		return err
	}
	for _, in := range found {
		row := w.faultRow(in, signals[in.ID])
		row.Here = row.ID == picked
		view.Rows = append(view.Rows, row)
	}
	if view.Batches, view.Reading, err = s.faultBatches(c); err != nil {
		return err
	}
	if picked != "" {
		if view.Fault, err = s.faultView(c, picked); err != nil {
			return err
		}
		view.ID = picked
		for _, x := range models.SignalOutcomes {
			view.Outcomes = append(view.Outcomes, choice{Value: x, Text: w.say("signal.outcome." + strings.ReplaceAll(x, " ", "-"))})
		}
		view.Lines = w.sheet("fault", []written{
			{name: "words", kind: "area"},
			{name: "to"},
			{name: "outcome", kind: "select", choices: append([]choice{{}}, view.Outcomes...)},
		}, sent.values, sent.wrong)
		view.Wrong = either(sent.why, strayErrors(sent.wrong, view.Lines))
	}
	return s.render(c, status, "office-faults", view)
}

// faultRow says what was found on which pair, and how far somebody is with it.
func (w words) faultRow(in *models.Inspection, sig *models.Signal) faultRow {
	row := faultRow{
		ID: in.ID.String(), Day: in.Day, Store: in.Store, Ref: in.PairRef, Spaced: spaced(in.PairRef),
		Shoe: strings.TrimSpace(in.Brand + " " + in.Model + " " + in.Version), State: w.say("office.faults.waits"),
	}
	if len(in.Facts.Codes) > 0 {
		row.Why = w.reason(in.Facts.Codes[0])
	}
	if sig != nil {
		row.Closed = sig.State == models.SignalClosed
		switch {
		case row.Closed:
			row.State = w.say("office.faults.closed", "outcome", w.say("signal.outcome."+strings.ReplaceAll(sig.Outcome, " ", "-")))
		case sig.TakenBy != "":
			row.State = w.say("office.faults.taken", "who", sig.TakenBy)
		}
	}
	return row
}

// faultAsked returns the flagged reading that an address names, in the scope of
// who asks.
func (s *Server) faultAsked(c *gin.Context, text string) (*models.Inspection, error) {
	reading, err := assess.ParseUUID(text)
	if err != nil {
		return nil, refuse(notFound, "a possible fault is known by the UUID of its reading")
	}
	in, err := s.db.Inspection(c.Request.Context(), reading)
	if err != nil {
		return nil, err
	}
	if err := s.mayAt(c.Request.Context(), s.who(c), actOnSignals, in.Store, "#"); err != nil {
		return nil, err
	}
	if in.Facts.Flags&assess.FlagPossibleFault == 0 || in.Kind == assess.Blind || !in.Live() {
		return nil, refuse(notFound, "the reading shows no possible fault, or doesn't stand any more")
	}
	return in, nil
}

func (s *Server) faultView(c *gin.Context, text string) (*faultView, error) {
	in, err := s.faultAsked(c, text)
	if err != nil {
		return nil, err
	}
	ctx, w := c.Request.Context(), s.words(c)
	signals, err := s.db.SignalsByID(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	sig := signals[in.ID]
	v := &faultView{faultRow: w.faultRow(in, sig), Batch: in.Batch, Note: in.Note}
	v.Closed = v.faultRow.Closed
	if in.KM.OK() {
		v.Distance = w.say("measured", "v", in.KM.Int(), "unit", "km")
	}
	if sig != nil {
		for _, n := range sig.Notes {
			v.Notes = append(v.Notes, w.say("office.faults.note-by", "who", n.Account, "at", n.At.UTC().Format(time.DateTime), "words", n.Words))
		}
	}
	photos, err := s.db.PhotosOf(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	for _, p := range photos[in.ID] {
		v.Photos = append(v.Photos, faultPhoto{
			Src:   apiRoot + "/photos/" + hex.EncodeToString(p.SHA[:]) + "?w=" + faultWidth,
			Words: w.say("photo.of", "shoe", w.say("shoe."+p.Foot.String()), "view", w.say("photo.view."+string(p.View))),
		})
	}
	return v, nil
}

// faultBatches lists the batches that fail early in the last year, and whether
// the fleet is still being read.
func (s *Server) faultBatches(c *gin.Context) (batches []faultBatch, reading bool, err error) {
	v, err := s.fleetView()
	if f, ok := errors.AsType[*failure](err); ok && f.class == unready {
		return nil, true, nil
	}
	if err != nil {
		return nil, false, err
	}
	a, err := wear.Read(func(string) string { return "" }, v, s.who(c).scopes(readWear))
	if err != nil {
		return nil, false, err
	}
	all, err := s.signals(c, v, a)
	if err != nil {
		return nil, false, err
	}
	w := s.words(c)
	for i := range all {
		if all[i].Kind == wear.EarlyBatch && all[i].State != string(models.SignalClosed) {
			x := s.signalView(c, w, a, &all[i], i+1)
			batches = append(batches, faultBatch{Head: x.Head, Who: x.Who, Pairs: x.Pairs})
		}
	}
	return batches, false, nil
}

// doFault takes, assigns, comments on or closes a possible fault. The reading
// and its pair are kept with it as evidence.
func (s *Server) doFault(c *gin.Context) error {
	in, err := s.faultAsked(c, c.Param("id"))
	if err != nil {
		return err
	}
	posted, err := form(c)
	if err != nil {
		return err
	}
	evidence, err := json.Marshal(map[string]any{
		"pairs": []string{in.PairRef}, "inspection_id": in.ID.String(), "codes": in.Facts.Codes, "batch": in.Batch,
		"brand": in.Brand, "model": in.Model, "version": in.Version,
	})
	if err != nil {
		return err
	}
	act := models.SignalAct{Do: posted.Get("do"), Words: strings.TrimSpace(posted.Get("words"))}
	switch act.Do {
	case "assign":
		act.To = strings.TrimSpace(posted.Get("to"))
	case "close":
		act.Outcome = posted.Get("outcome")
	}
	err = s.db.ActOnSignal(c.Request.Context(), s.who(c).actor(), models.Signal{
		ID: in.ID, Kind: faultKind, Scope: "reading:" + in.Store, Subject: "pair:" + in.PairRef, Month: in.Month, Evidence: evidence,
	}, act)
	sent := faultForm{values: typed(posted)}
	var again bool
	if sent.wrong, sent.why, again = s.words(c).refusal(err); again {
		return s.faultsPage(c, http.StatusUnprocessableEntity, in.ID.String(), sent)
	}
	if err != nil {
		return err
	}
	if act.Do == "close" {
		return officeDone(c, "/office/faults", "fault", spaced(in.PairRef))
	}
	return officeDone(c, "/office/faults?"+encodeQuery("id", in.ID.String()), "acted", spaced(in.PairRef))
}
