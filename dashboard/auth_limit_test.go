package dashboard

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strconv"
	"testing"
	"time"
)

// from asks for the stores with a token, from an address.
func (r *rig) from(addr, token string) *httptest.ResponseRecorder {
	r.t.Helper()
	req := httptest.NewRequest("GET", apiRoot+"/stores", nil)
	req.RemoteAddr = addr + ":1234"
	req.Header.Set("Authorization", "Bearer "+token)
	w := httptest.NewRecorder()
	r.ServeHTTP(w, req)
	return w
}

func TestTooManyBadTokensAreHeldOffByAddress(t *testing.T) {
	const bad, other = "192.0.2.7", "192.0.2.8"
	r := newRig(t)
	good := r.fitter()
	for i := range badTokenLimit {
		want(t, r.from(bad, fmt.Sprint("guess ", i)), http.StatusUnauthorized)
	}
	pools := func() int64 { return r.db.Pools()[0].Statements }
	t.Run("and told how long to wait, without asking the database", func(t *testing.T) {
		before := pools()
		w := r.from(bad, "another guess")
		want(t, w, http.StatusTooManyRequests)
		if s, err := strconv.Atoi(w.Header().Get("Retry-After")); err != nil || s < 900 || s > 901 {
			t.Errorf("Retry-After is %d (%v), want the 900 seconds of the window, rounded up", s, err)
		}
		if n := pools() - before; n != 0 {
			t.Errorf("%d statements were sent", n)
		}
	})
	t.Run("a good token doesn't help", func(t *testing.T) {
		want(t, r.from(bad, good), http.StatusTooManyRequests)
	})
	t.Run("another address is not concerned", func(t *testing.T) {
		want(t, r.from(other, good), http.StatusOK)
	})
	t.Run("nor is a token that was good a moment ago", func(t *testing.T) {
		want(t, r.from(bad, good), http.StatusOK) // the server remembers it
	})
	t.Run("nor is a request with no token", func(t *testing.T) {
		req := httptest.NewRequest("GET", "/sign-in", nil)
		req.RemoteAddr = bad + ":1234"
		w := httptest.NewRecorder()
		r.ServeHTTP(w, req)
		want(t, w, http.StatusOK)
	})
	t.Run("until the window is over", func(t *testing.T) {
		r.clock.advance(badTokenWindow)
		want(t, r.from(bad, "guess"), http.StatusUnauthorized)
		want(t, r.from(bad, good), http.StatusOK)
	})
}

func TestGoodTokensAreNotCounted(t *testing.T) {
	r := newRig(t)
	for range 2 * badTokenLimit {
		want(t, r.from("192.0.2.7", r.fitter()), http.StatusOK)
		r.clock.advance(cacheFor) // so that each is asked for anew
	}
}

func TestBadTokensAreCountedInBoundedMemory(t *testing.T) {
	clock := newTestClock()
	b := newBadTokens(clock.Now)
	for i := range 3 * badTokenAddrs {
		b.add(fmt.Sprint("address ", i))
		if len(b.of) > badTokenAddrs {
			t.Fatalf("%d addresses are counted", len(b.of))
		}
	}
	clock.advance(badTokenWindow / 2)
	for range badTokenLimit {
		b.add("kept")
	}
	clock.advance(badTokenWindow / 2)
	for i := range badTokenAddrs { // the others have ended, and make room
		b.add(fmt.Sprint("new ", i))
		if i < badTokenAddrs/2 && b.check("kept") == nil {
			t.Fatalf("an address past its limit was forgotten for the %d. new one", i+1)
		}
	}
	clock.advance(time.Duration(1) + badTokenWindow)
	if err := b.check("kept"); err != nil {
		t.Errorf("after the window: %v", err)
	}
}
