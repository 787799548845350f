package study

import (
	"fmt"
	"math/rand/v2"

	"solewright/reports/stats"
)

const (
	whyKappa   = "normal limits around an estimate that leans, and is cut at 1"
	pageKappa  = "the number of pairs and raters stands beside kappa; grades are shown two by two"
	whyAlpha   = "percentile limits over few items are a little short"
	pageAlpha  = "the number of items stands beside alpha"
	whyErrors  = "the likelihood of error rates learnt from the grades themselves leans in small rounds, and percentile limits follow"
	pageErrors = "the rate corrected stands beside the raw one, never instead"
	whyICC     = "Satterthwaite's degrees of freedom are approximate, the more so with few raters"
	whyLimit   = "the standard error of a limit, SD √(3/n), is that of Bland & Altman (1986), approximate in small samples"
	pageLimits = "the number of pairs stands beside the limits"
)

// agreement are the intervals of agreement between readers.
func agreement() []Scenario {
	list := []Scenario{}
	for _, n := range []int{50, 200} {
		s := kappas(n)
		for i := range s.Claims {
			s = s.strays(i+1, 0.90, 0.97, whyKappa, pageKappa)
		}
		list = append(list, s)
	}
	alpha := alphas(40)
	for i := range alpha.Claims {
		alpha = alpha.strays(i+1, 0.90, 0.965, whyAlpha, pageAlpha)
	}
	return append(list, alpha,
		prevalences(150).strays(1, 0.90, 0.965, whyErrors, pageErrors).strays(2, 0.90, 0.965, whyErrors, pageErrors).strays(3, 0.90, 0.965, whyErrors, pageErrors),
		oneWay("30 shoes, 4 readings each by other people"),
		twoWay("30 shoes read by the same 4 people").strays(1, 0.93, 0.98, whyICC, pageLimits),
		blandAltman(30).strays(2, 0.93, 0.96, whyLimit, pageLimits).strays(3, 0.93, 0.96, whyLimit, pageLimits),
		sen("24 months, slope 0.1, noise of SD 1"),
	)
}

// The joint law of two readings of the same pair in three grades.
var grading = [][]float64{{.32, .07, .01}, {.05, .22, .06}, {.01, .06, .20}}

// kappaOf is the kappa of a joint law.
func kappaOf(joint, weights [][]float64) float64 {
	k := len(joint)
	rows, cols := make([]float64, k), make([]float64, k)
	for i := range joint {
		for j, p := range joint[i] {
			rows[i] += p
			cols[j] += p
		}
	}
	var seen, chance float64
	for i := range joint {
		for j, p := range joint[i] {
			seen += weights[i][j] * p
			chance += weights[i][j] * rows[i] * cols[j]
		}
	}
	return (seen - chance) / (1 - chance)
}

func kappas(n int) Scenario {
	weights := [][][]float64{stats.IdentityWeights(3), stats.LinearWeights(3), stats.QuadraticWeights(3)}
	return Scenario{
		Part: "agreement", Data: fmt.Sprintf("%d pairs read twice in 3 grades", n),
		Claims: []Claim{covers("kappa"), covers("kappa, linear weights"), covers("kappa, quadratic weights")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			table := paired(r, n, grading)
			out := make([]Outcome, len(weights))
			for i, w := range weights {
				k, err := stats.WeightedKappa(table, w, Conf)
				if err != nil {
					return none(len(weights), err)
				}
				out[i] = coveredBy(kappaOf(grading, w), k.Low, k.High)
			}
			return out, nil
		},
	}
}

// How items are in truth and how a reader reads each, for alpha: readers err
// independently given the item.
var (
	itemShares = []float64{.4, .35, .25}
	readsAs    = [][]float64{{.85, .13, .02}, {.10, .80, .10}, {.02, .13, .85}}
)

// alphaOf is the alpha of readings of such items, many of them.
func alphaOf(scale stats.Scale) float64 {
	k := len(itemShares)
	marginal := make([]float64, k)
	for z, share := range itemShares {
		for c, p := range readsAs[z] {
			marginal[c] += share * p
		}
	}
	apart := func(c, d int) float64 {
		if c == d {
			return 0
		}
		if scale == stats.Nominal {
			return 1
		}
		c, d = min(c, d), max(c, d)
		sum := -(marginal[c] + marginal[d]) / 2
		for g := c; g <= d; g++ {
			sum += marginal[g]
		}
		return sum * sum
	}
	var within, across float64
	for c := range k {
		for d := range k {
			across += marginal[c] * marginal[d] * apart(c, d)
			for z, share := range itemShares {
				within += share * readsAs[z][c] * readsAs[z][d] * apart(c, d)
			}
		}
	}
	return 1 - within/across
}

func alphas(n int) Scenario {
	scales := []stats.Scale{stats.Nominal, stats.Ordinal}
	return Scenario{
		Part: "agreement", Data: fmt.Sprintf("%d items, 4 readers, one grade in ten missing; 1,000 resamples", n),
		Claims: []Claim{covers("Krippendorff's alpha, nominal, bootstrap"), covers("Krippendorff's alpha, ordinal, bootstrap")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			var grades []stats.Grade
			for item := range n {
				z := pick(r, itemShares)
				for rater := range 4 {
					if level := pick(r, readsAs[z]); r.Float64() >= 0.1 {
						grades = append(grades, stats.Grade{Item: item, Rater: rater, Level: level})
					}
				}
			}
			ratings, err := stats.Reduce(grades, len(itemShares))
			if err != nil {
				return none(len(scales), err)
			}
			out := make([]Outcome, len(scales))
			for i, scale := range scales {
				a, err := stats.Krippendorff(ratings, scale, nil, 1000, r.Uint64(), Conf)
				if err != nil {
					return none(len(scales), err)
				}
				out[i] = covered(alphaOf(scale), a.Low, a.High)
			}
			return out, nil
		},
	}
}

func prevalences(n int) Scenario {
	return Scenario{
		Part: "agreement", Data: fmt.Sprintf("%d items, 4 readers who err; 200 resamples", n), Replicates: 1000,
		Claims: []Claim{
			covers("Dawid–Skene, prevalence of the first level, bootstrap"),
			covers("Dawid–Skene, prevalence of the second level, bootstrap"),
			covers("Dawid–Skene, prevalence of the third level, bootstrap"),
		},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			var grades []stats.Grade
			for item := range n {
				z := pick(r, itemShares)
				for rater := range 4 {
					grades = append(grades, stats.Grade{Item: item, Rater: rater, Level: pick(r, readsAs[z])})
				}
			}
			limits, err := stats.DawidSkeneLimits(grades, nil, len(itemShares), 200, r.Uint64(), Conf)
			if err != nil {
				return none(len(itemShares), err)
			}
			out := make([]Outcome, len(limits))
			for i, l := range limits {
				out[i] = coveredBy(itemShares[i], l.Low, l.High)
			}
			return out, nil
		},
	}
}

// Standard deviations, in degrees of tilt, between shoes, between readers and
// of one reading.
const (
	shoeSD   = 2.0
	readerSD = 0.8
	noiseSD  = 1.0
)

// tilts draws n shoes read by k people, each shoe by others where fresh is set.
func tilts(r *rand.Rand, n, k int, fresh bool) [][]float64 {
	offset := make([]float64, k)
	for j := range offset {
		offset[j] = readerSD * r.NormFloat64()
	}
	all := make([][]float64, n)
	for i := range all {
		shoe := shoeSD * r.NormFloat64()
		all[i] = make([]float64, k)
		for j := range all[i] {
			if fresh {
				offset[j] = readerSD * r.NormFloat64()
			}
			all[i][j] = shoe + offset[j] + noiseSD*r.NormFloat64()
		}
	}
	return all
}

// Shares of the variance that lie between shoes.
const (
	agreementICC   = shoeSD * shoeSD / (shoeSD*shoeSD + readerSD*readerSD + noiseSD*noiseSD)
	consistencyICC = shoeSD * shoeSD / (shoeSD*shoeSD + noiseSD*noiseSD)
)

func oneWay(data string) Scenario {
	return Scenario{
		Part: "agreement", Data: data, Claims: []Claim{covers("ICC(1,1)")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			c, err := stats.ICC(tilts(r, 30, 4, true), Conf)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{covered(agreementICC, c.ICC11.Low, c.ICC11.High)}, nil
		},
	}
}

func twoWay(data string) Scenario {
	return Scenario{
		Part: "agreement", Data: data, Claims: []Claim{covers("ICC(2,1)"), covers("ICC(3,1)")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			c, err := stats.ICC(tilts(r, 30, 4, false), Conf)
			if err != nil {
				return none(2, err)
			}
			return []Outcome{covered(agreementICC, c.ICC21.Low, c.ICC21.High), covered(consistencyICC, c.ICC31.Low, c.ICC31.High)}, nil
		},
	}
}

func blandAltman(n int) Scenario {
	const bias, sd, z = 0.5, 1.2, 1.96 // the limits are bias ∓ 1.96 SD by definition
	return Scenario{
		Part: "agreement", Data: fmt.Sprintf("%d shoes measured by photo and by level", n),
		Claims: []Claim{covers("Bland–Altman, bias"), covers("Bland–Altman, lower limit"), covers("Bland–Altman, upper limit")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			first, second := make([]float64, n), make([]float64, n)
			for i := range first {
				second[i] = shoeSD * r.NormFloat64()
				first[i] = second[i] + bias + sd*r.NormFloat64()
			}
			l, err := stats.BlandAltman(first, second, Conf)
			if err != nil {
				return none(3, err)
			}
			return []Outcome{
				coveredBy(bias, l.BiasLow, l.BiasHigh), coveredBy(bias-z*sd, l.LowLow, l.LowHigh), coveredBy(bias+z*sd, l.HighLow, l.HighHigh),
			}, nil
		},
	}
}

func sen(data string) Scenario {
	const slope = 0.1
	return Scenario{
		Part: "agreement", Data: data, Claims: []Claim{coversAtLeast("Sen's slope, ranks outward")},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			order, value := make([]float64, 24), make([]float64, 24)
			for i := range order {
				order[i], value[i] = float64(i), slope*float64(i)+r.NormFloat64()
			}
			t, err := stats.MannKendall(order, value, Conf, stats.Outward)
			if err != nil {
				return none(1, err)
			}
			return []Outcome{covered(slope, t.SlopeLow, t.SlopeHigh)}, nil
		},
	}
}
