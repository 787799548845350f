package dashboard

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/models"
)

// officeWays are the pages of the office in the order in which they stand on
// the board. A line is shown where the reader has the right to the page.
var officeWays = []navItem{
	{Path: "/office", Key: "office.front"},
	{Path: "/office/rules", Key: "office.rules"},
	{Path: "/office/posture", Key: "office.posture"},
	{Path: "/office/credit", Key: "office.credit"},
	{Path: "/office/catalogue", Key: "office.catalogue"},
	{Path: "/office/stores", Key: "office.stores"},
	{Path: "/office/staff", Key: "office.staff"},
	{Path: "/office/tablets", Key: "office.tablets"},
	{Path: "/office/trail", Key: "office.trail"},
	{Path: "/office/faults", Key: "office.faults"},
	{Path: "/office/waiting", Key: "office.waiting"},
	{Path: "/office/corrected", Key: "office.corrected"},
	{Path: "/office/pairs", Key: "office.pairs"},
	{Path: "/office/sales", Key: "office.sales"},
	{Path: "/office/events", Key: "office.events"},
	{Path: "/office/imports", Key: "office.imports"},
	{Path: "/office/exports", Key: "office.exports"},
	{Path: "/office/requests", Key: "office.requests"},
}

// officeFrame is what stands around every page of the office.
type officeFrame struct {
	Ways []navItem
	// Done says what was just done, Wrong why nothing was.
	Done, Wrong string
}

// officeFrame returns the frame for the reader of a page.
func (s *Server) officeFrame(c *gin.Context) officeFrame {
	w, f := s.words(c), officeFrame{}
	for _, way := range officeWays {
		if s.opens(s.who(c), way.Path) {
			way.Here = c.Request.URL.Path == way.Path || way.Path != "/office" && strings.HasPrefix(c.Request.URL.Path, way.Path+"/")
			f.Ways = append(f.Ways, way)
		}
	}
	if key := "office.done." + c.Query("done"); w.has(key) {
		f.Done = w.say(key, "of", c.Query("of"))
	}
	return f
}

// officeDone sends who stored something back to a page, which says so.
func officeDone(c *gin.Context, to, what, of string) error {
	sep := "?"
	if strings.Contains(to, "?") {
		sep = "&"
	}
	c.Redirect(http.StatusSeeOther, to+sep+encodeQuery("done", what, "of", of))
	return nil
}

// officePage says what waits for somebody.
type officePage struct {
	officeFrame
	Waits []officeWait
	// Pairs are some whose readings contradict each other.
	Pairs     []officeLike
	SeesPairs bool
}

// officeWait is one kind of thing that waits, and where it is seen to.
type officeWait struct {
	Path, Text string
	N          int
}

const (
	// pairsWaiting is how many pairs are shown that need a look.
	pairsWaiting = 20
	// failedFor is for how long an import that came to nothing is still news.
	failedFor = 7 * 24 * time.Hour
)

// showOffice answers with what waits, as far as the reader may see to it.
func (s *Server) showOffice(c *gin.Context) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	view := officePage{officeFrame: s.officeFrame(c)}
	wait := func(r right, path, key string, count func() (int, error)) error {
		if !who.allows(r) {
			return nil
		}
		n, err := count()
		if n == 0 {
			key = "no-" + key
		}
		view.Waits = append(view.Waits, officeWait{path, w.say("office.front."+key, "n", n), n})
		return err
	}
	err := errors.Join(
		wait(actOnSignals, "/office/faults", "faults", func() (int, error) {
			return s.db.CountInspections(ctx, models.InspectionFilter{Scopes: who.scopes(actOnSignals), Live: true, Fault: true, Unclosed: true})
		}),
		wait(confirmSecond, "/office/waiting", "waiting", func() (int, error) {
			return s.db.CountInspections(ctx, models.InspectionFilter{Scopes: who.scopes(confirmSecond), Live: true, Waiting: true})
		}),
		wait(setCredit, "/office/corrected", "corrected", func() (int, error) {
			return s.db.CountCorrectedTradeIns(ctx, who.scopes(setCredit))
		}),
		wait(setCatalogue, "/office/catalogue", "typed", func() (int, error) {
			typed, err := s.db.TypedInModels(ctx)
			return len(typed), err
		}),
		wait(importRecords, "/office/imports", "imports", func() (n int, err error) {
			past, err := s.db.Imports(ctx, pastShown)
			for i := range past {
				if past[i].Failed() && s.now().Sub(past[i].At) < failedFor {
					n++
				}
			}
			return n, err
		}),
	)
	if err != nil {
		return err
	}
	if view.SeesPairs = who.allows(mergePairs); view.SeesPairs {
		pairs, _, err := s.db.Pairs(ctx, models.PairFilter{Scopes: who.scopes(mergePairs), Contradicting: true}, models.Page{Limit: pairsWaiting})
		if err != nil {
			return err
		}
		for i := range pairs {
			p := &pairs[i]
			view.Pairs = append(view.Pairs, officeLike{p.Ref, spaced(p.Ref), p.LastStore, w.dayAndYear(p.CreatedAt.Format(time.DateOnly)), w.life(p.Life)})
		}
	}
	return s.render(c, http.StatusOK, "office", view)
}
