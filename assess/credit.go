package assess

import (
	"slices"
	"strconv"
)

// CreditRow is what a pair of one grade is worth.
type CreditRow struct {
	Grade GradeLetter
	// Category is the model's; empty fits any that has no row of its own.
	Category string
	// UnderDays bounds the age from above, in days; 0 is no bound.
	UnderDays int
	// Minor is the amount in minor units of the table's currency.
	Minor int64
}

// CreditTable is a dated table of trade-in credit in one currency: numbered,
// and immutable once an amount was shown by it.
type CreditTable struct {
	Number int
	// From is the table's first day, YYYY-MM-DD.
	From string
	// Currency is the ISO 4217 code that stores of this table use.
	Currency string
	Rows     []CreditRow
}

// maxMinor bounds an amount.
const maxMinor = 9_999_999

// Credit returns the credit for a pair in minor units; ok is false where the
// table has no row for it. Where the model's own category has rows for the
// grade, the rows of any category don't count. Of the age bands the narrowest
// that holds the age counts; a pair whose age is unknown gets the least amount
// of them, so that not knowing is never worth more than knowing.
func (t *CreditTable) Credit(g GradeLetter, category string, ageDays Value) (minor int64, ok bool) {
	own := func(r CreditRow) bool { return r.Grade == g && r.Category == category }
	if !slices.ContainsFunc(t.Rows, own) {
		category = ""
	}
	const unbounded = maxDays + 1
	narrowest := unbounded + 1
	for i := range t.Rows {
		row := &t.Rows[i]
		under := row.UnderDays
		if under == 0 {
			under = unbounded
		}
		switch {
		case g == NoGrade || row.Grade != g || row.Category != category:
		case !ageDays.OK():
			if !ok || row.Minor < minor {
				minor, ok = row.Minor, true
			}
		case under < narrowest && (under == unbounded || ageDays.Int() < under):
			minor, narrowest, ok = row.Minor, under, true
		}
	}
	return minor, ok
}

var creditRowMembers = []member[CreditRow]{
	need(wordMember("grade", gradeLetters[:], func(r *CreditRow) *GradeLetter { return &r.Grade })),
	textMember("category", func(r *CreditRow) *string { return &r.Category }),
	numberMember("under_days", 0, func(r *CreditRow) *int { return &r.UnderDays }),
	numberMember("minor", 0, func(r *CreditRow) *int64 { return &r.Minor }),
}

var creditMembers = []member[CreditTable]{
	numberMember("number", 0, func(t *CreditTable) *int { return &t.Number }),
	need(textMember("from", func(t *CreditTable) *string { return &t.From })),
	need(textMember("currency", func(t *CreditTable) *string { return &t.Currency })),
	need(rowsMember("rows", func(t *CreditTable) *[]CreditRow { return &t.Rows }, creditRowMembers)),
}

// ParseCreditTable reads a credit table from JSON and checks it; the error is a
// FieldErrors.
func ParseCreditTable(text []byte) (*CreditTable, error) {
	t, err := decodeMembers(text, creditMembers)
	if err != nil {
		return nil, err
	}
	if err := t.Check(); err != nil {
		return nil, err
	}
	return t, nil
}

// MarshalJSON writes t with its members in a fixed order.
func (t CreditTable) MarshalJSON() ([]byte, error) { return writeMembers(nil, creditMembers, &t), nil }

// UnmarshalJSON reads what MarshalJSON writes without checking the rows: a
// draft has no number yet.
func (t *CreditTable) UnmarshalJSON(text []byte) error {
	v, err := decodeMembers(text, creditMembers)
	if err == nil {
		*t = *v
	}
	return err
}

// Check reports what is wrong with the table as FieldErrors.
func (t *CreditTable) Check() error {
	var errs FieldErrors
	bad := func(field, value, want string, err error) {
		errs.Add(FieldError{Field: field, Value: value, Want: want, Err: err})
	}
	if t.Number < 1 {
		bad("/number", strconv.Itoa(t.Number), "a whole number from 1", ErrOutOfRange)
	}
	if _, want := parseDate(t.From); want != "" {
		bad("/from", t.From, want, ErrOutOfRange)
	}
	if !isCurrency(t.Currency) {
		bad("/currency", t.Currency, "three capital letters, such as EUR", ErrOutOfRange)
	}
	type key struct {
		g         GradeLetter
		category  string
		underDays int
	}
	seen := map[key]bool{}
	for i := range t.Rows {
		r, at := &t.Rows[i], "/rows/"+strconv.Itoa(i)
		if r.Grade == NoGrade || r.Grade > GradeX {
			bad(at+"/grade", strconv.Itoa(int(r.Grade)), oneOf(gradeLetters[1:]), ErrOutOfRange)
		}
		if r.UnderDays < 0 || r.UnderDays > maxDays {
			bad(at+"/under_days", strconv.Itoa(r.UnderDays), "0 to "+strconv.Itoa(maxDays), ErrOutOfRange)
		}
		if r.Minor < 0 || r.Minor > maxMinor {
			bad(at+"/minor", strconv.FormatInt(r.Minor, 10), "0 to "+strconv.Itoa(maxMinor), ErrOutOfRange)
		}
		k := key{r.Grade, r.Category, r.UnderDays}
		if seen[k] {
			bad(at, "", "one row for a grade, category and age band", ErrDuplicateField)
		}
		seen[k] = true
	}
	return errs.Err()
}

// isCurrency reports whether s has the form of an ISO 4217 code.
func isCurrency(s string) bool {
	for i := range len(s) {
		if s[i] < 'A' || s[i] > 'Z' {
			return false
		}
	}
	return len(s) == 3
}
