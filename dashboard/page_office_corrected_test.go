package dashboard

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"solewright/models"
	"solewright/models/retail"
)

// tradeCorrected trades the pair of a sound reading n in, and then corrects the
// reading: the midsole shows. The trade-in has the reading's id.
func (r *rig) tradeCorrected(n int) (ref string) {
	r.t.Helper()
	ref = r.put(n, soundReading)["pair_ref"].(string)
	want(r.t, r.call("PUT", apiRoot+"/trade-ins/"+id(n), r.office(), tradeIn(id(n))), http.StatusCreated)
	worn := wornReading().with(fields{"inspection_id": id(n + 700_000), "pair_ref": ref, "amend_reason": "midsole was overlooked", "supersedes": id(n)})
	want(r.t, r.call("POST", apiRoot+"/inspections/"+id(n)+"/amend", r.office(), worn), http.StatusCreated)
	return ref
}

func TestSomebodyDecidesAboutACorrectedTradeIn(t *testing.T) {
	r := newRig(t)
	_, err := r.db.AddVersion(t.Context(), setup, models.CreditTables, "2026-01-01", `{"number":1,"from":"2026-01-01","currency":"EUR","rows":[{"grade":"A","minor":1500},{"grade":"D","minor":400}]}`, "")
	must(t, err)
	ref := r.tradeCorrected(1)
	t.Run("it is listed with what changed", func(t *testing.T) {
		r.t = t
		r.shows(r.sees("/office"), "1 trade-in waits for a decision")
		r.shows(r.sees("/office/corrected"), spaced(ref), "midsole was overlooked", "Keep running", "Replace", "resale", "as given, EUR 15.00", "by table 1, EUR 4.00")
		r.shows(r.sees("/pairs/"+ref), "was corrected since: it went to resale, for EUR 15.00", "/office/corrected#t-"+id(1))
		if page := r.call("GET", "/pairs/"+ref, r.fitter(), nil).Body.String(); strings.Contains(page, "/office/corrected") || !strings.Contains(page, "A manager decides") {
			t.Error("a fitter is sent to decide, or not told")
		}
	})
	t.Run("who leads another region sees and decides nothing", func(t *testing.T) {
		r.t = t
		south := r.token(retail.Manager, retail.Scope{Region: regionB})
		if page := r.call("GET", "/office/corrected", south, nil).Body.String(); strings.Contains(page, spaced(ref)) {
			t.Error("it is listed")
		}
		want(t, r.call("POST", "/office/corrected/"+id(1), south, url.Values{"reason": {"x"}, "do": {"undo"}}), http.StatusForbidden)
	})
	decide := "/office/corrected/" + id(1)
	t.Run("what is wrong is said, and nothing typed is lost", func(t *testing.T) {
		r.t = t
		r.refused(r.send(decide, url.Values{"route": {"recycling, never resale"}}), "A decision takes a reason")
		r.refused(r.send(decide, url.Values{"route": {"resale"}, "reason": {"looks fine"}}), "That way is closed", `value="looks fine"`)
		want(t, r.send("/office/corrected/"+id(404), url.Values{"reason": {"x"}}), http.StatusNotFound)
	})
	t.Run("the credit stands as given, on the decider's word", func(t *testing.T) {
		r.t = t
		want(t, r.send(decide, url.Values{"route": {"recycling, never resale"}, "credit": {"given"}, "reason": {"voucher was spent"}}), http.StatusSeeOther)
		r.shows(r.sees("/office/corrected"), "No trade-in waits for a decision")
		of, err := r.db.TradeInsOf(t.Context(), ref)
		must(t, err)
		if len(of) != 2 || of[0].VoidedAt.IsZero() == of[1].VoidedAt.IsZero() {
			t.Fatalf("trade-ins %+v, want the old one void and a new one", of)
		}
		now := of[0]
		if !now.VoidedAt.IsZero() {
			now = of[1]
		}
		if now.Grade.String() != "D" || now.Route.String() != "recycling, never resale" || now.Credit != 1500 || now.Advised != 400 || now.OverrideBy == "" || now.Reason != "voucher was spent" || now.Day != of[0].Day {
			t.Errorf("decided %+v", now)
		}
		r.audited("trade-in.void", "trade-in:"+id(1))
		r.audited("trade-in.override", "trade-in:"+now.ID.String())
		r.refused(r.send(decide, url.Values{"route": {"recycling, never resale"}, "reason": {"again"}}), "Nothing is to be decided")
	})
	t.Run("the table's credit, and a trade-in that is undone", func(t *testing.T) {
		r.t = t
		second := r.tradeCorrected(2)
		want(t, r.send("/office/corrected/"+id(2), url.Values{"route": {"recycling, never resale"}, "credit": {"table"}, "reason": {"not spent yet"}}), http.StatusSeeOther)
		of, err := r.db.TradeInsOf(t.Context(), second)
		must(t, err)
		for _, x := range of {
			if x.VoidedAt.IsZero() && (x.Credit != 400 || x.OverrideBy != "") {
				t.Errorf("decided %+v", x)
			}
		}
		third := r.tradeCorrected(3)
		want(t, r.send("/office/corrected/"+id(3), url.Values{"do": {"undo"}, "reason": {"taken home again"}}), http.StatusSeeOther)
		pair, err := r.db.Pair(t.Context(), third)
		must(t, err)
		if !pair.Open() {
			t.Error("the pair is gone though its trade-in was undone")
		}
	})
}
