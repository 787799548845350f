package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestSymmetryIndexByHand(t *testing.T) {
	const source = "[O] by hand from Robinson, Herzog & Nigg 1987, formula as in doi 10.1186/s13102-021-00355-4, eq. 1 [P2]"
	for _, tt := range []struct {
		left, right float64
		want        string
	}{{95, 105, "10.0000000000"}, {0, 1, "200.000000000"}, {1, 0, "-200.000000000"}, {1080, 1200, "10.52631579"}, {7, 7, "0"}} {
		si, err := SymmetryIndex(tt.left, tt.right)
		if err != nil || !si.OK {
			t.Fatal(si, err)
		}
		reproduce(t, []printed{{"SI", si.V, tt.want, source}})
	}
	none, err := SymmetryIndex(0, 0)
	if err != nil || none.OK {
		t.Errorf("both sides 0: %v, %v, want undefined", none, err)
	}
	if _, err := SymmetryIndex(-1, 2); !errors.Is(err, ErrBadInput) {
		t.Errorf("a negative side: err = %v, want ErrBadInput", err)
	}
}

func TestSymmetryIndexLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		left, right := rapid.Float64Range(0, 1e308).Draw(t, "left"), rapid.Float64Range(1e-300, 1e308).Draw(t, "right")
		a, err := SymmetryIndex(left, right)
		if err != nil {
			t.Fatal(err)
		}
		b, err := SymmetryIndex(right, left)
		if err != nil {
			t.Fatal(err)
		}
		if a.V != -b.V || math.Abs(a.V) > 200*(1+1e-15) || !a.OK {
			t.Fatalf("swapping the sides: %v and %v", a, b)
		}
	})
}
