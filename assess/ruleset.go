package assess

import (
	"slices"
	"strconv"
)

// Hundredths is a number kept exactly in hundredths of its unit: degrees,
// percent, grades. 150 is written 1.5.
type Hundredths int32

// whole returns n units.
func whole(n int) Hundredths { return Hundredths(n * 100) }

// String writes h with as few decimals as it needs.
func (h Hundredths) String() string {
	sign, n := "", int64(h)
	if n < 0 {
		sign, n = "-", -n
	}
	s := sign + strconv.FormatInt(n/100, 10)
	switch frac := n % 100; {
	case frac == 0:
		return s
	case frac%10 == 0:
		return s + "." + strconv.FormatInt(frac/10, 10)
	case frac < 10:
		return s + ".0" + strconv.FormatInt(frac, 10)
	default:
		return s + "." + strconv.FormatInt(frac, 10)
	}
}

// Rule is one row of a rule set: a test out of the closed list of predicates
// with its thresholds, how severe it is that it holds, and the stable code of
// the finding. Words are those of Columns. Which parameters a rule carries is
// its predicate's business; the others stay zero.
type Rule struct {
	// Code is the finding's stable word, check-word in kebab case.
	Code string
	// If is the predicate.
	If Predicate
	// Severity is note, recheck, replace or retire; How is now or later for
	// recheck and empty otherwise.
	Severity Severity
	How      How
	// Cascade names rules that are alternatives: of those with the same word,
	// the first that holds is the finding, for each shoe and zone.
	Cascade string
	// Fault says that a pair failing by this rule when nearly new may be
	// faulty: FaultStructure or FaultOutsole.
	Fault string
	// Basis is where rule and threshold come from.
	Basis string

	Check  string
	Part   string
	Words  []string
	Toward string
	// AtLeast is in grades, degrees, percent or places on the scale.
	AtLeast Hundredths
	// Over is in percent, km or days.
	Over Hundredths
	// Apart is how many degrees the shoes must differ by besides.
	Apart Hundredths
	// NearEnd is what the near end of the 95 % interval must lie beyond, degrees.
	NearEnd Hundredths
	// TiltAtLeast and TiltUnder bound the tilt taken by photo or level, degrees;
	// Untilted asks that there is none.
	TiltAtLeast Hundredths
	TiltUnder   Hundredths
	Untilted    bool
	// By lists the methods a tilt may be taken by; Photos is the fewest photos
	// it must be the mean of.
	By     []string
	Photos int
	// Press is what the thumb found on the zone.
	Press string
	// Second is what the second reader said of the check; Again whether the
	// second try agreed.
	Second string
	Again  string
	// Category asks for a model of that category: trail.
	Category string
	// RigidCounter asks for a model that has a rigid heel counter.
	RigidCounter bool
}

// Words of Rule.Fault and Rule.Category.
const (
	FaultStructure = "structure" // counter, shell or bond
	FaultOutsole   = "outsole"
	TrailCategory  = "trail"
)

// RuleSet is everything that turns a reading into a verdict and a way out of
// the shop: numbered, dated, and immutable once a reading was judged by it.
type RuleSet struct {
	// Number identifies the set; From is its first day, YYYY-MM-DD.
	Number int
	From   string
	// Rules is the table. Between findings equally severe the earlier rule
	// stands first.
	Rules []Rule
	// PossibleFault says when a failing pair counts as nearly new.
	PossibleFault FaultLimits
	// Grades are the condition grades at hand-over; the first row that fits is
	// the grade.
	Grades []GradeRow
	// NextCheck says when a kept pair should come back.
	NextCheck []NextCheckRow
}

// FaultLimits say when a failing pair counts as nearly new.
type FaultLimits struct {
	// UnderKM is the distance; UnderDays the age that stands in for it where
	// the distance is unknown.
	UnderKM   int
	UnderDays int
	// Surfaces and TrailSurfaces are what suits an ordinary and a trail model.
	Surfaces      []string
	TrailSurfaces []string
	// Basis is where the limits come from.
	Basis string
}

// clone returns a copy that shares nothing that is written to.
func (s *RuleSet) clone() *RuleSet {
	c := *s
	c.Rules = slices.Clone(s.Rules)
	c.Grades = slices.Clone(s.Grades)
	c.NextCheck = slices.Clone(s.NextCheck)
	return &c
}
