package dashboard

import (
	"context"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// seenTime is how long a page waits for the note of who saw it. House value.
const seenTime = 2 * time.Second

// saw notes that the one who asks is shown the verdicts of pairs: they can't read
// those blind that day. Who can't be noted is shown the page all the same, and the
// log says so.
//
// Noted are people, not programs: who opens a pair, a slip or a reading, and who lists pairs or readings
// with their verdicts. The day's list is open to everybody in the store, so that it
// keeps the verdicts of others to itself until they are looked at. Not noted are an
// export, and the lists of what waits for a manager or the office.
func (s *Server) saw(c *gin.Context, refs ...string) {
	who := s.who(c)
	if !who.person() {
		return
	}
	ctx, cancel := context.WithTimeout(c.Request.Context(), s.seenTime)
	defer cancel()
	if err := s.db.SawPairs(ctx, who.Code, refs...); err != nil {
		s.log.WarnContext(ctx, "who saw a verdict is not noted: a second reading by them will pass for blind", "staff", who.Code, "error", err)
	}
}

// refsOf returns the pairs of readings.
func refsOf(readings []*models.Inspection) []string {
	refs := make([]string, len(readings))
	for i, in := range readings {
		refs[i] = in.PairRef
	}
	return refs
}

// seenOut says whether the caller knows what a reading says.
type seenOut struct {
	SeenAt *time.Time `json:"seen_at,omitempty" doc:"When the caller was first shown its verdict; absent where they weren't"`
}

var docSeen = operation{
	id: "get-seen", summary: "Whether the caller has seen a reading's verdict",
	about:  "A second reading of its pair by somebody who has is not blind, and is refused that day. It tells nothing that was read.",
	answer: seenOut{}, fails: []*class{notFound},
}

// getSeen answers with when the caller was shown the verdict of a reading. It is
// asked before a second reading is begun, and shows nothing itself.
func (s *Server) getSeen(c *gin.Context) error {
	in, err := s.inspection(c, readReading)
	if err != nil {
		return err
	}
	saw, err := s.db.SawVerdicts(c.Request.Context(), s.who(c).Code, in.ID)
	if err != nil {
		return err
	}
	out := seenOut{}
	if at, ok := saw[in.ID]; ok {
		out.SeenAt = &at
	}
	c.JSON(http.StatusOK, out)
	return nil
}

// knownVerdicts says which of some readings somebody knows: their own, and those
// that they were shown. Where that can't be read it is their own alone, and the log
// says so.
func (s *Server) knownVerdicts(c *gin.Context, readings []*models.Inspection) map[assess.UUID]bool {
	ctx, who := c.Request.Context(), s.who(c)
	known, ids := make(map[assess.UUID]bool, len(readings)), make([]assess.UUID, len(readings))
	for i, in := range readings {
		ids[i], known[in.ID] = in.ID, in.Staff == who.Code || !who.person()
	}
	saw, err := s.db.SawVerdicts(ctx, who.Code, ids...)
	if err != nil {
		s.log.WarnContext(ctx, "which verdicts somebody saw can't be read: the list shows their own", "error", err)
	}
	for reading := range saw {
		known[reading] = true
	}
	return known
}
