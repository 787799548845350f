package assess

// Predicate is a kind of test that a rule can make. The list is closed: a rule
// set chooses predicates and thresholds, it can't bring code.
type Predicate string

// The predicates. "The reading" below is the value of the rule's check on the
// shoe looked at.
const (
	// IfZone holds for a zone of the part whose grade is AtLeast or more, and
	// that the thumb found to be Press where that is given.
	IfZone Predicate = "zone"
	// IfWholePart holds when every zone of the part is graded AtLeast or more,
	// on a model of the Category where that is given.
	IfWholePart Predicate = "whole-part"
	// IfWord holds when the reading is one of Words.
	IfWord Predicate = "word"
	// IfStand holds when the counter stands as one of Words says and the
	// second reader and the measured tilt, that way, agree with the rest.
	IfStand Predicate = "stand"
	// IfTilt holds when the counter's tilt less its as-new tilt is AtLeast
	// degrees or more Toward in or out, taken By one of the methods.
	IfTilt Predicate = "tilt"
	// IfSide holds when the shoe Toward left or right was felt to be easier by
	// AtLeast places (1 slightly, 2 clearly).
	IfSide Predicate = "side"
	// IfIndex holds when the symmetry index of the two shoes' degrees is
	// AtLeast percent or more, Toward the larger.
	IfIndex Predicate = "index"
	// IfBand holds when a shoe's own band is AtLeast places above as-new.
	IfBand Predicate = "band"
	// IfBoth holds when both shoes read one of Words and the as-new band is
	// known and lies below it.
	IfBoth Predicate = "both"
	// IfUneven holds when the mean grade of the part on the shoe Toward left or
	// right is AtLeast grades above the other's.
	IfUneven Predicate = "uneven"
	// IfHardness holds when a durometer value is more than Over percent away
	// from as-new, either way.
	IfHardness Predicate = "hardness"
	// IfCantRead holds for a needed check that somebody could not read.
	IfCantRead Predicate = "cant-read"
	// IfBeyond holds when the distance (check km, in km) or the age (check
	// bought_on, in days) is more than Over.
	IfBeyond Predicate = "beyond"
)

// param names one parameter of a rule, as it is written in JSON.
type param uint16

const (
	pCheck param = 1 << iota
	pPart
	pWords
	pToward
	pAtLeast
	pOver
	pApart
	pNearEnd
	pTilt // tilt_at_least, tilt_under and untilted: at most one
	pBy
	pPhotos
	pPress
	pSecond
	pAgain
	pCategory
	pRigid
)

// predicateSpec says what a predicate takes.
type predicateSpec struct {
	name         Predicate
	needs, takes param // takes are optional
	checks       []Col // allowed checks where it needs one
	towards      []string
	// whole says that AtLeast is a whole number; max bounds it, in hundredths.
	whole bool
	max   Hundredths
}

var (
	inOut     = []string{"in", "out"}
	leftRight = []string{"left", "right"}
)

// predicates is the closed list with what each takes, in the order in which
// messages name them.
var predicates = [...]predicateSpec{
	{name: IfZone, needs: pPart | pAtLeast, takes: pPress, whole: true, max: 400},
	{name: IfWholePart, needs: pPart | pAtLeast, takes: pCategory, whole: true, max: 400},
	{
		name: IfWord, needs: pCheck | pWords, takes: pRigid,
		checks: []Col{PressHeel, PressFore, Lining, Squeeze, Bond, Mesh, Creases, Rubber, Insert, Flex, Torsion},
	},
	{name: IfStand, needs: pWords, takes: pSecond | pTilt},
	{
		name: IfTilt, needs: pToward | pAtLeast | pBy, takes: pNearEnd | pPhotos | pSecond,
		towards: inOut, max: 4500,
	},
	{
		name: IfSide, needs: pCheck | pToward | pAtLeast, takes: pAgain,
		checks: []Col{FlexSide, TorsionSide}, towards: leftRight, whole: true, max: 200,
	},
	{
		name: IfIndex, needs: pCheck | pToward | pAtLeast, takes: pApart,
		checks: []Col{FlexDeg, TorsionDeg}, towards: leftRight, max: 20000,
	},
	{name: IfBand, needs: pCheck | pAtLeast, checks: []Col{Flex, Torsion}, whole: true, max: 200},
	{name: IfBoth, needs: pCheck | pWords, checks: []Col{Flex, Torsion}},
	{name: IfUneven, needs: pPart | pToward | pAtLeast, towards: leftRight, max: 400},
	{name: IfHardness, needs: pCheck | pOver, checks: []Col{AskerMidsole, ShoreOutsole}},
	{name: IfCantRead},
	{name: IfBeyond, needs: pCheck | pOver, checks: []Col{ColKM, ColBoughtOn}},
}

// spec returns the row of p, or nil for a word that is no predicate.
func (p Predicate) spec() *predicateSpec {
	for i := range predicates {
		if predicates[i].name == p {
			return &predicates[i]
		}
	}
	return nil
}
