package assess

import "math/bits"

// Col names one column of a reading: what is read on each shoe, and what is
// read once for the pair. The order is that of the CSV columns and is stable.
type Col uint8

// Columns read on each shoe. The ten zones come first, so that Col(z) for z in
// 0..9 is a zone, and Col(z)+DepthOf its tread depth.
const (
	HeelMedial Col = iota
	HeelCentre
	HeelLateral
	MidMedial
	MidLateral
	ForeMedial
	ForeCentre
	ForeLateral
	ToeMedial
	ToeLateral

	HeelMedialMM
	HeelCentreMM
	HeelLateralMM
	MidMedialMM
	MidLateralMM
	ForeMedialMM
	ForeCentreMM
	ForeLateralMM
	ToeMedialMM
	ToeLateralMM

	PressHeel
	PressHeelAt
	PressFore
	PressForeAt
	Stand
	Tilt
	TiltU
	TiltBy
	TiltN
	TiltYaw
	Lining
	Squeeze
	Bond
	Mesh
	Creases
	Rubber
	Insert
	Flex
	Torsion
	FlexDeg
	TorsionDeg
	ShoreOutsole
	AskerMidsole
	Edge

	// NumShoe is how many columns are read on each shoe.
	NumShoe
)

// Columns read once for the pair.
const (
	Setup Col = NumShoe + iota
	LoadN
	FlexSide
	FlexAgain
	TorsionSide
	TorsionAgain
	SecondSays
	Hygiene
	PainMentioned

	// NumCols is how many columns a reading has, shoe and pair together.
	NumCols
)

// Subjects of a finding that are no column of the reading but facts around it.
const (
	ColKM Col = NumCols + 1 + iota
	ColBoughtOn
)

// NoCol and NoPart stand for "none": a finding without a zone, or about no
// part of the outsole.
const (
	NoCol  = NumCols
	NoPart = NumParts
)

// NumPair is how many columns are read once for the pair.
const NumPair = NumCols - NumShoe

// NumZones is how many outsole zones a shoe has; DepthOf is the step from a
// zone's column to that of its tread depth.
const (
	NumZones = 10
	DepthOf  = HeelMedialMM - HeelMedial
)

// Kind says how a column's value is written and bounded.
type Kind uint8

const (
	// Grade is a wear grade 0–4.
	Grade Kind = iota
	// Word is a place on a scale of words, from 0.
	Word
	// Side compares the shoes: −2 left clearly easier … +2 right clearly easier.
	Side
	// Measure is a number with unit, bounds and decimals.
	Measure
	// Zones is a set of outsole zones, one bit a zone.
	Zones
)

// Column is what the program knows of one column: its name in CSV and JSON,
// its scale, its bounds, and its part in the reading.
type Column struct {
	// Name is the column's name without the l_ or r_ prefix.
	Name string
	// Kind says how the value is written.
	Kind Kind
	// Words is the scale, least worn first where it has an order. For Side it
	// holds the five phrases from −2 to +2.
	Words []string
	// Unit, Min, Max and Decimals bound a Measure; Min and Max are in the
	// smallest unit (10^-Decimals of Unit).
	Unit     string
	Min, Max int
	Decimals int
	// Check says that the column is a check a person makes: it can be unread,
	// can't be read, and be named by a second reader. Other columns say how a
	// check was made.
	Check bool
	// Needed says that "keep" is not given while the check is unread.
	Needed bool
	// CantRead says that "can't read" is an answer to this column.
	CantRead bool
}

// Places of words on their scales, by column. Rules and code name them so that
// no number stands bare.
const (
	SpringsBack, Softer, Gives, Dead = 0, 1, 2, 3 // press
	Square, Doubtful                 = 0, 1       // stand
	LeansIn, LeansOut                = 2, 3
	ByPhoto, ByLevel, ByEye          = 0, 1, 2 // tilt_by
	LiningSound, LiningWorn          = 0, 1
	PaddingShowing, ShellShowing     = 2, 3
	ShellBroken                      = 4
	Holds, Soft, Folds               = 0, 1, 2 // squeeze
	Attached, Lifting, Parted        = 0, 1, 2 // bond
	NoHole                           = 0       // mesh
	CreasesEven                      = 0
	DeeperInside, DeeperOutside      = 1, 2
	Held, Peeling                    = 0, 1    // rubber
	Stiff, Moderate, Floppy          = 0, 1, 2 // flex, torsion
	No, Yes                          = 0, 1    // again, pain
	Agrees, Differs                  = 0, 1    // second reader
	Clean, Cleanable, Refuse         = 0, 1, 2 // hygiene
	Ready, NotReady                  = 0, 1    // setup
)

var (
	gradeWords = []string{"fresh", "scuffed", "smooth", "thin", "through"}
	pressWords = []string{"springs back", "softer", "gives", "dead"}
	bandWords  = []string{"stiff", "moderate", "floppy"}
	yesNo      = []string{"no", "yes"}
	sideWords  = []string{
		"left clearly easier", "left slightly", "even", "right slightly", "right clearly easier",
	}
)

func zone(name string, needed bool) Column {
	return Column{Name: name, Kind: Grade, Words: gradeWords, Max: 4, Check: true, Needed: needed, CantRead: true}
}

func depth(name string) Column {
	return Column{Name: name, Kind: Measure, Unit: "mm", Max: 150, Decimals: 1}
}

// Columns is the one table of everything read off a pair. A new check starts
// with a constant above and a row here; the CSV, the JSON, the pages and the
// rules all go by this table.
var Columns = [NumCols]Column{
	HeelMedial:  zone("heel_medial", true),
	HeelCentre:  zone("heel_centre", true),
	HeelLateral: zone("heel_lateral", true),
	MidMedial:   zone("mid_medial", false),
	MidLateral:  zone("mid_lateral", false),
	ForeMedial:  zone("fore_medial", true),
	ForeCentre:  zone("fore_centre", true),
	ForeLateral: zone("fore_lateral", true),
	ToeMedial:   zone("toe_medial", true),
	ToeLateral:  zone("toe_lateral", true),

	HeelMedialMM:  depth("heel_medial_mm"),
	HeelCentreMM:  depth("heel_centre_mm"),
	HeelLateralMM: depth("heel_lateral_mm"),
	MidMedialMM:   depth("mid_medial_mm"),
	MidLateralMM:  depth("mid_lateral_mm"),
	ForeMedialMM:  depth("fore_medial_mm"),
	ForeCentreMM:  depth("fore_centre_mm"),
	ForeLateralMM: depth("fore_lateral_mm"),
	ToeMedialMM:   depth("toe_medial_mm"),
	ToeLateralMM:  depth("toe_lateral_mm"),

	PressHeel:    {Name: "press_heel", Kind: Word, Words: pressWords, Check: true, CantRead: true},
	PressHeelAt:  {Name: "press_heel_at", Kind: Word, Words: []string{"heel_medial", "heel_centre", "heel_lateral"}},
	PressFore:    {Name: "press_fore", Kind: Word, Words: pressWords, Check: true, Needed: true, CantRead: true},
	PressForeAt:  {Name: "press_fore_at", Kind: Word, Words: []string{"fore_medial", "fore_centre", "fore_lateral"}},
	Stand:        {Name: "stand", Kind: Word, Words: []string{"square", "doubtful", "leans in", "leans out"}, Check: true, Needed: true, CantRead: true},
	Tilt:         {Name: "tilt", Kind: Measure, Unit: "°", Min: -4500, Max: 4500, Decimals: 2, Check: true, CantRead: true},
	TiltU:        {Name: "tilt_u", Kind: Measure, Unit: "°", Max: 4500, Decimals: 2},
	TiltBy:       {Name: "tilt_by", Kind: Word, Words: []string{"photo", "level", "eye"}},
	TiltN:        {Name: "tilt_n", Kind: Measure, Unit: "readings", Min: 1, Max: 99},
	TiltYaw:      {Name: "tilt_yaw", Kind: Measure, Unit: "°", Min: -4500, Max: 4500, Decimals: 2},
	Lining:       {Name: "lining", Kind: Word, Words: []string{"sound", "worn", "padding showing", "shell showing", "shell broken"}, Check: true, Needed: true, CantRead: true},
	Squeeze:      {Name: "squeeze", Kind: Word, Words: []string{"holds", "soft", "folds"}, Check: true, CantRead: true},
	Bond:         {Name: "bond", Kind: Word, Words: []string{"attached", "lifting", "parted"}, Check: true, Needed: true, CantRead: true},
	Mesh:         {Name: "mesh", Kind: Word, Words: []string{"none", "toe", "bunion side", "elsewhere"}, Check: true, CantRead: true},
	Creases:      {Name: "creases", Kind: Word, Words: []string{"even", "deeper inside", "deeper outside"}, Check: true, CantRead: true},
	Rubber:       {Name: "rubber", Kind: Word, Words: []string{"held", "peeling"}, Check: true, CantRead: true},
	Insert:       {Name: "insert", Kind: Word, Words: []string{"none", "bought", "custom"}, Check: true, CantRead: true},
	Flex:         {Name: "flex", Kind: Word, Words: bandWords, Check: true, CantRead: true},
	Torsion:      {Name: "torsion", Kind: Word, Words: bandWords, Check: true, CantRead: true},
	FlexDeg:      {Name: "flex_deg", Kind: Measure, Unit: "°", Max: 18000, Decimals: 2, Check: true, CantRead: true},
	TorsionDeg:   {Name: "torsion_deg", Kind: Measure, Unit: "°", Max: 18000, Decimals: 2, Check: true, CantRead: true},
	ShoreOutsole: {Name: "shore_outsole", Kind: Measure, Unit: "Shore A", Max: 1000, Decimals: 1, Check: true, CantRead: true},
	AskerMidsole: {Name: "asker_midsole", Kind: Measure, Unit: "Asker C", Max: 1000, Decimals: 1, Check: true, CantRead: true},
	Edge:         {Name: "edge", Kind: Zones},

	Setup:         {Name: "setup", Kind: Word, Words: []string{"ready", "not"}},
	LoadN:         {Name: "load_n", Kind: Measure, Unit: "N", Max: 20000, Decimals: 1},
	FlexSide:      {Name: "flex_side", Kind: Side, Words: sideWords, Min: -2, Max: 2, Check: true, Needed: true, CantRead: true},
	FlexAgain:     {Name: "flex_again", Kind: Word, Words: yesNo},
	TorsionSide:   {Name: "torsion_side", Kind: Side, Words: sideWords, Min: -2, Max: 2, Check: true, Needed: true, CantRead: true},
	TorsionAgain:  {Name: "torsion_again", Kind: Word, Words: yesNo},
	SecondSays:    {Name: "second_says", Kind: Word, Words: []string{"agrees", "differs"}},
	Hygiene:       {Name: "hygiene", Kind: Word, Words: []string{"clean", "cleanable", "refuse"}, Check: true},
	PainMentioned: {Name: "pain_mentioned", Kind: Word, Words: yesNo},
}

// String returns the column's name without prefix, and nothing for NoCol.
func (c Col) String() string {
	switch {
	case c < NumCols:
		return Columns[c].Name
	case c == ColKM:
		return "km"
	case c == ColBoughtOn:
		return "bought_on"
	}
	return ""
}

// ColSet is a set of columns.
type ColSet uint64

// With returns s and c.
func (s ColSet) With(c Col) ColSet { return s | 1<<c }

// Has reports whether c is in s.
func (s ColSet) Has(c Col) bool { return s>>c&1 == 1 }

// Len returns how many columns s holds.
func (s ColSet) Len() int { return bits.OnesCount64(uint64(s)) }

// Part is a part of the outsole.
type Part uint8

// The four parts, heel to toe.
const (
	Heel Part = iota
	Midfoot
	Forefoot
	Toe
	NumParts
)

// partZones gives the first zone of each part and how many it has.
var partZones = [NumParts]struct {
	first Col
	n     int
}{{HeelMedial, 3}, {MidMedial, 2}, {ForeMedial, 3}, {ToeMedial, 2}}

// Zones returns the columns of the part's zones, medial first.
func (p Part) Zones() (first Col, n int) { return partZones[p].first, partZones[p].n }

// String returns the word that columns and codes use: heel, mid, fore, toe;
// nothing for NoPart.
func (p Part) String() string { return [...]string{"heel", "mid", "fore", "toe", ""}[p] }
