package stats

import "math"

// Share is a proportion with its interval: of Size pairs, Hits show the
// level.
type Share struct {
	Level string `json:"level"`
	Hits  int    `json:"hits"`
	Size  int    `json:"size"`
	// Share is Hits/Size, Low and High its Wilson limits.
	Share Float `json:"share"`
	Low   Float `json:"low"`
	High  Float `json:"high"`
	// Deff is the design effect of clustering and NEff the size that
	// independent pairs would need for the same precision; undefined where
	// the pairs were not grouped (see ClusteredShares).
	Deff Float `json:"deff"`
	NEff Float `json:"n_eff"`
	// Why says what is undefined and why.
	Why string `json:"why,omitempty"`
}

// Wilson returns the score interval of a proportion hits/size, without
// continuity correction:
//
//	[2x + z² ∓ z√(z² + 4x(1 − x/n))] / [2(n + z²)]
//
// hits and size need not be whole (an effective size is not). No hit gives a
// lower limit of exactly 0, all hits an upper limit of exactly 1.
//
// Errors: ErrEmpty for size 0, ErrBadInput for hits outside 0–size or conf
// outside (0, 1).
//
// Source: Wilson EB (1927) JASA 22:209–212; Newcombe RG (1998) Statistics in
// Medicine 17:857–872, method 3.
func Wilson(hits, size, conf float64) (low, high float64, err error) {
	if err := checkConf(conf); err != nil {
		return 0, 0, err
	}
	if !(hits >= 0 && hits <= size) || math.IsInf(size, 0) {
		return 0, 0, badInput("%v hits of %v, must lie in 0 to size", hits, size)
	}
	if size == 0 {
		return 0, 0, ErrEmpty
	}
	z := normalCritical(conf)
	zz := z * z
	half := z * math.Sqrt(zz+4*hits*(1-hits/size))
	// (a − b) of the formula as (a² − b²)/(a + b): no digits lost to few hits.
	low = 2 * hits * hits / (size * (2*hits + zz + half))
	high = 1
	if hits < size {
		high = (2*hits + zz + half) / (2 * (size + zz))
	}
	return low, high, nil
}

// Shares returns the share of each level among all pairs counted, with its
// Wilson interval. counts[i] is the number of pairs at levels[i]; every pair
// has one level. Pairs of one runner are taken as independent: where runners
// bring several, ClusteredShares is honest.
//
// Errors: ErrEmpty for no pairs at all, ErrBadInput for lengths that differ, a
// negative count or conf outside (0, 1).
func Shares(levels []string, counts []int, conf float64) ([]Share, error) {
	if len(levels) != len(counts) {
		return nil, badInput("%d levels and %d counts, must be as many", len(levels), len(counts))
	}
	size := 0
	for i, n := range counts {
		if n < 0 {
			return nil, badInput("count %d of level %q, must be 0 or more", n, levels[i])
		}
		size += n
	}
	shares := make([]Share, len(levels))
	for i, hits := range counts {
		s, err := shareOf(levels[i], hits, size, conf)
		if err != nil {
			return nil, err
		}
		shares[i] = s
	}
	if size == 0 {
		return nil, ErrEmpty
	}
	return shares, nil
}

// HitShare returns one proportion with its Wilson interval; errors as Wilson.
func HitShare(hits, size int, conf float64) (Share, error) {
	return shareOf("", hits, size, conf)
}

func shareOf(level string, hits, size int, conf float64) (Share, error) {
	low, high, err := Wilson(float64(hits), float64(size), conf)
	if err != nil {
		return Share{}, err
	}
	return Share{
		Level: level, Hits: hits, Size: size,
		Share: Some(float64(hits) / float64(size)), Low: Some(low), High: Some(high),
	}, nil
}
