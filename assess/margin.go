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
// where unknown) that alter its verdict: 1, 2, or MarginMax for that many or
// more. A verdict that no change of at most two steps alters is a clear one.
//
// A step goes to a neighbouring place on a scale: one grade, one word, one
// place of a side; from square only to doubtful, and from there to either lean;
// measured values go by measureSteps, a second opinion from one answer to the
// other. Where a scale starts wide (wideStart) its first change counts two.
// What is unread, can't be read or was built so stays so, and what the rules
// don't go by is left alone. The search tries every change and every pair of
// changes.
func (e *Engine) Margin(r *Reading, m *AsNew) int {
	s := e.steady
	j := judging{e: s, m: m}
	if m == nil {
		j.m = &unknownModel
	}
	trial := *r
	j.r = &trial
	base := j.verdictOnly()
	alters := func(v move) bool {
		old := trial.Get(v.foot, v.col)
		trial.Set(v.foot, v.col, v.to)
		changed := j.verdictOnly() != base
		trial.Set(v.foot, v.col, old)
		return changed
	}

	var moves []move
	for c := range NumCols {
		if !s.decides.Has(c) {
			continue
		}
		if c >= NumShoe {
			moves = appendMoves(moves, &trial, j.m, Both, c)
			continue
		}
		moves = appendMoves(moves, &trial, j.m, Left, c)
		moves = appendMoves(moves, &trial, j.m, Right, c)
	}
	margin := MarginMax
	for _, v := range moves {
		if v.cost < margin && alters(v) {
			margin = v.cost
		}
	}
	if margin <= 2 {
		return margin
	}
	var again []move
	for i, v := range moves {
		if v.cost > 1 {
			continue
		}
		old := trial.Get(v.foot, v.col)
		trial.Set(v.foot, v.col, v.to)
		// The same value a step further, and every other value.
		again = appendMoves(again[:0], &trial, j.m, v.foot, v.col)
		for _, w := range again {
			if w.cost == 1 && w.to != old && alters(w) {
				return 2
			}
		}
		for _, w := range moves[i+1:] {
			if w.cost == 1 && (w.foot != v.foot || w.col != v.col) && alters(w) {
				return 2
			}
		}
		trial.Set(v.foot, v.col, old)
	}
	return margin
}

// verdictOnly judges without findings.
func (j *judging) verdictOnly() Verdict {
	j.hits, j.unread, j.second = j.hits[:0], [3]ColSet{}, Unread
	j.tilt = [2]tiltRead{}
	j.match()
	for _, h := range j.hits[min(1, len(j.hits)):] {
		j.hits[0] = min(j.hits[0], h)
	}
	v, _ := j.e.verdict(j.hits, j.unread != [3]ColSet{})
	return v
}

// appendMoves appends the steps of one value.
func appendMoves(moves []move, r *Reading, m *AsNew, f Foot, c Col) []move {
	v, k := r.Get(f, c), &Columns[c]
	n := v.Int()
	lo, hi, step := k.Min, k.Max, 1
	switch {
	case !v.OK(), c < NumZones && m.Built.Has(c):
		return moves
	case c >= HeelMedialMM && c < HeelMedialMM+NumZones && (r.Shoe[f][c-DepthOf].OK() || m.Built.Has(c-DepthOf)):
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
