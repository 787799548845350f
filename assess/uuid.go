package assess

import (
	"crypto/sha256"
	"errors"
	"time"
)

// UUID is a universally unique identifier (RFC 9562). The zero UUID means none.
type UUID [16]byte

var errUUID = errors.New("not a UUID such as 017f22e2-79b0-7cc3-98c4-dc0c0c07398f")

const hexDigits = "0123456789abcdef"

// ParseUUID reads the 8-4-4-4-12 form of RFC 9562, section 4, in either case.
func ParseUUID(s string) (UUID, error) {
	var u UUID
	if len(s) != 36 || s[8] != '-' || s[13] != '-' || s[18] != '-' || s[23] != '-' {
		return u, errUUID
	}
	at := 0
	for i := range u {
		if at == 8 || at == 13 || at == 18 || at == 23 {
			at++
		}
		hi, lo := unhex(s[at]), unhex(s[at+1])
		if hi > 15 || lo > 15 {
			return UUID{}, errUUID
		}
		u[i] = hi<<4 | lo
		at += 2
	}
	return u, nil
}

// unhex returns the worth of a hexadecimal digit, and more than 15 for any other byte.
func unhex(c byte) byte {
	switch {
	case c >= '0' && c <= '9':
		return c - '0'
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10
	}
	return 0xff
}

// AppendTo appends the lower-case 8-4-4-4-12 form to dst.
func (u UUID) AppendTo(dst []byte) []byte {
	for i, b := range u {
		if i == 4 || i == 6 || i == 8 || i == 10 {
			dst = append(dst, '-')
		}
		dst = append(dst, hexDigits[b>>4], hexDigits[b&15])
	}
	return dst
}

// String returns the lower-case 8-4-4-4-12 form, and nothing for the zero UUID.
func (u UUID) String() string {
	if u.IsZero() {
		return ""
	}
	return string(u.AppendTo(nil))
}

// IsZero reports whether u is none.
func (u UUID) IsZero() bool { return u == UUID{} }

// MarshalText returns the form of String.
func (u UUID) MarshalText() ([]byte, error) { return []byte(u.String()), nil }

// UnmarshalText reads the form of ParseUUID; empty text is the zero UUID.
func (u *UUID) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*u = UUID{}
		return nil
	}
	v, err := ParseUUID(string(text))
	if err != nil {
		return err
	}
	*u = v
	return nil
}

// NewV7 makes a UUIDv7 (RFC 9562, section 5.7) of a Unix time in milliseconds,
// of which the low 48 bits are used, and ten random bytes.
func NewV7(ms int64, random [10]byte) UUID {
	var u UUID
	u.setMillis(ms)
	copy(u[6:], random[:])
	return u.stamped(7)
}

// Version returns the version field: 7 for a UUIDv7.
func (u UUID) Version() int { return int(u[6] >> 4) }

// Time returns the instant in a UUIDv7, or in a UUIDv8 of ImportID, to the
// millisecond. For any other version ok is false.
func (u UUID) Time() (t time.Time, ok bool) {
	if v := u.Version(); v != 7 && v != 8 {
		return time.Time{}, false
	}
	var ms int64
	for _, b := range u[:6] {
		ms = ms<<8 | int64(b)
	}
	return time.UnixMilli(ms).UTC(), true
}

// ImportID makes the UUIDv8 (RFC 9562, section 5.8) of a reading that came
// without an id: 48 bits of milliseconds of at, then the first bits of the
// SHA-256 of store, pair reference, at (RFC 3339, UTC), kind and staff, each
// followed by a line feed. The same row always gets the same id.
func ImportID(store, pairRef string, at time.Time, kind, staff string) UUID {
	var in []byte
	in = append(append(in, store...), '\n')
	in = append(append(in, pairRef...), '\n')
	in = append(appendInstant(in, at), '\n')
	in = append(append(in, kind...), '\n')
	in = append(append(in, staff...), '\n')
	sum := sha256.Sum256(in)
	var u UUID
	u.setMillis(at.UnixMilli())
	copy(u[6:], sum[:])
	return u.stamped(8)
}

// setMillis writes the 48 time bits.
func (u *UUID) setMillis(ms int64) {
	for i := range 6 {
		u[i] = byte(ms >> (40 - 8*i))
	}
}

// stamped returns u with the version and the variant of RFC 9562 set.
func (u UUID) stamped(version byte) UUID {
	u[6] = version<<4 | u[6]&0x0f
	u[8] = 0x80 | u[8]&0x3f
	return u
}
