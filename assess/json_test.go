package assess

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestJSONRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyRecord().Draw(t, "record")
		text := AppendJSON(nil, &want)
		if !json.Valid(text) {
			t.Fatalf("not JSON: %s", text)
		}
		got, err := DecodeJSON(text)
		if err != nil {
			t.Fatalf("%v\nin %s", err, text)
		}
		if got != want {
			t.Fatalf("decoded\n%+v\nfrom\n%+v", got, want)
		}
		if again := AppendJSON(nil, &got); !bytes.Equal(again, text) {
			t.Fatalf("encoded again\n%s\nat first\n%s", again, text)
		}
	})
}

// What JSON says and what CSV says is the same reading.
func TestJSONAndCSVAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRecord().Draw(t, "record")
		fromJSON, err := DecodeJSON(AppendJSON(nil, &r))
		if err != nil {
			t.Fatal(err)
		}
		d, err := NewCSVDecoder(bytes.NewReader(AppendCSV(AppendCSVHeader(nil), &fromJSON)))
		if err != nil {
			t.Fatal(err)
		}
		var fromCSV Record
		if err := d.Decode(&fromCSV); err != nil || fromCSV != r {
			t.Fatalf("by way of JSON and CSV\n%+v, %v\nwant\n%+v", fromCSV, err, r)
		}
	})
}

// The same body in another order, with white space and through another
// encoder, is the same reading.
func TestCanonicalDoesNotSeeHowItWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRecord().Draw(t, "record")
		var tree map[string]any
		if err := json.Unmarshal(AppendJSON(nil, &r), &tree); err != nil {
			t.Fatal(err)
		}
		sorted, err := json.MarshalIndent(tree, "\t", "  ")
		if err != nil {
			t.Fatal(err)
		}
		got, err := DecodeJSON(sorted)
		if err != nil {
			t.Fatalf("%v\nin %s", err, sorted)
		}
		if !bytes.Equal(Canonical(&got), Canonical(&r)) {
			t.Fatalf("canonical\n%s\nwant\n%s", Canonical(&got), Canonical(&r))
		}
	})
}

func TestCanonicalDoesNotSeeAliases(t *testing.T) {
	a := `{"store":"A","at":"2026-10-05T16:03:00+02:00","kind":"Trade_In","km":512.0,
		"left":{"heel_medial":"thin","flex":3,"posture":-5,"tilt":-4.005,"stand":"LEANS-IN"},"flex_side":"left clearly easier",
		"flags":"no-model clock-off","received_at":"2026-10-05T14:03:01Z","note":"\u0061 \ud83d\udc5f","batch":null}`
	b := `{"note":"a 👟","flex_side":"−2","left":{"stand":"leans in","tilt":-4.01,"posture":"highly supinated","flex":"floppy","heel_medial":3},
		"km":512,"kind":"trade-in","at":"2026-10-05T14:03:00Z","store":"A"}`
	ra, errA := DecodeJSON([]byte(a))
	rb, errB := DecodeJSON([]byte(b))
	if err := errors.Join(errA, errB); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(Canonical(&ra), Canonical(&rb)) {
		t.Errorf("canonical\n%s\nand\n%s", Canonical(&ra), Canonical(&rb))
	}
	if ra.ReceivedAt.IsZero() || ra.Flags == 0 {
		t.Error("what Canonical leaves out is gone from the record")
	}
	want := `{"store":"A","at":"2026-10-05T14:03:00Z","kind":"trade-in","left":{"posture":"highly supinated","heel_medial":3,"stand":"leans in","tilt":-4.01,"flex":"floppy"},"km":512,"flex_side":-2,"note":"a 👟"}`
	if got := string(Canonical(&ra)); got != want {
		t.Errorf("canonical\n%s\nwant\n%s", got, want)
	}
}

func TestCanonicalSeesWhatWasSaid(t *testing.T) {
	base := typicalRecord()
	for name, change := range map[string]func(*Record){
		"a grade":            func(r *Record) { r.Shoe[Left][HeelMedial] = Of(4) },
		"a grade left out":   func(r *Record) { r.Shoe[Left][HeelMedial] = Unread },
		"why it can't":       func(r *Record) { r.Shoe[Left][HeelMedial] = CantWet },
		"the verdict given":  func(r *Record) { r.Given = ReplacePair },
		"the advised":        func(r *Record) { r.Advised = NoVerdict },
		"the instant":        func(r *Record) { r.At = r.At.Add(time.Microsecond) },
		"the note":           func(r *Record) { r.Note = "x" },
		"the pair's columns": func(r *Record) { r.SetPair(FlexSide, Of(2)) },
	} {
		other := base
		change(&other)
		if bytes.Equal(Canonical(&other), Canonical(&base)) {
			t.Errorf("%s changes nothing", name)
		}
	}
}

func TestDecodeJSONRefuses(t *testing.T) {
	for _, tt := range []struct {
		name, text, pointer, want string
		err                       error
	}{
		{"a grade beyond 4", `{"left":{"heel_medial":5}}`, "/left/heel_medial", "a grade 0–4", ErrOutOfRange},
		{"a grade of half a step", `{"left":{"heel_medial":1.5}}`, "/left/heel_medial", "a grade 0–4", ErrOutOfRange},
		{"a grade that is true", `{"right":{"heel_medial":true}}`, "/right/heel_medial", "a number or a string", ErrOutOfRange},
		{"a measure in a string", `{"left":{"tilt":"4.5"}}`, "/left/tilt", "a number", ErrOutOfRange},
		{"a word as a number", `{"left":{"stand":1}}`, "/left/stand", "a string", ErrOutOfRange},
		{"a code as a number", `{"store":7}`, "/store", "a string", ErrOutOfRange},
		{"a word in an array", `{"kind":["blind"]}`, "/kind", "a string", ErrOutOfRange},
		{"a number of powers", `{"km":1e2}`, "/km", "0 to 99999.9", ErrOutOfRange},
		{"flags that are no words", `{"flags":[1]}`, "/flags", "an array of strings", ErrOutOfRange},
		{"two flags in one string of an array", `{"flags":["no-model clock-off"]}`, "/flags", "single words", ErrOutOfRange},
		{"flags in an object", `{"flags":{}}`, "/flags", "an array of strings", ErrOutOfRange},
		{"left that is no object", `{"left":[]}`, "/left", "an object", ErrOutOfRange},
		{"an unknown name", `{"stroe":"A"}`, "/stroe", "store?", ErrUnknownField},
		{"an unknown name of a shoe", `{"left":{"heel_medal":1}}`, "/left/heel_medal", "heel_medial?", ErrUnknownField},
		{"a CSV prefix", `{"l_heel_medial":1}`, "/l_heel_medial", "", ErrUnknownField},
		{"a member of the pair in a shoe", `{"left":{"hygiene":"clean"}}`, "/left/hygiene", "", ErrUnknownField},
		{"an unknown name with a slash", `{"a/b~c":1}`, "/a~1b~0c", "", ErrUnknownField},
		{"a name twice", `{"store":"A","store":"A"}`, "/store", "each name once", ErrDuplicateField},
		{"a name twice, once escaped", `{"store":"A","\u0073tore":"A"}`, "/store", "each name once", ErrDuplicateField},
		{"a shoe twice", `{"left":{},"left":{}}`, "/left", "each name once", ErrDuplicateField},
		{"a member of a shoe twice", `{"left":{"bond":"parted","bond":null}}`, "/left/bond", "each name once", ErrDuplicateField},
		{"what doesn't fit", `{"right":{"tilt_u":1}}`, "/right/tilt_u", "tilt beside it", ErrInconsistent},
		{"a body that is no object", `[]`, "", "an object", ErrOutOfRange},
		{"bytes after the body", `{} {}`, "", "byte 4", ErrMalformed},
		{"no body", ``, "", "byte 1", ErrMalformed},
		{"a body that breaks off", `{"store":"A"`, "", "byte 13", ErrMalformed},
		{"a comma too many", `{"store":"A",}`, "", "byte 14", ErrMalformed},
		{"a leading zero", `{"km":01}`, "", "byte 8", ErrMalformed},
		{"a lone surrogate", `{"note":"\ud83d"}`, "", "an escape", ErrMalformed},
		{"a surrogate without its other half", `{"note":"\ud83dx"}`, "", "an escape", ErrMalformed},
		{"half a surrogate pair of two first halves", `{"note":"\ud83d\ud83d"}`, "", "an escape", ErrMalformed},
		{"an escape of letters that are no digits", `{"note":"\u00zz"}`, "", "an escape", ErrMalformed},
		{"an escape that breaks off", `{"note":"\u00`, "", "an escape", ErrMalformed},
		{"an escape at the very end", `{"note":"\`, "", "an escape", ErrMalformed},
		{"a string that breaks off after an escape", `{"note":"\n`, "", "the end of a string", ErrMalformed},
		{"a bare control character after an escape", "{\"note\":\"\\n\t\"}", "", "no control character", ErrMalformed},
		{"text that isn't UTF-8 after an escape", "{\"note\":\"\\n\xff\"}", "", "UTF-8", ErrMalformed},
		{"a name that is no string", `{store:"A"}`, "", "a name in quotes", ErrMalformed},
		{"a number that breaks off", `{"km":-}`, "", "a digit", ErrMalformed},
		{"a word that is none of JSON", `{"km":nil}`, "", "a value", ErrMalformed},
		{"text that isn't UTF-8", "{\"note\":\"a\xff\"}", "", "UTF-8", ErrMalformed},
		{"a bare control character", "{\"note\":\"a\tb\"}", "", "no control character", ErrMalformed},
		{"an escaped control character", `{"note":"a\tb"}`, "/note", "plain text", ErrOutOfRange},
		{"nesting without end", `{"x":` + strings.Repeat("[", 1000), "", "no deeper nesting", ErrMalformed},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := DecodeJSON([]byte(tt.text))
			errs, ok := errors.AsType[FieldErrors](err)
			if !ok || len(errs) != 1 {
				t.Fatalf("error %v, want one", err)
			}
			if e := errs[0]; e.Field != tt.pointer || !strings.Contains(e.Want, tt.want) || !errors.Is(err, tt.err) {
				t.Errorf("%+v, want %q at %q", e, tt.want, tt.pointer)
			}
		})
	}
	t.Run("all problems at once", func(t *testing.T) {
		_, err := DecodeJSON([]byte(`{"stroe":"A","left":{"heel_medial":7,"stand":"odd"},"flags":["a"],"at":"now"}`))
		var got []string
		errs, _ := errors.AsType[FieldErrors](err)
		for _, e := range errs {
			got = append(got, e.Field)
		}
		if want := []string{"/stroe", "/left/heel_medial", "/left/stand", "/flags", "/at"}; !slices.Equal(got, want) {
			t.Errorf("pointers %q, want %q", got, want)
		}
	})
}

func TestDecodeJSONAccepts(t *testing.T) {
	for _, tt := range []struct{ name, text, canonical string }{
		{"an empty reading", ` { } `, `{}`},
		{"null for absent", `{"store":null,"left":null,"right":{"bond":null},"flags":null}`, `{}`},
		{"empty strings for absent", `{"store":"","right":{"bond":""},"flags":[]}`, `{}`},
		{"a zone that can't be read", `{"left":{"heel_medial":"X"}}`, `{"left":{"heel_medial":"x"}}`},
		{"a measure that can't be read", `{"left":{"tilt":"cant:wet"}}`, `{"left":{"tilt":"cant:wet"}}`},
		{"yes as true", `{"pain_mentioned":true,"gait_before":false}`, `{"gait_before":"no","pain_mentioned":"yes"}`},
		{"zones of an edge", `{"left":{"toe_medial":2,"heel_medial":1,"edge":["toe_medial","heel_medial"]}}`, `{"left":{"heel_medial":1,"toe_medial":2,"edge":["heel_medial","toe_medial"]}}`},
		{"escapes", `{"note":"\"\\\/\u00e9 \ud83d\udc5f"}`, `{"note":"\"\\/é 👟"}`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := DecodeJSON([]byte(tt.text))
			if err != nil {
				t.Fatal(err)
			}
			if got := string(AppendJSON(nil, &r)); got != tt.canonical {
				t.Errorf("written %s, want %s", got, tt.canonical)
			}
		})
	}
}

// The strings that are written are read by another reader as they were.
func TestAppendQuoted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.String().Draw(t, "string")
		var got string
		if err := json.Unmarshal(appendQuoted(nil, want), &got); err != nil || got != want {
			t.Fatalf("%q written %s", want, appendQuoted(nil, want))
		}
	})
	if got := string(appendQuoted(nil, "\x00\x1f\b\n\x7f\xff<")); got != "\"\\u0000\\u001f\\b\\n\x7f\ufffd<\"" {
		t.Errorf("control characters written %s", got)
	}
}

// FuzzJSONReader holds the reader against encoding/json: it takes a subset of
// what that takes, and reads it alike.
func FuzzJSONReader(f *testing.F) {
	for _, seed := range []string{
		`{"a":[1,-0.5e+3,true,false,null,"x\u00e9\n"],"b":{}}`, `01`, `"\ud800"`, `[1,]`, `{"a"}`, "\"\x01\"", ` 1 `, `-`, `1.`, `1e`, `nul`, `"\x"`,
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		j := &jsonReader{text: text}
		raw := j.skip(0)
		j.end()
		if j.failed {
			return
		}
		if !json.Valid([]byte(text)) || !json.Valid([]byte(raw)) {
			t.Fatalf("%q was read", text)
		}
		if j.text[:1] != `"` {
			return
		}
		j = &jsonReader{text: text}
		var want string
		if err := json.Unmarshal([]byte(text), &want); err != nil || j.string() != want {
			t.Fatalf("%q was read as %q", text, want)
		}
	})
}

// FuzzDecodeJSON: what is taken survives a way out and in again unchanged.
func FuzzDecodeJSON(f *testing.F) {
	r := typicalRecord()
	f.Add(AppendJSON(nil, &r))
	f.Add([]byte(`{"left":{"heel_medial":"x","tilt":-4.005,"edge":"toe_medial"},"second_reader":"A","second_on":["stand"],"flags":"no-model"}`))
	f.Add([]byte(`{"at":"2026-02-31T00:00:00Z","km":1e3,"note":"\ud83d\udc5f","store":null}`))
	f.Add([]byte(`{"right":{"posture":-13},"right":[]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := DecodeJSON(text)
		if err != nil {
			if errs, ok := errors.AsType[FieldErrors](err); !ok || len(errs) == 0 {
				t.Fatalf("error of type %v", reflect.TypeOf(err))
			}
			return
		}
		if !json.Valid(text) {
			t.Fatalf("took what is no JSON: %q", text)
		}
		again, err := DecodeJSON(AppendJSON(nil, &r))
		if err != nil || again != r {
			t.Fatalf("%s\n%v", AppendJSON(nil, &r), err)
		}
	})
}

func BenchmarkDecodeJSON(b *testing.B) {
	r := typicalRecord()
	text := AppendJSON(nil, &r)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := DecodeJSON(text); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAppendJSON(b *testing.B) {
	r := typicalRecord()
	var buf []byte
	b.ReportAllocs()
	for b.Loop() {
		buf = AppendJSON(buf[:0], &r)
	}
}
