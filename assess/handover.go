package assess

import "slices"

// GradeLetter is the condition grade of a pair at hand-over: what may happen
// to the object, as against the verdict, which is for its runner.
type GradeLetter uint8

// The grades; NoGrade while the reading is not finished, must be read again
// now, or lacks the hygiene check that hand-over needs.
const (
	NoGrade GradeLetter = iota
	GradeA
	GradeB
	GradeC
	GradeD
	GradeX
)

var gradeLetters = [...]string{"", "A", "B", "C", "D", "X"}

// String returns A, B, C, D, X or the empty string.
func (g GradeLetter) String() string { return gradeLetters[g] }

// Route is where a pair goes from the counter.
type Route uint8

// The routes. BackToRunner is open at any grade.
const (
	NoRoute Route = iota
	BackToRunner
	Resale
	Donation
	DonationWalking
	Recycling
	RecyclingNeverResale
	SealedDisposal
)

var routeWords = [...]string{
	"", "back to runner", "resale", "donation", "donation for walking", "recycling", "recycling, never resale", "sealed disposal",
}

// String returns the route's words.
func (r Route) String() string { return routeWords[r] }

// GradeRow is one row of the grade table: what a pair must be for the grade,
// and which routes the grade opens besides back to the runner, the one to
// propose first.
type GradeRow struct {
	Grade GradeLetter
	// Verdicts that fit; none means any. How narrows a recheck.
	Verdicts []Verdict
	How      How
	// ZoneFrom and ZoneTo bound the worst zone grade of both shoes.
	ZoneFrom int
	ZoneTo   int
	// Hygiene lists the words that fit; none means any, also unread.
	Hygiene []string
	Routes  []Route
	Basis   string
}

// handOver returns the grade of a pair and the route it proposes first. worst
// is the worst zone grade of both shoes, −1 where none is read. While there is
// no grade only back to the runner is open.
func (e *Engine) handOver(v Verdict, h How, worst int, hygiene Value) (GradeLetter, Route) {
	clean := placeOf(hygiene, len(Columns[Hygiene].Words))
	for i := range e.grades {
		row := &e.grades[i]
		switch {
		case row.verdicts != 0 && row.verdicts>>v&1 == 0:
		case row.How != NoHow && row.How != h:
		case max(worst, 0) < row.ZoneFrom || worst > row.ZoneTo:
		case row.hygiene != 0 && (clean < 0 || row.hygiene>>clean&1 == 0):
		default:
			return row.Grade, row.Routes[0]
		}
	}
	return NoGrade, BackToRunner
}

// Proposes reports whether a grade proposes a route first; without a grade that is back
// to the runner.
func (e *Engine) Proposes(g GradeLetter, r Route) bool {
	if g == NoGrade {
		return r == BackToRunner
	}
	return slices.ContainsFunc(e.grades, func(row gradeRow) bool { return row.Grade == g && row.Routes[0] == r })
}

// RouteOption is one way out of the shop: open, or closed by the pair's grade.
type RouteOption struct {
	Route Route
	Open  bool
	// ClosedBy is the grade that closes the route; NoGrade with a closed route
	// says that there is no grade yet.
	ClosedBy GradeLetter
}

// Routes lists every route for a pair of that grade: which are open, and which
// the grade closes. Back to the runner is open at any grade.
func (e *Engine) Routes(g GradeLetter) []RouteOption {
	options := make([]RouteOption, 0, SealedDisposal)
	for r := BackToRunner; r <= SealedDisposal; r++ {
		o := RouteOption{Route: r, Open: r == BackToRunner}
		for i := range e.grades {
			o.Open = o.Open || e.grades[i].Grade == g && slices.Contains(e.grades[i].Routes, r)
		}
		if !o.Open {
			o.ClosedBy = g
		}
		options = append(options, o)
	}
	return options
}
