package study

import (
	"fmt"
	"math/rand/v2"

	"solewright/reports/stats"
)

const (
	whyBayes  = "empirical Bayes: the spread between groups is estimated, and with few groups now and then as none (Laird & Louis 1987)"
	pageBayes = "below 50 groups the interval allows for it, below 10 nothing is shrunk; raw shares stand beside"
	whyDelta  = "normal limits of a ratio, cut at 0 and 1"
	pageRogan = "shown beside the rate as read, never instead; the limits of Lang & Reiczigel are the ones shown"
)

// pooling are shrunk shares and rates corrected for the readers' errors.
func pooling() []Scenario {
	return []Scenario{
		pooled(12, 1000).strays(1, 0.85, 0.98, whyBayes, pageBayes),
		pooled(20, 1000).strays(1, 0.85, 0.98, whyBayes, pageBayes),
		pooled(60, Replicates).strays(1, 0.92, 0.96, whyBayes, pageBayes),
		corrected("200 readings, share 0.2; sensitivity 0.85 of 60, specificity 0.9 of 80", 200, 0.2).
			strays(1, 0.91, 0.98, whyDelta, pageRogan).strays(2, 0.94, 0.98, whyDiscrete, pageRogan).strays(3, 0.94, 0.98, whyDiscrete, pageRogan),
		corrected("200 readings, share 0.05; sensitivity 0.85 of 60, specificity 0.9 of 80", 200, 0.05).
			strays(1, 0.90, 1, whyDelta, pageRogan).strays(2, 0.93, 0.99, whyDiscrete, pageRogan).strays(3, 0.93, 0.99, whyDiscrete, pageRogan),
	}
}

// pooled draws k groups of 20 pairs whose shares come from one Beta. Coverage
// is the share of groups covered.
func pooled(k, replicates int) Scenario {
	const size, a, b = 20, 2, 14
	return Scenario{
		Part: "pooling", Data: fmt.Sprintf("%d groups of %d pairs, shares from Beta(%d, %d)", k, size, a, b), Replicates: replicates,
		Claims: []Claim{
			covers("shrunk share, interval"),
			{Method: "shrunk share, squared error less that of the raw share", Kind: Mean, Bound: Below},
		},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			groups, truth := make([]stats.Trials, k), make([]float64, k)
			for j := range groups {
				truth[j] = beta(r, a, b)
				groups[j] = stats.Trials{Name: fmt.Sprint(j), Hits: hits(r, size, truth[j]), Size: size}
			}
			p, err := stats.PoolShares(groups, r.Uint64(), Conf)
			if err != nil {
				return none(2, err)
			}
			var held, width, gain float64
			for j, g := range p.Groups {
				o := covered(truth[j], g.Low, g.High)
				held += o.Value
				width += o.Width
				gain += square(g.Pooled.V-truth[j]) - square(g.Share.V-truth[j])
			}
			n := float64(k)
			return []Outcome{{Value: held / n, Width: width / n}, number(gain / n)}, nil
		},
	}
}

func square(v float64) float64 { return v * v }

// corrected draws readings of readers whose errors were measured on pairs of
// known state.
func corrected(data string, n int, share float64) Scenario {
	const se, nSe, sp, nSp = 0.85, 60, 0.9, 80
	return Scenario{
		Part: "pooling", Data: data,
		Claims: []Claim{covers("Rogan–Gladen, delta method"), covers("Rogan–Gladen, Lang & Reiczigel"), covers("Rogan–Gladen, errors known")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			read := stats.Reading{Hits: float64(hits(r, n, share*se+(1-share)*(1-sp))), Size: float64(n)}
			p, err := stats.RoganGladen(read,
				stats.Reading{Hits: float64(hits(r, nSe, se)), Size: nSe}, stats.Reading{Hits: float64(hits(r, nSp, sp)), Size: nSp}, Conf)
			if err != nil {
				return none(3, err)
			}
			known, err := stats.RoganGladenKnown(read, se, sp, Conf)
			if err != nil {
				return none(3, err)
			}
			return []Outcome{
				coveredBy(share, p.Low, p.High), covered(share, p.LRLow, p.LRHigh), coveredBy(share, known.Low, known.High),
			}, nil
		},
	}
}
