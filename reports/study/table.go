package study

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// heads are the columns of the table as CSV.
var heads = []string{
	"part", "data", "method", "kind", "bound", "want", "replicates", "without", "estimate", "mc_se", "off",
	"below", "above", "width", "verdict", "why", "page",
}

// number4 writes a number to four significant decimals of a share, or whole
// hundredths of something larger.
func number4(v float64) string {
	if v > 10 || v < -10 {
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'f', 4, 64)
}

// CSV writes rows as a table with a head.
func CSV(rows []Row) ([]byte, error) {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	lines := [][]string{heads}
	for i := range rows {
		r := &rows[i]
		lines = append(lines, []string{
			r.Part, r.Data, r.Method, string(r.Kind), string(r.Bound), number4(r.Want), strconv.Itoa(r.Replicates), strconv.Itoa(r.Without),
			number4(r.Estimate), number4(r.SE), number4(r.Off()), number4(r.Below), number4(r.Above), number4(r.Width),
			string(r.Verdict), r.Why, r.Page,
		})
	}
	if err := w.WriteAll(lines); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// ParseCSV reads what CSV wrote.
func ParseCSV(text []byte) ([]Row, error) {
	lines, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 || !slices.Equal(lines[0], heads) {
		return nil, fmt.Errorf("the head is not %s", strings.Join(heads, ","))
	}
	var rows []Row
	for _, l := range lines[1:] {
		r := Row{Part: l[0], Data: l[1], Method: l[2], Kind: Kind(l[3]), Bound: Bound(l[4]), Verdict: Verdict(l[14]), Why: l[15], Page: l[16]}
		for i, into := range map[int]*float64{5: &r.Want, 8: &r.Estimate, 9: &r.SE, 11: &r.Below, 12: &r.Above, 13: &r.Width} {
			if *into, err = strconv.ParseFloat(l[i], 64); err != nil {
				return nil, err
			}
		}
		for i, into := range map[int]*int{6: &r.Replicates, 7: &r.Without} {
			if *into, err = strconv.Atoi(l[i]); err != nil {
				return nil, err
			}
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// Head names the cells of a row as people read it.
var Head = []string{
	"data", "method", "wanted", "found", "MC SE", "off", "replicates", "no answer", "wholly below, above", "mean width", "verdict",
}

// Cells writes a row for people, in the order of Head.
func (r *Row) Cells() []any {
	want, off := fmt.Sprintf("%s %s %s", r.Kind, r.Bound, number4(r.Want)), number4(r.Off())
	if r.Bound == Shown {
		want, off = string(r.Bound), ""
	}
	sides, width := "", ""
	if r.Kind == Coverage {
		sides, width = number4(r.Below)+", "+number4(r.Above), number4(r.Width)
	}
	return []any{r.Data, r.Method, want, number4(r.Estimate), number4(r.SE), off, r.Replicates, r.Without, sides, width, r.Verdict}
}

// Remarks counts the verdicts, and says of each row off its promise why that is
// and what the pages do about it.
func Remarks(rows []Row) string {
	var b strings.Builder
	count := map[Verdict]int{}
	for i := range rows {
		count[rows[i].Verdict]++
	}
	fmt.Fprintf(&b, "%d rows: %d hold, %d are off as listed, %d failed.\n", len(rows), count[Holds], count[Listed], count[Failed])
	for i := range rows {
		switch r := &rows[i]; r.Verdict {
		case Listed:
			fmt.Fprintf(&b, "\n- %s; %s: found %s, off by %s. Why: %s. The page: %s.", r.Data, r.Method, number4(r.Estimate), number4(r.Off()), r.Why, r.Page)
		case Failed:
			fmt.Fprintf(&b, "\n- %s; %s: found %s, off by %s. FAILED.", r.Data, r.Method, number4(r.Estimate), number4(r.Off()))
		}
	}
	b.WriteByte('\n')
	return b.String()
}
