package dashboard

import (
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/gin-gonic/gin"
)

// Keys under which middleware leaves things in gin's context.
const (
	identityKey  = "solewright.identity"
	requestIDKey = "solewright.request_id"
	failureKey   = "solewright.failure"
)

// requestIDLen is how many base-32 characters name a request: 60 bits.
const requestIDLen = 12

// requestID returns the name of the request; it is on every answer, in the log
// line, and on an error page as the error's id.
func requestID(c *gin.Context) string { return c.GetString(requestIDKey) }

// observe names the request, and when it is over writes its one log line and
// counts it. It must be the first middleware.
func (s *Server) observe(c *gin.Context) {
	id := rand.Text()[:requestIDLen]
	c.Set(requestIDKey, id)
	c.Header("X-Request-ID", id)
	start := s.now()
	s.metrics.inFlight.Inc()
	s.waiting.come()
	// Deferred, so that a request whose connection is cut by a panic counts too.
	defer func() {
		s.metrics.inFlight.Dec()
		s.waiting.leave()
		took := s.now().Sub(start)
		status, route := c.Writer.Status(), routeLabel(c)
		s.metrics.requests.WithLabelValues(route, methodLabel(c.Request.Method), strconv.Itoa(status)).Observe(took.Seconds())
		s.logRequest(c, id, route, status, float64(took.Microseconds())/1000)
	}()
	c.Next()
}

// logRequest writes the request's line. The path is left out, because it may
// hold a runner's code; the route's pattern tells enough.
func (s *Server) logRequest(c *gin.Context, id, route string, status int, ms float64) {
	attrs := []slog.Attr{
		slog.String("request_id", id),
		slog.String("method", c.Request.Method),
		slog.String("route", route),
		slog.Int("status", status),
		slog.Float64("ms", ms),
		slog.Int("bytes", max(c.Writer.Size(), 0)),
		slog.String("addr", c.ClientIP()),
	}
	if who := s.who(c); who.Known() {
		attrs = append(attrs, slog.String("who", who.Code), slog.String("store", who.Store))
	}
	level := slog.LevelInfo
	if v, ok := c.Get(failureKey); ok {
		f := v.(*failure)
		attrs = append(attrs, slog.String("failure", f.slug))
		// Below 500 the cause holds what the caller sent, which may be health
		// data; at 500 and above it is ours.
		if f.status >= http.StatusInternalServerError {
			level = slog.LevelError
			attrs = append(attrs, slog.Any("err", f.cause))
		}
	}
	s.log.LogAttrs(c.Request.Context(), level, "request", attrs...)
}

// recoverPanic answers a panic like any other error, without its text.
func (s *Server) recoverPanic(c *gin.Context) {
	defer func() {
		v := recover()
		if v == nil {
			return
		}
		if err, ok := v.(error); ok && errors.Is(err, http.ErrAbortHandler) {
			panic(v)
		}
		s.fail(c, fmt.Errorf("panic: %v\n%s", v, debug.Stack()))
	}()
	c.Next()
}

// contentSecurity is the policy of every page: nothing from elsewhere, nothing
// inline; the browser's engine is WebAssembly, which needs its own word.
const contentSecurity = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; " +
	"img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; " +
	"form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// secure sets the headers that every answer carries.
func (s *Server) secure(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("Content-Security-Policy", contentSecurity)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=()")
	// Answers hold what a runner's shoes tell; only static files, which say so
	// themselves, may stay in a cache.
	h.Set("Cache-Control", "no-store")
	if !s.cfg.InsecureCookies {
		h.Set("Strict-Transport-Security", "max-age=31536000")
	}
	c.Next()
}

// sameOrigin refuses writes that a browser sends from another site.
func (s *Server) sameOrigin(c *gin.Context) {
	if err := s.origin.Check(c.Request); err != nil {
		s.fail(c, &failure{class: crossOrigin, cause: err})
		return
	}
	c.Next()
}

// readable refuses an address that no record can have: what isn't UTF-8, or has a
// NUL in it, which PostgreSQL stores in no text.
func (s *Server) readable(c *gin.Context) {
	asked, err := url.ParseQuery(c.Request.URL.RawQuery)
	switch name, ok := storable(asked); {
	case err != nil:
		s.fail(c, &failure{class: badQuery, detail: "what follows the ? can't be read: want name=value, joined by &, escaped by %", cause: err})
		return
	case !isText(c.Request.URL.Path):
		s.fail(c, refuse(badQuery, "the address has a character that no text may have"))
		return
	case !ok:
		s.fail(c, refuseParameter(strings.ToValidUTF8(name, "\ufffd"), "%s", wantText))
		return
	}
	c.Next()
}

// wantText is what the texts of a request must be.
const wantText = "want text in UTF-8 without NUL"

// isText reports whether a text can be stored.
func isText(s string) bool { return utf8.ValidString(s) && !strings.Contains(s, "\x00") }

// storable returns the name of a value that no text may hold, and false where there
// is one.
func storable(values url.Values) (name string, ok bool) {
	for name, all := range values {
		if !isText(name) || slices.ContainsFunc(all, func(v string) bool { return !isText(v) }) {
			return name, false
		}
	}
	return "", true
}

// noRoute answers an address that isn't served, noMethod one that is, but not
// with that method.
func (s *Server) noRoute(c *gin.Context) {
	s.fail(c, refuse(notFound, "there is nothing at this address"))
}

func (s *Server) noMethod(c *gin.Context) {
	s.fail(c, refuse(badMethod, "this address is not used that way"))
}

// fail answers err in the form that the address calls for.
func (s *Server) fail(c *gin.Context, err error) {
	if path := c.Request.URL.Path; strings.HasPrefix(path, apiRoot+"/") || strings.HasSuffix(path, ".json") {
		s.failAPI(c, err)
		return
	}
	s.failPage(c, err)
}
