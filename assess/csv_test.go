package assess

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// decodeCSV reads all rows, and fails where one is bad.
func decodeCSV(t testing.TB, text []byte) []Record {
	t.Helper()
	d, err := NewCSVDecoder(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	var rows []Record
	for {
		var r Record
		err := d.Decode(&r)
		if err == io.EOF {
			return rows
		}
		if err != nil {
			t.Fatalf("%v\nin %s", err, text)
		}
		rows = append(rows, r)
	}
}

// oneRow decodes a row that has only the columns given.
func oneRow(columns, row string) (Record, error) {
	d, err := NewCSVDecoder(strings.NewReader(columns + "\n" + row + "\n"))
	if err != nil {
		return Record{}, err
	}
	var r Record
	err = d.Decode(&r)
	return r, err
}

func TestCSVColumns(t *testing.T) {
	zones := "heel_medial heel_centre heel_lateral mid_medial mid_lateral fore_medial fore_centre fore_lateral toe_medial toe_lateral"
	rest := "press_heel press_heel_at press_fore press_fore_at stand tilt tilt_u tilt_by tilt_n tilt_yaw lining squeeze bond mesh creases rubber insert flex torsion flex_deg torsion_deg shore_outsole asker_midsole edge"
	want := strings.Fields("inspection_id pair_ref store staff device at kind brand model version size_label size_mm runner gait gait_by gait_before l_posture r_posture strike surface used_for km km_unit km_source bought_on batch setup")
	for _, prefix := range []string{"l_", "r_"} {
		for _, z := range strings.Fields(zones) {
			want = append(want, prefix+z)
		}
		for _, z := range strings.Fields(zones) {
			want = append(want, prefix+z+"_mm")
		}
		for _, c := range strings.Fields(rest) {
			want = append(want, prefix+c)
		}
	}
	want = append(want, strings.Fields("load_n flex_side flex_again torsion_side torsion_again second_reader second_says second_on hygiene pain_mentioned advised given given_reason rules flags note supersedes voided_at void_reason received_at amend_reason")...)
	if !slices.Equal(CSVColumns, want) {
		t.Errorf("columns\n%q\nwant the order of the contract\n%q", CSVColumns, want)
	}
}

func TestCSVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyRecord().Draw(t, "record")
		text := AppendCSV(AppendCSVHeader(nil), &want)
		if fields := recordTable.Append(AppendCSVHeader(nil), &want); !bytes.Equal(fields, text) {
			t.Fatalf("a row\n%s\nfield by field\n%s", text, fields)
		}
		d, err := NewCSVDecoder(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		var got Record
		if err := d.Decode(&got); err != nil {
			t.Fatalf("%v\nin %s", err, text)
		}
		if got != want {
			t.Fatalf("decoded\n%+v\nfrom\n%+v", got, want)
		}
		if again := AppendCSV(AppendCSVHeader(nil), &got); !bytes.Equal(again, text) {
			t.Fatalf("encoded again\n%s\nat first\n%s", again, text)
		}
		if err := d.Decode(&got); err != io.EOF {
			t.Fatalf("after the last row: %v", err)
		}
	})
}

// Source: a law. A row that is filled with what was taken out of its reading is the
// row of all of it.
func TestCSVFilledLaterIsCSVOfAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := anyRecord().Draw(t, "record")
		want := AppendCSV(nil, &all)
		first := all
		var later Reading
		take := func(f Foot, c Col) {
			if rapid.Bool().Draw(t, "later") {
				later.Set(f, c, first.Get(f, c))
				first.Set(f, c, Unread)
			}
		}
		for c := range NumShoe {
			take(Left, c)
			take(Right, c)
		}
		for c := LoadN; c <= TorsionAgain; c++ {
			take(Both, c)
		}
		if got := FillCSV([]byte("before"), AppendCSV(nil, &first), &later); string(got) != "before"+string(want) {
			t.Fatalf("filled\n%s\nwant\n%s", got, want)
		}
	})
}

// The row is also one to a reader that knows nothing of readings.
func TestCSVIsRFC4180(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRecord().Draw(t, "record")
		text := AppendCSV(AppendCSVHeader(nil), &r)
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil || len(rows) != 2 {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		note := slices.Index(rows[0], "note")
		if rows[1][note] != r.Note {
			t.Fatalf("note %q, want %q", rows[1][note], r.Note)
		}
		if !bytes.HasSuffix(text, []byte("\r\n")) || bytes.Count(text, []byte("\r\n")) != 2 {
			t.Fatalf("rows don't end with CRLF: %q", text)
		}
	})
}

func TestCSVAnyOrderOfColumns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyRecord().Draw(t, "record")
		text := AppendCSV(AppendCSVHeader(nil), &want)
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		order := rapid.Permutation(indices(len(rows[0]))).Draw(t, "order")
		var shuffled bytes.Buffer
		w := csv.NewWriter(&shuffled)
		for _, row := range rows {
			out := make([]string, len(order))
			for to, from := range order {
				out[to] = row[from]
			}
			if err := w.Write(out); err != nil {
				t.Fatal(err)
			}
		}
		w.Flush()
		d, err := NewCSVDecoder(&shuffled)
		if err != nil {
			t.Fatal(err)
		}
		var got Record
		if err := d.Decode(&got); err != nil || got != want {
			t.Fatalf("decoded %+v, %v; want %+v", got, err, want)
		}
	})
}

func indices(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = i
	}
	return s
}

func TestCSVAccepts(t *testing.T) {
	for _, tt := range []struct {
		name, column, text, canonical string
	}{
		{"a grade as a digit", "l_heel_medial", "3", "3"},
		{"a grade as its word", "l_heel_medial", "Through", "4"},
		{"a zone that can't be read", "r_toe_lateral", "X", "x"},
		{"a zone that can't be read, and why", "r_toe_lateral", "cant:Wet", "cant:wet"},
		{"another reason is an x", "r_toe_lateral", "cant:other", "x"},
		{"a check that can't be read", "l_stand", "x", "cant:other"},
		{"hyphens for spaces", "l_stand", "leans-in", "leans in"},
		{"underscores and capitals for spaces", "l_lining", "SHELL_BROKEN", "shell broken"},
		{"spaces around a word", "l_bond", " parted ", "parted"},
		{"a band as its number", "r_flex", "3", "floppy"},
		{"a band as its word", "r_torsion", "Moderate", "moderate"},
		{"a side with a leading plus", "flex_side", "+2", "2"},
		{"a side with the minus of Unicode", "flex_side", "−2", "-2"},
		{"a side as its phrase", "torsion_side", "Left clearly easier", "-2"},
		{"an even side", "torsion_side", "even", "0"},
		{"a depth of tenths", "l_heel_medial_mm", "3.5", "3.5"},
		{"a depth with zeros that say nothing", "l_heel_medial_mm", "03.50", "3.5"},
		{"an angle rounded to hundredths", "l_tilt", "-4.005", "-4.01"},
		{"an angle that rounds to nothing", "l_tilt", "-0.004", "0"},
		{"the whole scale of an angle", "l_tilt", "45", "45"},
		{"posture as a word", "l_posture", "highly_pronated", "highly pronated"},
		{"posture as the sum of the index", "r_posture", "-5", "highly supinated"},
		{"posture with a plus", "r_posture", "+6", "pronated"},
		{"an instant with an offset", "at", "2026-10-05T16:03:00.120+02:00", "2026-10-05T14:03:00.12Z"},
		{"an instant west of Greenwich", "at", "2026-10-05T23:03:00-03:30", "2026-10-06T02:33:00Z"},
		{"an instant with a small t and z", "at", "2026-10-05t14:03:00z", "2026-10-05T14:03:00Z"},
		{"an instant with zeros that say nothing", "at", "2026-10-05T14:03:00.120000000Z", "2026-10-05T14:03:00.12Z"},
		{"an instant of a leap day", "at", "2024-02-29T23:59:59.999999Z", "2024-02-29T23:59:59.999999Z"},
		{"a kind with an underscore", "kind", "Trade_In", "trade-in"},
		{"a pair reference as it is typed", "pair_ref", strings.ToLower(NewPairRef([5]byte{1, 2, 3, 4, 5})[:4]) + "-" + NewPairRef([5]byte{1, 2, 3, 4, 5})[4:], NewPairRef([5]byte{1, 2, 3, 4, 5})},
		{"an id in capitals", "inspection_id", "017F22E2-79B0-7CC3-98C4-DC0C0C07398F", "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"},
		{"flags in any order", "flags", "no-model  clock-off", "clock-off no-model"},
		{"free text as it is", "note", `=SUM(A1) says "he", 👟 ok`, `=SUM(A1) says "he", 👟 ok`},
		{"free text with spaces around", "note", "  a ", "  a "},
		{"miles", "km_unit", "MI", "mi"},
		{"a distance with tenths", "km", "512.5", "512.5"},
		{"pain mentioned", "pain_mentioned", "Yes", "yes"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			quoted := `"` + strings.ReplaceAll(tt.text, `"`, `""`) + `"`
			r, err := oneRow(tt.column, quoted)
			if err != nil {
				t.Fatal(err)
			}
			row, err := csv.NewReader(bytes.NewReader(AppendCSV(nil, &r))).Read()
			if err != nil {
				t.Fatal(err)
			}
			if got := row[slices.Index(CSVColumns, tt.column)]; got != tt.canonical {
				t.Errorf("%s %q is written %q, want %q", tt.column, tt.text, got, tt.canonical)
			}
		})
	}
}

func TestCSVRefuses(t *testing.T) {
	for _, tt := range []struct {
		name, column, text, want string
	}{
		{"a grade beyond 4", "l_heel_medial", "5", "a grade 0–4"},
		{"a grade below 0", "l_heel_medial", "-1", "a grade 0–4"},
		{"a grade of another scale", "l_heel_medial", "square", "a grade 0–4"},
		{"can't read without a reason there is", "l_heel_medial", "cant:tired", "cant:wet"},
		{"can't read where it is no answer", "hygiene", "x", "clean, cleanable, refuse"},
		{"a side beyond 2", "flex_side", "3", "−2 to +2"},
		{"a band beyond 3", "l_flex", "4", "stiff, moderate, floppy, or 1–3"},
		{"a band of 0", "l_flex", "0", "1–3"},
		{"a depth of hundredths", "l_heel_medial_mm", "3.25", "at most 1 decimal"},
		{"a depth below 0", "l_heel_medial_mm", "-0.1", "0 to 15 mm"},
		{"a depth beyond 15", "l_heel_medial_mm", "15.1", "0 to 15 mm"},
		{"an angle beyond 45", "l_tilt", "45.01", "-45 to 45 °"},
		{"an angle that rounds beyond 45", "l_tilt", "45.006", "-45 to 45 °"},
		{"a number with a comma", "l_tilt", "4,5", "-45 to 45 °"},
		{"a number in powers of ten", "l_tilt", "1e1", "-45 to 45 °"},
		{"a number of no digits", "l_tilt", ".5", "-45 to 45 °"},
		{"a number with a bare point", "l_tilt", "5.", "-45 to 45 °"},
		{"not a number", "l_tilt", "NaN", "-45 to 45 °"},
		{"a number that overflows", "load_n", "99999999999999999999", "0 to 2000 N"},
		{"a foot of half millimetres", "size_mm", "265.5", "50 to 400 mm without decimals"},
		{"posture beyond the index", "l_posture", "13", "−12 to +12"},
		{"31 February", "bought_on", "2026-02-31", "February 2026 has 28 days"},
		{"29 February of a common year", "bought_on", "2026-02-29", "February 2026 has 28 days"},
		{"29 February of a century", "bought_on", "2100-02-29", "February 2100 has 28 days"},
		{"a thirteenth month", "bought_on", "2026-13-01", "a month is 01–12"},
		{"a date in another order", "bought_on", "05/10/2026", "2026-10-05"},
		{"a date before there were such ids", "bought_on", "1969-12-31", "in 1970 or later"},
		{"a date of letters", "bought_on", "20a6-10-05", "2026-10-05"},
		{"a date of day 0", "bought_on", "2026-10-00", "October 2026 has 31 days"},
		{"an instant with a leap second", "at", "2016-12-31T23:59:60Z", "2026-10-05T14:03:00Z"},
		{"an instant with an empty fraction", "at", "2026-10-05T14:03:00.Z", "2026-10-05T14:03:00Z"},
		{"an instant with an offset of 24 hours", "at", "2026-10-05T14:03:00+24:00", "2026-10-05T14:03:00Z"},
		{"an instant with a bare offset", "at", "2026-10-05T14:03:00+0200", "2026-10-05T14:03:00Z"},
		{"an instant that falls out of its years", "at", "1970-01-01T00:00:00+02:00", "2026-10-05T14:03:00Z"},
		{"a number of letters after its point", "l_tilt", "4.5x", "-45 to 45 °"},
		{"a rule set of no number", "rules", "new", "a whole number from 1"},
		{"pain that is no answer", "pain_mentioned", "maybe", "no, yes"},
		{"an instant without a zone", "at", "2026-10-05T14:03:00", "2026-10-05T14:03:00Z"},
		{"an instant of 24 o'clock", "at", "2026-10-05T24:00:00Z", "2026-10-05T14:03:00Z"},
		{"an instant finer than kept", "at", "2026-10-05T14:03:00.1234567Z", "to the microsecond"},
		{"an instant on a day there isn't", "at", "2026-06-31T14:03:00Z", "June 2026 has 30 days"},
		{"a verdict there isn't", "advised", "stop", "keep, recheck, replace, retire, incomplete"},
		{"a flag there isn't", "flags", "no-model odd", "no-model"},
		{"a second reading of what is no check", "second_on", "tilt_by", "tilt, "},
		{"a code with a space", "store", "MAD 1", "a code of at most 32"},
		{"a line break in text", "note", "a\nb", "on one line"},
		{"a hidden turn of direction", "note", "a\u202eb", "plain text"},
		{"text that isn't UTF-8", "note", "a\xffb", "plain text"},
		{"text that is too long", "size_label", strings.Repeat("9", 25), "at most 24 characters"},
		{"an id that is none", "inspection_id", "00000000-0000-0000-0000-000000000000", "a UUID"},
		{"a pair reference with a wrong check", "pair_ref", "000000001", "their check character"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := oneRow(tt.column, `"`+tt.text+`"`)
			errs, ok := errors.AsType[FieldErrors](err)
			if !ok || len(errs) != 1 {
				t.Fatalf("error %v, want one", err)
			}
			e := errs[0]
			if e.Field != tt.column || e.Line != 2 || e.Column != 1 || !errors.Is(err, ErrOutOfRange) || !strings.Contains(e.Want, tt.want) {
				t.Errorf("%+v, want %s at line 2, column 1, allowing %q", e, tt.column, tt.want)
			}
		})
	}
}

func TestCSVRefusesWhatDoesNotFit(t *testing.T) {
	for _, tt := range []struct{ name, columns, row, field string }{
		{"uncertainty without a tilt", "l_tilt,l_tilt_u", ",1", "l_tilt_u"},
		{"yaw beside a tilt that can't be read", "r_tilt,r_tilt_yaw", "x,1", "r_tilt_yaw"},
		{"number of photos without a tilt", "l_tilt_n", "3", "l_tilt_n"},
		{"method without a tilt", "l_tilt_by", "photo", "l_tilt_by"},
		{"pressed where nothing was pressed", "l_press_heel_at", "heel_medial", "l_press_heel_at"},
		{"a second try without a first", "flex_again", "yes", "flex_again"},
		{"a second try on what can't be read", "torsion_side,torsion_again", "x,yes", "torsion_again"},
		{"a second opinion of nobody", "second_says", "agrees", "second_says"},
		{"a second reading of nobody", "second_on", "stand", "second_on"},
		{"a second reader who is the first", "staff,second_reader", "F7,F7", "second_reader"},
		{"a reason for no verdict", "given_reason", "too tight", "given_reason"},
		{"a reason for no void", "void_reason", "typo", "void_reason"},
		{"a reading that supersedes itself", "inspection_id,supersedes", "017f22e2-79b0-7cc3-98c4-dc0c0c07398f,017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "supersedes"},
		{"bought after it was read", "at,bought_on", "2026-10-05T14:03:00Z,2026-10-07", "bought_on"},
		{"an edge in a zone without a grade", "l_heel_medial,l_edge", "2,heel_medial toe_medial", "l_edge"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := oneRow(tt.columns, tt.row)
			errs, ok := errors.AsType[FieldErrors](err)
			if !ok || len(errs) != 1 || errs[0].Field != tt.field || !errors.Is(err, ErrInconsistent) || errs[0].Line != 2 {
				t.Errorf("error %v, want one on %s", err, tt.field)
			}
		})
	}
	for _, tt := range []struct{ name, columns, row string }{
		{"a photo of a tilt that can't be read", "l_tilt,l_tilt_by", "cant:wet,photo"},
		{"a press that gave no answer, and where", "l_press_heel,l_press_heel_at", "cant:wet,heel_medial"},
		{"a second try after a slight difference", "flex_side,flex_again", "1,no"},
		{"through with depth, which is flagged", "l_heel_medial,l_heel_medial_mm", "4,2.5"},
		{"a distance of unknown source", "km,km_source", "400,unknown"},
	} {
		t.Run("but takes "+tt.name, func(t *testing.T) {
			if _, err := oneRow(tt.columns, tt.row); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestCSVHeader(t *testing.T) {
	for _, tt := range []struct {
		name, text, field, want string
		err                     error
	}{
		{"an unknown column names the nearest", "store,l_heel_medal\n", "l_heel_medal", "l_heel_medial?", ErrUnknownField},
		{"a column like no other names none", "store,colour_of_laces\n", "colour_of_laces", "", ErrUnknownField},
		{"a column given twice", "store,at,store\n", "store", "each column once", ErrDuplicateField},
		{"capitals", "store,KM\n", "KM", "km?", ErrUnknownField},
		{"a column without a name", "store,,at\n", "", "a name for every column", ErrUnknownField},
		{"UTF-16 with a mark", "\xff\xfes\x00t\x00o\x00r\x00e\x00\n\x00", "", "text in UTF-8", ErrMalformed},
		{"UTF-16 without one", "\x00s\x00t\x00o\x00r\x00e\x00,\x00a\x00t\x00\n", "", "text in UTF-8", ErrMalformed},
		{"Latin-1", "store,tama\xf1o\n", "", "text in UTF-8", ErrMalformed},
		{"lines that end in CR alone", "store,at\rE1,2026\r", "", "CR LF", ErrMalformed},
		{"semicolons between the columns", "store;at\n", "store;at", "commas", ErrUnknownField},
		{"an empty file", "", "", "a header row", ErrMalformed},
		{"a header with a broken quote", "store,\"at\n", "", "quotes", ErrMalformed},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := NewCSVDecoder(strings.NewReader(tt.text))
			errs, ok := errors.AsType[FieldErrors](err)
			if !ok || len(errs) != 1 {
				t.Fatalf("error %v, want one", err)
			}
			if e := errs[0]; e.Field != tt.field || !strings.Contains(e.Want, tt.want) || !errors.Is(e, tt.err) || e.Line != 1 {
				t.Errorf("%+v", e)
			}
		})
	}
	t.Run("a byte order mark and plain line ends are taken", func(t *testing.T) {
		rows := decodeCSV(t, []byte("\xef\xbb\xbfstore,kind\nMAD-01,check\n\nMAD-02,blind"))
		if len(rows) != 2 || rows[0].Store != "MAD-01" || rows[1].Kind != Blind {
			t.Errorf("rows %+v", rows)
		}
	})
}

func TestCSVGoesOnAfterABadRow(t *testing.T) {
	text := "\xef\xbb\xbfstore,l_heel_medial,note\r\n" +
		"A,1,\"first, with a comma\"\r\n" +
		"B C,9,second\r\n" +
		"C,1\r\n" +
		"D,1,it's 5\" long\r\n" +
		"E,2,\"a \"\"last\"\" one\"\r\n"
	d, err := NewCSVDecoder(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		line     int
		problems []FieldError
		raw      string
	}{
		{2, nil, "A,1,\"first, with a comma\"\r\n"},
		{3, []FieldError{{Line: 3, Column: 1, Field: "store", Value: "B C"}, {Line: 3, Column: 5, Field: "l_heel_medial", Value: "9"}}, "B C,9,second\r\n"},
		{4, []FieldError{{Line: 4, Value: "2 columns"}}, "C,1\r\n"},
		{5, []FieldError{{Line: 5, Column: 11}}, "D,1,it's 5\" long\r\n"},
		{6, nil, "E,2,\"a \"\"last\"\" one\"\r\n"},
	} {
		var r Record
		err := d.Decode(&r)
		if (err != nil) != (want.problems != nil) {
			t.Fatalf("row %d: %v", i, err)
		}
		errs, _ := errors.AsType[FieldErrors](err)
		if len(errs) != len(want.problems) {
			t.Fatalf("row %d: %v", i, errs)
		}
		for j, e := range errs {
			e.Want, e.Err = "", nil
			if e != want.problems[j] {
				t.Errorf("row %d: %+v, want %+v", i, e, want.problems[j])
			}
		}
		if d.Line() != want.line || string(d.Raw()) != want.raw {
			t.Errorf("row %d: line %d %q, want %d %q", i, d.Line(), d.Raw(), want.line, want.raw)
		}
	}
	var r Record
	if err := d.Decode(&r); err != io.EOF {
		t.Errorf("at the end: %v", err)
	}
}

func TestCSVStopsAtAnOpenQuote(t *testing.T) {
	endless := io.MultiReader(strings.NewReader("note\n\""), neverEnding{})
	d, err := NewCSVDecoder(endless)
	if err != nil {
		t.Fatal(err)
	}
	var r Record
	if err := d.Decode(&r); !errors.Is(err, ErrRowTooLong) || !strings.Contains(err.Error(), "after line 1:") {
		t.Errorf("error %v, want %v, and after which line", err, ErrRowTooLong)
	}
}

// neverEnding is a file of lines without end.
type neverEnding struct{}

func (neverEnding) Read(p []byte) (int, error) { return copy(p, "a line of text\n"), nil }

func TestGuardFormula(t *testing.T) {
	for in, want := range map[string]string{
		"=1+1": "'=1+1", "+49": "'+49", "-2": "'-2", "@a": "'@a", "\tx": "'\tx", "": "", "a=b": "a=b", "é": "é",
	} {
		if got := GuardFormula(in); got != want {
			t.Errorf("GuardFormula(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestFieldErrorIsSafeToShow(t *testing.T) {
	_, err := oneRow("l_heel_medial", "\"\x1b[2J"+strings.Repeat("é", 200)+"\"")
	msg := err.Error()
	if strings.ContainsRune(msg, 0x1b) || len(msg) > 400 || !strings.Contains(msg, "…") {
		t.Errorf("message %q", msg)
	}
	if !strings.HasPrefix(msg, "line 2, column 1: l_heel_medial: ") || !strings.Contains(msg, "want a grade 0–4") {
		t.Errorf("message %q names no shoe, check and what is allowed", msg)
	}
}

func TestFieldErrorsAreBounded(t *testing.T) {
	var errs FieldErrors
	for range 1000 {
		errs.Add(FieldError{Field: "x", Err: ErrUnknownField})
	}
	if len(errs) != maxProblems+1 || !strings.Contains(errs.Error(), "only the first 100") {
		t.Errorf("%d problems, the last %v", len(errs), errs[len(errs)-1])
	}
}

// FuzzDecodeCSV: whatever the file, the reader ends, blames real places, and
// what it takes survives a way out and in again unchanged.
func FuzzDecodeCSV(f *testing.F) {
	r := typicalRecord()
	f.Add(AppendCSV(AppendCSVHeader(nil), &r))
	f.Add([]byte("store,l_heel_medial,note\nMAD-01,x,\"a \"\"b\"\"\"\nMAD 1,5,a\"b\n\nC\n"))
	f.Add([]byte("\xef\xbb\xbfl_tilt,l_tilt_u,l_posture,at\r\n\"\u22124.005\",1,-13,2026-02-31T00:00:00Z\r\n"))
	f.Add([]byte("second_on,second_reader,r_edge,r_toe_medial\nstand tilt,A,toe_medial,2\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		d, err := NewCSVDecoder(bytes.NewReader(text))
		if err != nil {
			return
		}
		lines := bytes.Count(text, []byte("\n")) + 1
		for {
			var r Record
			err := d.Decode(&r)
			if err == io.EOF || errors.Is(err, ErrRowTooLong) {
				return
			}
			if !bytes.Contains(text, d.Raw()) || d.Line() < 2 || d.Line() > lines {
				t.Fatalf("line %d, row %q", d.Line(), d.Raw())
			}
			if errs, ok := errors.AsType[FieldErrors](err); ok {
				for _, e := range errs {
					if e.Line < d.Line() && e.Err != ErrMalformed || e.Line > lines {
						t.Fatalf("%+v in a row at line %d of %d", e, d.Line(), lines)
					}
				}
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			row := AppendCSV(AppendCSVHeader(nil), &r)
			if again := decodeCSV(t, row); len(again) != 1 || again[0] != r {
				t.Fatalf("%q was read as %+v", row, again)
			}
		}
	})
}

// typicalRecord is a reading with everything that a bench usually writes down.
func typicalRecord() Record {
	text := "inspection_id,pair_ref,store,staff,device,at,kind,brand,model,version,size_label,size_mm,runner,gait,gait_by,gait_before,strike,surface,used_for,km,km_unit,km_source,bought_on,setup," +
		"l_heel_medial,l_heel_centre,l_heel_lateral,l_mid_medial,l_mid_lateral,l_fore_medial,l_fore_centre,l_fore_lateral,l_toe_medial,l_toe_lateral,l_press_fore,l_stand,l_lining,l_bond,l_mesh," +
		"r_heel_medial,r_heel_centre,r_heel_lateral,r_mid_medial,r_mid_lateral,r_fore_medial,r_fore_centre,r_fore_lateral,r_toe_medial,r_toe_lateral,r_press_fore,r_stand,r_tilt,r_tilt_u,r_tilt_by,r_tilt_n,r_lining,r_bond,r_mesh," +
		"flex_side,torsion_side,hygiene,advised,given,rules,received_at\n" +
		"017f22e2-79b0-7cc3-98c4-dc0c0c07398f," + NewPairRef([5]byte{1, 2, 3, 4, 5}) + ",MAD-01,F7,T-3,2026-10-05T14:03:00.123Z,trade-in,Northwind,Alder,3,EU 42,265,R-0193,pronated,treadmill,yes,rearfoot,road,running,512,km,logged,2026-01-12,ready," +
		"1,2,3,0,1,2,1,1,0,x,softer,square,worn,attached,none," +
		"1,1,2,0,0,2,2,1,0,0,softer,leans in,2.35,1.12,photo,3,sound,attached,toe," +
		"1,0,clean,recheck,recheck,3,2026-10-05T14:03:05.5Z\n"
	var r Record
	d, err := NewCSVDecoder(strings.NewReader(text))
	if err == nil {
		err = d.Decode(&r)
	}
	if err != nil {
		panic(err)
	}
	return r
}

func BenchmarkAppendCSV(b *testing.B) {
	r := typicalRecord()
	var buf []byte
	b.ReportAllocs()
	for b.Loop() {
		buf = AppendCSV(buf[:0], &r)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkDecodeCSV(b *testing.B) {
	r := typicalRecord()
	row := AppendCSV(nil, &r)
	d, err := NewCSVDecoder(io.MultiReader(bytes.NewReader(AppendCSVHeader(nil)), &repeated{text: row}))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := d.Decode(&r); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

// repeated reads the same text over and over.
type repeated struct {
	text []byte
	at   int
}

func (r *repeated) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		c := copy(p[n:], r.text[r.at:])
		n += c
		r.at = (r.at + c) % len(r.text)
	}
	return n, nil
}
