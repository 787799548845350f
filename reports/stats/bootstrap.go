package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"
)

// Bootstrap is a percentile interval by resampling.
type Bootstrap struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// Replicates is how many resamples had a value; Skipped how many had none.
	Replicates int `json:"replicates"`
	Skipped    int `json:"skipped"`
}

// BootstrapReplicates is the usual number of resamples for 95 %.
const BootstrapReplicates = 2000

// Resampled draws replicates of data reduced to counts: weights[i]
// independent units (runners, items) share row i. Each replicate draws as
// many units as there are, with replacement, as a multinomial count for each
// row; value returns the statistic for such counts, or false where it has
// none. The interval is the percentile interval: of B values the sorted
// number α/2 (B + 1) from either end. The cost grows with distinct rows, not
// with units. The same seed gives the same interval.
//
// Errors: ErrEmpty for no units, ErrNotReached where fewer than half of the
// resamples have a value, ErrBadInput for a negative weight, fewer than 1
// replicate or conf outside (0, 1).
//
// Source: Efron B, Tibshirani RJ (1993) An Introduction to the Bootstrap.
func Resampled(weights []int, replicates int, seed uint64, conf float64, value func(weights []int) (float64, bool)) (*Bootstrap, error) {
	all, err := resampledEach(weights, replicates, seed, conf, 1, 1, func() evaluation {
		return func(weights []int, values []float64) (ok bool) {
			values[0], ok = value(weights)
			return ok
		}
	})
	if err != nil {
		return nil, err
	}
	return &all[0], nil
}

// evaluation sets the values of the statistics of a resample, or returns false
// where they have none.
type evaluation func(weights []int, values []float64) bool

// resampledEach is Resampled for k statistics of each resample at once. Each
// worker evaluates with an evaluation of its own; all are drawn in one order,
// so that the answer does not depend on how many workers there are.
func resampledEach(weights []int, replicates int, seed uint64, conf float64, k, workers int, evaluator func() evaluation) ([]Bootstrap, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	if replicates < 1 {
		return nil, badInput("%d replicates, must be 1 or more", replicates)
	}
	n := 0
	for i, w := range weights {
		if w < 0 {
			return nil, badInput("row %d has weight %d, must be 0 or more", i+1, w)
		}
		n += w
	}
	if n == 0 {
		return nil, ErrEmpty
	}
	rng := rand.New(rand.NewPCG(seed, 0))
	draw := newResampler(weights, n)
	values := make([]float64, k*replicates) // of one resample after the other
	defined := make([]bool, replicates)
	evaluate := func(value evaluation, replicate int, drawn []int) {
		defined[replicate] = value(drawn, values[k*replicate:k*(replicate+1)])
	}
	if workers < 2 {
		value, drawn := evaluator(), make([]int, len(weights))
		for r := range replicates {
			draw.into(drawn, rng)
			evaluate(value, r, drawn)
		}
	} else {
		type task struct {
			replicate int
			drawn     []int
		}
		tasks, free := make(chan task), make(chan []int, 2*workers)
		for range cap(free) {
			free <- make([]int, len(weights))
		}
		var working sync.WaitGroup
		for range workers {
			working.Go(func() {
				value := evaluator()
				for t := range tasks {
					evaluate(value, t.replicate, t.drawn)
					free <- t.drawn
				}
			})
		}
		for r := range replicates {
			drawn := <-free
			draw.into(drawn, rng)
			tasks <- task{r, drawn}
		}
		close(tasks)
		working.Wait()
	}
	found := make([][]float64, k) // values of each statistic
	held := 0
	for r, ok := range defined {
		if !ok {
			continue
		}
		held++
		for i, v := range values[k*r : k*(r+1)] {
			found[i] = append(found[i], v)
		}
	}
	if 2*held < replicates {
		return nil, ErrNotReached.because("too many resamples have no value for an interval")
	}
	rank := min(held-1, max(0, int(math.Round((1-conf)/2*float64(held+1)))-1))
	all := make([]Bootstrap, k)
	for i, v := range found {
		slices.Sort(v)
		all[i] = Bootstrap{Low: v[rank], High: v[held-1-rank], Replicates: held, Skipped: replicates - held}
	}
	return all, nil
}

// resampler draws multinomial counts: unit by unit where rows hold few units
// each, else row by row as conditional binomials.
type resampler struct {
	weights []int
	n       int
	owner   []int32 // row of each unit; nil for row by row
}

// fewUnits is how many units a row may hold on average for single draws to be
// the faster way.
const fewUnits = 8

func newResampler(weights []int, n int) *resampler {
	r := &resampler{weights: weights, n: n}
	if n <= fewUnits*len(weights) {
		r.owner = make([]int32, 0, n)
		for i, w := range weights {
			for range w {
				r.owner = append(r.owner, int32(i))
			}
		}
	}
	return r
}

func (r *resampler) into(drawn []int, rng *rand.Rand) {
	clear(drawn)
	if r.owner != nil {
		for range r.n {
			drawn[r.owner[rng.IntN(r.n)]]++
		}
		return
	}
	units, left := r.n, r.n
	for i, w := range r.weights {
		if left == 0 {
			return
		}
		if w == units {
			drawn[i] = left
			return
		}
		drawn[i] = drawBinomial(rng, left, float64(w)/float64(units))
		left -= drawn[i]
		units -= w
	}
}

// drawBinomial draws from Bin(n, p) by inversion, walking outward from the
// mode: about one standard deviation of steps.
func drawBinomial(rng *rand.Rand, n int, p float64) int {
	if p <= 0 || n == 0 {
		return 0
	}
	if p >= 1 {
		return n
	}
	mode := min(n, int(float64(n+1)*p))
	peak := binomialPMF(mode, n, p)
	u := rng.Float64() - peak
	if u < 0 {
		return mode
	}
	odds := p / (1 - p)
	down, up := peak, peak
	for i, j := mode, mode; i > 0 || j < n; {
		if j < n {
			up *= odds * float64(n-j) / float64(j+1)
			j++
			if u -= up; u < 0 {
				return j
			}
		}
		if i > 0 {
			down *= float64(i) / (odds * float64(n-i+1))
			i--
			if u -= down; u < 0 {
				return i
			}
		}
		if up == 0 && down == 0 {
			break
		}
	}
	return mode // rounding left a sliver of u beyond the last value
}

// Cluster counts the hits among the pairs of one runner.
type Cluster struct {
	Hits int
	Size int
}

// BootstrapShare returns the percentile interval of a share when pairs come
// in clusters: whole runners are resampled, equal ones counted together.
//
// Errors as Resampled, and ErrBadInput for hits outside 0–size.
func BootstrapShare(clusters []Cluster, replicates int, seed uint64, conf float64) (*Bootstrap, error) {
	count := map[Cluster]int{}
	for i, c := range clusters {
		if c.Hits < 0 || c.Hits > c.Size {
			return nil, badInput("cluster %d has %d hits of %d, must lie in 0 to size", i+1, c.Hits, c.Size)
		}
		if c.Size > 0 {
			count[c]++
		}
	}
	rows := make([]Cluster, 0, len(count))
	for c := range count {
		rows = append(rows, c)
	}
	slices.SortFunc(rows, func(a, b Cluster) int {
		if a.Size != b.Size {
			return a.Size - b.Size
		}
		return a.Hits - b.Hits
	})
	weights := make([]int, len(rows))
	for i, c := range rows {
		weights[i] = count[c]
	}
	return Resampled(weights, replicates, seed, conf, func(w []int) (float64, bool) {
		hits, size := 0, 0
		for i, c := range rows {
			hits += w[i] * c.Hits
			size += w[i] * c.Size
		}
		return float64(hits) / float64(size), size > 0
	})
}
