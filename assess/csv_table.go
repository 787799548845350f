package assess

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// MaxCSVRow is the longest row a decoder takes, in bytes. A quote that is never
// closed ends there instead of swallowing the file.
const MaxCSVRow = 1 << 20

// csvBuffer is how much of the input is read at once.
const csvBuffer = 64 << 10

// ErrRowTooLong says that a row exceeds MaxCSVRow: mostly a quote that was
// opened and not closed.
var ErrRowTooLong = errors.New("row longer than a megabyte: is a quote left open?")

// Table is one kind of CSV file (RFC 4180, header by name): its columns in
// canonical order and the rules that hold between them.
type Table[T any] struct {
	fields   []Field[T]
	index    map[string]int
	required []string
	finish   func(*T) FieldErrors
}

// NewTable makes a table of fields. Finish, which may be nil, derives what
// follows from a row and reports what doesn't fit together, by column name.
// Required names the columns that a header must have and that every row must
// fill.
func NewTable[T any](fields []Field[T], finish func(*T) FieldErrors, required ...string) *Table[T] {
	t := &Table[T]{fields: fields, index: make(map[string]int, len(fields)), finish: finish, required: required}
	for i := range fields {
		t.index[fields[i].Name] = i
	}
	return t
}

// Columns returns the names of the columns in canonical order.
func (t *Table[T]) Columns() []string {
	names := make([]string, len(t.fields))
	for i := range t.fields {
		names[i] = t.fields[i].Name
	}
	return names
}

// AppendHeader appends the header row to dst.
func (t *Table[T]) AppendHeader(dst []byte) []byte {
	for i := range t.fields {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(dst, t.fields[i].Name...)
	}
	return append(dst, '\r', '\n')
}

// Append appends v as one row in canonical form: columns in order, commas
// between, quotes only where needed, CRLF at the end, absent empty.
//
// The text is data, not dressed for a spreadsheet, so that what is exported can
// be read back byte for byte; GuardFormula dresses what people open.
func (t *Table[T]) Append(dst []byte, v *T) []byte {
	dst = appendFields(dst, t.fields, v)
	return append(dst[:len(dst)-1], '\r', '\n')
}

// quoteCSV puts dst[start:] in quotes where RFC 4180 asks for them.
func quoteCSV(dst []byte, start int) []byte {
	quotes, need := 0, false
	for _, c := range dst[start:] {
		switch c {
		case '"':
			quotes, need = quotes+1, true
		case ',', '\r', '\n':
			need = true
		}
	}
	if !need {
		return dst
	}
	end := len(dst)
	dst = slices.Grow(dst, quotes+2)[:end+quotes+2]
	to := len(dst) - 1
	dst[to] = '"'
	for from := end - 1; from >= start; from-- {
		to--
		dst[to] = dst[from]
		if dst[from] == '"' {
			to--
			dst[to] = '"'
		}
	}
	dst[start] = '"'
	return dst
}

// GuardFormula returns s so that a spreadsheet shows it as text: a first
// character that would start a formula gets an apostrophe in front. What was
// guarded no longer reads back as it was; exports made to be imported again
// don't use it.
func GuardFormula(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

// Decoder reads the rows of one CSV file. It streams: memory doesn't grow with
// the file. The strings of one row share one piece of memory.
type Decoder[T any] struct {
	table  *Table[T]
	source *rowSource
	csv    *csv.Reader
	// order gives the field of each column of the file; needed are the places of
	// those that every row must fill.
	order, needed []int
	// base is what stood before the first byte the CSV reader saw.
	base int64
	line int
}

// Decoder reads the header from r: columns by name in any order, every name
// known and given once. A byte order mark is skipped.
func (t *Table[T]) Decoder(r io.Reader) (*Decoder[T], error) {
	d := &Decoder[T]{table: t, source: &rowSource{r: r}}
	buf := bufio.NewReaderSize(d.source, csvBuffer)
	if mark, err := buf.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		d.base = 3
		if _, err := buf.Discard(3); err != nil {
			return nil, err
		}
	}
	d.csv = csv.NewReader(buf)
	d.csv.ReuseRecord = true
	header, err := d.csv.Read()
	if err == io.EOF {
		return nil, FieldErrors{{Line: 1, Err: ErrMalformed, Want: "a header row with the names of the columns"}}
	}
	if err != nil {
		return nil, d.malformed(err)
	}
	d.line = 1
	var problems FieldErrors
	have := make(map[string]bool, len(header))
	for i, name := range header {
		if want := unread(name); want != "" { // of the file, whose columns are none
			return nil, FieldErrors{{Line: 1, Err: ErrMalformed, Want: want}}
		}
		name = strings.Trim(name, " ")
		line, column := d.csv.FieldPos(i)
		bad := FieldError{Line: line, Column: column, Field: name}
		field, ok := t.index[name]
		switch {
		case !ok:
			bad.Err, bad.Want = ErrUnknownField, t.hint(name)
			problems.Add(bad)
		case have[name]:
			bad.Err, bad.Want = ErrDuplicateField, "each column once"
			problems.Add(bad)
		}
		have[name] = true
		d.order = append(d.order, field)
		if slices.Contains(t.required, name) {
			d.needed = append(d.needed, i)
		}
	}
	for _, name := range t.required {
		if !have[name] {
			problems.Add(FieldError{Line: 1, Field: name, Err: ErrMissingField, Want: "this column in the header"})
		}
	}
	return d, problems.Err()
}

// unread says what a file should be whose header has such a name: it is written in
// UTF-16, as spreadsheets may, or its lines end in CR alone.
func unread(name string) string {
	switch {
	case !utf8.ValidString(name) || strings.Contains(name, "\x00"):
		return "text in UTF-8"
	case strings.Contains(name, "\r"):
		return "lines that end in LF or CR LF"
	}
	return ""
}

// hint says what an unknown column may have meant.
func (t *Table[T]) hint(name string) string {
	switch {
	case name == "":
		return "a name for every column"
	case strings.ContainsAny(name, ";\t"):
		return "commas between the columns"
	}
	return nearest(strings.ToLower(name), t.Columns())
}

// Decode reads the next row into v. At the end it returns io.EOF. A bad row
// gives FieldErrors, everything that is wrong with it, and the next call goes
// on with the row after it; any other error ends the reading.
func (d *Decoder[T]) Decode(v *T) error {
	var zero T
	*v = zero
	d.source.next(d.base + d.csv.InputOffset())
	row, err := d.csv.Read()
	if err == io.EOF {
		return io.EOF
	}
	if err != nil && !errors.Is(err, csv.ErrFieldCount) {
		return d.malformed(err)
	}
	d.line, _ = d.csv.FieldPos(0)
	if err != nil {
		return FieldErrors{{
			Line: d.line, Err: ErrMalformed,
			Value: strconv.Itoa(len(row)) + " columns",
			Want:  "as many columns as the header, " + strconv.Itoa(len(d.order)),
		}}
	}
	var problems FieldErrors
	for i, text := range row {
		if text == "" {
			continue
		}
		f := &d.table.fields[d.order[i]]
		if want := f.Parse(v, text); want != "" {
			line, column := d.csv.FieldPos(i)
			problems.Add(FieldError{Line: line, Column: column, Field: f.Name, Value: text, Want: want, Err: ErrOutOfRange})
		}
	}
	for _, i := range d.needed {
		if row[i] == "" {
			line, column := d.csv.FieldPos(i)
			problems.Add(FieldError{Line: line, Column: column, Field: d.table.fields[d.order[i]].Name, Err: ErrMissingField, Want: "a value"})
		}
	}
	// What doesn't fit together is only said of a row whose values are sound.
	if len(problems) == 0 && d.table.finish != nil {
		for _, p := range d.table.finish(v) {
			p.Line, p.Column = d.place(p.Field)
			problems.Add(p)
		}
	}
	return problems.Err()
}

// Line returns the line on which the last row began.
func (d *Decoder[T]) Line() int { return d.line }

// Raw returns the last row as it stood in the file, its line end included. It
// is valid until the next call of Decode.
func (d *Decoder[T]) Raw() []byte { return d.source.until(d.base + d.csv.InputOffset()) }

// place returns where the value of a column of the last row starts; where the
// file has no such column, the row's line alone.
func (d *Decoder[T]) place(name string) (line, column int) {
	for i, field := range d.order {
		if d.table.fields[field].Name == name {
			return d.csv.FieldPos(i)
		}
	}
	return d.line, 0
}

// malformed turns an error of the CSV reader into one of a row.
func (d *Decoder[T]) malformed(err error) error {
	if errors.Is(err, ErrRowTooLong) && d.line > 0 {
		return fmt.Errorf("after line %d: %w", d.line, err)
	}
	bad, ok := errors.AsType[*csv.ParseError](err)
	if !ok {
		return err
	}
	d.line = bad.StartLine
	want := "quotes only around a whole value, doubled inside"
	return FieldErrors{{Line: bad.Line, Column: bad.Column, Err: ErrMalformed, Want: want}}
}

// rowSource passes on what it reads and keeps the bytes since the last row, so
// that a refused row can be handed back as it stood.
type rowSource struct {
	r     io.Reader
	kept  []byte
	start int   // of the row in kept
	from  int64 // the offset of kept[0] in the input
}

// next says that the next row starts at offset.
func (s *rowSource) next(offset int64) { s.start = int(offset - s.from) }

// until returns the bytes of the row, which ends before offset.
func (s *rowSource) until(offset int64) []byte { return s.kept[s.start:int(offset-s.from)] }

// Read implements io.Reader.
func (s *rowSource) Read(p []byte) (int, error) {
	if len(s.kept)-s.start > MaxCSVRow {
		return 0, ErrRowTooLong
	}
	s.kept = s.kept[:copy(s.kept, s.kept[s.start:])]
	s.from += int64(s.start)
	s.start = 0
	n, err := s.r.Read(p)
	s.kept = append(s.kept, p[:n]...)
	return n, err
}

// nearest says which of the names an unknown one is closest to.
func nearest(name string, names []string) string {
	best, at := maxTypos+1, ""
	for _, n := range names {
		if d := typos(name, n); d < best {
			best, at = d, n
		}
	}
	if at == "" {
		return ""
	}
	return at + "?"
}

// maxTypos is how far a name may be from the one that was meant.
const maxTypos = 3

// typos returns the Levenshtein distance of a and b, or something above
// maxTypos as soon as it is known to be that far.
func typos(a, b string) int {
	if len(a)-len(b) > maxTypos || len(b)-len(a) > maxTypos {
		return maxTypos + 1
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
