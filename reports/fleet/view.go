package fleet

import (
	"cmp"
	"encoding/binary"
	"encoding/hex"
	"iter"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"solewright/models/facts"
)

// View is the fleet as it stood at one moment. It never changes, and any number
// of goroutines may ask it.
type View struct {
	// AsOf is the moment up to which everything written is in the view. What was
	// written later may be in it or not.
	AsOf time.Time
	// Rows are the readings in the view, Pairs the pairs.
	Rows, Pairs int

	names *names
	tables
	segments []*segment // their state at the moment
	answers  *answers
	runners  []uint64  // their keys
	sum      [2]uint64 // over all rows
	identity facts.Identity
	at       facts.Position

	runnerBytes, intervalBytes int

	quietOf *View // the view that this is a quiet one of; nil for others
	rest    func()
	rested  *atomic.Int64 // when it last let others go first, from begun
}

// restEvery is how often work of a quiet view lets others go first. House value.
const restEvery = 500 * time.Microsecond

// begun is from when the fleet's clock of rests counts.
var begun = time.Now()

// Quietly returns the view for questions that may take their time: of all that are
// asked of quiet views one scan runs at once, on one processor, so that there are
// others for who waits. Rest is called twice a millisecond or so, and may wait as long as
// others need the processors; nil for no rest.
func (v *View) Quietly(rest func()) *View {
	quiet := *v
	quiet.quietOf, quiet.rest, quiet.rested = cmp.Or(v.quietOf, v), rest, new(atomic.Int64)
	return &quiet
}

// Rest lets others go first where the view is a quiet one. Work of any length with what
// was asked of a view calls it now and then.
func (v *View) Rest() {
	if !v.restless() {
		return
	}
	if v.rest != nil {
		v.rest()
	}
	runtime.Gosched()
	v.rested.Store(int64(time.Since(begun)))
}

// restless says that a quiet view has not let others go first for a while.
func (v *View) restless() bool {
	return v.quietOf != nil && time.Since(begun)-time.Duration(v.rested.Load()) >= restEvery
}

// is says that two are the same view, quiet or not.
func (v *View) is(other *View) bool {
	return v == other || cmp.Or(v.quietOf, v) == cmp.Or(other.quietOf, other)
}

// tables are what the numbers of sets and of intervals in the columns stand for.
// They only grow.
type tables struct {
	findings  []finding
	unread    []uint32 // a bit for each check
	intervals []uint64
	spans     func() []uint32 // the numbers of intervals in the order of spans
}

// tables returns the tables as they are now.
func (e *encoder) tables() tables {
	t := tables{findings: e.findings.all, unread: e.unread.all, intervals: e.intervals.keys}
	t.spans = sync.OnceValue(func() []uint32 {
		numbers := make([]uint32, len(t.intervals))
		for n := range numbers {
			numbers[n] = uint32(n)
		}
		slices.SortFunc(numbers, func(a, b uint32) int { return cmp.Compare(spanKey(t.intervals[a]), spanKey(t.intervals[b])) })
		return numbers
	})
	return t
}

// or returns the longer of two states of the tables.
func (t tables) or(other tables) tables {
	if len(other.findings) > len(t.findings) {
		t.findings = other.findings
	}
	if len(other.unread) > len(t.unread) {
		t.unread = other.unread
	}
	if len(other.intervals) > len(t.intervals) {
		t.intervals, t.spans = other.intervals, other.spans
	}
	return t
}

// Fingerprint is the same for the same data, on any server, and another for
// other data: thirty-two characters for an ETag or the key of a cache.
func (v *View) Fingerprint() string {
	var b [16]byte
	for i, n := range v.sum {
		binary.LittleEndian.PutUint64(b[8*i:], n+v.names.sum[i])
	}
	return hex.EncodeToString(b[:])
}

// Label returns what people call a word of a dimension: of Model, whose words
// are ids, brand, model and version; the word itself of any other.
func (v *View) Label(d Dim, word string) string {
	if d != Model {
		return word
	}
	if code, ok := v.names.codeOf()[word]; ok {
		return v.names.labels[code]
	}
	return ""
}

// Category returns the word of a model's category, "" for none.
func (v *View) Category(model string) string {
	if code, ok := v.names.codeOf()[model]; ok {
		return closed[Category][v.names.category[code]]
	}
	return ""
}

// Words returns the words that a dimension has in the view, in order, without
// the absent; none of Month.
func (v *View) Words(d Dim) []string {
	if d == Month {
		return nil
	}
	list := v.names.words(d)
	if len(list) == 0 {
		return nil
	}
	sorted := make([]string, len(list))
	for code, place := range v.names.ranks[d]() {
		sorted[place] = list[code]
	}
	return sorted[1:] // the absent sorts first
}

// blockRows is how many rows are looked at at once: their selection stays in the
// nearest cache.
const blockRows = 1 << 11

// selection is the rows of a block of a segment that a query picks.
type selection struct {
	*segment
	base int
	rows []uint16 // from base
}

// segmentsOf calls f with the segments that may hold rows of a query.
func (v *View) segmentsOf(q *query, f func(*segment)) {
	if q.nothing {
		return
	}
	for i := 0; ; i++ {
		if q.taken != nil {
			i = int(q.taken.Add(1)) - 1
		}
		if i >= len(v.segments) {
			return
		}
		if s := v.segments[i]; !q.passes(s) {
			v.makeWay(q)
			f(s)
		}
	}
}

// passes says that none of a segment's rows can be picked.
func (q *query) passes(s *segment) bool {
	return s.earlier && !q.readings || s.last < q.firstDay || s.firstDay > q.last
}

// scan calls f with the rows that a query picks. What f gets is used again.
func (v *View) scan(q *query, f func(*selection)) {
	v.segmentsOf(q, func(s *segment) { q.scan(s, f) })
}

func (q *query) scan(s *segment, f func(*selection)) {
	for sel := range q.selections(s) {
		f(sel)
	}
}

// selections returns the rows of a segment that a query picks, by block, the same
// selection again and again.
func (q *query) selections(s *segment) iter.Seq[*selection] {
	return func(yield func(*selection) bool) {
		b := q.room()
		sel := selection{segment: s}
		from, to := q.span(s)
		for sel.base = from - from%blockRows; sel.base < to; sel.base += blockRows {
			first, end := max(from, sel.base), min(to, sel.base+blockRows)
			if sel.rows = q.pick(s, sel.base, first, end, b.rows[:]); len(sel.rows) > 0 && !yield(&sel) {
				return
			}
		}
	}
}

// rooms keeps buffers for the next question: new ones take longer than a question
// about one month.
var rooms = sync.Pool{New: func() any { return new(buffers) }}

// room returns the buffers of the query.
func (q *query) room() *buffers {
	if q.buffers == nil {
		q.buffers = rooms.Get().(*buffers)
	}
	return q.buffers
}

// release gives the buffers back when no row is looked at any more.
func (q *query) release() {
	if q.buffers != nil {
		rooms.Put(q.buffers)
		q.buffers = nil
	}
}

// within says that a query bounds no day of a segment.
func (q *query) within(s *segment) bool { return s.firstDay >= q.firstDay && s.last <= q.last }

// pick returns the rows between two of a block that meet every condition, in rows.
// Models come first, or stores: they leave the fewest rows for the other
// conditions.
func (q *query) pick(s *segment, base, first, end int, rows []uint16) []uint16 {
	rows = rows[:end-first]
	left := q.tests
	switch {
	case left.model != nil && s.sealed:
		rows, left.model = s.pickModels(left.model, base, first, rows), nil
	case q.oneStore >= 0:
		rows, left.store = find(rows, s.stores(base, end, q.room()), uint16(q.oneStore)), nil
	case left.store != nil:
		rows, left.store = choose(rows, s.stores(base, end, q.room()), first-base, left.store), nil
	case len(left.what) > 0:
		t := left.what[0]
		rows, left.what = t.choose(rows, s.whats(t.half(), base, end, q.room()), first-base), left.what[1:]
	default:
		for i := range rows {
			rows[i] = uint16(first - base + i)
		}
	}
	rows = q.narrowed(s, base, rows, left)
	if s.numStruck == 0 {
		return rows
	}
	n := 0
	for _, i := range rows {
		if !s.isStruck(base + int(i)) {
			rows[n] = i
			n++
		}
	}
	return rows[:n]
}

// narrowed leaves of some rows of a block those that meet every condition, struck
// out or not; of those on what lies open, the ones that are left.
func (q *query) narrowed(s *segment, base int, rows []uint16, left tests) []uint16 {
	if len(rows) == 0 {
		return rows
	}
	end, b := min(base+blockRows, s.len()), q.room()
	if left.model != nil {
		rows = keep(rows, s.modelsOf(base, end, b), left.model)
	}
	if left.store != nil {
		rows = keep(rows, s.stores(base, end, b), left.store)
	}
	if !q.within(s) {
		rows = keepIf(rows, func(i int) bool { return s.dayAt(base+i)-q.firstDay <= q.last-q.firstDay }) // before the first wraps around
	}
	for _, t := range left.what {
		rows = t.keep(rows, s.whats(t.half(), base, end, b))
	}
	if q.staff != nil {
		rows = keepIf(rows, func(i int) bool { return q.staff[s.staffAt(base+i)] })
	}
	if q.batch != nil {
		rows = keepIf(rows, func(i int) bool { return q.batch[s.batchAt(base+i)] })
	}
	if q.byKM {
		// An unknown distance, 0 in the column, wraps around.
		rows = keepIf(rows, func(i int) bool { return s.kmAt(base+i)-q.kmFirst <= q.kmLast-q.kmFirst })
	}
	if q.reason != nil || q.byCode {
		rows = keepIf(rows, func(i int) bool { return q.allows(&q.findings[s.findingAt(base+i)]) })
	}
	return rows
}

// allows says that a row with a finding meets the conditions on it.
func (q *query) allows(f *finding) bool {
	if q.reason != nil && !q.reason[f.first] {
		return false
	}
	if !q.byCode {
		return true
	}
	has, any := false, false
	for k, word := range f.codes {
		has, any = has || word&q.codes[k] != 0, any || word != 0
	}
	return has || q.codeless && !any
}

// find picks the rows of a code that few have. It looks at eight rows at once: the
// code leaves a zero, and a zero borrows when one is taken from it (Warren 2013,
// Hacker's Delight, 6-1).
func find(rows, column []uint16, code uint16) []uint16 {
	const ones, highs = 0x0001_0001_0001_0001, 0x8000_8000_8000_8000
	n, at, sought := 0, 0, uint64(code)*ones
	for ; len(column)-at >= 8; at += 8 {
		eight := column[at : at+8 : at+8]
		a, b := four(eight)^sought, four(eight[4:])^sought
		if ((a-ones)&^a|(b-ones)&^b)&highs == 0 {
			continue
		}
		for k, c := range eight {
			if c == code {
				rows[n] = uint16(at + k)
				n++
			}
		}
	}
	for ; at < len(column); at++ {
		if column[at] == code {
			rows[n] = uint16(at)
			n++
		}
	}
	return rows[:n]
}

// four returns the first four of a column as one word, the first lowest.
func four(column []uint16) uint64 {
	_ = column[3]
	return uint64(column[0]) | uint64(column[1])<<16 | uint64(column[2])<<32 | uint64(column[3])<<48
}

// choose picks the rows of a block, from first, whose code in a column is allowed. It
// stays by itself: among all conditions the compiler has too few registers left for
// its loop, which then takes two fifths longer.
//
//go:noinline
func choose(rows, column []uint16, first int, allowed []bool) []uint16 {
	n := 0
	column = column[first:][:len(rows)]
	for i, c := range column {
		rows[n] = uint16(first + i)
		n += one(allowed[c])
	}
	return rows[:n]
}

// keep leaves the rows whose code is allowed. A code that came after the view's
// names can't stand in its rows.
func keep(rows, column []uint16, allowed []bool) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += one(allowed[column[i]])
	}
	return rows[:n]
}

// keepIf leaves the rows of a block that meet a condition.
func keepIf(rows []uint16, condition func(i int) bool) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += one(condition(int(i)))
	}
	return rows[:n]
}

// choose is choose by a packed dimension.
//
//go:noinline
func (t fieldTest) choose(rows, column []uint16, first int) []uint16 {
	n := 0
	column = column[first:][:len(rows)]
	for i, c := range column {
		rows[n] = uint16(first + i)
		n += int(t.allowed >> (t.in(c) & 31) & 1)
	}
	return rows[:n]
}

func (t fieldTest) keep(rows, column []uint16) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += one(t.allowsIn(column[i]))
	}
	return rows[:n]
}

// one is 1 for true, without a branch.
func one(b bool) int {
	if b {
		return 1
	}
	return 0
}
