package dashboard

import (
	"io/fs"
	"os"
	"path"
	"regexp"
	"strings"
	"testing"

	"solewright/models/retail"
)

// madeUp are the beginnings of keys that are put together where they are used,
// by what completes them. Each must stand so in a source.
var madeUp = map[string][]string{
	"a word of a reading's columns, grades and scales": {
		"cant.", "check.", "col.", "edge.", "grade.", "how.", "part.", "scale.", "shoe.", "hygiene.", "photo.view.", "odd.", "missing.",
	},
	"a verdict, a finding, or what follows from them": {
		"care.", "finding.", "given.", "next-", "next.by-life-", "reason.", "route.", "short.", "verdict.", "verdict.no-", "pain.caution.",
	},
	"a state or a step of the bench": {
		"again.", "again.key.", "amend.", "finished.", "list.", "second.", "second.says.", "sign.", "tilt.", "tilt.by.", "tilt.point.", "tilt.refused.",
	},
	"a feature, a foot or a pair of a fitting": {
		"felt.", "fit.", "fit.feature.", "fit.item.", "fit.life.", "fit.side.", "fit.strength.", "fit.tried.", "outcome.",
	},
	"a dimension, a part or a kind of the fleet's questions": {
		"fleet.all.", "fleet.compare.", "fleet.credit.by.", "fleet.filter.", "fleet.gait.", "fleet.part.", "fleet.sort.", "fleet.store.", "fleet.store.readers.", "signal.", "signal.outcome.",
	},
	"a field, a kind or a unit of the office": {
		"office.credit.", "office.done.", "office.field.", "office.front.", "office.hint.", "office.kind.", "office.rules.",
		"rule.", "rule.and.", "rule.part.", "rule.toward.", "rule.unit.",
	},
	"a statistic of the methods":                        {"methods.", "methods.severity."},
	"a role, a mark or what a provider of sign-in says": {"mark.", "role.", "signin.provider."},
	"the number of a month":                             {"month."},
}

// wordSources are the files that words are used in, by name.
func wordSources(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, dir := range []string{".", "../reports/figure"} {
		must(t, fs.WalkDir(os.DirFS(dir), ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				if err == nil && (d.Name() == "e2e" || d.Name() == "words" || d.Name() == "testdata") {
					return fs.SkipDir
				}
				return err
			}
			switch path.Ext(name) {
			case ".go", ".js", ".html", ".svg":
				if strings.HasSuffix(name, "_test.go") || strings.HasSuffix(name, "wasm_exec.js") {
					return nil
				}
				text, err := fs.ReadFile(os.DirFS(dir), name)
				all[path.Join(dir, name)] = string(text)
				return err
			}
			return nil
		}))
	}
	return all
}

var (
	quoted = regexp.MustCompile("[\"'`]([a-z0-9][a-zA-Z0-9._-]*)[\"'`]")
	// property is a key that a module reads of the words themselves.
	property = regexp.MustCompile(`\btext\.([a-z]+)\b`)
	// begun is a key whose end is put to it.
	begun = regexp.MustCompile("[\"`]([a-z][a-zA-Z0-9._-]*[.-])(?:\" ?\\+|\\$\\{|%|\" (?:\\$|\\.))")
	// asked is a key that is asked for as it stands.
	asked = regexp.MustCompile(`(?:\{\{-? ?t |\(t |\bw\.say\(|\bwords\(c\)\.say\(|[^.\w]t\(|data-t=)"([a-z][a-zA-Z0-9._-]*)"(?: ?[^+ ]|$| [^+])`)
)

func TestEveryWordIsUsedAndEveryUseHasAWord(t *testing.T) {
	said := shippedWords(t, "en")
	use, starts := map[string]bool{}, map[string]bool{}
	counted := regexp.MustCompile(`\.(one|other)$`)
	known := func(key string) bool {
		_, plain := said[key]
		_, plural := said[key+".other"]
		return plain || plural
	}
	for name, text := range wordSources(t) {
		for _, m := range quoted.FindAllStringSubmatch(text, -1) {
			use[m[1]] = true
		}
		for _, m := range property.FindAllStringSubmatch(text, -1) {
			use[m[1]] = true
		}
		for _, m := range begun.FindAllStringSubmatch(text, -1) {
			starts[m[1]] = true
		}
		for _, m := range asked.FindAllStringSubmatch(text, -1) {
			if !known(m[1]) {
				t.Errorf("%s asks for %s, which has no text", name, m[1])
			}
		}
	}
	var prefixes []string
	for why, all := range madeUp {
		for _, p := range all {
			if !starts[p] && !use[strings.TrimSuffix(p, ".")] { // felt and outcome are put before the dot
				t.Errorf("no source puts %s together (%s)", p, why)
			}
			prefixes = append(prefixes, p)
		}
	}
	for key := range said {
		if use[key] || use[counted.ReplaceAllString(key, "")] {
			continue
		}
		found := false
		for _, p := range prefixes {
			found = found || strings.HasPrefix(key, p)
		}
		if !found {
			t.Errorf("nobody says %s", key)
		}
	}
	for _, role := range retail.Roles {
		if !known("role." + string(role)) {
			t.Errorf("no word for the role %s", role)
		}
	}
	for _, mark := range retail.Marks {
		if !known("mark." + mark) {
			t.Errorf("no word for the mark %s", mark)
		}
	}
}

// A drawing's text comes from the words, so that it is in the reader's language:
// what stands in it as it is are digits and signs.
func TestDrawingsHoldNoTextOfALanguage(t *testing.T) {
	said := shippedWords(t, "en")
	text, n := regexp.MustCompile(`(?s)<(text|tspan|title|desc)\b([^>]*?)(?:/>|>(.*?)</(?:text|tspan|title|desc)>)`), 0
	letters := regexp.MustCompile(`\p{L}{2,}`)
	key := regexp.MustCompile(`data-t="([^"]+)"`)
	for name, drawing := range wordSources(t) {
		if path.Ext(name) != ".svg" {
			continue
		}
		for _, m := range text.FindAllStringSubmatch(drawing, -1) {
			n++
			if plain := regexp.MustCompile(`<[^>]*>`).ReplaceAllString(m[3], " "); letters.MatchString(plain) {
				t.Errorf("%s says %q in every language", name, m[3])
			}
			if k := key.FindStringSubmatch(m[2]); k != nil && said[k[1]] == "" {
				t.Errorf("%s asks for %s, which has no text", name, k[1])
			}
		}
	}
	if n < 20 {
		t.Errorf("%d texts were found: these are not the drawings", n)
	}
}
