package dashboard

import (
	"context"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"solewright/models"
	"solewright/models/retail"
)

// tableRows returns what the rows of a page's tables say, a bar between cells.
func tableRows(t *testing.T, w *httptest.ResponseRecorder) []string {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(w.Body.String()))
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for n := range doc.Descendants() {
		if n.Data != "tr" {
			continue
		}
		var cells []string
		for cell := range n.ChildNodes() {
			if cell.Type == html.ElementNode {
				cells = append(cells, strings.Join(strings.Fields(wordsIn(cell)), " "))
			}
		}
		all = append(all, strings.Join(cells, " | "))
	}
	return all
}

func TestTheDaysListHoldsTheDayOfTheStore(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading.with(fields{"at": "2026-10-04T21:59:00Z"})) // 23:59 of the day before, in Madrid
	r.put(2, soundReading.with(fields{"at": "2026-10-04T22:01:00Z", "runner": "R-late"}))
	stored := r.put(3, soundReading)
	r.put(4, soundReading.with(fields{"store": storeB, "runner": "R-other"}))

	w := r.call("GET", "/bench", r.fitter(), nil)
	want(t, w, http.StatusOK)
	rows := slices.DeleteFunc(tableRows(t, w), func(row string) bool { return !strings.Contains(row, "Velm") })
	ref := stored["pair_ref"].(string)
	if len(rows) != 2 || !strings.Contains(rows[0], "13:00 | Velm Arc 3 | R-1 | F-1 | trade-in | Keep running | "+spaced(ref)) || !strings.Contains(rows[1], "00:01 | Velm Arc 3 | R-late") {
		t.Errorf("rows %q, want the two readings of 5 October in Madrid, newest first", rows)
	}
	checkPage(t, w.Body.Bytes())
}

func TestTheBenchOpensWithoutItsList(t *testing.T) {
	r := newRig(t)
	token := r.fitter()
	want(t, r.call("GET", "/bench", token, nil), http.StatusOK) // who asks is remembered
	must(t, r.db.Close())
	w := r.call("GET", "/bench", token, nil)
	want(t, w, http.StatusOK)
	if !strings.Contains(w.Body.String(), "can&#39;t be read just now") {
		t.Error("the page doesn't say that its list is missing")
	}
}

func TestTheBenchStandsInAStoreOfItsScope(t *testing.T) {
	r := newRig(t)
	type context struct {
		Who   benchWho
		Store *benchStore
		Rules struct{ Number int }
	}
	for _, tt := range []struct {
		name, path, token string
		status            int
		store             string
	}{
		{"a fitter stands in the own store", "/bench/context.json", r.fitter(), http.StatusOK, storeA},
		{"a fitter doesn't stand in another", "/bench/context.json?store=" + storeB, r.fitter(), http.StatusForbidden, ""},
		{"the office has no store until it says which", "/bench/context.json", r.office(), http.StatusOK, ""},
		{"the office says which", "/bench/context.json?store=" + storeB, r.office(), http.StatusOK, storeB},
		{"a store that there is not is refused", "/bench/context.json?store=S-Z", r.office(), http.StatusUnprocessableEntity, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := r.call("GET", tt.path, tt.token, nil)
			want(t, w, tt.status)
			if tt.status != http.StatusOK {
				pointers(t, w)
				return
			}
			got := decoded[context](t, w)
			code := ""
			if got.Store != nil {
				code = got.Store.Code
			}
			if code != tt.store || got.Rules.Number != 1 {
				t.Errorf("store %q, rules %d, want store %q, rules 1", code, got.Rules.Number, tt.store)
			}
			page := r.call("GET", strings.Replace(tt.path, "/context.json", "", 1), tt.token, nil)
			want(t, page, http.StatusOK)
			if asks := strings.Contains(page.Body.String(), `name="store"`); asks != (tt.token == r.office()) {
				t.Errorf("the page asks for the store: %v", asks)
			}
		})
	}
}

func TestTheContextHoldsTheCreditTableOfTheDayAndTheCurrency(t *testing.T) {
	r := newRig(t)
	add := func(from, body string) {
		t.Helper()
		_, err := r.db.AddVersion(context.Background(), setup, models.CreditTables, from, body, "")
		must(t, err)
	}
	add("2026-01-01", `{"number":1,"from":"2026-01-01","currency":"EUR","rows":[{"grade":"A","minor":2400}]}`)
	add("2026-02-01", `{"number":2,"from":"2026-02-01","currency":"GBP","rows":[{"grade":"A","minor":2000}]}`)
	add("2026-10-06", `{"number":3,"from":"2026-10-06","currency":"EUR","rows":[{"grade":"A","minor":2600}]}`)
	number := func() int {
		t.Helper()
		w := r.call("GET", "/bench/context.json", r.fitter(), nil)
		want(t, w, http.StatusOK)
		got := decoded[struct {
			Credit *struct{ Number int }
		}](t, w)
		if got.Credit == nil {
			return 0
		}
		return got.Credit.Number
	}
	if got := number(); got != 1 {
		t.Errorf("on 5 October table %d holds, want 1", got)
	}
	r.clock.advance(12 * 3600e9) // past midnight in Madrid
	if got := number(); got != 3 {
		t.Errorf("on 6 October table %d holds, want 3", got)
	}
}

func TestATicketsAddressEndsInItsUUID(t *testing.T) {
	r := newRig(t)
	want(t, r.call("GET", "/bench/"+id(1), r.fitter(), nil), http.StatusOK)
	want(t, r.call("GET", "/bench/nothing", r.fitter(), nil), http.StatusNotFound)
}

func TestHomeIsThePageOfTheRole(t *testing.T) {
	r := newRig(t)
	for _, role := range retail.Roles {
		w := r.call("GET", "/", r.token(role, retail.Scope{Store: storeA}), nil)
		if role == retail.Trainer {
			want(t, w, http.StatusOK)
			checkPage(t, w.Body.Bytes())
			continue
		}
		want(t, w, http.StatusSeeOther)
		home := "/bench"
		switch role {
		case retail.Manager:
			home = "/fleet"
		case retail.Office:
			home = "/office"
		}
		if to := w.Header().Get("Location"); to != home {
			t.Errorf("%s is sent to %s", role, to)
		}
	}
}

func TestPagesOfAReading(t *testing.T) {
	r := newRig(t)
	first := r.put(1, soundReading)
	ref := first["pair_ref"].(string)
	r.put(2, wornReading().with(fields{"pair_ref": ref, "at": "2026-10-05T11:30:00Z"}))

	w := r.call("GET", "/pairs/"+strings.ToLower(ref), r.fitter(), nil)
	want(t, w, http.StatusOK)
	checkPage(t, w.Body.Bytes())
	body := strings.Join(strings.Fields(w.Body.String()), " ")
	for _, says := range []string{"Sound up to 320 km, worn by 700 km", `r="001--01000"`, "Left heel, outer", `class="swatch s4"`} {
		if !strings.Contains(body, says) {
			t.Errorf("the history lacks %q", says)
		}
	}
	w = r.call("GET", "/slip/"+id(2), r.fitter(), nil)
	want(t, w, http.StatusOK)
	checkPage(t, w.Body.Bytes())
	want(t, r.call("GET", "/slip/"+id(9), r.fitter(), nil), http.StatusNotFound)
	want(t, r.call("GET", "/pairs/none", r.fitter(), nil), http.StatusNotFound)

	w = r.call("GET", "/pairs/"+ref+"/qr.svg", r.fitter(), nil)
	want(t, w, http.StatusOK)
	if kind := w.Header().Get("Content-Type"); kind != "image/svg+xml" {
		t.Errorf("the code is served as %s", kind)
	}
}

func TestFilesAreServedForEverOrUntilTheNext(t *testing.T) {
	r := newRig(t)
	url, err := r.assets.url("js/bench.js")
	must(t, err)
	for _, tt := range []struct{ name, path, keep, kind string }{
		{"a file of today is kept for ever", url, "immutable", "text/javascript; charset=utf-8"},
		{"one of an older page is not kept", "/static/0123456789abcdef/js/bench.js", "no-cache", "text/javascript; charset=utf-8"},
		{"the worker is asked for anew", "/worker.js", "no-cache", "text/javascript; charset=utf-8"},
		{"the columns are data", strings.Replace(url, "js/bench.js", "columns.json", 1), "immutable", "application/json"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			plain := r.call("GET", tt.path, "", nil)
			want(t, plain, http.StatusOK)
			packed := r.call("GET", tt.path, "", nil, "Accept-Encoding", "br, gzip")
			want(t, packed, http.StatusOK)
			if got := plain.Header().Get("Cache-Control"); !strings.Contains(got, tt.keep) {
				t.Errorf("Cache-Control %q", got)
			}
			if got := plain.Header().Get("Content-Type"); got != tt.kind {
				t.Errorf("Content-Type %q", got)
			}
			if packed.Header().Get("Content-Encoding") != "gzip" || packed.Body.Len() >= plain.Body.Len() || plain.Header().Get("Content-Encoding") != "" {
				t.Errorf("packed %d bytes as %q, plain %d", packed.Body.Len(), packed.Header().Get("Content-Encoding"), plain.Body.Len())
			}
		})
	}
	for _, path := range []string{"/static/", "/static/x", "/static/x/../server.go", "/static/x/templates/layout.html"} {
		want(t, r.call("GET", path, "", nil), http.StatusNotFound)
	}
}
