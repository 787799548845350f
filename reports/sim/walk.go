package sim

import (
	"cmp"
	"iter"
	"slices"

	"solewright/assess"
)

// slot is when and where one visit happens, and which records it gives.
type slot struct {
	at      int64 // Unix milliseconds of the first record
	store   int
	reader  int // place in the store's bench
	blinds  int // blind readings that follow, by the others at the bench in turn
	amended bool
	voided  bool
	before  bool // gait was recorded before the wear was read
	fitted  bool // the runner is fitted on the way
}

// House assumptions about visits, in percent.
const (
	awayPct       = 6 // at another store of the region
	gaitBeforePct = 83
	fittedPct     = 78  // of trade-ins; checks a tenth of that
	blindPct      = 2.3 // followed by a blind reading by each other person at the bench
	amendedPct    = 0.3 // entered again, superseding the first
	voidedPct     = 0.2
)

// Minutes between the records of one visit.
const amendAfter, blindAfter = 6, 15

// records returns how many records the visit gives.
func (s slot) records() int {
	n := 1 + s.blinds
	if s.amended {
		n++
	}
	return n
}

// slot draws the slot of the v-th visit of a pair.
func (f *Fleet) slot(pairKey uint64, v, home, day int) slot {
	d := roll(derive(pairKey, keyVisit, uint64(v)))
	s := slot{store: home}
	if d.chance(pct(awayPct)) {
		near := f.regionStores[f.stores[home].region]
		s.store = near[d.below(len(near))]
	}
	st := &f.stores[s.store]
	s.reader = d.below(len(st.bench))
	second := opens + d.below(closes-opens) - st.offset
	s.at = f.start.UnixMilli() + (int64(day-f.burn)*86_400+int64(second))*1000 + int64(d.below(1000))
	if d.chance(pct(blindPct)) {
		s.blinds = len(st.bench) - 1
	}
	s.amended, s.voided = d.chance(pct(amendedPct)), d.chance(pct(voidedPct))
	s.before, s.fitted = d.chance(pct(gaitBeforePct)), d.chance(pct(fittedPct))
	return s
}

// entry is a line of a runner's pairs in the walk: its present pair and the
// next visit of it. The pair is built again whenever it is needed, so an entry
// is all that has to be remembered.
type entry struct {
	next         int32 // in the pool, −1 none
	line         uint32
	bought, tick int32
	model, no    uint16
	home         uint16
	visit        uint8
}

func (e *entry) runner() uint64 { return uint64(e.line >> 1) }

// happening is one record to be made.
type happening struct {
	entry
	slot
	at int64
	// sub is 0 for the visit's first record, 1 for its amendment, 2 and up for
	// blind readings.
	sub int
}

// walk goes through the visits of all lines in order of time. It keeps one
// entry for each line that is still to be seen: memory goes with the runners,
// not with the inspections.
type walk struct {
	f     *Fleet
	pool  []entry
	heads []int32 // by day: the lines that are seen on it
	free  int32
	day   []happening
	quota int
	r     runner
	p     pair
}

// visits yields every record to be made, in order of time, with its pair.
func (f *Fleet) visits() iter.Seq2[*happening, *pair] {
	return func(yield func(*happening, *pair) bool) {
		w := &walk{f: f, free: -1, quota: f.quota, heads: make([]int32, f.days)}
		for i := range w.heads {
			w.heads[i] = -1
		}
		for n := range f.runners {
			f.runner(n, &w.r)
			for line := range w.r.lines {
				w.follow(f.firstPair(&w.p, &w.r, line), -1)
			}
		}
		for day := f.burn; day < f.days; day++ {
			w.gather(day)
			for i := range w.day {
				h := &w.day[i]
				if h.runner() == f.runners-1 {
					if w.quota == 0 {
						continue
					}
					w.quota--
				}
				w.recall(&h.entry)
				if !yield(h, &w.p) {
					return
				}
				if h.sub == 0 {
					w.follow(true, int(h.visit))
				}
			}
		}
	}
}

// recall builds the pair of an entry.
func (w *walk) recall(e *entry) {
	w.f.runner(e.runner(), &w.r)
	w.f.build(&w.p, &w.r, int(e.line&1), int(e.no), e.bought, int(e.model))
}

// follow looks for the next visit of the line within the window, after the one
// numbered last of the present pair, and files it under its day.
func (w *walk) follow(ok bool, last int) {
	f, p := w.f, &w.p
	for ; ok; ok = f.nextPair(p) {
		for v := last + 1; v < p.n; v++ {
			tick := p.visits[v].tick
			if tick >= f.cum[f.days] {
				return
			}
			if tick < f.cum[f.burn] {
				continue
			}
			w.file(entry{
				line: uint32(w.r.index)<<1 | uint32(p.line), bought: p.bought, tick: tick,
				model: uint16(p.model), no: uint16(p.no), home: uint16(w.r.home), visit: uint8(v),
			})
			return
		}
		last = -1
	}
}

// file keeps an entry for its day.
func (w *walk) file(e entry) {
	day := w.f.dayOf(e.tick)
	at := w.free
	if at >= 0 {
		w.free = w.pool[at].next
	} else {
		at = int32(len(w.pool))
		w.pool = append(w.pool, entry{})
	}
	e.next = w.heads[day]
	w.pool[at] = e
	w.heads[day] = at
}

// gather takes a day's entries out of the pool and puts the records they give
// in order of time.
func (w *walk) gather(day int) {
	f := w.f
	w.day = w.day[:0]
	for at := w.heads[day]; at >= 0; {
		e := w.pool[at]
		w.pool[at].next, w.free, at = w.free, at, e.next
		key := pairKeyOf(derive(f.seed, keyRunner, e.runner()), int(e.line&1), int(e.no))
		s := f.slot(key, int(e.visit), int(e.home), day)
		w.day = append(w.day, happening{entry: e, slot: s, at: s.at})
		minutes := int64(0)
		if s.amended {
			minutes += amendAfter
			w.day = append(w.day, happening{entry: e, slot: s, at: s.at + minutes*60_000, sub: 1})
		}
		for b := range s.blinds {
			minutes += blindAfter
			w.day = append(w.day, happening{entry: e, slot: s, at: s.at + minutes*60_000, sub: 2 + b})
		}
	}
	slices.SortFunc(w.day, func(a, b happening) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.line, b.line), cmp.Compare(a.sub, b.sub))
	})
}

// Inspections yields the records in order of time with the truth behind each.
// Both pointers are good until the next turn of the loop; copy what is kept.
// Memory goes with the number of runners, some 30 bytes each.
func (f *Fleet) Inspections() iter.Seq2[*assess.Record, *Truth] {
	return func(yield func(*assess.Record, *Truth) bool) {
		b := &bench{f: f}
		for h, p := range f.visits() {
			b.read(h, p)
			if !yield(&b.rec, &b.truth) {
				return
			}
		}
	}
}
