package stats

import "math"

// Dose counts the hits among the pairs of one score: a month, a step, a dose.
type Dose struct {
	Score float64
	Hits  int
	Size  int
}

// ShareTrend says whether a share rises or falls along a score.
type ShareTrend struct {
	// Z is positive for a share that rises with the score.
	Z    float64 `json:"z"`
	Chi2 float64 `json:"chi2"`
	P    float64 `json:"p"`
	N    int     `json:"n"`
}

// CochranArmitage tests a share for a linear trend. With x̄ = Σ n x / N and p
// the pooled share:
//
//	T = Σ (x − x̄) y,  V = p(1 − p) Σ n (x − x̄)²,  z = T/√V, χ² = z²
//
// p is two-sided. (Some texts have N − 1 for N.)
//
// Errors: ErrEmpty for no pairs, ErrNoSpread where all pairs or none are
// hits or all scores are equal, ErrBadInput for hits outside 0–size or a
// score that is no finite number.
//
// Sources: Cochran WG (1954) Biometrics 10:417–451; Armitage P (1955)
// Biometrics 11:375–386.
func CochranArmitage(doses []Dose) (*ShareTrend, error) {
	hits, size := 0, 0
	centre := 0.0
	for _, d := range doses {
		if d.Hits < 0 || d.Hits > d.Size {
			return nil, badInput("score %v has %d hits of %d, must lie in 0 to size", d.Score, d.Hits, d.Size)
		}
		if math.IsNaN(d.Score) || math.IsInf(d.Score, 0) {
			return nil, badInput("score is %v, must be a finite number", d.Score)
		}
		hits += d.Hits
		size += d.Size
		centre += float64(d.Size) * d.Score
	}
	if size == 0 {
		return nil, ErrEmpty
	}
	if hits == 0 || hits == size {
		return nil, ErrNoSpread.because("all pairs agree, so the share has no trend")
	}
	centre /= float64(size)
	t, spread := 0.0, 0.0
	same := true
	first := math.NaN()
	for _, d := range doses {
		if d.Size == 0 {
			continue
		}
		if math.IsNaN(first) {
			first = d.Score
		}
		same = same && d.Score == first
		x := d.Score - centre
		t += x * float64(d.Hits)
		spread += float64(d.Size) * x * x
	}
	if same {
		return nil, ErrNoSpread.because("all scores are equal")
	}
	p := float64(hits) / float64(size)
	z := t / math.Sqrt(p*(1-p)*spread)
	if !finite(t, spread) {
		return nil, ErrBeyondNumbers
	}
	return &ShareTrend{Z: z, Chi2: z * z, P: normalTwoSided(z), N: size}, nil
}
