package e2e

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"solewright/dashboard"
	"solewright/models"
	"solewright/models/retail"
	memory "solewright/reports/fleet"
)

// axeFile is axe-core, which deploy/test.sh installs.
const axeFile = "../../bin/node_modules/axe-core/axe.min.js"

// axeRules are the tags of WCAG 2.2, levels A and AA.
const axeRules = `["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa"]`

// TestEveryPagePassesAxe opens every page as who may see it, in both themes, and
// has axe-core look at it.
func TestEveryPagePassesAxe(t *testing.T) {
	t.Parallel()
	axe, err := os.ReadFile(axeFile)
	if err != nil {
		t.Fatalf("axe-core is missing: sh deploy/test.sh installs it: %v", err)
	}
	const officeCode, nowhere = "HQ-9", "/nowhere"
	shop := newShop(t, func(c *dashboard.Config) {
		copied := memory.New(memory.Options{Source: c.DB.Feed()})
		if err := copied.Load(t.Context()); err != nil {
			t.Fatal(err)
		}
		c.Fleet = copied.View
	})
	by := models.Actor{Account: "solewright"}
	if err := shop.db.SaveStaff(t.Context(), by, retail.Staff{Code: officeCode, Role: retail.Office, Scopes: models.Fleet}); err != nil {
		t.Fatal(err)
	}
	if err := shop.db.SetPassword(t.Context(), by, officeCode, password); err != nil {
		t.Fatal(err)
	}
	for _, who := range []struct {
		code  string
		pages string
	}{
		{"", "/sign-in /enrol " + nowhere},
		{fitterCode, "/bench /bench/fitting /bench/00000000-0000-7000-8000-000000000000 /methods /me"},
		{officeCode, "/fleet /fleet/pairs /fleet/compare /fleet/credit /fleet/stores/" + storeCode +
			" /office /office/stores /office/staff /office/tablets /office/catalogue /office/rules /office/credit /office/trail /office/requests" +
			" /office/pairs /office/imports /office/exports /office/faults /office/waiting /office/sales /office/events"},
	} {
		b := newBrowser(t, landscape)
		b.quiet(true) // an address that isn't there is one of the pages
		if who.code != "" {
			shop.signIn(b, who.code)
		}
		for path := range strings.FieldsSeq(who.pages) {
			b.open(shop.url(path))
			b.until(`document.readyState === "complete"`)
			status := 200
			if path == nowhere {
				status = 404
			}
			// What was looked at is the page that was asked for.
			if got, want := eval[string](b, `location.pathname + " " + performance.getEntriesByType("navigation")[0].responseStatus`), fmt.Sprint(path, " ", status); got != want {
				t.Errorf("asked for %s, and got %s", want, got)
			}
			eval[bool](b, string(axe)+"\n;true")
			for _, theme := range []string{"day", "evening"} {
				eval[bool](b, fmt.Sprintf(`(document.documentElement.dataset.theme = %q, true)`, theme))
				var found []struct {
					ID    string   `json:"id"`
					Where []string `json:"where"`
				}
				text := eval[string](b, `axe.run(document, { runOnly: `+axeRules+` }).then((r) => JSON.stringify(r.passes.length ? r.violations.map((v) => ({ id: v.id, where: v.nodes.map((n) => n.target.join(" ")) })) : [{ id: "nothing was looked at" }]))`)
				if err := json.Unmarshal([]byte(text), &found); err != nil {
					t.Fatalf("%s: %v in %s", path, err, text)
				}
				for _, v := range found {
					t.Errorf("%s, %s: %s at %s", path, theme, v.ID, strings.Join(v.Where, ", "))
				}
			}
		}
	}
}
