package tally

import (
	"flag"
	"strings"
)

// options are the flags of every statistic, each registered where it is read.
type options struct {
	given map[string]bool

	by, levels, twoByTwo         list
	count, of, hits, size        string
	cluster, rows, cols, p       string
	time, event, lower, upper    string
	worn, strata, score, value   string
	order, expected              string
	first, second, item, rater   string
	grade, left, right           string
	seHits, seSize               string
	spHits, spSize, to           string
	patterns, columns, on, ref   list
	ci, kind, scale              string
	baseline, span               string
	conf, tau, given0, risk      float64
	sigma, lambda, width, target float64
	sd, k, h, odds, trueOdds     float64
	shift, p0, share             float64
	seed                         uint64
	bootstrap, failures, m       int
	json, exact, currentStatus   bool
}

// list is a flag of comma-separated names.
type list []string

func (l *list) String() string { return strings.Join(*l, ",") }

func (l *list) Set(s string) error {
	*l = strings.Split(s, ",")
	return nil
}

var commonFlags = []string{"by", "count", "conf", "seed", "levels", "json"}

// register binds the flags named to their fields.
func (o *options) register(fs *flag.FlagSet, flags []string) {
	text := func(p *string, standard, usage string) func(string) {
		return func(name string) { fs.StringVar(p, name, standard, usage) }
	}
	number := func(p *float64, standard float64, usage string) func(string) {
		return func(name string) { fs.Float64Var(p, name, standard, usage) }
	}
	whole := func(p *int, standard int, usage string) func(string) {
		return func(name string) { fs.IntVar(p, name, standard, usage) }
	}
	yes := func(p *bool, usage string) func(string) {
		return func(name string) { fs.BoolVar(p, name, false, usage) }
	}
	several := func(p *list, usage string) func(string) {
		return func(name string) { fs.Var(p, name, usage) }
	}
	bind := map[string]func(string){
		"by":             several(&o.by, "`COL[,COL]` that make the groups"),
		"count":          text(&o.count, "", "`COL` with how often a row stands"),
		"conf":           number(&o.conf, 0.95, "`confidence` of every interval"),
		"seed":           func(name string) { fs.Uint64Var(&o.seed, name, 1, "`number` that fixes the random parts") },
		"levels":         several(&o.levels, "ordered categories `a,b,c`, unused ones included"),
		"json":           yes(&o.json, "JSON on a terminal too"),
		"of":             text(&o.of, "", "`COL` whose levels are counted"),
		"hits":           text(&o.hits, "", "`COL` with the number of hits"),
		"size":           text(&o.size, "", "`COL` with the number of pairs"),
		"cluster":        text(&o.cluster, "", "`COL` that names whose pairs belong together"),
		"rows":           text(&o.rows, "", "`COL` of the table's rows"),
		"cols":           text(&o.cols, "", "`COL` of the table's columns"),
		"two-by-two":     several(&o.twoByTwo, "the four `columns` a,b,c,d of one 2×2 table a row"),
		"exact":          yes(&o.exact, "make the exact test"),
		"p":              text(&o.p, "", "`COL` with p-values"),
		"time":           text(&o.time, "", "`COL` with the distance"),
		"event":          text(&o.event, "", "`COL` with 1 for failed, 0 for sound"),
		"ci":             text(&o.ci, "log-log", "`scale` of the curve's limits: log-log, log or plain"),
		"tau":            number(&o.tau, 0, "`distance` to which the mean life is taken"),
		"strata":         text(&o.strata, "", "`COL` within which groups are compared"),
		"lower":          text(&o.lower, "", "`COL` last seen sound"),
		"upper":          text(&o.upper, "", "`COL` first seen worn, empty for sound so far"),
		"bootstrap":      whole(&o.bootstrap, 0, "`number` of resamples for a band or interval"),
		"worn":           text(&o.worn, "", "`COL` with 1 for worn, 0 for sound"),
		"current-status": yes(&o.currentStatus, "each pair was looked at once"),
		"given":          number(&o.given0, 0, "`distance` at which the pair is sound"),
		"risk":           number(&o.risk, 0.2, "conditional `risk` to be reached"),
		"kind":           text(&o.kind, "", "which `chart`"),
		"order":          text(&o.order, "", "`COL` that puts the points in time"),
		"value":          text(&o.value, "", "`COL` with the measurement"),
		"baseline":       text(&o.baseline, "", "orders `FROM:TO` that the centre is learnt from"),
		"sigma":          number(&o.sigma, 3, "half `width` of the limits in standard errors"),
		"lambda":         number(&o.lambda, 0.2, "`weight` of the newest value"),
		"width":          number(&o.width, 3, "half `width` of an EWMA's limits"),
		"target":         number(&o.target, 0, "`value` or share to be held against"),
		"sd":             number(&o.sd, 0, "standard `deviation` of the process"),
		"k":              number(&o.k, 0.5, "`allowance` in standard deviations"),
		"h":              number(&o.h, 4, "decision `limit`"),
		"expected":       text(&o.expected, "", "`COL` with the expected probability of failing"),
		"odds":           number(&o.odds, 2, "odds `ratio` watched for"),
		"true-odds":      number(&o.trueOdds, 1, "odds `ratio` that is true"),
		"shift":          number(&o.shift, 0, "`shift` of the mean in standard deviations"),
		"p0":             number(&o.p0, 0, "`share` that fails in control"),
		"score":          text(&o.score, "", "`COL` with the score of each share"),
		"first":          text(&o.first, "", "`COL` of the first reading"),
		"second":         text(&o.second, "", "`COL` of the second reading"),
		"left":           text(&o.left, "", "`COL` of the left shoe"),
		"right":          text(&o.right, "", "`COL` of the right shoe"),
		"range":          text(&o.span, "", "whole numbers `FROM:TO` that are read"),
		"item":           text(&o.item, "", "`COL` that names the item"),
		"rater":          text(&o.rater, "", "`COL` that names the rater"),
		"grade":          text(&o.grade, "", "`COL` with the grade"),
		"scale":          text(&o.scale, "nominal", "`scale` of the grades: nominal, ordinal or interval"),
		"patterns":       several(&o.patterns, "the `columns` of all raters, a row for each pattern of grades"),
		"se-hits":        text(&o.seHits, "", "`COL` with how many pairs known worn were read so"),
		"se-size":        text(&o.seSize, "", "`COL` with how many pairs known worn were read"),
		"sp-hits":        text(&o.spHits, "", "`COL` with how many pairs known sound were read so"),
		"sp-size":        text(&o.spSize, "", "`COL` with how many pairs known sound were read"),
		"to":             text(&o.to, "", "the `item` that others are compared with"),
		"columns":        several(&o.columns, "the `columns` compared, all others without it"),
		"on":             several(&o.on, "`COL[,COL]` that lives may depend on"),
		"ref":            several(&o.ref, "reference levels `COL=LEVEL[,COL=LEVEL]`"),
		// The same words mean a number where no file gives a column of them.
		"hits-number": func(string) { fs.IntVar(&o.failures, "hits", 0, "`number` of failures seen") },
		"m-number":    func(string) { fs.IntVar(&o.m, "m", 0, "`number` m of the reference value 1/m") },
		"p-number":    func(string) { fs.Float64Var(&o.share, "p", 0, "`share` that fails; --p0 where it isn't given") },
	}
	for _, name := range flags {
		bind[name](name)
	}
}
