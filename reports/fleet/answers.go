package fleet

import (
	"container/list"
	"fmt"
	"math/bits"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"weak"
)

// What answers may take in memory: all of them, and one. A larger one is kept
// only for the view that it is of. House values.
const (
	answersBytes = 64 << 20
	answerBytes  = 8 << 20
	linesBytes   = 64 << 10 // of lines that are kept beside what they are written from
	lineBytes    = 64       // of one line of an answer
	wordBytes    = 16       // of one of its words
	leastBytes   = 4 << 10  // of an answer without lines: what picks and groups its rows
)

// answers are what questions came to. Rows are only counted and added up, so an
// answer is brought from one view to another by the rows that one of them holds
// and the other doesn't, without scanning the rest. The views of one answers have
// the same names and the same segments, which grow and in which rows are struck
// out; when anything else becomes of them, [Copy.publish] begins with none.
type answers struct {
	slots chan struct{} // one for each scan that may run at once
	quiet chan struct{} // one for those of quiet views

	mu      sync.Mutex
	kept    map[string]*list.Element // of *answer, by the question
	shelves [2]shelf
	most    int // bytes of both
}

// shelf holds answers, the last used first.
type shelf struct {
	list.List
	bytes int
}

// The shelves: one for what quiet views alone were asked, for it is asked once and takes
// much, and would push out what readers ask again and again.
const (
	ofReaders = iota
	ofQuiet
)

// answer is of one question. What was found last is read without waiting; who
// asks of another view waits for whoever is at it.
type answer struct {
	question string
	found    atomic.Pointer[found]

	mu    sync.Mutex
	group *grouping
	sum   any // the sum of the view of found; nil where it is too large to be kept

	// Guarded by answers.mu.
	bytes int
	shelf int
}

// found is what a question came to in one view.
type found struct {
	view  *View
	lines weak.Pointer[lines]
	// kept are the lines where they are few, or nothing is there to write them from;
	// others stay until memory is cleaned up.
	kept *lines
}

// lines are an answer as it was written: a slice.
type lines struct{ of any }

// written returns the lines of an answer that was found in a view; false where they
// have to be written.
func written[E any](last *found, v *View) ([]E, bool) {
	if last == nil || !last.view.is(v) {
		return nil, false
	}
	l := last.lines.Value()
	if l == nil {
		return nil, false
	}
	return slices.Clone(l.of.([]E)), true
}

// sum is what a question adds up over rows.
type sum[E any] interface {
	// scan adds all rows of the question.
	scan(g *grouping)
	// change adds rows, or with sign -1 takes them off.
	change(g *grouping, sel *selection, sign int)
	// counted is the tally that the tally of other rows is added to; nil where sums
	// can't be put together.
	counted() *tally
	// lines writes the answer.
	lines(g *grouping) []E
	// keep returns the sum in memory of its own, and how much of it; a nil sum where
	// that is more than answerBytes, and the sum's memory is used again.
	keep() (sum[E], int)
	// free gives back the memory of a sum that was not kept.
	free()
}

// newAnswers returns none yet. Scans wait for one another so that as many run as
// there are processors: more would only take turns, and a short one take as long
// as the long ones beside it.
func newAnswers(most int) *answers {
	return &answers{slots: make(chan struct{}, runtime.GOMAXPROCS(0)), quiet: make(chan struct{}, 1), kept: map[string]*list.Element{}, most: most}
}

// anew returns answers with none kept, for views that have nothing in common with
// those before.
func (a *answers) anew() *answers {
	return &answers{slots: a.slots, quiet: a.quiet, kept: map[string]*list.Element{}, most: a.most}
}

// scanning runs f when there is a processor for it.
func (v *View) scanning(f func()) {
	a := v.answers
	if v.quietOf != nil {
		a.quiet <- struct{}{}
		defer func() { <-a.quiet }()
	}
	a.slots <- struct{}{}
	defer func() { <-a.slots }()
	f()
}

// makeWay has a scan of a quiet view rest, and lets one go first that waits for its
// processor.
func (v *View) makeWay(q *query) {
	if !v.restless() {
		return
	}
	if q.slotted {
		<-v.answers.slots
		defer func() { v.answers.slots <- struct{}{} }()
	}
	v.Rest()
}

// spare takes a processor that no scan is waiting for; false where there is none.
func (v *View) spare() bool {
	if v.quietOf != nil {
		return false
	}
	select {
	case v.answers.slots <- struct{}{}:
		return true
	default:
		return false
	}
}

// answer returns the answer to a question, empty where it is new.
func (v *View) answer(question string) *answer {
	a, shelf := v.answers, ofReaders
	if v.quietOf != nil {
		shelf = ofQuiet
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	n := &answer{question: question, shelf: shelf}
	if e, ok := a.kept[question]; ok {
		n = a.remove(e)
		n.shelf = min(n.shelf, shelf) // what readers asked stays theirs
	}
	a.put(n)
	return n
}

// put puts an answer first on its shelf.
func (a *answers) put(n *answer) {
	on := &a.shelves[n.shelf]
	on.bytes += n.bytes
	a.kept[n.question] = on.PushFront(n)
}

// weigh notes what an answer takes now, and lets go of those that were not used
// for longest: of quiet views first, where they take more than half.
func (a *answers) weigh(of *answer, bytes int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if e, ok := a.kept[of.question]; !ok || e.Value != of {
		return // let go of meanwhile
	}
	a.shelves[of.shelf].bytes += bytes - of.bytes
	of.bytes = bytes
	readers, quiet := &a.shelves[ofReaders], &a.shelves[ofQuiet]
	for readers.bytes+quiet.bytes > a.most {
		from := readers
		if quiet.bytes > a.most/2 || readers.Len() == 0 {
			from = quiet
		}
		a.remove(from.Back())
	}
}

// forget lets go of an answer.
func (a *answers) forget(of *answer) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if e, ok := a.kept[of.question]; ok && e.Value == of {
		a.remove(e)
	}
}

func (a *answers) remove(e *list.Element) *answer {
	n := e.Value.(*answer)
	on := &a.shelves[n.shelf]
	on.Remove(e)
	on.bytes -= n.bytes
	delete(a.kept, n.question)
	return n
}

// answered returns what a question comes to: kind says what is asked, and begin
// returns a sum of nothing. Who asks what is being answered waits for it, so that
// nothing is scanned twice. The lines are for every asker: what they hold is not
// to be changed.
func answered[E any](v *View, kind string, f *Filter, dims []Dim, begin func(*grouping) (sum[E], error)) ([]E, error) {
	if v.answers.most < 0 {
		return scanned(v, f, dims, begin)
	}
	a := v.answer(questionOf(kind, f, dims))
	if all, ok := written[E](a.found.Load(), v); ok {
		return all, nil
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	last := a.found.Load()
	if all, ok := written[E](last, v); ok {
		return all, nil
	}
	var (
		g     *grouping
		total sum[E]
	)
	if a.sum == nil {
		var err error
		if g, total, err = scan(v, f, dims, begin); err != nil {
			v.answers.forget(a)
			return nil, err
		}
	} else {
		g, total = a.group, a.sum.(sum[E])
		g.view, g.query.tables = v, v.tables.or(last.view.tables)
		v.since(last.view, g.query, func(sel *selection, sign int) { total.change(g, sel, sign) })
		g.query.release()
	}
	all := total.lines(g)
	kept, n := total.keep()
	a.group, a.sum = nil, nil
	if kept != nil {
		a.group, a.sum = g, kept
	}
	// The lines hold about as much as the sum that they are written from.
	l, bytes := &lines{all}, leastBytes+len(a.question)+8*len(v.segments)+n
	of := &found{view: v, lines: weak.Make(l)}
	if size := (lineBytes+wordBytes*len(g.dims))*len(all) + n; size <= linesBytes || kept == nil {
		of.kept, bytes = l, bytes+size
	}
	a.found.Store(of)
	if bytes > 4*answerBytes {
		v.answers.forget(a)
	} else {
		v.answers.weigh(a, bytes)
	}
	return slices.Clone(all), nil
}

// scan adds up what a question picks.
func scan[E any](v *View, f *Filter, dims []Dim, begin func(*grouping) (sum[E], error)) (*grouping, sum[E], error) {
	g, err := v.group(f, slices.Clone(dims))
	if err != nil {
		return nil, nil, err
	}
	total, err := begin(g)
	if err == nil {
		v.scanning(func() {
			g.query.slotted = true
			together(v, g, total, begin)
			g.query.slotted = false
		})
		g.query.release()
	}
	return g, total, err
}

// together scans with every processor that is free as the scan begins: each takes
// the next segment that none has taken.
func together[E any](v *View, g *grouping, total sum[E], begin func(*grouping) (sum[E], error)) {
	mine := total.counted()
	if mine == nil {
		total.scan(g)
		return
	}
	g.query.taken = new(atomic.Int64)
	defer func() { g.query.taken = nil }()
	var group sync.WaitGroup
	var parts []sum[E]
	for v.spare() {
		beside := g.beside()
		part, err := begin(beside)
		if err != nil {
			panic(err) // the same question began without
		}
		parts = append(parts, part)
		group.Go(func() {
			defer func() { <-v.answers.slots }()
			part.scan(beside)
			beside.query.release()
		})
	}
	total.scan(g)
	group.Wait()
	for _, part := range parts {
		mine.add(part.counted())
		part.free()
	}
}

// scanned returns what a question comes to and keeps nothing.
func scanned[E any](v *View, f *Filter, dims []Dim, begin func(*grouping) (sum[E], error)) ([]E, error) {
	g, total, err := scan(v, f, dims, begin)
	if err != nil {
		return nil, err
	}
	lines := total.lines(g)
	total.free()
	return lines, nil
}

// questionOf writes a question so that any two that differ are written
// differently.
func questionOf(kind string, f *Filter, dims []Dim) string {
	b := append(make([]byte, 0, 256), kind...)
	for _, d := range dims {
		b = append(b, ' ', byte('A'+d))
	}
	return string(fmt.Appendf(b, " %#v", *f)) // every field, quoted
}

// since calls f with the rows of a query that the view holds and another view of
// the same answers doesn't, sign 1, and with those that only the other holds,
// sign -1. What f gets is used again.
func (v *View) since(other *View, q *query, f func(sel *selection, sign int)) {
	if q.nothing {
		return
	}
	var none segment
	for i := range max(len(v.segments), len(other.segments)) {
		here, there := &none, &none
		if i < len(v.segments) {
			here = v.segments[i]
		}
		if i < len(other.segments) {
			there = other.segments[i]
		}
		if here.len() == there.len() && here.numStruck == there.numStruck {
			continue
		}
		longer := here
		if there.len() > here.len() {
			longer = there
		}
		if q.passes(longer) {
			continue
		}
		eachDifference(longer, here, there, q, f)
		eachDifference(longer, there, here, q, func(sel *selection, _ int) { f(sel, -1) })
	}
}

// eachDifference calls f with the rows of a query that one state of a segment
// holds and the other doesn't. The columns are those of the longer state.
func eachDifference(longer, one, other *segment, q *query, f func(*selection, int)) {
	var rows [blockRows]uint16
	sel := selection{segment: longer}
	for ; sel.base < one.len(); sel.base += blockRows {
		n := 0
		for word := sel.base / 64; word < (sel.base+blockRows)/64; word++ {
			for set := one.live(word) &^ other.live(word); set != 0; set &= set - 1 {
				rows[n] = uint16(64*word + bits.TrailingZeros64(set) - sel.base)
				n++
			}
		}
		if n == 0 {
			continue
		}
		if sel.rows = q.narrowed(longer, sel.base, rows[:n], q.tests); len(sel.rows) > 0 {
			f(&sel, 1)
		}
	}
}

// live returns which of the 64 rows of a word there are that aren't struck, by
// their bits.
func (s *segment) live(word int) uint64 {
	n := s.len() - 64*word
	if n <= 0 {
		return 0
	}
	set := ^uint64(0)
	if n < 64 {
		set = 1<<n - 1
	}
	if word < len(s.struck) {
		set &^= s.struck[word]
	}
	return set
}
