package tally

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
)

// allRecords reads a CSV through blocks and parser.
func allRecords(from io.Reader, oneColumn bool) ([][]string, error) {
	c := cutter{from: from, line: 1}
	var all [][]string
	var p parser
	for {
		b, err := c.next(nil)
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		p.reset(b, oneColumn)
		for {
			found, err := p.next()
			if err != nil {
				return all, err
			}
			if !found {
				break
			}
			record := make([]string, len(p.cells))
			for i, c := range p.cells {
				record[i] = string(c)
			}
			all = append(all, record)
		}
	}
}

func FuzzRecordsAreThoseOfEncodingCSV(f *testing.F) {
	for _, seed := range []string{
		"a,b\n1,2\n", "a,b\r\n1,2\r\n", "\"a\",\"b\"\n\"1\n2\",\"3\"\"4\"\n", "\n\na\n", "a\r", "\"a\r\n\"\r\n",
		"a\"b,c\n", "\"a\"b\n", "\"a", ",\n,,\n", "a\rb\n", "\"a\"\r", "\x00,\xff\n",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		reader := csv.NewReader(strings.NewReader(text))
		reader.FieldsPerRecord = -1
		want, wantErr := reader.ReadAll()
		got, err := allRecords(strings.NewReader(text), false)
		if (err == nil) != (wantErr == nil) {
			t.Fatalf("%q: error %v, encoding/csv says %v", text, err, wantErr)
		}
		if err != nil {
			if p, ok := errors.AsType[*csv.ParseError](wantErr); ok && !errors.Is(wantErr, csv.ErrQuote) {
				// An unbalanced quote is placed where it was opened; encoding/csv
				// places it where it noticed.
				if place := fmt.Sprintf("line %d, column %d:", p.Line, p.Column); !strings.HasPrefix(err.Error(), place) {
					t.Errorf("%q: error %v, want it at %s", text, err, place)
				}
			}
			return
		}
		for _, record := range got {
			for i := range record { // encoding/csv rewrites line ends within quotes
				record[i] = strings.ReplaceAll(record[i], "\r\n", "\n")
			}
		}
		if !slices.EqualFunc(got, want, slices.Equal[[]string]) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	})
}

// quotedFile has quoted line ends, quotes and commas throughout, over many
// blocks.
func quotedFile(rows int) string {
	r := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	w := csv.NewWriter(&b)
	cells := []string{"keep", "re\nplace", "\"best\"", "a,b", "\n\n\n", "", "Ä ö\r", "NA"}
	_ = w.Write([]string{"verdict", "store", "km", "n"})
	for range rows {
		_ = w.Write([]string{cells[r.IntN(len(cells))], "s" + strconv.Itoa(r.IntN(9)), strconv.Itoa(10 * r.IntN(90)), strconv.Itoa(r.IntN(3))})
	}
	w.Flush()
	return b.String()
}

func TestBlocksDoNotShow(t *testing.T) {
	text := quotedFile(60_000)
	if len(text) < 3*blockSize {
		t.Fatalf("the file has %d bytes: too few for several blocks", len(text))
	}
	want, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for name, from := range map[string]io.Reader{
		"whole":      strings.NewReader(text),
		"in halves":  iotest.HalfReader(strings.NewReader(text)),
		"end at EOF": iotest.DataErrReader(strings.NewReader(text)),
	} {
		got, err := allRecords(from, false)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.EqualFunc(got, want, slices.Equal[[]string]) {
			t.Errorf("%s: other records than encoding/csv", name)
		}
	}
}

// workersGive runs a statistic on a file with a number of workers.
func workersGive(text, args string, workers int) (string, error) {
	words := strings.Fields(args)
	s, err := named(words[0])
	if err != nil {
		return "", err
	}
	var j job
	if _, err := j.parse(s, words[1:], io.Discard); err != nil {
		return "", err
	}
	f, err := newFile(strings.NewReader(text))
	if err != nil {
		return "", err
	}
	f.workers = workers
	r, err := j.compute(s, f)
	if err != nil {
		return "", err
	}
	out, err := r.MarshalJSON()
	return string(out), err
}

func TestTheNumberOfWorkersDoesNotShow(t *testing.T) {
	text := quotedFile(60_000)
	late := text + "x,s1,abc,1\n" + text[strings.Index(text, "\n")+1:] + "x,s1\n"
	for _, c := range []struct{ name, text, args string }{
		{"distinct rows", text, "shares --of verdict --by store --count n"},
		{"rows in order", text, "symmetry --left km --right n --by verdict"},
		{"dropped rows", text, "heaping --value km --by verdict"},
		{"a word among numbers", late, "heaping --value km"},
		{"a word among numbers, in order", late, "symmetry --left km --right n"},
		{"a ragged line", late, "shares --of verdict"},
		{"a row wrong only to the statistic", late, "shares --hits n --size n --by verdict"},
		{"a level that is not listed", late, "shares --of store --levels s0,s1,s2,s3,s4"},
	} {
		t.Run(c.name, func(t *testing.T) {
			want, wantErr := workersGive(c.text, c.args, 1)
			if (wantErr != nil) != (c.text == late) {
				t.Fatalf("one worker: %v", wantErr)
			}
			for _, workers := range []int{2, 3, 8} {
				got, err := workersGive(c.text, c.args, workers)
				if got != want || fmt.Sprint(err) != fmt.Sprint(wantErr) {
					t.Errorf("%d workers: error %v, one: %v; equal results: %v", workers, err, wantErr, got == want)
				}
			}
		})
	}
}

func TestReadingDistinctRowsIsReadingEach(t *testing.T) {
	text := quotedFile(3000)
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, args := range []string{
		"shares --of verdict --cluster store --count n", "heaping --value km --by store --count n",
		"association --rows store --cols verdict", "trend --hits n --size km --score n",
	} {
		var printed bytes.Buffer
		err := Run(append(strings.Fields(args), "-"), Console{Stdin: strings.NewReader(text), Stdout: &printed, Stderr: io.Discard})
		r, memory := Compute(strings.Fields(args), Table{records[0], records[1:]})
		if (err == nil) != (memory == nil) {
			t.Fatalf("%s: %v from the file, %v in memory", args, err, memory)
		}
		if err != nil {
			continue // both refuse more hits than pairs; lines differ where cells hold line ends
		}
		got, err := r.MarshalJSON()
		if err != nil {
			t.Fatal(err)
		}
		if cut := func(s string) string { _, rest, _ := strings.Cut(s, `"groups"`); return rest }; cut(string(got)) != cut(strings.TrimSpace(printed.String())) {
			t.Errorf("%s: in memory:\n%s\nfrom the file:\n%s", args, got, &printed)
		}
	}
}
