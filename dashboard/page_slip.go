package dashboard

import (
	"net/http"

	"github.com/gin-gonic/gin"
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
	view := slipPage{ID: in.ID.String()}
	trades, err := s.db.TradeInsOf(c.Request.Context(), in.PairRef)
	if err != nil {
		return err
	}
	for i := range trades {
		if t := &trades[i]; t.InspectionID == in.ID && t.VoidedAt.IsZero() {
			view.Route, view.Currency, view.Credit, view.Table = t.Route.String(), t.Currency, t.Credit, t.CreditTable
		}
	}
	return s.render(c, http.StatusOK, "slip", view)
}
