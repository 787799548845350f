package figure

import (
	"math"
	"strconv"
	"strings"
)

// Scene is a drawing: marks on a sheet of Width × Height units, the first at
// the bottom.
type Scene struct {
	Width, Height float64
	// Label is the finding in words. A scene without one is decoration beside a
	// text that says the same.
	Label string
	Marks []Mark
}

// Mark is one of Path, Circle, Box, Text.
type Mark interface {
	svg(*strings.Builder)
}

// Op is one step of a path: M and L take a point, C two handles and a point, Z
// none.
type Op struct {
	Verb byte
	At   []float64
}

// Path is a line, or an area where its class fills it.
type Path struct {
	Class string
	Ops   []Op
	// Opacity is that of the fill, 0 for full.
	Opacity float64
}

// Circle is a dot or a ring.
type Circle struct {
	Class   string
	X, Y, R float64
	Tip     string
}

// Box is a rectangle.
type Box struct {
	Class      string
	X, Y, W, H float64
	Tip        string
}

// Text is one line of text; Anchor is start, middle or end.
type Text struct {
	Class, Anchor string
	X, Y          float64
	Text          string
}

// Where a text stands by its point.
const (
	atStart  = "start"
	atMiddle = "middle"
	atEnd    = "end"
)

// tenth rounds a coordinate.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }

// num writes a coordinate to a tenth of a unit.
func num(v float64) string {
	v = tenth(v)
	if v == 0 {
		v = 0 // -0 is written as 0
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

// tag writes <name a="b" …, without its end; attributes come as name, value.
func tag(b *strings.Builder, name string, attributes ...string) {
	b.WriteString("<" + name)
	for i := 0; i < len(attributes); i += 2 {
		if attributes[i+1] != "" {
			b.WriteString(" " + attributes[i] + `="` + escaper.Replace(attributes[i+1]) + `"`)
		}
	}
}

// closeTag ends a tag that holds at most a tip.
func closeTag(b *strings.Builder, name, tip string) {
	if tip == "" {
		b.WriteString("/>")
		return
	}
	b.WriteString("><title>" + escaper.Replace(tip) + "</title></" + name + ">")
}

func (p Path) svg(b *strings.Builder) {
	var opacity string
	if p.Opacity > 0 {
		opacity = strconv.FormatFloat(math.Round(p.Opacity*100)/100, 'f', -1, 64)
	}
	tag(b, "path", "class", p.Class, "fill-opacity", opacity, "d", pathData(p.Ops))
	b.WriteString("/>")
}

// pathData writes the steps of a path as SVG does.
func pathData(ops []Op) string {
	var d strings.Builder
	for _, op := range ops {
		d.WriteByte(op.Verb)
		for i, v := range op.At {
			if i > 0 {
				d.WriteByte(' ')
			}
			d.WriteString(num(v))
		}
	}
	return d.String()
}

func (c Circle) svg(b *strings.Builder) {
	tag(b, "circle", "class", c.Class, "cx", num(c.X), "cy", num(c.Y), "r", num(c.R))
	closeTag(b, "circle", c.Tip)
}

func (x Box) svg(b *strings.Builder) {
	tag(b, "rect", "class", x.Class, "x", num(x.X), "y", num(x.Y), "width", num(x.W), "height", num(x.H))
	closeTag(b, "rect", x.Tip)
}

func (t Text) svg(b *strings.Builder) {
	anchor := t.Anchor
	if anchor == atStart {
		anchor = ""
	}
	tag(b, "text", "class", t.Class, "text-anchor", anchor, "x", num(t.X), "y", num(t.Y))
	b.WriteString(">" + escaper.Replace(t.Text) + "</text>")
}

func (s *Scene) add(marks ...Mark) { s.Marks = append(s.Marks, marks...) }

// text puts one line of text.
func (s *Scene) text(class, anchor string, x, y float64, words string) {
	s.add(Text{Class: class, Anchor: anchor, X: x, Y: y, Text: words})
}

// line puts a polyline through points, which come as x, y, x, y.
func (s *Scene) line(class string, points ...float64) {
	s.add(Path{Class: class, Ops: polyline(points...)})
}

// polyline is the path through points, which come as x, y, x, y.
func polyline(points ...float64) []Op {
	ops := make([]Op, 0, len(points)/2)
	for i := 0; i+1 < len(points); i += 2 {
		verb := byte('L')
		if i == 0 {
			verb = 'M'
		}
		ops = append(ops, Op{verb, points[i : i+2]})
	}
	return ops
}

// SVG returns a figure as an element for a page, which gives it its looks.
func SVG(f Figure, say Say) string { return f.Draw(say).SVG() }

// SVG writes the scene as an element for a page.
func (s *Scene) SVG() string {
	var b strings.Builder
	s.open(&b)
	s.body(&b)
	return b.String()
}

// open writes the start tag.
func (s *Scene) open(b *strings.Builder, attributes ...string) {
	role, label, hidden := "img", s.Label, ""
	if label == "" {
		role, hidden = "", "true"
	}
	attributes = append(attributes, "class", "figure", "viewBox", "0 0 "+num(s.Width)+" "+num(s.Height),
		"role", role, "aria-label", label, "aria-hidden", hidden)
	tag(b, "svg", attributes...)
	b.WriteByte('>')
}

func (s *Scene) body(b *strings.Builder) {
	for _, m := range s.Marks {
		m.svg(b)
	}
	b.WriteString("</svg>")
}

// The head of a file: two lines above the drawing.
const (
	headHeight = 56
	headTitle  = 20
	headNote   = 40
	headLeft   = 4
)

// File returns a figure as a file of its own, with its title and caption, its
// looks inside, in the light theme and on any page.
func File(f Figure, title, caption string, say Say) []byte {
	s := f.Draw(say)
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n")
	whole := Scene{Width: s.Width, Height: s.Height + headHeight, Label: s.Label}
	if whole.Label == "" {
		whole.Label = title
	}
	whole.open(&b, "xmlns", "http://www.w3.org/2000/svg", "width", num(whole.Width), "height", num(whole.Height))
	b.WriteString("<title>" + escaper.Replace(title) + "</title><style>" + theme + Style + "</style>")
	Box{Class: "c-sheet", W: whole.Width, H: whole.Height}.svg(&b)
	Text{Class: "c-title", X: headLeft, Y: headTitle, Text: title}.svg(&b)
	Text{Class: "c-text", X: headLeft, Y: headNote, Text: caption}.svg(&b)
	tag(&b, "g", "transform", "translate(0 "+num(headHeight)+")")
	b.WriteByte('>')
	for _, m := range s.Marks {
		m.svg(&b)
	}
	b.WriteString("</g></svg>\n")
	return []byte(b.String())
}
