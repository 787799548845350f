package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestRoganGladenReproducesItsReferences(t *testing.T) {
	const (
		paper = "[P] Lang & Reiczigel 2014, examples 1–4, in the documentation of R package asht"
		ours  = "[R] by formula, R 4.2.2"
	)
	for _, tt := range []struct {
		read, se, sp        Reading
		published, computed [2]string
		raw                 string
		delta               [2]string
	}{
		{
			Reading{4060, 11284},
			Reading{178, 179},
			Reading{358, 359},
			[2]string{".349", ".372"},
			[2]string{".3486735", ".3720830"},
			".3600301849",
			[2]string{".3496454587", ".3704149112"},
		},
		{
			Reading{51, 2971},
			Reading{32, 33},
			Reading{20, 20},
			[2]string{"0", ".053"},
			[2]string{"0", ".0533451"},
			".0177023729",
			[2]string{".0127689188", ".0226358271"},
		},
		{
			Reading{.06 * 11862, 11862},
			Reading{8, 10},
			Reading{12, 12},
			[2]string{"0", ".147"},
			[2]string{"0", ".1466684"},
			".075",
			[2]string{".0511516446", ".0988483554"},
		},
		{
			Reading{259, 509},
			Reading{84, 127},
			Reading{96, 109},
			[2]string{".58", ".87"},
			[2]string{".5848679", ".8664582"},
			".7185721634",
			[2]string{".5795963578", ".8575479690"},
		},
		{
			Reading{51, 509},
			Reading{23, 41},
			Reading{187, 195},
			[2]string{".037", ".195"},
			[2]string{".0366098", ".1946941"},
			".1138009928",
			[2]string{".037161055", ".1904409302"},
		},
	} {
		r, err := RoganGladen(tt.read, tt.se, tt.sp, .95)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{
			{"lr_low", r.LRLow.V, tt.published[0], paper},
			{"lr_high", r.LRHigh.V, tt.published[1], paper},
			{"lr_low", r.LRLow.V, tt.computed[0], ours},
			{"lr_high", r.LRHigh.V, tt.computed[1], ours},
			{"raw", r.Raw, tt.raw, ours},
			{"low", r.Low, tt.delta[0], ours},
			{"high", r.High, tt.delta[1], ours},
		})
	}
	known, err := RoganGladenKnown(Reading{23, 150}, .96, .89, .95)
	if err != nil {
		t.Fatal(err)
	}
	low, high, err := Wilson(23, 150, .95)
	if err != nil {
		t.Fatal(err)
	}
	const epi = "[R] R package epiR 2.0.57, epi.prev(method = 'wilson'), its help example"
	reproduce(t, []printed{
		{"apparent", known.Apparent, ".1533333333", epi},
		{"apparent low", low, ".1043995377", epi},
		{"apparent high", high, ".2195798317", epi},
		{"raw", known.Raw, ".0509803922", epi},
		{"raw low", (low - .11) / .85, "-.0065887792", epi},
		{"low", known.Low, "0", epi},
		{"high", known.High, ".1289174491", epi},
	})
}

func TestRoganGladenRefuses(t *testing.T) {
	for _, tt := range []struct {
		name         string
		read, se, sp Reading
		want         error
	}{
		{"no pairs read", Reading{0, 0}, Reading{8, 10}, Reading{8, 10}, ErrEmpty},
		{"no pairs of known state", Reading{1, 5}, Reading{0, 0}, Reading{8, 10}, ErrEmpty},
		{"readers no better than chance", Reading{1, 5}, Reading{5, 10}, Reading{5, 10}, ErrUninformative},
		{"more hits than pairs", Reading{6, 5}, Reading{5, 10}, Reading{5, 10}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := RoganGladen(tt.read, tt.se, tt.sp, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := RoganGladenKnown(Reading{1, 5}, .5, .5, .95); !errors.Is(err, ErrUninformative) {
		t.Errorf("known and uninformative: err = %v, want ErrUninformative", err)
	}
	if _, err := RoganGladenKnown(Reading{1, 5}, 1.5, .5, .95); !errors.Is(err, ErrBadInput) {
		t.Errorf("impossible sensitivity: err = %v, want ErrBadInput", err)
	}
	beyond, err := RoganGladen(Reading{0, 50}, Reading{9, 10}, Reading{8, 10}, .95)
	if err != nil {
		t.Fatal(err)
	}
	if beyond.Raw >= 0 || beyond.Estimate != 0 || beyond.Low != 0 {
		t.Errorf("fewer hits than false alarms: %+v, want raw below 0, estimate cut to 0", beyond)
	}
}

func TestRoganGladenLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 500).Draw(t, "n")
		y := rapid.IntRange(0, n).Draw(t, "y")
		se, sp := rapid.IntRange(6, 10).Draw(t, "se"), rapid.IntRange(6, 10).Draw(t, "sp")
		a, err := RoganGladen(Reading{float64(y), float64(n)}, Reading{float64(se), 10}, Reading{float64(sp), 10}, .95)
		if err != nil {
			t.Fatal(err)
		}
		b, err := RoganGladen(Reading{float64(n - y), float64(n)}, Reading{float64(sp), 10}, Reading{float64(se), 10}, .95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.Raw-(1-b.Raw)) > 1e-9 || math.Abs(a.LRLow.V-(1-b.LRHigh.V)) > 1e-9 || math.Abs(a.SE.V-b.SE.V) > 1e-9 {
			t.Fatalf("swapping yes and no does not mirror: %+v and %+v", a, b)
		}
		if a.Low < 0 || a.High > 1 || a.Low > a.Estimate || a.Estimate > a.High {
			t.Fatalf("0 ≤ low ≤ estimate ≤ high ≤ 1 broken: %+v", a)
		}
	})
}
