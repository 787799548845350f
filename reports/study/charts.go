package study

import (
	"fmt"
	"math/rand/v2"

	"solewright/reports/stats"
)

// The early-failure chart: it watches for doubled odds, and the mix of expected
// probabilities stands for a model's pairs at the distances they are seen.
const (
	chartOdds = 2
	// wrongBy is a baseline that is 20 % off in its odds.
	wrongBy = 1.2
)

var chartMix = []float64{.02, .02, .02, .02, .02, .05, .05, .05, .15, .15}

// charts are the run lengths of the early-failure chart.
func charts() []Scenario {
	const (
		why  = "the baseline odds are 20 % too low, so that ordinary wear looks early"
		page = "the baseline is recalibrated, its date stands on the chart, and a change of rules starts it anew"
	)
	wrong := riskChart(4.5, wrongBy)
	wrong.Claims[0].Want = statedLength(4.5, 1)
	return []Scenario{
		riskChart(3, 1), riskChart(3, chartOdds),
		riskChart(4.5, 1), riskChart(4.5, chartOdds),
		wrong.strays(1, 1500, 2600, why, page),
	}
}

// statedLength is the run length that the page states.
func statedLength(h, trueOdds float64) float64 {
	l, err := stats.RiskRunLength(chartMix, chartOdds, h, trueOdds)
	if err != nil {
		panic(err) // the mix and the odds stand above
	}
	return l.ARLOne
}

// riskChart counts pairs until the chart signals, where the true odds are a
// multiple of those expected.
func riskChart(h, trueOdds float64) Scenario {
	what := "in control"
	if trueOdds != 1 {
		what = fmt.Sprintf("odds %g times the expected", trueOdds)
	}
	return Scenario{
		Part: "charts", Data: fmt.Sprintf("expected 0.02 to 0.15, watch for odds doubled, h %g; %s", h, what),
		Claims: []Claim{{Method: "risk-adjusted CUSUM, pairs until it signals", Kind: RunLength, Bound: Near, Want: statedLength(h, trueOdds)}},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			var cases []stats.Case[int]
			// The series grows until the chart signals in it.
			for {
				for range max(len(cases), firstCases) {
					p := chartMix[r.IntN(len(chartMix))]
					odds := trueOdds * p / (1 - p)
					cases = append(cases, stats.Case[int]{Order: len(cases) + 1, Expected: p, Failed: r.Float64() < odds/(1+odds)})
				}
				chart, err := stats.RiskAdjustedCUSUM(cases, chartOdds, h)
				if err != nil {
					return nil, err
				}
				if chart.FirstSignal != nil {
					return []Outcome{number(float64(*chart.FirstSignal))}, nil
				}
			}
		},
	}
}

// firstCases is how long a series is before it first grows.
const firstCases = 500
