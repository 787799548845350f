package assess

import (
	"bytes"
	_ "embed"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// golden holds questions and answers, one {"ask":…,"answer":…} a line: asks are
// bodies of JudgeJSON, answers its bytes. The server's and the browser's build
// of the engine must both give the very same.
//
//go:embed testdata/golden_readings.jsonl
var golden string

var update = flag.Bool("update", false, "write testdata/golden_readings.jsonl anew")

const goldenFile = "testdata/golden_readings.jsonl"

func TestGolden(t *testing.T) {
	if *update {
		golden = writeGolden(t)
	}
	lines := strings.Split(strings.TrimSuffix(golden, "\n"), "\n")
	for i, line := range lines {
		ask, answer, ok := strings.Cut(strings.TrimSuffix(strings.TrimPrefix(line, `{"ask":`), "}"), `,"answer":`)
		if !ok {
			t.Fatalf("line %d holds no question and answer", i+1)
		}
		if got := string(JudgeJSON([]byte(ask))); got != answer {
			t.Errorf("line %d: asked %s\ngot  %s\nwant %s", i+1, ask, got, answer)
		}
	}
	if len(lines) < 100 {
		t.Errorf("only %d readings", len(lines))
	}
	// The file is worth something only while it shows everything.
	var want []string
	for _, r := range Default().Set().Rules {
		want = append(want, `"code":"`+r.Code+`"`)
	}
	for _, words := range []struct {
		member string
		list   []string
	}{
		{"verdict", verdictWords[1:]},
		{"grade", gradeLetters[1:]},
		{"route", []string{"back to runner", "resale", "donation for walking", "recycling, never resale", "sealed disposal"}},
		{"heel", patternWords[1:]},
		{"fore", patternWords[1:]},
		{"side", []string{"even", "left more", "right more"}},
		{"decided_by", []string{"left", "right"}},
	} {
		for _, w := range words.list {
			want = append(want, `"`+words.member+`":"`+w+`"`)
		}
	}
	for _, flag := range FlagWords[:5] {
		want = append(want, `"`+flag+`"`)
	}
	for _, w := range append(want, `"margin":1`, `"margin":2`, `"margin":3`, `"decided_by":null`) {
		if !strings.Contains(golden, w) {
			t.Errorf("no answer with %s", w)
		}
	}
}

// writeGolden draws readings and keeps those whose answers show something new.
func writeGolden(t *testing.T) string {
	draw := rapid.Custom(func(t *rapid.T) []byte {
		ask := AppendJSON([]byte(`{"reading":`), asRecord(anyReading(t)))
		if m := anyModel(t); m != nil {
			ask = AppendAsNew(append(ask, `,"as_new":`...), m)
		}
		return append(ask, '}')
	})
	var file bytes.Buffer
	seen := map[string]bool{}
	const seeds, anyway = 150_000, 100
	for seed := range seeds {
		ask := draw.Example(seed)
		answer := JudgeJSON(ask)
		shows := strings.FieldsFunc(string(answer), func(r rune) bool { return strings.ContainsRune("{},[]", r) })
		shows = slices.DeleteFunc(shows, func(s string) bool {
			return !strings.HasPrefix(s, `"code"`) && !strings.HasPrefix(s, `"heel":"`) && !strings.HasPrefix(s, `"fore":"`) &&
				!strings.HasPrefix(s, `"verdict"`) && !strings.HasPrefix(s, `"grade"`) && !strings.HasPrefix(s, `"margin"`) &&
				!strings.HasPrefix(s, `"side"`) && !slices.Contains(FlagWords, strings.Trim(s, `"`))
		})
		news := slices.ContainsFunc(shows, func(s string) bool { return !seen[s] })
		if !news && seed >= anyway {
			continue
		}
		for _, s := range shows {
			seen[s] = true
		}
		file.WriteString(`{"ask":` + string(ask) + `,"answer":` + string(answer) + "}\n")
	}
	if err := os.WriteFile(goldenFile, file.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return file.String()
}

// asRecord writes a reading as the record that it comes in: what can't stand
// alone is left out, and distance and age become what they derive from.
func asRecord(r Reading) *Record {
	for f := Left; f <= Right; f++ {
		s := &r.Shoe[f]
		for _, of := range [][2]Col{
			{TiltU, Tilt}, {TiltBy, Tilt}, {TiltN, Tilt}, {TiltYaw, Tilt}, {PressHeelAt, PressHeel}, {PressForeAt, PressFore},
		} {
			if !s[of[1]].OK() {
				s[of[0]] = Unread
			}
		}
		s[Edge] = Unread
	}
	for _, of := range [][2]Col{{FlexAgain, FlexSide}, {TorsionAgain, TorsionSide}} {
		if !r.Pair(of[1]).OK() {
			r.SetPair(of[0], Unread)
		}
	}
	rec := Record{Reading: r, At: time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)}
	if r.Pair(SecondSays) == Unread {
		rec.SecondOn = 0
	} else {
		rec.SecondReader = "T2"
		for c := range NumCols {
			if !Columns[c].Check {
				rec.SecondOn &^= ColSet(0).With(c)
			}
		}
	}
	if r.KM.OK() {
		rec.Distance, rec.KMUnit = Of(10*r.KM.Int()), Of(0)
	}
	if r.AgeDays.OK() {
		rec.BoughtOn = rec.At.AddDate(0, 0, -r.AgeDays.Int()).Format(time.DateOnly)
	}
	return &rec
}
