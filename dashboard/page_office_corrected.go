package dashboard

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// correctedPage lists the trade-ins whose reading was corrected since to another
// verdict or grade. Somebody decides about each: where the pair goes and what is
// given by the reading that stands, or that it wasn't traded in.
type correctedPage struct {
	officeFrame
	Rows []correctedRow
}

// correctedRow is one trade-in as it was and as it would be.
type correctedRow struct {
	ID, Day, Store, Ref, Spaced, Shoe string
	By, Why                           string // who corrected it and why
	Was, Is                           gradedWords
	Route                             string // where it went
	Routes                            []choice
	Given                             string // what was given
	Credits                           []choice
	// Void says that the reading was voided, Ungraded that it opens no way.
	Void, Ungraded bool
	Reason, Wrong  string
}

// gradedWords are a verdict and a grade in words.
type gradedWords struct{ Mark, Verdict, Grade string }

// What may be given for a trade-in that is decided anew.
const (
	creditAsGiven = "given"
	creditByTable = "table"
)

// showCorrected answers with the trade-ins that wait for a decision.
func (s *Server) showCorrected(c *gin.Context) error {
	return s.correctedPage(c, http.StatusOK, correctedRow{})
}

// correctedPage answers with what waits; sent is the trade-in that something was
// typed about, and what was wrong with it. Where it doesn't wait any more, that is
// said above the others.
func (s *Server) correctedPage(c *gin.Context, status int, sent correctedRow) error {
	w, who := s.words(c), s.who(c)
	view := correctedPage{officeFrame: s.officeFrame(c)}
	view.Wrong = sent.Wrong
	all, err := s.db.CorrectedTradeIns(c.Request.Context(), who.scopes(setCredit))
	if err != nil {
		return err
	}
	for i := range all {
		row, err := s.correctedRow(c.Request.Context(), w, &all[i])
		if err != nil {
			return err
		}
		if row.ID == sent.ID {
			row.Reason, row.Wrong, view.Wrong = sent.Reason, sent.Wrong, ""
		}
		view.Rows = append(view.Rows, row)
	}
	return s.render(c, status, "office-corrected", view)
}

func (s *Server) correctedRow(ctx context.Context, w words, x *models.Corrected) (correctedRow, error) {
	t := &x.TradeIn
	row := correctedRow{
		ID: t.ID.String(), Day: w.dayAndYear(t.Day), Store: t.Store, Ref: t.PairRef, Spaced: spaced(t.PairRef), Shoe: shoeName(&x.Is.Record),
		By: x.Is.Staff, Why: x.Is.AmendReason, Was: w.graded(x.Was, t.Grade), Is: w.graded(x.Is, x.Is.Facts.Grade),
		Route: w.word(t.Route.String()), Given: t.Currency + " " + money(t.Currency, t.Credit), Void: !x.Is.VoidedAt.IsZero(),
	}
	open, err := s.leavingRoutes(ctx, x.Is)
	if err != nil {
		return row, err
	}
	row.Ungraded = len(open) == 0
	for _, r := range open {
		row.Routes = append(row.Routes, choice{Value: r.String(), Text: w.word(r.String()), Picked: r == t.Route})
	}
	row.Credits = []choice{{Value: creditAsGiven, Text: w.say("office.corrected.as-given", "amount", row.Given)}}
	table, known, err := s.creditNow(ctx, x)
	if known && table.minor != t.Credit {
		row.Credits = append(row.Credits, choice{Value: creditByTable, Text: w.say("office.corrected.by-table", "amount", t.Currency+" "+money(t.Currency, table.minor), "table", table.number)})
	}
	return row, err
}

func (w words) graded(in *models.Inspection, g assess.GradeLetter) gradedWords {
	grade := g.String()
	if g == assess.NoGrade {
		grade = w.say("office.corrected.no-grade")
	}
	return gradedWords{in.Facts.Verdict.String(), w.verdict(in.Facts.Verdict, in.Facts.How), grade}
}

// leavingRoutes are the ways out that a reading opens: going back to the runner
// is no trade-in. A void reading opens none.
func (s *Server) leavingRoutes(ctx context.Context, in *models.Inspection) ([]assess.Route, error) {
	if !in.Live() {
		return nil, nil
	}
	engine, err := s.engineOf(ctx, in.Rules)
	if err != nil {
		return nil, err
	}
	var open []assess.Route
	for _, o := range engine.Routes(in.Facts.Grade) {
		if o.Open && o.Route != assess.BackToRunner {
			open = append(open, o.Route)
		}
	}
	return open, nil
}

// tableCredit is what a credit table says.
type tableCredit struct {
	minor  int64
	number int
}

// creditNow is what the table of the day of a trade-in gives for the reading that
// stands; unknown where no table says.
func (s *Server) creditNow(ctx context.Context, x *models.Corrected) (tableCredit, bool, error) {
	table, err := s.creditTable(ctx, x.TradeIn.Currency, x.TradeIn.Day)
	if err != nil || table == nil {
		return tableCredit{}, false, err
	}
	shoe, err := s.shoe(ctx, &x.Is.Record)
	if err != nil {
		return tableCredit{}, false, err
	}
	category := ""
	if shoe != nil {
		category = shoe.Category
	}
	worth := models.Worth{Day: x.TradeIn.Day, BoughtOn: x.Is.BoughtOn}
	minor, known := table.Credit(x.Is.Facts.Grade, category, worth.AgeDays())
	return tableCredit{minor, table.Number}, known, nil
}

// doCorrected decides about a trade-in: where it goes and what is given by the
// reading that stands, or that it is undone.
func (s *Server) doCorrected(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuse(notFound, "a trade-in is known by its UUID")
	}
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	t, err := s.db.TradeIn(ctx, id)
	if err != nil {
		return err
	}
	if err := s.mayAt(ctx, who, setCredit, t.Store, "#"); err != nil {
		return err
	}
	sent := correctedRow{ID: id.String(), Reason: strings.TrimSpace(posted.Get("reason"))}
	again := func(why string) error {
		sent.Wrong = why
		return s.correctedPage(c, http.StatusUnprocessableEntity, sent)
	}
	waiting, err := s.db.CorrectedTradeInsOf(ctx, t.PairRef)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(waiting, func(x models.Corrected) bool { return x.TradeIn.ID == id })
	switch {
	case at < 0:
		return again(w.say("office.corrected.none"))
	case sent.Reason == "":
		return again(w.say("office.corrected.why"))
	}
	if posted.Get("do") == "undo" {
		err = s.db.VoidTradeIn(ctx, who.actor(), id, sent.Reason)
	} else {
		var anew models.TradeIn
		if anew, err = s.decided(ctx, &waiting[at], posted.Get("route"), posted.Get("credit")); err != nil {
			return err
		}
		if anew.Route == assess.NoRoute {
			return again(w.say("office.corrected.route"))
		}
		if anew.Credit != anew.Advised {
			anew.OverrideBy, anew.Reason = who.Code, sent.Reason
		}
		_, err = s.db.DecideTradeIn(ctx, who.actor(), id, anew, sent.Reason)
	}
	if wrong, why, ok := w.refusal(err); ok {
		return again(either(why, strayErrors(wrong, nil)))
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/corrected", "corrected", spaced(t.PairRef))
}

// decided is a trade-in by the reading that stands, by the way out that was
// picked, NoRoute where that isn't open, and with what is given.
func (s *Server) decided(ctx context.Context, x *models.Corrected, route, credit string) (models.TradeIn, error) {
	anew := x.TradeIn.TradeIn
	anew.ID, anew.InspectionID, anew.Grade, anew.Route = newID(s.now()), x.Is.ID, x.Is.Facts.Grade, assess.NoRoute
	anew.OverrideBy, anew.Reason = "", ""
	open, err := s.leavingRoutes(ctx, x.Is)
	if err != nil {
		return anew, err
	}
	if i := slices.IndexFunc(open, func(r assess.Route) bool { return r.String() == route }); i >= 0 {
		anew.Route = open[i]
	}
	table, known, err := s.creditNow(ctx, x)
	if err != nil || !known {
		anew.Advised = anew.Credit // no table says otherwise
		return anew, err
	}
	anew.Advised, anew.CreditTable = table.minor, cmp.Or(table.number, anew.CreditTable)
	if credit == creditByTable {
		anew.Credit = table.minor
	}
	return anew, nil
}
