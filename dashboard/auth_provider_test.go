package dashboard

import (
	"crypto"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// testProvider is a provider of OpenID Connect (Core 1.0) that runs in the test:
// discovery, keys and the exchange of codes, with tokens signed by RS256.
type testProvider struct {
	*httptest.Server
	t     *testing.T
	clock *testClock
	key   *rsa.PrivateKey
	// asked is the last request for sign-in, by the query of its address.
	asked url.Values
	// spoil changes the claims, and by what key the token is signed, of the next
	// sign-in.
	spoil func(claims map[string]any)
	sign  *rsa.PrivateKey
	staff string
	used  map[string]bool
}

const testClient, testSecret = "solewright-test", "provider secret"

func newTestProvider(t *testing.T, clock *testClock) *testProvider {
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	must(t, err)
	p := &testProvider{t: t, clock: clock, key: key, sign: key, used: map[string]bool{}}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		p.json(w, map[string]any{
			"issuer": p.URL, "authorization_endpoint": p.URL + "/authorize", "token_endpoint": p.URL + "/token", "jwks_uri": p.URL + "/keys",
			"id_token_signing_alg_values_supported": []string{"RS256"},
		})
	})
	mux.HandleFunc("GET /keys", func(w http.ResponseWriter, _ *http.Request) {
		p.json(w, map[string]any{"keys": []any{map[string]any{
			"kty": "RSA", "alg": "RS256", "use": "sig", "kid": "1",
			"n": encode64(p.key.N.Bytes()), "e": encode64(big.NewInt(int64(p.key.E)).Bytes()),
		}}})
	})
	mux.HandleFunc("POST /token", p.token)
	p.Server = httptest.NewServer(mux)
	t.Cleanup(p.Close)
	return p
}

func encode64(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func (p *testProvider) json(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(v); err != nil {
		p.t.Error(err)
	}
}

// token exchanges the code once, for who shows the verifier of its challenge
// (RFC 7636, section 4.6) and the client's secret.
func (p *testProvider) token(w http.ResponseWriter, r *http.Request) {
	client, secret, basic := r.BasicAuth()
	if !basic {
		client, secret = r.PostFormValue("client_id"), r.PostFormValue("client_secret")
	}
	sum := sha256.Sum256([]byte(r.PostFormValue("code_verifier")))
	code := r.PostFormValue("code")
	if client != testClient || secret != url.QueryEscape(testSecret) && secret != testSecret || p.used[code] ||
		encode64(sum[:]) != p.asked.Get("code_challenge") || r.PostFormValue("redirect_uri") != p.asked.Get("redirect_uri") {
		w.WriteHeader(http.StatusBadRequest)
		p.json(w, map[string]any{"error": "invalid_grant"})
		return
	}
	p.used[code] = true
	now := p.clock.Now()
	claims := map[string]any{
		"iss": p.URL, "sub": "4711", "aud": testClient, "iat": now.Unix(), "exp": now.Add(time.Minute).Unix(),
		"nonce": p.asked.Get("nonce"), "preferred_username": p.staff,
	}
	if p.spoil != nil {
		p.spoil(claims)
	}
	p.json(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": p.signed(claims)})
}

// signed writes a token (RFC 7515, RFC 7518 section 3.3).
func (p *testProvider) signed(claims map[string]any) string {
	body, err := json.Marshal(claims)
	must(p.t, err)
	text := encode64([]byte(`{"alg":"RS256","kid":"1"}`)) + "." + encode64(body)
	sum := sha256.Sum256([]byte(text))
	mark, err := rsa.SignPKCS1v15(rand.Reader, p.sign, crypto.SHA256, sum[:])
	must(p.t, err)
	return text + "." + encode64(mark)
}

// browser keeps the cookies of one browser.
type browser struct {
	r       *rig
	cookies map[string]string
}

func (b *browser) get(path string) *httptest.ResponseRecorder {
	b.r.t.Helper()
	var all []string
	for name, value := range b.cookies {
		all = append(all, name+"="+value)
	}
	w := b.r.call("GET", path, "", nil, "Cookie", strings.Join(all, "; "))
	for _, c := range w.Result().Cookies() {
		b.cookies[c.Name] = c.Value
	}
	return w
}

// goes sends a browser to the provider and returns the address by which it comes
// back.
func (p *testProvider) goes(b *browser, next string) string {
	b.r.t.Helper()
	w := b.get("/sign-in/provider?" + url.Values{"next": {next}}.Encode())
	want(b.r.t, w, http.StatusSeeOther)
	to, err := url.Parse(w.Header().Get("Location"))
	must(b.r.t, err)
	if !strings.HasPrefix(to.String(), p.URL+"/authorize?") {
		b.r.t.Fatalf("sent to %s", to)
	}
	p.asked = to.Query()
	return providerBack + "?" + url.Values{"code": {fmt.Sprint("code-", len(p.used))}, "state": {p.asked.Get("state")}}.Encode()
}

// newBrowser returns one that nobody is signed in with.
func (r *rig) newBrowser() *browser { return &browser{r, map[string]string{}} }

// signedInAs wants somebody to be signed in.
func (b *browser) signedInAs(code string) {
	b.r.t.Helper()
	w := b.get("/me")
	want(b.r.t, w, http.StatusOK)
	b.r.shows(w.Body.String(), code)
}

// signedOut wants nobody to be signed in.
func (b *browser) signedOut() {
	b.r.t.Helper()
	want(b.r.t, b.get("/me"), http.StatusSeeOther)
}

func TestManagersSignInByTheirProvider(t *testing.T) {
	clock := newTestClock()
	p := newTestProvider(t, clock)
	r := newRigOn(t, dbtest.Open(t, dbtest.Clock(clock.Now)), clock, func(cfg *Config) {
		cfg.Provider = &Provider{Issuer: p.URL, Client: testClient, Secret: testSecret, Public: "https://solewright.example/"}
	})
	for code, role := range map[string]retail.Role{"M-1": retail.Manager, "T-1": retail.Trainer, "O-1": retail.Office, "F-1": retail.Fitter, "M-2": retail.Manager} {
		must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: code, Role: role, Scopes: models.Fleet}))
	}
	must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: "M-2", Role: retail.Manager, Scopes: models.Fleet, Retired: "2026-01-01"}))

	t.Run("the sign-in page offers it", func(t *testing.T) {
		r.t = t
		w := r.call("GET", "/sign-in?next=/fleet", "", nil)
		want(t, w, http.StatusOK)
		r.check(w)
		r.shows(w.Body.String(), "Sign in with your company account", "/sign-in/provider?next=%2ffleet")
	})
	t.Run("the provider is asked for a code, with state, nonce and challenge", func(t *testing.T) {
		r.t = t
		p.goes(r.newBrowser(), "/")
		for name, value := range map[string]string{
			"response_type": "code", "client_id": testClient, "code_challenge_method": "S256", "scope": "openid profile",
			"redirect_uri": "https://solewright.example" + providerBack,
		} {
			if got := p.asked.Get(name); got != value {
				t.Errorf("%s=%q, want %q", name, got, value)
			}
		}
		for _, name := range []string{"state", "nonce", "code_challenge"} {
			if len(p.asked.Get(name)) < 26 { // 128 bits in base 32
				t.Errorf("%s=%q", name, p.asked.Get(name))
			}
		}
	})
	for _, code := range []string{"M-1", "T-1", "O-1"} {
		t.Run(code+" signs in, and comes to where they wanted", func(t *testing.T) {
			r.t = t
			p.staff = code
			b := r.newBrowser()
			back := p.goes(b, "/methods")
			before := b.cookies[r.sessions.Cookie.Name]
			w := b.get(back)
			want(t, w, http.StatusSeeOther)
			if to := w.Header().Get("Location"); to != "/methods" {
				t.Errorf("sent to %s", to)
			}
			if b.cookies[r.sessions.Cookie.Name] == before {
				t.Error("the session has the token it had before somebody signed in")
			}
			b.signedInAs(code)
			r.audited("sign-in.provider", "staff:"+code)
		})
	}
	t.Run("an account that is retired later is out at once", func(t *testing.T) {
		r.t = t
		p.staff = "O-1"
		b := r.newBrowser()
		want(t, b.get(p.goes(b, "/")), http.StatusSeeOther)
		must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: "O-1", Role: retail.Office, Scopes: models.Fleet, Retired: "2026-10-05"}))
		clock.advance(time.Minute) // what is remembered of an account is believed for 30 s
		b.signedOut()
	})
	other, err := rsa.GenerateKey(rand.Reader, 2048)
	must(t, err)
	const untrusted, nobody, again = "can&#39;t be trusted", "no account of a manager", "took too long or was used"
	for _, tt := range []struct {
		name, staff string
		spoil       func(map[string]any)
		sign        *rsa.PrivateKey
		says        string
	}{
		{"a nonce of another sign-in", "M-1", func(c map[string]any) { c["nonce"] = "another" }, nil, untrusted},
		{"no nonce", "M-1", func(c map[string]any) { delete(c, "nonce") }, nil, untrusted},
		{"a token that has expired", "M-1", func(c map[string]any) { c["exp"] = clock.Now().Add(-time.Second).Unix() }, nil, untrusted},
		{"a token for somebody else's service", "M-1", func(c map[string]any) { c["aud"] = "another-service" }, nil, untrusted},
		{"a token of another issuer", "M-1", func(c map[string]any) { c["iss"] = "https://elsewhere.example" }, nil, untrusted},
		{"a token signed with another key", "M-1", nil, other, untrusted},
		{"a token without the claim", "M-1", func(c map[string]any) { delete(c, "preferred_username") }, nil, untrusted},
		{"a claim that is no text", "M-1", func(c map[string]any) { c["preferred_username"] = 7 }, nil, untrusted},
		{"somebody without an account", "X-1", nil, nil, nobody},
		{"a disabled account", "M-2", nil, nil, nobody},
		{"a fitter", "F-1", nil, nil, nobody},
	} {
		t.Run(tt.name+" is refused in plain words", func(t *testing.T) {
			r.t = t
			p.staff, p.spoil, p.sign = tt.staff, tt.spoil, p.key
			if tt.sign != nil {
				p.sign = tt.sign
			}
			defer func() { p.spoil, p.sign = nil, p.key }()
			b := r.newBrowser()
			w := b.get(p.goes(b, "/methods"))
			want(t, w, http.StatusUnauthorized)
			r.check(w)
			r.shows(w.Body.String(), tt.says, `value="/methods"`)
			b.signedOut()
		})
	}
	if _, err := r.db.Account(t.Context(), "X-1"); err == nil {
		t.Error("an account was made by signing in")
	}
	refused := func(t *testing.T, w *httptest.ResponseRecorder, says string) {
		t.Helper()
		r.t = t
		want(t, w, http.StatusUnauthorized)
		r.shows(w.Body.String(), says)
	}
	t.Run("a state that was used, is another browser's, or is old is refused", func(t *testing.T) {
		r.t = t
		p.staff = "M-1"
		b, stranger := r.newBrowser(), r.newBrowser()
		back := p.goes(b, "/")
		refused(t, stranger.get(back), again)
		kept := map[string]string{}
		for name, value := range b.cookies {
			kept[name] = value
		}
		want(t, b.get(back), http.StatusSeeOther)
		replayed := &browser{r, kept}
		refused(t, replayed.get(back), again)
		replayed.signedOut()
		refused(t, b.get(strings.Replace(p.goes(b, "/"), "state=", "state=x", 1)), again)
		late := r.newBrowser()
		back = p.goes(late, "/")
		clock.advance(providerLife + time.Second)
		refused(t, late.get(back), again)
	})
	t.Run("a code without its verifier, and a refusal of the provider's, sign nobody in", func(t *testing.T) {
		r.t = t
		b := r.newBrowser()
		back := p.goes(b, "/")
		p.asked.Set("code_challenge", "another")
		refused(t, b.get(back), untrusted)
		refused(t, b.get(p.goes(b, "/")+"&error=access_denied"), "didn&#39;t let you in")
		b.signedOut()
	})
	t.Run("nobody is led away from here afterwards", func(t *testing.T) {
		r.t = t
		b := r.newBrowser()
		w := b.get(p.goes(b, "https://elsewhere.example/"))
		want(t, w, http.StatusSeeOther)
		if to := w.Header().Get("Location"); to != "/" {
			t.Errorf("sent to %s", to)
		}
	})
}

func TestAProviderThatIsDownLeavesThePassword(t *testing.T) {
	r := newRig(t, func(cfg *Config) {
		cfg.Provider = &Provider{Issuer: "http://127.0.0.1:1", Client: testClient, Public: "https://solewright.example"}
	})
	w := r.call("GET", "/sign-in/provider", "", nil)
	want(t, w, http.StatusUnauthorized)
	r.check(w)
	r.shows(w.Body.String(), "can&#39;t be reached", `name="password"`)
}

func TestWithoutAProviderNoneIsOffered(t *testing.T) {
	r := newRig(t)
	if w := r.call("GET", "/sign-in", "", nil); strings.Contains(w.Body.String(), "/sign-in/provider") {
		t.Error("a provider is offered")
	}
	want(t, r.call("GET", "/sign-in/provider", "", nil), http.StatusNotFound)
	want(t, r.call("GET", providerBack+"?code=1&state=1", "", nil), http.StatusNotFound)
	for _, p := range []Provider{{}, {Issuer: "https://x.example", Client: "c"}, {Issuer: "x", Client: "c", Public: "https://y.example"}, {Issuer: "https://x.example", Public: "https://y.example"}} {
		if _, err := New(Config{DB: r.db, Logger: r.log, Provider: &p}); err == nil {
			t.Errorf("%+v was taken", p)
		}
	}
}
