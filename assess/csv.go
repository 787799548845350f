package assess

import (
	"bytes"
	"io"
	"slices"
)

// recordTable is the CSV of readings.
var recordTable = NewTable(recordFields, finishRecord)

// CSVColumns are the columns of a reading in CSV, in canonical order.
var CSVColumns = recordTable.Columns()

// CSVDecoder reads readings from CSV.
type CSVDecoder = Decoder[Record]

// NewCSVDecoder reads the header of a CSV of readings: the names of CSVColumns,
// any of them, in any order.
func NewCSVDecoder(r io.Reader) (*CSVDecoder, error) { return recordTable.Decoder(r) }

// AppendCSVHeader appends the header row of a CSV of readings to dst.
func AppendCSVHeader(dst []byte) []byte { return recordTable.AppendHeader(dst) }

// AppendCSV appends r as one row in canonical form to dst. Decoding it gives r
// again, and encoding that the same bytes.
//
// Most of a row is columns of a reading, and most of those are unread: they are
// written from where they lie beside one another, in less time than one field after
// another takes.
func AppendCSV(dst []byte, r *Record) []byte {
	dst = appendFields(dst, recordFields[:shoeFields], r)
	for f := range r.Shoe {
		dst = appendValues(dst, Columns[:NumShoe], r.Shoe[f][:])
	}
	dst = appendValues(dst, Columns[LoadN:TorsionAgain+1], r.pair[LoadN-NumShoe:TorsionAgain+1-NumShoe])
	dst = appendFields(dst, recordFields[shoeFields+2*int(NumShoe)+int(TorsionAgain+1-LoadN):], r)
	return append(dst[:len(dst)-1], '\r', '\n')
}

// shoeFields is the place of the first field of a shoe in recordFields.
var shoeFields = slices.IndexFunc(recordFields, func(f Field[Record]) bool { return f.Name == shoePrefix[Left]+Columns[0].Name })

// appendFields appends fields of a row, each with a comma behind.
func appendFields[T any](dst []byte, fields []Field[T], v *T) []byte {
	for i := range fields {
		f, start := &fields[i], len(dst)
		dst = f.Append(dst, v)
		if f.Free && len(dst) > start {
			dst = quoteCSV(dst, start)
		}
		dst = append(dst, ',')
	}
	return dst
}

// appendValues appends the values of columns, each with a comma behind.
func appendValues(dst []byte, columns []Column, values []Value) []byte {
	for i, v := range values {
		if v != Unread {
			dst = columns[i].appendValue(dst, v)
		}
		dst = append(dst, ',')
	}
	return dst
}

// FillCSV appends row to dst, a row that AppendCSV wrote, with values of r laid into
// its empty fields: those of the columns of a shoe, and of the pair's from LoadN to
// TorsionAgain. It is for a reading of which some values come later.
func FillCSV(dst, row []byte, r *Reading) []byte {
	before := lenFields(row, shoeFields)
	dst, row = append(dst, row[:before]...), row[before:]
	for f := range r.Shoe {
		dst, row = fillValues(dst, row, Columns[:NumShoe], r.Shoe[f][:])
	}
	dst, row = fillValues(dst, row, Columns[LoadN:TorsionAgain+1], r.pair[LoadN-NumShoe:TorsionAgain+1-NumShoe])
	return append(dst, row...)
}

// lenFields returns how long the first n fields of a row are, the comma behind each
// among them.
func lenFields(row []byte, n int) int {
	at := 0
	for range n {
		if row[at] == '"' {
			for at++; row[at] != '"' || row[at+1] == '"'; at++ {
				if row[at] == '"' {
					at++ // one that is doubled
				}
			}
		}
		at += bytes.IndexByte(row[at:], ',') + 1
	}
	return at
}

// fillValues appends the fields of columns at the start of row, the values among
// them that are empty there, and returns the rest of the row.
func fillValues(dst, row []byte, columns []Column, values []Value) (filled, rest []byte) {
	for i, v := range values {
		end := bytes.IndexByte(row, ',')
		if end == 0 && v != Unread {
			dst = columns[i].appendValue(dst, v)
		}
		dst, row = append(dst, row[:end+1]...), row[end+1:]
	}
	return dst, row
}
