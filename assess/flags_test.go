package assess

import (
	"testing"
)

func TestContradictionsAreFlagged(t *testing.T) {
	deep := AsNew{Depth: [NumParts]Value{Of(40), Of(40), Of(40), Of(40)}}
	zone := func(grade, depth int) func(*Reading) {
		return func(r *Reading) { r.Shoe[Right][ForeCentre], r.Shoe[Right][ForeCentreMM] = Of(grade), Of(depth) }
	}
	tilted := func(deg, by, stand int) func(*Reading) {
		return func(r *Reading) {
			r.Shoe[Left][Tilt], r.Shoe[Left][TiltBy], r.Shoe[Left][Stand] = Of(deg), Of(by), Of(stand)
		}
	}
	for _, tc := range []struct {
		name   string
		change func(*Reading)
		model  AsNew
		want   Flags
		source string
	}{
		{"through with depth above 0", zone(4, 1), AsNew{}, FlagThroughWithDepth, "house value [D]"},
		{"through with no depth left", zone(4, 0), deep, 0, "a depth that is gone is 2 or worse [D]"},
		{"through with some depth of a known new one", zone(4, 20), deep, FlagThroughWithDepth | FlagGradeAgainstDepth, "q = 0.5 is 1, three apart"},
		{"fresh with under a quarter", zone(0, 9), deep, FlagFreshWithoutDepth, "q = 0.225 is 1, one apart"},
		{"fresh with a quarter", zone(0, 10), deep, 0, "q = 0.25"},
		{"fresh with a tenth", zone(0, 4), deep, FlagFreshWithoutDepth | FlagGradeAgainstDepth, "q = 0.1 is 2, two apart"},
		{"fresh with a depth of unknown new one", zone(0, 1), AsNew{}, 0, "nothing to compare with"},
		{"thin with half", zone(3, 20), deep, FlagGradeAgainstDepth, "q = 0.5 is 1, two apart"},
		{"smooth with half", zone(2, 20), deep, 0, "q = 0.5 is 1, one apart"},
		{"smooth with all", zone(2, 40), deep, FlagGradeAgainstDepth, "q = 1 is 0, two apart"},
		{"scuffed with none", zone(1, 0), deep, 0, "q = 0 is 2, one apart"},
		{"thin with none", zone(3, 0), deep, 0, "a depth that is gone is 2 or worse [D]"},
		{"as built", zone(4, 30), AsNew{Built: ColSet(0).With(ForeCentre)}, 0, "not graded"},
		{"square with 4.00° by photo", tilted(400, ByPhoto, Square), AsNew{}, FlagSquareWithTilt, "house value [D]"},
		{"square with −4.00° by photo", tilted(-400, ByPhoto, Square), AsNew{}, FlagSquareWithTilt, "house value [D]"},
		{"square with 3.99° by photo", tilted(399, ByPhoto, Square), AsNew{}, 0, "house value [D]"},
		{"square with 4.00° by level", tilted(400, ByLevel, Square), AsNew{}, 0, "house value [D]"},
		{"doubtful with 4.00° by photo", tilted(400, ByPhoto, Doubtful), AsNew{}, 0, "house value [D]"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := sound()
			tc.change(&r)
			if got := judge(&r, &tc.model).Flags; got != tc.want {
				t.Errorf("got %b, want %b (%s)", got, tc.want, tc.source)
			}
			var listed Flags
			for _, c := range Contradict(&r, &tc.model) {
				listed |= c.Flag
				if r.Get(c.Shoe, c.Check) == Unread || r.Get(c.Shoe, c.Against) == Unread {
					t.Errorf("%+v names a value that isn't there", c)
				}
			}
			if listed != tc.want {
				t.Errorf("listed %b, want %b", listed, tc.want)
			}
		})
	}
}

func TestPossibleFaultIsFlagged(t *testing.T) {
	const source = "house value [P]; the runner is not blamed"
	through := func(r *Reading) { r.Shoe[Left][HeelLateral] = Of(4) }
	parted := func(r *Reading) { r.Shoe[Left][Bond] = Of(Parted) }
	run := func(km, surface int, change func(*Reading)) func(*Reading) {
		return func(r *Reading) { change(r); r.KM, r.Surface = Of(km), Of(surface) }
	}
	const road, trail, track, mixed = 0, 1, 2, 3
	known := &AsNew{}
	for _, tc := range []struct {
		name   string
		change func(*Reading)
		model  *AsNew
		want   bool
	}{
		{"bond parted at 249 km", run(249, trail, parted), known, true},
		{"bond parted at 250 km", run(250, road, parted), known, false},
		{"bond parted, km unknown, 55 days old", func(r *Reading) { parted(r); r.AgeDays = Of(55) }, known, true},
		{"bond parted, km unknown, 56 days old", func(r *Reading) { parted(r); r.AgeDays = Of(56) }, known, false},
		{"bond parted at 900 km in a week", func(r *Reading) { parted(r); r.KM, r.AgeDays = Of(900), Of(7) }, known, false},
		{"bond parted, nothing known", parted, known, false},
		{"bond parted on a model that isn't known", run(100, road, parted), nil, true},
		{"bond lifting is no failure", run(10, road, func(r *Reading) { r.Shoe[Left][Bond] = Of(Lifting) }), known, false},
		{"shell broken", run(10, road, func(r *Reading) { r.Shoe[Left][Lining] = Of(ShellBroken) }), known, true},
		{"shell showing", run(10, road, func(r *Reading) { r.Shoe[Left][Lining] = Of(ShellShowing) }), known, true},
		{"counter folds", run(10, road, func(r *Reading) { r.Shoe[Left][Squeeze] = Of(Folds) }), known, true},
		{"counter leans, agreed", run(10, road, func(r *Reading) { r.Shoe[Left][Stand] = Of(LeansIn); r.SetPair(SecondSays, Of(Agrees)) }), known, true},
		{"foam dead is no fault of structure", run(10, road, func(r *Reading) { r.Shoe[Left][PressFore] = Of(Dead) }), known, false},
		{"through at 249 km of road", run(249, road, through), known, true},
		{"through at 249 km of track", run(249, track, through), known, true},
		{"through at 250 km of road", run(250, road, through), known, false},
		{"through at 249 km of trail in a road shoe", run(249, trail, through), known, false},
		{"through at 249 km of mixed ground", run(249, mixed, through), known, false},
		{"through at 249 km of trail in a trail shoe", run(249, trail, through), &AsNew{Trail: true}, true},
		{"through at 249 km of road in a trail shoe", run(249, road, through), &AsNew{Trail: true}, false},
		{"through, km unknown, a week old", func(r *Reading) { through(r); r.AgeDays, r.Surface = Of(7), Of(road) }, known, false},
		{"through on ground nobody asked about", func(r *Reading) { through(r); r.KM = Of(100) }, known, false},
		{"through on a model that isn't known", run(100, road, through), nil, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := sound()
			tc.change(&r)
			if got := judge(&r, tc.model).Flags&FlagPossibleFault != 0; got != tc.want {
				t.Errorf("got %v, want %v (%s)", got, tc.want, source)
			}
		})
	}
}

func TestUnknownModelIsFlagged(t *testing.T) {
	r := sound()
	if got := judge(&r, nil); got.Flags != FlagNoModel || got.Verdict != Keep {
		t.Errorf("got %v with flags %b", got.Verdict, got.Flags)
	}
	if got := judge(&r, &AsNew{}); got.Flags != 0 {
		t.Errorf("flags %b on a known model", got.Flags)
	}
}
