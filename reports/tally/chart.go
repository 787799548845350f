package tally

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"solewright/reports/stats"
)

var chartStatistics = []statistic{
	{
		name: "chart", run: (*job).chart,
		flags:   []string{"kind", "order", "hits", "size", "value", "baseline", "sigma", "lambda", "width", "target", "sd", "k", "h", "event", "expected", "odds"},
		help:    "A series in time with its limits: --kind p, u, c, ewma, cusum or ra-cusum. --baseline names the points that the centre is learnt from.",
		example: "--kind p --order month --hits returned --size sold months.csv",
	},
	{
		name: "run-length", run: (*job).runLength,
		flags:   []string{"kind", "k", "h", "shift", "p0", "p-number", "m-number", "expected", "odds", "true-odds"},
		help:    "How many points pass on average before a chart signals: --kind normal, bernoulli or ra. Only ra reads a file.",
		example: "--kind normal --k 0.5 --h 4 --shift 1",
	},
}

type chartRow struct {
	order       string
	first, size float64
}

// chartPlace is a point of a chart by its group and order, a number in one
// form.
type chartPlace struct {
	group int
	order string
}

func (j *job) chart() error {
	if err := j.need("kind", "order"); err != nil {
		return err
	}
	columns := []column{{j.order, text}}
	switch j.kind {
	case "p", "u":
		if err := j.need("hits", "size"); err != nil {
			return err
		}
		columns = append(columns, column{j.hits, whole}, column{j.size, number})
	case "c":
		if j.value == "" {
			j.value = j.hits
		}
		columns = append(columns, column{j.value, whole})
	case "ewma", "cusum":
		columns = append(columns, column{j.value, number})
	case "ra-cusum":
		if err := j.need("event", "expected"); err != nil {
			return err
		}
		columns = append(columns, column{j.event, yesNo}, column{j.expected, number})
	default:
		return usage("--kind: %q: want p, u, c, ewma, cusum or ra-cusum", j.kind)
	}
	if columns[1].name == "" {
		return usage("--value is missing")
	}
	if j.count != "" && j.kind != "p" && j.kind != "u" {
		return usage("--count goes with the kinds p and u: here every row is a point")
	}
	read := j.in.each
	if j.kind == "p" || j.kind == "u" {
		read = j.in.distinct
	}
	var rows [][]chartRow
	points := map[chartPlace]int{}
	numeric := true
	err := read(columns, func(g, count int, c []cell) error {
		if g == len(rows) {
			rows = append(rows, nil)
		}
		r := chartRow{order: c[0].text, first: c[1].num * float64(count)}
		if len(c) > 2 {
			r.size = c[2].num * float64(count)
		}
		switch {
		case j.kind == "p" && r.first > r.size:
			return fmt.Errorf("%q: %s hits among %s", j.hits, c[1].text, c[2].text)
		case j.kind == "u" && (r.size < 0 || r.size == 0 && r.first > 0):
			return fmt.Errorf("%q: %s faults on %s units", j.hits, c[1].text, c[2].text)
		case j.kind == "ra-cusum" && (r.size < 0 || r.size > 1):
			return fmt.Errorf("%q: %s: want 0 to 1", j.expected, c[2].text)
		}
		place := chartPlace{g, c[0].text}
		if v, err := decimal(c[0].text); err != nil {
			numeric = false
		} else {
			place.order = strconv.FormatFloat(v+0, 'g', -1, 64) // −0 is 0
		}
		i, known := points[place]
		switch {
		case j.kind == "ra-cusum": // cases of one order follow each other
			rows[g] = append(rows[g], r)
		case !known:
			points[place] = len(rows[g])
			rows[g] = append(rows[g], r)
		case j.kind == "p" || j.kind == "u": // samples of one order are one
			rows[g][i].first += r.first
			rows[g][i].size += r.size
		default:
			return fmt.Errorf("%q: %s stands twice: here every row is a point", j.order, c[0].text)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if numeric {
		return drawn(j, rows, decimal)
	}
	return drawn(j, rows, func(s string) (string, error) { return s, nil })
}

// drawn makes the charts of all groups, with orders of one type.
func drawn[O cmp.Ordered](j *job, rows [][]chartRow, orderOf func(string) (O, error)) error {
	var baseline *stats.Range[O]
	if j.baseline != "" {
		from, to, ok := strings.Cut(j.baseline, ":")
		a, errA := orderOf(from)
		b, errB := orderOf(to)
		if !ok || errA != nil || errB != nil {
			return usage("--baseline: %q: want FROM:TO, values of --order", j.baseline)
		}
		baseline = &stats.Range[O]{From: a, To: b}
	}
	for name, v := range map[string]float64{"sigma": j.sigma, "lambda": j.lambda, "width": j.width, "k": j.k, "h": j.h} {
		if v <= 0 {
			return usage("--%s: %v: want a number above 0", name, v)
		}
	}
	process := stats.Process[O]{Baseline: baseline}
	if j.given["target"] {
		process.Target = stats.Some(j.target)
	}
	if j.given["sd"] {
		process.SD = stats.Some(j.sd)
	}
	return j.inGroups(func(g int, o *object) error {
		samples := make([]stats.Sample[O], len(rows[g]))
		values := make([]stats.Value[O], len(rows[g]))
		cases := make([]stats.Case[O], len(rows[g]))
		for i, r := range rows[g] {
			at, err := orderOf(r.order)
			if err != nil {
				return err
			}
			samples[i] = stats.Sample[O]{Order: at, Hits: r.first, Size: r.size}
			values[i] = stats.Value[O]{Order: at, Value: r.first}
			cases[i] = stats.Case[O]{Order: at, Failed: r.first == 1, Expected: r.size}
		}
		counts := stats.ChartOptions[O]{Sigma: j.sigma, Baseline: baseline}
		var chart any
		var err error
		switch j.kind {
		case "p":
			chart, err = stats.PChart(samples, counts)
		case "u":
			chart, err = stats.UChart(samples, counts)
		case "c":
			chart, err = stats.CChart(samples, counts)
		case "ewma":
			chart, err = stats.EWMA(values, stats.EWMAOptions[O]{Lambda: j.lambda, Width: j.width, Process: process})
		case "cusum":
			chart, err = stats.CUSUM(values, stats.CUSUMOptions[O]{K: j.k, H: j.h, Process: process})
		case "ra-cusum":
			chart, err = stats.RiskAdjustedCUSUM(cases, j.odds, j.h)
		}
		return o.spread(chart, err, "points")
	})
}

// largestMix bounds the expected probabilities of a run length.
const largestMix = 10_000_000

func (j *job) runLength() error {
	j.out.set("groups", []object{})
	var r *stats.RunLength
	var err error
	switch j.kind {
	case "normal":
		r, err = stats.NormalRunLength(j.k, j.h, j.shift, 0)
	case "bernoulli":
		if !j.given["p"] { // in control
			j.share, j.given["p"] = j.p0, j.given["p0"]
		}
		if err := j.need("p", "m", "h"); err != nil {
			return err
		}
		r, err = stats.BernoulliRunLength(j.share, j.m, j.h)
	case "ra":
		if err := j.need("expected", "h"); err != nil {
			return err
		}
		var expected []float64
		if err := j.in.distinct([]column{{j.expected, number}}, func(_, count int, c []cell) error {
			if len(expected)+count > largestMix {
				return fmt.Errorf("%q: more than %d pairs", j.expected, largestMix)
			}
			for range count {
				expected = append(expected, c[0].num)
			}
			return probability(c[0], j.expected)
		}); err != nil {
			return err
		}
		r, err = stats.RiskRunLength(expected, j.odds, j.h, j.trueOdds)
	default:
		return usage("--kind: %q: want normal, bernoulli or ra", j.kind)
	}
	return j.out.spread(r, err, "arl_one", "arl_two")
}
