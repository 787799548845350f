package sim

import "solewright/assess"

// maxVisits is how often a pair is seen at most, blind rounds apart.
const maxVisits = 6

// visit is one planned visit of a pair.
type visit struct {
	tick int32
	kind assess.RecordKind
	why  Why
}

// Why says what brought a pair to the counter.
type Why uint8

// The reasons of a visit. Only Felt depends on the wear of the pair itself, and
// Ended does in part: pairs are given up near their end, or by habit.
const (
	Scheduled Why = iota // a check that doesn't depend on wear
	Felt                 // the runner felt the shoes near their end
	Offer                // an offer brought the old pair in
	Race                 // a race weekend's stand
	Ended                // the runner gave the pair up
)

var whyWords = [...]string{"scheduled", "felt", "offer", "race", "ended"}

// String returns the reason's word.
func (w Why) String() string { return whyWords[w] }

// checkerShare is how runners use the check: never, sometimes, often.
var checkerShare = [...]int{30, 48, 22}

// checkEvery is the mean time between scheduled checks in days.
var checkEvery = [...]int32{sometimesChecks: 115, oftenChecks: 58}

// House assumptions about visits, chances in percent, times in days.
const (
	firstCheckAfter = 21
	lastCheckBefore = 9  // no check in the days before the pair is given up
	visitGap        = 6  // from purchase or visit to the next visit of a pair
	feltPct         = 44 // come once because the shoes feel finished
	feltAt          = 93 // at about this percent of the true life
	runsOnTo        = 110
	racePct         = 7
	offerPct        = 9
	offerAge        = 75 // from this age a pair is traded in for an offer
	tradePct        = 60 // pairs given up that come to the counter
	endsPct         = 68 // runners who give up a pair that a check finds worn
	staysPct        = 88 // runners who take another pair here
	betweenPairs    = 9  // mean time until the next pair, when the old one was not traded in
)

// plan plans the visits of a pair, its end and the next purchase.
func (f *Fleet) plan(p *pair) {
	r, t := p.by, f.tables
	d := roll(derive(p.key, keyPlan, 0))
	home := &f.stores[r.home]

	runsOn := scale(reached(min(p.life, 20000), runsOnTo), t.felt[d.q()])
	habit := scale(r.habit, t.felt[d.q()])
	p.end = max(p.tickAt(min(runsOn, habit)), p.bought+visitGap*ticks)
	traded, why := d.chance(pct(tradePct)), Ended

	var wish [2 * maxVisits]visit
	n := 0
	add := func(tick int32, why Why) {
		if n < len(wish) && tick < p.end-lastCheckBefore*ticks {
			wish[n] = visit{tick, assess.WearCheck, why}
			n++
		}
	}
	// An offer ends the pair early; the first that moves the runner counts.
	for _, o := range home.offers {
		if o.from >= p.end {
			break
		}
		if o.from > p.bought+offerAge*ticks && d.chance(pct(offerPct)) {
			p.end = min(p.end, o.from+int32(d.below(int(o.to-o.from))))
			traded, why = true, Offer
			break
		}
	}
	if r.checks != neverChecks {
		every := checkEvery[r.checks] * ticks
		for tick := p.bought; n < maxVisits && tick < p.end; {
			tick += firstCheckAfter*ticks + scale(every, t.exponential[d.q()])
			add(tick, Scheduled)
		}
	}
	if d.chance(pct(feltPct)) {
		add(p.tickAt(scale(reached(min(p.life, 20000), feltAt), t.felt[d.q()])), Felt)
	}
	for _, o := range home.races {
		if o.from >= p.end {
			break
		}
		if o.from > p.bought && d.chance(pct(racePct)) {
			add(o.from+int32(d.below(int(o.to-o.from))), Race)
		}
	}
	sortVisits(wish[:n])

	p.n = 0
	last := p.bought
	for _, v := range wish[:n] {
		if p.n == maxVisits-1 {
			break
		}
		if v.tick < last+visitGap*ticks {
			continue
		}
		last = v.tick
		if p.km(v.tick) >= p.life && d.chance(pct(endsPct)) {
			// Found worn: the pair stays with the store or is given up at home.
			p.end, why = v.tick, v.why
			if traded = d.chance(pct(tradePct)); traded {
				break
			}
			p.visits[p.n] = v
			p.n++
			break
		}
		p.visits[p.n] = v
		p.n++
	}
	if traded {
		p.visits[p.n] = visit{p.end, assess.TradeIn, why}
		p.n++
	}
	p.next = -1
	if d.chance(pct(staysPct)) {
		p.next = p.end
		if !traded {
			p.next += ticks + scale(betweenPairs*ticks, t.exponential[d.q()])
		}
	}
}

// sortVisits sorts a few visits by time.
func sortVisits(v []visit) {
	for i := 1; i < len(v); i++ {
		for k := i; k > 0 && v[k].tick < v[k-1].tick; k-- {
			v[k], v[k-1] = v[k-1], v[k]
		}
	}
}
