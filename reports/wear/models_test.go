package wear

import (
	"testing"

	"solewright/reports/fleet"
)

// A model is set beside the others of its category under its gait, and no others.
func TestAModelIsSetBesideThoseOfItsCategoryAndGait(t *testing.T) {
	models := []modelByGait{
		{"daily", "neutral", "a", 100, [2]int{40, 1}},
		{"daily", "neutral", "b", 60, [2]int{6, 1}},
		{"daily", "neutral", "c", 40, [2]int{14, 1}},
		{"trail", "neutral", "d", 50, [2]int{25, 1}},
		{"trail", "neutral", "e", 200, [2]int{20, 1}},
		{"trail", "pronated", "d", 30, [2]int{3, 1}},
		{"trail", "pronated", "e", 90, [2]int{45, 1}},
		{"trail", "supinated", "d", 80, [2]int{8, 1}}, // nothing to set it beside
	}
	want := []struct {
		model, gait string
		expected    float64
	}{
		{"a", "neutral", 20. / 100},
		{"b", "neutral", 54. / 140},
		{"c", "neutral", 46. / 160},
		{"d", "neutral", 20. / 200},
		{"e", "neutral", 25. / 50},
		{"d", "pronated", 45. / 90},
		{"e", "pronated", 3. / 30},
	}
	found, err := modelCells(new(fleet.View), models, Heel, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(found) != len(want) {
		t.Fatalf("%d were compared, want %d", len(found), len(want))
	}
	for i, s := range found {
		if w := want[i]; s.Model != w.model || s.Gait != w.gait || s.Expected != w.expected || s.Pattern != "medial" {
			t.Errorf("%s under %s has %v expected of %s, want %s under %s with %v", s.Model, s.Gait, s.Expected, s.Pattern, w.model, w.gait, w.expected)
		}
	}
}
