// Package fleet holds the whole fleet's facts in memory, column by column, so
// that a question over any combination of filters is one scan. The database
// stays the only truth: the copy is loaded from it, follows its feed of changes,
// and can be recounted against it.
//
// # What a row is
//
// One live reading that is not blind. The pair's last reading stands apart from
// the earlier ones, together with the pair's interval of life: questions about
// pairs, which is what shares and life are of, see one row a pair, exactly the
// rows of `solewright export pairs`. [Filter.Readings] asks about all readings
// instead.
//
// # One writer, many readers
//
// A [Copy] is written by one goroutine. Readers take a [View], which is immutable
// and consistent: rows are appended in segments by month, never changed; what an
// amendment, a void or another visit of the pair replaces is struck out by a new
// bitmap of its segment.
// A segment that is full is sealed: its rows, in order of the model, packed in
// as many bits as each column needs.
//
// What is counted and summed up is kept and brought up to date by the rows that
// came and went since, see [Options.Answers]; at most as many scans run at once as
// there are processors.
package fleet
