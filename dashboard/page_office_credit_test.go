package dashboard

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// creditForm is a form that publishes a table.
func creditForm(r *rig, n int) url.Values {
	return url.Values{
		"currency": {"EUR"}, "base": {"0"}, "A..0": {"25.00"}, "note": {"trial"},
		"from": {r.clock.Now().AddDate(1, 0, n).Format("2006-01-02")},
	}
}

func TestTheOfficePublishesCreditTables(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, newTestClock())
		ctx := t.Context()
		first := assess.CreditTable{From: "2026-01-01", Currency: "EUR", Rows: []assess.CreditRow{
			{Grade: assess.GradeA, UnderDays: 365, Minor: 4000},
			{Grade: assess.GradeA, Minor: 1000},
			{Grade: assess.GradeB, Minor: 900},
		}}
		number, err := r.db.AddCreditTable(ctx, setup, first, "the first")
		must(t, err)
		sold := func(n int, bought string) {
			r.put(n, soundReading.with(fields{"bought_on": bought}))
			want(t, r.call("PUT", apiRoot+"/trade-ins/"+id(n), r.office(), tradeIn(id(n))), http.StatusCreated)
		}
		sold(1, "2026-06-01")
		sold(2, "2024-06-01")
		sold(3, "")

		t.Run("the table that holds is shown, and what a draft would have paid", func(t *testing.T) {
			r.t = t
			r.shows(r.sees("/office/credit"), "Credit in EUR: table 1 and draft", "under 365 days", "40.00", "the first")
			w := r.send("/office/credit/draft", url.Values{"currency": {"EUR"}, "A..365": {"50,00"}, "A..0": {"10.00"}, "B..0": {""}})
			want(t, w, http.StatusSeeOther)
			// 40 + 10 + 10 for an unknown age, against 50 + 10 + 10; counted by hand.
			r.shows(r.sees(w.Header().Get("Location")), "The draft changes 1 line.", "70.00 instead of 60.00: &#43;10.00", "3 pairs taken in: 1 would get more, 0 less.")
		})
		t.Run("a row for a category is added, and a dash takes an amount out", func(t *testing.T) {
			r.t = t
			w := r.send("/office/credit/draft", url.Values{"currency": {"EUR"}, "act": {"row"}, "category": {"trail"}, "under_days": {"100"}, "A..0": {"-"}})
			want(t, w, http.StatusSeeOther)
			r.shows(r.sees(w.Header().Get("Location")), "under 100 days", `name="A.trail.100"`, "For 1 the draft has no amount.", "1 would get more, 1 less.")
		})
		t.Run("what is wrong is named, and nothing typed is lost", func(t *testing.T) {
			r.t = t
			form := url.Values{"currency": {"EUR"}, "base": {"1"}, "A..0": {"lots"}, "from": {"2026-10-05"}, "note": {" "}}
			r.refused(r.send("/office/credit", form), "&#34;lots&#34;", "an amount such as 25.00", "a day after today", "why the amounts change", `value="lots"`)
			form.Set("A..0", "99999999.00")
			r.refused(r.send("/office/credit", form), "0 to 9999999")
			form = creditForm(r, 1)
			r.refused(r.send("/office/credit", form), "a draft of table 1")
			form.Set("base", "1")
			form.Del("A..0")
			r.refused(r.send("/office/credit", form), "a draft that changes an amount")
			form.Set("currency", "XAU")
			want(t, r.send("/office/credit", form), http.StatusNotFound)
		})
		t.Run("published, it waits for its day, and the old one stays", func(t *testing.T) {
			r.t = t
			form := creditForm(r, 0)
			form.Set("base", "1")
			form.Set("from", "2026-10-06")
			w := r.send("/office/credit", form)
			want(t, w, http.StatusSeeOther)
			r.shows(r.sees(w.Header().Get("Location")), "Credit table 2 is published.", "table 1 and draft", "comes, trial")
			holds, err := r.creditTable(ctx, "EUR", "2026-10-06")
			must(t, err)
			if got, _ := holds.Credit(assess.GradeA, "", assess.Of(900)); got != 2500 || holds.Number != number+1 {
				t.Errorf("table %d gives %d, want table %d and 2500", holds.Number, got, number+1)
			}
			if got, _ := holds.Credit(assess.GradeA, "", assess.Of(30)); got != 4000 {
				t.Errorf("what the draft left alone gives %d, want 4000", got)
			}
			r.shows(r.sees("/office/credit?currency=EUR&table=2"), "This table can only be read.", "25.00")
			want(t, r.call("GET", "/office/credit?currency=EUR&table=9", r.office(), nil), http.StatusNotFound)
			r.audited("credit_table.add", "credit_table:2")
		})
		t.Run("a manager reads the amounts and changes none", func(t *testing.T) {
			r.t = t
			north := r.token(retail.Manager, retail.Scope{Region: regionA})
			w := r.call("GET", "/office/credit?A..0=5", north, nil)
			want(t, w, http.StatusOK)
			r.check(w)
			if body := w.Body.String(); strings.Contains(body, `name="A..0"`) || strings.Contains(body, "Publish") {
				t.Errorf("a manager is offered a draft: %s", body)
			}
		})
	})
}
