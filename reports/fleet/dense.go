package fleet

import (
	"math/bits"
	"slices"
)

// countDense counts by dimensions of which a row has one word each, in an array
// by key. A segment that is picked whole is counted straight from its columns.
func (g *grouping) countDense(cells []uint32) {
	var keys [blockRows]uint32
	g.view.segmentsOf(g.query, func(s *segment) {
		if g.query.picksAll(s) {
			g.countAll(s, cells, &keys)
			return
		}
		g.query.scan(s, func(sel *selection) {
			for _, k := range keysOf(g, s, sel.base, sel.rows, keys[:len(sel.rows)]) {
				cells[k]++
			}
		})
	})
}

// countAll counts the rows of a segment without choosing, and takes off again
// the few that are struck.
func (g *grouping) countAll(s *segment, cells []uint32, keys *[blockRows]uint32) {
	if !s.sealed || !g.countPacked(s, cells) {
		for base := 0; base < s.len(); base += blockRows {
			for _, k := range keysOf(g, s, base, nil, keys[:min(blockRows, s.len()-base)]) {
				cells[k]++
			}
		}
	}
	if s.numStruck == 0 {
		return
	}
	var struck [1]uint16
	for k, word := range s.struck {
		for ; word != 0; word &= word - 1 {
			i := 64*k + bits.TrailingZeros64(word)
			struck[0] = uint16(i % blockRows)
			cells[keysOf(g, s, i-i%blockRows, struck[:], keys[:1])[0]]--
		}
	}
}

// countPacked counts all rows of a sealed segment in one pass, where the question
// is one of those that pages ask most: by a packed dimension, or by two, or by
// model or store and one. It returns false where it is another.
func (g *grouping) countPacked(s *segment, cells []uint32) bool {
	n := len(g.dims)
	if n == 0 || n > 2 || packed[g.dims[n-1]].bits == 0 {
		return false
	}
	inner, size := packed[g.dims[n-1]], uint32(g.sizes[n-1])
	switch {
	case n == 1:
		for _, w := range s.what {
			cells[inner.of(w)]++
		}
	case packed[g.dims[0]].bits > 0:
		outer := packed[g.dims[0]]
		for _, w := range s.what {
			cells[outer.of(w)*size+inner.of(w)]++
		}
	case g.dims[0] == Model:
		from := uint16(0)
		for run, to := range s.ends {
			of := cells[uint32(s.models[run])*size:][:size]
			for _, w := range s.what[from:to] {
				of[inner.of(w)]++
			}
			from = to
		}
	case g.dims[0] == Store:
		what := s.what[:len(s.store)]
		for i, c := range s.store {
			cells[uint32(c)*size+inner.of(what[i])]++
		}
	default:
		return false
	}
	return true
}

// keyInt is what keys are written in: few cells have room in thirty-two bits.
type keyInt interface{ uint32 | uint64 }

// keysOf writes the keys of a block's rows, without their codes of findings: of
// all that there is room for where rows is nil.
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
// a block: of all that there are keys for where rows is nil.
func addKeys[K keyInt](g *grouping, d Dim, stride K, s *segment, base int, rows []uint16, key []K) {
	names, findings, b := g.view.names, g.query.findings, g.query.room()
	end := min(base+blockRows, s.len())
	switch d {
	case Code:
	case Model:
		addColumn(key, stride, rows, s.modelsOf(base, end, b))
	case Store:
		addColumn(key, stride, rows, s.stores(base, end, b))
	case Staff:
		addEach(key, stride, rows, func(i int) uint32 { return uint32(s.staffAt(base + i)) })
	case Reason:
		addEach(key, stride, rows, func(i int) uint32 { return uint32(findings[s.findingAt(base+i)].first) })
	case Batch:
		addEach(key, stride, rows, func(i int) uint32 { return s.batchAt(base + i) })
	case Category:
		addGroup(key, stride, rows, s.modelsOf(base, end, b), names.category)
	case Region:
		addGroup(key, stride, rows, s.stores(base, end, b), names.region)
	case Month:
		for k := range key {
			key[k] += stride * K(s.month)
		}
	default:
		addField(key, stride, rows, s.whats(base, end, b), packed[d])
	}
}

func addEach[K keyInt](key []K, stride K, rows []uint16, code func(i int) uint32) {
	for k := range key {
		i := k
		if rows != nil {
			i = int(rows[k])
		}
		key[k] += stride * K(code(i))
	}
}

func addColumn[K keyInt](key []K, stride K, rows, column []uint16) {
	if rows == nil {
		column = column[:len(key)]
		for k, c := range column {
			key[k] += stride * K(c)
		}
		return
	}
	for k, i := range rows {
		key[k] += stride * K(column[i])
	}
}

func addGroup[K keyInt, C uint8 | uint16](key []K, stride K, rows, column []uint16, group []C) {
	if rows == nil {
		column = column[:len(key)]
		for k, c := range column {
			key[k] += stride * K(group[c])
		}
		return
	}
	for k, i := range rows {
		key[k] += stride * K(group[column[i]])
	}
}

func addField[K keyInt](key []K, stride K, rows []uint16, what []uint32, f field) {
	if rows == nil {
		what = what[:len(key)]
		for k, w := range what {
			key[k] += stride * K(f.of(w))
		}
		return
	}
	for k, i := range rows {
		key[k] += stride * K(f.of(what[i]))
	}
}
