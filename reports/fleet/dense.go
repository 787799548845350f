package fleet

import "math/bits"

// countDense counts by dimensions of which a row has one word each, in an array
// by key. A segment that is picked whole is counted straight from its columns.
func (g *grouping) countDense(cells []uint32) {
	var (
		rows [blockRows]uint16
		keys [blockRows]uint32
	)
	g.view.segmentsOf(g.query, func(s *segment) {
		if g.query.picksAll(s) {
			g.countAll(s, cells, &keys)
			return
		}
		for base := 0; base < s.len(); base += blockRows {
			n := min(blockRows, s.len()-base)
			picked := g.query.pick(s, base, rows[:n])
			for _, k := range g.keysOf(s, base, picked, keys[:len(picked)]) {
				cells[k]++
			}
		}
	})
}

// countAll counts the rows of a segment without choosing, and takes off again
// the few that are struck.
func (g *grouping) countAll(s *segment, cells []uint32, keys *[blockRows]uint32) {
	if !g.countPacked(s, cells) {
		for base := 0; base < s.len(); base += blockRows {
			for _, k := range g.keysOf(s, base, nil, keys[:min(blockRows, s.len()-base)]) {
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
			cells[g.keysOf(s, i-i%blockRows, struck[:], keys[:1])[0]]--
		}
	}
}

// keysOf writes the keys of a block's rows: of all that there is room for where
// rows is nil.
func (g *grouping) keysOf(s *segment, base int, rows []uint16, key []uint32) []uint32 {
	clear(key)
	stride := uint32(1)
	for i := len(g.dims) - 1; i >= 0; i-- {
		g.addKeys(g.dims[i], stride, s, base, rows, key)
		stride *= uint32(g.sizes[i])
	}
	return key
}

// countPacked counts all rows of a segment in one pass, where the question is one
// of those that pages ask most: by a packed dimension, or by two, or by model or
// store and one. It returns false where it is another.
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
		countUnder(cells, s.model, size, s.what, inner)
	case g.dims[0] == Store:
		countUnder(cells, s.store, size, s.what, inner)
	default:
		return false
	}
	return true
}

func countUnder(cells []uint32, outer []uint16, size uint32, what []uint32, inner field) {
	what = what[:len(outer)]
	for i, c := range outer {
		cells[uint32(c)*size+inner.of(what[i])]++
	}
}

// addKeys adds the codes of a dimension, times stride, to the keys of the rows of
// a block: of all that there are keys for where rows is nil.
func (g *grouping) addKeys(d Dim, stride uint32, s *segment, base int, rows []uint16, key []uint32) {
	names := g.view.names
	end := min(base+blockRows, s.len())
	switch d {
	case Model:
		addColumn(key, stride, rows, s.model[base:end])
	case Store:
		addColumn(key, stride, rows, s.store[base:end])
	case Staff:
		addColumn(key, stride, rows, s.staff[base:end])
	case Reason:
		addColumn(key, stride, rows, s.reason[base:end])
	case Batch:
		addColumn(key, stride, rows, s.batch[base:end])
	case Category:
		addGroup(key, stride, rows, s.model[base:end], names.category)
	case Region:
		addGroup(key, stride, rows, s.store[base:end], names.region)
	case Month:
		for k := range key {
			key[k] += stride * uint32(s.month)
		}
	default:
		addField(key, stride, rows, s.what[base:end], packed[d])
	}
}

func addColumn[C uint16 | uint32](key []uint32, stride uint32, rows []uint16, column []C) {
	if rows == nil {
		column = column[:len(key)]
		for k, c := range column {
			key[k] += stride * uint32(c)
		}
		return
	}
	for k, i := range rows {
		key[k] += stride * uint32(column[i])
	}
}

func addGroup[C uint8 | uint16](key []uint32, stride uint32, rows, column []uint16, group []C) {
	if rows == nil {
		column = column[:len(key)]
		for k, c := range column {
			key[k] += stride * uint32(group[c])
		}
		return
	}
	for k, i := range rows {
		key[k] += stride * uint32(group[column[i]])
	}
}

func addField(key []uint32, stride uint32, rows []uint16, what []uint32, f field) {
	if rows == nil {
		what = what[:len(key)]
		for k, w := range what {
			key[k] += stride * f.of(w)
		}
		return
	}
	for k, i := range rows {
		key[k] += stride * f.of(what[i])
	}
}
