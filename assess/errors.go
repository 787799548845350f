package assess

import (
	"errors"
	"strconv"
	"strings"
)

// What can be wrong with a field. A FieldError unwraps to one of them.
var (
	// ErrOutOfRange marks a value that its field doesn't allow.
	ErrOutOfRange = errors.New("out of range")
	// ErrInconsistent marks a value that can't stand beside the other fields.
	ErrInconsistent = errors.New("doesn't fit the other fields")
	// ErrUnknownField marks a name that is no field.
	ErrUnknownField = errors.New("no such field")
	// ErrDuplicateField marks a field that stands twice.
	ErrDuplicateField = errors.New("given twice")
	// ErrMissingField marks a field that must be there and isn't.
	ErrMissingField = errors.New("missing")
	// ErrMalformed marks text that is no CSV row or no JSON.
	ErrMalformed = errors.New("malformed")
)

const (
	// maxShown is how many characters of a refused value or name are shown.
	maxShown = 48
	// maxProblems is how many problems of one row or body are listed.
	maxProblems = 100
)

// FieldError says what is wrong with one field: which (the CSV column, such as
// l_heel_medial, or the JSON pointer, such as /left/heel_medial, so that shoe
// and check are named), what stood there and what would be allowed.
type FieldError struct {
	// Line and Column say where in a CSV file the value starts, from 1; the
	// column counts bytes. Both are 0 where the error has no such place.
	Line, Column int
	// Field is the CSV column or the JSON pointer.
	Field string
	// Value is what stood there, shortened, without control characters.
	Value string
	// Want says what is allowed.
	Want string
	// Err is one of the sentinels above.
	Err error
}

// Error returns one line: place, field, value, what is allowed.
func (e FieldError) Error() string {
	var b strings.Builder
	if e.Line > 0 {
		b.WriteString("line " + strconv.Itoa(e.Line))
		if e.Column > 0 {
			b.WriteString(", column " + strconv.Itoa(e.Column))
		}
		b.WriteString(": ")
	}
	if e.Field != "" {
		b.WriteString(e.Field + ": ")
	}
	b.WriteString(e.Reason())
	return b.String()
}

// Reason returns the message without place and field.
func (e FieldError) Reason() string {
	var b strings.Builder
	if e.Value != "" {
		b.WriteString(strconv.Quote(e.Value) + " ")
	}
	b.WriteString(e.Err.Error())
	if e.Want != "" {
		b.WriteString(", want " + e.Want)
	}
	return b.String()
}

// Unwrap returns the sentinel.
func (e FieldError) Unwrap() error { return e.Err }

// FieldErrors is everything that is wrong with one row or body, in the order
// of the input. An empty list is no error: Err turns it into one or nil.
type FieldErrors []FieldError

// Error returns the messages, one a line.
func (e FieldErrors) Error() string {
	lines := make([]string, len(e))
	for i := range e {
		lines[i] = e[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap returns the single errors, for errors.Is and errors.As.
func (e FieldErrors) Unwrap() []error {
	errs := make([]error, len(e))
	for i := range e {
		errs[i] = e[i]
	}
	return errs
}

// Err returns e as an error, or nil where it is empty.
func (e FieldErrors) Err() error {
	if len(e) == 0 {
		return nil
	}
	return e
}

// Add appends a problem with its value and name made safe to show. The list is
// bounded: past a hundred, one last entry says that there are more.
func (e *FieldErrors) Add(p FieldError) {
	switch {
	case len(*e) > maxProblems:
		return
	case len(*e) == maxProblems:
		p = FieldError{Err: ErrMalformed, Want: "fewer problems: only the first " + strconv.Itoa(maxProblems) + " are listed"}
	}
	p.Field, p.Value = shown(p.Field), shown(p.Value)
	*e = append(*e, p)
}

// shown cuts s to what a message can carry and replaces what doesn't print.
func shown(s string) string {
	var b strings.Builder
	n := 0
	for _, r := range s {
		if n++; n > maxShown {
			b.WriteString("…")
			break
		}
		if !strconv.IsPrint(r) {
			r = '\uFFFD'
		}
		b.WriteRune(r)
	}
	return b.String()
}
