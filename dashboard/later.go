package dashboard

import (
	"time"

	"github.com/gin-gonic/gin"
)

// waitKey is the parameter that asks for a page with all that is in it, however long
// that takes; or, as later.js does, for no more than what the page was shown without.
const (
	waitKey   = "wait"
	waitParts = "parts"
)

// patience is how long a page waits for what it can be shown without, 0 for as long as
// it takes: where the address asks for that, or for a file of one of the figures. Parts
// says that the rest of the page may be left out. The parameter is taken out of the
// address, which the page's links are made from.
func (s *Server) patience(c *gin.Context) (within time.Duration, parts bool) {
	query := c.Request.URL.Query()
	if query.Has(waitKey) {
		parts = query.Get(waitKey) == waitParts
		query.Del(waitKey)
		c.Request.URL.RawQuery = query.Encode()
		return 0, parts
	}
	if query.Get("as") != "" {
		return 0, false
	}
	return s.cfg.Patience, false
}
