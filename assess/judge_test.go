package assess

import "testing"

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
