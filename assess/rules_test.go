package assess

import (
	"slices"
	"strings"
	"testing"
)

// told writes a finding as the rows below want it: code, shoe, zone or part,
// severity, how.
func told(f *Finding) string {
	words := []string{f.Code, f.Shoe.String(), f.Where(), f.Severity.String(), f.How.String()}
	return strings.Join(slices.DeleteFunc(words, func(w string) bool { return w == "" }), " ")
}

// change sets one value of a reading.
type change struct {
	f Foot
	c Col
	v int
}

// tiltOf are the changes that make a tilt of a left shoe in hundredths of a
// degree; u below 0 leaves the uncertainty out.
func tiltOf(deg, u, by, n int) []change {
	set := []change{{Left, Tilt, deg}, {Left, TiltBy, by}, {Left, TiltN, n}}
	if u >= 0 {
		set = append(set, change{Left, TiltU, u})
	}
	return set
}

// part are the changes that grade a whole part of a shoe.
func part(f Foot, p Part, grades ...int) (set []change) {
	first, _ := p.Zones()
	for i, g := range grades {
		set = append(set, change{f, first + Col(i), g})
	}
	return set
}

func TestRules(t *testing.T) {
	const (
		practice = "common practice, no source [P]"
		proposal = "house value [D]"
		barton   = "bands of Barton, Bonanno & Menz 2009 [C]; steps are house values [D]"
		robinson = "index of Robinson, Herzog & Nigg 1987 [M]; cut-offs are house values [D]"
		grip     = "Beschorner et al. 2020, work shoes [C]; the rule is a house value [D]"
	)
	agrees, differs := change{Both, SecondSays, Agrees}, change{Both, SecondSays, Differs}
	tested := map[string]bool{} // codes that a row expects
	one := func(c change, more ...change) []change { return append([]change{c}, more...) }
	for _, tc := range []struct {
		name   string
		set    []change
		model  AsNew
		on     ColSet // checks of the second reader
		want   []string
		source string
	}{
		{name: "a sound pair has no finding", source: practice},

		// Outsole zones.
		{name: "any zone through replaces: heel", set: one(change{Left, HeelMedial, 4}, change{Right, HeelMedial, 2}), want: []string{"heel-through left heel_medial replace"}, source: practice},
		{name: "any zone through replaces: midfoot", set: one(change{Right, MidLateral, 4}), want: []string{"mid-through right mid_lateral replace"}, source: practice},
		{name: "any zone through replaces: forefoot", set: one(change{Left, ForeCentre, 4}, change{Right, ForeCentre, 2}), want: []string{"fore-through left fore_centre replace"}, source: practice},
		{name: "any zone through replaces: toe", set: one(change{Right, ToeMedial, 4}), want: []string{"toe-through right toe_medial replace"}, source: practice},
		{name: "a zone built without rubber can't be through", set: one(change{Left, HeelMedial, 4}), model: AsNew{Built: ColSet(0).With(HeelMedial)}, source: practice},
		{
			name: "heel thin and giving replaces", set: one(change{Left, HeelLateral, 3}, change{Right, HeelLateral, 1}, change{Left, PressHeel, Gives}, change{Left, PressHeelAt, 2}),
			want: []string{"heel-thin-gives left heel_lateral replace", "press-heel-gives left heel replace"}, source: practice,
		},
		{
			name: "forefoot thin and giving replaces", set: one(change{Right, ForeMedial, 3}, change{Left, ForeMedial, 1}, change{Right, PressFore, Gives}, change{Right, PressForeAt, 0}),
			want: []string{"fore-thin-gives right fore_medial replace", "press-fore-gives right fore replace"}, source: practice,
		},
		{
			name: "a press without a place is of the whole part", set: one(change{Right, ForeMedial, 3}, change{Left, ForeMedial, 1}, change{Right, PressFore, Gives}),
			want: []string{"fore-thin-gives right fore_medial replace", "press-fore-gives right fore replace"}, source: practice,
		},
		{
			name: "a press elsewhere doesn't speak of this zone", set: one(change{Right, ForeMedial, 3}, change{Left, ForeMedial, 1}, change{Right, PressFore, Gives}, change{Right, PressForeAt, 2}),
			want: []string{"press-fore-gives right fore replace", "fore-thin right fore_medial recheck later"}, source: practice,
		},
		{name: "heel thin otherwise is read again later", set: one(change{Left, HeelCentre, 3}, change{Right, HeelCentre, 1}), want: []string{"heel-thin left heel_centre recheck later"}, source: practice},
		{name: "forefoot thin otherwise is read again later", set: one(change{Left, ForeLateral, 3}, change{Right, ForeLateral, 1}, change{Left, PressFore, Softer}), want: []string{"fore-thin left fore_lateral recheck later", "press-fore-softer left fore note"}, source: practice},
		{name: "toe thin is noted", set: one(change{Left, ToeLateral, 3}), want: []string{"toe-thin left toe_lateral note"}, source: practice},
		{name: "midfoot thin is noted", set: one(change{Left, MidMedial, 3}), want: []string{"mid-thin left mid_medial note"}, source: practice},
		{name: "a smooth zone is no finding", set: one(change{Left, HeelLateral, 2}, change{Left, ForeMedial, 2}), source: practice},

		// Wet grip.
		{
			name: "a heel smooth all over is noted", set: append(part(Left, Heel, 2, 2, 2), part(Right, Heel, 2, 2, 2)...),
			want: []string{"heel-smooth left heel note", "heel-smooth right heel note"}, source: grip,
		},
		{
			name: "a forefoot smooth all over is noted", set: append(part(Left, Forefoot, 2, 2, 2), part(Right, Forefoot, 2, 2, 2)...),
			want: []string{"fore-smooth left fore note", "fore-smooth right fore note"}, source: grip,
		},
		{
			name: "on a trail model it is read again", set: append(part(Left, Heel, 2, 2, 2), part(Right, Heel, 2, 2, 1)...), model: AsNew{Trail: true},
			want: []string{"heel-smooth-trail left heel recheck later"}, source: grip,
		},
		{
			name: "on a trail model the forefoot is read again", set: append(part(Left, Forefoot, 2, 2, 1), part(Right, Forefoot, 2, 2, 2)...), model: AsNew{Trail: true},
			want: []string{"fore-smooth-trail right fore recheck later"}, source: grip,
		},
		{
			name: "a zone built without rubber doesn't keep the rest from being smooth all over",
			set:  append(part(Left, Heel, 2, 0, 2), part(Right, Heel, 2, 0, 2)...), model: AsNew{Built: ColSet(0).With(HeelCentre)},
			want: []string{"heel-smooth left heel note", "heel-smooth right heel note"}, source: grip,
		},

		// Press.
		{name: "heel giving replaces", set: one(change{Left, PressHeel, Gives}), want: []string{"press-heel-gives left heel replace"}, source: practice},
		{name: "heel dead replaces", set: one(change{Left, PressHeel, Dead}), want: []string{"press-heel-dead left heel replace"}, source: practice},
		{name: "heel softer is noted", set: one(change{Left, PressHeel, Softer}), want: []string{"press-heel-softer left heel note"}, source: practice},
		{name: "forefoot giving replaces", set: one(change{Right, PressFore, Gives}), want: []string{"press-fore-gives right fore replace"}, source: practice},
		{name: "forefoot dead replaces", set: one(change{Right, PressFore, Dead}), want: []string{"press-fore-dead right fore replace"}, source: practice},
		{name: "forefoot softer is noted", set: one(change{Right, PressFore, Softer}), want: []string{"press-fore-softer right fore note"}, source: practice},

		// Stand.
		{name: "leaning in, a second reader agrees", set: one(change{Left, Stand, LeansIn}, agrees), want: []string{"stand-in-agreed left replace"}, source: practice},
		{name: "leaning out, a second reader agrees", set: one(change{Left, Stand, LeansOut}, agrees), want: []string{"stand-out-agreed left replace"}, source: practice},
		{
			name: "a second reader of other checks doesn't count", set: one(change{Left, Stand, LeansOut}, agrees), on: ColSet(0).With(Lining).With(Bond),
			want: []string{"stand-out-alone left recheck now"}, source: practice,
		},
		{
			name: "a second reader of this check counts", set: one(change{Left, Stand, LeansOut}, agrees), on: ColSet(0).With(Stand),
			want: []string{"stand-out-agreed left replace"}, source: practice,
		},
		{
			name: "leaning in, measured 2.00° that way", set: append(tiltOf(200, 110, ByPhoto, 1), change{Left, Stand, LeansIn}),
			want: []string{"stand-in-measured left replace", "tilt-in-open left recheck now"}, source: "2° from Haight et al. 2005 [C]",
		},
		{
			name: "leaning out, measured 2.00° that way by level", set: append(tiltOf(-200, 60, ByLevel, 1), change{Left, Stand, LeansOut}),
			want: []string{"stand-out-measured left replace", "tilt-out-open left recheck now"}, source: "2° from Haight et al. 2005 [C]",
		},
		{
			name: "leaning in, measured 1.99° that way, is one reader alone", set: append(tiltOf(199, 110, ByPhoto, 1), change{Left, Stand, LeansIn}),
			want: []string{"stand-in-alone left recheck now"}, source: "2° from Haight et al. 2005 [C]",
		},
		{
			name: "leaning in, measured the other way", set: append(tiltOf(-200, 110, ByPhoto, 1), change{Left, Stand, LeansIn}),
			want: []string{"stand-in-alone left recheck now", "tilt-out-open left recheck now"}, source: practice,
		},
		{
			name: "leaning in, measured by eye, proves nothing", set: append(tiltOf(500, 200, ByEye, 1), change{Left, Stand, LeansIn}),
			want: []string{"stand-in-alone left recheck now", "tilt-in-by-eye left recheck now"}, source: proposal,
		},
		{
			name: "a lean is measured less the as-new tilt", set: append(tiltOf(300, 110, ByPhoto, 1), change{Left, Stand, LeansIn}), model: AsNew{Tilt: Of(150)},
			want: []string{"stand-in-alone left recheck now"}, source: proposal,
		},
		{name: "leaning in, alone", set: one(change{Left, Stand, LeansIn}), want: []string{"stand-in-alone left recheck now"}, source: practice},
		{name: "leaning out, alone", set: one(change{Right, Stand, LeansOut}), want: []string{"stand-out-alone right recheck now"}, source: practice},
		{name: "leaning in, a second reader differs, nothing measured", set: one(change{Left, Stand, LeansIn}, differs), want: []string{"stand-in-alone left recheck now"}, source: practice},
		{
			name: "leaning in, a second reader differs, under 2° measured", set: append(tiltOf(199, 110, ByPhoto, 1), change{Left, Stand, LeansIn}, differs),
			want: []string{"stand-in-differs left note"}, source: "2° from Haight et al. 2005 [C]",
		},
		{
			name: "leaning out, a second reader differs, under 2° measured", set: append(tiltOf(-199, 110, ByPhoto, 1), change{Left, Stand, LeansOut}, differs),
			want: []string{"stand-out-differs left note"}, source: "2° from Haight et al. 2005 [C]",
		},
		{
			name: "leaning in, a second reader differs, 2° measured", set: append(tiltOf(200, 110, ByPhoto, 1), change{Left, Stand, LeansIn}, differs),
			want: []string{"stand-in-measured left replace", "tilt-in-open left recheck now"}, source: "2° from Haight et al. 2005 [C]",
		},
		{
			name: "leaning in, a second reader differs, 2° measured the other way", set: append(tiltOf(-200, 110, ByPhoto, 1), change{Left, Stand, LeansIn}, differs),
			want: []string{"stand-in-alone left recheck now", "tilt-out-open left recheck now"}, source: "2° from Haight et al. 2005 [C]",
		},
		{name: "doubtful, nothing measured", set: one(change{Left, Stand, Doubtful}), want: []string{"stand-doubtful left recheck now"}, source: practice},
		{name: "doubtful, settled by a photo", set: append(tiltOf(190, 110, ByPhoto, 1), change{Left, Stand, Doubtful}), source: practice},
		{
			name: "doubtful, a tilt by eye settles nothing", set: append(tiltOf(100, 200, ByEye, 1), change{Left, Stand, Doubtful}),
			want: []string{"stand-doubtful left recheck now"}, source: proposal,
		},

		// Tilt. The near end is tilt − 1.96 u.
		{name: "1.99° is within the error", set: tiltOf(199, 110, ByPhoto, 1), source: "2° from Haight et al. 2005 [C]"},
		{name: "2.00° is read again now", set: tiltOf(200, 110, ByPhoto, 1), want: []string{"tilt-in-open left recheck now"}, source: "2° from Haight et al. 2005 [C]"},
		{name: "−2.00° is read again now", set: tiltOf(-200, 110, ByPhoto, 1), want: []string{"tilt-out-open left recheck now"}, source: "2° from Haight et al. 2005 [C]"},
		{name: "two photos don't settle it", set: tiltOf(300, 110, ByPhoto, 2), want: []string{"tilt-in-open left recheck now"}, source: proposal},
		{name: "the mean of three photos settles it", set: tiltOf(200, 110, ByPhoto, 3), want: []string{"tilt-in-stays left recheck later"}, source: proposal},
		{name: "the mean of three photos settles it outward", set: tiltOf(-399, 110, ByPhoto, 4), want: []string{"tilt-out-stays left recheck later"}, source: proposal},
		{name: "the mean of three photos under 2° is no finding", set: tiltOf(199, 60, ByPhoto, 3), source: proposal},
		{name: "three readings of a level are no photos", set: tiltOf(300, 60, ByLevel, 3), want: []string{"tilt-in-open left recheck now"}, source: proposal},
		{name: "a second reader settles it", set: append(tiltOf(300, 110, ByPhoto, 1), agrees), want: []string{"tilt-in-agreed left recheck later"}, source: proposal},
		{name: "a second reader settles it outward", set: append(tiltOf(-300, 110, ByLevel, 1), agrees), want: []string{"tilt-out-agreed left recheck later"}, source: proposal},
		{name: "a second reader who differs doesn't", set: append(tiltOf(300, 110, ByPhoto, 1), differs), want: []string{"tilt-in-open left recheck now"}, source: proposal},
		{name: "4.00° with its near end at 1.51° replaces", set: append(tiltOf(400, 127, ByPhoto, 1), change{Left, Stand, Doubtful}), want: []string{"tilt-in-far left replace"}, source: "400 − 1.96 × 127 = 151.08 > 150; normal quantile 1.96"},
		{name: "4.00° with its near end at 1.49° is open", set: append(tiltOf(400, 128, ByPhoto, 1), change{Left, Stand, Doubtful}), want: []string{"tilt-in-open left recheck now"}, source: "400 − 1.96 × 128 = 149.12; normal quantile 1.96"},
		{name: "a near end of exactly 1.50° is not beyond it", set: append(tiltOf(444, 150, ByPhoto, 1), change{Left, Stand, Doubtful}), want: []string{"tilt-in-open left recheck now"}, source: "444 − 1.96 × 150 = 150.00"},
		{name: "3.99° with no uncertainty to speak of is open", set: append(tiltOf(399, 0, ByLevel, 1), change{Left, Stand, Doubtful}), want: []string{"tilt-in-open left recheck now"}, source: proposal},
		{name: "−4.00° by level replaces", set: tiltOf(-400, 60, ByLevel, 1), want: []string{"tilt-out-far left replace"}, source: proposal},
		{name: "4.00° without an uncertainty is open", set: append(tiltOf(400, -1, ByPhoto, 1), change{Left, Stand, Doubtful}), want: []string{"tilt-in-open left recheck now"}, source: "absent is never zero"},
		{name: "8° with 4° as new is 4°", set: append(tiltOf(800, 100, ByPhoto, 1), change{Left, Stand, Doubtful}), model: AsNew{Tilt: Of(400)}, want: []string{"tilt-in-far left replace"}, source: proposal},
		{name: "4° with 4° as new is upright", set: append(tiltOf(400, 100, ByPhoto, 1), change{Left, Stand, Doubtful}), model: AsNew{Tilt: Of(400)}, source: proposal},
		{name: "1° with −4° as new tilts in", set: tiltOf(100, 50, ByPhoto, 1), model: AsNew{Tilt: Of(-400)}, want: []string{"tilt-in-far left replace"}, source: proposal},
		{name: "by eye 2.00° is read again", set: tiltOf(200, 200, ByEye, 1), want: []string{"tilt-in-by-eye left recheck now"}, source: proposal},
		{name: "by eye 20° is read again, never more", set: tiltOf(-2000, 10, ByEye, 9), want: []string{"tilt-out-by-eye left recheck now"}, source: proposal},
		{name: "a tilt without a method counts as by eye", set: one(change{Left, Tilt, 900}, change{Left, TiltU, 10}), want: []string{"tilt-in-by-eye left recheck now"}, source: proposal},

		// Lining, squeeze, bond, mesh, creases, rubber.
		{name: "lining worn is noted", set: one(change{Left, Lining, LiningWorn}), want: []string{"lining-worn left note"}, source: practice},
		{name: "padding showing is read again later", set: one(change{Left, Lining, PaddingShowing}), want: []string{"lining-padding-showing left recheck later"}, source: practice},
		{name: "shell showing replaces", set: one(change{Left, Lining, ShellShowing}), want: []string{"lining-shell-showing left replace"}, source: practice},
		{name: "a broken shell retires", set: one(change{Left, Lining, ShellBroken}), want: []string{"lining-shell-broken left retire"}, source: practice},
		{name: "a soft cup is read again later", set: one(change{Right, Squeeze, Soft}), want: []string{"squeeze-soft right recheck later"}, source: practice},
		{name: "a folding cup replaces", set: one(change{Right, Squeeze, Folds}), want: []string{"squeeze-folds right replace"}, source: practice},
		{name: "a model without a rigid cup may be soft", set: one(change{Right, Squeeze, Soft}), model: AsNew{NoRigidCounter: true}, source: practice},
		{name: "a model without a rigid cup may fold", set: one(change{Right, Squeeze, Folds}), model: AsNew{NoRigidCounter: true}, source: practice},
		{name: "a lifting bond is read again later", set: one(change{Left, Bond, Lifting}), want: []string{"bond-lifting left recheck later"}, source: practice},
		{name: "a parted bond replaces", set: one(change{Left, Bond, Parted}), want: []string{"bond-parted left replace"}, source: practice},
		{name: "a hole at the toe is noted", set: one(change{Left, Mesh, 1}), want: []string{"mesh-hole left note"}, source: practice},
		{name: "a hole at the bunion is noted", set: one(change{Left, Mesh, 2}), want: []string{"mesh-hole left note"}, source: practice},
		{name: "a hole elsewhere is noted", set: one(change{Left, Mesh, 3}), want: []string{"mesh-hole left note"}, source: practice},
		{name: "creases deeper inside are noted", set: one(change{Left, Creases, DeeperInside}), want: []string{"creases-inside left note"}, source: practice},
		{name: "creases deeper outside are noted", set: one(change{Left, Creases, DeeperOutside}), want: []string{"creases-outside left note"}, source: practice},
		{name: "peeling rubber is read again later", set: one(change{Left, Rubber, Peeling}), want: []string{"rubber-peeling left recheck later"}, source: practice},
		{name: "an insert is no finding", set: one(change{Left, Insert, 2}), source: practice},

		// Left against right by hand.
		{name: "left bends clearly easier, agreed", set: one(change{Both, FlexSide, -2}, change{Both, FlexAgain, Yes}), want: []string{"flex-left-easier pair replace"}, source: practice},
		{name: "right bends clearly easier, agreed", set: one(change{Both, FlexSide, 2}, change{Both, FlexAgain, Yes}), want: []string{"flex-right-easier pair replace"}, source: practice},
		{name: "left bends clearly easier, not tried again", set: one(change{Both, FlexSide, -2}), want: []string{"flex-left-unconfirmed pair recheck now"}, source: practice},
		{name: "right bends clearly easier, second try differs", set: one(change{Both, FlexSide, 2}, change{Both, FlexAgain, No}), want: []string{"flex-right-unconfirmed pair recheck now"}, source: practice},
		{name: "left bends slightly easier", set: one(change{Both, FlexSide, -1}, change{Both, FlexAgain, Yes}), want: []string{"flex-left-slightly pair note"}, source: practice},
		{name: "right bends slightly easier", set: one(change{Both, FlexSide, 1}), want: []string{"flex-right-slightly pair note"}, source: practice},
		{name: "left twists clearly easier, agreed", set: one(change{Both, TorsionSide, -2}, change{Both, TorsionAgain, Yes}), want: []string{"torsion-left-easier pair replace"}, source: practice},
		{name: "right twists clearly easier, agreed", set: one(change{Both, TorsionSide, 2}, change{Both, TorsionAgain, Yes}), want: []string{"torsion-right-easier pair replace"}, source: practice},
		{name: "left twists clearly easier, not tried again", set: one(change{Both, TorsionSide, -2}, change{Both, FlexAgain, Yes}), want: []string{"torsion-left-unconfirmed pair recheck now"}, source: practice},
		{name: "right twists clearly easier, second try differs", set: one(change{Both, TorsionSide, 2}, change{Both, TorsionAgain, No}), want: []string{"torsion-right-unconfirmed pair recheck now"}, source: practice},
		{name: "left twists slightly easier", set: one(change{Both, TorsionSide, -1}), want: []string{"torsion-left-slightly pair note"}, source: practice},
		{name: "right twists slightly easier", set: one(change{Both, TorsionSide, 1}), want: []string{"torsion-right-slightly pair note"}, source: practice},

		// Degrees: index = 100 (R − L) / (0.5 (R + L)).
		{name: "35° against 45° is 25.00 %", set: one(change{Left, FlexDeg, 3500}, change{Right, FlexDeg, 4500}), want: []string{"flex-deg-right-easier pair replace"}, source: robinson},
		{name: "35.01° against 45° is under 25 %", set: one(change{Left, FlexDeg, 3501}, change{Right, FlexDeg, 4500}), want: []string{"flex-deg-right-slightly pair note"}, source: robinson},
		{name: "45° against 35° is −25.00 %", set: one(change{Left, FlexDeg, 4500}, change{Right, FlexDeg, 3500}), want: []string{"flex-deg-left-easier pair replace"}, source: robinson},
		{name: "25 % but under 5° apart is noted", set: one(change{Left, FlexDeg, 1000}, change{Right, FlexDeg, 1499}), want: []string{"flex-deg-right-slightly pair note"}, source: robinson},
		{name: "25 % and 5.00° apart replaces", set: one(change{Left, TorsionDeg, 1000}, change{Right, TorsionDeg, 1500}), want: []string{"torsion-deg-right-easier pair replace"}, source: robinson},
		{name: "19° against 21° is 10.00 %", set: one(change{Left, TorsionDeg, 1900}, change{Right, TorsionDeg, 2100}), want: []string{"torsion-deg-right-slightly pair note"}, source: robinson},
		{name: "19.01° against 21° is under 10 %", set: one(change{Left, TorsionDeg, 1901}, change{Right, TorsionDeg, 2100}), source: robinson},
		{name: "left twists in degrees", set: one(change{Left, TorsionDeg, 5000}, change{Right, TorsionDeg, 3000}), want: []string{"torsion-deg-left-easier pair replace"}, source: robinson},
		{name: "left twists slightly in degrees", set: one(change{Left, TorsionDeg, 2100}, change{Right, TorsionDeg, 1900}), want: []string{"torsion-deg-left-slightly pair note"}, source: robinson},
		{name: "left bends slightly in degrees", set: one(change{Left, FlexDeg, 2100}, change{Right, FlexDeg, 1900}), want: []string{"flex-deg-left-slightly pair note"}, source: robinson},
		{name: "nothing against nothing has no index", set: one(change{Left, FlexDeg, 0}, change{Right, FlexDeg, 0}), source: robinson},
		{name: "one shoe alone has no index", set: one(change{Left, FlexDeg, 9000}), source: robinson},

		// Own bands.
		{name: "two bands above as-new replaces", set: one(change{Left, Flex, Floppy}, change{Right, Flex, Stiff}), model: AsNew{Flex: Of(Stiff)}, want: []string{"flex-two-bands-softer left replace"}, source: barton},
		{name: "one band above as-new is noted", set: one(change{Left, Flex, Moderate}), model: AsNew{Flex: Of(Stiff)}, want: []string{"flex-band-softer left note"}, source: barton},
		{name: "a twist two bands above as-new replaces", set: one(change{Right, Torsion, Floppy}), model: AsNew{Torsion: Of(Stiff)}, want: []string{"torsion-two-bands-softer right replace"}, source: barton},
		{name: "a twist one band above as-new is noted", set: one(change{Right, Torsion, Floppy}), model: AsNew{Torsion: Of(Moderate)}, want: []string{"torsion-band-softer right note"}, source: barton},
		{name: "a band is compared with nothing where as-new is unknown", set: one(change{Left, Flex, Floppy}, change{Right, Flex, Floppy}), source: barton},
		{
			name: "both floppy where as-new was not", set: one(change{Left, Flex, Floppy}, change{Right, Flex, Floppy}), model: AsNew{Flex: Of(Moderate)},
			want: []string{"flex-both-floppy pair recheck later", "flex-band-softer left note", "flex-band-softer right note"}, source: barton,
		},
		{
			name: "both twist floppy where as-new was not", set: one(change{Left, Torsion, Floppy}, change{Right, Torsion, Floppy}), model: AsNew{Torsion: Of(Moderate)},
			want: []string{"torsion-both-floppy pair recheck later", "torsion-band-softer left note", "torsion-band-softer right note"}, source: barton,
		},
		{name: "both floppy as they were new", set: one(change{Left, Flex, Floppy}, change{Right, Flex, Floppy}), model: AsNew{Flex: Of(Floppy)}, source: barton},

		// One side more: means 1 or more apart.
		{name: "heel means 1 apart, left", set: part(Left, Heel, 1, 1, 1), want: []string{"heel-left-more pair heel note"}, source: practice},
		{name: "heel means 1 apart, right", set: part(Right, Heel, 2, 1, 0), want: []string{"heel-right-more pair heel note"}, source: practice},
		{name: "forefoot means 1 apart, left", set: part(Left, Forefoot, 0, 1, 2), want: []string{"fore-left-more pair fore note"}, source: practice},
		{name: "forefoot means 1 apart, right", set: part(Right, Forefoot, 1, 1, 1), want: []string{"fore-right-more pair fore note"}, source: practice},
		{name: "heel means 2/3 apart are even", set: part(Left, Heel, 1, 1, 0), source: practice},

		// Durometer.
		{name: "midsole 20 % harder is within", set: one(change{Left, AskerMidsole, 600}), model: AsNew{Asker: Of(500)}, source: proposal},
		{name: "midsole over 20 % harder", set: one(change{Left, AskerMidsole, 601}), model: AsNew{Asker: Of(500)}, want: []string{"asker-midsole-off left recheck later"}, source: proposal},
		{name: "midsole over 20 % softer", set: one(change{Right, AskerMidsole, 399}), model: AsNew{Asker: Of(500)}, want: []string{"asker-midsole-off right recheck later"}, source: proposal},
		{name: "midsole compared with nothing", set: one(change{Right, AskerMidsole, 1}), source: proposal},
		{name: "the outsole's hardness is only kept", set: one(change{Right, ShoreOutsole, 100}), model: AsNew{Shore: Of(600)}, source: proposal},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := sound()
			r.SecondOn = tc.on
			for _, c := range tc.set {
				r.Set(c.f, c.c, Of(c.v))
			}
			if got := findings(&r, &tc.model); !slices.Equal(got, tc.want) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(tc.want, "\n"))
			}
			for _, w := range tc.want {
				tested[strings.Fields(w)[0]] = true
			}
		})
	}
	t.Run("can't read and advice have rows of their own", func(t *testing.T) {
		r := sound()
		r.Shoe[Left][HeelMedial], r.Shoe[Right][PressFore], r.Shoe[Left][PressHeel] = CantWet, CantDirty, CantOther
		r.SetPair(TorsionSide, CantRepaired)
		r.KM, r.AgeDays = Of(801), Of(731)
		want := []string{
			"cant-read left heel_medial recheck later", "cant-read right fore recheck later", "cant-read pair recheck later",
			"distance-beyond-advice pair note", "age-beyond-advice pair note",
		}
		if got := findings(&r, &AsNew{}); !slices.Equal(got, want) {
			t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		r = sound()
		r.KM, r.AgeDays = Of(800), Of(730)
		r.Shoe[Left][HeelMedial] = CantWet
		if got := findings(&r, &AsNew{Built: ColSet(0).With(HeelMedial)}); len(got) != 0 {
			t.Errorf("at the advice and as built, got %v", got)
		}
		for _, w := range want {
			tested[strings.Fields(w)[0]] = true
		}
	})
	for _, rule := range Default().Set().Rules {
		if !tested[rule.Code] {
			t.Errorf("no row above expects %s", rule.Code)
		}
	}
}

func findings(r *Reading, m *AsNew) (all []string) {
	out := judge(r, m)
	for i := range out.Findings {
		all = append(all, told(&out.Findings[i]))
	}
	return all
}
