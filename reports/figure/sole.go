package figure

import (
	"math"
	"strconv"
	"strings"
)

// Sole is the mean grade by zone of both shoes, sole up, toes up, the left shoe
// on the left: inner edges face outwards.
type Sole struct {
	Finding string
	// Left and Right are by zone, in the order of the data.
	Left, Right [10]Mean
}

// Mean is the mean grade of a zone, 0 to 4, and how many readings it is of;
// of none there is no mean.
type Mean struct {
	Grade float64
	N     int
}

// ZoneNames are the zones in the order of the data.
func ZoneNames() []string {
	names := make([]string, len(soleZones))
	for i, z := range soleZones {
		names[i] = z.name
	}
	return names
}

// pathOps reads a path of absolute M, C and Z.
func pathOps(d string) []Op {
	var ops []Op
	for d != "" {
		verb := d[0]
		next := strings.IndexAny(d[1:], "MCLZ") + 1
		if next == 0 {
			next = len(d)
		}
		op := Op{Verb: verb}
		for n := range strings.FieldsSeq(d[1:next]) {
			v, err := strconv.ParseFloat(n, 64)
			if err != nil {
				panic("figure: a path of the sole is wrong: " + err.Error())
			}
			op.At = append(op.At, v)
		}
		ops, d = append(ops, op), d[next:]
	}
	return ops
}

// mirrored turns a left shoe's path into that of a right one.
func mirrored(ops []Op) []Op {
	out := make([]Op, len(ops))
	for i, op := range ops {
		out[i].Verb = op.Verb
		for k, v := range op.At {
			if k%2 == 0 {
				v = soleWidth - v
			}
			out[i].At = append(out[i].At, v)
		}
	}
	return out
}

// Draw lays the pair out: each zone between the shades of the two grades about
// its mean, the mean on a label.
func (f *Sole) Draw(say Say) *Scene {
	const worst = 4
	s := &Scene{Width: soleWidth, Height: soleHeight, Label: f.Finding}
	for shoe, means := range [2]*[10]Mean{&f.Left, &f.Right} {
		place := func(ops []Op) []Op { return ops }
		at := func(x float64) float64 { return x }
		letter := "figure.left-short"
		if shoe == 1 {
			place, letter = mirrored, "figure.right-short"
			at = func(x float64) float64 { return soleWidth - x }
		}
		s.add(Path{Class: "c-rim", Ops: place(pathOps(soleRim))})
		for i, z := range soleZones {
			ops := place(pathOps(z.path))
			m := means[i]
			if m.N == 0 {
				s.add(Path{Class: "c-none", Ops: ops})
				continue
			}
			below := min(math.Floor(m.Grade), worst-1)
			s.add(Path{Class: "c-zone c-g" + strconv.Itoa(int(below)), Ops: ops})
			if part := m.Grade - below; part >= 0.005 {
				s.add(Path{Class: "c-zone c-g" + strconv.Itoa(int(below)+1), Ops: ops, Opacity: part})
			}
			s.add(Box{Class: "c-pill", X: at(z.x) - 18, Y: z.y - 14, W: 36, H: 24, Tip: say("figure.zone-n", "zone", zoneWords(say, z.name), "n", m.N)})
			s.text("c-mean", atMiddle, at(z.x), z.y+4, strconv.FormatFloat(m.Grade, 'f', 1, 64))
		}
		// The red double notch across the rim says which edge is the inner one.
		s.line("c-edge", at(74), 286, at(96), 286)
		s.line("c-edge", at(74), 300, at(96), 300)
		s.text("c-side", atMiddle, at(30), 318, say(letter))
	}
	return s
}

// zoneWords says a zone as the screen does: forefoot, inner.
func zoneWords(say Say, name string) string {
	part, edge, _ := strings.Cut(name, "_")
	return say("figure.zone", "part", say("part."+part), "edge", say("edge."+edge))
}

// Table returns the means.
func (f *Sole) Table(say Say) Table {
	t := Table{Columns: columns(say, "shoe", "zone", "#mean", "#size")}
	for shoe, means := range [2]*[10]Mean{&f.Left, &f.Right} {
		key := [2]string{"left", "right"}[shoe]
		for i, z := range soleZones {
			mean := Cell{}
			if m := means[i]; m.N > 0 {
				mean = Cell{Text: strconv.FormatFloat(m.Grade, 'f', 2, 64), Exact: strconv.FormatFloat(m.Grade, 'g', -1, 64)}
			}
			t.Rows = append(t.Rows, []Cell{{Text: say("figure." + key), Exact: key}, {Text: zoneWords(say, z.name), Exact: z.name}, mean, countCell(means[i].N)})
		}
	}
	return t
}
