package assess

import (
	"strings"
	"testing"
)

func TestParseGTIN(t *testing.T) {
	for _, row := range sheet(t, "gtin_examples.csv") {
		got, err := ParseGTIN(row["code"])
		if err != nil || got != strings.Repeat("0", 14-len(row["code"]))+row["code"] {
			t.Errorf("%s (%s): %q, %v", row["code"], row["note"], got, err)
		}
	}
	for _, tt := range []struct{ name, in, want, source string }{
		{"a GTIN-14", "10012345678902", "10012345678902", "derived: weighted sum 88, check 2"},
		{"spaces and hyphens", " 6 291041-500213 ", "06291041500213", "as above"},
		{"a code of the house, prefix 2", "2000000000015", "02000000000015", "check recomputed; prefix 2 for restricted circulation, from memory"},
		{"a code of the house, prefix 2, again", "2000100020012", "02000100020012", "check recomputed"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got, err := ParseGTIN(tt.in); err != nil || got != tt.want {
				t.Errorf("%q, %v; want %q (%s)", got, err, tt.want, tt.source)
			}
		})
	}
	for _, in := range []string{"", "0", "6291041500214", "629104150021", "62910415002130", "9638507", "963850749", "6291041500213x", "６291041500213", "00000000000000000"} {
		t.Run("refuses "+in, func(t *testing.T) {
			if got, err := ParseGTIN(in); err == nil {
				t.Errorf("%q is taken for %q", in, got)
			}
		})
	}
}

// A check digit finds every mistyped digit: the reason to have one.
func TestGTINFindsEveryWrongDigit(t *testing.T) {
	const good = "06291041500213"
	for i := range good {
		for d := byte('0'); d <= '9'; d++ {
			wrong := good[:i] + string(d) + good[i+1:]
			if _, err := ParseGTIN(wrong); (err == nil) != (wrong == good) {
				t.Errorf("%s: %v", wrong, err)
			}
		}
	}
}
