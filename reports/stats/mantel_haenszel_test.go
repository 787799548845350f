package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// berkeley is admissions of men and women by department, Berkeley 1973 (Bickel
// PJ, Hammel EA, O'Connell JW 1975, Science 187:398–404; UCBAdmissions of R).
var berkeley = []Stratum{
	{Trials{Hits: 512, Size: 825}, Trials{Hits: 89, Size: 108}},
	{Trials{Hits: 353, Size: 560}, Trials{Hits: 17, Size: 25}},
	{Trials{Hits: 120, Size: 325}, Trials{Hits: 202, Size: 593}},
	{Trials{Hits: 138, Size: 417}, Trials{Hits: 131, Size: 375}},
	{Trials{Hits: 53, Size: 191}, Trials{Hits: 94, Size: 393}},
	{Trials{Hits: 22, Size: 373}, Trials{Hits: 24, Size: 341}},
}

func TestMantelHaenszelReproducesR(t *testing.T) {
	const source = "R 4 stats::mantelhaen.test(UCBAdmissions, correct = FALSE)"
	got, err := MantelHaenszel(berkeley)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		what      string
		got, want float64
	}{
		{"chi-square", got.Chi2, 1.52460666044}, {"p", got.P, 0.216923697056}, {"odds ratio", got.OddsRatio.V, 0.9046968},
	} {
		if math.Abs(tt.got-tt.want) > 1e-7 {
			t.Errorf("%s is %v, want %v by %s", tt.what, tt.got, tt.want, source)
		}
	}
	if got.Z >= 0 {
		t.Errorf("z is %v: within departments men were admitted less", got.Z)
	}
}

func TestMantelHaenszelRefuses(t *testing.T) {
	for _, tt := range []struct {
		name   string
		strata []Stratum
		want   error
	}{
		{"nothing", nil, ErrEmpty},
		{"one group only", []Stratum{{A: Trials{Hits: 1, Size: 2}}}, ErrEmpty},
		{"no hits", []Stratum{{Trials{Size: 2}, Trials{Size: 3}}}, ErrNoSpread},
		{"more hits than cases", []Stratum{{Trials{Hits: 3, Size: 2}, Trials{Size: 3}}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := MantelHaenszel(tt.strata); !errors.Is(err, tt.want) {
				t.Errorf("the error is %v, want %v", err, tt.want)
			}
		})
	}
}

// Groups that change places change the sign and turn the odds round; strata with
// one group change nothing.
func TestMantelHaenszelLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trials := rapid.Custom(func(t *rapid.T) Trials {
			n := rapid.IntRange(1, 60).Draw(t, "size")
			return Trials{Hits: rapid.IntRange(0, n).Draw(t, "hits"), Size: n}
		})
		var strata, swapped []Stratum
		for range rapid.IntRange(1, 6).Draw(t, "strata") {
			s := Stratum{trials.Draw(t, "a"), trials.Draw(t, "b")}
			strata, swapped = append(strata, s), append(swapped, Stratum{s.B, s.A})
		}
		x, err := MantelHaenszel(append(strata, Stratum{A: trials.Draw(t, "alone")}))
		y, other := MantelHaenszel(swapped)
		if err != nil || other != nil {
			if (err == nil) != (other == nil) {
				t.Fatalf("%v one way, %v the other", err, other)
			}
			return
		}
		if math.Abs(x.Z+y.Z) > 1e-9 {
			t.Fatalf("z is %v one way, %v the other", x.Z, y.Z)
		}
		if x.OddsRatio.OK && y.OddsRatio.OK && math.Abs(x.OddsRatio.V*y.OddsRatio.V-1) > 1e-9 {
			t.Fatalf("odds ratios are %v and %v", x.OddsRatio.V, y.OddsRatio.V)
		}
	})
}
