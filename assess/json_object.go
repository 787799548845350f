package assess

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// Object is one kind of JSON object, made of the same fields as a CSV table:
// members in canonical order, the fields of a group in an object of their own.
type Object[T any] struct {
	fields []Field[T]
	// groups holds the members' places by name, by group; "" is the top.
	groups map[string]map[string]int
	// opens marks the first field of each group.
	opens  []bool
	finish func(*T) FieldErrors
}

// NewObject makes an object of fields. Finish, which may be nil, is that of
// NewTable and names fields as in CSV.
func NewObject[T any](fields []Field[T], finish func(*T) FieldErrors) *Object[T] {
	o := &Object[T]{fields: fields, groups: map[string]map[string]int{"": {}}, opens: make([]bool, len(fields)), finish: finish}
	for i := range fields {
		group := fields[i].Group
		if o.groups[group] == nil {
			o.groups[group] = map[string]int{}
			o.opens[i] = true
		}
		o.groups[group][fields[i].member()] = i
	}
	return o
}

// Decode reads one object and nothing after it. Unknown names, names given
// twice, values of the wrong type and values out of range are all reported,
// each with its JSON pointer; null stands for absent.
func (o *Object[T]) Decode(text []byte) (T, error) {
	var v T
	j := &jsonReader{text: string(text)}
	o.read(j, &v, "")
	j.end()
	return v, j.errs.Err()
}

// read reads an object whose own pointer is at.
func (o *Object[T]) read(j *jsonReader, v *T, at string) {
	before := len(j.errs)
	given := make([]bool, len(o.fields))
	if c := j.peek(); c != '{' && c != 0 {
		j.mistyped(at, "an object")
		return
	}
	var opened []string
	j.object(func(name string) {
		if i, ok := o.groups[""][name]; ok {
			o.readField(j, v, at, i, given)
			return
		}
		members, ok := o.groups[name]
		if !ok || name == "" {
			j.unknown(at, name, o.names(""))
			return
		}
		group := at + "/" + name
		if slices.Contains(opened, name) {
			j.errs.Add(FieldError{Field: group, Err: ErrDuplicateField, Want: "each name once"})
		}
		opened = append(opened, name)
		switch c := j.peek(); c {
		case '{':
			j.object(func(member string) {
				if i, ok := members[member]; ok {
					o.readField(j, v, at, i, given)
					return
				}
				j.unknown(group, member, o.names(name))
			})
		case 'n':
			j.literal()
		default:
			j.mistyped(group, "an object")
		}
	})
	if len(j.errs) > before || o.finish == nil {
		return
	}
	for _, p := range o.finish(v) {
		p.Field = at + o.pointer(p.Field)
		j.errs.Add(p)
	}
}

// names returns the names that may stand in a group, or at the top.
func (o *Object[T]) names(group string) []string {
	var names []string
	for name := range o.groups[group] {
		names = append(names, name)
	}
	for name := range o.groups {
		if group == "" && name != "" {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// pointer turns the name of a column into the pointer of its member.
func (o *Object[T]) pointer(column string) string {
	for i := range o.fields {
		if o.fields[i].Name == column {
			return o.fields[i].Pointer()
		}
	}
	return "/" + column
}

// readField reads the value of field i.
func (o *Object[T]) readField(j *jsonReader, v *T, at string, i int, given []bool) {
	f := &o.fields[i]
	if given[i] {
		j.errs.Add(FieldError{Field: at + f.Pointer(), Err: ErrDuplicateField, Want: "each name once"})
	}
	given[i] = true
	text, want := j.scalar(f.Shape)
	if j.failed {
		return
	}
	if want == "" && text != "" {
		want = f.Parse(v, text)
	}
	if want != "" {
		j.errs.Add(FieldError{Field: at + f.Pointer(), Value: text, Want: want, Err: ErrOutOfRange})
	}
}

// scalar reads the value of a field of the shape given as the text that CSV
// would hold, nothing for null. Want says which type is allowed where the value
// has another; text is then the value as it is written.
func (j *jsonReader) scalar(shape Shape) (text, want string) {
	const (
		wantString = "a string"
		wantNumber = "a number"
		wantEither = "a number or a string"
		wantYesNo  = "yes or no"
		wantList   = "an array of strings"
	)
	allowed := [...]string{String: wantString, Number: wantNumber, Either: wantEither, YesNo: wantYesNo, List: wantList}[shape]
	switch c := j.peek(); {
	case c == '"':
		text = j.string()
		if shape == Number && looksNumeric(text) {
			return text, allowed + ", not a string"
		}
		return text, ""
	case c == '-' || c >= '0' && c <= '9':
		text = j.number()
		if shape == Number || shape == Either {
			return text, ""
		}
	case c == '[' && shape == List:
		return j.list()
	case c == '[' || c == '{':
		text = j.skip(0)
	default:
		text = j.literal()
		switch {
		case text == "null":
			return "", ""
		case shape == YesNo && text == "true":
			return yesNo[Yes], ""
		case shape == YesNo && text == "false":
			return yesNo[No], ""
		}
	}
	return text, allowed
}

// looksNumeric reports whether text starts as a number does.
func looksNumeric(text string) bool {
	return strings.IndexFunc(text, func(r rune) bool { return r >= '0' && r <= '9' }) >= 0 &&
		strings.ContainsRune("+-.0123456789\u2212 ", []rune(text)[0])
}

// list reads an array of strings into one text with spaces between.
func (j *jsonReader) list() (text, want string) {
	var words []string
	start := j.at
	j.array(func() {
		if j.peek() != '"' {
			want = "an array of strings"
			j.skip(1)
			return
		}
		word := j.string()
		if word == "" || strings.Contains(word, " ") {
			want = "an array of single words"
		}
		words = append(words, word)
	})
	if want != "" && !j.failed {
		return j.text[start:j.at], want
	}
	return strings.Join(words, " "), ""
}

// unknown reports a name that is no member of the object at the pointer, and
// passes over its value.
func (j *jsonReader) unknown(at, name string, names []string) {
	if j.skip(0); j.failed {
		return
	}
	j.errs.Add(FieldError{Field: at + "/" + pointerEscape.Replace(name), Err: ErrUnknownField, Want: nearest(name, names)})
}

// mistyped reports a value of the wrong type at the pointer, and passes over it.
func (j *jsonReader) mistyped(at, want string) {
	if text := j.skip(0); !j.failed {
		j.errs.Add(FieldError{Field: at, Value: text, Err: ErrOutOfRange, Want: want})
	}
}

// pointerEscape escapes a name in a JSON pointer (RFC 6901, section 3).
var pointerEscape = strings.NewReplacer("~", "~0", "/", "~1")

// Append appends v in canonical form: members in the order of the fields, no
// white space, absent members left out, strings escaped only where JSON asks
// for it (as in RFC 8785, section 3.2.2.2).
func (o *Object[T]) Append(dst []byte, v *T) []byte {
	dst = append(dst, '{')
	for i := range o.fields {
		group := o.fields[i].Group
		if group == "" {
			dst = o.appendMember(dst, v, i)
			continue
		}
		if !o.opens[i] {
			continue
		}
		start := len(dst)
		dst = append(appendName(dst, group), '{')
		empty := len(dst)
		for k := i; k < len(o.fields); k++ {
			if o.fields[k].Group == group {
				dst = o.appendMember(dst, v, k)
			}
		}
		if len(dst) == empty {
			dst = dst[:start]
			continue
		}
		dst = append(dst, '}')
	}
	return append(dst, '}')
}

// appendMember appends the name and the value of field i, nothing where it is
// absent.
func (o *Object[T]) appendMember(dst []byte, v *T, i int) []byte {
	f := &o.fields[i]
	begin := len(dst)
	dst = append(appendName(dst, f.member()), '"')
	start := len(dst)
	dst = f.Append(dst, v)
	text := dst[start:]
	switch {
	case len(text) == 0:
		return dst[:begin]
	case f.Shape == List:
		return appendWords(dst[:start-1], string(text))
	case (f.Shape == Number || f.Shape == Either) && (text[0] == '-' || text[0] >= '0' && text[0] <= '9'):
		return append(dst[:start-1], text...)
	case f.Free:
		return appendQuoted(dst[:start-1], string(text))
	}
	return append(dst, '"')
}

// appendName appends a member's name and a colon, and a comma before them
// unless they open an object.
func appendName(dst []byte, name string) []byte {
	if dst[len(dst)-1] != '{' {
		dst = append(dst, ',')
	}
	return append(appendQuoted(dst, name), ':')
}

// appendWords appends an array of the words in text.
func appendWords(dst []byte, text string) []byte {
	dst = append(dst, '[')
	for i, word := range strings.Fields(text) {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = appendQuoted(dst, word)
	}
	return append(dst, ']')
}

// appendQuoted appends s as a JSON string. What isn't UTF-8 becomes U+FFFD.
func appendQuoted(dst []byte, s string) []byte {
	dst = append(dst, '"')
	for i, r := range s {
		switch {
		case r == '"' || r == '\\':
			dst = append(dst, '\\', byte(r))
		case r < ' ':
			if e := strings.IndexByte("\b\f\n\r\t", byte(r)); e >= 0 {
				dst = append(dst, '\\', "bfnrt"[e])
				break
			}
			dst = append(dst, '\\', 'u', '0', '0', hexDigits[r>>4], hexDigits[r&15])
		case r < utf8.RuneSelf:
			dst = append(dst, s[i])
		default:
			dst = utf8.AppendRune(dst, r)
		}
	}
	return append(dst, '"')
}
