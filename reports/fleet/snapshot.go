package fleet

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"solewright/assess"
	"solewright/models/facts"
)

// The snapshot is a file from which a server starts again without reading the
// whole database: a header, the dictionaries, the columns of the rows that hold,
// and a checksum of it all (CRC-32C). Whatever doesn't match, the file is passed
// over and the database read.
const (
	snapshotMagic = "solewright fleet\n"
	// snapshotFormat goes up with every change of what a column or a bit means.
	snapshotFormat = 5

	snapshotBuffer = 1 << 20
	maxWord        = 1 << 16 // bytes of a word of a dictionary
	maxWords       = 1 << 30
)

var errSnapshot = errors.New("the snapshot doesn't match")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// order is the byte order of the file.
var order = binary.LittleEndian

// save writes the view to a file, all or nothing. The anchor is what the database
// says of the view's position.
func (v *View) save(path, anchor string) error {
	return writeFile(path, func(to io.Writer) error {
		w := &snapshotWriter{sum: crc32.New(castagnoli)}
		w.to = io.MultiWriter(to, w.sum)
		w.view(v, anchor)
		w.put(w.sum.Sum32())
		return w.err
	})
}

// writeFile writes a file, all or nothing.
func writeFile(path string, write func(io.Writer) error) (err error) {
	temporary, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, temporary.Close(), os.Remove(temporary.Name()))
		}
	}()
	buffered := bufio.NewWriterSize(temporary, snapshotBuffer)
	if err := write(buffered); err != nil {
		return err
	}
	if err := errors.Join(buffered.Flush(), temporary.Sync()); err != nil {
		return err
	}
	if err := temporary.Close(); err != nil {
		return err
	}
	return os.Rename(temporary.Name(), path)
}

// snapshotWriter keeps the first error.
type snapshotWriter struct {
	to     io.Writer
	sum    hash.Hash32
	buffer []byte
	err    error
}

// put writes a number or a column.
func (w *snapshotWriter) put(data any) {
	if w.err != nil {
		return
	}
	if w.buffer, w.err = binary.Append(w.buffer[:0], order, data); w.err == nil {
		_, w.err = w.to.Write(w.buffer)
	}
}

func (w *snapshotWriter) text(s string) {
	w.put(uint32(len(s)))
	w.put([]byte(s))
}

func (w *snapshotWriter) texts(list []string) {
	w.put(uint32(len(list)))
	for _, s := range list {
		w.text(s)
	}
}

func (w *snapshotWriter) view(v *View, anchor string) {
	w.put([]byte(snapshotMagic))
	w.put(uint32(snapshotFormat))
	w.text(v.identity.ID)
	w.text(v.identity.Epoch)
	w.put([]int64{v.at.Tx, v.at.Number})
	w.text(anchor)
	n := v.names
	for _, list := range [][]string{n.stores, n.staff, n.batches, n.codes} {
		w.texts(list)
	}
	w.put(uint32(len(n.models)))
	for _, u := range n.models {
		w.put(u[:])
	}
	w.put(uint32(len(v.runners)))
	w.put(v.runners)
	w.put(uint32(len(v.intervals)))
	w.put(v.intervals)
	w.put(v.sum[:])
	w.put(uint32(len(v.findings)))
	for i := range v.findings {
		w.text(v.findings[i].text)
	}
	w.put(uint32(len(v.unread)))
	w.put(v.unread)
	w.put(uint32(len(v.segments)))
	for _, state := range v.segments {
		s := state.seal()
		w.put([]uint32{uint32(s.month), uint32(one(s.earlier)), uint32(s.n), uint32(s.firstDay), uint32(s.last), uint32(len(s.models))})
		for _, column := range append(s.open(), &s.models, &s.ends) {
			w.put(*column)
		}
		for _, p := range s.packed() {
			w.put(p.least)
			w.put(p.width)
			w.put(p.words)
		}
	}
}

// restore fills the copy from a snapshot and returns the anchor that the database
// must have at its position.
func (c *Copy) restore(path string) (anchor string, err error) {
	file, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer file.Close()
	// The checksum first: no length that is wrong by chance is then believed.
	if err := checkSum(file); err != nil {
		return "", fmt.Errorf("%w: %w", errSnapshot, err)
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return "", err
	}
	r := &snapshotReader{from: bufio.NewReaderSize(file, snapshotBuffer)}
	if anchor = r.copy(c); r.err != nil {
		return "", fmt.Errorf("%w: %w", errSnapshot, r.err)
	}
	return anchor, nil
}

// checkSum fails unless a file ends in the checksum of the rest.
func checkSum(file *os.File) error {
	info, err := file.Stat()
	if err != nil {
		return err
	}
	const size = 4
	sum := crc32.New(castagnoli)
	if _, err := io.CopyN(sum, file, info.Size()-size); err != nil {
		return err
	}
	var want [size]byte
	if _, err := io.ReadFull(file, want[:]); err != nil {
		return err
	}
	if sum.Sum32() != order.Uint32(want[:]) {
		return errors.New("its checksum is wrong")
	}
	return nil
}

// snapshotReader keeps the first error.
type snapshotReader struct {
	from   io.Reader
	buffer []byte
	err    error
}

// get reads a number or a column.
func (r *snapshotReader) get(into any) {
	if r.err != nil {
		return
	}
	n := binary.Size(into)
	if cap(r.buffer) < n {
		r.buffer = make([]byte, n)
	}
	if _, r.err = io.ReadFull(r.from, r.buffer[:n]); r.err == nil {
		_, r.err = binary.Decode(r.buffer[:n], order, into)
	}
}

// length reads a length and refuses one that can't be right.
func (r *snapshotReader) length(most uint32) int {
	var n uint32
	r.get(&n)
	if r.err == nil && n > most {
		r.err = fmt.Errorf("a length of %d", n)
	}
	if r.err != nil {
		return 0
	}
	return int(n)
}

func (r *snapshotReader) text() string {
	b := make([]byte, r.length(maxWord))
	r.get(b)
	return string(b)
}

// words reads a dictionary; its first word is the zero one.
func (r *snapshotReader) words(d *dictionary[string]) {
	for i := range r.length(maxWords) {
		if w := r.text(); i > 0 {
			d.add(w)
		}
	}
}

func (r *snapshotReader) copy(c *Copy) (anchor string) {
	magic := make([]byte, len(snapshotMagic))
	r.get(magic)
	var format uint32
	r.get(&format)
	if r.err == nil && (string(magic) != snapshotMagic || format != snapshotFormat) {
		r.err = fmt.Errorf("it is of format %d, this program writes %d", format, snapshotFormat)
	}
	if r.err != nil {
		return ""
	}
	c.identity = facts.Identity{ID: r.text(), Epoch: r.text()}
	at := make([]int64, 2)
	r.get(at)
	c.at = facts.Position{Tx: at[0], Number: at[1]}
	anchor = r.text()
	e := c.encoder
	for _, d := range []*dictionary[string]{&e.stores, &e.staff, &e.batches, &e.codes} {
		r.words(d)
	}
	for i := range r.length(maxWords) {
		var u assess.UUID
		if r.get(u[:]); i > 0 {
			e.models.add(u)
		}
	}
	for _, k := range []*keyNumbers{&e.runners, &e.intervals} {
		k.keys = make([]uint64, r.length(maxWords))
		r.get(k.keys)
		k.grow()
	}
	r.get(c.totals.sum[:])
	for range r.length(maxWords) {
		if text := r.text(); r.err == nil {
			_, r.err = e.finding(text)
		}
	}
	unread := make([]uint32, r.length(maxWords))
	r.get(unread)
	for _, set := range unread {
		e.unreadSet(set)
	}
	for range r.length(maxWords) {
		head := make([]uint32, 6)
		if r.get(head); r.err == nil && head[2] > segmentRows {
			r.err = fmt.Errorf("a segment of %d rows", head[2])
		}
		if r.err != nil {
			return ""
		}
		s := &segment{month: int(head[0]), earlier: head[1] == 1, firstDay: uint16(head[3]), last: uint16(head[4])}
		r.columns(&s.columns, int(head[2]), int(head[5]))
		c.segments = append(c.segments, s)
		c.totals.rows += s.n
		if !s.earlier {
			c.totals.pairs += s.n
		}
	}
	return anchor
}

func (r *snapshotReader) columns(c *columns, n, models int) {
	if models > n {
		r.err = fmt.Errorf("%d models of %d rows", models, n)
		return
	}
	c.sealed, c.n = true, n
	for _, column := range c.open() {
		*column = make([]uint16, n)
		r.get(*column)
	}
	for _, column := range []*[]uint16{&c.models, &c.ends} {
		*column = make([]uint16, models)
		r.get(*column)
	}
	for _, p := range c.packed() {
		r.get(&p.least)
		r.get(&p.width)
		p.words = make([]uint64, p.wordsOf(n))
		r.get(p.words)
	}
}

// Shared keeps a snapshot where servers on other machines find it.
type Shared interface {
	// Fetch writes the snapshot that was kept last. The error is [fs.ErrNotExist]
	// where there is none.
	Fetch(ctx context.Context, to io.Writer) error
	// Keep keeps a snapshot in the place of the last.
	Keep(ctx context.Context, from io.Reader) error
}

// fetch puts the shared snapshot in the place of the file, false where there is none.
func (c *Copy) fetch(ctx context.Context) bool {
	if c.o.Shared == nil || c.o.Snapshot == "" {
		return false
	}
	err := writeFile(c.o.Snapshot, func(to io.Writer) error { return c.o.Shared.Fetch(ctx, to) })
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		c.o.Log.Warn("fetching the fleet", "error", err)
	}
	return err == nil
}

// share keeps the file where others find it.
func (c *Copy) share(ctx context.Context) {
	err := func() error {
		file, err := os.Open(c.o.Snapshot)
		if err != nil {
			return err
		}
		defer file.Close()
		return c.o.Shared.Keep(ctx, file)
	}()
	if err != nil && ctx.Err() == nil {
		c.o.Log.Warn("sharing the fleet", "error", err)
	}
}

// Save writes the snapshot, if there is a path for it and something new. Run does
// it now and then and at its end.
func (c *Copy) Save(ctx context.Context) error {
	v := c.View()
	if c.o.Snapshot == "" || v == nil || c.saved != nil && v.at == *c.saved {
		return nil
	}
	anchor, err := c.o.Source.Anchor(ctx, v.at)
	if err != nil {
		return fmt.Errorf("saving the fleet: %w", err)
	}
	if err := v.save(c.o.Snapshot, anchor); err != nil {
		return fmt.Errorf("saving the fleet: %w", err)
	}
	c.saved = &v.at
	return nil
}
