package assess

import (
	"bytes"
	"encoding/binary"
	"reflect"
	"testing"
)

// values reads values out of bytes: places on scales, numbers, can't read, and
// any bits at all; unread once the bytes end.
type values []byte

func (v *values) next() Value {
	var b [5]byte
	n := copy(b[:], *v)
	switch {
	case n == 0:
		return Unread
	case b[0] < 0x50:
		*v = (*v)[1:]
		return Of(int(b[0]&7) - 2)
	case b[0] < 0x60:
		*v = (*v)[1:]
		return Value(b[0]&3) << 1
	case b[0] < 0xc0:
		*v = (*v)[min(n, 3):]
		return Of(int(int16(binary.LittleEndian.Uint16(b[1:]))))
	}
	*v = (*v)[n:]
	return Value(binary.LittleEndian.Uint32(b[1:]))
}

// FuzzJudge judges readings of any values at all, on and off their scales, of
// any model: nothing panics, and the answer is one there is and always the
// same.
func FuzzJudge(f *testing.F) {
	f.Add([]byte{})
	f.Add(bytes.Repeat([]byte{2}, 2*int(NumCols)))           // sound throughout
	f.Add(bytes.Repeat([]byte{6}, 2*int(NumCols)))           // worst throughout
	f.Add(bytes.Repeat([]byte{0x51, 5, 4, 3}, int(NumCols))) // can't read, worn
	f.Add(bytes.Repeat([]byte{0x60, 0x90, 0x01}, 2*int(NumCols)))
	f.Add(bytes.Repeat([]byte{0xff, 0xff, 0xff, 0xff, 0x7f}, 2*int(NumCols)))
	f.Fuzz(func(t *testing.T, data []byte) {
		v := values(data)
		var r Reading
		for foot := Left; foot <= Right; foot++ {
			for c := range NumShoe {
				r.Shoe[foot][c] = v.next()
			}
		}
		for c := NumShoe; c < NumCols; c++ {
			r.SetPair(c, v.next())
		}
		r.KM, r.AgeDays, r.Surface, r.SecondOn = v.next(), v.next(), v.next(), ColSet(v.next())
		m := &AsNew{Built: ColSet(v.next()), NoRigidCounter: v.next().OK(), Trail: v.next().OK()}
		for p := range m.Depth {
			m.Depth[p] = v.next()
		}
		m.Tilt, m.Flex, m.Torsion, m.Asker, m.Shore = v.next(), v.next(), v.next(), v.next(), v.next()
		if v.next().OK() {
			m = nil
		}

		out, again := judge(&r, m), judge(&r, m)
		if !reflect.DeepEqual(out, again) {
			t.Fatalf("%+v, then %+v", out, again)
		}
		if out.Verdict < Keep || out.Verdict > Incomplete || out.Route == NoRoute {
			t.Fatalf("%+v", out)
		}
		if out.Verdict == Incomplete && len(out.Unread) == 0 {
			t.Fatal("not finished, and nothing left to read")
		}
		for i := range out.Findings {
			x := &out.Findings[i]
			if x.Code == "" || x.Check.String() == "" || Sentence(x.Code, "en", x) == "" {
				t.Fatalf("%+v", x)
			}
		}
		if n := Default().Margin(&r, m); n < 1 || n > MarginMax {
			t.Fatalf("margin %d", n)
		}
		Contradict(&r, m)
		Default().NextCheck(out.Verdict, out.How, "", "", r.KM, nil)
		(&CreditTable{Rows: []CreditRow{{Grade: GradeA}}}).Credit(out.Grade, "", r.AgeDays)
	})
}
