package models

import (
	"bufio"
	"bytes"
	"container/heap"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"sync"
)

// compare goes by store, then by id, as the database does: both by their bytes.
func (k *rowKey) compare(other *rowKey) int {
	if c := strings.Compare(k.store, other.store); c != 0 {
		return c
	}
	return bytes.Compare(k.id[:], other.id[:])
}

// sorter puts rows of text in the order of their keys, in bounded memory: runs
// that are each in order go to a temporary file, and are merged at the end. To
// read them from the database in order is what takes long: rows lie there as they
// came, so that one after the other is on another page.
type sorter struct {
	bytes int // of a run

	mu      sync.Mutex
	file    *os.File // nil until a run is in it
	end     int64
	sources []*sortedRun
}

// sortedRun is a run as it is merged: the row it stands at, and how to go on.
type sortedRun struct {
	key  rowKey
	text []byte
	next func(*sortedRun) error // io.EOF at the end
}

// run is rows in memory.
type run struct {
	sorter *sorter
	text   []byte
	rows   []rowAt
	stores map[string]string // one string for each
}

// rowAt is where a row lies in the text of a run.
type rowAt struct {
	key      rowKey
	from, to int
}

// run returns an empty run, for one goroutine. It has its memory from the start: what
// is outgrown on the way is touched for nothing.
func (s *sorter) run() *run {
	return &run{sorter: s, text: make([]byte, 0, s.bytes+runBuffer), stores: map[string]string{}}
}

// add adds a row, which stands at the end of the run's text from a place on.
func (r *run) add(store string, id id, from int) error {
	known, ok := r.stores[store]
	if !ok {
		known = string([]byte(store)) // what was read keeps a lot of memory
		r.stores[known] = known
	}
	r.rows = append(r.rows, rowAt{rowKey{known, id}, from, len(r.text)})
	if len(r.text) < r.sorter.bytes {
		return nil
	}
	err := r.spill()
	r.text, r.rows = r.text[:0], r.rows[:0]
	return err
}

func (r *run) sort() {
	slices.SortFunc(r.rows, func(a, b rowAt) int { return a.key.compare(&b.key) })
}

// done leaves the run in memory to be merged.
func (r *run) done() {
	r.sort()
	rows := r.rows
	r.sorter.mu.Lock()
	defer r.sorter.mu.Unlock()
	r.sorter.sources = append(r.sorter.sources, &sortedRun{next: func(s *sortedRun) error {
		if len(rows) == 0 {
			return io.EOF
		}
		s.key, s.text, rows = rows[0].key, r.text[rows[0].from:rows[0].to], rows[1:]
		return nil
	}})
}

// rowHead is what stands before a row in the file, its store behind it: the id,
// and the lengths of the store and of the text.
const rowHead = len(id{}) + 4 + 4

// spill writes the run to the file.
func (r *run) spill() error {
	r.sort()
	size := int64(len(r.text))
	for i := range r.rows {
		size += int64(rowHead + len(r.rows[i].key.store))
	}
	file, at, err := r.sorter.reserve(size)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(io.NewOffsetWriter(file, at), runBuffer)
	var head []byte
	for i := range r.rows {
		row := &r.rows[i]
		head = append(head[:0], row.key.id[:]...)
		head = binary.LittleEndian.AppendUint32(head, uint32(len(row.key.store)))
		head = binary.LittleEndian.AppendUint32(head, uint32(row.to-row.from))
		head = append(head, row.key.store...)
		w.Write(head) // a Writer keeps its first error
		w.Write(r.text[row.from:row.to])
	}
	return w.Flush()
}

// reserve returns the file and a place in it for a run of so many bytes.
func (s *sorter) reserve(size int64) (file *os.File, at int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.file == nil {
		if s.file, err = os.CreateTemp("", "solewright-export-"); err != nil {
			return nil, 0, err
		}
	}
	at = s.end
	s.end += size
	s.sources = append(s.sources, s.fileRun(io.NewSectionReader(s.file, at, size)))
	return s.file, at, nil
}

// runBuffer is how much of a run is written or read at once, and mergeBuffers how
// much of all runs together as they are merged, but for the least that is worth a
// read of each. House values.
const (
	runBuffer      = 64 << 10
	mergeBuffers   = 16 << 20
	leastRunBuffer = 4 << 10
)

// fileRun is a run that spill wrote.
func (s *sorter) fileRun(section *io.SectionReader) *sortedRun {
	var (
		head  [rowHead]byte
		store []byte
		in    *bufio.Reader
	)
	return &sortedRun{next: func(r *sortedRun) error {
		if in == nil {
			in = bufio.NewReaderSize(section, min(runBuffer, max(mergeBuffers/len(s.sources), leastRunBuffer)))
		}
		if _, err := io.ReadFull(in, head[:]); err != nil {
			return err
		}
		copy(r.key.id[:], head[:])
		lengths := head[len(r.key.id):]
		store = sized(store, binary.LittleEndian.Uint32(lengths))
		r.text = sized(r.text, binary.LittleEndian.Uint32(lengths[4:]))
		if _, err := io.ReadFull(in, store); err != nil {
			return fmt.Errorf("a temporary file is shorter than it was: %w", err)
		}
		if string(store) != r.key.store {
			r.key.store = string(store)
		}
		if _, err := io.ReadFull(in, r.text); err != nil {
			return fmt.Errorf("a temporary file is shorter than it was: %w", err)
		}
		return nil
	}}
}

// sized returns b with a length, and with whatever in it.
func sized(b []byte, n uint32) []byte { return slices.Grow(b[:0], int(n))[:n] }

// merge calls each with all rows, in order.
func (s *sorter) merge(each func(key rowKey, row []byte) error) error {
	var runs mergedRuns
	for _, r := range s.sources {
		switch err := r.next(r); err {
		case nil:
			runs = append(runs, r)
		case io.EOF:
		default:
			return err
		}
	}
	heap.Init(&runs)
	for len(runs) > 0 {
		first := runs[0]
		if err := each(first.key, first.text); err != nil {
			return err
		}
		switch err := first.next(first); err {
		case nil:
			heap.Fix(&runs, 0)
		case io.EOF:
			heap.Pop(&runs)
		default:
			return err
		}
	}
	return nil
}

// close removes the file.
func (s *sorter) close() {
	if s.file != nil {
		_ = s.file.Close()
		_ = os.Remove(s.file.Name())
	}
}

// mergedRuns is a heap of runs, the least row on top.
type mergedRuns []*sortedRun

func (m mergedRuns) Len() int           { return len(m) }
func (m mergedRuns) Less(i, j int) bool { return m[i].key.compare(&m[j].key) < 0 }
func (m mergedRuns) Swap(i, j int)      { m[i], m[j] = m[j], m[i] }

// Push is there for the interface: a merge begins with all of its runs.
func (m *mergedRuns) Push(r any) { *m = append(*m, r.(*sortedRun)) }

// Pop takes the last.
func (m *mergedRuns) Pop() any {
	last := (*m)[len(*m)-1]
	*m = (*m)[:len(*m)-1]
	return last
}
