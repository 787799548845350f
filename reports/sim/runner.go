package sim

import (
	"iter"

	"solewright/assess"
	"solewright/models/retail"
)

// runner is one person: what of them the shoes feel, and their habits.
type runner struct {
	index  uint64
	key    uint64
	home   int
	code   uint64 // 40 bits
	woman  bool
	length [2]int32 // foot length in mm
	width  [2]int32
	// posture is the sum of the Foot Posture Index, by foot.
	posture [2]int32
	gait    int // true
	seen    int // as observed, which statistics know
	known   bool
	strike  int
	buys    buyer
	// volume is the daily distance in metres, wear what they do to rubber,
	// habit the distance in km at which they change shoes anyway.
	volume, wear, habit int32
	side                [2]int32 // what each side does beyond it
	arrival             int32    // tick of the first purchase
	lines               int      // pairs in use side by side
	checks              checker
	anonymous           bool
	account             bool // bought with an account: date of purchase is known
	teaching, health    bool // consents
	unit                int  // of assess.KMUnitWords
	source              int  // of assess.KMSourceWords, when the distance is known
	heap                int  // to what they round, in tenths of their unit
	mass                int  // place in massBands, −1 unknown
}

// checker is how a runner uses the wear check.
type checker uint8

const (
	neverChecks checker = iota
	sometimesChecks
	oftenChecks
)

// Who the runners are.
var (
	// Foot posture sums: mean +4 (Redmond, Crane & Menz 2008), SD 2.5–3
	// (assumption), in hundredths. The bands of Nielsen et al. 2014 (2.9, 19.9,
	// 69.7, 6.6 and 1.0 % of 1,854 feet) rest on cuts that aren't published with
	// them; on this distribution they would lie near −1.5, 2, 8 and 11.
	postureMean, postureSD int32 = 400, 275
	// gaitShare is how observed gait is spread, in %: house assumption with
	// more rolling than standing feet show.
	gaitShare = [gaits]int{3, 14, 53, 24, 6}
	// strikeShare is 0.85 / 0.11 / 0.04, the blend of Hasegawa 2007, Larson
	// 2011, Kasmer 2013 and Patoz 2019.
	strikeShare = [strikes]int{85, 11, 4}
	// Foot length in mm: men 270 ± 13, women 249 ± 12 (cohort of 577 each).
	footMean  = [2]int32{270, 249}
	footSD    = [2]int32{13, 12}
	massBands = [...]string{"under 60", "60-74", "75-89", "90 and over"}
	massShare = [...]int{22, 40, 28, 10}
)

// House assumptions about runners.
const (
	gaitWrongPct    = 8    // observed gait is one band off
	gaitUnknownPct  = 10   // gait was never observed
	sidesSD         = 90   // hundredths: foot posture, foot against the runner's mean
	footSidesSD     = 240  // hundredths of a mm, each foot: 19 % differ by more than 4 mm (UK survey 2018)
	medianVolume    = 4200 // metres a day: 29 km a week
	maxVolume       = 14000
	medianHabit     = 900 // km
	secondLinePct   = 22  // runners with two pairs in use
	firstLinePct    = 60  // share of the distance in the first of two
	anonymousPct    = 7
	accountPct      = 82
	teachingPct     = 45
	healthPct       = 68
	massKnownPct    = 40
	trailBuyerPct   = 13
	trackBuyerPct   = 2
	walkBuyerPct    = 6
	milesAbroadPct  = 3  // count in the unit that isn't their region's
	turnoverPct     = 30 // customers who leave a year, in % of those there are
	loggedPct       = 38
	heapedLoggedPct = 20
)

// runner makes the n-th runner.
func (f *Fleet) runner(n uint64, r *runner) {
	key := derive(f.seed, keyRunner, n)
	t := f.tables
	d := roll(key)
	*r = runner{index: n, key: key, home: f.homeStore(&d), woman: d.chance(pct(45)), mass: -1}

	sex := 0
	if r.woman {
		sex = 1
	}
	length := footMean[sex] + scale(footSD[sex], t.normal[d.q()])
	posture := postureMean + scale(postureSD, t.normal[d.q()])
	for s := range 2 {
		r.length[s] = length + round(scale(footSidesSD, t.normal[d.q()]), 100)
		r.width[s] = r.length[s]*38/100 + scale(4, t.normal[d.q()])
		sum := posture + scale(sidesSD, t.normal[d.q()])
		r.posture[s] = min(max(round(sum, 100), assess.MinPosture), assess.MaxPosture)
	}

	// Gait goes with posture, loosely: standing explains part of running.
	r.gait = gaitOf(&d, t, posture)
	r.seen = r.gait
	if d.chance(pct(gaitWrongPct)) {
		r.seen = nudge(r.gait, d.below(2) == 0, gaits-1)
	}
	r.known = !d.chance(pct(gaitUnknownPct))
	r.strike = d.pick(strikeShare[:], 100)

	r.volume = min(scale(medianVolume, t.volume[d.q()]), maxVolume)
	r.wear = t.runner[d.q()]
	r.side = [2]int32{t.side[d.q()], t.side[d.q()]}
	r.habit = scale(medianHabit, t.habit[d.q()])
	r.checks = checker(d.pick(checkerShare[:], 100))
	r.lines = 1
	if d.chance(pct(secondLinePct)) {
		r.lines = 2
	}

	switch x := d.below(100); {
	case x < trailBuyerPct:
		r.buys = trailBuyer
	case x < trailBuyerPct+trackBuyerPct:
		r.buys = trackBuyer
	case x < trailBuyerPct+trackBuyerPct+walkBuyerPct:
		r.buys = walkBuyer
		r.volume = r.volume * 2 / 3
	case r.gait >= pronated:
		r.buys = supportBuyer
	}

	r.anonymous = d.chance(pct(anonymousPct))
	r.account = !r.anonymous && d.chance(pct(accountPct))
	r.teaching, r.health = d.chance(pct(teachingPct)), d.chance(pct(healthPct))
	if d.chance(pct(massKnownPct)) {
		r.mass = d.pick(massShare[:], 100)
	}
	if (regionPlans[f.stores[r.home].region].unit == "mi") != d.chance(pct(milesAbroadPct)) {
		r.unit = 1
	}
	r.heaps(&d)
	r.arrival = f.arrival(&d)
	r.code = permute40(derive(f.seed, keyCode, 0), n)
}

// arrival draws the tick at which a runner buys the first pair: before the
// window for the customers there already are, within it for the new ones, who
// make up for those who leave.
func (f *Fleet) arrival(d *dice) int32 {
	start := f.cum[f.burn]
	if d.below(100+turnoverPct*f.years) < 100 {
		return int32(d.below(int(start)))
	}
	return start + int32(d.below(int(f.cum[f.days]-start)))
}

// heaps says how the runner tells a distance: logged mostly as it is,
// estimated by round numbers.
func (r *runner) heaps(d *dice) {
	r.source, r.heap = 0, 10
	if d.chance(pct(loggedPct)) {
		if d.chance(pct(heapedLoggedPct)) {
			r.heap = 100
		}
		return
	}
	r.source = 1
	r.heap = [...]int{500, 500, 500, 1000, 1000}[d.below(5)]
}

// gaitOf draws the gait of a runner with a foot posture: the shares are those
// of gaitShare, the order follows posture with correlation 0.6.
func gaitOf(d *dice, t *tables, posture int32) int {
	z := int64(posture-postureMean)*one/int64(postureSD)*6/10 + int64(t.normal[d.q()])*8/10
	for g, cut := range t.gaitCuts {
		if z < int64(cut) {
			return g
		}
	}
	return gaits - 1
}

// nudge moves i one step up or down and back where it would leave 0…top.
func nudge(i int, up bool, top int) int {
	if up && i < top || i == 0 {
		return i + 1
	}
	return i - 1
}

// round divides and rounds to nearest.
func round(a, by int32) int32 {
	if a < 0 {
		return -((-a + by/2) / by)
	}
	return (a + by/2) / by
}

// Runners yields the runners with an account or without, in the order of their
// making; those who stay anonymous are left out.
func (f *Fleet) Runners() iter.Seq[*retail.Runner] {
	return func(yield func(*retail.Runner) bool) {
		var r runner
		for n := range f.runners {
			f.runner(n, &r)
			if r.anonymous {
				continue
			}
			if !yield(f.profile(&r)) {
				return
			}
		}
	}
}

// profile writes a runner as the retailer knows them.
func (f *Fleet) profile(r *runner) *retail.Runner {
	p := &retail.Runner{Code: string(appendCode(nil, r.code)), Unit: assess.KMUnitWords[r.unit]}
	since := retail.Consent{Date: f.dates[max(f.dayOf(r.arrival), f.burn)], Text: consentVersion}
	if r.teaching {
		p.TeachingPhotos = since
	}
	if r.health {
		p.HealthNotes = since
	}
	if r.mass >= 0 {
		p.MassBand = massBands[r.mass]
	}
	return p
}

// appendCode writes 40 bits as R and eight characters of Crockford's base 32.
func appendCode(dst []byte, code uint64) []byte {
	const symbols = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	dst = append(dst, 'R')
	for shift := 35; shift >= 0; shift -= 5 {
		dst = append(dst, symbols[code>>shift&31])
	}
	return dst
}
