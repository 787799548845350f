package tally

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// firstDropped is how many dropped cells a result lists (the contract's 100).
const firstDropped = 100

type droppedCell struct {
	Line   int    `json:"line"`
	Column string `json:"column"`
	Value  string `json:"value"`
	Reason string `json:"reason"`
}

type droppedRows struct {
	Count int           `json:"count"`
	First []droppedCell `json:"first"`
}

type kind int

const (
	text      kind = iota
	number         // any finite number
	whole          // 0, 1, 2, …
	yesNo          // 0 or 1
	openEnded      // a number, or empty for no end
	optional       // any text, or empty or NA for nothing
)

// column is a column that a statistic reads.
type column struct {
	name string
	kind kind
}

type cell struct {
	text string
	num  float64
}

func (c cell) int() int { return int(c.num) }

// input reads rows, and keeps the names of the groups.
type input struct {
	from    scanner
	count   string
	by      []string
	n       int
	dropped droppedRows
	groups  []object
	index   map[string]int
	key     []byte
}

// plan is what is read of each record: the statistic's own columns, those of
// --by, that of --count.
type plan struct {
	header  []string
	columns []column
	at      []int // their places in a record
	plain   int   // how many there are without --count
	width   int   // of a record
	read    int
	dropped *droppedRows
}

func (in *input) plan(columns []column) (*plan, error) {
	p := &plan{header: in.from.header(), columns: slices.Clone(columns), dropped: &in.dropped}
	p.width = len(p.header)
	for _, by := range in.by {
		p.columns = append(p.columns, column{by, text})
	}
	p.plain = len(p.columns)
	if in.count != "" {
		p.columns = append(p.columns, column{in.count, whole})
	}
	for _, c := range p.columns {
		at := slices.Index(p.header, c.name)
		switch {
		case at < 0:
			return nil, fmt.Errorf("line 1, column %q is missing: the file has %s", c.name, strings.Join(p.header, ", "))
		case slices.Contains(p.header[at+1:], c.name):
			return nil, fmt.Errorf("line 1, column %q stands twice", c.name)
		}
		p.at = append(p.at, at)
	}
	return p, nil
}

func (p *plan) ragged(line, width int) error {
	return &fault{line, fmt.Sprintf("line %d, column %d: the line has %d fields, the header %d", line, min(width, p.width)+1, width, p.width)}
}

// wrong places an error in a column by its name.
func wrong(line int, column string, err error) error {
	return &fault{line, fmt.Sprintf("line %d, column %q: %v", line, column, err)}
}

// wholeRows calls f for each record of a block of which no cell is missing. A
// record with one is dropped, but may not hide what else is wrong with it.
func (p *plan) wholeRows(in *parser, r *report, f func(count int) error) error {
	for {
		found, err := in.next()
		if err != nil || !found {
			return err
		}
		r.rows++
		if len(in.cells) != p.width {
			return p.ragged(in.line, len(in.cells))
		}
		missing := -1
		for i, at := range p.at {
			if absent(in.cells[at], p.columns[i].kind) {
				missing = i
				break
			}
		}
		if missing >= 0 {
			if err := p.check(in); err != nil {
				return err
			}
			at := p.at[missing]
			r.dropped.add(in.lineOf(at), p.columns[missing].name, string(in.cells[at]))
			continue
		}
		count := 1
		if p.plain < len(p.at) {
			if count, err = wholeNumber(in.cells[p.at[p.plain]]); err != nil {
				return p.check(in) // a cell before it may be wrong too
			}
		}
		if err := f(count); err != nil {
			return err
		}
	}
}

// check reads every cell of the record.
func (p *plan) check(in *parser) error {
	for i, at := range p.at {
		if _, _, err := parse(string(in.cells[at]), p.columns[i].kind); err != nil {
			return wrong(in.lineOf(at), p.columns[i].name, err)
		}
	}
	return nil
}

// each calls f for every row whose cells are all there, in order, with the
// number of its group and how often it stands.
func (in *input) each(columns []column, f func(group, count int, cells []cell) error) error {
	return in.scan(columns, f, in.from.rows)
}

// distinct is each where neither order nor repetition matter: equal rows are
// read as one, in order of the first of them.
func (in *input) distinct(columns []column, f func(group, count int, cells []cell) error) error {
	return in.scan(columns, f, in.from.distinct)
}

func (in *input) scan(columns []column, f func(group, count int, cells []cell) error, through func(*plan, func(row) error) error) error {
	p, err := in.plan(columns)
	if err != nil {
		return err
	}
	own := len(columns)
	err = through(p, func(r row) error {
		if in.n = sum(in.n, r.count); in.n > maxTotal {
			return wrong(r.line, in.count, errors.New("the counts add up to more than can be counted"))
		}
		if err := f(in.group(r.cells[own:]), r.count, r.cells[:own]); err != nil {
			return &fault{r.line, fmt.Sprintf("line %d, column %v", r.line, err)}
		}
		return nil
	})
	if err == nil && p.read == 0 {
		err = errors.New("line 2, column 1: the file holds no rows")
	}
	return err
}

const (
	// maxWhole bounds whole numbers, maxTotal their sums: up to there a float64
	// holds them exactly.
	maxWhole = 1e12
	maxTotal = 1 << 53
)

// sum adds counts, but never wraps around: what is beyond maxTotal stays there
// and is refused by who asked.
func sum(a, b int) int { return min(a+b, maxTotal+1) }

// addTimes adds count times the whole number in c, of the column named.
func addTimes(total *int, count int, c cell, name string) error {
	if more := float64(count) * c.num; more > maxTotal || float64(*total)+more > maxTotal {
		return fmt.Errorf("%q: the numbers add up to more than can be counted", name)
	}
	*total += count * c.int()
	return nil
}

// absent says that a cell is missing: empty or NA.
func absent[S string | []byte](s S, k kind) bool {
	if k == optional {
		return false
	}
	return len(s) == 0 && k != openEnded || len(s) == 2 && s[0] == 'N' && s[1] == 'A'
}

// wholeNumber reads a count.
func wholeNumber(b []byte) (int, error) {
	const digits = 12 // those of maxWhole − 1
	n := 0
	for i, d := range b {
		if d < '0' || d > '9' || i == digits {
			c, _, err := parse(string(b), whole)
			return c.int(), err
		}
		n = 10*n + int(d-'0')
	}
	return n, nil
}

func parse(s string, k kind) (v cell, missing bool, err error) {
	v.text = s
	switch {
	case absent(s, k):
		return v, true, nil
	case k == text || k == optional:
		return v, false, nil
	case s == "":
		v.num = math.Inf(1)
		return v, false, nil
	}
	if v.num, err = decimal(s); err != nil {
		return v, false, err
	}
	switch {
	case k == whole && (v.num < 0 || v.num > maxWhole || v.num != math.Trunc(v.num)):
		err = fmt.Errorf("%q: want a whole number, 0 to %.0f", s, maxWhole)
	case k == yesNo && v.num != 0 && v.num != 1:
		err = fmt.Errorf("%q: want 0 or 1", s)
	}
	return v, false, err
}

// decimal reads a finite decimal number.
func decimal(s string) (float64, error) {
	v, err := strconv.ParseFloat(s, 64)
	// ParseFloat also takes hexadecimal, infinity and not-a-number.
	if err != nil || strings.ContainsAny(s, "xXpP_") || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

func (d *droppedRows) add(line int, column, value string) {
	d.Count++
	if len(d.First) < firstDropped {
		why := "empty"
		if value != "" {
			why = "not available"
		}
		d.First = append(d.First, droppedCell{line, column, value, why})
	}
}

func (d *droppedRows) merge(o droppedRows) {
	d.Count += o.Count
	d.First = append(d.First, o.First[:min(len(o.First), firstDropped-len(d.First))]...)
}

// group returns the number of the group of these values of --by.
func (in *input) group(values []cell) int {
	in.key = in.key[:0]
	for _, v := range values {
		in.key = append(append(strconv.AppendInt(in.key, int64(len(v.text)), 10), ':'), v.text...)
	}
	g, known := in.index[string(in.key)]
	if !known {
		g = len(in.groups)
		in.index[string(in.key)] = g
		by := object{}
		for i, v := range values {
			by.set(in.by[i], v.text)
		}
		in.groups = append(in.groups, by)
	}
	return g
}

// labels names each group in one word for what compares groups.
func (in *input) labels() []string {
	all := make([]string, len(in.groups))
	for i, g := range in.groups {
		var parts []string
		for _, f := range g.fields {
			parts = append(parts, fmt.Sprint(f.value))
		}
		all[i] = strings.Join(parts, ", ")
	}
	return all
}

// places says where each level stands.
func places(levels []string) map[string]int {
	at := make(map[string]int, len(levels))
	for i, l := range levels {
		at[l] = i
	}
	return at
}

// tallies counts distinct keys, in order of first appearance.
type tallies[K comparable] struct {
	keys   []K
	counts []int
	index  map[K]int
}

func (t *tallies[K]) add(key K, count int) int {
	if t.index == nil {
		t.index = map[K]int{}
	}
	i, known := t.index[key]
	if !known {
		i = len(t.keys)
		t.index[key] = i
		t.keys, t.counts = append(t.keys, key), append(t.counts, 0)
	}
	t.counts[i] += count
	return i
}

// inOrder sorts levels: by number where all are numbers, else by letter.
func inOrder(levels []string) []string {
	sorted := slices.Clone(levels)
	numeric := !slices.ContainsFunc(levels, func(s string) bool {
		_, err := decimal(s)
		return err != nil
	})
	slices.SortFunc(sorted, func(a, b string) int {
		if numeric {
			x, _ := decimal(a) // parsed above
			y, _ := decimal(b)
			if x != y {
				if x < y {
					return -1
				}
				return 1
			}
		}
		return strings.Compare(a, b)
	})
	return sorted
}

// level refuses a value outside --levels.
func (o *options) level(col, value string) error {
	if o.levels != nil && !slices.Contains(o.levels, value) {
		return fmt.Errorf("%q: %q is none of --levels %s", col, value, o.levels.String())
	}
	return nil
}

// categories returns --levels, or the values seen in order.
func (o *options) categories(seen []string) []string {
	if o.levels != nil {
		return o.levels
	}
	return inOrder(seen)
}
