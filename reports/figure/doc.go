// Package figure draws the figures of the fleet: for a page, for print and for
// a file of their own. It is their one home, and knows no database and no HTTP.
//
// A figure is a value: its numbers, and the finding that a screen reader hears.
// From that one value come the drawing ([SVG], [File]), the numbers behind it
// ([Figure.Table]) and the same numbers unrounded ([Table.CSV]), so that they
// can't differ.
//
//   - [Steps]: the life curve, a step with its band and the pairs still on watch
//   - [Control]: shares by month with limits that move with the count
//   - [Sum]: what adds up beyond what was expected, against a limit
//   - [Funnel]: shares of stores against limits by their count
//   - [Matrix]: shares and intervals in rows and columns, on one shared scale
//   - [Bars]: a few shares with their intervals, one below the other
//   - [Sole]: mean grade by zone, left and right
//   - [Spark]: a line the size of a word
//
// A drawing is a [Scene] of paths, circles, boxes and texts in drawing units,
// y downwards. What a mark means is its class, and how a class looks is written
// once, in [Style]: colours are the variables of the page's theme, so that a
// figure follows evening and print. No mark has a style of its own.
//
// The same value gives the same bytes. Coordinates are rounded to a tenth of a
// unit; a number read back from a drawing is right to that.
package figure

// Say returns the text of a key in the reader's language, with fills put in as
// name, value, name, value. Keys that a figure uses are in [Keys].
type Say func(key string, fills ...any) string

// Figure is what has a drawing and the numbers behind it.
type Figure interface {
	// Draw lays the figure out.
	Draw(Say) *Scene
	// Table returns the numbers that are drawn.
	Table(Say) Table
}

// Keys are the keys that figures ask Say for.
var Keys = []string{
	"figure.percent", "figure.n", "figure.few", "figure.half", "figure.half-between", "figure.limit", "figure.usual", "figure.all",
	"figure.95", "figure.998", "figure.watch", "figure.point", "figure.point-like", "figure.sum-point", "figure.left", "figure.right", "figure.left-short", "figure.right-short",
	"figure.col.km", "figure.col.surv-low", "figure.col.surv-high", "figure.col.low", "figure.col.high", "figure.col.watch", "figure.col.smooth", "figure.col.beside",
	"figure.col.month", "figure.col.hits", "figure.col.size", "figure.col.share", "figure.col.centre", "figure.col.limit-low", "figure.col.limit-high",
	"figure.col.out", "figure.col.out-raw", "figure.col.out-like", "figure.col.expected", "figure.col.like", "figure.col.unit", "figure.col.row", "figure.col.column", "figure.col.shoe", "figure.col.zone", "figure.col.mean",
	"figure.col.readings", "figure.col.failed", "figure.col.expected-failed", "figure.col.highest", "figure.col.mark",
	"figure.yes", "figure.no", "figure.zone", "figure.zone-n",
	"part.heel", "part.mid", "part.fore", "part.toe", "edge.medial", "edge.centre", "edge.lateral",
}
