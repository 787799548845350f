package assess

import (
	"slices"
	"strings"
	"testing"
)

// sound returns a reading of a pair with every check by word read and nothing
// to find.
func sound() Reading {
	var r Reading
	for c := range NumShoe {
		if Columns[c].Check && Columns[c].Kind != Measure {
			r.Shoe[Left][c], r.Shoe[Right][c] = Of(0), Of(0)
		}
	}
	r.SetPair(FlexSide, Of(0))
	r.SetPair(TorsionSide, Of(0))
	r.SetPair(Hygiene, Of(Clean))
	return r
}

func judge(r *Reading, m *AsNew) *Result {
	var out Result
	Default().Judge(r, m, &out)
	return &out
}

func TestVerdictIsComposed(t *testing.T) {
	unread := func(r *Reading) { r.Shoe[Right][Stand] = Unread }
	for _, tc := range []struct {
		name    string
		change  func(*Reading)
		verdict Verdict
		how     How
		source  string
	}{
		{"nothing found is keep", func(*Reading) {}, Keep, NoHow, practice},
		{"a note is keep", func(r *Reading) { r.Shoe[Left][Mesh] = Of(1) }, Keep, NoHow, practice},
		{"an unread check makes keep incomplete", unread, Incomplete, NoHow, practice},
		{"a recheck is recheck", func(r *Reading) { r.Shoe[Left][Bond] = Of(Lifting) }, RecheckPair, Later, practice},
		{
			"now goes before later",
			func(r *Reading) { r.Shoe[Left][Bond], r.Shoe[Right][Stand] = Of(Lifting), Of(Doubtful) },
			RecheckPair, Now, practice,
		},
		{
			"an unread check makes recheck incomplete",
			func(r *Reading) { unread(r); r.Shoe[Left][Bond] = Of(Lifting) },
			Incomplete, NoHow, practice,
		},
		{
			"unread never hides replace",
			func(r *Reading) { unread(r); r.Shoe[Left][Bond] = Of(Parted) },
			ReplacePair, NoHow, practice,
		},
		{
			"unread never hides retire",
			func(r *Reading) { unread(r); r.Shoe[Left][Lining] = Of(ShellBroken) },
			RetirePair, NoHow, practice,
		},
		{"nothing read is incomplete", func(r *Reading) { *r = Reading{} }, Incomplete, NoHow, practice},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := sound()
			tc.change(&r)
			if got := judge(&r, &AsNew{}); got.Verdict != tc.verdict || got.How != tc.how {
				t.Errorf("got %v %v, want %v %v", got.Verdict, got.How, tc.verdict, tc.how)
			}
		})
	}
}

func TestUnreadIsMostDecisiveFirst(t *testing.T) {
	var r Reading
	out := judge(&r, &AsNew{Built: ColSet(0).With(HeelCentre)})
	var got []Col
	for i, m := range out.Unread {
		if i == 0 || m.Check != out.Unread[i-1].Check {
			got = append(got, m.Check)
		} else if out.Unread[i-1].Shoe != Left || m.Shoe != Right {
			t.Errorf("%v: %v after %v", m.Check, m.Shoe, out.Unread[i-1].Shoe)
		}
	}
	// What can retire, then what can replace in the order in which a runner
	// hears it (house order, no source). What was built so is not missing.
	want := []Col{
		Lining, Bond, Stand, HeelMedial, HeelLateral, ForeMedial, ForeCentre, ForeLateral, ToeMedial, ToeLateral,
		PressFore, FlexSide, TorsionSide,
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if last := out.Unread[len(out.Unread)-1]; last != (Missing{TorsionSide, Both}) || len(out.Unread) != 2*11+2 {
		t.Errorf("%d unread, the last %v", len(out.Unread), last)
	}
}

func TestHazardsAreHeardFirst(t *testing.T) {
	r := sound()
	l, x := &r.Shoe[Left], &r.Shoe[Right]
	l[HeelLateral], l[Mesh], l[Stand] = Of(4), Of(1), Of(Doubtful)
	x[Bond], x[Lining], x[ForeMedial], x[Squeeze] = Of(Parted), Of(ShellBroken), Of(2), Of(Soft)
	x[HeelLateral], l[ForeMedial] = Of(2), Of(1)
	r.KM = Of(900)
	want := []string{
		"lining-shell-broken right retire",
		"bond-parted right replace",
		"heel-through left heel_lateral replace",
		"stand-doubtful left recheck now",
		"squeeze-soft right recheck later",
		"mesh-hole left note",
		"distance-beyond-advice pair note",
	}
	if got := findings(&r, &AsNew{}); !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s\n(hazards, structure, notes: common practice, no source [P])", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
