package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// sale stores that store A sold n pairs of a model in September.
func (r *rig) sale(n int) retail.ShoeModel {
	r.t.Helper()
	m, err := r.db.SaveShoeModel(context.Background(), setup, retail.ShoeModel{Brand: "Velm", Model: fmt.Sprint("Sold ", n), Features: retail.Features{DropMM: retail.UnknownDrop}})
	must(r.t, err)
	must(r.t, r.db.SaveSale(context.Background(), setup, retail.Sale{Store: storeA, Model: m.ID, Batch: fmt.Sprint("B-", n), Month: "2026-09", Pairs: n}))
	return m.ShoeModel
}

func TestTheOfficeSeesSales(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, newTestClock())
		first := r.sale(3)
		r.sale(4)
		must(t, r.db.SaveSale(t.Context(), setup, retail.Sale{Store: storeB, Model: first.ID, Month: "2026-08", Pairs: 5}))
		r.shows(r.sees("/office/sales"), "12 pairs sold.", "Velm Sold 3", "B-4", "2026-08", "/office/imports?kind=sales")
		r.shows(r.sees("/office/sales?store="+storeA), "7 pairs sold.")
		r.shows(r.sees("/office/sales?"+url.Values{"shoe": {"velm sold 3"}}.Encode()), "8 pairs sold.")
		r.shows(r.sees("/office/sales?batch=B-4&since=2026-09&until=2026-09"), "4 pairs sold.")
		r.shows(r.sees("/office/sales?until=2026-07"), "0 pairs sold.", "No sales like that.")
		r.refused(r.call("GET", "/office/sales?since=soon&shoe=Nobody", r.office(), nil), "&#34;soon&#34;", "&#34;Nobody&#34;", "as the catalogue has them")
		w := r.call("GET", "/office/sales", r.token(retail.Manager, retail.Scope{Store: storeB}), nil)
		want(t, w, http.StatusOK)
		r.shows(w.Body.String(), "5 pairs sold.")
		if strings.Contains(w.Body.String(), "/office/imports") {
			t.Error("a manager is led to imports")
		}
	})
}

func TestTheOfficeKeepsEvents(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, newTestClock())
		offer := url.Values{"store": {storeA}, "from": {"2026-10-01"}, "to": {"2026-10-03"}, "word": {"offer"}}
		events := func() []retail.Event {
			all, err := r.db.Events(t.Context(), "", "")
			must(t, err)
			return all
		}
		was := func(form url.Values) url.Values {
			for name, v := range offer {
				form["was-"+name] = v
			}
			return form
		}
		t.Run("an event is added, found and corrected", func(t *testing.T) {
			r.t = t
			w := r.send("/office/events", offer)
			want(t, w, http.StatusSeeOther)
			r.shows(r.sees(w.Header().Get("Location")), "The event offer is saved.", "2026-10-01 – 2026-10-03")
			r.shows(r.sees("/office/events?q=OFF&first=2026-10-02&last=2026-10-09"), "2026-10-01 – 2026-10-03")
			r.shows(r.sees("/office/events?q=race"), "No events like that.")
			r.shows(r.sees("/office/events?"+was(url.Values{}).Encode()), "Correct the event", `value="2026-10-03"`)
			form := was(url.Values{"store": {storeB}, "from": {"2026-10-01"}, "to": {"2026-10-04"}, "word": {"big offer"}})
			want(t, r.send("/office/events", form), http.StatusSeeOther)
			if all := events(); len(all) != 1 || all[0] != (retail.Event{Store: storeB, From: "2026-10-01", To: "2026-10-04", Word: "big offer"}) {
				t.Errorf("stored %+v", all)
			}
			r.audited("event.delete", "event:"+storeA+":2026-10-01")
			r.audited("event.create", "event:"+storeB+":2026-10-01")
			want(t, r.send("/office/events", form), http.StatusNotFound) // somebody corrected it before
			if all := events(); len(all) != 1 {
				t.Errorf("half of a correction is stored: %+v", all)
			}
		})
		t.Run("what is wrong is named, and nothing typed is lost", func(t *testing.T) {
			r.t = t
			must(t, r.db.SaveEvent(t.Context(), setup, eventOf(offer.Get, "")))
			form := was(url.Values{"store": {storeA}, "from": {"2026-10-05"}, "to": {"2026-10-01"}, "word": {"backwards"}})
			r.refused(r.send("/office/events", form), "a day not before from", `value="backwards"`, "Correct the event", `name="was-word" value="offer"`)
			r.refused(r.send("/office/events", url.Values{"store": {"NONE"}, "from": {"2026-10-05"}, "to": {"2026-10-05"}, "word": {"x"}}), "&#34;NONE&#34;", "a store that is set up")
			r.refused(r.send("/office/events", url.Values{"store": {storeA}, "from": {"soon"}, "to": {"2026-10-05"}, "word": {""}}), "&#34;soon&#34;")
			r.refused(r.call("GET", "/office/events?first=soon", r.office(), nil), "&#34;soon&#34;")
		})
		t.Run("another region's manager changes none of it", func(t *testing.T) {
			r.t = t
			south := r.token(retail.Manager, retail.Scope{Region: regionB})
			want(t, r.call("POST", "/office/events", south, was(url.Values{"act": {"delete"}})), http.StatusForbidden)
			want(t, r.call("POST", "/office/events", south, was(url.Values{"store": {storeB}, "from": {"2026-10-01"}, "to": {"2026-10-01"}, "word": {"mine"}})), http.StatusForbidden)
		})
		t.Run("an event is taken out, and the trail keeps it", func(t *testing.T) {
			r.t = t
			w := r.send("/office/events", was(url.Values{"act": {"delete"}}))
			want(t, w, http.StatusSeeOther)
			r.shows(r.sees(w.Header().Get("Location")), "The event offer is taken out.")
			if all := events(); len(all) != 1 {
				t.Errorf("stored %+v", all)
			}
			want(t, r.send("/office/events", was(url.Values{"act": {"delete"}})), http.StatusNotFound)
		})
	})
}
