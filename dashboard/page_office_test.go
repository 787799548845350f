package dashboard

import (
	"context"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// officeProbes holds one request for each route of the office.
var officeProbes = map[string]probe{
	"GET /office":              {make: fixed("/office"), ok: http.StatusOK},
	"GET /office/rules":        {make: fixed("/office/rules"), ok: http.StatusOK},
	"POST /office/rules/draft": {make: fixed2("/office/rules/draft", url.Values{"lining-worn.then": {"replace"}}), ok: http.StatusSeeOther},
	"POST /office/rules": {make: func(r *rig, n int) (string, any) {
		day := r.clock.Now().AddDate(1, 0, n).Format(time.DateOnly) // never begins within the test
		return "/office/rules", url.Values{"base": {"1"}, "lining-worn.then": {"replace"}, "from": {day}, "note": {"trial"}}
	}, ok: http.StatusSeeOther},
	"GET /office/posture": {make: fixed("/office/posture"), ok: http.StatusOK},
	"POST /office/posture": {make: func(r *rig, n int) (string, any) {
		day := r.clock.Now().AddDate(1, 0, n).Format(time.DateOnly) // never begins within the test
		return "/office/posture", url.Values{"base": {"1"}, "low-3": {"7"}, "from": {day}, "source": {"a trial"}, "note": {"trial"}}
	}, ok: http.StatusSeeOther},
	"GET /office/credit":        {make: fixed("/office/credit"), ok: http.StatusOK},
	"POST /office/credit/draft": {make: fixed2("/office/credit/draft", url.Values{"currency": {"EUR"}, "A..0": {"25.00"}}), ok: http.StatusSeeOther},
	"POST /office/credit":       {make: func(r *rig, n int) (string, any) { return "/office/credit", creditForm(r, n) }, ok: http.StatusSeeOther},
	"GET /office/catalogue":     {make: fixed("/office/catalogue"), ok: http.StatusOK},
	"GET /office/catalogue/:id": {make: fixed("/office/catalogue/new"), ok: http.StatusOK},
	"POST /office/catalogue/:id": {make: func(_ *rig, n int) (string, any) {
		return "/office/catalogue/new", wordsOf(fmt.Sprint("Cobble ", n))
	}, ok: http.StatusSeeOther},
	"POST /office/catalogue/:id/link": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading.with(fields{"model": fmt.Sprint("Typed ", n)}))
		typed, err := r.db.ShoeModelNamed(context.Background(), "Velm", fmt.Sprint("Typed ", n), "3")
		must(r.t, err)
		to, err := r.db.SaveShoeModel(context.Background(), setup, retail.ShoeModel{Brand: "Velm", Model: fmt.Sprint("Made ", n), Features: retail.Features{DropMM: retail.UnknownDrop}})
		must(r.t, err)
		return "/office/catalogue/" + typed.ID.String() + "/link", url.Values{"to": {to.ID.String()}}
	}, ok: http.StatusSeeOther},
	"GET /office/stores": {make: fixed("/office/stores"), ok: http.StatusOK, list: true, hides: storeA},
	"POST /office/stores": {make: func(*rig, int) (string, any) {
		return "/office/stores?store=" + storeA, storeForm(storeA, regionA)
	}, ok: http.StatusSeeOther},
	"POST /office/regions": {make: func(*rig, int) (string, any) {
		return "/office/regions?region=" + regionA, url.Values{"region": {regionA}, "name": {"North"}, "currency": {"EUR"}}
	}, ok: http.StatusSeeOther},
	"GET /office/staff": {make: func(r *rig, n int) (string, any) {
		r.person(n)
		return "/office/staff", nil
	}, ok: http.StatusOK, list: true, hides: "store:" + storeA + "</td>"},
	"POST /office/staff": {make: func(_ *rig, n int) (string, any) {
		return "/office/staff", url.Values{"staff": {fmt.Sprintf("z-%d", n)}, "role": {"fitter"}, "scopes": {"store:" + storeA}}
	}, ok: http.StatusSeeOther},
	"POST /office/staff/secret": {make: func(r *rig, n int) (string, any) {
		return "/office/staff/secret", url.Values{"staff": {r.person(n)}, "what": {"pin"}}
	}, ok: http.StatusOK},
	"GET /office/tablets": {make: func(r *rig, n int) (string, any) {
		_, err := r.db.AddDevice(context.Background(), setup, fmt.Sprintf("T-%d", n), storeA)
		must(r.t, err)
		return "/office/tablets", nil
	}, ok: http.StatusOK, list: true, hides: "<td>" + storeA + "</td>"},
	"POST /office/tablets": {make: func(_ *rig, n int) (string, any) {
		return "/office/tablets", url.Values{"device": {fmt.Sprintf("T-%d", n)}, "store": {storeA}}
	}, ok: http.StatusOK},
	"POST /office/tablets/revoke": {make: func(r *rig, n int) (string, any) {
		code := fmt.Sprintf("T-%d", n)
		_, err := r.db.AddDevice(context.Background(), setup, code, storeA)
		must(r.t, err)
		return "/office/tablets/revoke", url.Values{"device": {code}}
	}, ok: http.StatusSeeOther},
	"GET /office/imports": {make: fixed("/office/imports"), ok: http.StatusOK},
	"POST /office/imports": {make: func(*rig, int) (string, any) {
		return "/office/imports", upload{"events", "e.csv", "store,from,to,word\n"}
	}, ok: http.StatusSeeOther},
	"GET /office/imports/:id": {make: func(r *rig, _ int) (string, any) { return r.bringAnother(goodEvents), nil }, ok: http.StatusOK},
	"POST /office/imports/:id": {make: func(r *rig, _ int) (string, any) {
		return r.bringAnother(goodEvents), url.Values{"act": {"drop"}}
	}, ok: http.StatusSeeOther},
	"GET /office/imports/:id/rejected.csv": {make: func(r *rig, _ int) (string, any) {
		return r.bringAnother(badEvents) + "/rejected.csv", nil
	}, ok: http.StatusOK},
	"GET /office/exports": {make: fixed("/office/exports"), ok: http.StatusOK, list: true, hides: storeA},
	"GET /office/faults": {make: func(r *rig, n int) (string, any) {
		r.put(n, faultyReading())
		return "/office/faults", nil
	}, ok: http.StatusOK, list: true, hides: "<td>" + storeA + "</td>"},
	"POST /office/faults/:id": {make: func(r *rig, n int) (string, any) {
		r.put(n, faultyReading())
		return "/office/faults/" + id(n), url.Values{"do": {"take"}}
	}, ok: http.StatusSeeOther},
	"GET /office/waiting": {make: func(r *rig, n int) (string, any) {
		r.put(n, offLineReading())
		return "/office/waiting", nil
	}, ok: http.StatusOK, list: true, hides: "<td>" + storeA + "</td>"},
	"POST /office/waiting/:id": {make: func(r *rig, n int) (string, any) {
		r.put(n, offLineReading())
		return "/office/waiting/" + id(n), url.Values{}
	}, ok: http.StatusSeeOther},
	"GET /office/corrected": {make: func(r *rig, n int) (string, any) {
		r.tradeCorrected(n)
		return "/office/corrected", nil
	}, ok: http.StatusOK, list: true, hides: storeA + ", "},
	"POST /office/corrected/:id": {make: func(r *rig, n int) (string, any) {
		r.tradeCorrected(n)
		return "/office/corrected/" + id(n), url.Values{"reason": {"read again"}, "route": {"recycling, never resale"}}
	}, ok: http.StatusSeeOther},
	"GET /office/sales": {make: func(r *rig, n int) (string, any) {
		r.sale(n)
		return "/office/sales", nil
	}, ok: http.StatusOK, list: true, hides: "<td>" + storeA + "</td>"},
	"GET /office/events": {make: func(r *rig, _ int) (string, any) {
		must(r.t, r.db.SaveEvent(context.Background(), setup, retail.Event{Store: storeA, From: "2026-10-01", To: "2026-10-03", Word: "offer"}))
		return "/office/events", nil
	}, ok: http.StatusOK, list: true, hides: "<td>" + storeA + "</td>"},
	"POST /office/events": {make: func(*rig, int) (string, any) {
		return "/office/events", url.Values{"store": {storeA}, "from": {"2026-10-01"}, "to": {"2026-10-03"}, "word": {"offer"}}
	}, ok: http.StatusSeeOther},
	"GET /office/trail":    {make: fixed("/office/trail"), ok: http.StatusOK},
	"GET /office/requests": {make: fixed("/office/requests"), ok: http.StatusOK},
	"GET /office/pairs":    {make: pairOfReading("/office/pairs?ref=REF"), ok: http.StatusOK},
	"POST /office/pairs/merge": {make: func(r *rig, n int) (string, any) {
		return "/office/pairs/merge", url.Values{"from": {r.pair(n)}, "into": {r.pair(n + 500_000)}, "reason": {"two slips"}}
	}, ok: http.StatusSeeOther},
	"POST /office/pairs/split": {make: func(r *rig, n int) (string, any) {
		ref := r.pair(n)
		r.put(n+500_000, soundReading.with(fields{"pair_ref": ref, "km": 400}))
		return "/office/pairs/split", url.Values{"ref": {ref}, "inspections": {id(n + 500_000)}, "reason": {"another pair"}}
	}, ok: http.StatusSeeOther},
	"POST /office/requests": {make: func(r *rig, n int) (string, any) {
		return "/office/requests", url.Values{"runner": {r.runner(n)}}
	}, ok: http.StatusOK},
	"POST /office/requests/record": {make: func(r *rig, n int) (string, any) {
		return "/office/requests/record", url.Values{"runner": {r.runner(n)}}
	}, ok: http.StatusOK},
	"POST /office/requests/erase": {make: func(r *rig, n int) (string, any) {
		code := r.runner(n)
		return "/office/requests/erase", url.Values{"runner": {code}, "again": {code}}
	}, ok: http.StatusSeeOther},
}

// person adds a fitter of store A.
func (r *rig) person(n int) string {
	r.t.Helper()
	code := fmt.Sprintf("z-%d", n)
	must(r.t, r.db.SaveStaff(context.Background(), setup, retail.Staff{Code: code, Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}}))
	return code
}

// pair stores a reading in store A and returns its pair.
func (r *rig) pair(n int) string {
	r.t.Helper()
	return r.put(n, soundReading)["pair_ref"].(string)
}

// runner adds a runner.
func (r *rig) runner(n int) string {
	r.t.Helper()
	code := fmt.Sprintf("R-%d", n)
	must(r.t, r.db.SaveRunner(context.Background(), setup, retail.Runner{Code: code, Unit: "km"}))
	return code
}

func storeForm(code, region string) url.Values {
	return url.Values{
		"store": {code}, "name": {"Mill Lane"}, "region": {region}, "zone": {"Europe/Madrid"}, "currency": {"EUR"}, "unit": {"km"},
	}
}

// send posts a form as the office does and follows no redirect.
func (r *rig) send(path string, form url.Values) *httptest.ResponseRecorder {
	r.t.Helper()
	return r.call("POST", path, r.office(), form)
}

// sees gets a page as the office does, holds it to what every page must be, and
// returns it.
func (r *rig) sees(path string) string {
	r.t.Helper()
	w := r.call("GET", path, r.office(), nil)
	want(r.t, w, http.StatusOK)
	r.check(w)
	return w.Body.String()
}

func (r *rig) check(w *httptest.ResponseRecorder) {
	r.t.Helper()
	if t, ok := r.t.(*testing.T); ok {
		checkPage(t, w.Body.Bytes())
	}
}

// refused wants the form again, with what is wrong, and what was typed.
func (r *rig) refused(w *httptest.ResponseRecorder, says ...string) {
	r.t.Helper()
	want(r.t, w, http.StatusUnprocessableEntity)
	r.check(w)
	r.shows(w.Body.String(), says...)
}

func (r *rig) shows(page string, says ...string) {
	r.t.Helper()
	for _, text := range says {
		if !strings.Contains(page, text) {
			r.t.Errorf("the page doesn't show %q:\n%s", text, page)
		}
	}
}

// audited wants a line in the audit trail.
func (r *rig) audited(action, subject string) {
	r.t.Helper()
	lines, _, err := r.db.Audit(r.t.Context(), models.AuditFilter{Action: action, Subject: subject}, models.Page{})
	must(r.t, err)
	if len(lines) == 0 {
		r.t.Errorf("no line of the audit trail says %s of %s", action, subject)
	}
}

func TestTheOfficeSetsUpStores(t *testing.T) {
	r := newRig(t)
	t.Run("a region and a store are added", func(t *testing.T) {
		r.t = t
		w := r.send("/office/regions", url.Values{"region": {"EAST"}, "name": {"East"}, "currency": {"GBP"}})
		want(t, w, http.StatusSeeOther)
		form := storeForm("S-C", "EAST")
		form.Set("zone", "Europe/London")
		form.Set("currency", "GBP")
		form.Set("unit", "mi")
		w = r.send("/office/stores", form)
		want(t, w, http.StatusSeeOther)
		r.shows(r.sees(w.Header().Get("Location")), "Store S-C is saved.", "Change store S-C", "Europe/London")
		st, err := r.db.Store(t.Context(), "S-C")
		must(t, err)
		if want := (retail.Store{Code: "S-C", Name: "Mill Lane", Region: "EAST", Zone: "Europe/London", Currency: "GBP", Unit: "mi"}); st != want {
			t.Errorf("stored %+v, want %+v", st, want)
		}
		r.audited("store.create", "store:S-C")
		r.audited("region.create", "region:EAST")
	})
	t.Run("a store is closed and changed", func(t *testing.T) {
		r.t = t
		form := storeForm(storeB, regionB)
		form.Set("retired", "2026-10-01")
		want(t, r.send("/office/stores?store="+storeB, form), http.StatusSeeOther)
		st, err := r.db.Store(t.Context(), storeB)
		must(t, err)
		if st.Retired != "2026-10-01" || st.Name != "Mill Lane" {
			t.Errorf("stored %+v", st)
		}
		r.audited("store.change", "store:"+storeB)
	})
	t.Run("what is wrong is named, and nothing typed is lost", func(t *testing.T) {
		r.t = t
		form := storeForm("S-D", regionA)
		form.Set("zone", "Mars/Olympus")
		form.Set("currency", "euro")
		r.refused(r.send("/office/stores", form), "Mars/Olympus", "IANA time zone", "&#34;euro&#34;", "ISO 4217", `value="S-D"`, "Mill Lane")
		r.refused(r.send("/office/regions", url.Values{"region": {"WEST"}, "currency": {"EUR"}}), "missing", `value="WEST"`)
	})
	t.Run("a new store doesn't take the place of another", func(t *testing.T) {
		r.t = t
		r.refused(r.send("/office/stores", storeForm(storeA, regionB)), "taken already")
		r.refused(r.send("/office/regions", url.Values{"region": {regionA}, "name": {"X"}, "currency": {"EUR"}}), "taken already")
	})
	t.Run("a region's office can't move a store out of its region, nor take one in", func(t *testing.T) {
		r.t = t
		north := r.token(retail.Office, retail.Scope{Region: regionA})
		want(t, r.call("POST", "/office/stores?store="+storeA, north, storeForm(storeA, regionB)), http.StatusForbidden)
		want(t, r.call("POST", "/office/stores?store="+storeB, north, storeForm(storeB, regionA)), http.StatusForbidden)
		want(t, r.call("POST", "/office/stores?store="+storeA, north, storeForm(storeA, regionA)), http.StatusSeeOther)
	})
}

func TestTheOfficeSaysWhatWaits(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, newTestClock())
		r.shows(r.sees("/office"), "No possible fault waits.", "No typed-in model waits.", "No import failed this week.", "No pair&#39;s readings contradict each other.")
		r.put(1, faultyReading())
		ref := r.put(2, wornReading())["pair_ref"].(string)
		r.put(3, soundReading.with(fields{"pair_ref": ref, "km": 100, "at": "2026-10-05T11:30:00Z"}))
		r.does(r.bringIn(badEvents, r.office()), "all")
		r.shows(r.sees("/office"), "1 possible fault of a shoe", "1 model typed in", "1 import failed", "/office/pairs?ref="+ref)
		w := r.call("GET", "/office", r.token(retail.Manager, retail.Scope{Region: regionB}), nil)
		want(t, w, http.StatusOK)
		r.shows(w.Body.String(), "No possible fault waits.")
		for _, hidden := range []string{"typed", "import failed", ref} {
			if strings.Contains(w.Body.String(), hidden) {
				t.Errorf("a manager of another region is shown %q", hidden)
			}
		}
		want(t, r.send("/office/faults/"+id(1), url.Values{"do": {"close"}, "outcome": {"shoe"}, "words": {"seen to"}}), http.StatusSeeOther)
		r.shows(r.sees("/office"), "No possible fault waits.")
	})
}

// sources are the package's own files.
var sources = os.DirFS(".")

// What the office's pages ask for by a key that is put together has a text too.
func TestEveryLineOfTheOfficeHasItsLabel(t *testing.T) {
	w := testFront(t).pages.langs[0]
	names := regexp.MustCompile(`\{name: "([a-z_]+)"`)
	files, err := fs.Glob(sources, "page_office*.go")
	must(t, err)
	found := 0
	for _, file := range files {
		text, err := fs.ReadFile(sources, file)
		must(t, err)
		for _, m := range names.FindAllStringSubmatch(string(text), -1) {
			found++
			if key := "office.field." + m[1]; !w.has(key) {
				t.Errorf("%s: no text for %s", file, key)
			}
		}
		for _, m := range regexp.MustCompile(`officeDone\(c, [^\n]*?, "([a-z-]+)", [^\n"]*\)`).FindAllStringSubmatch(string(text), -1) {
			if key := "office.done." + m[1]; !w.has(key) {
				t.Errorf("%s: no text for %s", file, key)
			}
		}
	}
	if found < 10 {
		t.Errorf("only %d lines were found: has the way of writing them changed?", found)
	}
	for _, way := range officeWays {
		if !w.has(way.Key) {
			t.Errorf("no text for %s", way.Key)
		}
	}
	if !slices.ContainsFunc(navigation, func(n navItem) bool { return n.Path == "/office" }) {
		t.Error("the tape doesn't lead to the office")
	}
}

// secretShown may end in a check character, which is one of Crockford's 37.
var secretShown = regexp.MustCompile(`<b>([A-Z0-9]{6,}[*~$=]?)</b>`)

// onceShown returns the secret that a page shows, which no cache may keep.
func onceShown(t *testing.T, w *httptest.ResponseRecorder) string {
	t.Helper()
	want(t, w, http.StatusOK)
	checkPage(t, w.Body.Bytes())
	m := secretShown.FindStringSubmatch(w.Body.String())
	if m == nil {
		t.Fatalf("no secret is shown: %s", w.Body)
	}
	if got := w.Header().Get("Cache-Control"); got != "no-store" {
		t.Errorf("Cache-Control %q on a page with a secret", got)
	}
	return m[1]
}

func TestTheOfficeSetsUpStaff(t *testing.T) {
	r := newRig(t)
	person := func(code, role, scopes string) url.Values {
		return url.Values{"staff": {code}, "role": {role}, "scopes": {scopes}}
	}
	want(t, r.send("/office/staff", person("F-7", "trainee", "store:"+storeA)), http.StatusSeeOther)
	want(t, r.send("/office/staff", person("M-1", "manager", "region:"+regionA)), http.StatusSeeOther)
	r.audited("staff.create", "staff:F-7")
	r.shows(r.sees("/office/staff?staff=F-7"), "Change F-7", "nothing yet")

	t.Run("a password and a PIN are shown once, and sign in", func(t *testing.T) {
		r.t = t
		pass := onceShown(t, r.send("/office/staff/secret", url.Values{"staff": {"F-7"}, "what": {"password"}}))
		want(t, r.post("/sign-in", credentials("F-7", pass, "/bench")), http.StatusSeeOther)
		pin := onceShown(t, r.send("/office/staff/secret", url.Values{"staff": {"F-7"}, "what": {"pin"}}))
		if len(pin) != models.PINDigits {
			t.Errorf("PIN of %d digits", len(pin))
		}
		_, err := r.db.SignInPIN(t.Context(), "T-1", "F-7", pin)
		must(t, err)
		if page := r.sees("/office/staff?staff=F-7"); strings.Contains(page, pass) || strings.Contains(page, pin) {
			t.Error("the secret is shown again")
		}
		r.audited("staff.password", "staff:F-7")
		r.audited("staff.pin", "staff:F-7")
	})
	t.Run("what is wrong is named, and nothing typed is lost", func(t *testing.T) {
		r.t = t
		r.refused(r.send("/office/staff", person("F-8", "fitter", "shop:X")), "shop:X", "region:CODE", `value="F-8"`)
		r.refused(r.send("/office/staff", person("F-8", "fitter", "store:NONE")), "store:NONE", "a store that is set up")
		r.refused(r.send("/office/staff", person("F-7", "fitter", "fleet")), "taken already")
	})
	t.Run("a manager sets up fitters and trainees of the own scope, and nobody else", func(t *testing.T) {
		r.t = t
		north := r.token(retail.Manager, retail.Scope{Region: regionA})
		for _, tt := range []struct {
			path string
			form url.Values
			want int
		}{
			{"/office/staff?staff=F-7", person("F-7", "fitter", "store:"+storeA), http.StatusSeeOther},
			{"/office/staff", person("F-9", "fitter", "store:"+storeA), http.StatusSeeOther},
			{"/office/staff", person("F-10", "fitter", "store:"+storeB), http.StatusForbidden},
			{"/office/staff", person("F-10", "fitter", "fleet"), http.StatusForbidden},
			{"/office/staff", person("F-10", "manager", "store:"+storeA), http.StatusForbidden},
			{"/office/staff?staff=M-1", person("M-1", "fitter", "store:"+storeA), http.StatusForbidden},
			{"/office/staff/secret", url.Values{"staff": {"M-1"}, "what": {"password"}}, http.StatusForbidden},
		} {
			if w := r.call("POST", tt.path, north, tt.form); w.Code != tt.want {
				t.Errorf("%v: status %d, want %d", tt.form, w.Code, tt.want)
			}
		}
	})
	t.Run("a person holds several roles, each with its scope", func(t *testing.T) {
		r.t = t
		several := person("X-1", "fitter", "store:"+storeA)
		several.Set("also_role_0", "trainer")
		several.Set("also_scopes_0", "fleet")
		several.Set("also_role_1", "manager")
		several.Set("also_scopes_1", "store:"+storeA+" region:"+regionB)
		want(t, r.send("/office/staff", several), http.StatusSeeOther)
		a, err := r.db.Account(t.Context(), "X-1")
		must(t, err)
		if got, want := retail.Words(a.Grants()), "fitter@store:S-A trainer@fleet manager@store:S-A manager@region:SOUTH"; got != want {
			t.Errorf("holds %s, want %s", got, want)
		}
		page := r.sees("/office/staff?staff=X-1")
		r.shows(page, `name="also_scopes_1" value="store:S-A region:SOUTH"`, `name="also_role_2"`)

		both := person("X-2", "fitter", "store:"+storeA)
		both.Set("also_role_0", "trainee")
		both.Set("also_scopes_0", "store:"+storeA)
		r.refused(r.send("/office/staff", both), `id="staff-also_scopes_0-why"`, "trainee or fitter, not both")
		nowhere := person("X-2", "fitter", "store:"+storeA)
		nowhere.Set("also_role_0", "trainer")
		nowhere.Set("also_role_1", "manager")
		nowhere.Set("also_scopes_1", "store:NONE shop:B")
		nowhere.Set("also_scopes_2", "fleet")
		r.refused(r.send("/office/staff", nowhere), `id="staff-also_scopes_0-why"`, "shop:B", `id="staff-also_role_2-why"`)

		t.Run("and is set up only by who sets up each of them where it is held", func(t *testing.T) {
			north := r.token(retail.Manager, retail.Scope{Region: regionA})
			form := person("X-3", "fitter", "store:"+storeA)
			want(t, r.call("POST", "/office/staff", north, form), http.StatusSeeOther)
			form.Set("also_role_0", "trainer")
			form.Set("also_scopes_0", "store:"+storeA)
			want(t, r.call("POST", "/office/staff?staff=X-3", north, form), http.StatusForbidden)
			want(t, r.call("POST", "/office/staff/secret", north, url.Values{"staff": {"X-1"}, "what": {"password"}}), http.StatusForbidden)
		})
	})
	t.Run("nobody changes the account they are signed in with", func(t *testing.T) {
		r.t = t
		want(t, r.send("/office/staff", person("HQ-9", "office", "fleet")), http.StatusSeeOther)
		must(t, r.db.SetPassword(t.Context(), setup, "HQ-9", password))
		session := cookie(t, r.post("/sign-in", credentials("HQ-9", password, "")), sessionCookie)
		want(t, r.post("/office/staff?staff=HQ-9", person("HQ-9", "fitter", "fleet"), session), http.StatusForbidden)
	})
	t.Run("who left is listed when asked for", func(t *testing.T) {
		r.t = t
		form := person("F-9", "fitter", "store:"+storeA)
		form.Set("retired", "2026-10-05")
		want(t, r.send("/office/staff?staff=F-9", form), http.StatusSeeOther)
		if strings.Contains(r.sees("/office/staff"), "F-9") {
			t.Error("who left is listed unasked")
		}
		r.shows(r.sees("/office/staff?all=1&q=f-9"), "F-9", "2026-10-05")
	})
}

func TestTheOfficeSetsUpTablets(t *testing.T) {
	r := newRig(t)
	tablet := url.Values{"device": {"T-1"}, "store": {storeA}}
	code := onceShown(t, r.send("/office/tablets", tablet))
	r.shows(r.sees("/office/tablets"), "T-1", "waits for its code")
	want(t, r.post("/enrol", url.Values{"enrolment": {code}}), http.StatusSeeOther)
	r.shows(r.sees("/office/tablets?revoke=T-1"), "at work", "Revoke T-1")
	onceShown(t, r.send("/office/tablets", tablet))

	r.refused(r.send("/office/tablets", url.Values{"device": {"T-1"}, "store": {storeB}}), "belongs to store S-A", `value="T-1"`)
	r.refused(r.send("/office/tablets", url.Values{"store": {storeA}}), "a code for the tablet")
	r.refused(r.send("/office/tablets", url.Values{"device": {"T-2"}, "store": {"NONE"}}), "NONE")

	south := r.token(retail.Manager, retail.Scope{Store: storeB})
	want(t, r.call("POST", "/office/tablets/revoke", south, url.Values{"device": {"T-1"}}), http.StatusForbidden)
	want(t, r.send("/office/tablets/revoke", url.Values{"device": {"T-1"}}), http.StatusSeeOther)
	r.audited("device.revoke", "device:T-1")
	r.shows(r.sees("/office/tablets"), "revoked")
	r.refused(r.send("/office/tablets", tablet), "choose another code")
	want(t, r.send("/office/tablets/revoke", url.Values{"device": {"T-9"}}), http.StatusNotFound)
}

func wordsOf(words ...string) url.Values {
	return url.Values{"brand": {"Ondrell"}, "model": words, "category": {"daily"}, "rigid_counter": {"yes"}, "plate": {"no"}}
}

func TestTheOfficeKeepsTheCatalogue(t *testing.T) {
	r := newRig(t)
	add := func(form url.Values) string {
		t.Helper()
		w := r.send("/office/catalogue/new", form)
		want(t, w, http.StatusSeeOther)
		path, _, _ := strings.Cut(w.Header().Get("Location"), "?")
		return path
	}
	r.put(1, soundReading) // types Velm Arc 3 in
	typedIn := "/office/catalogue/" + r.anyShoe()
	fenline := wordsOf("Fenline")
	// The GTIN is the example of the GS1 General Specifications, section 7.9.1, from memory.
	fenline["gtins"], fenline["tilt"], fenline["built"] = []string{"6291041500213"}, []string{"0.5"}, []string{"mid_medial", "mid_lateral"}
	path := add(fenline)
	r.shows(r.sees(path), "Ondrell Fenline, as new", `value="mid_lateral" checked`, `value="0.5"`, "06291041500213")
	r.shows(r.sees("/office/catalogue?q=6291041500213"), "Ondrell Fenline", `l="000aa00000"`)
	r.shows(r.sees("/office/catalogue?q=nothing"), "No model like that", "Velm Arc 3")

	t.Run("changed values are tried first, and get the next number", func(t *testing.T) {
		r.t = t
		arc := wordsOf("Arc")
		arc["brand"], arc["version"], arc["built"] = []string{"Velm"}, []string{"3"}, []string{"heel_lateral"}
		r.put(2, wornReading())
		arc["act"] = []string{"try"}
		w := r.send(typedIn, arc)
		want(t, w, http.StatusOK)
		r.check(w)
		touched := strings.Join(strings.Fields(w.Body.String()), "")
		// Two readings, each with both outer heels graded; the worn one is worn
		// through there alone: with the zone as built it is kept.
		for label, n := range map[string]string{"Readingsofthismodel": "2", "nowasbuilt": "4", "judgedagain": "1"} {
			if !strings.Contains(touched, label+`</th><tdclass="num">`+n+`</td>`) {
				t.Errorf("%s isn't %s: %s", label, n, touched)
			}
		}
		r.shows(r.sees(typedIn), "typed in") // trying stored nothing
		arc["act"] = []string{"save"}
		want(t, r.send(typedIn, arc), http.StatusSeeOther)
		r.shows(r.sees(typedIn), "Velm Arc 3, as new", "As-new values 1 hold now")
		arc["built"] = nil
		want(t, r.send(typedIn, arc), http.StatusSeeOther)
		r.shows(r.sees(typedIn), "As-new values 2 hold now")
	})
	t.Run("a typed-in model is linked", func(t *testing.T) {
		r.t = t
		r.put(3, soundReading.with(fields{"brand": "Ondrell", "model": "Fenline two"}))
		m, err := r.db.ShoeModelNamed(t.Context(), "Ondrell", "Fenline two", "3")
		must(t, err)
		other := "/office/catalogue/" + m.ID.String()
		r.shows(r.sees(other), "Or say which model it is", "Ondrell Fenline</option>")
		r.refused(r.send(other+"/link", url.Values{"to": {"nothing"}}), "a model of the catalogue")
		want(t, r.send(other+"/link", url.Values{"to": {strings.TrimPrefix(path, "/office/catalogue/")}}), http.StatusSeeOther)
		r.audited("shoe-model.link", "shoe-model:"+m.ID.String())
		r.refused(r.send(other+"/link", url.Values{"to": {strings.TrimPrefix(path, "/office/catalogue/")}}), "not linked yet")
	})
	t.Run("what is wrong is named, and nothing typed is lost", func(t *testing.T) {
		r.t = t
		bad := wordsOf("Fenline 9")
		bad["tilt"], bad["gtins"] = []string{"steep"}, []string{"6291041500214"}
		r.refused(r.send("/office/catalogue/new", bad), "steep", "6291041500214", `value="Fenline 9"`)
		r.refused(r.send("/office/catalogue/new", wordsOf("Fenline")), "taken already")
		same := wordsOf("Fenline 9")
		same["gtins"] = fenline["gtins"]
		r.refused(r.send("/office/catalogue/new", same), "belongs to shoe model")
	})
	want(t, r.call("GET", "/office/catalogue/nothing", r.office(), nil), http.StatusNotFound)
}

func TestTheOfficeDraftsRules(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	worn := soundReading.with(fields{"left": soundShoe.with(fields{"lining": "worn"}), "km": 400})
	ref := r.put(2, worn)["pair_ref"].(string)
	r.shows(r.sees("/office/rules"), "Rules: set 1 and draft", "lining-worn", "The draft changes 0 lines", `name="tilt-in-far.at_least"`)

	draft := url.Values{"lining-worn.then": {"replace"}, "tilt-in-far.at_least": {""}, "fault.under_km": {"250"}, "since": {"2026-10"}, "until": {"2026-10"}}
	w := r.send("/office/rules/draft", draft)
	want(t, w, http.StatusSeeOther)
	address := w.Header().Get("Location")
	if want := "/office/rules?lining-worn.then=replace&since=2026-10&until=2026-10"; address != want {
		t.Errorf("the draft's address is %s, want the changes alone: %s", address, want)
	}
	t.Run("the draft is tried on the months", func(t *testing.T) {
		r.t = t
		r.shows(r.sees(address), "1 of 2 readings", "1 stricter, 0 milder", "50.0 %", `/pairs/`+ref, "The draft changes 1 line.", "Publish the draft")
		r.shows(r.sees(strings.ReplaceAll(address, "2026-10", "2026-09")), "0 of 0 readings")
	})
	t.Run("what is wrong in a draft is named where it stands", func(t *testing.T) {
		r.t = t
		page := r.sees("/office/rules?tilt-in-far.at_least=steep&fault.under_km=1.5&lining-worn.then=shout&since=soon")
		r.shows(page, "&#34;steep&#34; out of range, want a number", "&#34;1.5&#34;", "&#34;shout&#34;", "&#34;soon&#34;", `value="steep"`)
		r.shows(r.sees("/office/rules?heel-through.at_least=9"), "&#34;9&#34; out of range, want a whole number from 1 to 4")
	})
	t.Run("it is published for a day to come, with its reason", func(t *testing.T) {
		r.t = t
		sent := url.Values{"base": {"1"}, "lining-worn.then": {"replace"}, "tilt-in-far.at_least": {"5"}, "from": {"2026-10-05"}}
		r.refused(r.send("/office/rules", sent), "a day after today", "why the rules change", `value="2026-10-05"`)
		r.refused(r.send("/office/rules", url.Values{"base": {"1"}, "from": {"2026-11-01"}, "note": {"x"}}), "a draft that changes something")
		r.refused(r.send("/office/rules", url.Values{"base": {"0"}, "lining-worn.then": {"replace"}, "from": {"2026-11-01"}, "note": {"x"}}), "set 1, which holds now")
		sent.Set("from", "2026-11-01")
		sent.Set("note", "linings wear to the shell")
		want(t, r.send("/office/rules", sent), http.StatusSeeOther)
		set, err := r.db.RuleSet(t.Context(), 2)
		must(t, err)
		for i := range set.Rules {
			switch rule := &set.Rules[i]; rule.Code {
			case "lining-worn":
				if rule.Severity != assess.Replace {
					t.Errorf("lining-worn leads to %s", rule.Severity)
				}
			case "tilt-in-far":
				if rule.AtLeast != 500 {
					t.Errorf("tilt-in-far begins at %s", rule.AtLeast)
				}
			}
		}
		now, err := r.db.RuleSetOn(t.Context(), "2026-10-31")
		must(t, err)
		then, err := r.db.RuleSetOn(t.Context(), "2026-11-01")
		must(t, err)
		if now.Number != 1 || then.Number != 2 {
			t.Errorf("set %d holds until November, then %d", now.Number, then.Number)
		}
		r.audited("rule_set.add", "rule_set:2")
	})
}

func TestTheOfficeSearchesTheTrail(t *testing.T) {
	r := newRig(t)
	for n := range trailShown + 1 {
		_, err := r.db.AddDevice(t.Context(), models.Actor{Account: "o-trail", Device: "T-desk"}, fmt.Sprintf("T-%03d", n), storeA)
		must(t, err)
	}
	lines, _, err := r.db.Audit(t.Context(), models.AuditFilter{Subject: "device:T-000"}, models.Page{})
	must(t, err)
	if len(lines) != 1 {
		t.Fatalf("%d lines are about T-000, want 1", len(lines))
	}
	day, action := lines[0].At.UTC(), lines[0].Action
	for _, tt := range []struct {
		name        string
		query       string
		shows, none bool // T-000's line, or no line at all
	}{
		{"a subject finds its line", encodeQuery("subject", "device:T-000"), true, false},
		{"all that narrows holds together", encodeQuery("person", "o-trail", "tablet", "T-desk", "action", action, "subject", "device:T-000"), true, false},
		{"another person did nothing to it", encodeQuery("subject", "device:T-000", "person", "o-else"), false, true},
		{"another tablet saw nothing of it", encodeQuery("subject", "device:T-000", "tablet", "T-else"), false, true},
		{"another action was not done to it", encodeQuery("subject", "device:T-000", "action", "pair.merge"), false, true},
		{"both days are included", encodeQuery("subject", "device:T-000", "first", day.Format(time.DateOnly), "last", day.Format(time.DateOnly)), true, false},
		{"the day before holds nothing of it", encodeQuery("subject", "device:T-000", "last", day.AddDate(0, 0, -1).Format(time.DateOnly)), false, true},
		{"the day after holds nothing of it", encodeQuery("subject", "device:T-000", "first", day.AddDate(0, 0, 1).Format(time.DateOnly)), false, true},
		{"the newest page ends before the oldest line", encodeQuery("person", "o-trail"), false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r.t = t
			body := r.sees("/office/trail?" + tt.query)
			if got := strings.Contains(body, "<td class=\"wrap\">device:T-000<"); got != tt.shows {
				t.Errorf("the line of T-000 shows: %t, want %t", got, tt.shows)
			}
			if got := strings.Contains(body, "No line like that."); got != tt.none {
				t.Errorf("the page says that there is none: %t, want %t", got, tt.none)
			}
		})
	}
	t.Run("the next page goes on where the first ended", func(t *testing.T) {
		r.t = t
		body := r.sees("/office/trail?person=o-trail")
		next := regexp.MustCompile(`href="([^"]+)" rel="next"`).FindStringSubmatch(body)
		if next == nil {
			t.Fatalf("there is no next page:\n%s", body)
		}
		body = r.sees(strings.ReplaceAll(next[1], "&amp;", "&"))
		r.shows(body, "<td class=\"wrap\">device:T-000<", ">Newest<")
		if strings.Contains(body, "device:T-001") || strings.Contains(body, `rel="next"`) {
			t.Errorf("the last page repeats a line or leads on:\n%s", body)
		}
	})
	t.Run("what is no day is named", func(t *testing.T) {
		r.t = t
		r.refused(r.call("GET", "/office/trail?first=soon&person=o-trail", r.office(), nil), "&#34;soon&#34;", `value="o-trail"`)
	})
}

func TestTheOfficeAnswersARunnersRequest(t *testing.T) {
	r := newRig(t)
	ctx := t.Context()
	code := r.runner(4711)
	pair := r.put(1, soundReading.with(fields{"runner": code}))["pair_ref"]
	r.put(2, soundReading.with(fields{"runner": "R-else"}))
	want(t, r.call("PUT", apiRoot+"/trade-ins/"+id(1), r.office(), tradeIn(id(1))), http.StatusCreated)
	want(t, r.call("PUT", apiRoot+"/fittings/"+id(3), r.office(), soundFitting.with(fields{"runner": code})), http.StatusCreated)
	t.Run("the page counts what is held, keeps it out of caches and notes the look", func(t *testing.T) {
		r.t = t
		w := r.send("/office/requests", url.Values{"runner": {code}})
		want(t, w, http.StatusOK)
		r.check(w)
		r.shows(w.Body.String(), "Held about "+code, "Erase…")
		if got := w.Header().Get("Cache-Control"); got != "no-store" {
			t.Errorf("Cache-Control %q", got)
		}
		r.audited("read", "runner:"+code)
	})
	t.Run("the file holds all of this runner and nothing of another", func(t *testing.T) {
		r.t = t
		w := r.send("/office/requests/record", url.Values{"runner": {code}})
		want(t, w, http.StatusOK)
		got := decoded[struct {
			Runner                              fields
			Pairs, Inspections, Fittings, Trail []fields
			TradeIns                            []fields `json:"trade_ins"`
		}](t, w)
		if len(got.Pairs) != 1 || len(got.Inspections) != 1 || len(got.Fittings) != 1 || len(got.TradeIns) != 1 || len(got.Trail) == 0 {
			t.Fatalf("the file is %s", w.Body)
		}
		if got.Runner["runner"] != code || got.Pairs[0]["pair_ref"] != pair || got.Inspections[0]["inspection_id"] != id(1) || got.Fittings[0]["fitting_id"] != id(3) {
			t.Errorf("the file is %s", w.Body)
		}
		if strings.Contains(w.Body.String(), "R-else") {
			t.Errorf("the file tells of another runner: %s", w.Body)
		}
	})
	t.Run("a code that nothing is held about is named", func(t *testing.T) {
		r.t = t
		for _, path := range []string{"/office/requests", "/office/requests/record", "/office/requests/erase"} {
			r.refused(r.send(path, url.Values{"runner": {"R-none"}, "again": {"R-none"}}), "&#34;R-none&#34;")
		}
		r.refused(r.send("/office/requests", url.Values{}), "missing")
	})
	t.Run("nothing is erased until the code is typed once more", func(t *testing.T) {
		r.t = t
		w := r.send("/office/requests", url.Values{"runner": {code}, "act": {"erase"}})
		want(t, w, http.StatusOK)
		r.check(w)
		r.shows(w.Body.String(), "This can&#39;t be undone.", "Erase for good")
		r.refused(r.send("/office/requests/erase", url.Values{"runner": {code}, "act": {"erase"}, "again": {"R-47"}}), "&#34;R-47&#34;", "Erase for good")
		_, err := r.db.Runner(ctx, code)
		must(t, err)
	})
	t.Run("once erased, the code is held nowhere and the address doesn't say it", func(t *testing.T) {
		r.t = t
		w := r.send("/office/requests/erase", url.Values{"runner": {code}, "act": {"erase"}, "again": {code}})
		want(t, w, http.StatusSeeOther)
		to := w.Header().Get("Location")
		if strings.Contains(to, code) {
			t.Errorf("sent to %s", to)
		}
		r.shows(r.sees(to), "The runner is erased.")
		r.refused(r.send("/office/requests", url.Values{"runner": {code}}), "something is held")
	})
}

func TestTheOfficeMergesAndSplitsPairs(t *testing.T) {
	r := newRig(t)
	ctx := t.Context()
	theirs := soundReading.with(fields{"runner": "R-4711"})
	first := r.put(1, theirs)["pair_ref"].(string)
	second := r.put(2, theirs)["pair_ref"].(string)
	t.Run("an open pair of the same runner, model and size is proposed", func(t *testing.T) {
		r.t = t
		r.shows(r.sees("/office/pairs?ref="+first), "Readings of pair "+spaced(first), "ref="+first+"&amp;from="+second)
		r.shows(r.sees("/office/pairs?ref="+first+"&from="+second), `value="`+second+`"`)
	})
	t.Run("what names no pair is named, and a merge without a reason refused", func(t *testing.T) {
		r.t = t
		r.refused(r.call("GET", "/office/pairs?ref=nothing", r.office(), nil), "&#34;nothing&#34;")
		r.refused(r.send("/office/pairs/merge", url.Values{"from": {"nothing"}, "into": {first}, "reason": {"two slips"}}), "&#34;nothing&#34;", "two slips")
		r.refused(r.send("/office/pairs/merge", url.Values{"from": {second}, "into": {first}, "reason": {" "}}), "why they are one pair", `value="`+second+`"`)
		r.refused(r.send("/office/pairs/merge", url.Values{"from": {first}, "into": {first}, "reason": {"two slips"}}), "another pair")
	})
	t.Run("merged, both references lead to one pair with both readings", func(t *testing.T) {
		r.t = t
		w := r.send("/office/pairs/merge", url.Values{"from": {second}, "into": {first}, "reason": {"two slips"}})
		want(t, w, http.StatusSeeOther)
		r.shows(r.sees(w.Header().Get("Location")), "They are one pair now: "+spaced(first), id(1), id(2))
		pair, err := r.db.Pair(ctx, second)
		must(t, err)
		if pair.Ref != first || len(pair.Inspections) != 2 {
			t.Errorf("%s leads to %s with %d readings", second, pair.Ref, len(pair.Inspections))
		}
		r.audited("pair.merge", "pair:"+second)
	})
	t.Run("a split asks for a reason, and for some of the readings", func(t *testing.T) {
		r.t = t
		r.refused(r.send("/office/pairs/split", url.Values{"ref": {first}, "inspections": {id(2)}}), "why they are two pairs", `value="`+id(2)+`" checked`)
		r.refused(r.send("/office/pairs/split", url.Values{"ref": {first}, "reason": {"two pairs"}}), "not all", `value="two pairs"`)
		r.refused(r.send("/office/pairs/split", url.Values{"ref": {first}, "inspections": {id(1), id(2)}, "reason": {"two pairs"}}), "not all")
	})
	t.Run("split, the reading is a pair of its own", func(t *testing.T) {
		r.t = t
		w := r.send("/office/pairs/split", url.Values{"ref": {first}, "inspections": {id(2)}, "reason": {"two pairs"}})
		want(t, w, http.StatusSeeOther)
		body := r.sees(w.Header().Get("Location"))
		r.shows(body, "Print its slip.", id(2))
		pair, err := r.db.Pair(ctx, first)
		must(t, err)
		if len(pair.Inspections) != 1 || pair.Inspections[0].ID.String() != id(1) {
			t.Errorf("%d readings stayed", len(pair.Inspections))
		}
		r.audited("pair.split", "pair:"+first)
	})
}
