package dashboard

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// faultyReading is a pair that parted at 100 km: a possible fault of the shoe by
// the default rules, which is under 250 km.
func faultyReading() fields {
	return soundReading.with(fields{"left": soundShoe.with(fields{"bond": "parted"}), "km": 100, "batch": "B-7"})
}

func TestAPossibleFaultGoesToAPerson(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, newTestClock())
		ref := r.put(1, faultyReading())["pair_ref"].(string)
		r.put(2, wornReading())
		r.put(3, faultyReading().with(fields{"kind": "blind"}))
		page := "/office/faults?id=" + id(1)
		act := func(form url.Values) { want(t, r.send("/office/faults/"+id(1), form), http.StatusSeeOther) }
		t.Run("what failed nearly new is listed, and nothing else", func(t *testing.T) {
			r.t = t
			body := r.sees("/office/faults")
			r.shows(body, spaced(ref), "nobody yet", "follows local law")
			if strings.Contains(body, id(2)) || strings.Contains(body, id(3)) {
				t.Error("a worn or a blind reading is listed")
			}
			r.shows(r.sees(page), "100", "B-7", "No photos were taken", "/pairs/"+ref)
		})
		t.Run("it is taken, given away, noted and closed, and the trail says so", func(t *testing.T) {
			r.t = t
			act(url.Values{"do": {"take"}})
			r.shows(r.sees(page), "token:office@fleet looks after it")
			want(t, r.send("/office/staff", url.Values{"staff": {"M-1"}, "role": {"manager"}, "scopes": {"fleet"}}), http.StatusSeeOther)
			act(url.Values{"do": {"assign"}, "to": {"M-1"}, "words": {"ask the maker"}})
			act(url.Values{"do": {"comment"}, "words": {"glue line is dry"}})
			r.shows(r.sees(page), "M-1 looks after it", "ask the maker", "glue line is dry")
			w := r.send("/office/faults/"+id(1), url.Values{"do": {"close"}, "outcome": {"shoe"}, "words": {"maker agrees"}})
			want(t, w, http.StatusSeeOther)
			body := r.sees(w.Header().Get("Location"))
			r.shows(body, "The fault of pair "+spaced(ref)+" is closed.", "No possible fault waits.")
			r.shows(r.sees("/office/faults?all=1"), "closed: shoe")
			r.audited("signal.close", "signal:"+id(1))
		})
		t.Run("a closed one takes notes alone", func(t *testing.T) {
			r.t = t
			r.refused(r.send("/office/faults/"+id(1), url.Values{"do": {"take"}}), "it was closed: shoe")
			act(url.Values{"do": {"comment"}, "words": {"replaced by the maker"}})
		})
		t.Run("what is wrong is named, and nothing typed is lost", func(t *testing.T) {
			r.t = t
			r.put(4, faultyReading())
			path := "/office/faults/" + id(4)
			r.refused(r.send(path, url.Values{"do": {"close"}, "words": {"the rim is cut"}}), "one of reader, case mix, shoe, chance", "the rim is cut")
			r.refused(r.send(path, url.Values{"do": {"close"}, "outcome": {"shoe"}}), "what was found, in words", `value="shoe" selected`)
			r.refused(r.send(path, url.Values{"do": {"assign"}, "to": {"nobody"}}), "&#34;nobody&#34;", "somebody who works here")
			r.refused(r.send(path, url.Values{"do": {"burn"}}), "one of take, assign, comment, close")
			want(t, r.send("/office/faults/"+id(2), url.Values{"do": {"take"}}), http.StatusNotFound)
			want(t, r.send("/office/faults/nothing", url.Values{"do": {"take"}}), http.StatusNotFound)
			want(t, r.call("GET", "/office/faults?id="+id(3), r.office(), nil), http.StatusNotFound)
		})
		t.Run("another region's manager sees none of it", func(t *testing.T) {
			r.t = t
			south := r.token(retail.Manager, retail.Scope{Region: regionB})
			want(t, r.call("GET", page, south, nil), http.StatusForbidden)
			want(t, r.call("POST", "/office/faults/"+id(1), south, url.Values{"do": {"take"}}), http.StatusForbidden)
		})
		t.Run("the API's signals of the store stay what they were", func(t *testing.T) {
			r.t = t
			w := r.call("GET", apiRoot+"/wear/signals", r.token(retail.Manager, retail.Scope{Store: storeA}), nil)
			want(t, w, http.StatusOK)
			if list := decoded[signalList](t, w); len(list.Items) != 0 {
				t.Errorf("%d signals", len(list.Items))
			}
		})
	})
}
