package study

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"solewright/reports/stats"
)

const (
	whyLargeSample = "the law of the statistic is that of large samples"
	pageExactTest  = "the exact p stands beside it and is the one to read where the table is sparse"
)

// tests are the sizes of the tests of counts and trends.
func tests() []Scenario {
	return []Scenario{
		association("3 patterns by 3 gaits, 200 pairs", 200, []float64{.4, .3, .3}, []float64{.3, .4, .3}, false),
		association("4 patterns by 3 gaits, 600 pairs", 600, []float64{.4, .3, .2, .1}, []float64{.2, .5, .3}, false),
		association("3 patterns by 2 gaits, 24 pairs: sparse", 24, []float64{.5, .3, .2}, []float64{.6, .4}, true).
			strays(1, 0.03, 0.06, whyLargeSample+"; with expected counts under 5 it strays", pageExactTest),
		fisher("15 and 20 pairs, share 0.4", 15, 20, 0.4),
		mcnemar("60 pairs read twice, disagreeing at 0.2 each way", 60, 0.2).strays(2, 0.03, 0.06, "discrete: mid-p keeps 5 % on average, not at every n (Fagerland et al. 2013)", "the exact p is shown first").
			strays(3, 0.03, 0.07, whyLargeSample+", and discrete", "the exact p is shown first"),
		marginal("100 pairs read twice in 3 words", 100).strays(1, 0.03, 0.06, whyLargeSample, "shown with the table of who read what").
			strays(2, 0.03, 0.06, whyLargeSample, "shown with the table of who read what"),
		cochranArmitage("12 months of 30 pairs, share 0.2").strays(1, 0.04, 0.06, whyLargeSample, "the months stand beside the p"),
		mannKendall("24 months without a trend", 24, false).strays(1, 0.03, 0.06, "discrete, with a continuity correction", "the slope and its interval stand beside the p"),
		mannKendall("24 months without a trend, values tied", 24, true).strays(1, 0.03, 0.06, "discrete, with a continuity correction", "the slope and its interval stand beside the p"),
		poissonBinomial("60 pairs with risks of 0.02 to 0.3").strays(2, 0.03, 0.06, "discrete: mid-p keeps 5 % on average, not at every n (Lancaster 1961)", "the exact tail is the one that signals"),
		falseDiscoveries("40 tests, 10 of them of true effects"),
		dispersion("40 stores of 60 pairs, share 0.2").strays(1, 0.03, 0.07, whyLargeSample, "the spread itself stands beside the p"),
		digits("300 distances by last digit"),
		fleissNull("50 items, 3 grades each, graded at random").strays(1, 0.03, 0.08, whyLargeSample, "kappa is shown with the number of items"),
	}
}

func association(data string, n int, rows, cols []float64, sparse bool) Scenario {
	s := Scenario{Part: "tests", Data: data, Claims: []Claim{rejects("Pearson chi-square")}}
	if sparse {
		s.Claims = append(s.Claims, rejectsAtMost("Freeman–Halton exact"))
	}
	s.Try = func(r *rand.Rand) ([]Outcome, error) {
		a, err := stats.Associate(stats.Crosstab{
			Rows: make([]string, len(rows)), Cols: make([]string, len(cols)), Counts: crossed(r, n, rows, cols),
		}, sparse, 1)
		if err != nil {
			return none(len(s.Claims), err)
		}
		out := []Outcome{rejected(a.P)}
		if sparse {
			out = append(out, rejected(a.FreemanHalton.P))
		}
		return out, nil
	}
	return s
}

// crossed draws a table of two classifications that don't go together.
func crossed(r *rand.Rand, n int, rows, cols []float64) [][]int {
	table := make([][]int, len(rows))
	for i := range table {
		table[i] = make([]int, len(cols))
	}
	for range n {
		table[pick(r, rows)][pick(r, cols)]++
	}
	return table
}

func fisher(data string, n1, n2 int, p float64) Scenario {
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejectsAtMost("Fisher exact")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			a, c := hits(r, n1, p), hits(r, n2, p)
			f, err := stats.FisherTest(a, n1-a, c, n2-c, Conf)
			return []Outcome{rejected(f.PTwo)}, err
		},
	}
}

func mcnemar(data string, n int, differs float64) Scenario {
	return Scenario{
		Part: "tests", Data: data,
		Claims: []Claim{rejectsAtMost("McNemar exact"), rejects("McNemar mid-p"), rejects("McNemar chi-square")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			either := hits(r, n, 2*differs)
			b := hits(r, either, 0.5)
			m, err := stats.McNemar(b, either-b)
			if err != nil {
				return nil, err
			}
			out := []Outcome{rejected(m.PExact), rejected(m.PMid), {}}
			if m.P.OK {
				out[2] = rejected(m.P.V)
			}
			return out, nil
		},
	}
}

// marginal draws two readings of the same pairs that use the words alike: the
// second keeps the first or swaps it along a symmetric table.
func marginal(data string, n int) Scenario {
	joint := [][]float64{{.30, .08, .02}, {.08, .25, .05}, {.02, .05, .15}}
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejects("Stuart–Maxwell"), rejects("Bowker")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			table := paired(r, n, joint)
			s, err := stats.StuartMaxwell(table)
			if err != nil {
				return none(2, err)
			}
			b, err := stats.Bowker(table)
			if err != nil {
				return none(2, err)
			}
			return []Outcome{rejected(s.P), rejected(b.P)}, nil
		},
	}
}

// paired draws n items graded twice.
func paired(r *rand.Rand, n int, joint [][]float64) [][]int {
	var flat []float64
	for _, row := range joint {
		flat = append(flat, row...)
	}
	k := len(joint)
	table := make([][]int, k)
	for i := range table {
		table[i] = make([]int, k)
	}
	for range n {
		at := pick(r, flat)
		table[at/k][at%k]++
	}
	return table
}

func cochranArmitage(data string) Scenario {
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejects("Cochran–Armitage")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			doses := make([]stats.Dose, 12)
			for i := range doses {
				doses[i] = stats.Dose{Score: float64(i), Hits: hits(r, 30, 0.2), Size: 30}
			}
			t, err := stats.CochranArmitage(doses)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{rejected(t.P)}, nil
		},
	}
}

func mannKendall(data string, months int, tied bool) Scenario {
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejects("Mann–Kendall")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			order, value := make([]float64, months), make([]float64, months)
			for i := range order {
				order[i], value[i] = float64(i), r.NormFloat64()
				if tied {
					value[i] = float64(r.IntN(5))
				}
			}
			t, err := stats.MannKendall(order, value, Conf, stats.Outward)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{rejected(t.P)}, nil
		},
	}
}

func poissonBinomial(data string) Scenario {
	risks := make([]float64, 60)
	for i := range risks {
		risks[i] = 0.02 + 0.28*float64(i)/59
	}
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejectsAtMost("Poisson-binomial, exact tail"), rejects("Poisson-binomial, mid-p")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			k := 0
			for _, p := range risks {
				k += hits(r, 1, p)
			}
			t, err := stats.PoissonBinomial(risks, k)
			if err != nil {
				return nil, err
			}
			return []Outcome{rejected(t.PAtLeast), rejected(t.PMid)}, nil
		},
	}
}

// falseDiscoveries draws one family of independent tests, some of them of true
// effects, and counts what is rejected wrongly.
func falseDiscoveries(data string) Scenario {
	const tests, effects, effect = 40, 10, 3.0
	fdr := rejects("Benjamini–Hochberg at 5 %, false among the rejected")
	fdr.Want = Size * (tests - effects) / tests // exactly so for independent tests (Benjamini & Yekutieli 2001)
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{fdr, rejectsAtMost("Holm at 5 %, any false rejection")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			p := make([]stats.Float, tests)
			for i := range p {
				z := r.NormFloat64()
				if i < effects {
					z += effect
				}
				p[i] = stats.Some(distuv.UnitNormal.Survival(z))
			}
			a, err := stats.Adjust(p, Conf)
			if err != nil {
				return nil, err
			}
			found, wrong, anyWrong := 0, 0, false
			for i, is := range a.RejectedBH {
				if is {
					found++
					if i >= effects {
						wrong++
					}
				}
				anyWrong = anyWrong || i >= effects && a.Holm[i].V <= Size
			}
			return []Outcome{number(float64(wrong) / float64(max(found, 1))), yes(anyWrong)}, nil
		},
	}
}

func dispersion(data string) Scenario {
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejects("funnel, overdispersion")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			units := make([]stats.Trials, 40)
			for i := range units {
				units[i] = stats.Trials{Name: fmt.Sprint(i), Hits: hits(r, 60, 0.2), Size: 60}
			}
			f, err := stats.MakeFunnel(units, stats.None)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{rejected(f.PhiP)}, nil
		},
	}
}

func digits(data string) Scenario {
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejects("heaping of last digits")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			km := make([]int, 300)
			for i := range km {
				km[i] = r.IntN(1000)
			}
			h, err := stats.MeasureHeaping(km, nil, stats.HeapingOptions{})
			if err != nil {
				return none(1, err)
			}
			return []Outcome{rejected(h.P)}, nil
		},
	}
}

func fleissNull(data string) Scenario {
	levels := []float64{.5, .3, .2}
	return Scenario{
		Part: "tests", Data: data, Claims: []Claim{rejects("Fleiss' kappa against 0")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			counts := make([][]int, 50)
			for i := range counts {
				counts[i] = make([]int, len(levels))
				for range 3 {
					counts[i][pick(r, levels)]++
				}
			}
			ratings, err := stats.RatingsOf(counts)
			if err != nil {
				return nil, err
			}
			k, err := stats.FleissKappa(ratings)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{rejected(2 * distuv.UnitNormal.Survival(math.Abs(k.Z)))}, nil
		},
	}
}
