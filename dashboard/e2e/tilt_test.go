package e2e

import (
	"fmt"
	"math"
	"testing"

	"github.com/chromedp/chromedp"

	"solewright/assess"
	"solewright/models"
)

// A shoe that leans is measured on a photo by four taps, and by keys; what is
// stored is what the engine measures on the same points.
func TestTiltOnAPhoto(t *testing.T) {
	t.Parallel()
	const width, height = 1680, 870
	path := greyPicture(t, width, height)
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.write("#shoe", "fenline")
	b.tap(`#shoe-list [data-shoe="0"]`)
	b.until(`document.querySelector("#l-midfoot-lateral").getAttribute("aria-disabled") === "true"`)
	b.tap(key("line-stand"))
	b.tap(key("stand-left,square"))
	b.tap(key("stand-right,leans in"))
	b.until(`document.querySelector("[data-k=line-tilt][aria-expanded=true]")`)
	// Who has nothing to measure with goes on, and comes back to it.
	b.tap(key("tilt-right-later"))
	b.until(`document.querySelector("[data-k=line-lining][aria-expanded=true]")`)
	b.tap(key("line-tilt"))
	// The picker belongs to the machine: the key asks for it, the test answers.
	b.tap(key("tilt-right-photo"))
	b.do(chromedp.SetUploadFiles(chromedp.CSS("#tilt-file"), []string{path}))
	b.until(`!document.querySelector("#measure").hidden && document.querySelector("#tilt-photo image")`)

	// A tap falls on a whole pixel of the screen; where that is on the photo comes
	// back.
	tapAt := func(x, y float64) assess.Point {
		t.Helper()
		return eval[assess.Point](b, fmt.Sprintf(`(() => {
			const svg = document.querySelector("#tilt-photo"), to = svg.getScreenCTM(), at = new DOMPoint(%v, %v).matrixTransform(to);
			const x = Math.round(at.x), y = Math.round(at.y), on = new DOMPoint(x, y).matrixTransform(to.inverse());
			svg.dispatchEvent(new MouseEvent("click", { bubbles: true, clientX: x, clientY: y }));
			return { X: on.x, Y: on.y };
		})()`, x, y))
	}
	counter := [2]assess.Point{tapAt(771, 213), tapAt(810, 582)}
	b.tap(key("view-line-table"))
	table := [2]assess.Point{tapAt(48, 708), tapAt(1632, 694)}
	photo := assess.TiltPhoto{Foot: assess.Right, Counter: counter, Table: table, Lean: assess.Of(800)}
	want, err := photo.Measure()
	if err != nil {
		t.Fatal(err)
	}
	degrees := float64(want.Tilt.Int()) / 100
	b.until(fmt.Sprintf(`document.querySelector("#tilt-scale").getAttribute("aria-label").startsWith("%.1f° in")`, degrees))
	// By keys: lean in by half a degree and out again leaves it where it was.
	b.tap(key("view-line-counter"))
	b.tap(key("view-turn--1"))
	b.until(fmt.Sprintf(`document.querySelector("#tilt-scale").getAttribute("aria-label").startsWith("%.1f° in")`, degrees+0.5))
	b.tap(key("view-turn-1"))
	b.tap("#tilt-use")
	b.until(`document.querySelector("#word").innerText.includes("Replace")`)
	if got, say := b.text("#why"), fmt.Sprintf("Right counter leans in, %.1f° measured", degrees); got != "Because "+say {
		t.Errorf("the bench says %q, want %q", got, say)
	}
	b.tap(key("hand"))
	b.finish()
	kept := shop.photos(id)
	if len(kept) != 1 || kept[0].Foot != assess.Right || kept[0].View != models.ViewBack || len(kept[0].Points) != 8 {
		t.Fatalf("the photos kept are %+v, want the one that was measured, with its points", kept)
	}
	for i, want := range []float64{table[0].X / width, table[0].Y / height, table[1].X / width, table[1].Y / height, counter[0].X / width, counter[0].Y / height, counter[1].X / width, counter[1].Y / height} {
		if math.Abs(kept[0].Points[i]-want) > 1e-4 {
			t.Errorf("number %d of its points is %v, tapped was %v", i, kept[0].Points[i], want)
		}
	}
	shoe := shop.stored(id).Shoe[assess.Right]
	if shoe[assess.Tilt] != want.Tilt || shoe[assess.TiltU] != want.U || !shoe[assess.TiltBy].Is(assess.ByPhoto) || !shoe[assess.TiltN].Is(1) {
		t.Errorf("stored %v ± %v hundredths of a degree, the engine measures %v ± %v", shoe[assess.Tilt].Int(), shoe[assess.TiltU].Int(), want.Tilt.Int(), want.U.Int())
	}
}

// By level and by eye the value is typed or stepped, with its uncertainty; what
// can't stand in a field is marked and stays to be mended.
func TestTiltByLevelAndByEye(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.tap(key("line-stand"))
	b.tap(key("stand-left,leans out"))
	b.tap(key("stand-right,doubtful"))
	b.tap(key("tilt-left-level"))
	b.tap(key("tilt-left-less"))
	b.until(`document.querySelector("[data-k=tilt-left-v]").value === "-2.5"`)
	b.tap(key("tilt-right-eye"))
	b.until(`document.querySelector("[data-k=tilt-right-u]").value === "2"`)
	eval[string](b, `document.querySelector("[data-k=tilt-right-v]").value = ""`)
	b.write(key("tilt-right-v"), "90")
	b.until(`document.querySelector("[data-k=tilt-right-v]").getAttribute("aria-invalid") === "true"`)
	eval[string](b, `document.querySelector("[data-k=tilt-right-v]").value = ""`)
	b.write(key("tilt-right-v"), "1.5")
	b.until(`!document.querySelector("[data-k=tilt-right-v]").hasAttribute("aria-invalid")`)
	b.tap(key("hand"))
	b.finish()
	in := shop.stored(id)
	left, right := in.Shoe[assess.Left], in.Shoe[assess.Right]
	if !left[assess.Tilt].Is(-250) || !left[assess.TiltU].Is(50) || !left[assess.TiltBy].Is(assess.ByLevel) {
		t.Errorf("left %v ± %v", left[assess.Tilt].Int(), left[assess.TiltU].Int())
	}
	if !right[assess.Tilt].Is(150) || !right[assess.TiltU].Is(200) || !right[assess.TiltBy].Is(assess.ByEye) {
		t.Errorf("right %v ± %v", right[assess.Tilt].Int(), right[assess.TiltU].Int())
	}
}

// What people who can't see the screen are told is well formed, on every sheet.
func TestTheBenchIsSoundForAssistiveTechnology(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	shop.begin(b, "trade-in")
	check := func(sheet string) {
		t.Helper()
		wrong := eval[[]string](b, `(() => {
			const out = [], seen = (e) => e.checkVisibility({ visibilityProperty: true }), all = [...document.querySelectorAll("body *")].filter(seen);
			const name = (e) => (e.getAttribute("aria-label") ?? e.labels?.[0]?.innerText ?? e.textContent).trim();
			let level = 0; const ids = new Set();
			for (const e of all) {
				if (e.id && ids.has(e.id)) out.push("two of " + e.id);
				ids.add(e.id);
				if (e.matches("[role=radio]") && !/^(true|false)$/.test(e.getAttribute("aria-checked"))) out.push("radio without state: " + e.dataset.k);
				for (const state of ["aria-pressed", "aria-expanded", "aria-disabled"]) if (e.hasAttribute(state) && !/^(true|false)$/.test(e.getAttribute(state))) out.push(state + " of " + (e.dataset.k ?? e.id));
				if (e.matches("button, a, input, select, [role=button], [role=radiogroup], [role=img]") && name(e) === "") out.push("no name: " + (e.dataset.k ?? e.id ?? e.tagName));
				if (e.hasAttribute("style")) out.push("style: " + (e.dataset.k ?? e.id ?? e.tagName));
				const h = /^H([1-6])$/.exec(e.tagName);
				if (h) { if (h[1] > level + 1) out.push("heading " + e.textContent + " after level " + level); level = Number(h[1]); }
			}
			return out;
		})()`)
		for _, w := range wrong {
			t.Errorf("%s: %s", sheet, w)
		}
	}
	check("the empty sheet")
	for _, grade := range worn + "11" {
		b.press(string(grade))
	}
	checksOf(b)
	check("a read sheet")
	for _, panel := range []string{"more", "second", "about"} {
		b.tap(key(panel))
		check(panel)
		b.tap(key("back"))
	}
	b.tap("#pain")
	check("pain")
	b.tap(key("pain-yes"))
	b.tap(key("hand"))
	check("hand-over")
	b.finish()
	check("the end")
}
