package assess

import (
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
