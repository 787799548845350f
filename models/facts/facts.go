// Package facts holds what statistics see of the records, as plain values: the
// form in which package models hands readings to the fleet in memory, so that
// neither imports the other.
package facts

import (
	"solewright/assess"
	"solewright/models/retail"
)

// Fact is one live reading that is not blind, with what is known of its pair.
// Values are places in the lists of package assess, distances whole km.
type Fact struct {
	Pair string // its reference
	// Last says that it is the pair's last live reading; of a pair, statistics
	// see that one and the interval of life.
	Last bool

	// What the pair is: its model, batch and runner, by all of its readings and
	// its sale. Runner is the key that export pairs shows, 0 where no runner is
	// known.
	Model  assess.UUID
	Batch  string
	Runner uint64

	Store, Staff string
	Day          string // in the store's calendar, YYYY-MM-DD
	Kind         assess.RecordKind
	Gait, Strike assess.Value
	Posture      assess.Value // of the foot whose shoe decided the pattern
	Surface      assess.Value
	UsedFor      assess.Value
	KM           assess.Value
	KMSource     assess.Value
	GaitBefore   assess.Value

	Heel, Fore assess.Pattern
	Side       assess.MoreWorn
	Verdict    assess.Verdict
	Codes      string // of the findings, worst first, a space between

	// Grades are the outsole's, by shoe; Tilt in hundredths of a degree. Unread
	// are the checks without a value, unread or not readable, by shoe and, at
	// Both, of the pair; zones are not among them.
	Grades [2]Grades
	Tilt   [2]assess.Value
	Unread [3]assess.ColSet

	// The pair's interval of life; both ends unread where nothing is known or
	// readings contradict each other, as Contradicts says.
	Lower, Upper assess.Value
	Contradicts  bool
}

// Grades are the ten zones of a shoe, three bits each, the first zone lowest: a
// grade 0–4, CantGrade or NoGrade.
type Grades uint32

// What stands where a zone has no grade.
const (
	CantGrade = 5 // it couldn't be read
	NoGrade   = 7 // it wasn't read

	gradeBits = 3
	gradeMask = 1<<gradeBits - 1
)

// AllUnread are the grades of a shoe of which no zone was read.
const AllUnread Grades = 1<<(gradeBits*assess.NumZones) - 1

// At returns what stands for a zone.
func (g Grades) At(zone int) int { return int(g>>(gradeBits*zone)) & gradeMask }

// With returns g with a zone set.
func (g Grades) With(zone, grade int) Grades {
	shift := gradeBits * zone
	return g&^(gradeMask<<shift) | Grades(grade)<<shift
}

// Position is a place in the feed of changes. The zero Position is its beginning.
type Position struct {
	Tx, Number int64
}

// Changed are the pairs that changes after a position touched.
type Changed struct {
	Pairs []string // references, each once
	To    Position // the last change among them
	More  bool     // there are more after To
	// Horizon says how far the feed can be read: every transaction before it is
	// over. Newest is after every transaction that had begun. Where they are
	// equal, nothing is held back.
	Horizon, Newest int64
}

// Catalogue is what stores and models are called, and how they are grouped.
type Catalogue struct {
	Regions []retail.Region
	Stores  []retail.Store
	Models  []retail.ShoeModel // without their as-new values and features
}

// Identity says which database it is. A copy of the database keeps ID; Epoch is
// new after a restore.
type Identity struct {
	ID, Epoch string
}
