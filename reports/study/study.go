// Package study measures what the statistics of package stats promise, on data
// whose truth is known: how often a 95 % interval covers, how often a test
// rejects what is true, how long a chart runs between false alarms, and by how
// much an estimate that should not be used is off.
//
// A Scenario is one row of a list: how data are drawn and what is asked of
// them; to add one is to add a row. It answers with one Row for each of its
// Claims. A claim that a method cannot keep says within which range it is known
// to stray, why, and what the page does about it; a row is then held against
// that range. A row that strays without having said so has failed.
//
// Every replicate draws from a stream of its own, keyed by the seed, the
// scenario and its number, and sums go in order of the replicates: the same
// seed gives the same table whatever the number of workers.
package study

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"sync"
	"sync/atomic"

	"solewright/reports/stats"
)

// Replicates is how often a scenario is drawn unless it says otherwise.
const Replicates = 10_000

// Conf is the level of every interval in the study, Size that of every test.
const (
	Conf = 0.95
	Size = 1 - Conf
)

// Tolerance is how many Monte Carlo standard errors a row may lie off.
const Tolerance = 3

// Scenario draws data again and again and asks several questions of each draw.
type Scenario struct {
	// Part groups scenarios that run together, Data says in words what is
	// drawn; both name the row and key its random stream.
	Part, Data string
	// Replicates is how often; 0 means the usual number.
	Replicates int
	Claims     []Claim
	// Try draws once and answers every claim, in order.
	Try func(r *rand.Rand) ([]Outcome, error)
}

// Kind says what the numbers of a claim are.
type Kind string

// The kinds: the share of intervals that cover, of tests that reject, the mean
// number of cases until a signal, or another mean, named by the claim.
const (
	Coverage  Kind = "coverage"
	TestSize  Kind = "size"
	RunLength Kind = "run length"
	Mean      Kind = "mean"
)

// Bound says how an estimate is held against what is wanted.
type Bound string

// The bounds. Below asks for a mean under what is wanted by more than chance;
// Shown asks nothing: the number stands for itself.
const (
	Near    Bound = "near"
	AtLeast Bound = "at least"
	AtMost  Bound = "at most"
	Below   Bound = "below"
	Shown   Bound = "shown"
)

// Claim is what a method promises.
type Claim struct {
	Method string
	Kind   Kind
	Bound  Bound
	Want   float64
	// Strays, where a method cannot keep its promise, says how far and why.
	Strays *Strays
}

// Strays says that a method is known to lie between Low and High, why, and what
// the pages do about it.
type Strays struct {
	Low, High float64
	Why, Page string
}

// strays returns the claim with what is known against it.
func (c Claim) strays(low, high float64, why, page string) Claim {
	c.Strays = &Strays{low, high, why, page}
	return c
}

// covers claims that a method's 95 % interval covers the truth as often.
func covers(method string) Claim {
	return Claim{Method: method, Kind: Coverage, Bound: Near, Want: Conf}
}

// coversAtLeast claims it of an exact method, which may cover more often.
func coversAtLeast(method string) Claim {
	return Claim{Method: method, Kind: Coverage, Bound: AtLeast, Want: Conf}
}

// rejects claims that a test at 5 % rejects what is true as often.
func rejects(method string) Claim {
	return Claim{Method: method, Kind: TestSize, Bound: Near, Want: Size}
}

// rejectsAtMost claims it of an exact test, which may reject less often.
func rejectsAtMost(method string) Claim {
	return Claim{Method: method, Kind: TestSize, Bound: AtMost, Want: Size}
}

// Outcome answers one claim about one draw.
type Outcome struct {
	// Value is 1 or 0 for covered or rejected, else the number to be averaged.
	Value float64
	// Side is −1 where an interval lies wholly below the truth, 1 where above.
	Side int
	// Width is that of an interval with two ends; 0 for any other.
	Width float64
	// None says that the method had no answer for this draw.
	None bool
}

// covered holds an interval against the truth; an open end never misses.
func covered(truth float64, low, high stats.Float) Outcome {
	o := Outcome{Value: 1}
	switch {
	case !low.OK && !high.OK:
		return Outcome{None: true}
	case low.OK && low.V > truth:
		o = Outcome{Side: 1}
	case high.OK && high.V < truth:
		o = Outcome{Side: -1}
	}
	if low.OK && high.OK {
		o.Width = high.V - low.V
	}
	return o
}

func coveredBy(truth, low, high float64) Outcome {
	return covered(truth, stats.Some(low), stats.Some(high))
}

func number(v float64) Outcome { return Outcome{Value: v} }

func yes(is bool) Outcome {
	if is {
		return Outcome{Value: 1}
	}
	return Outcome{}
}

// rejected says what a test at 5 % makes of its p.
func rejected(p float64) Outcome { return yes(p <= Size) }

// none answers n claims where a statistic has no value for the draw. A fault is
// handed on.
func none(n int, err error) ([]Outcome, error) {
	var reason *stats.Reason
	if !errors.As(err, &reason) {
		return nil, err
	}
	all := make([]Outcome, n)
	for i := range all {
		all[i].None = true
	}
	return all, nil
}

// Verdict is what became of a claim.
type Verdict string

// The verdicts. Listed is a method off its promise within the range it says.
const (
	Holds  Verdict = "holds"
	Listed Verdict = "listed"
	Failed Verdict = "FAILED"
)

// Row is one claim measured.
type Row struct {
	Part, Data, Method string
	Kind               Kind
	Bound              Bound
	Want               float64
	// Replicates had an answer, Without none.
	Replicates, Without int
	Estimate, SE        float64
	// Below and Above are the shares of intervals wholly below and above the
	// truth, Width the mean width of those with two ends; 0 for no interval.
	Below, Above, Width float64
	Verdict             Verdict
	// Why and Page are those of what is known against the claim.
	Why, Page string
}

// Off is how far the estimate lies from what is wanted.
func (r *Row) Off() float64 { return r.Estimate - r.Want }

// Options say how to run.
type Options struct {
	Seed    uint64
	Workers int
	// Share of each scenario's replicates that is run; 0 means all.
	Share float64
	// Tolerance in Monte Carlo standard errors; 0 means Tolerance.
	Tolerance float64
}

// leastReplicates keeps a fast run from resting on a handful of draws.
const leastReplicates = 30

// replicates returns how often a scenario is drawn.
func (o Options) replicates(s *Scenario) int {
	n := s.Replicates
	if n == 0 {
		n = Replicates
	}
	if o.Share > 0 {
		n = max(int(float64(n)*o.Share), min(n, leastReplicates))
	}
	return n
}

// Run runs one scenario, until the context ends.
func (s *Scenario) Run(ctx context.Context, o Options) ([]Row, error) {
	n := o.replicates(s)
	key := fnv.New64a()
	fmt.Fprintf(key, "%d\x00%s\x00%s", o.Seed, s.Part, s.Data)
	stream := key.Sum64()
	all := make([][]Outcome, n)
	var (
		next   atomic.Int64
		failed atomic.Pointer[error]
		group  sync.WaitGroup
	)
	for range max(o.Workers, 1) {
		group.Go(func() {
			for failed.Load() == nil && ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				got, err := s.Try(rand.New(rand.NewPCG(stream, uint64(i))))
				if err == nil && len(got) != len(s.Claims) {
					err = fmt.Errorf("%d outcomes for %d claims", len(got), len(s.Claims))
				}
				if err != nil {
					err = fmt.Errorf("%s, %s, replicate %d: %w", s.Part, s.Data, i, err)
					failed.CompareAndSwap(nil, &err)
					return
				}
				all[i] = got
			}
		})
	}
	group.Wait()
	if err := failed.Load(); err != nil {
		return nil, *err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	rows := make([]Row, len(s.Claims))
	for i := range rows {
		rows[i] = s.sum(i, all, o)
	}
	return rows, nil
}

// sum makes the row of claim i.
func (s *Scenario) sum(i int, all [][]Outcome, o Options) Row {
	c := &s.Claims[i]
	row := Row{Part: s.Part, Data: s.Data, Method: c.Method, Kind: c.Kind, Bound: c.Bound, Want: c.Want}
	if c.Strays != nil {
		row.Why, row.Page = c.Strays.Why, c.Strays.Page
	}
	var sum, squares float64
	below, above, wide := 0, 0, 0
	rate := true
	for _, outcomes := range all {
		v := outcomes[i]
		if v.None {
			row.Without++
			continue
		}
		row.Replicates++
		sum += v.Value
		squares += v.Value * v.Value
		rate = rate && (v.Value == 0 || v.Value == 1)
		switch v.Side {
		case -1:
			below++
		case 1:
			above++
		}
		if v.Width > 0 {
			wide++
			row.Width += v.Width
		}
	}
	if row.Replicates == 0 {
		row.Verdict = Failed
		return row
	}
	n := float64(row.Replicates)
	row.Estimate = sum / n
	row.Below, row.Above = float64(below)/n, float64(above)/n
	if wide > 0 {
		row.Width /= float64(wide)
	}
	variance := max(squares/n-row.Estimate*row.Estimate, 0)
	if rate && (c.Kind == Coverage || c.Kind == TestSize) {
		variance = c.Want * (1 - c.Want) // as promised, so that 1 of 1 has an error too
	}
	row.SE = math.Sqrt(variance / n)
	slack := o.Tolerance
	if slack == 0 {
		slack = Tolerance
	}
	row.Verdict = c.verdict(row.Estimate, slack*row.SE)
	return row
}

// verdict holds an estimate, give or take slack, against the claim.
func (c *Claim) verdict(estimate, slack float64) Verdict {
	off := estimate - c.Want
	var kept bool
	switch c.Bound {
	case Near:
		kept = math.Abs(off) <= slack
	case AtLeast:
		kept = off >= -slack
	case AtMost:
		kept = off <= slack
	case Below:
		kept = off < -slack
	case Shown:
		kept = true
	}
	switch {
	case kept:
		return Holds
	case c.Strays != nil && estimate >= c.Strays.Low-slack && estimate <= c.Strays.High+slack:
		return Listed
	}
	return Failed
}

// Run runs scenarios one after another, each over all workers.
func Run(ctx context.Context, scenarios []Scenario, o Options) ([]Row, error) {
	var all []Row
	for i := range scenarios {
		rows, err := scenarios[i].Run(ctx, o)
		if err != nil {
			return nil, err
		}
		all = append(all, rows...)
	}
	return all, nil
}
