package dashboard

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// waitingPage lists what was kept off line on the word of a second person who
// could prove nothing then: a manager asks them, and stands by the verdict or
// voids the reading.
type waitingPage struct {
	officeFrame
	Rows        []waitingRow
	Next, First string
}

// waitingRow is one reading that waits.
type waitingRow struct {
	ID, Day, Store, Ref, Spaced, Shoe string
	// Advised and Given are verdicts in words; Second is the code that was typed.
	Advised, Given, Why, Staff, Second string
	// Own says that the reader of the page read the pair, and can't be both.
	Own bool
}

// waitingShown is how many readings stand on a page of the list.
const waitingShown = 50

// showWaiting answers with what waits in scope.
func (s *Server) showWaiting(c *gin.Context) error {
	return s.waitingPage(c, http.StatusOK, "")
}

func (s *Server) waitingPage(c *gin.Context, status int, wrong string) error {
	w, who := s.words(c), s.who(c)
	view := waitingPage{officeFrame: s.officeFrame(c)}
	view.Wrong = wrong
	f := models.InspectionFilter{Scopes: who.scopes(confirmSecond), Live: true, Waiting: true}
	found, next, err := s.db.Inspections(c.Request.Context(), f, models.Page{After: c.Query("cursor"), Limit: waitingShown})
	if err != nil {
		return wrongQuery(err)
	}
	if c.Query("cursor") != "" {
		view.First = address(c)
	}
	if next != "" {
		view.Next = address(c, "cursor", next)
	}
	for _, in := range found {
		view.Rows = append(view.Rows, waitingRow{
			ID: in.ID.String(), Day: in.Day, Store: in.Store, Ref: in.PairRef, Spaced: spaced(in.PairRef), Shoe: shoeName(&in.Record),
			Advised: w.say("given." + in.Advised.String()), Given: w.say("given." + in.Given.String()),
			Why: in.GivenReason, Staff: in.Staff, Second: in.SecondReader, Own: in.Staff == who.Code,
		})
	}
	return s.render(c, status, "office-waiting", view)
}

// doConfirm stands by the verdict of a reading that waits.
func (s *Server) doConfirm(c *gin.Context) error {
	reading, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuse(notFound, "a reading is known by its UUID")
	}
	ctx, who := c.Request.Context(), s.who(c)
	in, err := s.db.Inspection(ctx, reading)
	if err != nil {
		return err
	}
	if err := s.mayAt(ctx, who, confirmSecond, in.Store, "#"); err != nil {
		return err
	}
	err = s.db.ConfirmSecond(ctx, who.actor(), reading)
	w := s.words(c)
	if _, why, again := w.refusal(err); again {
		return s.waitingPage(c, http.StatusUnprocessableEntity, either(why, w.say("office.waiting.own")))
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/waiting", "confirmed", spaced(in.PairRef))
}
