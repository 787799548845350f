package e2e

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"solewright/assess"
	"solewright/models"
)

// soundPair reads a sound pair of the shop's shoe to the end of its ticket, for
// a runner and a distance.
func (s *shop) soundPair(b *browser, runner, km string, zones string) string {
	b.t.Helper()
	b.pickShoe("fenline")
	b.press("42.5", kb.Tab, runner, kb.Tab, kb.Tab, km, kb.Tab)
	b.tap("#l-heel-medial")
	for _, grade := range zones {
		b.press(string(grade))
	}
	b.until(`document.activeElement.dataset.k === "press_heel-left,springs back"`)
	for range 12 { // every check at its least worn word
		b.press(kb.Enter)
	}
	b.until(`document.activeElement.dataset.k === "hand"`)
	b.press(kb.Enter)
	b.until(`document.querySelector("#word").innerText.includes("Keep running")`)
	return b.text("#slip .ref b")
}

func (b *browser) finish() {
	b.t.Helper()
	b.tap(key("finish"))
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
}

// The slip of a pair that its runner gives away tells of the new pair's check, and
// not of the old one's, at the hand-over and printed again.
func TestTheSlipOfAPairThatLeavesTellsOfTheNewOne(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "trade-in")
	shop.soundPair(b, "R-5", "300", "110101110"+"111101110")
	b.tap(key("hand-back"))
	b.tap(key("line-lining"))
	b.tap(key("lining-left,padding showing"))
	b.until(`document.querySelector("#word").innerText.includes("back by")`)
	b.tap(key("hand"))
	b.tap(key("hygiene-clean"))
	next, ok := assess.Default().NextCheck(assess.Keep, assess.Now, "", "", assess.Unread, nil)
	want := fmt.Sprintf("or %d km By the table", next.InKM)
	if slip := b.text("#slip"); !ok || !strings.Contains(slip, "New pair check by") || !strings.Contains(slip, want) {
		t.Errorf("the slip says %q, want %q", slip, want)
	}
	b.finish()
	b.open(shop.url("/slip/" + id))
	b.until(`document.querySelector("main[data-ready] .verdict")`)
	if slip := b.text("#slip"); !strings.Contains(slip, "New pair check by") || !strings.Contains(slip, want) {
		t.Errorf("printed again it says %q, want %q", slip, want)
	}
}

// A pair comes back: by its slip, or as one of its runner's open pairs that the
// fitter confirms. Nothing is matched in silence.
func TestAPairComesBack(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	first := shop.begin(b, "check")
	slip := shop.soundPair(b, "R-20931", "212", "110101110"+"111101110")
	b.finish()
	ref := shop.stored(first).PairRef
	if slip != ref[:4]+" "+ref[4:8]+" "+ref[8:] {
		t.Errorf("the slip says %q, the record %q", slip, ref)
	}

	// By the runner: offered, and a new pair until the fitter says otherwise.
	b.tap(key("list"))
	b.until(`document.querySelector("main[data-ready] #unfinished")`)
	second := shop.begin(b, "check")
	b.pickShoe("fenline")
	b.press("42.5", kb.Tab, "R-20931", kb.Tab)
	b.until(`document.querySelector("[data-k=about]").innerText.includes("known? 1 open pair")`)
	b.tap(key("about"))
	b.until(`document.querySelector("[data-k=pair-new]").getAttribute("aria-checked") === "true"`)
	b.tap(key("pair-" + ref))
	b.until(`document.querySelector("#way-history").getAttribute("href") === "/pairs/` + ref + `"`)
	b.tap(key("back"))
	b.tap("#l-heel-medial")
	for range 18 {
		b.press("1")
	}
	b.until(`document.querySelectorAll(".digit").length === 18`)
	b.tap(key("hand"))
	b.tap(key("finish"))
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
	if in := shop.stored(second); in.PairRef != ref || in.Advised != assess.Incomplete {
		t.Errorf("the second reading is of pair %s, advised %v", in.PairRef, in.Advised)
	}

	// By the slip, typed the way people type: small letters, spaces, O for 0.
	b.tap(key("list"))
	b.until(`document.querySelector("main[data-ready] #slip-ref")`)
	b.write("#slip-ref", "7k3m")
	b.tap(`.slip-in [value=check]`)
	b.until(`document.querySelector("#slip-said").innerText.startsWith("Not a reference")`)
	eval[string](b, `document.querySelector("#slip-ref").value = ""`)
	b.write("#slip-ref", strings.ToLower(strings.ReplaceAll(ref[:4], "0", "o")+" "+ref[4:]))
	b.tap(`.slip-in [value=check]`)
	b.until(`location.pathname.length > 30 && document.querySelector("#shoe")?.value === "Ondrell Fenline 2"`)
	if got := eval[string](b, `document.querySelector("#runner").value + " " + document.querySelector("#size").value + " " + document.querySelector("#l-midfoot-lateral").getAttribute("aria-disabled")`); got != "R-20931 42.5 true" {
		t.Errorf("from the slip the ticket knows %q", got)
	}

	// Its history, and its slip again.
	b.open(shop.url("/pairs/" + ref))
	b.until(`document.querySelectorAll(".reads article").length === 2 && document.querySelector("sole-map svg")`)
	if got := b.text(".pairhead"); !strings.Contains(got, "Sound at 212 km") {
		t.Errorf("the history says %q", got)
	}
	b.tap(`.reads article:first-child .gave a`)
	b.until(`document.querySelector("main[data-ready] .verdict")`)
	if got := b.text("#slip"); !strings.Contains(got, "Keep running") || !strings.Contains(got, "Next check by") || !strings.Contains(got, slip) {
		t.Errorf("the slip again says %q", got)
	}
	b.until(`document.querySelector("#slip img").naturalWidth > 0`)
}

// A kept pair comes back by the measured life of its category, where the model
// has too few pairs: at the bench, off line as on, on the slip, printed again,
// and in the API.
func TestAKeptPairComesBackByMeasuredLife(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	risks, err := assess.ParseRiskTables([]byte(riskTables))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := shop.db.AddRisks(t.Context(), models.Actor{Account: "solewright"}, risks, ""); err != nil {
		t.Fatal(err)
	}
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	shop.soundPair(b, "R-1", "150", "110101110"+"111101110")
	const by, what = "or 200 km", "measured life of daily shoes: 900 pairs" // 350 − 150
	b.until(`document.querySelector("#hand-form").innerText.includes("` + by + `")`)
	if got := b.text("#hand-form"); !strings.Contains(got, what) {
		t.Errorf("the hand-over says %q", got)
	}
	if got := b.text("#slip"); !strings.Contains(got, by) || !strings.Contains(got, what) {
		t.Errorf("the slip says %q", got)
	}
	b.finish()
	shop.stored(id)
	b.open(shop.url("/slip/" + id))
	b.until(`document.querySelector("main[data-ready] .verdict")`)
	if got := b.text("#slip"); !strings.Contains(got, by) || !strings.Contains(got, "measured life of daily shoes") {
		t.Errorf("the slip again says %q", got)
	}
	next := eval[map[string]any](b, `fetch("/api/v1/inspections/`+id+`/result").then((r) => r.json()).then((r) => r.next_check)`)
	if next["by"] != "category" || next["in_km"] != 200.0 || next["at_km"] != 350.0 || next["as_of"] != "2026-01-01" {
		t.Errorf("the API says %v", next)
	}
}

// A pair that is traded in leaves by the route its grade opens, for the credit
// of the store's table.
func TestATradeInEndsThePair(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "trade-in")
	shop.soundPair(b, "R-7", "150", "110101110"+"111101110")
	b.tap(key("hygiene-clean"))
	b.until(`document.querySelector(".grades [aria-current]")?.innerText.startsWith("A")`)
	if got := b.text(".credit output"); got != "€24.00" {
		t.Errorf("credit of a pair whose age is unknown: %s, want the least of grade A", got)
	}
	for name, open := range map[string]bool{"resale": true, "donation": false, "recycling": false, "sealed": false, "back to runner": true} {
		if got := eval[bool](b, `!document.querySelector("[data-k='route-`+name+`']").hasAttribute("aria-disabled")`); got != open {
			t.Errorf("route %s open: %v, want %v", name, got, open)
		}
	}
	b.finish()
	in := shop.stored(id)
	pair, err := shop.db.Pair(t.Context(), in.PairRef)
	if err != nil {
		t.Fatal(err)
	}
	if pair.Open() {
		t.Error("the pair that was traded in is still open")
	}
}

// Who works for several stores says at which bench this tablet stands, once.
func TestAManagerChoosesTheStore(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, managerCode)
	b.write(`[name=store]`, storeCode)
	b.tap(`.where button`)
	b.until(`location.search === "?store=` + storeCode + `" && document.querySelector("main[data-ready]")`)
	id := shop.begin(b, "check")
	shop.soundPair(b, "R-3", "80", "110101110"+"111101110")
	b.finish()
	if in := shop.stored(id); in.Store != storeCode || in.Staff != managerCode {
		t.Errorf("stored for %s by %s", in.Store, in.Staff)
	}
}
