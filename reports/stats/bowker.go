package stats

// Bowker tests whether two readings of the same pairs differ evenly: as many
// read i then j as j then i, for every two categories.
//
//	χ² = Σ_{i<j} (n_ij − n_ji)²/(n_ij + n_ji)
//
// with one degree of freedom for each two categories that exchange at all.
//
// Errors: ErrNoDisagreement where nothing is off the diagonal, ErrBadInput
// for a table that is not square or a negative count.
//
// Source: Bowker AH (1948) JASA 43:572–574.
func Bowker(counts [][]int) (*MatchTest, error) {
	if err := checkTable(counts, len(counts)); err != nil {
		return nil, err
	}
	r := &MatchTest{}
	for i, row := range counts {
		for j := range i {
			if n := row[j] + counts[j][i]; n > 0 {
				d := float64(row[j] - counts[j][i])
				r.Chi2 += d * d / float64(n)
				r.DF++
			}
		}
	}
	if r.DF == 0 {
		return nil, ErrNoDisagreement
	}
	r.P = chiSquareTail(r.Chi2, r.DF)
	return r, nil
}
