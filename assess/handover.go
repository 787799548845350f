package assess

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
	Grade GradeLetter `json:"grade"`
	// Verdicts that fit; none means any. How narrows a recheck.
	Verdicts []Verdict `json:"verdicts,omitempty"`
	How      How       `json:"how,omitempty"`
	// ZoneFrom and ZoneTo bound the worst zone grade of both shoes.
	ZoneFrom int `json:"zone_from"`
	ZoneTo   int `json:"zone_to"`
	// Hygiene lists the words that fit; none means any, also unread.
	Hygiene []string `json:"hygiene,omitempty"`
	Routes  []Route  `json:"routes"`
	Basis   string   `json:"basis"`
}

// NextCheckRow says when a kept pair should come back: after so many km or so
// many days, whichever is first.
type NextCheckRow struct {
	Verdict Verdict `json:"verdict"`
	// Category is the model's; empty fits any that has no row of its own.
	Category string `json:"category,omitempty"`
	KM       int    `json:"km"`
	Days     int    `json:"days"`
	Basis    string `json:"basis"`
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
