package e2e

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"solewright/assess"
	"solewright/models"
)

// strictLining publishes the shop's rules with a worn lining to be replaced: house
// value, for the change alone. It returns the set's number.
func (s *shop) strictLining() int {
	s.t.Helper()
	set, err := s.db.RuleSetOn(s.t.Context(), time.Now().UTC().Format(time.DateOnly))
	if err != nil {
		s.t.Fatal(err)
	}
	for i := range set.Rules {
		if set.Rules[i].Code == "lining-worn" {
			set.Rules[i].Severity = assess.Replace
		}
	}
	number, err := s.db.AddRuleSet(s.t.Context(), models.Actor{Account: "solewright"}, *set, "a worn lining counts")
	if err != nil {
		s.t.Fatal(err)
	}
	return number
}

// Rules that begin to hold while a ticket is open judge it, and it is kept only
// once its reader has seen what that changes.
func TestRulesChangeInTheMiddleOfATicket(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "check")
	b.tap("#l-heel-medial")
	for range 20 {
		b.press("1")
	}
	b.until(`document.activeElement.dataset.k === "press_heel-left,springs back"`)
	for range 6 { // the presses and the stand, at their least worn words
		b.press(kb.Enter)
	}
	b.tap(key("lining-left,worn"))
	b.tap(key("lining-right,sound"))
	b.until(`document.activeElement.dataset.k === "bond-left,attached"`)
	for range 4 {
		b.press(kb.Enter)
	}
	b.until(`document.querySelector("#word").innerText.includes("Keep running")`)
	number := shop.strictLining()

	// The ticket was open all the while: the change is there before it is kept.
	b.tap(key("hand"))
	b.until(`document.querySelector(".ruled")?.innerText.includes("By rules ` + fmt.Sprint(number) + `, which hold now: Replace")`)
	if got := b.text(".ruled"); !strings.Contains(got, "By rules 1, before: Keep running") {
		t.Errorf("the ticket says %q, want also what it was by the rules before", got)
	}
	b.keepPicture(t.Name() + " asked")
	if got := eval[string](b, `document.querySelector("[data-k=finish]").getAttribute("aria-disabled") + " " + document.querySelector(".finish").innerText`); !strings.HasPrefix(got, "true") || !strings.Contains(got, "what the new rules change") {
		t.Errorf("the ticket can be kept: %q", got)
	}
	// Seen, and then the shoes say otherwise: two other verdicts are seen anew.
	b.tap(key("ruled"))
	b.until(`!document.querySelector("[data-k=finish]").hasAttribute("aria-disabled")`)
	b.tap(key("hand-back"))
	b.tap(key("line-bond"))
	b.tap(key("bond-left,lifting"))
	b.tap(key("hand"))
	b.until(`document.querySelector(".ruled")?.innerText.includes("By rules 1, before: Keep running, back")`)
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true"`)
	// It survives a reload, where the rules of before are no part of the page any more.
	b.open(shop.url("/bench/" + id))
	b.tap(key("hand"))
	b.until(`document.querySelector(".ruled [data-k=ruled]")?.getAttribute("aria-pressed") === "false"`)
	b.tap(key("ruled"))
	b.finish()
	in := shop.stored(id)
	if in.Rules != number || in.Advised != assess.ReplacePair || in.Given != assess.ReplacePair || in.Flags&assess.FlagVerdictDiffers != 0 {
		t.Errorf("kept under rules %d, advised %v, given %v, flags %v; want rules %d and replace", in.Rules, in.Advised, in.Given, in.Flags, number)
	}
	b.open(shop.url("/pairs/" + in.PairRef))
	if got := b.text(".gave"); !strings.Contains(got, fmt.Sprintf("by set %d", number)) {
		t.Errorf("the pair's page says %q, want the rules that judged it", got)
	}

	// A change that changes nothing for the pair is said, and asks for nothing.
	b.open(shop.url("/bench"))
	other := shop.begin(b, "check")
	b.tap("#l-heel-medial")
	b.press("4")
	b.until(`document.querySelector("#word").innerText.includes("Replace")`)
	last := shop.strictLining()
	b.tap(key("hand"))
	b.until(`document.querySelector(".ruled")?.innerText.includes("Judged by rules ` + fmt.Sprint(last) + `")`)
	b.finish()
	if in := shop.stored(other); in.Rules != last || in.Advised != assess.ReplacePair {
		t.Errorf("kept under rules %d, advised %v; want rules %d and replace", in.Rules, in.Advised, last)
	}
}

// A ticket that changes hands loses nothing: it is the reading of who finishes it,
// names who read before, and who signed it for the other is no second person of
// their own.
func TestAnotherPersonFinishesATicket(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	shop.atTablet(b, fitterCode)
	id := shop.begin(b, "check")
	b.wornPair()
	b.tap(key("given-keep"))
	b.write(key("f-given_reason"), "walks in them")
	b.write(key("f-second-code"), secondCode)
	b.write(key("f-second-secret"), pins[secondCode])
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + secondCode + `")`)

	b.tap(`.who [action="/sign-out"] button`)
	b.until(`location.pathname === "/sign-in" && document.documentElement.dataset.ready`)
	shop.byPIN(b, secondCode)
	b.until(`location.pathname === "/bench/` + id + `" && document.querySelectorAll(".digit").length === 20`)
	b.tap(key("hand"))
	b.until(`document.querySelector(".readers")?.innerText.includes("` + fitterCode + ` read part of this ticket")`)
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("[data-k=f-second-code]").value === ""`)
	b.keepPicture(t.Name())
	b.write(key("f-second-code"), fitterCode)
	b.write(key("f-second-secret"), pins[fitterCode])
	b.tap(key("sign-second"))
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + fitterCode + `")`)
	b.finish()
	in := shop.stored(id)
	if in.Staff != secondCode || in.SecondReader != fitterCode || in.GivenReason != "walks in them" || !strings.Contains(in.Note, "partly read by "+fitterCode) || in.Device != tabletCode {
		t.Errorf("kept as read by %s on %s with %s, because %q, note %q", in.Staff, in.Device, in.SecondReader, in.GivenReason, in.Note)
	}
}
