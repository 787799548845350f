package dashboard

import (
	"time"

	"github.com/gin-gonic/gin"
)

// waitKey is the parameter that asks for a page with all that is in it, however long
// that takes. It is the address from which later.js has what a page was shown without.
const waitKey = "wait"

// patience is how long a page waits for what it can be shown without, 0 for as long as
// it takes: where the address asks for that, or for a file of one of the figures. The
// parameter is taken out of the address, which the page's links are made from.
func (s *Server) patience(c *gin.Context) time.Duration {
	query := c.Request.URL.Query()
	if query.Has(waitKey) {
		query.Del(waitKey)
		c.Request.URL.RawQuery = query.Encode()
		return 0
	}
	if query.Get("as") != "" {
		return 0
	}
	return s.cfg.Patience
}
