package assess

import (
	"math"
	"strconv"
)

// What taking a tilt from a photo goes by. House values where no source stands.
const (
	// minLine is the shortest line that is measured, in pixels.
	minLine = 40
	// DefaultTapError is the standard deviation of one tap, in pixels.
	DefaultTapError = 2
	// typicalLean is the forward lean that a model's counter is taken to have
	// while it is unknown, in degrees, for the uncertainty only.
	typicalLean = 10
	// looseYaw is how far off square a photo is taken to be while its yaw is not
	// estimated, in degrees, one standard deviation.
	looseYaw = 5
	// maxYaw is the widest yaw that is corrected, in degrees.
	maxYaw = 45
)

const (
	degree     = math.Pi / 180
	hundredths = 100 // of a degree
)

// methodU is the standard uncertainty of each method by itself, in hundredths of
// a degree, by place on the scale of tilt_by. House values; one reader repeats
// to about 2° by eye (Haight et al. 2005, on heels).
var methodU = [...]int{ByPhoto: 100, ByLevel: 50, ByEye: 200}

// MethodU returns the standard uncertainty of a tilt taken by a method (ByPhoto,
// ByLevel or ByEye) with nothing more known, in hundredths of a degree.
func MethodU(by int) Value { return Of(methodU[by]) }

// Point is a place in a photo, in pixels, x to the right and y down.
type Point struct{ X, Y float64 }

// TiltPhoto is a photo of one shoe from behind with the four points marked on
// it.
type TiltPhoto struct {
	Foot Foot
	// Table holds two points of the table's edge.
	Table [2]Point
	// Counter holds the counter's midpoint at the collar and its midpoint where
	// it meets the midsole.
	Counter [2]Point
	// TapError is the standard deviation of a tap in pixels; 0 stands for
	// DefaultTapError.
	TapError float64
	// Lean is the model's forward lean, hundredths of a degree.
	Lean Value
	// Yaw is how far off square the photo was taken, in hundredths of a degree,
	// positive with the camera toward the inner side of the shoe; unread where
	// nobody estimated it. YawU is its standard uncertainty.
	Yaw, YawU Value
}

// TiltReading is a tilt as it is stored, in hundredths of a degree: positive in,
// negative out, with its standard uncertainty, how many photos it is the mean
// of, and their standard deviation, unread for a single photo.
type TiltReading struct {
	Tilt, U, Spread Value
	N               int
}

// Measure takes the tilt from the photo: the angle between the counter's centre
// line and the perpendicular to the table line. Seen from behind, in is to the
// right on a left shoe and to the left on a right shoe; neither turning the
// photo nor mirroring it together with the shoe changes anything, and neither
// does the order of the points of a line.
//
//	u² = 2 s²/b² + 2 s²/c² + method² + yaw²
//
// in radians, with the tap error s, the table line b and the counter line c. An
// estimated yaw of a model whose forward lean is known is corrected by
//
//	tan(apparent) = tan(tilt) cos(yaw) + tan(lean) sin(yaw)
//
// and its uncertainty carried; otherwise the false tilt of lean × yaw counts as
// uncertainty, with a typical lean of 10° and a yaw of at least 5°.
//
// The error is a FieldErrors on /table, /counter, /tap or /yaw: a line under 40
// pixels, a counter line more than 45° off, or numbers that are none.
func (p *TiltPhoto) Measure() (TiltReading, error) {
	var bad FieldErrors
	table, counter := p.Table[1].minus(p.Table[0]), p.Counter[0].minus(p.Counter[1])
	b, c := table.length(), counter.length()
	// Negated, so that what is no number is refused too.
	if !(b >= minLine) || math.IsInf(b, 0) {
		bad.Add(lineTooShort("/table", b))
	}
	if !(c >= minLine) || math.IsInf(c, 0) {
		bad.Add(lineTooShort("/counter", c))
	}
	tap := p.TapError
	if tap == 0 {
		tap = DefaultTapError
	}
	if !(tap > 0) || math.IsInf(tap, 0) {
		bad.Add(FieldError{Field: "/tap", Value: strconv.FormatFloat(tap, 'g', 4, 64), Want: "a tap error above 0 pixels", Err: ErrOutOfRange})
	}
	yaw := degrees(p.Yaw)
	if math.Abs(yaw) > maxYaw*degree {
		bad.Add(FieldError{Field: "/yaw", Value: strconv.Itoa(p.Yaw.Int()/hundredths) + "°", Want: "a photo at most 45° off square", Err: ErrOutOfRange})
	}
	if len(bad) > 0 {
		return TiltReading{}, bad
	}

	along, across := table.dot(counter), -table.cross(counter)
	apparent := math.Atan(along / across) // across 0 is 90°, refused below
	if p.Foot == Right {
		apparent = -apparent
	}
	tilt := apparent
	var yawU float64
	switch {
	case p.Yaw.OK() && p.Lean.OK():
		lean, a := math.Tan(degrees(p.Lean)), math.Tan(apparent)
		sin, cos := math.Sincos(yaw)
		tilt = math.Atan((a - lean*sin) / cos)
		// The derivative of the tilt by the yaw.
		slope := (a*sin - lean) / (cos * cos) * square(math.Cos(tilt))
		yawU = slope * degrees(p.YawU)
	default:
		lean := typicalLean * degree
		if p.Lean.OK() {
			lean = degrees(p.Lean)
		}
		yawU = lean * max(looseYaw*degree, math.Abs(yaw))
	}
	if limit := float64(Columns[Tilt].Max) / hundredths * degree; !(math.Abs(apparent) <= limit) || !(math.Abs(tilt) <= limit) {
		return TiltReading{}, FieldErrors{{
			Field: "/counter", Value: strconv.FormatFloat(apparent/degree, 'f', 1, 64) + "°",
			Want: "a counter line at most 45° off the perpendicular", Err: ErrOutOfRange,
		}}
	}
	method := float64(methodU[ByPhoto]) / hundredths * degree
	u := math.Sqrt(square(markingU(tap, b)) + square(markingU(tap, c)) + square(method) + square(yawU))
	// An uncertainty of 45° and more says that nothing is known.
	return TiltReading{Tilt: toHundredths(tilt), U: Of(min(toHundredths(u).Int(), Columns[TiltU].Max)), N: 1}, nil
}

// MeanTilt averages the photos of one shoe. The uncertainty of the mean is that
// of independent photos, √Σu²/n, or the standard error of their spread where
// that is larger: photos that scatter more than they should say so.
func MeanTilt(photos []TiltReading) TiltReading {
	if len(photos) < 2 {
		if len(photos) == 1 {
			return photos[0]
		}
		return TiltReading{}
	}
	var sum, sumU2 float64
	for _, p := range photos {
		sum += degrees(p.Tilt)
		sumU2 += square(degrees(p.U))
	}
	n := float64(len(photos))
	mean, dev2 := sum/n, 0.0
	for _, p := range photos {
		dev2 += square(degrees(p.Tilt) - mean)
	}
	spread := math.Sqrt(dev2 / (n - 1))
	u := math.Sqrt(max(sumU2/(n*n), spread*spread/n))
	return TiltReading{Tilt: toHundredths(mean), U: toHundredths(u), Spread: toHundredths(spread), N: len(photos)}
}

// markingU returns the standard uncertainty, in radians, of the direction of a
// line whose two ends are each marked with a standard deviation: √2 s / length.
func markingU(s, length float64) float64 { return math.Sqrt2 * s / length }

// degrees returns hundredths of a degree in radians, 0 for an unread value.
func degrees(v Value) float64 { return float64(v.Int()) / hundredths * degree }

// toHundredths rounds radians to hundredths of a degree, halves away from zero.
func toHundredths(rad float64) Value { return Of(int(math.Round(rad / degree * hundredths))) }

func square(x float64) float64 { return x * x }

func (p Point) minus(q Point) Point   { return Point{p.X - q.X, p.Y - q.Y} }
func (p Point) dot(q Point) float64   { return p.X*q.X + p.Y*q.Y }
func (p Point) cross(q Point) float64 { return p.X*q.Y - p.Y*q.X }
func (p Point) length() float64       { return math.Hypot(p.X, p.Y) }

func lineTooShort(field string, length float64) FieldError {
	return FieldError{
		Field: field, Value: strconv.FormatFloat(length, 'f', 1, 64) + " px",
		Want: "a line of at least " + strconv.Itoa(minLine) + " pixels", Err: ErrOutOfRange,
	}
}
