package fleet

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"solewright/models/facts"
)

// Source is the database that a copy is of.
type Source interface {
	// Identity says which database it is.
	Identity(ctx context.Context) (facts.Identity, error)
	// Catalogue returns the stores and models by name.
	Catalogue(ctx context.Context) (*facts.Catalogue, error)
	// EachFact reads every fact, in any order, in parts of which each may be read by
	// a goroutine of its own; begin returns what is called with the facts of a part.
	// It returns the position in the feed of changes from which to follow: what is
	// later may be missing, or there twice. What is called gets the same fact again.
	EachFact(ctx context.Context, begin func() func(*facts.Fact) error) (facts.Position, error)
	// FactsOf calls f with every fact of the pairs.
	FactsOf(ctx context.Context, pairs []string, f func(*facts.Fact) error) error
	// Anchor says what happened at a position in the feed of changes, nothing where
	// nothing did: a database that was restored says something else.
	Anchor(ctx context.Context, at facts.Position) (string, error)
	// Changed returns the pairs that up to limit changes after a position touched.
	Changed(ctx context.Context, after facts.Position, limit int) (facts.Changed, error)
}

// Options say how a copy is kept.
type Options struct {
	Source Source
	// Snapshot is the path of the file to start again from; empty for none.
	Snapshot string
	// Shared keeps the snapshot for other servers; nil for none. It is fetched where
	// the file doesn't fit the database, as on a new machine.
	Shared Shared
	// Every is how often the feed of changes is asked; 0 is a second.
	Every time.Duration
	// Answers is how many bytes answers may take that are kept to be brought up to
	// date; 0 is 64 MiB, and less than 0 keeps none.
	Answers int
	// Clock is the clock; nil is time.Now. Log is told of failures; nil is silent.
	Clock func() time.Time
	Log   *slog.Logger
}

// Copy is the fleet in memory. View and Ready are for any goroutine; Load, Step and
// Save for one, which Run is.
type Copy struct {
	o    Options
	view atomic.Pointer[View]

	writing   sync.Mutex
	encoder   *encoder
	names     *names
	catalogue *facts.Catalogue
	segments  []*segment
	replaced  bool                    // a segment by another, since the last view
	open      map[segmentKey]*segment // that take more rows
	at        facts.Position
	pending   []mark
	asOf      time.Time
	totals    rowTotals
	identity  facts.Identity
	saved     *facts.Position // what the snapshot reaches, nil where there is none
	nextShare time.Time

	failure  atomic.Pointer[failure]
	followed atomic.Int64 // pairs read again
}

// rowTotals are of all rows that hold: how many readings and pairs, and a sum of
// what they say.
type rowTotals struct {
	rows, pairs int
	sum         [2]uint64
}

// segmentKey is what the rows of a segment have in common.
type segmentKey struct {
	month   int
	earlier bool
}

// mark is that at a time, newest was after every transaction that had begun: once
// the horizon reaches it, everything of that time has been followed.
type mark struct {
	at     time.Time
	newest int64
}

type failure struct {
	err   error
	since time.Time
}

// New returns an empty copy; Load or Run fills it.
func New(o Options) *Copy {
	if o.Every == 0 {
		o.Every = time.Second
	}
	if o.Answers == 0 {
		o.Answers = answersBytes
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &Copy{o: o}
}

// View returns the fleet as it is now, nil until the copy is loaded.
func (c *Copy) View() *View { return c.view.Load() }

// Load fills the copy: from the snapshot, where there is one that fits the
// database, and what is newer from there; else from the database.
func (c *Copy) Load(ctx context.Context) error {
	c.writing.Lock()
	defer c.writing.Unlock()
	identity, err := c.o.Source.Identity(ctx)
	if err != nil {
		return fmt.Errorf("loading the fleet: %w", err)
	}
	c.nextShare = c.o.Clock().Add(shareEvery)
	err = c.fromSnapshot(ctx, identity)
	if err != nil && c.fetch(ctx) {
		err = c.fromSnapshot(ctx, identity)
	}
	if err != nil {
		if !errors.Is(err, os.ErrNotExist) {
			c.o.Log.Info("reading the whole fleet", "why", err)
		}
		c.reset()
		c.identity, c.saved, c.nextShare = identity, nil, time.Time{} // what took long is shared at once
		if err := c.readWhole(ctx); err != nil {
			return fmt.Errorf("loading the fleet: %w", err)
		}
	}
	// What was written meanwhile, so that the first view is of one moment.
	if _, err := c.follow(ctx); err != nil {
		return fmt.Errorf("loading the fleet: %w", err)
	}
	return nil
}

// reset empties the copy.
func (c *Copy) reset() {
	c.encoder, c.segments, c.open = newEncoder(), nil, map[segmentKey]*segment{}
	c.at, c.totals, c.pending = facts.Position{}, rowTotals{}, nil
	c.names, c.replaced = nil, true
}

// fromSnapshot fills the copy from the file, unless it is of another database or
// of another past of it.
func (c *Copy) fromSnapshot(ctx context.Context, identity facts.Identity) error {
	if c.o.Snapshot == "" {
		return os.ErrNotExist
	}
	c.reset()
	anchor, err := c.restore(c.o.Snapshot)
	if err != nil {
		return err
	}
	if c.identity != identity {
		return fmt.Errorf("%w: it is of another database, or from before a restore", errSnapshot)
	}
	now, err := c.o.Source.Anchor(ctx, c.at)
	if err == nil && now != anchor {
		err = fmt.Errorf("%w: the database has another past", errSnapshot)
	}
	reached := c.at
	c.saved = &reached
	return err
}

// add appends a fact.
func (c *Copy) add(f *facts.Fact) error {
	var r keyedRow
	if err := c.encoder.encode(f, &r); err != nil {
		return err
	}
	c.totals.count(c.encoder, &r, 1)
	if s := c.append(&r); s != nil {
		c.put(s, s.seal())
	}
	return nil
}

// append appends a row and returns its segment where that is full now.
func (c *Copy) append(r *keyedRow) *segment {
	r.runner = c.encoder.runners.add(r.runnerKey)
	r.interval = c.encoder.intervals.add(uint64(r.life))
	key := segmentKey{monthNumber(r.day), r.isFirst}
	s := c.open[key]
	if s == nil {
		s = c.openSegment(key)
		c.open[key] = s
	}
	s.add(&r.row)
	if s.len() < segmentRows {
		return nil
	}
	delete(c.open, key)
	return s
}

// openSegment returns a segment that takes rows: one that is sealed and not full
// takes more, so that there is never more than one.
func (c *Copy) openSegment(key segmentKey) *segment {
	for _, s := range c.segments {
		if s.month == key.month && s.earlier == key.earlier && s.len()-s.numStruck < segmentRows {
			u := s.unsealed()
			c.put(s, u)
			return u
		}
	}
	s := &segment{month: key.month, earlier: key.earlier}
	c.segments = append(c.segments, s)
	return s
}

// put puts a segment in the place of another with the same rows. Views keep the
// old one as long as they last.
func (c *Copy) put(old, with *segment) {
	if old != with {
		c.segments[slices.Index(c.segments, old)], c.replaced = with, true
	}
}

// count notes that a row came, or with -1 that it went.
func (t *rowTotals) count(e *encoder, r *keyedRow, n int) {
	t.rows += n
	if !r.isFirst {
		t.pairs += n
	}
	a, b := e.hash(r)
	t.sum[0] += uint64(n) * a
	t.sum[1] += uint64(n) * b
}

// publish lets readers see what was written. What has not changed is that of the
// view before, its answers too.
func (c *Copy) publish() {
	e := c.encoder
	v := &View{
		AsOf: c.asOf, Rows: c.totals.rows, Pairs: c.totals.pairs, names: c.names, runners: e.runners.keys,
		tables: e.tables(), runnerBytes: e.runners.bytes(), intervalBytes: e.intervals.bytes(),
		sum: c.totals.sum, identity: c.identity, at: c.at, segments: make([]*segment, len(c.segments)),
	}
	before := c.view.Load()
	switch {
	case before == nil:
		v.answers = newAnswers(c.o.Answers)
	case c.replaced || before.names != c.names:
		v.answers = before.answers.anew()
	default:
		v.answers = before.answers
		copy(v.segments, before.segments)
		if len(before.intervals) == len(v.intervals) {
			v.spans = before.spans // it may be sorted already
		}
	}
	c.replaced = false
	for i, s := range c.segments {
		if old := v.segments[i]; old == nil || old.len() != s.len() || old.numStruck != s.numStruck {
			state := *s
			v.segments[i] = &state
		}
	}
	c.view.Store(v)
}

// stepChanges is how many changes are followed at once.
const stepChanges = 10_000

// Step follows the changes there are and reports how many pairs were read again.
func (c *Copy) Step(ctx context.Context) (pairs int, err error) {
	c.writing.Lock()
	defer c.writing.Unlock()
	return c.follow(ctx)
}

func (c *Copy) follow(ctx context.Context) (pairs int, err error) {
	for {
		now := c.o.Clock()
		changed, err := c.o.Source.Changed(ctx, c.at, stepChanges)
		if err != nil {
			return pairs, err
		}
		if err := c.replace(ctx, changed.Pairs); err != nil {
			return pairs, err
		}
		pairs += len(changed.Pairs)
		c.followed.Add(int64(len(changed.Pairs)))
		c.at = changed.To
		if changed.More {
			continue
		}
		c.pending = append(c.pending, mark{now, changed.Newest})
		for len(c.pending) > 0 && c.pending[0].newest <= changed.Horizon {
			c.asOf = c.pending[0].at
			c.pending = c.pending[1:]
		}
		return pairs, c.rename(ctx)
	}
}

// replace reads pairs again.
func (c *Copy) replace(ctx context.Context, pairs []string) error {
	if len(pairs) == 0 {
		return nil
	}
	var fresh []facts.Fact
	if err := c.o.Source.FactsOf(ctx, pairs, func(f *facts.Fact) error {
		fresh = append(fresh, *f)
		return nil
	}); err != nil {
		return err
	}
	gone := make(map[uint64]struct{}, len(pairs))
	for _, ref := range pairs {
		n, err := pairNumber(ref)
		if err != nil {
			return err
		}
		gone[n] = struct{}{}
	}
	c.strike(gone)
	for i := range fresh {
		if err := c.add(&fresh[i]); err != nil {
			return err
		}
	}
	return nil
}

// strike strikes out the rows of pairs. There is no index of pairs: a scan of
// ten million references takes less time than the question to the database.
func (c *Copy) strike(pairs map[uint64]struct{}) {
	// Most rows are passed over by sixteen bits of their reference.
	var maybe [1 << 10]uint64
	for p := range pairs {
		maybe[uint16(p)>>6] |= 1 << (p & 63)
	}
	var rows []int
	for _, s := range c.segments {
		rows = s.find(&maybe, pairs, rows[:0])
		if len(rows) == 0 {
			continue
		}
		for _, i := range rows {
			r := keyedRow{row: s.at(i)}
			r.life, r.runnerKey = interval(c.encoder.intervals.keys[r.interval]), c.encoder.runners.keys[r.runner]
			c.totals.count(c.encoder, &r, -1)
		}
		s.strike(rows)
		if 2*s.numStruck <= s.len() {
			continue
		}
		if s.sealed {
			c.put(s, s.seal())
			continue
		}
		held := s.unsealed()
		c.put(s, held)
		c.open[segmentKey{s.month, s.earlier}] = held
	}
}

// find returns the rows that hold of pairs, in rows; maybe has a bit for the last
// sixteen bits of each pair.
func (s *segment) find(maybe *[1 << 10]uint64, pairs map[uint64]struct{}, rows []int) []int {
	take := func(i int) {
		if _, ok := pairs[s.pair(i)]; ok && !s.isStruck(i) {
			rows = append(rows, i)
		}
	}
	if !s.sealed {
		for i := range s.rows {
			take(i)
		}
		return rows
	}
	for i, low := range s.pairLow {
		if maybe[low>>6]>>(low&63)&1 == 1 {
			take(i)
		}
	}
	return rows
}

// rename brings names up to date with the catalogue, and publishes.
func (c *Copy) rename(ctx context.Context) error {
	catalogue, err := c.o.Source.Catalogue(ctx)
	if err != nil {
		return err
	}
	c.catalogue = catalogue
	if names := newNames(c.encoder, c.catalogue); c.names == nil || !names.alike(c.names) {
		c.names = names
	}
	c.publish()
	return nil
}

// saveEvery is how often the snapshot is written while there is something new.
// House value: what is newer takes a restart some seconds.
const saveEvery = 15 * time.Minute

// shareEvery is how often the snapshot is shared: all of it is written, and a server
// that fetches it follows what is newer. House value.
const shareEvery = 6 * time.Hour

// Run loads the copy and follows the database until the context ends, and then
// writes the snapshot. What fails is tried again; Ready says that it does.
func (c *Copy) Run(ctx context.Context) {
	var sharing sync.WaitGroup
	defer sharing.Wait()
	tick := time.NewTicker(c.o.Every)
	defer tick.Stop()
	var nextSave time.Time
	for ctx.Err() == nil {
		var err error
		if c.View() == nil {
			err = c.Load(ctx)
		} else {
			_, err = c.Step(ctx)
		}
		if ctx.Err() != nil {
			break
		}
		if now := c.o.Clock(); err == nil && now.After(nextSave) {
			nextSave = now.Add(saveEvery)
			if err = c.Save(ctx); err == nil && c.o.Shared != nil && c.o.Snapshot != "" && now.After(c.nextShare) {
				c.nextShare = now.Add(shareEvery)
				sharing.Go(func() { c.share(ctx) })
			}
		}
		c.note(err)
		select {
		case <-ctx.Done():
		case <-tick.C:
		}
	}
	if err := c.Save(context.WithoutCancel(ctx)); err != nil {
		c.o.Log.Warn("saving the fleet", "error", err)
	}
}

// note keeps what failed, and since when, and tells the log of the first time.
func (c *Copy) note(err error) {
	old := c.failure.Load()
	switch {
	case err == nil:
		c.failure.Store(nil)
	case old == nil:
		c.failure.Store(&failure{err, c.o.Clock()})
		c.o.Log.Error("following the database", "error", err)
	default:
		c.failure.Store(&failure{err, old.since})
	}
}

// Ready says how far the copy has followed. A copy that is loading or behind is
// no error: the bench works without it.
func (c *Copy) Ready(context.Context) (string, error) {
	v, failing := c.View(), c.failure.Load()
	switch {
	case v == nil && failing != nil:
		return "can't be loaded since " + failing.since.UTC().Format(time.RFC3339), nil
	case v == nil:
		return "loading", nil
	case failing != nil:
		return fmt.Sprintf("as of %s, not followed since %s", v.AsOf.UTC().Format(time.RFC3339), failing.since.UTC().Format(time.RFC3339)), nil
	}
	return fmt.Sprintf("as of %s, %d readings of %d pairs", v.AsOf.UTC().Format(time.RFC3339), v.Rows, v.Pairs), nil
}
