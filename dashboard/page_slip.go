package dashboard

import (
	"net/http"

	"github.com/gin-gonic/gin"
)

// slipPage prints the slip of a stored reading again. The page asks the API
// for the reading and draws the slip as the bench did.
type slipPage struct {
	ID string
}

// showSlip answers with the slip of one reading.
func (s *Server) showSlip(c *gin.Context) error {
	in, err := s.inspection(c, readReading)
	if err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "slip", slipPage{ID: in.ID.String()})
}
