package study

import (
	"fmt"
	"math/rand/v2"

	"solewright/reports/stats"
)

// What is known against intervals of counts.
const (
	whyDiscrete  = "hits are whole: at one share the coverage jumps with n and p, around 0.95 on average (Brown, Cai & DasGupta 2001)"
	pageDiscrete = "groups under 20 pairs are greyed and never ranked; the interval stands beside every share"
	whyExact     = "conditional on the margins, and discrete"
)

// shares are the intervals of proportions.
func shares() []Scenario {
	list := []Scenario{
		wilson("20 pairs, share 0.1", 20, 0.1).strays(1, 0.93, 0.98, whyDiscrete, pageDiscrete),
		wilson("50 pairs, share 0.3", 50, 0.3).strays(1, 0.93, 0.98, whyDiscrete, pageDiscrete),
		wilson("500 pairs, share 0.05", 500, 0.05).strays(1, 0.94, 0.96, whyDiscrete, pageDiscrete),
		wilson("50 pairs, share drawn evenly from 0 to 1", 50, -1).strays(1, 0.945, 0.96, whyDiscrete, pageDiscrete),
		newcombe("30 and 30 pairs, shares 0.2 and 0.4", 30, 0.2, 30, 0.4).strays(1, 0.94, 0.97, whyDiscrete, pageDiscrete),
		newcombe("100 and 60 pairs, shares 0.1 and 0.3", 100, 0.1, 60, 0.3).strays(1, 0.94, 0.97, whyDiscrete, pageDiscrete),
		newcombe("40 and 40 pairs, shares drawn evenly from 0 to 1", 40, -1, 40, -1).strays(1, 0.94, 0.97, whyDiscrete, pageDiscrete),
		exactOdds("15 and 20 pairs, shares 0.3 and 0.5", 15, 0.3, 20, 0.5),
		funnelLimits("target 0.2, a unit of 60 in control", 0.2, 60).strays(1, 0.94, 0.965,
			"hits are whole; the limits lie between whole numbers by interpolation (Spiegelhalter 2005)", "a store is named only beyond the limits of 99.8 %"),
		adjustedFunnel("30 stores of 40 to 160 pairs, share 0.2, SD between stores 0.05").strays(1, 0.90, 0.96,
			"the spread between stores is estimated from 30 of them and taken as known", "the funnel says how many stores its spread is from, and asks for readers first"),
	}
	const (
		fewRunners  = "few runners: the variance between them is itself uncertain"
		pageRunners = "the number of runners stands beside the interval"
	)
	for _, m := range []int{15, 50, 200} {
		s := clustered(m)
		if m < 200 {
			s = s.strays(1, 0.90, 0.96, fewRunners, pageRunners)
		}
		list = append(list, s)
	}
	return append(list, bootstrapShare(50).strays(1, 0.91, 0.96,
		fewRunners+", and the percentile interval is a little short", pageRunners))
}

// strays notes what is known against claim number n, from 1.
func (s Scenario) strays(n int, low, high float64, why, page string) Scenario {
	s.Claims[n-1] = s.Claims[n-1].strays(low, high, why, page)
	return s
}

// drawnShare is p, or one from 0 to 1 where p is negative.
func drawnShare(r *rand.Rand, p float64) float64 {
	if p < 0 {
		return r.Float64()
	}
	return p
}

func wilson(data string, n int, p float64) Scenario {
	return Scenario{
		Part: "shares", Data: data, Claims: []Claim{covers("Wilson")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			p := drawnShare(r, p)
			low, high, err := stats.Wilson(float64(hits(r, n, p)), float64(n), Conf)
			return []Outcome{coveredBy(p, low, high)}, err
		},
	}
}

func newcombe(data string, n1 int, p1 float64, n2 int, p2 float64) Scenario {
	return Scenario{
		Part: "shares", Data: data, Claims: []Claim{covers("Newcombe 10, difference of shares")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			p1, p2 := drawnShare(r, p1), drawnShare(r, p2)
			d, err := stats.Newcombe(stats.Trials{Hits: hits(r, n1, p1), Size: n1}, stats.Trials{Hits: hits(r, n2, p2), Size: n2}, Conf)
			return []Outcome{coveredBy(p1-p2, d.Low, d.High)}, err
		},
	}
}

func exactOdds(data string, n1 int, p1 float64, n2 int, p2 float64) Scenario {
	odds := p1 / (1 - p1) / (p2 / (1 - p2))
	return Scenario{
		Part: "shares", Data: data, Claims: []Claim{coversAtLeast("Fisher, exact odds ratio")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			a, c := hits(r, n1, p1), hits(r, n2, p2)
			f, err := stats.FisherTest(a, n1-a, c, n2-c, Conf)
			return []Outcome{covered(odds, f.OddsLow, f.OddsHigh)}, err
		},
	}
}

// The runners of the clustered scenarios: 1 to 4 pairs each, their own shares
// from a Beta with mean 0.3 and an intraclass correlation of 0.2.
const (
	clusterA    = 1.2
	clusterB    = 2.8
	clusterMean = clusterA / (clusterA + clusterB)
)

func runners(r *rand.Rand, m int) []stats.Cluster {
	all := make([]stats.Cluster, m)
	for j := range all {
		all[j].Size = 1 + r.IntN(4)
		all[j].Hits = hits(r, all[j].Size, beta(r, clusterA, clusterB))
	}
	return all
}

func clustered(m int) Scenario {
	return Scenario{
		Part: "shares", Data: fmt.Sprintf("%d runners of 1 to 4 pairs, share 0.3, likeness 0.2", m),
		Claims: []Claim{covers("Wilson on the effective size (Rao–Scott)")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			counts := make([][]int, m)
			for j, c := range runners(r, m) {
				counts[j] = []int{c.Hits, c.Size - c.Hits}
			}
			s, err := stats.ClusteredShares([]string{"worn", "not"}, counts, Conf)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{covered(clusterMean, s[0].Low, s[0].High)}, nil
		},
	}
}

func bootstrapShare(m int) Scenario {
	return Scenario{
		Part: "shares", Data: fmt.Sprintf("%d runners of 1 to 4 pairs, share 0.3, likeness 0.2; 1,000 resamples", m),
		Claims: []Claim{covers("bootstrap of runners, percentile")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			b, err := stats.BootstrapShare(runners(r, m), 1000, r.Uint64(), Conf)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{coveredBy(clusterMean, b.Low, b.High)}, nil
		},
	}
}

func funnelLimits(data string, target float64, n int) Scenario {
	return Scenario{
		Part: "shares", Data: data, Claims: []Claim{covers("funnel, exact limits hold the unit")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			at, err := stats.FunnelAt(target, n)
			share := float64(hits(r, n, target)) / float64(n)
			return []Outcome{coveredBy(share, at.Low95, at.High95)}, err
		},
	}
}

func adjustedFunnel(data string) Scenario {
	const mean, spread = 0.2, 0.05
	k := mean*(1-mean)/(spread*spread) - 1 // α + β of the Beta with that mean and spread
	return Scenario{
		Part: "shares", Data: data, Claims: []Claim{covers("funnel, limits allowing for spread hold a new store")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			units := make([]stats.Trials, 30)
			for i := range units {
				n := 40 + r.IntN(121)
				units[i] = stats.Trials{Name: fmt.Sprint(i), Hits: hits(r, n, beta(r, mean*k, (1-mean)*k)), Size: n}
			}
			f, err := stats.MakeFunnel(units, stats.None)
			if err != nil {
				return none(1, err)
			}
			const n = 100
			low, high, err := f.Adjusted(n, Conf)
			share := float64(hits(r, n, beta(r, mean*k, (1-mean)*k))) / n
			return []Outcome{coveredBy(share, low, high)}, err
		},
	}
}
