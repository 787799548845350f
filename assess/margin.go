package assess

// MarginMax is the largest margin that is told apart: it means "this many steps
// or more".
const MarginMax = 3

// wideStart holds the checks whose first place counts two steps from the
// second. Their scales have few words and leave out the harmless place between
// sound and the first word that asks for something, which grades (scuffed),
// the press (softer) and the lining (worn) spell out. House choice, no source.
var wideStart = ColSet(0).With(Stand).With(Squeeze).With(Bond).With(Rubber)

// measureSteps are the single steps of measured columns in their smallest unit:
// 1° of tilt (the photo method's own uncertainty), 5° of bend or twist, 5
// points of durometer, 0.5 mm of depth. House values, no source.
var measureSteps = map[Col]int{
	Tilt: 100, FlexDeg: 500, TorsionDeg: 500, AskerMidsole: 50, ShoreOutsole: 50,
	HeelMedialMM: 5, HeelCentreMM: 5, HeelLateralMM: 5, MidMedialMM: 5, MidLateralMM: 5,
	ForeMedialMM: 5, ForeCentreMM: 5, ForeLateralMM: 5, ToeMedialMM: 5, ToeLateralMM: 5,
}

// move is one step of one value.
type move struct {
	foot Foot
	col  Col
	to   Value
	cost int
}

// Margin returns the fewest single-step changes of a reading of model m (nil
// where unknown) that alter its verdict: 1, which is borderline, 2, or MarginMax
// for that many or more.
//
// A step goes to a neighbouring place on a scale: one grade, one word, one
// place of a side; from square only to doubtful, and from there to either lean;
// measured values go by measureSteps, a second opinion from one answer to the
// other. Where a scale starts wide (wideStart) its first change counts two.
// What is unread, can't be read or was built so stays so, as does how a value
// was read: by what method, at which zone. What the rules don't go by is left
// alone. The search tries every change and every pair of changes.
func (e *Engine) Margin(r *Reading, m *AsNew) int {
	s := newSearch(e.steady, r, m)
	var moves []move
	for c := range NumCols {
		switch {
		case !e.steady.decides.Has(c):
		case c >= NumShoe:
			moves = appendMoves(moves, &s.trial, Both, c)
		default:
			moves = appendMoves(moves, &s.trial, Left, c)
			moves = appendMoves(moves, &s.trial, Right, c)
		}
	}
	margin := MarginMax
	for _, v := range moves {
		if v.cost < margin && s.alters(v) {
			margin = v.cost
		}
	}
	if margin < MarginMax {
		return margin
	}
	var further []move
	for i, v := range moves {
		if v.cost > 1 {
			continue
		}
		before := s.undo(v)
		s.make(v)
		further = appendMoves(further[:0], &s.trial, v.foot, v.col)
		for _, w := range further { // the same value one step on
			if w.cost == 1 && s.alters(w) {
				return 2
			}
		}
		for _, w := range moves[i+1:] {
			if w.cost == 1 && (w.foot != v.foot || w.col != v.col) && s.alters(w) {
				return 2
			}
		}
		s.make(before)
	}
	return margin
}

// search tries changes of a reading. Only what a change can touch is judged
// again.
type search struct {
	judging
	trial Reading
	base  Verdict
	worst [Both + 1]hit // worst hit of each shoe and of the pair
}

func newSearch(e *Engine, r *Reading, m *AsNew) *search {
	s := &search{judging: judging{e: e, m: m}, trial: *r}
	if m == nil {
		s.m = &unknownModel
	}
	s.r = &s.trial
	s.readSecond()
	s.again(Left)
	s.again(Right)
	s.again(Both)
	s.base = s.verdict()
	return s
}

// again judges one shoe, or what is about the pair.
func (s *search) again(f Foot) {
	s.hits, s.unread[f] = s.hits[:0], 0
	if f == Both {
		s.pair()
	} else {
		s.shoe(f)
	}
	s.worst[f] = noHit
	for _, h := range s.hits {
		s.worst[f] = min(s.worst[f], h)
	}
}

func (s *search) verdict() Verdict {
	v, _ := s.e.verdict(min(s.worst[Left], s.worst[Right], s.worst[Both]), s.unread != [3]ColSet{})
	return v
}

// make makes a change and judges what it touches.
func (s *search) make(v move) {
	s.trial.Set(v.foot, v.col, v.to)
	if v.foot != Both {
		s.again(v.foot)
	} else if v.col == SecondSays {
		s.readSecond()
		s.again(Left)
		s.again(Right)
	}
	s.again(Both)
}

// undo returns the change that undoes v.
func (s *search) undo(v move) move {
	v.to = s.trial.Get(v.foot, v.col)
	return v
}

// alters reports whether a change alters the verdict, and undoes it.
func (s *search) alters(v move) bool {
	before := s.undo(v)
	worst, unread := s.worst, s.unread
	s.make(v)
	altered := s.verdict() != s.base
	if v.foot == Both {
		s.make(before)
		return altered
	}
	// Wear is all that the pair's rules take from judging a shoe.
	s.trial.Set(before.foot, before.col, before.to)
	s.worst, s.unread = worst, unread
	s.zones(v.foot)
	return altered
}

// appendMoves appends the steps of one value.
func appendMoves(moves []move, r *Reading, f Foot, c Col) []move {
	v, k := r.Get(f, c), &Columns[c]
	n := v.Int()
	lo, hi, step := k.Min, k.Max, 1
	switch {
	case !v.OK():
		return moves
	case c >= HeelMedialMM && c < HeelMedialMM+NumZones && r.Shoe[f][c-DepthOf].OK():
		return moves // the grade counts
	case c == Stand:
		return appendStandMoves(moves, f, n)
	case k.Kind == Measure:
		step = measureSteps[c]
	case k.Kind == Word:
		lo, hi = 0, len(k.Words)-1
	}
	for _, to := range [...]int{n - step, n + step} {
		if to < lo || to > hi {
			continue
		}
		cost := 1
		if wideStart.Has(c) && n+to == 1 { // between the first and the second word
			cost = 2
		}
		moves = append(moves, move{f, c, Of(to), cost})
	}
	return moves
}

// appendStandMoves appends the steps of the counter's stand, whose scale forks:
// from doubtful to either lean.
func appendStandMoves(moves []move, f Foot, n int) []move {
	switch n {
	case Square:
		return append(moves, move{f, Stand, Of(Doubtful), 2})
	case Doubtful:
		return append(moves, move{f, Stand, Of(Square), 2}, move{f, Stand, Of(LeansIn), 1}, move{f, Stand, Of(LeansOut), 1})
	case LeansIn, LeansOut:
		return append(moves, move{f, Stand, Of(Doubtful), 1})
	}
	return moves
}
