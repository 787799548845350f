package dashboard

import (
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"solewright/assess"
)

// slipPage prints the slip of a stored reading again. The page asks the API
// for the reading and draws the slip as the bench did.
type slipPage struct {
	ID string
	// Route is where the pair went and Credit what was given for it, in minor
	// units of Currency by table Table; of a reading that was no trade-in they
	// are empty.
	Route, Currency string
	Credit          int64
	Table           int
}

// showSlip answers with the slip of one reading.
func (s *Server) showSlip(c *gin.Context) error {
	in, err := s.inspection(c, readReading)
	if err != nil {
		return err
	}
	s.saw(c, in.PairRef)
	view := slipPage{ID: in.ID.String()}
	// A trade-in goes by the reading that stood then, which was corrected since.
	of := []assess.UUID{in.ID}
	for at := in; !at.Supersedes.IsZero(); of = append(of, at.ID) {
		if at, err = s.db.Inspection(c.Request.Context(), at.Supersedes); err != nil {
			return err
		}
	}
	trades, err := s.db.TradeInsOf(c.Request.Context(), in.PairRef)
	if err != nil {
		return err
	}
	for i := range trades {
		if t := &trades[i]; t.VoidedAt.IsZero() && slices.Contains(of, t.InspectionID) {
			view.Route, view.Currency, view.Credit, view.Table = t.Route.String(), t.Currency, t.Credit, t.CreditTable
		}
	}
	return s.render(c, http.StatusOK, "slip", view)
}
