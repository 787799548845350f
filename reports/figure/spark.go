package figure

// Spark is a line the size of a word: shares by month from zero up, the last
// one marked.
type Spark struct {
	Finding string
	Points  []ControlPoint
}

// Draw lays the line out.
func (f *Spark) Draw(Say) *Scene {
	const width, height, inset = 120.0, 28.0, 4.0
	s := &Scene{Width: width, Height: height, Label: f.Finding}
	if len(f.Points) == 0 {
		return s
	}
	top := 0.0
	for _, p := range f.Points {
		top = max(top, p.Share)
	}
	if top == 0 {
		top = 1
	}
	x := scale{0, float64(max(len(f.Points)-1, 1)), inset, width - inset}
	y := scale{0, top, height - inset, inset}
	var line []float64
	for i, p := range f.Points {
		if p.Size > 0 {
			line = append(line, x.px(float64(i)), y.px(p.Share))
		}
	}
	s.line("c-grid", inset, y.at, width-inset, y.at)
	s.line("c-line c-thin", line...)
	if n := len(line); n > 0 {
		s.add(Circle{Class: "c-pt c-solid", X: line[n-2], Y: line[n-1], R: 2.5})
	}
	return s
}

// Table returns the line's numbers.
func (f *Spark) Table(say Say) Table {
	t := Table{Columns: columns(say, "month", "#hits", "#size", "#share")}
	for _, p := range f.Points {
		share := Cell{}
		if p.Size > 0 {
			share = shareCell(say, p.Share)
		}
		t.Rows = append(t.Rows, []Cell{{Text: p.Name + " " + p.Year, Exact: p.At}, countCell(p.Hits), countCell(p.Size), share})
	}
	return t
}
