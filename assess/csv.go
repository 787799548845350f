package assess

import "io"

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
func AppendCSV(dst []byte, r *Record) []byte { return recordTable.Append(dst, r) }
