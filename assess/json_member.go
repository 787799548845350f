package assess

import (
	"slices"
	"strconv"
)

// member is one member of the JSON of a T: how to read and to write its value.
// Objects of members are for what nests, unlike those of fields: rule sets and
// other tables kept as JSON.
type member[T any] struct {
	name string
	// needed says that the member must be there.
	needed bool
	read   func(j *jsonReader, at string, v *T)
	// write appends the value, nothing where it is absent. It is nil in objects
	// that are only read.
	write func(dst []byte, v *T) []byte
}

// need returns m as a member that must be there.
func need[T any](m member[T]) member[T] {
	m.needed = true
	return m
}

// readMembers reads an object; at is its JSON pointer.
func readMembers[T any](j *jsonReader, at string, members []member[T], v *T) {
	if j.peek() != '{' {
		j.mistyped(at, "an object")
		return
	}
	names := make([]string, len(members))
	for i := range members {
		names[i] = members[i].name
	}
	given := make([]bool, len(members))
	j.object(func(name string) {
		i := slices.Index(names, name)
		if i < 0 {
			j.unknown(at, name, names)
			return
		}
		if given[i] {
			j.errs.Add(FieldError{Field: at + "/" + name, Err: ErrDuplicateField, Want: "each name once"})
		}
		given[i] = true
		members[i].read(j, at+"/"+name, v)
	})
	for i := range members {
		if members[i].needed && !given[i] && !j.failed {
			j.errs.Add(FieldError{Field: at + "/" + names[i], Err: ErrMissingField})
		}
	}
}

// writeMembers appends an object.
func writeMembers[T any](dst []byte, members []member[T], v *T) []byte {
	dst = append(dst, '{')
	for i := range members {
		if members[i].write == nil {
			continue
		}
		begin := len(dst)
		dst = appendName(dst, members[i].name)
		start := len(dst)
		if dst = members[i].write(dst, v); len(dst) == start {
			dst = dst[:begin]
		}
	}
	return append(dst, '}')
}

// decodeMembers reads one object and nothing after it; the error is a
// FieldErrors.
func decodeMembers[T any](text []byte, members []member[T]) (*T, error) {
	v, j := new(T), &jsonReader{text: string(text)}
	readMembers(j, "", members, v)
	j.end()
	if err := j.errs.Err(); err != nil {
		return nil, err
	}
	return v, nil
}

// scalarMember makes a member whose value is one string or number. Parse stores
// its text and returns what would have been allowed.
func scalarMember[T any](name string, shape Shape, parse func(v *T, text string) (want string), write func(dst []byte, v *T) []byte) member[T] {
	return member[T]{
		name: name, write: write,
		read: func(j *jsonReader, at string, v *T) {
			text, want := j.scalar(shape)
			if j.failed {
				return
			}
			if want == "" && text != "" {
				want = parse(v, text)
			}
			if want != "" {
				j.errs.Add(FieldError{Field: at, Value: text, Want: want, Err: ErrOutOfRange})
			}
		},
	}
}

// textMember makes a member of plain text, absent when empty.
func textMember[T any](name string, at func(*T) *string) member[T] {
	parse := func(v *T, text string) string {
		if !plainText(text, maxReason) {
			return "plain text of at most " + strconv.Itoa(maxReason) + " characters on one line"
		}
		*at(v) = text
		return ""
	}
	return scalarMember(name, String, parse, func(dst []byte, v *T) []byte {
		if s := *at(v); s != "" {
			dst = appendQuoted(dst, s)
		}
		return dst
	})
}

// wordMember makes a member of a closed list; an empty word is absent.
func wordMember[T any, E ~uint8](name string, words []string, at func(*T) *E) member[T] {
	parse := func(v *T, text string) string {
		i := slices.Index(words, text)
		if i < 0 {
			return oneOf(words)
		}
		*at(v) = E(i)
		return ""
	}
	return scalarMember(name, String, parse, func(dst []byte, v *T) []byte {
		if i := int(*at(v)); i < len(words) && words[i] != "" {
			dst = appendQuoted(dst, words[i])
		}
		return dst
	})
}

// numberMember makes a member of a number with decimals, absent when 0.
func numberMember[T any, N ~int | ~int32 | ~int64](name string, decimals int, at func(*T) *N) member[T] {
	parse := func(v *T, text string) string {
		n, ok := parseDecimal(text, decimals, false)
		if !ok {
			return [...]string{"a whole number", "a number with at most 1 decimal", "a number with at most 2 decimals"}[decimals]
		}
		*at(v) = N(n)
		return ""
	}
	return scalarMember(name, Number, parse, func(dst []byte, v *T) []byte {
		if n := *at(v); n != 0 {
			dst = appendDecimal(dst, int(n), decimals)
		}
		return dst
	})
}

// flagMember makes a member that is true, or absent.
func flagMember[T any](name string, at func(*T) *bool) member[T] {
	return member[T]{
		name: name,
		read: func(j *jsonReader, where string, v *T) {
			switch j.peek() {
			case 't', 'f', 'n':
				*at(v) = j.literal() == "true"
			default:
				j.mistyped(where, "true or false")
			}
		},
		write: func(dst []byte, v *T) []byte {
			if *at(v) {
				dst = append(dst, "true"...)
			}
			return dst
		},
	}
}

// listMember makes a member that is an array, absent when empty. Each value is
// read and written by one.
func listMember[T, E any](name string, at func(*T) *[]E, one member[E]) member[T] {
	return member[T]{
		name: name,
		read: func(j *jsonReader, where string, v *T) {
			if j.peek() != '[' {
				j.mistyped(where, "an array")
				return
			}
			l := at(v)
			j.array(func() {
				var e E
				place, before := where+"/"+strconv.Itoa(len(*l)), len(j.errs)
				one.read(j, place, &e)
				if !j.failed && len(j.errs) == before && len(one.write(nil, &e)) == 0 {
					j.errs.Add(FieldError{Field: place, Err: ErrMissingField})
				}
				*l = append(*l, e)
			})
		},
		write: func(dst []byte, v *T) []byte {
			for i := range *at(v) {
				dst = append(dst, "[,"[min(i, 1)])
				dst = one.write(dst, &(*at(v))[i])
			}
			if len(*at(v)) > 0 {
				dst = append(dst, ']')
			}
			return dst
		},
	}
}

// rowMember makes a member that is an object of its own.
func rowMember[T, R any](name string, at func(*T) *R, members []member[R]) member[T] {
	return member[T]{
		name:  name,
		read:  func(j *jsonReader, where string, v *T) { readMembers(j, where, members, at(v)) },
		write: func(dst []byte, v *T) []byte { return writeMembers(dst, members, at(v)) },
	}
}

// itself returns v: the place of a value that is an element of an array.
func itself[T any](v *T) *T { return v }

// wordsMember makes a member that is an array of words.
func wordsMember[T any](name string, at func(*T) *[]string) member[T] {
	return listMember(name, at, textMember("", itself[string]))
}

// rowsMember makes a member that is an array of objects.
func rowsMember[T, R any](name string, at func(*T) *[]R, members []member[R]) member[T] {
	return listMember(name, at, rowMember("", itself[R], members))
}
