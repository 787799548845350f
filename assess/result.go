package assess

// Severity orders findings; a verdict is the highest severity found.
type Severity uint8

// The severities, least first.
const (
	Note Severity = iota
	Recheck
	Replace
	Retire
)

var severityWords = [...]string{"note", "recheck", "replace", "retire"}

// String returns the severity's word.
func (s Severity) String() string { return severityWords[s] }

// Verdict is what the reading says of the pair.
type Verdict uint8

// The verdicts. Incomplete stands where keep or recheck would, while a needed
// check is unread. NoVerdict is the zero value: nothing was judged.
const (
	NoVerdict Verdict = iota
	Keep
	RecheckPair
	ReplacePair
	RetirePair
	Incomplete
)

var verdictWords = [...]string{"", "keep", "recheck", "replace", "retire", "incomplete"}

// String returns the verdict's word in data: keep, recheck, replace, retire, incomplete.
func (v Verdict) String() string { return verdictWords[v] }

// How says when a recheck is meant.
type How uint8

// The ways to recheck. Now: before the pair leaves. Later: come back.
const (
	NoHow How = iota
	Later
	Now
)

// String returns now, later or the empty string.
func (h How) String() string { return [...]string{"", "later", "now"}[h] }

// MaxValues is how many values a finding can name.
const MaxValues = 4

// Used is one value a rule went by: a column's value on a shoe, or a derived
// number such as a symmetry index.
type Used struct {
	Key string
	V   Value
	// Words is the scale to write V in; nil for a number with Decimals.
	Words    []string
	Decimals int
}

// Finding is what one rule found.
type Finding struct {
	Check    Col
	Shoe     Foot
	Zone     Col // NumCols where the check has no zone
	Part     Part
	Severity Severity
	How      How
	// Rule is the place of the rule in its set; Code its stable word.
	Rule   int
	Code   string
	Values [MaxValues]Used
	NUsed  int
}

// Missing is a needed check that was not read.
type Missing struct {
	Check Col
	Shoe  Foot
}

// Result is the verdict on a reading with everything that led to it. A Result
// may be used again: Judge keeps its buffers.
type Result struct {
	Verdict  Verdict
	How      How
	Findings []Finding // worst first, hazards before structure before notes
	Unread   []Missing // most decisive first
	Pattern  PairPattern
	Flags    Flags
	Grade    GradeLetter
	Route    Route
	Rules    int
}
