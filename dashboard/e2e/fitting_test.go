package e2e

import (
	"testing"

	"github.com/chromedp/chromedp"

	"solewright/assess"
	"solewright/models"
)

// A fitting is written, survives a reload and a dead line, and arrives as it was
// written; the pair that was chosen begins with it.
func TestFitting(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	b.until(`navigator.serviceWorker.controller`)
	b.open(shop.url("/bench/fitting"))
	b.until(`document.querySelector("main").dataset.ready`)
	field := func(name string) string { return `[name="` + name + `"]` }
	b.write(field("runner"), "R-77")
	b.write(field("left.length_mm"), "262")
	b.write(field("right.length_mm"), "264")
	b.write(field("right.width_mm"), "1x")
	b.until(`document.querySelector("#sizes").innerText.startsWith("264 mm: EU 41.5, UK 8")`)
	for i, v := range []string{"1", "1", "2", "1", "1", "1"} {
		b.do(chromedp.SetValue(field("left.fpi_"+string(rune('1'+i))), v))
	}
	b.do(chromedp.SetValue(field("gait"), "pronated"))
	eval[bool](b, `document.querySelector("#fitting").dispatchEvent(new Event("input"))`)
	b.until(`document.querySelector("#sum-left").innerText === "+7 pronated" && document.querySelector("#sum-right").innerText === "–"`)
	b.write("#shoe", "fenline")
	b.until(`document.querySelector("#shoes option")`)
	eval[bool](b, `(() => { const at = document.querySelector("#shoe"); at.value = document.querySelector("#shoes option").value; return at.dispatchEvent(new Event("input", { bubbles: true })); })()`)
	b.until(`document.querySelector("#shoe-says").innerText.startsWith("Its reference: ")`)

	// What can't stand there stays to be mended.
	b.tap(`#fitting [type=submit]`)
	b.until(`document.querySelector("#said").innerText === "Write whole numbers where the field is marked." && document.activeElement.name === "right.width_mm"`)
	b.open(shop.url("/bench/fitting"))
	b.until(`document.querySelector("main").dataset.ready && document.querySelector('[name="right.width_mm"]').value === "1x" && document.querySelector("#sum-left").innerText === "+7 pronated"`)
	eval[bool](b, `(() => { document.querySelector('[name="right.width_mm"]').value = ""; return true; })()`)
	b.write(field("right.width_mm"), "101")

	b.quiet(true)
	shop.stop()
	b.tap(`#fitting [type=submit]`)
	b.until(`document.querySelector("#kept").innerText === "Kept on this tablet, 1 to send"`)
	b.open(shop.url("/bench/fitting"))
	b.until(`document.querySelector("main").dataset.ready`)
	shop.start()
	eval[bool](b, `dispatchEvent(new Event("online"))`)
	b.until(`document.querySelector("#kept").innerText === "All sent"`)
	var all []models.StoredFitting
	if err := shop.db.EachFitting(t.Context(), func(f *models.StoredFitting) error { all = append(all, *f); return nil }); err != nil {
		t.Fatal(err)
	}
	if len(all) != 1 {
		t.Fatalf("%d fittings arrived", len(all))
	}
	f := all[0]
	if f.Runner != "R-77" || f.Foot[assess.Right].LengthMM != 264 || f.Foot[assess.Right].WidthMM != 101 || assess.PostureSum(f.Foot[assess.Left].Posture) != assess.Of(7) ||
		f.Gait != assess.Of(3) || f.ChosenID.IsZero() || f.ChosenPair == "" || f.Staff != fitterCode || f.Store != storeCode {
		t.Errorf("arrived %+v", f.Fitting)
	}
	if pair, err := shop.db.Pair(t.Context(), f.ChosenPair); err != nil || pair.Runner != "R-77" {
		t.Errorf("the pair that was chosen: %v", err)
	}
}
