package dashboard

import (
	"crypto/sha256"
	"errors"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/retail"
)

// Identity is who a request comes from. The zero Identity is nobody.
type Identity struct {
	// Code is the account's code, or "token:NAME" for an API token.
	Code string
	// Grants are the roles held, each with its scope, the main one first.
	Grants []retail.Grant
	// Device is the code of the enrolled tablet the request comes from, if any.
	Device string
	// Store is the store the bench opens for: the tablet's, else the only
	// store that the account has in scope, else empty.
	Store string
	// Mark and Lang are what the person chose: the drawing they are found by, and
	// the language they read. Either may be empty.
	Mark, Lang string
}

// tokenPrefix is what tells the code of a program from a person's.
const tokenPrefix = "token:"

// person reports whether it is somebody who can look at a pair: no program.
func (id Identity) person() bool { return id.Known() && !strings.HasPrefix(id.Code, tokenPrefix) }

// Known reports whether somebody is signed in.
func (id Identity) Known() bool { return id.Code != "" }

// identityOf returns what an account may do, whichever way it is known.
func identityOf(a *models.Account) Identity {
	return Identity{Code: a.Code, Grants: a.Grants(), Mark: a.Mark, Lang: a.Lang}
}

// actor is the identity as the audit trail names it.
func (id Identity) actor() models.Actor { return models.Actor{Account: id.Code, Device: id.Device} }

// who returns the identity behind the request.
func (s *Server) who(c *gin.Context) Identity {
	id, _ := c.Get(identityKey)
	who, _ := id.(Identity)
	return who
}

// authorise lets a request through to its handler where the one it comes from
// has the right that the route names. Which stores it may touch is the
// handler's question, by [Server.mayAt].
func (s *Server) authorise(r right) gin.HandlerFunc {
	return func(c *gin.Context) {
		if r == open {
			return
		}
		identify := s.identify
		if r == anyone {
			identify = s.bySession // pages of a browser, whatever else it sends
		}
		who, err := identify(c)
		if err != nil {
			s.fail(c, err)
			return
		}
		c.Set(identityKey, who)
		switch {
		case r == anyone:
		case !who.Known():
			s.fail(c, refuse(notSignedIn, "sign in, or send a token"))
		case !who.allows(r):
			s.fail(c, refuse(forbidden, "the role %s may not %s", strings.Join(who.roles(), " and "), r))
		}
	}
}

// identify finds out who a request comes from: by its token where it has an
// Authorization header, else by its session. Nobody is no error; a token that
// isn't valid is one.
func (s *Server) identify(c *gin.Context) (Identity, error) {
	if credentials := c.GetHeader("Authorization"); credentials != "" {
		scheme, secret, _ := strings.Cut(credentials, " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return Identity{}, refuse(notSignedIn, "send Authorization: Bearer and a token")
		}
		return s.byToken(c, strings.TrimSpace(secret))
	}
	return s.bySession(c)
}

// byToken returns the identity of an API token. An address that sent too many
// bad ones is held off, but for a token that is remembered as good.
func (s *Server) byToken(c *gin.Context, secret string) (Identity, error) {
	addr := c.ClientIP()
	t, err := s.known.tokens.get(sha256.Sum256([]byte(secret)), func() (models.Token, error) {
		if err := s.badTokens.check(addr); err != nil {
			return models.Token{}, err
		}
		return s.db.Token(c.Request.Context(), secret)
	})
	if err == nil && !s.now().Before(t.Expires) {
		err = models.ErrDenied // it ended while it was remembered
	}
	if errors.Is(err, models.ErrDenied) {
		s.badTokens.add(addr)
		return Identity{}, &failure{class: notSignedIn, detail: "the token is unknown, has expired or was revoked", cause: err}
	}
	if err != nil {
		return Identity{}, err
	}
	grants := retail.Grants(t.Role, t.Scopes...)
	return Identity{Code: tokenPrefix + t.Name, Grants: grants, Store: storeOf(grants)}, nil
}

// bySession returns the identity of the request's session, nobody where there
// is none, where it has expired, or where its account has changed since.
func (s *Server) bySession(c *gin.Context) (Identity, error) {
	device, err := s.device(c)
	if err != nil {
		return Identity{}, err
	}
	token := ""
	if cookie, err := c.Request.Cookie(s.sessions.Cookie.Name); err == nil {
		token = cookie.Value
	}
	ctx, err := s.sessions.Load(c.Request.Context(), token)
	if err != nil {
		return Identity{}, err
	}
	c.Request = c.Request.WithContext(ctx)
	code := s.sessions.GetString(ctx, sessionAccount)
	if code == "" {
		return Identity{Device: device.Code}, nil
	}
	epoch := s.sessions.GetInt(ctx, sessionEpoch)
	a, err := s.account(ctx, code)
	if err == nil && a.Epoch < epoch {
		// The session is newer than what is remembered of its account.
		s.known.accounts.forget(code)
		a, err = s.account(ctx, code)
	}
	if errors.Is(err, models.ErrNotFound) {
		return Identity{Device: device.Code}, nil
	}
	if err != nil {
		return Identity{}, err
	}
	if !a.Active() || a.Epoch != epoch {
		return Identity{Device: device.Code}, nil
	}
	who := identityOf(&a)
	who.Device, who.Store = device.Code, device.Store
	if who.Store == "" {
		who.Store = storeOf(who.Grants)
	}
	return who, nil
}

// device returns the enrolled tablet that the request comes from, the zero
// Device where it is none or was revoked.
func (s *Server) device(c *gin.Context) (models.Device, error) {
	cookie, err := c.Request.Cookie(s.deviceCookie())
	if err != nil {
		return models.Device{}, nil
	}
	d, err := s.known.devices.get(sha256.Sum256([]byte(cookie.Value)), func() (models.Device, error) {
		return s.db.Device(c.Request.Context(), cookie.Value)
	})
	if errors.Is(err, models.ErrDenied) {
		return models.Device{}, nil
	}
	return d, err
}

// storeOf returns the store that a bench of these grants opens for: the only
// one in which a role of them works at the bench.
func storeOf(grants []retail.Grant) string {
	scopes := scopesOf(grants, workBench)
	if len(scopes) == 1 {
		return scopes[0].Store
	}
	return ""
}
