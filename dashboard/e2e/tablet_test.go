package e2e

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"solewright/dashboard"
	"solewright/models"
)

// PINs of the shop's people.
var pins = map[string]string{fitterCode: "481926", secondCode: "593017", traineeCode: "260485", managerCode: "715940"}

// tabletCode is the shop's tablet.
const tabletCode = "K07-2"

// givePINs lets the shop's people sign in on its tablet, and gives some of them
// a mark.
func (s *shop) givePINs() {
	s.t.Helper()
	by := models.Actor{Account: "solewright"}
	for code, pin := range pins {
		if err := s.db.SetPIN(s.t.Context(), by, code, pin); err != nil {
			s.t.Fatal(err)
		}
	}
	for code, mark := range map[string]string{fitterCode: "fish", secondCode: "needle", traineeCode: "bell"} {
		if err := s.db.SetMark(s.t.Context(), by, code, mark); err != nil {
			s.t.Fatal(err)
		}
	}
}

// enrolment sets up the shop's tablet and returns the code to type on it.
func (s *shop) enrolment() string {
	s.t.Helper()
	code, err := s.db.AddDevice(s.t.Context(), models.Actor{Account: "solewright"}, tabletCode, storeCode)
	if err != nil {
		s.t.Fatal(err)
	}
	return code
}

// enrol makes a browser the shop's tablet.
func (s *shop) enrol(b *browser) {
	b.t.Helper()
	b.open(s.url("/enrol"))
	b.write(`[name=enrolment]`, strings.ToLower(s.enrolment()))
	b.tap(`.signin button`)
	b.until(`document.querySelector("h1").innerText === "This is a store's tablet"`)
}

// atTablet makes the browser a tablet of the store, with somebody at its day's list.
func (s *shop) atTablet(b *browser, code string) {
	b.t.Helper()
	s.givePINs()
	s.enrol(b)
	b.open(s.url("/bench"))
	s.byPIN(b, code)
}

// byPIN signs somebody in on the tablet and waits for the page they go on to.
func (s *shop) byPIN(b *browser, code string) {
	b.t.Helper()
	b.until(`document.documentElement.dataset.ready`)
	b.tap(fmt.Sprintf(`.staff:has([value=%q])`, code))
	for _, digit := range pins[code] {
		b.tap(fmt.Sprintf(`[data-n="%c"]`, digit))
	}
	b.until(`location.pathname !== "/sign-in" && document.querySelector("main[data-ready]")`)
}

func TestATabletIsEnrolledAndPeopleChange(t *testing.T) {
	t.Parallel()
	for _, size := range [][2]int64{landscape, portrait} {
		t.Run(fmt.Sprintf("%d by %d", size[0], size[1]), func(t *testing.T) {
			t.Parallel()
			shop, b := newShop(t), newBrowser(t, size)
			shop.givePINs()
			b.open(shop.url("/enrol"))
			b.keepPicture(t.Name() + " enrol")
			b.quiet(true) // 403 is what this is about
			b.write(`[name=enrolment]`, "0000000000")
			b.tap(`.signin button`)
			b.until(`document.querySelector(".signin [role=alert]")?.innerText.startsWith("That is no enrolment code")`)
			b.quiet(false)
			shop.enrol(b)
			b.keepPicture(t.Name() + " enrolled")
			b.open(shop.url("/bench"))
			b.until(`location.pathname === "/sign-in" && document.documentElement.dataset.ready`)
			tags := b.text(".rail")
			for _, want := range []string{fitterCode, secondCode, traineeCode, "other"} {
				if !strings.Contains(tags, want) {
					t.Errorf("the rail shows %q, want %s on it", tags, want)
				}
			}
			if strings.Contains(tags, managerCode) {
				t.Errorf("the rail shows %q, also the region's manager", tags)
			}
			if got := eval[string](b, `[...document.querySelectorAll(".staff.tack")].map((e) => e.querySelector("span").innerText).join()`); got != traineeCode {
				t.Errorf("tacked are %q, want the trainee's tag", got)
			}

			// A wrong PIN keeps the person and says what is wrong.
			b.quiet(true)
			b.tap(fmt.Sprintf(`.staff:has([value=%q])`, fitterCode))
			b.press("1", "2", "9", "9", "2")
			b.tap(`[data-n="undo"]`)
			b.tap(`[data-n="3"]`)
			b.keepPicture(t.Name() + " pin")
			b.tap(`[data-n="4"]`)
			b.until(`document.querySelector(".pin [role=alert]")?.innerText.startsWith("That PIN")`)
			b.quiet(false)
			if got := eval[string](b, `document.querySelector("[name=staff]:checked").value + " " + document.querySelector("#pin").value`); got != fitterCode+" " {
				t.Errorf("after a wrong PIN stand %q", got)
			}
			shop.byPIN(b, fitterCode)

			// One tap gives the bench to somebody else, who goes on with the ticket.
			id := shop.begin(b, "check")
			b.press("2", "1")
			b.until(`document.querySelectorAll(".digit").length === 2`)
			b.tap(`.who [action="/sign-out"] button`)
			b.until(`location.pathname === "/sign-in" && document.querySelector("#waiting").innerText.startsWith("Ticket ` + strings.ToUpper(id[len(id)-4:]) + ` waits")`)
			shop.byPIN(b, traineeCode)
			b.until(`location.pathname === "/bench/` + id + `" && document.querySelectorAll(".digit").length === 2`)
			if got := b.text(".me"); !strings.Contains(got, traineeCode) {
				t.Errorf("the bar names %q", got)
			}
		})
	}
}

func TestATabletLocksItself(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t, func(c *dashboard.Config) { c.LockAfter = time.Hour }), newBrowser(t, landscape)
	shop.atTablet(b, fitterCode)
	id := shop.begin(b, "trade-in")
	b.write("#runner", "R-20931")
	b.press(kb.Tab)
	if eval[bool](b, `document.dispatchEvent(new Event("visibilitychange")) && location.pathname === "/sign-in"`) {
		t.Error("a tablet that was just touched locks itself")
	}
	// An hour passes while the tablet sleeps, and it wakes.
	eval[bool](b, `(() => { const now = Date.now; Date.now = () => now() + 3_600_000; return document.dispatchEvent(new Event("visibilitychange")); })()`)
	b.until(`location.pathname === "/sign-in" && document.querySelector("#waiting").innerText.includes("waits")`)
	if got := b.text(".wall-page footer"); !strings.Contains(got, "Locks itself after 60 minutes") {
		t.Errorf("the foot says %q", got)
	}
	shop.byPIN(b, secondCode)
	b.until(`location.pathname === "/bench/` + id + `" && document.querySelector("#runner").value === "R-20931"`)

	// A tablet that is no store's never locks itself.
	other := newBrowser(t, landscape)
	shop.signIn(other, fitterCode)
	if eval[bool](other, `"quiet" in document.body.dataset`) {
		t.Error("a browser that is no tablet locks itself")
	}
}

func TestARevokedTabletSaysSo(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.givePINs()
	shop.enrol(b)
	if err := shop.db.RevokeDevice(t.Context(), models.Actor{Account: "solewright"}, tabletCode); err != nil {
		t.Fatal(err)
	}
	shop.restart()
	b.open(shop.url("/sign-in"))
	b.until(`document.querySelector(".failed")?.innerText.startsWith("This is no store's tablet any more")`)
	b.open(shop.url("/enrol"))
	b.until(`document.querySelector(".failed")?.innerText.startsWith("This tablet was revoked")`)
	b.keepPicture(t.Name())
}

func TestSomebodyChoosesTheirMark(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, portrait)
	shop.signIn(b, fitterCode)
	b.tap(`.tape .me`)
	b.until(`location.pathname === "/me"`)
	b.tap(`.mark:has([value=kite])`)
	b.write(`[name=pin]`, "402817")
	b.write(`[name=password]`, password)
	b.keepPicture(t.Name())
	b.tap(`form[action="/me"] [type=submit]`)
	b.until(`document.querySelector("[role=status]")?.innerText === "Saved." && document.querySelector(".tape .me use").getAttribute("href") === "#m-kite"`)
	a, err := shop.db.SignInPIN(t.Context(), tabletCode, fitterCode, "402817")
	if err != nil || a.Mark != "kite" {
		t.Errorf("got %+v, %v", a, err)
	}
}

// Another credit takes a manager's own secret, at the bench and on the server.
func TestAManagerSignsAnotherCredit(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	id := shop.begin(b, "trade-in")
	shop.soundPair(b, "R-7", "150", "110101110"+"111101110")
	b.tap(key("hygiene-clean"))
	b.tap(key("override"))
	b.keepPicture(t.Name() + " override")
	if hidden := eval[bool](b, `document.querySelector("[data-k=hand-back]").getBoundingClientRect().bottom > document.querySelector("#hand-form").getBoundingClientRect().bottom`); hidden {
		t.Error("the way back to the shoes lies below what can be seen")
	}
	b.write(key("f-override-minor"), "31")
	b.write(key("f-override-reason"), "regular")
	b.until(`document.querySelector("[data-k=finish]").getAttribute("aria-disabled") === "true" && document.querySelector("#hand-form").innerText.includes("a manager signs the credit")`)
	b.write(key("f-override-code"), managerCode)
	b.write(key("f-override-secret"), "wrong horse battery")
	b.quiet(true) // 422 is what this is about
	b.tap(key("sign-override"))
	b.until(`document.querySelector("#hand-form [role=alert]")?.innerText.startsWith("Code and secret")`)
	b.quiet(false)
	b.write(key("f-override-secret"), password)
	b.tap(key("sign-override"))
	b.until(`document.querySelector("#hand-form").innerText.includes("Signed by ` + managerCode + `")`)
	b.keepPicture(t.Name())
	b.finish()
	b.open(shop.url("/slip/" + id))
	b.until(`document.querySelector("main[data-ready] .verdict")`)
	if got := b.text("#slip"); !strings.Contains(got, "31.00") || !strings.Contains(got, "resale") {
		t.Errorf("the slip again says %q, want what was given and where the pair went", got)
	}
}
