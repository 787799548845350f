package fleet

import (
	"cmp"
	"fmt"
	"slices"

	"solewright/assess"
)

// Span is how many pairs were worn out after Lower km and no later than Upper;
// an unread Upper says sound so far. Lower 0 with an Upper says worn at its first
// look.
type Span struct {
	Lower int
	Upper assess.Value
	N     int
}

// LifeGroup is the intervals of life of the pairs with the words By.
type LifeGroup struct {
	By    []string
	Spans []Span // by Lower, then Upper, the open one last
	// Contradicting pairs and those of Unknown distance have no interval.
	Contradicting, Unknown int
}

// spanKey writes an interval so that keys sort as spans do, those that are none
// last.
func spanKey(key uint64) uint64 {
	switch i := interval(key); {
	case i.contradicts():
		return spanContrary
	case i == 0:
		return spanUnknown
	default:
		return i.lower()<<kmBits | (i.upper()-1)&kmMask
	}
}

// What stands for pairs without an interval: no end is as large.
const (
	spanUnknown  = 1<<(2*kmBits) - 1
	spanContrary = spanUnknown - 1
)

// errReadings refuses to answer for readings what is of pairs.
var errReadings = assess.FieldError{Field: "readings", Want: "pairs: the answer is about each pair once", Err: assess.ErrInconsistent}

// Life counts the distinct intervals of life of the pairs that a filter picks.
// Filter.Readings must not be set: an interval is a pair's.
func (v *View) Life(f Filter, dims ...Dim) ([]LifeGroup, error) {
	if f.Readings {
		return nil, errReadings
	}
	return distinct(v, "life", &f, dims, &value{
		size: func(g *grouping) uint64 { return uint64(len(g.query.intervals)) },
		codes: func(s *segment, base int, rows []uint16, codes []uint64) {
			for k, i := range rows {
				codes[k] = uint64(s.intervalAt(base + int(i)))
			}
		},
		key:     func(q *query, number uint64) uint64 { return spanKey(q.intervals[number]) },
		inOrder: func(g *grouping) []uint32 { return g.query.spans() },
		write:   func(b *book, g *grouping) { b.interval = uint32(g.cellsN) },
	}, func() func(by []string, values int) LifeGroup {
		spans := lists[Span]()
		return func(by []string, values int) LifeGroup { return LifeGroup{By: by, Spans: spans(values)} }
	}, (*LifeGroup).add)
}

// Join puts the pairs of another group to those of the group, whose intervals are then
// its own.
func (g *LifeGroup) Join(other LifeGroup) {
	g.Contradicting, g.Unknown = g.Contradicting+other.Contradicting, g.Unknown+other.Unknown
	all := slices.Concat(g.Spans, other.Spans)
	open := func(s Span) int { return one(!s.Upper.OK()) }
	slices.SortFunc(all, func(a, b Span) int {
		return cmp.Or(cmp.Compare(a.Lower, b.Lower), cmp.Compare(open(a), open(b)), cmp.Compare(a.Upper.Int(), b.Upper.Int()))
	})
	g.Spans = all[:0]
	for _, s := range all {
		if n := len(g.Spans); n > 0 && g.Spans[n-1].Lower == s.Lower && g.Spans[n-1].Upper == s.Upper {
			g.Spans[n-1].N += s.N
			continue
		}
		g.Spans = append(g.Spans, s)
	}
}

func (g *LifeGroup) add(key uint64, n int) {
	switch key {
	case spanContrary:
		g.Contradicting += n
	case spanUnknown:
		g.Unknown = n
	default:
		s := Span{Lower: int(key>>kmBits) - 1, N: n}
		if upper := key & kmMask; upper != kmMask {
			s.Upper = assess.Of(int(upper))
		}
		g.Spans = append(g.Spans, s)
	}
}

// Look is how many rows were seen at a distance, and how many of them were
// advised keep or recheck (sound), or replace or retire (worn). The rest was
// incomplete or not judged.
type Look struct {
	KM, N, Sound, Worn int
}

// LookGroup is the looks at the rows with the words By.
type LookGroup struct {
	By      []string
	Looks   []Look // by distance
	Unknown int    // rows without a distance
}

// condition is what a look found.
const (
	neither = iota
	sound
	worn
	conditions
)

// conditionOf returns the condition by the code of a verdict.
func conditionOf(code uint32) uint64 { return uint64(conditionByCode[code&7]) }

var conditionByCode = [8]uint8{assess.Keep: sound, assess.RecheckPair: sound, assess.ReplacePair: worn, assess.RetirePair: worn}

// Looks counts at which distances the rows that a filter picks were seen, and in
// which condition: the current status of pairs, or with Filter.Readings how
// distances heap.
func (v *View) Looks(f Filter, dims ...Dim) ([]LookGroup, error) {
	return distinct(v, "looks", &f, dims, looked(1), newLookGroups, (*LookGroup).add)
}

// Bands is Looks by bands of distance, each of width km: a Look's KM is where its
// band begins. Of a whole fleet it takes a fraction of the time.
func (v *View) Bands(f Filter, width int, dims ...Dim) ([]LookGroup, error) {
	if width < 1 {
		return nil, assess.FieldError{Field: "width", Want: "at least a kilometre", Err: assess.ErrOutOfRange}
	}
	return distinct(v, fmt.Sprint("bands ", width), &f, dims, looked(uint64(width)), newLookGroups, (*LookGroup).add)
}

func newLookGroups() func(by []string, values int) LookGroup {
	looks := lists[Look]()
	return func(by []string, values int) LookGroup {
		return LookGroup{By: by, Looks: looks((values + conditions - 1) / conditions)}
	}
}

// lists returns what makes empty lists with room for so many. Many of them lie in one
// piece of memory, which takes a fraction of the time.
func lists[T any]() func(n int) []T {
	const together = 1 << 10
	var room []T
	return func(n int) []T {
		if n > len(room) {
			room = make([]T, max(n, together))
		}
		list := room[:0:n]
		room = room[n:]
		return list
	}
}

// looked is the band of a distance and the condition: the number of the band, 0 for
// an unknown distance, times conditions, and the condition.
func looked(width uint64) *value {
	band := bands(width)
	size := func(g *grouping) uint64 { return conditions * (1 + band(g.mostKM())) }
	return &value{
		size: size,
		codes: func(s *segment, base int, rows []uint16, codes []uint64) {
			for k, row := range rows {
				i := base + int(row)
				codes[k] = conditions*band(s.kmAt(i)) + conditionOf(packed[Verdict].of(s.whatAt(i)))
			}
		},
		key: func(_ *query, code uint64) uint64 {
			km := uint64(0)
			if band := code / conditions; band > 0 {
				km = 1 + (band-1)*width
			}
			return km<<2 | code%conditions
		},
		inOrder: func(g *grouping) []uint32 {
			codes := make([]uint32, size(g))
			for code := range codes {
				codes[code] = uint32(code)
			}
			return codes
		},
		write: func(b *book, g *grouping) {
			b.km = slices.Grow(b.km, int(g.mostKM())+1)[:g.mostKM()+1]
			for km := range b.km {
				b.km[km] = uint32(conditions * band(uint64(km)) * g.cellsN)
			}
			b.addWords(Verdict, func(code uint32) uint32 { return uint32(conditionOf(code) * g.cellsN) })
		},
	}
}

// bands returns the number of the band, each of a width, that a distance lies in, as
// both stand in a column: 0 is unknown. It multiplies by one over the width, which is
// exact in so many bits (Warren 2013, Hacker's Delight, 10-9); to divide takes several
// times as long.
func bands(width uint64) func(km uint64) uint64 {
	const precision = 2*kmBits + 8
	inverse := 1<<precision/min(width, 1<<kmBits) + 1 // of all that are wider, every distance is in the first
	return func(km uint64) uint64 {
		if km == 0 {
			return 0
		}
		return 1 + (km-1)*inverse>>precision
	}
}

// mostKM returns what no distance of a question's rows is beyond, as in the column.
func (g *grouping) mostKM() uint64 {
	if g.kmOf == g.view { // each block of rows asks
		return g.km
	}
	most := uint64(0)
	for _, s := range g.view.segments {
		if !g.query.passes(s) {
			most = max(most, s.mostKM())
		}
	}
	g.kmOf, g.km = g.view, min(most, g.query.kmLast)
	return g.km
}

func (g *LookGroup) add(key uint64, n int) {
	km := int(key>>2) - 1
	if km < 0 {
		g.Unknown += n
		return
	}
	if len(g.Looks) == 0 || g.Looks[len(g.Looks)-1].KM != km {
		g.Looks = append(g.Looks, Look{KM: km})
	}
	l := &g.Looks[len(g.Looks)-1]
	l.N += n
	switch key & 3 {
	case sound:
		l.Sound = n
	case worn:
		l.Worn = n
	}
}

// value is what distinct tells rows of a group apart by: a code of less than
// codeBits bits.
type value struct {
	// size returns how many codes there are.
	size func(g *grouping) uint64
	// codes writes the codes of a block's rows.
	codes func(s *segment, base int, rows []uint16, codes []uint64)
	// key returns what a code stands for; values sort by it.
	key func(q *query, code uint64) uint64
	// inOrder returns all codes, in the order of their keys.
	inOrder func(g *grouping) []uint32
	// write puts down what a row's code, times the number of cells, adds to its key.
	write func(b *book, g *grouping)
}

const codeBits = 32

// distinct counts the distinct values of the rows of each group. Groups come in
// the order of words, the values of a group from the least. What a group begins
// with is told how many values it has.
func distinct[E any](v *View, kind string, f *Filter, dims []Dim, of *value, begin func() func(by []string, values int) E, add func(*E, uint64, int)) ([]E, error) {
	return answered(v, kind, f, dims, func(g *grouping) (sum[E], error) {
		if g.cellsN > 1<<(63-codeBits) {
			return nil, assess.FieldError{Field: "by", Want: "fewer groups at once", Err: assess.ErrOutOfRange}
		}
		g.by = of
		return &values[E]{counts: counts{tally: g.tally()}, of: of, begin: begin, put: add}, nil
	})
}

// values is the sum of distinct. Codes are the slowest part of a key: intervals that
// come in new have keys behind those that are counted.
type values[E any] struct {
	counts
	of    *value
	begin func() func(by []string, values int) E // for each answer that is written
	put   func(group *E, key uint64, n int)
}

func (d *values[E]) scan(g *grouping) {
	g.addUp(d.tally, func(sel *selection, sign int) { d.change(g, sel, sign) })
}

func (d *values[E]) change(g *grouping, sel *selection, sign int) {
	if len(d.dense) > 0 {
		d.dense = atLeast(d.dense, int(g.counters()))
	}
	codes := g.query.room().code[:len(sel.rows)]
	d.of.codes(sel.segment, sel.base, sel.rows, codes)
	for k := range codes {
		codes[k] *= g.cellsN
	}
	if slices.Contains(g.dims, Code) {
		k, last := -1, -1
		g.keys(sel, func(row uint16, key uint64) {
			if int(row) != last {
				k, last = k+1, int(row)
			}
			d.tally.put(codes[k]+key, sign)
		})
		return
	}
	// All keys first: the processor then waits for several places of the table at
	// once.
	keys := keysOf(g, sel.segment, sel.base, sel.rows, g.query.room().key[:len(sel.rows)])
	for k := range keys {
		keys[k] += codes[k]
	}
	if len(d.dense) > 0 {
		for _, key := range keys {
			d.dense[key] += uint32(sign)
		}
		return
	}
	for _, key := range keys {
		d.tally.put(key, sign)
	}
}

func (d *values[E]) lines(g *grouping) []E {
	var groups []E
	if len(d.dense) > 0 {
		return d.denseLines(g)
	}
	type counted struct {
		place, group, key uint64
		n                 uint32
	}
	all := make([]counted, 0, d.table.n)
	d.table.each(func(key uint64, n uint32) {
		group := key % g.cellsN
		all = append(all, counted{g.place(group), group, d.of.key(g.query, key/g.cellsN), n})
	})
	slices.SortFunc(all, func(a, b counted) int { return cmp.Or(cmp.Compare(a.place, b.place), cmp.Compare(a.key, b.key)) })
	begin := d.begin()
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].group == all[0].group {
			n++
		}
		group := begin(g.words(all[0].group), n)
		for _, c := range all[:n] {
			d.put(&group, c.key, int(c.n))
		}
		groups, all = append(groups, group), all[n:]
	}
	return groups
}

// denseLines writes the answer of an array. It goes through the array as it lies, the
// counts of a code by group: by group it would look into another part of memory for
// each code.
func (d *values[E]) denseLines(g *grouping) []E {
	codes, cells := d.of.inOrder(g), int(g.cellsN)
	of := func(code uint32) []uint32 { return d.dense[int(code)*cells:][:cells] }
	held, total := make([]int, cells), 0 // how many values each group has
	for _, code := range codes {
		g.view.Rest()
		for group, n := range of(code) {
			held[group] += one(n > 0)
		}
	}
	for _, n := range held {
		total += one(n > 0)
	}
	groups := make([]E, 0, total)
	room := make([]string, total*len(g.dims))
	begin := d.begin()
	place := held // of each group among those that are answered, once they are begun
	g.inOrder(func(group uint64, by []string) {
		if n := held[group]; n > 0 {
			own := room[:len(by):len(by)]
			copy(own, by)
			place[group], room = len(groups), room[len(by):]
			groups = append(groups, begin(own, n))
		}
	})
	for _, code := range codes {
		g.view.Rest()
		key := d.of.key(g.query, uint64(code))
		for group, n := range of(code) {
			if n > 0 {
				d.put(&groups[place[group]], key, int(n))
			}
		}
	}
	return groups
}

func (d *values[E]) keep() (sum[E], int) {
	n := d.settle()
	if n > answerBytes {
		return nil, n
	}
	return d, n
}
