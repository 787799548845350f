package sim

import (
	"time"

	"solewright/assess"
)

// Truth is what is behind one record and no record shows.
type Truth struct {
	// Pair is the pair's serial number, Runner the runner's; both are unique in
	// the fleet.
	Pair, Runner uint64
	// Model is the place in Fleet.Models.
	Model int
	// Gait and Strike are what they are, whatever was observed: places in
	// assess.GaitWords and assess.StrikeWords.
	Gait, Strike int
	// KM is the true distance at the reading.
	KM int
	// PairLifeKM is the distance at which the pair's true state first meets a
	// replace rule, by the check EndsBy on the shoe EndsOn.
	PairLifeKM int
	EndsBy     assess.Col
	EndsOn     assess.Foot
	// Why says what brought the pair in; Visit counts its visits from 1, those
	// before the window included.
	Why   Why
	Visit int
	// Reader is the place of who read it in Fleet.Staff.
	Reader int
	// State is what a perfect reader would read: every check, no noise. Depths,
	// degrees and durometer are left out, the distance is the true one.
	State assess.Reading
}

// Worn reports whether the pair is past its true life.
func (t *Truth) Worn() bool { return t.KM >= t.PairLifeKM }

// House assumptions about how a pair is read, in percent unless said otherwise.
const (
	unreadPct        = 5.2 // leaves out a needed check; trainees twice
	cantReadPct      = 2.4
	strikeSeenPct    = 90
	depthPct         = 3
	bandPct          = 6
	degreesPct       = 0.8
	durometerPct     = 0.7
	edgePct          = 1.5
	tiltAnywayPct    = 2  // measured though the counter looks square
	tiltPct          = 94 // measured when it doesn't
	secondLeanPct    = 55
	secondOtherPct   = 2
	secondDiffersPct = 5  // on what is no lean
	againPct         = 90 // a clear difference tried again
	againWrongPct    = 25 // and found again though it is not there
	kmUnknownPct     = 13
	kmLoggedGonePct  = 4
	labelReadPct     = 30 // batch read off the tongue where no sale is known
	dateKnownPct     = 35 // date of purchase remembered where no sale is known
	painPct          = 4  // of runners with consent to health notes
	notePct          = 1.2
	offlinePct       = 2
	heldSD           = 20 // hundredths of a millimetre: depth gauge
)

// readAnyway is how often a check that isn't needed is made, in percent.
var readAnyway = [...]struct {
	col assess.Col
	p   share
}{
	{assess.MidMedial, pct(96)},
	{assess.MidLateral, pct(96)},
	{assess.PressHeel, pct(82)},
	{assess.Squeeze, pct(86)},
	{assess.Mesh, pct(93)},
	{assess.Creases, pct(70)},
	{assess.Rubber, pct(88)},
	{assess.Insert, pct(60)},
}

// graded are the scales of words on which readers are one step off now and then.
var graded = [...]assess.Col{
	assess.PressHeel, assess.PressFore, assess.Lining, assess.Squeeze, assess.Bond, assess.Rubber, assess.Flex, assess.Torsion,
}

// bench makes records of visits, one at a time.
type bench struct {
	f      *Fleet
	d      dice
	rec    assess.Record
	truth  Truth
	result assess.Result
	code   []byte
}

// read makes the record of a happening to a pair, and the truth behind it.
func (b *bench) read(h *happening, p *pair) {
	f := b.f
	l, st, r := &f.laws[p.model], &f.stores[h.store], p.by
	v := &p.visits[h.visit]
	km := p.km(v.tick)
	b.d = roll(derive(p.key, keyRead, uint64(h.visit)<<8|uint64(h.sub)))
	blind := h.sub > 1
	at := h.reader
	if blind {
		at = (h.reader + h.sub - 1) % len(st.bench)
	}
	who := st.bench[at]
	reader := f.readers[who]
	if f.plant && h.store == plantedStore {
		reader.up += pct(plantedHardUp)
		reader.hard = pct(plantedHardWord)
	}

	t := &b.truth
	p.state(&t.State, l, km)
	t.Pair, t.Runner, t.Model, t.Gait, t.Strike = p.serial, r.index, p.model, r.gait, r.strike
	t.KM, t.PairLifeKM, t.EndsBy, t.EndsOn = int(km), int(p.life), p.endsBy, p.endsOn
	t.Why, t.Visit, t.Reader = v.why, int(h.visit)+1, who

	rec := &b.rec
	*rec = assess.Record{Reading: t.State}
	b.head(h, p, v.kind, blind)
	b.person(h, p)
	b.distance(p, km)
	for i := range rec.Shoe {
		b.shoe(&rec.Shoe[i], &reader, p, i, km)
	}
	b.pairChecks(&reader)
	b.leaveOut(&reader)
	b.second(st, &reader, at, blind)
	b.aside(p, blind)
	rec.Derive()
	if f.judge {
		b.decide(blind)
	}
}

// head fills in what the record is and where it was made.
func (b *bench) head(h *happening, p *pair, kind assess.RecordKind, blind bool) {
	f, d, rec := b.f, &b.d, &b.rec
	rec.ID = b.id(h, p, h.sub, h.at)
	rec.PairRef = f.pairRef(p.serial)
	rec.Store, rec.Staff = f.Stores[h.store].Code, f.Staff[b.truth.Reader].Code
	rec.Device = f.stores[h.store].devices[d.below(2)]
	rec.At = time.UnixMilli(h.at).UTC()
	rec.Kind = kind
	late := int64(2 + d.below(40))
	if d.chance(pct(offlinePct)) {
		late += int64(d.below(9 * 3600))
	}
	rec.ReceivedAt = time.UnixMilli(h.at + late*1000).UTC()
	switch {
	case blind:
		rec.Kind = assess.Blind
	case h.sub == 1:
		rec.Supersedes = b.id(h, p, 0, h.slot.at)
	case h.voided:
		rec.VoidedAt = rec.ReceivedAt.Add(time.Duration(60+d.below(3600)) * time.Second)
		rec.VoidReason = voidReasons[d.below(len(voidReasons))]
	}

	m := &f.Models[p.model]
	rec.Brand, rec.Model, rec.Version = m.Brand, m.Model, m.Version
	size := p.by.size()
	rec.SizeMM = assess.Of(size)
	rec.SizeLabel = f.label(p.by, size)
}

// id returns the identifier of a visit's record.
func (b *bench) id(h *happening, p *pair, sub int, at int64) assess.UUID {
	key := derive(p.key, keyID, uint64(h.visit)<<8|uint64(sub))
	return uuidAt(time.UnixMilli(at), key, mix(key+golden))
}

// yes writes an answer.
func yes(is bool) assess.Value {
	if is {
		return assess.Of(assess.Yes)
	}
	return assess.Of(assess.No)
}

// pairRef returns the reference on the slip of a pair.
func (f *Fleet) pairRef(serial uint64) string {
	n := permute40(derive(f.seed, keyRef, 0), serial)
	return assess.NewPairRef([5]byte{byte(n >> 32), byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)})
}

// person fills in what is known of the runner and the pair's history.
func (b *bench) person(h *happening, p *pair) {
	f, d, rec, r := b.f, &b.d, &b.rec, p.by
	if !r.anonymous {
		b.code = appendCode(b.code[:0], r.code)
		rec.Runner = string(b.code)
	}
	if r.known {
		rec.Gait = assess.Of(r.seen)
		rec.GaitBy = assess.Of(d.below(len(assess.GaitByWords)))
		rec.GaitBefore = yes(h.before)
		if d.chance(pct(strikeSeenPct)) {
			rec.Strike = assess.Of(r.strike)
		}
		// Posture is health data: kept with consent only.
		if r.health && !r.anonymous {
			for s := range rec.Posture {
				rec.Posture[s] = assess.CurrentPostureBands().Band(assess.Of(int(r.posture[s])))
			}
		}
	}
	rec.UsedFor = assess.Of(p.use)

	// A sale with an account tells date and batch; else the runner and the
	// label in the tongue may. Both are the same at every visit.
	know := roll(derive(p.key, keyKnown, 0))
	l := &f.laws[p.model]
	if sold := r.account && !p.elsewhere; sold || know.chance(pct(dateKnownPct)) {
		rec.BoughtOn = f.dates[f.dayOf(p.bought)]
	}
	if sold := r.account && !p.elsewhere; sold || know.chance(pct(labelReadPct)) {
		rec.Batch = l.batches[p.batch].code
	}
}

// distance tells the distance as the runner does.
func (b *bench) distance(p *pair, km int32) {
	d, rec, r := &b.d, &b.rec, p.by
	unknown := pct(kmUnknownPct)
	if r.source == 0 {
		unknown = pct(kmLoggedGonePct)
	}
	if d.chance(unknown) {
		rec.KMSource = assess.Of(len(assess.KMSourceWords) - 1)
		return
	}
	rec.KMSource, rec.KMUnit = assess.Of(r.source), assess.Of(r.unit)
	rec.Distance = assess.Of(r.tell(p, km))
}

// tell returns a distance in tenths of the runner's unit, rounded as they
// round. The same pair is always told with the same error, so a told distance
// never falls between two visits.
func (r *runner) tell(p *pair, km int32) int {
	tenths := int64(km) * 10
	if r.source == 1 {
		know := roll(derive(p.key, keyGuess, 0))
		tenths = tenths * int64(100-guessPct+know.below(2*guessPct+1)) / 100
	}
	if r.unit == assess.Miles {
		tenths = tenths * 1_000_000 / 1_609_344
	}
	heap := int64(r.heap)
	if heaped := (tenths + heap/2) / heap * heap; heaped > 0 {
		return int(heaped)
	}
	return int(tenths / 10 * 10)
}

// guessPct is how far an estimated distance is off at most.
const guessPct = 15

// shoe reads one shoe: s holds the truth and becomes what was read.
func (b *bench) shoe(s *assess.Shoe, who *reader, p *pair, i int, km int32) {
	d := &b.d
	var bits uint64
	for z := range assess.Col(assess.NumZones) {
		if z&3 == 0 {
			bits = d.next()
		}
		s[z] = who.off(s[z], share(bits&0xffff), who.up, who.down, throughGrade)
		bits >>= 16
	}
	for k, c := range graded {
		if k&3 == 0 {
			bits = d.next()
		}
		s[c] = who.off(s[c], share(bits&0xffff), who.word+who.hard, who.word, len(assess.Columns[c].Words)-1)
		bits >>= 16
	}
	b.counter(s, who, p, i, km)

	for k := range readAnyway {
		if !d.chance(readAnyway[k].p) {
			s[readAnyway[k].col] = assess.Unread
		}
	}
	if s[assess.PressHeel].OK() {
		s[assess.PressHeelAt] = worstOf(s, assess.Heel)
	}
	s[assess.PressForeAt] = worstOf(s, assess.Forefoot)
	if !d.chance(pct(bandPct)) {
		s[assess.Flex], s[assess.Torsion] = assess.Unread, assess.Unread
	}
	if d.chance(pct(edgePct)) {
		// The worst patch is small: one grade less and the note "edge".
		z := assess.Col(d.below(assess.NumZones))
		if g := s[z]; g.Int() > 0 {
			s[z] = assess.Of(g.Int() - 1)
			s[assess.Edge] = assess.Of(1 << z)
		}
	}
	if d.chance(pct(depthPct)) {
		b.depths(s, p, i, km)
	}
	if d.chance(pct(durometerPct)) {
		b.durometer(s, p, km)
	}
}

// throughGrade is the worst grade.
const throughGrade = 4

// off returns what is read where v is true: one step too worn with chance up,
// one too fresh with chance down.
func (r *reader) off(v assess.Value, x, up, down share, top int) assess.Value {
	switch {
	case !v.OK():
		return v
	case x < up:
		return assess.Of(min(v.Int()+1, top))
	case x >= one-down:
		return assess.Of(max(v.Int()-1, 0))
	}
	return v
}

// worstOf returns the place of the part's most worn zone that was read, Unread
// where none was.
func worstOf(s *assess.Shoe, part assess.Part) assess.Value {
	first, n := part.Zones()
	at, worst := assess.Unread, -1
	for i := range n {
		if g := s[first+assess.Col(i)]; g.OK() && g.Int() > worst {
			at, worst = assess.Of(i), g.Int()
		}
	}
	return at
}

// counter reads how the heel counter stands and, when it matters, its tilt.
func (b *bench) counter(s *assess.Shoe, who *reader, p *pair, i int, km int32) {
	f, d, t := b.f, &b.d, b.f.tables
	excess := p.shoes[i].excess(km)
	seen := excess + scale(sdStand, t.normal[d.q()]) + who.bias/5
	if who.hard > 0 {
		if seen < 0 {
			seen -= plantedHardLean
		} else {
			seen += plantedHardLean
		}
	}
	s[assess.Stand] = assess.Of(standWord(seen))
	for c := assess.Tilt; c <= assess.TiltYaw; c++ {
		s[c] = assess.Unread
	}
	measure := pct(tiltPct)
	if s[assess.Stand].Is(assess.Square) {
		measure = pct(tiltAnywayPct)
	}
	if !d.chance(measure) {
		return
	}
	way, n, sd := assess.ByPhoto, 1, int32(sdWithin)
	u := 104 + d.below(22)
	switch x := d.below(100); {
	case x < 60: // three photos: what is random falls by the root of three
		n, sd, u = 3, sdWithin*100/173, 60+d.below(16)
	case x < 92:
	case x < 97:
		way, sd, u = assess.ByLevel, sdWithin, 50
	default:
		way, sd, u = assess.ByEye, sdByEye, 200
	}
	tilt := f.laws[p.model].asNewTilt + excess + who.bias + scale(sd, t.normal[d.q()])
	s[assess.Tilt] = assess.Of(int(min(max(tilt, -4500), 4500)))
	s[assess.TiltU], s[assess.TiltBy], s[assess.TiltN] = assess.Of(u), assess.Of(way), assess.Of(n)
	if way == assess.ByPhoto && d.chance(pct(30)) {
		s[assess.TiltYaw] = assess.Of(int(scale(300, t.normal[d.q()])))
	}
}

// depths gauges the pattern of the heel and the forefoot.
func (b *bench) depths(s *assess.Shoe, p *pair, i int, km int32) {
	l := &b.f.laws[p.model]
	for _, part := range [...]assess.Part{assess.Heel, assess.Forefoot} {
		first, n := part.Zones()
		for z := first; z < first+assess.Col(n); z++ {
			if !s[z].OK() {
				continue
			}
			left := l.tread[z] - p.shoes[i].loss(int(z), km)
			left += scale(heldSD, b.f.tables.normal[b.d.q()]) * 10
			s[z+assess.DepthOf] = assess.Of(int(max(round(left, 100), 0)))
		}
	}
}

// durometer reads the hardness of rubber and foam. Foam gains 3 points in
// 500 km (simulator assumption, 1–6).
func (b *bench) durometer(s *assess.Shoe, p *pair, km int32) {
	a, t := &b.f.Models[p.model].AsNew, b.f.tables
	s[assess.ShoreOutsole] = assess.Of(a.Shore.Int() + int(scale(15, t.normal[b.d.q()])))
	s[assess.AskerMidsole] = assess.Of(a.Asker.Int() + int(km)*30/500 + int(scale(15, t.normal[b.d.q()])))
}

// pairChecks reads what is compared between the shoes.
func (b *bench) pairChecks(who *reader) {
	d, rec := &b.d, &b.rec
	for _, c := range [...]struct{ side, again assess.Col }{
		{assess.FlexSide, assess.FlexAgain}, {assess.TorsionSide, assess.TorsionAgain},
	} {
		truth := rec.Pair(c.side).Int()
		side := truth
		switch x := share(d.next() >> 48); {
		case x < 2*who.word:
			side++
		case x >= one-2*who.word:
			side--
		}
		side = min(max(side, -2), 2)
		rec.SetPair(c.side, assess.Of(side))
		rec.SetPair(c.again, assess.Unread)
		if side != 2 && side != -2 || !d.chance(pct(againPct)) {
			continue
		}
		// The second try is another look at the same truth.
		again := side == truth && !d.chance(4*who.word) || d.chance(pct(againWrongPct))
		rec.SetPair(c.again, yes(again))
	}
	if d.chance(pct(degreesPct)) {
		b.degrees()
	}
}

// bandMiddle is an angle within each band, hundredths of a degree: under 10°,
// 10–45°, over 45° (Barton, Bonanno & Menz 2009).
var bandMiddle = [...]int{700, 2600, 5200}

// degrees measures flex and torsion of both shoes under a load.
func (b *bench) degrees() {
	d, rec := &b.d, &b.rec
	for i := range rec.Shoe {
		is := &b.truth.State.Shoe[i]
		rec.Shoe[i][assess.FlexDeg] = assess.Of(bandMiddle[is[assess.Flex].Int()] + d.below(200))
		rec.Shoe[i][assess.TorsionDeg] = assess.Of(bandMiddle[is[assess.Torsion].Int()] + d.below(200))
	}
	rec.SetPair(assess.LoadN, assess.Of(300))
}

// leaveOut leaves needed checks unread, or marks them as not to be read.
func (b *bench) leaveOut(who *reader) {
	d, rec := &b.d, &b.rec
	if d.chance(who.unread) {
		switch d.below(4) {
		case 0:
			for _, c := range [...]assess.Col{assess.FlexSide, assess.FlexAgain, assess.TorsionSide, assess.TorsionAgain} {
				rec.SetPair(c, assess.Unread)
			}
		case 1:
			rec.SetPair(assess.TorsionSide, assess.Unread)
			rec.SetPair(assess.TorsionAgain, assess.Unread)
		case 2:
			rec.Shoe[assess.Left][assess.Lining], rec.Shoe[assess.Right][assess.Lining] = assess.Unread, assess.Unread
		case 3: // the line got long: the second shoe was not finished
			for c := assess.PressHeel; c <= assess.Torsion; c++ {
				rec.Shoe[assess.Right][c] = assess.Unread
			}
		}
	}
	if d.chance(pct(cantReadPct)) {
		s := &rec.Shoe[d.below(2)]
		switch d.below(4) {
		case 0:
			for z := assess.ForeMedial; z <= assess.ForeLateral; z++ {
				if s[z].OK() {
					s[z], s[z+assess.DepthOf] = assess.CantDirty, assess.Unread
				}
			}
			s[assess.Edge] = assess.Unread
		case 1:
			s[assess.Lining] = assess.CantWet
		case 2:
			s[assess.Bond] = assess.CantRepaired
		case 3:
			rec.SetPair(assess.TorsionSide, assess.CantOther)
			rec.SetPair(assess.TorsionAgain, assess.Unread)
		}
	}
}

// second lets another person at the bench look: at a lean, as co-reader of a
// trainee, or without a special reason.
func (b *bench) second(st *store, who *reader, at int, blind bool) {
	d, rec := &b.d, &b.rec
	leans := [2]bool{}
	leaning := false
	for i := range rec.Shoe {
		leans[i] = rec.Shoe[i][assess.Stand].Int() >= assess.LeansIn
		leaning = leaning || leans[i]
	}
	var on assess.ColSet
	switch {
	case blind:
		return
	case who.trainee: // a co-reader on everything
	case leaning && d.chance(pct(secondLeanPct)):
		on = on.With(assess.Stand)
	case d.chance(pct(secondOtherPct)):
		on = on.With(assess.Bond).With(assess.Lining)
	default:
		return
	}
	other := (at + 1 + d.below(len(st.bench)-1)) % len(st.bench)
	rec.SecondReader = b.f.Staff[st.bench[other]].Code
	rec.SecondOn = on
	says := assess.Agrees
	second := &b.f.readers[st.bench[other]]
	for i := range rec.Shoe {
		if !leans[i] {
			continue
		}
		seen := int32(b.truth.State.Shoe[i][assess.Tilt].Int()) - b.f.laws[b.truth.Model].asNewTilt
		seen += scale(sdStand, b.f.tables.normal[d.q()]) + second.bias/5
		if standWord(seen) != rec.Shoe[i][assess.Stand].Int() {
			says = assess.Differs
		}
	}
	if !leaning && d.chance(pct(secondDiffersPct)) {
		says = assess.Differs
	}
	rec.SetPair(assess.SecondSays, assess.Of(says))
}

// hygieneShare is how pairs come in: clean, cleanable, refuse.
var hygieneShare = [...]int{57, 41, 2}

// aside fills in what is noted beside the checks.
func (b *bench) aside(p *pair, blind bool) {
	d, rec := &b.d, &b.rec
	setup := assess.Ready
	if d.chance(pct(2)) {
		setup = assess.NotReady
	}
	rec.SetPair(assess.Setup, assess.Of(setup))
	rec.SetPair(assess.Hygiene, assess.Unread)
	if blind {
		return
	}
	if rec.Kind == assess.TradeIn || d.chance(pct(30)) {
		rec.SetPair(assess.Hygiene, assess.Of(d.pick(hygieneShare[:], 100)))
	}
	if p.by.health && !p.by.anonymous {
		rec.SetPair(assess.PainMentioned, yes(d.chance(pct(painPct))))
	}
	if d.chance(pct(notePct)) {
		rec.Note = notes[d.below(len(notes))]
	}
}

// What people do with the advice, in percent.
const (
	moreThanAdvisedPct = 4
	lessThanAdvisedPct = 1.5
)

// decide judges the record by the default rules and draws what was given: as
// advised, sometimes more, seldom less and then by two people with a reason.
func (b *bench) decide(blind bool) {
	d, rec := &b.d, &b.rec
	assess.Default().Judge(&rec.Reading, &b.f.Models[b.truth.Model].AsNew, &b.result)
	rec.Advised, rec.Rules, rec.Flags = b.result.Verdict, b.result.Rules, b.result.Flags
	if rec.GaitBefore.Is(assess.No) {
		rec.Flags |= assess.FlagGaitAfter
	}
	if blind {
		return
	}
	rec.Given = rec.Advised
	switch rec.Advised {
	case assess.Keep, assess.RecheckPair:
		if d.chance(pct(moreThanAdvisedPct)) {
			rec.Given++
		}
	case assess.ReplacePair:
		if rec.SecondReader != "" && d.chance(pct(lessThanAdvisedPct)) {
			rec.Given = assess.RecheckPair
			rec.GivenReason = lessReasons[d.below(len(lessReasons))]
			rec.Flags |= assess.FlagGivenLess
		}
	}
}
