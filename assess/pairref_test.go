package assess

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestNewPairRef(t *testing.T) {
	for _, tt := range []struct {
		name   string
		number uint64
		want   string
		source string
	}{
		{"a thousand million", 1_000_000_000, "00XSNJG01", "XSNJG0: readme of base32_crockford 1.0 for Elixir; 10⁹ mod 37 = 1, as 10³ = 27·37 + 1"},
		{"1234", 1234, "0000016JD", "16JD: documentation of base32-crockford 0.3 for Python, from memory; 1234 mod 37 = 13"},
		{"nothing", 0, "000000000", "by hand"},
		{"the first check symbol beyond the alphabet", 32, "00000010*", "Crockford's table: 32 is *"},
		{"the last check symbol", 36, "00000014U", "Crockford's table: 36 is U"},
		{"all ones", 1<<40 - 1, "ZZZZZZZZF", "by division: 1099511627775 = 37·29716530480 + 15"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var b [5]byte
			for i := range b {
				b[i] = byte(tt.number >> (32 - 8*i))
			}
			if got := NewPairRef(b); got != tt.want {
				t.Errorf("%s, want %s (%s)", got, tt.want, tt.source)
			}
		})
	}
}

func TestParsePairRef(t *testing.T) {
	for _, tt := range []struct{ name, in, want string }{
		{"as it is printed", "0000016JD", "0000016JD"},
		{"in small letters", "00xsnjg01", "00XSNJG01"},
		{"with hyphens and spaces", "00XS-NJG0 1", "00XSNJG01"},
		{"O for 0, I and L for 1", "oOXSNJGOl", "00XSNJG01"},
		{"i for 1", "00xsnjg0i", "00XSNJG01"},
		{"a check symbol that is no letter", "0000 0010 *", "00000010*"},
		{"u as the check", "00000014u", "00000014U"},
	} {
		t.Run("takes one "+tt.name, func(t *testing.T) {
			if got, err := ParsePairRef(tt.in); err != nil || got != tt.want {
				t.Errorf("%q, %v; want %q", got, err, tt.want)
			}
		})
	}
	for _, in := range []string{"", "-", "0000016J", "0000016JE", "0000016JDD", "U000016JD", "000*016JD", "00000é6JD", "0000016JD\n"} {
		t.Run("refuses "+in, func(t *testing.T) {
			if got, err := ParsePairRef(in); err == nil {
				t.Errorf("%q is taken for %q", in, got)
			}
		})
	}
}

func TestPairRefLaws(t *testing.T) {
	anyRef := rapid.Custom(func(t *rapid.T) string {
		return NewPairRef([5]byte(rapid.SliceOfN(rapid.Byte(), 5, 5).Draw(t, "random")))
	})
	t.Run("what is made can be read, and is its own written form", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			ref := anyRef.Draw(t, "ref")
			if got, err := ParsePairRef(strings.ToLower(ref)); err != nil || got != ref {
				t.Fatalf("%s: %q, %v", ref, got, err)
			}
		})
	})
	t.Run("every wrong character and every swap of neighbours is found", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			ref := []byte(anyRef.Draw(t, "ref"))
			i := rapid.IntRange(0, pairRefLen-1).Draw(t, "place")
			wrong := []byte(string(ref))
			wrong[i] = crockford[rapid.IntRange(0, 31).Draw(t, "symbol")]
			swapped := []byte(string(ref))
			if i < pairRefLen-1 {
				swapped[i], swapped[i+1] = ref[i+1], ref[i]
			}
			for _, s := range []string{string(wrong), string(swapped)} {
				if _, err := ParsePairRef(s); (err == nil) != (s == string(ref)) {
					t.Fatalf("%s for %s: %v", s, ref, err)
				}
			}
		})
	})
}
