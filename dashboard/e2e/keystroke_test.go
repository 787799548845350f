package e2e

import (
	"math"
	"testing"
)

// The operators of the keystroke-level model, in seconds: what a practised person
// who makes no mistake takes for the moves of a task. Sources stand in the rows of
// TestOperatorsOfTheKeystrokeModel.
const (
	keyPress   = 0.20 // K: a key, average skilled typist
	softKey    = 0.75 // K: a key of a code that has to be looked up, on a keyboard on the screen
	mousePoint = 1.10 // P: pointing with a mouse
	mental     = 1.35 // M: making up one's mind
	leastTap   = 0.567
	throughput = 6.95 // bits a second of a finger that points at a screen
)

// practised is how long the fifth trade-in of somebody may take at the tablet,
// beside the work of the hands. House value.
const practised = 90.0 // s

// touch is where a finger came down, and the smaller side of what it was meant for,
// in CSS pixels. In a list of the browser's own neither is known, and side is 0.
type touch struct{ x, y, side float64 }

// touchTime is the time of a touch after another: Fitts's law in Shannon's form,
// log2(distance/side + 1) / throughput, and a key press; at least what a tap was
// measured to take, and where nothing is known of it, as with a mouse.
func touchTime(from, to touch) float64 {
	if to.side == 0 || from.side == 0 {
		return mousePoint + keyPress
	}
	bits := math.Log2(math.Hypot(to.x-from.x, to.y-from.y)/to.side + 1)
	return max(leastTap, bits/throughput+keyPress)
}

// estimate is the time at the tablet by the keystroke-level model: of the touches,
// of the letters typed and of the decisions between them. Nobody was timed: what a
// person takes is for a person with a watch to say. Left out is what the hands do
// with the shoes, which the model knows nothing of, and what goes wrong, which it
// leaves out by its own terms.
func estimate(touches []touch, typed, decisions int) float64 {
	sum := float64(typed)*softKey + float64(decisions)*mental
	for i, t := range touches {
		from := touch{}
		if i > 0 {
			from = touches[i-1]
		}
		sum += touchTime(from, t)
	}
	return sum
}

func TestOperatorsOfTheKeystrokeModel(t *testing.T) {
	t.Parallel()
	near := touch{0, 0, 64}
	for _, c := range []struct {
		name      string
		got, want float64
		source    string
	}{
		{"a key of an average skilled typist", keyPress, 0.20, "Card, Moran & Newell 1983, The Psychology of Human-Computer Interaction, table of operators: K, 55 words a minute"},
		{"a key of a complex code", softKey, 0.75, "the same, K, typing complex codes"},
		{"pointing with a mouse", mousePoint, 1.10, "Card, Moran & Newell 1980, CACM 23(7), 396-410: P"},
		{"making up one's mind", mental, 1.35, "the same: M"},
		{"the least of a tap on a tablet", leastTap, 0.567, "Applied Ergonomics 2016, doi 10.1016/j.apergo.2016.06.004: mean of 18 people, abstract"},
		{"bits a second of a finger", throughput, 6.95, "MacKenzie 2015, HCII, LNCS 9170, 238-249: 16 people, abstract"},
		{"a tap 15 sides away is 4 bits", touchTime(near, touch{15 * 64, 0, 64}), 4/6.95 + 0.20, "ID = log2(A/W + 1), ISO 9241-9 in MacKenzie 2015"},
		{"a tap on the key beside is no faster than was measured", touchTime(near, touch{64, 0, 64}), 0.567, "as above"},
		{"an option of a list is pointed at as with a mouse", touchTime(near, touch{}), 1.30, "P and K"},
		{"a task is the sum of its operators", estimate([]touch{near, {64, 0, 64}}, 2, 3), 1.30 + 0.567 + 2*0.75 + 3*1.35, "Card, Moran & Newell 1980: T = sum of n K, n P, n M"},
	} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: %.4f s, want %.4f by %s", c.name, c.got, c.want, c.source)
		}
	}
}
