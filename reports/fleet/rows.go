package fleet

import (
	"cmp"
	"encoding/binary"
	"encoding/hex"
	"slices"

	"solewright/assess"
)

// Visit is one reading as a chart over time sees it: the words By, the day, the
// distance where it is known, and what was found.
type Visit struct {
	By   []string
	Pair string
	Day  string
	KM   assess.Value
	// Worn says advised replace or retire; Sound keep or recheck. Neither stands
	// for incomplete.
	Worn, Sound bool
}

// Visits returns the rows that a filter picks in order of the day, then of the
// pair. It is for some thousands of rows, as of a model; see [View.Looks] for
// counts of all.
func (v *View) Visits(f Filter, dims ...Dim) ([]Visit, error) {
	g, err := v.group(&f, dims)
	if err != nil {
		return nil, err
	}
	type found struct {
		day  uint16
		pair uint64
		key  uint64
		km   uint64
		life uint64
		as   uint64
	}
	var all []found
	v.scan(g.query, func(sel *selection) {
		g.keys(sel, func(row uint16, key uint64) {
			i := sel.base + int(row)
			all = append(all, found{
				sel.dayAt(i), sel.pair(i), key, sel.kmAt(i), v.intervals[sel.intervalAt(i)], conditionOf(packed[Verdict].of(sel.whatAt(i))),
			})
		})
	})
	slices.SortFunc(all, func(a, b found) int {
		return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.pair, b.pair), cmp.Compare(a.life, b.life), cmp.Compare(a.km, b.km), cmp.Compare(a.key, b.key))
	})
	visits := make([]Visit, len(all))
	for i, r := range all {
		visits[i] = Visit{
			By: g.words(r.key), Pair: pairRef(r.pair), Day: dayOf(r.day), KM: countedKM(r.km),
			Worn: r.as == worn, Sound: r.as == sound,
		}
	}
	return visits, nil
}

// Months returns the first and the last month in which a filter picks a row, "" where
// it picks none. It looks from both ends, no further than it has to.
func (v *View) Months(f Filter) (first, last string, err error) {
	q, err := v.query(&f)
	if err != nil {
		return "", "", err
	}
	defer q.release()
	var all []*segment
	v.segmentsOf(q, func(s *segment) { all = append(all, s) })
	slices.SortStableFunc(all, func(a, b *segment) int { return cmp.Compare(a.month, b.month) })
	holds := func(s *segment) bool {
		for range q.selections(s) {
			return true
		}
		return false
	}
	from := slices.IndexFunc(all, holds)
	if from < 0 {
		return "", "", nil
	}
	to := len(all) - 1
	for to > from && !holds(all[to]) {
		to--
	}
	return monthOf(all[from].month), monthOf(all[to].month), nil
}

// Order is an order of a list of pairs.
type Order uint8

// The orders of a list: newest reading first, oldest first, most or least
// distance first. Pairs that tie go by their reference; those without a distance
// come last.
const (
	Newest Order = iota
	Oldest
	MostKM
	LeastKM
	numOrders
)

// key returns what a row sorts by in an order, the least first.
func (o Order) key(day uint16, km uint64) uint64 {
	switch {
	case o == Newest:
		return 1<<16 - uint64(day)
	case o == Oldest:
		return uint64(day)
	case km == 0:
		return 1 << kmBits
	case o == MostKM:
		return kmMask - km
	}
	return km
}

// The size of a page of a list. House values.
const (
	defaultLimit = 50
	maxLimit     = 500
)

// List returns a page of the pairs or readings that a filter picks, and the cursor
// of the next page, empty at the end; after is the cursor that the page before
// returned. A limit of 0 is 50, and 500 is the most. Readings of one pair on one
// day stay on one page, which they may make longer than that.
func (v *View) List(f Filter, order Order, after string, limit int) ([]Listed, string, error) {
	q, err := v.query(&f)
	if err != nil {
		return nil, "", err
	}
	if order >= numOrders {
		return nil, "", assess.FieldError{Field: "sort", Want: "an order there is", Err: assess.ErrOutOfRange}
	}
	var from listKey
	if after != "" {
		b, err := hex.DecodeString(after)
		if err != nil || len(b) != cursorBytes {
			return nil, "", assess.FieldError{Field: "cursor", Value: after, Want: "the cursor of the page before, unchanged", Err: assess.ErrMalformed}
		}
		from = listKey{binary.BigEndian.Uint64(b), binary.BigEndian.Uint64(b[8:])}
	}
	if limit <= 0 {
		limit = defaultLimit
	}
	limit = min(limit, maxLimit)
	type found struct {
		listKey
		segment *segment
		row     int
	}
	// The best so far, sorted when there are twice as many as wanted. A page ends
	// after what ties with its last row, and one more says that there is a next.
	var best []found
	less := func(a, b found) int { return a.compare(b.listKey) }
	end := func() int {
		n := min(limit, len(best))
		for n > 0 && n < len(best) && best[n].listKey == best[n-1].listKey {
			n++
		}
		return n
	}
	cut := func() {
		slices.SortStableFunc(best, less)
		best = best[:min(end()+1, len(best))]
	}
	bound := listKey{sort: 1<<64 - 1}
	v.scan(q, func(sel *selection) {
		for _, r := range sel.rows {
			i := sel.base + int(r)
			k := listKey{order.key(sel.dayAt(i), sel.kmAt(i)), sel.pair(i)}
			if k.compare(bound) > 0 || after != "" && k.compare(from) <= 0 {
				continue
			}
			if best = append(best, found{k, sel.segment, i}); len(best) > 2*(limit+1) {
				cut()
				bound = best[len(best)-1].listKey
			}
		}
	})
	cut()
	next := ""
	if n := end(); n < len(best) {
		best = best[:n]
		k := best[n-1].listKey
		next = hex.EncodeToString(binary.BigEndian.AppendUint64(binary.BigEndian.AppendUint64(nil, k.sort), k.pair))
	}
	list := make([]Listed, len(best))
	for i, b := range best {
		list[i] = v.listed(b.segment, b.row)
	}
	return list, next, nil
}

// listKey is where a pair stands in a list; a cursor is its two numbers.
type listKey struct{ sort, pair uint64 }

const cursorBytes = 16

func (k listKey) compare(other listKey) int {
	return cmp.Or(cmp.Compare(k.sort, other.sort), cmp.Compare(k.pair, other.pair))
}

// Each calls f with every row that a filter picks, in no particular order.
func (v *View) Each(f Filter, each func(*Listed) error) error {
	q, err := v.query(&f)
	if err != nil {
		return err
	}
	v.scan(q, func(sel *selection) {
		for _, r := range sel.rows {
			if err != nil {
				return
			}
			l := v.listed(sel.segment, sel.base+int(r))
			err = each(&l)
		}
	})
	return err
}

func (v *View) listed(s *segment, i int) Listed {
	r := s.at(i)
	life := interval(v.intervals[r.interval])
	return Listed{
		Pair: pairRef(r.pair), Day: dayOf(r.day), KM: countedKM(r.km), row: r, view: v,
		Lower: countedKM(life.lower()), Upper: countedKM(life.upper()), Contradicts: life.contradicts(),
	}
}
