package figure

import "strconv"

// Sum is a chart of what adds up case by case beyond what was expected, and begins
// again from nought where it reaches its limit or where something changed: a point
// a month, at the highest it stood in it.
type Sum struct {
	Finding string
	Points  []SumPoint
	Limit   float64
}

// SumPoint is one month. Share, Low and High of the control point don't count; Mark
// is where the sum begins anew.
type SumPoint struct {
	ControlPoint
	// Expected is how many hits were, Highest how high the sum stood.
	Expected, Highest float64
}

// Draw lays the chart out.
func (c *Sum) Draw(say Say) *Scene {
	const bottom, height = 194.0, 234.0
	s := &Scene{Width: chartWidth, Height: height, Label: c.Finding}
	most := c.Limit
	for _, p := range c.Points {
		most = max(most, p.Highest)
	}
	step := tickStep(most, 1, 5)
	y := scale{0, ceilTo(most*1.05, step), bottom, chartTop}
	for _, v := range ticks(y.to, step) {
		s.line("c-grid", chartLeft, y.px(v), chartRight, y.px(v))
		s.text("c-tick", atEnd, chartLeft-6, y.px(v)+textDrop, strconv.FormatFloat(v, 'f', -1, 64))
	}
	if len(c.Points) > 0 {
		c.drawLines(s, say, y, monthScale(len(c.Points)))
	}
	s.line("c-axis", chartLeft, chartTop, chartLeft, bottom, chartRight, bottom)
	s.monthAxis(bottom, len(c.Points), func(i int) *ControlPoint { return &c.Points[i].ControlPoint })
	return s
}

func (c *Sum) drawLines(s *Scene, say Say, y, x scale) {
	half := (x.px(1) - x.px(0)) / 2
	s.line("c-limit", chartLeft, y.px(c.Limit), chartRight, y.px(c.Limit))
	s.text("c-text", atStart, chartRight+lineLabel, y.px(c.Limit)+textDrop, say("figure.limit"))
	var line []float64
	marked := 0
	for i := range c.Points {
		p := &c.Points[i]
		if p.Mark != "" {
			s.line("c-line", line...)
			line = nil
			s.mark(&p.ControlPoint, x.px(float64(i))-half, y.at, marked)
			marked++
		}
		if p.Size > 0 {
			line = append(line, x.px(float64(i)), y.px(p.Highest))
		}
	}
	s.line("c-line", line...)
	for i := range c.Points {
		p := &c.Points[i]
		if p.Size == 0 {
			continue
		}
		s.point(x.px(float64(i)), y.px(p.Highest), p.Out, say("figure.sum-point", "name", p.Name+" "+p.Year, "sum", decimals(p.Highest, 1), "hits", p.Hits, "size", p.Size, "expected", decimals(p.Expected, 1)), p.Note)
	}
}

func decimals(v float64, n int) string { return strconv.FormatFloat(v, 'f', n, 64) }

// Table returns the chart's numbers.
func (c *Sum) Table(say Say) Table {
	t := Table{Columns: columns(say, "month", "#readings", "#failed", "#expected-failed", "#highest", "#limit-high", "out", "mark")}
	number := func(v float64, n int) Cell {
		return Cell{Text: decimals(v, n), Exact: strconv.FormatFloat(v, 'g', -1, 64)}
	}
	for i := range c.Points {
		p := &c.Points[i]
		highest := Cell{}
		if p.Size > 0 {
			highest = number(p.Highest, 2)
		}
		t.Rows = append(t.Rows, []Cell{
			{Text: p.Name + " " + p.Year, Exact: p.At},
			countCell(p.Size), countCell(p.Hits), number(p.Expected, 1), highest,
			number(c.Limit, 1), yesCell(say, p.Out), p.marks(),
		})
	}
	return t
}
