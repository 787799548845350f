package stats

import "math"

// Stratum is how many of two groups are hits, among cases that are alike.
type Stratum struct{ A, B Trials }

// Stratified compares two shares among like cases.
type Stratified struct {
	// Z is positive where A has more hits than B among like cases.
	Z    float64 `json:"z"`
	Chi2 float64 `json:"chi2"`
	P    float64 `json:"p"`
	// OddsRatio is the odds of a hit in A over those in B; it is absent where no
	// stratum has a case against it.
	OddsRatio Float `json:"odds_ratio"`
	// Hits are those of A, Expected how many would be were A and B alike.
	Hits     int     `json:"hits"`
	Expected float64 `json:"expected"`
}

// MantelHaenszel tests whether two groups have the same share of hits, stratum
// by stratum. With a hits of n₁ in A, b of n₀ in B, m = a + b and N = n₁ + n₀:
//
//	E = Σ n₁ m / N,  V = Σ n₁ n₀ m (N − m) / (N² (N − 1)),  z = (Σ a − E)/√V
//	odds ratio = Σ a (n₀ − b)/N  ÷  Σ b (n₁ − a)/N
//
// p is two-sided, without continuity correction. A stratum with one group only
// says nothing and counts nowhere.
//
// Errors: ErrEmpty where no stratum has both groups, ErrNoSpread where in each
// all cases or none are hits, ErrBadInput for hits outside 0–size.
//
// Sources: Mantel N, Haenszel W (1959) J Natl Cancer Inst 22:719–748; Cochran WG
// (1954) Biometrics 10:417–451.
func MantelHaenszel(strata []Stratum) (*Stratified, error) {
	var out Stratified
	variance, with, against := 0.0, 0.0, 0.0
	any := false
	for i, s := range strata {
		for _, t := range []Trials{s.A, s.B} {
			if t.Hits < 0 || t.Hits > t.Size {
				return nil, badInput("stratum %d has %d hits of %d, must lie in 0 to size", i+1, t.Hits, t.Size)
			}
		}
		if s.A.Size == 0 || s.B.Size == 0 {
			continue
		}
		any = true
		n1, n0 := float64(s.A.Size), float64(s.B.Size)
		a, b := float64(s.A.Hits), float64(s.B.Hits)
		m, n := a+b, n1+n0
		out.Hits += s.A.Hits
		out.Expected += n1 * m / n
		variance += n1 * n0 * m * (n - m) / (n * n * (n - 1))
		with += a * (n0 - b) / n
		against += b * (n1 - a) / n
	}
	if !any {
		return nil, ErrEmpty
	}
	if variance == 0 {
		return nil, ErrNoSpread.because("in each stratum all cases agree")
	}
	out.Z = (float64(out.Hits) - out.Expected) / math.Sqrt(variance)
	out.Chi2, out.P = out.Z*out.Z, chiSquareTail(out.Z*out.Z, 1)
	if against > 0 {
		out.OddsRatio = Some(with / against)
	}
	return &out, nil
}
