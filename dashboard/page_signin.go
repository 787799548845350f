package dashboard

import "github.com/gin-gonic/gin"

// signInPage asks for code and password.
type signInPage struct {
	// Staff is the code typed before, kept when a try failed.
	Staff string
	// Next is the path to go on to.
	Next string
	// Message says why the last try failed.
	Message string
}

// showSignIn answers with the sign-in page.
func (s *Server) showSignIn(c *gin.Context, status int, view signInPage) error {
	return s.render(c, status, "sign-in", view)
}
