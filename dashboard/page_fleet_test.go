package dashboard

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"iter"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/exchange"
	"solewright/models/retail"
	"solewright/reports/sim"
	"solewright/reports/stats"
	"solewright/reports/wear"
)

// fleetProbes holds one request for each route of the manager's pages. They
// name store A, so that another scope is refused; the signal isn't there.
var fleetProbes = map[string]probe{
	"GET /fleet":       {make: stored("/fleet?store="+storeA, nil), ok: http.StatusOK},
	"GET /fleet/pairs": {make: stored("/fleet/pairs?store="+storeA, nil), ok: http.StatusOK},
	"GET /fleet/models/:id": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		return "/fleet/models/" + r.anyShoe() + "?store=" + storeA, nil
	}, ok: http.StatusOK},
	"GET /fleet/stores/:code": {make: stored("/fleet/stores/"+storeA, nil), ok: http.StatusOK},
	"GET /fleet/compare":      {make: stored("/fleet/compare?a_store="+storeA, nil), ok: http.StatusOK},
	"GET /fleet/credit":       {make: stored("/fleet/credit?store="+storeA, nil), ok: http.StatusOK},
	"GET /fleet/agreement":    {make: stored("/fleet/agreement?store="+storeA, nil), ok: http.StatusOK},
	"GET /wear/shares":        {make: fixed("/wear/shares?store=" + storeA), ok: http.StatusOK},
	"GET /wear/association":   {make: fixed("/wear/association?store=" + storeA), ok: http.StatusOK},
	"GET /wear/life":          {make: fixed("/wear/life?store=" + storeA), ok: http.StatusOK},
	"GET /wear/trend":         {make: fixed("/wear/trend?store=" + storeA), ok: http.StatusOK},
	"GET /wear/stores":        {make: fixed("/wear/stores?store=" + storeA), ok: http.StatusOK},
	"GET /wear/signals":       {make: fixed("/wear/signals?store=" + storeA), ok: http.StatusOK},
	"GET /wear/failures": {make: func(r *rig, n int) (string, any) {
		r.put(n, soundReading)
		return "/wear/failures?model=" + r.anyShoe() + "&store=" + storeA, nil
	}, ok: http.StatusOK},
	"GET /wear/credit":        {make: fixed("/wear/credit?store=" + storeA), ok: http.StatusOK},
	"POST /signals/:id":       {make: fixed2("/signals/"+id(1)+"?store="+storeA, fields{"do": "take"}), ok: http.StatusNotFound},
	"POST /fleet/signals/:id": {make: fixed2("/fleet/signals/"+id(1)+"?store="+storeA, url.Values{"do": {"take"}}), ok: http.StatusNotFound},
}

func TestWearAnswersAreKeptUntilTheDataChange(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	for _, path := range []string{
		"/wear/shares?part=heel&by=gait", "/wear/association", "/wear/life", "/wear/trend", "/wear/stores", "/wear/signals", "/wear/credit",
		"/wear/failures?model=" + r.anyShoe(),
	} {
		t.Run(path, func(t *testing.T) {
			r.t = t
			w := r.call("GET", apiRoot+path, r.office(), nil)
			want(t, w, http.StatusOK)
			tag := w.Header().Get("ETag")
			if tag == "" || w.Header().Get("Cache-Control") != "private, no-cache" {
				t.Errorf("ETag %q, Cache-Control %q", tag, w.Header().Get("Cache-Control"))
			}
			if got := r.call("GET", apiRoot+path, r.office(), nil, "If-None-Match", tag); got.Code != http.StatusNotModified || got.Body.Len() > 0 {
				t.Errorf("the same question again is %d with %d bytes", got.Code, got.Body.Len())
			}
			// Another scope has another answer under the same address.
			if got := r.call("GET", apiRoot+path, r.token(retail.Manager, retail.Scope{Region: regionB}), nil, "If-None-Match", tag); got.Code != http.StatusOK {
				t.Errorf("another scope got %d", got.Code)
			}
		})
	}
	w := r.call("GET", apiRoot+"/wear/shares", r.office(), nil)
	r.put(2, wornReading())
	if got := r.call("GET", apiRoot+"/wear/shares", r.office(), nil, "If-None-Match", w.Header().Get("ETag")); got.Code != http.StatusOK {
		t.Errorf("after another reading the answer is still %d", got.Code)
	}
}

func TestWearNamesEveryBadFilter(t *testing.T) {
	r := newRig(t)
	for path, at := range map[string]string{
		"/wear/shares?gait=wobbly&part=toe":  "gait part",
		"/wear/shares?of=colour":             "of",
		"/wear/association?cols=store":       "cols",
		"/wear/life?bootstrap=9000":          "bootstrap",
		"/wear/trend?from=spring&to=2026-99": "from to",
		"/wear/stores?pattern=odd&unit=shoe": "pattern unit",
		"/wear/credit?from=spring":           "from",
	} {
		t.Run(path, func(t *testing.T) {
			w := r.call("GET", apiRoot+path, r.office(), nil)
			want(t, w, http.StatusBadRequest)
			got := pointers(t, w)
			for _, name := range strings.Fields(at) {
				if !strings.Contains(strings.Join(got, " "), name) {
					t.Errorf("names %q, want %q among them", got, name)
				}
			}
		})
	}
}

func TestWithoutTheFleetThePagesAreNotReady(t *testing.T) {
	r := newRig(t, func(c *Config) { c.Fleet = nil })
	w := r.call("GET", apiRoot+"/wear/shares", r.office(), nil)
	want(t, w, http.StatusServiceUnavailable)
	if w.Header().Get("Retry-After") == "" {
		t.Error("it doesn't say when to try again")
	}
	want(t, r.call("GET", "/fleet", r.office(), nil), http.StatusServiceUnavailable)
}

func TestTheFleetPagesOfAnEmptyFleetSaySo(t *testing.T) {
	r := newRig(t)
	for path, says := range map[string]string{
		"/fleet": "No pairs in these months", "/fleet/pairs": "No pairs meet these filters", "/fleet/compare": "No pairs in these months", "/fleet/credit": "No pairs were taken in",
	} {
		if page := r.sees(path); !strings.Contains(page, says) {
			t.Errorf("%s doesn't say %q", path, says)
		}
	}
}

func TestCreditIsAddedUpByCurrency(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	want(t, r.call("PUT", apiRoot+"/trade-ins/"+id(1), r.office(), tradeIn(id(1))), http.StatusCreated)
	all := decoded[creditList](t, r.call("GET", apiRoot+"/wear/credit?from=2026-10", r.office(), nil)).Items
	if len(all) != 1 || all[0].Given != 1500 || all[0].Pairs != 1 || all[0].Store != storeA {
		t.Errorf("credit %+v", all)
	}
	rows := tableRows(t, r.call("GET", "/fleet/credit", r.office(), nil))
	for _, name := range []string{storeA, "not in the list", "October 2026"} { // by store, category and month
		for _, of := range []string{" | 1 | 15.00 | 15.00 | 15.00 | 0", " | 1 | 1 | 100%"} {
			if !slices.Contains(rows, name+of) {
				t.Errorf("the page lacks %q: %q", name+of, rows)
			}
		}
	}
	const row = `<td class="num" data-l="Pairs">1</td><td class="num" data-l="resale">1</td><td class="num" data-l="As proposed">100%</td>`
	if page := r.sees("/fleet/credit"); !strings.Contains(page, "EUR: 15.00") || strings.Count(page, row) != 3 {
		t.Errorf("the page doesn't show 15.00 EUR, and that the pair went to resale, by store, category and month: %s", page)
	}
	if routes := decoded[creditList](t, r.call("GET", apiRoot+"/wear/credit?from=2026-10", r.office(), nil)).Routes; len(routes) != 1 || routes[0].Route != "resale" || routes[0].Grade != "A" || routes[0].Pairs != 1 {
		t.Errorf("routes %+v", routes)
	}
	if rows := r.file(t, "/fleet/credit?as=csv&of=routes"); len(rows) != 2 || !slices.Equal(rows[1][3:], []string{"A", "resale", "1"}) {
		t.Errorf("the file of routes has %v", rows)
	}
	page := r.sees("/fleet/stores/" + storeA + "?from=2026-10&to=2026-10")
	r.shows(page, "Pairs: 1; as proposed: 100%.", "EUR: 15.00 given, 15.00 a pair; 15.00 by the tables; overridden: 0.", "No pair was read twice in these months.")
	r.shows(r.sees("/fleet/stores/"+storeB+"?from=2026-10&to=2026-10"), "No pair was handed over in these months.")
	w := r.call("GET", "/fleet/credit?as=csv", r.office(), nil)
	want(t, w, http.StatusOK)
	if !strings.Contains(w.Body.String(), "EUR,S-A,") {
		t.Errorf("the file is %q", w.Body)
	}
}

func TestMoneyHasTheDecimalsOfItsCurrency(t *testing.T) {
	const iso = "ISO 4217, minor units"
	for _, tt := range []struct {
		code   string
		minor  int64
		want   string
		source string
	}{
		{"EUR", 1500, "15.00", iso}, {"EUR", 5, "0.05", iso}, {"JPY", 1500, "1500", iso}, {"KWD", 1500, "1.500", iso}, {"EUR", -250, "−2.50", iso},
	} {
		if got := money(tt.code, tt.minor); got != tt.want {
			t.Errorf("%d minor units of %s are %q, want %q", tt.minor, tt.code, got, tt.want)
		}
	}
}

// planted is a rig on the invented retailer with its planted problems.
func planted(t *testing.T) (*rig, *sim.Fleet) {
	t.Helper()
	f := sim.New(sim.Options{Plant: true, Judge: true})
	clock := newTestClock()
	db := dbtest.Open(t, dbtest.Clock(clock.Now))
	names := map[string]string{}
	for _, region := range f.Regions {
		names[region.Code] = region.Name
	}
	stores := retail.StoreLines.CSV.AppendHeader(nil)
	for _, s := range f.Stores {
		stores = retail.StoreLines.CSV.Append(stores, &retail.StoreLine{Store: s, RegionName: names[s.Region]})
	}
	shoes := retail.ShoeModels.CSV.AppendHeader(nil)
	for i := range f.Models {
		shoes = retail.ShoeModels.CSV.Append(shoes, &f.Models[i])
	}
	for _, file := range []struct {
		kind string
		rows []byte
	}{{"stores", stores}, {"shoe-models", shoes}} {
		_, err := exchange.Import(t.Context(), db, setup, file.kind, bytes.NewReader(file.rows), exchange.Options{})
		must(t, err)
	}
	records := func(yield func(*assess.Record) bool) {
		for r := range f.Inspections() {
			if !yield(r) {
				return
			}
		}
	}
	_, err := db.ImportInspections(t.Context(), setup, exchange.Judged(t.Context(), db, "2026-11-01", iter.Seq[*assess.Record](records)), models.ImportOptions{})
	must(t, err)
	return newRigOn(t, db, clock), f
}

func TestTheFleetPageFindsWhatWasPlanted(t *testing.T) {
	r, f := planted(t)
	p := f.Plants()
	label := func(i int) string {
		m := f.Models[i]
		return strings.Join(strings.Fields(m.Brand+" "+m.Model+" "+m.Version), " ")
	}
	page := r.sees("/fleet")
	heads := regexp.MustCompile(`<strong>([^<]*)</strong>`).FindAllStringSubmatch(page, -1)
	said := func(what ...string) bool {
		for _, h := range heads {
			all := true
			for _, w := range what {
				all = all && strings.Contains(h[1], w)
			}
			if all {
				return true
			}
		}
		return false
	}
	if !said(label(p.BatchModel), p.Batch, "fails early") || !strings.Contains(heads[0][1], p.Batch) {
		t.Errorf("the batch doesn't stand first: %q", heads)
	}
	if !said(f.Stores[p.Store].Code, "more often") {
		t.Errorf("the store that reads hard isn't named: %q", heads)
	}
	if !said(label(p.Model), "inner forefoot", "pronated") {
		t.Errorf("the model that wears its inner forefoot isn't named: %q", heads)
	}

	t.Run("the numbers of the matrix are the API's and tally's", func(t *testing.T) {
		rows := r.file(t, "/fleet?part=forefoot&pattern=medial&from=2025-01&to=2026-10&figure=wear-matrix&as=csv")
		shares := decoded[struct {
			Groups []struct {
				By     map[string]string `json:"by"`
				Levels []struct {
					Level            string `json:"level"`
					Hits, Size       int
					Share, Low, High float64
				} `json:"levels"`
			} `json:"groups"`
		}](t, r.call("GET", apiRoot+"/wear/shares?part=forefoot&by=category&from=2025-01&to=2026-10", r.office(), nil))
		seen := 0
		for _, g := range shares.Groups {
			for _, l := range g.Levels {
				if l.Level != "medial" || g.By["category"] == "" {
					continue
				}
				want := []string{g.By["category"], "all gaits", strconv.Itoa(l.Hits), strconv.Itoa(l.Size), exact(l.Share), exact(l.Low), exact(l.High)}
				found := false
				for _, row := range rows {
					found = found || fmt.Sprint(row) == fmt.Sprint(want)
				}
				if seen++; !found {
					t.Errorf("the page lacks %q", want)
				}
			}
		}
		if seen == 0 {
			t.Error("nothing was compared")
		}
	})

	t.Run("every filter is the same on the page, in the list and in the API", func(t *testing.T) {
		for _, filter := range []string{
			"strike=rearfoot", "posture=pronated,highly+pronated", "from=2026-03-05&to=2026-05-20", "km_from=100&km_to=349",
			"strike=midfoot&km_to=400&from=2025-06-01&to=2026-02",
		} {
			hits := 0
			list := r.file(t, "/fleet/pairs?as=csv&part=forefoot&pattern=medial&category=daily&"+filter)
			km, day := slices.Index(list[0], "km"), slices.Index(list[0], "day")
			for _, row := range list[1:] {
				hits++
				if strings.Contains(filter, "km_from") {
					if n, err := strconv.Atoi(row[km]); err != nil || n < 100 || n > 349 {
						t.Errorf("%s lists a pair at %q km", filter, row[km])
					}
				}
				if strings.HasPrefix(filter, "from") && (row[day] < "2026-03-05" || row[day] > "2026-05-20") {
					t.Errorf("%s lists a pair read on %s", filter, row[day])
				}
			}
			shares := decoded[struct {
				Groups []struct {
					Levels []struct {
						Level      string
						Hits, Size int
					}
				}
			}](t, r.call("GET", apiRoot+"/wear/shares?part=forefoot&category=daily&"+filter, r.office(), nil))
			size := 0
			for _, l := range shares.Groups[0].Levels {
				if l.Level == "medial" {
					size = l.Size
					if l.Hits != hits {
						t.Errorf("%s: %d pairs are listed, the API has %d", filter, hits, l.Hits)
					}
				}
			}
			// The matrix opens with a year where no day is named: name all.
			rows := r.file(t, "/fleet?part=forefoot&pattern=medial&figure=wear-matrix&as=csv&from=2024-01&to=2026-12&"+filter)
			if strings.Contains(filter, "from=2") {
				rows = r.file(t, "/fleet?part=forefoot&pattern=medial&figure=wear-matrix&as=csv&"+filter)
			}
			found := false
			for _, row := range rows {
				found = found || row[0] == "daily" && row[1] == "all gaits" && row[2] == strconv.Itoa(hits) && row[3] == strconv.Itoa(size)
			}
			if !found || hits < 3 {
				t.Errorf("%s: the matrix lacks daily, all gaits, %d of %d", filter, hits, size)
			}
		}
	})

	t.Run("a cell leads to its pairs in one tap", func(t *testing.T) {
		doc, err := html.Parse(strings.NewReader(page))
		must(t, err)
		followed := 0
		for n := range doc.Descendants() {
			label := attr(n, "aria-label")
			m := regexp.MustCompile(`^(.+), (.+): (\S+)%, n (\d+), 95%`).FindStringSubmatch(label)
			if n.Data != "a" || m == nil || followed >= 6 {
				continue
			}
			followed++
			size, _ := strconv.Atoi(m[4])
			share, _ := strconv.ParseFloat(m[3], 64)
			list := r.sees(attr(n, "href"))
			title := regexp.MustCompile(`<h1>(\d+) pairs?</h1>`).FindStringSubmatch(list)
			if title == nil {
				t.Fatalf("%s leads to no list", label)
			}
			if hits, _ := strconv.Atoi(title[1]); 100*float64(hits)/float64(size) > share+0.51 || 100*float64(hits)/float64(size) < share-0.51 {
				t.Errorf("%q leads to %d pairs", label, hits)
			}
		}
		if followed == 0 {
			t.Error("no cell has a link")
		}
	})

	t.Run("every figure is a table, a CSV and an SVG too", func(t *testing.T) {
		links := regexp.MustCompile(`href="(/fleet\?[^"]*as=(csv|svg)[^"]*)"`).FindAllStringSubmatch(page, -1)
		if len(links) < 14 {
			t.Errorf("%d files, want two for each of seven figures", len(links))
		}
		for _, l := range links {
			w := r.call("GET", html.UnescapeString(l[1]), r.office(), nil)
			want(t, w, http.StatusOK)
			if !strings.HasPrefix(w.Header().Get("Content-Disposition"), "attachment") || w.Body.Len() < 100 {
				t.Errorf("%s is %q with %d bytes", l[1], w.Header().Get("Content-Disposition"), w.Body.Len())
			}
		}
		want(t, r.call("GET", "/fleet?figure=none&as=csv", r.office(), nil), http.StatusNotFound)
		rows := r.file(t, "/fleet?figure=stores&as=csv")
		if table := r.sees("/fleet?figure=stores&as=table"); strings.Count(table, "<tr>") != len(rows) || !strings.Contains(table, "<td>"+rows[1][0]+"</td>") {
			t.Errorf("the page of a table has %d rows, the file %d", strings.Count(table, "<tr>"), len(rows))
		}
	})

	t.Run("what takes long is put in its place later", func(t *testing.T) {
		r.t = t
		r.cfg.Patience = time.Nanosecond
		defer func() { r.cfg.Patience = 0 }()
		for path, of := range map[string]struct{ part, has string }{
			"/fleet?km_to=4000":          {"look", p.Batch},
			"/fleet?km_to=4001":          {"fig-stores", "c-limit"},
			"/fleet?km_to=4005&band=yes": {"lives", "c-band"},
			"/fleet/models/" + f.Models[p.BatchModel].ID.String() + "?km_to=4000": {"failing", "fig-failing"},
			"/fleet/models/" + f.Models[p.BatchModel].ID.String() + "?km_to=4003": {"lives", "c-band"},
			"/fleet/stores/" + f.Stores[p.Store].Code + "?km_to=3999":             {"look", "like visits elsewhere"},
			"/fleet/stores/" + f.Stores[p.Store].Code + "?km_to=4002":             {"readers", "zones"},
		} {
			part := regexp.MustCompile(`(?s)<(\w+)[^>]* ?data-part="` + of.part + `".*?</(aside|section|div|figure)>`)
			before := part.FindString(r.sees(path))
			later := regexp.MustCompile(`data-later="([^"]*)"`).FindStringSubmatch(before)
			if later == nil || strings.Contains(before, of.has) {
				t.Errorf("%s waited for what takes long: %.300s", path, before)
				continue
			}
			whole := r.sees(html.UnescapeString(later[1]))
			parts := r.sees(strings.Replace(html.UnescapeString(later[1]), "wait=yes", "wait=parts", 1))
			if found := part.FindString(parts); found != part.FindString(whole) {
				t.Errorf("%s has another part where no more is asked for:\n%.300s\n%.300s", path, found, part.FindString(whole))
			}
			if !strings.HasPrefix(path, "/fleet?") && len(parts) > len(whole)*2/3 {
				t.Errorf("%s has %d bytes where no more is asked for than a part, %d in all", path, len(parts), len(whole))
			}
			if strings.Contains(whole, "data-later") || !strings.Contains(part.FindString(whole), of.has) || strings.Contains(whole, "wait=") {
				t.Errorf("%s lacks what it was to have: %.300s", later[1], part.FindString(whole))
			}
		}
	})

	t.Run("a signal leads to all of its pairs", func(t *testing.T) {
		link := regexp.MustCompile(`href="(/fleet/pairs[^"]*batch=` + p.Batch + `[^"]*)"`).FindStringSubmatch(page)
		if link == nil {
			t.Fatal("the batch has no link")
		}
		signal := decoded[signalList](t, r.call("GET", apiRoot+"/wear/signals", r.office(), nil)).Items[0]
		title := regexp.MustCompile(`<h1>(\d+) readings</h1>`).FindStringSubmatch(r.sees(html.UnescapeString(link[1])))
		if title == nil {
			t.Fatal("the link leads to no list")
		}
		if n, _ := strconv.Atoi(title[1]); n < signal.Hits {
			t.Errorf("%d readings stand behind %d hits", n, signal.Hits)
		}
	})

	t.Run("a signal is new until a week has passed", func(t *testing.T) {
		r.t = t
		news := func() (n int) {
			for _, o := range decoded[signalList](t, r.call("GET", apiRoot+"/wear/signals", r.office(), nil)).Items {
				if o.New {
					n++
				}
			}
			return n
		}
		now := r.clock.now
		defer func() { r.clock.now = now }()
		if n := news(); n != 0 {
			t.Errorf("%d signals are new that stood out a month ago", n)
		}
		if strings.Contains(r.sees("/fleet"), "New this week") {
			t.Error("the page calls one new")
		}
		r.clock.now = time.Date(2025, 4, 7, 12, 0, 0, 0, time.UTC) // the batch isn't sold yet
		if n := news(); n == 0 {
			t.Error("none is new of what nobody could have seen a week ago")
		}
		if !strings.Contains(r.sees("/fleet"), "New this week") {
			t.Error("the page calls none new")
		}
	})

	t.Run("who lists pairs of these days is noted to know them", func(t *testing.T) {
		r.t = t
		newest := r.file(t, "/fleet/pairs?as=csv")
		pair, day := newest[1][slices.Index(newest[0], "pair_ref")], newest[1][slices.Index(newest[0], "day")]
		now := r.clock.now
		defer func() { r.clock.now = now }()
		today, err := time.Parse(time.DateOnly, day)
		must(t, err)
		r.clock.now = today.Add(20 * time.Hour)
		const who = "HQ-9"
		must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: who, Role: retail.Office, Scopes: []retail.Scope{{}}}))
		must(t, r.db.SetPassword(t.Context(), setup, who, password))
		want(t, r.look("/fleet/pairs", r.as(who)), http.StatusOK)
		history, err := r.db.Pair(t.Context(), pair)
		must(t, err)
		of := history.Inspections[len(history.Inspections)-1]
		saw, err := r.db.SawVerdicts(t.Context(), who, of.ID)
		must(t, err)
		if len(saw) != 1 {
			t.Errorf("of %s, read on %s, it is not noted", pair, of.Day)
		}
	})

	t.Run("lists are paged and sorted", func(t *testing.T) {
		first := r.sees("/fleet/pairs?sort=most-km")
		next := regexp.MustCompile(`href="([^"]*cursor=[^"]*)"[^>]*rel="next"`).FindStringSubmatch(first)
		if next == nil {
			t.Fatal("there is no next page")
		}
		refs := regexp.MustCompile(`href="/pairs/([^"]+)"`)
		a, b := refs.FindAllString(first, -1), refs.FindAllString(r.sees(html.UnescapeString(next[1])), -1)
		if len(a) != defaultLimit || len(b) != defaultLimit || strings.Contains(first, b[0]) {
			t.Errorf("pages of %d and %d pairs", len(a), len(b))
		}
		want(t, r.call("GET", "/fleet/pairs?sort=colour", r.office(), nil), http.StatusBadRequest)
		want(t, r.call("GET", "/fleet/pairs?cursor=zz", r.office(), nil), http.StatusBadRequest)
		if rows := r.file(t, "/fleet/pairs?as=csv&batch="+p.Batch); len(rows) < 2 {
			t.Errorf("the file has %d lines", len(rows))
		}
	})

	t.Run("each side may be narrowed by posture, strike and distance", func(t *testing.T) {
		r.t = t
		page := r.sees("/fleet/compare?a_strike=rearfoot&a_km_from=100&b_posture=neutral&b_km_to=400")
		for _, says := range []string{"rearfoot, from 100 km against neutral, to 400 km", `name="a_km_from" value="100"`, `name="b_km_to" value="400"`} {
			if !strings.Contains(page, says) {
				t.Errorf("the page doesn't say %q", says)
			}
		}
		link := regexp.MustCompile(`href="(/fleet/pairs[^"]*km_from=100[^"]*strike=rearfoot[^"]*)"`).FindStringSubmatch(page)
		if link == nil {
			t.Fatal("no link to the pairs of a side")
		}
		for _, row := range r.file(t, html.UnescapeString(link[1])+"&as=csv")[1:4] {
			if !slices.Contains(row, "rearfoot") {
				t.Errorf("%v is among the rearfoot strikers", row)
			}
		}
	})

	t.Run("two models stand side by side", func(t *testing.T) {
		query := "/fleet/compare?part=forefoot&from=2025-01&to=2026-10&a_model=" + f.Models[p.Model].ID.String() + "&b_category=daily"
		if page := r.sees(query); !strings.Contains(page, label(p.Model)+" against daily") || !strings.Contains(page, "differs") {
			t.Error("the planted model doesn't differ from its category")
		}
	})

	t.Run("a signal is taken up, given on and closed", func(t *testing.T) {
		must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: "M-7", Role: retail.Manager, Scopes: []retail.Scope{{}}}))
		all := decoded[signalList](t, r.call("GET", apiRoot+"/wear/signals", r.office(), nil)).Items
		first := all[0]
		if first.State != "found" || first.Kind != wear.EarlyBatch {
			t.Fatalf("the first signal is %+v", first)
		}
		act := func(body fields) *httptest.ResponseRecorder {
			return r.call("POST", apiRoot+"/signals/"+first.ID.String(), r.office(), body)
		}
		got := decoded[signalOut](t, act(fields{"do": "assign", "to": "M-7", "words": "ask the maker"}))
		if got.State != "taken" || got.TakenBy != "M-7" || len(got.Notes) != 1 {
			t.Errorf("after giving it on it is %+v", got)
		}
		kept, err := r.db.Signals(t.Context(), "fleet")
		must(t, err)
		if len(kept) != 1 || !strings.Contains(string(kept[0].Evidence), `"pairs":["`) {
			t.Errorf("no pairs are attached: %.300s", kept[0].Evidence)
		}
		if page := r.sees("/fleet"); !strings.Contains(page, "M-7 looks after it") || !strings.Contains(page, "local law") {
			t.Error("the page doesn't say who looks after it, or that local law decides whom to tell")
		}
		w := act(fields{"do": "close", "outcome": "weather", "words": "x"})
		want(t, w, http.StatusUnprocessableEntity)
		if at := pointers(t, w); fmt.Sprint(at) != "[#/outcome]" {
			t.Errorf("at %q", at)
		}
		want(t, r.call("POST", "/fleet/signals/"+first.ID.String(), r.office(), url.Values{"do": {"close"}, "outcome": {"shoe"}, "words": {"bond of one batch"}}), http.StatusSeeOther)
		want(t, act(fields{"do": "take"}), http.StatusConflict)
		if page := r.sees("/fleet"); strings.Contains(page, p.Batch+", fails early") {
			t.Error("a closed signal still stands among those to look at first")
		}
		want(t, r.call("POST", apiRoot+"/signals/"+id(1), r.office(), fields{"do": "take"}), http.StatusNotFound)
	})
}

func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// file gets a CSV.
func (r *rig) file(t *testing.T, path string) [][]string {
	t.Helper()
	w := r.call("GET", path, r.office(), nil)
	want(t, w, http.StatusOK)
	rows, err := csv.NewReader(w.Body).ReadAll()
	must(t, err)
	return rows
}

func TestTheModelPageShowsWhatWasPlanted(t *testing.T) {
	r, f := planted(t)
	p := f.Plants()
	path := func(i int) string { return "/fleet/models/" + f.Models[i].ID.String() }
	const months = "?from=2025-01&to=2026-10"

	t.Run("the shares by batch are those of the readings listed, and the planted batch stands out", func(t *testing.T) {
		r.t = t
		hits, size := map[string]int{}, map[string]int{}
		list := r.file(t, "/fleet/pairs"+months+"&unit=reading&as=csv&model="+f.Models[p.BatchModel].ID.String())
		at := map[string]int{}
		for i, name := range list[0] {
			at[name] = i
		}
		for _, row := range list[1:] {
			km, err := strconv.Atoi(row[at["km"]])
			verdict := row[at["verdict"]]
			if err != nil || km >= wear.EarlyKM || verdict == "" || verdict == "incomplete" {
				continue
			}
			size[row[at["batch"]]]++
			if verdict == "replace" || verdict == "retire" {
				hits[row[at["batch"]]]++
			}
		}
		rows := r.file(t, path(p.BatchModel)+months+"&figure=early&as=csv")
		most, first := -1.0, ""
		for _, row := range rows[1:] {
			batch := row[0]
			if batch == "batch not read" {
				batch = ""
			}
			if got, want := row[1]+" of "+row[2], fmt.Sprintf("%d of %d", hits[batch], size[batch]); got != want {
				t.Errorf("batch %q: %s, the list has %s", row[0], got, want)
			}
			if share := float64(hits[batch]) / float64(size[batch]); size[batch] >= wear.MinPairs && share > most {
				most, first = share, batch
			}
		}
		if len(rows)-1 != len(size) || first != p.Batch {
			t.Errorf("%d batches, the list has %d; the highest share is of %q, planted is %q", len(rows)-1, len(size), first, p.Batch)
		}
	})
	t.Run("the inner forefoot of the planted model differs from its category", func(t *testing.T) {
		r.t = t
		page := r.sees(path(p.Model) + months + "&part=forefoot")
		differs := false
		for row := range strings.SplitSeq(page, "</tr>") {
			differs = differs || strings.Contains(row, "forefoot, inner</th>") && strings.Contains(row, "<b>differs</b>")
		}
		if !differs {
			t.Error("no table says that the inner forefoot differs")
		}
	})
	t.Run("its early-failure chart is the API's, and sums its months up", func(t *testing.T) {
		r.t = t
		model := f.Models[p.BatchModel].ID.String()
		got := decoded[failureOut](t, r.call("GET", apiRoot+"/wear/failures?model="+model+"&failing="+p.Batch, r.office(), nil))
		address := path(p.BatchModel) + "?failing=" + p.Batch
		page := r.sees(address)
		for _, says := range []string{
			fmt.Sprintf("%d of %d readings under 250 km found the pair worn", got.Worn, got.Readings), "no sales of it are known",
			"Before anybody acts, a second person reads some of these pairs.",
		} {
			if !strings.Contains(page, says) {
				t.Errorf("the page doesn't say %q", says)
			}
		}
		rows := r.file(t, address+"&figure=failing&as=csv")
		readings, worn, out := 0, 0, false
		for _, row := range rows[1:] {
			n, err := strconv.Atoi(row[1])
			must(t, err)
			failed, err := strconv.Atoi(row[2])
			must(t, err)
			readings, worn, out = readings+n, worn+failed, out || row[6] == "yes"
		}
		if readings != got.Readings || worn != got.Worn || !out || len(got.Cases) != got.Readings {
			t.Errorf("the figure has %d of %d, the answer %d of %d with %d cases; it signals: %t", worn, readings, got.Worn, got.Readings, len(got.Cases), out)
		}
		want(t, r.call("GET", apiRoot+"/wear/failures", r.office(), nil), http.StatusBadRequest)
		want(t, r.call("GET", apiRoot+"/wear/failures?model="+id(1), r.office(), nil), http.StatusNotFound)
	})
	t.Run("failures are told to a thousand sold, where sales are known, with what changed", func(t *testing.T) {
		r.t = t
		m := &f.Models[p.BatchModel]
		must(t, r.db.SaveSale(t.Context(), setup, retail.Sale{Store: f.Stores[0].Code, Model: m.ID, Batch: p.Batch, Month: "2025-04", Pairs: 800}))
		rules := assess.DefaultRules()
		rules.From = "2026-05-01"
		number, err := r.db.AddRuleSet(t.Context(), setup, *rules, "tried")
		must(t, err)
		got := decoded[failureOut](t, r.call("GET", apiRoot+"/wear/failures?model="+m.ID.String()+"&failing="+p.Batch, r.office(), nil))
		if got.Sold != 800 || got.SoldFrom != "2025-04" || !got.PerThousand.OK || math.Abs(got.PerThousand.V-1000*float64(got.Worn)/800) > 1e-9 || got.Low.V >= got.PerThousand.V {
			t.Errorf("%d sold, %v in a thousand", got.Sold, got.PerThousand)
		}
		region := f.Stores[0].Region
		for query, sold := range map[string]int{
			"&region=" + region: 800, "&region=" + region + "&store=" + f.Stores[0].Code: 800, "&store=" + f.Stores[1].Code: 0, "&gait=neutral": 0,
		} {
			got := decoded[failureOut](t, r.call("GET", apiRoot+"/wear/failures?model="+m.ID.String()+query, r.office(), nil))
			if got.Sold != sold || (got.SoldWhy == "") != (sold > 0) {
				t.Errorf("%s: %d sold, want %d (%s)", query, got.Sold, sold, got.SoldWhy)
			}
		}
		whole := decoded[failureOut](t, r.call("GET", apiRoot+"/wear/failures?model="+m.ID.String(), r.office(), nil))
		if n := len(whole.Parts); n != 2 || whole.Parts[1].Rules != number || whole.Parts[1].Day != rules.From {
			t.Errorf("%d parts: %+v", n, whole.Parts)
		}
		page := r.sees(path(p.BatchModel))
		for _, says := range []string{"Of 800 pairs sold since April 2025", fmt.Sprint("rules ", number)} {
			if !strings.Contains(page, says) {
				t.Errorf("the page doesn't say %q", says)
			}
		}
		if part := r.sees(path(p.BatchModel) + months); !strings.Contains(part, "not shown for some months alone") {
			t.Error("of some months alone failures are told to all that were sold")
		}
		if moves := r.sees("/fleet" + months); !strings.Contains(moves, fmt.Sprint("rules ", number)) {
			t.Error("the charts by month don't mark the rules")
		}
	})
	t.Run("its lives stand beside the Weibull curve and the category's life of the API", func(t *testing.T) {
		r.t = t
		m := &f.Models[p.BatchModel]
		page := r.sees(path(p.BatchModel) + months)
		if n, k := strings.Count(page, "By the Weibull curve"), strings.Count(page, "All of "+m.Category+" under this gait:"); n != 3 || k != 3 {
			t.Errorf("%d Weibull curves and %d lives of the category, want 3 and 3", n, k)
		}
		rows := r.file(t, path(p.BatchModel)+months+"&figure=life-2&as=csv") // neutral
		at := map[string]int{}
		for i, name := range rows[0] {
			at[name] = i
		}
		type life struct {
			Groups []struct {
				Curve []struct {
					Time stats.Float `json:"time"`
					High float64     `json:"surv_high"`
				} `json:"curve"`
				Weibull struct{ Shape, Scale float64 } `json:"weibull"`
			} `json:"groups"`
		}
		const neutral = apiRoot + "/wear/life" + months + "&gait=neutral&"
		of := decoded[life](t, r.call("GET", neutral+"model="+m.ID.String(), r.office(), nil)).Groups[0]
		category := decoded[life](t, r.call("GET", neutral+"category="+m.Category, r.office(), nil)).Groups[0]
		for _, row := range rows[1:] {
			km, err := strconv.ParseFloat(row[at["km"]], 64)
			must(t, err)
			beside := 1.0
			for _, p := range category.Curve {
				if p.Time.OK && p.Time.V <= km {
					beside = p.High
				}
			}
			if want := exact(beside); row[at["beside"]] != want {
				t.Errorf("at %v km the category is at %s, the API has %s", km, row[at["beside"]], want)
			}
			if want := exact(math.Exp(-math.Pow(km/of.Weibull.Scale, of.Weibull.Shape))); row[at["smooth"]] != want {
				t.Errorf("at %v km the Weibull curve is at %s, by the API's shape and scale %s", km, row[at["smooth"]], want)
			}
		}
	})
	t.Run("its versions stand side by side, each with its pairs", func(t *testing.T) {
		r.t = t
		at := slices.IndexFunc(f.Models, func(m retail.ShoeModel) bool { return m.Version == "2" })
		m := &f.Models[at]
		page := r.sees(path(at) + months)
		start, versions := strings.Index(page, `data-part="versions"`), 0
		if start < 0 {
			t.Fatal("the page has no versions")
		}
		table := page[start:]
		table = table[:strings.Index(table, "</table>")]
		for i := range f.Models {
			of := &f.Models[i]
			if of.Brand != m.Brand || of.Model != m.Model {
				continue
			}
			versions++
			pairs := len(r.file(t, "/fleet/pairs"+months+"&as=csv&model="+of.ID.String())) - 1
			if !strings.Contains(table, "model="+of.ID.String()) || !strings.Contains(table, fmt.Sprintf(">%d</a>", pairs)) {
				t.Errorf("version %s with its %d pairs is not in %s", of.Version, pairs, table)
			}
			if link := "/fleet/models/" + of.ID.String(); strings.Contains(table, link) == (i == at) {
				t.Errorf("version %s: a link where it is the page, or none where it isn't", of.Version)
			}
		}
		// Early readings are of all months where none are named, though the pairs are of some.
		early := func(query string) string {
			page := r.sees(path(at) + query)
			cells := strings.Split(page[strings.Index(page, `data-part="versions"`):], `<td class="num">`)
			return cells[3]
		}
		const lately = "?from=2025-11&to=2026-10"
		if all, some := early(""), early(lately); all == some || early("") != all {
			t.Errorf("early readings of all months are %s, of some %s", all, some)
		}
		if n := strings.Count(table, "<tr>") - 1; n != versions || versions < 2 {
			t.Errorf("the table has %d rows for %d versions", n, versions)
		}
	})
	t.Run("a model that isn't there is not found", func(t *testing.T) {
		r.t = t
		want(t, r.call("GET", "/fleet/models/"+id(1), r.office(), nil), http.StatusNotFound)
		want(t, r.call("GET", "/fleet/models/fenline", r.office(), nil), http.StatusNotFound)
	})
}

func TestTheStorePageShowsItsPlaceAndItsData(t *testing.T) {
	r, f := planted(t)
	store := f.Stores[f.Plants().Store].Code
	const months = "?from=2025-01&to=2026-10"
	page := r.sees("/fleet/stores/" + store + months)
	if !strings.Contains(page, store+" judges replace more often than its pairs explain.") {
		t.Error("the store that was planted is not told apart on its page")
	}
	if !strings.Contains(page, "It looks like the readers: "+store+" grades 10 of 10 zones harder") {
		t.Error("the page doesn't put the planted store down to its readers")
	}
	// The verdicts' counts are those of the pairs listed.
	listed := map[string]int{}
	rows := r.file(t, "/fleet/pairs"+months+"&as=csv&store="+store)
	column := slices.Index(rows[0], "verdict")
	for _, row := range rows[1:] {
		listed[row[column]]++
	}
	for verdict, n := range listed {
		if want := fmt.Sprintf(`verdict=%s">%d</a>`, verdict, n); !strings.Contains(page, want) {
			t.Errorf("no link %s to the pairs with that verdict", want)
		}
	}
	if len(listed) < 3 {
		t.Errorf("%d verdicts are listed, the test compares nothing", len(listed))
	}
	// Its place in the figure is its share among the readings of known distance.
	worn := r.file(t, "/fleet/pairs"+months+"&unit=reading&km_from=0&verdict=replace,retire&as=csv&store="+store)
	answer := decoded[struct {
		Groups []struct {
			Name       string
			Hits, Size int
		}
	}](t, r.call("GET", apiRoot+"/wear/stores"+months+"&unit=reading&km_from=0", r.office(), nil))
	for _, row := range r.file(t, "/fleet/stores/"+store+months+"&figure=stores&as=csv")[1:] {
		if row[0] != store {
			continue
		}
		if hits := strconv.Itoa(len(worn) - 1); row[1] != hits {
			t.Errorf("%s readings are worn in the figure, %s in the list", row[1], hits)
		}
		found := false
		for _, g := range answer.Groups {
			found = found || g.Name == store && strconv.Itoa(g.Hits) == row[1] && strconv.Itoa(g.Size) == row[2]
		}
		if !found {
			t.Errorf("the API lacks %s of %s in %s", row[1], row[2], store)
		}
	}
	want(t, r.call("GET", "/fleet/stores/NOWHERE", r.office(), nil), http.StatusNotFound)
}
