package tally

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// data reads one of the published data sets, without the lines that say where
// it is from.
func data(t *testing.T, name string) string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join("..", "stats", "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for s := bufio.NewScanner(bytes.NewReader(raw)); s.Scan(); {
		if !strings.HasPrefix(s.Text(), "#") {
			b.WriteString(s.Text() + "\n")
		}
	}
	return b.String()
}

// long turns a table of items by raters into a row a grade.
func long(t *testing.T, name string) string {
	t.Helper()
	b := "item,rater,grade\n"
	lines := strings.Split(strings.TrimSpace(data(t, name)), "\n")
	for _, line := range lines[1:] {
		cells := strings.Split(line, ",")
		for rater, grade := range cells[1:] {
			b += cells[0] + "," + strconv.Itoa(rater) + "," + grade + "\n"
		}
	}
	return b
}

// counted turns a table of how many raters gave each grade into a row a grade.
func counted(t *testing.T, name string) string {
	t.Helper()
	b := "item,rater,grade\n"
	lines := strings.Split(strings.TrimSpace(data(t, name)), "\n")
	for _, line := range lines[1:] {
		cells := strings.Split(line, ",")
		rater := 0
		for grade, times := range cells[1:] {
			n, err := strconv.Atoi(times)
			if err != nil {
				t.Fatal(err)
			}
			for range n {
				b += cells[0] + "," + strconv.Itoa(rater) + "," + strconv.Itoa(grade) + "\n"
				rater++
			}
		}
	}
	return b
}

// result runs the command on a CSV and decodes what it printed.
func result(t *testing.T, csv, args string) any {
	t.Helper()
	var out bytes.Buffer
	words := strings.Fields(args)
	if csv != "" { // some run lengths read no file
		words = append(words, "-")
	}
	if err := Run(words, Console{Stdin: strings.NewReader(csv), Stdout: &out, Stderr: &out}); err != nil {
		t.Fatalf("tally %s: %v", args, err)
	}
	var v any
	if err := json.Unmarshal(out.Bytes(), &v); err != nil {
		t.Fatalf("tally %s: %v in %s", args, err, &out)
	}
	return v
}

// at follows a path of keys and indexes, such as groups.0.median.
func at(t *testing.T, v any, path string) any {
	t.Helper()
	for key := range strings.SplitSeq(path, ".") {
		switch in := v.(type) {
		case map[string]any:
			next, ok := in[key]
			if !ok {
				t.Fatalf("%s: no key %q", path, key)
			}
			v = next
		case []any:
			i, err := strconv.Atoi(key)
			if err != nil || i >= len(in) {
				t.Fatalf("%s: no element %q of %d", path, key, len(in))
			}
			v = in[i]
		default:
			t.Fatalf("%s: nothing below %q", path, key)
		}
	}
	return v
}

func TestPublishedValues(t *testing.T) {
	for _, c := range []struct {
		name, args, file, csv, source string
		tolerance                     float64
		want                          want
	}{
		{
			name: "a share has its Wilson interval", args: "shares --hits y --size n", csv: "y,n\n81,263\n",
			tolerance: 5e-5, want: want{"n": 1, "groups.0.levels.0.low": 0.2553, "groups.0.levels.0.high": 0.3662},
			source: "Newcombe RG (1998) Stat Med 17:857-872, Table I, method 3",
		},
		{
			name: "two shares differ within Newcombe's limits", args: "difference --hits y --size n --by g", csv: "g,y,n\na,56,70\nb,48,80\n",
			tolerance: 5e-5, want: want{"pairs.0.difference": 0.2, "pairs.0.low": 0.0524, "pairs.0.high": 0.3339},
			source: "Newcombe RG (1998) Stat Med 17:873-890, Table II (a), method 10",
		},
		{
			name: "the lady tasting tea", args: "association --two-by-two a,b,c,d --by id", csv: "id,a,b,c,d\ntea,3,1,1,3\n",
			tolerance: 5e-5, want: want{"groups.0.p_two": 0.4857, "groups.0.p_greater": 0.2429},
			source: "Fisher RA (1935) The Design of Experiments; R help of fisher.test",
		},
		{
			name: "fifteen tests are adjusted", args: "adjust --p p",
			csv:       "p\n.0001\n.0004\n.0019\n.0095\n.0201\n.0278\n.0298\n.0344\n.0459\n.3240\n.4262\n.5719\n.6528\n.7590\n1\n",
			tolerance: 1e-9, want: want{"bh.3": 15 * .0095 / 4, "bonferroni.2": .0285, "holm.3": 12 * .0095},
			source: "Benjamini Y, Hochberg Y (1995) JRSS B 57:289-300, section 4, with its formulas",
		},
		{
			name: "leukaemia in remission", args: "life --time time --event cens --by treat", file: "freireich_6mp.csv",
			tolerance: 5e-3, want: want{"logrank.chi2": 16.79, "groups.0.median": 8, "groups.1.median": 23, "groups.1.events": 9, "logrank.expected.0": 10.75},
			source: "Freireich EJ et al. (1963) Blood 21:699-716; Cox DR, Oakes D (1984); R survdiff",
		},
		{
			name: "maintained remission", args: "life --time time --event status --by x --ci plain", file: "aml.csv",
			tolerance: 5e-2, want: want{"logrank.chi2": 3.4, "groups.0.median": 31, "groups.1.median": 23},
			source: "Miller RG (1997) Survival Analysis; R survdiff(Surv(time, status) ~ x, aml)",
		},
		{
			name: "a censored Weibull life", args: "life --time hours --event failed --count count", file: "nist_weibull_censored.csv",
			tolerance: 5e-3, want: want{"groups.0.weibull.shape": 1.7208, "groups.0.weibull.scale": 606.5280, "n": 20},
			source: "NIST/SEMATECH e-Handbook 8.4.1.3",
		},
		{
			name: "cosmesis seen in intervals", args: "life --lower left --upper right --by treatment", file: "breast_cosmesis.csv",
			tolerance: 5e-4, want: want{"score.chi2": 2.6684 * 2.6684, "score.p": 0.007622, "score.df": 1},
			source: "[M] Fay MP, Shaw PA (2010) J Stat Softw 36(2), ictest on bcos: Z = 2.6684, p = 0.007622",
		},
		{
			name: "orange juice cans", args: "chart --kind p --order sample --hits nonconforming --size n", file: "p_chart_orange_juice.csv",
			tolerance: 1e-4, want: want{"groups.0.points.0.centre": 0.2313, "groups.0.points.0.low": 0.0524, "groups.0.points.0.high": 0.4102},
			source: "Montgomery DC, Introduction to Statistical Quality Control, example of the p chart",
		},
		{
			name: "defects on wafers", args: "chart --kind c --order wafer --value defects", file: "c_chart_nist_wafers.csv",
			tolerance: 5e-2, want: want{"groups.0.points.0.centre": 16, "groups.0.points.0.low": 4, "groups.0.points.0.high": 28},
			source: "NIST/SEMATECH e-Handbook 6.3.3.1",
		},
		{
			name: "an average weighted towards the newest", args: "chart --kind ewma --order t --value x --lambda 0.3 --target 50 --sd 2.0539", file: "nist_ewma.csv",
			tolerance: 1e-2, want: want{"groups.0.points.0.value": 50.6, "groups.0.points.1.value": 49.52, "groups.0.points.4.value": 50.16, "groups.0.points.19.high": 52.5884},
			source: "NIST/SEMATECH e-Handbook 6.3.2.4",
		},
		{
			name: "how long a chart stays quiet", args: "run-length --kind normal --k 0.5 --h 4 --shift 1",
			tolerance: 1e-2, want: want{"arl_one": 8.38},
			source: "NIST/SEMATECH e-Handbook 6.3.2.3.1, table of ARL",
		},
		{
			name: "sediment in the Rhine", args: "trend --value s --order year", file: "maxau_s.csv",
			tolerance: 1e-4, want: want{"groups.0.s": -394, "groups.0.var_s": 10450, "groups.0.z": -3.8445, "groups.0.slope": -0.2876139},
			source: "[M] R package trend, mk.test and sens.slope on maxau",
		},
		{
			name: "thirty patients, six raters", args: "agreement --item item --rater rater --grade grade", csv: counted(t, "fleiss1971_counts.csv"),
			tolerance: 5e-4, want: want{"groups.0.fleiss.kappa": 0.430, "groups.0.fleiss.z": 17.652, "n": 180},
			source: "[M] Fleiss JL (1971) Psychol Bull 76:378-382; z by R package irr, kappam.fleiss",
		},
		{
			name: "four observers on an ordinal scale", args: "agreement --item item --rater rater --grade grade --scale ordinal", csv: long(t, "krippendorff_12x4.csv"),
			tolerance: 5e-4, want: want{"groups.0.alpha": 0.815, "dropped.count": 7},
			source: "[P2] Krippendorff K (2011) Computing Krippendorff's Alpha-Reliability",
		},
		{
			name: "four judges of six targets", args: "agreement --item item --rater rater --grade grade --scale interval", csv: long(t, "shrout_fleiss.csv"),
			tolerance: 5e-3, want: want{"groups.0.icc.icc11.icc": 0.17, "groups.0.icc.icc21.icc": 0.29, "groups.0.icc.icc31.icc": 0.71},
			source: "Shrout PE, Fleiss JL (1979) Psychol Bull 86:420-428, Table 4",
		},
		{
			name: "approval of a prime minister", args: "match --first first --second second --count n",
			csv:       "first,second,n\n1,1,794\n1,0,150\n0,1,86\n0,0,570\n",
			tolerance: 5e-3, want: want{"groups.0.b": 150, "groups.0.c": 86, "groups.0.chi2": 17.356, "n": 1600},
			source: "Agresti A, Categorical Data Analysis, table of approval ratings; chi2 = (150 - 86)²/(150 + 86) without correction",
		},
		{
			name: "two meters of peak flow", args: "limits --first wright1 --second mini1", file: "pefr_bland_altman.csv",
			tolerance: 5e-2, want: want{"groups.0.bias": -2.1, "groups.0.sd": 38.8},
			source: "Bland JM, Altman DG (1986) Lancet i:307-310",
		},
		{
			name: "two shoes of a pair", args: "symmetry --left l --right r", csv: "l,r\n100,110\n",
			tolerance: 1e-9, want: want{"groups.0.rows.0.si": 100 * 10 / 105.},
			source: "Robinson RO et al. (1987) JMPT 10:172-176, its formula",
		},
		{
			name: "two coins", args: "tail --expected p --hits 1", csv: "p\n.5\n.5\n",
			tolerance: 1e-12, want: want{"groups.0.p_at_least": .75, "groups.0.p_at_most": .75, "groups.0.p_mid": .5},
			source: "the binomial distribution with n = 2 by hand",
		},
		{
			name: "even last digits", args: "heaping --value v --range 0:99 --count n", csv: "v,n\n0,1\n11,1\n22,1\n33,1\n44,1\n55,1\n66,1\n77,1\n88,1\n99,1\n",
			tolerance: 1e-9, want: want{"groups.0.chi2": 0, "groups.0.whipple_05": 100, "groups.0.df": 9},
			source: "Shryock HS, Siegel JS (1976): 100 is no preference",
		},
		{
			name: "units against their pooled share", args: "funnel --hits y --size n --by unit", file: "funnel_small.csv",
			tolerance: 5e-5, want: want{"groups.0.share": .12},
			source: "12 of 100 by hand",
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			csv := c.csv
			if c.file != "" {
				csv = data(t, c.file)
			}
			compare(t, result(t, csv, c.args), c.want, c.tolerance, c.source)
		})
	}
}

func compare(t *testing.T, got any, want map[string]float64, tolerance float64, source string) {
	t.Helper()
	for path, number := range want {
		v, ok := at(t, got, path).(float64)
		if !ok || math.Abs(v-number) > tolerance {
			t.Errorf("%s = %v, want %v ± %v (%s)", path, at(t, got, path), number, tolerance, source)
		}
	}
}

func TestTheOrderOfRowsDoesNotMatter(t *testing.T) {
	for _, c := range []struct{ file, args string }{
		{"freireich_6mp.csv", "life --time time --event cens"},
		{"breast_cosmesis.csv", "life --lower left --upper right"},
		{"rfm_mice_lung_tumour.csv", "life --time age_days --worn tumour --current-status"},
		{"veteran_celltype.csv", "association --rows celltype --cols status"},
		{"p_chart_orange_juice.csv", "chart --kind p --order sample --hits nonconforming --size n"},
		{"nile.csv", "trend --value flow --order year"},
	} {
		t.Run(c.file, func(t *testing.T) {
			lines := strings.Split(strings.TrimSpace(data(t, c.file)), "\n")
			want, err := json.Marshal(result(t, strings.Join(lines, "\n"), c.args))
			if err != nil {
				t.Fatal(err)
			}
			slices.Reverse(lines[1:])
			got, err := json.Marshal(result(t, strings.Join(lines, "\n"), c.args))
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("reversed rows give another result:\n%s\n%s", got, want)
			}
		})
	}
}

func TestBadFilesAreRefusedWithTheirPlace(t *testing.T) {
	for name, c := range map[string]struct{ args, csv, want string }{
		"a ragged line":         {"shares --of v", "v,w\na,b\nc\n", "line 3, column 2"},
		"a word for a number":   {"limits --first v --second w", "v,w\n1,2\n3,four\n", `line 3, column "w": "four"`},
		"a missing column":      {"shares --of x", "v,w\na,b\n", `line 1, column "x" is missing`},
		"an empty file":         {"shares --of v", "", "line 1, column 1"},
		"a header alone":        {"shares --of v", "v\n", "line 2, column 1"},
		"more hits than pairs":  {"shares --hits v --size w", "v,w\n3,2\n", `line 2, column "v"`},
		"a level not listed":    {"shares --of v --levels a,b", "v\na\nc\n", `line 3, column "v"`},
		"a quote left open":     {"shares --of v", "v\n\"a\n", "line "},
		"an upper below lower":  {"life --lower v --upper w", "v,w\n5,4\n", `line 2, column "w"`},
		"a negative distance":   {"life --time v --event w", "v,w\n-5,1\n", `line 2, column "v"`},
		"an event that is no 1": {"life --time v --event w", "v,w\n5,2\n", `line 2, column "w"`},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			err := Run(append(strings.Fields(c.args), "-"), Console{Stdin: strings.NewReader(c.csv), Stdout: &out, Stderr: &out})
			if _, wrong := errors.AsType[*UsageError](err); err == nil || wrong || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want a fault of the file with %q", err, c.want)
			}
			if out.Len() > 0 {
				t.Errorf("printed %q beside an error", &out)
			}
		})
	}
}

func TestWrongUsageIsToldApart(t *testing.T) {
	for _, args := range []string{
		"", "nonsense -", "shares --nonsense -", "shares -", "shares --of v", "shares --of v - -",
		"shares --of v --conf 1 -", "life --time v --event v --ci odd -", "chart --kind odd --order v -",
		"difference --hits v --size v -", "heaping --value v --range 9 -", "run-length --kind odd -",
		"adjust --p v --by v -", "association --two-by-two v,v --by v -",
	} {
		t.Run(args, func(t *testing.T) {
			var out bytes.Buffer
			err := Run(strings.Fields(args), Console{Stdin: strings.NewReader("v\n1\n"), Stdout: &out, Stderr: &out})
			if _, ok := errors.AsType[*UsageError](err); !ok {
				t.Errorf("error %v, want a *UsageError", err)
			}
		})
	}
}

func TestEmptyCellsAreDroppedAndCounted(t *testing.T) {
	got := result(t, "v,w\na,1\n,2\nNA,3\nb,4\n", "shares --of v")
	for path, want := range map[string]any{
		"n": 2.0, "dropped.count": 2.0, "dropped.first.0.line": 3.0,
		"dropped.first.0.column": "v", "dropped.first.1.value": "NA", "groups.0.levels.0.share": 0.5,
	} {
		if v := at(t, got, path); v != want {
			t.Errorf("%s = %v, want %v", path, v, want)
		}
	}
}

func TestWhatIsUndefinedIsNullWithItsReason(t *testing.T) {
	for _, c := range []struct{ args, csv, null, why string }{
		{"life --time t --event e", "t,e\n5,0\n6,0\n", "groups.0.weibull", "groups.0.why"},
		{"life --time t --event e --ci log", "t,e\n5,1\n6,0\n", "groups.0.rmst", "groups.0.why"},
		{"shares --of v", "v\na\nb\n", "groups.0.levels.0.deff", "groups.0.levels.0.why"},
		{"symmetry --left l --right r", "l,r\n0,0\n", "groups.0.rows.0.si", "groups.0.rows.0.why"},
		{"association --rows r --cols c", "r,c\na,b\n", "groups.0.chi2", "groups.0.why"},
		{"difference --hits y --size n --by g", "g,y,n\na,1,2\n", "pairs", "why"},
		{"life --lower l --upper u", "l,u\n5,\n6,\n", "groups.0.median", "groups.0.why"},
	} {
		t.Run(c.args, func(t *testing.T) {
			got := result(t, c.csv, c.args)
			if v := at(t, got, c.null); v != nil {
				t.Errorf("%s = %v, want null", c.null, v)
			}
			if v, ok := at(t, got, c.why).(string); !ok || v == "" {
				t.Errorf("%s = %v, want a reason", c.why, v)
			}
		})
	}
}

func TestGroupsStandInOrderOfFirstAppearance(t *testing.T) {
	got := result(t, "g,v\nz,a\nb,a\nz,b\n", "shares --of v --by g")
	if a, b := at(t, got, "groups.0.by.g"), at(t, got, "groups.1.by.g"); a != "z" || b != "b" {
		t.Errorf("groups %v, %v, want z, b", a, b)
	}
}

func TestEveryStatisticExplainsItself(t *testing.T) {
	for _, s := range statistics {
		t.Run(s.name, func(t *testing.T) {
			var out bytes.Buffer
			if err := Run([]string{s.name, "--help"}, Console{Stdin: nil, Stdout: &out, Stderr: &out}); err != nil {
				t.Fatal(err)
			}
			for _, want := range []string{s.help, "Example: solewright tally " + s.name, "--conf"} {
				if !strings.Contains(out.String(), want) {
					t.Errorf("help lacks %q:\n%s", want, &out)
				}
			}
		})
	}
}

func TestATerminalGetsATable(t *testing.T) {
	var out bytes.Buffer
	if err := Run([]string{"shares", "-", "--of", "v"}, Console{Stdin: strings.NewReader("v\na\nb\n"), Stdout: &out, Stderr: &out, Table: true}); err != nil {
		t.Fatal(err)
	}
	if text := out.String(); json.Valid(out.Bytes()) || !strings.Contains(text, "level") || !strings.Contains(text, "0.5") {
		t.Errorf("printed %s", text)
	}
	if strings.Contains(out.String(), "by") {
		t.Error("shows the groups of no --by")
	}
	if strings.Contains(out.String(), "\t") {
		t.Error("columns are not aligned")
	}
}

func TestTheNextDistanceFollowsTheFittedLife(t *testing.T) {
	const risk = 0.2
	got := result(t, data(t, "nist_weibull_censored.csv"), "life --time hours --event failed --count count --given 200 --risk 0.2")
	num := func(path string) float64 { return at(t, got, "groups.0."+path).(float64) }
	beta, eta := num("weibull.shape"), num("weibull.scale")
	// Solving S(t)/S(200) = 1 - risk for t (the definition of conditional risk).
	want := eta * math.Pow(math.Pow(200/eta, beta)-math.Log(1-risk), 1/beta)
	if km := num("next.km"); math.Abs(km-want) > 1e-6 || num("next.low") >= km || num("next.high") <= km || num("next.low") <= 200 {
		t.Errorf("next %v (%v to %v), want %v within limits beyond 200", km, num("next.low"), num("next.high"), want)
	}
	if left, right := num("next.npmle.left"), num("next.npmle.right"); left > right || left < 200 {
		t.Errorf("bracket %v to %v", left, right)
	}
}

func TestTheBandIsSeeded(t *testing.T) {
	csv := data(t, "breast_cosmesis.csv")
	run := func(seed string) any {
		return at(t, result(t, csv, "life --lower left --upper right --bootstrap 40 --seed "+seed), "groups.0.band")
	}
	first, again, other := run("1"), run("1"), run("2")
	a, _ := json.Marshal(first)
	b, _ := json.Marshal(again)
	c, _ := json.Marshal(other)
	if !bytes.Equal(a, b) || bytes.Equal(a, c) {
		t.Errorf("seed 1 twice equal: %v, seed 2 equal: %v", bytes.Equal(a, b), bytes.Equal(a, c))
	}
	for i := range first.([]any) {
		if low, high := at(t, first, strconv.Itoa(i)+".low").(float64), at(t, first, strconv.Itoa(i)+".high").(float64); low > high || low < 0 || high > 1 {
			t.Errorf("band %d: %v to %v", i, low, high)
		}
	}
}
