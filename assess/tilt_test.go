package assess

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// sheet reads a table of numbers from testdata: comment lines, a header, rows.
func sheet(t *testing.T, name string) (rows []map[string]string) {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, name := range lines[0] {
			row[name] = line[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// number reads a cell.
func number(t *testing.T, row map[string]string, column string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatalf("%s of %v: %v", column, row, err)
	}
	return x
}

// photoOf draws a shoe whose counter appears to lean by deg, positive in.
func photoOf(f Foot, deg float64) TiltPhoto {
	sin, cos := math.Sincos(deg * degree)
	if f == Right {
		sin = -sin
	}
	return TiltPhoto{
		Foot:    f,
		Table:   [2]Point{{100, 900}, {1100, 900}},
		Counter: [2]Point{{600 + 300*sin, 800 - 300*cos}, {600, 800}},
	}
}

// A left shoe seen from behind has its inner side to the right, a right shoe to
// the left: plain sight.
func TestTiltSign(t *testing.T) {
	toTheRight := [2]Point{{650, 500}, {600, 800}}
	for f, want := range map[Foot]int{Left: 946, Right: -946} { // atan(50/300) = 9.4623°
		p := TiltPhoto{Foot: f, Table: [2]Point{{0, 900}, {1000, 900}}, Counter: toTheRight}
		if r, err := p.Measure(); err != nil || !r.Tilt.Is(want) {
			t.Errorf("%v shoe with the collar to the right: %v, %v; want %d", f, r.Tilt.Int(), err, want)
		}
	}
}

// TestTiltUndoesYaw holds the correction against the table of false tilts.
func TestTiltUndoesYaw(t *testing.T) {
	for _, row := range sheet(t, "photo_angle_error.csv") {
		tilt, yaw, lean := number(t, row, "true_tilt_deg"), number(t, row, "camera_yaw_deg"), number(t, row, "sagittal_lean_deg")
		seen := number(t, row, "apparent_deg(geometry)")
		t.Run("tilt "+row["true_tilt_deg"]+" yaw "+row["camera_yaw_deg"]+" lean "+row["sagittal_lean_deg"], func(t *testing.T) {
			for _, f := range [...]Foot{Left, Right} {
				p := photoOf(f, seen)
				p.Lean, p.Yaw, p.YawU = Of(int(lean*100)), Of(int(yaw*100)), Of(0)
				r, err := p.Measure()
				// The table's apparent angle is rounded to 0.005°.
				if got := float64(r.Tilt.Int()) / 100; err != nil || math.Abs(got-tilt) > 0.0151 {
					t.Errorf("%v shoe: %v° corrected to %v°, %v; want %v°", f, seen, got, err, tilt)
				}
			}
			// Published bench regression: real = 0.045 + 1.014 apparent − 0.018 lean × yaw,
			// Espinosa-Moyano et al. 2021; the two agree within 0.2°.
			if real := 0.045 + 1.014*seen - 0.018*lean*yaw; math.Abs(real-tilt) > 0.2 {
				t.Errorf("the published regression gives %v°, want %v° within 0.2°", real, tilt)
			}
		})
	}
}

// Check values of the geometry: tilt 4°, yaw and lean to apparent tilt.
func TestTiltFalseBySquint(t *testing.T) {
	for _, tt := range []struct {
		yaw, lean int
		seen      float64
		source    string
	}{
		{5, 10, 4.86, "derived check value"},
		{10, 10, 5.68, "derived check value"},
		{10, 15, 6.58, "derived check value"},
		{15, 15, 7.80, "derived check value"},
	} {
		p := photoOf(Left, tt.seen)
		p.Lean, p.Yaw, p.YawU = Of(tt.lean*100), Of(tt.yaw*100), Of(0)
		if r, err := p.Measure(); err != nil || math.Abs(float64(r.Tilt.Int()-400)) > 1 {
			t.Errorf("yaw %d° lean %d°: %v°/100, %v; want 4° (%s)", tt.yaw, tt.lean, r.Tilt.Int(), err, tt.source)
		}
	}
}

func TestMarkingNoise(t *testing.T) {
	for _, row := range sheet(t, "photo_marking_noise.csv") {
		// The table holds the angle, of which the formula is the tangent.
		got := math.Atan(markingU(number(t, row, "endpoint_sd_mm"), number(t, row, "line_length_mm"))) / degree
		if want := number(t, row, "angle_sd_deg"); math.Abs(got-want) > 0.0051 {
			t.Errorf("%v: %v°, want %v°", row, got, want)
		}
	}
}

func TestTiltUncertainty(t *testing.T) {
	with := func(change func(*TiltPhoto)) TiltPhoto {
		p := photoOf(Left, 3)
		change(&p)
		return p
	}
	// All with a table line of 1000 and a counter line of 300 pixels.
	for _, tt := range []struct {
		name   string
		photo  TiltPhoto
		want   float64 // degrees
		source string
	}{
		// marking 2·2²(1/1000² + 1/300²) = 9.6889e-5 rad², 0.56398°
		{"method, marking and a typical lean 5° off square", photoOf(Left, 3), math.Sqrt(1 + 0.56398*0.56398 + square(10*5*degree)), "by hand"},
		{"a known lean of 0 leaves method and marking", with(func(p *TiltPhoto) { p.Lean = Of(0) }), math.Sqrt(1 + 0.56398*0.56398), "by hand"},
		{"0.0175 × lean × 5°", with(func(p *TiltPhoto) { p.Lean = Of(1500) }), math.Sqrt(1 + 0.56398*0.56398 + square(0.0174533*15*5)), "by hand"},
		{"a yaw that can't be corrected counts in full", with(func(p *TiltPhoto) { p.Yaw, p.YawU = Of(-1200), Of(100) }), math.Sqrt(1 + 0.56398*0.56398 + square(10*12*degree)), "by hand"},
		{"a yaw known exactly adds nothing", with(func(p *TiltPhoto) { p.Lean, p.Yaw, p.YawU = Of(1500), Of(0), Of(0) }), math.Sqrt(1 + 0.56398*0.56398), "by hand"},
		{"a yaw known to 2° adds tan(lean) × 2°", with(func(p *TiltPhoto) { p.Lean, p.Yaw, p.YawU = Of(1500), Of(0), Of(200) }), math.Sqrt(1 + 0.56398*0.56398 + square(0.267949*2*0.99726)), "by hand: cos²(3°) = 0.99726"},
		{"half the tap error", with(func(p *TiltPhoto) { p.Lean, p.TapError = Of(0), 1 }), math.Sqrt(1 + 0.28199*0.28199), "by hand"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := tt.photo.Measure()
			if got := float64(r.U.Int()) / 100; err != nil || math.Abs(got-tt.want) > 0.0051 {
				t.Errorf("u %v°, %v; want %v° (%s)", got, err, tt.want, tt.source)
			}
		})
	}
}

// Photo 1.0°, level 0.5°, eye 2.0°: house values; by eye after Haight et al. 2005.
func TestMethodUncertainty(t *testing.T) {
	for by, want := range map[int]int{ByPhoto: 100, ByLevel: 50, ByEye: 200} {
		if got := MethodU(by); !got.Is(want) {
			t.Errorf("%s: %d, want %d hundredths", Columns[TiltBy].Words[by], got.Int(), want)
		}
	}
}

// A second route to the formula: taps that scatter make tilts that scatter so.
func TestTiltUncertaintyBySimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n, tap = 20_000, 3.0
	var sum, sum2 float64
	for range n {
		p := photoOf(Left, 5)
		for _, q := range []*Point{&p.Table[0], &p.Table[1], &p.Counter[0], &p.Counter[1]} {
			q.X += tap * rng.NormFloat64()
			q.Y += tap * rng.NormFloat64()
		}
		r, err := p.Measure()
		if err != nil {
			t.Fatal(err)
		}
		x := float64(r.Tilt.Int()) / 100
		sum, sum2 = sum+x, sum2+x*x
	}
	got := math.Sqrt(sum2/n - square(sum/n))
	want := math.Hypot(markingU(tap, 1000), markingU(tap, 300)) / degree
	// The standard error of a standard deviation is sd/√(2n), 0.5 % here; 4 of them.
	if math.Abs(got-want) > 0.02*want || math.Abs(sum/n-5) > 4*want/math.Sqrt(n) {
		t.Errorf("taps scatter the tilt by %v° about %v°, the formula says %v° about 5°", got, sum/n, want)
	}
}

// anyPhoto draws a photo that can be measured.
func anyPhoto() *rapid.Generator[TiltPhoto] {
	return rapid.Custom(func(t *rapid.T) TiltPhoto {
		p := photoOf(Foot(rapid.IntRange(0, 1).Draw(t, "foot")), rapid.Float64Range(-40, 40).Draw(t, "tilt"))
		if rapid.Bool().Draw(t, "lean is known") {
			p.Lean = Of(rapid.IntRange(-500, 1500).Draw(t, "lean"))
		}
		if rapid.Bool().Draw(t, "yaw is estimated") {
			p.Yaw, p.YawU = Of(rapid.IntRange(-1000, 1000).Draw(t, "yaw")), Of(rapid.IntRange(0, 500).Draw(t, "yaw u"))
		}
		return p
	})
}

// each returns p with every point moved.
func (p TiltPhoto) each(move func(Point) Point) TiltPhoto {
	for i := range p.Table {
		p.Table[i], p.Counter[i] = move(p.Table[i]), move(p.Counter[i])
	}
	return p
}

// same reports whether two photos measure alike, to the last hundredth.
func same(t *rapid.T, what string, a, b TiltPhoto) {
	ra, errA := a.Measure()
	rb, errB := b.Measure()
	if (errA == nil) != (errB == nil) {
		t.Fatalf("%s: %v and %v", what, errA, errB)
	}
	if abs(int32(ra.Tilt.Int()-rb.Tilt.Int())) > 1 || abs(int32(ra.U.Int()-rb.U.Int())) > 1 {
		t.Fatalf("%s: %+v and %+v", what, ra, rb)
	}
}

func TestTiltLaws(t *testing.T) {
	t.Run("turning, moving and scaling the photo changes nothing", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			p := anyPhoto().Draw(t, "photo")
			sin, cos := math.Sincos(rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn"))
			dx, dy := rapid.Float64Range(-5000, 5000).Draw(t, "dx"), rapid.Float64Range(-5000, 5000).Draw(t, "dy")
			k := rapid.Float64Range(0.5, 4).Draw(t, "scale")
			moved := p.each(func(q Point) Point {
				return Point{k*(cos*q.X-sin*q.Y) + dx, k*(sin*q.X+cos*q.Y) + dy}
			})
			moved.TapError = k * DefaultTapError
			same(t, "turned", p, moved)
		})
	})
	t.Run("mirroring the photo and swapping the shoe changes nothing", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			p := anyPhoto().Draw(t, "photo")
			mirrored := p.each(func(q Point) Point { return Point{1200 - q.X, q.Y} })
			mirrored.Foot = 1 - p.Foot
			same(t, "mirrored", p, mirrored)
		})
	})
	t.Run("mirroring the photo alone turns the sign", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			p := photoOf(Left, rapid.Float64Range(-40, 40).Draw(t, "tilt"))
			// About x = 0, where mirroring rounds nothing: a tilt that lies between
			// two hundredths, as 17.625° does, rounds alike on both sides.
			mirrored := p.each(func(q Point) Point { return Point{-q.X, q.Y} })
			a, errA := p.Measure()
			b, errB := mirrored.Measure()
			if errA != nil || errB != nil || a.Tilt.Int() != -b.Tilt.Int() {
				t.Fatalf("%v and %v, %v, %v", a, b, errA, errB)
			}
		})
	})
	t.Run("the order of a line's points changes nothing", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			p := anyPhoto().Draw(t, "photo")
			q := p
			q.Table[0], q.Table[1] = p.Table[1], p.Table[0]
			q.Counter[0], q.Counter[1] = p.Counter[1], p.Counter[0]
			same(t, "reversed", p, q)
		})
	})
	t.Run("the tilt drawn is the tilt measured", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			f, deg := Foot(rapid.IntRange(0, 1).Draw(t, "foot")), rapid.Float64Range(-45, 45).Draw(t, "tilt")
			p := photoOf(f, deg)
			if r, err := p.Measure(); err == nil && math.Abs(float64(r.Tilt.Int())-100*deg) > 0.501 || err != nil && math.Abs(deg) < 44.99 {
				t.Fatalf("%v, %v; want %v°", r, err, deg)
			}
		})
	})
}

func TestTiltRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range []struct {
		name, field, want string
		change            func(*TiltPhoto)
	}{
		{"a table line under 40 pixels", "/table", "at least 40 pixels", func(p *TiltPhoto) { p.Table[1] = Point{139, 900} }},
		{"a counter line under 40 pixels", "/counter", "at least 40 pixels", func(p *TiltPhoto) { p.Counter[0] = Point{600, 761} }},
		{"the same point twice", "/counter", "at least 40 pixels", func(p *TiltPhoto) { p.Counter[0] = p.Counter[1] }},
		{"a counter more than 45° off", "/counter", "at most 45°", func(p *TiltPhoto) { p.Counter[0] = Point{301, 502} }},
		{"a counter along the table", "/counter", "at most 45°", func(p *TiltPhoto) { p.Counter[0] = Point{900, 800} }},
		{"a point that is no number", "/table", "at least 40 pixels", func(p *TiltPhoto) { p.Table[0].X = nan }},
		{"a point without end", "/counter", "at least 40 pixels", func(p *TiltPhoto) { p.Counter[0].Y = inf }},
		{"a tap error below 0", "/tap", "above 0", func(p *TiltPhoto) { p.TapError = -1 }},
		{"a photo from the side", "/yaw", "at most 45° off square", func(p *TiltPhoto) { p.Yaw = Of(6000) }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := photoOf(Left, 3)
			tt.change(&p)
			r, err := p.Measure()
			errs, ok := err.(FieldErrors)
			if !ok || len(errs) != 1 || errs[0].Field != tt.field || !strings.Contains(errs[0].Want, tt.want) || r != (TiltReading{}) {
				t.Errorf("%v, %v; want one about %s", r, err, tt.field)
			}
		})
	}
	t.Run("but 40 pixels and 45° are taken", func(t *testing.T) {
		p := TiltPhoto{Table: [2]Point{{0, 0}, {40, 0}}, Counter: [2]Point{{100, 0}, {0, 100}}}
		if r, err := p.Measure(); err != nil || !r.Tilt.Is(4500) {
			t.Errorf("%v, %v", r, err)
		}
	})
}

func TestMeanTilt(t *testing.T) {
	shot := func(tilt, u int) TiltReading { return TiltReading{Tilt: Of(tilt), U: Of(u), N: 1} }
	for _, tt := range []struct {
		name   string
		photos []TiltReading
		want   TiltReading
		source string
	}{
		{"none", nil, TiltReading{}, "absent is never zero"},
		{"one stays as it is", []TiltReading{shot(210, 130)}, shot(210, 130), "by hand"},
		{"three that agree", []TiltReading{shot(200, 120), shot(220, 120), shot(240, 120)}, TiltReading{Of(220), Of(69), Of(20), 3}, "mean 2.2, sd 0.2, 1.2/√3 = 0.693"},
		{"three that don't", []TiltReading{shot(-100, 120), shot(200, 120), shot(500, 120)}, TiltReading{Of(200), Of(173), Of(300), 3}, "sd 3, 3/√3 = 1.732 > 0.693"},
		{"two of unlike uncertainty", []TiltReading{shot(100, 300), shot(100, 400)}, TiltReading{Of(100), Of(250), Of(0), 2}, "√(9+16)/2"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := MeanTilt(tt.photos); got != tt.want {
				t.Errorf("%+v, want %+v (%s)", got, tt.want, tt.source)
			}
		})
	}
}
