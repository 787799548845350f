package figure

import (
	"encoding/csv"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew")

// english stands in for the words of the pages; a key without a text comes back
// as it is.
var english = map[string]string{
	"figure.percent": "{v}%", "figure.n": "n {n}", "figure.few": "too few", "figure.half": "half: {km} {unit}",
	"figure.half-between": "half: {from}–{to} {unit}", "figure.limit": "limit", "figure.usual": "usual {share}", "figure.all": "all {share}",
	"figure.95": "95%", "figure.998": "99.8%", "figure.watch": "{unit} run, and pairs still on watch", "figure.point": "{name}: {share}, {hits} of {size}",
	"figure.left-short": "L", "figure.right-short": "R", "figure.zone": "{part}, {edge}", "figure.zone-n": "{zone}: n {n}",
}

func say(key string, fills ...any) string {
	text, ok := english[key]
	if !ok {
		return key
	}
	for i := 0; i < len(fills); i += 2 {
		text = strings.ReplaceAll(text, fmt.Sprintf("{%v}", fills[i]), fmt.Sprint(fills[i+1]))
	}
	return text
}

// element is one element of a drawing, read back.
type element struct {
	name, class, text string
	attr              map[string]string
}

func (e element) num(t testing.TB, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("<%s> has %s=%q", e.name, name, e.attr[name])
	}
	return v
}

// has reports whether one of the element's classes is class.
func (e element) has(class string) bool { return slices.Contains(strings.Fields(e.class), class) }

// points reads a path of absolute M and L.
func (e element) points(t testing.TB) [][2]float64 {
	t.Helper()
	var all [][2]float64
	for _, op := range pathOps(e.attr["d"]) {
		if op.Verb == 'Z' {
			continue
		}
		all = append(all, [2]float64{op.At[0], op.At[1]})
	}
	return all
}

// read parses a drawing.
func read(t testing.TB, svg string) []element {
	t.Helper()
	var all []element
	var open []int
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("the drawing is no XML: %v", err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, attr: map[string]string{}}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			e.class = e.attr["class"]
			if _, has := e.attr["style"]; has {
				t.Errorf("<%s> has a style of its own, which the pages' security policy refuses", e.name)
			}
			open, all = append(open, len(all)), append(all, e)
		case xml.CharData:
			if len(open) > 0 {
				all[open[len(open)-1]].text += string(token)
			}
		case xml.EndElement:
			open = open[:len(open)-1]
		}
	}
}

func pick(all []element, class string) []element {
	var some []element
	for _, e := range all {
		if e.has(class) {
			some = append(some, e)
		}
	}
	return some
}

// inverse turns units back into numbers, by two ticks of an axis as a reader
// would, and says how wide half a rounding step is in numbers.
type inverse struct{ at0, v0, perUnit float64 }

func (i inverse) value(px float64) float64 { return i.v0 + (px-i.at0)*i.perUnit }

// slack is what rounding of a coordinate and of the ticks' places may make.
func (i inverse) slack() float64 { return 0.16 * math.Abs(i.perUnit) }

func invert(t testing.TB, ticks []element, along string) inverse {
	t.Helper()
	if len(ticks) < 2 {
		t.Fatalf("an axis with %d ticks can't be read", len(ticks))
	}
	at := func(e element) (px, v float64) {
		v, err := strconv.ParseFloat(strings.TrimSuffix(e.text, "%"), 64)
		if err != nil {
			t.Fatalf("tick %q", e.text)
		}
		if strings.HasSuffix(e.text, "%") {
			v /= 100
		}
		px = e.num(t, along)
		if along == "y" {
			px -= textDrop
		}
		return px, v
	}
	p0, v0 := at(ticks[0])
	p1, v1 := at(ticks[len(ticks)-1])
	return inverse{p0, v0, (v1 - v0) / (p1 - p0)}
}

func near(t testing.TB, what string, got, want, slack float64) {
	t.Helper()
	if math.Abs(got-want) > slack {
		t.Errorf("%s is drawn as %v, but is %v", what, got, want)
	}
}

// centre returns the middle of a dot or of a square.
func centre(t testing.TB, e element) (x, y float64) {
	if e.name == "circle" {
		return e.num(t, "cx"), e.num(t, "cy")
	}
	return e.num(t, "x") + e.num(t, "width")/2, e.num(t, "y") + e.num(t, "height")/2
}

// share draws a share of some count.
func share(t *rapid.T) (hits, size int, share float64) {
	size = rapid.IntRange(1, 5000).Draw(t, "size")
	hits = rapid.IntRange(0, size).Draw(t, "hits")
	return hits, size, float64(hits) / float64(size)
}

func anyControl(t *rapid.T) *Control {
	c := &Control{Finding: "finding", Usual: rapid.Float64Range(0, 0.6).Draw(t, "usual")}
	for i := range rapid.IntRange(1, 36).Draw(t, "months") {
		p := ControlPoint{At: fmt.Sprintf("m%02d", i), Name: fmt.Sprint("n", i), Year: fmt.Sprint(2020 + i/12), Out: rapid.Bool().Draw(t, "out")}
		p.Hits, p.Size, p.Share = share(t)
		p.Low, p.High = c.Usual/2, min(1, c.Usual+rapid.Float64Range(0, 0.4).Draw(t, "limit"))
		c.Points = append(c.Points, p)
	}
	return c
}

func TestControlReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := anyControl(rt)
		all := read(t, SVG(c, say))
		y := invert(t, pick(all, "c-tick"), "y")
		points := pick(all, "c-pt")
		if len(points) != len(c.Points) {
			rt.Fatalf("%d points are drawn, of %d", len(points), len(c.Points))
		}
		limit := pick(all, "c-limit")[0].points(t)
		for i, p := range c.Points {
			_, at := centre(t, points[i])
			near(t, "the share of "+p.At, y.value(at), p.Share, y.slack())
			near(t, "the limit of "+p.At, y.value(limit[2*i][1]), p.High, y.slack())
			if got := points[i].name == "rect"; got != p.Out {
				rt.Errorf("%s is a square: %v, but a signal: %v", p.At, got, p.Out)
			}
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

func TestSumReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := &Sum{Finding: "finding", Limit: rapid.Float64Range(1, 9).Draw(rt, "limit")}
		drawn := 0
		for i, p := range anyControl(rt).Points {
			p.Mark = map[bool]string{true: fmt.Sprint("rules ", i)}[rapid.Bool().Draw(rt, "mark")]
			c.Points = append(c.Points, SumPoint{p, rapid.Float64Range(0, 9).Draw(rt, "expected"), rapid.Float64Range(0, 12).Draw(rt, "highest")})
			if p.Size > 0 {
				drawn++
			}
		}
		all := read(t, SVG(c, say))
		y := invert(t, pick(all, "c-tick"), "y")
		near(t, "the limit", y.value(pick(all, "c-limit")[0].points(t)[0][1]), c.Limit, y.slack())
		points := pick(all, "c-pt")
		if len(points) != drawn {
			rt.Fatalf("%d points are drawn, of %d", len(points), drawn)
		}
		for _, p := range c.Points {
			if p.Size == 0 {
				continue
			}
			_, at := centre(t, points[0])
			near(t, "the sum of "+p.At, y.value(at), p.Highest, y.slack())
			if got := points[0].name == "rect"; got != p.Out {
				rt.Errorf("%s is a square: %v, but a signal: %v", p.At, got, p.Out)
			}
			points = points[1:]
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

func anyFunnel(t *rapid.T) *Funnel {
	f := &Funnel{Finding: "finding", All: rapid.Float64Range(0.01, 0.9).Draw(t, "all"), Counted: "pairs read", LikeForLike: rapid.Bool().Draw(t, "like")}
	for i := range rapid.IntRange(2, 40).Draw(t, "units") {
		u := FunnelUnit{Name: fmt.Sprint("S", i), Outside: rapid.Bool().Draw(t, "outside")}
		u.Hits, u.Size, u.Share = share(t)
		if f.LikeForLike {
			u.Raw, u.Weight = u.Share, float64(u.Size)*rapid.Float64Range(0.5, 2).Draw(t, "weight")
			u.Share *= rapid.Float64Range(0.5, 1).Draw(t, "like for like")
		}
		f.Units = append(f.Units, u)
	}
	for n := 10; n < 4000; n *= 2 {
		d := 1 / math.Sqrt(float64(n))
		f.Limits = append(f.Limits, FunnelLimit{float64(n), max(0, f.All-d), min(1, f.All+d), max(0, f.All-1.6*d), min(1, f.All+1.6*d)})
	}
	return f
}

func TestFunnelReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := anyFunnel(rt)
		all := read(t, SVG(f, say))
		x, y := invert(t, pick(all, "c-count"), "x"), invert(t, pick(all, "c-tick"), "y")
		points := pick(all, "c-pt")
		named := 0
		for i, u := range f.Units {
			px, py := centre(t, points[i])
			near(t, "the count of "+u.Name, x.value(px), u.at(), x.slack())
			near(t, "the share of "+u.Name, y.value(py), u.Share, y.slack())
			if f.LikeForLike { // the thin line ends at the raw share
				ghost := pick(all, "c-ghost")[2*i].points(t)
				near(t, "the raw share of "+u.Name, y.value(ghost[1][1]), u.Raw, y.slack())
			}
			if u.Outside {
				named++
			}
		}
		for _, e := range pick(all, "c-strong") { // no name lies under the words of the lines
			if strings.HasPrefix(e.text, "S") && e.attr["text-anchor"] == "" {
				if at, err := strconv.ParseFloat(e.attr["x"], 64); err != nil || at+20 > chartRight {
					rt.Errorf("%s begins at %s, the words of the lines at %v", e.text, e.attr["x"], chartRight)
				}
			}
		}
		for _, e := range pick(all, "c-strong") {
			if strings.HasPrefix(e.text, "S") {
				named--
			}
		}
		if named != 0 {
			rt.Errorf("units outside the outer limits are named, and only they: %d differ", named)
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

// Of many units only those are told apart that matter; the others are dots at their
// places, and all are in the table.
func TestAFunnelOfManyTellsApartWhatMatters(t *testing.T) {
	f := &Funnel{Finding: "finding", All: 0.3, Counted: "readings"}
	apart := 0
	for i := range crowd + 50 {
		u := FunnelUnit{Name: "S" + strconv.Itoa(i), Size: 20 + i, Hits: 3 + i/4}
		u.Share = float64(u.Hits) / float64(u.Size)
		u.Outside, u.Named = i%40 == 7, i == 3
		if i == 5 {
			u.Note = "1"
		}
		if u.Outside || u.Named || u.Note != "" {
			apart++
		}
		f.Units = append(f.Units, u)
	}
	all := read(t, SVG(f, say))
	x, y := invert(t, pick(all, "c-count"), "x"), invert(t, pick(all, "c-tick"), "y")
	if n := len(pick(all, "c-pt")); n != apart {
		t.Errorf("%d units are told apart of %d that matter", n, apart)
	}
	dots := pick(all, "c-crowd")[0].points(t)
	if len(dots) != 2*(len(f.Units)-apart) {
		t.Fatalf("%d ends of dots, want two for each of %d", len(dots), len(f.Units)-apart)
	}
	next := 0
	for _, u := range f.Units {
		if u.Outside || u.Named || u.Note != "" {
			continue
		}
		near(t, "the count of "+u.Name, x.value(dots[next][0]), u.at(), x.slack())
		near(t, "the share of "+u.Name, y.value(dots[next][1]), u.Share, y.slack())
		next += 2
	}
	if rows := f.Table(say).Rows; len(rows) != len(f.Units) {
		t.Errorf("the table has %d rows of %d", len(rows), len(f.Units))
	}
	f.Units = f.Units[:crowd]
	if n := len(pick(read(t, SVG(f, say)), "c-pt")); n != crowd {
		t.Errorf("of %d units %d are told apart", crowd, n)
	}
}

func anySteps(t *rapid.T) *Steps {
	c := &Steps{Finding: "finding", Name: "neutral", Class: "c-neutral", Unit: "km"}
	left := rapid.IntRange(20, 400).Draw(t, "pairs")
	pairs := left
	x, at := 0.0, 1.0
	for range rapid.IntRange(1, 60).Draw(t, "steps") {
		x += float64(rapid.IntRange(1, 60).Draw(t, "km"))
		lower := at * rapid.Float64Range(0.7, 1).Draw(t, "keep")
		c.Curve = append(c.Curve, Step{x, lower, rapid.Float64Range(lower, at).Draw(t, "high")})
		at = lower
		pairs -= rapid.IntRange(0, left/20).Draw(t, "gone")
		c.Watch = append(c.Watch, Watch{x, max(pairs, 0)})
	}
	c.Beside = []Step{{x / 3, 0.8, 0.9}, {x / 2, 0.2, 0.3}}
	scale := rapid.Float64Range(20, 2000).Draw(t, "scale")
	c.Smooth = func(x float64) float64 { return math.Exp(-x / scale) }
	return c
}

func TestStepsReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := anySteps(rt)
		all := read(t, SVG(c, say))
		y := invert(t, pick(all, "c-tick"), "y")
		if c.Drawn() == 0 {
			if len(pick(all, "c-line")) != 0 {
				rt.Fatal("a curve of fewer than five pairs is drawn")
			}
			return
		}
		x := invert(t, pick(all, "c-count"), "x")
		line := pick(all, "c-line")[0].points(t)
		// The line starts at 0, takes two points a step, and ends where it is cut.
		drawn := (len(line) - 2) / 2
		for i, s := range c.Curve {
			if s.X > c.Drawn() {
				if drawn > i {
					rt.Errorf("step %d at %v km is drawn beyond %v km, where too few are on watch", i, s.X, c.Drawn())
				}
				break
			}
			near(t, "a step's distance", x.value(line[2+2*i][0]), s.X, x.slack())
			near(t, "a step's share", y.value(line[2+2*i][1]), s.High, y.slack())
		}
		smooth := pick(all, "c-smooth")[0].points(t)
		for _, p := range smooth {
			near(t, "the law's share", y.value(p[1]), c.Smooth(x.value(p[0])), 2*y.slack()+x.slack()/20)
		}
		beside := pick(all, "c-beside")[0].points(t)
		for _, p := range beside[:min(len(beside), 5)] {
			if at := x.value(p[0]); at > c.Drawn()+x.slack() || y.value(p[1]) < c.beside(at+x.slack())-y.slack() || y.value(p[1]) > c.beside(at-x.slack())+y.slack() {
				rt.Fatalf("the curve beside is at %v, %v", at, y.value(p[1]))
			}
		}
		near(t, "the law's end", x.value(smooth[len(smooth)-1][0]), c.Drawn(), x.slack())
		for _, e := range pick(all, "c-watch") {
			km := x.value(e.num(t, "x"))
			want := 0
			for i := len(c.Watch) - 1; i >= 0 && c.Watch[i].X >= km-x.slack(); i-- {
				want = c.Watch[i].N
			}
			if e.text != strconv.Itoa(want) {
				rt.Errorf("at %v km the drawing says %s on watch, of %d", km, e.text, want)
			}
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

func anyEstimate(t *rapid.T) Estimate {
	var e Estimate
	e.Hits, e.Size, e.Share = share(t)
	e.Low, e.High = e.Share*rapid.Float64Range(0.5, 1).Draw(t, "low"), e.Share+(1-e.Share)*rapid.Float64Range(0, 0.5).Draw(t, "high")
	e.Few = e.Size < 20
	e.Clear = rapid.Bool().Draw(t, "clear")
	return e
}

func TestMatrixReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := &Matrix{Finding: "finding", Columns: []string{"neutral", "pronated"}, Reference: rapid.Float64Range(0.01, 0.9).Draw(rt, "all"), Top: 1}
		for i := range rapid.IntRange(1, 12).Draw(rt, "rows") {
			m.Rows = append(m.Rows, MatrixRow{fmt.Sprint("R", i), []Estimate{anyEstimate(rt), anyEstimate(rt)}})
		}
		all := read(t, SVG(m, say))
		scales := pick(all, "c-tick")
		lines, dots := pick(all, "c-ci"), pick(all, "c-pt")
		for k := range m.Columns {
			x := invert(t, scales[:len(m.Ticks(say))], "x")
			scales = scales[len(m.Ticks(say)):]
			for _, r := range m.Rows {
				e := r.Cells[k]
				span := lines[0].points(t)
				lines = lines[3:]
				near(t, "the low end of "+r.Name, x.value(span[0][0]), e.Low, x.slack())
				near(t, "the high end of "+r.Name, x.value(span[1][0]), e.High, x.slack())
				if e.Few {
					continue
				}
				at, _ := centre(t, dots[0])
				near(t, "the share of "+r.Name, x.value(at), e.Share, x.slack())
				if dots[0].has("c-solid") != e.Clear {
					rt.Errorf("a dot is solid where its interval is clear of the reference, and only there")
				}
				dots = dots[1:]
			}
		}
		if len(dots) != 0 {
			rt.Errorf("%d dots too many: a cell of too few pairs has none", len(dots))
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

func TestBarsReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := &Bars{Finding: "finding"}
		for i := range rapid.IntRange(1, 8).Draw(rt, "rows") {
			b.Rows = append(b.Rows, Bar{fmt.Sprint("R", i), anyEstimate(rt)})
		}
		all := read(t, SVG(b, say))
		x := invert(t, pick(all, "c-tick"), "x")
		lines, bars := pick(all, "c-ci"), pick(all, "c-bar")
		for i, r := range b.Rows {
			span := lines[3*i].points(t)
			near(t, "the low end of "+r.Name, x.value(span[0][0]), r.Low, x.slack())
			near(t, "the high end of "+r.Name, x.value(span[1][0]), r.High, x.slack())
			if !r.Few {
				near(t, "the bar of "+r.Name, x.value(bars[0].num(t, "x")+bars[0].num(t, "width")), r.Share, x.slack())
				bars = bars[1:]
			}
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

func TestSoleReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var f Sole
		for i := range f.Left {
			f.Left[i] = Mean{rapid.Float64Range(0, 4).Draw(rt, "left"), 30}
			f.Right[i] = Mean{rapid.Float64Range(0, 4).Draw(rt, "right"), rapid.IntRange(0, 2).Draw(rt, "n")}
		}
		all := read(t, SVG(&f, say))
		said := pick(all, "c-mean")
		var shade []float64 // by zone that has a mean, in order
		for _, e := range pick(all, "c-zone") {
			g := float64(strings.TrimPrefix(strings.Fields(e.class)[1], "c-g")[0] - '0')
			if part, over := e.attr["fill-opacity"]; over {
				v, err := strconv.ParseFloat(part, 64)
				if err != nil {
					rt.Fatal(err)
				}
				shade[len(shade)-1] += v
				continue
			}
			shade = append(shade, g)
		}
		var means []Mean
		for _, m := range slices.Concat(f.Left[:], f.Right[:]) {
			if m.N > 0 {
				means = append(means, m)
			}
		}
		if len(shade) != len(means) || len(said) != len(means) {
			rt.Fatalf("%d zones are shaded and %d labelled, of %d with a mean", len(shade), len(said), len(means))
		}
		for i, m := range means {
			near(t, "a zone's shade", shade[i], m.Grade, 0.0051)
			v, err := strconv.ParseFloat(said[i].text, 64)
			if err != nil {
				rt.Fatal(err)
			}
			near(t, "a zone's label", v, m.Grade, 0.0501)
		}
		if t.Failed() {
			rt.FailNow()
		}
	})
}

// The drawing of the sole is that of the bench, digit for digit.
func TestSoleIsTheBenchs(t *testing.T) {
	js, err := os.ReadFile(filepath.FromSlash("../../dashboard/static/js/sole.js"))
	if err != nil {
		t.Fatal(err)
	}
	source := string(js)
	if !strings.Contains(source, `"`+soleRim+`"`) {
		t.Error("the outline differs from that of sole.js")
	}
	for _, z := range soleZones {
		if !strings.Contains(source, z.name+":\n    \""+z.path+`"`) {
			t.Errorf("%s differs from that of sole.js", z.name)
		}
		if !strings.Contains(source, fmt.Sprintf("%s: [%.1f, %.1f]", z.name, z.x, z.y)) {
			t.Errorf("the number of %s stands elsewhere than in sole.js", z.name)
		}
	}
}

// samples are one figure of each kind.
var samples = map[string]Figure{
	"control": &Control{
		Finding: "May 2026 is above its limit", Usual: 0.04,
		Points: []ControlPoint{
			{At: "2026-03", Name: "Mar", Year: "2026", Hits: 8, Size: 158, Share: 8. / 158, High: 0.086},
			{At: "2026-04", Name: "Apr", Year: "2026", Hits: 10, Size: 163, Share: 10. / 163, High: 0.085, Mark: "rules 3", Events: "offers in 6 stores"},
			{At: "2026-05", Name: "May", Year: "2026", Hits: 18, Size: 171, Share: 18. / 171, High: 0.084, Out: true, Note: "1"},
			{At: "2026-06", Name: "Jun", Year: "2026", High: 0.2},
		},
	},
	"sum": &Sum{
		Finding: "May 2026 reaches the limit", Limit: 4.5,
		Points: []SumPoint{
			{ControlPoint{At: "2026-02", Name: "Feb", Year: "2026", Hits: 2, Size: 20, Events: "race weekend"}, 1.9, 0.7},
			{ControlPoint{At: "2026-03", Name: "Mar", Year: "2026", Hits: 5, Size: 21}, 2.1, 3.25},
			{ControlPoint{At: "2026-04", Name: "Apr", Year: "2026", Mark: "rules 2"}, 0, 0},
			{ControlPoint{At: "2026-05", Name: "May", Year: "2026", Hits: 9, Size: 30, Out: true, Note: "1", Mark: "rules 3"}, 2.8, 4.75},
		},
	},
	"funnel": &Funnel{
		Finding: "E3 is above the 99.8% limit", All: 0.31, Counted: "pairs read",
		Units:  []FunnelUnit{{Name: "E1", Hits: 90, Size: 300, Share: 0.3}, {Name: "E3", Hits: 132, Size: 301, Share: 132. / 301, Outside: true, Note: "2"}, {Name: "N<1", Hits: 3, Size: 12, Share: 0.25}},
		Limits: []FunnelLimit{{10, 0.05, 0.6, 0, 0.75}, {100, 0.22, 0.4, 0.17, 0.45}, {320, 0.26, 0.36, 0.23, 0.39}},
	},
	"like": &Funnel{
		Finding: "E3 is above the 99.8% limit like for like, N2 only as it is", All: 0.31, Counted: "readings", LikeForLike: true,
		Units: []FunnelUnit{
			{Name: "E3", Hits: 132, Size: 301, Raw: 132. / 301, Expected: 0.29, Share: 0.47, Weight: 310, Outside: true, RawOutside: true, Note: "2"},
			{Name: "N2", Hits: 40, Size: 200, Raw: 0.2, Expected: 0.21, Share: 0.295, Weight: 190, RawOutside: true},
			{Name: "S4", Hits: 80, Size: 120, Raw: 80. / 120, Expected: 0.4, Share: 0.52, Weight: 122, Outside: true},
		},
		Limits: []FunnelLimit{{10, 0.05, 0.6, 0, 0.75}, {100, 0.22, 0.4, 0.17, 0.45}, {320, 0.26, 0.36, 0.23, 0.39}},
	},
	"steps": &Steps{
		Finding: "Half are worn by 525 km", Name: "neutral", Class: "c-neutral", Unit: "km",
		Curve:  []Step{{200, 0.9, 0.97}, {400, 0.7, 0.75}, {525, 0.48, 0.5}, {700, 0.2, 0.2}},
		Band:   []Bound{{200, 0.85, 1}, {400, 0.62, 0.8}, {525, 0.4, 0.6}},
		Watch:  []Watch{{100, 196}, {400, 121}, {600, 49}, {700, 7}, {800, 2}},
		Half:   &Span{525, 525},
		Ghosts: [][]Step{{{300, 0.5, 0.5}}},
		Beside: []Step{{250, 0.9, 0.92}, {450, 0.6, 0.6}, {650, 0.3, 0.35}},
		Smooth: func(x float64) float64 { return math.Exp(-math.Pow(x/600, 2.5)) },
	},
	"matrix": &Matrix{
		Finding: "Pronated stands out", Columns: []string{"neutral", "pronated"}, Reference: 0.2,
		Rows: []MatrixRow{{"Tarn", []Estimate{{Hits: 8, Size: 100, Share: 0.08, Low: 0.04, High: 0.15, Clear: true}, {Hits: 43, Size: 100, Share: 0.43, Low: 0.34, High: 0.53, Clear: true, Note: "4"}}}, {"Skerry", []Estimate{{Hits: 20, Size: 99, Share: 20. / 99, Low: 0.13, High: 0.29}, {Hits: 3, Size: 14, Share: 3. / 14, Low: 0.08, High: 0.48, Few: true}}}},
	},
	"bars": &Bars{Finding: "The outer heel ends most", Rows: []Bar{{"Outer heel", Estimate{Hits: 71, Size: 148, Share: 71. / 148, Low: 0.4, High: 0.56}}, {"Bond", Estimate{Hits: 8, Size: 148, Share: 8. / 148, Low: 0.03, High: 0.1}}, {"Counter", Estimate{Hits: 1, Size: 4, Share: 0.25, Low: 0.05, High: 0.7, Few: true}}}},
	"sole": &Sole{
		Finding: "The outer heel is the most worn",
		Left:    [10]Mean{{1, 30}, {1.55, 30}, {2.64, 30}, {0.3, 30}, {1.25, 30}, {1.2, 30}, {1.5, 30}, {4, 30}, {0.8, 30}, {0, 30}},
		Right:   [10]Mean{{1, 30}, {1.6, 30}, {2.8, 30}, {0.3, 30}, {1.2, 30}, {1.2, 30}, {1.6, 30}, {2.3, 30}, {0.8, 30}, {}},
	},
	"spark": &Spark{Finding: "Rising", Points: []ControlPoint{{At: "2026-01", Name: "Jan", Year: "2026", Hits: 1, Size: 10, Share: 0.1}, {At: "2026-02", Name: "Feb", Year: "2026"}, {At: "2026-03", Name: "Mar", Year: "2026", Hits: 3, Size: 10, Share: 0.3}}},
}

func TestGolden(t *testing.T) {
	for name, f := range samples {
		t.Run(name, func(t *testing.T) {
			svg := SVG(f, say)
			if svg != SVG(f, say) {
				t.Error("the same value gives other bytes")
			}
			read(t, svg)
			var b strings.Builder
			if err := f.Table(say).CSV(&b); err != nil {
				t.Fatal(err)
			}
			for file, got := range map[string]string{name + ".svg": svg + "\n", name + ".csv": b.String()} {
				path := filepath.Join("testdata", file)
				if *update {
					if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
						t.Fatal(err)
					}
				}
				want, err := os.ReadFile(path)
				if err != nil {
					t.Fatal(err)
				}
				if got != string(want) {
					t.Errorf("%s differs; go test -update writes it anew:\n%s", path, got)
				}
			}
		})
	}
}

// What the drawing says and what the table says is the same: its label, a file
// of its own, and unrounded numbers.
func TestFile(t *testing.T) {
	for name, f := range samples {
		t.Run(name+" stands alone", func(t *testing.T) {
			all := read(t, string(File(f, "A title & more", "How to read it", say)))
			if all[0].name != "svg" || all[0].attr["role"] != "img" || all[0].attr["aria-label"] != f.Draw(say).Label {
				t.Errorf("the root is %+v", all[0])
			}
			if title := pick(all, "c-title"); len(title) != 1 || title[0].text != "A title & more" {
				t.Errorf("the title is %+v", title)
			}
			for _, e := range all {
				for _, class := range strings.Fields(e.class) {
					if class != "figure" && !strings.Contains(Style, "."+class) && !plain[class] {
						t.Errorf("class %s has no looks", class)
					}
				}
			}
		})
	}
}

// plain are classes that only name what a text is; they look like any text.
var plain = map[string]bool{"c-text": true, "c-tick": true, "c-count": true, "c-watch": true}

func TestTableIsUnrounded(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := anyControl(rt)
		var b strings.Builder
		if err := c.Table(say).CSV(&b); err != nil {
			rt.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
		if err != nil {
			rt.Fatal(err)
		}
		for i, p := range c.Points {
			if got := rows[i+1][3]; got != strconv.FormatFloat(p.Share, 'g', -1, 64) {
				rt.Errorf("share %q of %v", got, p.Share)
			}
		}
	})
}

// Every key that a figure asks for is listed, so that languages can be held to it.
func TestKeys(t *testing.T) {
	asked := map[string]bool{}
	spy := func(key string, fills ...any) string {
		asked[key] = true
		return say(key, fills...)
	}
	between := &Steps{Curve: []Step{{100, 0.4, 0.5}}, Watch: []Watch{{200, 9}}, Half: &Span{50, 100}}
	for _, f := range append(slices.Collect(maps.Values(samples)), between) {
		SVG(f, spy)
		f.Table(spy)
	}
	for key := range asked {
		if !slices.Contains(Keys, key) {
			t.Errorf("%s is asked for and not listed", key)
		}
	}
	for _, key := range Keys {
		if !asked[key] {
			t.Errorf("%s is listed and never asked for", key)
		}
	}
}

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-f", "{{if not .Standard}}{{.ImportPath}}{{end}}", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	for path := range strings.Lines(string(out)) {
		if path = strings.TrimSpace(path); path != "" && path != "solewright/reports/figure" {
			t.Errorf("figure depends on %s: a figure is drawn of numbers alone", path)
		}
	}
}
