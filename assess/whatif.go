package assess

import (
	"cmp"
	"slices"
)

// Way says which way a verdict changes.
type Way uint8

// The ways. Harsher and milder go by keep, incomplete, recheck later, recheck
// now, replace, retire.
const (
	Unchanged Way = iota
	Harsher
	Milder
)

// String returns unchanged, harsher or milder.
func (w Way) String() string { return [...]string{"unchanged", "harsher", "milder"}[w] }

// Change is what a draft does to one reading.
type Change struct {
	From, To       Verdict
	FromHow, ToHow How
	Way            Way
	// Code is the rule that makes the difference: the draft's worst finding
	// where the verdict gets harsher, the old worst finding, which the draft no
	// longer makes so grave, where it gets milder.
	Code string
}

// RuleEffect counts the verdicts that one rule changes.
type RuleEffect struct {
	Code            string
	Harsher, Milder int
}

// WhatIf counts what a draft rule set would change in stored readings. Its zero
// value is ready to count.
type WhatIf struct {
	Judged, Harsher, Milder int
	// Moves counts readings by old and new verdict.
	Moves [Incomplete + 1][Incomplete + 1]int

	rules map[string]RuleEffect
}

// Count adds one reading, judged by the rules it was judged by and by the
// draft, and returns what changes.
func (w *WhatIf) Count(before, after *Result) Change {
	c := changeOf(before, after)
	w.Judged++
	w.Moves[c.From][c.To]++
	if c.Way == Unchanged {
		return c
	}
	if w.rules == nil {
		w.rules = map[string]RuleEffect{}
	}
	r := w.rules[c.Code]
	r.Code = c.Code
	if c.Way == Harsher {
		w.Harsher++
		r.Harsher++
	} else {
		w.Milder++
		r.Milder++
	}
	w.rules[c.Code] = r
	return c
}

// Rules returns the effect by rule, the most changes first.
func (w *WhatIf) Rules() []RuleEffect {
	effects := make([]RuleEffect, 0, len(w.rules))
	for _, r := range w.rules {
		effects = append(effects, r)
	}
	slices.SortFunc(effects, func(a, b RuleEffect) int {
		return cmp.Or(cmp.Compare(b.Harsher+b.Milder, a.Harsher+a.Milder), cmp.Compare(a.Code, b.Code))
	})
	return effects
}

func changeOf(before, after *Result) Change {
	c := Change{From: before.Verdict, To: after.Verdict, FromHow: before.How, ToHow: after.How}
	switch d := cmp.Compare(harshness(after), harshness(before)); {
	case d > 0:
		c.Way, c.Code = Harsher, after.worstCode()
	case d < 0:
		c.Way, c.Code = Milder, before.worstCode()
	}
	return c
}

// harshness ranks what a runner is told.
func harshness(r *Result) int {
	switch r.Verdict {
	case Incomplete:
		return 1
	case RecheckPair:
		return 1 + int(r.How)
	case ReplacePair:
		return 4
	case RetirePair:
		return 5
	default:
		return 0
	}
}

func (r *Result) worstCode() string {
	if len(r.Findings) == 0 {
		return ""
	}
	return r.Findings[0].Code
}
