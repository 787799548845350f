package dashboard

import (
	"encoding/xml"
	"net/http"
	"slices"
	"strings"
	"testing"

	"solewright/assess"
)

// helps are the checks that the bench explains: every check of the engine, the
// ten zones as one, and the depth that is asked for at the picked zone.
func helps() []string {
	all := []string{"zones", "depth"}
	for _, c := range assess.Columns {
		if c.Check && c.Kind != assess.Grade {
			all = append(all, c.Name)
		}
	}
	return all
}

// drawings reads how.svg: the symbols by id, the keys of their texts and the
// words of the data that stand in them.
func drawings(t *testing.T) (symbols, keys, scale []string) {
	t.Helper()
	data, err := embedded.ReadFile("static/img/how.svg")
	if err != nil {
		t.Fatal(err)
	}
	d := xml.NewDecoder(strings.NewReader(string(data)))
	var used, ids []string
	for {
		token, err := d.Token()
		if token == nil {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		for _, a := range e.Attr {
			switch {
			case a.Name.Local == "style":
				t.Errorf("%s carries an inline style, which no page may", e.Name.Local)
			case a.Name.Local == "data-t":
				keys = append(keys, a.Value)
			case a.Name.Local == "data-word":
				scale = append(scale, a.Value)
			case a.Name.Local == "href":
				used = append(used, strings.TrimPrefix(a.Value, "#"))
			case a.Name.Local == "id" && e.Name.Local == "symbol":
				symbols = append(symbols, a.Value)
				ids = append(ids, a.Value)
			case a.Name.Local == "id":
				ids = append(ids, a.Value)
			}
		}
	}
	for _, id := range used {
		if !slices.Contains(ids, id) {
			t.Errorf("a drawing uses #%s, which isn't there", id)
		}
	}
	return symbols, keys, scale
}

func TestEveryCheckHasADrawingAndBothSentences(t *testing.T) {
	symbols, keys, scale := drawings(t)
	checks := helps()
	if len(checks) < 20 {
		t.Fatalf("the engine has %d checks to explain", len(checks))
	}
	for _, check := range checks {
		if !slices.Contains(symbols, "how-"+check) {
			t.Errorf("%s has no drawing", check)
		}
	}
	for _, symbol := range symbols {
		if !slices.Contains(checks, strings.TrimPrefix(symbol, "how-")) {
			t.Errorf("%s draws no check", symbol)
		}
	}
	for _, lang := range []string{"en", "es"} {
		text := shippedWords(t, lang)
		for _, check := range checks {
			counts, not := text["how."+check+".counts"], text["how."+check+".not"]
			if counts == "" || not == "" || counts == not {
				t.Errorf("%s: %s says what counts %q, and what doesn't %q", lang, check, counts, not)
			}
		}
		for _, key := range keys {
			if text[key] == "" {
				t.Errorf("%s: no text %s for a drawing", lang, key)
			}
		}
		// A broken shell cuts and blood is no business of bare hands: those cautions
		// stand where the hand goes.
		for _, check := range []string{"lining", "squeeze", "hygiene"} {
			if text["how."+check+".care"] == "" {
				t.Errorf("%s: %s gives no caution", lang, check)
			}
		}
	}
	for _, word := range scale {
		if !slices.ContainsFunc(assess.Columns[:], func(c assess.Column) bool { return slices.Contains(c.Words, word) }) {
			t.Errorf("a drawing says %q, which no check does", word)
		}
	}
}

// firstLoad is how much the bench may fetch before it works without the line:
// common practice for a page on a slow line, no source. The engine comes after.
const firstLoad = 200_000

// A tablet's first visit fetches the page, and the worker then every file and page
// that it keeps: all of that together stays within firstLoad, packed.
func TestFirstLoadIsSmall(t *testing.T) {
	r := newRig(t)
	token := r.fitter()
	sum := 0
	fetch := func(path string) {
		t.Helper()
		got := r.call(http.MethodGet, path, token, nil)
		want(t, got, http.StatusOK)
		body := got.Body.Bytes()
		if got.Header().Get("Content-Encoding") == "" {
			if packed := pack(body); packed != nil {
				body = packed
			}
		}
		sum += len(body)
	}
	for _, path := range []string{"/bench", "/worker.js", "/bench/fitting", "/bench/00000000-0000-7000-8000-000000000000", "/bench/context.json"} {
		fetch(path)
	}
	files := testFront(t).assets
	for _, name := range files.onTablets() {
		if name == "assess.wasm" {
			continue
		}
		body := files.files[name].data
		if packed := files.files[name].gzipped(); packed != nil {
			body = packed
		}
		sum += len(body)
	}
	t.Logf("%d bytes, packed", sum)
	if sum > firstLoad {
		t.Errorf("a first load fetches %d bytes packed, want at most %d", sum, firstLoad)
	}
}
