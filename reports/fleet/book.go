package fleet

import (
	"math/bits"
	"slices"
)

// book is what each column of a row adds to its key, put down once for a
// question: a key is then a few look-ups, whatever and however many the packed
// dimensions and the conditions on them are.
type book struct {
	// By the bytes of the packed dimensions; wide says that those of the second half
	// count.
	bytes [4][256]uint32
	wide  bool
	// By code; empty where the question groups by neither.
	model, store []uint32
	// For each month from that of epochDay, and for each number of an interval of
	// life; 0 where the question goes by neither.
	month, interval uint32
	// By distance, as in the column; empty where the question doesn't go by it.
	km []uint32
}

// leftOut is how many times as many cells a question with conditions needs: for
// each byte of the packed dimensions, a row that a condition leaves out is counted
// in a cell behind those of the question. That costs nothing; asking of each row
// whether it is left out would.
const leftOut = 5

// countersInBook returns how many cells a question needs that goes by a book;
// false where it doesn't.
func (g *grouping) countersInBook() (int, bool) {
	q, n := g.query, g.counters()
	if len(q.what) > 0 {
		n *= leftOut
	}
	if n > g.mostCounters() || q.oneModel >= 0 || q.store != nil || q.staff != nil || q.batch != nil || q.reason != nil || q.byCode || q.byKM {
		return 0, false
	}
	if g.by == nil && slices.ContainsFunc(q.what, func(t fieldTest) bool { return t.half() > 0 }) {
		return 0, false // rows are sooner picked than looked up in both halves
	}
	return int(n), !slices.ContainsFunc(g.dims, func(d Dim) bool { return d == Code || d == Reason || d == Staff || d == Batch })
}

// write puts a question down.
func (b *book) write(g *grouping) {
	var each [32]uint32 // bit of the packed dimensions
	b.model, b.store, b.month, b.interval, b.km = b.model[:0], b.store[:0], 0, 0, b.km[:0]
	names, all, stride := g.view.names, uint32(g.counters()), uint32(1)
	for i, d := range slices.Backward(g.dims) {
		switch d {
		case Month:
			b.month = stride
		case Model:
			b.model = addCodes(b.model, len(names.models), stride, func(code int) uint32 { return uint32(code) })
		case Category:
			b.model = addCodes(b.model, len(names.models), stride, func(code int) uint32 { return uint32(names.category[code]) })
		case Store:
			b.store = addCodes(b.store, len(names.stores), stride, func(code int) uint32 { return uint32(code) })
		case Region:
			b.store = addCodes(b.store, len(names.stores), stride, func(code int) uint32 { return uint32(names.region[code]) })
		default:
			f := packed[d]
			for bit := range f.bits {
				each[f.shift+bit] = stride << bit
			}
		}
		stride *= uint32(g.sizes[i])
	}
	b.wide = false
	for k := range b.bytes {
		part, shift := &b.bytes[k], 8*k
		part[0] = 0
		for i := 1; i < len(part); i++ {
			part[i] = part[i&(i-1)] + each[shift+bits.TrailingZeros(uint(i))]
		}
		for _, t := range g.query.what {
			if int(t.shift)/8 != k {
				continue
			}
			for i := range part {
				if !t.allows(uint32(i)<<shift) && part[i] < all {
					part[i] += all
				}
			}
		}
		b.wide = b.wide || k > 1 && *part != [256]uint32{}
	}
	if g.by != nil {
		g.by.write(b, g)
	}
}

// addWords adds to the keys of rows by the code of a packed dimension.
func (b *book) addWords(d Dim, add func(code uint32) uint32) {
	f := packed[d]
	part, shift := &b.bytes[f.shift/8], f.shift/8*8
	for i := range part {
		part[i] += add(f.of(uint32(i) << shift))
	}
}

// addCodes adds a dimension, times stride, to what codes add to a key.
func addCodes(list []uint32, n int, stride uint32, word func(code int) uint32) []uint32 {
	if len(list) == 0 {
		list = slices.Grow(list, n)[:n]
		clear(list)
	}
	for code := range list {
		list[code] += stride * word(code)
	}
	return list
}

// mostBanked is up to how many cells there are two of each.
const mostBanked = 1 << 16

// count counts every row of a block of a sealed segment, struck out or not, whose
// model is allowed. Rows take turns between two banks of cells: few cells are
// often those of the row before as well, and the processor would wait for them.
func (b *book) count(q *query, s *segment, base int, of *[2][]uint32) {
	end := min(base+blockRows, s.n)
	month := b.month * uint32(s.month)
	cells := &[2][]uint32{of[0][month:], of[1][month:]}
	more := b.more(q, s, base, end)
	half := s.what[0][base:end]
	if len(b.model) == 0 && q.model == nil {
		b.countRun(half, more, 0, cells)
		return
	}
	run, _ := slices.BinarySearch(s.ends, uint16(base+1))
	for from := 0; from < len(half); run++ {
		model, to := s.models[run], min(int(s.ends[run])-base, len(half))
		if q.model == nil || q.model[model] {
			add := uint32(0)
			if len(b.model) > 0 {
				add = b.model[model]
			}
			if more == nil {
				b.countRun(half[from:to], nil, add, cells)
			} else {
				b.countRun(half[from:to], more[from:to], add, cells)
			}
		}
		from = to
	}
}

// more returns what the columns beside the first half of the packed dimensions add
// to the keys of a block's rows; nil where they add nothing.
func (b *book) more(q *query, s *segment, base, end int) []uint32 {
	if b.interval == 0 && len(b.km) == 0 && len(b.store) == 0 && !b.wide {
		return nil
	}
	more := q.room().more[:end-base]
	if len(b.km) > 0 {
		s.km.read(base, 1, more)
		for i, km := range more {
			more[i] = b.km[km]
		}
	} else {
		s.interval.read(base, b.interval, more)
	}
	if len(b.store) > 0 {
		for i, c := range s.store[base:end] {
			more[i] += b.store[c]
		}
	}
	if b.wide {
		for i, half := range s.what[1][base:end] {
			more[i] += b.bytes[2][half&0xff] + b.bytes[3][half>>8]
		}
	}
	return more
}

// countRun counts rows by the first half of their packed dimensions, and what else
// adds to their keys: more of each, add of all.
func (b *book) countRun(half []uint16, more []uint32, add uint32, cells *[2][]uint32) {
	low, high, one, two := &b.bytes[0], &b.bytes[1], cells[0], cells[1]
	if more == nil {
		for ; len(half) > 3; half = half[4:] {
			x := four(half)
			one[add+low[x&0xff]+high[x>>8&0xff]]++
			two[add+low[x>>16&0xff]+high[x>>24&0xff]]++
			one[add+low[x>>32&0xff]+high[x>>40&0xff]]++
			two[add+low[x>>48&0xff]+high[x>>56]]++
		}
		for _, x := range half {
			one[add+low[x&0xff]+high[x>>8]]++
		}
		return
	}
	more = more[:len(half)]
	for i, x := range half {
		one[add+low[x&0xff]+high[x>>8]+more[i]]++
	}
}
