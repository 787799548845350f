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

// input reads rows one by one, and keeps the names of the groups.
type input struct {
	rows    Rows
	header  []string
	count   string
	by      []string
	n       int
	dropped droppedRows
	groups  []object
	index   map[string]int
}

// each calls f for every row whose cells are all there, with the number of its
// group and how often it stands.
func (in *input) each(columns []column, f func(group, count int, cells []cell) error) error {
	wanted := slices.Clone(columns)
	for _, by := range in.by {
		wanted = append(wanted, column{by, text})
	}
	if in.count != "" {
		wanted = append(wanted, column{in.count, whole})
	}
	at := make([]int, len(wanted))
	for i, c := range wanted {
		if at[i] = slices.Index(in.header, c.name); at[i] < 0 {
			return fmt.Errorf("line 1, column %q is missing: the file has %s", c.name, strings.Join(in.header, ", "))
		}
	}
	cells := make([]cell, len(wanted))
	rows := 0
	line := func() int { return rows + 1 } // as if the header stood above
	if f, ok := in.rows.(placed); ok {
		line = f.line
	}
	for record, err := range in.rows.Records() {
		if err != nil {
			return err
		}
		rows++
		if len(record) != len(in.header) {
			return fmt.Errorf("line %d, column %d: the line has %d fields, the header %d", line(), min(len(record), len(in.header))+1, len(record), len(in.header))
		}
		bad := -1
		for i, c := range wanted {
			v, missing, err := parse(record[at[i]], c.kind)
			if err != nil {
				return fmt.Errorf("line %d, column %q: %w", line(), c.name, err)
			}
			if missing && bad < 0 {
				bad = i
			}
			cells[i] = v
		}
		if bad >= 0 {
			in.drop(line(), in.header[at[bad]], record[at[bad]])
			continue
		}
		count := 1
		if in.count != "" {
			count = cells[len(cells)-1].int()
		}
		in.n += count
		group := in.group(cells[len(columns) : len(columns)+len(in.by)])
		if err := f(group, count, cells[:len(columns)]); err != nil {
			return fmt.Errorf("line %d, column %w", line(), err)
		}
	}
	if rows == 0 {
		return errors.New("line 2, column 1: the file holds no rows")
	}
	return nil
}

// maxWhole bounds whole numbers so that sums of them stay exact.
const maxWhole = 1e12

func parse(s string, k kind) (v cell, missing bool, err error) {
	v.text = s
	if s == "" && k == openEnded {
		v.num = math.Inf(1)
		return v, false, nil
	}
	if s == "" || s == "NA" {
		return v, true, nil
	}
	if k == text {
		return v, false, nil
	}
	v.num, err = strconv.ParseFloat(s, 64)
	switch {
	case err != nil || math.IsNaN(v.num) || math.IsInf(v.num, 0):
		err = fmt.Errorf("%q is not a number", s)
	case k == whole && (v.num < 0 || v.num > maxWhole || v.num != math.Trunc(v.num)):
		err = fmt.Errorf("%q: want a whole number, 0 or more", s)
	case k == yesNo && v.num != 0 && v.num != 1:
		err = fmt.Errorf("%q: want 0 or 1", s)
	}
	return v, false, err
}

func (in *input) drop(line int, column, value string) {
	in.dropped.Count++
	if len(in.dropped.First) < firstDropped {
		why := "empty"
		if value != "" {
			why = "not available"
		}
		in.dropped.First = append(in.dropped.First, droppedCell{line, column, value, why})
	}
}

// group returns the number of the group of these values of --by.
func (in *input) group(values []cell) int {
	var key strings.Builder
	for _, v := range values {
		key.WriteString(strconv.Itoa(len(v.text)))
		key.WriteByte(':')
		key.WriteString(v.text)
	}
	g, known := in.index[key.String()]
	if !known {
		g = len(in.groups)
		in.index[key.String()] = g
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
		_, err := strconv.ParseFloat(s, 64)
		return err != nil
	})
	slices.SortFunc(sorted, func(a, b string) int {
		if numeric {
			x, _ := strconv.ParseFloat(a, 64) // parsed above
			y, _ := strconv.ParseFloat(b, 64)
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
