package dashboard

import (
	"slices"
	"strings"
	"testing"

	"solewright/assess"
)

func TestEveryRuleIsSaidInWords(t *testing.T) {
	for _, w := range testFront(t).pages.langs {
		said := map[string]string{}
		for _, r := range methodsView(w, assess.DefaultRules(), assess.CurrentPostureBands()).Rules {
			text := r.Test + " / " + r.Leads
			if strings.ContainsAny(text, "{}") || strings.Contains(text, "rule.") || strings.Contains(text, "methods.") {
				t.Errorf("%s, rule %s is said %q: a text or a fill is missing", w.tag, r.Code, text)
			}
			if other, ok := said[r.Test]; ok && !cascades(r.Code, other) {
				t.Errorf("%s: rules %s and %s are both said %q", w.tag, r.Code, other, r.Test)
			}
			said[r.Test] = r.Code
		}
	}
}

// Source of the bands: the Foot Posture Index's manual of 2005, as restated by
// clinical pages; the item scores are those of Redmond, Crosbie & Ouvrier 2006.
func TestThePostureBandsAreTold(t *testing.T) {
	want := []postureBand{
		{"highly supinated", "−12", "−5"}, {"supinated", "−4", "−1"}, {"neutral", "0", "+5"}, {"pronated", "+6", "+9"}, {"highly pronated", "+10", "+12"},
	}
	view := methodsView(testFront(t).pages.langs[0], assess.DefaultRules(), assess.CurrentPostureBands())
	if !slices.Equal(view.Posture, want) {
		t.Errorf("the bands are told as %v, want %v", view.Posture, want)
	}
	r := newRig(t)
	r.shows(r.sees("/methods"), "highly supinated", "−12 to −5", view.PostureSource)
}

// cascades reports whether two rules are alternatives, of which the second is
// what remains when the first doesn't hold.
func cascades(code, other string) bool {
	word := func(code string) string {
		for _, r := range assess.DefaultRules().Rules {
			if r.Code == code {
				return r.Cascade
			}
		}
		return ""
	}
	return word(code) != "" && word(code) == word(other)
}

func TestEveryStatisticHasItsTextsAndItsSource(t *testing.T) {
	for _, w := range testFront(t).pages.langs {
		for _, m := range statistics {
			for _, part := range []string{".asks", ".how", ".guard"} {
				if !w.has("methods." + m.Name + part) {
					t.Errorf("%s has no text methods.%s%s", w.tag, m.Name, part)
				}
			}
			if m.Source == "" {
				t.Errorf("%s names no source", m.Name)
			}
		}
	}
}
