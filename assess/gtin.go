package assess

import "errors"

// gtinLen is the length of the form that every GTIN is kept in.
const gtinLen = 14

var errGTIN = errors.New("not a GTIN of 8, 12, 13 or 14 digits with its check digit")

// ParseGTIN reads a GTIN-8, -12 (UPC), -13 or -14 with spaces or hyphens
// anywhere and returns it as 14 digits, zeros in front: the form in which the
// same article always has the same number.
//
// The check digit is (10 − sum mod 10) mod 10, where the sum takes the digits
// before it times 3, 1, 3 … from the right. Source: GS1 General Specifications,
// section 7.9.1.
func ParseGTIN(s string) (string, error) {
	var digits [gtinLen]byte
	n := 0
	for i := range len(s) {
		switch c := s[i]; {
		case c == ' ' || c == '-':
		case c < '0' || c > '9' || n == gtinLen:
			return "", errGTIN
		default:
			digits[n] = c
			n++
		}
	}
	if n != 8 && n < 12 {
		return "", errGTIN
	}
	sum := 0
	for i := range n - 1 {
		d := int(digits[n-2-i] - '0')
		if i%2 == 0 {
			d *= 3
		}
		sum += d
	}
	if check := byte((10 - sum%10) % 10); digits[n-1] != '0'+check {
		return "", errGTIN
	}
	var out [gtinLen]byte
	for i := range out {
		out[i] = '0'
	}
	copy(out[gtinLen-n:], digits[:n])
	return string(out[:]), nil
}
