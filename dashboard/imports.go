package dashboard

import (
	"bufio"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"solewright/models"
	"solewright/models/exchange"
)

// Limits of files that are brought in over a page; larger ones are for the
// command line. House values.
const (
	maxImport  = 256 << 20 // bytes: some half a million readings
	maxFiles   = 8         // that are kept at once
	importLife = time.Hour // of a file that nobody stores
	// importLimit is how long one run may take.
	importLimit = 2 * time.Hour
	// importReading is how long a file may take to arrive.
	importReading = 10 * time.Minute
	// importPatience is how long an answer waits for a run, so that a small file
	// is done when the page comes.
	importPatience = 1500 * time.Millisecond
)

// importFiles are the files that people are bringing in. They are on this
// server alone and go with it: what is stored is in the database.
type importFiles struct {
	mu  sync.Mutex
	now func() time.Time
	all map[string]*importFile
}

// importFile is one file: tried first, then stored.
type importFile struct {
	ID, Kind, Name string
	By             models.Actor
	came           time.Time
	content        *os.File
	size           int64
	Lines          int          // about how many rows it has
	rows           atomic.Int64 // that the run that is on has read

	mu   sync.Mutex
	run  *importRun // the last
	over bool       // its rows were stored
}

// importRun is one pass over a file. Its results are there once done is closed.
type importRun struct {
	stores bool // else it only tries
	done   chan struct{}
	sum    exchange.Summary
	err    error
}

func (r *importRun) isDone() bool {
	select {
	case <-r.done:
		return true
	default:
		return false
	}
}

// wait waits for the run for as long as an answer may.
func (r *importRun) wait(ctx context.Context) {
	select {
	case <-r.done:
	case <-time.After(importPatience):
	case <-ctx.Done():
	}
}

func newImportFiles(now func() time.Time) *importFiles {
	return &importFiles{now: now, all: map[string]*importFile{}}
}

// add keeps a copy of a file until it is stored or old.
func (f *importFiles) add(by models.Actor, kind, name string, from io.Reader) (*importFile, error) {
	kept, err := os.CreateTemp("", "solewright-import-*.csv")
	if err != nil {
		return nil, err
	}
	// Where the system allows it, the name goes at once and the content with the
	// process.
	_ = os.Remove(kept.Name())
	file := &importFile{ID: rand.Text(), Kind: kind, Name: name, By: by, came: f.now(), content: kept}
	lines := &lineCounter{}
	if file.size, err = io.Copy(kept, io.TeeReader(from, lines)); err != nil {
		file.drop()
		return nil, err
	}
	file.Lines = lines.n
	f.mu.Lock()
	defer f.mu.Unlock()
	f.sweep()
	if len(f.all) >= maxFiles {
		file.drop()
		return nil, refuse(tooMany, "%d files wait to be stored: store or drop one, or try again in an hour", len(f.all))
	}
	f.all[file.ID] = file
	return file, nil
}

// sweep forgets what is old and at rest; f.mu is held.
func (f *importFiles) sweep() {
	for id, file := range f.all {
		file.mu.Lock()
		rests := file.run == nil || file.run.isDone()
		old := file.over || f.now().Sub(file.came) > importLife
		file.mu.Unlock()
		if rests && old {
			file.drop()
			delete(f.all, id)
		}
	}
}

// of returns somebody's file, nil where there is none.
func (f *importFiles) of(by models.Actor, id string) *importFile {
	f.mu.Lock()
	defer f.mu.Unlock()
	if file := f.all[id]; file != nil && file.By.Account == by.Account {
		return file
	}
	return nil
}

// forget drops a file that is at rest.
func (f *importFiles) forget(file *importFile) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if _, run := file.last(); run == nil || run.isDone() {
		file.drop()
		delete(f.all, file.ID)
	}
}

func (f *importFile) drop() {
	f.content.Close()
	_ = os.Remove(f.content.Name())
}

// last returns the last run, and whether the file was stored.
func (f *importFile) last() (over bool, run *importRun) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.over, f.run
}

// read returns the content from its beginning.
func (f *importFile) read() io.Reader {
	return bufio.NewReaderSize(io.NewSectionReader(f.content, 0, f.size), 1<<20)
}

// start begins a pass over the file, unless one is on or the file was stored. A
// pass doesn't end with the request that began it.
func (f *importFile) start(db *models.DB, o exchange.Options) *importRun {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.over || f.run != nil && !f.run.isDone() {
		return f.run
	}
	run := &importRun{stores: !o.DryRun, done: make(chan struct{})}
	f.run = run
	f.rows.Store(0)
	o.Name, o.Progress = f.Name, func(rows int) { f.rows.Store(int64(rows)) }
	go func() {
		defer close(run.done)
		defer func() {
			if v := recover(); v != nil {
				run.err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
			}
		}()
		ctx, cancel := context.WithTimeout(context.Background(), importLimit)
		defer cancel()
		run.sum, run.err = exchange.Import(ctx, db, f.By, f.Kind, f.read(), o)
		if run.stores && run.err == nil {
			f.mu.Lock()
			f.over = true
			f.mu.Unlock()
		}
	}()
	return run
}

// lineCounter counts the line ends of what is written to it.
type lineCounter struct{ n int }

func (l *lineCounter) Write(p []byte) (int, error) {
	for _, b := range p {
		if b == '\n' {
			l.n++
		}
	}
	return len(p), nil
}
