package e2e

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"solewright/dashboard"
	"solewright/models"
	"solewright/models/retail"
	memory "solewright/reports/fleet"
	"solewright/reports/sim"
)

// axeFile is axe-core, which deploy/test.sh installs.
const axeFile = "../../bin/node_modules/axe-core/axe.min.js"

// axeRules are the rules of WCAG 2.2, levels A and AA. axeColours is the one of
// them that a theme can break.
const (
	axeRules   = `{ ` + axeAnswers + `, runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa"] }`
	axeColours = `{ ` + axeAnswers + `, runOnly: { type: "rule", values: ["color-contrast"] } }`
	// Where everything that is sound stands isn't worked out, nor are style sheets
	// loaded a second time: they are the server's own.
	axeAnswers = `resultTypes: ["violations"], preload: false`
)

// noPages answer with something else than a page of ours.
var noPages = []string{
	"/healthz", "/readyz", "/metrics", "/static/*path", "/worker.js", "/pairs/:ref/qr.svg",
	"/bench/context.json", "/sign-in/provider", "/sign-in/provider/back", "/office/imports/:id/rejected.csv",
}

const (
	officeCode, trainerCode = "HQ-9", "TR-9"
	nowhere                 = "/nowhere"
)

// TestEveryPagePassesAxe opens every page of the server on an invented
// retailer's data, and those of managers and the office before there is any, has
// axe-core look at them in both themes, works each by keys alone, and looks at it
// as wide as a phone.
func TestEveryPagePassesAxe(t *testing.T) {
	t.Parallel()
	axe, err := os.ReadFile(axeFile)
	if err != nil {
		t.Fatalf("axe-core is missing: sh deploy/test.sh installs it: %v", err)
	}
	fleet := sim.New(sim.Options{Seed: 3, Inspections: 400, Stores: 12, Plant: true, Judge: true})
	full, fresh := headOffice(t, fleet), headOffice(t, nil)
	var reading, pair string
	for r := range fleet.Inspections() {
		reading, pair = r.ID.String(), r.PairRef
		break
	}
	named := map[string]string{"/pairs/:ref": pair, "/slip/:id": reading, "/bench/:uuid": "00000000-0000-7000-8000-000000000000", "/fleet/stores/:code": fleet.Stores[0].Code}

	b := full.tab(t, officeCode)
	b.open(full.url("/office/catalogue"))
	model := eval[string](b, `document.querySelector("a[href^='/office/catalogue/']").pathname.split("/").pop()`)
	named["/office/catalogue/:id"], named["/fleet/models/:id"] = model, model
	named["/office/imports/:id"] = eval[string](b, `(() => {
		const form = new FormData();
		form.set("kind", "sales");
		form.set("file", new File(["wrong\r\n1\r\n"], "sales.csv"));
		return fetch("/office/imports", { method: "POST", body: form }).then((r) => r.url.split("/").pop());
	})()`)

	opened, empty := 0, []string{}
	by := map[string][]string{"": {nowhere}}
	for _, path := range full.handler.(*dashboard.Server).Pages() {
		who, address := officeCode, path
		switch {
		case slices.Contains(noPages, path):
			continue
		case path == "/sign-in", path == "/enrol":
			who = ""
		case path == "/":
			who = trainerCode
		case strings.HasPrefix(path, "/bench"):
			who = fitterCode
		}
		if at := strings.IndexByte(path, ':'); at > 0 {
			if named[path] == "" {
				t.Errorf("nothing is known to open %s with", path)
			}
			address = path[:at] + named[path]
		} else if strings.HasPrefix(path, "/fleet") || strings.HasPrefix(path, "/office") {
			empty = append(empty, path)
		}
		by[who] = append(by[who], address)
		opened++
	}
	if opened < 35 || len(empty) < 20 { // fewer than there were when this was written
		t.Errorf("only %d pages of the server, %d of them for managers and the office", opened, len(empty))
	}
	for who, paths := range by {
		for part := range slices.Chunk(paths, 12) {
			t.Run("a retailer at work, "+part[0], func(t *testing.T) {
				t.Parallel()
				full.passAxe(full.tab(t, who), string(axe), part, "day", "evening")
			})
		}
	}
	t.Run("a retailer that begins", func(t *testing.T) {
		t.Parallel()
		fresh.passAxe(fresh.tab(t, officeCode), string(axe), append(empty, "/fleet/stores/"+storeCode), "day") // in the colours of the pages above
	})
}

// headOffice is a shop with an office and a trainer, and with an invented
// retailer's stores, shoes and readings where there is one.
func headOffice(t *testing.T, fleet *sim.Fleet) *shop {
	t.Helper()
	shop := newShop(t, func(c *dashboard.Config) {
		if fleet != nil {
			settleFleet(t, c.DB, fleet)
		}
		copied := memory.New(memory.Options{Source: c.DB.Feed()})
		if err := copied.Load(t.Context()); err != nil {
			t.Fatal(err)
		}
		c.Fleet = copied.View
	})
	by := models.Actor{Account: "solewright"}
	for code, role := range map[string]retail.Role{officeCode: retail.Office, trainerCode: retail.Trainer} {
		if err := shop.db.SaveStaff(t.Context(), by, retail.Staff{Code: code, Role: role, Scopes: models.Fleet}); err != nil {
			t.Fatal(err)
		}
		if err := shop.db.SetPassword(t.Context(), by, code, password); err != nil {
			t.Fatal(err)
		}
	}
	return shop
}

// tab is a browser in which somebody is signed in, or nobody where who is empty.
func (s *shop) tab(t *testing.T, who string) *browser {
	t.Helper()
	b := newBrowser(t, landscape)
	b.quiet(true) // an address that isn't there is one of the pages
	if who != "" {
		s.admit(b, who)
	}
	return b
}

// passAxe has axe-core look at pages in themes.
func (s *shop) passAxe(b *browser, axe string, paths []string, themes ...string) {
	t := b.t
	for _, path := range paths {
		b.open(s.url(path))
		status := 200
		if path == nowhere {
			status = 404
		}
		// What was looked at is the page that was asked for.
		if got, want := eval[string](b, `location.pathname + " " + performance.getEntriesByType("navigation")[0].responseStatus`), fmt.Sprint(path, " ", status); got != want {
			t.Errorf("asked for %s, and got %s", want, got)
		}
		eval[bool](b, axe+"\n;true")
		for i, theme := range themes {
			rules := axeRules
			if i > 0 {
				rules = axeColours
			}
			eval[bool](b, fmt.Sprintf(`(document.documentElement.dataset.theme = %q, true)`, theme))
			var found []struct {
				ID    string   `json:"id"`
				Where []string `json:"where"`
			}
			text := eval[string](b, `axe.run(document, `+rules+`).then((r) => JSON.stringify(r.passes.length ? r.violations.map((v) => ({ id: v.id, where: v.nodes.map((n) => n.target.join(" ")) })) : [{ id: "nothing was looked at" }]))`)
			if err := json.Unmarshal([]byte(text), &found); err != nil {
				t.Fatalf("%s: %v in %s", path, err, text)
			}
			for _, v := range found {
				t.Errorf("%s, %s: %s at %s", path, theme, v.ID, strings.Join(v.Where, ", "))
			}
		}
		b.walkByKeys(path)
		b.fitsAPhone(path)
	}
}

// fits fails where a page is wider than the screen.
func (b *browser) fits(what string) {
	b.t.Helper()
	if over := eval[int](b, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
		b.t.Errorf("%s is %d pixels wider than the screen", what, over)
	}
}

// fitsAPhone sees that nothing of a page lies beyond the edge of a phone, where it
// would have to be scrolled to sideways.
func (b *browser) fitsAPhone(path string) {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(phone[0], phone[1], chromedp.EmulateTouch))
	b.fits(path + " on a phone")
	b.do(chromedp.EmulateViewport(landscape[0], landscape[1], chromedp.EmulateTouch))
}
