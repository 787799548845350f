package assess

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// draft returns the default rules with some changed.
func draft(t interface{ Fatal(...any) }, change func(*Rule)) *Engine {
	s := DefaultRules()
	s.Number = 2
	for i := range s.Rules {
		change(&s.Rules[i])
	}
	e, err := Compile(s)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestWhatIf(t *testing.T) {
	// The draft replaces at lifting bonds and only notes a soft cup.
	e := draft(t, func(r *Rule) {
		switch r.Code {
		case "bond-lifting":
			r.Severity, r.How = Replace, NoHow
		case "squeeze-soft":
			r.Severity, r.How = Note, NoHow
		case "stand-doubtful":
			r.How = Later
		}
	})
	lifting, soft, doubtful, kept, both := sound(), sound(), sound(), sound(), sound()
	lifting.Shoe[Left][Bond] = Of(Lifting)
	soft.Shoe[Left][Squeeze] = Of(Soft)
	doubtful.Shoe[Left][Stand] = Of(Doubtful)
	both.Shoe[Left][Bond], both.Shoe[Right][Squeeze] = Of(Lifting), Of(Soft)

	var w WhatIf
	var before, after Result
	for _, tc := range []struct {
		name string
		r    Reading
		want Change
	}{
		{"harsher", lifting, Change{RecheckPair, ReplacePair, Later, NoHow, Harsher, "bond-lifting"}},
		{"milder", soft, Change{RecheckPair, Keep, Later, NoHow, Milder, "squeeze-soft"}},
		{"later in place of now", doubtful, Change{RecheckPair, RecheckPair, Now, Later, Milder, "stand-doubtful"}},
		{"the same", kept, Change{Keep, Keep, NoHow, NoHow, Unchanged, ""}},
		{"the harsher of two", both, Change{RecheckPair, ReplacePair, Later, NoHow, Harsher, "bond-lifting"}},
	} {
		Default().Judge(&tc.r, &AsNew{}, &before)
		e.Judge(&tc.r, &AsNew{}, &after)
		if got := w.Count(&before, &after); got != tc.want {
			t.Errorf("%s: got %+v, want %+v", tc.name, got, tc.want)
		}
	}
	if w.Judged != 5 || w.Harsher != 2 || w.Milder != 2 || w.Moves[RecheckPair][ReplacePair] != 2 || w.Moves[Keep][Keep] != 1 {
		t.Errorf("counted %+v", w)
	}
	want := []RuleEffect{{"bond-lifting", 2, 0}, {"squeeze-soft", 0, 1}, {"stand-doubtful", 0, 1}}
	if got := w.Rules(); !slices.Equal(got, want) {
		t.Errorf("by rule %+v, want %+v", got, want)
	}
}

func TestWhatIfOfTheSameRulesChangesNothing(t *testing.T) {
	e := draft(t, func(*Rule) {})
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		var w WhatIf
		var after Result
		e.Judge(&r, m, &after)
		if c := w.Count(judge(&r, m), &after); c.Way != Unchanged || len(w.Rules()) != 0 || w.Judged != 1 {
			t.Fatalf("%+v", c)
		}
	})
}
