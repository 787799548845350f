package tally

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"iter"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// table reads a CSV into memory.
func table(t *testing.T, text string) Table {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return Table{Columns: records[0], Rows: records[1:]}
}

func TestRowsInMemoryGiveWhatTheFileGives(t *testing.T) {
	for _, c := range []struct{ file, args string }{
		{"freireich_6mp.csv", "life --time time --event cens --by treat"},
		{"nist_weibull_censored.csv", "life --time hours --event failed --count count"},
		{"breast_cosmesis.csv", "life --lower left --upper right --by treatment"},
		{"veteran_celltype.csv", "association --rows celltype --cols status"},
		{"funnel_small.csv", "funnel --hits y --size n --by unit"},
		{"nile.csv", "trend --value flow --order year"},
	} {
		t.Run(c.file, func(t *testing.T) {
			text := data(t, c.file)
			var printed bytes.Buffer
			if err := Run(append(strings.Fields(c.args), "-"), Console{Stdin: strings.NewReader(text), Stdout: &printed, Stderr: &printed}); err != nil {
				t.Fatal(err)
			}
			r, err := Compute(strings.Fields(c.args), table(t, text))
			if err != nil {
				t.Fatal(err)
			}
			got, err := json.Marshal(r)
			if err != nil {
				t.Fatal(err)
			}
			if string(got) != strings.TrimSpace(printed.String()) {
				t.Errorf("in memory:\n%s\nfrom the file:\n%s", got, &printed)
			}
		})
	}
}

func TestAResultDecodes(t *testing.T) {
	r, err := Compute(strings.Fields("shares --of verdict --count n"), table(t, "verdict,n\nkeep,6\nreplace,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		N      int `json:"n"`
		Groups []struct {
			Levels []struct {
				Level string  `json:"level"`
				Share float64 `json:"share"`
			} `json:"levels"`
		} `json:"groups"`
	}
	if err := r.Decode(&got); err != nil {
		t.Fatal(err)
	}
	if l := got.Groups[0].Levels; got.N != 8 || len(l) != 2 || l[1].Level != "replace" || l[1].Share != 0.25 {
		t.Errorf("decoded %+v, want 2 of 8 replaced", got)
	}
}

// broken yields one row and then an error.
type broken struct {
	Table
	err error
}

func (b broken) Records() iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for r := range b.Table.Records() {
			if !yield(r, nil) {
				return
			}
		}
		yield(nil, b.err)
	}
}

func TestComputeTellsWrongWordsFromWrongRows(t *testing.T) {
	rows := Table{Columns: []string{"v"}, Rows: [][]string{{"a"}}}
	for _, args := range []string{"nonsense", "shares", "shares --of v file.csv", "shares --help", "shares --of v --conf 2"} {
		if _, wrong := errors.AsType[*UsageError](second(Compute(strings.Fields(args), rows))); !wrong {
			t.Errorf("%q: want a *UsageError", args)
		}
	}
	if _, wrong := errors.AsType[*UsageError](second(Compute([]string{"shares", "--of", "v"}, nil))); !wrong {
		t.Error("no rows: want a *UsageError")
	}
	gone := errors.New("the line is down")
	if err := second(Compute([]string{"shares", "--of", "v"}, broken{rows, gone})); !errors.Is(err, gone) {
		t.Errorf("error %v, want that of the rows", err)
	}
	ragged := Table{Columns: []string{"v", "w"}, Rows: [][]string{{"a", "b"}, {"a"}}}
	if err := second(Compute([]string{"shares", "--of", "v"}, ragged)); err == nil || !strings.HasPrefix(err.Error(), "line 3, column 2") {
		t.Errorf("error %v, want it at line 3, column 2", err)
	}
}

func second(_ *Result, err error) error { return err }

// told keeps the last it was told, and whether that was before the end.
type told struct {
	read, size int64
	ended      bool
}

func (p *told) Tell(read, size int64) { p.read, p.size = read, size }
func (p *told) End()                  { p.ended = true }

// slow gives its second half only once its time has come.
type slow struct {
	io.Reader
	half *strings.Reader
	wait time.Duration
}

func (s *slow) Read(p []byte) (int, error) {
	if s.half.Len() == 0 && s.wait > 0 {
		<-time.After(s.wait)
		s.wait = 0
	}
	if s.half.Len() > 0 {
		return s.half.Read(p)
	}
	return s.Reader.Read(p)
}

func TestALongReadIsToldAndASoonOneNot(t *testing.T) {
	first, rest := "v\n"+strings.Repeat("a\n", blockSize), "b\n" // more than the header's block
	for _, c := range []struct {
		name string
		wait time.Duration
		read int64
	}{
		{"soon", 0, 0},
		{"long", quietFor + tellEvery/2, int64(len(first))},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				var p told
				var out bytes.Buffer
				in := &slow{strings.NewReader(rest), strings.NewReader(first), c.wait}
				if err := Run([]string{"shares", "--of", "v", "-"}, Console{Stdin: in, Stdout: &out, Progress: &p}); err != nil {
					t.Fatal(err)
				}
				if p.read != c.read || !p.ended {
					t.Errorf("told %d bytes, ended %v; want %d and the end", p.read, p.ended, c.read)
				}
			})
		})
	}
}
