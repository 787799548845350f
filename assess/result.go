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

var howWords = [...]string{"", "later", "now"}

// String returns now, later or the empty string.
func (h How) String() string { return howWords[h] }

// MaxValues is how many values a finding can name.
const MaxValues = 4

// UsedAs says what a value that a rule went by is.
type UsedAs uint8

// What a value is: as it was read; the model's as new; the left or the right
// shoe's where both are compared; the symmetry index in percent; the retailer's
// advice.
const (
	AsRead UsedAs = iota
	AsNewValue
	OfLeft
	OfRight
	OfIndex
	OfAdvice
)

// Used is one value a rule went by, on the scale of a column.
type Used struct {
	Col Col
	As  UsedAs
	V   Value
}

// Key returns the value's name: the column's, or as_new, left, right,
// symmetry_index, advice; for the age it is days.
func (u Used) Key() string {
	switch {
	case u.As != AsRead:
		return [...]string{"", "as_new", "left", "right", "symmetry_index", "advice"}[u.As]
	case u.Col == ColBoughtOn:
		return "days"
	}
	return u.Col.String()
}

// Words returns the scale to write the value in, nil for a number.
func (u Used) Words() []string {
	if u.Col < NumCols && u.As != OfIndex && Columns[u.Col].Kind != Measure && !u.mean() {
		return Columns[u.Col].Words
	}
	return nil
}

// Decimals returns how many of the number's digits are decimals.
func (u Used) Decimals() int {
	switch {
	case u.As == OfIndex || u.mean():
		return 2
	case u.Col < NumCols:
		return Columns[u.Col].Decimals
	}
	return 0
}

// mean reports whether the value is a mean of grades: a part's, not a zone's.
func (u Used) mean() bool { return u.Col < NumZones && u.As != AsRead }

// Finding is what one rule found.
type Finding struct {
	// Check is the column looked at, the part's first zone where a rule is
	// about a whole part, or ColKM or ColBoughtOn.
	Check Col
	Shoe  Foot
	// Zone is the outsole zone, NoCol where the check has none; Part is the
	// part of the outsole, NoPart where the check is about none.
	Zone     Col
	Part     Part
	Severity Severity
	How      How
	// Rule is the place of the rule in its set; Code its stable word.
	Rule   int
	Code   string
	Values [MaxValues]Used
	NUsed  int
}

// Where returns the zone's name, the part's where there is no single zone, or
// nothing.
func (f *Finding) Where() string {
	if f.Zone != NoCol {
		return f.Zone.String()
	}
	return f.Part.String()
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
	Route    Route // what the grade proposes first
	Rules    int   // number of the rule set
	// Margin is not filled by Judge: see Engine.Margin. 0 stands for "not asked for".
	Margin int

	hits []hit // reused between readings
}
