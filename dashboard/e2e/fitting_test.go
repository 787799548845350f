package e2e

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// A fitting is written, survives a reload and a dead line, and arrives as it was
// written; the pair that was chosen begins with it.
func TestFitting(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newTablet(t, landscape)
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

// Beside the form stands what this tablet has read of the old pair, and what was
// seen points to features; a shoe of the catalogue that has them is tried on and
// chosen, by touch.
func TestFittingOfTheNextPair(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	_, err := shop.db.SaveShoeModel(t.Context(), models.Actor{Account: "solewright"}, retail.ShoeModel{
		Brand: "Ondrell", Model: "Harrow", Version: "1", Category: "support",
		Features: retail.Features{Cushioning: "high", MedialSupport: "firm", DropMM: retail.UnknownDrop, Widths: "standard wide"},
	})
	if err != nil {
		t.Fatal(err)
	}
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.write("#runner", "R-20931")
	b.tap(key("line-press_fore"))
	b.tap(key("press_fore-right,gives"))
	b.tap(key("line-stand"))
	b.tap(key("stand-left,leans out"))
	b.until(`document.querySelector("#word").innerText.includes("Replace")`)
	old := module[string](b, "shelf.js", `m.tickets.get("`+id+`").then((t) => t.reading.pair_ref)`)

	b.open(shop.url("/bench/fitting?runner=R-20931&pair=" + url.QueryEscape(old)))
	b.until(`document.querySelector("main").dataset.ready && document.querySelector("#old-pair sole-map svg")`)
	if says := b.text("#old-pair"); !strings.Contains(says, "Replace") || !strings.Contains(says, "No gait is written yet") || !strings.Contains(says, "no diagnosis") {
		t.Errorf("the old pair says %q", says)
	}
	// The gait goes before the wear: until it is written, the wear is covered.
	b.tap(`[name=before_wear]`)
	b.until(`document.querySelector("#old-pair").innerText.includes("stays covered") && !document.querySelector("#old-pair sole-map")`)
	input := func(selector, value string) {
		t.Helper()
		eval[bool](b, fmt.Sprintf(`(() => { const at = document.querySelector(%q); at.value = %q; return at.dispatchEvent(new Event("input", { bubbles: true })); })()`, selector, value))
	}
	input(`[name=gait_by]`, "treadmill")
	input(`[name=gait]`, "pronated")
	b.until(`document.querySelector("#old-pair").innerText.includes("Another way than the gait seen, pronated: left shoe leans out")`)
	features := b.text("#features")
	for _, want := range []string{"Firmer inner edge. gait seen pronated, treadmill", "Against it: old pair: left shoe leans out", "Middle or high cushioning, for the forefoot. old pair: right forefoot gives", "Evidence weak"} {
		if !strings.Contains(features, want) {
			t.Errorf("the features say %q, want %q", features, want)
		}
	}
	b.until(`document.querySelector("#fitting-shoes").innerText.includes("Ondrell Harrow 1")`)
	if says := b.text("#fitting-shoes"); strings.Contains(says, "Fenline") || !strings.Contains(says, "Life not measured yet") {
		t.Errorf("the shoes are %q, want only the one that has the features", says)
	}

	b.tap(`[data-act=try][data-v=""]`)
	input(`[data-tried="0,shoe"]`, "Last year's, blue")
	input(`[data-tried="0,size"]`, "42 2/3")
	input(`[data-tried="0,felt"]`, "narrow")
	input(`[data-tried="0,outcome"]`, "put-back")
	b.until(`document.querySelector("#features").innerText.includes("Wide forefoot. Last year's, blue, 42 2/3 felt narrow")`)
	b.until(`document.querySelector("#fitting-shoes").innerText.includes("Ondrell Harrow 1")`)
	b.tap(`#fitting-shoes [data-act=try]`)
	b.until(`document.activeElement.dataset.tried === "1,size"`)
	b.press("43")
	input(`[data-tried="1,felt"]`, "comfortable")
	input(`[data-tried="1,outcome"]`, "chosen")
	b.until(`document.querySelector("#shoe").value === "Ondrell Harrow 1" && document.querySelector("[name=chosen_size]").value === "43" && document.querySelector("#next-says").innerText.startsWith("Next check of the new pair: ")`)
	b.keepPicture("fitting of the next pair")

	// It survives a reload, and arrives.
	b.open(shop.url("/bench/fitting"))
	b.until(`document.querySelector("main").dataset.ready && document.querySelector('[data-tried="1,size"]').value === "43"`)
	b.tap(`#fitting [type=submit]`)
	b.until(`document.querySelector("#said a")?.getAttribute("href").startsWith("/pairs/")`)
	all, err := shop.db.FittingsOf(t.Context(), "R-20931")
	if err != nil || len(all) != 1 {
		t.Fatalf("%d fittings arrived, %v", len(all), err)
	}
	f := all[0]
	want := []retail.TriedPair{
		{Name: "Last year's, blue", Size: "42 2/3", Felt: "narrow", Outcome: "put-back"},
		{Model: f.ChosenID, Size: "43", Felt: "comfortable", Outcome: "chosen"},
	}
	if !slices.Equal(f.Tried, want) || f.ChosenID.IsZero() || f.ChosenSize != "43" || f.OldPair != old || !f.BeforeWear.Is(assess.Yes) {
		t.Errorf("arrived %+v", f.Fitting)
	}
}

// A fitting goes by the posture bands of its day, which the office publishes:
// those that have begun hold, with the line or without, and the tablet cuts a sum
// as the engine does.
func TestFittingGoesByTheBandsOfItsDay(t *testing.T) {
	t.Parallel()
	const officeCode = "HQ-9"
	shop, b := newShop(t), newBrowser(t, landscape)
	by := models.Actor{Account: "solewright"}
	if err := shop.db.SaveStaff(t.Context(), by, retail.Staff{Code: officeCode, Role: retail.Office, Scopes: models.Fleet}); err != nil {
		t.Fatal(err)
	}
	if err := shop.db.SetPassword(t.Context(), by, officeCode, password); err != nil {
		t.Fatal(err)
	}
	own := assess.PostureBands{Version: 2, Low: [5]int{-12, -5, 0, 8, 11}, Source: "invented"}
	if _, err := shop.db.AddPostureBands(t.Context(), by, "2026-02-01", own, "trial"); err != nil {
		t.Fatal(err)
	}

	// The office drafts the next and publishes it for tomorrow: it holds no fitting of today.
	shop.signIn(b, officeCode)
	b.open(shop.url("/office/posture"))
	b.write(`[name=low-4]`, "12")
	b.tap(`#draft [type=submit]`)
	b.until(`location.search.includes("low-4=12") && document.querySelector("tr.changed")`)
	b.keepPicture("posture bands drafted")
	eval[bool](b, `(() => { document.querySelector("[name=from]").value = new Date(Date.now() + 2 * 86400000).toISOString().slice(0, 10); return true; })()`)
	b.write(`[name=source]`, "invented")
	b.write(`[name=note]`, "another trial")
	b.tap(`aside [type=submit]`)
	b.until(`document.querySelector("[role=status].told")?.innerText === "Posture bands 3 are published."`)

	b.open(shop.url("/bench/fitting"))
	b.until(`document.querySelector("main").dataset.ready`)
	all := eval[[]struct {
		Number int
		From   string
		Low    [5]int
	}](b, `fetch("/bench/context.json").then((a) => a.json()).then((c) => c.bands)`)
	if len(all) != 3 || all[1].Low != own.Low || all[2].Low[4] != 12 {
		t.Fatalf("the tablet knows the bands %v", all)
	}
	for _, bands := range []*assess.PostureBands{assess.CurrentPostureBands(), &own} {
		for sum := assess.MinPosture; sum <= assess.MaxPosture; sum++ {
			got := module[int](b, "posture.js", fmt.Sprintf(`m.bandOf({ low: %s }, %d)`, literal(t, bands.Low), sum))
			if want := bands.Band(assess.Of(sum)).Int(); got != want {
				t.Errorf("%v: %d is of band %d, the engine says %d", bands.Low, sum, got, want)
			}
		}
	}
	items := func() {
		t.Helper()
		for i := range assess.PostureItems {
			b.do(chromedp.SetValue(fmt.Sprintf(`[name="left.fpi_%d"]`, i+1), "1"))
		}
		b.do(chromedp.SetValue(`[name="left.fpi_1"]`, "2"))
		eval[bool](b, `document.querySelector("#fitting").dispatchEvent(new Event("input"))`)
	}
	items()
	// +7 is pronated by the program's bands, neutral by those that hold today.
	b.until(`document.querySelector("#sum-left").innerText.startsWith("+7 neutral") && document.querySelector("#sum-left").innerText.includes("bands 2")`)
}
