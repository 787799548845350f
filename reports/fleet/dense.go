package fleet

import (
	"math/bits"
	"slices"
)

// addUp counts the rows of a question. Whole segments are counted by a book, where
// the question goes by one; of other rows, and of those that have to be taken off
// again, change is told.
func (g *grouping) addUp(t *tally, change func(sel *selection, sign int)) {
	add := func(sel *selection) { change(sel, 1) }
	n, ok := g.countersInBook()
	if !ok || len(t.dense) == 0 {
		g.view.scan(g.query, add)
		return
	}
	b := &g.query.room().book
	b.write(g)
	banks := 1
	if n <= mostBanked {
		banks = 2
	}
	cells := t.withRoom(banks * n)
	bank := &[2][]uint32{cells[:n], cells[(banks-1)*n:]}
	g.view.segmentsOf(g.query, func(s *segment) {
		if !s.sealed || !g.query.within(s) {
			g.query.scan(s, add)
			return
		}
		for base := 0; base < s.n; base += blockRows {
			b.count(g.query, s, base, bank)
		}
		g.query.eachStruck(s, func(sel *selection) { change(sel, -1) })
	})
	if banks > 1 {
		for key := range t.dense {
			t.dense[key] += bank[1][key]
		}
	}
}

// eachStruck calls f with the rows of a segment that are struck out and would be
// picked if they weren't. What f gets is used again.
func (q *query) eachStruck(s *segment, f func(*selection)) {
	if s.numStruck == 0 {
		return
	}
	var rows [1]uint16
	sel := selection{segment: s}
	for k, word := range s.struck {
		for ; word != 0; word &= word - 1 {
			i := 64*k + bits.TrailingZeros64(word)
			rows[0], sel.base = uint16(i%blockRows), i-i%blockRows
			if sel.rows = q.narrowed(s, sel.base, rows[:], q.tests); len(sel.rows) > 0 {
				f(&sel)
			}
		}
	}
}

// keyInt is what keys are written in: few cells have room in thirty-two bits.
type keyInt interface{ uint32 | uint64 }

// keysOf writes the keys of a block's rows, without their codes of findings.
func keysOf[K keyInt](g *grouping, s *segment, base int, rows []uint16, key []K) []K {
	clear(key)
	stride := K(1)
	for i, d := range slices.Backward(g.dims) {
		addKeys(g, d, stride, s, base, rows, key)
		stride *= K(g.sizes[i])
	}
	return key
}

// addKeys adds the codes of a dimension, times stride, to the keys of the rows of
// a block.
func addKeys[K keyInt](g *grouping, d Dim, stride K, s *segment, base int, rows []uint16, key []K) {
	names, findings, b := g.view.names, g.query.findings, g.query.room()
	end := min(base+blockRows, s.len())
	switch d {
	case Code:
	case Model:
		s.eachModel(base, rows, func(from, to int, model uint16) { addAll(key[from:to], stride*K(model)) })
	case Store:
		addColumn(key, stride, rows, s.stores(base, end, b))
	case Staff:
		addEach(key, stride, rows, func(i int) uint32 { return uint32(s.staffAt(base + i)) })
	case Reason:
		addEach(key, stride, rows, func(i int) uint32 { return uint32(findings[s.findingAt(base+i)].first) })
	case Batch:
		addEach(key, stride, rows, func(i int) uint32 { return s.batchAt(base + i) })
	case Category:
		s.eachModel(base, rows, func(from, to int, model uint16) { addAll(key[from:to], stride*K(names.category[model])) })
	case Region:
		addGroup(key, stride, rows, s.stores(base, end, b), names.region)
	case Month:
		addAll(key, stride*K(s.month))
	default:
		f := packed[d]
		addField(key, stride, rows, s.whats(f.half(), base, end, b), f)
	}
}

func addEach[K keyInt](key []K, stride K, rows []uint16, code func(i int) uint32) {
	for k, i := range rows {
		key[k] += stride * K(code(int(i)))
	}
}

func addAll[K keyInt](key []K, code K) {
	for k := range key {
		key[k] += code
	}
}

func addColumn[K keyInt](key []K, stride K, rows, column []uint16) {
	for k, i := range rows {
		key[k] += stride * K(column[i])
	}
}

func addGroup[K keyInt, C uint8 | uint16](key []K, stride K, rows, column []uint16, group []C) {
	for k, i := range rows {
		key[k] += stride * K(group[column[i]])
	}
}

func addField[K keyInt](key []K, stride K, rows, half []uint16, f field) {
	for k, i := range rows {
		key[k] += stride * K(f.in(half[i]))
	}
}
