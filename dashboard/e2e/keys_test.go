package e2e

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"solewright/dashboard"
	"solewright/models/retail"
)

// focusScript looks at every control that Tab comes to on a page: whether the
// focus can be seen on it, and lists one control of each sort that a key could be
// caught in. WCAG 2.2: 2.4.7 focus visible, 2.1.2 no keyboard trap.
const focusScript = `(() => {
	const shown = (e) => e && e.getClientRects().length > 0 && getComputedStyle(e).visibility !== "hidden";
	const one = (e) => e.type !== "radio" || e.checked || ![...document.getElementsByName(e.name)].some((o) => o.checked) || !e.name;
	const all = [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]")]
		.filter((e) => !e.disabled && e.type !== "hidden" && e.tabIndex >= 0 && !e.closest("[hidden]") && shown(e) && one(e));
	const rings = (e) => { const s = getComputedStyle(e); return s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 || shown(e.querySelector?.(".ring.over")); };
	const unseen = [], sorts = new Map(), name = (e) => (e.dataset.k || e.id || e.name || e.getAttribute("href") || e.innerText || e.tagName).slice(0, 40);
	all.forEach((e, i) => {
		e.dataset.walked = i;
		e.focus({ preventScroll: true });
		if (document.activeElement !== e) return;
		if (e.tabIndex > 0) unseen.push(name(e) + " jumps the queue");
		if (![e, e.closest("label"), e.parentElement, e.nextElementSibling].some((x) => x && rings(x))) unseen.push(name(e));
		sorts.set([e.tagName, e.type, e.getAttribute("role"), e.inputMode, Boolean(e.closest("[data-arrows], [role=radiogroup]"))].join(), i);
	});
	return { Controls: all.length, Unseen: [...new Set(unseen)], Sorts: [...sorts.values()] };
})()`

// partsOfADate is how often Tab stops within a line for a date: day, month, year,
// and the calendar.
const partsOfADate = 4

// walkByKeys has the page that is open worked by keys alone: the skip link is
// first and leads to the page's own part, the focus is seen wherever it comes, and
// nothing keeps it.
func (b *browser) walkByKeys(path string) {
	b.t.Helper()
	b.press(kb.Tab) // from here on the focus is one of keys
	if got := eval[string](b, `(() => { const skip = document.querySelector(".skip"); skip.focus(); const r = skip.getBoundingClientRect(); return [document.querySelector("a[href], button, input") === skip, r.top >= 0 && r.height > 0].join(); })()`); got != "true,true" {
		b.t.Errorf("%s: the skip link is first and in sight: %s", path, got)
	}
	b.press(kb.Enter, kb.Tab)
	if eval[bool](b, `document.querySelector("main :is(a[href], button, input)") !== null && document.querySelector(".tape").contains(document.activeElement)`) {
		b.t.Errorf("%s: the skip link leads to %s", path, eval[string](b, `document.activeElement.outerHTML.slice(0, 120)`))
	}
	var seen struct {
		Controls int
		Unseen   []string
		Sorts    []int
	}
	if err := json.Unmarshal([]byte(eval[string](b, "JSON.stringify("+focusScript+")")), &seen); err != nil {
		b.t.Fatal(err)
	}
	if seen.Controls == 0 || len(seen.Unseen) > 0 {
		b.t.Errorf("%s: of %d controls the focus is not seen on %s", path, seen.Controls, strings.Join(seen.Unseen, ", "))
	}
	for _, i := range seen.Sorts {
		at := fmt.Sprintf(`[data-walked="%d"]`, i)
		if !eval[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e?.focus(); return document.activeElement === e; })()`, at)) {
			continue // redrawn meanwhile
		}
		held := true
		for n := 0; held && n < partsOfADate; n++ {
			b.press(kb.Tab)
			held = eval[bool](b, fmt.Sprintf(`document.activeElement === document.querySelector(%q)`, at))
		}
		if held {
			b.t.Errorf("%s: Tab doesn't leave %s", path, eval[string](b, `document.activeElement.outerHTML.slice(0, 120)`))
		}
	}
}

// Escape closes whatever lies over the bench, and leaves the focus on a key.
func TestEscapeClosesTheSheets(t *testing.T) {
	t.Parallel()
	shop, b := newShop(t), newBrowser(t, landscape)
	shop.signIn(b, fitterCode)
	shop.begin(b, "check")
	b.tap(key("line-stand"))
	b.tap(key("stand-left,doubtful"))
	for _, sheet := range []string{"more", "second", "about", "photos", "pain", "hand"} {
		b.tap(key(sheet))
		b.until(`!document.querySelector("[data-k='` + sheet + `']") || !document.querySelector("#aside").hidden || !document.querySelector("#handover").hidden || document.querySelector("[data-k=back]")`)
		b.press(kb.Escape)
		b.until(`document.querySelector("#aside").hidden && document.querySelector("#handover").hidden && !document.querySelector("#also [data-k=back]")`)
		if at := eval[string](b, `document.activeElement?.closest("[data-k], .spot") ? "" : document.activeElement?.outerHTML.slice(0, 80)`); at != "" {
			t.Errorf("after Escape on %s the focus is on %s", sheet, at)
		}
	}
}

// Each role's own way through the pages leads only where it may go, and what it
// may not is said on a page with a way back. The table of roles is walked cell by
// cell elsewhere; this is what a person with that role sees of it.
func TestEachRoleSeesItsPages(t *testing.T) {
	t.Parallel()
	shop := headOffice(t, nil)
	pages := slices.DeleteFunc(shop.handler.(*dashboard.Server).Pages(), func(p string) bool { return strings.Contains(p, ":") || slices.Contains(noPages, p) })
	for who, role := range map[string]retail.Role{fitterCode: retail.Fitter, traineeCode: retail.Trainee, managerCode: retail.Manager, trainerCode: retail.Trainer, officeCode: retail.Office} {
		b := shop.tab(t, who)
		b.open(shop.url("/"))
		asked, err := json.Marshal(pages)
		if err != nil {
			t.Fatal(err)
		}
		got := eval[map[string]int](b, fmt.Sprintf(`Promise.all([...new Set([...%s, ...[...document.querySelectorAll("header nav a, main nav a")].map((a) => a.pathname)])].map((p) => fetch(p).then((r) => [p, r.status]))).then(Object.fromEntries)`, asked))
		shown := eval[[]string](b, `[...document.querySelectorAll("header nav a, main nav a")].map((a) => a.pathname)`)
		for _, path := range shown {
			if got[path] != 200 {
				t.Errorf("the %s is shown the way to %s, which answers %d", role, path, got[path])
			}
		}
		closed := ""
		for _, path := range pages {
			switch got[path] {
			case 200:
			case 403:
				closed = path
			default:
				t.Errorf("%s answers the %s with %d", path, role, got[path])
			}
		}
		if (closed == "") != (role == retail.Office) {
			t.Errorf("closed to the %s: %q", role, closed)
		}
		if closed != "" {
			b.open(shop.url(closed))
			if way := eval[string](b, `document.querySelector("h1").innerText + " " + Boolean(document.querySelector("main a, header nav a"))`); !strings.HasSuffix(way, "true") {
				t.Errorf("the %s on %s sees %q and no way on", role, closed, way)
			}
		}
	}
}
