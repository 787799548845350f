package assess

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Example of a UUIDv7: RFC 9562, appendix A.6.
const exampleV7 = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"

func TestUUIDv7Example(t *testing.T) {
	// Appendix A.6: 2022-02-22 14:22:22.00 GMT-05:00, rand_a 0xCC3, rand_b 0x18C4DC0C0C07398F.
	u := NewV7(1645557742000, [10]byte{0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f})
	if u.String() != exampleV7 {
		t.Errorf("made %v, want %s", u, exampleV7)
	}
	parsed, err := ParseUUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
	if err != nil || parsed != u {
		t.Errorf("read %v, %v", parsed, err)
	}
	if at, ok := parsed.Time(); !ok || !at.Equal(time.Date(2022, 2, 22, 19, 22, 22, 0, time.UTC)) || parsed.Version() != 7 {
		t.Errorf("instant %v, version %d", at, parsed.Version())
	}
}

func TestParseUUID(t *testing.T) {
	for _, in := range []string{
		"", "017f22e2", "017f22e279b07cc398c4dc0c0c07398f", "{017f22e2-79b0-7cc3-98c4-dc0c0c07398f}",
		"017f22e2-79b0-7cc3-98c4-dc0c0c07398", "017f22e2-79b0-7cc3-98c4-dc0c0c07398g", "017f22e2-79b0-7cc3-98c4+dc0c0c07398f",
		"017f22e2-79b0-7cc3-98c4-dc0c0c07398f0", "-17f22e2-79b0-7cc3-98c4-dc0c0c07398f",
	} {
		if u, err := ParseUUID(in); err == nil || !u.IsZero() {
			t.Errorf("%q is taken for %v", in, u)
		}
	}
	// Example of a UUIDv4: RFC 9562, appendix A.3.
	if u, err := ParseUUID("919108f7-52d1-4320-9bac-f847db4148a8"); err != nil || u.Version() != 4 {
		t.Errorf("%v, %v", u, err)
	} else if at, ok := u.Time(); ok {
		t.Errorf("a version 4 has the instant %v", at)
	}
}

func TestUUIDText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := UUID(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "bytes"))
		text, err := want.MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		got := UUID{1}
		if err := got.UnmarshalText(text); err != nil || got != want {
			t.Fatalf("%s was read as %v, %v", text, got, err)
		}
	})
	if text, err := (UUID{}).MarshalText(); err != nil || len(text) != 0 {
		t.Errorf("none is written %q, %v", text, err)
	}
	u := UUID{1}
	if err := u.UnmarshalText(nil); err != nil || !u.IsZero() {
		t.Errorf("no text is read as %v, %v", u, err)
	}
	if err := u.UnmarshalText([]byte("x")); err == nil {
		t.Error("x is taken")
	}
}

func TestUUIDv7IsOrderedByTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ms := rapid.Int64Range(0, 1<<48-2).Draw(t, "ms")
		bytes := rapid.SliceOfN(rapid.Byte(), 10, 10)
		a, b := NewV7(ms, [10]byte(bytes.Draw(t, "a"))), NewV7(ms+1, [10]byte(bytes.Draw(t, "b")))
		if a.String() >= b.String() || a[8]>>6 != 2 || a.Version() != 7 {
			t.Fatalf("%v and a millisecond later %v", a, b)
		}
		if at, _ := a.Time(); at.UnixMilli() != ms {
			t.Fatalf("%v has the instant %d, want %d", a, at.UnixMilli(), ms)
		}
	})
}
