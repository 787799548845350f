package fleet

import (
	"math/bits"
	"slices"
)

// book is what each column of a row adds to its key, put down once for a
// question: a key is then a few look-ups, whatever and however many the packed
// dimensions and the conditions on them are.
type book struct {
	// By the bits of the packed dimensions, in three parts.
	low  [1 << lowBits]uint32
	mid  [1 << midBits]uint32
	high [1 << highBits]uint32
	// By code; empty where the question groups by neither.
	model, store []uint32
	// For each month from that of epochDay, and for each number of an interval of
	// life; 0 where the question goes by neither.
	month, interval uint32
	// By distance, as in the column; empty where the question doesn't go by it.
	km []uint32
}

// The parts of the packed dimensions; no dimension lies in two of them.
const (
	lowBits  = 11
	midBits  = 11
	highBits = 32 - lowBits - midBits
)

// of returns what the packed dimensions add to a key.
func (b *book) of(what uint32) uint32 {
	return b.low[what&(1<<lowBits-1)] + b.mid[what>>lowBits&(1<<midBits-1)] + b.high[what>>(lowBits+midBits)]
}

// leftOut is how many times as many cells a question with conditions needs: for
// each part of the packed dimensions, a row that a condition leaves out is counted
// in a cell behind those of the question. That costs nothing; asking of each row
// whether it is left out would.
const leftOut = 4

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
	shift := 0
	for _, part := range [][]uint32{b.low[:], b.mid[:], b.high[:]} {
		part[0] = 0
		for i := 1; i < len(part); i++ {
			part[i] = part[i&(i-1)] + each[shift+bits.TrailingZeros(uint(i))]
		}
		size := bits.Len(uint(len(part) - 1))
		for _, t := range g.query.what {
			if int(t.shift) < shift || int(t.shift) >= shift+size {
				continue
			}
			for i := range part {
				if !t.allows(uint32(i)<<shift) && part[i] < all {
					part[i] += all
				}
			}
		}
		shift += size
	}
	if g.by != nil {
		g.by.write(b, g)
	}
}

// addWords adds to the keys of rows by the code of a packed dimension.
func (b *book) addWords(d Dim, add func(code uint32) uint32) {
	f, shift := packed[d], uint8(0)
	for _, part := range [][]uint32{b.low[:], b.mid[:], b.high[:]} {
		size := uint8(bits.Len(uint(len(part) - 1)))
		if f.shift >= shift && f.shift < shift+size {
			for i := range part {
				part[i] += add(f.of(uint32(i) << shift))
			}
		}
		shift += size
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

// count counts every row of a block of a sealed segment, struck out or not, whose
// model is allowed.
func (b *book) count(q *query, s *segment, base int, cells []uint32) {
	end := min(base+blockRows, s.n)
	cells = cells[b.month*uint32(s.month):]
	var more []uint32 // that its interval and its store add to each row's key
	switch {
	case len(b.km) > 0:
		more = q.room().more[:end-base]
		s.km.read(base, 1, more)
		for i, km := range more {
			more[i] = b.km[km]
		}
	case b.interval > 0 || len(b.store) > 0:
		more = q.room().more[:end-base]
		s.interval.read(base, b.interval, more)
	}
	if len(b.store) > 0 {
		for i, c := range s.store[base:end] {
			more[i] += b.store[c]
		}
	}
	byModel := len(b.model) > 0 || q.model != nil
	run := 0
	if byModel {
		run, _ = slices.BinarySearch(s.ends, uint16(base+1))
	}
	for from, to := base, end; from < end; from, run = to, run+1 {
		of := cells
		if byModel {
			model := s.models[run]
			if to = min(int(s.ends[run]), end); q.model != nil && !q.model[model] {
				continue
			}
			if len(b.model) > 0 {
				of = cells[b.model[model]:]
			}
		}
		what := s.what[from:to]
		if more == nil {
			for _, w := range what {
				of[b.of(w)]++
			}
			continue
		}
		more := more[from-base:][:len(what)]
		for i, w := range what {
			of[b.of(w)+more[i]]++
		}
	}
}
