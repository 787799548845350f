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
	Code string `json:"code"`
	// If is the predicate.
	If Predicate `json:"if"`
	// Severity is note, recheck, replace or retire; How is now or later for
	// recheck and empty otherwise.
	Severity Severity `json:"severity"`
	How      How      `json:"how,omitempty"`
	// Cascade names rules that are alternatives: of those with the same word,
	// the first that holds is the finding, for each shoe and zone.
	Cascade string `json:"cascade,omitempty"`
	// Fault says that a pair failing by this rule when nearly new may be
	// faulty: FaultStructure or FaultOutsole.
	Fault string `json:"fault,omitempty"`
	// Basis is where rule and threshold come from.
	Basis string `json:"basis"`

	Check  string   `json:"check,omitempty"`
	Part   string   `json:"part,omitempty"`
	Words  []string `json:"words,omitempty"`
	Toward string   `json:"toward,omitempty"`
	// AtLeast is in grades, degrees, percent or places on the scale.
	AtLeast Hundredths `json:"at_least,omitempty"`
	// Over is in percent, km or days.
	Over Hundredths `json:"over,omitempty"`
	// Apart is how many degrees the shoes must differ by besides.
	Apart Hundredths `json:"apart,omitempty"`
	// NearEnd is what the near end of the 95 % interval must lie beyond, degrees.
	NearEnd Hundredths `json:"near_end,omitempty"`
	// TiltAtLeast and TiltUnder bound the tilt taken by photo or level, degrees;
	// Untilted asks that there is none.
	TiltAtLeast Hundredths `json:"tilt_at_least,omitempty"`
	TiltUnder   Hundredths `json:"tilt_under,omitempty"`
	Untilted    bool       `json:"untilted,omitempty"`
	// By lists the methods a tilt may be taken by; Photos is the fewest photos
	// it must be the mean of.
	By     []string `json:"by,omitempty"`
	Photos int      `json:"photos,omitempty"`
	// Press is what the thumb found on the zone.
	Press string `json:"press,omitempty"`
	// Second is what the second reader said of the check; Again whether the
	// second try agreed.
	Second string `json:"second,omitempty"`
	Again  string `json:"again,omitempty"`
	// Category asks for a model of that category: trail.
	Category string `json:"category,omitempty"`
	// RigidCounter asks for a model that has a rigid heel counter.
	RigidCounter bool `json:"rigid_counter,omitempty"`
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
	Number int    `json:"number"`
	From   string `json:"from"`
	// Rules is the table. Between findings equally severe the earlier rule
	// stands first.
	Rules []Rule `json:"rules"`
	// PossibleFault says when a failing pair counts as nearly new.
	PossibleFault FaultLimits `json:"possible_fault"`
	// Grades are the condition grades at hand-over; the first row that fits is
	// the grade.
	Grades []GradeRow `json:"grades"`
	// NextCheck says when a kept pair should come back.
	NextCheck []NextCheckRow `json:"next_check"`
}

// FaultLimits say when a failing pair counts as nearly new.
type FaultLimits struct {
	// UnderKM is the distance; UnderDays the age that stands in for it where
	// the distance is unknown.
	UnderKM   int `json:"under_km"`
	UnderDays int `json:"under_days"`
	// Surfaces and TrailSurfaces are what suits an ordinary and a trail model.
	Surfaces      []string `json:"surfaces"`
	TrailSurfaces []string `json:"trail_surfaces"`
	// Basis is where the limits come from.
	Basis string `json:"basis"`
}

// clone returns a copy that shares nothing that is written to.
func (s *RuleSet) clone() *RuleSet {
	c := *s
	c.Rules = slices.Clone(s.Rules)
	c.Grades = slices.Clone(s.Grades)
	c.NextCheck = slices.Clone(s.NextCheck)
	return &c
}
