package dashboard

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/gin-gonic/gin"
	"golang.org/x/oauth2"

	"solewright/models"
)

// Provider is a provider of OpenID Connect that managers, trainers and the
// office may sign in by. It says who somebody is; what they may do is their
// account's, which must exist.
type Provider struct {
	// Issuer is the provider's address, as its tokens name it.
	Issuer string
	// Client and Secret are what the provider knows this service by; a public
	// client has no secret.
	Client, Secret string
	// Claim is the claim that holds the staff code; default preferred_username.
	Claim string
	// Public is the address of this service as browsers reach it, such as
	// https://solewright.example; the provider sends people back to it.
	Public string
}

// What goes with a sign-in by the provider.
const (
	providerBack  = "/sign-in/provider/back"
	providerScope = "profile"
	defaultClaim  = "preferred_username"
	// providerLife is how long somebody may take at the provider, providerTimeout
	// how long the provider may take to answer. House values.
	providerLife    = 10 * time.Minute
	providerTimeout = 10 * time.Second

	// What a session holds on the way.
	sessionState    = "provider-state"
	sessionNonce    = "provider-nonce"
	sessionVerifier = "provider-verifier"
	sessionNext     = "provider-next"
	sessionUntil    = "provider-until"
)

// provider is a Provider with what it says of itself, which is asked for when
// somebody first signs in: the service starts though the provider is down.
type provider struct {
	Provider
	now    func() time.Time
	client *http.Client

	mu    sync.Mutex
	found *oidc.Provider
}

func newProvider(p *Provider, now func() time.Time) (*provider, error) {
	if p == nil {
		return nil, nil
	}
	for name, text := range map[string]string{"issuer": p.Issuer, "public address": p.Public} {
		if u, err := url.Parse(text); err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Host == "" {
			return nil, fmt.Errorf("dashboard: the provider's %s %q is no http address", name, text)
		}
	}
	if p.Client == "" {
		return nil, errors.New("dashboard: the provider's client is missing")
	}
	made := &provider{Provider: *p, now: now, client: &http.Client{Timeout: providerTimeout}}
	if made.Claim == "" {
		made.Claim = defaultClaim
	}
	return made, nil
}

// settings returns how the provider is asked, and how its tokens are verified.
func (p *provider) settings() (*oauth2.Config, *oidc.IDTokenVerifier, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.found == nil {
		// The keys are fetched with this context later on, so it must not end with
		// a request; the client bounds every answer.
		found, err := oidc.NewProvider(oidc.ClientContext(context.Background(), p.client), p.Issuer)
		if err != nil {
			return nil, nil, err
		}
		p.found = found
	}
	config := &oauth2.Config{
		ClientID: p.Client, ClientSecret: p.Secret, Endpoint: p.found.Endpoint(),
		RedirectURL: strings.TrimSuffix(p.Public, "/") + providerBack, Scopes: []string{oidc.ScopeOpenID, providerScope},
	}
	return config, p.found.Verifier(&oidc.Config{ClientID: p.Client, Now: p.now}), nil
}

// goToProvider sends somebody to the provider. What comes back must carry the
// state and nonce of this browser's session, and the code's verifier stays here
// (RFC 7636).
func (s *Server) goToProvider(c *gin.Context) error {
	if s.provider == nil {
		return refuse(notFound, "no provider is set up")
	}
	next := localPath(c.Query("next"))
	config, _, err := s.provider.settings()
	if err != nil {
		return s.providerFailed(c, "down", next, err)
	}
	ctx := c.Request.Context()
	state, nonce, verifier := rand.Text(), rand.Text(), oauth2.GenerateVerifier()
	for key, value := range map[string]string{sessionState: state, sessionNonce: nonce, sessionVerifier: verifier, sessionNext: next} {
		s.sessions.Put(ctx, key, value)
	}
	s.sessions.Put(ctx, sessionUntil, s.now().Add(providerLife).Unix())
	token, expiry, err := s.sessions.Commit(ctx)
	if err != nil {
		return err
	}
	s.sessions.WriteSessionCookie(ctx, c.Writer, token, expiry)
	c.Redirect(http.StatusSeeOther, config.AuthCodeURL(state, oidc.Nonce(nonce), oauth2.S256ChallengeOption(verifier)))
	return nil
}

// backFromProvider signs in whom the provider vouches for.
func (s *Server) backFromProvider(c *gin.Context) error {
	if s.provider == nil {
		return refuse(notFound, "no provider is set up")
	}
	ctx := c.Request.Context()
	state, nonce := s.sessions.PopString(ctx, sessionState), s.sessions.PopString(ctx, sessionNonce)
	verifier, next := s.sessions.PopString(ctx, sessionVerifier), localPath(s.sessions.PopString(ctx, sessionNext))
	until, _ := s.sessions.Pop(ctx, sessionUntil).(int64)
	if state == "" || s.now().Unix() > until || subtle.ConstantTimeCompare([]byte(state), []byte(c.Query("state"))) != 1 {
		return s.providerFailed(c, "state", next, errors.New("the state is unknown, old or used"))
	}
	// Once used, a state is gone, whatever comes of it.
	if _, _, err := s.sessions.Commit(ctx); err != nil {
		return err
	}
	if c.Query("error") != "" {
		return s.providerFailed(c, "refused", next, fmt.Errorf("the provider answers %q", c.Query("error")))
	}
	code, err := s.vouchedFor(ctx, c.Query("code"), nonce, verifier)
	if err != nil {
		return s.providerFailed(c, "token", next, err)
	}
	account, err := s.db.SignInByProvider(ctx, code)
	if errors.Is(err, models.ErrDenied) {
		return s.providerFailed(c, "nobody", next, err)
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

// vouchedFor exchanges a code for a token, verifies it and returns the staff code
// in it.
func (s *Server) vouchedFor(ctx context.Context, code, nonce, verifier string) (string, error) {
	config, tokens, err := s.provider.settings()
	if err != nil {
		return "", err
	}
	ctx = oidc.ClientContext(ctx, s.provider.client)
	answer, err := config.Exchange(ctx, code, oauth2.VerifierOption(verifier))
	if err != nil {
		return "", err
	}
	raw, ok := answer.Extra("id_token").(string)
	if !ok {
		return "", errors.New("the provider sent no ID token")
	}
	token, err := tokens.Verify(ctx, raw) // signature, issuer, audience, time
	if err != nil {
		return "", err
	}
	if subtle.ConstantTimeCompare([]byte(token.Nonce), []byte(nonce)) != 1 {
		return "", errors.New("the nonce is another sign-in's")
	}
	claims := map[string]any{}
	if err := token.Claims(&claims); err != nil {
		return "", err
	}
	staff, _ := claims[s.provider.Claim].(string)
	if staff == "" {
		return "", fmt.Errorf("the token has no claim %s", s.provider.Claim)
	}
	return staff, nil
}

// providerFailed shows the sign-in page with what went wrong in plain words;
// what exactly is for the log.
func (s *Server) providerFailed(c *gin.Context, reason, next string, err error) error {
	s.metrics.signInFailures.WithLabelValues("provider-" + reason).Inc()
	status := s.failed(c, &failure{class: notSignedIn, cause: err}).status
	return s.showSignIn(c, status, signInPage{Next: next, ByPassword: true, Message: s.words(c).say("signin.provider." + reason)})
}
