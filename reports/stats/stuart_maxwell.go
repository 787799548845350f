package stats

import (
	"gonum.org/v1/gonum/mat"
)

// MatchTest compares two readings of the same pairs in several categories.
type MatchTest struct {
	Chi2 float64 `json:"chi2"`
	DF   int     `json:"df"`
	P    float64 `json:"p"`
}

// StuartMaxwell tests whether two readings of the same pairs use the
// categories equally often (marginal homogeneity). counts[i][j] pairs were
// read i first and j second. With d_i = n_i. − n_.i and
//
//	V_ii = n_i. + n_.i − 2n_ii,  V_ij = −(n_ij + n_ji)
//
// χ² = d'V⁻¹d over all categories but one. A category with nothing off the
// diagonal is left out and takes its degree of freedom with it; categories
// that fall into blocks without exchange are tested block by block. Two
// categories give McNemar's test.
//
// Errors: ErrNoDisagreement where nothing is off the diagonal, ErrBadInput
// for a table that is not square or a negative count.
//
// Sources: Stuart A (1955) Biometrika 42:412–416; Maxwell AE (1970) British
// Journal of Psychiatry 116:651–655.
func StuartMaxwell(counts [][]int) (*MatchTest, error) {
	if err := checkTable(counts, len(counts)); err != nil {
		return nil, err
	}
	k := len(counts)
	exchange := func(i, j int) float64 { return float64(counts[i][j] + counts[j][i]) }
	r := &MatchTest{}
	seen := make([]bool, k)
	for start := range k {
		if seen[start] {
			continue
		}
		block := []int{start}
		seen[start] = true
		for at := 0; at < len(block); at++ {
			for j := range k {
				if !seen[j] && exchange(block[at], j) > 0 {
					seen[j] = true
					block = append(block, j)
				}
			}
		}
		n := len(block) - 1
		if n == 0 {
			continue
		}
		v := mat.NewSymDense(n, nil)
		d := mat.NewVecDense(n, nil)
		for a, i := range block[:n] {
			for _, j := range block {
				d.SetVec(a, d.AtVec(a)+float64(counts[i][j]-counts[j][i]))
				if j != i {
					v.SetSym(a, a, v.At(a, a)+exchange(i, j))
				}
			}
			for b, j := range block[:n] {
				if b > a {
					v.SetSym(a, b, -exchange(i, j))
				}
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(v) { // a connected block is positive definite
			return nil, ErrNoDisagreement.because("the categories exchange too little to compare")
		}
		x := mat.NewVecDense(n, nil)
		if err := chol.SolveVecTo(x, d); err != nil {
			return nil, ErrNoDisagreement.because("the categories exchange too little to compare")
		}
		r.Chi2 += mat.Dot(d, x)
		r.DF += n
	}
	if r.DF == 0 {
		return nil, ErrNoDisagreement
	}
	r.P = chiSquareTail(r.Chi2, r.DF)
	return r, nil
}
