package fleet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// Filter picks rows; zero fields don't restrict, but for Scopes.
type Filter struct {
	// Scopes are whose stores are seen: none sees nothing, models.Fleet
	// everything. It is the store of the row.
	Scopes []retail.Scope
	// From and To bound the day in the store's calendar, both included: days
	// (2026-10-05) or months (2026-10).
	From, To string
	// KMFrom and KMTo bound the distance, both included; unread is no bound. With
	// either, rows of unknown distance are left out.
	KMFrom, KMTo assess.Value
	// Only are conditions that all hold.
	Only []Only
	// Readings asks about all live readings, not only each pair's last.
	Readings bool
}

// Only is the condition that a row's word of a dimension is one of Words; ""
// stands for what is absent. A row meets a condition on Code when it has one of
// the codes.
type Only struct {
	Dim   Dim
	Words []string
}

// query is a filter in the codes of one view.
type query struct {
	readings        bool
	nothing         bool
	firstDay, last  uint16
	byKM            bool
	kmFirst, kmLast uint64 // as in the column: counted from 1
	tests
	oneStore         int // the only code that store allows, else -1
	oneModel         int
	staff, batch     []bool
	reason           []bool
	codes            [planes]uint64
	byCode, codeless bool

	tables           // of the view that is asked
	buffers *buffers // while rows are looked at
	// taken is how many segments were taken by the goroutines that share a scan;
	// nil where one scans alone.
	taken *atomic.Int64
	// slotted says that the scan has a place among those that run at once.
	slotted bool
}

// tests are the conditions on columns that lie open.
type tests struct {
	what         []fieldTest
	store, model []bool // by code; nil for any
}

// fieldTest is a condition on a packed dimension: bit c of allowed says that
// code c is.
type fieldTest struct {
	field
	allowed uint32
}

func (t fieldTest) allows(what uint32) bool { return t.allowed>>(t.of(what)&31)&1 == 1 }

// allowsIn is allows of the column that the dimension lies in.
func (t fieldTest) allowsIn(half uint16) bool { return t.allowed>>(t.in(half)&31)&1 == 1 }

// Check refuses a filter that no question could have, as the questions do.
func (v *View) Check(f Filter) error {
	_, err := v.query(&f)
	return err
}

// query is a filter in the codes of the view.
func (v *View) query(f *Filter) (*query, error) {
	q, err := v.names.compile(f)
	q.tables = v.tables
	return q, err
}

// compile turns a filter into codes. Words that no row has match nothing; words
// that a closed list can't have are an error.
func (n *names) compile(f *Filter) (*query, error) {
	q := &query{readings: f.Readings, last: 1<<16 - 1}
	var errs assess.FieldErrors
	for _, bound := range []struct {
		field, text string
		to          *uint16
		end         bool
	}{{"from", f.From, &q.firstDay, false}, {"to", f.To, &q.last, true}} {
		if bound.text == "" {
			continue
		}
		day, ok := dayBound(bound.text, bound.end)
		if !ok {
			errs.Add(assess.FieldError{Field: bound.field, Value: bound.text, Want: "a day as YYYY-MM-DD or a month as YYYY-MM", Err: assess.ErrMalformed})
			continue
		}
		*bound.to = day
	}
	for _, bound := range []struct {
		field string
		at    assess.Value
	}{{"km_from", f.KMFrom}, {"km_to", f.KMTo}} {
		if bound.at.OK() && (bound.at.Int() < 0 || bound.at.Int() > maxKM) {
			errs.Add(assess.FieldError{
				Field: bound.field, Value: strconv.Itoa(bound.at.Int()), Want: fmt.Sprintf("0 to %d km", maxKM), Err: assess.ErrOutOfRange,
			})
		}
	}
	q.byKM, q.kmFirst, q.kmLast = f.KMFrom.OK() || f.KMTo.OK(), 1, maxKM+1
	if f.KMFrom.OK() {
		q.kmFirst = uint64(f.KMFrom.Int()) + 1
	}
	if f.KMTo.OK() {
		q.kmLast = uint64(f.KMTo.Int()) + 1
	}
	q.nothing = q.kmFirst > q.kmLast
	q.scopes(n, f.Scopes)
	for _, o := range f.Only {
		if err := q.only(n, o); err != nil {
			errs.Add(*err)
		}
	}
	q.oneStore, q.oneModel = soleCode(q.store), soleCode(q.model)
	return q, errs.Err()
}

// dayBound reads a day, or the first or last day of a month, cut to the
// calendar of the columns.
func dayBound(text string, end bool) (uint16, bool) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		if t, err = time.Parse("2006-01", text); err != nil {
			return 0, false
		}
		if end {
			t = t.AddDate(0, 1, -1)
		}
	}
	return numbered(t), true
}

// scopes leaves the stores that scopes reach.
func (q *query) scopes(n *names, scopes []retail.Scope) {
	if slices.Contains(scopes, retail.Scope{}) {
		return
	}
	reached := make([]bool, len(n.stores))
	for _, s := range scopes {
		for i, code := range n.stores {
			if i > 0 && (s.Store == code || s.Store == "" && s.Region == n.regions[n.region[i]]) {
				reached[i] = true
			}
		}
	}
	q.narrow(&q.store, reached)
}

// narrow leaves the codes that both lists allow.
func (q *query) narrow(list *[]bool, allowed []bool) {
	if *list != nil {
		for i := range allowed {
			allowed[i] = allowed[i] && (*list)[i]
		}
	}
	*list = allowed
	if !slices.Contains(allowed, true) {
		q.nothing = true
	}
}

func (q *query) only(n *names, o Only) *assess.FieldError {
	switch o.Dim {
	case Month:
		return &assess.FieldError{Field: Month.String(), Want: "the bounds from and to", Err: assess.ErrInconsistent}
	case Store:
		q.narrow(&q.store, among(n.stores, o.Words))
	case Region:
		q.narrow(&q.store, through(n.region, among(n.regions, o.Words)))
	case Model:
		q.narrow(&q.model, among(n.ids(), o.Words))
	case Staff:
		q.narrow(&q.staff, among(n.staff, o.Words))
	case Batch:
		q.narrow(&q.batch, among(n.batches, o.Words))
	case Reason:
		q.narrow(&q.reason, among(n.codes, o.Words))
	case Code:
		q.byCode = true
		for code, yes := range among(n.codes, o.Words) {
			if yes && code == 0 {
				q.codeless = true
			} else if yes {
				q.codes[code/64] |= 1 << (code % 64)
			}
		}
	default:
		allowed := among(closed[o.Dim], o.Words)
		for _, w := range o.Words {
			if !slices.Contains(closed[o.Dim], w) {
				return &assess.FieldError{
					Field: o.Dim.String(), Value: w, Want: "one of " + strings.Join(closed[o.Dim][1:], ", "), Err: assess.ErrMalformed,
				}
			}
		}
		if o.Dim == Category {
			q.narrow(&q.model, through(n.category, allowed))
			return nil
		}
		t := fieldTest{field: packed[o.Dim]}
		for code, yes := range allowed {
			if yes {
				t.allowed |= 1 << code
			}
		}
		q.nothing = q.nothing || t.allowed == 0
		q.what = append(q.what, t)
	}
	return nil
}

// among says of each of a list's words whether it is wanted.
func among(list, wanted []string) []bool {
	allowed := make([]bool, max(len(list), 1))
	for i, w := range list {
		allowed[i] = slices.Contains(wanted, w)
	}
	return allowed
}

// soleCode returns the only code that a list allows, -1 where there are more or
// none.
func soleCode(allowed []bool) int {
	first := slices.Index(allowed, true)
	if first < 0 || slices.Contains(allowed[first+1:], true) {
		return -1
	}
	return first
}

// through says of each code whether the group that it belongs to is allowed.
func through[C uint8 | uint16](group []C, allowed []bool) []bool {
	through := make([]bool, len(group))
	for i, g := range group {
		through[i] = allowed[g]
	}
	return through
}

// checkDims refuses what can't be grouped by.
func checkDims(dims []Dim) error {
	if len(dims) > MaxDims {
		return assess.FieldError{Field: "by", Value: fmt.Sprint(len(dims)), Want: fmt.Sprintf("no more than %d", MaxDims), Err: assess.ErrOutOfRange}
	}
	for i, d := range dims {
		if slices.Contains(dims[:i], d) {
			return assess.FieldError{Field: "by", Value: d.String(), Want: "each only once", Err: assess.ErrInconsistent}
		}
	}
	return nil
}
