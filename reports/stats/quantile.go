package stats

import "math"

// quantile7 returns the q quantile of sorted values by linear interpolation,
// type 7 of Hyndman RJ, Fan Y (1996) The American Statistician 50:361–365 (the
// default of R).
func quantile7(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	below := int(math.Floor(at))
	above := min(below+1, len(sorted)-1)
	return sorted[below] + (at-float64(below))*(sorted[above]-sorted[below])
}
