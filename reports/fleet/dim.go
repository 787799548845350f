package fleet

import (
	"slices"

	"solewright/assess"
	"solewright/models/retail"
)

// Dim is one thing that rows are picked and grouped by.
type Dim uint8

// The dimensions. Words are those of `solewright export pairs`, "" where nothing
// is known; of Model the word is its id, see [View.Label].
const (
	Model Dim = iota
	Category
	Batch
	Gait
	Posture
	Strike
	Surface
	UsedFor
	Store
	Region
	Month
	Kind
	HeelPattern
	ForePattern
	Side
	Verdict
	Reason // the code of the worst finding
	Code   // the codes of all findings: a row counts under each of its own
	Staff
	KMSource
	GaitBefore
	numDims
)

// MaxDims is how many dimensions one question may group by.
const MaxDims = 4

var dimNames = [numDims]string{
	"model", "category", "batch", "gait", "posture", "strike", "surface", "used_for", "store", "region", "month",
	"kind", "pattern_heel", "pattern_fore", "side", "verdict", "reason", "code", "staff", "km_source", "gait_before",
}

// String returns the dimension's name, the column of export pairs where there
// is one.
func (d Dim) String() string { return dimNames[d] }

// DimByName finds a dimension by its name.
func DimByName(name string) (Dim, bool) {
	i := slices.Index(dimNames[:], name)
	return Dim(max(i, 0)), i >= 0
}

// closed are the words of the dimensions whose words are a closed list, the
// absent first.
var closed = [numDims][]string{
	Gait:        words(assess.GaitWords),
	Posture:     words(assess.GaitWords),
	Strike:      words(assess.StrikeWords),
	Surface:     words(assess.Surfaces),
	UsedFor:     words(assess.UsedForWords),
	Kind:        assess.KindWords,
	HeelPattern: enum(assess.MixedWear),
	ForePattern: enum(assess.MixedWear),
	Side:        enum(assess.RightMore),
	Verdict:     enum(assess.Incomplete),
	KMSource:    words(assess.KMSourceWords),
	GaitBefore:  words([]string{"no", "yes"}),
	Category:    words(retail.Categories),
}

func words(list []string) []string { return append([]string{""}, list...) }

func enum[E interface {
	~uint8
	String() string
}](last E) []string {
	var all []string
	for e := E(0); e <= last; e++ {
		all = append(all, e.String())
	}
	return all
}

// place returns the code of a value of a closed list: 0 for unread.
func place(v assess.Value) uint32 {
	if !v.OK() {
		return 0
	}
	return uint32(v.Int()) + 1
}

// field is where a small closed dimension lies in the packed column: shift, and
// how many bits.
type field struct{ shift, bits uint8 }

// packed says where each closed dimension lies in row.what: none in two bytes, and
// those that most questions go by in the first half.
var packed = [numDims]field{
	Kind:        {0, 2},
	Gait:        {2, 3},
	Verdict:     {5, 3},
	HeelPattern: {8, 4},
	ForePattern: {12, 4},
	Posture:     {16, 3},
	Surface:     {19, 3},
	Strike:      {22, 2},
	UsedFor:     {24, 2},
	Side:        {26, 2},
	KMSource:    {28, 2},
	GaitBefore:  {30, 2},
}

// halfBits is how many bits of the packed dimensions lie in one column.
const halfBits = 16

// of takes a code out. The masks of the shifts spare the processor a comparison:
// no shift is as far.
func (f field) of(what uint32) uint32 { return what >> (f.shift & 31) & (1<<(f.bits&31) - 1) }

// half returns which of the two columns the field lies in.
func (f field) half() int { return int(f.shift / halfBits) }

// in takes a code out of the column that the field lies in.
func (f field) in(half uint16) uint32 {
	return uint32(half) >> (f.shift % halfBits) & (1<<(f.bits&31) - 1)
}
