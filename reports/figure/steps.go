package figure

import (
	"math"
	"sort"
	"strconv"
)

// Steps is a life curve: the share still sound by distance, as a step, with its
// band and the pairs still on watch under the axis. Other curves may stand
// behind as ghosts.
type Steps struct {
	Finding string
	// Name is the curve's title within its panel, Class the colour: c-neutral,
	// c-in, c-out or none.
	Name, Class string
	Curve       []Step
	Band        []Bound
	Watch       []Watch
	// Half is where half are worn; absent where that isn't reached.
	Half *Span
	// Beside is the curve of what this one is held against.
	Beside []Step
	// Smooth is a law's share still sound at a distance, 1 at 0 and falling, drawn
	// beside the curve so that a bad fit is seen; nil for none.
	Smooth func(x float64) float64
	Ghosts [][]Step
	// End is the end of the axis in km; 0 fits it to the curve. Panels that are
	// compared share one.
	End float64
	// Unit is that of distance, km.
	Unit string
}

// Step is the share still sound from a distance on. Data seen at visits bracket
// it: Low and High differ where the share isn't known more closely.
type Step struct{ X, Low, High float64 }

// Bound is the interval of the share from a distance on.
type Bound struct{ X, Low, High float64 }

// Watch is how many pairs were seen sound at or beyond a distance.
type Watch struct {
	X float64
	N int
}

// Span is a range of distances; the two ends are equal where it is known.
type Span struct{ From, To float64 }

// watchLeast is how many pairs a curve still needs to be drawn. House value.
const watchLeast = 5

// onWatch returns how many pairs were seen sound at or beyond x.
func (c *Steps) onWatch(x float64) int {
	i := sort.Search(len(c.Watch), func(i int) bool { return c.Watch[i].X >= x })
	if i == len(c.Watch) {
		return 0
	}
	return c.Watch[i].N
}

// Drawn returns the end of the drawn curve: the last distance at which enough
// pairs are still on watch.
func (c *Steps) Drawn() float64 {
	drawn := 0.0
	for _, w := range c.Watch {
		if w.N >= watchLeast {
			drawn = max(drawn, w.X)
		}
	}
	return drawn
}

// beside is the share at most of the curve beside, at x.
func (c *Steps) beside(x float64) float64 {
	at := 1.0
	for _, s := range c.Beside {
		if s.X > x {
			break
		}
		at = s.High
	}
	return at
}

// Draw lays the curve out.
func (c *Steps) Draw(say Say) *Scene {
	const (
		width, height = 340.0, 254.0
		left, right   = 40.0, 330.0
		top, bottom   = 22.0, 192.0
		quarter       = 0.25
	)
	s := &Scene{Width: width, Height: height, Label: c.Finding}
	drawn := c.Drawn()
	end := c.End
	if end == 0 {
		end = max(drawn, 1)
	}
	step := tickStep(end, 1, 5)
	x, y := scale{0, max(end, step), left, right}, scale{0, 1, bottom, top}
	for v := 0.0; v <= 1; v += quarter {
		s.line("c-grid", left, y.px(v), right, y.px(v))
		if math.Mod(v, 2*quarter) == 0 {
			s.text("c-tick", atEnd, left-6, y.px(v)+textDrop, tickPercent(say, v))
		}
	}
	if c.Name != "" {
		s.text("c-strong", atStart, left, top-8, c.Name)
	}
	for _, g := range c.Ghosts {
		s.line("c-ghost", stair(g, x, y, x.to, highSide)...)
	}
	if len(c.Band) > 0 {
		band := make([]Step, len(c.Band))
		for i, b := range c.Band {
			band[i] = Step(b)
		}
		s.add(Path{Class: "c-band", Ops: between(band, x, y, drawn)})
	}
	if len(c.Curve) > 0 && drawn > 0 {
		s.add(Path{Class: "c-gap", Ops: between(c.Curve, x, y, drawn)})
		class := "c-line"
		if c.Class != "" {
			class += " " + c.Class
		}
		s.line(class, stair(c.Curve, x, y, drawn, highSide)...)
	}
	if len(c.Beside) > 0 && drawn > 0 {
		s.line("c-beside", stair(c.Beside, x, y, drawn, highSide)...)
	}
	if c.Smooth != nil && drawn > 0 {
		const pieces = 60
		points := make([]float64, 0, 2*pieces+2)
		for i := range pieces + 1 {
			at := drawn * float64(i) / pieces
			points = append(points, x.px(at), y.px(c.Smooth(at)))
		}
		s.line("c-smooth", points...)
	}
	c.drawHalf(s, say, x, y)
	s.line("c-axis", left, top, left, bottom, right, bottom)
	for _, v := range ticks(x.to, step) {
		s.line("c-axis", x.px(v), bottom, x.px(v), bottom+5)
		s.text("c-count", atMiddle, x.px(v), bottom+18, count(v))
		s.text("c-watch", atMiddle, x.px(v), bottom+38, strconv.Itoa(c.onWatch(v)))
	}
	s.text("c-text", atStart, left-30, bottom+56, say("figure.watch", "unit", c.Unit))
	return s
}

// drawHalf draws the dashed drop at half.
func (c *Steps) drawHalf(s *Scene, say Say, x, y scale) {
	if c.Half == nil || c.Half.To > x.to {
		return
	}
	half := y.px(0.5)
	s.line("c-drop", x.at, half, x.px(c.Half.To), half, x.px(c.Half.To), y.at)
	words := say("figure.half", "km", count(c.Half.To), "unit", c.Unit)
	if c.Half.From != c.Half.To {
		words = say("figure.half-between", "from", count(c.Half.From), "to", count(c.Half.To), "unit", c.Unit)
	}
	s.text("c-strong", atStart, x.at+8, half+16, words)
}

// lowSide and highSide are the two sides of a bracket.
func lowSide(s Step) float64  { return s.Low }
func highSide(s Step) float64 { return s.High }

// stair is the step line of one side of a curve, from 1 at 0 up to the distance
// until, as x, y, x, y.
func stair(curve []Step, x, y scale, until float64, side func(Step) float64) []float64 {
	at := 1.0
	points := []float64{x.px(0), y.px(at)}
	for _, s := range curve {
		if s.X > until {
			break
		}
		points = append(points, x.px(s.X), y.px(at), x.px(s.X), y.px(side(s)))
		at = side(s)
	}
	return append(points, x.px(until), y.px(at))
}

// between is the area between the two sides of a curve.
func between(curve []Step, x, y scale, until float64) []Op {
	points := stair(curve, x, y, until, highSide)
	back := stair(curve, x, y, until, lowSide)
	for i := len(back) - 2; i >= 0; i -= 2 {
		points = append(points, back[i], back[i+1])
	}
	return append(polyline(points...), Op{Verb: 'Z'})
}

// Table returns the curve's numbers.
func (c *Steps) Table(say Say) Table {
	names := []string{"#km", "#surv-low", "#surv-high", "#low", "#high", "#watch"}
	if c.Smooth != nil {
		names = append(names, "#smooth")
	}
	if len(c.Beside) > 0 {
		names = append(names, "#beside")
	}
	t := Table{Columns: columns(say, names...)}
	bounds := map[float64]Bound{}
	for _, b := range c.Band {
		bounds[b.X] = b
	}
	for _, p := range c.Curve {
		row := []Cell{exactCell(p.X), shareCell(say, p.Low), shareCell(say, p.High), {}, {}, countCell(c.onWatch(p.X))}
		if b, ok := bounds[p.X]; ok {
			row[3], row[4] = shareCell(say, b.Low), shareCell(say, b.High)
		}
		if c.Smooth != nil {
			row = append(row, shareCell(say, c.Smooth(p.X)))
		}
		if len(c.Beside) > 0 {
			row = append(row, shareCell(say, c.beside(p.X)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// count says a whole number of an axis.
func count(v float64) string { return strconv.FormatFloat(math.Round(v), 'f', -1, 64) }

func exactCell(v float64) Cell {
	return Cell{Text: count(v), Exact: strconv.FormatFloat(v, 'g', -1, 64)}
}
