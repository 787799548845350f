package assess

import "errors"

// A pair reference is eight characters of Crockford's base 32, 40 random bits,
// and a check character: the number modulo 37, written in the same alphabet
// with five more symbols. Source: D. Crockford, Base 32,
// https://www.crockford.com/base32.html.
const (
	crockford      = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	crockfordCheck = crockford + "*~$=U"
	pairRefLen     = 8
)

var errPairRef = errors.New("not a pair reference of 8 characters and a check character")

// NewPairRef returns the pair reference of 40 random bits.
func NewPairRef(random [5]byte) string {
	var n uint64
	for _, b := range random {
		n = n<<8 | uint64(b)
	}
	var ref [pairRefLen + 1]byte
	for i := range pairRefLen {
		ref[i] = crockford[n>>(5*(pairRefLen-1-i))&31]
	}
	ref[pairRefLen] = crockfordCheck[n%37]
	return string(ref[:])
}

// ParsePairRef reads a pair reference as people type it: either case, hyphens
// and spaces anywhere, O for 0, I and L for 1. It returns the written form of
// nine characters, or an error where a character or the check is wrong.
func ParsePairRef(s string) (string, error) {
	var ref [pairRefLen + 1]byte
	var n uint64
	at := 0
	for i := range len(s) {
		c := s[i]
		if c == '-' || c == ' ' {
			continue
		}
		if at > pairRefLen {
			return "", errPairRef
		}
		v := crockfordValue(c)
		if v < 0 || v > 31 && at < pairRefLen {
			return "", errPairRef
		}
		if at < pairRefLen {
			n = n<<5 | uint64(v)
		} else if uint64(v) != n%37 {
			return "", errPairRef
		}
		ref[at] = crockfordCheck[v]
		at++
	}
	if at != pairRefLen+1 {
		return "", errPairRef
	}
	return string(ref[:]), nil
}

// crockfordValue returns the worth of a symbol, and −1 for any other byte.
func crockfordValue(c byte) int {
	if c >= 'a' && c <= 'z' {
		c -= 'a' - 'A'
	}
	switch c {
	case 'O':
		c = '0'
	case 'I', 'L':
		c = '1'
	}
	for v := range len(crockfordCheck) {
		if crockfordCheck[v] == c {
			return v
		}
	}
	return -1
}
