package dashboard

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

func TestAReadingIsStoredOnce(t *testing.T) {
	clock := newTestClock()
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, clock)
		path := apiRoot + "/inspections/" + id(1)
		first := r.call("PUT", path, r.fitter(), soundReading)
		want(t, first, http.StatusCreated)
		stored := decoded[fields](t, first)
		for member, value := range map[string]any{
			"inspection_id": id(1), "store": storeA, "advised": "keep", "rules": 1.0, "received_at": "2026-10-05T12:00:00Z",
		} {
			if stored[member] != value {
				t.Errorf("%s is %v, want %v", member, stored[member], value)
			}
		}
		again := r.call("PUT", path, r.fitter(), soundReading)
		want(t, again, http.StatusOK)
		if again.Body.String() != first.Body.String() {
			t.Errorf("sent again, it is %s, was %s", again.Body, first.Body)
		}
		other := r.call("PUT", path, r.fitter(), soundReading.with(fields{"note": "another"}))
		want(t, other, http.StatusConflict)
		pointers(t, other)
		got := r.call("GET", path, r.fitter(), nil)
		want(t, got, http.StatusOK)
		if got.Body.String() != first.Body.String() {
			t.Errorf("read back, it is %s, was %s", got.Body, first.Body)
		}
	}, dbtest.Clock(clock.Now))
}

func TestTheSameReadingIsKnownHoweverItIsWritten(t *testing.T) {
	r := newRig(t)
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(1), r.fitter(), `{"store":"S-A","staff":"F-1","at":"2026-10-05T13:00:00+02:00","kind":"check","left":{"heel_medial":1}}`), http.StatusCreated)
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(1), r.fitter(), ` {"kind":"check", "left": {"heel_medial": "scuffed"}, "at":"2026-10-05T11:00:00.000Z","staff":"F-1","store":"S-A","inspection_id":"`+id(1)+`"}`), http.StatusOK)
}

func TestWhatTheServerSaysStandsBesideTheReading(t *testing.T) {
	r := newRig(t)
	for i, tt := range []struct {
		name string
		body fields
		flag string
	}{
		{"a verdict that differs", wornReading().with(fields{"advised": "keep"}), "verdict-differs"},
		{"no as-new values", soundReading, "no-model"},
		{"gait after the wear", soundReading.with(fields{"gait": "neutral", "gait_before": "no"}), "gait-after"},
		{"given less, with a reason and a second person", offLineReading(), "given-less"},
		{"a second person who was named off line", offLineReading(), "second-unproven"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			flags := fmt.Sprint(r.put(i+1, tt.body)["flags"])
			if !strings.Contains(flags, tt.flag) {
				t.Errorf("flags %s, want %s among them", flags, tt.flag)
			}
		})
	}
	sent := r.put(99, wornReading().with(fields{"advised": "keep", "flags": []string{"clock-off"}}))
	if sent["advised"] != "keep" {
		t.Errorf("advised %v, want keep as it was sent", sent["advised"])
	}
	if strings.Contains(fmt.Sprint(sent["flags"]), "clock-off") {
		t.Error("a flag that the client set was believed")
	}
	result := decoded[fields](t, r.call("GET", apiRoot+"/inspections/"+id(99)+"/result", r.fitter(), nil))
	if result["verdict"] != "replace" || result["engine"] != assess.EngineVersion {
		t.Errorf("judged again it is %v by engine %v, want replace", result["verdict"], result["engine"])
	}
}

func TestATabletsClockIsTakenIntoAccount(t *testing.T) {
	r := newRig(t)
	path := apiRoot + "/inspections/"
	// The tablet shows tomorrow: its day isn't the store's.
	late := soundReading.with(fields{"at": "2026-10-06T11:00:00Z"})
	w := r.call("PUT", path+id(1), r.fitter(), late, clientTime, "2026-10-06T12:00:00Z")
	want(t, w, http.StatusCreated)
	if flags := fmt.Sprint(decoded[fields](t, w)["flags"]); !strings.Contains(flags, "clock-off") {
		t.Errorf("flags %s, want clock-off", flags)
	}
	// Who doesn't say what their clock shows can't have read a pair tomorrow.
	w = r.call("PUT", path+id(3), r.fitter(), soundReading.with(fields{"at": "2026-10-06T11:00:00Z"}))
	want(t, w, http.StatusCreated)
	if flags := fmt.Sprint(decoded[fields](t, w)["flags"]); !strings.Contains(flags, "clock-off") {
		t.Errorf("flags %s of a reading to come, want clock-off", flags)
	}
	listed := r.call("GET", apiRoot+"/inspections?from=2026-10-05&to=2026-10-05", r.fitter(), nil)
	if n := len(decoded[pageOf[fields]](t, listed).Items); n != 1 {
		t.Errorf("%d readings on the day by the server's clock, want 1", n)
	}
	for _, clock := range []string{"noon", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z"} {
		want(t, r.call("PUT", path+id(2), r.fitter(), soundReading, clientTime, clock), http.StatusBadRequest)
	}
}

// What no text of a database may hold is refused, and where it stands is said,
// before it gets there.
func TestATextThatCannotBeStoredIsNamed(t *testing.T) {
	clock := newTestClock()
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, clock)
		for _, tt := range []struct {
			name, method, path string
			body               any
			status             int
			at                 []string
		}{
			{"a NUL in the query", "GET", "/inspections?staff=a%00b", nil, http.StatusBadRequest, []string{"staff"}},
			{"no UTF-8 in the query", "GET", "/shoe-models?q=%ff", nil, http.StatusBadRequest, []string{"q"}},
			{"everything in the query", "GET", "/inspections?limit=0&from=2026-02-31&to=soon&model=7&kind=sale&verdict=good&live=maybe", nil, http.StatusBadRequest, []string{"limit", "from", "to", "model", "kind", "verdict", "live"}},
			{"everything of an export", "GET", "/export/inspections.csv?from=2026-13-01&to=x&store=S-Z", nil, http.StatusBadRequest, []string{"from", "to", "store"}},
			{"a query that can't be read", "GET", "/inspections?limit=%zz", nil, http.StatusBadRequest, nil},
			{"a NUL in the path", "GET", "/runners/a%00b", nil, http.StatusBadRequest, nil},
			{"a cursor of other bytes", "GET", "/pairs?cursor=zzz", nil, http.StatusBadRequest, []string{"cursor"}},
			{"a NUL in a body", "POST", "/inspections/" + id(1) + "/sign-off", fields{"purpose": "reading", "staff": "\x00", "store": storeA, "pin": "1"}, http.StatusUnprocessableEntity, []string{"#/staff"}},
			{"two in a body", "PUT", "/trade-ins/" + id(1), fields{
				"inspection_id": id(1), "store": "S\x00", "staff": "F-1", "at": "2026-10-05T11:00:00Z", "grade": "A", "route": "resale", "credit": 0, "advised": 0, "credit_table": 1, "voucher": "\x00",
			}, http.StatusUnprocessableEntity, []string{"#/store", "#/voucher"}},
			{"a number too large", "PUT", "/trade-ins/" + id(1), fields{
				"inspection_id": id(1), "store": storeA, "staff": "F-1", "at": "2026-10-05T11:00:00Z", "grade": "A", "route": "resale", "credit": 0, "advised": 0, "credit_table": 1e300,
			}, http.StatusUnprocessableEntity, []string{"#/credit_table"}},
		} {
			t.Run(tt.name, func(t *testing.T) {
				w := r.call(tt.method, apiRoot+tt.path, r.office(), tt.body)
				want(t, w, tt.status)
				if got := pointers(t, w); !slices.Equal(got, tt.at) {
					t.Errorf("at %q, want %q: %s", got, tt.at, w.Body)
				}
			})
		}
		want(t, r.post("/sign-in", url.Values{"staff": {"\x00"}, "password": {"x"}}), http.StatusBadRequest)
	}, dbtest.Clock(clock.Now))
}

func TestEveryBadValueIsNamed(t *testing.T) {
	r := newRig(t)
	path := apiRoot + "/inspections/" + id(1)
	for _, tt := range []struct {
		name   string
		body   any
		status int
		at     []string
	}{
		{"no JSON", `{"store":`, http.StatusBadRequest, nil},
		{"nothing", ``, http.StatusBadRequest, nil},
		{"two values", `{} {}`, http.StatusBadRequest, nil},
		{"a list", `[]`, http.StatusUnprocessableEntity, []string{"#"}},
		{"an empty reading", `{}`, http.StatusUnprocessableEntity, []string{"#/store", "#/staff", "#/at", "#/kind"}},
		{"an unknown member", soundReading.with(fields{"colour": "red"}), http.StatusUnprocessableEntity, []string{"#/colour"}},
		{"an unknown member of a shoe", soundReading.with(fields{"left": fields{"sole": 1}}), http.StatusUnprocessableEntity, []string{"#/left/sole"}},
		{"a grade off the scale", soundReading.with(fields{"left": fields{"heel_medial": 7}}), http.StatusUnprocessableEntity, []string{"#/left/heel_medial"}},
		{"a word off the scale", soundReading.with(fields{"right": fields{"bond": "loose"}}), http.StatusUnprocessableEntity, []string{"#/right/bond"}},
		{"a tilt out of range", soundReading.with(fields{"right": fields{"tilt": 46}}), http.StatusUnprocessableEntity, []string{"#/right/tilt"}},
		{"several at once", soundReading.with(fields{"left": fields{"tilt": -60, "bond": 3}, "kind": "sale", "km": "far"}), http.StatusUnprocessableEntity, []string{"#/left/tilt", "#/left/bond", "#/kind", "#/km"}},
		{"another id than the address's", soundReading.with(fields{"inspection_id": id(2)}), http.StatusUnprocessableEntity, []string{"#/inspection_id"}},
		{"a reading that is void", soundReading.with(fields{"voided_at": "2026-10-05T12:00:00Z"}), http.StatusUnprocessableEntity, []string{"#/voided_at"}},
		{"a store that isn't set up", soundReading.with(fields{"store": "S-Z"}), http.StatusUnprocessableEntity, []string{"#/store"}},
		{"a rule set that isn't", soundReading.with(fields{"rules": 77}), http.StatusUnprocessableEntity, []string{"#/rules"}},
		{"given less without a reason", wornReading().with(fields{"given": "keep"}), http.StatusUnprocessableEntity, []string{"#/given", "#/given"}},
		{"a name to be escaped", `{"a/b~c d":1}`, http.StatusUnprocessableEntity, []string{"#/a~1b~0c%20d"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := r.call("PUT", path, r.office(), tt.body)
			want(t, w, tt.status)
			got := pointers(t, w)
			if tt.at != nil {
				slices.Sort(got)
				slices.Sort(tt.at)
				if !slices.Equal(got, tt.at) {
					t.Errorf("at %q, want %q: %s", got, tt.at, w.Body)
				}
			}
		})
	}
	t.Run("an id that is no UUIDv7", func(t *testing.T) {
		for _, bad := range []string{"1", "00000000-0000-4000-8000-000000000000"} {
			w := r.call("PUT", apiRoot+"/inspections/"+bad, r.fitter(), soundReading)
			want(t, w, http.StatusBadRequest)
			if got := pointers(t, w); !slices.Equal(got, []string{"id"}) {
				t.Errorf("at %q, want id", got)
			}
		}
	})
	t.Run("another type", func(t *testing.T) {
		for _, kind := range []string{"text/plain", "application/x-www-form-urlencoded", ""} {
			want(t, r.call("PUT", path, r.fitter(), soundReading, "Content-Type", kind), http.StatusUnsupportedMediaType)
		}
		want(t, r.call("PUT", path, r.fitter(), soundReading, "Content-Type", "application/json; charset=utf-8"), http.StatusCreated)
	})
	t.Run("a body without end", func(t *testing.T) {
		w := r.call("PUT", path, r.fitter(), `{"note":"`+strings.Repeat("a", maxBody)+`"}`)
		want(t, w, http.StatusRequestEntityTooLarge)
		pointers(t, w)
	})
}

func TestATraineesKeepNeedsACoReader(t *testing.T) {
	r := newRig(t)
	must(t, r.db.SaveStaff(t.Context(), setup, retail.Staff{Code: "F-1", Role: retail.Trainee, Scopes: []retail.Scope{{Store: storeA}}}))
	alone := soundReading.with(fields{"given": "keep"})
	w := r.call("PUT", apiRoot+"/inspections/"+id(1), r.fitter(), alone)
	want(t, w, http.StatusUnprocessableEntity)
	if got := pointers(t, w); !slices.Equal(got, []string{"#/given"}) {
		t.Errorf("at %q, want #/given", got)
	}
}

func TestAVoidReadingStaysAndSaysSo(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	path := apiRoot + "/inspections/" + id(1) + "/void"
	manager := r.token(retail.Manager, retail.Scope{Store: storeA})
	w := r.call("POST", path, manager, fields{"reason": ""})
	want(t, w, http.StatusUnprocessableEntity)
	if got := pointers(t, w); !slices.Equal(got, []string{"#/reason"}) {
		t.Errorf("at %q, want #/reason", got)
	}
	want(t, r.call("POST", path, manager, fields{"reason": "wrong pair"}), http.StatusOK)
	got := decoded[fields](t, r.call("GET", apiRoot+"/inspections/"+id(1), r.fitter(), nil))
	if got["void_reason"] != "wrong pair" || got["voided_at"] != "2026-10-05T12:00:00Z" {
		t.Errorf("void %v at %v", got["void_reason"], got["voided_at"])
	}
	again := r.call("POST", path, manager, fields{"reason": "again"})
	want(t, again, http.StatusConflict)
	if says := decoded[problem](t, again).Detail; !strings.Contains(says, "void already") {
		t.Errorf("%q doesn't say why", says)
	}
	two := r.call("POST", path, manager, fields{"reason": "on\ntwo lines"})
	want(t, two, http.StatusUnprocessableEntity)
	if at := pointers(t, two); !slices.Equal(at, []string{"#/reason"}) {
		t.Errorf("at %q, want #/reason: %s", at, two.Body)
	}
	want(t, r.call("POST", apiRoot+"/inspections/"+id(7)+"/void", manager, fields{"reason": "nothing"}), http.StatusNotFound)
}

func TestAnAmendmentTakesTheReadingsPlace(t *testing.T) {
	r := newRig(t)
	old := r.put(1, soundReading)
	path := apiRoot + "/inspections/" + id(1) + "/amend"
	w := r.call("POST", path, r.fitter(), wornReading().with(fields{"inspection_id": id(2), "amend_reason": "left and right were swapped"}))
	want(t, w, http.StatusCreated)
	amended := decoded[fields](t, w)
	if amended["amend_reason"] != "left and right were swapped" || amended["supersedes"] != id(1) || amended["pair_ref"] != old["pair_ref"] || amended["advised"] != "replace" {
		t.Errorf("the amendment is %v", amended)
	}
	again := r.call("POST", path, r.fitter(), soundReading.with(fields{"inspection_id": id(3)}))
	want(t, again, http.StatusConflict)
	if says := decoded[problem](t, again).Detail; !strings.Contains(says, "amend the latest") {
		t.Errorf("%q doesn't say what to do", says)
	}
	for name, body := range map[string]fields{
		"#/store":         soundReading.with(fields{"store": storeB}),
		"#/supersedes":    soundReading.with(fields{"supersedes": id(9)}),
		"#/inspection_id": soundReading.with(fields{"inspection_id": id(1)}),
	} {
		w := r.call("POST", path, r.office(), body)
		want(t, w, http.StatusUnprocessableEntity)
		if got := pointers(t, w); !slices.Equal(got, []string{name}) {
			t.Errorf("at %q, want %s", got, name)
		}
	}
	// The pair's life goes by the amendment alone.
	pair := decoded[historyOut](t, r.call("GET", apiRoot+"/pairs/"+old["pair_ref"].(string), r.fitter(), nil))
	if pair.Life.Readings != 1 || pair.Life.Upper == nil || *pair.Life.Upper != 700 || len(pair.Inspections) != 2 {
		t.Errorf("life %+v of %d readings, want worn by 700 km of 2 readings, 1 of them counting", pair.Life, len(pair.Inspections))
	}
}

func TestAListGoesOnWhereItStopped(t *testing.T) {
	r := newRig(t)
	const total = 7
	for i := range total {
		r.put(i+1, soundReading)
	}
	var seen []string
	path := apiRoot + "/inspections?limit=3&live=true&kind=trade-in&verdict=keep"
	for pages := 1; path != ""; pages++ {
		w := r.call("GET", path, r.fitter(), nil)
		want(t, w, http.StatusOK)
		page := decoded[pageOf[fields]](t, w)
		for _, item := range page.Items {
			seen = append(seen, item["inspection_id"].(string))
		}
		link := w.Header().Get("Link")
		if (link != "") != (page.Next != "") || pages > total {
			t.Fatalf("page %d has Link %q and next %q", pages, link, page.Next)
		}
		path = strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
	}
	wantIDs := []string{id(7), id(6), id(5), id(4), id(3), id(2), id(1)}
	if !slices.Equal(seen, wantIDs) {
		t.Errorf("listed %q, want newest first, each once", seen)
	}
	for query, at := range map[string]string{
		"limit=0": "limit", "limit=1000": "limit", "limit=x": "limit", "cursor=%21": "cursor", "cursor=AAAA": "cursor",
		"kind=sale": "kind", "verdict=good": "verdict", "model=7": "model", "from=today": "from", "to=2026-02-30": "to",
	} {
		w := r.call("GET", apiRoot+"/inspections?"+query, r.fitter(), nil)
		want(t, w, http.StatusBadRequest)
		if got := pointers(t, w); !slices.Equal(got, []string{at}) {
			t.Errorf("%s: at %q, want %s", query, got, at)
		}
	}
}

func TestABlindReadingIsKeptFromOtherFitters(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading.with(fields{"kind": "blind"}))
	path := apiRoot + "/inspections/" + id(1)
	want(t, r.call("GET", path, r.fitter(), nil), http.StatusForbidden)
	want(t, r.call("GET", path, r.token(retail.Trainer, retail.Scope{Store: storeA}), nil), http.StatusOK)
	if n := len(decoded[pageOf[fields]](t, r.call("GET", apiRoot+"/inspections", r.fitter(), nil)).Items); n != 0 {
		t.Errorf("%d blind readings are listed for a fitter, want none", n)
	}
}

func TestTwoTabletsAtOnceStoreOneReading(t *testing.T) {
	clock := newTestClock()
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, clock)
		token := r.fitter()
		const tablets = 8
		var mu sync.Mutex
		var wg sync.WaitGroup
		statuses, bodies := map[int]int{}, map[string]int{}
		for range tablets {
			wg.Go(func() {
				w := r.call("PUT", apiRoot+"/inspections/"+id(1), token, soundReading)
				mu.Lock()
				defer mu.Unlock()
				statuses[w.Code]++
				bodies[w.Body.String()]++
			})
		}
		wg.Wait()
		if statuses[http.StatusCreated] != 1 || statuses[http.StatusOK] != tablets-1 || len(bodies) != 1 {
			t.Errorf("statuses %v and %d different answers, want one 201, the rest 200, all alike", statuses, len(bodies))
		}
		// Readings of one pair from several tablets all count in its life.
		ref := r.put(2, soundReading.with(fields{"km": 100}))["pair_ref"]
		for i := range tablets {
			wg.Go(func() {
				body := soundReading.with(fields{"km": 100 + 10*i, "pair_ref": ref, "at": fmt.Sprintf("2026-10-05T11:%02d:00Z", i+1)})
				if w := r.call("PUT", apiRoot+"/inspections/"+id(10+i), token, body); w.Code != http.StatusCreated {
					t.Errorf("tablet %d: %d %s", i, w.Code, w.Body)
				}
			})
		}
		wg.Wait()
		pair := decoded[historyOut](t, r.call("GET", apiRoot+"/pairs/"+ref.(string), token, nil))
		if pair.Life.Readings != tablets+1 || pair.Life.Lower != 100+10*(tablets-1) {
			t.Errorf("life %+v, want all %d readings in it", pair.Life, tablets+1)
		}
	}, dbtest.Clock(clock.Now))
}

// TestStoringAReadingAsksForNothingElse counts the statements of one PUT: with
// token, store, rules and model known, the only ones are those that store it.
func TestStoringAReadingAsksForNothingElse(t *testing.T) {
	r := newRig(t)
	token := r.fitter()
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(1), token, soundReading), http.StatusCreated)
	statements := func() (n int64) {
		for _, p := range r.db.Pools() {
			n += p.Statements
		}
		return n
	}
	before := statements()
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(2), token, soundReading), http.StatusCreated)
	overHTTP := statements() - before

	rec, err := assess.DecodeJSON([]byte(fmt.Sprintf(`{"inspection_id":"%s","store":"S-A","staff":"F-1","at":"2026-10-05T11:00:00Z","kind":"check","brand":"Velm","model":"Arc","version":"3"}`, id(3))))
	must(t, err)
	rec.Rules = 1
	before = statements()
	_, err = r.db.SaveInspection(t.Context(), setup, models.NewInspection{Record: rec, SHA: [32]byte{1}})
	must(t, err)
	if direct := statements() - before; overHTTP != direct {
		t.Errorf("a PUT takes %d statements, storing alone %d", overHTTP, direct)
	}
	// After a while everything known is asked for once more.
	r.clock.advance(cacheFor + time.Second)
	before = statements()
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(4), token, soundReading), http.StatusCreated)
	if n := statements() - before; n <= overHTTP {
		t.Errorf("after %v a PUT took %d statements, want more than %d: nothing was asked again", cacheFor, n, overHTTP)
	}
}

// What was given stands beside what is allowed, in an address as in a body.
func TestARefusalSaysWhatWasGiven(t *testing.T) {
	r := newRig(t)
	for _, tt := range []struct {
		method, path string
		body         any
		says         string
	}{
		{"GET", "/inspections?limit=many", nil, `"many": `},
		{"GET", "/inspections?kind=sale", nil, `"sale"`},
		{"GET", "/inspections?from=2026-02-31", nil, `"2026-02-31"`},
		{"PUT", "/inspections/seven", soundReading, `"seven": `},
		{"PUT", "/inspections/" + id(1), soundReading.with(fields{"inspection_id": id(2)}), `"` + id(2) + `": `},
		{"PUT", "/inspections/" + id(1), soundReading.with(fields{"store": "S-Z"}), `"S-Z": `},
		{"PUT", "/inspections/" + id(1), soundReading.with(fields{"rules": 77}), "77: "},
		{"PUT", "/photos/abc", nil, `"abc": `},
	} {
		w := r.call(tt.method, apiRoot+tt.path, r.office(), tt.body)
		p := decoded[problem](t, w)
		if len(p.Errors) != 1 || !strings.Contains(p.Errors[0].Detail, tt.says) || strings.Count(p.Errors[0].Detail, strings.Trim(tt.says, ": ")) != 1 {
			t.Errorf("%s %s: %s, want %s once", tt.method, tt.path, w.Body, tt.says)
		}
	}
}
