package assess

// GradeLetter is the condition grade of a pair at hand-over: what may happen
// to the object, as against the verdict, which is for its runner.
type GradeLetter uint8

// The grades; NoGrade while the reading is not finished or must be read again now.
const (
	NoGrade GradeLetter = iota
	GradeA
	GradeB
	GradeC
	GradeD
	GradeX
)

// String returns A, B, C, D, X or the empty string.
func (g GradeLetter) String() string { return [...]string{"", "A", "B", "C", "D", "X"}[g] }

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
