package fleet

import (
	"encoding/binary"
	"encoding/hex"
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

	names    *names
	segments []*segment // their state at the moment
	answers  *answers
	runners  []uint64  // their keys
	sum      [2]uint64 // over all rows
	identity facts.Identity
	at       facts.Position
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
	for code, id := range v.names.ids() {
		if id == word {
			return v.names.labels[code]
		}
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
	for _, s := range v.segments {
		if !q.passes(s) {
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
	var (
		buffer [blockRows]uint16
		sel    selection
	)
	v.segmentsOf(q, func(s *segment) {
		sel.segment = s
		for sel.base = 0; sel.base < s.len(); sel.base += blockRows {
			n := min(blockRows, s.len()-sel.base)
			if sel.rows = q.pick(s, sel.base, buffer[:n]); len(sel.rows) > 0 {
				f(&sel)
			}
		}
	})
}

// within says that a query bounds no day of a segment.
func (q *query) within(s *segment) bool { return s.firstDay >= q.firstDay && s.last <= q.last }

// picksAll says that a query picks every row of a segment that isn't struck.
func (q *query) picksAll(s *segment) bool {
	return q.within(s) && q.model == nil && q.store == nil && q.staff == nil && q.batch == nil &&
		q.reason == nil && len(q.what) == 0 && !q.byCode && !q.byKM
}

// pick returns the rows of a block that meet every condition, in rows. One model
// or one store comes first: it leaves the fewest rows for the other conditions.
func (q *query) pick(s *segment, base int, rows []uint16) []uint16 {
	end := base + len(rows)
	switch {
	case q.oneModel >= 0:
		rows = find(rows, s.model[base:end], uint16(q.oneModel))
	case q.oneStore >= 0:
		rows = find(rows, s.store[base:end], uint16(q.oneStore))
	default:
		for i := range rows {
			rows[i] = uint16(i)
		}
	}
	rows = q.narrowed(s, base, rows)
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
// out or not.
func (q *query) narrowed(s *segment, base int, rows []uint16) []uint16 {
	if len(rows) == 0 {
		return rows
	}
	end := min(base+blockRows, s.len())
	if q.model != nil {
		rows = keep(rows, s.model[base:end], q.model)
	}
	if q.store != nil {
		rows = keep(rows, s.store[base:end], q.store)
	}
	if !q.within(s) {
		rows = keepBetween(rows, s.day[base:end], q.firstDay, q.last)
	}
	what := s.what[base:end]
	for _, t := range q.what {
		rows = t.keep(rows, what)
	}
	if q.staff != nil {
		rows = keep(rows, s.staff[base:end], q.staff)
	}
	if q.batch != nil {
		rows = keep(rows, s.batch[base:end], q.batch)
	}
	if q.reason != nil {
		rows = keep(rows, s.reason[base:end], q.reason)
	}
	if q.byKM {
		rows = q.keepKM(rows, s.life[base:end])
	}
	if q.byCode {
		rows = q.keepCodes(rows, s, base)
	}
	return rows
}

// find picks the rows of a code that few have: the branch is nearly always
// foreseen, so that a row costs a comparison.
func find(rows, column []uint16, code uint16) []uint16 {
	n := 0
	for i, c := range column {
		if c == code {
			rows[n] = uint16(i)
			n++
		}
	}
	return rows[:n]
}

// keep leaves the rows whose code is allowed. A code that came after the view's
// names can't stand in its rows.
func keep[C uint16 | uint32](rows []uint16, column []C, allowed []bool) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += one(allowed[column[i]])
	}
	return rows[:n]
}

func keepBetween(rows, column []uint16, least, most uint16) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += one(column[i]-least <= most-least) // below least wraps around
	}
	return rows[:n]
}

// keepKM leaves the rows whose distance lies between the bounds; an unknown one,
// 0 in the column, wraps around.
func (q *query) keepKM(rows []uint16, life []uint64) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += one(life[i]&kmMask-q.kmFirst <= q.kmLast-q.kmFirst)
	}
	return rows[:n]
}

func (t fieldTest) keep(rows []uint16, column []uint32) []uint16 {
	n := 0
	for _, i := range rows {
		rows[n] = i
		n += int(t.allowed >> t.of(column[i]) & 1)
	}
	return rows[:n]
}

func (q *query) keepCodes(rows []uint16, s *segment, base int) []uint16 {
	n := 0
	for _, i := range rows {
		has, any := false, false
		for k := range planes {
			if s.codes[k] != nil {
				word := s.codes[k][base+int(i)]
				has, any = has || word&q.codes[k] != 0, any || word != 0
			}
		}
		rows[n] = i
		n += one(has || q.codeless && !any)
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
