package stats

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// Covariate is one property of every row: Numbers, or Words as levels, never
// both.
type Covariate struct {
	Name    string
	Numbers []float64
	Words   []string
	// Reference is the level that the others are held against; empty for the
	// first in sort order. It belongs to Words.
	Reference string
}

// RegressionTerm is one coefficient: the intercept, a number, or a level
// against its reference.
type RegressionTerm struct {
	// Term is "(Intercept)", the name of a number, or name=level.
	Term string  `json:"term"`
	Coef float64 `json:"coef"`
	SE   float64 `json:"se"`
	// Ratio is e^coef with its Wald limits: how many times as long a life is
	// than at the reference, or for one unit less. For the intercept it is the
	// scale of the law at the references and at 0.
	Ratio Float `json:"ratio"`
	Low   Float `json:"low"`
	High  Float `json:"high"`
	// P is of the Wald test that coef is 0.
	P float64 `json:"p"`
	// Why says that ratio, low or high is undefined.
	Why string `json:"why,omitempty"`
}

// Regression is a Weibull accelerated-failure-time regression.
type Regression struct {
	N      int              `json:"n"`
	Events int              `json:"events"`
	Terms  []RegressionTerm `json:"terms"`
	// LogScale is log σ, 1/σ the shape of the Weibull.
	LogScale   float64 `json:"log_scale"`
	SELogScale float64 `json:"se_log_scale"`
	LogLik     float64 `json:"loglik"`
	// LogLikNull is of the fit without covariates, LRT twice the difference
	// and P its tail at DF degrees of freedom.
	LogLikNull Float `json:"loglik_null"`
	LRT        Float `json:"lrt"`
	DF         int   `json:"df"`
	P          Float `json:"p"`
	// VCov is the covariance of the coefficients and, last, log σ.
	VCov [][]float64 `json:"vcov"`
	Why  string      `json:"why,omitempty"`
}

// Reasons of a regression.
var (
	ErrAliased     = &Reason{"aliased", "a covariate says nothing that the others don't"}
	ErrNoReference = &Reason{"no-reference", "the reference level holds no pairs"}
)

// RegressLife fits the accelerated-failure-time model
//
//	log T = b₀ + Σ_j b_j x_j + σ W,  W smallest extreme value
//
// by maximum likelihood to exact, right-, left- and interval-censored pairs:
// life is Weibull with shape 1/σ and scale e^(b₀ + Σ b_j x_j), so e^b_j is the
// ratio of lives. Row i is x[i] with the i-th value of every covariate; its
// terms in the likelihood are those of FitWeibull. A covariate of words has a
// term for each level but its reference. Standard errors are by the observed
// information. Newton steps on the exact derivatives, in parameters in which
// the log-likelihood is concave, find the maximum from any start.
//
// The order of rows and splitting them into counts do not matter, and another
// unit of distance moves the intercept only.
//
// Errors: ErrBadInput for no covariate, values that are not one a row or not
// finite, and as FitWeibull; ErrEmpty; ErrNoEvents; ErrNoSpread for a covariate
// of one value; ErrNoReference; ErrAliased; ErrSeparation where a level has no
// event, or nothing but first looks, or covariates part worn from sound
// otherwise, so that a coefficient runs to infinity; ErrNoMaximum as
// FitWeibull. Where the fit without covariates has no maximum of its own,
// LogLikNull, LRT and P are undefined and Why says so.
//
// Sources: Kalbfleisch JD, Prentice RL (2002) The Statistical Analysis of
// Failure Time Data, 2nd ed., Wiley, ch. 3; Burridge J (1981) Biometrika
// 68:651–654 (concavity).
func RegressLife(x []Interval, on []Covariate, conf float64) (*Regression, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	m, err := newDesignMatrix(x, on)
	if err != nil {
		return nil, err
	}
	data, err := newWeibullData(m.designs())
	if err != nil {
		return nil, err
	}
	if err := m.levelsWithoutNews(); err != nil {
		return nil, err
	}
	if err := m.aliased(); err != nil {
		return nil, err
	}
	everyone, err := tidyIntervals(x)
	if err != nil {
		return nil, err
	}
	exists := weibullExists(everyone)
	theta, loglik, information, direction := data.maximise()
	if information == nil {
		if exists != nil {
			return nil, exists
		}
		return nil, m.runaway(theta, direction)
	}
	b, logSigma, cov, err := data.coefficients(theta, information)
	if err != nil {
		return nil, err
	}
	b, cov = m.unscaled(b, cov)
	k := len(b) // log σ is last in cov
	r := &Regression{
		N: data.n, Events: data.events, DF: k - 1,
		LogScale: logSigma, SELogScale: math.Sqrt(cov.At(k, k)), LogLik: loglik,
	}
	z := normalCritical(conf)
	for i, c := range b {
		se := math.Sqrt(cov.At(i, i))
		if !(se > 0) {
			return nil, ErrBeyondNumbers
		}
		t := RegressionTerm{Term: m.terms[i].name, Coef: c, SE: se, Ratio: exponential(c), P: normalTwoSided(c / se)}
		t.Low, t.High = limitsOfLog(c, z*se)
		if !t.Ratio.OK || !t.Low.OK || !t.High.OK {
			t.Why = "ratio, low, high: null is " + beyondNumbers
		}
		r.Terms = append(r.Terms, t)
	}
	for i := range k + 1 {
		row := make([]float64, k+1)
		for j := range row {
			row[j] = cov.At(i, j)
		}
		r.VCov = append(r.VCov, row)
	}
	return r, r.compare(everyone, exists)
}

// compare adds the likelihood-ratio test against the fit without covariates.
func (r *Regression) compare(everyone []Interval, exists error) error {
	r.Why = "loglik_null, lrt, p: without covariates the likelihood has no maximum"
	if exists != nil {
		return nil
	}
	null, err := newWeibullData([]weibullDesign{{x: []float64{1}, intervals: everyone}})
	if err != nil {
		return err
	}
	_, loglik, information, _ := null.maximise()
	if information == nil {
		return nil
	}
	r.Why = ""
	lrt := math.Max(0, 2*(r.LogLik-loglik))
	r.LogLikNull, r.LRT, r.P = Some(loglik), Some(lrt), Some(chiSquareTail(lrt, r.DF))
	return nil
}

// designTerm is one column of the design matrix: the value of a row is its
// number less centre, over spread, or 1 at the level.
type designTerm struct {
	name           string
	centre, spread float64
}

// designMatrix holds the rows by distinct values of all covariates.
type designMatrix struct {
	terms  []designTerm
	rows   [][]float64  // distinct rows of the matrix, in order
	at     [][]Interval // tidy observations on each
	levels []level
}

// level is the rows at one level of a covariate, its reference included.
type level struct {
	name      string
	intervals []Interval
}

func newDesignMatrix(x []Interval, on []Covariate) (*designMatrix, error) {
	if len(on) == 0 {
		return nil, badInput("no covariate, want one or more")
	}
	m := &designMatrix{terms: []designTerm{{name: "(Intercept)", spread: 1}}}
	all := make([][]float64, len(x)) // the matrix, a row for each of x
	held := make([]bool, len(x))
	for i, v := range x {
		if err := v.check(i); err != nil {
			return nil, err
		}
		all[i] = append(all[i], 1)
		held[i] = v.N > 0
	}
	if !slices.Contains(held, true) {
		return nil, ErrEmpty
	}
	for _, c := range on {
		var err error
		switch {
		case (c.Numbers == nil) == (c.Words == nil):
			err = badInput("covariate %q must have numbers or words, not both", c.Name)
		case max(len(c.Numbers), len(c.Words)) != len(x):
			err = badInput("covariate %q has %d values for %d rows", c.Name, max(len(c.Numbers), len(c.Words)), len(x))
		case c.Words != nil:
			err = m.addLevels(c, x, all)
		default:
			err = m.addNumbers(c, held, all)
		}
		if err != nil {
			return nil, err
		}
	}
	where := map[string]int{}
	for i, row := range all {
		var key []byte
		for _, v := range row {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(v))
		}
		at, known := where[string(key)]
		if !known {
			at = len(m.rows)
			where[string(key)] = at
			m.rows, m.at = append(m.rows, row), append(m.at, nil)
		}
		m.at[at] = append(m.at[at], x[i])
	}
	m.tidy()
	return m, nil
}

// addLevels adds a term for each level that holds pairs, but the reference.
func (m *designMatrix) addLevels(c Covariate, x []Interval, all [][]float64) error {
	by := map[string][]Interval{}
	for i, w := range c.Words {
		if x[i].N > 0 {
			by[w] = append(by[w], x[i])
		}
	}
	var names []string
	for name, intervals := range by {
		names = append(names, name)
		m.levels = append(m.levels, level{c.Name + "=" + name, intervals})
	}
	slices.Sort(names)
	slices.SortFunc(m.levels, func(a, b level) int { return strings.Compare(a.name, b.name) })
	reference := c.Reference
	if reference == "" {
		reference = names[0]
	}
	if by[reference] == nil {
		return ErrNoReference.because("no pair has %s=%s, the reference", c.Name, reference)
	}
	if len(names) == 1 {
		return ErrNoSpread.because("every pair has %s=%s", c.Name, names[0])
	}
	for _, name := range names {
		if name == reference {
			continue
		}
		m.terms = append(m.terms, designTerm{name: c.Name + "=" + name, spread: 1})
		for i, w := range c.Words {
			v := 0.0
			if w == name {
				v = 1
			}
			all[i] = append(all[i], v)
		}
	}
	return nil
}

// addNumbers adds the term of a number, scaled to −1 to 1 over the rows.
func (m *designMatrix) addNumbers(c Covariate, held []bool, all [][]float64) error {
	low, high := math.Inf(1), math.Inf(-1)
	for i, v := range c.Numbers {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return badInput("covariate %q is %v in row %d, must be a finite number", c.Name, v, i+1)
		}
		if held[i] {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	if low == high {
		return ErrNoSpread.because("every pair has %s %v", c.Name, low)
	}
	t := designTerm{c.Name, low/2 + high/2, high/2 - low/2}
	m.terms = append(m.terms, t)
	for i, v := range c.Numbers {
		all[i] = append(all[i], (v-t.centre)/t.spread)
	}
	return nil
}

// tidy drops empty designs and puts the others in the order of their values,
// so that the order of rows does not matter.
func (m *designMatrix) tidy() {
	var order []int
	for i := range m.rows {
		if m.at[i] = mergeIntervals(m.at[i]); len(m.at[i]) > 0 {
			order = append(order, i)
		}
	}
	slices.SortFunc(order, func(a, b int) int { return slices.Compare(m.rows[a], m.rows[b]) })
	rows, at := make([][]float64, len(order)), make([][]Interval, len(order))
	for k, i := range order {
		rows[k], at[k] = m.rows[i], m.at[i]
	}
	m.rows, m.at = rows, at
}

func (m *designMatrix) designs() []weibullDesign {
	all := make([]weibullDesign, len(m.rows))
	for i, row := range m.rows {
		all[i] = weibullDesign{x: row, intervals: m.at[i]}
	}
	return all
}

// levelsWithoutNews refuses a level whose coefficient runs to infinity because
// none of its pairs was seen worn, or none seen sound.
func (m *designMatrix) levelsWithoutNews() error {
	for _, l := range m.levels {
		lastSound, firstWorn := extremes(l.intervals)
		switch {
		case math.IsInf(firstWorn, 1):
			return ErrSeparation.because("no pair with %s was seen worn, so its life has no finite estimate", l.name)
		case lastSound == 0:
			return ErrSeparation.because("every pair with %s was worn at its first look, so its life has no finite estimate", l.name)
		}
	}
	return nil
}

// aliased refuses a term that is a sum of the terms before it: what is left of
// its column after them is rounding.
func (m *designMatrix) aliased() error {
	const rounding = 1e-10 // of the column's own length; entries are of order 1
	var basis [][]float64
	for j, t := range m.terms {
		left := make([]float64, len(m.rows))
		for i, row := range m.rows {
			left[i] = row[j]
		}
		length := norm(left)
		for range 2 { // once more for what rounding left
			for _, b := range basis {
				part := 0.0
				for i := range left {
					part += left[i] * b[i]
				}
				for i := range left {
					left[i] -= part * b[i]
				}
			}
		}
		rest := norm(left)
		if rest <= rounding*length {
			return ErrAliased.because("%s follows from the other covariates", t.name)
		}
		for i := range left {
			left[i] /= rest
		}
		basis = append(basis, left)
	}
	return nil
}

func norm(v []float64) float64 { return mat.Norm(mat.NewVecDense(len(v), v), 2) }

// runaway names what the search ran off along.
func (m *designMatrix) runaway(theta, direction []float64) error {
	p := len(m.terms)
	if theta[p] < leastShape {
		// The search may run off to shape 0 and along the covariates at once.
		if direction = theta[:p]; !m.parts(direction) {
			return ErrNoMaximum.because("the share worn does not rise with distance")
		}
	}
	most := norm(direction)
	const much = 0.1 // of the length of the direction
	var names []string
	for i := 1; i < p; i++ {
		if math.Abs(direction[i]) > much*most {
			names = append(names, m.terms[i].name)
		}
	}
	if len(names) == 0 {
		return ErrNotConverged.because("the search for the fit did not settle")
	}
	return ErrSeparation.because("%s: worn and sound are parted so that the effect has no finite estimate", strings.Join(names, ", "))
}

// parts says whether moving along gamma takes from no observation: the life of
// pairs only seen sound gets no shorter, that of pairs worn at their first look
// no longer, that of others stays.
func (m *designMatrix) parts(gamma []float64) bool {
	slack := 1e-2 * norm(gamma) // the search has not reached the end
	for i, row := range m.rows {
		longer := 0.0
		for j, v := range row {
			longer += v * gamma[j]
		}
		for _, v := range m.at[i] {
			if !math.IsInf(v.Upper, 1) && longer > slack || v.Lower > 0 && longer < -slack {
				return false
			}
		}
	}
	return true
}

// unscaled turns coefficients on scaled numbers into those on the numbers.
func (m *designMatrix) unscaled(b []float64, cov *mat.SymDense) ([]float64, *mat.SymDense) {
	k := len(b)
	to := mat.NewDense(k+1, k+1, nil)
	for i, t := range m.terms {
		to.Set(i, i, 1/t.spread)
		if i > 0 {
			to.Set(0, i, -t.centre/t.spread)
		}
	}
	to.Set(k, k, 1)
	out := make([]float64, k)
	for i := range out {
		for j, c := range b {
			out[i] += to.At(i, j) * c
		}
	}
	var half, full mat.Dense
	half.Mul(to, cov)
	full.Mul(&half, to.T())
	sym := mat.NewSymDense(k+1, nil)
	for i := range k + 1 {
		for j := i; j <= k; j++ {
			sym.SetSym(i, j, full.At(i, j))
		}
	}
	return out, sym
}
