package assess

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// cantPrefix stands before the reason why a check can't be read.
const cantPrefix = "cant:"

// maxIntDigits bounds the digits before the decimal point, so that no number
// leaves a Value.
const maxIntDigits = 7

// Years that a date or an instant may have. Before 1970 there is no UUIDv7.
const minYear, maxYear = 1970, 9999

// banded reports whether the scale is the three bands, which may be written 1,
// 2 and 3.
func (c *Column) banded() bool { return c.Kind == Word && &c.Words[0] == &bandWords[0] }

// parse reads the text of a value of c.
func (c *Column) parse(text string) (v Value, ok bool) {
	if c.Kind == Grade && len(text) == 1 && text[0] >= '0' && int(text[0]-'0') <= c.Max {
		return Of(int(text[0] - '0')), true
	}
	text = strings.Trim(text, " ")
	if c.CantRead {
		if v, ok = parseCant(text); ok {
			return v, true
		}
	}
	n := 0
	switch c.Kind {
	case Grade:
		n = findWord(c.Words, text)
		ok = n >= 0
	case Word:
		n = findWord(c.Words, text)
		ok = n >= 0
		if !ok && c.banded() && len(text) == 1 && text[0] >= '1' && int(text[0]-'1') < len(c.Words) {
			n, ok = int(text[0]-'1'), true
		}
	case Side:
		if n, ok = parseDecimal(text, 0, false); ok {
			ok = n >= c.Min && n <= c.Max
			break
		}
		n = findWord(c.Words, text) + c.Min
		ok = n >= c.Min
	case Measure:
		n, ok = parseDecimal(text, c.Decimals, c.Unit == "°")
		ok = ok && n >= c.Min && n <= c.Max
	case Zones:
		var set uint64
		set, ok = parseSet(zoneNames, text)
		n = int(set)
	}
	if !ok {
		return Unread, false
	}
	return Of(n), true
}

// parseCant reads x or cant: with its reason. An x gives no reason, which is
// "other".
func parseCant(text string) (Value, bool) {
	if text == "x" || text == "X" {
		return CantOther, true
	}
	if len(text) <= len(cantPrefix) || !strings.EqualFold(text[:len(cantPrefix)], cantPrefix) {
		return Unread, false
	}
	for v := CantWet; v <= CantOther; v += CantDirty - CantWet {
		if sameWord(cantWords[v], strings.Trim(text[len(cantPrefix):], " ")) {
			return v, true
		}
	}
	return Unread, false
}

// appendValue writes v as c writes it. A value outside the column's scale is
// written as its bare number, which no decoder takes for another value.
func (c *Column) appendValue(dst []byte, v Value) []byte {
	switch {
	case v == Unread:
		return dst
	case v == CantOther && c.Kind == Grade:
		return append(dst, 'x')
	case !v.OK():
		return append(append(dst, cantPrefix...), cantWords[v]...)
	}
	n := v.Int()
	switch {
	case c.Kind == Word && n >= 0 && n < len(c.Words):
		return append(dst, c.Words[n]...)
	case c.Kind == Measure:
		return appendDecimal(dst, n, c.Decimals)
	case c.Kind == Zones:
		return appendSet(dst, zoneNames, uint64(n))
	}
	return strconv.AppendInt(dst, int64(n), 10)
}

// want says in words what the column takes.
func (c *Column) want() string {
	var s string
	switch c.Kind {
	case Grade:
		s = "a grade 0–4 (" + list(c.Words) + ")"
	case Word:
		s = oneOf(c.Words)
		if c.banded() {
			s += ", or 1–3"
		}
	case Side:
		s = "−2 to +2 (" + list(c.Words) + ")"
	case Measure:
		s = "a number from " + string(appendDecimal(nil, c.Min, c.Decimals)) +
			" to " + string(appendDecimal(nil, c.Max, c.Decimals)) + " " + c.Unit
		switch {
		case c.Decimals == 0:
			s += " without decimals"
		case c.Unit != "°":
			s += " with at most " + strconv.Itoa(c.Decimals) + " decimal"
		}
	case Zones:
		s = "zones out of " + list(zoneNames) + ", space between"
	}
	if c.CantRead {
		s += ", or x, " + cantPrefix + "wet, " + cantPrefix + "dirty, " + cantPrefix + "repaired, " + cantPrefix + "other"
	}
	return s
}

// zoneNames are the names of the ten zones, in the order of the columns.
var zoneNames = func() []string {
	names := make([]string, NumZones)
	for z := range names {
		names[z] = Columns[z].Name
	}
	return names
}()

// list writes the words that are not empty, commas between.
func list(words []string) string {
	return strings.Join(slices.DeleteFunc(slices.Clone(words), func(w string) bool { return w == "" }), ", ")
}

// oneOf writes a closed list of words as what is allowed.
func oneOf(words []string) string { return "one of " + list(words) }

// findWord returns the place of the word that text means, or −1.
func findWord(words []string, text string) int {
	for i, w := range words {
		if w == text && w != "" {
			return i
		}
	}
	text = strings.Trim(text, " ")
	for i, w := range words {
		if w != "" && sameWord(w, text) {
			return i
		}
	}
	return -1
}

// sameWord reports whether text is the word in any case, with '-', '_' and ' '
// for one another.
func sameWord(word, text string) bool {
	if len(word) != len(text) {
		return false
	}
	for i := range len(word) {
		if foldByte(word[i]) != foldByte(text[i]) {
			return false
		}
	}
	return true
}

func foldByte(c byte) byte {
	switch {
	case c >= 'A' && c <= 'Z':
		return c + 'a' - 'A'
	case c == '-' || c == '_':
		return ' '
	}
	return c
}

// parseDecimal reads a decimal number into units of 10^-decimals. A sign may be
// '+', '-' or U+2212. Digits beyond the decimals must be 0, unless round says
// that they are rounded off, half away from zero.
func parseDecimal(text string, decimals int, round bool) (n int, ok bool) {
	neg := false
	switch {
	case text == "":
		return 0, false
	case text[0] == '-':
		neg, text = true, text[1:]
	case text[0] == '+':
		text = text[1:]
	case strings.HasPrefix(text, "\u2212"):
		neg, text = true, text[len("\u2212"):]
	}
	whole, frac, _ := strings.Cut(text, ".")
	if whole == "" || len(whole) > maxIntDigits || len(whole) < len(text) && frac == "" {
		return 0, false
	}
	for i := range len(whole) {
		d := whole[i] - '0'
		if d > 9 {
			return 0, false
		}
		n = n*10 + int(d)
	}
	up := 0
	for i := range max(len(frac), decimals) {
		d := byte(0)
		if i < len(frac) {
			d = frac[i] - '0'
		}
		switch {
		case d > 9:
			return 0, false
		case i < decimals:
			n = n*10 + int(d)
		case round:
			if i == decimals && d >= 5 {
				up = 1
			}
		case d != 0:
			return 0, false
		}
	}
	if n += up; neg {
		n = -n
	}
	return n, true
}

// appendDecimal writes n units of 10^-decimals without trailing zeros.
func appendDecimal(dst []byte, n, decimals int) []byte {
	if n < 0 {
		dst, n = append(dst, '-'), -n
	}
	unit := 1
	for range decimals {
		unit *= 10
	}
	dst = strconv.AppendInt(dst, int64(n/unit), 10)
	if n %= unit; n == 0 {
		return dst
	}
	dst = append(dst, '.')
	for n > 0 {
		unit /= 10
		dst = append(dst, byte('0'+n/unit))
		n %= unit
	}
	return dst
}

const (
	wantDate    = "a date such as 2026-10-05"
	wantInstant = "an instant such as 2026-10-05T14:03:00Z, to the microsecond"
)

// parseDate reads a date of the calendar; want says what is wrong.
func parseDate(s string) (t time.Time, want string) {
	if len(s) != len("2026-10-05") || s[4] != '-' || s[7] != '-' {
		return t, wantDate
	}
	y, m, d := twoDigits(s, 0)*100+twoDigits(s, 2), twoDigits(s, 5), twoDigits(s, 8)
	switch {
	case y < 0 || m < 0 || d < 0:
		return t, wantDate
	case y < minYear:
		return t, wantDate + ", in " + strconv.Itoa(minYear) + " or later"
	case m < 1 || m > 12:
		return t, wantDate + ": a month is 01–12"
	}
	t = time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
	if d < 1 || t.Day() != d {
		last := time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC).Day()
		return time.Time{}, wantDate + ": " + time.Month(m).String() + " " + strconv.Itoa(y) +
			" has " + strconv.Itoa(last) + " days"
	}
	return t, ""
}

// parseInstant reads an RFC 3339 instant into UTC; want says what is wrong.
func parseInstant(s string) (t time.Time, want string) {
	if len(s) < len("2026-10-05T14:03:00Z") || s[10] != 'T' && s[10] != 't' || s[13] != ':' || s[16] != ':' {
		return t, wantInstant
	}
	if t, want = parseDate(s[:10]); want != "" {
		return t, want
	}
	hour, minute, sec := twoDigits(s, 11), twoDigits(s, 14), twoDigits(s, 17)
	micros, rest := 0, s[19:]
	if rest[0] == '.' {
		n := 1
		for ; n < len(rest) && rest[n] >= '0' && rest[n] <= '9'; n++ {
			d := int(rest[n] - '0')
			switch {
			case n <= 6:
				micros = micros*10 + d
			case d != 0:
				return time.Time{}, wantInstant
			}
		}
		if n == 1 {
			return time.Time{}, wantInstant
		}
		for i := n; i <= 6; i++ {
			micros *= 10
		}
		rest = rest[n:]
	}
	offset, ok := parseOffset(rest)
	if !ok || hour < 0 || hour > 23 || minute < 0 || minute > 59 || sec < 0 || sec > 59 {
		return time.Time{}, wantInstant
	}
	t = t.Add(time.Duration(hour)*time.Hour + time.Duration(minute-offset)*time.Minute +
		time.Duration(sec)*time.Second + time.Duration(micros)*time.Microsecond)
	if t.Year() < minYear || t.Year() > maxYear {
		return time.Time{}, wantInstant
	}
	return t, ""
}

// parseOffset reads Z or ±HH:MM into minutes east of UTC.
func parseOffset(s string) (minutes int, ok bool) {
	if s == "Z" || s == "z" {
		return 0, true
	}
	if len(s) != len("+02:00") || s[0] != '+' && s[0] != '-' || s[3] != ':' {
		return 0, false
	}
	h, m := twoDigits(s, 1), twoDigits(s, 4)
	if h < 0 || h > 23 || m < 0 || m > 59 {
		return 0, false
	}
	minutes = h*60 + m
	if s[0] == '-' {
		minutes = -minutes
	}
	return minutes, true
}

// twoDigits returns the number at s[i:i+2], or one far below zero.
func twoDigits(s string, i int) int {
	hi, lo := s[i]-'0', s[i+1]-'0'
	if hi > 9 || lo > 9 {
		return -1 << 20
	}
	return int(hi)*10 + int(lo)
}

// appendInstant writes t in UTC to the microsecond, without trailing zeros.
func appendInstant(dst []byte, t time.Time) []byte {
	return t.UTC().Truncate(time.Microsecond).AppendFormat(dst, time.RFC3339Nano)
}

// plainText reports whether s is valid UTF-8 of at most limit characters
// without control characters, line ends or marks that turn the direction of
// writing: what people typed, emoji included, and nothing that hides.
func plainText(s string, limit int) bool {
	n := 0
	for i, r := range s {
		n++
		switch {
		case r == utf8.RuneError:
			if _, size := utf8.DecodeRuneInString(s[i:]); size == 1 {
				return false
			}
		case r < utf8.RuneSelf:
			if r < ' ' || r == 0x7f {
				return false
			}
		case unicode.IsControl(r), r >= '\u2028' && r <= '\u202e', r >= '\u2066' && r <= '\u2069', r == '\ufeff':
			return false
		}
	}
	return n <= limit
}

// isCode reports whether s is a code: letters, digits, '-', '.' and '_'.
func isCode(s string, limit int) bool {
	for i := range len(s) {
		c := s[i]
		switch {
		case c >= 'A' && c <= 'Z', c >= 'a' && c <= 'z', c >= '0' && c <= '9', c == '-', c == '.', c == '_':
		default:
			return false
		}
	}
	return s != "" && len(s) <= limit
}
