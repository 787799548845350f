package assess

import "strconv"

// tiltQuestion is what TiltJSON is asked: the photos of one shoe.
type tiltQuestion struct {
	foot   Foot
	lean   Value
	photos []TiltPhoto
}

var tiltMembers = []member[tiltQuestion]{
	need(wordMember("shoe", []string{Left.String(), Right.String()}, func(q *tiltQuestion) *Foot { return &q.foot })),
	angleMember("lean", func(q *tiltQuestion) *Value { return &q.lean }),
	need(rowsMember("photos", func(q *tiltQuestion) *[]TiltPhoto { return &q.photos }, tiltPhotoMembers)),
}

var tiltPhotoMembers = []member[TiltPhoto]{
	need(pointsMember("table", func(p *TiltPhoto) *[2]Point { return &p.Table })),
	need(pointsMember("counter", func(p *TiltPhoto) *[2]Point { return &p.Counter })),
	{name: "tap", read: func(j *jsonReader, at string, p *TiltPhoto) { j.float(at, &p.TapError) }},
	angleMember("yaw", func(p *TiltPhoto) *Value { return &p.Yaw }),
	angleMember("yaw_u", func(p *TiltPhoto) *Value { return &p.YawU }),
}

// angleMember makes a member of an angle in degrees that is only read.
func angleMember[T any](name string, at func(*T) *Value) member[T] {
	f := Measured(name, "°", Columns[Tilt].Min, Columns[Tilt].Max, Columns[Tilt].Decimals, at)
	return scalarMember(name, f.Shape, f.Parse, nil)
}

// pointsMember makes a member of two points, [[x, y], [x, y]], that is only read.
func pointsMember[T any](name string, at func(*T) *[2]Point) member[T] {
	const want = "two points, [[x, y], [x, y]]"
	return member[T]{name: name, read: func(j *jsonReader, where string, v *T) {
		var xy []float64
		points, sound := 0, true
		if j.peek() != '[' {
			j.mistyped(where, want)
			return
		}
		j.array(func() {
			points++
			if sound = sound && j.peek() == '['; !sound {
				j.skip(0)
				return
			}
			j.array(func() {
				var x float64
				j.float(where, &x)
				xy = append(xy, x)
			})
			sound = len(xy) == 2*points
		})
		if j.failed {
			return
		}
		if !sound || points != 2 {
			j.errs.Add(FieldError{Field: where, Want: want, Err: ErrOutOfRange})
			return
		}
		*at(v) = [2]Point{{xy[0], xy[1]}, {xy[2], xy[3]}}
	}}
}

// float reads a number into x; at is its pointer.
func (j *jsonReader) float(at string, x *float64) {
	text, want := j.scalar(Number)
	if j.failed {
		return
	}
	var err error
	if want == "" {
		*x, err = strconv.ParseFloat(text, 64)
	}
	if want != "" || err != nil {
		j.errs.Add(FieldError{Field: at, Value: text, Want: "a number", Err: ErrOutOfRange})
	}
}

// TiltJSON takes the tilt of one shoe from its photos. It answers
//
//	{"shoe": "left", "lean": degrees or null, "photos": [{"table": [[x, y],
//	[x, y]], "counter": [[x, y], [x, y]], "tap": px, "yaw": degrees, "yaw_u":
//	degrees}]}
//
// of which tap, yaw, yaw_u and lean may be left out, with the columns of the
// reading and the photos one by one,
//
//	{"tilt", "tilt_u", "tilt_n", "spread", "photos": [{"tilt", "tilt_u"}]}
//
// or with {"errors": […]}, the problems of AppendProblems.
func TiltJSON(text []byte) []byte {
	q, err := decodeMembers(text, tiltMembers)
	errs, _ := err.(FieldErrors)
	var each []TiltReading
	if q != nil {
		for i, p := range q.photos {
			p.Foot, p.Lean = q.foot, q.lean
			r, err := p.Measure()
			bad, _ := err.(FieldErrors)
			for _, e := range bad {
				e.Field = "/photos/" + strconv.Itoa(i) + e.Field
				errs.Add(e)
			}
			each = append(each, r)
		}
	}
	if len(errs) > 0 {
		return append(AppendProblems([]byte(`{"errors":`), errs), '}')
	}
	mean := MeanTilt(each)
	dst := mean.appendTo([]byte{'{'})
	dst = strconv.AppendInt(appendName(dst, "tilt_n"), int64(mean.N), 10)
	dst = appendHundredths(appendName(dst, "spread"), mean.Spread)
	dst = append(appendName(dst, "photos"), '[')
	for i, r := range each {
		dst = append(r.appendTo(append(appendComma(dst, i), '{')), '}')
	}
	return append(dst, ']', '}')
}

// appendTo appends the tilt and its uncertainty as two members.
func (r *TiltReading) appendTo(dst []byte) []byte {
	dst = appendHundredths(appendName(dst, "tilt"), r.Tilt)
	return appendHundredths(appendName(dst, "tilt_u"), r.U)
}

// appendHundredths appends hundredths as a number, null where unread.
func appendHundredths(dst []byte, v Value) []byte {
	if !v.OK() {
		return append(dst, "null"...)
	}
	return appendDecimal(dst, v.Int(), Columns[Tilt].Decimals)
}
