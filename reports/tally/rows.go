package tally

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
)

// Rows are what a statistic is computed over: a CSV file, or records in memory.
type Rows interface {
	// Header names the columns, each once.
	Header() []string
	// Records yields the records in order, cells as they would stand in a CSV
	// file: numbers as text, empty where nothing is known. Each has a cell for
	// every column of the header. Compute keeps cells, not the slice they come
	// in. An error ends the computation.
	Records() iter.Seq2[[]string, error]
}

// Table is Rows in memory: reduced records, with a column of how often each
// stands to be named by --count.
type Table struct {
	Columns []string
	Rows    [][]string
}

// Header returns the names of the columns.
func (t Table) Header() []string { return t.Columns }

// Records yields the rows.
func (t Table) Records() iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for _, r := range t.Rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// placed are rows that know which line of a file they stand on.
type placed interface {
	Rows
	line() int
}

// file is Rows read from CSV.
type file struct {
	csv    *csv.Reader
	header []string
}

func newFile(from io.Reader) (*file, error) {
	f := &file{csv: csv.NewReader(from)}
	f.csv.ReuseRecord = true
	header, err := f.csv.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("line 1, column 1: the file is empty; want a header")
	}
	if err != nil {
		return nil, located(err)
	}
	f.header = slices.Clone(header)
	f.header[0] = strings.TrimPrefix(f.header[0], "\ufeff")
	return f, nil
}

func (f *file) Header() []string { return f.header }

func (f *file) Records() iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for {
			record, err := f.csv.Read()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil && !errors.Is(err, csv.ErrFieldCount) {
				yield(nil, located(err))
				return
			}
			if !yield(record, nil) {
				return
			}
		}
	}
}

func (f *file) line() int {
	line, _ := f.csv.FieldPos(0)
	return line
}

// located puts an error of the CSV reader in the words of this package.
func located(err error) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return fmt.Errorf("line %d, column %d: %w", p.Line, p.Column, p.Err)
	}
	return err
}
