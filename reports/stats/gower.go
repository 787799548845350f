package stats

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Column is one reading of every item: Numbers (undefined: missing) or Words
// (empty: missing), never both.
type Column struct {
	Name    string
	Numbers []Float
	Words   []string
}

// Gower measures how unlike items are over columns of numbers and words.
type Gower struct {
	items  int
	scaled [][]float64 // numbers over their range, NaN for missing
	coded  [][]int32   // words by number, −1 for missing
}

// NewGower prepares the distance
//
//	d_ij = Σ_k w_ijk d_ijk / Σ_k w_ijk
//
// where w is 0 if either value is missing, a number's part is |x_i − x_j|
// over the range of its column, and a word's is 0 if equal, else 1. A column
// without spread says nothing and is left out.
//
// Errors: ErrEmpty for no items, ErrNoSpread where no column has spread,
// ErrBadInput for columns of different length, or with numbers and words both
// or neither, or a number that is not finite.
//
// Source: Gower JC (1971) Biometrics 27:857–871.
func NewGower(columns []Column) (*Gower, error) {
	if len(columns) == 0 {
		return nil, ErrEmpty
	}
	n := max(len(columns[0].Numbers), len(columns[0].Words))
	g := &Gower{items: n}
	for _, c := range columns {
		if (c.Numbers == nil) == (c.Words == nil) {
			return nil, badInput("column %q must have numbers or words, not both", c.Name)
		}
		if max(len(c.Numbers), len(c.Words)) != n {
			return nil, badInput("column %q has %d values, must have %d", c.Name, max(len(c.Numbers), len(c.Words)), n)
		}
		if c.Words != nil {
			g.addWords(c.Words)
		} else if err := g.addNumbers(c); err != nil {
			return nil, err
		}
	}
	if n == 0 {
		return nil, ErrEmpty
	}
	if len(g.scaled)+len(g.coded) == 0 {
		return nil, ErrNoSpread.because("no column tells the items apart")
	}
	return g, nil
}

func (g *Gower) addWords(words []string) {
	code := map[string]int32{"": -1}
	coded := make([]int32, len(words))
	for i, w := range words {
		v, known := code[w]
		if !known {
			v = int32(len(code))
			code[w] = v
		}
		coded[i] = v
	}
	if len(code) > 2 {
		g.coded = append(g.coded, coded)
	}
}

func (g *Gower) addNumbers(c Column) error {
	low, high := math.Inf(1), math.Inf(-1)
	for i, v := range c.Numbers {
		if !v.OK {
			continue
		}
		if math.IsNaN(v.V) || math.IsInf(v.V, 0) {
			return badInput("column %q, item %d is %v, must be a finite number", c.Name, i+1, v.V)
		}
		low, high = math.Min(low, v.V), math.Max(high, v.V)
	}
	if !(high > low) {
		return nil
	}
	half := high/2 - low/2 // the whole may be beyond what a number holds
	scaled := make([]float64, len(c.Numbers))
	for i, v := range c.Numbers {
		scaled[i] = math.NaN()
		if v.OK {
			scaled[i] = v.V/2/half - low/2/half
		}
	}
	g.scaled = append(g.scaled, scaled)
	return nil
}

// Distance returns how unlike items i and j are, 0–1, undefined where they
// have no column in common.
func (g *Gower) Distance(i, j int) Float {
	sum, weight := 0.0, 0
	for _, c := range g.scaled {
		if d := math.Abs(c[i] - c[j]); !math.IsNaN(d) {
			sum += d
			weight++
		}
	}
	for _, c := range g.coded {
		if c[i] < 0 || c[j] < 0 {
			continue
		}
		weight++
		if c[i] != c[j] {
			sum++
		}
	}
	if weight == 0 {
		return None
	}
	return Some(sum / float64(weight))
}

// Near is an item and its distance.
type Near struct {
	Item     int     `json:"item"`
	Distance float64 `json:"distance"`
}

// Nearest returns the other items that can be compared with the one given,
// nearest first, equal distances in the order of items; with among, only
// those it holds for: another verdict, the same part. Exact, whatever is
// missing: missing values break the triangle inequality, so nothing is
// skipped.
//
// Errors: ErrBadInput for an item out of range.
func (g *Gower) Nearest(to int, among func(item int) bool) ([]Near, error) {
	if to < 0 || to >= g.items {
		return nil, badInput("item %d of %d", to, g.items)
	}
	near := []Near{}
	for i := range g.items {
		if i == to || among != nil && !among(i) {
			continue
		}
		if d := g.Distance(i, to); d.OK {
			near = append(near, Near{i, d.V})
		}
	}
	slices.SortStableFunc(near, func(a, b Near) int { return cmp.Compare(a.Distance, b.Distance) })
	return near, nil
}

// gowerSample bounds the items whose pairs are all measured; more are
// represented by a seeded sample of this size.
const gowerSample = 5000

// Medoid returns the item with the smallest mean distance to the others, the
// typical one; ties go to the first. Above 5,000 items both the candidates
// and those they are compared with are a seeded sample.
//
// Errors: ErrNotPaired where no two items can be compared.
func (g *Gower) Medoid(seed uint64) (item int, mean float64, err error) {
	sample := g.sample(seed)
	sum, count := make([]float64, len(sample)), make([]int, len(sample))
	for a, i := range sample {
		for b := range a {
			if d := g.Distance(i, sample[b]); d.OK {
				sum[a] += d.V
				sum[b] += d.V
				count[a]++
				count[b]++
			}
		}
	}
	best := -1
	for a := range sample {
		if count[a] > 0 && (best < 0 || sum[a]/float64(count[a]) < sum[best]/float64(count[best])) {
			best = a
		}
	}
	if best < 0 {
		return 0, 0, ErrNotPaired.because("no two items have a column in common")
	}
	return sample[best], sum[best] / float64(count[best]), nil
}

// Contrast is two items that are nearly alike and were judged differently.
type Contrast struct {
	A        int     `json:"a"`
	B        int     `json:"b"`
	Distance float64 `json:"distance"`
}

// Contrasts returns up to most pairs of items with different verdicts, the
// most alike first (an empty verdict is left out). Each item stands in one
// pair at most. Above 5,000 items they are a seeded sample.
//
// Errors: ErrOneGroup where fewer than two verdicts were given, ErrBadInput
// for verdicts that are not one an item.
func (g *Gower) Contrasts(verdicts []string, most int, seed uint64) ([]Contrast, error) {
	if len(verdicts) != g.items {
		return nil, badInput("%d verdicts for %d items, must be as many", len(verdicts), g.items)
	}
	kinds := map[string]bool{}
	for _, v := range verdicts {
		if v != "" {
			kinds[v] = true
		}
	}
	if len(kinds) < 2 {
		return nil, ErrOneGroup.because("fewer than two verdicts were given")
	}
	sample := g.sample(seed)
	nearest := make([]Contrast, len(sample)) // of each item, by its place in the sample
	for a := range nearest {
		nearest[a].Distance = math.Inf(1)
	}
	for a, i := range sample {
		for b, j := range sample[:a] {
			if verdicts[i] == "" || verdicts[j] == "" || verdicts[i] == verdicts[j] {
				continue
			}
			d := g.Distance(i, j)
			if !d.OK {
				continue
			}
			for _, at := range []int{a, b} {
				if d.V < nearest[at].Distance {
					nearest[at] = Contrast{j, i, d.V}
				}
			}
		}
	}
	closest := slices.DeleteFunc(nearest, func(c Contrast) bool { return math.IsInf(c.Distance, 1) })
	slices.SortFunc(closest, func(x, y Contrast) int {
		return cmp.Or(cmp.Compare(x.Distance, y.Distance), cmp.Compare(x.A, y.A), cmp.Compare(x.B, y.B))
	})
	used := map[int]bool{}
	out := []Contrast{}
	for _, c := range closest {
		if len(out) >= most {
			break
		}
		if used[c.A] || used[c.B] {
			continue
		}
		used[c.A], used[c.B] = true, true
		out = append(out, c)
	}
	return out, nil
}

// sample returns all items, or a seeded sample of them in order.
func (g *Gower) sample(seed uint64) []int {
	all := make([]int, g.items)
	for i := range all {
		all[i] = i
	}
	if g.items <= gowerSample {
		return all
	}
	rng := rand.New(rand.NewPCG(seed, 0))
	for i := range gowerSample {
		j := i + rng.IntN(g.items-i)
		all[i], all[j] = all[j], all[i]
	}
	slices.Sort(all[:gowerSample])
	return all[:gowerSample]
}
