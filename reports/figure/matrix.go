package figure

// Matrix is a share in every cell of rows and columns, with its count and its
// interval, all on one scale that starts at zero, and the share of all pairs
// as a reference line.
type Matrix struct {
	Finding string
	Columns []string
	Rows    []MatrixRow
	// Reference is the share of all pairs.
	Reference float64
	// Top is the end of the scale; 0 fits it to the cells.
	Top float64
}

// MatrixRow is one row.
type MatrixRow struct {
	Name  string
	Cells []Estimate
}

// Estimate is one share with its interval.
type Estimate struct {
	Hits, Size       int
	Share, Low, High float64
	// Few says that there are too few pairs to rank: it is greyed, without a dot.
	Few bool
	// Clear says that the interval is clear of the reference.
	Clear bool
	// Note is its number in the margin.
	Note string
}

// top returns the end of the shared scale and its step.
func (m *Matrix) top() (top, step float64) {
	most := max(m.Top, m.Reference)
	if m.Top == 0 {
		for _, r := range m.Rows {
			for _, e := range r.Cells {
				if !e.Few {
					most = max(most, e.High)
				}
			}
		}
	}
	return shareAxis(most, 4)
}

// Ticks returns the words of the shared scale.
func (m *Matrix) Ticks(say Say) []string {
	top, step := m.top()
	var words []string
	for _, v := range ticks(top, step) {
		words = append(words, tickPercent(say, v))
	}
	return words
}

// The box of one cell.
const (
	cellWidth  = 116.0
	cellHeight = 20.0
	cellInset  = 5.0
)

// Cell draws one cell alone, without its numbers: they stand beside it.
func (m *Matrix) Cell(e Estimate) *Scene {
	s := &Scene{Width: cellWidth, Height: cellHeight}
	top, step := m.top()
	m.cell(s, e, scale{0, top, cellInset, cellWidth - cellInset}, step, 0, cellHeight)
	return s
}

// cell draws a cell's grid, reference, interval and dot between two heights.
func (m *Matrix) cell(s *Scene, e Estimate, x scale, step, from, until float64) {
	for _, v := range ticks(x.to, step) {
		s.line("c-grid", x.px(v), from, x.px(v), until)
	}
	if m.Reference > 0 {
		s.line("c-ref", x.px(m.Reference), from, x.px(m.Reference), until)
	}
	interval(s, e, x, (from+until)/2)
}

// interval draws an interval with its dot: solid where it is clear of the
// reference, and none where there are too few pairs.
func interval(s *Scene, e Estimate, x scale, y float64) {
	if e.Size == 0 {
		return
	}
	class := "c-ci"
	if e.Few {
		class += " c-grey"
	}
	const whisker = 4.5
	s.line(class, x.px(e.Low), y, x.px(e.High), y)
	s.line(class, x.px(e.Low), y-whisker, x.px(e.Low), y+whisker)
	s.line(class, x.px(e.High), y-whisker, x.px(e.High), y+whisker)
	switch {
	case e.Few:
	case e.Clear:
		s.add(Circle{Class: "c-pt c-solid", X: x.px(e.Share), Y: y, R: dot})
	default:
		s.add(Circle{Class: "c-pt", X: x.px(e.Share), Y: y, R: dot})
	}
}

// Draw lays the whole matrix out.
func (m *Matrix) Draw(say Say) *Scene {
	const names, column, row, head = 180.0, 148.0, 46.0, 40.0
	s := &Scene{Width: names + column*float64(len(m.Columns)), Height: head + row*float64(len(m.Rows)) + 4, Label: m.Finding}
	top, step := m.top()
	for k, c := range m.Columns {
		left := names + column*float64(k)
		x := scale{0, top, left + cellInset, left + cellWidth - cellInset}
		s.text("c-strong", atStart, left, 12, c)
		for _, v := range ticks(top, step) {
			s.text("c-tick", atMiddle, x.px(v), 30, tickPercent(say, v))
		}
		for i, r := range m.Rows {
			y := head + row*float64(i)
			e := r.Cells[k]
			s.text("c-strong", atStart, left, y+14, m.words(say, e))
			s.text("c-text", atEnd, left+cellWidth, y+14, say("figure.n", "n", e.Size))
			if e.Note != "" {
				s.text("c-key", atStart, left+44, y+14, e.Note)
			}
			m.cell(s, e, x, step, y+20, y+40)
		}
	}
	s.line("c-axis", 0, head-4, s.Width, head-4)
	for i, r := range m.Rows {
		y := head + row*float64(i)
		s.text("c-strong", atStart, 0, y+26, r.Name)
		s.line("c-grid", 0, y+row-3, s.Width, y+row-3)
	}
	return s
}

// words says a cell's share, or that there are too few pairs.
func (m *Matrix) words(say Say, e Estimate) string {
	if e.Few {
		return say("figure.few")
	}
	return percent(say, e.Share)
}

// Table returns the cells, row by row.
func (m *Matrix) Table(say Say) Table {
	t := Table{Columns: columns(say, "row", "column", "#hits", "#size", "#share", "#low", "#high")}
	for _, r := range m.Rows {
		for k, e := range r.Cells {
			t.Rows = append(t.Rows, append([]Cell{textCell(r.Name), textCell(m.Columns[k])}, estimateCells(say, e)...))
		}
	}
	return t
}

// estimateCells are the numbers of an estimate.
func estimateCells(say Say, e Estimate) []Cell {
	cells := []Cell{countCell(e.Hits), countCell(e.Size), {}, {}, {}}
	if e.Size > 0 {
		cells[2], cells[3], cells[4] = shareCell(say, e.Share), shareCell(say, e.Low), shareCell(say, e.High)
	}
	return cells
}

// Bars are a few shares with their intervals, one below the other, on one scale
// that starts at zero.
type Bars struct {
	Finding string
	Rows    []Bar
	// Top is the end of the scale; 0 fits it to the rows.
	Top float64
}

// Bar is one share.
type Bar struct {
	Name string
	Estimate
}

// Draw lays the bars out.
func (b *Bars) Draw(say Say) *Scene {
	const names, width, row, head, right = 150.0, 460.0, 34.0, 22.0, 350.0
	s := &Scene{Width: width, Height: head + row*float64(len(b.Rows)) + 4, Label: b.Finding}
	most := b.Top
	if most == 0 {
		for _, r := range b.Rows {
			most = max(most, r.High)
		}
	}
	top, step := shareAxis(most, 4)
	x := scale{0, top, names, right}
	for _, v := range ticks(top, step) {
		s.line("c-grid", x.px(v), head, x.px(v), s.Height-4)
		s.text("c-tick", atMiddle, x.px(v), head-8, tickPercent(say, v))
	}
	for i, r := range b.Rows {
		y := head + row*float64(i) + row/2
		s.text("c-strong", atStart, 0, y+textDrop, r.Name)
		if r.Size > 0 && !r.Few {
			s.add(Box{Class: "c-bar", X: names, Y: y - 5, W: x.px(r.Share) - names, H: 10})
		}
		interval(s, r.Estimate, x, y)
		words := say("figure.few")
		if !r.Few && r.Size > 0 {
			words = percent(say, r.Share)
		}
		s.text("c-strong", atStart, right+14, y+textDrop, words)
		s.text("c-text", atEnd, width, y+textDrop, say("figure.n", "n", r.Size))
	}
	s.line("c-axis", names, head, names, s.Height-4)
	return s
}

// Table returns the bars' numbers.
func (b *Bars) Table(say Say) Table {
	t := Table{Columns: columns(say, "row", "#hits", "#size", "#share", "#low", "#high")}
	for _, r := range b.Rows {
		t.Rows = append(t.Rows, append([]Cell{textCell(r.Name)}, estimateCells(say, r.Estimate)...))
	}
	return t
}
