package sim

import (
	"fmt"
	"iter"
	"slices"

	"solewright/assess"
	"solewright/models/retail"
)

// silentPct is how many pairs are sold to people who never come back, in
// percent of those sold to the fleet's runners. House assumption.
const silentPct = 130

// silentTaste is what the silent buyers look for, in percent, by buyer.
var silentTaste = [buyers]int{roadBuyer: 58, supportBuyer: 22, trailBuyer: 12, trackBuyer: 2, walkBuyer: 6}

// sold is a pair sold, packed so that sorting brings equal ones together:
// month, store, model and batch.
type sold uint64

func (f *Fleet) sold(day, store, model, batch int) sold {
	return sold(f.month[day])<<40 | sold(store)<<24 | sold(model)<<8 | sold(batch)
}

// Sales yields the pairs sold within the window by store, model, batch and
// month, in order of month and store: every pair that a runner of the fleet
// bought at a store, and those of people who never brought one back. Memory
// goes with the pairs sold, 8 bytes each.
func (f *Fleet) Sales() iter.Seq[retail.Sale] {
	return func(yield func(retail.Sale) bool) {
		all := f.allSold()
		slices.Sort(all)
		for len(all) > 0 {
			n := 1
			for n < len(all) && all[n] == all[0] {
				n++
			}
			s := all[0]
			model := int(s >> 8 & 0xffff)
			month := int(s >> 40)
			if !yield(retail.Sale{
				Store: f.Stores[s>>24&0xffff].Code, Model: f.Models[model].ID,
				Batch: f.laws[model].batches[s&0xff].code,
				Month: fmt.Sprintf("%04d-%02d", month/12, month%12+1), Pairs: n,
			}) {
				return
			}
			all = all[n:]
		}
	}
}

// allSold lists the pairs sold.
func (f *Fleet) allSold() []sold {
	var all []sold
	for p := range f.pairs() {
		if f.inWindow(p.bought) && !p.elsewhere {
			all = append(all, f.sold(f.dayOf(p.bought), p.by.home, p.model, p.batch))
		}
	}
	start, span := f.cum[f.burn], int(f.cum[f.days]-f.cum[f.burn])
	for n := range len(all) * silentPct / 100 {
		d := roll(derive(f.seed, keySilent, uint64(n)))
		day := f.dayOf(start + int32(d.below(span)))
		store := f.homeStore(&d)
		model := f.choose(&d, buyer(d.pick(silentTaste[:], 100)), day)
		all = append(all, f.sold(day, store, model, f.laws[model].batchAt(&d, day)))
	}
	return all
}

// pairs yields every pair of every runner, line by line.
func (f *Fleet) pairs() iter.Seq[*pair] {
	return func(yield func(*pair) bool) {
		var (
			r runner
			p pair
		)
		for n := range f.runners {
			f.runner(n, &r)
			for line := range r.lines {
				for ok := f.firstPair(&p, &r, line); ok; ok = f.nextPair(&p) {
					if !yield(&p) {
						return
					}
				}
			}
		}
	}
}

// PairTruth is the truth about one pair, seen at a counter or not.
type PairTruth struct {
	// Pair and Runner are those of Truth, Ref is what stands on the slip.
	Pair, Runner uint64
	Ref          string
	Model        int
	Batch        string
	Gait, Strike int
	// LifeKM is the true life, EndKM the distance at which the runner gave the
	// pair up, both in km.
	LifeKM, EndKM int
	EndsBy        assess.Col
	EndsOn        assess.Foot
	// Bought is the date of purchase; InWindow says that it lies in the window.
	Bought   string
	InWindow bool
	// Visits is how many visits it had in the window.
	Visits int
}

// Pairs yields every pair that the fleet's runners took into use since some
// months before the window, whether or not a counter saw it: the population
// behind the records. The pointer is good until the next turn of the loop.
func (f *Fleet) Pairs() iter.Seq[*PairTruth] {
	return func(yield func(*PairTruth) bool) {
		var t PairTruth
		for p := range f.pairs() {
			t = PairTruth{
				Pair: p.serial, Runner: p.by.index, Ref: f.pairRef(p.serial), Model: p.model,
				Batch: f.laws[p.model].batches[p.batch].code, Gait: p.by.gait, Strike: p.by.strike,
				LifeKM: int(p.life), EndKM: int(p.km(p.end)), EndsBy: p.endsBy, EndsOn: p.endsOn,
				Bought: f.dates[f.dayOf(p.bought)], InWindow: f.inWindow(p.bought),
			}
			for _, v := range p.visits[:p.n] {
				if f.inWindow(v.tick) {
					t.Visits++
				}
			}
			if !yield(&t) {
				return
			}
		}
	}
}
