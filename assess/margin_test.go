package assess

import (
	"testing"

	"pgregory.net/rapid"
)

// clearlyWorn is a reading far from any other verdict: both shoes fail in three
// ways each, so every pair of changes is tried.
func clearlyWorn() Reading {
	r := sound()
	for f := Left; f <= Right; f++ {
		s := &r.Shoe[f]
		s[HeelLateral], s[ForeCentre], s[Bond], s[PressFore] = Of(4), Of(4), Of(Parted), Of(Gives)
		s[Tilt], s[TiltU], s[TiltBy] = Of(300), Of(110), Of(ByPhoto)
		s[Flex], s[Torsion], s[FlexDeg], s[TorsionDeg], s[AskerMidsole] = Of(1), Of(1), Of(3000), Of(3000), Of(500)
	}
	return r
}

func BenchmarkMargin(b *testing.B) {
	for _, bc := range []struct {
		name string
		r    Reading
	}{{"kept", sound()}, {"clearly worn", clearlyWorn()}} {
		b.Run(bc.name, func(b *testing.B) {
			m := &AsNew{Flex: Of(1), Torsion: Of(1), Asker: Of(500)}
			var n int
			for b.Loop() {
				n = Default().Margin(&bc.r, m)
			}
			b.ReportMetric(float64(n), "margin")
		})
	}
}

func TestMargin(t *testing.T) {
	for _, tc := range []struct {
		name   string
		change func(*Reading)
		want   int
		why    string
	}{
		{"a sound pair is clear", func(*Reading) {}, 2, "bond attached to lifting counts two"},
		{"one smooth forefoot zone", func(r *Reading) { r.Shoe[Left][ForeMedial] = Of(2) }, 1, "to thin: recheck"},
		{"one scuffed forefoot zone", func(r *Reading) { r.Shoe[Left][ForeMedial] = Of(1) }, 2, "to smooth, to thin"},
		{"one smooth toe zone", func(r *Reading) { r.Shoe[Left][ToeMedial] = Of(2) }, 2, "thin there is a note, through replaces"},
		{"one thin toe zone", func(r *Reading) { r.Shoe[Left][ToeMedial] = Of(3) }, 1, "to through"},
		{"a forefoot softer under the thumb", func(r *Reading) { r.Shoe[Left][PressFore] = Of(Softer) }, 1, "to gives"},
		{"right slightly easier", func(r *Reading) { r.SetPair(FlexSide, Of(1)) }, 1, "to clearly easier"},
		{"doubtful", func(r *Reading) { r.Shoe[Left][Stand] = Of(Doubtful) }, 2, "to square counts two, to either lean is still read again now"},
		{"a worn lining", func(r *Reading) { r.Shoe[Left][Lining] = Of(LiningWorn) }, 1, "to padding showing"},
		{"a lifting bond", func(r *Reading) { r.Shoe[Left][Bond] = Of(Lifting) }, 1, "to parted"},
		{"1.20° by photo", func(r *Reading) { r.Shoe[Left][Tilt], r.Shoe[Left][TiltBy] = Of(120), Of(ByPhoto) }, 1, "1° more is 2.20°"},
		{"0.90° by photo", func(r *Reading) { r.Shoe[Left][Tilt], r.Shoe[Left][TiltBy] = Of(90), Of(ByPhoto) }, 2, "2° more is 2.90°"},
		{"one zone through", func(r *Reading) { r.Shoe[Left][HeelLateral] = Of(4) }, 1, "to thin: recheck"},
		{"one zone through in each shoe", func(r *Reading) { r.Shoe[Left][HeelLateral], r.Shoe[Right][HeelLateral] = Of(4), Of(4) }, 2, "both to thin"},
		{"worn in many ways", func(r *Reading) { *r = clearlyWorn() }, MarginMax, "more findings than two changes undo"},
		{"nothing read", func(r *Reading) { *r = Reading{} }, MarginMax, "what is unread stays so"},
		{"can't read stays so", func(r *Reading) { *r = Reading{}; r.Shoe[Left][Bond] = CantWet }, MarginMax, "can't read stays so"},
		{"a shell broken in one shoe", func(r *Reading) { r.Shoe[Left][Lining] = Of(ShellBroken) }, 1, "to shell showing"},
		{"a lean that a second reader saw", func(r *Reading) { r.Shoe[Left][Stand] = Of(LeansIn); r.SetPair(SecondSays, Of(Agrees)) }, 1, "had the second reader differed"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := sound()
			tc.change(&r)
			if got := Default().Margin(&r, &AsNew{}); got != tc.want {
				t.Errorf("got %d, want %d: %s (definition; widths of steps are house values)", got, tc.want, tc.why)
			}
		})
	}
}

// marginByTrying is the margin by judging every change in full.
func marginByTrying(e *Engine, r *Reading, m *AsNew) int {
	var out Result
	verdict := func(r *Reading) Verdict {
		e.Judge(r, m, &out)
		return out.Verdict
	}
	steps := func(r *Reading) (all []move) {
		for c := range NumCols {
			switch c {
			case TiltU, TiltBy, TiltN, TiltYaw, PressHeelAt, PressForeAt: // how it was read
				continue
			}
			if c >= NumShoe {
				all = appendMoves(all, r, Both, c)
				continue
			}
			all = appendMoves(appendMoves(all, r, Left, c), r, Right, c)
		}
		return all
	}
	base, margin := verdict(r), MarginMax
	for _, v := range steps(r) {
		one := *r
		one.Set(v.foot, v.col, v.to)
		if verdict(&one) != base {
			margin = min(margin, v.cost)
		}
		if v.cost > 1 {
			continue
		}
		for _, w := range steps(&one) {
			two := one
			two.Set(w.foot, w.col, w.to)
			if w.cost == 1 && verdict(&two) != base {
				margin = min(margin, 2)
			}
		}
	}
	return margin
}

func TestMarginIsTheOneFoundByTryingEverything(t *testing.T) {
	found := map[int]int{}
	// The draft lets what compares the shoes' wear decide, too.
	engines := []*Engine{Default(), draft(t, func(r *Rule) {
		if r.If == IfUneven {
			r.Severity, r.How = Recheck, Later
		}
	})}
	near := sound() // a third of a grade apart: two changes from being uneven
	near.Shoe[Left][HeelMedial], near.Shoe[Left][HeelCentre], near.Shoe[Right][HeelMedial] = Of(1), Of(1), Of(1)
	if got, want := engines[1].Margin(&near, nil), marginByTrying(engines[1], &near, nil); got != want || want != 2 {
		t.Errorf("a third of a grade apart: got %d, by trying %d, want 2", got, want)
	}
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		e := rapid.SampledFrom(engines).Draw(t, "engine")
		got, want := e.Margin(&r, m), marginByTrying(e, &r, m)
		found[got]++
		if got != want {
			t.Fatalf("got %d, want %d", got, want)
		}
	})
	if len(found) < 2 {
		t.Errorf("only margins %v were tried", found)
	}
}

func TestMarginLeavesTheReadingAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		before := r
		if Default().Margin(&r, m); r != before {
			t.Fatal("the reading was changed")
		}
	})
}
