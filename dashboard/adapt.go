package dashboard

import (
	"net/http"

	"github.com/gin-gonic/gin"
)

// page makes a handler of a page: an error becomes the error page.
func (s *Server) page(h func(*gin.Context) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		if err := h(c); err != nil {
			c.AbortWithStatus(http.StatusInternalServerError)
		}
	}
}

// api makes a handler of the API: an error becomes an RFC 9457 problem.
func (s *Server) api(h func(*gin.Context) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		if err := h(c); err != nil {
			c.AbortWithStatus(http.StatusInternalServerError)
		}
	}
}
