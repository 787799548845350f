package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// IntraclassPart is one intraclass correlation. It may be negative.
type IntraclassPart struct {
	ICC  Float `json:"icc"`
	Low  Float `json:"low"`
	High Float `json:"high"`
	F    Float `json:"f"`
}

// Intraclass says how much of the spread of readings is between items rather
// than raters: for one reading (ICC11, ICC21, ICC31) and for the mean of all
// raters (the averages).
type Intraclass struct {
	// ICC11: every item by other raters. ICC21: the same raters, a sample of
	// all. ICC31: these raters only, their own offsets left out.
	ICC11 IntraclassPart `json:"icc11"`
	ICC21 IntraclassPart `json:"icc21"`
	ICC31 IntraclassPart `json:"icc31"`
	// Averages are the same three for the mean of the k raters.
	Average1 Float `json:"icc1k"`
	Average2 Float `json:"icc2k"`
	Average3 Float `json:"icc3k"`
	N        int   `json:"n"`
	Raters   int   `json:"raters"`
	// Mean squares: between items, between raters, error, within items.
	BMS float64 `json:"bms"`
	JMS float64 `json:"jms"`
	EMS float64 `json:"ems"`
	WMS float64 `json:"wms"`
	Why string  `json:"why,omitempty"`
}

// ICC returns the intraclass correlations of n items read by the same k
// raters, readings[i][j] being rater j on item i, none missing:
//
//	ICC(1,1) = (BMS − WMS)/(BMS + (k − 1) WMS)
//	ICC(2,1) = (BMS − EMS)/(BMS + (k − 1) EMS + k (JMS − EMS)/n)
//	ICC(3,1) = (BMS − EMS)/(BMS + (k − 1) EMS)
//
// with intervals by F, for (2,1) with Satterthwaite's degrees of freedom.
// Without any error within items the F is infinite, and F and limits are
// undefined; so is a correlation whose denominator is nothing, such as ICC(3,1)
// of items that differ by their raters alone.
//
// Errors: ErrOneGroup for fewer than two items or raters, ErrNoSpread where
// all readings are equal, ErrBadInput for a ragged table, a reading that is
// no finite number or conf outside (0, 1).
//
// Source: Shrout PE, Fleiss JL (1979) Psychological Bulletin 86:420–428.
func ICC(readings [][]float64, conf float64) (*Intraclass, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	n := len(readings)
	if n < 2 || len(readings[0]) < 2 {
		return nil, ErrOneGroup.because("fewer than two items or raters")
	}
	k := len(readings[0])
	byItem, byRater := make([]float64, n), make([]float64, k)
	grand := 0.0
	for i, row := range readings {
		if len(row) != k {
			return nil, badInput("item %d has %d readings, must have %d", i+1, len(row), k)
		}
		for j, v := range row {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, badInput("item %d, rater %d reads %v, must be a finite number", i+1, j+1, v)
			}
			byItem[i] += v / float64(k)
			byRater[j] += v / float64(n)
			grand += v / float64(n*k)
		}
	}
	items, raters := float64(n), float64(k)
	between, judges, within, errors := 0.0, 0.0, 0.0, 0.0
	equal, alike := true, true // every reading; every item
	for i, row := range readings {
		between += raters * (byItem[i] - grand) * (byItem[i] - grand)
		for j, v := range row {
			within += (v - byItem[i]) * (v - byItem[i])
			e := v - byItem[i] - byRater[j] + grand
			errors += e * e
			equal = equal && v == readings[0][0]
			alike = alike && v == readings[0][j]
		}
	}
	for _, m := range byRater {
		judges += items * (m - grand) * (m - grand)
	}
	if equal {
		return nil, ErrNoSpread
	}
	if alike {
		between, errors = 0, 0 // and not what rounding left
	}
	df1, df2w, df2e := items-1, items*(raters-1), (items-1)*(raters-1)
	r := &Intraclass{N: n, Raters: k, BMS: between / df1, JMS: judges / (raters - 1), EMS: errors / df2e, WMS: within / df2w}
	if !finite(r.BMS, r.JMS, r.EMS, r.WMS) {
		return nil, ErrBeyondNumbers
	}
	r.ICC11 = oneWay(r.BMS, r.WMS, raters, df1, df2w, conf)
	r.ICC31 = oneWay(r.BMS, r.EMS, raters, df1, df2e, conf)
	r.ICC21 = r.twoWay(conf)
	r.Average1 = Some((r.BMS - r.WMS) / r.BMS)
	r.Average2 = Some((r.BMS - r.EMS) / (r.BMS + (r.JMS-r.EMS)/items))
	r.Average3 = Some((r.BMS - r.EMS) / r.BMS)
	switch {
	case !r.ICC21.ICC.OK || !r.ICC31.ICC.OK:
		r.Why = "a correlation is undefined where its mean squares leave nothing to divide by"
	case !r.ICC11.F.OK || !r.ICC31.F.OK || !r.ICC21.Low.OK:
		r.Why = "without error within items F is infinite and limits are undefined"
	}
	return r, nil
}

// oneWay is ICC(1,1) and, with the error mean square, ICC(3,1).
func oneWay(bms, ms, k, df1, df2, conf float64) IntraclassPart {
	p := IntraclassPart{ICC: Some((bms - ms) / (bms + (k-1)*ms))}
	if ms > 0 {
		f := bms / ms
		upper := 1 - (1-conf)/2
		low := f / distuv.F{D1: df1, D2: df2}.Quantile(upper)
		high := f * distuv.F{D1: df2, D2: df1}.Quantile(upper)
		p.F = Some(f)
		p.Low, p.High = Some((low-1)/(low+k-1)), Some((high-1)/(high+k-1))
	}
	return p
}

// twoWay is ICC(2,1) with the interval of Shrout & Fleiss, p. 424.
func (r *Intraclass) twoWay(conf float64) IntraclassPart {
	n, k := float64(r.N), float64(r.Raters)
	rho := (r.BMS - r.EMS) / (r.BMS + (k-1)*r.EMS + k*(r.JMS-r.EMS)/n)
	p := IntraclassPart{ICC: Some(rho)}
	if r.EMS > 0 {
		p.F = Some(r.BMS / r.EMS)
		fj := r.JMS / r.EMS
		b := n*(1+(k-1)*rho) - k*rho
		a := k * rho * fj
		v := (k - 1) * (n - 1) * (a + b) * (a + b) / ((n-1)*k*k*rho*rho*fj*fj + b*b)
		upper := 1 - (1-conf)/2
		if v > 0 {
			fl := distuv.F{D1: n - 1, D2: v}.Quantile(upper)
			fu := distuv.F{D1: v, D2: n - 1}.Quantile(upper)
			p.Low = Some(n * (r.BMS - fl*r.EMS) / (fl*(k*r.JMS+(k*n-k-n)*r.EMS) + n*r.BMS))
			p.High = Some(n * (fu*r.BMS - r.EMS) / (k*r.JMS + (k*n-k-n)*r.EMS + n*fu*r.BMS))
		}
	}
	return p
}
