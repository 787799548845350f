package assess

import "testing"

func TestStrikeOf(t *testing.T) {
	const source = "Cavanagh & Lafortune 1980: 0–33.3, 33.4–66.6, 66.7–100 %"
	for _, tt := range []struct {
		index Value
		want  string
	}{
		{Of(0), "rearfoot"},
		{Of(33), "rearfoot"},
		{Of(34), "midfoot"},
		{Of(66), "midfoot"},
		{Of(67), "forefoot"},
		{Of(100), "forefoot"},
		{Of(-1), ""},
		{Of(101), ""},
		{Unread, ""},
	} {
		got := StrikeOf(tt.index)
		word := ""
		if got.OK() {
			word = StrikeWords[got.Int()]
		}
		if word != tt.want {
			t.Errorf("index %v: %q, want %q (%s)", tt.index, word, tt.want, source)
		}
	}
}
