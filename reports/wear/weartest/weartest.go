// Package weartest holds signals against known truth: what an invented fleet
// raises that has no problem planted, and whether those that are planted are found.
// Every fleet is another draw of the trade, with stores that read and models that
// wear a little differently: a signal has to tell a problem from that.
package weartest

import (
	"context"
	"math"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/fleet/fleettest"
	"solewright/reports/sim"
	"solewright/reports/wear"
)

// Fleets says which fleets are drawn.
type Fleets struct {
	// N is how many, First the seed of the first and of its house.
	N     int
	First uint64
	// Inspections of each; 0 is the number of the demo.
	Inspections int
}

// StatedRate is what a signal's q promises: of the fleets in which nothing of a kind
// is there to find, the share that raises one. (Benjamini & Hochberg 1995: where
// every null hypothesis holds, the false discovery rate is the chance of any.)
const StatedRate = 0.05

// Raised is what fleets with nothing planted raise of one kind.
type Raised struct {
	Kind wear.Kind
	// Signals is how many were raised in all fleets together, With how many fleets
	// raised any.
	Signals, With int
	// False is how many fleets raised any that isn't true: a store is truly apart
	// where its people's readings, beside what a perfect reader would have said of
	// the same shoes, account for at least half of what it is off by. Of any other
	// kind every signal counts as false.
	False int
}

// Null draws fleets with nothing planted and counts what they raise.
func Null(ctx context.Context, o Fleets) ([]Raised, error) {
	all := make([]Raised, len(wear.Kinds))
	err := o.each(ctx, false, func(f *sim.Fleet, found []wear.Signal) error {
		var read map[string]float64
		for k, kind := range wear.Kinds {
			raised := &all[k]
			raised.Kind = kind
			with, isFalse := false, false
			for i := range found {
				s := &found[i]
				if s.Kind != kind {
					continue
				}
				if kind == wear.StoreApart && read == nil {
					var err error
					if read, err = readHard(f); err != nil {
						return err
					}
				}
				raised.Signals++
				with = true
				isFalse = isFalse || kind != wear.StoreApart || !accounts(read[s.Store], s.Share-s.Expected)
			}
			raised.With, raised.False = raised.With+one(with), raised.False+one(isFalse)
		}
		return nil
	})
	return all, err
}

func one(is bool) int {
	if is {
		return 1
	}
	return 0
}

// accounts says that an excess of readings is at least half of what a share is off
// by.
func accounts(excess, off float64) bool { return excess*off > 0 && math.Abs(excess) >= math.Abs(off)/2 }

// readHard is by how much more of their readings the people of each store found
// worn than a perfect reader would have, beyond what people do in all stores.
func readHard(f *sim.Fleet) (map[string]float64, error) {
	engine, err := assess.Compile(assess.DefaultRules())
	if err != nil {
		return nil, err
	}
	type sum struct{ excess, n float64 }
	var all sum
	by := map[string]sum{}
	var result assess.Result
	worn := func(r *assess.Reading, m *assess.AsNew) (float64, bool) {
		engine.Judge(r, m, &result)
		return float64(one(result.Verdict == assess.ReplacePair || result.Verdict == assess.RetirePair)), result.Verdict != assess.Incomplete
	}
	for rec, truth := range f.Inspections() {
		if rec.Kind == assess.Blind {
			continue
		}
		m := &f.Models[truth.Model].AsNew
		read, ok := worn(&rec.Reading, m)
		perfect, ok2 := worn(&truth.State, m)
		if !ok || !ok2 {
			continue
		}
		s := by[rec.Store]
		by[rec.Store] = sum{s.excess + read - perfect, s.n + 1}
		all = sum{all.excess + read - perfect, all.n + 1}
	}
	out := map[string]float64{}
	for code, s := range by {
		out[code] = s.excess/s.n - all.excess/all.n
	}
	return out, nil
}

// Found is how often one planted problem is found.
type Found struct {
	Kind wear.Kind
	// In is in how many fleets it is a signal, First in how many the first of its
	// kind, Others how many signals of its kind stand beside it in all of them.
	In, First, Others int
}

// Planted draws fleets with the three problems planted and counts in how many each
// is found.
func Planted(ctx context.Context, o Fleets) ([]Found, error) {
	all := []Found{{Kind: wear.EarlyBatch}, {Kind: wear.StoreApart}, {Kind: wear.ModelWears}}
	err := o.each(ctx, true, func(f *sim.Fleet, found []wear.Signal) error {
		for k := range all {
			at, in := 0, false
			for i := range found {
				s := &found[i]
				if s.Kind != all[k].Kind {
					continue
				}
				if !Is(f, s) {
					all[k].Others++
				} else if !in {
					in = true
					all[k].First += one(at == 0)
				}
				at++
			}
			all[k].In += one(in)
		}
		return nil
	})
	return all, err
}

// Is reports whether a signal is a planted problem. The model wears its inner
// forefoot under pronated and highly pronated gait.
func Is(f *sim.Fleet, s *wear.Signal) bool {
	p := f.Plants()
	switch s.Kind {
	case wear.EarlyBatch:
		return s.Batch == p.Batch && s.Model == f.Models[p.BatchModel].ID.String()
	case wear.StoreApart:
		return s.Store == f.Stores[p.Store].Code && s.Share > s.Expected
	case wear.ModelWears:
		return s.Model == f.Models[p.Model].ID.String() && s.Part == wear.Forefoot.String() && s.Pattern == assess.MedialWear.String() &&
			(s.Gait == assess.GaitWords[3] || s.Gait == assess.GaitWords[4])
	}
	return false
}

// Delay is how the early-failure chart runs, counted in readings under 250 km.
type Delay struct {
	// Readings are those of all charts of models with nothing planted, Alarms how often
	// the charts signal in them, Stated the mean of the run lengths that they state.
	Readings, Alarms int
	Stated           float64
	// Fleets have a batch that fails early; in Found of them its own chart signals,
	// after Delay readings in the mean, where Doubled is the mean that charts state of
	// doubled odds.
	Fleets, Found  int
	Delay, Doubled float64
}

// Charts draws fleets twice, with nothing planted and with the problems, and runs the
// early-failure charts of every model in the first and of the planted batch in the
// other.
func Charts(ctx context.Context, o Fleets) (*Delay, error) {
	d := &Delay{Fleets: o.N}
	charts := 0
	for n := range uint64(o.N) {
		for _, plant := range []bool{false, true} {
			f := sim.New(sim.Options{Seed: o.First + n, House: o.First + n, Inspections: o.Inspections, Plant: plant})
			view, err := fleettest.Load(ctx, f)
			if err != nil {
				return nil, err
			}
			ask, p := wear.Ask{Scopes: models.Fleet}, f.Plants()
			found, err := wear.FindFailures(view, ask)
			if err != nil {
				return nil, err
			}
			if plant {
				m := &f.Models[p.BatchModel]
				c, err := found.Chart(view, ask, m.Category, m.ID.String(), p.Batch, nil)
				if err != nil {
					return nil, err
				}
				alarms, first, err := alarms(c)
				if err != nil {
					return nil, err
				}
				d.Doubled += c.Doubled.V / float64(o.N)
				if alarms > 0 {
					d.Found++
					d.Delay += float64(first)
				}
				continue
			}
			for i := range f.Models {
				m := &f.Models[i]
				c, err := found.Chart(view, ask, m.Category, m.ID.String(), "", nil)
				if err != nil {
					return nil, err
				}
				if c.Readings < wear.MinPairs {
					continue
				}
				n, _, err := alarms(c)
				if err != nil {
					return nil, err
				}
				charts++
				d.Readings, d.Alarms, d.Stated = d.Readings+c.Readings, d.Alarms+n, d.Stated+c.InControl.V
			}
		}
	}
	d.Stated /= max(float64(charts), 1)
	d.Delay /= max(float64(d.Found), 1)
	return d, nil
}

// alarms counts how often a chart signals, and the readings until it first does.
func alarms(c *wear.FailureChart) (n, first int, err error) {
	seen := 0
	for _, part := range c.Parts {
		var chart struct {
			Groups []struct {
				Points []struct{ Out bool }
			}
		}
		if err := part.Chart.Decode(&chart); err != nil {
			return 0, 0, err
		}
		for _, p := range chart.Groups[0].Points {
			if seen++; p.Out {
				if n++; n == 1 {
					first = seen
				}
			}
		}
	}
	return n, first, nil
}

// each draws the fleets and finds what stands out in each.
func (o Fleets) each(ctx context.Context, plant bool, f func(*sim.Fleet, []wear.Signal) error) error {
	for n := range uint64(o.N) {
		if err := ctx.Err(); err != nil {
			return err
		}
		made := sim.New(sim.Options{Seed: o.First + n, House: o.First + n, Inspections: o.Inspections, Plant: plant})
		view, err := fleettest.Load(ctx, made)
		if err != nil {
			return err
		}
		found, err := wear.Signals(view, wear.Ask{Scopes: models.Fleet})
		if err != nil {
			return err
		}
		if err := f(made, found); err != nil {
			return err
		}
	}
	return nil
}

// once is how rarely a rate that is kept is called broken.
const once = 0.001

// Most is the most of n fleets that raise a false signal where the stated rate is
// kept: more would happen once in a thousand times, by the binomial.
func Most(n int) int {
	chance := math.Pow(1-StatedRate, float64(n)) // of none
	below := chance
	k := 0
	for 1-below > once {
		chance *= float64(n-k) / float64(k+1) * StatedRate / (1 - StatedRate)
		k++
		below += chance
	}
	return k
}
