package sim

import "solewright/assess"

// shoe is the truth about one shoe.
type shoe struct {
	// rate is the loss of rubber in µm per 100 km, by zone.
	rate [assess.NumZones]int32
	// tilt is the counter's excess over as-new when it left the shop, grows
	// what it gains per 100 km; hundredths of a degree, inward positive.
	tilt, grows int32
	// at is the distance in km at which each fate is complete.
	at [shoeFates]int32
	// dead says that the foam goes hard instead of giving way.
	dead bool
	// hole is where the mesh will open, of the words of the column.
	hole int
	// insert is what lies in the shoe.
	insert int
}

// pair is the truth about one pair and the plan of its visits.
type pair struct {
	by     *runner
	line   int
	no     int
	key    uint64
	serial uint64 // unique; gives the pair reference

	model, batch int
	bought       int32 // tick
	elsewhere    bool  // bought elsewhere: no sale, no batch known
	speed        int32 // metres a day
	surface, use int

	shoes [2]shoe
	// apart is the distance in km at which the shoes clearly differ in flex
	// and in torsion, softer the side that is then easier: −1 left, +1 right.
	apart  [2]int32
	softer [2]int

	life   int32 // km at which the true state first meets a replace rule
	endsBy assess.Col
	endsOn assess.Foot

	visits [maxVisits]visit
	n      int
	end    int32 // tick at which the runner gives the pair up
	next   int32 // tick at which the next pair is bought, −1 none
}

// When the words of a scale are reached, in percent of the distance at which
// the fate is complete. House assumptions.
const (
	softerAt    = 55
	wornAt      = 40
	paddingAt   = 84
	brokenAt    = 109
	softAt      = 86
	liftingAt   = 94
	slightlyAt  = 60
	floppiestAt = 240 // two bands up
)

// From which excess a counter looks doubtful and from which it leans,
// hundredths of a degree; bands of the trade are 2° and 4° of measured tilt.
const (
	doubtfulFrom = 180
	leansFrom    = 250
)

// Early failures: the simulator's parameters ask for 1–6 % of pairs under
// 150 km, typically 3 %. Beside the tail of the ordinary lives, a few pairs have
// a fault from the factory.
const (
	faultPct   = 1.6
	faultScale = 110 // km, Weibull with the shape of glue
	deadPct    = 22
)

// leanIn is the chance in percent that a counter gives way inward, by gait.
var leanIn = [gaits]int{25, 35, 60, 80, 90}

// surfaceShare is what pairs of a category are run on, in percent.
var surfaceShare = [categories][4]int{
	daily: {86, 2, 2, 10}, longRun: {88, 1, 1, 10}, tempo: {82, 1, 9, 8}, race: {90, 0, 7, 3},
	support: {87, 2, 1, 10}, trail: {2, 84, 0, 14}, track: {12, 0, 84, 4}, walking: {80, 4, 0, 16},
}

// useShare is what they are used for: running shoes and walking shoes.
var useShare = [2][3]int{{93, 5, 2}, {2, 78, 20}}

const (
	elsewherePct = 11
	loyalPct     = 34
)

// pairKeyOf returns the key of the no-th pair of a runner's line.
func pairKeyOf(runnerKey uint64, line, no int) uint64 {
	return derive(runnerKey, keyPair, uint64(no<<1|line))
}

// firstPair makes p the first pair of a line, and reports whether it is bought
// within the calendar.
func (f *Fleet) firstPair(p *pair, r *runner, line int) bool {
	bought := r.arrival
	if line > 0 {
		d := roll(derive(r.key, keyLine, 0))
		bought += int32(d.below(secondWithin * ticks))
	}
	if bought >= f.cum[f.days] {
		return false
	}
	f.buy(p, r, line, 0, bought, -1)
	return true
}

// secondWithin is how many days after the first the second line begins.
const secondWithin = 90

// nextPair makes p the pair that its runner takes after it, and reports
// whether there is one within the calendar.
func (f *Fleet) nextPair(p *pair) bool {
	if p.next < 0 || p.next >= f.cum[f.days] {
		return false
	}
	f.buy(p, p.by, p.line, p.no+1, p.next, p.model)
	return true
}

// buy makes p a pair bought at a tick; before is the model worn until then.
func (f *Fleet) buy(p *pair, r *runner, line, no int, bought int32, before int) {
	day := f.dayOf(bought)
	d := roll(pairKeyOf(r.key, line, no))
	model := before
	if loyal := d.chance(pct(loyalPct)); !loyal || before < 0 || f.laws[before].onSale[1] <= day {
		model = f.choose(&d, r.buys, day)
	}
	f.build(p, r, line, no, bought, model)
}

// build makes p the pair of a model bought at a tick, with its whole truth and
// the plan of its visits. It is a function of its arguments and the seed.
func (f *Fleet) build(p *pair, r *runner, line, no int, bought int32, model int) {
	p.by, p.line, p.no, p.bought, p.model = r, line, no, bought, model
	p.key = pairKeyOf(r.key, line, no)
	p.serial = r.index<<10 | uint64(line)<<9 | uint64(no)
	l := &f.laws[model]
	d := roll(derive(p.key, keyWear, 0))

	p.batch = l.batchAt(&d, f.dayOf(bought))
	p.elsewhere = d.chance(pct(elsewherePct))
	p.speed = r.volume
	if r.lines == 2 {
		p.speed = r.volume * int32(firstLinePct+line*(100-2*firstLinePct)) / 100
	}
	f.wear(p, l, &d, r)
	p.findLife(l)
	f.plan(p)
}

// wear draws how the pair wears.
func (f *Fleet) wear(p *pair, l *law, d *dice, r *runner) {
	t := f.tables
	p.surface = d.pick(surfaceShare[l.category][:], 100)
	walks := 0
	if l.category == walking {
		walks = 1
	}
	p.use = d.pick(useShare[walks][:], 100)
	every := scale(r.wear*surfaceWear[p.surface]/100, useWear[p.use]*one/100)

	rates := &l.wear[r.gait][r.strike]
	insert := d.pick(insertShare[:], 100)
	for i := range p.shoes {
		s := &p.shoes[i]
		own := scale(every, r.side[i])
		for z, rate := range rates {
			s.rate[z] = scale(scale(rate, own), t.zone[d.q()])
		}
		for k := range s.at {
			s.at[k] = scale(l.life[k], f.lifeTable(fate(k))[d.q()])
		}
		s.tilt = min(max(scale(buildTiltSD, t.normal[d.q()]), -maxBuildTilt), maxBuildTilt)
		s.grows = scale(l.tilt, t.tilt[d.q()])
		if d.below(100) >= leanIn[r.gait] {
			s.grows = -s.grows
		}
		s.dead = d.below(100) < deadPct
		s.hole = 1 + d.below(3)
		s.insert = insert
	}
	for i := range p.apart {
		p.apart[i] = scale(l.life[flexSide+fate(i)], t.glue[d.q()])
		p.softer[i] = 2*d.below(2) - 1
	}

	// A fault from the factory, and the planted one: both are drawn for every
	// pair, so that a fleet without plants differs in nothing else.
	which, where := d.below(10), d.below(2)
	early := scale(faultScale, t.glue[d.q()])
	fault, bad := d.chance(pct(faultPct)), d.chance(l.batches[p.batch].badGlue)
	s := &p.shoes[where]
	if fault {
		switch {
		case which < 5:
			s.at[bond] = early
		case which < 7:
			s.at[lining] = early
		default:
			s.grows = leansFrom * 100 / max(early, 1)
		}
	}
	if bad {
		s.at[bond] = scale(plantedGlueKM, early*one/faultScale)
	}
}

// Tilt of a new counter beside its model's: SD 0.5°, at most 1.5° less what
// already looks doubtful (build tolerance, simulator assumption 0–1.5°).
const buildTiltSD, maxBuildTilt = 45, 120

// insertShare is who wears inserts: none, bought, custom.
var insertShare = [...]int{78, 15, 7}

// lifeTable returns the distribution of a fate.
func (f *Fleet) lifeTable(k fate) *quantileTable {
	switch k {
	case pressFore, pressHeel, flexBand, torsionBand:
		return &f.tables.fatigue
	case bond:
		return &f.tables.glue
	}
	return &f.tables.rub
}

// never is a distance that no pair sees.
const never = 1 << 24

// findLife finds the distance at which the true state first meets a replace
// rule of the default rule set, and by which check on which shoe.
func (p *pair) findLife(l *law) {
	p.life = never
	ends := func(km int32, by assess.Col, on assess.Foot) {
		if km < p.life {
			p.life, p.endsBy, p.endsOn = km, by, on
		}
	}
	for i := range p.shoes {
		s, on := &p.shoes[i], assess.Foot(i)
		for z := range s.rate {
			if rate := uint32(s.rate[z]); rate > 0 {
				ends(int32((uint32(l.cut[z][3])*100+rate-1)/rate), assess.Col(z), on)
			}
		}
		ends(s.leansAt(), assess.Stand, on)
		ends(s.at[pressFore], assess.PressFore, on)
		ends(s.at[pressHeel], assess.PressHeel, on)
		ends(s.at[lining], assess.Lining, on)
		ends(s.at[bond], assess.Bond, on)
		if l.rigid {
			ends(s.at[squeeze], assess.Squeeze, on)
		}
		if l.flex == assess.Stiff {
			ends(reached(s.at[flexBand], floppiestAt), assess.Flex, on)
		}
		if l.torsion == assess.Stiff {
			ends(reached(s.at[torsionBand], floppiestAt), assess.Torsion, on)
		}
	}
	ends(p.apart[0], assess.FlexSide, assess.Both)
	ends(p.apart[1], assess.TorsionSide, assess.Both)
	p.life = max(p.life, 1)
}

// reached returns the first whole km at which percent of a distance is done.
func reached(at, percent int32) int32 { return (at*percent + 99) / 100 }

// leansAt returns the first km at which the counter leans to a perfect reader.
func (s *shoe) leansAt() int32 {
	grows, tilt := s.grows, s.tilt
	if grows < 0 {
		grows, tilt = -grows, -tilt
	}
	if grows == 0 {
		return never
	}
	return ((leansFrom-tilt)*100 + grows - 1) / grows
}

// km returns the distance run at a tick.
func (p *pair) km(tick int32) int32 {
	return int32(int64(p.speed) * int64(tick-p.bought) / (1000 * ticks))
}

// tickAt returns the tick by which a distance is run.
func (p *pair) tickAt(km int32) int32 {
	t := int64(p.bought) + (int64(km)*1000*ticks+int64(p.speed)-1)/int64(p.speed)
	return int32(min(t, 1<<30))
}

// excess returns how far the counter stands off from as-new at a distance,
// hundredths of a degree, inward positive.
func (s *shoe) excess(km int32) int32 { return s.tilt + s.grows*km/100 }

// loss returns the rubber lost in a zone in µm.
func (s *shoe) loss(z int, km int32) int32 { return int32(int64(s.rate[z]) * int64(km) / 100) }

// standWord says how a counter looks with an excess.
func standWord(excess int32) int {
	switch {
	case excess >= leansFrom:
		return assess.LeansIn
	case excess <= -leansFrom:
		return assess.LeansOut
	case excess >= doubtfulFrom, excess <= -doubtfulFrom:
		return assess.Doubtful
	}
	return assess.Square
}

// state fills in what a perfect reader would read of the pair at a distance:
// every check on both shoes and the pair, with a photo's tilt of the model's
// as-new tilt and the excess. Depths, degrees and durometer stay unread.
func (p *pair) state(r *assess.Reading, l *law, km int32) {
	*r = assess.Reading{}
	for i := range p.shoes {
		p.shoes[i].state(&r.Shoe[i], l, km)
	}
	for i, cols := range [...][2]assess.Col{{assess.FlexSide, assess.FlexAgain}, {assess.TorsionSide, assess.TorsionAgain}} {
		step := 0
		switch at := p.apart[i]; {
		case km >= at:
			step = 2 * p.softer[i]
			r.SetPair(cols[1], assess.Of(assess.Yes))
		case km >= reached(at, slightlyAt):
			step = p.softer[i]
		}
		r.SetPair(cols[0], assess.Of(step))
	}
	r.SetPair(assess.Setup, assess.Of(assess.Ready))
	r.SetPair(assess.Hygiene, assess.Of(assess.Clean))
	r.KM = assess.Of(int(km))
	r.Surface = assess.Of(p.surface)
}

// state fills in one shoe.
func (s *shoe) state(to *assess.Shoe, l *law, km int32) {
	for z := range s.rate {
		if s.rate[z] == 0 {
			continue // as built
		}
		loss, grade := s.loss(z, km), 0
		for _, cut := range l.cut[z] {
			if loss >= cut {
				grade++
			}
		}
		to[z] = assess.Of(grade)
	}
	excess := s.excess(km)
	to[assess.Stand] = assess.Of(standWord(excess))
	to[assess.Tilt] = assess.Of(int(min(max(l.asNewTilt+excess, -4500), 4500)))
	to[assess.TiltU] = assess.Of(sdWithin)
	to[assess.TiltBy] = assess.Of(assess.ByPhoto)
	to[assess.TiltN] = assess.Of(1)

	gone := assess.Gives
	if s.dead {
		gone = assess.Dead
	}
	to[assess.PressFore] = s.word(pressFore, km, [2]step{{softerAt, assess.Softer}, {100, gone}})
	to[assess.PressHeel] = s.word(pressHeel, km, [2]step{{softerAt, assess.Softer}, {100, gone}})
	to[assess.Squeeze] = s.word(squeeze, km, [2]step{{softAt, assess.Soft}, {100, assess.Folds}})
	if !l.rigid {
		to[assess.Squeeze] = assess.Unread
	}
	to[assess.Bond] = s.word(bond, km, [2]step{{liftingAt, assess.Lifting}, {100, assess.Parted}})
	to[assess.Rubber] = s.word(rubber, km, [2]step{{100, assess.Peeling}, {100, assess.Peeling}})
	to[assess.Mesh] = s.word(mesh, km, [2]step{{100, s.hole}, {100, s.hole}})
	to[assess.Flex] = assess.Of(min(l.flex+s.bands(flexBand, km), assess.Floppy))
	to[assess.Torsion] = assess.Of(min(l.torsion+s.bands(torsionBand, km), assess.Floppy))
	to[assess.Lining] = s.liningWord(km)
	to[assess.Insert] = assess.Of(s.insert)

	// Foam sets deeper on the side that the counter has gone to.
	to[assess.Creases] = assess.Of(assess.CreasesEven)
	switch {
	case excess >= creasedFrom:
		to[assess.Creases] = assess.Of(assess.DeeperInside)
	case excess <= -creasedFrom:
		to[assess.Creases] = assess.Of(assess.DeeperOutside)
	}
}

// creasedFrom is the excess from which creases differ between the sides.
const creasedFrom = 160

// step is a word that is reached at a percentage of a fate.
type step struct {
	percent int32
	word    int
}

// word returns the word of a fate at a distance: 0 until the first step.
func (s *shoe) word(k fate, km int32, steps [2]step) assess.Value {
	word := 0
	for _, st := range steps {
		if km >= reached(s.at[k], st.percent) {
			word = st.word
		}
	}
	return assess.Of(word)
}

// liningWord returns the word of the lining at a distance.
func (s *shoe) liningWord(km int32) assess.Value {
	word := assess.LiningSound
	for i, percent := range [...]int32{wornAt, paddingAt, 100, brokenAt} {
		if km >= reached(s.at[lining], percent) {
			word = assess.LiningWorn + i
		}
	}
	return assess.Of(word)
}

// bands returns how many bands softer than as-new the shoe bends or twists.
func (s *shoe) bands(k fate, km int32) int {
	switch {
	case km >= reached(s.at[k], floppiestAt):
		return 2
	case km >= s.at[k]:
		return 1
	}
	return 0
}
