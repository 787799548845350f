package e2e

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"solewright/assess"
	"solewright/models"
)

// kept reads a sound pair to the end and returns the reading's id.
func (s *shop) kept(b *browser, kind, runner string) string {
	b.t.Helper()
	id := s.begin(b, kind)
	s.soundPair(b, runner, "150", "110101110"+"111101110")
	if kind == "trade-in" {
		b.tap(key("hygiene-clean"))
	}
	b.finish()
	return id
}

// onBench waits for a ticket other than that of an id, and returns its id.
func (b *browser) onBench(but string) string {
	b.t.Helper()
	b.until(`location.pathname.length > 30 && !location.pathname.endsWith("` + but + `") && document.querySelector("main[data-ready]") && document.querySelector("#word span")`)
	return eval[string](b, `location.pathname.split("/").pop()`)
}

// A stored reading is corrected from the day's list, by touch: the bench opens
// as it was read, asks why, and what is kept takes the other's place.
func TestAReadingIsCorrectedByTouch(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	shop.signIn(b, fitterCode)
	old := shop.kept(b, "trade-in", "R-7")
	b.open(shop.url("/bench"))
	b.fits("the day's list with a reading")
	b.keepPicture(t.Name() + " list")
	b.tap(`a[href="/bench?amend=` + old + `"]`)
	id := b.onBench(old)
	if got := eval[string](b, `document.querySelector("#runner").value + " " + document.querySelectorAll(".digit").length`); got != "R-7 18" {
		t.Errorf("the bench opens with %q, want what was read", got)
	}
	b.tap("#r-heel-lateral")
	b.tap(key("g-4"))
	b.until(`document.querySelector("#word").innerText.includes("Replace")`)
	// The same link again leads to the same correction, with what was changed.
	b.open(shop.url("/bench?amend=" + old))
	if again := b.onBench(old); again != id {
		t.Errorf("a second correction %s was begun beside %s", again, id)
	}
	b.until(`document.querySelector("#word").innerText.includes("Replace")`)
	b.tap(key("hand"))
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("#hand-form").innerText.includes("why the reading is corrected")`)
	b.keepPicture(t.Name() + " why")
	if got := b.text("#hand-form"); strings.Contains(got, "Where the pair goes") || strings.Contains(got, "Override") {
		t.Errorf("a correction asks again where the pair goes: %q", got)
	}
	b.write(key("f-amend_reason"), "outer heel was overlooked")
	eval[bool](b, `(() => { const k = document.querySelector("[data-k=finish]"); k.click(); k.click(); return true; })()`)
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)

	was, now := shop.stored(old), shop.stored(id)
	if now.Supersedes != was.ID || was.SupersededBy != now.ID || now.AmendReason != "outer heel was overlooked" || !now.At.Equal(was.At.Truncate(1e6)) || now.PairRef != was.PairRef {
		t.Errorf("corrected %+v\nwas %+v", now.Record, was.Record)
	}
	pair, err := shop.db.Pair(t.Context(), was.PairRef)
	if err != nil {
		t.Fatal(err)
	}
	if pair.Life.Readings != 1 || !pair.Life.Upper.Is(150) {
		t.Errorf("life %+v, want that of the correction alone", pair.Life)
	}
	b.tap(key("history"))
	b.until(`location.pathname.startsWith("/pairs/") && document.querySelector(".gone .struck")`)
	b.keepPicture(t.Name() + " history")
	if got := b.text(".gone .struck"); !strings.Contains(got, "Corrected by "+fitterCode) || !strings.Contains(got, "outer heel was overlooked") {
		t.Errorf("the page says %q", got)
	}
	// The slip of the correction still says what was given for the pair.
	b.open(shop.url("/slip/" + id))
	b.until(`document.querySelector("main[data-ready] .verdict")`)
	if got := b.text("#slip"); !strings.Contains(got, "24.00") {
		t.Errorf("the slip says %q", got)
	}
}

// The same by keys alone, from the pair's page.
func TestAReadingIsCorrectedByKeyboard(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	old := shop.kept(b, "check", "R-8")
	focus := func(selector string) {
		t.Helper()
		for range 80 {
			if eval[bool](b, fmt.Sprintf(`Boolean(document.activeElement?.matches(%q))`, selector)) {
				return
			}
			b.press(kb.Tab)
		}
		t.Fatalf("Tab never comes to %s", selector)
	}
	b.open(shop.url("/pairs/" + shop.stored(old).PairRef))
	b.keepPicture(t.Name() + " pair")
	focus(`.mend a`)
	b.press(kb.Enter)
	id := b.onBench(old)
	focus("#l-heel-medial") // the way onto the soles, all of which are read
	b.press(kb.Enter, "4")
	b.until(`document.querySelector("#l-heel-medial").getAttribute("aria-label").includes("4 through")`)
	focus(key("hand"))
	b.press(kb.Enter)
	b.until(`document.activeElement.dataset.k === "f-amend_reason"`)
	b.press("heel was through")
	focus(key("finish"))
	b.press(kb.Enter)
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
	if now := shop.stored(id); now.AmendReason != "heel was through" || !now.Shoe[assess.Left][assess.HeelMedial].Is(4) {
		t.Errorf("corrected %+v", now.Record)
	}
}

// Two tablets correct one reading: the second is told, and loses nothing.
func TestTwoTabletsCorrectOneReading(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	old := shop.kept(b, "check", "R-9")
	other := newBrowser(t, landscape)
	shop.signIn(other, secondCode)
	for i, tab := range []*browser{b, other} {
		tab.open(shop.url("/bench?amend=" + old))
		tab.onBench(old)
		tab.tap(key("hand"))
		tab.write(key("f-amend_reason"), fmt.Sprint("reason ", i+1))
	}
	b.finish()
	other.quiet(true) // 409 is what this is about
	other.tap(key("finish"))
	other.until(`document.querySelector("#hand-form").innerText.includes("did not take the record as it is")`)
	other.keepPicture(t.Name())
	other.tap(key("reopen"))
	other.until(`document.querySelectorAll(".digit").length === 18`)
	other.quiet(false)
}

// Voiding takes a reason, and a manager who proves who they are.
func TestAReadingIsVoided(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	shop.atTablet(b, fitterCode)
	id := shop.kept(b, "check", "R-10")
	b.open(shop.url("/bench"))
	b.tap(`a[href*="?void=` + id + `"]`)
	b.until(`location.pathname.startsWith("/pairs/") && document.querySelector("details[open]")`)
	b.keepPicture(t.Name() + " asked")
	b.write(`[name=reason]`, "another runner's pair")
	b.write(`[name=staff]`, secondCode)
	b.write(`[name=pin]`, pins[secondCode])
	b.quiet(true) // 422 is what this is about
	b.tap(`details button`)
	b.until(`document.querySelector("details [role=alert]")?.innerText.startsWith("Only a manager")`)
	b.quiet(false)
	b.keepPicture(t.Name() + " refused")
	b.rewrite(`[name=staff]`, managerCode)
	b.write(`[name=pin]`, pins[managerCode])
	b.tap(`details button`)
	b.until(`document.querySelector(".told") && document.querySelector(".gone .struck")?.innerText.includes("by ` + managerCode + `")`)
	b.keepPicture(t.Name() + " void")
	if in := shop.stored(id); in.VoidedAt.IsZero() || in.VoidReason != "another runner's pair" {
		t.Errorf("void at %v because %q", in.VoidedAt, in.VoidReason)
	}
	lines, _, err := shop.db.Audit(t.Context(), models.AuditFilter{Action: "inspection.void"}, models.Page{})
	if err != nil || len(lines) != 1 || lines[0].Account != managerCode || lines[0].Device != tabletCode {
		t.Errorf("the trail holds %+v, %v", lines, err)
	}
	b.open(shop.url("/bench?amend=" + id))
	b.until(`document.querySelector("#slip-said").innerText.startsWith("This reading can't be corrected")`)
}
