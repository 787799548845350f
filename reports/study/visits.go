package study

import (
	"math"
	"math/rand/v2"
	"slices"

	"solewright/assess"
	"solewright/reports/sim"
	"solewright/reports/stats"
)

// visits show what becomes of measured life when the distance at trade-in is
// taken for life, and when visits depend on wear. The numbers are the median
// estimated less the true one, in km.
func visits() []Scenario {
	return []Scenario{
		visited("400 pairs looked at up to three times, visits not moved by wear", 0),
		visited("400 pairs looked at up to three times, half come in when the shoe feels finished", 0.5),
		fleet(),
	}
}

// The rows of an estimate beside the naive one.
const (
	naiveOff = "Kaplan–Meier on the distance at the last look, median off by km"
	npmleOff = "NPMLE, median off by km"
	closer   = "NPMLE, distance from the true median less that of Kaplan–Meier, km"
)

func medianClaims(of string) []Claim {
	return []Claim{
		{Method: of + naiveOff, Kind: Mean, Bound: Shown},
		{Method: of + npmleOff, Kind: Mean, Bound: Shown},
		{Method: of + closer, Kind: Mean, Bound: Below},
	}
}

// medians estimates the median of lives seen in intervals both ways and holds
// them against the truth. The naive way takes a pair found worn as worn out at
// that look, and any other as lost to sight at its last.
func medians(truth float64, lower, upper []float64) ([]Outcome, error) {
	last, worn := make([]float64, len(lower)), make([]bool, len(lower))
	for i := range lower {
		last[i], worn[i] = lower[i], !math.IsInf(upper[i], 1)
		if worn[i] {
			last[i] = upper[i]
		}
	}
	exits, err := stats.Exits(last, worn, nil)
	if err != nil {
		return nil, err
	}
	km, err := stats.KaplanMeier(exits, stats.KMOptions{Conf: Conf})
	if err != nil {
		return none(3, err)
	}
	x, err := stats.Intervals(lower, upper, nil)
	if err != nil {
		return nil, err
	}
	l, err := stats.NPMLE(x)
	if err != nil {
		return none(3, err)
	}
	if !km.Median.OK || l.Median == nil {
		return none(3, stats.ErrNotReached)
	}
	naive, npmle := km.Median.V-truth, (l.Median[0]+l.Median[1])/2-truth
	return []Outcome{number(naive), number(npmle), number(math.Abs(npmle) - math.Abs(naive))}, nil
}

// visited draws pairs that come by schedule, and a share of them besides when
// the shoe feels finished: from a tenth before the end to a fifth after it.
func visited(data string, feel float64) Scenario {
	return Scenario{
		Part: "visits", Data: data, Claims: medianClaims(""),
		Try: func(r *rand.Rand) ([]Outcome, error) {
			lower, upper := make([]float64, 400), make([]float64, 400)
			for i := range lower {
				t, looks := life.draw(r), schedule(r, 1)
				if r.Float64() < feel {
					looks = append(looks, t*between(r, 0.9, 1.2))
					slices.Sort(looks)
				}
				lower[i], upper[i] = look(t, looks)
			}
			return medians(life.quantile(0.5), lower, upper)
		},
	}
}

// look says what is known of a life that ends at t from looks at distances told
// in whole tens, up to the first that finds it worn.
func look(t float64, looks []float64) (lower, upper float64) {
	for _, at := range looks {
		if at = km10(at); t <= at {
			return lower, at
		}
		lower = at
	}
	return lower, math.Inf(1)
}

// Size of one invented retailer.
const fleetReadings = 5000

// fleet invents a retailer whose truth is known. Its true median is that of all
// pairs its runners took into use, seen at a counter or not.
func fleet() Scenario {
	ways := []struct {
		of     string
		counts func(*assess.Record, *sim.Truth) bool
		worn   func(*assess.Record, *sim.Truth) bool
		km     func(*assess.Record, *sim.Truth) assess.Value
	}{
		{"perfect readers, all visits: ", anyVisit, truly, trueKM},
		{"as recorded, all visits: ", finished, advised, toldKM},
		{"perfect readers, without visits moved by wear: ", notMoved, truly, trueKM},
	}
	s := Scenario{Part: "visits", Data: "an invented retailer of 5,000 readings (reports/sim)", Replicates: 200}
	s.Claims = medianClaims("its lives, looked at whatever their wear: ")
	for _, w := range ways {
		s.Claims = append(s.Claims, medianClaims(w.of)...)
	}
	// A pair that felt finished or was given up is not looked at by schedule any
	// more: to leave those visits out is to leave out the worn pairs.
	s.Claims[len(s.Claims)-1].Bound = Shown
	s.Try = func(r *rand.Rand) ([]Outcome, error) {
		f := sim.New(sim.Options{Seed: r.Uint64(), Inspections: fleetReadings, Judge: true})
		var lives []int
		var lower, upper []float64
		for p := range f.Pairs() {
			lives = append(lives, p.LifeKM)
			l, u := look(float64(p.LifeKM), schedule(r, 1))
			lower, upper = append(lower, l), append(upper, u)
		}
		slices.Sort(lives)
		truth := float64(lives[len(lives)/2])
		pairs := make([]histories, len(ways))
		for rec, t := range f.Inspections() {
			for i, w := range ways {
				if km := w.km(rec, t); rec.Kind != assess.Blind && w.counts(rec, t) && km.OK() {
					pairs[i].add(t.Pair, float64(km.Int()), w.worn(rec, t))
				}
			}
		}
		out, err := medians(truth, lower, upper)
		if err != nil {
			return nil, err
		}
		for i := range ways {
			lower, upper := pairs[i].intervals()
			got, err := medians(truth, lower, upper)
			if err != nil {
				return nil, err
			}
			out = append(out, got...)
		}
		return out, nil
	}
	return s
}

func anyVisit(*assess.Record, *sim.Truth) bool { return true }

func notMoved(_ *assess.Record, t *sim.Truth) bool { return t.Why != sim.Felt && t.Why != sim.Ended }

func finished(rec *assess.Record, _ *sim.Truth) bool {
	return rec.Advised == assess.Keep || rec.Advised == assess.RecheckPair || advised(rec, nil)
}

func truly(_ *assess.Record, t *sim.Truth) bool { return t.Worn() }

func advised(rec *assess.Record, _ *sim.Truth) bool {
	return rec.Advised == assess.ReplacePair || rec.Advised == assess.RetirePair
}

func trueKM(_ *assess.Record, t *sim.Truth) assess.Value { return assess.Of(t.KM) }

func toldKM(rec *assess.Record, _ *sim.Truth) assess.Value { return rec.KM }

// histories are the intervals of life of pairs whose readings come in order of
// time.
type histories struct {
	at  map[uint64]int
	all []history
}

type history struct {
	lower, upper, last float64
	contradicts        bool
}

func (h *histories) add(pair uint64, km float64, worn bool) {
	i, known := h.at[pair]
	if !known {
		if h.at == nil {
			h.at = map[uint64]int{}
		}
		i = len(h.all)
		h.at[pair] = i
		h.all = append(h.all, history{upper: math.Inf(1)})
	}
	p := &h.all[i]
	p.contradicts = p.contradicts || km < p.last
	p.last = km
	switch {
	case !math.IsInf(p.upper, 1):
	case !worn:
		p.lower = km
	case km <= p.lower:
		p.contradicts = true
	default:
		p.upper = km
	}
}

// intervals returns those that don't contradict themselves.
func (h *histories) intervals() (lower, upper []float64) {
	for _, p := range h.all {
		if !p.contradicts {
			lower, upper = append(lower, p.lower), append(upper, p.upper)
		}
	}
	return lower, upper
}
