package dashboard

import (
	"bytes"
	"fmt"
	"io/fs"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"solewright/assess"
	"solewright/models/retail"
	"solewright/reports/figure"
	"solewright/reports/wear"
)

// pageViews is every page of these files with its view, filled.
var pageViews = map[string]any{
	"fitting": fittingPage{
		Gaits: assess.GaitWords, GaitBy: assess.GaitByWords, Strikes: assess.StrikeWords, StrikeBy: retail.StrikeByWords,
		Surfaces: assess.Surfaces, UsedFor: assess.UsedForWords, Shoes: shoeWords, Measures: []string{"length_mm", "width_mm"},
		Items: []string{"1", "2"}, Grades: []int{-1, 0, 1}, Sizes: "{}", Felt: "narrow", Outcomes: "chosen",
	},
	"error":   errorPage{Title: "Not found", Detail: "There is nothing at this address.", ID: "x7f3"},
	"home":    homePage{Roles: "trainer"},
	"sign-in": signInPage{Staff: "07-14", Next: "/bench", Message: "Code or password is wrong."},
	"enrol":   enrolPage{Lapsed: true, Message: "The code is wrong."},
	"me":      mePage{Code: "07-14", Mark: "fish", Lang: "en", Marks: retail.Marks, Langs: []langChoice{{"en", "English"}, {"es", "Español"}}, HasPIN: true, Saved: true, Message: "Wrong."},
	"bench": benchPage{Store: "K07", AskStore: true, Day: "25 November", Failed: true, Rows: []benchRow{{
		ID: "01935a2c-0000-7000-8000-0000000000a1", Time: "10:42", Shoe: "Ondrell Fenline 2, 42.5", Runner: "R-20931",
		Staff: "07-14", Kind: "trade-in", Verdict: "replace", VerdictWords: "Replace", PairRef: "7K3M9QTDS", PairSpaced: "7K3M 9QTD S",
	}}},
	"ticket": ticketPage{Engine: true, Gaits: assess.GaitWords},
	"methods": methodsPage{
		Checks: []methodsCheck{{"heel lining", "Read inside the collar."}}, RuleSet: 1, From: "2026-01-01",
		Rules:   []methodsRule{{"bond-parted", "bond: parted", "replace", "common practice, no source"}},
		Methods: statistics,
	},
	"slip": slipPage{ID: "01935a2c-0000-7000-8000-0000000000a1"},
	"pair": pairPage{
		Ref: "7K3M9QTDS", Spaced: "7K3M 9QTD S", Shoe: "Ondrell Fenline 2, 42.5", Batch: "2502", Bought: "16 March 2026",
		Runner: "R-20931", Life: "Sound up to 438 km, worn by 612 km.",
		Line: &distanceLine{
			Label: "Distance line", End: 1096, Sound: 690, Worn: 960,
			Ticks: []lineTick{{X: 10, Long: true, Label: "0"}, {X: 41}}, Notches: []lineNotch{{X: 339, Label: "212 km"}},
		},
		Readings: []pairReading{{
			ID: "01935a2c-0000-7000-8000-0000000000a1", Head: "212 km", By: "K07, 07-09", Day: "27 April",
			Left: "0110a11010", Right: "1110a11110", Verdict: "keep", VerdictWords: "Keep running", Given: "given as advised",
			Gone: "Void: wrong pair", Since: "First reading",
			Changes: []pairChange{
				{What: "Worst zone", To: "1 scuffed"},
				{What: "Right forefoot, inner", From: "2", To: "3", Grades: true, Worse: true},
				{What: "Right lining", From: "padding showing", To: "worn", Better: true},
			},
		}},
	},
}

// outsidePages are pages that their own files test, as those of the office are.
var outsidePages = []string{"api"}

func testFront(t *testing.T) *front {
	t.Helper()
	f, err := readFront()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestPagesRenderFilledAndEmpty(t *testing.T) {
	f := testFront(t)
	names, err := fs.Glob(embedded, "templates/pages/*.html")
	if err != nil {
		t.Fatal(err)
	}
	var have []string
	for _, path := range names {
		have = append(have, strings.TrimSuffix(strings.TrimPrefix(path, "templates/pages/"), ".html"))
	}
	have = slices.DeleteFunc(have, func(name string) bool {
		return slices.Contains(outsidePages, name) || strings.HasPrefix(name, "office") || strings.HasPrefix(name, "fleet")
	})
	if want := slices.Sorted(maps.Keys(pageViews)); !slices.Equal(have, want) {
		t.Fatalf("pages %q, and views for %q", have, want)
	}
	signedIn := Identity{Code: "07-14", Grants: retail.Grants(retail.Fitter, retail.Scope{Store: "K07"}), Store: "K07"}
	nav := []navItem{{Path: "/bench", Key: "nav.bench", Here: true}}
	for name, filled := range pageViews {
		empty := reflect.Zero(reflect.TypeOf(filled)).Interface()
		for _, state := range []struct {
			name  string
			frame frame
		}{
			{"filled, signed in", frame{Lang: "en", Who: signedIn, Nav: nav, View: filled}},
			{"empty, signed in", frame{Lang: "en", Who: signedIn, Nav: nav, View: empty}},
			{"empty, signed out", frame{Lang: "en", View: empty}},
		} {
			t.Run(name+", "+state.name, func(t *testing.T) {
				out, err := f.pages.execute(name, state.frame)
				if err != nil {
					t.Fatal(err)
				}
				checkPage(t, out)
			})
		}
	}
}

// checkPage holds a page against what every page must be.
func checkPage(t *testing.T, page []byte) {
	t.Helper()
	if bytes.Contains(page, []byte("<no value>")) || bytes.Contains(page, []byte("ZgotmplZ")) {
		t.Error("the page holds a value that is missing or was refused as unsafe")
	}
	doc, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	ids, h1, mains, labelled := map[string]int{}, 0, 0, map[string]bool{}
	for n := range doc.Descendants() {
		if n.Type == html.ElementNode && n.Data == "label" {
			labelled[attr(n, "for")] = true
		}
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		for _, a := range n.Attr {
			if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
				t.Errorf("<%s> carries %s, which the content security policy refuses", n.Data, a.Key)
			}
			if (a.Key == "src" || a.Key == "href") && (strings.Contains(a.Val, "//") || strings.HasPrefix(a.Val, "data:")) {
				t.Errorf("<%s> asks another host: %s", n.Data, a.Val)
			}
		}
		if id := attr(n, "id"); id != "" {
			ids[id]++
		}
		switch n.Data {
		case "h1":
			h1++
		case "main":
			mains++
		case "style":
			t.Error("a style element stands in the page")
		case "script":
			if attr(n, "src") == "" {
				t.Error("a script stands in the page")
			}
		case "title":
			if text := strings.TrimSpace(wordsIn(n)); text == "" || strings.HasPrefix(text, "·") && len(text) < 4 {
				t.Error("the page has no title")
			}
		case "img":
			if attr(n, "alt") == "" {
				t.Error("an image has no alternative text")
			}
		case "input", "select", "textarea":
			if attr(n, "type") == "hidden" {
				continue
			}
			if !within(n, "label") && !labelled[attr(n, "id")] && attr(n, "aria-label") == "" {
				t.Errorf("<%s id=%q name=%q> has no label", n.Data, attr(n, "id"), attr(n, "name"))
			}
		case "button", "a":
			if n.Data == "a" && attr(n, "href") == "" {
				t.Error("a link goes nowhere")
			}
			if strings.TrimSpace(wordsIn(n)) == "" && attr(n, "aria-label") == "" {
				t.Errorf("<%s> %v has no name", n.Data, n.Attr)
			}
		case "html":
			if attr(n, "lang") == "" {
				t.Error("the page has no language")
			}
		}
	}
	if h1 != 1 || mains != 1 {
		t.Errorf("%d h1 and %d main, want one of each", h1, mains)
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("id %q stands %d times", id, n)
		}
	}
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func wordsIn(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

func within(n *html.Node, tag string) bool {
	for a := range n.Ancestors() {
		if a.Data == tag {
			return true
		}
	}
	return false
}

func TestPageWithoutNavigationShowsNone(t *testing.T) {
	out, err := testFront(t).pages.execute("error", frame{Lang: "en", View: errorPage{Title: "Not found"}})
	if err != nil {
		t.Fatal(err)
	}
	for _, there := range []string{`action="/sign-out"`, `href="/bench"`} {
		if bytes.Contains(out, []byte(there)) {
			t.Errorf("a page for nobody shows %s", there)
		}
	}
}

func TestUnknownPageIsAnError(t *testing.T) {
	if _, err := testFront(t).pages.execute("nowhere", frame{Lang: "en"}); err == nil {
		t.Error("a page that there is not was made")
	}
}

func TestLanguageIsChosenFromTheReaders(t *testing.T) {
	f := testFront(t)
	for _, tt := range []struct{ accept, want string }{
		{"", "en"}, {"en-GB,en;q=0.9", "en"}, {"xx", "en"}, {";;;", "en"},
	} {
		if got := f.pages.lang(tt.accept).tag.String(); got != tt.want {
			t.Errorf("lang(%q) = %s, want %s", tt.accept, got, tt.want)
		}
	}
}

// Markup that modules make is held to the same rules as that of templates.
func TestModulesKeepToTheRules(t *testing.T) {
	names, err := fs.Glob(embedded, "static/js/*.js")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		data, err := embedded.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		text := string(data)
		file := strings.TrimPrefix(name, "static/js/")
		if !strings.HasPrefix(text, "// "+file+" owns ") {
			t.Errorf("%s doesn't begin by saying what it owns", file)
		}
		for _, banned := range []string{`style="`, " onclick=", "eval(", "new Function", "document.write", "http://", "https://"} {
			if strings.Contains(text, banned) {
				t.Errorf("%s holds %q", file, banned)
			}
		}
	}
}

// said are the ways in which a module or a template asks for a text by a key
// that is written out.
var said = regexp.MustCompile(`\bt\(\s*"([^"]+)"|\bt\([^"()?]*\? "([^"]+)" : "([^"]+)"|\{\{-? ?t "([^"]+)"`)

func TestEveryTextThatIsAskedForIsThere(t *testing.T) {
	f := testFront(t)
	asked := 0
	err := fs.WalkDir(embedded, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.HasSuffix(name, ".js") && !strings.HasSuffix(name, ".html") {
			return err
		}
		data, err := embedded.ReadFile(name)
		if err != nil {
			return err
		}
		for _, m := range said.FindAllStringSubmatch(string(data), -1) {
			for _, key := range m[1:] {
				if key == "" {
					continue
				}
				asked++
				if !f.pages.langs[0].has(key) {
					t.Errorf("%s asks for %q, which no text has", name, key)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if asked < 200 {
		t.Errorf("only %d keys were found: has the way of asking changed?", asked)
	}
}

// A list says every reason in a few words of its own, not in those of the code,
// and leaves no hole where the sentence about one shoe has a fill.
func TestEveryReasonHasShortWords(t *testing.T) {
	for _, w := range testFront(t).pages.langs {
		for _, r := range assess.DefaultRules().Rules {
			text := w.reason(r.Code)
			if !w.has("reason."+r.Code) && !w.has("finding."+r.Code) || text == "" || strings.ContainsAny(text, "{}") || strings.HasPrefix(text, ":") {
				t.Errorf("%s: %s is said %q", w.tag, r.Code, text)
			}
		}
	}
}

// What is put together at run time from words of the data has a text too.
func TestEveryWordOfTheDataHasItsTexts(t *testing.T) {
	f := testFront(t)
	for _, w := range f.pages.langs {
		var keys []string
		for _, r := range assess.DefaultRules().Rules {
			keys = append(keys, "finding."+r.Code)
		}
		for c, col := range assess.Columns {
			if col.Check && col.Kind != assess.Grade {
				keys = append(keys, "check."+col.Name)
			}
			if col.Needed && col.Kind != assess.Grade {
				keys = append(keys, "how."+col.Name, "short."+col.Name)
			}
			if col.Kind == assess.Grade && c < assess.NumZones {
				part, edge, _ := strings.Cut(col.Name, "_")
				keys = append(keys, "part."+part, "edge."+edge)
			}
		}
		for g := range assess.Columns[assess.HeelMedial].Words {
			keys = append(keys, fmt.Sprint("grade.", g))
		}
		for _, v := range []assess.Verdict{assess.Keep, assess.RecheckPair, assess.ReplacePair, assess.RetirePair, assess.Incomplete} {
			keys = append(keys, "verdict."+v.String())
		}
		for g := assess.GradeA; g <= assess.GradeX; g++ {
			keys = append(keys, "grade."+g.String())
		}
		for _, word := range assess.Columns[assess.Hygiene].Words {
			keys = append(keys, "hygiene."+word)
		}
		for m := 1; m <= 12; m++ {
			keys = append(keys, fmt.Sprint("month.", m))
		}
		keys = append(keys, figure.Keys...)
		for _, part := range wear.Parts {
			keys = append(keys, "fleet.part."+part)
		}
		for _, g := range wear.GaitGroups {
			keys = append(keys, "fleet.gait."+g.Name)
		}
		for _, k := range wear.Kinds {
			keys = append(keys, fmt.Sprintf("signal.%s.head", k), fmt.Sprintf("signal.%s.text", k), fmt.Sprintf("signal.%s.check.1", k))
		}
		for _, o := range orders {
			keys = append(keys, "fleet.sort."+o.word)
		}
		for _, key := range keys {
			if !w.has(key) {
				t.Errorf("%s: no text for %q", w.tag, key)
			}
		}
	}
}
