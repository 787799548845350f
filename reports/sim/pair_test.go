package sim

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"solewright/assess"
)

// drawPair makes p a pair of a drawn runner, model and gait.
func drawPair(t *rapid.T, f *Fleet, r *runner, p *pair) {
	f.runner(rapid.Uint64Range(0, 1<<20).Draw(t, "runner"), r)
	r.gait = rapid.IntRange(0, gaits-1).Draw(t, "gait")
	model := rapid.IntRange(0, len(f.laws)-1).Draw(t, "model")
	bought := f.cum[max(f.laws[model].onSale[0], 0)]
	f.build(p, r, 0, rapid.IntRange(0, 20).Draw(t, "no"), bought, model)
}

func TestAPerfectReaderReplacesAtTheTrueLifeAndNotBefore(t *testing.T) {
	f := New(Options{Inspections: 1, Plant: true})
	rapid.Check(t, func(t *rapid.T) {
		var (
			r      runner
			p      pair
			state  assess.Reading
			result assess.Result
		)
		drawPair(t, f, &r, &p)
		worn := func(km int32) bool {
			p.state(&state, &f.laws[p.model], km)
			assess.Default().Judge(&state, &f.Models[p.model].AsNew, &result)
			if result.Verdict == assess.Incomplete {
				t.Fatalf("a perfect reader left %v unread", result.Unread)
			}
			return result.Verdict == assess.ReplacePair || result.Verdict == assess.RetirePair
		}
		if p.life > 1 && worn(p.life-1) {
			t.Fatalf("replaced for %s at %d km, life is %d km by %v", result.Findings[0].Code, p.life-1, p.life, p.endsBy)
		}
		later := p.life + int32(rapid.IntRange(0, 500).Draw(t, "beyond"))
		for _, km := range []int32{p.life, later} {
			if !worn(km) {
				t.Fatalf("not replaced at %d km, life is %d km by %v", km, p.life, p.endsBy)
			}
		}
	})
}

// worsens are the columns on whose scale a shoe only goes down.
var worsens = append(slices.Clone(graded[:]), assess.Mesh)

func TestTheTrueStateNeverRecovers(t *testing.T) {
	f := New(Options{Inspections: 1, Plant: true})
	rapid.Check(t, func(t *rapid.T) {
		var (
			r             runner
			p             pair
			before, after assess.Reading
		)
		drawPair(t, f, &r, &p)
		from := int32(rapid.IntRange(0, 1500).Draw(t, "from"))
		p.state(&before, &f.laws[p.model], from)
		p.state(&after, &f.laws[p.model], from+int32(rapid.IntRange(0, 500).Draw(t, "further")))
		for i := range before.Shoe {
			for z := range assess.Col(assess.NumZones) {
				if after.Shoe[i][z].Int() < before.Shoe[i][z].Int() {
					t.Fatalf("%v went from %d to %d", z, before.Shoe[i][z].Int(), after.Shoe[i][z].Int())
				}
			}
			for _, c := range worsens {
				if after.Shoe[i][c].Int() < before.Shoe[i][c].Int() {
					t.Fatalf("%v went from %d to %d", c, before.Shoe[i][c].Int(), after.Shoe[i][c].Int())
				}
			}
		}
		for _, c := range []assess.Col{assess.FlexSide, assess.TorsionSide} {
			if abs(after.Pair(c).Int()) < abs(before.Pair(c).Int()) {
				t.Fatalf("%v went from %d to %d", c, before.Pair(c).Int(), after.Pair(c).Int())
			}
		}
	})
}

func abs(n int) int { return max(n, -n) }

func TestVisitsOfAPairAreInOrder(t *testing.T) {
	f := New(Options{Inspections: 1})
	rapid.Check(t, func(t *rapid.T) {
		var (
			r runner
			p pair
		)
		drawPair(t, f, &r, &p)
		if p.n > maxVisits {
			t.Fatalf("%d visits", p.n)
		}
		last := p.bought
		for i, v := range p.visits[:p.n] {
			// Two visits of a line on one day would get lost in the walk.
			if v.tick < last+visitGap*ticks || f.dayOf(v.tick) <= f.dayOf(last) && f.inWindow(v.tick) || v.tick > p.end {
				t.Fatalf("visit %d at %d, the last at %d, the end at %d", i, v.tick, last, p.end)
			}
			if v.kind == assess.TradeIn && i != p.n-1 {
				t.Fatalf("visit %d of %d is a trade-in", i+1, p.n)
			}
			last = v.tick
		}
		if p.next >= 0 && p.next < p.end {
			t.Fatalf("the next pair is bought at %d, before the end at %d", p.next, p.end)
		}
	})
}

func TestRatesAreThoseOfTheParameters(t *testing.T) {
	f := New(Options{Inspections: 1})
	var (
		r     runner
		p     pair
		rates [assess.NumZones][]float64
		tilts []float64
		early int
		pairs int
	)
	for n := range uint64(20_000) {
		f.runner(n, &r)
		f.buy(&p, &r, 0, 0, f.cum[f.burn], -1)
		pairs++
		if p.life < 150 {
			early++
		}
		for i := range p.shoes {
			s := &p.shoes[i]
			if grows := float64(s.grows) / 100; grows < 1.6 && grows > -1.6 { // factory faults apart
				tilts = append(tilts, math.Abs(grows))
			}
			if r.strike != rearfoot {
				continue
			}
			for z, rate := range s.rate {
				if rate > 0 {
					rates[z] = append(rates[z], float64(rate)/1000)
				}
			}
		}
	}
	median := func(x []float64) float64 {
		slices.Sort(x)
		return x[len(x)/2]
	}
	mean := func(x []float64) float64 {
		sum := 0.0
		for _, v := range x {
			sum += v
		}
		return sum / float64(len(x))
	}
	for _, row := range []struct {
		name         string
		got          float64
		low, high    float64
		unit, source string
	}{
		{"lateral heel, rearfoot strikers", median(rates[assess.HeelLateral]), 0.45, 0.75, "mm/100 km", "simulator_params: 0.3–0.6–1.2, derived from 3–5.5 mm gone in 400–900 km"},
		{"medial heel", median(rates[assess.HeelMedial]), 0.15, 0.3, "mm/100 km", "simulator_params: 0.05–0.2–0.5, assumption"},
		{"inner forefoot", median(rates[assess.ForeMedial]), 0.22, 0.4, "mm/100 km", "simulator_params: 0.1–0.3–0.7, assumption"},
		{"outer forefoot", median(rates[assess.ForeLateral]), 0.18, 0.35, "mm/100 km", "simulator_params: 0.1–0.25–0.7, assumption"},
		{"toe tip", median(rates[assess.ToeMedial]), 0.15, 0.3, "mm/100 km", "simulator_params: 0.05–0.2–0.6, assumption"},
		{"mean growth of tilt", mean(tilts), 0.15, 0.25, "°/100 km", "simulator_params: 0–0.2–1.0, heavy tail, assumption"},
		{"pairs that end under 150 km", float64(early) / float64(pairs), 0.01, 0.06, "of pairs", "simulator_params: 0.01–0.03–0.06, assumption"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if row.got < row.low || row.got > row.high {
				t.Errorf("got %.3f %s, want %.2f to %.2f (%s)", row.got, row.unit, row.low, row.high, row.source)
			}
		})
	}
	t.Run("the tail of tilt is heavy: one in 50 grows more than twice the mean of the rest", func(t *testing.T) {
		slices.Sort(tilts)
		if q98, q50 := tilts[len(tilts)*98/100], tilts[len(tilts)/2]; q98 < 4*q50 {
			t.Errorf("the 98 %% quantile is %.2f, the median %.2f", q98, q50)
		}
	})
}

func TestLivesAreThoseOfTheFleetsFirstPairs(t *testing.T) {
	f := New(Options{Seed: 5, Inspections: 60_000})
	model := f.planted.Model
	var first []int
	for p := range f.pairs() {
		if p.no == 0 && p.model == model {
			first = append(first, int(p.life))
		}
	}
	lives := f.Lives(model, assess.Unread, 4000)
	slices.Sort(first)
	slices.Sort(lives)
	// Two-sample Kolmogorov–Smirnov, 0.1 % level: 1.95 √((n + m) / (n m)).
	// Source: Smirnov 1948, asymptotic quantile 1.95.
	n, m := float64(len(first)), float64(len(lives))
	worst := 0.0
	for i, life := range first {
		below, _ := slices.BinarySearch(lives, life)
		worst = max(worst, math.Abs(float64(i)/n-float64(below)/m))
	}
	if limit := 1.95 * math.Sqrt((n+m)/(n*m)); worst > limit {
		t.Errorf("distance %.4f of %d first pairs and %d lives, limit %.4f", worst, len(first), len(lives), limit)
	}
}
