package dashboard

import (
	"context"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/exchange"
	"solewright/models/retail"
)

func TestJudgingStoresNothing(t *testing.T) {
	r := newRig(t)
	for _, tt := range []struct {
		name, verdict, how string
		body               fields
	}{
		{"a sound pair", "keep", "", soundReading},
		{"midsole showing", "replace", "", wornReading()},
		{"nothing read", "incomplete", "", fields{"kind": "check"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := r.call("POST", apiRoot+"/judge", r.fitter(), tt.body)
			want(t, w, http.StatusOK)
			got := decoded[fields](t, w)
			if got["verdict"] != tt.verdict || got["rules"] != 1.0 {
				t.Errorf("verdict %v under %v, want %s under 1", got["verdict"], got["rules"], tt.verdict)
			}
		})
	}
	if n := len(decoded[pageOf[fields]](t, r.call("GET", apiRoot+"/inspections", r.office(), nil)).Items); n != 0 {
		t.Errorf("judging stored %d readings", n)
	}
	w := r.call("POST", apiRoot+"/judge", r.fitter(), fields{"left": fields{"bond": "gone"}})
	want(t, w, http.StatusUnprocessableEntity)
	if got := pointers(t, w); !slices.Equal(got, []string{"#/left/bond"}) {
		t.Errorf("at %q", got)
	}
}

func TestTheModelsAsNewValuesCount(t *testing.T) {
	r := newRig(t)
	built := assess.ColSet(0).With(assess.HeelLateral)
	m, err := r.db.SaveShoeModel(t.Context(), setup, retail.ShoeModel{
		Brand: "Velm", Model: "Arc", Version: "3", Category: "long run", GTINs: []string{"6291041500213"},
		AsNew: assess.AsNew{Built: built}, Features: retail.Features{DropMM: retail.UnknownDrop},
	})
	must(t, err)
	// The lateral heel is made without rubber: its 4 is no wear.
	want(t, r.call("POST", apiRoot+"/judge", r.fitter(), wornReading()), http.StatusOK)
	got := decoded[fields](t, r.call("POST", apiRoot+"/judge", r.fitter(), wornReading()))
	if got["verdict"] != "keep" || strings.Contains(fmt.Sprint(got["flags"]), "no-model") {
		t.Errorf("verdict %v, flags %v, want keep by the model's mask", got["verdict"], got["flags"])
	}
	r.put(1, wornReading())
	result := decoded[fields](t, r.call("GET", apiRoot+"/inspections/"+id(1)+"/result", r.fitter(), nil))
	if result["verdict"] != "keep" {
		t.Errorf("judged again it is %v, want keep", result["verdict"])
	}
	t.Run("and it is found", func(t *testing.T) {
		for query, n := range map[string]int{
			"": 1, "q=arc": 1, "q=vel+3": 1, "q=none": 0, "gtin=6291041500213": 1, "gtin=12345670": 0, "limit=1": 1,
			"category=long+run,trail&sold=true": 1, "category=trail": 0, "cushioning=high": 0, "width=wide": 0,
		} {
			w := r.call("GET", apiRoot+"/shoe-models?"+query, r.fitter(), nil)
			want(t, w, http.StatusOK)
			if items := decoded[pageOf[fields]](t, w).Items; len(items) != n {
				t.Errorf("%q finds %d, want %d", query, len(items), n)
			}
		}
		want(t, r.call("GET", apiRoot+"/shoe-models?cushioning=soft", r.fitter(), nil), http.StatusBadRequest)
		w := r.call("GET", apiRoot+"/shoe-models/"+m.ID.String(), r.fitter(), nil)
		want(t, w, http.StatusOK)
		if got := decoded[fields](t, w); fmt.Sprint(got["built"]) != "[heel_lateral]" || got["category"] != "long run" {
			t.Errorf("the model is %v", got)
		}
		want(t, r.call("GET", apiRoot+"/shoe-models/"+id(1), r.fitter(), nil), http.StatusNotFound)
	})
}

func TestRuleSetsAreKnownByNumber(t *testing.T) {
	r := newRig(t)
	current := r.call("GET", apiRoot+"/rules/current", r.fitter(), nil)
	want(t, current, http.StatusOK)
	first := r.call("GET", apiRoot+"/rules/1", r.fitter(), nil)
	want(t, first, http.StatusOK)
	if current.Body.String() != first.Body.String() {
		t.Error("the rules that hold are not the first set")
	}
	if !strings.Contains(first.Body.String(), `"code"`) {
		t.Error("the set doesn't list its codes")
	}
	for _, n := range []string{"2", "0", "latest", "1x"} {
		want(t, r.call("GET", apiRoot+"/rules/"+n, r.fitter(), nil), http.StatusNotFound)
	}
}

func TestWhatIfCountsWhatADraftChanges(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	r.put(2, wornReading())
	draft := r.draft()
	unchanged := decoded[whatIf](t, r.call("POST", apiRoot+"/rules/what-if", r.office(), draft))
	if unchanged.Judged != 2 || unchanged.Unchanged != 2 || !unchanged.Complete {
		t.Errorf("the rules that hold change %+v", unchanged)
	}
	// A draft by which the midsole showing is only noted.
	for _, rule := range draft["rules"].(map[string]any)["rules"].([]any) {
		if rule := rule.(map[string]any); rule["severity"] == "replace" {
			rule["severity"] = "note"
			delete(rule, "fault") // stands only beside a failing severity
		}
	}
	w := r.call("POST", apiRoot+"/rules/what-if", r.office(), draft)
	want(t, w, http.StatusOK)
	got := decoded[whatIf](t, w)
	if got.Judged != 2 || got.Milder != 1 || got.Harsher != 0 || len(got.Rules) != 1 || len(got.Moves) != 1 ||
		len(got.Examples) != 1 || got.Examples[0].Inspection != id(2) || got.Moves[0].From != "replace" {
		t.Errorf("the milder draft changes %+v", got)
	}
	draft["rules"].(map[string]any)["rules"].([]any)[0].(map[string]any)["severity"] = "awful"
	w = r.call("POST", apiRoot+"/rules/what-if", r.office(), draft)
	want(t, w, http.StatusUnprocessableEntity)
	if got := pointers(t, w); !slices.Equal(got, []string{"#/rules/rules/0/severity"}) {
		t.Errorf("at %q", got)
	}
	w = r.call("POST", apiRoot+"/rules/what-if", r.office(), fields{"from": "spring"})
	want(t, w, http.StatusUnprocessableEntity)
	if got := pointers(t, w); !slices.Contains(got, "#/from") {
		t.Errorf("at %q, want #/from among them", got)
	}
}

func TestAPairIsMergedAndSplit(t *testing.T) {
	r := newRig(t)
	a, b := r.put(1, soundReading)["pair_ref"].(string), r.put(2, wornReading())["pair_ref"].(string)
	w := r.call("POST", apiRoot+"/pairs/merge", r.office(), fields{"from": b, "into": a, "reason": "two slips"})
	want(t, w, http.StatusOK)
	if got := decoded[historyOut](t, w); got.Ref != a || len(got.Inspections) != 2 || got.Life.Lower != 320 || *got.Life.Upper != 700 {
		t.Errorf("merged into %+v", got)
	}
	// The other slip leads to the same pair.
	if got := decoded[historyOut](t, r.call("GET", apiRoot+"/pairs/"+b, r.fitter(), nil)); got.Ref != a {
		t.Errorf("the old slip leads to %s, want %s", got.Ref, a)
	}
	w = r.call("POST", apiRoot+"/pairs/split", r.office(), fields{"pair_ref": a, "readings": []string{id(2)}, "reason": "two pairs after all"})
	want(t, w, http.StatusOK)
	if got := decoded[historyOut](t, w); got.Ref == a || len(got.Inspections) != 1 {
		t.Errorf("split off %+v", got)
	}
	for _, tt := range []struct {
		name, path string
		body       fields
		status     int
		at         []string
	}{
		{"a reference that isn't one", "/pairs/merge", fields{"from": "123456789", "into": a, "reason": "x"}, http.StatusUnprocessableEntity, []string{"#/from"}},
		{"a reference too short", "/pairs/merge", fields{"from": "1", "into": a, "reason": "x"}, http.StatusUnprocessableEntity, []string{"#/from"}},
		{"no reason", "/pairs/merge", fields{"from": b, "into": a}, http.StatusUnprocessableEntity, []string{"#"}},
		{"an unknown member", "/pairs/merge", fields{"from": b, "into": a, "reason": "x", "why": "y"}, http.StatusUnprocessableEntity, []string{"#/why"}},
		{"readings that are none", "/pairs/split", fields{"pair_ref": a, "readings": []string{id(1), "x"}, "reason": "x"}, http.StatusUnprocessableEntity, []string{"#/readings/1"}},
		{"no readings", "/pairs/split", fields{"pair_ref": a, "readings": []string{}, "reason": "x"}, http.StatusUnprocessableEntity, []string{"#/readings"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := r.call("POST", apiRoot+tt.path, r.office(), tt.body)
			want(t, w, tt.status)
			if got := pointers(t, w); !slices.Equal(got, tt.at) {
				t.Errorf("at %q, want %q", got, tt.at)
			}
		})
	}
}

func TestALookFromAnotherStoreIsNoted(t *testing.T) {
	r := newRig(t)
	ref := r.put(1, soundReading)["pair_ref"].(string)
	looks := func(action, subject string) int {
		all, _, err := r.db.Audit(t.Context(), models.AuditFilter{Action: action, Subject: subject}, models.Page{})
		must(t, err)
		return len(all)
	}
	want(t, r.call("GET", apiRoot+"/pairs/"+ref, r.fitter(), nil), http.StatusOK)
	if n := looks("read", "pair:"+ref); n != 0 {
		t.Errorf("a look from the pair's own store was noted %d times", n)
	}
	elsewhere := r.token(retail.Fitter, retail.Scope{Store: storeB})
	want(t, r.call("GET", apiRoot+"/pairs/"+ref, elsewhere, nil), http.StatusOK)
	if n := looks("read", "pair:"+ref); n != 1 {
		t.Errorf("a look from another store was noted %d times, want once", n)
	}
	// By the runner's code, too.
	w := r.call("GET", apiRoot+"/pairs?runner=R-1&open=true", elsewhere, nil)
	want(t, w, http.StatusOK)
	if items := decoded[pageOf[pairOut]](t, w).Items; len(items) != 1 || items[0].Ref != ref {
		t.Errorf("the runner's pairs are %+v", items)
	}
	if n := looks("read", "runner:R-1"); n != 1 {
		t.Errorf("looking for a runner was noted %d times, want once", n)
	}
}

func TestATradeInEndsThePair(t *testing.T) {
	r := newRig(t)
	ref := r.put(1, soundReading)["pair_ref"].(string)
	r.put(2, wornReading())
	path := apiRoot + "/trade-ins/" + id(1)
	manager := retail.Staff{Code: "M-1", Role: retail.Manager, Scopes: []retail.Scope{{Store: storeA}}}
	must(t, r.db.SaveStaff(t.Context(), setup, manager))
	for _, tt := range []struct {
		name string
		body fields
		at   []string
	}{
		{"nothing", fields{}, nil},
		{"a grade that isn't the reading's", tradeIn(id(1)).with(fields{"grade": "B"}), []string{"#/grade"}},
		{"a worn pair to resale", tradeIn(id(2)).with(fields{"grade": "D"}), []string{"#/route"}},
		{"a grade off the list", tradeIn(id(1)).with(fields{"grade": "F"}), []string{"#/grade"}},
		{"a negative credit", tradeIn(id(1)).with(fields{"credit": -5}), []string{"#/credit"}},
		{"another credit by nobody", tradeIn(id(1)).with(fields{"credit": 9900, "reason": "regular"}), []string{"#/override_by"}},
		{"another credit by a fitter", tradeIn(id(1)).with(fields{"credit": 9900, "reason": "regular", "override_by": "F-1"}), []string{"#/override_by"}},
		{"another credit without a reason", tradeIn(id(1)).with(fields{"credit": 9900, "override_by": "M-1"}), []string{"#/reason"}},
		{"a credit table that isn't", tradeIn(id(1)).with(fields{"credit_table": 7}), []string{"#/credit_table"}},
		{"a credit table beyond all numbers", tradeIn(id(1)).with(fields{"credit_table": 1 << 40}), []string{"#/credit_table"}},
		{"a voucher on two lines", tradeIn(id(1)).with(fields{"voucher": "a\nb"}), []string{"#/voucher"}},
		{"another currency", tradeIn(id(1)).with(fields{"currency": "USD"}), []string{"#/currency"}},
		{"another pair", tradeIn(id(1)).with(fields{"pair_ref": "7K3M9QTDS"}), []string{"#/pair_ref"}},
		{"no such reading", tradeIn(id(7)), []string{"#/inspection_id"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := r.call("PUT", path, r.fitter(), tt.body)
			want(t, w, http.StatusUnprocessableEntity)
			if got := pointers(t, w); tt.at != nil && !slices.Equal(got, tt.at) {
				t.Errorf("at %q, want %q: %s", got, tt.at, w.Body)
			}
		})
	}
	body := tradeIn(id(1)).with(fields{"credit": 2000, "reason": "regular", "override_by": "M-1"})
	// A manager's name alone allows nothing; it takes their own secret.
	must(t, r.db.SetPassword(t.Context(), setup, "M-1", password))
	w := r.call("PUT", path, r.fitter(), body)
	want(t, w, http.StatusUnprocessableEntity)
	if got := pointers(t, w); !slices.Equal(got, []string{"#/override_by"}) {
		t.Errorf("unsigned at %q", got)
	}
	sign := fields{"purpose": "credit", "credit": 2000, "currency": "EUR", "staff": "M-1", "password": "wrong horse battery"}
	want(t, r.call("POST", apiRoot+"/inspections/"+id(1)+"/sign-off", r.fitter(), sign), http.StatusUnprocessableEntity)
	want(t, r.call("PUT", path, r.fitter(), body), http.StatusUnprocessableEntity)
	want(t, r.call("POST", apiRoot+"/inspections/"+id(2)+"/sign-off", r.fitter(), sign.with(fields{"password": password})), http.StatusOK)
	want(t, r.call("PUT", path, r.fitter(), body), http.StatusUnprocessableEntity) // another reading's
	want(t, r.call("POST", apiRoot+"/inspections/"+id(1)+"/sign-off", r.fitter(), sign.with(fields{"password": password})), http.StatusOK)
	// What was signed for one amount opens no other.
	want(t, r.call("PUT", path, r.fitter(), body.with(fields{"credit": 20000})), http.StatusUnprocessableEntity)
	for _, name := range []string{"credit", "currency"} {
		bad := sign.with(fields{"password": password})
		delete(bad, name)
		w := r.call("POST", apiRoot+"/inspections/"+id(1)+"/sign-off", r.fitter(), bad)
		want(t, w, http.StatusUnprocessableEntity)
		if got := pointers(t, w); !slices.Equal(got, []string{"#/" + name}) {
			t.Errorf("a sign-off without its %s is refused at %q", name, got)
		}
	}
	first := r.call("PUT", path, r.fitter(), body)
	want(t, first, http.StatusCreated)
	if got := decoded[tradeInOut](t, first); got.Credit != 2000 || got.Advised != 1500 || got.Currency != "EUR" || got.PairRef != ref || got.Month != "2026-10" {
		t.Errorf("stored %+v", got)
	}
	again := r.call("PUT", path, r.fitter(), body)
	want(t, again, http.StatusOK)
	if again.Body.String() != first.Body.String() {
		t.Errorf("sent again it is %s, was %s", again.Body, first.Body)
	}
	slip := r.call("GET", "/slip/"+id(1), r.fitter(), nil)
	want(t, slip, http.StatusOK)
	if !strings.Contains(slip.Body.String(), `data-route="resale" data-credit="2000" data-currency="EUR"`) {
		t.Errorf("the slip again lacks credit and route: %s", slip.Body)
	}
	want(t, r.call("PUT", path, r.fitter(), body.with(fields{"voucher": "V-1"})), http.StatusConflict)
	want(t, r.call("PUT", apiRoot+"/trade-ins/"+id(3), r.fitter(), tradeIn(id(1))), http.StatusConflict)
	pair := decoded[historyOut](t, r.call("GET", apiRoot+"/pairs/"+ref, r.fitter(), nil))
	if pair.EndedAt == nil {
		t.Error("the pair goes on")
	}
	worn := tradeIn(id(2)).with(fields{"grade": "D", "route": "recycling, never resale", "credit": 0, "advised": 0})
	want(t, r.call("PUT", apiRoot+"/trade-ins/"+id(2), r.fitter(), worn), http.StatusCreated)
}

func TestAFittingIsStoredOnce(t *testing.T) {
	r := newRig(t)
	path := apiRoot + "/fittings/" + id(1)
	first := r.call("PUT", path, r.fitter(), soundFitting)
	want(t, first, http.StatusCreated)
	again := r.call("PUT", path, r.fitter(), soundFitting.with(fields{"fitting_id": id(1)}))
	want(t, again, http.StatusOK)
	if first.Body.String() != again.Body.String() {
		t.Errorf("sent again it is %s, was %s", again.Body, first.Body)
	}
	want(t, r.call("PUT", path, r.fitter(), soundFitting.with(fields{"gait": "pronated"})), http.StatusConflict)
	if got := r.call("GET", path, r.fitter(), nil); got.Body.String() != first.Body.String() {
		t.Errorf("read back it is %s", got.Body)
	}
	for at, body := range map[string]fields{
		"#/left/length_mm": soundFitting.with(fields{"left": fields{"length_mm": 26}}),
		"#/left/fpi_3":     soundFitting.with(fields{"left": fields{"fpi_3": 3}}),
		"#/surfaces":       soundFitting.with(fields{"surfaces": []string{"sand"}}),
		"#/at":             {"store": storeA, "staff": "F-1"},
		"#/fitting_id":     soundFitting.with(fields{"fitting_id": id(2)}),
		"#/store":          soundFitting.with(fields{"store": "S-Z"}),
		"#/shoe":           soundFitting.with(fields{"shoe": 1}),
	} {
		w := r.call("PUT", path, r.office(), body)
		want(t, w, http.StatusUnprocessableEntity)
		if got := pointers(t, w); !slices.Equal(got, []string{at}) {
			t.Errorf("at %q, want %s: %s", got, at, w.Body)
		}
	}
}

func TestListsInMemoryGoOnWhereTheyStopped(t *testing.T) {
	r := newRig(t)
	ctx := t.Context()
	for i := range 5 {
		must(t, r.db.SaveStaff(ctx, setup, retail.Staff{Code: fmt.Sprintf("P-%d", i), Role: retail.Fitter, Scopes: []retail.Scope{{Store: storeA}}}))
	}
	must(t, r.db.SaveStaff(ctx, setup, retail.Staff{Code: "Q-1", Role: retail.Office, Scopes: models.Fleet}))
	var codes []string
	path := apiRoot + "/staff?limit=2"
	for range 10 {
		w := r.call("GET", path, r.fitter(), nil)
		want(t, w, http.StatusOK)
		page := decoded[pageOf[fields]](t, w)
		for _, item := range page.Items {
			codes = append(codes, item["staff"].(string))
		}
		if page.Next == "" {
			break
		}
		path = apiRoot + "/staff?limit=2&cursor=" + page.Next
	}
	if !slices.Equal(codes, []string{"P-0", "P-1", "P-2", "P-3", "P-4"}) {
		t.Errorf("listed %q, want the store's own staff, each once", codes)
	}
	w := r.call("GET", apiRoot+"/staff?cursor=%21", r.fitter(), nil)
	want(t, w, http.StatusBadRequest)
	if got := pointers(t, w); !slices.Equal(got, []string{"cursor"}) {
		t.Errorf("at %q", got)
	}
	for list, first := range map[string]string{"stores": "store", "regions": "region"} {
		w := r.call("GET", apiRoot+"/"+list+"?limit=1", r.fitter(), nil)
		want(t, w, http.StatusOK)
		if page := decoded[pageOf[fields]](t, w); len(page.Items) != 1 || page.Next == "" || page.Items[0][first] == nil {
			t.Errorf("%s: %+v", list, page)
		}
	}
}

func TestARunnerIsKeptByConsentAndErased(t *testing.T) {
	var told []models.Erasure
	clock := newTestClock()
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		told = nil
		r := newRigOn(t, db, clock, func(c *Config) {
			c.Erased = func(_ context.Context, e models.Erasure) error {
				told = append(told, e)
				return nil
			}
		})
		path := apiRoot + "/runners/R-1"
		want(t, r.call("GET", path, r.fitter(), nil), http.StatusNotFound)
		want(t, r.call("PUT", path, r.fitter(), fields{"teaching_photos_on": "2026-10-05", "teaching_photos_text": "v2"}), http.StatusOK)
		w := r.call("PUT", path, r.fitter(), fields{"runner": "R-2", "mass_band": "heavy"})
		want(t, w, http.StatusUnprocessableEntity)
		pointers(t, w)
		r.put(1, soundReading.with(fields{"note": "likes the old one"}))
		got := decoded[runnerOut](t, r.call("GET", path, r.fitter(), nil))
		if len(got.Pairs) != 1 || !strings.Contains(string(got.Runner), `"teaching_photos_on":"2026-10-05"`) {
			t.Errorf("kept %s with %d pairs", got.Runner, len(got.Pairs))
		}
		w = r.call("DELETE", path, r.office(), nil)
		want(t, w, http.StatusOK)
		if got := decoded[erasedOut](t, w); got.Inspections != 1 || got.Pairs != 1 {
			t.Errorf("erased %+v", got)
		}
		if len(told) != 1 || len(told[0].Pairs) != 1 {
			t.Errorf("told of %+v", told)
		}
		want(t, r.call("GET", path, r.fitter(), nil), http.StatusNotFound)
		want(t, r.call("DELETE", path, r.office(), nil), http.StatusNotFound)
		reading := r.call("GET", apiRoot+"/inspections/"+id(1), r.fitter(), nil)
		if strings.Contains(reading.Body.String(), "R-1\"") || strings.Contains(reading.Body.String(), "likes") {
			t.Errorf("the reading still says %s", reading.Body)
		}
		// The tablet's copy, sent again, must not bring the runner back.
		want(t, r.call("PUT", apiRoot+"/inspections/"+id(1), r.fitter(), soundReading.with(fields{"note": "likes the old one"})), http.StatusConflict)
	}, dbtest.Clock(clock.Now))
}

func TestExportsAreWhatTheFilesHold(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	r.put(2, soundReading.with(fields{"store": storeB}))
	r.put(3, soundReading)
	want(t, r.call("POST", apiRoot+"/inspections/"+id(3)+"/void", r.office(), fields{"reason": "twice"}), http.StatusOK)
	want(t, r.call("PUT", apiRoot+"/fittings/"+id(4), r.office(), soundFitting), http.StatusCreated)
	want(t, r.call("PUT", apiRoot+"/runners/R-1", r.office(), fields{"unit": "km"}), http.StatusOK)
	must(t, r.db.SaveSale(t.Context(), setup, retail.Sale{Store: storeA, Model: r.shoeID(), Month: "2026-09", Pairs: 12}))
	must(t, r.db.SaveEvent(t.Context(), setup, retail.Event{Store: storeB, From: "2026-09-01", To: "2026-09-02", Word: "race"}))
	for _, tt := range []struct {
		file, token string
		rows        int
	}{
		{"inspections.csv", r.office(), 3}, // the void one is in it
		{"inspections.csv?store=S-B", r.office(), 1},
		{"inspections.csv?from=2026-10-06", r.office(), 0},
		{"inspections.csv", r.token(retail.Manager, retail.Scope{Store: storeB}), 1},
		{"pairs.csv", r.office(), 2},
		{"fittings.csv", r.office(), 1},
		{"fittings.csv", r.token(retail.Manager, retail.Scope{Store: storeB}), 0},
		{"fittings.csv?to=2026-10-04", r.office(), 0},
		{"shoe-models.csv", r.office(), 1},
		{"stores.csv", r.office(), 2},
		{"stores.csv", r.token(retail.Manager, retail.Scope{Region: regionA}), 1},
		{"staff.csv", r.office(), 0},
		{"runners.csv", r.office(), 1},
		{"sales.csv", r.office(), 1},
		{"sales.csv", r.token(retail.Manager, retail.Scope{Store: storeB}), 0},
		{"events.csv?from=2026-09-02", r.office(), 1},
	} {
		t.Run(tt.file, func(t *testing.T) {
			w := r.call("GET", apiRoot+"/export/"+tt.file, tt.token, nil)
			want(t, w, http.StatusOK)
			if got := w.Header().Get("Content-Type"); got != "text/csv; charset=utf-8" {
				t.Errorf("Content-Type %q", got)
			}
			rows, err := csv.NewReader(w.Body).ReadAll()
			must(t, err)
			if len(rows)-1 != tt.rows {
				t.Errorf("%d rows, want %d", len(rows)-1, tt.rows)
			}
		})
	}
	t.Run("the same readings come back", func(t *testing.T) {
		w := r.call("GET", apiRoot+"/export/inspections.csv", r.office(), nil)
		d, err := assess.NewCSVDecoder(w.Body)
		must(t, err)
		var rec assess.Record
		must(t, d.Decode(&rec))
		if rec.ID.String() != id(1) || rec.Advised != assess.Keep || rec.Distance.Int() != 3200 {
			t.Errorf("read back %+v", rec)
		}
	})
	for path, status := range map[string]int{
		"/export/inspections.csv?from=today": http.StatusBadRequest,
		"/export/inspections":                http.StatusNotFound,
		"/export/secrets.csv":                http.StatusNotFound,
	} {
		w := r.call("GET", apiRoot+path, r.office(), nil)
		want(t, w, status)
		pointers(t, w)
	}
	want(t, r.call("GET", apiRoot+"/export/runners.csv", r.token(retail.Manager, retail.Scope{Store: storeA}), nil), http.StatusForbidden)
	t.Run("every kind is tried", func(t *testing.T) {
		for _, kind := range exchange.ExportKinds {
			want(t, r.call("GET", apiRoot+"/export/"+kind+".csv", r.office(), nil), http.StatusOK)
		}
	})
}

// shoeID returns the id of the model of soundReading.
func (r *rig) shoeID() assess.UUID {
	m, err := r.db.ShoeModelNamed(r.t.Context(), "Velm", "Arc", "3")
	must(r.t, err)
	return m.ID
}

// TestALongExportOutlivesTheListenersTimeout reads an export slower than the
// listener's WriteTimeout allows other answers.
func TestALongExportOutlivesTheListenersTimeout(t *testing.T) {
	r := newRig(t)
	r.put(1, soundReading)
	srv := httptest.NewUnstartedServer(r)
	const writeTimeout = 50 * time.Millisecond
	srv.Config.WriteTimeout = writeTimeout
	srv.Start()
	defer srv.Close()
	r.export = func(ctx context.Context, _ *models.DB, _ string, _ exchange.Asked, write func([]byte) error) error {
		row := []byte(strings.Repeat("a", exportBuffer) + "\n")
		for range 3 {
			timer := time.NewTimer(writeTimeout)
			select {
			case <-timer.C:
			case <-ctx.Done():
				return ctx.Err()
			}
			if err := write(row); err != nil {
				return err
			}
		}
		return nil
	}
	req, err := http.NewRequestWithContext(t.Context(), "GET", srv.URL+apiRoot+"/export/events.csv", nil)
	must(t, err)
	req.Header.Set("Authorization", "Bearer "+r.office())
	resp, err := srv.Client().Do(req)
	must(t, err)
	defer resp.Body.Close()
	rows, err := csv.NewReader(resp.Body).ReadAll()
	must(t, err)
	if len(rows) != 3 {
		t.Errorf("%d rows came, want all 3", len(rows))
	}
}
