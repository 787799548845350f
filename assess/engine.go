package assess

import (
	"math/bits"
	"slices"
	"strconv"
	"sync"
)

// EngineVersion names how this code judges. It changes whenever the same
// reading under the same rule set could get another result.
const EngineVersion = "1"

// Engine is a rule set made ready to judge by. It never changes after Compile,
// so any number of goroutines may share one.
type Engine struct {
	set   RuleSet
	rules []rule
	// byRank gives the rules worst first: severity, then now before later,
	// then place in the set.
	byRank []uint16

	// cells lists, for each column and value, the rules that the value can
	// bring about, in the order of the set.
	cells    [NumCols][cellValues][]uint16
	shoeCols []colPlan // columns with cells or needed, zones included
	pairCols []colPlan
	parts    [NumParts][]uint16 // whole-part rules
	tilts    [2][]uint16        // tilt rules, in and out
	tiltMin  int32              // the least tilt that any tilt rule needs
	pairs    []uint16           // index, both and uneven rules
	hard     []uint16
	beyond   []uint16
	cantRead []uint16

	unreadOrder []Col     // needed checks, most decisive first
	suits       [2]uint32 // surfaces that suit an ordinary and a trail model
	grades      []gradeRow

	// steady is the engine without the rules that can't move a verdict, nil in
	// a steady engine itself; decides holds the columns its rules read.
	steady  *Engine
	decides ColSet
}

// colPlan is what judging needs to know of a column.
type colPlan struct {
	col    Col
	places uint8 // how many places its scale has
	needed bool
	sound  bool // no rule can come of the first place
}

// cellValues is how many values a column of words or grades can have.
const cellValues = 5

// rule is a Rule with its words resolved.
type rule struct {
	If       Predicate
	severity Severity
	how      How
	cascade  uint8 // from 1, 0 for none
	faulty   uint8
	rank     uint16

	check   Col
	part    Part
	words   uint32 // places on the scale, one bit each
	toward  int32  // in and right +1, out and left −1
	atLeast int32
	over    int64
	apart   int32
	nearEnd int64
	hasNear bool

	tiltAtLeast, tiltUnder int32
	untilted               bool
	by                     uint32
	photos                 int
	press, second, again   Value
	trail, rigid           bool
}

// gradeRow is a GradeRow with its words resolved, one bit each.
type gradeRow struct {
	*GradeRow
	verdicts, hygiene uint32
}

// Bits of rule.faulty.
const (
	faultStructure = 1
	faultOutsole   = 2
)

// maxCascades bounds the cascades of a set, one bit each.
const maxCascades = 63

// Default returns the engine of DefaultRules.
var Default = sync.OnceValue(func() *Engine {
	e, err := Compile(DefaultRules())
	if err != nil {
		panic("assess: rule set 1: " + err.Error())
	}
	return e
})

// Compile checks a rule set and makes it ready to judge by. Its error is a
// FieldErrors that names every bad value by its JSON pointer.
func Compile(set *RuleSet) (*Engine, error) {
	c := compiler{cascades: map[string]cascade{}, codes: map[string]bool{}}
	c.header(set)
	if len(set.Rules) > maxRows {
		return nil, c.errs.Err()
	}
	e := &Engine{set: *set.clone()}
	for i := range e.set.Rules {
		e.rules = append(e.rules, c.rule("/rules/"+strconv.Itoa(i), &e.set.Rules[i]))
	}
	e.grades = c.grades(e.set.Grades)
	c.nextCheck(e.set.NextCheck)
	if err := c.errs.Err(); err != nil {
		return nil, err
	}
	e.suits = [2]uint32{placesOf(Surfaces, set.PossibleFault.Surfaces), placesOf(Surfaces, set.PossibleFault.TrailSurfaces)}
	e.index()
	e.steady = e.withoutIdle()
	return e, nil
}

// Set returns the rule set that e judges by. It must not be changed.
func (e *Engine) Set() *RuleSet { return &e.set }

// index sorts the rules into the lists that judging goes by.
func (e *Engine) index() {
	e.rank()
	e.tiltMin = int32(Columns[Tilt].Max) + 1
	for i := range e.rules {
		e.place(uint16(i), &e.rules[i])
	}
	for c := Col(0); c < NumCols; c++ {
		cols := &e.shoeCols
		if c >= NumShoe {
			cols = &e.pairCols
		}
		if Columns[c].Needed {
			e.unreadOrder = append(e.unreadOrder, c)
		}
		k := &Columns[c]
		if k.Needed || slices.ContainsFunc(e.cells[c][:], func(l []uint16) bool { return l != nil }) {
			*cols = append(*cols, colPlan{c, uint8(len(k.Words)), k.Needed, e.cells[c][0] == nil && k.Min == 0})
		}
	}
	slices.SortStableFunc(e.unreadOrder, func(a, b Col) int { return e.worstRank(a) - e.worstRank(b) })
}

// rank orders the rules worst first.
func (e *Engine) rank() {
	e.byRank = make([]uint16, len(e.rules))
	for i := range e.byRank {
		e.byRank[i] = uint16(i)
	}
	slices.SortStableFunc(e.byRank, func(a, b uint16) int {
		ra, rb := &e.rules[a], &e.rules[b]
		if ra.severity != rb.severity {
			return int(rb.severity) - int(ra.severity)
		}
		return int(rb.how) - int(ra.how)
	})
	for rank, i := range e.byRank {
		e.rules[i].rank = uint16(rank)
	}
}

// worstRank returns the rank of the worst rule that the check can bring about:
// the lower, the more decisive the check.
func (e *Engine) worstRank(c Col) int {
	worst := len(e.rules)
	for _, cell := range e.cells[c] {
		for _, i := range cell {
			worst = min(worst, int(e.rules[i].rank))
		}
	}
	return worst
}

// place files rule i under what brings it about.
func (e *Engine) place(i uint16, r *rule) {
	cell := func(c Col, places uint32) {
		for ; places != 0; places &= places - 1 {
			v := bits.TrailingZeros32(places)
			e.cells[c][v] = append(e.cells[c][v], i)
		}
	}
	const all = 1<<cellValues - 1
	from := func(v int32) uint32 { return all &^ (1<<v - 1) }
	switch r.If {
	case IfZone:
		first, n := r.part.Zones()
		for z := first; z < first+Col(n); z++ {
			cell(z, from(r.atLeast))
		}
	case IfWord, IfStand:
		cell(r.check, r.words)
	case IfSide: // cells of a side run from −2 to +2
		if r.toward > 0 {
			cell(r.check, from(2+r.atLeast))
		} else {
			cell(r.check, 1<<(3-r.atLeast)-1)
		}
	case IfBand:
		cell(r.check, from(r.atLeast)&(1<<len(bandWords)-1))
	case IfWholePart:
		e.parts[r.part] = append(e.parts[r.part], i)
	case IfTilt:
		side := 0
		if r.toward < 0 {
			side = 1
		}
		e.tilts[side] = append(e.tilts[side], i)
		e.tiltMin = min(e.tiltMin, r.atLeast)
	case IfIndex, IfBoth, IfUneven:
		e.pairs = append(e.pairs, i)
	case IfHardness:
		e.hard = append(e.hard, i)
	case IfBeyond:
		e.beyond = append(e.beyond, i)
	case IfCantRead:
		e.cantRead = append(e.cantRead, i)
	}
}

// withoutIdle returns an engine of the rules that can move a verdict: all but
// the notes, and but those notes that keep a later rule of their cascade from
// standing.
func (e *Engine) withoutIdle() *Engine {
	s := &Engine{set: e.set, suits: e.suits, grades: e.grades}
	for i := range e.rules {
		r := &e.rules[i]
		moves := r.severity > Note
		for j := i + 1; j < len(e.rules) && !moves; j++ {
			moves = r.cascade != 0 && e.rules[j].cascade == r.cascade && e.rules[j].severity > Note
		}
		if moves {
			s.rules = append(s.rules, *r)
			s.decides |= r.reads()
		}
	}
	s.index()
	return s
}

// reads returns the columns that r goes by.
func (r *rule) reads() ColSet {
	var s ColSet
	zones := func(p Part) {
		first, n := p.Zones()
		for z := first; z < first+Col(n); z++ {
			s = s.With(z).With(z + DepthOf)
		}
	}
	switch r.If {
	case IfZone:
		zones(r.part)
		if r.press != Unread {
			s = s.With(pressOf(r.part))
		}
	case IfWholePart, IfUneven:
		zones(r.part)
	case IfTilt:
		s = s.With(Tilt)
	case IfStand:
		s = s.With(Stand).With(Tilt)
	case IfCantRead, IfBeyond:
	default:
		s = s.With(r.check)
	}
	if r.second != Unread {
		s = s.With(SecondSays)
	}
	switch {
	case r.again == Unread:
	case r.check == FlexSide:
		s = s.With(FlexAgain)
	default:
		s = s.With(TorsionAgain)
	}
	return s
}

// pressOf returns the press check of a part that has one: heel or forefoot.
func pressOf(p Part) Col {
	if p == Heel {
		return PressHeel
	}
	return PressFore
}
