package stats

import (
	"math"
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
	return d.fit()
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

func (d *votes) fit() (*TrueClasses, error) {
	m := d.levels
	total := 0.0
	t := make([][]float64, len(d.patterns))
	for i, cells := range d.patterns {
		t[i] = make([]float64, m)
		for _, c := range cells {
			t[i][int(c)%m] += 1 / float64(len(cells))
		}
		if len(cells) > 0 { // an ungraded item says nothing
			total += d.weight[i]
		}
	}
	if total == 0 {
		return nil, ErrEmpty
	}
	p := make([]float64, m)
	pi := make([]float64, m*d.raters*m) // [true][rater][given]
	width := d.raters * m
	post := make([]float64, m)
	for round := 1; round <= emRounds; round++ {
		clear(p)
		clear(pi)
		for i, cells := range d.patterns {
			if len(cells) == 0 {
				continue
			}
			for j, v := range t[i] {
				p[j] += d.weight[i] * v / total
				for _, c := range cells {
					pi[j*width+int(c)] += d.weight[i] * v
				}
			}
		}
		for at := 0; at < len(pi); at += m {
			sum := 0.0
			for _, v := range pi[at : at+m] {
				sum += v
			}
			for l := range m {
				if sum > 0 {
					pi[at+l] /= sum
				}
			}
		}
		moved, loglik := 0.0, 0.0
		for i, cells := range d.patterns {
			if len(cells) == 0 {
				continue
			}
			best := math.Inf(-1)
			for j := range m {
				post[j] = math.Log(p[j])
				for _, c := range cells {
					post[j] += math.Log(pi[j*width+int(c)])
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
			loglik += d.weight[i] * (best + math.Log(sum))
		}
		if moved < emTolerance {
			return d.result(t, p, pi, loglik, round), nil
		}
	}
	return nil, ErrNoMaximum.because("the estimates did not settle in %d rounds", emRounds)
}

func (d *votes) result(t [][]float64, p, pi []float64, loglik float64, rounds int) *TrueClasses {
	m := d.levels
	r := &TrueClasses{Prevalence: p, LogLik: loglik, Iterations: rounds}
	for k := range d.raters {
		table := make([][]Float, m)
		for j := range table {
			row := pi[j*d.raters*m+k*m:][:m]
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
			post = p
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
