package dashboard

import "github.com/gin-gonic/gin"

// errorPage says what went wrong and what to do.
type errorPage struct {
	// Title and Detail are safe to show; Detail may be empty.
	Title, Detail string
	// ID is the number under which the log holds the cause, where it does.
	ID string
}

// showError answers with the error page.
func (s *Server) showError(c *gin.Context, status int, title, detail, id string) error {
	return s.render(c, status, "error", errorPage{Title: title, Detail: detail, ID: id})
}
