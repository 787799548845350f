package dashboard

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/retail"
)

// Passwords are hashed as slowly as in service, so few tests sign in.
const password = "correct horse battery"

// post sends a form as a browser does from the same site.
func (r *rig) post(path string, form url.Values, cookies ...*http.Cookie) *httptest.ResponseRecorder {
	r.t.Helper()
	req := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	for _, c := range cookies {
		req.AddCookie(c)
	}
	w := httptest.NewRecorder()
	r.ServeHTTP(w, req)
	return w
}

// look gets a page with cookies.
func (r *rig) look(path string, cookies ...*http.Cookie) *httptest.ResponseRecorder {
	r.t.Helper()
	req := httptest.NewRequest("GET", path, nil)
	for _, c := range cookies {
		req.AddCookie(c)
	}
	w := httptest.NewRecorder()
	r.ServeHTTP(w, req)
	return w
}

// cookie returns the cookie that an answer sets.
func cookie(t testing.TB, w *httptest.ResponseRecorder, name string) *http.Cookie {
	t.Helper()
	for _, c := range w.Result().Cookies() {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no cookie %s in %v", name, w.Header())
	return nil
}

// signedUp adds a fitter of store A with a password.
func (r *rig) signedUp(code string) {
	r.t.Helper()
	ctx := context.Background()
	must(r.t, r.db.SaveStaff(ctx, setup, retail.Staff{Code: code, Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}}))
	must(r.t, r.db.SetPassword(ctx, setup, code, password))
}

func credentials(code, pass, next string) url.Values {
	return url.Values{"staff": {code}, "password": {pass}, "next": {next}}
}

func TestASessionFromSignInToSignOut(t *testing.T) {
	r := newRig(t)
	r.signedUp("F-1")
	w := r.post("/sign-in", credentials("F-1", password, "/bench"))
	want(t, w, http.StatusSeeOther)
	if to := w.Header().Get("Location"); to != "/bench" {
		t.Errorf("sent to %s, want /bench", to)
	}
	session := cookie(t, w, sessionCookie)
	if !session.Secure || !session.HttpOnly || session.SameSite != http.SameSiteLaxMode || session.Path != "/" || session.Domain != "" {
		t.Errorf("cookie %v lacks an attribute", session)
	}
	want(t, r.look("/bench", session), http.StatusOK)
	w = r.look("/sign-in?next=/bench", session)
	want(t, w, http.StatusSeeOther)

	t.Run("signing in anew takes another token", func(t *testing.T) {
		again := cookie(t, r.post("/sign-in", credentials("F-1", password, ""), session), sessionCookie)
		if again.Value == session.Value {
			t.Error("the token is the old one")
		}
		if w := r.look("/bench", session); w.Code != http.StatusSeeOther {
			t.Errorf("the old token still opens the bench: %d", w.Code)
		}
		session = again
	})
	t.Run("a planted token isn't taken over", func(t *testing.T) {
		planted := &http.Cookie{Name: sessionCookie, Value: "planted"}
		got := cookie(t, r.post("/sign-in", credentials("F-1", password, ""), planted), sessionCookie)
		if got.Value == planted.Value {
			t.Error("the session got the token that was planted")
		}
	})
	t.Run("the API takes the session", func(t *testing.T) {
		want(t, r.look(apiRoot+"/stores", session), http.StatusOK)
	})
	t.Run("a session ends when its account changes", func(t *testing.T) {
		r.signedUp("F-9")
		other := cookie(t, r.post("/sign-in", credentials("F-9", password, "")), sessionCookie)
		want(t, r.look("/bench", other), http.StatusOK)
		must(t, r.db.RetireStaff(t.Context(), setup, "F-9", "2026-10-05"))
		r.clock.advance(cacheFor + time.Second)
		if w := r.look("/bench", other); w.Code != http.StatusSeeOther {
			t.Errorf("a retired account still opens the bench: %d", w.Code)
		}
	})
	w = r.post("/sign-out", nil, session)
	want(t, w, http.StatusSeeOther)
	if c := cookie(t, w, sessionCookie); c.MaxAge >= 0 || c.Value != "" {
		t.Errorf("the browser keeps %v", c)
	}
	if w := r.look("/bench", session); w.Code != http.StatusSeeOther {
		t.Errorf("after signing out the token still opens the bench: %d", w.Code)
	}
}

func TestSignInTellsNobodyWhichCodesExist(t *testing.T) {
	r := newRig(t)
	r.signedUp("F-1")
	wrong := r.post("/sign-in", credentials("F-1", "wrong", "/bench"))
	unknown := r.post("/sign-in", credentials("F-2", "wrong", "/bench"))
	want(t, wrong, http.StatusForbidden)
	want(t, unknown, http.StatusForbidden)
	if a, b := wrong.Body.String(), strings.ReplaceAll(unknown.Body.String(), "F-2", "F-1"); a != b {
		t.Errorf("a wrong password and an unknown code are answered differently:\n%s\n%s", a, b)
	}
	if len(wrong.Result().Cookies()) > 0 {
		t.Errorf("a refused sign-in sets %v", wrong.Result().Cookies())
	}
	var last *httptest.ResponseRecorder
	for range 20 {
		if last = r.post("/sign-in", credentials("F-1", "wrong", "")); last.Code == http.StatusTooManyRequests {
			break
		}
	}
	want(t, last, http.StatusTooManyRequests)
	if last.Header().Get("Retry-After") == "" {
		t.Error("nothing says how long to wait")
	}
	want(t, r.post("/sign-in", credentials("F-1", password, "")), http.StatusTooManyRequests)
	r.clock.advance(time.Hour)
	want(t, r.post("/sign-in", credentials("F-1", password, "")), http.StatusSeeOther)
}

func TestSignInLeadsNowhereElse(t *testing.T) {
	for next, to := range map[string]string{
		"/bench?x=1": "/bench?x=1", "": "/", "https://elsewhere.example/": "/", "//elsewhere.example": "/",
		`/\elsewhere.example`: "/", "javascript:alert(1)": "/", "/a\r\nSet-Cookie: x=1": "/", "bench": "/",
	} {
		if got := localPath(next); got != to {
			t.Errorf("%q leads to %q, want %q", next, got, to)
		}
	}
}

func TestATabletIsEnrolledAndTakesPINs(t *testing.T) {
	r := newRig(t)
	ctx := t.Context()
	r.signedUp("F-1")
	must(t, r.db.SetPIN(ctx, setup, "F-1", "481926"))
	enrolment, err := r.db.AddDevice(ctx, setup, "T-1", storeA)
	must(t, err)
	want(t, r.post("/enrol", url.Values{"enrolment": {"WRONG"}}), http.StatusUnprocessableEntity)
	w := r.post("/enrol", url.Values{"enrolment": {enrolment}})
	want(t, w, http.StatusSeeOther)
	want(t, r.post("/enrol", url.Values{"enrolment": {enrolment}}), http.StatusForbidden) // it was used
	tablet := cookie(t, w, tabletCookie)
	if !tablet.Secure || !tablet.HttpOnly {
		t.Errorf("cookie %v lacks an attribute", tablet)
	}
	pin := url.Values{"staff": {"F-1"}, "pin": {"481926"}}
	want(t, r.post("/sign-in", pin), http.StatusForbidden)
	w = r.post("/sign-in", pin, tablet)
	want(t, w, http.StatusSeeOther)
	session := cookie(t, w, sessionCookie)
	put := httptest.NewRequest("PUT", apiRoot+"/inspections/"+id(1), strings.NewReader(`{"store":"S-A","staff":"F-1","at":"2026-10-05T11:00:00Z","kind":"check"}`))
	put.Header.Set("Content-Type", "application/json")
	put.Header.Set("Sec-Fetch-Site", "same-origin")
	put.AddCookie(tablet)
	put.AddCookie(session)
	rec := httptest.NewRecorder()
	r.ServeHTTP(rec, put)
	want(t, rec, http.StatusCreated)
	if got := decoded[fields](t, rec)["device"]; got != "T-1" {
		t.Errorf("read on device %v, want T-1", got)
	}
	must(t, r.db.RevokeDevice(ctx, setup, "T-1"))
	r.clock.advance(cacheFor + time.Second)
	want(t, r.post("/sign-in", pin, tablet), http.StatusForbidden)
}

func TestTokensEnd(t *testing.T) {
	r := newRig(t)
	get := func(token string) *httptest.ResponseRecorder { return r.call("GET", apiRoot+"/stores", token, nil) }
	want(t, get(r.fitter()), http.StatusOK)
	for name, credentials := range map[string]string{
		"unknown": "Bearer sw_unknown", "empty": "Bearer ", "another scheme": "Basic Zm9vOmJhcg==", "no scheme": r.fitter(),
	} {
		t.Run(name, func(t *testing.T) {
			w := r.call("GET", apiRoot+"/stores", "", nil, "Authorization", credentials)
			want(t, w, http.StatusUnauthorized)
			pointers(t, w)
			if got := w.Header().Get("WWW-Authenticate"); !strings.HasPrefix(got, "Bearer ") {
				t.Errorf("WWW-Authenticate %q", got)
			}
		})
	}
	t.Run("revoked, within the time it is remembered", func(t *testing.T) {
		token := r.token(retail.Manager, retail.Scope{Store: storeA})
		want(t, get(token), http.StatusOK)
		must(t, r.db.RevokeToken(t.Context(), setup, "manager@store-S-A"))
		r.clock.advance(cacheFor)
		want(t, get(token), http.StatusUnauthorized)
	})
	t.Run("expired, although it is remembered", func(t *testing.T) {
		short, err := r.db.AddToken(t.Context(), setup, models.Token{Name: "short", Role: retail.Fitter, Scopes: models.Fleet}, 10*time.Second)
		must(t, err)
		want(t, get(short), http.StatusOK)
		r.clock.advance(11 * time.Second)
		want(t, get(short), http.StatusUnauthorized)
	})
}

func TestWritesFromAnotherSiteAreRefused(t *testing.T) {
	r := newRig(t)
	for _, tt := range []struct {
		name    string
		headers []string
		status  int
	}{
		{"another site, by the browser's word", []string{"Sec-Fetch-Site", "cross-site"}, http.StatusForbidden},
		{"a sibling host", []string{"Sec-Fetch-Site", "same-site"}, http.StatusForbidden},
		{"another site, by its origin", []string{"Origin", "https://elsewhere.example"}, http.StatusForbidden},
		{"this site", []string{"Sec-Fetch-Site", "same-origin"}, http.StatusOK},
		{"this host, by its origin", []string{"Origin", "https://example.com"}, http.StatusOK}, // httptest's own host
		{"no browser", nil, http.StatusOK},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := r.call("POST", apiRoot+"/judge", r.fitter(), soundReading, tt.headers...)
			want(t, w, tt.status)
			if tt.status == http.StatusForbidden {
				pointers(t, w)
			}
		})
	}
	want(t, r.call("GET", apiRoot+"/stores", r.fitter(), nil, "Sec-Fetch-Site", "cross-site"), http.StatusOK)
}

func TestEveryAnswerCarriesTheHeaders(t *testing.T) {
	r := newRig(t)
	for _, path := range []string{"/sign-in", "/healthz", "/nowhere", apiRoot + "/stores", apiRoot + "/nowhere", "/worker.js"} {
		h := r.call("GET", path, "", nil).Header()
		csp := h.Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "script-src 'self' 'wasm-unsafe-eval'") || strings.Contains(csp, "unsafe-inline") {
			t.Errorf("%s: policy %q", path, csp)
		}
		for header, value := range map[string]string{
			"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
			"Cross-Origin-Opener-Policy": "same-origin", "Strict-Transport-Security": "max-age=31536000",
		} {
			if got := h.Get(header); got != value {
				t.Errorf("%s: %s is %q, want %q", path, header, got, value)
			}
		}
		if h.Get("Cache-Control") == "" || len(h.Get("X-Request-ID")) != requestIDLen {
			t.Errorf("%s: Cache-Control %q, X-Request-ID %q", path, h.Get("Cache-Control"), h.Get("X-Request-ID"))
		}
	}
	local := newRig(t, func(c *Config) { c.InsecureCookies = true })
	if got := local.call("GET", "/sign-in", "", nil).Header().Get("Strict-Transport-Security"); got != "" {
		t.Errorf("plain HTTP asks for TLS: %q", got)
	}
	if got := local.sessions.Cookie; got.Secure || got.Name != "session" {
		t.Errorf("plain HTTP has the cookie %+v", got)
	}
}

func TestAPanicLeaksNothing(t *testing.T) {
	r := newRig(t)
	const secret = "table inspection is on fire"
	r.engine.GET(apiRoot+"/panic", r.api(func(*gin.Context) error { panic(secret) }))
	r.engine.GET("/panic", r.page(func(*gin.Context) error { return errors.New(secret) }))
	r.engine.GET("/half", r.page(func(c *gin.Context) error {
		c.String(http.StatusOK, "half")
		return errors.New(secret)
	}))
	for _, path := range []string{apiRoot + "/panic", "/panic"} {
		r.logged.Reset()
		w := r.call("GET", path, "", nil)
		want(t, w, http.StatusInternalServerError)
		id := w.Header().Get("X-Request-ID")
		if strings.Contains(w.Body.String(), secret) || strings.Contains(w.Body.String(), "goroutine") {
			t.Errorf("%s: the answer says %s", path, w.Body)
		}
		if !strings.Contains(w.Body.String(), id) {
			t.Errorf("%s: the answer lacks the id %s: %s", path, id, w.Body)
		}
		if log := r.logged.String(); !strings.Contains(log, secret) || !strings.Contains(log, id) || strings.Count(log, "\n") != 1 {
			t.Errorf("%s: logged %s", path, log)
		}
	}
	t.Run("half an answer is cut off", func(t *testing.T) {
		srv := httptest.NewServer(r)
		defer srv.Close()
		resp, err := http.Get(srv.URL + "/half")
		if err == nil {
			resp.Body.Close()
			t.Errorf("half an answer came with status %d as if it were whole", resp.StatusCode)
		}
	})
}

func TestTheLogHoldsNoHealthDataAndNoRunner(t *testing.T) {
	r := newRig(t)
	want(t, r.call("PUT", apiRoot+"/runners/R-77123", r.fitter(), fields{"unit": "km"}), http.StatusOK)
	r.logged.Reset()
	want(t, r.call("GET", apiRoot+"/runners/R-77123?note=blister", r.fitter(), nil), http.StatusOK)
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(1), r.fitter(), soundReading.with(fields{"note": "blister", "pain_mentioned": "perhaps"})), http.StatusUnprocessableEntity)
	log := r.logged.String()
	for _, kept := range []string{"R-77123", "blister", "perhaps"} {
		if strings.Contains(log, kept) {
			t.Errorf("%q is in the log: %s", kept, log)
		}
	}
	for _, there := range []string{`"route":"/api/v1/runners/:code"`, `"status":200`, `"who":"token:fitter@store-S-A"`, `"request_id"`, `"failure":"bad-values"`} {
		if !strings.Contains(log, there) {
			t.Errorf("%s isn't in the log: %s", there, log)
		}
	}
}

func TestOnlyATrustedProxyNamesTheCaller(t *testing.T) {
	for _, tt := range []struct {
		name    string
		trusted []string
		want    string
	}{
		{"nobody is trusted", nil, `"addr":"192.0.2.1"`},
		{"the proxy is trusted", []string{"192.0.2.1"}, `"addr":"203.0.113.9"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, func(c *Config) { c.TrustedProxies = tt.trusted })
			r.call("GET", "/healthz", "", nil, "X-Forwarded-For", "203.0.113.9") // httptest calls from 192.0.2.1
			if !strings.Contains(r.logged.String(), tt.want) {
				t.Errorf("logged %s, want %s", r.logged, tt.want)
			}
		})
	}
}

func TestUnknownAddressesAndMethods(t *testing.T) {
	r := newRig(t)
	want(t, r.call("GET", "/nowhere", "", nil), http.StatusNotFound)
	w := r.call("GET", apiRoot+"/nowhere", "", nil)
	want(t, w, http.StatusNotFound)
	pointers(t, w)
	w = r.call("DELETE", apiRoot+"/stores", r.office(), nil)
	want(t, w, http.StatusMethodNotAllowed)
	pointers(t, w)
	if allow := w.Header().Get("Allow"); !strings.Contains(allow, "GET") {
		t.Errorf("Allow %q", allow)
	}
	want(t, r.call("HEAD", "/sign-in", "", nil), http.StatusOK)
}

func TestAFormWithoutEndIsRefused(t *testing.T) {
	r := newRig(t)
	want(t, r.post("/sign-in", url.Values{"staff": {strings.Repeat("a", maxForm)}}), http.StatusRequestEntityTooLarge)
}
