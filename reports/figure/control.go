package figure

import "slices"

// Control is a control chart of shares: a point a month, the usual share, and
// limits that move with the count.
type Control struct {
	Finding string
	Points  []ControlPoint
	// Usual is the centre line.
	Usual float64
}

// ControlPoint is one month.
type ControlPoint struct {
	// At is the month, 2026-10; Name is its short word on the axis and Year
	// stands under the first of each year.
	At, Name, Year string
	Hits, Size     int
	Share          float64
	Low, High      float64 // limits
	// Out says that it is a signal; Note is its number in the margin.
	Out  bool
	Note string
	// Mark names what changed in the month, as a rule set; Events what moved visits
	// in it, as an offer.
	Mark, Events string
}

// The layout of charts with a percentage axis: room for its words on the left
// and for those of the lines on the right.
const (
	chartWidth  = 420.0
	chartLeft   = 40.0
	chartRight  = 344.0
	chartTop    = 8.0
	lineLabel   = 5.0 // between a line's end and its word
	textDrop    = 4.0 // from the middle of a line of text to its base
	labelHeight = 13.0
	dot         = 4.5
	ring        = 11.0
)

// shareGrid draws the axis of shares with its lines and words.
func shareGrid(s *Scene, say Say, y scale, step float64, left, right float64) {
	for _, v := range ticks(y.to, step) {
		s.line("c-grid", left, y.px(v), right, y.px(v))
		s.text("c-tick", atEnd, left-6, y.px(v)+textDrop, tickPercent(say, v))
	}
}

// Draw lays the chart out.
func (c *Control) Draw(say Say) *Scene {
	const bottom, height = 194.0, 234.0
	s := &Scene{Width: chartWidth, Height: height, Label: c.Finding}
	most := c.Usual
	for _, p := range c.Points {
		most = max(most, p.Share, p.High)
	}
	top, step := shareAxis(most, 5)
	y := scale{0, top, bottom, chartTop}
	shareGrid(s, say, y, step, chartLeft, chartRight)
	n := len(c.Points)
	if n > 0 {
		c.drawLines(s, say, y, monthScale(n))
	}
	s.line("c-axis", chartLeft, chartTop, chartLeft, bottom, chartRight, bottom)
	s.monthAxis(bottom, n, func(i int) *ControlPoint { return &c.Points[i] })
	return s
}

// monthAxis draws the axis of n months with their names, and what moved visits in
// each as a mark under it.
func (s *Scene) monthAxis(bottom float64, n int, at func(i int) *ControlPoint) {
	every := (n + 6) / 7 // at most seven words fit
	year := ""
	for i := range n {
		p, x := at(i), monthScale(n).px(float64(i))
		if p.Events != "" {
			s.add(Box{Class: "c-event", X: x - eventSide/2, Y: bottom + 1, W: eventSide, H: eventSide, Tip: p.Name + " " + p.Year + ": " + p.Events})
		}
		if i%every > 0 {
			continue
		}
		s.line("c-axis", x, bottom, x, bottom+5)
		s.text("c-text", atMiddle, x, bottom+18, p.Name)
		if p.Year != year {
			year = p.Year
			s.text("c-text", atMiddle, x, bottom+32, year)
		}
	}
}

// eventSide is the side of the mark of what moved visits.
const eventSide = 6.0

// mark draws a line where something changed at the start of a month, with its word,
// a line lower than the one before it where they would touch.
func (s *Scene) mark(p *ControlPoint, x, bottom float64, row int) {
	s.line("c-ref", x, chartTop, x, bottom)
	if x > (chartLeft+chartRight)/2 {
		s.text("c-key", atEnd, x-3, chartTop+10+labelHeight*float64(row%markRows), p.Mark)
		return
	}
	s.text("c-key", atStart, x+3, chartTop+10+labelHeight*float64(row%markRows), p.Mark)
}

// markRows is on how many lines the words of changes stand in turn.
const markRows = 3

// monthScale lays n months along the axis, with half a step at each end.
func monthScale(n int) scale {
	step := (chartRight - chartLeft) / float64(n)
	return scale{0, float64(max(n-1, 1)), chartLeft + step/2, chartRight - step/2}
}

func (c *Control) drawLines(s *Scene, say Say, y, x scale) {
	half := (x.px(1) - x.px(0)) / 2
	var high, low, line []float64
	for i, p := range c.Points {
		at := x.px(float64(i))
		high = append(high, at-half, y.px(p.High), at+half, y.px(p.High))
		low = append(low, at-half, y.px(p.Low), at+half, y.px(p.Low))
		if p.Size > 0 {
			line = append(line, at, y.px(p.Share))
		}
	}
	s.line("c-limit", high...)
	if slices.ContainsFunc(c.Points, func(p ControlPoint) bool { return p.Low > 0 }) {
		s.line("c-limit", low...)
	}
	s.line("c-line c-thin", chartLeft, y.px(c.Usual), chartRight, y.px(c.Usual))
	limitAt, usualAt := apart(y.px(c.Points[len(c.Points)-1].High), y.px(c.Usual))
	s.text("c-text", atStart, chartRight+lineLabel, limitAt+textDrop, say("figure.limit"))
	s.text("c-strong", atStart, chartRight+lineLabel, usualAt+textDrop, say("figure.usual", "share", percent(say, c.Usual)))
	s.line("c-line", line...)
	marked := 0
	for i, p := range c.Points {
		at := x.px(float64(i))
		if p.Mark != "" {
			s.mark(&p, at-half, y.at, marked)
			marked++
		}
		if p.Size > 0 {
			tip := say("figure.point", "name", p.Name+" "+p.Year, "share", percent(say, p.Share), "hits", p.Hits, "size", p.Size)
			s.point(at, y.px(p.Share), p.Out, tip, p.Note)
		}
	}
}

// apart moves two words that stand at the heights a and b away from each
// other, where they would touch.
func apart(a, b float64) (float64, float64) {
	if gap := b - a; gap >= 0 && gap < labelHeight {
		a, b = a-(labelHeight-gap)/2, b+(labelHeight-gap)/2
	} else if gap < 0 && -gap < labelHeight {
		a, b = a+(labelHeight+gap)/2, b-(labelHeight+gap)/2
	}
	return a, b
}

// point puts an open dot, or for a signal a square in a red ring with its
// margin number.
func (s *Scene) point(x, y float64, signal bool, tip, note string) {
	if !signal {
		s.add(Circle{Class: "c-pt", X: x, Y: y, R: dot, Tip: tip})
		return
	}
	s.add(Box{Class: "c-pt c-solid", X: x - 5, Y: y - 5, W: 10, H: 10, Tip: tip}, Circle{Class: "c-flag", X: x, Y: y, R: ring})
	if note != "" {
		s.text("c-key", atEnd, x-ring-4, y+textDrop, note)
	}
}

// Table returns the chart's numbers.
func (c *Control) Table(say Say) Table {
	t := Table{Columns: columns(say, "month", "#hits", "#size", "#share", "#centre", "#limit-low", "#limit-high", "out", "mark")}
	for _, p := range c.Points {
		share := Cell{}
		if p.Size > 0 {
			share = shareCell(say, p.Share)
		}
		t.Rows = append(t.Rows, []Cell{
			{Text: p.Name + " " + p.Year, Exact: p.At},
			countCell(p.Hits), countCell(p.Size), share,
			shareCell(say, c.Usual), shareCell(say, p.Low), shareCell(say, p.High), yesCell(say, p.Out), p.marks(),
		})
	}
	return t
}

// marks are the words of what changed and of what moved visits.
func (p *ControlPoint) marks() Cell {
	if p.Mark == "" || p.Events == "" {
		return textCell(p.Mark + p.Events)
	}
	return textCell(p.Mark + "; " + p.Events)
}
