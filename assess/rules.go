package assess

// Where rules and thresholds come from. "House" marks a value chosen here
// because no publication gives one.
const (
	practice   = "common practice, no source"
	house      = "house value, no source"
	tiltErrors = "house value; one reader repeats to about 2°, two readers differ by 2–4° (Haight et al. 2005, on heels)"
	interval95 = tiltErrors + "; 95 % interval, normal quantile 1.96"
	wetGrip    = "common practice; smooth patches drain badly on wet ground (Beschorner et al. 2020, work shoes)"
	bands      = "house value; bands of Barton, Bonanno & Menz 2009"
	indexForm  = "house value; index of Robinson, Herzog & Nigg 1987"
)

// Thresholds of the house, in the unit of their predicate.
const (
	leanDeg     Hundredths = 200   // a measured lean counts
	farDeg      Hundredths = 400   // a measured tilt replaces by itself …
	farNearEnd  Hundredths = 150   // … with the near end of its interval beyond this
	settleBy               = 3     // photos that settle a tilt
	indexClear  Hundredths = 2500  // percent
	indexSome   Hundredths = 1000  // percent
	indexApart  Hundredths = 500   // degrees
	hardnessOff Hundredths = 2000  // percent
	adviceKM    Hundredths = 80000 // km
	adviceDays  Hundredths = 73000 // days
	newUnderKM             = 250
	newUnderDay            = 8 * 7
)

// DefaultRules returns rule set 1, the house defaults of the trade. Every call
// returns a set of its own.
//
// The order of the rows is the order in which a runner hears findings of equal
// severity: hazards first, then structure, then what is only noted.
func DefaultRules() *RuleSet {
	measured := []string{"photo", "level"}
	photo := []string{"photo"}
	eye := []string{"eye"}
	words := func(w ...string) []string { return w }
	return &RuleSet{
		Number: 1,
		From:   "2026-01-01",
		Rules: []Rule{
			// Hazards: the shell and the bond.
			{Code: "lining-shell-broken", If: IfWord, Check: "lining", Words: words("shell broken"), Severity: Retire, Fault: FaultStructure, Basis: practice},
			{Code: "lining-shell-showing", If: IfWord, Check: "lining", Words: words("shell showing"), Severity: Replace, Fault: FaultStructure, Basis: practice},
			{Code: "bond-parted", If: IfWord, Check: "bond", Words: words("parted"), Severity: Replace, Fault: FaultStructure, Basis: practice},

			// The counter: how it stands, its tilt, its squeeze.
			{Code: "stand-in-agreed", Cascade: "stand", If: IfStand, Words: words("leans in"), Second: "agrees", Severity: Replace, Fault: FaultStructure, Basis: practice},
			{Code: "stand-in-measured", Cascade: "stand", If: IfStand, Words: words("leans in"), TiltAtLeast: leanDeg, Severity: Replace, Fault: FaultStructure, Basis: tiltErrors},
			{Code: "stand-in-differs", Cascade: "stand", If: IfStand, Words: words("leans in"), Second: "differs", TiltUnder: leanDeg, Severity: Note, Basis: tiltErrors},
			{Code: "stand-in-alone", Cascade: "stand", If: IfStand, Words: words("leans in"), Severity: Recheck, How: Now, Basis: practice},
			{Code: "stand-out-agreed", Cascade: "stand", If: IfStand, Words: words("leans out"), Second: "agrees", Severity: Replace, Fault: FaultStructure, Basis: practice},
			{Code: "stand-out-measured", Cascade: "stand", If: IfStand, Words: words("leans out"), TiltAtLeast: leanDeg, Severity: Replace, Fault: FaultStructure, Basis: tiltErrors},
			{Code: "stand-out-differs", Cascade: "stand", If: IfStand, Words: words("leans out"), Second: "differs", TiltUnder: leanDeg, Severity: Note, Basis: tiltErrors},
			{Code: "stand-out-alone", Cascade: "stand", If: IfStand, Words: words("leans out"), Severity: Recheck, How: Now, Basis: practice},
			{Code: "stand-doubtful", Cascade: "stand", If: IfStand, Words: words("doubtful"), Untilted: true, Severity: Recheck, How: Now, Basis: practice},

			{Code: "tilt-in-far", Cascade: "tilt", If: IfTilt, Toward: "in", By: measured, AtLeast: farDeg, NearEnd: farNearEnd, Severity: Replace, Fault: FaultStructure, Basis: interval95},
			{Code: "tilt-in-stays", Cascade: "tilt", If: IfTilt, Toward: "in", By: photo, AtLeast: leanDeg, Photos: settleBy, Severity: Recheck, How: Later, Basis: tiltErrors},
			{Code: "tilt-in-agreed", Cascade: "tilt", If: IfTilt, Toward: "in", By: measured, AtLeast: leanDeg, Second: "agrees", Severity: Recheck, How: Later, Basis: tiltErrors},
			{Code: "tilt-in-open", Cascade: "tilt", If: IfTilt, Toward: "in", By: measured, AtLeast: leanDeg, Severity: Recheck, How: Now, Basis: tiltErrors},
			{Code: "tilt-in-by-eye", Cascade: "tilt", If: IfTilt, Toward: "in", By: eye, AtLeast: leanDeg, Severity: Recheck, How: Now, Basis: tiltErrors},
			{Code: "tilt-out-far", Cascade: "tilt", If: IfTilt, Toward: "out", By: measured, AtLeast: farDeg, NearEnd: farNearEnd, Severity: Replace, Fault: FaultStructure, Basis: interval95},
			{Code: "tilt-out-stays", Cascade: "tilt", If: IfTilt, Toward: "out", By: photo, AtLeast: leanDeg, Photos: settleBy, Severity: Recheck, How: Later, Basis: tiltErrors},
			{Code: "tilt-out-agreed", Cascade: "tilt", If: IfTilt, Toward: "out", By: measured, AtLeast: leanDeg, Second: "agrees", Severity: Recheck, How: Later, Basis: tiltErrors},
			{Code: "tilt-out-open", Cascade: "tilt", If: IfTilt, Toward: "out", By: measured, AtLeast: leanDeg, Severity: Recheck, How: Now, Basis: tiltErrors},
			{Code: "tilt-out-by-eye", Cascade: "tilt", If: IfTilt, Toward: "out", By: eye, AtLeast: leanDeg, Severity: Recheck, How: Now, Basis: tiltErrors},

			{Code: "squeeze-folds", If: IfWord, Check: "squeeze", Words: words("folds"), RigidCounter: true, Severity: Replace, Fault: FaultStructure, Basis: practice},

			// The outsole, and the foam under the thumb.
			{Code: "heel-through", Cascade: "heel", If: IfZone, Part: "heel", AtLeast: whole(4), Severity: Replace, Fault: FaultOutsole, Basis: practice},
			{Code: "heel-thin-gives", Cascade: "heel", If: IfZone, Part: "heel", AtLeast: whole(3), Press: "gives", Severity: Replace, Fault: FaultOutsole, Basis: practice},
			{Code: "mid-through", Cascade: "mid", If: IfZone, Part: "mid", AtLeast: whole(4), Severity: Replace, Fault: FaultOutsole, Basis: practice},
			{Code: "fore-through", Cascade: "fore", If: IfZone, Part: "fore", AtLeast: whole(4), Severity: Replace, Fault: FaultOutsole, Basis: practice},
			{Code: "fore-thin-gives", Cascade: "fore", If: IfZone, Part: "fore", AtLeast: whole(3), Press: "gives", Severity: Replace, Fault: FaultOutsole, Basis: practice},
			{Code: "toe-through", Cascade: "toe", If: IfZone, Part: "toe", AtLeast: whole(4), Severity: Replace, Fault: FaultOutsole, Basis: practice},
			{Code: "press-heel-gives", If: IfWord, Check: "press_heel", Words: words("gives"), Severity: Replace, Basis: practice},
			{Code: "press-heel-dead", If: IfWord, Check: "press_heel", Words: words("dead"), Severity: Replace, Basis: practice},
			{Code: "press-fore-gives", If: IfWord, Check: "press_fore", Words: words("gives"), Severity: Replace, Basis: practice},
			{Code: "press-fore-dead", If: IfWord, Check: "press_fore", Words: words("dead"), Severity: Replace, Basis: practice},

			// Left against right, and each shoe against itself as new.
			{Code: "flex-left-easier", Cascade: "flex-side", If: IfSide, Check: "flex_side", Toward: "left", AtLeast: whole(2), Again: "yes", Severity: Replace, Basis: practice},
			{Code: "flex-right-easier", Cascade: "flex-side", If: IfSide, Check: "flex_side", Toward: "right", AtLeast: whole(2), Again: "yes", Severity: Replace, Basis: practice},
			{Code: "flex-left-unconfirmed", Cascade: "flex-side", If: IfSide, Check: "flex_side", Toward: "left", AtLeast: whole(2), Severity: Recheck, How: Now, Basis: practice},
			{Code: "flex-right-unconfirmed", Cascade: "flex-side", If: IfSide, Check: "flex_side", Toward: "right", AtLeast: whole(2), Severity: Recheck, How: Now, Basis: practice},
			{Code: "torsion-left-easier", Cascade: "torsion-side", If: IfSide, Check: "torsion_side", Toward: "left", AtLeast: whole(2), Again: "yes", Severity: Replace, Basis: practice},
			{Code: "torsion-right-easier", Cascade: "torsion-side", If: IfSide, Check: "torsion_side", Toward: "right", AtLeast: whole(2), Again: "yes", Severity: Replace, Basis: practice},
			{Code: "torsion-left-unconfirmed", Cascade: "torsion-side", If: IfSide, Check: "torsion_side", Toward: "left", AtLeast: whole(2), Severity: Recheck, How: Now, Basis: practice},
			{Code: "torsion-right-unconfirmed", Cascade: "torsion-side", If: IfSide, Check: "torsion_side", Toward: "right", AtLeast: whole(2), Severity: Recheck, How: Now, Basis: practice},
			{Code: "flex-deg-left-easier", Cascade: "flex-deg", If: IfIndex, Check: "flex_deg", Toward: "left", AtLeast: indexClear, Apart: indexApart, Severity: Replace, Basis: indexForm},
			{Code: "flex-deg-right-easier", Cascade: "flex-deg", If: IfIndex, Check: "flex_deg", Toward: "right", AtLeast: indexClear, Apart: indexApart, Severity: Replace, Basis: indexForm},
			{Code: "torsion-deg-left-easier", Cascade: "torsion-deg", If: IfIndex, Check: "torsion_deg", Toward: "left", AtLeast: indexClear, Apart: indexApart, Severity: Replace, Basis: indexForm},
			{Code: "torsion-deg-right-easier", Cascade: "torsion-deg", If: IfIndex, Check: "torsion_deg", Toward: "right", AtLeast: indexClear, Apart: indexApart, Severity: Replace, Basis: indexForm},
			{Code: "flex-two-bands-softer", Cascade: "flex-band", If: IfBand, Check: "flex", AtLeast: whole(2), Severity: Replace, Basis: bands},
			{Code: "torsion-two-bands-softer", Cascade: "torsion-band", If: IfBand, Check: "torsion", AtLeast: whole(2), Severity: Replace, Basis: bands},

			// Come back.
			{Code: "lining-padding-showing", If: IfWord, Check: "lining", Words: words("padding showing"), Severity: Recheck, How: Later, Basis: practice},
			{Code: "bond-lifting", If: IfWord, Check: "bond", Words: words("lifting"), Severity: Recheck, How: Later, Basis: practice},
			{Code: "squeeze-soft", If: IfWord, Check: "squeeze", Words: words("soft"), RigidCounter: true, Severity: Recheck, How: Later, Basis: practice},
			{Code: "heel-thin", Cascade: "heel", If: IfZone, Part: "heel", AtLeast: whole(3), Severity: Recheck, How: Later, Basis: practice},
			{Code: "fore-thin", Cascade: "fore", If: IfZone, Part: "fore", AtLeast: whole(3), Severity: Recheck, How: Later, Basis: practice},
			{Code: "heel-smooth-trail", Cascade: "heel-smooth", If: IfWholePart, Part: "heel", AtLeast: whole(2), Category: TrailCategory, Severity: Recheck, How: Later, Basis: wetGrip},
			{Code: "fore-smooth-trail", Cascade: "fore-smooth", If: IfWholePart, Part: "fore", AtLeast: whole(2), Category: TrailCategory, Severity: Recheck, How: Later, Basis: wetGrip},
			{Code: "flex-both-floppy", If: IfBoth, Check: "flex", Words: words("floppy"), Severity: Recheck, How: Later, Basis: bands},
			{Code: "torsion-both-floppy", If: IfBoth, Check: "torsion", Words: words("floppy"), Severity: Recheck, How: Later, Basis: bands},
			{Code: "rubber-peeling", If: IfWord, Check: "rubber", Words: words("peeling"), Severity: Recheck, How: Later, Basis: practice},
			{Code: "asker-midsole-off", If: IfHardness, Check: "asker_midsole", Over: hardnessOff, Severity: Recheck, How: Later, Basis: house},
			{Code: "cant-read", If: IfCantRead, Severity: Recheck, How: Later, Basis: practice},

			// Only noted.
			{Code: "mid-thin", Cascade: "mid", If: IfZone, Part: "mid", AtLeast: whole(3), Severity: Note, Basis: practice},
			{Code: "toe-thin", Cascade: "toe", If: IfZone, Part: "toe", AtLeast: whole(3), Severity: Note, Basis: practice},
			{Code: "heel-smooth", Cascade: "heel-smooth", If: IfWholePart, Part: "heel", AtLeast: whole(2), Severity: Note, Basis: wetGrip},
			{Code: "fore-smooth", Cascade: "fore-smooth", If: IfWholePart, Part: "fore", AtLeast: whole(2), Severity: Note, Basis: wetGrip},
			{Code: "press-heel-softer", If: IfWord, Check: "press_heel", Words: words("softer"), Severity: Note, Basis: practice},
			{Code: "press-fore-softer", If: IfWord, Check: "press_fore", Words: words("softer"), Severity: Note, Basis: practice},
			{Code: "lining-worn", If: IfWord, Check: "lining", Words: words("worn"), Severity: Note, Basis: practice},
			{Code: "flex-left-slightly", Cascade: "flex-side", If: IfSide, Check: "flex_side", Toward: "left", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "flex-right-slightly", Cascade: "flex-side", If: IfSide, Check: "flex_side", Toward: "right", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "torsion-left-slightly", Cascade: "torsion-side", If: IfSide, Check: "torsion_side", Toward: "left", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "torsion-right-slightly", Cascade: "torsion-side", If: IfSide, Check: "torsion_side", Toward: "right", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "flex-deg-left-slightly", Cascade: "flex-deg", If: IfIndex, Check: "flex_deg", Toward: "left", AtLeast: indexSome, Severity: Note, Basis: indexForm},
			{Code: "flex-deg-right-slightly", Cascade: "flex-deg", If: IfIndex, Check: "flex_deg", Toward: "right", AtLeast: indexSome, Severity: Note, Basis: indexForm},
			{Code: "torsion-deg-left-slightly", Cascade: "torsion-deg", If: IfIndex, Check: "torsion_deg", Toward: "left", AtLeast: indexSome, Severity: Note, Basis: indexForm},
			{Code: "torsion-deg-right-slightly", Cascade: "torsion-deg", If: IfIndex, Check: "torsion_deg", Toward: "right", AtLeast: indexSome, Severity: Note, Basis: indexForm},
			{Code: "flex-band-softer", Cascade: "flex-band", If: IfBand, Check: "flex", AtLeast: whole(1), Severity: Note, Basis: bands},
			{Code: "torsion-band-softer", Cascade: "torsion-band", If: IfBand, Check: "torsion", AtLeast: whole(1), Severity: Note, Basis: bands},
			{Code: "heel-left-more", If: IfUneven, Part: "heel", Toward: "left", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "heel-right-more", If: IfUneven, Part: "heel", Toward: "right", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "fore-left-more", If: IfUneven, Part: "fore", Toward: "left", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "fore-right-more", If: IfUneven, Part: "fore", Toward: "right", AtLeast: whole(1), Severity: Note, Basis: practice},
			{Code: "creases-inside", If: IfWord, Check: "creases", Words: words("deeper inside"), Severity: Note, Basis: practice},
			{Code: "creases-outside", If: IfWord, Check: "creases", Words: words("deeper outside"), Severity: Note, Basis: practice},
			{Code: "mesh-hole", If: IfWord, Check: "mesh", Words: words("toe", "bunion side", "elsewhere"), Severity: Note, Basis: practice},
			{Code: "distance-beyond-advice", If: IfBeyond, Check: "km", Over: adviceKM, Severity: Note, Basis: "common practice: 480–800 km is repeated without proof; the retailer's own advice goes here"},
			{Code: "age-beyond-advice", If: IfBeyond, Check: "bought_on", Over: adviceDays, Severity: Note, Basis: house + "; the retailer's own advice goes here"},
		},
		PossibleFault: FaultLimits{
			UnderKM: newUnderKM, UnderDays: newUnderDay,
			Surfaces: words("road", "track"), TrailSurfaces: words("trail"),
			Basis: practice,
		},
		Grades: []GradeRow{
			{Grade: GradeX, ZoneTo: 4, Hygiene: words("refuse"), Routes: []Route{SealedDisposal}, Basis: practice},
			{Grade: GradeD, Verdicts: []Verdict{ReplacePair, RetirePair}, ZoneTo: 4, Routes: []Route{RecyclingNeverResale}, Basis: practice},
			{Grade: GradeA, Verdicts: []Verdict{Keep}, ZoneTo: 1, Hygiene: words("clean"), Routes: []Route{Resale}, Basis: practice},
			{Grade: GradeB, Verdicts: []Verdict{Keep}, ZoneTo: 2, Hygiene: words("clean", "cleanable"), Routes: []Route{Resale, Donation}, Basis: practice},
			{Grade: GradeC, Verdicts: []Verdict{Keep}, ZoneFrom: 3, ZoneTo: 4, Hygiene: words("clean", "cleanable"), Routes: []Route{DonationWalking, Recycling}, Basis: practice},
			{Grade: GradeC, Verdicts: []Verdict{RecheckPair}, How: Later, ZoneTo: 4, Hygiene: words("clean", "cleanable"), Routes: []Route{DonationWalking, Recycling}, Basis: practice},
		},
		NextCheck: []NextCheckRow{
			{Verdict: Keep, KM: 250, Days: 90, Basis: house},
			{Verdict: Keep, Category: "race", KM: 150, Days: 90, Basis: house},
			{Verdict: Keep, Category: "walking", KM: 400, Days: 180, Basis: house},
			{Verdict: RecheckPair, KM: 100, Days: 30, Basis: house},
			{Verdict: RecheckPair, Category: "race", KM: 50, Days: 30, Basis: house},
		},
	}
}
