package dashboard

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"solewright/assess"
)

// slipPage prints the slip of a stored reading again. The page asks the API
// for the reading and draws the slip as the bench did.
type slipPage struct {
	ID string
}

// showSlip answers with the slip of one reading.
func (s *Server) showSlip(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("uuid"))
	if err != nil {
		return refuse(notFound, "a slip's address ends in its reading's UUID")
	}
	return s.render(c, http.StatusOK, "slip", slipPage{ID: id.String()})
}
