package e2e

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"solewright/assess"
	"solewright/models"
)

// maxInteractions is how many touches a trade-in may take. House value.
const maxInteractions = 60

// worn are the grades of a worn pair in the order in which the bench asks, heel
// to toe, left and then right, without the zone that the shoe was built without.
const worn = "112121010" + "212133111"

// checksOf taps the checks of the sheet: left and right words, then the pair.
func checksOf(b *browser) {
	for _, tap := range []string{
		"press_heel-left,springs back", "press_heel-right,softer",
		"press_fore-left,softer", "press_fore-right,gives",
		"stand-left,square", "stand-right,square",
		"lining-left,worn", "lining-right,padding showing",
		"bond-left,attached", "bond-right,attached",
		"flex_side-pair,1", "torsion_side-pair,0",
	} {
		b.tap(key(tap))
	}
}

func TestTradeInByTouch(t *testing.T) {
	t.Parallel()
	for _, size := range [][2]int64{landscape, portrait} {
		t.Run(fmt.Sprintf("%d by %d", size[0], size[1]), func(t *testing.T) {
			t.Parallel()
			shop, b := newShop(t), newTablet(t, size)
			shop.signInByForm(b, fitterCode)
			b.taps, b.touches, b.typed = 0, nil, 0
			id := shop.begin(b, "trade-in")

			b.pickShoe("ond fen")
			b.types("42.5")
			b.write("#runner", "R-20931")
			b.choose("#gait", "pronated")
			b.write("#km", "612")
			b.choose("#km-how", "km,logged")
			b.tap("#setup")
			for i, grade := range worn {
				b.tap(key("g-" + string(grade)))
				b.until(fmt.Sprintf(`document.querySelectorAll("#progress .read").length >= 1 && [...document.querySelectorAll(".digit")].length === %d`, i+1))
			}
			checksOf(b)
			b.until(`document.querySelector("#word").innerText.includes("Replace") && document.querySelector("#left").innerText.includes("All needed")`)
			b.tap(key("hand"))
			b.tap(key("hygiene-cleanable"))
			b.until(`document.querySelector(".grades [aria-current]")?.innerText.startsWith("D")`)
			screen := b.text("#why")
			b.tap(key("finish"))
			b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)
			if b.taps > maxInteractions {
				t.Errorf("%d interactions, want at most %d", b.taps, maxInteractions)
			}
			// What a practised person makes up their mind about: the seven lines of the
			// ticket, each part of each sole at one look, each check of both shoes in one
			// go, and to hand over, how clean the pair is, and to finish.
			decisions := 7 + 2*len([]string{"heel", "midfoot", "forefoot", "toe"}) + len([]string{"press heel", "press forefoot", "stand", "lining", "bond", "flex", "twist"}) + 3
			model := estimate(b.touches, b.typed, decisions)
			if model > practised {
				t.Errorf("the keystroke-level model gives %.0f s at the tablet, want at most %.0f", model, practised)
			}
			// The same with a decision for every value and every tap aimed as a mouse is:
			// who does it for the first time is nearer to this, and the model says nothing
			// of who has to find out what to do.
			each := float64(b.taps)*(mousePoint+keyPress) + float64(b.typed)*softKey + float64(7+18+12+3)*mental
			t.Logf("%d interactions, %d letters, %d decisions; by the keystroke-level model, no person timed, %.0f s beside the work of the hands, and %.0f s with each value decided apart", b.taps, b.typed, decisions, model, each)

			in := shop.stored(id)
			result := shop.judged(in)
			if in.Advised != assess.ReplacePair || in.Given != in.Advised || result.Verdict != in.Advised {
				t.Errorf("advised %v, given %v, the engine says %v; want replace", in.Advised, in.Given, result.Verdict)
			}
			if !strings.Contains(screen, "Right forefoot inner and centre thin, and gives") {
				t.Errorf("the screen's reasons are %q", screen)
			}
			got := fmt.Sprint(in.Brand, in.Model, in.Version, in.SizeLabel, in.Runner, in.Distance.Int(), in.GaitBefore.Is(assess.Yes), in.Staff, in.Store)
			if want := fmt.Sprint("Ondrell", "Fenline", "2", "42.5", "R-20931", 6120, true, fitterCode, storeCode); got != want {
				t.Errorf("record %s, want %s", got, want)
			}
			var grades strings.Builder
			for f := range in.Shoe {
				for z := range assess.NumZones {
					if v := in.Shoe[f][z]; v.OK() {
						fmt.Fprint(&grades, v.Int())
					}
				}
			}
			if grades.String() != worn {
				t.Errorf("grades %s, want %s", grades.String(), worn)
			}
			if in.Shoe[assess.Right][assess.PressForeAt] != assess.Unread {
				t.Errorf("two forefoot zones are worn alike, yet the thumb is said to have been on %v", in.Shoe[assess.Right][assess.PressForeAt])
			}
			if !in.Shoe[assess.Left][assess.PressForeAt].Is(0) {
				t.Errorf("the left forefoot was pressed at %v, want its most worn zone", in.Shoe[assess.Left][assess.PressForeAt])
			}
		})
	}
}

// Nothing but keys: Tab to begin, arrows, digits, Enter.
func TestTradeInByKeyboard(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	focus := func(selector string) {
		t.Helper()
		for range 60 {
			if eval[bool](b, fmt.Sprintf(`Boolean(document.activeElement?.matches(%q))`, selector)) {
				return
			}
			b.press(kb.Tab)
		}
		t.Fatalf("Tab never comes to %s", selector)
	}
	focus(`[data-act=begin][data-v=trade-in]`)
	b.press(kb.Enter)
	b.until(`location.pathname.length > 30 && document.querySelector("main[data-ready]") && document.querySelector("#word span")`)
	id := eval[string](b, `location.pathname.split("/").pop()`)

	// A scanner is a keyboard that ends with Enter.
	focus("#shoe")
	b.press(shoeGTIN, kb.Enter)
	b.until(`document.querySelector("#shoe").value === "Ondrell Fenline 2" && document.activeElement.id === "size"`)
	b.press("42.5", kb.Tab, "R-20931", kb.Tab, "p", kb.Tab, "612")
	b.until(`document.querySelector("#gait").value === "pronated"`)
	focus("#setup")
	b.press(" ")
	b.until(`document.querySelector("#setup").getAttribute("aria-pressed") === "true"`)

	// The soles: digits grade and go on, arrows go back to mend, e notes the edge.
	for _, grade := range worn {
		b.press(string(grade))
	}
	b.until(`document.querySelectorAll(".digit").length === 18`)
	b.until(`document.activeElement.dataset.k === "press_heel-left,springs back"`)
	for range 10 { // press, stand, lining, bond: the least worn word, left and right
		b.press(kb.Enter)
	}
	b.until(`document.activeElement.dataset.k === "flex_side-pair,0"`)
	b.press(kb.ArrowRight, kb.ArrowRight, kb.Enter) // right clearly easier
	b.until(`document.activeElement.dataset.k === "flex_again-pair,yes"`)
	b.press(kb.Enter)
	b.until(`document.activeElement.dataset.k === "torsion_side-pair,0"`)
	b.press(kb.Enter)
	b.until(`document.activeElement.dataset.k === "hand"`)
	b.until(`document.querySelector("#word").innerText.includes("Replace")`)
	b.press(kb.Enter)
	b.until(`document.activeElement.dataset.k === "hygiene-clean"`)
	b.press(kb.ArrowRight, kb.Enter)
	b.until(`document.querySelector(".grades [aria-current]")?.innerText.startsWith("D")`)
	focus(key("finish"))
	b.press(kb.Enter)
	b.until(`document.querySelector("#hand-form").innerText.includes("The record is stored")`)

	in := shop.stored(id)
	if result := shop.judged(in); in.Advised != assess.ReplacePair || result.Verdict != in.Advised {
		t.Errorf("advised %v, the engine says %v; want replace for a clearly easier shoe", in.Advised, result.Verdict)
	}
	if !in.Pair(assess.FlexAgain).Is(assess.Yes) || !in.Pair(assess.FlexSide).Is(2) {
		t.Errorf("flex %v, again %v", in.Pair(assess.FlexSide), in.Pair(assess.FlexAgain))
	}
}

func TestArrowsEdgeAndCantRead(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	shop.begin(b, "check")
	b.press("2", kb.ArrowLeft, "e") // grade the inner heel, go back to it, note its edge
	b.until(`document.querySelector("#l-heel-medial").getAttribute("aria-label") === "Left heel, inner: 2 smooth, edge"`)
	b.press(kb.ArrowRight)
	b.until(`document.activeElement.id === "l-heel-centre"`)
	b.tap(key("cantzone"))
	b.tap(key("zc-dirty"))
	b.until(`document.querySelector("#l-heel-centre").getAttribute("aria-label").endsWith("can't read, dirty")`)
	b.tap(key("fill"))
	b.until(`document.querySelector("#l-midfoot-medial").getAttribute("aria-label").endsWith("0 fresh")`)
	b.tap(key("line-lining"))
	b.tap(key("lining-left,cant"))
	b.tap(key("lining-left-why-lining,left,wet"))
	b.until(`document.querySelector("[data-k='line-lining']").innerText.includes("can't: wet")`)
}

func TestReloadRestoresTheTicket(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "trade-in")
	b.write("#shoe", "fenl") // no shoe, and not dropped in silence
	b.tap("#km")
	b.until(`document.querySelector("#says").innerText.includes("“fenl” was not taken") && document.querySelector("#shoe").value === ""`)
	b.write("#shoe", "ondrell fenline 2") // whole, and picked by going on
	b.write("#runner", "R-20931")
	b.press(kb.Tab)
	b.until(`document.querySelector("#shoe").value === "Ondrell Fenline 2"`)
	for range 3 {
		b.tap(key("g-1"))
	}
	// Where the thumb was is asked of a press that is read.
	b.until(`document.querySelector("[data-k='press_heel-left-at'][aria-disabled=true]")`)
	b.tap(key("press_heel-left,softer"))
	b.until(`document.querySelector("[data-k='press_heel-left-at']:not([aria-disabled])")`)
	b.tap(key("press_heel-left,softer")) // not read after all
	b.until(`document.querySelector("[data-k='press_heel-left-at'][aria-disabled=true]") && document.querySelectorAll("#progress .read").length === 3 && document.querySelector("#left h2")?.innerText.startsWith("Still unread")`)
	b.tap(key("press_heel-left,softer"))
	b.until(`document.querySelectorAll("#progress .read").length === 3`)

	b.open(shop.url("/bench/" + id))
	b.until(`document.querySelector("#left h2")?.innerText === "Still unread: 23"`)
	if got := eval[string](b, `document.querySelector("#runner").value`); got != "R-20931" {
		t.Errorf("runner %q", got)
	}
	if got := b.text(key("line-press_heel")); !strings.Contains(got, "softer") {
		t.Errorf("press reads %q", got)
	}
	b.open(shop.url("/bench"))
	b.until(`document.querySelector("#unfinished").innerText.includes("R-20931")`)
	if shop.isStored(id) {
		t.Error("a ticket that was not finished is stored")
	}
}

// The line goes down in the middle of a day: the page opens, nothing typed is
// lost, and what was finished is sent when the line is back.
func TestServerStoppedAndStartedAgain(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newTablet(t, landscape)
	shop.signIn(b, fitterCode)
	b.until(`navigator.serviceWorker.controller`)
	id := shop.begin(b, "trade-in")
	b.pickShoe("ondrell")
	b.tap("#l-heel-medial")
	for _, grade := range worn {
		b.press(string(grade))
	}
	checksOf(b)
	// A photo waits with the ticket, through a reload.
	b.tap(key("photos"))
	for _, view := range []string{"left-sole", "right-sole"} {
		b.tap(key("take-" + view))
		b.do(chromedp.SetUploadFiles(chromedp.CSS("#photo-file"), []string{greyPicture(t, 300, 200+len(view))}))
		b.until(fmt.Sprintf(`document.querySelector("[data-k=take-%s] small")?.innerText === "1"`, view))
	}
	b.open(shop.url("/bench/" + id))
	b.tap(key("photos"))
	b.until(`document.querySelectorAll("#aside .shots img").length === 2`)
	b.tap("#aside .shots li:last-child button")
	b.until(`document.querySelectorAll("#aside .shots img").length === 1`)
	b.tap(key("back"))
	b.tap(key("hand"))
	b.tap(key("hygiene-cleanable"))
	b.until(`document.querySelector(".grades [aria-current]")?.innerText.startsWith("D")`)

	b.quiet(true)
	shop.stop()
	b.tap(key("finish"))
	b.until(`document.querySelector("#kept").innerText === "Kept on this tablet, 3 to send"`)
	b.open(shop.url("/bench/" + id))
	b.until(`document.querySelector("#hand-form").innerText.includes("It is sent as soon as there is a line")`)
	if got := b.text("#slip .verdict"); got != "Replace" {
		t.Errorf("off line the slip says %q", got)
	}
	// The next runner doesn't wait for the line.
	b.open(shop.url("/bench"))
	b.until(`document.querySelector("#unfinished").innerText.includes("waits for the line")`)
	next := shop.begin(b, "check")
	b.write("#shoe", "fenline")
	b.tap(`#shoe-list [data-shoe="0"]`) // this tablet has met the shoe
	b.until(`document.querySelector("#l-midfoot-lateral").getAttribute("aria-disabled") === "true"`)
	b.tap(key("g-1"))
	b.open(shop.url("/bench/" + next))
	b.until(`document.querySelectorAll(".digit").length === 1`)
	// A tablet that has the engine goes on judging; one that hasn't says so.
	b.until(`document.querySelector("#word span")?.innerText === (document.querySelector("main").dataset.engine === "true" ? "Not finished" : "Verdict waits")`)

	shop.start()
	eval[bool](b, `dispatchEvent(new Event("online"))`)
	b.until(`document.querySelector("#kept").innerText === "All sent"`)
	in := shop.stored(id)
	if got := shop.photos(id); len(got) != 1 || got[0].Foot != assess.Left || got[0].View != models.ViewSole {
		t.Errorf("the photos that arrived are %+v", got)
	}
	if result := shop.judged(in); in.Advised != assess.ReplacePair || result.Verdict != in.Advised {
		t.Errorf("advised %v, the engine says %v", in.Advised, result.Verdict)
	}
	b.until(`document.querySelector("#word span")?.innerText === "Not finished"`)
	b.quiet(false)
}

// Sent twice is stored once: a tablet that lost the answer sends again.
func TestSignedOutByTheClockLosesNothing(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	for _, grade := range worn + "11" {
		b.press(string(grade))
	}
	checksOf(b)
	b.tap(key("hand"))
	b.until(`document.querySelector("[data-k=finish]")`)
	b.quiet(true)
	eval[int](b, `fetch("/sign-out", { method: "POST", redirect: "manual" }).then((a) => a.status)`)
	b.tap(key("finish"))
	b.until(`document.querySelector("#kept").innerText.startsWith("Signed out")`)
	b.quiet(false)
	if shop.isStored(id) {
		t.Fatal("a reading was stored for nobody")
	}
	b.tap("#sign-in-again")
	b.until(`document.querySelector("#waiting") && !document.querySelector("#waiting").hidden`)
	if got := b.text("#waiting"); !strings.HasPrefix(got, "1 record waits") {
		t.Errorf("sign-in says %q", got)
	}
	b.write(`[name=staff]`, fitterCode)
	b.write(`[name=password]`, password)
	b.tap(`.signin button`)
	b.until(`document.querySelector("#kept")?.innerText === "All sent"`)
	if in := shop.stored(id); in.Staff != fitterCode {
		t.Errorf("stored by %s", in.Staff)
	}
}

// A ticket that is handed over while another is being sent goes right after it, and
// doesn't wait for the next try.
func TestWhatIsKeptDuringASendingGoesRightAfter(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	b.until(`document.querySelector("#kept")?.innerText === "All sent"`)
	const sent = `(async () => {
		const asked = [], real = window.fetch, rest = (ms) => new Promise((on) => setTimeout(on, ms));
		let first;
		window.fetch = (url) => new Promise((answered) => {
			asked.push(url);
			const answer = () => answered(new Response("{}"));
			if (first) answer(); else first = answer;
		});
		const one = m.keep("a", [{ url: "/one", body: {} }]);
		while (!first) await rest(5);
		const two = m.keep("b", [{ url: "/two", body: {} }]);
		await rest(50);
		first();
		await Promise.all([one, two]);
		window.fetch = real;
		return asked.join(" ") + ", " + (await m.state()).waiting + " waiting";
	})()`
	if got := module[string](b, "outbox.js", sent); got != "/one /two, 0 waiting" {
		t.Errorf("sent: %s", got)
	}
}

func TestSignInKeepsTheCode(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	b.open(shop.url("/sign-in"))
	b.write(`[name=staff]`, fitterCode)
	b.write(`[name=password]`, "wrong")
	b.quiet(true) // 401 is what this is about
	b.tap(`.signin button`)
	b.until(`document.querySelector(".signin [role=alert]")`)
	if got := eval[string](b, `document.querySelector("[name=staff]").value + "," + document.querySelector("[name=password]").value + "," + document.activeElement.name`); got != fitterCode+",,password" {
		t.Errorf("after a wrong password the form holds %q", got)
	}
}

// Every zone and every key takes a thumb of 12 mm, either way the tablet stands.
func TestEverythingTappedTakesAThumb(t *testing.T) {
	t.Parallel()
	const least = 12 * cssPixelsPerMM // 62.4 CSS pixels
	for _, size := range [][2]int64{landscape, portrait} {
		t.Run(fmt.Sprintf("%d by %d", size[0], size[1]), func(t *testing.T) {
			t.Parallel()
			shop, b := newShop(t), newBrowser(t, size)
			shop.signIn(b, fitterCode)
			shop.begin(b, "check")
			b.write("#shoe", "fenl")
			b.tap("#km")
			b.until(`document.querySelector("#says").innerText.includes("“fenl” was not taken")`)
			if over := eval[float64](b, `document.querySelector("#says").getBoundingClientRect().bottom - document.querySelector(".word").getBoundingClientRect().top`); over > 0 {
				t.Errorf("what the bench says covers %v px of the verdict", over)
			}
			// The widest run of pixels through a zone's middle that picks the zone. Half
			// pixels are looked at, so that a run may be half a pixel longer than seen.
			small := eval[[]string](b, fmt.Sprintf(`[...document.querySelectorAll(".spot:not([aria-disabled])")].flatMap((spot) => {
				const r = spot.querySelector(".zone").getBoundingClientRect(), out = [];
				const hits = (x, y) => document.elementFromPoint(x, y)?.closest("[data-act=zone]")?.dataset.v === spot.dataset.v;
				const run = (dx, dy) => { let best = 0, n = 0; const [w, h] = [r.width + 60, r.height + 60];
					for (let i = -30; i < (dx ? r.width : r.height) + 30; i += .5) {
						const x = dx ? r.left + i : r.left + r.width / 2, y = dy ? r.top + i : r.top + r.height / 2;
						n = hits(x, y) ? n + .5 : 0; best = Math.max(best, n);
					} return best; };
				const [wide, high] = [run(1, 0), run(0, 1)];
				return wide + .5 < %v || high + .5 < %v ? [spot.id + " " + wide + " x " + high] : [];
			})`, least, least))
			if len(small) > 0 {
				t.Errorf("zones under %.1f px: %s", least, strings.Join(small, ", "))
			}
			for _, panel := range []string{"", "more", "second", "about"} {
				if panel != "" {
					b.tap(key(panel))
				}
				small := eval[[]string](b, `[...document.querySelectorAll("main button:not([hidden])")].flatMap((e) => {
					const r = e.getBoundingClientRect();
					return r.width === 0 || e.closest(".unread") || r.height >= 61.5 && r.width >= 50 ? [] : [e.dataset.k + " " + r.width.toFixed(0) + " x " + r.height.toFixed(0)];
				})`)
				if len(small) > 0 {
					t.Errorf("keys on %q: %s", panel, strings.Join(small, ", "))
				}
				if panel != "" {
					b.tap(key("back"))
				}
			}
			fits := func(lang string) {
				if scroll := eval[bool](b, `document.documentElement.scrollHeight > innerHeight + 1 || document.documentElement.scrollWidth > innerWidth + 1`); scroll {
					t.Errorf("the bench scrolls, in %s", lang)
				}
			}
			fits("English")
			// Spanish words are longer. The page is asked for again as a reader of Spanish.
			if _, err := chromedp.Call(b.ctx, emulation.SetUserAgentOverride, emulation.SetUserAgentOverrideParams{
				UserAgent: eval[string](b, `navigator.userAgent`), AcceptLanguage: "es",
			}); err != nil {
				t.Fatal(err)
			}
			b.open(eval[string](b, `location.href`))
			if lang := eval[string](b, `document.documentElement.lang`); lang != "es" {
				t.Fatalf("the page is in %q", lang)
			}
			fits("Spanish")
		})
	}
}

// The modules that repeat the engine's arithmetic for a tablet without the
// engine agree with it.
func TestModulesAgreeWithTheEngine(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	shop.begin(b, "check")

	t.Run("tilt from a photo", func(t *testing.T) {
		b.t = t
		points := [][4][2]float64{
			{{771, 213}, {810, 582}, {48, 708}, {1632, 694}},
			{{909, 213}, {870, 582}, {48, 694}, {1632, 708}},
			{{300, 100}, {300, 400}, {50, 500}, {550, 500}},
			{{300, 400}, {310, 100}, {550, 480}, {50, 500}},
			{{300, 100}, {700, 110}, {50, 500}, {550, 500}},
			{{300, 100}, {310, 120}, {50, 500}, {550, 500}},
		}
		for i, p := range points {
			for _, shoe := range []assess.Foot{assess.Left, assess.Right} {
				for _, lean := range []assess.Value{assess.Unread, assess.Of(800)} {
					for _, yaw := range []assess.Value{assess.Unread, assess.Of(-700), assess.Of(300)} {
						photo := assess.TiltPhoto{Foot: shoe, Lean: lean, Yaw: yaw}
						photo.Counter = [2]assess.Point{{X: p[0][0], Y: p[0][1]}, {X: p[1][0], Y: p[1][1]}}
						photo.Table = [2]assess.Point{{X: p[2][0], Y: p[2][1]}, {X: p[3][0], Y: p[3][1]}}
						want, err := photo.Measure()
						ask := map[string]any{"shoe": shoe.String(), "counter": p[:2], "table": p[2:]}
						if lean.OK() {
							ask["lean"] = float64(lean.Int()) / 100
						}
						if yaw.OK() {
							ask["yaw"] = float64(yaw.Int()) / 100
						}
						got := module[struct {
							V, U    float64
							Refused string
						}](b, "tilt.js", fmt.Sprintf(`(() => { const r = m.fromPoints(%s); return { V: r.v ?? 0, U: r.u ?? 0, Refused: r.refused ?? "" }; })()`, literal(t, ask)))
						if err != nil {
							if got.Refused == "" {
								t.Errorf("photo %d, %v: the page says %v, the engine refuses: %v", i, shoe, got, err)
							}
							continue
						}
						if v, u := float64(want.Tilt.Int())/100, float64(want.U.Int())/100; got.Refused != "" || got.V != v || got.U != u {
							t.Errorf("photo %d, %v, lean %v, yaw %v: the page says %+v, the engine %v ± %v", i, shoe, lean, yaw, got, v, u)
						}
					}
				}
			}
		}
	})
	t.Run("the mean of photos", func(t *testing.T) {
		b.t = t
		for _, photos := range [][][2]int{{{550, 126}}, {{200, 126}, {240, 126}, {190, 130}}, {{-100, 120}, {900, 120}}} {
			var readings []assess.TiltReading
			var ask []map[string]float64
			for _, p := range photos {
				readings = append(readings, assess.TiltReading{Tilt: assess.Of(p[0]), U: assess.Of(p[1]), N: 1})
				ask = append(ask, map[string]float64{"v": float64(p[0]) / 100, "u": float64(p[1]) / 100})
			}
			want := assess.MeanTilt(readings)
			got := module[struct{ V, U, N float64 }](b, "tilt.js", fmt.Sprintf(`(() => { const r = m.mean(%s); return { V: r.v, U: r.u, N: r.n }; })()`, literal(t, ask)))
			if got.V*100 != float64(want.Tilt.Int()) && fmt.Sprintf("%.2f", got.V) != fmt.Sprintf("%.2f", float64(want.Tilt.Int())/100) ||
				fmt.Sprintf("%.2f", got.U) != fmt.Sprintf("%.2f", float64(want.U.Int())/100) || int(got.N) != want.N {
				t.Errorf("%v: the page says %+v, the engine %v ± %v of %d", photos, got, want.Tilt.Int(), want.U.Int(), want.N)
			}
		}
	})
	t.Run("credit", func(t *testing.T) {
		b.t = t
		table, err := assess.ParseCreditTable([]byte(creditTable))
		if err != nil {
			t.Fatal(err)
		}
		for g := assess.GradeA; g <= assess.GradeX; g++ {
			for _, category := range []string{"", "daily", "race"} {
				for _, days := range []assess.Value{assess.Unread, assess.Of(0), assess.Of(179), assess.Of(180), assess.Of(4000)} {
					minor, ok := table.Credit(g, category, days)
					if !ok {
						minor = -1
					}
					age := "undefined"
					if days.OK() {
						age = fmt.Sprint(days.Int())
					}
					if got := module[int64](b, "handover.js", fmt.Sprintf(`m.creditBy(%s, %q, %q, %s) ?? -1`, creditTable, g, category, age)); got != minor {
						t.Errorf("grade %v, %q, %s days: the page says %d, the engine %d", g, category, age, got, minor)
					}
				}
			}
		}
	})
	t.Run("next check by measured life", func(t *testing.T) {
		b.t = t
		risks, err := assess.ParseRiskTables([]byte(riskTables))
		if err != nil {
			t.Fatal(err)
		}
		for _, model := range []string{"", "m1", "m2"} {
			for _, category := range []string{"", "daily", "race"} {
				for _, km := range []int{0, 199, 200, 299, 300, 301, 350, 400, 401, 500, 501} {
					next, ok := assess.Default().NextCheck(assess.Keep, assess.NoHow, category, model, assess.Of(km), risks)
					if !ok {
						t.Fatal("a kept pair has no next check")
					}
					want := "table"
					if next.By != assess.NextByTable {
						want = fmt.Sprintf("%s %d", next.By, next.AtKM.Int())
					}
					got := module[string](b, "handover.js", fmt.Sprintf(`((n) => n ? n.by + " " + n.at : "table")(m.measured(%s, { id: %q, category: %q }, %d))`, riskTables, model, category, km))
					if got != want {
						t.Errorf("%q, %q at %d km: the page says %s, the engine %s", model, category, km, got, want)
					}
				}
			}
		}
	})
	t.Run("whole kilometres", func(t *testing.T) {
		b.t = t
		for _, unit := range []int{assess.Kilometres, assess.Miles} {
			for _, tenths := range []int{0, 4, 5, 1234, 2004, 2005, 3107, 9999} {
				r := assess.Record{Distance: assess.Of(tenths), KMUnit: assess.Of(unit)}
				r.Derive()
				got := module[int64](b, "reading.js", fmt.Sprintf(`m.wholeKM({ km: %d.%d, km_unit: %q })`, tenths/10, tenths%10, assess.KMUnitWords[unit]))
				if int(got) != r.KM.Int() {
					t.Errorf("%d tenths of %s: the page says %d km, the engine %d", tenths, assess.KMUnitWords[unit], got, r.KM.Int())
				}
			}
		}
	})
	t.Run("pair references", func(t *testing.T) {
		b.t = t
		for _, bits := range [][5]byte{{}, {255, 255, 255, 255, 255}, {0, 0, 0, 4, 210}, {1, 2, 3, 4, 5}, {200, 100, 50, 25, 12}} {
			want := assess.NewPairRef(bits)
			got := module[[]string](b, "ids.js", fmt.Sprintf(`[m.pairRef(%s), m.parsePairRef(%q) ?? ""]`, literal(t, []int{int(bits[0]), int(bits[1]), int(bits[2]), int(bits[3]), int(bits[4])}), strings.ToLower(want[:4])+" - "+want[4:]))
			if got[0] != want || got[1] != want {
				t.Errorf("%v: the page writes and reads %q, the engine %q", bits, got, want)
			}
			wrong := []byte(want)
			wrong[2] = "0123456789"[(slices.Index([]byte("0123456789"), wrong[2])+2)%10]
			if got := module[string](b, "ids.js", fmt.Sprintf(`m.parsePairRef(%q) ?? ""`, wrong)); got != "" {
				t.Errorf("a slip of the finger, %q, reads as %q", wrong, got)
			}
		}
	})
	t.Run("GTINs", func(t *testing.T) {
		b.t = t
		// 629104150021 and its check digit 3: GS1 General Specifications, section 7.9.
		for _, code := range []string{"6291041500213", "6291041500212", "96385074", "96385075", "036000291452", "036000291453", "629104150021", "62910415002138", ""} {
			_, err := assess.ParseGTIN(code)
			if got := module[bool](b, "ids.js", fmt.Sprintf("m.isGTIN(%q)", code)); got != (err == nil) {
				t.Errorf("%q: a GTIN is %v on the page; the engine says %v", code, got, err)
			}
		}
	})
	t.Run("UUIDv7", func(t *testing.T) {
		b.t = t
		// The example of RFC 9562, appendix A.6: 22 February 2022, 14:22:22-05:00.
		const want = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
		if got := module[string](b, "ids.js", `m.uuidv7(0x017F22E279B0, new Uint8Array([0x0C, 0xC3, 0x18, 0xC4, 0xDC, 0x0C, 0x0C, 0x07, 0x39, 0x8F]))`); got != want {
			t.Errorf("uuidv7 = %s, want %s", got, want)
		}
	})
}

// What a check looks like opens and closes by touch and by keys, and takes no
// reading with it; without the line it is there as well.
func TestHelpOfACheck(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newTablet(t, landscape)
	shop.signIn(b, fitterCode)
	b.until(`navigator.serviceWorker.controller`)
	id := shop.begin(b, "check")
	b.tap(key("g-1"))
	b.tap(`[data-v="lining"]`)
	b.tap(key("lining-left,worn"))

	b.tap(key("help-lining"))
	b.until(`!document.querySelector("#how").hidden && document.querySelector("#how-lining path") && document.activeElement.dataset.k === "help-close"`)
	if says := b.text("#how"); !strings.Contains(says, "Counts The back inside the heel") || !strings.Contains(says, "Doesn't count Stains") || !strings.Contains(says, "a broken shell cuts") {
		t.Errorf("the help says %q", says)
	}
	b.keepPicture("help of the lining")
	b.tap(key("help-close"))
	b.until(`document.querySelector("#how").hidden && document.activeElement.dataset.k === "help-lining"`)

	// By keys: Enter opens, the check is read with its help open, which goes along to
	// the next check; Escape closes.
	b.press(kb.Enter)
	b.until(`!document.querySelector("#how").hidden`)
	b.tap(key("lining-right,sound"))
	b.until(`document.querySelector("#how-head").innerText.startsWith("Upper bond") && document.querySelector("#how use").getAttribute("href") === "#how-bond"`)
	b.press(kb.Escape)
	b.until(`document.querySelector("#how").hidden && document.activeElement.dataset.k === "help-bond"`)
	b.press("?")
	b.until(`!document.querySelector("#how").hidden`)
	b.press("?")
	b.until(`document.querySelector("#how").hidden`)

	b.quiet(true)
	shop.stop()
	b.open(shop.url("/bench/" + id))
	b.tap(key("help-zones"))
	b.until(`document.querySelector("#how-zones path") && document.querySelector("#how-head").innerText.startsWith("Outsole")`)
	b.tap(key("help-close"))
	b.until(`document.querySelector("#how").hidden`)
	if kept := module[string](b, "shelf.js", `m.tickets.get("`+id+`").then((t) => [t.reading.left.heel_medial, t.reading.left.lining, t.reading.right.lining].join())`); kept != "1,worn,sound" {
		t.Errorf("the ticket holds %s after its helps, want 1,worn,sound", kept)
	}
	shop.start()
}
