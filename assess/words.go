package assess

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// language is the word catalogue of one language. Judging never looks at it.
//
// A sentence may hold {Shoe} or {shoe}, {zone}, {check}, {reason} (why a check
// can't be read), {lean} (the tilt less its as-new tilt) and the key of any
// value of its finding. A part written [key:text] is said only where the
// finding has that value. Numbers are given without sign, for the sentence says
// the side.
type language struct {
	shoes     [Both + 1]string
	labels    map[Col]string
	words     map[string]string // words of scales that sentences name
	comma     bool              // decimal comma
	verdicts  [Incomplete + 1]string
	now       string            // recheck now
	backBy    string            // recheck later, with a {day}
	sentences map[string]string // by code
	otherwise [Retire + 1]string
	help      map[Col]string
}

var languages = map[string]*language{"en": &english, "es": &spanish}

// Languages lists the languages that there are words in.
func Languages() []string { return []string{"en", "es"} }

// in returns the catalogue of a language, the English one for any other.
func in(lang string) *language {
	if l := languages[lang]; l != nil {
		return l
	}
	return &english
}

// Sentence returns what a runner hears about a finding: the catalogue's
// sentence for its code, or a plain one of check and severity for a code that
// the catalogue doesn't have.
func Sentence(code, lang string, f *Finding) string {
	l := in(lang)
	text, ok := l.sentences[code]
	if !ok {
		text = l.otherwise[f.Severity]
	}
	return l.fill(text, f)
}

// Label returns the name of a check as people say it.
func Label(c Col, lang string) string { return in(lang).labels[c] }

// Help says what counts at a check and what doesn't, and nothing for a column
// that is no check.
func Help(c Col, lang string) string { return in(lang).help[c] }

// VerdictWords returns the words on the screen for a verdict. Day is when to
// come back, already written for people; it may be empty.
func VerdictWords(v Verdict, h How, day, lang string) string {
	l := in(lang)
	switch {
	case v == RecheckPair && h == Now:
		return l.now
	case v == RecheckPair && day != "":
		return strings.ReplaceAll(l.backBy, "{day}", day)
	}
	return l.verdicts[v]
}

// fill puts a finding's values into a sentence.
func (l *language) fill(text string, f *Finding) string {
	var b strings.Builder
	for text != "" {
		i := strings.IndexAny(text, "{[")
		if i < 0 {
			b.WriteString(text)
			break
		}
		b.WriteString(text[:i])
		if text[i] == '[' {
			inner, rest, _ := strings.Cut(text[i+1:], "]")
			if key, said, _ := strings.Cut(inner, ":"); f.has(key) {
				b.WriteString(l.fill(said, f))
			}
			text = rest
			continue
		}
		key, rest, _ := strings.Cut(text[i+1:], "}")
		b.WriteString(l.value(key, f))
		text = rest
	}
	return b.String()
}

// has reports whether the finding names a value.
func (f *Finding) has(key string) bool { return f.used(key) >= 0 }

// used returns the place of the value with that key, −1 where there is none.
func (f *Finding) used(key string) int {
	return slices.IndexFunc(f.Values[:f.NUsed], func(u Used) bool { return u.Key() == key })
}

// value returns what stands for a key in a sentence.
func (l *language) value(key string, f *Finding) string {
	switch key {
	case "shoe":
		return l.shoes[f.Shoe]
	case "Shoe":
		return capital(l.shoes[f.Shoe])
	case "zone":
		return l.labels[f.Zone]
	case "check":
		return l.labels[f.Check]
	case "reason":
		if f.NUsed > 0 {
			return l.word(cantWords[f.Values[0].V])
		}
		return ""
	case "lean":
		return l.number(f.valueOf("tilt").Int()-f.valueOf("as_new").Int(), Columns[Tilt].Decimals)
	}
	i := f.used(key)
	if i < 0 {
		return ""
	}
	u := f.Values[i]
	if words := u.Words(); words != nil {
		if p := u.V.Int() - Columns[u.Col].Min; u.V.OK() && p >= 0 && p < len(words) {
			return l.word(words[p])
		}
		return ""
	}
	return l.number(u.V.Int(), u.Decimals())
}

// valueOf returns the value with that key, Unread where there is none.
func (f *Finding) valueOf(key string) Value {
	if i := f.used(key); i >= 0 {
		return f.Values[i].V
	}
	return Unread
}

// number writes n units of 10^-decimals without sign.
func (l *language) number(n, decimals int) string {
	s := string(appendDecimal(nil, max(n, -n), decimals))
	if l.comma {
		s = strings.Replace(s, ".", ",", 1)
	}
	return s
}

// word returns the language's word for a word of a scale.
func (l *language) word(w string) string {
	if own, ok := l.words[w]; ok {
		return own
	}
	return w
}

// capital returns s with its first letter capital.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
