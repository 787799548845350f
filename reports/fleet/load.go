package fleet

import (
	"context"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"

	"solewright/models/facts"
)

// gcPercent is how much garbage there may be, in percent of what is in use, while
// the whole fleet is read. What is held is numbers without pointers, which take the
// collector no time: as much garbage again would be memory for nothing. House value.
const gcPercent = 5

// readWhole fills the copy with every fact of the source. Each part of the source
// is turned into rows by the goroutine that reads it. It sets the collector of the
// process meanwhile. What was read with is left to it: answers are made in memory that
// was touched before, which takes a fraction of the time.
func (c *Copy) readWhole(ctx context.Context) (err error) {
	defer debug.SetGCPercent(debug.SetGCPercent(gcPercent))
	l := &loading{copy: c}
	if c.at, err = c.o.Source.EachFact(ctx, l.begin); err != nil {
		return err
	}
	for _, p := range l.parts {
		p.handOver()
	}
	c.open = map[segmentKey]*segment{}
	var next atomic.Int64
	var group sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(c.segments)); i = next.Add(1) - 1 {
				c.segments[i] = c.segments[i].seal()
			}
		})
	}
	group.Wait()
	return nil
}

// loading is a copy that is being filled.
type loading struct {
	copy  *Copy
	mu    sync.Mutex // of the copy
	parts []*part
}

// part turns the facts of one goroutine into rows, which it hands over many at a
// time.
type part struct {
	*loading
	encoder *encoder
	rows    []keyedRow
	totals  rowTotals
}

// handedRows is how many rows are handed over at once.
const handedRows = 1 << 10

func (l *loading) begin() func(*facts.Fact) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	p := &part{loading: l, encoder: l.copy.encoder.part(&l.mu), rows: make([]keyedRow, 0, handedRows)}
	l.parts = append(l.parts, p)
	return p.add
}

func (p *part) add(f *facts.Fact) error {
	p.rows = append(p.rows, keyedRow{})
	r := &p.rows[len(p.rows)-1]
	if err := p.encoder.encode(f, r); err != nil {
		return err
	}
	p.totals.count(p.encoder, r, 1)
	if len(p.rows) == handedRows {
		p.handOver()
	}
	return nil
}

// handOver appends the rows to the copy, and seals what they fill.
func (p *part) handOver() {
	p.mu.Lock()
	var full []*segment
	for i := range p.rows {
		if s := p.copy.append(&p.rows[i]); s != nil {
			full = append(full, s)
		}
	}
	t := &p.copy.totals
	t.rows, t.pairs = t.rows+p.totals.rows, t.pairs+p.totals.pairs
	t.sum[0], t.sum[1] = t.sum[0]+p.totals.sum[0], t.sum[1]+p.totals.sum[1]
	p.mu.Unlock()
	p.rows, p.totals = p.rows[:0], rowTotals{}
	for _, s := range full {
		sealed := s.seal()
		p.mu.Lock()
		p.copy.put(s, sealed)
		p.mu.Unlock()
	}
}
