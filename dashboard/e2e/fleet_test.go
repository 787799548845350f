package e2e

import (
	"bytes"
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"solewright/assess"
	"solewright/dashboard"
	"solewright/models"
	"solewright/models/exchange"
	"solewright/models/retail"
	memory "solewright/reports/fleet"
	"solewright/reports/sim"
)

// fleetCode is a manager who sees the whole fleet.
const fleetCode = "M-1"

// desk is a manager's screen, in CSS pixels.
var desk = [2]int64{1280, 900}

// newFleet is a shop that belongs to an invented retailer with its planted
// problems.
func newFleet(t *testing.T) (*shop, *sim.Fleet) {
	t.Helper()
	f := sim.New(sim.Options{Plant: true, Judge: true})
	s := newShop(t, func(c *dashboard.Config) {
		settleFleet(t, c.DB, f)
		copied := memory.New(memory.Options{Source: c.DB.Feed()})
		if err := copied.Load(t.Context()); err != nil {
			t.Fatal(err)
		}
		// No page waits: what takes longer is put in its place when it is found.
		c.Fleet, c.Patience = copied.View, time.Nanosecond
	})
	by := models.Actor{Account: "solewright"}
	if err := s.db.SaveStaff(t.Context(), by, retail.Staff{Code: fleetCode, Role: retail.Manager, Scopes: models.Fleet}); err != nil {
		t.Fatal(err)
	}
	if err := s.db.SetPassword(t.Context(), by, fleetCode, password); err != nil {
		t.Fatal(err)
	}
	return s, f
}

// settleFleet stores an invented retailer.
func settleFleet(t *testing.T, db *models.DB, f *sim.Fleet) {
	t.Helper()
	names := map[string]string{}
	for _, r := range f.Regions {
		names[r.Code] = r.Name
	}
	stores := retail.StoreLines.CSV.AppendHeader(nil)
	for _, s := range f.Stores {
		stores = retail.StoreLines.CSV.Append(stores, &retail.StoreLine{Store: s, RegionName: names[s.Region]})
	}
	shoes := retail.ShoeModels.CSV.AppendHeader(nil)
	for i := range f.Models {
		shoes = retail.ShoeModels.CSV.Append(shoes, &f.Models[i])
	}
	by := models.Actor{Account: "solewright"}
	for _, file := range []struct {
		kind string
		rows []byte
	}{{"stores", stores}, {"shoe-models", shoes}} {
		if _, err := exchange.Import(t.Context(), db, by, file.kind, bytes.NewReader(file.rows), exchange.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	records := func(yield func(*assess.Record) bool) {
		for r := range f.Inspections() {
			if !yield(r) {
				return
			}
		}
	}
	ctx := context.Background()
	if _, err := db.ImportInspections(ctx, by, exchange.Judged(ctx, db, f.End().Format("2006-01-02"), records), models.ImportOptions{}); err != nil {
		t.Fatal(err)
	}
}

// tabTo goes by the Tab key to the first element of a selector.
func (b *browser) tabTo(selector string) {
	b.t.Helper()
	for range 200 {
		b.press(kb.Tab)
		if eval[bool](b, fmt.Sprintf(`document.activeElement.matches(%q)`, selector)) {
			return
		}
	}
	b.t.Fatalf("two hundred tabs don't reach %s", selector)
}

// arrive waits for the page at a path, and for what it puts in its place later.
func (b *browser) arrive(path string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`location.pathname.startsWith(%q) && document.readyState === "complete" && document.querySelector("main") && !document.querySelector("[data-later]")`, path))
}

// behind checks that the list on the screen holds as many as a number said, and
// that one tap more opens the history of the first.
func (b *browser) behind(number string, want int) {
	b.t.Helper()
	b.arrive("/fleet/pairs")
	title := b.text("h1")
	if got, _, _ := strings.Cut(title, " "); got != strconv.Itoa(want) {
		b.t.Errorf("%s leads to %q, want %d", number, title, want)
	}
	ref := strings.TrimPrefix(eval[string](b, `document.querySelector(".pairs tbody th a").pathname`), "/pairs/")
	b.tap(".pairs tbody th a")
	b.arrive("/pairs/" + ref)
	b.until(`document.querySelectorAll(".reads article").length > 0`)
}

// A manager's questions, on a fleet where the truth is known (package sim): each
// begins at /fleet, goes by taps and keys alone, and ends with the pairs behind
// the answer in two taps.
func TestAManagerFindsWhatIsWrong(t *testing.T) {
	t.Parallel()
	shop, f := newFleet(t)
	p := f.Plants()
	label := func(i int) string {
		m := f.Models[i]
		return strings.Join(strings.Fields(m.Brand+" "+m.Model+" "+m.Version), " ")
	}
	store := f.Stores[p.Store].Code
	b := newBrowser(t, desk)
	b.open(shop.url("/sign-in?next=/fleet"))
	b.write("[name=staff]", fleetCode)
	b.write("[name=password]", password)
	b.press(kb.Enter)
	b.arrive("/fleet")

	// signal returns the place in the margin of the first signal whose head has
	// all words, and its numbers: hits, of how many.
	signal := func(words ...string) (at, hits int) {
		t.Helper()
		b.arrive("/fleet")
		heads := eval[[]string](b, `[...document.querySelectorAll(".margin li strong")].map((e) => e.textContent)`)
		for i, head := range heads {
			all := true
			for _, w := range words {
				all = all && strings.Contains(head, w)
			}
			if all {
				evidence := eval[string](b, fmt.Sprintf(`document.querySelector("#signal-%d details .note").textContent`, i+1))
				hits, _ = strconv.Atoi(regexp.MustCompile(`^(\d+) of`).FindStringSubmatch(evidence)[1])
				return i + 1, hits
			}
		}
		t.Fatalf("no signal says %q: %q", words, heads)
		return 0, 0
	}
	// The page was shown before it knew what stands out, and follows.
	b.until(`document.querySelector(".matrix .ref-n")`)
	home := func() { b.tap(`.desk a[href="/fleet"]`); b.arrive("/fleet") }

	// Is the planted batch failing early? It stands first, with what ends it.
	at, hits := signal(label(p.BatchModel), p.Batch, "fails early")
	if at != 1 {
		t.Errorf("the batch that fails early stands in place %d", at)
	}
	if text := b.text("#signal-1 p"); !strings.Contains(text, "parted") {
		t.Errorf("the batch's signal doesn't say that the bond parts: %s", text)
	}
	b.tap("#signal-1 p a")
	b.behind("the batch", hits)

	// Is the planted store different, and is it the readers? By keys.
	b.open(shop.url("/fleet"))
	at, hits = signal(store, "more often")
	b.tabTo(fmt.Sprintf(`#signal-%d a[href^="/fleet/stores/"]`, at))
	b.press(kb.Enter)
	b.arrive("/fleet/stores/" + store)
	if answer := b.text(".readers p"); !strings.HasPrefix(answer, "It looks like the readers: "+store+" grades 10 of 10 zones harder") {
		t.Errorf("is it the readers? %s", answer)
	}
	b.tabTo(`main p > a[href*="unit=reading"]`)
	b.press(kb.Enter)
	b.behind("the store", hits)

	// Which model wears its inner forefoot under pronated feet more than its
	// category? The matrix opens with that question and that category.
	b.open(shop.url("/fleet"))
	cells := eval[[]string](b, `[...document.querySelectorAll(".matrix .sub td:nth-child(2) a")].map((e) => e.getAttribute("aria-label"))`)
	most, answer, count := 0.0, "", 0
	for _, cell := range cells {
		m := regexp.MustCompile(`^(.+), pronated: (\S+)%, n (\d+)`).FindStringSubmatch(cell)
		if m == nil {
			continue // too few pairs
		}
		share, _ := strconv.ParseFloat(m[2], 64)
		if share > most {
			n, _ := strconv.Atoi(m[3])
			most, answer, count = share, m[1], n
		}
	}
	if answer != label(p.Model) {
		t.Errorf("the matrix says that %s wears its inner forefoot most, of %q", answer, cells)
	}
	at, _ = signal(label(p.Model), "inner forefoot", "pronated")
	if note := eval[string](b, fmt.Sprintf(`document.querySelector(".matrix a[aria-label^='%s, pronated'] .ref-n")?.textContent ?? ""`, label(p.Model))); note != strconv.Itoa(at) {
		t.Errorf("the cell carries the number %q, the signal is %d", note, at)
	}
	b.tap(fmt.Sprintf(`.matrix a[aria-label^=%q]`, label(p.Model)+", pronated"))
	b.arrive("/fleet/pairs")
	if n, err := strconv.Atoi(strings.Fields(b.text("h1"))[0]); err != nil || 100*float64(n)/float64(count) < most-0.51 || 100*float64(n)/float64(count) > most+0.51 {
		t.Errorf("%v%% of %d pairs leads to %q", most, count, b.text("h1"))
	}

	// Did it get better since March? Nothing in the simulation changes with time.
	home()
	b.tap(`.desk a[href="/fleet/compare"]`)
	b.arrive("/fleet/compare")
	b.choose("[name=since]", "2026-03")
	b.tap(".board .key.main")
	b.until(`location.search.includes("since=2026-03") && document.querySelector(".answer")`)
	if answer := b.text(".answer"); !strings.HasPrefix(answer, "No change beyond chance since March 2026") {
		t.Errorf("did it get better since March? %s", answer)
	}
	cell := b.text(".comparison > .scroll tbody td:nth-child(3)")
	m := regexp.MustCompile(`^(\S+)% n (\d+)$`).FindStringSubmatch(cell)
	if m == nil {
		t.Fatalf("since March: %q", cell)
	}
	share, _ := strconv.ParseFloat(m[1], 64)
	size, _ := strconv.Atoi(m[2])
	b.tap(".comparison > .scroll tbody td:nth-child(3) a")
	b.arrive("/fleet/pairs")
	if n, err := strconv.Atoi(strings.Fields(b.text("h1"))[0]); err != nil || 100*float64(n)/float64(size) < share-0.51 || 100*float64(n)/float64(size) > share+0.51 {
		t.Errorf("%s leads to %q", cell, b.text("h1"))
	}
}
