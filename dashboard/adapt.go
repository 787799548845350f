package dashboard

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/gin-gonic/gin"
)

// requestTimeout bounds the work on one request; the listener's WriteTimeout
// must be longer, so that the answer saying so can still be written.
const requestTimeout = 20 * time.Second

// page makes a gin handler of a page: an error becomes the error page.
func (s *Server) page(h func(*gin.Context) error) gin.HandlerFunc {
	return answer(h, s.failPage)
}

// api makes a gin handler of the API: an error becomes an RFC 9457 problem.
func (s *Server) api(h func(*gin.Context) error) gin.HandlerFunc {
	return answer(h, s.failAPI)
}

// answer runs h for at most requestTimeout and hands its error to fail.
func answer(h func(*gin.Context) error, fail func(*gin.Context, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		ctx, cancel := context.WithTimeout(c.Request.Context(), requestTimeout)
		defer cancel()
		c.Request = c.Request.WithContext(ctx)
		if err := h(c); err != nil {
			fail(c, err)
		}
	}
}

// stream makes a gin handler of the API whose answer may take as long as the
// caller reads it: neither the request's time nor the listener's WriteTimeout
// ends it.
func (s *Server) stream(h func(*gin.Context) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		// A writer without deadlines, as in a test, has none to lift.
		_ = http.NewResponseController(c.Writer).SetWriteDeadline(time.Time{})
		if err := h(c); err != nil {
			s.failAPI(c, err)
		}
	}
}

// failPage answers err as a page. Who isn't signed in and only looked is sent
// to sign in, and back afterwards.
func (s *Server) failPage(c *gin.Context, err error) {
	f := s.failed(c, err)
	c.Abort()
	looked := c.Request.Method == http.MethodGet || c.Request.Method == http.MethodHead
	if f.class == notSignedIn && looked {
		c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(c.Request.URL.RequestURI()))
		return
	}
	id := ""
	if f.status >= http.StatusInternalServerError {
		id = requestID(c)
	}
	if err := s.showError(c, f.status, f.title, f.detail, id); err != nil {
		c.Set(failureKey, &failure{class: broken, cause: err})
		c.String(http.StatusInternalServerError, "%s\n%s\n", broken.title, requestID(c))
	}
}
