package fleet

import (
	"cmp"
	"slices"
	"sync"
)

// Cell is how many rows have the words By, one for each dimension asked for.
type Cell struct {
	By []string
	N  int
}

// Count counts the rows that a filter picks by any dimensions, up to MaxDims.
// Cells without rows are left out; the order is that of the words, closed lists
// in their own order and others by the alphabet, the first dimension slowest.
// Without dimensions there is one cell, unless nothing is picked. By Code, a row
// counts once under each of its codes, and under "" where it has none.
func (v *View) Count(f Filter, dims ...Dim) ([]Cell, error) {
	return answered(v, "count", &f, dims, func(g *grouping) (sum[Cell], error) { return &counts{tally: g.tally()}, nil })
}

// counts is the sum of Count.
type counts struct {
	*tally
	own bool
}

func (c *counts) scan(g *grouping) {
	g.addUp(c.tally, func(sel *selection, sign int) { c.change(g, sel, sign) })
}

func (c *counts) change(g *grouping, sel *selection, sign int) {
	if len(c.dense) > 0 && !slices.Contains(g.dims, Code) {
		for _, key := range keysOf(g, sel.segment, sel.base, sel.rows, g.query.room().more[:len(sel.rows)]) {
			c.dense[key] += uint32(sign)
		}
		return
	}
	g.keys(sel, func(_ uint16, key uint64) { c.put(key, sign) })
}

func (c *counts) counted() *tally { return c.tally }

func (c *counts) lines(g *grouping) []Cell { return g.cells(c.tally) }

func (c *counts) keep() (sum[Cell], int) {
	n := c.settle()
	if n > answerBytes {
		return nil, n
	}
	return c, n
}

// settle moves the counts out of the memory for the next question, unless they
// take more than answerBytes, and returns what they take.
func (c *counts) settle() int {
	if c.own {
		return c.bytes()
	}
	all := c.tally
	defer all.free()
	own, n := all.copied()
	c.tally, c.own = own, true
	return n
}

// grouping is a question under way: what is picked, and what it is grouped by.
type grouping struct {
	view   *View
	query  *query
	dims   []Dim
	sizes  [MaxDims]uint64
	cellsN uint64
	// by is what each cell is counted by; nil where its rows are counted as they are.
	by *value
	// km is what mostKM found in kmOf.
	km   uint64
	kmOf *View
}

// counters returns how many counts a question has at most.
func (g *grouping) counters() uint64 {
	if g.by != nil {
		return g.cellsN * g.by.size(g)
	}
	return g.cellsN
}

// mostCounters returns up to how many counters are an array, and not a table.
func (g *grouping) mostCounters() uint64 {
	switch {
	case g.by == nil:
		return mostCounters
	case g.query.oneModel >= 0 || g.query.oneStore >= 0:
		return fewCounters
	}
	rows := 0
	for _, s := range g.view.segments {
		if !g.query.passes(s) {
			rows += s.len()
		}
	}
	return max(mostCounters, min(countersARow*uint64(rows), boundCounters))
}

// beside returns the question for another goroutine.
func (g *grouping) beside() *grouping {
	b, q := *g, *g.query
	q.buffers = nil
	b.query = &q
	return &b
}

func (v *View) group(f *Filter, dims []Dim) (*grouping, error) {
	if err := checkDims(dims); err != nil {
		return nil, err
	}
	q, err := v.query(f)
	if err != nil {
		return nil, err
	}
	g := &grouping{view: v, query: q, dims: dims, cellsN: 1}
	for i, d := range dims {
		g.sizes[i] = uint64(v.names.size(d))
		g.cellsN *= g.sizes[i]
	}
	return g, nil
}

// keys calls f with each row's place in its block and its key: the codes of the
// dimensions as one number.
func (g *grouping) keys(sel *selection, f func(row uint16, key uint64)) {
	key := keysOf(g, sel.segment, sel.base, sel.rows, g.query.room().key[:len(sel.rows)])
	byCode := slices.Index(g.dims, Code)
	if byCode < 0 {
		for k, i := range sel.rows {
			f(i, key[k])
		}
		return
	}
	stride := uint64(1)
	for _, s := range g.sizes[byCode+1 : len(g.dims)] {
		stride *= s
	}
	for k, i := range sel.rows {
		codes := &g.query.findings[sel.findingAt(sel.base+int(i))].codes
		if *codes == [planes]uint64{} {
			f(i, key[k])
		}
		countBits(codes, func(code uint32) { f(i, key[k]+stride*uint64(code)) })
	}
}

// words returns the words of a key.
func (g *grouping) words(key uint64) []string { return g.spell(key, make([]string, len(g.dims))) }

// spell writes the words of a key.
func (g *grouping) spell(key uint64, w []string) []string {
	for i := len(g.dims) - 1; i >= 0; i-- {
		w[i] = g.view.names.word(g.dims[i], uint32(key%g.sizes[i]))
		key /= g.sizes[i]
	}
	return w
}

// place returns where a key comes in the order of words.
func (g *grouping) place(key uint64) uint64 {
	var place uint64
	stride := uint64(1)
	for i := len(g.dims) - 1; i >= 0; i-- {
		code := key % g.sizes[i]
		key /= g.sizes[i]
		place += stride * uint64(g.view.names.ranks[g.dims[i]]()[code])
		stride *= g.sizes[i]
	}
	return place
}

// sortedKeys returns the keys that a table counts, in the order of words.
func (g *grouping) sortedKeys(t *table) []uint64 {
	type placed struct{ place, key uint64 }
	var all []placed
	t.each(func(key uint64, _ uint32) { all = append(all, placed{g.place(key), key}) })
	slices.SortFunc(all, func(a, b placed) int { return cmp.Compare(a.place, b.place) })
	keys := make([]uint64, len(all))
	for i := range all {
		keys[i] = all[i].key
	}
	return keys
}

// inOrder calls f with every key there is and its words, in the order of words. What
// f gets is used again.
func (g *grouping) inOrder(f func(key uint64, by []string)) {
	g.following(0, 0, make([]string, len(g.dims)), f)
}

// following calls f with every key whose first n dimensions are those of key.
func (g *grouping) following(n int, key uint64, by []string, f func(key uint64, by []string)) {
	if n == len(by) {
		f(key, by)
		return
	}
	for _, code := range g.view.names.inOrder[g.dims[n]]() {
		by[n] = g.view.names.word(g.dims[n], code)
		g.following(n+1, key*g.sizes[n]+uint64(code), by, f)
	}
}

// cells returns a tally in the order of words.
func (g *grouping) cells(t *tally) []Cell {
	n, words := t.size(), len(g.dims)
	cells := make([]Cell, 0, n)
	room := make([]string, n*words) // of all cells: one piece of memory takes a fraction of the time
	add := func(by []string, count int) {
		own := room[:words:words]
		copy(own, by)
		cells, room = append(cells, Cell{By: own, N: count}), room[words:]
	}
	if len(t.dense) > 0 {
		g.inOrder(func(key uint64, by []string) {
			if count := t.dense[key]; count > 0 {
				add(by, int(count))
			}
		})
		return cells
	}
	by := make([]string, words)
	for _, key := range g.sortedKeys(&t.table) {
		add(g.spell(key, by), int(*t.table.at(key)))
	}
	return cells
}

// Up to how many counters are an array: of any rows, and of those of one model or
// store, of whose values a table is sooner cleared; and how many there may be for a
// row, and at most, where rows are counted by a value: a table takes many times as long
// for a row as an array for a counter. House values.
const (
	mostCounters  = 1 << 20
	fewCounters   = 1 << 12
	countersARow  = 4
	boundCounters = 1 << 23
)

// tally counts keys: in an array while they are few, else in a table.
type tally struct {
	dense []uint32 // by key; nil where there are too many
	table table
}

// scratch keeps arrays and tables for the next question: memory that is touched
// for the first time costs several times the counting.
var scratch = sync.Pool{New: func() any { return new(tally) }}

func (g *grouping) tally() *tally {
	t := scratch.Get().(*tally)
	t.dense = t.dense[:0]
	if n := g.counters(); n <= g.mostCounters() {
		if uint64(cap(t.dense)) < n {
			t.dense = make([]uint32, n)
		}
		t.dense = t.dense[:n]
		clear(t.dense)
	} else {
		t.table.reset()
	}
	return t
}

// scratchTable returns an empty tally that is a table.
func scratchTable() *tally {
	t := scratch.Get().(*tally)
	t.dense = t.dense[:0]
	t.table.reset()
	return t
}

func (t *tally) free() { scratch.Put(t) }

// copied returns the tally in memory of its own, no more than it needs, and how
// much that is; nil where it is more than answerBytes.
func (t *tally) copied() (*tally, int) {
	if len(t.dense) == 0 {
		return t.table.copied()
	}
	size := slotsFor(t.size())
	if n := min(size*slotBytes, 4*len(t.dense)); n > answerBytes {
		return nil, n
	}
	if size*slotBytes < 4*len(t.dense) {
		own := &tally{table: table{slots: make([]slot, size)}}
		for key, c := range t.dense {
			if c > 0 {
				*own.table.at(uint64(key)) = c
			}
		}
		return own, own.bytes()
	}
	return &tally{dense: slices.Clone(t.dense)}, 4 * len(t.dense)
}

func (t *tally) bytes() int { return 4*cap(t.dense) + t.table.bytes() }

// add adds the counts of other rows by the same dimensions.
func (t *tally) add(other *tally) {
	if len(other.dense) > 0 {
		for key, n := range other.dense {
			t.dense[key] += n
		}
		return
	}
	other.table.each(func(key uint64, n uint32) { *t.table.at(key) += n })
}

// withRoom returns the array of an array's tally with zeros behind it, n in all.
func (t *tally) withRoom(n int) []uint32 {
	counts := len(t.dense)
	t.dense = slices.Grow(t.dense, n-counts)
	clear(t.dense[counts:n])
	return t.dense[:n]
}

// put counts a row of a key, or with sign -1 takes it off.
func (t *tally) put(key uint64, sign int) {
	if len(t.dense) > 0 {
		t.dense[key] += uint32(sign)
		return
	}
	*t.table.at(key) += uint32(sign)
}

// size returns how many keys were counted.
func (t *tally) size() (n int) {
	for _, count := range t.dense {
		n += one(count > 0)
	}
	if len(t.dense) == 0 {
		t.table.each(func(uint64, uint32) { n++ })
	}
	return n
}

// table counts keys by open addressing. The zero table is empty.
type table struct {
	slots []slot
	spare []slot // what it grew out of, to grow into after the next reset
	n     int
}

type slot struct {
	key uint64 // plus 1; 0 is empty
	n   uint32
}

// leastSlots is how many slots a table begins with.
const leastSlots = 1 << 10

const slotBytes = 16

// slotsFor returns how many slots a table of so many keys needs, one to come
// included.
func slotsFor(keys int) int {
	size := 1 << 3
	for 3*(keys+1) >= 2*size {
		size *= 2
	}
	return size
}

// bytes returns what the table takes.
func (t *table) bytes() int { return slotBytes * (cap(t.slots) + cap(t.spare)) }

// copied is [tally.copied] of a table.
func (t *table) copied() (*tally, int) {
	n := 0
	t.each(func(uint64, uint32) { n++ })
	size := slotsFor(n)
	if size*slotBytes > answerBytes {
		return nil, size * slotBytes
	}
	own := &tally{table: table{slots: make([]slot, size)}}
	t.each(func(key uint64, n uint32) { *own.table.at(key) = n })
	return own, size * slotBytes
}

func (t *table) reset() {
	if len(t.slots) == 0 {
		t.slots = make([]slot, leastSlots)
	}
	t.slots, t.n = t.slots[:leastSlots], 0
	clear(t.slots)
}

// at returns the count of a key, which may be changed until the next call.
func (t *table) at(key uint64) *uint32 {
	if 3*t.n >= 2*len(t.slots) {
		t.grow()
	}
	mask := uint64(len(t.slots) - 1)
	for i := mix(key) & mask; ; i = (i + 1) & mask {
		switch s := &t.slots[i]; s.key {
		case 0:
			s.key = key + 1
			t.n++
			return &s.n
		case key + 1:
			return &s.n
		}
	}
}

func (t *table) grow() {
	old := t.slots
	t.slots, t.spare = t.spare[:0], old
	if size := 2 * len(old); cap(t.slots) < size {
		t.slots = make([]slot, size)
	} else {
		t.slots = t.slots[:size]
		clear(t.slots)
	}
	mask := uint64(len(t.slots) - 1)
	for _, s := range old {
		if s.key == 0 {
			continue
		}
		i := mix(s.key-1) & mask
		for t.slots[i].key != 0 {
			i = (i + 1) & mask
		}
		t.slots[i] = s
	}
}

// each calls f with the counts that aren't zero.
func (t *table) each(f func(key uint64, n uint32)) {
	for i := range t.slots {
		if t.slots[i].n != 0 {
			f(t.slots[i].key-1, t.slots[i].n)
		}
	}
}
