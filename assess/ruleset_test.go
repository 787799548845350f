package assess

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
)

func TestRuleSetSurvivesJSON(t *testing.T) {
	want := DefaultRules()
	text, err := want.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	got, err := ParseRuleSet(text)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("read back\n%+v\nwant\n%+v", got, want)
	}
	if again, _ := got.MarshalJSON(); !bytes.Equal(again, text) {
		t.Errorf("written again it differs from byte %d on", commonPrefix(again, text))
	}
	// encoding/json escapes &, < and >, which says the same.
	if text, err = json.Marshal(want); err != nil {
		t.Fatal(err)
	}
	var draft RuleSet
	if err := json.Unmarshal(text, &draft); err != nil || !reflect.DeepEqual(&draft, want) {
		t.Errorf("by encoding/json %v\n%+v", err, draft)
	}
}

func commonPrefix(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}

// A field that the JSON forgets would be lost without a word.
func TestEveryFieldOfTheTablesSurvivesJSON(t *testing.T) {
	set := filled[RuleSet](t)
	set.Rules[0].If = IfZone
	checkSurvives(t, ruleSetMembers, &set)
	credit := filled[CreditTable](t)
	checkSurvives(t, creditMembers, &credit)
	risks := filled[RiskTables](t)
	checkSurvives(t, riskTablesMembers, &risks)
}

func checkSurvives[T any](t *testing.T, members []member[T], want *T) {
	t.Helper()
	got, err := decodeMembers(writeMembers(nil, members, want), members)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
}

// filled returns a T whose every field is set to something.
func filled[T any](t *testing.T) T {
	var v T
	fill(t, reflect.ValueOf(&v).Elem())
	return v
}

func fill(t *testing.T, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("a word")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int32, reflect.Int64:
		v.SetInt(125)
	case reflect.Uint8:
		v.SetUint(1)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fill(t, v.Index(0))
		fill(t, v.Index(1))
	case reflect.Struct:
		for i := range v.NumField() {
			fill(t, v.Field(i))
		}
	default:
		t.Fatalf("no way to fill a %v", v.Type())
	}
}

func TestParseRuleSetSaysWhatIsWrong(t *testing.T) {
	type set = map[string]any
	rule := func(s set, i int) set { return s["rules"].([]any)[i].(set) }
	byCode := func(s set, code string) set {
		for i := range s["rules"].([]any) {
			if r := rule(s, i); r["code"] == code {
				return r
			}
		}
		t.Fatalf("no rule %s", code)
		return nil
	}
	for _, tc := range []struct {
		name   string
		change func(set)
		want   string // in the message
		err    error
	}{
		{"a number below one", func(s set) { s["number"] = 0 }, `/number: "0" out of range, want a whole number from 1`, ErrOutOfRange},
		{"a date that isn't", func(s set) { s["from"] = "2026-02-30" }, `/from: "2026-02-30" out of range`, ErrOutOfRange},
		{"no rules", func(s set) { s["rules"] = []any{} }, `/rules: "0" out of range, want 1 to 1000 rules`, ErrOutOfRange},
		{"no grades", func(s set) { delete(s, "grades") }, "/grades: missing", ErrMissingField},
		{"an unknown member", func(s set) { rule(s, 0)["colour"] = "red" }, "/rules/0/colour: no such field", ErrUnknownField},
		{"an unknown predicate", func(s set) { rule(s, 2)["if"] = "smells" }, `/rules/2/if: "smells" out of range, want one of zone, whole-part`, ErrOutOfRange},
		{"an unknown severity", func(s set) { rule(s, 0)["severity"] = "burn" }, `/rules/0/severity: "burn" out of range, want one of note, recheck, replace, retire`, ErrOutOfRange},
		{"a rule without severity", func(s set) { delete(rule(s, 0), "severity") }, "/rules/0/severity: missing", ErrMissingField},
		{"a rule without a basis", func(s set) { delete(rule(s, 0), "basis") }, "/rules/0/basis: missing", ErrMissingField},
		{"a fault that isn't", func(s set) { rule(s, 0)["fault"] = "glue" }, `/rules/0/fault: "glue" out of range, want structure or outsole`, ErrOutOfRange},
		{"a fault of a shoe that is kept", func(s set) { byCode(s, "lining-worn")["fault"] = "structure" }, "replace or retire as the severity", ErrInconsistent},
		{"a code that isn't kebab", func(s set) { rule(s, 0)["code"] = "Shell_Broken" }, `/rules/0/code: "Shell_Broken" out of range`, ErrOutOfRange},
		{"a code twice", func(s set) { rule(s, 1)["code"] = rule(s, 0)["code"] }, "/rules/1/code: \"lining-shell-broken\" given twice", ErrDuplicateField},
		{"now without recheck", func(s set) { rule(s, 0)["how"] = "now" }, `/rules/0/how: "now" doesn't fit`, ErrInconsistent},
		{"recheck without how", func(s set) { delete(byCode(s, "stand-doubtful"), "how") }, "/how: doesn't fit the other fields, want now or later", ErrInconsistent},
		{"a check the predicate doesn't take", func(s set) { rule(s, 0)["check"] = "tilt" }, `/rules/0/check: "tilt" out of range, want one of press_heel`, ErrOutOfRange},
		{"a word off the scale", func(s set) { rule(s, 0)["words"] = []any{"cracked"} }, `/rules/0/words/0: "cracked" out of range, want one of sound, worn, padding showing`, ErrOutOfRange},
		{"a parameter the predicate doesn't take", func(s set) { rule(s, 0)["at_least"] = 3 }, "/rules/0/at_least: no such field, want no such parameter", ErrUnknownField},
		{"a parameter it needs", func(s set) { delete(byCode(s, "heel-through"), "at_least") }, "/at_least: missing", ErrMissingField},
		{"a grade of five", func(s set) { byCode(s, "heel-through")["at_least"] = 5 }, `"5" out of range, want a whole number from 1 to 4`, ErrOutOfRange},
		{"half a grade", func(s set) { byCode(s, "heel-through")["at_least"] = 3.5 }, `"3.5" out of range, want a whole number from 1 to 4`, ErrOutOfRange},
		{"a tilt of three decimals", func(s set) { byCode(s, "tilt-in-far")["at_least"] = 4.001 }, `"4.001" out of range, want a number with at most 2 decimals`, ErrOutOfRange},
		{"a tilt of ninety degrees", func(s set) { byCode(s, "tilt-in-far")["at_least"] = 90 }, `"90" out of range, want a number from 0.01 to 45`, ErrOutOfRange},
		{"a tilt below nothing", func(s set) { byCode(s, "tilt-in-far")["at_least"] = -4 }, `"-4" out of range, want a number from 0.01 to 45`, ErrOutOfRange},
		{"a side for a tilt", func(s set) { byCode(s, "tilt-in-far")["toward"] = "left" }, `"left" out of range, want one of in, out`, ErrOutOfRange},
		{"a part that isn't", func(s set) { byCode(s, "heel-through")["part"] = "sole" }, `"sole" out of range, want one of heel, mid, fore, toe`, ErrOutOfRange},
		{"a thumb on the toe", func(s set) { byCode(s, "toe-through")["press"] = "gives" }, "heel or fore as the part", ErrInconsistent},
		{"a cascade of two predicates", func(s set) { byCode(s, "bond-parted")["cascade"] = "stand" }, `"stand" doesn't fit`, ErrInconsistent},
		{"two conditions on the tilt", func(s set) { byCode(s, "stand-doubtful")["tilt_under"] = 2 }, "at most one of tilt_at_least, tilt_under and untilted", ErrInconsistent},
		{"a surface that isn't", func(s set) { s["possible_fault"].(set)["surfaces"] = []any{"sand"} }, `/possible_fault/surfaces/0: "sand" out of range, want one of road`, ErrOutOfRange},
		{"a grade letter that isn't", func(s set) { s["grades"].([]any)[0].(set)["grade"] = "E" }, `/grades/0/grade: "E" out of range`, ErrOutOfRange},
		{"a route that isn't", func(s set) { s["grades"].([]any)[0].(set)["routes"] = []any{"river"} }, `/grades/0/routes/0: "river" out of range`, ErrOutOfRange},
		{"a grade that opens back to the runner again", func(s set) { s["grades"].([]any)[0].(set)["routes"] = []any{"back to runner"} }, "/grades/0/routes/0", ErrOutOfRange},
		{"an empty word in a list", func(s set) { s["grades"].([]any)[1].(set)["verdicts"] = []any{""} }, "/grades/1/verdicts/0: missing", ErrMissingField},
		{"a next check for replace", func(s set) { s["next_check"].([]any)[0].(set)["verdict"] = "replace" }, `/next_check/0/verdict: "replace" out of range, want keep or recheck`, ErrOutOfRange},
		{"a next check at once", func(s set) { s["next_check"].([]any)[0].(set)["days"] = 0 }, `/next_check/0/days: "0" out of range`, ErrOutOfRange},
	} {
		t.Run(tc.name, func(t *testing.T) {
			text, err := json.Marshal(DefaultRules())
			if err != nil {
				t.Fatal(err)
			}
			var s set
			if err := json.Unmarshal(text, &s); err != nil {
				t.Fatal(err)
			}
			tc.change(s)
			if text, err = json.Marshal(s); err != nil {
				t.Fatal(err)
			}
			_, err = ParseRuleSet(text)
			if !errors.Is(err, tc.err) || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got  %v\nwant %s", err, tc.want)
			}
		})
	}
}

func TestCompileReportsEverythingAtOnce(t *testing.T) {
	s := DefaultRules()
	s.Number, s.Rules[3].Code, s.Rules[5].Basis = -1, "", ""
	var errs FieldErrors
	if _, err := Compile(s); !errors.As(err, &errs) || len(errs) != 3 {
		t.Errorf("got %v, want three problems", err)
	}
}

// A compiled set is immutable, whatever becomes of the set it was made of.
func TestCompileKeepsNothingOfItsInput(t *testing.T) {
	s := DefaultRules()
	e, err := Compile(s)
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Rules {
		s.Rules[i] = Rule{}
	}
	for i := range s.Grades {
		s.Grades[i] = GradeRow{}
	}
	r := sound()
	r.Shoe[Left][Bond] = Of(Parted)
	var out Result
	e.Judge(&r, &AsNew{}, &out)
	if out.Verdict != ReplacePair || out.Findings[0].Code != "bond-parted" || out.Grade != GradeD {
		t.Errorf("got %v, %v, %v", out.Verdict, out.Findings, out.Grade)
	}
}

func FuzzParseRuleSet(f *testing.F) {
	f.Add([]byte(`{"number":2,"from":"2026-03-01","rules":[{"code":"a-b","if":"beyond","severity":"note","basis":"x","check":"km","over":1}],"possible_fault":{"basis":"x"},"grades":[{"grade":"D","routes":["recycling"],"basis":"x","zone_to":4}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := ParseRuleSet(text)
		if err != nil {
			return
		}
		again, err := s.MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		if back, err := ParseRuleSet(again); err != nil || !reflect.DeepEqual(back, s) {
			t.Fatalf("read back %v\n%+v\nwant\n%+v", err, back, s)
		}
	})
}
