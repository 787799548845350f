package tally

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/maphash"
	"io"
	"iter"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Rows are what a statistic is computed over: a CSV file, or records in memory.
type Rows interface {
	// Header names the columns, each once.
	Header() []string
	// Records yields the records in order, cells as they would stand in a CSV
	// file: numbers as text, empty where nothing is known. Each has a cell for
	// every column of the header. Compute keeps cells, not the slice they come
	// in. An error ends the computation.
	Records() iter.Seq2[[]string, error]
}

// Table is Rows in memory: reduced records, with a column of how often each
// stands to be named by --count.
type Table struct {
	Columns []string
	Rows    [][]string
}

// Header returns the names of the columns.
func (t Table) Header() []string { return t.Columns }

// Records yields the rows.
func (t Table) Records() iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for _, r := range t.Rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// scanner goes through rows as a statistic needs them.
type scanner interface {
	header() []string
	// rows calls visit for every whole row, in order.
	rows(p *plan, visit func(row) error) error
	// distinct calls visit once for all rows that are alike in what p reads, in
	// order of the first of them, with how often they stand. Rows that cannot
	// be told apart cheaply may be visited apart.
	distinct(p *plan, visit func(row) error) error
}

// row is what p reads of a record: the statistic's own cells, then those of
// --by.
type row struct {
	line, count int
	cells       []cell
}

// records are Rows in memory, placed as if they stood under a header in a file.
type records struct{ Rows }

func (r records) header() []string { return r.Header() }

func (r records) rows(p *plan, visit func(row) error) error {
	line := 1
	cells := make([]cell, len(p.columns))
	for record, err := range r.Records() {
		if err != nil {
			return err
		}
		line++
		if len(record) != p.width {
			return p.ragged(line, len(record))
		}
		missing := -1
		for i, c := range p.columns {
			v, none, err := parse(record[p.at[i]], c.kind)
			if err != nil {
				return wrong(line, c.name, err)
			}
			if cells[i] = v; none && missing < 0 {
				missing = i
			}
		}
		p.read++
		if missing >= 0 {
			p.dropped.add(line, p.columns[missing].name, record[p.at[missing]])
			continue
		}
		r := row{line: line, count: 1, cells: cells[:p.plain]}
		if p.plain < len(cells) {
			r.count = cells[p.plain].int()
		}
		if err := visit(r); err != nil {
			return err
		}
	}
	return nil
}

func (r records) distinct(p *plan, visit func(row) error) error { return r.rows(p, visit) }

// file is a CSV file, read as a stream by several workers. What it gives does
// not depend on how many there are.
type file struct {
	workers int
	cut     cutter
	first   block // what stands under the header of the first block read
	names   []string
	read    atomic.Int64 // bytes, for the progress bar
}

// newFile reads the header.
func newFile(from io.Reader) (*file, error) {
	f := &file{workers: runtime.GOMAXPROCS(0)}
	f.cut = cutter{from: io.TeeReader(from, (*byteCount)(&f.read)), line: 1}
	b, err := f.cut.next(nil)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	b.bytes = bytes.TrimPrefix(b.bytes, []byte("\ufeff"))
	if bytes.HasPrefix(b.bytes, []byte{0xff, 0xfe}) || bytes.HasPrefix(b.bytes, []byte{0xfe, 0xff}) {
		return nil, &fault{1, "line 1, column 1: the file is UTF-16; want UTF-8"}
	}
	var p parser
	p.reset(b, false)
	switch found, err := p.next(); {
	case err != nil:
		return nil, err
	case !found:
		return nil, &fault{1, "line 1, column 1: the file is empty; want a header"}
	}
	for _, name := range p.cells {
		f.names = append(f.names, string(name))
	}
	f.first = block{bytes: b.bytes[p.at:], line: p.after, cut: b.cut}
	return f, nil
}

// byteCount counts the bytes written to it.
type byteCount atomic.Int64

func (c *byteCount) Write(p []byte) (int, error) {
	(*atomic.Int64)(c).Add(int64(len(p)))
	return len(p), nil
}

const (
	quietFor  = time.Second // a file read sooner needs no progress
	tellEvery = time.Second / 5
)

// tell calls progress now and then until it is told to stop.
func (f *file) tell(progress func(read int64)) (stop func()) {
	ended, over := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(over)
		next := time.NewTimer(quietFor)
		defer next.Stop()
		for {
			select {
			case <-ended:
				return
			case <-next.C:
				progress(f.read.Load())
				next.Reset(tellEvery)
			}
		}
	}()
	return func() {
		close(ended)
		<-over
	}
}

func (f *file) header() []string { return f.names }

// scan parses the blocks of the file, several at once, and hands what work made
// of each to take, in order of the file.
func scan[T any](f *file, work func(worker int, p *parser) T, take func(T) error) error {
	type task struct {
		block
		done chan T
	}
	tasks := make(chan *task)
	inOrder := make(chan *task, 2*f.workers)
	used := make(chan []byte, 3*f.workers)
	stop := make(chan struct{})
	var working sync.WaitGroup
	defer working.Wait()
	defer close(stop)
	var unread error
	go func() { // after an error of take it ends with the read it is in
		defer close(inOrder)
		defer close(tasks)
		b := f.first
		for {
			if len(b.bytes) > 0 {
				t := &task{b, make(chan T, 1)}
				select {
				case inOrder <- t:
				case <-stop:
					return
				}
				select {
				case tasks <- t:
				case <-stop:
					return
				}
			}
			var buf []byte
			select {
			case buf = <-used:
			default:
			}
			var err error
			if b, err = f.cut.next(buf); err != nil {
				if !errors.Is(err, io.EOF) {
					unread = err
				}
				return
			}
		}
	}()
	for w := range f.workers {
		working.Go(func() {
			var p parser
			for {
				var t *task
				select {
				case t = <-tasks:
				case <-stop:
				}
				if t == nil {
					return
				}
				p.reset(t.block, len(f.names) == 1)
				t.done <- work(w, &p)
				select {
				case used <- t.bytes:
				default:
				}
			}
		})
	}
	for t := range inOrder {
		if err := take(<-t.done); err != nil {
			return err
		}
	}
	return unread
}

// report is what one block adds beside its rows.
type report struct {
	rows    int
	dropped droppedRows
	err     error
}

func (r *report) into(p *plan) error {
	p.read += r.rows
	p.dropped.merge(r.dropped)
	return r.err
}

// batch is the whole rows of a block; their cells stand one after the other.
type batch struct {
	report
	cells         []cell
	lines, counts []int
}

func (f *file) rows(p *plan, visit func(row) error) error {
	pool := sync.Pool{New: func() any { return &batch{} }}
	known := make([]*vocabulary, f.workers)
	for w := range known {
		known[w] = newVocabulary(p)
	}
	return scan(f, func(worker int, in *parser) *batch {
		b := pool.Get().(*batch)
		*b = batch{cells: b.cells[:0], lines: b.lines[:0], counts: b.counts[:0]}
		b.err = p.wholeRows(in, &b.report, func(count int) error {
			for i, c := range p.columns[:p.plain] {
				v, err := known[worker].cell(i, c.kind, in.cells[p.at[i]])
				if err != nil {
					return wrong(in.lineOf(p.at[i]), c.name, err)
				}
				b.cells = append(b.cells, v)
			}
			b.lines, b.counts = append(b.lines, in.line), append(b.counts, count)
			return nil
		})
		return b
	}, func(b *batch) error {
		for i, line := range b.lines {
			if err := visit(row{line, b.counts[i], b.cells[i*p.plain : (i+1)*p.plain]}); err != nil {
				return err
			}
		}
		err := b.into(p)
		pool.Put(b)
		return err
	})
}

func (f *file) distinct(p *plan, visit func(row) error) error {
	seed := maphash.MakeSeed()
	seen := make([]*distinctRows, f.workers)
	for w := range seen {
		seen[w] = newDistinctRows(seed)
	}
	bad := scan(f, func(worker int, in *parser) *report {
		var r report
		own := seen[worker]
		r.err = p.wholeRows(in, &r, func(count int) error {
			if own.add(p, in, count) {
				return nil
			}
			return p.check(in)
		})
		return &r
	}, func(r *report) error { return r.into(p) })
	all := seen[0].merge(seen[1:])
	// A row may be wrong only to the statistic, and stand before what the
	// reading found wrong.
	last := -1
	if f, ok := errors.AsType[*fault](bad); ok {
		last = f.line
	}
	cells := make([]cell, p.plain)
	for _, r := range all.inOrder() {
		if last >= 0 && r.line >= last {
			break
		}
		all.decode(r, p, cells)
		if err := visit(row{r.line, r.count, cells}); err != nil {
			return err
		}
	}
	return bad
}

// distinctRows counts rows by their cells: an open hash table over keys that
// stand one after the other. It holds no pointers, so that millions of rows
// cost the garbage collector nothing.
type distinctRows struct {
	seed  maphash.Seed
	slots []int32 // index into found + 1, 0 for free
	found []distinctRow
	keys  []byte
	key   []byte // of the row at hand
}

type distinctRow struct {
	hash        uint64
	from, to    int // its key
	line, count int
}

// newDistinctRows share a seed where they are to be merged.
func newDistinctRows(seed maphash.Seed) *distinctRows {
	return &distinctRows{seed: seed, slots: make([]int32, 1<<10)}
}

// add counts the row at hand. It is known where an equal one was seen before.
func (d *distinctRows) add(p *plan, in *parser, count int) (known bool) {
	d.key = d.key[:0]
	for _, at := range p.at[:p.plain] {
		d.key = append(binary.AppendUvarint(d.key, uint64(len(in.cells[at]))), in.cells[at]...)
	}
	return d.count(d.key, maphash.Bytes(d.seed, d.key), in.line, count)
}

func (d *distinctRows) count(key []byte, hash uint64, line, count int) (known bool) {
	mask := len(d.slots) - 1
	slot := int(hash) & mask
	for ; d.slots[slot] != 0; slot = (slot + 1) & mask {
		if r := &d.found[d.slots[slot]-1]; r.hash == hash && bytes.Equal(d.keys[r.from:r.to], key) {
			r.line, r.count = min(r.line, line), sum(r.count, count)
			return true
		}
	}
	from := len(d.keys)
	d.keys = append(d.keys, key...)
	d.found = append(d.found, distinctRow{hash, from, len(d.keys), line, count})
	d.slots[slot] = int32(len(d.found))
	if 2*len(d.found) > len(d.slots) {
		d.slots = make([]int32, 2*len(d.slots))
		for i, r := range d.found {
			slot := int(r.hash) & (len(d.slots) - 1)
			for d.slots[slot] != 0 {
				slot = (slot + 1) & (len(d.slots) - 1)
			}
			d.slots[slot] = int32(i + 1)
		}
	}
	return false
}

// merge adds the others to d, and empties them.
func (d *distinctRows) merge(others []*distinctRows) *distinctRows {
	for _, o := range others {
		for _, r := range o.found {
			d.count(o.keys[r.from:r.to], r.hash, r.line, r.count)
		}
		*o = distinctRows{}
	}
	return d
}

// inOrder sorts the rows by the line they were first seen on; nothing can be
// added from then on.
func (d *distinctRows) inOrder() []distinctRow {
	d.slots = nil
	slices.SortFunc(d.found, func(a, b distinctRow) int { return a.line - b.line })
	return d.found
}

// decode reads the cells of a row, which were checked when it was added.
func (d *distinctRows) decode(r distinctRow, p *plan, cells []cell) {
	key := d.keys[r.from:r.to]
	for i := range cells {
		n, width := binary.Uvarint(key)
		end := width + int(n)
		cells[i], _, _ = parse(string(key[width:end]), p.columns[i].kind)
		key = key[end:]
	}
}

// vocabulary remembers the cells seen, so that each text is kept and read as a
// number once. Where too little repeats it gives up on the column.
type vocabulary struct{ seen []map[string]cell }

const vocabularySize = 1 << 16

func newVocabulary(p *plan) *vocabulary {
	v := &vocabulary{make([]map[string]cell, p.plain)}
	for i := range v.seen {
		v.seen[i] = map[string]cell{}
	}
	return v
}

func (v *vocabulary) cell(column int, k kind, b []byte) (cell, error) {
	seen := v.seen[column]
	if c, ok := seen[string(b)]; ok {
		return c, nil
	}
	c, _, err := parse(string(b), k)
	switch {
	case err != nil:
		return c, err
	case len(seen) == vocabularySize:
		v.seen[column] = nil
	case seen != nil:
		seen[c.text] = c
	}
	return c, nil
}
