package stats

import (
	"math"
	"runtime"
	"slices"
)

// TrueClasses are what graders' agreement among themselves says of the truth.
type TrueClasses struct {
	// Prevalence is the share of each level among items.
	Prevalence []float64 `json:"prevalence"`
	// Confusion[k][j][l] is the chance that rater k gives l where j is true;
	// undefined where the rater met no such item.
	Confusion [][][]Float `json:"confusion"`
	// LogLik is without multinomial coefficients.
	LogLik float64 `json:"loglik"`
	// Map is the likeliest level of each item, Certainty its probability. An
	// item without grades has the level that is most common, and its share.
	Map        []int     `json:"map"`
	Certainty  []float64 `json:"certainty"`
	Iterations int       `json:"iterations"`
	// Note warns where the data can't tell error from truth.
	Note string `json:"note,omitempty"`
}

// Dawid–Skene stops when no posterior moves by more than this, or gives up.
const (
	emTolerance = 1e-12
	emRounds    = 20_000
	// emResampled is the tolerance for a resample, whose noise is far larger.
	emResampled = 1e-6
)

// DawidSkene estimates the error rates of raters and the true level of each
// item from grades alone, by expectation–maximisation from the votes. With
// T_ij the probability that item i is truly j and n_il^(k) how often rater k
// gave it l:
//
//	p_j = mean T_ij,  π_jl^(k) = Σ_i T_ij n_il^(k) / Σ_l
//	T_ij ∝ p_j Π_k Π_l (π_jl^(k))^{n_il^(k)},  0⁰ = 1
//
// It takes errors of raters as independent given the truth. weight[i] counts
// items like item i (nil: one each). The likelihood can have several maxima;
// started from the votes, the levels keep their names. With fewer than three
// grades an item, error and truth cannot be told apart: Note says so.
//
// Errors: ErrEmpty for no grades, ErrNotPaired where no item has two,
// ErrNoMaximum where the rounds do not settle, ErrBadInput for a level or
// index out of range, or weights that are not one an item or below 0.
//
// Source: Dawid AP, Skene AM (1979) Applied Statistics 28:20–28.
func DawidSkene(grades []Grade, weight []int, levels int) (*TrueClasses, error) {
	d, err := readVotes(grades, weight, levels)
	if err != nil {
		return nil, err
	}
	return d.fit()
}

// DawidSkeneLimits returns percentile limits of the prevalence of each level:
// items are resampled with all their grades, and each resample is fitted from
// the fit of all, so that levels keep their names.
//
// Errors as DawidSkene and Resampled.
//
// Source: Efron B, Tibshirani RJ (1993) An Introduction to the Bootstrap, for
// the limits; their coverage here stands in testdata/study/agreement.md.
func DawidSkeneLimits(grades []Grade, weight []int, levels, replicates int, seed uint64, conf float64) ([]Bootstrap, error) {
	d, err := readVotes(grades, weight, levels)
	if err != nil {
		return nil, err
	}
	whole := d.fromVotes()
	if _, err := d.settle(whole, emTolerance); err != nil {
		return nil, err
	}
	counts := make([]int, len(d.weight))
	for i, w := range d.weight {
		if len(d.patterns[i]) > 0 {
			counts[i] = int(w)
		}
	}
	return resampledEach(counts, replicates, seed, conf, levels, runtime.GOMAXPROCS(0), func() evaluation {
		again := *d
		again.weight = make([]float64, len(counts))
		t := make([][]float64, len(whole))
		for i := range t {
			t[i] = make([]float64, levels)
		}
		return func(weights []int, values []float64) bool {
			for i, w := range weights {
				again.weight[i] = float64(w)
				copy(t[i], whole[i])
			}
			e, err := again.settle(t, emResampled)
			if err != nil {
				return false
			}
			copy(values, e.p)
			return true
		}
	})
}

// readVotes checks grades and reduces them.
func readVotes(grades []Grade, weight []int, levels int) (*votes, error) {
	if len(grades) == 0 {
		return nil, ErrEmpty
	}
	items, raters := 0, 0
	for i, g := range grades {
		if g.Item < 0 || g.Rater < 0 || g.Level < 0 || g.Level >= levels {
			return nil, badInput("grade %d is item %d, rater %d, level %d: must be 0 or more, the level below %d", i+1, g.Item, g.Rater, g.Level, levels)
		}
		items, raters = max(items, g.Item+1), max(raters, g.Rater+1)
	}
	if weight != nil && len(weight) < items {
		return nil, badInput("%d weights for %d items", len(weight), items)
	}
	if weight != nil {
		items = len(weight)
	}
	if float64(items)+float64(raters)*float64(levels*levels) > 1e8 {
		return nil, badInput("%d items and %d raters: number them from 0 without gaps", items, raters)
	}
	for i, w := range weight {
		if w < 0 {
			return nil, badInput("item %d has weight %d, must be 0 or more", i+1, w)
		}
	}
	d := newVotes(grades, weight, items, raters, levels)
	if d.most < 2 {
		return nil, ErrNotPaired
	}
	return d, nil
}

// votes are grades reduced to distinct patterns of (rater, level) cells.
type votes struct {
	levels, raters int
	patterns       [][]int32 // sorted cells rater·levels + level
	weight         []float64
	of             []int // pattern of each item
	most           int   // grades of the best graded item
}

func newVotes(grades []Grade, weight []int, items, raters, levels int) *votes {
	cells := make([][]int32, items)
	for _, g := range grades {
		cells[g.Item] = append(cells[g.Item], int32(g.Rater*levels+g.Level))
	}
	order := make([]int, items)
	for i, c := range cells {
		slices.Sort(c)
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return slices.Compare(cells[a], cells[b]) })
	d := &votes{levels: levels, raters: raters, of: make([]int, items)}
	for _, i := range order {
		last := len(d.patterns) - 1
		if last < 0 || !slices.Equal(d.patterns[last], cells[i]) {
			d.patterns = append(d.patterns, cells[i])
			d.weight = append(d.weight, 0)
			last++
		}
		d.of[i] = last
		d.weight[last] += float64(weightAt(weight, i))
		d.most = max(d.most, len(cells[i]))
	}
	return d
}

// errorRates are the state of the iteration: the prevalence p and, flat as
// [true][rater][given], what each rater gives.
type errorRates struct {
	p, pi  []float64
	loglik float64
	rounds int
}

func (d *votes) fit() (*TrueClasses, error) {
	t := d.fromVotes()
	e, err := d.settle(t, emTolerance)
	if err != nil {
		return nil, err
	}
	return d.result(t, e), nil
}

// fromVotes returns each pattern's shares of votes.
func (d *votes) fromVotes() [][]float64 {
	t := make([][]float64, len(d.patterns))
	for i, cells := range d.patterns {
		t[i] = make([]float64, d.levels)
		for _, c := range cells {
			t[i][int(c)%d.levels] += 1 / float64(len(cells))
		}
	}
	return t
}

// settle iterates from the posteriors t, which it changes, until none moves by
// more than tolerance.
func (d *votes) settle(t [][]float64, tolerance float64) (*errorRates, error) {
	m := d.levels
	total := 0.0
	for i, cells := range d.patterns {
		if len(cells) > 0 { // an ungraded item says nothing
			total += d.weight[i]
		}
	}
	if total == 0 {
		return nil, ErrEmpty
	}
	width := d.raters * m
	e := &errorRates{p: make([]float64, m), pi: make([]float64, m*width)}
	logP, logPi, post := make([]float64, m), make([]float64, m*width), make([]float64, m)
	for e.rounds = 1; e.rounds <= emRounds; e.rounds++ {
		clear(e.p)
		clear(e.pi)
		for i, cells := range d.patterns {
			if len(cells) == 0 || d.weight[i] == 0 {
				continue
			}
			for j, v := range t[i] {
				e.p[j] += d.weight[i] * v / total
				for _, c := range cells {
					e.pi[j*width+int(c)] += d.weight[i] * v
				}
			}
		}
		for at := 0; at < len(e.pi); at += m {
			sum := 0.0
			for _, v := range e.pi[at : at+m] {
				sum += v
			}
			for l := range m {
				if sum > 0 {
					e.pi[at+l] /= sum
				}
				logPi[at+l] = math.Log(e.pi[at+l])
			}
		}
		for j, v := range e.p {
			logP[j] = math.Log(v)
		}
		moved := 0.0
		e.loglik = 0
		for i, cells := range d.patterns {
			if len(cells) == 0 || d.weight[i] == 0 {
				continue
			}
			best := math.Inf(-1)
			for j := range m {
				post[j] = logP[j]
				for _, c := range cells {
					post[j] += logPi[j*width+int(c)]
				}
				best = math.Max(best, post[j])
			}
			sum := 0.0
			for j := range m {
				post[j] = math.Exp(post[j] - best)
				sum += post[j]
			}
			for j := range m {
				v := post[j] / sum
				moved = math.Max(moved, math.Abs(v-t[i][j]))
				t[i][j] = v
			}
			e.loglik += d.weight[i] * (best + math.Log(sum))
		}
		if moved < tolerance {
			return e, nil
		}
	}
	return nil, ErrNoMaximum.because("the estimates did not settle in %d rounds", emRounds)
}

func (d *votes) result(t [][]float64, e *errorRates) *TrueClasses {
	m := d.levels
	r := &TrueClasses{Prevalence: e.p, LogLik: e.loglik, Iterations: e.rounds}
	for k := range d.raters {
		table := make([][]Float, m)
		for j := range table {
			row := e.pi[j*d.raters*m+k*m:][:m]
			sum := 0.0
			for _, v := range row {
				sum += v
			}
			table[j] = make([]Float, m)
			for l, v := range row {
				if sum > 0 {
					table[j][l] = Some(v)
				}
			}
		}
		r.Confusion = append(r.Confusion, table)
	}
	for _, at := range d.of {
		post := t[at]
		if len(d.patterns[at]) == 0 {
			post = e.p
		}
		best := 0
		for j, v := range post {
			if v > post[best] {
				best = j
			}
		}
		r.Map = append(r.Map, best)
		r.Certainty = append(r.Certainty, post[best])
	}
	if d.most < 3 {
		r.Note = "with fewer than three grades an item, error and truth cannot be told apart"
	}
	return r
}
