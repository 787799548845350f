package assess

import (
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// maxJSONDepth bounds how deep arrays and objects may nest.
const maxJSONDepth = 32

// jsonReader reads one JSON text (RFC 8259) strictly: valid UTF-8, no lone
// surrogates, nothing after the value. What is wrong with the text itself ends
// the reading; what is wrong with a value is collected.
type jsonReader struct {
	text   string
	at     int
	failed bool
	errs   FieldErrors
}

// fail ends the reading with what is wrong at the current byte.
func (j *jsonReader) fail(want string) {
	if !j.failed {
		j.failed = true
		j.errs.Add(FieldError{Err: ErrMalformed, Want: "JSON: at byte " + strconv.Itoa(j.at+1) + " " + want})
	}
	j.at = len(j.text)
}

// peek skips white space and returns the next byte, or 0 at the end.
func (j *jsonReader) peek() byte {
	for j.at < len(j.text) {
		switch c := j.text[j.at]; c {
		case ' ', '\t', '\n', '\r':
			j.at++
		default:
			return c
		}
	}
	return 0
}

// take skips white space and the byte c, which must come next.
func (j *jsonReader) take(c byte) bool {
	if j.peek() != c {
		j.fail("a '" + string(c) + "'")
		return false
	}
	j.at++
	return true
}

// end checks that nothing follows.
func (j *jsonReader) end() {
	if !j.failed && j.peek() != 0 || j.at < len(j.text) {
		j.fail("nothing after the value")
	}
}

// object reads an object and calls member with each name, which must read the
// value.
func (j *jsonReader) object(member func(name string)) {
	if !j.take('{') {
		return
	}
	if j.peek() == '}' {
		j.at++
		return
	}
	for !j.failed {
		if j.peek() != '"' {
			j.fail("a name in quotes")
			return
		}
		name := j.string()
		if !j.take(':') {
			return
		}
		member(name)
		if !j.another('}') {
			return
		}
	}
}

// array reads an array and calls element before each value, which it must read.
func (j *jsonReader) array(element func()) {
	if !j.take('[') {
		return
	}
	if j.peek() == ']' {
		j.at++
		return
	}
	for !j.failed {
		element()
		if !j.another(']') {
			return
		}
	}
}

// another reads a comma, or the closing bracket, and reports whether one more
// value follows.
func (j *jsonReader) another(closing byte) bool {
	switch j.peek() {
	case ',':
		j.at++
		return true
	case closing:
		j.at++
	default:
		j.fail("a ',' or a '" + string(closing) + "'")
	}
	return false
}

// string reads a string.
func (j *jsonReader) string() string {
	j.at++
	start := j.at
	for j.at < len(j.text) {
		switch c := j.text[j.at]; {
		case c == '"':
			j.at++
			s := j.text[start : j.at-1]
			if !utf8.ValidString(s) {
				j.fail("UTF-8 in the string before it")
			}
			return s
		case c == '\\':
			return j.escaped(start)
		case c < ' ':
			j.fail("no control character")
			return ""
		}
		j.at++
	}
	j.fail("the end of a string")
	return ""
}

// escaped reads the rest of a string that began at start and has an escape at
// the current byte.
func (j *jsonReader) escaped(start int) string {
	var b strings.Builder
	b.WriteString(j.text[start:j.at])
	for j.at < len(j.text) {
		c := j.text[j.at]
		j.at++
		switch {
		case c == '"':
			if s := b.String(); utf8.ValidString(s) {
				return s
			}
			j.fail("UTF-8 in the string before it")
			return ""
		case c < ' ':
			j.at--
			j.fail("no control character")
			return ""
		case c != '\\':
			b.WriteByte(c)
			continue
		}
		r, ok := j.escape()
		if !ok {
			j.fail("an escape of JSON")
			return ""
		}
		b.WriteRune(r)
	}
	j.fail("the end of a string")
	return ""
}

// escape reads what follows a backslash.
func (j *jsonReader) escape() (r rune, ok bool) {
	if j.at == len(j.text) {
		return 0, false
	}
	c := j.text[j.at]
	j.at++
	if i := strings.IndexByte(`"\/bfnrt`, c); i >= 0 {
		return rune("\"\\/\b\f\n\r\t"[i]), true
	}
	if c != 'u' {
		return 0, false
	}
	r, ok = j.hex4()
	if !ok || !utf16.IsSurrogate(r) {
		return r, ok
	}
	if !strings.HasPrefix(j.text[j.at:], `\u`) {
		return 0, false
	}
	j.at += 2
	low, ok := j.hex4()
	r = utf16.DecodeRune(r, low)
	return r, ok && r != utf8.RuneError
}

// hex4 reads four hexadecimal digits.
func (j *jsonReader) hex4() (r rune, ok bool) {
	if len(j.text)-j.at < 4 {
		return 0, false
	}
	for range 4 {
		d := unhex(j.text[j.at])
		if d > 15 {
			return 0, false
		}
		r = r<<4 | rune(d)
		j.at++
	}
	return r, true
}

// number reads a number and returns it as it is written.
func (j *jsonReader) number() string {
	start := j.at
	if j.text[j.at] == '-' {
		j.at++
	}
	if strings.HasPrefix(j.text[j.at:], "0") {
		j.at++ // no digit follows a leading zero
	} else if !j.digits() {
		j.fail("a digit")
		return ""
	}
	if j.at < len(j.text) && j.text[j.at] == '.' {
		j.at++
		if !j.digits() {
			j.fail("a digit")
			return ""
		}
	}
	if j.at < len(j.text) && j.text[j.at]|0x20 == 'e' {
		j.at++
		if j.at < len(j.text) && (j.text[j.at] == '+' || j.text[j.at] == '-') {
			j.at++
		}
		if !j.digits() {
			j.fail("a digit")
			return ""
		}
	}
	return j.text[start:j.at]
}

// digits reads one digit or more.
func (j *jsonReader) digits() bool {
	start := j.at
	for j.at < len(j.text) && j.text[j.at] >= '0' && j.text[j.at] <= '9' {
		j.at++
	}
	return j.at > start
}

// literal reads true, false or null.
func (j *jsonReader) literal() string {
	for _, word := range [...]string{"true", "false", "null"} {
		if strings.HasPrefix(j.text[j.at:], word) {
			j.at += len(word)
			return word
		}
	}
	j.fail("a value")
	return ""
}

// skip reads any value and returns it as it is written.
func (j *jsonReader) skip(depth int) string {
	c := j.peek()
	start := j.at
	if depth > maxJSONDepth {
		j.fail("no deeper nesting")
		return ""
	}
	switch {
	case c == '{':
		j.object(func(string) { j.skip(depth + 1) })
	case c == '[':
		j.array(func() { j.skip(depth + 1) })
	case c == '"':
		j.string()
	case c == '-' || c >= '0' && c <= '9':
		j.number()
	default:
		j.literal()
	}
	if j.failed {
		return ""
	}
	return j.text[start:j.at]
}
