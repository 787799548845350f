package assess

import (
	"math/bits"
	"strconv"
	"strings"
	"time"
)

// Shape says which JSON types carry a field.
type Shape uint8

// The shapes.
const (
	// String is a JSON string.
	String Shape = iota
	// Number is a JSON number; the words of "can't read" are strings.
	Number
	// Either is a JSON number or a string; what is a number is written as one.
	Either
	// YesNo is a JSON string, yes or no; true and false are taken for them.
	YesNo
	// List is an array of strings, or one string with spaces between.
	List
)

// Field is one column of a T in CSV and one member in JSON. Both ways of
// writing go by the same text.
type Field[T any] struct {
	// Name is the CSV column.
	Name string
	// Group is the JSON object the member stands in, empty at the top, and
	// Member its name there; an empty Member is Name.
	Group, Member string
	Shape         Shape
	// Free says that the text may hold commas and quotes.
	Free bool
	// Parse stores text, which is never empty, and returns what would have been
	// allowed where it isn't: the empty string says that all is well.
	Parse func(v *T, text string) (want string)
	// Append appends the canonical text, nothing where the field is absent.
	Append func(dst []byte, v *T) []byte
}

// member returns the name in JSON.
func (f *Field[T]) member() string {
	if f.Member != "" {
		return f.Member
	}
	return f.Name
}

// Pointer returns the field's JSON pointer (RFC 6901).
func (f *Field[T]) Pointer() string {
	if f.Group == "" {
		return "/" + f.member()
	}
	return "/" + f.Group + "/" + f.member()
}

// Within returns f as a field of the Outer that holds a T at the place given.
func Within[Outer, T any](f Field[T], at func(*Outer) *T) Field[Outer] {
	return Field[Outer]{
		Name: f.Name, Group: f.Group, Member: f.Member, Shape: f.Shape, Free: f.Free,
		Parse:  func(v *Outer, text string) string { return f.Parse(at(v), text) },
		Append: func(dst []byte, v *Outer) []byte { return f.Append(dst, at(v)) },
	}
}

// Text makes a field of free text of at most limit characters: valid UTF-8
// without control characters, line ends or marks that turn the direction of
// writing.
func Text[T any](name string, limit int, at func(*T) *string) Field[T] {
	want := "plain text of at most " + strconv.Itoa(limit) + " characters on one line"
	return Field[T]{
		Name: name, Free: true,
		Parse: func(v *T, text string) string {
			if !plainText(text, limit) {
				return want
			}
			*at(v) = text
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return append(dst, *at(v)...) },
	}
}

// Code makes a field of an opaque code of at most limit characters: letters,
// digits, '-', '.' and '_'.
func Code[T any](name string, limit int, at func(*T) *string) Field[T] {
	want := "a code of at most " + strconv.Itoa(limit) + " letters, digits, '-', '.' or '_'"
	return Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			if !isCode(text, limit) {
				return want
			}
			*at(v) = text
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return append(dst, *at(v)...) },
	}
}

// Enum makes a field of a closed list whose first word is empty and stands for
// absent.
func Enum[T any, E ~uint8](name string, words []string, at func(*T) *E) Field[T] {
	want := oneOf(words[1:])
	return Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			i := findWord(words, text)
			if i < 0 {
				return want
			}
			*at(v) = E(i)
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return append(dst, words[*at(v)]...) },
	}
}

// Words makes a field of a Value that is the place of a word in a list.
func Words[T any](name string, words []string, at func(*T) *Value) Field[T] {
	return ofColumn(&Column{Name: name, Kind: Word, Words: words}, at)
}

// Measured makes a field of a Value that is a number with the bounds and
// decimals of a Measure column: lo and hi are in the smallest unit.
func Measured[T any](name, unit string, lo, hi, decimals int, at func(*T) *Value) Field[T] {
	return ofColumn(&Column{Name: name, Kind: Measure, Unit: unit, Min: lo, Max: hi, Decimals: decimals}, at)
}

// ofColumn makes the field of a Value by its column.
func ofColumn[T any](c *Column, at func(*T) *Value) Field[T] {
	want := c.want()
	f := Field[T]{
		Name: c.Name,
		Parse: func(v *T, text string) string {
			x, ok := c.parse(text)
			if !ok {
				return want
			}
			*at(v) = x
			return ""
		},
		Append: func(dst []byte, v *T) []byte {
			if x := *at(v); x != Unread { // most are
				dst = c.appendValue(dst, x)
			}
			return dst
		},
	}
	switch {
	case c.Kind == Measure:
		f.Shape = Number
	case c.Kind == Zones:
		f.Shape = List
	case c.Kind == Word && &c.Words[0] == &yesNo[0]:
		f.Shape = YesNo
	case c.Kind == Grade, c.Kind == Side, c.banded():
		f.Shape = Either
	}
	return f
}

// Whole makes a field of a whole number; absent stands for "nothing known".
func Whole[T any](name string, lo, hi, absent int, at func(*T) *int) Field[T] {
	want := "a whole number from " + strconv.Itoa(lo) + " to " + strconv.Itoa(hi)
	return Field[T]{
		Name: name, Shape: Number,
		Parse: func(v *T, text string) string {
			n, ok := parseDecimal(text, 0, false)
			if !ok || n < lo || n > hi {
				return want
			}
			*at(v) = n
			return ""
		},
		Append: func(dst []byte, v *T) []byte {
			if n := *at(v); n != absent {
				dst = strconv.AppendInt(dst, int64(n), 10)
			}
			return dst
		},
	}
}

// Flag makes a field that is yes or no; absent reads as no, and no is written.
func Flag[T any](name string, at func(*T) *bool) Field[T] { return yesNoField(name, Yes, at) }

// Unless makes a field that is yes unless the flag is set; absent reads as yes,
// and yes is written.
func Unless[T any](name string, at func(*T) *bool) Field[T] { return yesNoField(name, No, at) }

// yesNoField makes a field of a flag that the word at place set sets.
func yesNoField[T any](name string, set int, at func(*T) *bool) Field[T] {
	return Field[T]{
		Name: name, Shape: YesNo,
		Parse: func(v *T, text string) string {
			i := findWord(yesNo, text)
			if i < 0 {
				return oneOf(yesNo)
			}
			*at(v) = i == set
			return ""
		},
		Append: func(dst []byte, v *T) []byte {
			if *at(v) {
				return append(dst, yesNo[set]...)
			}
			return append(dst, yesNo[1-set]...)
		},
	}
}

// Set makes a field of words with spaces between, one bit a word in the order
// of the list. An empty word in the list has a bit that can't be named.
func Set[T any, B ~uint32 | ~uint64](name string, words []string, at func(*T) *B) Field[T] {
	want := "words out of " + list(words) + ", space between"
	return Field[T]{
		Name: name, Shape: List,
		Parse: func(v *T, text string) string {
			set, ok := parseSet(words, text)
			if !ok {
				return want
			}
			*at(v) = B(set)
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return appendSet(dst, words, uint64(*at(v))) },
	}
}

// ID makes a field of a UUID.
func ID[T any](name string, at func(*T) *UUID) Field[T] {
	return Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			u, err := ParseUUID(text)
			if err != nil || u.IsZero() {
				return "a UUID such as 017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
			}
			*at(v) = u
			return ""
		},
		Append: func(dst []byte, v *T) []byte {
			if u := at(v); !u.IsZero() {
				dst = u.AppendTo(dst)
			}
			return dst
		},
	}
}

// Instant makes a field of an instant: RFC 3339, to the microsecond, kept in
// UTC.
func Instant[T any](name string, at func(*T) *time.Time) Field[T] {
	return Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			t, want := parseInstant(text)
			if want == "" {
				*at(v) = t
			}
			return want
		},
		Append: func(dst []byte, v *T) []byte {
			if t := at(v); !t.IsZero() {
				dst = appendInstant(dst, *t)
			}
			return dst
		},
	}
}

// Date makes a field of a date, YYYY-MM-DD, that there is in the calendar.
func Date[T any](name string, at func(*T) *string) Field[T] {
	return Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			if _, want := parseDate(text); want != "" {
				return want
			}
			*at(v) = text
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return append(dst, *at(v)...) },
	}
}

// parseSet reads words with spaces between into bits. Words are written as in
// the list; two spaces count as one.
func parseSet(words []string, text string) (set uint64, ok bool) {
	for text != "" {
		word := text
		if i := strings.IndexByte(text, ' '); i >= 0 {
			word, text = text[:i], text[i+1:]
		} else {
			text = ""
		}
		if word == "" {
			continue
		}
		i := findWord(words, word)
		if i < 0 {
			return 0, false
		}
		set |= 1 << i
	}
	return set, true
}

// appendSet writes the words of the bits in set, lowest first. Bits beyond the
// list are left out.
func appendSet(dst []byte, words []string, set uint64) []byte {
	start := len(dst)
	for ; set != 0; set &= set - 1 {
		i := bits.TrailingZeros64(set)
		if i >= len(words) {
			break
		}
		if len(dst) > start {
			dst = append(dst, ' ')
		}
		dst = append(dst, words[i]...)
	}
	return dst
}
