package e2e

import (
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
)

// wornPair reads a pair that is to be replaced and goes to the hand-over.
func (b *browser) wornPair() {
	b.t.Helper()
	for _, grade := range worn + "11" {
		b.press(string(grade))
	}
	checksOf(b)
	b.tap(key("hand"))
}

// A trainee's keep takes a co-reader who proves it by their own PIN on the
// tablet: a wrong one opens nothing, and two taps sign once.
func TestATraineesKeepTakesACoReadersPIN(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	shop.atTablet(b, traineeCode)
	id := shop.begin(b, "check")
	shop.soundPair(b, "R-1", "100", "110101110"+"111101110")
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("#hand-form").innerText.includes("co-reader stands by it")`)
	b.keepPicture(t.Name() + " asked")
	b.write(key("f-second-code"), secondCode)
	b.write(key("f-second-secret"), "000000")
	b.quiet(true) // 422 and 403 are what this is about
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form [role=alert]")?.innerText.startsWith("Code and secret don't match")`)
	// The trainee can't be their own co-reader.
	b.rewrite(key("f-second-code"), traineeCode)
	b.write(key("f-second-secret"), pins[traineeCode])
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form [role=alert]")?.innerText.startsWith("Not theirs to sign")`)
	b.quiet(false)
	b.keepPicture(t.Name() + " refused")
	b.rewrite(key("f-second-code"), secondCode)
	b.write(key("f-second-secret"), pins[secondCode])
	eval[bool](b, `(() => { const k = document.querySelector("[data-k=sign-second]"); k.click(); k.click(); return true; })()`)
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + secondCode + `")`)
	b.keepPicture(t.Name() + " signed")
	if module[bool](b, "shelf.js", `m.tickets.all().then((all) => JSON.stringify([all, { ...localStorage }]).includes("`+pins[secondCode]+`"))`) {
		t.Error("the co-reader's PIN is kept on the tablet")
	}
	// What was signed survives a reload in between.
	b.open(shop.url("/bench/" + id))
	b.tap(key("hand"))
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + secondCode + `")`)
	b.finish()
	if in := shop.stored(id); in.Given != assess.Keep || in.SecondReader != secondCode || in.Staff != traineeCode || in.Flags&assess.FlagSecondUnproven != 0 {
		t.Errorf("given %v by %s with %q, flags %v", in.Given, in.Staff, in.SecondReader, in.Flags)
	}
}

// Giving less than an advised replace takes a reason and a second person's own
// secret. Another verdict than the one that was signed takes them anew.
func TestGivingLessTakesASecondPersonsSecret(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.wornPair()
	b.tap(key("given-recheck"))
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("#hand-form").innerText.includes("a second person stands by it; the reason")`)
	b.write(key("f-given_reason"), "walks in them, knows it")
	b.write(key("f-second-code"), secondCode)
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form [role=alert]")?.innerText.startsWith("Code and secret are both needed")`)
	// A session that ends in the middle signs nothing and loses nothing.
	b.quiet(true)
	eval[int](b, `fetch("/sign-out", { method: "POST", redirect: "manual" }).then((a) => a.status)`)
	b.write(key("f-second-secret"), password)
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form [role=alert]")?.innerText.startsWith("Signed out meanwhile")`)
	b.quiet(false)
	b.open(shop.url("/sign-in"))
	b.write(`[name=staff]`, fitterCode)
	b.write(`[name=password]`, password)
	b.tap(`.signin button`)
	b.until(`location.pathname === "/bench" && document.querySelector("main[data-ready]")`)
	b.open(shop.url("/bench/" + id))
	b.tap(key("hand"))
	b.until(`document.querySelector("[data-k=f-second-code]").value === "` + secondCode + `" && document.querySelector("[data-k=f-given_reason]").value === "walks in them, knows it"`)
	b.write(key("f-second-secret"), password)
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + secondCode + `") && !document.querySelector("[data-k=finish]").hasAttribute("aria-disabled")`)
	b.keepPicture(t.Name() + " signed")
	b.tap(key("given-keep"))
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("[data-k=f-second-code]").value === "` + secondCode + `"`)
	b.write(key("f-second-secret"), password)
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + secondCode + `")`)
	b.finish()
	in := shop.stored(id)
	if in.Given != assess.Keep || in.GivenReason != "walks in them, knows it" || in.SecondReader != secondCode || in.Facts.Flags&assess.FlagGivenLess == 0 {
		t.Errorf("given %v because %q with %q, flags %v", in.Given, in.GivenReason, in.SecondReader, in.Facts.Flags)
	}
	who, err := shop.db.SignedFor(t.Context(), in.ID)
	if err != nil || who[in.ID] != secondCode {
		t.Errorf("signed by %v, %v", who, err)
	}
}

// What a second reader says is typed by the reader: the second signs it, or the
// record says whose word it is.
func TestASecondReaderSignsWhatTheySaid(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	for _, signs := range []bool{false, true} {
		b.open(shop.url("/bench"))
		id := shop.begin(b, "check")
		b.tap(key("second"))
		b.write(key("f-second_reader"), secondCode)
		b.tap(key("pick-second-second_says,agrees"))
		b.tap(key("back"))
		shop.soundPair(b, "R-1", "100", "110101110"+"111101110")
		b.until(`document.querySelector("#hand-form").innerText.includes("` + secondCode + ` agrees") && !document.querySelector("[data-k=finish]").hasAttribute("aria-disabled")`)
		b.keepPicture(t.Name())
		if signs {
			b.write(key("f-second-secret"), password)
			b.tap(key("sign-second"))
			b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + secondCode + `")`)
		}
		b.finish()
		if in := shop.stored(id); in.SecondReader != secondCode || (in.Flags&assess.FlagSecondSaid == 0) != signs {
			t.Errorf("signed %v: kept with %q and flags %v", signs, in.SecondReader, in.Flags)
		}
	}
}

// Without a line a second person can prove nothing: the reading is kept and
// sent on their word, flagged, and waits for a manager.
func TestASecondPersonWithoutALine(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newTablet(t, landscape)
	shop.signIn(b, fitterCode)
	b.until(`navigator.serviceWorker.controller`)
	id := shop.begin(b, "check")
	b.wornPair()
	b.tap(key("given-keep"))
	b.write(key("f-given_reason"), "walks in them")
	b.write(key("f-second-code"), secondCode)
	b.write(key("f-second-secret"), password)
	b.quiet(true)
	shop.stop()
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form").innerText.includes("` + secondCode + ` is kept as not proven")`)
	b.keepPicture(t.Name())
	b.tap(key("finish"))
	b.until(`document.querySelector("#kept").innerText === "Kept on this tablet, 1 to send"`)
	shop.start()
	eval[bool](b, `dispatchEvent(new Event("online"))`)
	b.until(`document.querySelector("#kept").innerText === "All sent"`)
	b.quiet(false)
	in := shop.stored(id)
	if in.Given != assess.Keep || in.SecondReader != secondCode || in.Flags&assess.FlagSecondUnproven == 0 {
		t.Errorf("given %v with %q, flags %v", in.Given, in.SecondReader, in.Flags)
	}
	n, err := shop.db.CountInspections(t.Context(), models.InspectionFilter{Scopes: models.Fleet, Live: true, Waiting: true})
	if err != nil || n != 1 {
		t.Errorf("%d readings wait, %v", n, err)
	}
	boss := newBrowser(t, landscape)
	shop.signIn(boss, managerCode)
	boss.open(shop.url("/office/waiting"))
	boss.keepPicture(t.Name() + " list")
	boss.tap(`form[action="/office/waiting/` + id + `"] button`)
	boss.until(`document.querySelector(".told")?.innerText.startsWith("You stand by the verdict") && document.querySelector("main").innerText.includes("Nothing waits")`)
}

// A second reader reads the pair blind, on the same tablet, and what they say
// beside the first is worked out: of a ticket that is still open it goes into
// the reading, of one that was kept it stands on the pair's page.
func TestASecondReaderReadsThePairBlind(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.atTablet(b, fitterCode)
	first := shop.begin(b, "check")
	shop.soundPair(b, "R-1", "100", "110101110"+"111101110")
	b.tap(key("hand-back"))
	b.tap(key("second"))
	b.keepPicture(t.Name() + " asked")
	b.tap(key("second-blind"))
	b.until(`location.pathname === "/sign-in" && document.documentElement.dataset.ready`)
	shop.byPIN(b, secondCode)
	blind := b.onBench(first)
	if got := eval[string](b, `[document.querySelectorAll(".digit").length, document.querySelector("#shoe").value, document.querySelector("#runner").value, document.querySelector("#km").value, document.querySelector("#way-history").hidden].join()`); got != "0,Ondrell Fenline 2,,,true" {
		t.Errorf("the second reader sees %q, want the shoe and nothing that was read", got)
	}
	for _, grade := range "110101110" + "111101112" {
		b.press(string(grade))
	}
	b.until(`document.activeElement.dataset.k === "press_heel-left,springs back"`)
	// A reload in between loses nothing, and shows nothing.
	b.open(shop.url("/bench/" + blind))
	b.until(`document.querySelectorAll(".digit").length === 18`)
	checksOf(b)
	b.keepPicture(t.Name() + " read")
	b.tap(key("hand"))
	b.until(`document.querySelector("#hand-form").innerText.includes("beside the reading by ` + fitterCode + `") && document.querySelector("#slip").hidden`)
	b.keepPicture(t.Name() + " end")
	b.finish()
	in := shop.stored(blind)
	if in.Kind != assess.Blind || in.Staff != secondCode || in.Given != assess.NoVerdict {
		t.Errorf("kept as %v by %s, given %v", in.Kind, in.Staff, in.Given)
	}

	// Back to the first reader, whose ticket says what the second one saw.
	b.tap(`.who [action="/sign-out"] button`)
	b.until(`location.pathname === "/sign-in" && document.documentElement.dataset.ready`)
	shop.byPIN(b, fitterCode)
	b.open(shop.url("/bench/" + first))
	b.tap(key("second"))
	b.until(`document.querySelector("#aside").innerText.includes("` + secondCode + ` read the pair blind: agrees on")`)
	b.keepPicture(t.Name() + " beside")
	b.tap(key("back"))
	b.tap(key("hand"))
	b.finish()
	kept := shop.stored(first)
	if kept.SecondReader != secondCode || !kept.Pair(assess.SecondSays).Is(1) || !kept.SecondOn.Has(assess.Lining) || kept.SecondOn.Has(assess.Bond) || kept.PairRef != in.PairRef {
		t.Errorf("kept with second reader %q, says %v on %v, pair %s and %s", kept.SecondReader, kept.Pair(assess.SecondSays), kept.SecondOn, kept.PairRef, in.PairRef)
	}
	pair, err := shop.db.Pair(t.Context(), kept.PairRef)
	if err != nil || pair.Life.Readings != 1 || len(pair.Inspections) != 2 {
		t.Errorf("life %+v of %d readings, %v; want the first alone to count", pair.Life, len(pair.Inspections), err)
	}
	b.open(shop.url("/pairs/" + kept.PairRef))
	b.until(`document.querySelector(".beside")`)
	b.keepPicture(t.Name() + " pair")
	if got := b.text(".reads"); !strings.Contains(got, secondCode+" read the pair blind: agrees on") || !strings.Contains(got, "sound") {
		t.Errorf("the pair's page says %q", got)
	}

	// Of a reading that was kept: the one who read it can't be the second too.
	b.tap(`a[href="/bench?second=` + first + `"]`)
	b.until(`location.pathname === "/sign-in" && document.documentElement.dataset.ready`)
	shop.byPIN(b, fitterCode)
	own := b.onBench(first)
	if own == blind {
		t.Error("a second reading that was kept is opened again")
	}
	b.tap(key("hand"))
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("#hand-form").innerText.includes("somebody else reads it")`)

	// Nor can who was shown what the pair reads like: on this tablet they looked the
	// pair up before.
	b.tap(`.who [action="/sign-out"] button`)
	b.until(`location.pathname === "/sign-in" && document.documentElement.dataset.ready`)
	shop.byPIN(b, traineeCode)
	b.until(`document.querySelector("main[data-ready]")`)
	b.open(shop.url("/bench"))
	if got := b.text("#day-head ~ table"); !strings.Contains(got, "open to see it") || strings.Contains(got, "Keep running") {
		t.Errorf("the day's list shows the verdicts of others: %q", got)
	}
	b.keepPicture(t.Name() + " list")
	b.open(shop.url("/pairs/" + kept.PairRef))
	b.open(shop.url("/bench/" + own))
	b.until(`document.querySelector("#says").innerText.startsWith("You were shown this pair's verdict at ")`)
	b.keepPicture(t.Name() + " saw")
	b.tap(key("hand"))
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("#hand-form").innerText.includes("you were shown this pair's verdict at ")`)
}
