package e2e

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"solewright/assess"
)

// scan types a code as a scanner does: faster than any finger, and than the page
// draws, and with Enter.
func (b *browser) scan(code string) {
	b.t.Helper()
	eval[bool](b, fmt.Sprintf(`(() => {
		const keys = [...%q, "Enter"].map((key) => new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }));
		for (const event of keys) (document.activeElement ?? document.body).dispatchEvent(event);
		return true;
	})()`, code))
}

// A scanner doesn't look where the focus is: what it types grades no zone and
// taps no key.
func TestAScannerGradesNothing(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.tap("#l-heel-medial")
	b.press("2")
	const one = `document.querySelectorAll(".digit").length === 1`
	b.until(one)
	for range 2 { // scanned twice is scanned once
		b.scan(shoeGTIN)
		b.until(`document.querySelector("#shoe").value === "Ondrell Fenline 2" && document.activeElement.id === "size" && ` + one)
		b.tap("#l-heel-medial")
	}
	b.scan("96385074") // a GTIN of nobody's shoe: GS1 General Specifications, section 7.9
	b.until(`document.querySelector("#says").innerText === "No shoe in the list has the code 96385074." && ` + one)
	b.keepPicture(t.Name())
	b.tap("#l-heel-medial")
	b.until(`document.querySelector("#says").innerText === ""`)
	ref := assess.NewPairRef([5]byte{200, 100, 50, 25, 12})
	b.scan(ref)
	b.until(`document.querySelector("#says").innerText.startsWith("A slip was scanned, ") && ` + one)

	// A hand that is as fast, but types no code, grades.
	b.tap("#l-heel-medial")
	b.scan("1203")
	b.until(`document.querySelectorAll(".digit").length === 4`)

	// At the hand-over the scanner's Enter finishes nothing.
	b.tap(key("hand"))
	b.until(`document.querySelector("[data-k=finish]")`)
	eval[bool](b, `(document.querySelector("[data-k=finish]").focus(), true)`)
	b.scan(shoeGTIN)
	b.open(shop.url("/bench/" + id))
	b.until(`document.querySelectorAll(".digit").length === 4`)
	if shop.isStored(id) {
		t.Error("a scanner finished the ticket")
	}
}

// A counter that is broken through ends a pair at once, whatever else is read,
// and the slip says why.
func TestABrokenCounterEndsThePair(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "trade-in")
	b.pickShoe("fenline")
	b.press("42.5")
	b.tap(key("line-lining"))
	b.tap(key("lining-right,shell broken"))
	b.until(`document.querySelector("#word").innerText.includes("Stop wearing")`)
	if got := b.text("#why"); !strings.Contains(got, "Right") {
		t.Errorf("the reasons are %q", got)
	}
	b.tap(key("hand"))
	b.tap(key("hygiene-clean"))
	b.until(`document.querySelector(".grades [aria-current]")?.innerText.startsWith("D")`)
	b.tap(key("finish"))
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
	if in := shop.stored(id); in.Advised != assess.RetirePair || in.Given != assess.RetirePair {
		t.Errorf("advised %v, given %v; want retire", in.Advised, in.Given)
	}
}

// What is left unread is named, at the bench and on the slip, and is no verdict.
func TestAnIncompleteReadingSaysWhatIsLeft(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.pickShoe("fenline")
	b.tap("#l-heel-medial")
	for range 16 { // all zones that this shoe has
		b.press("1")
	}
	b.until(`document.querySelectorAll(".digit").length === 16 && document.querySelector("#word").innerText.includes("Not finished")`)
	b.until(`document.querySelector("#left").innerText.includes("Still unread")`)
	b.tap(key("hand"))
	b.tap(key("finish"))
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
	if got := b.text("#slip"); !strings.Contains(got, "Not finished") {
		t.Errorf("the slip says %q", got)
	}
	in := shop.stored(id)
	if in.Advised != assess.Incomplete || in.Shoe[assess.Left][assess.PressHeel] != assess.Unread {
		t.Errorf("advised %v, the heel's press %v; want incomplete and unread", in.Advised, in.Shoe[assess.Left][assess.PressHeel])
	}
}

// A wrong value is marked where it stands, stays to be mended, and is not what
// is stored.
func TestAWrongValueStaysToBeMended(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.write("#km", "61x")
	b.until(`document.querySelector("#km").getAttribute("aria-invalid") === "true" && document.querySelector("#km").value === "61x"`)
	b.press(kb.Backspace, "2")
	b.until(`!document.querySelector("#km").hasAttribute("aria-invalid")`)
	b.write("#runner", "José 7")
	b.until(`document.querySelector("#runner").getAttribute("aria-invalid") === "true"`)
	for range len([]rune("José 7")) {
		b.press(kb.Backspace)
	}
	b.press("R-7")
	b.until(`!document.querySelector("#runner").hasAttribute("aria-invalid")`)
	b.tap("#l-heel-medial")
	b.press("3")
	b.tap(key("hand"))
	b.tap(key("finish"))
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
	if in := shop.stored(id); in.Runner != "R-7" || in.Distance.Int() != 6120 {
		t.Errorf("runner %q, distance %v; want R-7 and 612.0 km", in.Runner, in.Distance)
	}
}
