package dashboard

import (
	"slices"
	"strings"

	"solewright/assess"
)

// ruleTest says in plain words when a rule holds, as people read it in a list
// of rules: the test, then what must hold besides.
func ruleTest(w words, r *assess.Rule) string {
	list := func(all []string) string {
		said := make([]string, len(all))
		for i, word := range all {
			said[i] = w.word(word)
		}
		return strings.Join(said, w.say("rule.or"))
	}
	check := assess.Label(ruleCheck(r), w.tag.String())
	fills := []any{
		"check", check, "words", list(r.Words), "n", r.AtLeast.String(), "over", r.Over.String(),
		"part", w.say("rule.part." + r.Part), "toward", w.say("rule.toward." + r.Toward), "unit", w.say("rule.unit." + r.Check),
	}
	said := []string{w.say("rule."+string(r.If), fills...)}
	besides := func(holds bool, key string, fills ...any) {
		if holds {
			said = append(said, w.say("rule.and."+key, fills...))
		}
	}
	besides(r.Press != "", "press", "press", w.word(r.Press))
	besides(r.Second != "", "second", "second", w.word(r.Second))
	besides(r.TiltAtLeast != 0, "tilt-at-least", "n", r.TiltAtLeast.String())
	besides(r.TiltUnder != 0, "tilt-under", "n", r.TiltUnder.String())
	besides(r.Untilted, "untilted")
	besides(len(r.By) > 0, "by", "by", list(r.By))
	besides(r.NearEnd != 0, "near-end", "n", r.NearEnd.String())
	besides(r.Photos != 0, "photos", "n", r.Photos)
	besides(r.Again != "", "again")
	besides(r.Category != "", "category", "category", w.word(r.Category))
	besides(r.RigidCounter, "rigid")
	besides(r.Apart != 0, "apart", "n", r.Apart.String())
	return strings.Join(said, "; ")
}

// ruleCheck returns the check that a rule is about, NoCol where it names none.
func ruleCheck(r *assess.Rule) assess.Col {
	switch {
	case r.If == assess.IfStand:
		return assess.Stand
	case r.If == assess.IfTilt:
		return assess.Tilt
	case r.Check == "km":
		return assess.ColKM
	case r.Check == "bought_on":
		return assess.ColBoughtOn
	}
	if i := slices.IndexFunc(assess.Columns[:], func(c assess.Column) bool { return c.Name == r.Check }); i >= 0 {
		return assess.Col(i)
	}
	return assess.NoCol
}

// ruleLeads says in words what a rule leads to.
func ruleLeads(w words, r *assess.Rule) string {
	key := "methods.severity." + r.Severity.String()
	if r.Severity == assess.Recheck {
		key += "-" + r.How.String()
	}
	return w.say(key)
}
