package assess

import "strconv"

// NextCheckRow says when a kept pair should come back: after so many km or so
// many days, whichever is first.
type NextCheckRow struct {
	Verdict Verdict
	// Category is the model's; empty fits any that has no row of its own.
	Category string
	KM       int
	Days     int
	Basis    string
}

// NextBy says what a next check went by.
type NextBy uint8

// What a next check went by: the dated table of the rule set, or the measured
// life of the model, of its category, or of all pairs.
const (
	NoNext NextBy = iota
	NextByTable
	NextByModel
	NextByCategory
	NextByAll
)

var nextByWords = [...]string{"", "table", "model", "category", "all"}

// String returns table, model, category or all.
func (b NextBy) String() string { return nextByWords[b] }

// RiskStep says that of the pairs sound at AtKM the share named by the tables
// needs replacing by NextKM.
type RiskStep struct{ AtKM, NextKM int }

// RiskCurve is the measured life of one model, of one category or of all pairs,
// as far as the data reach.
type RiskCurve struct {
	By    NextBy // NextByModel, NextByCategory or NextByAll
	Of    string // the model's id or the category; empty for all
	Steps []RiskStep
	// Pairs is how many were seen, Worn how many of them worn, and EndKM where
	// the data end: no step leads beyond it.
	Pairs, Worn, EndKM int
}

// RiskTables are the distances at which the conditional risk of "replace"
// reaches Risk, as the service last computed them.
type RiskTables struct {
	AsOf   string     // YYYY-MM-DD
	Risk   Hundredths // percent
	Curves []RiskCurve
}

var riskStepMembers = []member[RiskStep]{
	numberMember("at_km", 0, func(s *RiskStep) *int { return &s.AtKM }),
	need(numberMember("next_km", 0, func(s *RiskStep) *int { return &s.NextKM })),
}

var riskCurveMembers = []member[RiskCurve]{
	need(wordMember("by", nextByWords[:], func(c *RiskCurve) *NextBy { return &c.By })),
	textMember("of", func(c *RiskCurve) *string { return &c.Of }),
	numberMember("pairs", 0, func(c *RiskCurve) *int { return &c.Pairs }),
	numberMember("worn", 0, func(c *RiskCurve) *int { return &c.Worn }),
	numberMember("end_km", 0, func(c *RiskCurve) *int { return &c.EndKM }),
	need(rowsMember("steps", func(c *RiskCurve) *[]RiskStep { return &c.Steps }, riskStepMembers)),
}

var riskTablesMembers = []member[RiskTables]{
	need(textMember("as_of", func(t *RiskTables) *string { return &t.AsOf })),
	need(numberMember("risk", 2, func(t *RiskTables) *Hundredths { return &t.Risk })),
	rowsMember("curves", func(t *RiskTables) *[]RiskCurve { return &t.Curves }, riskCurveMembers),
}

// ParseRiskTables reads risk tables from JSON. The steps of a curve must rise,
// and each must lead beyond its own distance; the error is a FieldErrors.
func ParseRiskTables(text []byte) (*RiskTables, error) {
	t, err := decodeMembers(text, riskTablesMembers)
	if err != nil {
		return nil, err
	}
	if err := t.check(); err != nil {
		return nil, err
	}
	return t, nil
}

// MarshalJSON writes t with its members in a fixed order.
func (t RiskTables) MarshalJSON() ([]byte, error) {
	return writeMembers(nil, riskTablesMembers, &t), nil
}

// UnmarshalJSON reads t as ParseRiskTables does.
func (t *RiskTables) UnmarshalJSON(text []byte) error {
	v, err := ParseRiskTables(text)
	if err == nil {
		*t = *v
	}
	return err
}

func (t *RiskTables) check() error {
	var errs FieldErrors
	if _, want := parseDate(t.AsOf); want != "" {
		errs.Add(FieldError{Field: "/as_of", Value: t.AsOf, Want: want, Err: ErrOutOfRange})
	}
	if t.Risk < 1 || t.Risk > whole(100) {
		errs.Add(FieldError{Field: "/risk", Value: t.Risk.String(), Want: "a percentage over 0, up to 100", Err: ErrOutOfRange})
	}
	for i := range t.Curves {
		c, at := &t.Curves[i], "/curves/"+strconv.Itoa(i)
		if c.By != NextByModel && c.By != NextByCategory && c.By != NextByAll {
			errs.Add(FieldError{Field: at + "/by", Value: c.By.String(), Want: oneOf(nextByWords[NextByModel:]), Err: ErrOutOfRange})
		}
		for k, s := range c.Steps {
			if s.AtKM < 0 || s.NextKM <= s.AtKM || s.NextKM > maxKM || k > 0 && s.AtKM <= c.Steps[k-1].AtKM {
				errs.Add(FieldError{
					Field: at + "/steps/" + strconv.Itoa(k), Value: strconv.Itoa(s.AtKM) + " to " + strconv.Itoa(s.NextKM),
					Want: "rising distances, each leading to a longer one of at most " + strconv.Itoa(maxKM) + " km", Err: ErrInconsistent,
				})
			}
		}
	}
	return errs.Err()
}

// ComeBack says when a kept pair should be read again.
type ComeBack struct {
	// InKM and Days are counted from this reading; whichever is first.
	InKM, Days int
	// AtKM is the whole distance of the pair then, unread while its distance
	// is unknown.
	AtKM Value
	By   NextBy
}

// NextCheck says when a pair that goes back to its runner should come again,
// and by what. Category and model are those of the shoe model, empty while
// unknown; risks may be nil. There is a next check only for keep and for a
// recheck later.
//
// The dated table gives km and days by verdict and category. For a kept pair
// whose distance is known the km then come from the measured life, of the
// model, else of the category, else of all pairs: of the curve's steps the last
// at or below the distance run, so that the answer errs to the early side. A
// curve is not read beyond its last step: there the next wider one is asked,
// and in the end the table stands.
func (e *Engine) NextCheck(v Verdict, h How, category, model string, km Value, risks *RiskTables) (next ComeBack, ok bool) {
	if v != Keep && (v != RecheckPair || h != Later) {
		return next, false
	}
	row := e.nextCheckRow(v, category)
	if row == nil {
		return next, false
	}
	next = ComeBack{InKM: row.KM, Days: row.Days, By: NextByTable}
	if !km.OK() {
		return next, true
	}
	if v == Keep && risks != nil {
		for _, by := range [...]struct {
			by NextBy
			of string
		}{{NextByModel, model}, {NextByCategory, category}, {NextByAll, ""}} {
			if at, found := risks.next(by.by, by.of, km.Int()); found {
				next.InKM, next.By = at-km.Int(), by.by
				break
			}
		}
	}
	next.AtKM = Of(km.Int() + next.InKM)
	return next, true
}

// nextCheckRow returns the row of a verdict and category, or the one for any
// category.
func (e *Engine) nextCheckRow(v Verdict, category string) *NextCheckRow {
	var wide *NextCheckRow
	for i := range e.set.NextCheck {
		switch row := &e.set.NextCheck[i]; {
		case row.Verdict != v:
		case row.Category == "":
			wide = row
		case row.Category == category:
			return row
		}
	}
	return wide
}

// next returns the distance at which a pair sound at km reaches the risk.
func (t *RiskTables) next(by NextBy, of string, km int) (at int, ok bool) {
	for i := range t.Curves {
		c := &t.Curves[i]
		if c.By != by || c.Of != of || by != NextByAll && of == "" {
			continue
		}
		if n := len(c.Steps); n == 0 || km > c.Steps[n-1].AtKM {
			return 0, false
		}
		for k, s := range c.Steps {
			// From the last step at or below km on, the first that leads beyond it.
			if (k+1 == len(c.Steps) || c.Steps[k+1].AtKM > km) && s.NextKM > km {
				return s.NextKM, true
			}
		}
	}
	return 0, false
}
