package assess

import (
	"bytes"
	"encoding/json"
	"math/big"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// out is the object that surfaces answer with, as another program reads it.
type out struct {
	Verdict  string
	How      *string
	Findings []struct {
		Check, Shoe    string
		Zone           *string
		Severity, Code string
		How            *string
		Values         map[string]any
	}
	Unread  []struct{ Shoe, Check string }
	Pattern struct {
		Left, Right struct {
			Heel, Fore *string
			MLHeel     *float64 `json:"ml_heel"`
			MLFore     *float64 `json:"ml_fore"`
			CentreHeel *float64 `json:"centre_heel"`
			CentreFore *float64 `json:"centre_fore"`
			ForeAft    *float64 `json:"fore_aft"`
		}
		Pair struct {
			Heel, Fore, Side *string
			DecidedBy        *string `json:"decided_by"`
		}
	}
	Margin *int
	Flags  []string
	Grade  *string
	Route  *string
	Rules  int
	Engine string
}

// ask judges a question and reads the answer strictly.
func ask(t testing.TB, question string) out {
	t.Helper()
	answer := JudgeJSON([]byte(question))
	d := json.NewDecoder(bytes.NewReader(answer))
	d.DisallowUnknownFields()
	var o out
	if err := d.Decode(&o); err != nil {
		t.Fatalf("%v in %s", err, answer)
	}
	return o
}

func TestJudgeJSON(t *testing.T) {
	t.Run("an empty reading is incomplete, and everything absent is null", func(t *testing.T) {
		const shoe = `{"heel":null,"fore":null,"ml_heel":null,"ml_fore":null,"centre_heel":null,"centre_fore":null,"fore_aft":null}`
		got := string(JudgeJSON([]byte(`{"reading":{},"as_new":{}}`)))
		want := `,"pattern":{"left":` + shoe + `,"right":` + shoe + `,"pair":{"heel":null,"fore":null,"side":null,"decided_by":null}},"margin":`
		if !strings.HasPrefix(got, `{"verdict":"incomplete","how":null,"findings":[],"unread":[{"shoe":"`) || !strings.Contains(got, want) ||
			!strings.HasSuffix(got, `,"flags":[],"grade":null,"route":"back to runner","rules":1,"engine":"`+EngineVersion+`"}`) {
			t.Errorf("answer %s", got)
		}
	})
	t.Run("a worn pair gives findings with their values, indices and both shoes' patterns", func(t *testing.T) {
		o := ask(t, `{"reading":{
			"left":{"heel_medial":1,"heel_centre":2,"heel_lateral":3,"fore_medial":4,"fore_centre":1,"fore_lateral":1,"tilt":2.5,"tilt_u":1.1,"tilt_by":"photo","press_fore":"dead"},
			"right":{"heel_medial":1,"heel_centre":1,"heel_lateral":1,"lining":"shell showing","stand":"cant:wet"},"flex_side":-2,"km":100,"surface":"road"},"as_new":null,"rules":null}`)
		if o.Verdict != "replace" || o.Rules != 1 || o.Margin == nil || !slices.Contains(o.Flags, "no-model") {
			t.Errorf("%+v", o)
		}
		codes := map[string]int{}
		for i, f := range o.Findings {
			codes[f.Code+" "+f.Shoe] = i
		}
		find := func(code string) map[string]any {
			t.Helper()
			i, ok := codes[code]
			if !ok {
				t.Fatalf("no %s in %v", code, codes)
			}
			return o.Findings[i].Values
		}
		if v := find("fore-through left"); v["fore_medial"] != 4.0 {
			t.Errorf("values %v", v)
		}
		if v := find("press-fore-dead left"); v["press_fore"] != "dead" {
			t.Errorf("values %v", v)
		}
		if v := find("tilt-in-open left"); v["tilt"] != 2.5 || v["tilt_u"] != 1.1 || v["tilt_by"] != "photo" {
			t.Errorf("values %v", v)
		}
		if v := find("flex-left-unconfirmed pair"); v["flex_side"] != -2.0 {
			t.Errorf("values %v", v)
		}
		if v := find("cant-read right"); v["stand"] != "cant:wet" {
			t.Errorf("values %v", v)
		}
		if f := o.Findings[codes["fore-through left"]]; f.Check != "fore_medial" || *f.Zone != "fore_medial" || f.Severity != "replace" || f.How != nil {
			t.Errorf("%+v", f)
		}
		if f := o.Findings[codes["press-fore-dead left"]]; f.Check != "press_fore" {
			t.Errorf("%+v", f)
		}
		left := o.Pattern.Left
		// (1 − 3)/(1 + 3), 2/6 and ((4+1+1)/3 − (1+2+3)/3)/(2 + 2) by hand.
		if *left.MLHeel != -0.5 || *left.CentreHeel != 0.3333 || *left.ForeAft != 0 || *left.Fore != "medial" || o.Pattern.Right.Fore != nil {
			t.Errorf("%+v", left)
		}
	})
	t.Run("rules of the question judge", func(t *testing.T) {
		set := DefaultRules()
		set.Number = 7
		text, err := set.MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		if o := ask(t, `{"rules":`+string(text)+`,"reading":{}}`); o.Rules != 7 {
			t.Errorf("judged by %d", o.Rules)
		}
	})
	for _, tt := range []struct{ name, question, want string }{
		{"a bad reading is pointed at", `{"reading":{"left":{"heel_medial":9}}}`, `{"errors":[{"pointer":"/reading/left/heel_medial","value":"9","message":"\"9\" out of range, want a grade 0–4`},
		{"what doesn't fit is pointed at", `{"reading":{"left":{"tilt_u":1}}}`, `{"errors":[{"pointer":"/reading/left/tilt_u","value":"1",`},
		{"a bad model is pointed at", `{"reading":{},"as_new":{"built":["heel"]}}`, `{"errors":[{"pointer":"/as_new/built","value":"heel",`},
		{"a bad rule is pointed at", `{"reading":{},"rules":{"from":"2026-01-01","rules":[],"possible_fault":{"basis":"x"},"grades":[],"number":-1}}`, `"pointer":"/rules/number"`},
		{"no reading is an error", `{}`, `{"errors":[{"pointer":"/reading","value":"","message":"missing"}]}`},
		{"no JSON is an error", `{`, `{"errors":[{"pointer":"","value":"","message":"malformed, want JSON: at byte 2`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := JudgeJSON([]byte(tt.question))
			if !json.Valid(got) || !strings.Contains(string(got), tt.want) {
				t.Errorf("answer %s, want %s", got, tt.want)
			}
		})
	}
}

// Whatever is read, the answer is JSON with every member, and its indices are
// the exact fractions rounded.
func TestAppendResultIsReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRecord().Draw(t, "record")
		var res Result
		Default().Judge(&r.Reading, nil, &res)
		answer := AppendResult(nil, &res)
		d := json.NewDecoder(bytes.NewReader(answer))
		d.DisallowUnknownFields()
		var o out
		if err := d.Decode(&o); err != nil {
			t.Fatalf("%v in %s", err, answer)
		}
		if len(o.Findings) != len(res.Findings) || len(o.Unread) != len(res.Unread) || o.Verdict != res.Verdict.String() {
			t.Fatalf("answer %s", answer)
		}
		for i, f := range o.Findings {
			if len(f.Values) != res.Findings[i].NUsed {
				t.Fatalf("finding %d has the values %v, want %d", i, f.Values, res.Findings[i].NUsed)
			}
		}
	})
}

func TestRatioIsRoundedExactly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Ratio{rapid.Int32().Draw(t, "num"), rapid.Int32Range(1, 1<<30).Draw(t, "den")}
		got := string(q.appendTo(nil))
		exact := big.NewRat(int64(q.Num), int64(q.Den))
		// math/big rounds halves away from zero.
		want, _ := new(big.Rat).SetString(exact.FloatString(ratioDecimals))
		if r, ok := new(big.Rat).SetString(got); !ok || r.Cmp(want) != 0 {
			t.Fatalf("%d/%d is written %s, want %s", q.Num, q.Den, got, exact.FloatString(ratioDecimals))
		}
	})
	for q, want := range map[Ratio]string{{}: "null", {-1, 2}: "-0.5", {1, -3}: "-0.3333", {2, 3}: "0.6667", {0, 5}: "0"} {
		if got := string(q.appendTo(nil)); got != want {
			t.Errorf("%v is written %s, want %s", q, got, want)
		}
	}
}

func TestAsNewJSON(t *testing.T) {
	anyAsNew := rapid.Custom(func(t *rapid.T) AsNew {
		d := drawer{t}
		m := AsNew{
			Built:          ColSet(d.upTo(1 << NumZones)),
			NoRigidCounter: d.chance("no rigid counter"), Plate: d.chance("plate"), Trail: d.chance("trail"),
			Tilt: d.value(-4500, 4500), Lean: d.value(-4500, 4500),
			Flex: d.word(bandWords), Torsion: d.word(bandWords),
			Shore: d.value(0, 1000), Asker: d.value(0, 1000),
		}
		for p := range m.Depth {
			m.Depth[p] = d.value(0, 150)
		}
		return m
	})
	t.Run("survives a way out and in again", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			want := anyAsNew.Draw(t, "model")
			text := AppendAsNew(nil, &want)
			got, err := DecodeAsNew(text)
			if err != nil || got != want || !json.Valid(text) {
				t.Fatalf("%s was read as %+v, %v", text, got, err)
			}
		})
	})
	t.Run("takes its names and words", func(t *testing.T) {
		got, err := DecodeAsNew([]byte(`{"built":["mid_medial","toe_lateral"],"rigid_counter":false,"plate":"yes","trail":true,"tilt":1.5,"lean":12,"depth_heel":3.5,"depth_toe":2,"flex":1,"torsion":"floppy","shore":62.5,"asker":45}`))
		if err != nil {
			t.Fatal(err)
		}
		want := AsNew{
			Built: ColSet(0).With(MidMedial).With(ToeLateral), NoRigidCounter: true, Plate: true, Trail: true,
			Tilt: Of(150), Lean: Of(1200), Depth: [NumParts]Value{Heel: Of(35), Toe: Of(20)},
			Flex: Of(Stiff), Torsion: Of(Floppy), Shore: Of(625), Asker: Of(450),
		}
		if got != want {
			t.Errorf("read %+v, want %+v", got, want)
		}
	})
	t.Run("nothing known is a rigid counter and no plate", func(t *testing.T) {
		got, err := DecodeAsNew([]byte(`{}`))
		if text := string(AppendAsNew(nil, &got)); err != nil || got != (AsNew{}) || text != `{"rigid_counter":"yes","plate":"no","trail":"no"}` {
			t.Errorf("read %+v, %v, written %s", got, err, text)
		}
	})
	t.Run("can't read is no answer about a model", func(t *testing.T) {
		if _, err := DecodeAsNew([]byte(`{"tilt":"x"}`)); err == nil {
			t.Error("taken")
		}
	})
}

func BenchmarkJudgeJSON(b *testing.B) {
	r := typicalRecord()
	question := append(AppendJSON([]byte(`{"reading":`), &r), '}')
	b.ReportAllocs()
	for b.Loop() {
		JudgeJSON(question)
	}
}
