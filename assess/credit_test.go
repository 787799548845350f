package assess

import (
	"errors"
	"strings"
	"testing"
)

func TestCredit(t *testing.T) {
	table := CreditTable{Number: 1, From: "2026-01-01", Currency: "EUR", Rows: []CreditRow{
		{Grade: GradeA, Minor: 1000},
		{Grade: GradeA, UnderDays: 365, Minor: 2000},
		{Grade: GradeA, UnderDays: 90, Minor: 3000},
		{Grade: GradeA, Category: "race", UnderDays: 180, Minor: 4000},
		{Grade: GradeB, Category: "race", Minor: 700},
		{Grade: GradeD, Minor: 0},
	}}
	for _, tc := range []struct {
		name     string
		grade    GradeLetter
		category string
		age      Value
		minor    int64
		ok       bool
	}{
		{"the narrowest band that holds the age", GradeA, "daily", Of(89), 3000, true},
		{"on its edge the next", GradeA, "daily", Of(90), 2000, true},
		{"beyond all bands the one without", GradeA, "daily", Of(365), 1000, true},
		{"an age beyond belief", GradeA, "daily", Of(1 << 29), 1000, true},
		{"an unknown age gets the least", GradeA, "daily", Unread, 1000, true},
		{"its own category goes first", GradeA, "race", Of(10), 4000, true},
		{"its own category without a band for the age", GradeA, "race", Of(180), 0, false},
		{"its own category, age unknown", GradeA, "race", Unread, 4000, true},
		{"no category at all", GradeA, "", Of(10), 3000, true},
		{"a row of another category only", GradeB, "daily", Of(10), 0, false},
		{"nothing is worth nothing", GradeD, "race", Of(10), 0, true},
		{"no grade", NoGrade, "race", Of(10), 0, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if minor, ok := table.Credit(tc.grade, tc.category, tc.age); minor != tc.minor || ok != tc.ok {
				t.Errorf("got %d, %v, want %d, %v", minor, ok, tc.minor, tc.ok)
			}
		})
	}
}

func TestParseCreditTable(t *testing.T) {
	const good = `{"number":3,"from":"2026-07-01","currency":"EUR","rows":[{"grade":"A","category":"race","under_days":365,"minor":2500},{"grade":"D"}]}`
	table, err := ParseCreditTable([]byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := table.MarshalJSON(); string(text) != good {
		t.Errorf("written again %s", text)
	}
	for _, tc := range []struct {
		name, old, new, want string
		err                  error
	}{
		{"a currency", "EUR", "euro", `/currency: "euro" out of range, want three capital letters`, ErrOutOfRange},
		{"a day", "2026-07-01", "2026-13-01", "/from", ErrOutOfRange},
		{"a grade", `"A"`, `"F"`, `/rows/0/grade: "F" out of range`, ErrOutOfRange},
		{"an amount with a decimal point", "2500", "25.5", `/rows/0/minor: "25.5" out of range, want a whole number`, ErrOutOfRange},
		{"a debt", "2500", "-1", `/rows/0/minor: "-1" out of range`, ErrOutOfRange},
		{"a number", `"number":3`, `"number":0`, "/number", ErrOutOfRange},
		{"a band", "365", "99999", "/rows/0/under_days", ErrOutOfRange},
		{"a row twice", `{"grade":"D"}`, `{"grade":"D"},{"grade":"D","minor":5}`, "/rows/2: given twice", ErrDuplicateField},
		{"no rows member", `"rows"`, `"lines"`, "/lines: no such field", ErrUnknownField},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := ParseCreditTable([]byte(strings.Replace(good, tc.old, tc.new, 1)))
			if !errors.Is(err, tc.err) || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %s", err, tc.want)
			}
		})
	}
}
