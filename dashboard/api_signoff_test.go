package dashboard

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models/retail"
)

// overruledReading is a worn pair that was given as keep on the word of F-2.
func overruledReading() fields {
	return wornReading().with(fields{"given": "keep", "given_reason": "walks in them", "second_reader": "F-2"})
}

// offLineReading is the same, kept without a line.
func offLineReading() fields {
	return overruledReading().with(fields{"flags": []string{"second-unproven"}})
}

// signing is what F-2 sends to stand by overruledReading.
var signing = fields{"purpose": "reading", "advised": "replace", "given": "keep", "staff": "F-2", "password": password, "store": storeA}

// team is a store's people, each with a password: F-2 the second person, T-1 a
// trainee, F-9 of the other store, B-1 of both.
func (r *rig) team() {
	r.t.Helper()
	for _, s := range []retail.Staff{
		{Code: "F-1", Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}},
		{Code: "F-2", Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}},
		{Code: "T-1", Role: retail.Trainee, Scopes: []retail.Scope{{Store: storeA}}},
		{Code: "M-1", Role: retail.Manager, Scopes: []retail.Scope{{Region: regionA}}},
		{Code: "F-9", Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeB}}},
		{Code: "B-1", Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}, {Store: storeB}}},
	} {
		must(r.t, r.db.SaveStaff(r.t.(*testing.T).Context(), setup, s))
		must(r.t, r.db.SetPassword(r.t.(*testing.T).Context(), setup, s.Code, password))
	}
}

// refusedAt wants a refusal of one value.
func (r *rig) refusedAt(w *httptest.ResponseRecorder, at string) {
	r.t.Helper()
	want(r.t, w, http.StatusUnprocessableEntity)
	if got := pointers(r.t, w); !slices.Equal(got, []string{at}) {
		r.t.Errorf("refused at %q, want %s: %s", got, at, w.Body)
	}
}

func TestASecondPersonProvesWhoTheyAre(t *testing.T) {
	r := newRig(t)
	r.team()
	at := func(n int) string { return apiRoot + "/inspections/" + id(n) }
	sign := func(n int, body fields) *httptest.ResponseRecorder {
		return r.call("POST", at(n)+"/sign-off", r.fitter(), body)
	}
	put := func(n int, body fields) *httptest.ResponseRecorder { return r.call("PUT", at(n), r.fitter(), body) }

	r.refusedAt(put(1, overruledReading()), "#/second_reader") // a typed code proves nothing
	r.refusedAt(sign(1, signing.with(fields{"password": "wrong horse battery"})), "#/staff")
	r.refusedAt(put(1, overruledReading()), "#/second_reader")
	for _, tt := range []struct {
		name, at string
		change   fields
	}{
		{"of no verdict", "#/given", fields{"given": nil}},
		{"in place of no verdict", "#/advised", fields{"advised": nil}},
		{"with an amount", "#/credit", fields{"credit": 100}},
	} {
		t.Run("a sign-off "+tt.name+" is refused", func(t *testing.T) {
			r.t = t
			body := signing.with(tt.change)
			for name, v := range tt.change {
				if v == nil {
					delete(body, name)
				}
			}
			r.refusedAt(sign(1, body), tt.at)
		})
	}
	for name, change := range map[string]fields{
		"by a trainee":                 {"staff": "T-1"},
		"by somebody of another store": {"staff": "F-9"},
		"in a store that isn't":        {"store": "S-Z"},
	} {
		t.Run("a sign-off "+name+" is forbidden", func(t *testing.T) {
			r.t = t
			want(t, sign(1, signing.with(change)), http.StatusForbidden)
		})
	}
	t.Run("what was signed for something else opens nothing", func(t *testing.T) {
		r.t = t
		want(t, sign(2, signing), http.StatusOK) // another reading
		want(t, sign(1, signing.with(fields{"given": "recheck"})), http.StatusOK)
		want(t, sign(1, signing.with(fields{"advised": "retire"})), http.StatusOK)
		want(t, sign(1, signing.with(fields{"staff": "M-1"})), http.StatusOK)
		r.refusedAt(put(1, overruledReading()), "#/second_reader")
	})
	t.Run("a code that no reading of the store can go by is refused, whatever was signed", func(t *testing.T) {
		r.t = t
		for _, code := range []string{"T-1", "F-9", "X-404"} {
			body := signing.with(fields{"staff": code})
			delete(body, "store")
			if code != "X-404" {
				want(t, sign(1, body), http.StatusOK)
			}
			r.refusedAt(put(1, overruledReading().with(fields{"second_reader": code})), "#/second_reader")
		}
		// Who read the pair and signed it for a colleague before, whose ticket it was.
		want(t, sign(1, signing.with(fields{"staff": "F-1"})), http.StatusOK)
		r.refusedAt(put(1, overruledReading().with(fields{"second_reader": "F-1"})), "#/second_reader")
	})
	t.Run("what was signed serves once", func(t *testing.T) {
		r.t = t
		want(t, sign(1, signing), http.StatusOK)
		first := put(1, overruledReading())
		want(t, first, http.StatusCreated)
		if flags := fmt.Sprint(decoded[fields](t, first)["flags"]); strings.Contains(flags, "second-unproven") {
			t.Errorf("flags %s of what was signed", flags)
		}
		again := put(1, overruledReading())
		want(t, again, http.StatusOK)
		if again.Body.String() != first.Body.String() {
			t.Errorf("sent again it is %s, was %s", again.Body, first.Body)
		}
		want(t, put(1, overruledReading().with(fields{"note": "another"})), http.StatusConflict)
		// The same id in another store of the same second person is another record.
		both := overruledReading().with(fields{"second_reader": "B-1"})
		want(t, sign(5, signing.with(fields{"staff": "B-1"})), http.StatusOK)
		want(t, put(5, both), http.StatusCreated)
		r.refusedAt(r.call("PUT", at(5), r.office(), both.with(fields{"store": storeB})), "#/second_reader")
	})
}

func TestATraineesKeepTakesTheCoReadersSecret(t *testing.T) {
	r := newRig(t)
	r.team()
	kept := soundReading.with(fields{"staff": "T-1", "given": "keep", "second_reader": "F-2", "second_says": "agrees"})
	path := apiRoot + "/inspections/" + id(1)
	r.refusedAt(r.call("PUT", path, r.fitter(), kept), "#/second_reader")
	want(t, r.call("POST", path+"/sign-off", r.fitter(), signing.with(fields{"advised": "keep"})), http.StatusOK)
	want(t, r.call("PUT", path, r.fitter(), kept), http.StatusCreated)
}

// What a second reader is said to say is the reader's word, unless they signed the
// verdict or read the pair blind themselves.
func TestASecondReadersWordIsTheirsOnlyWhenTheyProveIt(t *testing.T) {
	r := newRig(t)
	r.team()
	said := soundReading.with(fields{"given": "keep", "second_reader": "F-2", "second_says": "agrees"})
	signed := signing.with(fields{"advised": "keep", "given": "keep"})
	sign := func(n int, body fields) {
		want(t, r.call("POST", apiRoot+"/inspections/"+id(n)+"/sign-off", r.fitter(), body), http.StatusOK)
	}
	ref := func(n int) string { return r.put(n, soundReading)["pair_ref"].(string) }
	n := 1000
	readBlind := func(n int, ref, by, at string) {
		blind := soundReading.with(fields{"kind": "blind", "staff": by, "pair_ref": ref, "at": at})
		delete(blind, "given")
		r.put(n, blind)
	}
	for _, tt := range []struct {
		name   string
		first  func(n int) fields
		proven bool
	}{
		{"typed and nothing else", func(int) fields { return said }, false},
		{"signed with their own secret", func(n int) fields { sign(n, signed); return said }, true},
		{"signed for another verdict", func(n int) fields { sign(n, signed.with(fields{"advised": "replace"})); return said }, false},
		{"signed by another person", func(n int) fields { sign(n, signed.with(fields{"staff": "M-1"})); return said }, false},
		{"a trainee's signature", func(n int) fields {
			body := signed.with(fields{"staff": "T-1"})
			delete(body, "store")
			sign(n, body)
			return said.with(fields{"second_reader": "T-1"})
		}, false},
		{"read blind by them that day", func(n int) fields {
			p := ref(n + 100)
			readBlind(n+200, p, "F-2", "2026-10-05T11:10:00Z")
			return said.with(fields{"pair_ref": p, "staff": "M-1"})
		}, true},
		{"read blind by another that day", func(n int) fields {
			p := ref(n + 100)
			readBlind(n+200, p, "B-1", "2026-10-05T11:10:00Z")
			return said.with(fields{"pair_ref": p})
		}, false},
		{"read blind by them the day before", func(n int) fields {
			p := ref(n + 100)
			readBlind(n+200, p, "F-2", "2026-10-04T11:10:00Z")
			return said.with(fields{"pair_ref": p})
		}, false},
		{"claimed proven by the sender", func(int) fields { return said.with(fields{"flags": []string{}}) }, false},
	} {
		n++
		t.Run(tt.name, func(t *testing.T) {
			r.t = t
			body := tt.first(n)
			flags := fmt.Sprint(r.put(n, body)["flags"])
			if got := !strings.Contains(flags, "second-said"); got != tt.proven {
				t.Errorf("flags %s: proven %v, want %v", flags, got, tt.proven)
			}
		})
	}
	r.t = t
	page := r.sees("/pairs/" + r.put(1, said)["pair_ref"].(string))
	r.shows(page, "what F-2 says is F-1&#39;s word: not signed")
}

// Who is at the bench signs for nobody else, and a secret that is tried too
// often locks as at sign-in.
func TestNobodySignsUnderTheirOwnReading(t *testing.T) {
	r := newRig(t)
	r.team()
	session := cookie(t, r.post("/sign-in", credentials("F-2", password, "/bench")), sessionCookie)
	path := apiRoot + "/inspections/" + id(1) + "/sign-off"
	want(t, r.call("POST", path, "", signing, "Cookie", session.Name+"="+session.Value, "Sec-Fetch-Site", "same-origin"), http.StatusForbidden)
	for range 20 {
		w := r.call("POST", path, r.fitter(), signing.with(fields{"password": "wrong horse battery"}))
		if w.Code == http.StatusTooManyRequests {
			want(t, r.call("POST", path, r.fitter(), signing), http.StatusTooManyRequests)
			return
		}
	}
	t.Error("twenty wrong secrets lock nobody out")
}

func TestWhatWasKeptOffLineIsConfirmed(t *testing.T) {
	r := newRig(t)
	r.team()
	stored := r.put(1, offLineReading())
	if flags := fmt.Sprint(stored["flags"]); !strings.Contains(flags, "second-unproven") {
		t.Fatalf("flags %s", flags)
	}
	if flags := fmt.Sprint(r.put(2, soundReading.with(fields{"flags": []string{"second-unproven"}}))["flags"]); strings.Contains(flags, "second-unproven") {
		t.Errorf("flags %s of a verdict that takes nobody", flags)
	}
	r.shows(r.sees("/office/waiting"), spaced(stored["pair_ref"].(string)), "walks in them", "F-2")
	r.shows(r.sees("/office"), "1 verdict kept off line waits")
	south := r.token(retail.Manager, retail.Scope{Region: regionB})
	want(t, r.call("POST", "/office/waiting/"+id(1), south, url.Values{}), http.StatusForbidden)
	if page := r.call("GET", "/office/waiting", south, nil).Body.String(); strings.Contains(page, "walks in them") {
		t.Error("the other region's manager sees it")
	}
	r.refused(r.send("/office/waiting/"+id(2), url.Values{}), "it waits for nobody")
	want(t, r.send("/office/waiting/"+id(1), url.Values{}), http.StatusSeeOther)
	r.audited("sign-off.reading", "inspection:"+id(1))
	r.shows(r.sees("/office/waiting"), "Nothing waits to be confirmed")
	r.refused(r.send("/office/waiting/"+id(1), url.Values{}), "it waits for nobody")

	// The one who read it can't confirm it, also as a manager.
	own := r.put(3, offLineReading().with(fields{"staff": "M-1"}))
	session := cookie(t, r.post("/sign-in", credentials("M-1", password, "/bench")), sessionCookie)
	r.refused(r.post("/office/waiting/"+own["inspection_id"].(string), url.Values{}, session), "somebody else confirms it")
	if in, err := r.db.Inspection(t.Context(), mustUUID(t, id(3))); err != nil || in.Flags&assess.FlagSecondUnproven == 0 {
		t.Errorf("got %v, %v", in, err)
	}
}

// mustUUID reads the id of a test.
func mustUUID(t *testing.T, text string) assess.UUID {
	t.Helper()
	u, err := assess.ParseUUID(text)
	must(t, err)
	return u
}
