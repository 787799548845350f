package tally

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// lawful is one statistic over invented rows. The first rows hold every level,
// group, item and rater once, which fixes their order of appearance; the rows
// behind them come in any order.
type lawful struct {
	args string
	// columns are the names of the columns, n, how often a row stands, last.
	columns string
	// first are rows without n, row makes one more.
	first []string
	row   func(r *rand.Rand) string
	rows  int
	// alone: a row stands for itself, so rows are neither counted nor split.
	alone bool
}

func pick(r *rand.Rand, words ...string) string { return words[r.IntN(len(words))] }

// km is a distance that a retailer might write down.
func km(r *rand.Rand, most int) int { return 10 * (1 + r.IntN(most/10)) }

// looks is lower,upper of a pair.
func looks(r *rand.Rand) string {
	a := km(r, 600)
	switch r.IntN(4) {
	case 0:
		return fmt.Sprintf("0,%d", a)
	case 1:
		return fmt.Sprintf("%d,", a)
	case 2:
		return fmt.Sprintf("%d,%d", a, a)
	}
	return fmt.Sprintf("%d,%d", a, a+km(r, 300))
}

var everyStatistic = []lawful{
	{
		args: "shares --of v --by g", columns: "v,g,n", first: []string{"a,x", "b,x", "c,x", "a,y", "b,y", "c,y"}, rows: 60,
		row: func(r *rand.Rand) string { return pick(r, "a", "b", "c") + "," + pick(r, "x", "y") },
	},
	{
		args: "shares --of v --cluster c", columns: "v,c,n", first: []string{"a,1", "b,1", "a,2", "b,3", "a,4"}, rows: 40,
		row: func(r *rand.Rand) string { return pick(r, "a", "b") + "," + pick(r, "1", "2", "3", "4") },
	},
	{
		args: "difference --hits y --size m --by g", columns: "g,y,m,n", first: []string{"x,1,4", "y,2,4", "z,0,3"}, rows: 20,
		row: func(r *rand.Rand) string {
			return pick(r, "x", "y", "z") + "," + strconv.Itoa(r.IntN(5)) + "," + strconv.Itoa(5+r.IntN(9))
		},
	},
	{
		args: "association --rows a --cols b", columns: "a,b,n", first: []string{"p,x", "q,x", "r,x", "p,y", "p,z"}, rows: 80,
		row: func(r *rand.Rand) string { return pick(r, "p", "q", "r") + "," + pick(r, "x", "y", "z") },
	},
	{
		args: "association --rows a --cols b --exact", columns: "a,b,n", first: []string{"p,x", "q,x", "r,x", "p,y", "p,z"}, rows: 20,
		row: func(r *rand.Rand) string { return pick(r, "p", "q", "r") + "," + pick(r, "x", "y", "z") },
	},
	{
		args: "association --rows a --cols b", columns: "a,b,n", first: []string{"p,x", "q,x", "p,y"}, rows: 30,
		row: func(r *rand.Rand) string { return pick(r, "p", "q") + "," + pick(r, "x", "y") },
	},
	{
		args: "life --time t --event e --by g --strata s --tau 200", columns: "t,e,g,s,n", first: []string{"600,0,x,u", "600,0,y,v", "600,0,z,v"}, rows: 80,
		row: func(r *rand.Rand) string {
			return fmt.Sprintf("%d,%d,%s,%s", km(r, 500), r.IntN(2), pick(r, "x", "y", "z"), pick(r, "u", "v"))
		},
	},
	{
		args: "life --lower l --upper u --by g --given 100 --bootstrap 40", columns: "l,u,g,n", first: []string{"100,200,x", "100,300,y"}, rows: 60,
		row: func(r *rand.Rand) string { return looks(r) + "," + pick(r, "x", "y") },
	},
	{
		args: "life --time t --worn w --current-status --by g --given 50 --bootstrap 40 --conf 0.97", columns: "t,w,g,n", first: []string{"10,0,x", "20,0,y"}, rows: 60,
		row: func(r *rand.Rand) string {
			t := km(r, 600)
			return fmt.Sprintf("%d,%d,%s", t, min(1, r.IntN(600)/(601-t)), pick(r, "x", "y"))
		},
	},
	{
		args: "regress --lower l --upper u --on g,m", columns: "l,u,g,m,n", first: []string{"100,200,x,70", "100,300,y,80"}, rows: 80,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%s,%s,%d", looks(r), pick(r, "x", "y"), 60+r.IntN(5)) },
	},
	{
		args: "tail --expected p --hits 9", columns: "p,n", first: []string{".1"}, rows: 40,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%.2f", r.Float64()/2) },
	},
	{
		args: "funnel --hits y --size m --by g", columns: "g,y,m,n", first: []string{"x,1,4", "y,2,4", "z,0,3"}, rows: 20,
		row: func(r *rand.Rand) string {
			return pick(r, "x", "y", "z") + "," + strconv.Itoa(r.IntN(5)) + "," + strconv.Itoa(5+r.IntN(9))
		},
	},
	{
		args: "pool --hits y --size m --by g", columns: "g,y,m,n", first: []string{"a,1,4", "b,2,4", "c,0,3", "d,1,7", "e,5,9", "f,1,2", "g,2,3", "h,4,5", "i,0,9", "j,2,8", "k,3,3"}, rows: 30,
		row: func(r *rand.Rand) string {
			return string(rune('a'+r.IntN(11))) + "," + strconv.Itoa(r.IntN(5)) + "," + strconv.Itoa(5+r.IntN(9))
		},
	},
	{
		args: "trend --hits y --size m --score s", columns: "s,y,m,n", first: []string{"1,1,4"}, rows: 20,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%d,%d,%d", r.IntN(6), r.IntN(5), 5+r.IntN(9)) },
	},
	{
		args: "match --first a --second b", columns: "a,b,n", first: []string{"p,p", "q,q", "r,r", "p,q"}, rows: 60,
		row: func(r *rand.Rand) string { return pick(r, "p", "q", "r") + "," + pick(r, "p", "q", "r") },
	},
	{
		args: "match --first a --second b", columns: "a,b,n", first: []string{"no,no", "yes,no"}, rows: 40,
		row: func(r *rand.Rand) string { return pick(r, "no", "yes") + "," + pick(r, "no", "yes") },
	},
	{
		args: "agreement --first a --second b", columns: "a,b,n", first: []string{"1,1", "2,2", "3,3", "1,2"}, rows: 60,
		row: func(r *rand.Rand) string { return pick(r, "1", "2", "3") + "," + pick(r, "1", "2", "3") },
	},
	{
		args: "agreement --item i --rater r --grade g --scale ordinal", columns: "i,r,g,n",
		first: []string{"a,x,1", "a,y,2", "a,z,3", "b,x,1", "c,x,2", "d,x,3", "e,x,1"}, rows: 60,
		row: func(r *rand.Rand) string {
			return pick(r, "a", "b", "c", "d", "e") + "," + pick(r, "x", "y", "z") + "," + pick(r, "1", "2", "3")
		},
	},
	{
		args: "agreement --item i --rater r --grade g --scale interval", columns: "i,r,g,n",
		first: []string{"a,x,1", "a,y,2", "a,z,3", "b,x,1", "c,x,2", "d,x,3", "e,x,1"}, rows: 60,
		row: func(r *rand.Rand) string {
			return fmt.Sprintf("%s,%s,%.1f", pick(r, "a", "b", "c", "d", "e"), pick(r, "x", "y", "z"), 4*r.Float64())
		},
	},
	{
		args: "limits --first a --second b", columns: "a,b,n", first: []string{"1,2"}, rows: 60,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%.1f,%.1f", 9*r.Float64(), 9*r.Float64()) },
	},
	{
		args: "heaping --value v --range 0:999", columns: "v,n", first: []string{"100"}, rows: 60,
		row: func(r *rand.Rand) string { return strconv.Itoa(r.IntN(1200)) },
	},
	{
		args: "misread --patterns x,y,z --bootstrap 40", columns: "x,y,z,n", first: []string{"1,1,1", "1,1,2", "1,2,1", "1,2,2", "2,1,1", "2,1,2", "2,2,1", "2,2,2"}, rows: 60,
		row: func(r *rand.Rand) string {
			truth := pick(r, "1", "2")
			read := func() string {
				if r.IntN(5) == 0 {
					return pick(r, "1", "2")
				}
				return truth
			}
			return read() + "," + read() + "," + read()
		},
	},
	{
		args: "misread --item i --rater r --grade g", columns: "i,r,g,n",
		first: []string{"a,x,1", "a,y,2", "b,x,1", "b,z,1", "c,x,2", "d,x,2", "e,x,1"}, rows: 60,
		row: func(r *rand.Rand) string {
			return pick(r, "a", "b", "c", "d", "e") + "," + pick(r, "x", "y", "z") + "," + pick(r, "1", "2")
		},
	},
	{
		args: "run-length --kind ra --expected p --h 2", columns: "p,n", first: []string{".1"}, rows: 9,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%.2f", .01+r.Float64()/5) },
	},
	{
		args: "chart --kind p --order t --hits y --size m", columns: "t,y,m", first: []string{"0,1,9"}, rows: 30, alone: true,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%d,%d,%d", 1+r.IntN(1<<40), r.IntN(9), 9+r.IntN(9)) },
	},
	{
		args: "chart --kind ewma --order t --value v", columns: "t,v", first: []string{"0,1"}, rows: 30, alone: true,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%d,%.1f", 1+r.IntN(1<<40), 9*r.Float64()) },
	},
	{
		args: "chart --kind cusum --order t --value v", columns: "t,v", first: []string{"0,1"}, rows: 30, alone: true,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%d,%.1f", 1+r.IntN(1<<40), 9*r.Float64()) },
	},
	{
		args: "chart --kind ra-cusum --order t --event e --expected p --h 2", columns: "t,e,p", first: []string{"0,1,.1"}, rows: 60, alone: true,
		row: func(r *rand.Rand) string {
			return fmt.Sprintf("%d,%d,%.2f", 1+r.IntN(1<<40), r.IntN(2), .05+.5*r.Float64())
		},
	},
	{
		args: "adjust --p p", columns: "p", first: []string{".1"}, rows: 0, alone: true,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%.3f", r.Float64()) },
	},
	{
		args: "symmetry --left a --right b --by i", columns: "i,a,b", first: []string{"x,1,2", "y,0,0"}, rows: 0, alone: true,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%d,%d,%d", r.IntN(1<<40), r.IntN(9), r.IntN(9)) },
	},
	{
		args: "near --item i --to 7", columns: "i,a,b,c", first: []string{"7,1,2,p", "y,0,0,q", "z,3,1,p"}, rows: 0, alone: true,
		row: func(r *rand.Rand) string {
			return fmt.Sprintf("%d,%d,%d,%s", r.IntN(1<<40), r.IntN(9), r.IntN(9), pick(r, "p", "q"))
		},
	},
	{
		args: "near --item i", columns: "i,a,b,c", first: []string{"x,1,2,p", "y,0,0,q", "z,3,1,p"}, rows: 0, alone: true,
		row: func(r *rand.Rand) string {
			return fmt.Sprintf("%d,%d,%d,%s", r.IntN(1<<40), r.IntN(9), r.IntN(9), pick(r, "p", "q"))
		},
	},
	{
		args: "misread --hits y --size m --se-hits a --se-size b --sp-hits c --sp-size d --by g", columns: "g,y,m,a,b,c,d,n",
		first: []string{"x,1,4,8,9,8,9", "y,2,4,5,6,7,8"}, rows: 5,
		row: func(r *rand.Rand) string {
			return fmt.Sprintf(pick(r, "x,%d,9,8,9,8,9", "y,%d,9,5,6,7,8"), r.IntN(9))
		},
	},
	{
		args: "trend --value v --order t", columns: "t,v", first: []string{"0,1"}, rows: 30, alone: true,
		row: func(r *rand.Rand) string { return fmt.Sprintf("%d,%d", 1+r.IntN(1<<40), r.IntN(9)) },
	},
}

// file joins a header and rows.
func (l lawful) file(rows []string) string {
	return l.columns + "\n" + strings.Join(rows, "\n") + "\n"
}

// flat lists the numbers of a result in order, their paths beside them; words
// are left out, and so is what tells rows apart that were split.
func flat(v any, path string, paths *[]string, numbers *[]float64) {
	switch in := v.(type) {
	case map[string]any:
		keys := make([]string, 0, len(in))
		for key := range in {
			keys = append(keys, key)
		}
		slices.Sort(keys)
		for _, key := range keys {
			flat(in[key], path+"."+key, paths, numbers)
		}
	case []any:
		for i, item := range in {
			flat(item, path+"."+strconv.Itoa(i), paths, numbers)
		}
	case float64:
		*paths, *numbers = append(*paths, path), append(*numbers, in)
	case nil:
		*paths, *numbers = append(*paths, path), append(*numbers, math.Inf(1))
	}
}

// alike reports where two results differ by more than 1e-9 of the larger
// number, or of 1.
func alike(t *testing.T, law string, a, b any) {
	t.Helper()
	const tolerance = 1e-9
	var pa, pb []string
	var na, nb []float64
	flat(a, "", &pa, &na)
	flat(b, "", &pb, &nb)
	if !slices.Equal(pa, pb) {
		t.Errorf("%s: the results have other keys", law)
		return
	}
	for i, v := range na {
		if d := math.Abs(v - nb[i]); v != nb[i] && !(d <= tolerance*math.Max(1, math.Max(math.Abs(v), math.Abs(nb[i])))) {
			t.Errorf("%s: %s is %v and %v", law, pa[i], v, nb[i])
		}
	}
}

func TestNoStatisticDependsOnHowItsRowsAreWritten(t *testing.T) {
	for i, l := range everyStatistic {
		t.Run(fmt.Sprintf("%d %s", i, l.args), func(t *testing.T) {
			r := rand.New(rand.NewPCG(uint64(i), 7))
			rows := slices.Clone(l.first)
			for range l.rows {
				rows = append(rows, l.row(r))
			}
			args := l.args
			if !l.alone {
				args += " --count n"
				for i := range rows {
					rows[i] += "," + strconv.Itoa(1+r.IntN(4))
				}
			}
			want := result(t, l.file(rows), args)
			for _, path := range nulls(want, "") {
				t.Errorf("%s is null without a why", path)
			}

			mixed := slices.Clone(rows)
			tail := mixed[len(l.first):]
			r.Shuffle(len(tail), func(i, j int) { tail[i], tail[j] = tail[j], tail[i] })
			alike(t, "other order", want, result(t, l.file(mixed), args))

			if !l.alone {
				var split, single []string
				for _, row := range rows {
					cut := strings.LastIndexByte(row, ',')
					n, err := strconv.Atoi(row[cut+1:])
					if err != nil {
						t.Fatal(err)
					}
					split = append(split, row[:cut]+",0", row[:cut]+","+strconv.Itoa(n/2), row[:cut]+","+strconv.Itoa(n-n/2))
					for range n {
						single = append(single, row[:cut]+",1")
					}
				}
				alike(t, "split counts", want, result(t, l.file(split), args))
				alike(t, "a row a pair", want, result(t, l.file(single), l.args))
			}
		})
	}
}

func TestNoStatisticDependsOnTheNamesOfItsGroups(t *testing.T) {
	for i, l := range everyStatistic {
		t.Run(fmt.Sprintf("%d %s", i, l.args), func(t *testing.T) {
			r := rand.New(rand.NewPCG(uint64(i), 7))
			rows := slices.Clone(l.first)
			for range l.rows {
				rows = append(rows, l.row(r))
			}
			renamed := slices.Clone(rows)
			for i, row := range rows {
				cells := strings.Split(row, ",")
				for k, c := range cells {
					if c != "" && (c[0] >= 'a' && c[0] <= 'z') {
						cells[k] = "Ω " + c // in the same sort order
					}
				}
				renamed[i] = strings.Join(cells, ",")
			}
			l.columns = strings.TrimSuffix(l.columns, ",n")
			alike(t, "other names", result(t, l.file(rows), l.args), result(t, l.file(renamed), l.args))
		})
	}
}

// oddCells are what a careless export may hold.
var oddCells = []string{
	"", "NA", "0", "1", "2", "-1", "0.5", "-0", "1e308", "-1e308", "1e-308", "5e-324", "9007199254740993", "1e999", "NaN", "Inf",
	"a", "b", "\"x, y\"", " 3 ", "+4", "3.", ".5", "1e3", "0x1p3", "1_000", "\xff",
}

func TestAFileOfWhichEveryRowIsDroppedIsAnswered(t *testing.T) {
	for i, l := range everyStatistic {
		if strings.HasPrefix(l.args, "near") {
			continue // only an item without a name is dropped
		}
		together, _, _ := strings.Cut(l.args, " --by ")
		for _, args := range []string{l.args, together} {
			t.Run(fmt.Sprintf("%d %s", i, args), func(t *testing.T) {
				l.columns = strings.TrimSuffix(l.columns, ",n")
				csv := l.file([]string{strings.Repeat("NA,", strings.Count(l.columns, ",")) + "NA"})
				var out bytes.Buffer
				err := Run(append(strings.Fields(args), "-"), Console{Stdin: strings.NewReader(csv), Stdout: &out, Stderr: &out})
				if _, usage := errors.AsType[*UsageError](err); usage {
					return // --by names the unit
				}
				if err != nil {
					t.Fatal(err)
				}
				var v any
				if err := json.Unmarshal(out.Bytes(), &v); err != nil {
					t.Fatal(err)
				}
				if n := at(t, v, "dropped.count"); n != 1.0 {
					t.Errorf("%v rows dropped, want 1", n)
				}
				for _, path := range nulls(v, "") {
					t.Errorf("%s is null without a why", path)
				}
			})
		}
	}
}

func TestOddCellsGiveAnAnswerOrAReasonNeverNaN(t *testing.T) {
	const files = 40 // 300 find no more
	for i, l := range everyStatistic {
		t.Run(fmt.Sprintf("%d %s", i, l.args), func(t *testing.T) {
			answered := 0
			for seed := range uint64(files) {
				r := rand.New(rand.NewPCG(seed, uint64(i)))
				rows := slices.Clone(l.first[:r.IntN(len(l.first)+1)])
				for range r.IntN(8) {
					rows = append(rows, l.row(r))
				}
				width := strings.Count(l.columns, ",") + 1
				args := l.args
				if !l.alone {
					args += " --count n"
					for i := range rows {
						rows[i] += "," + pick(r, "0", "1", "2", "30")
					}
				}
				for range r.IntN(3) {
					if len(rows) == 0 {
						break
					}
					at := r.IntN(len(rows))
					cells := strings.Split(rows[at], ",")
					if len(cells) == width {
						cells[r.IntN(width)] = pick(r, oddCells...)
						rows[at] = strings.Join(cells, ",")
					}
				}
				var out bytes.Buffer
				csv := l.file(rows)
				err := Run(append(strings.Fields(args), "-"), Console{Stdin: strings.NewReader(csv), Stdout: &out, Stderr: &out})
				if _, usage := errors.AsType[*UsageError](err); usage && !strings.HasPrefix(err.Error(), "--to: no item") {
					t.Fatalf("%v over\n%s", err, csv)
				} else if usage {
					continue
				}
				if err != nil {
					if !strings.Contains(err.Error(), "line ") && !strings.Contains(err.Error(), "column ") {
						t.Errorf("error %q names no place, over\n%s", err, csv)
					}
					continue
				}
				answered++
				var v any
				if err := json.Unmarshal(out.Bytes(), &v); err != nil {
					t.Fatalf("%v in %s over\n%s", err, &out, csv)
				}
				for _, path := range nulls(v, "") {
					t.Errorf("%s is null without a why, over\n%s", path, csv)
				}
			}
			if answered < files/10 {
				t.Errorf("only %d of %d files were answered", answered, files)
			}
		})
	}
}
