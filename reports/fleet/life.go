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

// The two ends of an interval of life in a key, and what stands there instead.
const (
	lifeBits     = 2 * kmBits
	lifeMask     = 1<<lifeBits - 1
	lifeUnknown  = lifeMask     // no end is as large
	lifeContrary = lifeMask - 1 // likewise
)

// errReadings refuses to answer for readings what is of pairs.
var errReadings = assess.FieldError{Field: "readings", Want: "pairs: the answer is about each pair once", Err: assess.ErrInconsistent}

// Life counts the distinct intervals of life of the pairs that a filter picks.
// Filter.Readings must not be set: an interval is a pair's.
func (v *View) Life(f Filter, dims ...Dim) ([]LifeGroup, error) {
	if f.Readings {
		return nil, errReadings
	}
	return distinct(v, "life", &f, dims, lifeBits, underLife, func(by []string) LifeGroup { return LifeGroup{By: by} }, (*LifeGroup).add)
}

// underKeys writes what is counted of a block's rows under their keys, in bits
// that the keys are moved up by.
type underKeys func(s *segment, base int, rows []uint16, keys []uint64)

// underLife writes an interval so that keys sort as spans do.
func underLife(s *segment, base int, rows []uint16, keys []uint64) {
	for k, i := range rows {
		lower, upper, contrary := s.lifeAt(base + int(i))
		under := lower<<kmBits | (upper-1)&kmMask
		switch {
		case contrary:
			under = lifeContrary
		case lower|upper == 0:
			under = lifeUnknown
		}
		keys[k] = keys[k]<<lifeBits | under
	}
}

func (g *LifeGroup) add(key uint64, n int) {
	switch key {
	case lifeContrary:
		g.Contradicting = n
	case lifeUnknown:
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
)

func conditionOf(v assess.Verdict) uint64 {
	switch v {
	case assess.Keep, assess.RecheckPair:
		return sound
	case assess.ReplacePair, assess.RetirePair:
		return worn
	}
	return neither
}

// Looks counts at which distances the rows that a filter picks were seen, and in
// which condition: the current status of pairs, or with Filter.Readings how
// distances heap.
func (v *View) Looks(f Filter, dims ...Dim) ([]LookGroup, error) {
	return distinct(v, "looks", &f, dims, lookBits, underLook(1), func(by []string) LookGroup { return LookGroup{By: by} }, (*LookGroup).add)
}

// Bands is Looks by bands of distance, each of width km: a Look's KM is where its
// band begins. Of a whole fleet it takes a fraction of the time.
func (v *View) Bands(f Filter, width int, dims ...Dim) ([]LookGroup, error) {
	if width < 1 {
		return nil, assess.FieldError{Field: "width", Want: "at least a kilometre", Err: assess.ErrOutOfRange}
	}
	return distinct(v, fmt.Sprint("bands ", width), &f, dims, lookBits, underLook(uint64(width)), func(by []string) LookGroup { return LookGroup{By: by} }, (*LookGroup).add)
}

// lookBits is what a distance and a condition take.
const lookBits = kmBits + 2

// underLook writes the band of a distance and the condition.
func underLook(width uint64) underKeys {
	return func(s *segment, base int, rows []uint16, keys []uint64) {
		for k, row := range rows {
			i := base + int(row)
			km := s.kmAt(i)
			if km > 0 {
				km -= (km - 1) % width
			}
			keys[k] = keys[k]<<lookBits | km<<2 | conditionOf(assess.Verdict(packed[Verdict].of(s.whatAt(i))))
		}
	}
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

// distinct counts the distinct values of the rows of each group, which key writes
// in so many bits. Groups come in the order of words, the values of a group from
// the least.
func distinct[E any](v *View, kind string, f *Filter, dims []Dim, bits int, under underKeys, begin func(by []string) E, add func(*E, uint64, int)) ([]E, error) {
	return answered(v, kind, f, dims, func(g *grouping) (sum[E], error) {
		if g.cellsN > 1<<(63-bits) {
			return nil, assess.FieldError{Field: "by", Want: "fewer groups at once", Err: assess.ErrOutOfRange}
		}
		return &values[E]{counts: counts{tally: scratchTable()}, bits: bits, under: under, begin: begin, put: add}, nil
	})
}

// values is the sum of distinct.
type values[E any] struct {
	counts
	bits  int
	under underKeys
	begin func(by []string) E
	put   func(group *E, key uint64, n int)
	keys  []uint64 // of the rows that are being counted, where they have several
}

func (d *values[E]) scan(g *grouping) {
	g.view.scan(g.query, func(sel *selection) { d.change(g, sel, 1) })
}

func (d *values[E]) change(g *grouping, sel *selection, sign int) {
	// All keys first: the processor then waits for several places of the table at
	// once.
	var keys []uint64
	if slices.Contains(g.dims, Code) {
		d.keys = d.keys[:0]
		g.keys(sel, func(row uint16, key uint64) {
			d.keys = append(d.keys, key)
			d.under(sel.segment, sel.base, []uint16{row}, d.keys[len(d.keys)-1:])
		})
		keys = d.keys
	} else {
		keys = keysOf(g, sel.segment, sel.base, sel.rows, g.query.room().key[:len(sel.rows)])
		d.under(sel.segment, sel.base, sel.rows, keys)
	}
	for _, key := range keys {
		*d.table.at(key) += uint32(sign)
	}
}

func (d *values[E]) lines(g *grouping) []E {
	type counted struct {
		place, key uint64
		n          uint32
	}
	all := make([]counted, 0, d.table.n)
	d.table.each(func(key uint64, n uint32) { all = append(all, counted{g.place(key >> d.bits), key, n}) })
	slices.SortFunc(all, func(a, b counted) int { return cmp.Or(cmp.Compare(a.place, b.place), cmp.Compare(a.key, b.key)) })
	var groups []E
	for i, c := range all {
		if i == 0 || c.key>>d.bits != all[i-1].key>>d.bits {
			groups = append(groups, d.begin(g.words(c.key>>d.bits)))
		}
		d.put(&groups[len(groups)-1], c.key&(1<<d.bits-1), int(c.n))
	}
	return groups
}

func (d *values[E]) keep() (sum[E], int) {
	n := d.settle()
	d.keys = nil
	if n > answerBytes {
		return nil, n
	}
	return d, n
}
