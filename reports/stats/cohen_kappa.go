package stats

import "math"

// Kappa is chance-corrected agreement of two raters: 1 for full agreement, 0
// for what chance gives, below 0 for less.
type Kappa struct {
	Kappa float64 `json:"kappa"`
	// SE is the standard error for intervals, Low and High its normal limits.
	SE   float64 `json:"se"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// SENull is the standard error if kappa were 0, for testing that.
	SENull float64 `json:"se_null"`
}

// Kappas holds kappa under the usual three weights, each undefined (nil)
// where it has no value.
type Kappas struct {
	Unweighted *Kappa `json:"unweighted"`
	Linear     *Kappa `json:"linear"`
	Quadratic  *Kappa `json:"quadratic"`
}

// ErrOneCategory says that only one category was ever used, so agreement by
// chance is complete and nothing is left to explain.
var ErrOneCategory = &Reason{"one-category", "all grades are the same, so agreement beyond chance is undefined"}

// IdentityWeights credit equal grades only.
func IdentityWeights(k int) [][]float64 {
	return gradeWeights(k, func(d float64) float64 {
		if d == 0 {
			return 1
		}
		return 0
	})
}

// LinearWeights credit 1 − |i − j|/(k − 1).
func LinearWeights(k int) [][]float64 {
	return gradeWeights(k, func(d float64) float64 { return 1 - math.Abs(d) })
}

// QuadraticWeights credit 1 − ((i − j)/(k − 1))².
func QuadraticWeights(k int) [][]float64 {
	return gradeWeights(k, func(d float64) float64 { return 1 - d*d })
}

// gradeWeights fills a k×k table from the distance of two grades, −1 to 1.
func gradeWeights(k int, credit func(d float64) float64) [][]float64 {
	w := make([][]float64, k)
	for i := range w {
		w[i] = make([]float64, k)
		for j := range w[i] {
			w[i][j] = credit(float64(i-j) / math.Max(1, float64(k-1)))
		}
	}
	return w
}

// CohenKappa returns the unweighted, linear and quadratic kappa of two raters;
// counts[i][j] items were graded i by the first and j by the second. Keep the
// full list of grades even where one is unused: it counts in the weights.
//
// Errors as WeightedKappa.
func CohenKappa(counts [][]int, conf float64) (*Kappas, error) {
	k := len(counts)
	unweighted, err := WeightedKappa(counts, IdentityWeights(k), conf)
	if err != nil {
		return nil, err
	}
	linear, err := WeightedKappa(counts, LinearWeights(k), conf)
	if err != nil {
		return nil, err
	}
	quadratic, err := WeightedKappa(counts, QuadraticWeights(k), conf)
	if err != nil {
		return nil, err
	}
	return &Kappas{unweighted, linear, quadratic}, nil
}

// WeightedKappa returns kappa under weights of agreement, 1 on the diagonal.
// With proportions p, row and column totals r and c, and
//
//	p_o = Σ w_ij p_ij,  p_e = Σ w_ij r_i c_j,  κ = (p_o − p_e)/(1 − p_e)
//	Var = [Σ p_ij {w_ij (1 − p_e) − (w̄_i. + w̄_.j)(1 − p_o)}² − (p_o p_e − 2p_e + p_o)²] / [N (1 − p_e)⁴]
//	Var₀ = [Σ r_i c_j (w_ij − w̄_i. − w̄_.j)² − p_e²] / [N (1 − p_e)²]
//
// where w̄_i. = Σ_j w_ij c_j and w̄_.j = Σ_i w_ij r_i. Limits are κ ∓ z SE,
// cut at 1.
//
// Errors: ErrEmpty for no items, ErrOneCategory where p_e is 1, ErrBadInput
// for a table or weights that are not square, a negative count or conf
// outside (0, 1).
//
// Sources: Cohen J (1960) Educational and Psychological Measurement 20:37–46;
// Cohen J (1968) Psychological Bulletin 70:213–220; Fleiss JL, Cohen J,
// Everitt BS (1969) Psychological Bulletin 72:323–327.
func WeightedKappa(counts [][]int, weights [][]float64, conf float64) (*Kappa, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	f, err := weigh(counts, weights)
	if err != nil {
		return nil, err
	}
	v, v0 := 0.0, 0.0
	for i, row := range counts {
		for j, o := range row {
			a := f.score(i, j)
			v += float64(o) / f.total * a * a
			b := weights[i][j] - f.byRow[i] - f.byCol[j]
			v0 += f.r[i] * f.c[j] * b * b
		}
	}
	out := &Kappa{
		Kappa:  f.kappa(),
		SE:     math.Sqrt(math.Max(0, v-f.mean()*f.mean()) / f.total),
		SENull: math.Sqrt(math.Max(0, v0-f.chance*f.chance)/f.total) / (1 - f.chance),
	}
	half := normalCritical(conf) * out.SE
	out.Low, out.High = out.Kappa-half, math.Min(1, out.Kappa+half)
	return out, nil
}

// weighed is a table of two raters' grades under weights, as WeightedKappa has it.
type weighed struct {
	weights      [][]float64
	total        float64   // N
	r, c         []float64 // r_i and c_j
	byRow, byCol []float64 // w̄_i. and w̄_.j
	observed     float64   // p_o
	chance       float64   // p_e
}

func (f *weighed) kappa() float64 { return (f.observed - f.chance) / (1 - f.chance) }

// score is what an item at a cell adds to kappa: the mean of the scores moves with
// kappa, their variance over N is that of kappa.
func (f *weighed) score(i, j int) float64 {
	left := 1 - f.chance
	return (f.weights[i][j]*left - (f.byRow[i]+f.byCol[j])*(1-f.observed)) / (left * left)
}

// mean is that of the scores.
func (f *weighed) mean() float64 {
	left := 1 - f.chance
	return (f.observed*f.chance - 2*f.chance + f.observed) / (left * left)
}

// weigh checks a table and its weights. Errors as WeightedKappa, but for conf.
func weigh(counts [][]int, weights [][]float64) (*weighed, error) {
	k := len(counts)
	if err := checkTable(counts, k); err != nil {
		return nil, err
	}
	if len(weights) != k {
		return nil, badInput("%d rows of weights for %d categories", len(weights), k)
	}
	for i, row := range weights {
		if len(row) != k {
			return nil, badInput("row %d of the weights has %d cells, must have %d", i+1, len(row), k)
		}
	}
	rows, cols, n := margins(counts)
	if n == 0 {
		return nil, ErrEmpty
	}
	f := &weighed{weights: weights, total: float64(n), r: make([]float64, k), c: make([]float64, k), byRow: make([]float64, k), byCol: make([]float64, k)}
	for i := range k {
		f.r[i], f.c[i] = float64(rows[i])/f.total, float64(cols[i])/f.total
	}
	for i, row := range counts {
		for j, o := range row {
			w := weights[i][j]
			f.byRow[i] += w * f.c[j]
			f.byCol[j] += w * f.r[i]
			f.observed += w * float64(o) / f.total
			f.chance += w * f.r[i] * f.c[j]
		}
	}
	for i := range k {
		if rows[i] == n && cols[i] == n {
			return nil, ErrOneCategory
		}
	}
	if !(f.chance < 1) {
		return nil, ErrOneCategory.because("agreement by chance is complete under these weights")
	}
	return f, nil
}
