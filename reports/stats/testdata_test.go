package stats

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// published is a data set of testdata: '#' lines name its publication, then
// a header row, then the data.
type published struct {
	t      testing.TB
	name   string
	header []string
	rows   [][]string
}

func readPublished(t testing.TB, name string) published {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s: no data", name)
	}
	return published{t, name, rows[0], rows[1:]}
}

// words returns a column as it stands.
func (p published) words(column string) []string {
	p.t.Helper()
	j := slices.Index(p.header, column)
	if j < 0 {
		p.t.Fatalf("%s: no column %q", p.name, column)
	}
	out := make([]string, len(p.rows))
	for i, row := range p.rows {
		out[i] = row[j]
	}
	return out
}

// numbers returns a column as numbers, an empty cell as NaN.
func (p published) numbers(column string) []float64 {
	p.t.Helper()
	out := make([]float64, len(p.rows))
	for i, w := range p.words(column) {
		if w == "" {
			out[i] = math.NaN()
			continue
		}
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			p.t.Fatalf("%s: row %d: %v", p.name, i+1, err)
		}
		out[i] = v
	}
	return out
}

// where returns the rows whose column holds word.
func (p published) where(column, word string) published {
	p.t.Helper()
	var kept [][]string
	for i, w := range p.words(column) {
		if w == word {
			kept = append(kept, p.rows[i])
		}
	}
	if len(kept) == 0 {
		p.t.Fatalf("%s: no row with %s = %q", p.name, column, word)
	}
	p.rows = kept
	return p
}
