// Package risk turns measured life into tables that a tablet can look up: given
// that a pair is sound now, by which distance has a fifth of its like been worn
// out?
//
// Life is measured from intervals, in which a pair's readings say that it was
// worn out. A Weibull life is fitted to each model, each category and all pairs
// (stats.FitWeibull), and the distance is its conditional quantile. A curve ends
// where the data do, at the last point of the support of the non-parametric
// estimate (stats.NPMLE): no step leads beyond it.
package risk

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"solewright/assess"
	"solewright/reports/stats"
)

// Life counts pairs with the same interval of life.
type Life struct {
	Model, Category string // empty where unknown
	Lower           int
	Upper           assess.Value // unread: sound so far
	Pairs           int
}

// What the tables hold: the distance at which the conditional risk of "replace"
// reaches Risk, in steps of stepKM, told in whole wholeKM, rounded to the early
// side. House values, common practice, no source.
const (
	Risk    = assess.Hundredths(20_00) // percent
	stepKM  = 50
	wholeKM = 10
)

// The fewest pairs, and worn ones among them, that get a curve of their own.
// Below, the next wider one stands. Groups under 20 pairs are never ranked
// either; likelihood intervals are wide below 10 failures (Jeng SL, Meeker WQ
// 2000, Technometrics 42:135–148).
const (
	fewestPairs = 20
	fewestWorn  = 10
)

// confidence is that of the fit's limits, which the tables don't hold.
const confidence = 0.95

// Tables computes the tables as of a day, YYYY-MM-DD: a curve for each model and
// category with pairs enough and a fit, and one of all pairs, in an order that
// does not depend on that of lives. Without any measured life it has no curves.
//
// Errors: those of package stats for lives that are none, such as a negative
// distance.
func Tables(lives []Life, asOf string) (*assess.RiskTables, error) {
	type key struct {
		by assess.NextBy
		of string
	}
	groups := map[key][]Life{}
	for _, l := range lives {
		if l.Upper.OK() && l.Upper.Int() == 0 {
			continue // worn before it was run: nothing about distance
		}
		groups[key{by: assess.NextByAll}] = append(groups[key{by: assess.NextByAll}], l)
		if l.Category != "" {
			k := key{assess.NextByCategory, l.Category}
			groups[k] = append(groups[k], l)
		}
		if l.Model != "" {
			k := key{assess.NextByModel, l.Model}
			groups[k] = append(groups[k], l)
		}
	}
	t := &assess.RiskTables{AsOf: asOf, Risk: Risk}
	for k, of := range groups {
		c, err := curve(of)
		if err != nil {
			return nil, err
		}
		if len(c.Steps) > 0 {
			c.By, c.Of = k.by, k.of
			t.Curves = append(t.Curves, c)
		}
	}
	slices.SortFunc(t.Curves, func(a, b assess.RiskCurve) int {
		return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(a.Of, b.Of))
	})
	return t, nil
}

// curve computes the steps of one group; none where life can't be measured yet.
func curve(lives []Life) (assess.RiskCurve, error) {
	var c assess.RiskCurve
	n := len(lives)
	lower, upper, count := make([]float64, n), make([]float64, n), make([]int, n)
	for i, l := range lives {
		lower[i], upper[i], count[i] = float64(l.Lower), math.Inf(1), l.Pairs
		c.Pairs += l.Pairs
		if l.Upper.OK() {
			upper[i] = float64(l.Upper.Int())
			c.Worn += l.Pairs
		}
	}
	if c.Pairs < fewestPairs || c.Worn < fewestWorn {
		return c, nil
	}
	x, err := stats.Intervals(lower, upper, count)
	if err != nil {
		return c, err
	}
	fit, err := stats.FitWeibull(x, confidence)
	if err != nil {
		return c, unmeasured(err)
	}
	life, err := stats.NPMLE(x)
	if err != nil {
		return c, unmeasured(err)
	}
	c.EndKM = int(life.Curve[len(life.Curve)-1].Time)
	risk := float64(Risk) / 10_000
	for at := 0; at < c.EndKM; at += stepKM {
		next, err := fit.ConditionalQuantile(float64(at), risk)
		if err != nil {
			return c, unmeasured(err)
		}
		if next.Km.V > float64(c.EndKM) {
			break
		}
		c.Steps = append(c.Steps, assess.RiskStep{AtKM: at, NextKM: max(int(next.Km.V)/wholeKM*wholeKM, at+1)})
	}
	return c, nil
}

// unmeasured passes over why a life can't be measured, and hands on a fault.
func unmeasured(err error) error {
	var why *stats.Reason
	if errors.As(err, &why) {
		return nil
	}
	return err
}
