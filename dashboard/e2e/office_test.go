package e2e

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"solewright/models"
)

// fill sets a field to a value as typing it would.
func (b *browser) fill(selector, value string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`document.querySelector(%q)`, selector))
	eval[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.value = %q; for (const what of ["input", "change"]) e.dispatchEvent(new Event(what, { bubbles: true })); return true; })()`, selector, value))
}

// send sends the form of a page's key, once the page no longer moves under it, and
// waits for what the page says then.
func (b *browser) send(key, says string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`(() => {
		const e = document.querySelector(%q), was = e.stood;
		e.scrollIntoView({ block: "nearest" });
		e.stood = e.getBoundingClientRect().y;
		return document.readyState === "complete" && e.stood === was;
	})()`, key))
	b.tap(key)
	b.until(fmt.Sprintf(`(document.querySelector("main")?.parentElement.innerText ?? "").includes(%q)`, says))
}

// keep stores a reading of a pair with km as the one who is signed in, and
// returns the pair's reference.
func (b *browser) keep(n int, model, runner string, km, heel int) string {
	b.t.Helper()
	return eval[string](b, fmt.Sprintf(`(async () => {
		const shoe = { heel_medial: 1, heel_centre: 1, heel_lateral: %d, mid_medial: 0, mid_lateral: 0, fore_medial: 1, fore_centre: 1, fore_lateral: 1, toe_medial: 0, toe_lateral: 0,
			press_fore: "springs back", stand: "square", lining: "sound", bond: "attached" };
		const body = { store: %q, staff: %q, at: new Date(Date.now() - 3600000 + %d * 60000).toISOString(), kind: "check", brand: "Ondrell", model: %q, version: "2", size_label: "42", runner: %q,
			km: %d, km_source: "logged", left: shoe, right: shoe, flex_side: 0, torsion_side: 0, hygiene: "clean" };
		const answer = await fetch("/api/v1/inspections/019a0000-0000-7000-8000-" + String(%d).padStart(12, "0"), { method: "PUT", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
		const said = await answer.json();
		return said.pair_ref ?? JSON.stringify(said);
	})()`, heel, storeCode, officeCode, n, model, runner, km, n))
}

// tomorrow is a day by which something published has begun nowhere.
func tomorrow() string { return time.Now().AddDate(0, 0, 2).Format(time.DateOnly) }

// file writes a CSV for a page's file field and returns its path.
func file(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Head office sets a retailer up and runs it, page by page, in one tab.
func TestTheOfficeIsRunFromItsPages(t *testing.T) {
	t.Parallel()
	shop := headOffice(t, nil)
	b := shop.tab(t, officeCode)
	page := func(path string) { b.t.Helper(); b.open(shop.url("/office/" + path)) }
	one := func(says string, held bool, err error) {
		b.t.Helper()
		if err != nil || !held {
			b.t.Errorf("%s: %v", says, err)
		}
	}
	ctx := t.Context()

	// A region and a store in it.
	page("stores")
	b.fill(`#region [name=region]`, "ISLES")
	b.fill(`#region [name=name]`, "The isles")
	b.fill(`#region [name=currency]`, "EUR")
	b.send(`#region [type=submit]`, "Region ISLES is saved.")
	b.fill(`#store-store`, "I01")
	b.fill(`#store-name`, "Quay")
	b.fill(`#store-region`, "ISLES")
	b.fill(`#store-zone`, "Atlantic/Moon")
	b.fill(`#store-currency`, "EUR")
	b.send(`form[action^="/office/stores"] [type=submit]`, "an IANA time zone")
	b.fill(`#store-zone`, "Atlantic/Canary")
	b.send(`form[action^="/office/stores"] [type=submit]`, "Store I01 is saved.")
	if got := b.text("tr.here"); got != "I01 Quay Atlantic/Canary EUR km" {
		t.Errorf("the store's row says %q", got)
	}

	// A person with two roles, who gets a PIN; and what makes no sense is said.
	page("staff")
	b.fill(`#staff-staff`, "I01-1")
	b.fill(`#staff-role`, "fitter")
	b.fill(`#staff-scopes`, "store:I01")
	b.fill(`#staff-also_role_0`, "trainee")
	b.fill(`#staff-also_scopes_0`, "store:I01")
	b.send(`form.lines[action^="/office/staff"] [type=submit]`, "trainee or fitter, not both")
	b.fill(`#staff-also_role_0`, "trainer")
	b.fill(`#staff-also_scopes_0`, "fleet")
	b.send(`form.lines[action^="/office/staff"] [type=submit]`, "Account I01-1 is saved.")
	if got := b.text("tr.here"); got != "I01-1 fitter trainer store:I01 fleet nothing yet" {
		t.Errorf("the person's row says %q", got)
	}
	b.tap(`[name=what][value=pin]`)
	b.until(`document.querySelector(".secret b")`)
	if pin := b.text(".secret b"); len(pin) != models.PINDigits {
		t.Errorf("the PIN is %q", pin)
	}

	// A tablet's code for enrolment, as text and to scan.
	page("tablets")
	b.fill(`#tablet-device, [name=device]:not([type=hidden])`, "I01-T1")
	b.choose(`select[name=store]`, "I01")
	b.send(`form[action="/office/tablets"] [type=submit]`, "waits for its code")
	if code := b.text(".secret b"); len(strings.ReplaceAll(code, " ", "")) < 8 || !eval[bool](b, `document.querySelector(".secret .qr svg") !== null`) {
		t.Errorf("the code for enrolment is %q", code)
	}

	// A model with its as-new mask drawn on the soles, and a typed-in one that turns
	// out to be it.
	typedPair := b.keep(1, "Arcfell", "R-1", 300, 1)
	page("catalogue/new")
	b.fill(`[name=brand]`, "Ondrell")
	b.fill(`[name=model]`, "Arcfel")
	b.fill(`[name=version]`, "2")
	b.fill(`[name=category]`, "daily")
	b.tap(`[data-zone="mid_lateral"]`)
	b.tap(`[data-zone="toe_medial"]`)
	b.until(`document.querySelectorAll("[name=built]:checked").length === 2`)
	b.keepPicture("a mask drawn")
	b.send(`[name=act][value=save]`, "is saved.")
	b.until(`document.querySelectorAll("[data-zone] .built").length === 4`) // both shoes
	page("catalogue")
	b.tap(`a.typed`)
	b.until(`document.querySelector("[name=to]")`)
	eval[bool](b, `(() => { const s = document.querySelector("[name=to]"); s.value = [...s.options].find((o) => o.text.includes("Arcfel 2")).value; return true; })()`)
	b.send(`form.link [type=submit]`, "is linked")
	pair, err := shop.db.Pair(ctx, typedPair)
	one("the pair isn't of the catalogued model", err == nil && pair.ModelID.String() == eval[string](b, `location.pathname.split("/").pop()`), err)

	// Rules: a draft, what it would have moved, and its day.
	b.keep(2, "Fenline", "R-2", 500, 3)
	page("rules")
	b.until(`document.querySelector('select[name$=".then"]')`)
	moved := eval[string](b, `(() => { const s = document.querySelector('[name="lining-worn.then"]'); s.value = "replace"; s.dispatchEvent(new Event("change", { bubbles: true })); return s.value; })()`)
	if moved != "replace" {
		t.Fatalf("the rule leads to %q", moved)
	}
	b.send(`aside [form=draft][type=submit]`, "of 2 readings")
	b.fill(`[name=from]`, tomorrow())
	b.fill(`[name=note]`, "a trial")
	b.send(`form[action="/office/rules"] [type=submit]`, "is published.")
	b.keepPicture("rules published")
	set, err := shop.db.RuleSetOn(ctx, tomorrow())
	one("the rule set doesn't hold on its day", err == nil && set.Number == 2, err)

	// Credit: an amount, what it would have paid, and its day.
	page("credit")
	b.fill(`[name="A..0"]`, "30.00")
	b.send(`aside [form=draft][type=submit]`, "instead of")
	b.fill(`[name=from]`, tomorrow())
	b.fill(`[name=note]`, "spring")
	b.send(`form[action="/office/credit"] [type=submit]`, "Credit table 2 is published.")

	// A file with bad lines is shown with them, and nothing of it is stored; the
	// good one is.
	page("imports?kind=sales")
	ondrell := eval[string](b, `fetch("/api/v1/shoe-models?q=fenline").then((a) => a.json()).then((l) => l.items[0].model_id)`)
	head := "store,model,batch,month,pairs\n"
	bring := func(name, text, says string) {
		b.t.Helper()
		b.choose(`select[name=kind]`, "sales")
		b.do(chromedp.SetUploadFiles(`[name=file]`, []string{file(t, name, text)}))
		b.send(`form[action="/office/imports"] [type=submit]`, says)
	}
	bring("bad.csv", head+"I01,"+ondrell+",B1,2026-13,4\nNONE,"+ondrell+",B1,2026-09,x\n", "2026-13")
	if got := b.text("section table"); !strings.Contains(got, "2 month 2026-13") || !strings.Contains(got, "3 pairs x") {
		t.Errorf("the bad lines are %q", got)
	}
	b.keepPicture("bad lines of an import")
	b.send(`[name=act][value=drop]`, "nothing of it is stored")
	bring("good.csv", head+"I01,"+ondrell+",B1,2026-09,4\n", "No line is bad.")
	b.send(`[name=act][value=all]`, "What was stored")
	page("sales?store=I01")
	b.until(`document.querySelector("tbody tr").innerText.includes("B1") && document.querySelector("tbody tr").innerText.includes("Fenline")`)

	// An event.
	page("events")
	b.choose(`aside select[name=store]`, "I01")
	b.fill(`aside [name=word]`, "harbour race")
	b.fill(`aside [name=from]`, "2026-09-05")
	b.fill(`aside [name=to]`, "2026-09-06")
	b.send(`form.lines[action="/office/events"] [type=submit]`, "The event harbour race is saved.")

	// Two pairs that are one, and one that turns out to be two.
	first, second := b.keep(3, "Fenline", "R-3", 100, 1), b.keep(4, "Fenline", "R-3", 200, 1)
	page("pairs?ref=" + first)
	b.tap(`ul.full a`)
	b.until(`document.querySelector("[name=from]").value.replaceAll(" ", "") === ` + fmt.Sprintf("%q", second))
	b.fill(`form[action="/office/pairs/merge"] [name=reason]`, "two slips")
	b.send(`form[action="/office/pairs/merge"] [type=submit]`, "They are one pair now")
	whole, err := shop.db.Pair(ctx, second)
	one("the merged pair leads elsewhere", err == nil && whole.Ref == first && len(whole.Inspections) == 2, err)
	b.tap(`[name=inspections]`)
	b.fill(`form[action="/office/pairs/split"] [name=reason]`, "another shoe after all")
	b.send(`form[action="/office/pairs/split"] [type=submit]`, "Print its slip.")
	whole, err = shop.db.Pair(ctx, first)
	one("nothing went from the pair", err == nil && len(whole.Inspections) == 1, err)

	// The trail, by what was done.
	page("trail")
	b.fill(`[name=action]`, "pair.")
	b.tap(`aside [type=submit]`)
	b.until(`document.querySelectorAll("tbody tr").length === 2 && document.querySelector("tbody").innerText.includes("pair.merge") && document.querySelector("tbody").innerText.includes("pair.split")`)

	// A runner asks what is held, and then to be forgotten.
	page("requests")
	b.fill(`[name=runner]:not([type=hidden])`, "R-3")
	b.send(`form.lines:last-of-type [type=submit]`, "Held about R-3")
	held := eval[string](b, `fetch("/office/requests/record", { method: "POST", body: new URLSearchParams({ runner: "R-3" }) }).then((a) => a.text())`)
	if !strings.Contains(held, first) || !strings.Contains(held, `"R-3"`) {
		t.Errorf("the record is %.300s", held)
	}
	b.send(`[name=act][value=erase]`, "Erase for good")
	b.fill(`[name=again]`, "R-4")
	b.tap(`form[action="/office/requests/erase"] [type=submit]`)
	b.until(`document.querySelector("[aria-invalid=true]")?.name === "again"`)
	b.fill(`[name=again]`, "R-3")
	b.send(`form[action="/office/requests/erase"] [type=submit]`, "The runner is erased.")
	whole, err = shop.db.Pair(ctx, first)
	one("the runner's code is still there", err == nil && whole.Runner != "R-3", err)
}
