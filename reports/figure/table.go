package figure

import (
	"encoding/csv"
	"io"
	"strconv"
)

// Table holds the numbers of a figure.
type Table struct {
	Columns []Column
	Rows    [][]Cell
}

// Column has its name in a file and its title on a page.
type Column struct {
	Name, Title string
	Number      bool
}

// Cell has its text on a page, and in a file where that differs.
type Cell struct {
	Text string
	// Exact is the unrounded number; empty where Text is exact.
	Exact string
}

// exact returns what stands in a file.
func (c Cell) exact() string {
	if c.Exact != "" {
		return c.Exact
	}
	return c.Text
}

// CSV writes the table by RFC 4180, with unrounded numbers.
func (t Table) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	line := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		line[i] = c.Name
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for _, row := range t.Rows {
		for i, c := range row {
			line[i] = c.exact()
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// columns makes columns of names; those that begin with # hold numbers.
func columns(say Say, names ...string) []Column {
	all := make([]Column, len(names))
	for i, n := range names {
		number := n[0] == '#'
		if number {
			n = n[1:]
		}
		all[i] = Column{Name: fileName(n), Title: say("figure.col." + n), Number: number}
	}
	return all
}

// fileName writes a key as the name of a column in a file.
func fileName(key string) string {
	b := []byte(key)
	for i := range b {
		if b[i] == '-' {
			b[i] = '_'
		}
	}
	return string(b)
}

func textCell(s string) Cell { return Cell{Text: s} }

func countCell(n int) Cell { return Cell{Text: strconv.Itoa(n)} }

func shareCell(say Say, share float64) Cell {
	return Cell{Text: percent(say, share), Exact: strconv.FormatFloat(share, 'g', -1, 64)}
}

func yesCell(say Say, yes bool) Cell {
	if yes {
		return Cell{Text: say("figure.yes"), Exact: "yes"}
	}
	return Cell{Text: say("figure.no"), Exact: "no"}
}
