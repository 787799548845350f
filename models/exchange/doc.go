// Package exchange moves whole kinds of records between a database and CSV
// files: what `solewright import` and `export` do, and GET /export. It streams
// readings, and holds the smaller kinds in memory while they are stored.
//
// An export read back into an empty database and exported again gives the same
// bytes. The same file imported twice changes nothing.
package exchange
