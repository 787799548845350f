package stats

import "math"

// RunRule is a rule for reading a chart beyond its limits.
type RunRule uint8

// The zone rules of Western Electric (1956) and the longer run of Nelson LS
// (1984) Journal of Quality Technology 16:237–239. Zones are in standard
// errors from the centre.
const (
	BeyondThree RunRule = 1 << iota // one point beyond 3
	TwoOfThree                      // two of three in a row beyond 2, same side
	FourOfFive                      // four of five in a row beyond 1, same side
	EightInRow                      // eight in a row on one side
	NineInRow                       // nine in a row on one side
)

// ShareRules are the rules for charts of shares: one point beyond the limits,
// or eight in a row on one side. The zone rules misfire on small counts.
const ShareRules = BeyondThree | EightInRow

// RunSignal names a rule and the index of the point that completes it.
type RunSignal struct {
	At   int
	Rule RunRule
}

// zoneOf returns 0 to 3 by how far a point is beyond 0, 1, 2, 3 on its side,
// and the side (0 on the centre itself).
func zoneOf(z float64) (zone, side int) {
	a := math.Abs(z)
	switch {
	case a > 3:
		zone = 3
	case a > 2:
		zone = 2
	case a > 1:
		zone = 1
	}
	switch {
	case z > 0:
		side = 1
	case z < 0:
		side = -1
	}
	return zone, side
}

// RunSignals reads standardised points z = (value − centre)/standard error in
// order of time and returns every point that completes one of the rules.
//
// Errors: ErrBadInput where z is not a number.
func RunSignals(z []float64, rules RunRule) ([]RunSignal, error) {
	var signals []RunSignal
	var s runState
	for i, v := range z {
		if math.IsNaN(v) {
			return nil, badInput("point %d is not a number", i+1)
		}
		zone, side := zoneOf(v)
		for _, rule := range []RunRule{BeyondThree, TwoOfThree, FourOfFive, EightInRow, NineInRow} {
			if next := s.after(zone, side); rules&rule != 0 && next.breaks(rule, zone, side) {
				signals = append(signals, RunSignal{i, rule})
			}
		}
		s = s.after(zone, side)
	}
	return signals, nil
}

// runState remembers what the rules need of the past: for each side, which of
// the last two points lay beyond 2, which of the last four beyond 1 (newest
// in the lowest bit), and the length of the run up to nine.
type runState struct {
	beyond2 [2]uint8 // three bits
	beyond1 [2]uint8 // five bits
	run     int8     // signed by side
}

func (s runState) after(zone, side int) runState {
	for k, sign := range []int{1, -1} {
		s.beyond2[k] = s.beyond2[k] << 1 & 0b111
		s.beyond1[k] = s.beyond1[k] << 1 & 0b11111
		if side == sign && zone >= 2 {
			s.beyond2[k] |= 1
		}
		if side == sign && zone >= 1 {
			s.beyond1[k] |= 1
		}
	}
	switch {
	case side == 0:
		s.run = 0
	case int(s.run)*side <= 0:
		s.run = int8(side)
	case s.run > -9 && s.run < 9:
		s.run += int8(side)
	}
	return s
}

// breaks says whether the newest point, already in s, completes the rule.
func (s runState) breaks(rule RunRule, zone, side int) bool {
	k := 0
	if side < 0 {
		k = 1
	}
	switch rule {
	case BeyondThree:
		return zone == 3
	case TwoOfThree:
		return s.beyond2[k]&1 == 1 && ones(s.beyond2[k]) >= 2
	case FourOfFive:
		return s.beyond1[k]&1 == 1 && ones(s.beyond1[k]) >= 4
	case EightInRow:
		return s.run >= 8 || s.run <= -8
	case NineInRow:
		return s.run >= 9 || s.run <= -9
	}
	return false
}

func ones(b uint8) int {
	n := 0
	for ; b > 0; b >>= 1 {
		n += int(b & 1)
	}
	return n
}

// RunRulesARL returns how many points pass on average before one of the rules
// signals although nothing changed, for independent normal points: the rate
// of false alarms to print beside a chart. Exact by Markov chain over what
// the rules remember.
//
// Errors: ErrBadInput without BeyondThree (a chart without limits) or for
// rules unknown.
//
// Source: Champ CW, Woodall WH (1987) Technometrics 29:393–399.
func RunRulesARL(rules RunRule) (float64, error) {
	if rules&BeyondThree == 0 || rules >= NineInRow<<1 {
		return 0, badInput("rules %b, must hold BeyondThree and known rules only", rules)
	}
	type step struct {
		zone, side int
		p          float64
	}
	tail := func(z float64) float64 { return normalTwoSided(z) / 2 }
	var steps []step
	for _, side := range []int{1, -1} {
		for zone := range 3 {
			steps = append(steps, step{zone, side, tail(float64(zone)) - tail(float64(zone+1))})
		}
	}
	// The states that are reached, keeping only what the rules look at.
	keep := func(s runState) runState {
		for k := range 2 {
			s.beyond2[k] &= 0b11
			s.beyond1[k] &= 0b1111
			if rules&TwoOfThree == 0 {
				s.beyond2[k] = 0
			}
			if rules&FourOfFive == 0 {
				s.beyond1[k] = 0
			}
		}
		if rules&(EightInRow|NineInRow) == 0 {
			s.run = 0
		}
		return s
	}
	index := map[runState]int{{}: 0}
	states := []runState{{}}
	type move struct {
		to int
		p  float64
	}
	var moves [][]move
	for i := 0; i < len(states); i++ {
		var out []move
		for _, t := range steps {
			next := states[i].after(t.zone, t.side)
			broken := false
			for _, rule := range []RunRule{TwoOfThree, FourOfFive, EightInRow, NineInRow} {
				broken = broken || rules&rule != 0 && next.breaks(rule, t.zone, t.side)
			}
			if broken {
				continue
			}
			next = keep(next)
			to, known := index[next]
			if !known {
				to = len(states)
				index[next] = to
				states = append(states, next)
			}
			out = append(out, move{to, t.p})
		}
		moves = append(moves, out)
	}
	// Expected points left from each state, by sweeps: L = 1 + Q L. The chain
	// dies out fast enough (ARL below 400) for plain iteration to converge.
	left := make([]float64, len(states))
	for {
		worst := 0.0
		for i, out := range moves {
			v := 1.0
			for _, m := range out {
				v += m.p * left[m.to]
			}
			worst = math.Max(worst, math.Abs(v-left[i]))
			left[i] = v
		}
		if worst < 1e-12 {
			return left[0], nil
		}
	}
}
