package figure

import (
	"math"
	"strconv"
)

// scale lays the numbers from…to along the units at…until.
type scale struct{ from, to, at, until float64 }

// px returns where a number lies, at the nearer end where it is beyond.
func (s scale) px(v float64) float64 {
	v = min(max(v, s.from), s.to)
	return s.at + (s.until-s.at)*(v-s.from)/(s.to-s.from)
}

// tickStep returns the least of 1, 2, 5, 10, 20, 50, … times unit that has at
// most n steps up to top.
func tickStep(top, unit float64, n int) float64 {
	for step := unit; ; step *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if math.Ceil(top/(m*step)-1e-9) <= float64(n) {
				return m * step
			}
		}
	}
}

// ceilTo returns the least multiple of step at or above v, at least step.
func ceilTo(v, step float64) float64 {
	return max(step, step*math.Ceil(v/step-1e-9))
}

// shareAxis returns the end of an axis for shares up to most, and its step.
func shareAxis(most float64, n int) (top, step float64) {
	const least = 0.05 // an axis shorter than this makes nothing look like much
	step = tickStep(min(max(most, least), 1), 0.01, n)
	return min(1, ceilTo(max(most, least), step)), step
}

// ticks returns 0, step, 2 step, … up to top.
func ticks(top, step float64) []float64 {
	var at []float64
	for i := 0; float64(i)*step <= top+step*1e-6; i++ {
		at = append(at, float64(i)*step)
	}
	return at
}

// percent says a share as a whole percentage, or with a decimal below 10 %,
// where a point is a lot.
func percent(say Say, share float64) string {
	p, decimals := 100*share, 0
	if p < 9.95 && p > 0 {
		decimals = 1
	}
	return say("figure.percent", "v", strconv.FormatFloat(p, 'f', decimals, 64))
}

// tickPercent says a tick of a share axis.
func tickPercent(say Say, share float64) string {
	return say("figure.percent", "v", strconv.FormatFloat(math.Round(1000*share)/10, 'f', -1, 64))
}
