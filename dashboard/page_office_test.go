package dashboard

import (
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"solewright/models"
	"solewright/models/retail"
)

// officeProbes holds one request for each route of the office.
var officeProbes = map[string]probe{
	"GET /office":        {make: fixed("/office"), ok: http.StatusSeeOther},
	"GET /office/stores": {make: fixed("/office/stores"), ok: http.StatusOK, list: true, hides: storeA},
	"POST /office/stores": {make: func(*rig, int) (string, any) {
		return "/office/stores?store=" + storeA, storeForm(storeA, regionA)
	}, ok: http.StatusSeeOther},
	"POST /office/regions": {make: func(*rig, int) (string, any) {
		return "/office/regions?region=" + regionA, url.Values{"region": {regionA}, "name": {"North"}, "currency": {"EUR"}}
	}, ok: http.StatusSeeOther},
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
	t.Run("the way to the office leads to its first page", func(t *testing.T) {
		r.t = t
		w := r.call("GET", "/office", r.office(), nil)
		want(t, w, http.StatusSeeOther)
		if to := w.Header().Get("Location"); to != officeWays[0].Path {
			t.Errorf("sent to %s", to)
		}
	})
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
