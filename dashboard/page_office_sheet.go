package dashboard

import (
	"bytes"
	"encoding/csv"
	"errors"
	"net/url"
	"slices"
	"strings"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// sheetLine is one line of a form to write on.
type sheetLine struct {
	// Name is the field's; ID tells it apart where a page has several forms.
	Name, ID, Label, Hint string
	// Kind is how it is written: text, date, month, number, file, area, select.
	Kind  string
	Value string
	// Wrong says what stood there, why it was refused and what is allowed.
	Wrong string
	// Choices are those of a select, and proposals for a text.
	Choices []choice
	Needed  bool
	// Fixed is shown and sent, and not to be changed.
	Fixed bool
}

// choice is one of the answers that a line offers.
type choice struct {
	Value, Text string
	Picked      bool
}

// written says how a line of a form is written; what isn't said is a text.
type written struct {
	name, kind    string
	label         string // the key of its label where it isn't the field's own
	choices       []choice
	needed, fixed bool
}

// sheet lays out the lines of a form: what stands on each, and what is wrong
// with it.
func (w words) sheet(id string, lines []written, values map[string]string, wrong assess.FieldErrors) []sheetLine {
	all := make([]sheetLine, len(lines))
	for i, l := range lines {
		line := sheetLine{
			Name: l.name, ID: id + "-" + l.name, Label: w.say(either(l.label, "office.field."+l.name)), Kind: l.kind,
			Value: values[l.name], Needed: l.needed, Fixed: l.fixed,
		}
		if line.Kind == "" {
			line.Kind = "text"
		}
		if hint := "office.hint." + l.name; w.has(hint) {
			line.Hint = w.say(hint)
		}
		for _, e := range wrong {
			if strings.TrimPrefix(e.Field, "/") == l.name {
				line.Wrong = e.Reason()
			}
		}
		for _, c := range l.choices {
			c.Picked = c.Value == line.Value
			line.Choices = append(line.Choices, c)
		}
		all[i] = line
	}
	return all
}

// choicesOf offers words of a closed list as they stand on screen; with none
// first, an empty one comes first.
func (w words) choicesOf(all []string, none ...string) []choice {
	var choices []choice
	for _, text := range none {
		choices = append(choices, choice{Text: text})
	}
	for _, word := range all {
		choices = append(choices, choice{Value: word, Text: w.word(word)})
	}
	return choices
}

// strayErrors says what is wrong with a form and stands on none of its lines.
func strayErrors(wrong assess.FieldErrors, lines []sheetLine) string {
	var stray []string
	for _, e := range wrong {
		name := strings.TrimPrefix(e.Field, "/")
		if slices.ContainsFunc(lines, func(l sheetLine) bool { return l.Name == name }) {
			continue
		}
		text := e.Reason()
		if name != "" {
			text = name + ": " + text
		}
		stray = append(stray, text)
	}
	return strings.Join(stray, "; ")
}

// readSheet reads a record from a posted form as a row of its CSV is read, so
// that a page and an import refuse the same.
func readSheet[T any](f retail.Format[T], posted url.Values) (T, error) {
	var (
		v   T
		row bytes.Buffer
	)
	columns := f.CSV.Columns()
	values := make([]string, len(columns))
	for i, name := range columns {
		values[i] = strings.TrimSpace(strings.Join(posted[name], " "))
	}
	out := csv.NewWriter(&row)
	if err := errors.Join(out.Write(columns), out.Write(values)); err != nil {
		return v, err
	}
	out.Flush()
	d, err := f.CSV.Decoder(&row)
	if err != nil {
		return v, err
	}
	err = d.Decode(&v)
	return v, err
}

// writeSheet returns what stands on the lines of a stored record.
func writeSheet[T any](f retail.Format[T], v *T) map[string]string {
	values := make(map[string]string, len(f.Fields))
	for i := range f.Fields {
		values[f.Fields[i].Name] = string(f.Fields[i].Append(nil, v))
	}
	return values
}

// typed returns what was typed into a form, so that nothing is lost with an
// error.
func typed(posted url.Values) map[string]string {
	values := make(map[string]string, len(posted))
	for name, all := range posted {
		values[name] = strings.Join(all, " ")
	}
	return values
}

// errTaken marks a code for something new that something else has.
var errTaken = errors.New("taken already")

// taken refuses a code that is taken: what is there is changed on its own form,
// never by a form for something new.
func taken(field, code string) error {
	return assess.FieldError{Field: field, Value: code, Want: "a code that nothing here has", Err: errTaken}
}

// wrongFieldsOf returns what an error says of the fields of a form; ok is false
// where it is about something else.
func wrongFieldsOf(err error) (wrong assess.FieldErrors, ok bool) {
	if errs, ok := errors.AsType[assess.FieldErrors](err); ok {
		return errs, true
	}
	if one, ok := errors.AsType[assess.FieldError](err); ok {
		return assess.FieldErrors{one}, true
	}
	return nil, false
}

// refusal tells a form that is to be shown again, with what is wrong, from a
// failure: wrong are the fields, why is a text for what stands on no field.
func (w words) refusal(err error) (wrong assess.FieldErrors, why string, ok bool) {
	if wrong, ok := wrongFieldsOf(err); ok {
		return wrong, "", true
	}
	if errors.Is(err, models.ErrConflict) {
		return nil, w.say("office.conflict", "why", conflictReason(err)), true
	}
	return nil, "", false
}

// conflictReason is what a verb of models says about a conflict, which is
// written for people: the text between what it was doing and the sentinel.
func conflictReason(err error) string {
	text := strings.TrimSuffix(err.Error(), ": "+models.ErrConflict.Error())
	if _, after, ok := strings.Cut(text, ": "); ok {
		text = after
	}
	return text
}

// encodeQuery writes a query of pairs of name and value, leaving out the empty.
func encodeQuery(pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			q.Set(pairs[i], pairs[i+1])
		}
	}
	return q.Encode()
}
