package assess

import "slices"

// maxGrade is the worst wear grade: through to the midsole.
const maxGrade = 4

// z95 is 1.96, the 97.5 % quantile of the normal distribution, in hundredths.
const z95 = 196

// Grades of a zone that has none.
const (
	unreadZone int8 = -1 - iota
	builtZone
)

// hit is a rule that holds, packed so that sorting hits sorts findings: rank of
// the rule, shoe, column.
type hit uint32

// noHit is no rule at all; it sorts after every hit.
const noHit hit = 1<<32 - 1

func newHit(rank uint16, f Foot, c Col) hit { return hit(rank)<<16 | hit(f)<<8 | hit(c) }

func (h hit) rank() uint16 { return uint16(h >> 16) }
func (h hit) foot() Foot   { return Foot(h >> 8) }
func (h hit) col() Col     { return Col(h) }

// tiltRead is the tilt of one shoe as rules see it.
type tiltRead struct {
	ok       bool
	measured bool  // by photo or level; a tilt without a method counts as by eye
	by       uint8 // place on the scale of methods
	deg      int32 // hundredths of a degree, less as-new, in is positive
}

// judging is one reading on its way to a result.
type judging struct {
	e      *Engine
	r      *Reading
	m      *AsNew
	hits   []hit
	unread [3]ColSet
	flags  Flags
	second Value // what the second reader said

	grade [2][NumZones]int8
	worst int8 // worst grade of both shoes
	wear  [2][NumParts]partWear
	tilt  [2]tiltRead
}

var unknownModel AsNew

// Judge judges the reading of a pair of model m, nil where the model is not
// known, and fills out. It keeps nothing of r and m. Nothing about out needs to
// be set; its buffers are used again. Values outside their column's scale count
// as unread, and no reading makes Judge panic.
func (e *Engine) Judge(r *Reading, m *AsNew, out *Result) {
	j := judging{e: e, r: r, m: m, hits: out.hits[:0]}
	if m == nil {
		j.m, j.flags = &unknownModel, FlagNoModel
	}
	j.match()
	slices.Sort(j.hits)

	worst := noHit
	if len(j.hits) > 0 {
		worst = j.hits[0]
	}
	out.Verdict, out.How = e.verdict(worst, j.unread != [3]ColSet{})
	out.Findings = out.Findings[:0]
	for _, h := range j.hits {
		j.explain(h, out)
	}
	j.missing(out)
	out.Pattern = pairPattern(&j.wear)
	if j.possibleFault() {
		j.flags |= FlagPossibleFault
	}
	out.Flags = j.flags
	out.Grade, out.Route = e.handOver(out.Verdict, out.How, int(j.worst), r.Pair(Hygiene))
	out.Rules = e.set.Number
	out.Margin = 0
	out.hits = j.hits
}

// verdict composes the verdict: the highest severity found; then keep and
// recheck give way to incomplete while a needed check is unread. Unread never
// hides replace or retire.
func (e *Engine) verdict(worst hit, unread bool) (Verdict, How) {
	severity, how := Note, NoHow
	if worst != noHit {
		r := &e.rules[e.byRank[worst.rank()]]
		severity, how = r.severity, r.how
	}
	switch {
	case severity == Retire:
		return RetirePair, NoHow
	case severity == Replace:
		return ReplacePair, NoHow
	case unread:
		return Incomplete, NoHow
	case severity == Recheck:
		return RecheckPair, how
	}
	return Keep, NoHow
}

// match finds every rule that holds and every needed check that is unread.
func (j *judging) match() {
	j.readSecond()
	j.worst = -1
	j.shoe(Left)
	j.shoe(Right)
	j.pair()
}

// readSecond reads what the second reader said.
func (j *judging) readSecond() {
	j.second = Unread
	if v := j.r.Pair(SecondSays); v.Is(Agrees) || v.Is(Differs) {
		j.second = v
	}
}

// shoe runs the rules on one shoe.
func (j *judging) shoe(f Foot) {
	j.zones(f)
	j.readTilt(f)
	e, s := j.e, &j.r.Shoe[f]
	for i := range e.shoeCols {
		p := &e.shoeCols[i]
		c, v := p.col, s[p.col]
		if p.sound && v == Of(0) {
			continue
		}
		place := placeOf(v, int(p.places))
		if c < NumZones {
			if j.grade[f][c] == builtZone {
				continue
			}
			place = int(j.grade[f][c])
		}
		if place >= 0 {
			if cell := e.cells[c][place]; cell != nil {
				j.cell(cell, f, c)
			}
		}
		if p.needed && (place < 0 || v.Cant()) {
			j.notRead(f, c, v)
		}
	}
	if a := abs(j.tilt[f].deg); j.tilt[f].ok && a >= e.tiltMin {
		j.tiltRules(f)
	}
	for p := range NumParts {
		if e.parts[p] != nil {
			j.wholePart(f, p)
		}
	}
	for _, i := range e.hard {
		j.hardness(i, f)
	}
}

// placeOf returns the place of v on a scale of n words, −1 where it has none.
func placeOf(v Value, n int) int {
	if i := v.Int(); v.OK() && uint(i) < uint(n) {
		return i
	}
	return -1
}

// within returns the number of v, where it is set and lies within the bounds.
func within(v Value, lo, hi int) (int32, bool) {
	i := v.Int()
	return int32(i), v.OK() && i >= lo && i <= hi
}

// measure returns the number of v, where it is set and lies within the bounds
// of its column.
func measure(v Value, c Col) (int32, bool) { return within(v, Columns[c].Min, Columns[c].Max) }

func abs(n int32) int32 { return max(n, -n) }

// zones reads the wear of one shoe's outsole.
func (j *judging) zones(f Foot) {
	s, grades := &j.r.Shoe[f], &j.grade[f]
	for p := range NumParts {
		w := &j.wear[f][p]
		*w = partWear{den: 1, whole: true, least: maxGrade}
		asNew, known := within(j.m.Depth[p], 1, Columns[HeelMedialMM].Max)
		first, n := p.Zones()
		var byDepth uint8
		for i := range Col(n) {
			z := first + i
			if j.m.Built.Has(z) {
				grades[z] = builtZone
				continue
			}
			g := int32(placeOf(s[z], maxGrade+1))
			if d, ok := measure(s[z+DepthOf], HeelMedialMM); ok {
				if g >= 0 {
					j.flags |= depthFlags(g, d, asNew, known)
				} else if known {
					g = depthGrade(d, asNew)
					byDepth |= 1 << i
				}
			}
			grades[z] = int8(g)
			if g < 0 {
				w.whole = false
				continue
			}
			w.v[i], w.has, w.n, w.least = g, w.has|1<<i, w.n+1, min(w.least, g)
			w.sum += g
			j.worst = max(j.worst, int8(g))
		}
		if byDepth != 0 {
			w.countDepths(s, first, byDepth, asNew)
		}
	}
}

// countDepths counts the wear in units of 1/asNew grade: twice the lost
// fraction for the zones where only a depth stands.
func (w *partWear) countDepths(s *Shoe, first Col, byDepth uint8, asNew int32) {
	w.den, w.sum = asNew, 0
	for i := range w.v {
		if byDepth>>i&1 == 1 {
			w.v[i] = 2 * max(asNew-int32(s[first+Col(i)+DepthOf].Int()), 0)
		} else {
			w.v[i] *= asNew
		}
		w.sum += w.v[i]
	}
}

// readTilt reads the counter's tilt.
func (j *judging) readTilt(f Foot) {
	s, t := &j.r.Shoe[f], &j.tilt[f]
	*t = tiltRead{}
	deg, ok := measure(s[Tilt], Tilt)
	if !ok {
		return
	}
	j.flags |= standFlags(s)
	by := placeOf(s[TiltBy], len(Columns[TiltBy].Words))
	if by < 0 {
		by = ByEye
	}
	asNew, _ := measure(j.m.Tilt, Tilt)
	*t = tiltRead{ok: true, measured: by != ByEye, by: uint8(by), deg: deg - asNew}
}

// cell runs the rules that a value can bring about.
func (j *judging) cell(rules []uint16, f Foot, c Col) {
	var fired uint64
	for _, i := range rules {
		r := &j.e.rules[i]
		if fired>>r.cascade&1 == 0 && j.holds(r, f, c) {
			j.found(r, f, c, &fired)
		}
	}
}

// found notes that r holds and closes its cascade.
func (j *judging) found(r *rule, f Foot, c Col, fired *uint64) {
	j.hits = append(j.hits, newHit(r.rank, f, c))
	if r.cascade != 0 {
		*fired |= 1 << r.cascade
	}
}

// holds reports whether the rest of r holds, given that the value of c can
// bring it about.
func (j *judging) holds(r *rule, f Foot, c Col) bool {
	switch r.If {
	case IfZone:
		return r.press == Unread || j.pressed(r.press, f, c, r.part)
	case IfWord:
		return !r.rigid || !j.m.NoRigidCounter
	case IfStand:
		return j.saidOf(r.second, Stand) && j.tilted(r, f)
	case IfSide:
		return r.again == Unread || j.r.Pair(againOf(c)) == r.again
	case IfBand:
		asNew := placeOf(j.asNewBand(c), len(bandWords))
		return asNew >= 0 && j.r.Shoe[f][c].Int()-asNew >= int(r.atLeast)
	}
	return true
}

// pressed reports whether the thumb found zone z so. A press without a place
// is of the whole part.
func (j *judging) pressed(press Value, f Foot, z Col, p Part) bool {
	s, c := &j.r.Shoe[f], pressOf(p)
	if s[c] != press {
		return false
	}
	first, n := p.Zones()
	at := placeOf(s[c+1], n)
	return at < 0 || first+Col(at) == z
}

// saidOf reports whether the second reader said so of check c; an Unread say
// asks nothing.
func (j *judging) saidOf(say Value, c Col) bool {
	return say == Unread || say == j.second && (j.r.SecondOn == 0 || j.r.SecondOn.Has(c))
}

// tilted reports whether the measured tilt fits a stand rule. A lean is
// measured when the tilt goes the same way.
func (j *judging) tilted(r *rule, f Foot) bool {
	t := &j.tilt[f]
	switch {
	case r.untilted:
		return !t.measured
	case r.tiltUnder != 0:
		return t.measured && abs(t.deg) < r.tiltUnder
	case r.tiltAtLeast != 0:
		deg := t.deg
		if j.r.Shoe[f][Stand].Is(LeansOut) {
			deg = -deg
		}
		return t.measured && deg >= r.tiltAtLeast
	}
	return true
}

// againOf returns the column that says whether the second try agreed.
func againOf(c Col) Col {
	if c == FlexSide {
		return FlexAgain
	}
	return TorsionAgain
}

// asNewBand returns the model's band for flex or torsion.
func (j *judging) asNewBand(c Col) Value {
	if c == Flex {
		return j.m.Flex
	}
	return j.m.Torsion
}

// notRead handles a needed check without a value: unread, or can't read.
func (j *judging) notRead(f Foot, c Col, v Value) {
	if !v.Cant() {
		j.unread[f] = j.unread[f].With(c)
		return
	}
	for _, i := range j.e.cantRead {
		j.hits = append(j.hits, newHit(j.e.rules[i].rank, f, c))
	}
}

// tiltRules runs the tilt rules of the side the counter tilts to.
func (j *judging) tiltRules(f Foot) {
	s, t := &j.r.Shoe[f], &j.tilt[f]
	side, deg := 0, t.deg
	if deg < 0 {
		side, deg = 1, -deg
	}
	u, hasU := measure(s[TiltU], TiltU)
	photos, _ := measure(s[TiltN], TiltN)
	var fired uint64
	for _, i := range j.e.tilts[side] {
		r := &j.e.rules[i]
		switch {
		case fired>>r.cascade&1 == 1, deg < r.atLeast, r.by>>t.by&1 == 0:
		case r.hasNear && (!hasU || 100*int64(deg)-z95*int64(u) <= 100*r.nearEnd):
		case r.photos > int(photos):
		case j.saidOf(r.second, Tilt):
			j.found(r, f, Tilt, &fired)
		}
	}
}

// wholePart runs the rules on a part all of whose zones are worn.
func (j *judging) wholePart(f Foot, p Part) {
	w := &j.wear[f][p]
	if !w.whole || w.n == 0 {
		return
	}
	first, _ := p.Zones()
	var fired uint64
	for _, i := range j.e.parts[p] {
		r := &j.e.rules[i]
		if fired>>r.cascade&1 == 0 && w.least >= r.atLeast && (!r.trail || j.m.Trail) {
			j.found(r, f, first, &fired)
		}
	}
}

// hardness runs one durometer rule.
func (j *judging) hardness(i uint16, f Foot) {
	r := &j.e.rules[i]
	asNew := j.m.Asker
	if r.check == ShoreOutsole {
		asNew = j.m.Shore
	}
	v, ok := measure(j.r.Shoe[f][r.check], r.check)
	was, known := measure(asNew, r.check)
	if ok && known && 10_000*int64(abs(v-was)) > r.over*int64(was) {
		j.hits = append(j.hits, newHit(r.rank, f, r.check))
	}
}

// pair runs the rules on both shoes together and on the facts around them.
func (j *judging) pair() {
	e := j.e
	for i := range e.pairCols {
		p := &e.pairCols[i]
		c, v := p.col, j.r.Pair(p.col)
		place := v.Int() - Columns[c].Min
		if !v.OK() || uint(place) >= uint(p.places) {
			place = -1
		}
		if place >= 0 {
			if cell := e.cells[c][place]; cell != nil {
				j.cell(cell, Both, c)
			}
		} else if p.needed {
			j.notRead(Both, c, v)
		}
	}
	var fired uint64
	for _, i := range e.pairs {
		r := &e.rules[i]
		if fired>>r.cascade&1 == 0 && j.compared(r) {
			c := r.check
			if r.If == IfUneven {
				c, _ = r.part.Zones()
			}
			j.found(r, Both, c, &fired)
		}
	}
	for _, i := range e.beyond {
		r := &e.rules[i]
		fact := j.r.KM
		if r.check == ColBoughtOn {
			fact = j.r.AgeDays
		}
		if fact.OK() && int64(fact.Int()) > r.over {
			j.hits = append(j.hits, newHit(r.rank, Both, r.check))
		}
	}
}

// compared reports whether a rule on both shoes holds.
func (j *judging) compared(r *rule) bool {
	switch r.If {
	case IfIndex:
		left, okL := measure(j.r.Shoe[Left][r.check], r.check)
		right, okR := measure(j.r.Shoe[Right][r.check], r.check)
		diff, sum := (right-left)*r.toward, left+right
		return okL && okR && sum > 0 && diff >= r.apart &&
			symmetryScale*int64(diff) >= int64(r.atLeast)*int64(sum)
	case IfUneven:
		num, den := apart(&j.wear[Left][r.part], &j.wear[Right][r.part])
		return den != 0 && 100*int64(num)*int64(r.toward) >= int64(r.atLeast)*int64(den)
	case IfBoth:
		asNew := placeOf(j.asNewBand(r.check), len(bandWords))
		return asNew >= 0 && j.above(r, Left, asNew) && j.above(r, Right, asNew)
	}
	return false
}

// symmetryScale turns the symmetry index into hundredths of a percent. The
// index is 100 (R − L) / (0.5 (R + L)), from −200 to +200 percent (Robinson,
// Herzog & Nigg 1987).
const symmetryScale = 20_000

// above reports whether the shoe reads one of the rule's words, above as-new.
func (j *judging) above(r *rule, f Foot, asNew int) bool {
	place := placeOf(j.r.Shoe[f][r.check], len(bandWords))
	return place > asNew && r.words>>place&1 == 1
}

// missing lists the needed checks that are unread, most decisive first.
func (j *judging) missing(out *Result) {
	out.Unread = out.Unread[:0]
	if j.unread == [3]ColSet{} {
		return
	}
	for _, c := range j.e.unreadOrder {
		for f := Left; f <= Both; f++ {
			if j.unread[f].Has(c) {
				out.Unread = append(out.Unread, Missing{Check: c, Shoe: f})
			}
		}
	}
}

// faultyStructure reports whether counter, shell or bond fail on a pair that is
// nearly new by distance, or by age where the distance is unknown.
func (j *judging) faultyStructure() bool {
	limits := &j.e.set.PossibleFault
	if j.r.KM.OK() {
		return j.r.KM.Int() < limits.UnderKM && j.fails(faultStructure)
	}
	return j.r.AgeDays.OK() && j.r.AgeDays.Int() < limits.UnderDays && j.fails(faultStructure)
}

// possibleFault reports whether the shoe itself may be at fault: its structure,
// or the outsole of a pair known to be nearly new and run where it belongs.
func (j *judging) possibleFault() bool {
	if j.faultyStructure() {
		return true
	}
	if j.flags&FlagNoModel != 0 {
		return false // what suits an unknown model is unknown
	}
	suits := j.e.suits[btoi(j.m.Trail)]
	surface := placeOf(j.r.Surface, len(Surfaces))
	return j.r.KM.OK() && j.r.KM.Int() < j.e.set.PossibleFault.UnderKM &&
		surface >= 0 && suits>>surface&1 == 1 && j.fails(faultOutsole)
}

// fails reports whether a rule of that kind found replace or retire.
func (j *judging) fails(kind uint8) bool {
	for _, h := range j.hits {
		r := &j.e.rules[j.e.byRank[h.rank()]]
		if r.severity < Replace {
			return false // sorted worst first
		}
		if r.faulty == kind {
			return true
		}
	}
	return false
}
