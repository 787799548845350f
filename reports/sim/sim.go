package sim

import (
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// houseKey is the seed of what doesn't change with the seed of the options: the
// stores, the people at the bench and the catalogue, with their truth.
const houseKey = 0x5013_7721_0b1e_c0de

// Options say what to simulate. The zero value of a field is its default.
type Options struct {
	// Seed moves the runners, their pairs and every reading. Stores, staff and
	// models are the same under every seed, so that replicates share one truth.
	Seed uint64
	// House moves what Seed doesn't: how each store's people read, and how each
	// model wears. Under another house the stores and models are other draws of the
	// same trade.
	House uint64
	// Inspections is how many records Inspections yields, exactly. Default 20,000.
	Inspections int
	// Stores, 12 to 2,000; default 24.
	Stores int
	// Models, 40 to 800; default 40.
	Models int
	// Months is the length of the window, 1 to 120; default 24.
	Months int
	// End is the last day of the window, UTC; default 2026-10-31, so that the
	// same seed gives the same data on any day.
	End time.Time
	// Plant puts the three problems of the package comment into the data.
	Plant bool
	// Judge fills in what the default rules advise, what was given, the number
	// of the rules and the flags. Without it they are left for the importer.
	Judge bool
}

// Bounds and defaults of the options.
const (
	defaultInspections = 20_000
	defaultStores      = 24
	minStores          = 12
	defaultModels      = 40
	minModels          = defaultModels
	defaultMonths      = 24
	maxMonths          = 120
	maxRunners         = 1 << 30 // so that a pair's serial number has 40 bits
)

var defaultEnd = time.Date(2026, time.October, 31, 0, 0, 0, 0, time.UTC)

// within returns v, or def where v is 0, brought within lo and hi.
func within(v, def, lo, hi int) int {
	if v == 0 {
		v = def
	}
	return min(max(v, lo), hi)
}

// Fleet is one simulated retailer. It is made by New and not changed after;
// its iterators may run at the same time.
type Fleet struct {
	Regions []retail.Region
	Stores  []retail.Store
	Staff   []retail.Staff
	Models  []retail.ShoeModel
	Events  []retail.Event

	seed   uint64
	house  uint64
	plant  bool
	judge  bool
	tables *tables

	// The calendar: burn days, then the window up to days; years is its length.
	start             time.Time
	burn, days, years int
	cum               []int32 // the tick at which each day starts
	dayIndex          []int32
	dates             []string
	month             []int32 // months since year 0, by day

	stores       []store
	storeSums    []int
	storeTotal   int
	regionStores [len(regionPlans)][]int
	readers      []reader // by place in Staff
	laws         []law    // by place in Models
	demand       [][]int
	planted      Plants
	labels       [sizeSystems][2][]string

	runners uint64
	// inspections is how many records there are; the last runner's are cut
	// after quota of them.
	inspections, quota int
}

// New simulates a retailer. Numbers outside of their bounds are brought to the
// nearest bound.
//
// It takes time in proportion to Inspections, some 0.5 s a million, to find how
// many runners it takes; memory doesn't grow with Inspections.
func New(o Options) *Fleet {
	if o.End.IsZero() {
		o.End = defaultEnd
	}
	f := &Fleet{seed: o.Seed, house: houseKey ^ o.House, plant: o.Plant, judge: o.Judge, tables: tabulate()}
	f.buildCalendar(o.End, within(o.Months, defaultMonths, 1, maxMonths))
	f.buildPlaces(within(o.Stores, defaultStores, minStores, maxStores))
	f.buildCatalogue(within(o.Models, defaultModels, minModels, maxModels))
	f.buildEvents()
	f.buildLabels()
	f.enlist(within(o.Inspections, defaultInspections, 1, 1<<40))
	return f
}

// enlist finds how many runners bring in so many inspections.
func (f *Fleet) enlist(inspections int) {
	var (
		r runner
		p pair
	)
	for f.inspections < inspections && f.runners < maxRunners {
		f.runner(f.runners, &r)
		seen := 0
		for line := range r.lines {
			for ok := f.firstPair(&p, &r, line); ok; ok = f.nextPair(&p) {
				for v := range p.n {
					if tick := p.visits[v].tick; f.inWindow(tick) {
						seen += f.slot(p.key, v, r.home, f.dayOf(tick)).records()
					}
				}
			}
		}
		f.runners++
		f.quota = min(seen, inspections-f.inspections)
		f.inspections += f.quota
	}
}

// inWindow reports whether a tick lies in the window.
func (f *Fleet) inWindow(tick int32) bool {
	return tick >= f.cum[f.burn] && tick < f.cum[f.days]
}

// Start returns the first instant of the window, and End the first after it.
func (f *Fleet) Start() time.Time { return f.start }

// End returns the first instant after the window.
func (f *Fleet) End() time.Time { return f.start.AddDate(0, 0, f.days-f.burn) }

// Len returns how many records Inspections yields.
func (f *Fleet) Len() int { return f.inspections }

// Lives draws n pairs of a model under a true gait, of runners like the
// fleet's, and returns the true life of each in km: the distribution that the
// fleet's first pairs of that model and gait come from. Among all pairs of a
// fleet the short-lived are more, since who wears shoes down fast buys more of
// them; see Pairs for those. A gait of Unread means the mix of all runners. The
// pairs are none of the fleet's.
func (f *Fleet) Lives(model int, gait assess.Value, n int) []int {
	var (
		r     runner
		p     pair
		lives = make([]int, n)
		first = derive(f.seed, keyLives, uint64(model))
	)
	for i := range lives {
		f.runner(first+uint64(i), &r)
		if gait.OK() {
			r.gait = gait.Int()
		}
		bought := max(f.cum[f.laws[model].onSale[0]], f.cum[f.burn])
		f.build(&p, &r, 0, 0, bought, model)
		lives[i] = int(p.life)
	}
	return lives
}
