package dashboard

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/gin-gonic/gin"

	"solewright/models"
)

const (
	// sessionCookie and tabletCookie are bound to this very host by their
	// prefix (RFC 6265bis, section 4.1.3.2); on plain HTTP, where the prefix is
	// refused, they go without.
	sessionCookie = hostPrefix + "session"
	tabletCookie  = hostPrefix + "device"
	hostPrefix    = "__Host-"

	// sessionLife is the longest working day. Use doesn't prolong it, so that
	// looking at a page writes nothing.
	sessionLife = 12 * time.Hour
	// tabletLife is how long a browser keeps what makes it a store's tablet;
	// 400 days is the most that browsers grant.
	tabletLife = 400 * 24 * time.Hour
	// maxForm is how many bytes of a form are read.
	maxForm = 16 << 10

	// What a session holds.
	sessionAccount = "account"
	sessionEpoch   = "epoch"
)

// newSessions returns the sessions, kept in the database by a hash of their
// token. A request loads them, and sign-in and sign-out save them by
// themselves, rather than a wrapper around every answer: so an error is
// answered like any other, and streams keep their writer.
func newSessions(cfg Config) *scs.SessionManager {
	m := scs.New()
	m.Store = cfg.DB.Sessions()
	m.HashTokenInStore = true
	m.Lifetime = sessionLife
	m.Cookie.Name = cookieName(cfg, sessionCookie)
	m.Cookie.Secure = !cfg.InsecureCookies
	return m
}

// cookieName returns the name that a cookie has under cfg.
func cookieName(cfg Config, name string) string {
	if cfg.InsecureCookies {
		return strings.TrimPrefix(name, hostPrefix)
	}
	return name
}

func (s *Server) deviceCookie() string { return cookieName(s.cfg, tabletCookie) }

// form reads the fields of a posted form, bounded.
func form(c *gin.Context) (url.Values, error) {
	c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, maxForm)
	if err := c.Request.ParseForm(); err != nil {
		if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return nil, err
		}
		return nil, &failure{class: badSyntax, detail: "the form can't be read", cause: err}
	}
	if name, ok := storable(c.Request.PostForm); !ok {
		return nil, refuse(badSyntax, "%q: %s", strings.ToValidUTF8(name, "\ufffd"), wantText)
	}
	return c.Request.PostForm, nil
}

// showSignInForm asks for code and password; who is signed in goes on.
func (s *Server) showSignInForm(c *gin.Context) error {
	next := localPath(c.Query("next"))
	if s.who(c).Known() {
		c.Redirect(http.StatusSeeOther, next)
		return nil
	}
	return s.showSignIn(c, http.StatusOK, signInPage{Next: next})
}

// signIn opens a session for who knows the account's password or, on an
// enrolled tablet, its PIN. What is wrong isn't told apart, so that nobody
// learns which codes exist.
func (s *Server) signIn(c *gin.Context) error {
	fields, err := form(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	code, next := strings.TrimSpace(fields.Get("staff")), localPath(fields.Get("next"))
	device := s.who(c).Device
	var account models.Account
	_, byPIN := fields["pin"]
	if pin := fields.Get("pin"); byPIN && device != "" {
		account, err = s.db.SignInPIN(ctx, device, code, pin)
	} else {
		account, err = s.db.SignIn(ctx, code, fields.Get("password"), c.ClientIP())
	}
	if errors.Is(err, models.ErrTooMany) || errors.Is(err, models.ErrDenied) {
		return s.signInFailed(c, err, signInPage{Staff: code, Next: next, ByPassword: !byPIN})
	}
	if err != nil {
		return err
	}
	if err := s.openSession(c, account); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, next)
	return nil
}

// openSession signs somebody in who has shown that they are who they say.
func (s *Server) openSession(c *gin.Context, a models.Account) error {
	ctx := c.Request.Context()
	// A token that somebody planted in this browser must not become a session.
	if err := s.sessions.RenewToken(ctx); err != nil {
		return err
	}
	s.sessions.Put(ctx, sessionAccount, a.Code)
	s.sessions.Put(ctx, sessionEpoch, a.Epoch)
	token, expiry, err := s.sessions.Commit(ctx)
	if err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(ctx, c.Writer, token, expiry)
	return nil
}

// signInFailed shows the form again, with what to do.
func (s *Server) signInFailed(c *gin.Context, err error, view signInPage) error {
	f, w := answerTo(err), s.words(c)
	reason := "denied"
	switch {
	case f.class == tooMany:
		reason = "too-many"
		view.Message = w.say("signin.too-many", "n", minutes(f.wait))
	case view.ByPassword:
		view.Message = w.say("signin.denied")
	default:
		view.Message = w.say("signin.denied-pin")
	}
	s.metrics.signInFailures.WithLabelValues(reason).Inc()
	return s.showSignIn(c, s.failed(c, err).status, view)
}

// signOut ends the session, here and in the database. Who works on at the same
// tablet signs in next, and comes back to the page that the form names.
func (s *Server) signOut(c *gin.Context) error {
	fields, err := form(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	if err := s.sessions.Destroy(ctx); err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(ctx, c.Writer, "", time.Time{})
	to := "/sign-in"
	if next := localPath(fields.Get("next")); next != "/" {
		to += "?next=" + url.QueryEscape(next)
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// localPath returns next where it is a path on this server, else the start: a
// link to the sign-in page must not lead away from here.
func localPath(next string) string {
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") ||
		strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}
