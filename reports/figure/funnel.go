package figure

import "slices"

// Funnel is a funnel plot: the share of each unit, a store as a rule, by its
// count, between the limits that chance alone would give at that count.
type Funnel struct {
	Finding string
	Units   []FunnelUnit
	// All is the share of all units together.
	All float64
	// Limits are by count, ascending.
	Limits []FunnelLimit
	// Counted names what is counted, under the axis.
	Counted string
	// LikeForLike says that each Share is what the unit's would be if its cases were
	// as mixed as everybody's, and that Raw is what it is.
	LikeForLike bool
}

// FunnelUnit is one unit.
type FunnelUnit struct {
	Name       string
	Hits, Size int
	Share      float64
	// Of a plot like for like: the share as it is, that of like cases elsewhere,
	// and whether the raw one would be outside.
	Raw, Expected float64
	RawOutside    bool
	// Weight is the count that it stands at: how many cases of the common mix
	// would say as much as its own; 0 for Size.
	Weight float64
	// Outside says that it is beyond the 99.8 % limits; only such are named, and
	// the one that a page is about.
	Outside bool
	// Note is its number in the margin.
	Note string
	// Named says that it is the one a page is about.
	Named bool
}

// FunnelLimit are the limits at one count.
type FunnelLimit struct {
	Size                           float64
	Low95, High95, Low998, High998 float64
}

// Draw lays the plot out.
func (f *Funnel) Draw(say Say) *Scene {
	const bottom, height = 266.0, 304.0
	s := &Scene{Width: chartWidth, Height: height, Label: f.Finding}
	most, widest := f.All, 1.0
	for _, u := range f.Units {
		most, widest = max(most, u.Share, u.Raw), max(widest, u.at())
	}
	top, step := shareAxis(min(1, most*1.15), 4)
	xStep := tickStep(widest*1.05, 1, 5)
	y := scale{0, top, bottom, chartTop}
	x := scale{0, max(widest*1.05, xStep), chartLeft, chartRight}
	shareGrid(s, say, y, step, chartLeft, chartRight)
	f.drawLimits(s, say, x, y)
	s.line("c-line c-thin", chartLeft, y.px(f.All), chartRight, y.px(f.All))
	s.text("c-strong", atStart, chartRight+lineLabel, y.px(f.All)+textDrop, say("figure.all", "share", percent(say, f.All)))
	s.line("c-axis", chartLeft, chartTop, chartLeft, bottom, chartRight, bottom)
	for _, v := range ticks(x.to, xStep) {
		s.line("c-axis", x.px(v), bottom, x.px(v), bottom+5)
		s.text("c-count", atMiddle, x.px(v), bottom+18, count(v))
	}
	s.text("c-text", atMiddle, (chartLeft+chartRight)/2, bottom+34, f.Counted)
	under := len(s.Marks)
	var within []Op
	for _, u := range f.Units {
		at, up := x.px(u.at()), y.px(u.Share)
		if f.inCrowd(&u) {
			within = append(within, polyline(at, up, at, up)...)
			continue
		}
		tip := say("figure.point", "name", u.Name, "share", percent(say, u.Share), "hits", u.Hits, "size", u.Size)
		if f.LikeForLike {
			tip = say("figure.point-like", "name", u.Name, "share", percent(say, u.Share), "raw", percent(say, u.Raw), "hits", u.Hits, "size", u.Size)
			s.line("c-ghost", at, up, at, y.px(u.Raw))
			s.line("c-ghost", at-tickHalf, y.px(u.Raw), at+tickHalf, y.px(u.Raw))
		}
		s.point(at, up, u.Outside, tip, u.Note)
		switch {
		case !u.Outside && !u.Named:
		case at+ring+nameRoom > chartRight: // the words of the limits begin there
			s.text("c-strong", atMiddle, at, up+ring+labelHeight, u.Name)
		default:
			s.text("c-strong", atStart, at+ring+4, up+textDrop, u.Name)
		}
	}
	if len(within) > 0 {
		// Under the points that are told apart.
		s.Marks = slices.Insert(s.Marks, under, Mark(Path{Class: "c-crowd", Ops: within}))
	}
	return s
}

// crowd is of how many units on a plot only those are told apart that matter. House
// value.
const crowd = 300

// Crowded says that units within the limits are dots that don't say whose they are,
// which the table does: there are too many to be told apart.
func (f *Funnel) Crowded() bool { return len(f.Units) > crowd }

// inCrowd says that a unit is such a dot.
func (f *Funnel) inCrowd(u *FunnelUnit) bool {
	return f.Crowded() && !u.Outside && !u.Named && u.Note == ""
}

// tickHalf is half of the tick at a unit's raw share, and nameRoom what a short
// name needs beside its point.
const (
	tickHalf = 4.0
	nameRoom = 34.0
)

// at is the count that the unit stands at.
func (u *FunnelUnit) at() float64 {
	if u.Weight > 0 {
		return u.Weight
	}
	return float64(u.Size)
}

func (f *Funnel) drawLimits(s *Scene, say Say, x, y scale) {
	if len(f.Limits) == 0 {
		return
	}
	last := f.Limits[len(f.Limits)-1]
	for _, l := range []struct {
		class, key string
		low, high  func(FunnelLimit) float64
	}{
		{"c-limit", "figure.95", func(l FunnelLimit) float64 { return l.Low95 }, func(l FunnelLimit) float64 { return l.High95 }},
		{"c-limit c-outer", "figure.998", func(l FunnelLimit) float64 { return l.Low998 }, func(l FunnelLimit) float64 { return l.High998 }},
	} {
		for _, side := range []func(FunnelLimit) float64{l.low, l.high} {
			var points []float64
			for _, at := range f.Limits {
				points = append(points, x.px(at.Size), y.px(side(at)))
			}
			s.line(l.class, points...)
		}
	}
	// The words of the upper limits stand apart from each other and from that of
	// the line between.
	outer, inner := apart(y.px(last.High998), y.px(last.High95))
	if over := inner + labelHeight - y.px(f.All); over > 0 {
		outer, inner = outer-over, inner-over
	}
	s.text("c-text", atStart, chartRight+lineLabel, outer+textDrop, say("figure.998"))
	s.text("c-text", atStart, chartRight+lineLabel, inner+textDrop, say("figure.95"))
}

// Table returns the plot's numbers.
func (f *Funnel) Table(say Say) Table {
	if f.LikeForLike {
		t := Table{Columns: columns(say, "unit", "#hits", "#size", "#share", "out-raw", "#expected", "#like", "out-like")}
		for _, u := range f.Units {
			t.Rows = append(t.Rows, []Cell{
				textCell(u.Name), countCell(u.Hits), countCell(u.Size), shareCell(say, u.Raw), yesCell(say, u.RawOutside),
				shareCell(say, u.Expected), shareCell(say, u.Share), yesCell(say, u.Outside),
			})
		}
		return t
	}
	t := Table{Columns: columns(say, "unit", "#hits", "#size", "#share", "out")}
	for _, u := range f.Units {
		t.Rows = append(t.Rows, []Cell{textCell(u.Name), countCell(u.Hits), countCell(u.Size), shareCell(say, u.Share), yesCell(say, u.Outside)})
	}
	return t
}
