package dashboard

import (
	"encoding/json"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"golang.org/x/text/language"

	"solewright/assess"
	"solewright/models/retail"
)

func TestSayFillsAndCounts(t *testing.T) {
	en := words{tag: language.English, text: map[string]string{
		"plain": "Hand over", "fill": "{shoe} {what}", "left.one": "{n} zone", "left.other": "{n} zones", "n": "{n} mm",
	}}
	pl := words{tag: language.Polish, text: map[string]string{
		"left.one": "{n} strefa", "left.few": "{n} strefy", "left.many": "{n} stref", "left.other": "{n} strefy",
	}}
	const cldr = "CLDR plural rules, cardinal"
	for _, tt := range []struct {
		name  string
		w     words
		key   string
		fills []any
		want  string
		// source of the plural category
		source string
	}{
		{"a text stands as it is", en, "plain", nil, "Hand over", ""},
		{"fills go in by name", en, "fill", []any{"what", "lining", "shoe", "left"}, "left lining", ""},
		{"one in English", en, "left", []any{"n", 1}, "1 zone", cldr},
		{"none in English is many", en, "left", []any{"n", 0}, "0 zones", cldr},
		{"one in Polish", pl, "left", []any{"n", 1}, "1 strefa", cldr},
		{"few in Polish", pl, "left", []any{"n", 22}, "22 strefy", cldr},
		{"many in Polish", pl, "left", []any{"n", 12}, "12 stref", cldr},
		{"a number that is no count chooses no form", en, "n", []any{"n", 2.5}, "2.5 mm", ""},
		{"a key without text comes back", en, "nothing.here", nil, "nothing.here", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.w.say(tt.key, tt.fills...); got != tt.want {
				t.Errorf("say(%q, %v) = %q, want %q", tt.key, tt.fills, got, tt.want)
			}
		})
	}
}

func TestAnotherLanguageIsAFile(t *testing.T) {
	langs, err := readWords(fstest.MapFS{
		"words/de.json": {Data: []byte(`{"more": "Mehr"}`)},
		"words/en.json": {Data: []byte(`{"more": "More", "back": "back"}`)},
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(langs) != 2 || langs[0].tag != language.English {
		t.Fatalf("languages %v, want English first", langs)
	}
	if got := langs[1].say("more") + " " + langs[1].say("back"); got != "Mehr back" {
		t.Errorf("German says %q, want its own word and the fallback's", got)
	}
}

// shippedWords reads the words of a language as its file has them, without the
// fallback's.
func shippedWords(t *testing.T, lang string) map[string]string {
	t.Helper()
	data, err := embedded.ReadFile("static/words/" + lang + ".json")
	if err != nil {
		t.Fatal(err)
	}
	var text map[string]string
	if err := json.Unmarshal(data, &text); err != nil {
		t.Fatal(err)
	}
	return text
}

// Words of the data are English and need no text of their own on an English
// page, so that another language has more of them.
func TestSpanishSaysAllThatEnglishSays(t *testing.T) {
	en, es := shippedWords(t, "en"), shippedWords(t, "es")
	fill := regexp.MustCompile(`\{\w+\}`)
	fills := func(text string) []string {
		all := fill.FindAllString(text, -1)
		slices.Sort(all)
		return all
	}
	for key, text := range en {
		switch {
		case es[key] == "":
			t.Errorf("%s: nothing in Spanish for %q", key, text)
		case !slices.Equal(fills(text), fills(es[key])):
			t.Errorf("%s: English fills in %v, Spanish %v", key, fills(text), fills(es[key]))
		}
	}
	for key := range es {
		if _, ok := en[key]; !ok && !strings.HasPrefix(key, "scale.") {
			t.Errorf("%s: Spanish only", key)
		}
	}
	said := words{tag: language.Spanish, text: es}
	for _, c := range assess.Columns {
		for _, w := range c.Words {
			if w != "" && !said.has("scale."+strings.ReplaceAll(w, " ", "-")) {
				t.Errorf("%s: no Spanish word for %q", c.Name, w)
			}
		}
	}
	var routes []string
	for r := assess.BackToRunner; r <= assess.SealedDisposal; r++ {
		routes = append(routes, r.String())
	}
	for _, list := range [][]string{
		routes, assess.GaitWords, assess.StrikeWords, assess.Surfaces, assess.UsedForWords, assess.GaitByWords,
		assess.KMSourceWords, assess.KindWords[1:], retail.Categories,
	} {
		for _, w := range list {
			if !said.has("scale." + strings.ReplaceAll(w, " ", "-")) {
				t.Errorf("no Spanish word for %q", w)
			}
		}
	}
}

func TestModulesGetTheWordsOfThePages(t *testing.T) {
	f := testFront(t)
	for _, w := range f.pages.langs {
		var served map[string]string
		if err := json.Unmarshal(f.assets.files["words/"+w.tag.String()+".json"].data, &served); err != nil {
			t.Fatal(err)
		}
		if !maps.Equal(served, w.text) {
			t.Errorf("%s: modules are served %d texts, pages have %d", w.tag, len(served), len(w.text))
		}
	}
}

func TestBadWordsAreRefusedAtStart(t *testing.T) {
	for name, files := range map[string]fstest.MapFS{
		"no fallback":      {"words/de.json": {Data: []byte(`{}`)}},
		"no such language": {"words/en.json": {Data: []byte(`{}`)}, "words/12.json": {Data: []byte(`{}`)}},
		"no JSON":          {"words/en.json": {Data: []byte(`{"more": `)}},
	} {
		if _, err := readWords(files); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestWordsOfTheScreenDifferWhereTheyMust(t *testing.T) {
	w := testFront(t).pages.langs[0]
	if got := w.word("torsion") + " " + w.word("springs back"); got != "twist springs back" {
		t.Errorf("words are %q, want twist for torsion and the data's word else", got)
	}
	for key, text := range w.text {
		if strings.TrimSpace(text) == "" {
			t.Errorf("%s is empty", key)
		}
	}
}
