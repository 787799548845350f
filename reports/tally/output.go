package tally

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
)

type field struct {
	key   string
	value any
}

// object is a JSON object with its keys in order. Why, which says what is
// undefined and why, comes last.
type object struct {
	fields []field
	why    []string
}

func (o *object) set(key string, value any) { o.fields = append(o.fields, field{key, value}) }

// spread adds the fields of a result, or null for each key where it has none.
// A fault is handed back.
func (o *object) spread(result any, err error, keys ...string) error {
	if err != nil {
		why, fault := reason(err)
		if fault != nil {
			return fault
		}
		for _, key := range keys {
			o.set(key, nil)
		}
		o.why = append(o.why, why)
		return nil
	}
	raw, err := json.Marshal(result)
	if err != nil {
		return err
	}
	inner, err := ordered(raw)
	if err != nil {
		return err
	}
	for _, f := range inner.fields {
		if f.key == "why" {
			var why string
			if err := json.Unmarshal(f.value.(json.RawMessage), &why); err != nil {
				return err
			}
			o.why = append(o.why, why)
			continue
		}
		o.fields = append(o.fields, f)
	}
	return nil
}

// put sets one key to a result, or to null with the reason as why.
func (o *object) put(key string, result any, err error) error {
	if err == nil {
		o.set(key, result)
		return nil
	}
	why, fault := reason(err)
	if fault != nil {
		return fault
	}
	o.set(key, nil)
	o.why = append(o.why, key+": "+why)
	return nil
}

// appendJSON appends the object to b.
func (o object) appendJSON(b []byte) ([]byte, error) {
	fields := o.fields
	if len(o.why) > 0 {
		fields = append(fields[:len(fields):len(fields)], field{"why", strings.Join(o.why, "; ")})
	}
	b = append(b, '{')
	for i, f := range fields {
		if i > 0 {
			b = append(b, ',')
		}
		var err error
		if b, err = appendValue(b, f.key); err != nil {
			return nil, err
		}
		if b, err = appendValue(append(b, ':'), f.value); err != nil {
			return nil, fmt.Errorf("%s: %w", f.key, err)
		}
	}
	return append(b, '}'), nil
}

func appendValue(b []byte, value any) ([]byte, error) {
	switch v := value.(type) {
	case object:
		return v.appendJSON(b)
	case []object:
		b = append(b, '[')
		for i, o := range v {
			if i > 0 {
				b = append(b, ',')
			}
			var err error
			if b, err = o.appendJSON(b); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	case json.RawMessage:
		return append(b, v...), nil
	}
	text, err := json.Marshal(value)
	return append(b, text...), err
}

// undefined says why a number may be missing, where stats leaves it to the key.
var undefined = map[string]string{
	"se":           "no pair is left, so the share has no standard error",
	"low":          "no pair is left, so the share has no interval",
	"high":         "no pair is left, so the share has no interval",
	"right":        "the interval has no end: it lies beyond the data",
	"p_exact_se":   "the p-value is exact",
	"first_signal": "the chart does not signal",
	"value":        "no pair was counted",
	"centre":       "no pair was counted",
	"odds_ratio":   "one margin of the table is empty",
	"odds_low":     "one margin of the table is empty",
	"odds_high":    "the odds have no upper limit",
	"tau_b":        "all values are equal",
	"confusion":    "the rater met no item of that level",
	"categories":   "a level that nobody, or everybody, gave",
	"median":       "half of the pairs are not seen to fail",
}

// explained puts a why beside every null of a compact JSON text that has none.
func explained(text []byte) []byte {
	if !bytes.Contains(text, []byte("null")) {
		return text
	}
	type frame struct {
		key          string // of the value being read; arrays have none
		object, told bool
		wantsKey     bool
		missing      []string
	}
	out := make([]byte, 0, len(text)+len(text)/8)
	var open []frame
	for i := 0; i < len(text); i++ {
		c := text[i]
		switch c {
		case '{', '[':
			open = append(open, frame{object: c == '{', wantsKey: c == '{'})
		case '}', ']':
			if last := open[len(open)-1]; len(last.missing) > 0 && !last.told {
				out = append(out, `,"why":"`+whyOf(last.missing)+`"`...)
			}
			open = open[:len(open)-1]
		case ',':
			open[len(open)-1].wantsKey = open[len(open)-1].object
		case '"':
			end := i + 1
			for ; text[end] != '"'; end++ {
				if text[end] == '\\' {
					end++
				}
			}
			if last := &open[len(open)-1]; last.wantsKey {
				last.key, last.wantsKey = string(text[i+1:end]), false
				last.told = last.told || last.key == "why"
			}
			out = append(out, text[i:end]...)
			i = end
		case 'n': // of null: every other word stands in quotes or lacks the letter
			for k := len(open) - 1; k >= 0; k-- {
				if open[k].object {
					if !slices.Contains(open[k].missing, open[k].key) {
						open[k].missing = append(open[k].missing, open[k].key)
					}
					break
				}
			}
		}
		out = append(out, text[i])
	}
	return out
}

func whyOf(missing []string) string {
	all := make([]string, len(missing))
	for i, key := range missing {
		why, known := undefined[key]
		if !known {
			why = "it has no value for these rows"
		}
		all[i] = key + ": " + why
	}
	return strings.Join(all, "; ")
}

// ordered reads a JSON object without losing the order of its keys.
func ordered(raw []byte) (object, error) {
	var o object
	d := json.NewDecoder(bytes.NewReader(raw))
	if _, err := d.Token(); err != nil {
		return o, err
	}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return o, err
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return o, err
		}
		o.set(key.(string), value)
	}
	return o, nil
}

// print writes the result for people: a line for each number, a table for each
// list of objects.
func (r *Result) print(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if err := printValue(t, "", "", r.text); err != nil {
		return err
	}
	return t.Flush()
}

func printValue(w io.Writer, indent, key string, raw json.RawMessage) error {
	switch {
	case raw[0] == '{':
		inner, err := ordered(raw)
		if err != nil {
			return err
		}
		if len(inner.fields) == 0 {
			return nil
		}
		if key != "" {
			fmt.Fprintf(w, "%s%s\n", indent, key)
			indent += "  "
		}
		for _, f := range inner.fields {
			if err := printValue(w, indent, f.key, f.value.(json.RawMessage)); err != nil {
				return err
			}
		}
		return nil
	case bytes.HasPrefix(raw, []byte("[{")):
		return printRows(w, indent, key, raw)
	}
	fmt.Fprintf(w, "%s%s\t%s\n", indent, key, plain(raw))
	return nil
}

// printRows writes a list of objects as a table where all their values are
// plain, else one after the other.
func printRows(w io.Writer, indent, key string, raw json.RawMessage) error {
	var items []json.RawMessage
	if err := json.Unmarshal(raw, &items); err != nil {
		return err
	}
	fmt.Fprintf(w, "%s%s\n", indent, key)
	indent += "  "
	heading := ""
	for _, item := range items {
		row, err := ordered(item)
		if err != nil {
			return err
		}
		var names, values []string
		nested := false
		for _, f := range row.fields {
			value := f.value.(json.RawMessage)
			nested = nested || value[0] == '{' || value[0] == '['
			names, values = append(names, f.key), append(values, plain(value))
		}
		if nested {
			if err := printValue(w, indent, "", item); err != nil {
				return err
			}
			continue
		}
		if line := strings.Join(names, "\t"); line != heading {
			heading = line
			fmt.Fprintf(w, "%s%s\n", indent, line)
		}
		fmt.Fprintf(w, "%s%s\n", indent, strings.Join(values, "\t"))
	}
	return nil
}

// plain shows a value without quotes, an undefined one as a dash, a number that
// is not whole to six digits.
func plain(raw json.RawMessage) string {
	var s string
	if json.Unmarshal(raw, &s) == nil && raw[0] == '"' {
		return s
	}
	var f float64
	if string(raw) == "null" {
		return "–"
	}
	if bytes.ContainsAny(raw, ".e") && json.Unmarshal(raw, &f) == nil {
		return fmt.Sprintf("%.6g", f)
	}
	return string(raw)
}
