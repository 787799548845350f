package stats

import "math"

// Crosstab counts pairs by two classifications: Counts[i][j] pairs show
// Rows[i] and Cols[j].
type Crosstab struct {
	Rows   []string
	Cols   []string
	Counts [][]int
}

// Association says whether the rows and columns of a table go together, and
// how strongly. It never says which causes which.
type Association struct {
	// Rows and Cols are the levels that hold pairs; a level without any is
	// left out of everything below.
	Rows     []string    `json:"rows"`
	Cols     []string    `json:"cols"`
	Observed [][]int     `json:"observed"`
	Expected [][]float64 `json:"expected"`
	N        int         `json:"n"`
	Chi2     float64     `json:"chi2"`
	DF       int         `json:"df"`
	P        float64     `json:"p"`
	// AdjustedResiduals are about standard normal where nothing is associated.
	AdjustedResiduals [][]float64 `json:"adjusted_residuals"`
	// CramersV is 0 for none to 1 for full association; Corrected takes out
	// what chance alone puts in, and is undefined for one pair a row.
	CramersV          float64 `json:"cramers_v"`
	CramersVCorrected Float   `json:"cramers_v_corrected"`
	// Sparse marks a table too thin for the chi-square: an expected count
	// below 1, or below 5 in more than a fifth of the cells (Cochran 1954,
	// Biometrics 10:417–451). Read p_exact then.
	Sparse bool `json:"sparse"`
	// FreemanHalton is present where the exact test was made, Fisher for 2×2.
	*FreemanHalton
	*Fisher
}

// Exact tests are made without being asked up to this many pairs, where a
// cell expects fewer than sparseExpected (house values: the exact test is
// instant there).
const (
	exactUnasked   = 500
	sparseExpected = 5
)

// Associate tests a table with Pearson's chi-square. With row totals R, column
// totals C and N pairs:
//
//	E_ij = R_i C_j / N,  X² = Σ (O − E)²/E,  df = (r − 1)(c − 1)
//	adjusted residual = (O − E) / √(E (1 − R_i/N)(1 − C_j/N))
//	V = √((X²/N) / min(r − 1, c − 1))
//
// and the corrected V of Bergsma: φ² = max(0, X²/N − (r − 1)(c − 1)/(N − 1)),
// r̃ = r − (r − 1)²/(N − 1), c̃ likewise, Ṽ = √(φ² / min(r̃ − 1, c̃ − 1)). No
// continuity correction. The exact test joins when asked for, or unasked
// where a cell expects fewer than 5 among up to 500 pairs; seed drives its
// Monte Carlo fallback.
//
// Errors: ErrEmpty for no pairs, ErrOneGroup where fewer than two rows or
// columns hold any, ErrBadInput for a ragged table or a negative count.
//
// Sources: Pearson K (1900); Haberman SJ (1973) Biometrics 29:205–220
// (residuals); Bergsma W (2013) Journal of the Korean Statistical Society
// 42:323–328.
func Associate(table Crosstab, exact bool, seed uint64) (*Association, error) {
	table, err := table.reduced()
	if err != nil {
		return nil, err
	}
	rows, cols, n := margins(table.Counts)
	r, c := len(rows), len(cols)
	if n == 0 {
		return nil, ErrEmpty
	}
	if r < 2 || c < 2 {
		return nil, ErrOneGroup.because("fewer than two rows or columns hold data")
	}
	a := &Association{
		Rows: table.Rows, Cols: table.Cols, Observed: table.Counts, N: n,
		Expected: make([][]float64, r), AdjustedResiduals: make([][]float64, r),
		DF: (r - 1) * (c - 1),
	}
	total := float64(n)
	thin, thinnest := 0, math.Inf(1)
	for i := range rows {
		a.Expected[i] = make([]float64, c)
		a.AdjustedResiduals[i] = make([]float64, c)
		for j := range cols {
			e := float64(rows[i]) * float64(cols[j]) / total
			d := float64(table.Counts[i][j]) - e
			a.Expected[i][j] = e
			a.Chi2 += d * d / e
			a.AdjustedResiduals[i][j] = d / math.Sqrt(e*(1-float64(rows[i])/total)*(1-float64(cols[j])/total))
			if e < sparseExpected {
				thin++
			}
			thinnest = math.Min(thinnest, e)
		}
	}
	a.P = chiSquareTail(a.Chi2, a.DF)
	a.CramersV = math.Min(1, math.Sqrt(a.Chi2/total/float64(min(r, c)-1)))
	a.CramersVCorrected = bergsma(a.Chi2, r, c, n)
	a.Sparse = thinnest < 1 || 5*thin > r*c
	if exact || thin > 0 && n <= exactUnasked {
		fh, err := FreemanHaltonTest(table.Counts, seed)
		if err != nil {
			return nil, err
		}
		a.FreemanHalton = &fh
	}
	if r == 2 && c == 2 {
		f, err := FisherTest(table.Counts[0][0], table.Counts[0][1], table.Counts[1][0], table.Counts[1][1], 0.95)
		if err != nil {
			return nil, err
		}
		a.Fisher = &f
	}
	return a, nil
}

// bergsma returns the bias-corrected V, undefined where a margin has one pair
// a level.
func bergsma(chi2 float64, r, c, n int) Float {
	m := float64(n - 1)
	p, q := float64(r-1), float64(c-1)
	phi := math.Max(0, chi2/float64(n)-p*q/m)
	smaller := math.Min(p-p*p/m, q-q*q/m)
	if smaller <= 0 {
		return None
	}
	return Some(math.Min(1, math.Sqrt(phi/smaller)))
}

// reduced returns the table without rows and columns that hold no pair.
func (t Crosstab) reduced() (Crosstab, error) {
	if err := checkTable(t.Counts, len(t.Cols)); err != nil {
		return Crosstab{}, err
	}
	if len(t.Counts) != len(t.Rows) {
		return Crosstab{}, badInput("%d rows of counts for %d row levels", len(t.Counts), len(t.Rows))
	}
	var out Crosstab
	held := make([]bool, len(t.Cols))
	for i, row := range t.Counts {
		empty := true
		for j, n := range row {
			if n > 0 {
				empty, held[j] = false, true
			}
		}
		if !empty {
			out.Rows = append(out.Rows, t.Rows[i])
			out.Counts = append(out.Counts, row)
		}
	}
	for j, level := range t.Cols {
		if held[j] {
			out.Cols = append(out.Cols, level)
		}
	}
	for i, row := range out.Counts {
		kept := make([]int, 0, len(out.Cols))
		for j, n := range row {
			if held[j] {
				kept = append(kept, n)
			}
		}
		out.Counts[i] = kept
	}
	return out, nil
}

// checkTable refuses a ragged table or a negative count.
func checkTable(counts [][]int, columns int) error {
	for i, row := range counts {
		if len(row) != columns {
			return badInput("row %d has %d cells, must have %d", i+1, len(row), columns)
		}
		for j, n := range row {
			if n < 0 {
				return badInput("row %d, column %d counts %d, must be 0 or more", i+1, j+1, n)
			}
		}
	}
	return nil
}

// margins returns row totals, column totals and the grand total.
func margins(counts [][]int) (rows, cols []int, n int) {
	rows = make([]int, len(counts))
	if len(counts) > 0 {
		cols = make([]int, len(counts[0]))
	}
	for i, row := range counts {
		for j, c := range row {
			rows[i] += c
			cols[j] += c
			n += c
		}
	}
	return rows, cols, n
}
