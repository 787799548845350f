package assess

import (
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// partOfGrades is a part with grades M, C, L; below 0 is unread.
func partOfGrades(grades ...int) *partWear {
	var r Reading
	for i, g := range grades {
		if g >= 0 {
			r.Shoe[Left][HeelMedial+Col(i)] = Of(g)
		}
	}
	j := judging{e: Default(), r: &r, m: &unknownModel}
	j.zones(Left)
	return &j.wear[Left][Heel]
}

func TestPattern(t *testing.T) {
	for _, tc := range []struct {
		m, c, l int
		want    Pattern
		source  string
	}{
		{0, 0, 0, LightWear, "definition: max < 2"},
		{1, 1, 0, LightWear, "definition: max < 2"},
		{0, 0, 1, LightWear, "definition: max < 2, though 1 above the mean"},
		{2, 1, 1, MedialWear, "definition: 2 − 1 = 1"},
		{3, 2, 2, MedialWear, "definition: 3 − 2 = 1"},
		{4, 3, 2, MedialWear, "definition: 4 − 2.5 ≥ 1"},
		{4, 4, 3, MedialCentralWear, "definition: neighbours tie, the third 1 lower"},
		{3, 3, 0, MedialCentralWear, "definition: neighbours tie, the third 3 lower"},
		{1, 2, 1, CentralWear, "definition: 2 − 1 = 1"},
		{2, 4, 2, CentralWear, "definition"},
		{1, 1, 2, LateralWear, "definition; ordinary first contact of most runners"},
		{0, 2, 2, LateralCentralWear, "definition"},
		{2, 3, 3, LateralCentralWear, "definition: before broad"},
		{2, 2, 2, BroadWear, "definition: max − min = 0"},
		{2, 1, 2, BroadWear, "definition: the outer two tie and are no neighbours"},
		{3, 2, 3, BroadWear, "definition: the outer two tie and are no neighbours"},
		{4, 4, 4, BroadWear, "definition"},
		{3, 0, 3, MixedWear, "definition: max − min = 3"},
		{2, 0, 2, MixedWear, "definition: max − min = 2"},
		{2, 1, -1, NoPattern, "definition: an unread zone"},
		{-1, -1, -1, NoPattern, "definition: unread zones"},
	} {
		if got := partOfGrades(tc.m, tc.c, tc.l).pattern(); got != tc.want {
			t.Errorf("%d %d %d: got %v, want %v (%s)", tc.m, tc.c, tc.l, got, tc.want, tc.source)
		}
	}
}

func TestDepthStandsForAGrade(t *testing.T) {
	for _, tc := range []struct {
		depth, asNew, want int32
		source             string
	}{
		{40, 40, 0, "q = 1"},
		{35, 40, 0, "q = 0.875"},
		{34, 40, 1, "q = 0.85 is not over 0.85"},
		{5, 40, 1, "q = 0.125"},
		{4, 40, 2, "q = 0.1 is not over 0.1"},
		{0, 40, 2, "q = 0"},
		{150, 20, 0, "more than new"},
	} {
		if got := depthGrade(tc.depth, tc.asNew); got != tc.want {
			t.Errorf("%d of %d: got %d, want %d (%s)", tc.depth, tc.asNew, got, tc.want, tc.source)
		}
	}
}

// zoneRead is one zone as a pattern sees it.
type zoneRead struct {
	grade, depth Value
	built        bool
}

// wearOf is the zone's wear by definition: its grade, or twice the lost
// fraction of its depth, or nil.
func (z zoneRead) wearOf(asNew int) *big.Rat {
	switch {
	case z.grade.OK():
		return big.NewRat(int64(z.grade.Int()), 1)
	case z.depth.OK() && asNew > 0:
		return big.NewRat(int64(2*max(asNew-z.depth.Int(), 0)), int64(asNew))
	}
	return nil
}

// byDefinition names a pattern straight from its definition, in big rationals.
func byDefinition(v [3]*big.Rat) Pattern {
	var in []*big.Rat
	for _, x := range v {
		if x != nil {
			in = append(in, x)
		}
	}
	if len(in) == 0 {
		return NoPattern
	}
	one, two := big.NewRat(1, 1), big.NewRat(2, 1)
	hi, lo, sum := in[0], in[0], new(big.Rat)
	for _, x := range in {
		if x.Cmp(hi) > 0 {
			hi = x
		}
		if x.Cmp(lo) < 0 {
			lo = x
		}
		sum.Add(sum, x)
	}
	if hi.Cmp(two) < 0 {
		return LightWear
	}
	is := func(i int) bool { return v[i] != nil && v[i].Cmp(hi) == 0 }
	top := 0
	for i := range v {
		if is(i) {
			top++
		}
	}
	if top == 1 && len(in) > 1 {
		mean := new(big.Rat).Sub(sum, hi)
		mean.Quo(mean, big.NewRat(int64(len(in)-1), 1))
		if new(big.Rat).Sub(hi, mean).Cmp(one) >= 0 {
			for i, p := range [3]Pattern{MedialWear, CentralWear, LateralWear} {
				if is(i) {
					return p
				}
			}
		}
	}
	spread := new(big.Rat).Sub(hi, lo)
	if top == 2 && len(in) == 3 && is(1) && spread.Cmp(one) >= 0 {
		if is(0) {
			return MedialCentralWear
		}
		return LateralCentralWear
	}
	if spread.Cmp(one) <= 0 {
		return BroadWear
	}
	return MixedWear
}

func (r Ratio) rat() *big.Rat {
	if r.Den == 0 {
		return nil
	}
	return big.NewRat(int64(r.Num), int64(r.Den))
}

func sameRat(a, b *big.Rat) bool {
	return a == nil && b == nil || a != nil && b != nil && a.Cmp(b) == 0
}

// quotient returns num/den, nil where den is 0.
func quotient(num, den *big.Rat) *big.Rat {
	if den.Sign() == 0 {
		return nil
	}
	return new(big.Rat).Quo(num, den)
}

// Patterns and indices of any mixture of grades, depths, as-built and unread
// zones are those of the definitions.
func TestPatternsAreThoseOfTheDefinitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r Reading
		m := AsNew{}
		asNew := [NumParts]int{}
		for p := range NumParts {
			if rapid.Bool().Draw(t, "depth known") {
				asNew[p] = rapid.IntRange(1, 150).Draw(t, "as new")
				m.Depth[p] = Of(asNew[p])
			}
		}
		var wear [2][NumZones]*big.Rat
		var unread [2][NumZones]bool
		for z := HeelMedial; z < NumZones; z++ {
			built := rapid.IntRange(0, 9).Draw(t, "built") == 0
			if built {
				m.Built = m.Built.With(z)
			}
			for f := Left; f <= Right; f++ {
				zone := zoneRead{built: built}
				if rapid.IntRange(0, 3).Draw(t, "graded") > 0 {
					zone.grade = Of(rapid.IntRange(0, 4).Draw(t, "grade"))
				}
				if rapid.IntRange(0, 2).Draw(t, "measured") > 0 {
					zone.depth = Of(rapid.IntRange(0, 150).Draw(t, "depth"))
				}
				r.Shoe[f][z], r.Shoe[f][z+DepthOf] = zone.grade, zone.depth
				if !built {
					wear[f][z] = zone.wearOf(asNew[partOf(z)])
					unread[f][z] = wear[f][z] == nil
				}
			}
		}
		got := judge(&r, &m).Pattern
		zero, one := new(big.Rat), big.NewRat(1, 1)
		part := func(f Foot, first Col) (v [3]*big.Rat, mean *big.Rat, whole bool) {
			sum, n := new(big.Rat), int64(0)
			whole = true
			for i := range v {
				v[i] = wear[f][first+Col(i)]
				whole = whole && !unread[f][first+Col(i)]
				if v[i] != nil {
					sum.Add(sum, v[i])
					n++
				}
			}
			if n > 0 {
				mean = sum.Quo(sum, big.NewRat(n, 1))
			}
			return v, mean, whole
		}
		for f := Left; f <= Right; f++ {
			s := got.Shoe[f]
			heel, heelMean, heelWhole := part(f, HeelMedial)
			fore, foreMean, foreWhole := part(f, ForeMedial)
			for _, tc := range []struct {
				v          [3]*big.Rat
				whole      bool
				pattern    Pattern
				ml, centre Ratio
			}{{heel, heelWhole, s.Heel, s.MLHeel, s.CentreHeel}, {fore, foreWhole, s.Fore, s.MLFore, s.CentreFore}} {
				want := NoPattern
				if tc.whole {
					want = byDefinition(tc.v)
				}
				if tc.pattern != want {
					t.Fatalf("%v of %v: %v, want %v", f, tc.v, tc.pattern, want)
				}
				var ml, centre *big.Rat
				if tc.whole && tc.v[0] != nil && tc.v[2] != nil {
					ml = quotient(new(big.Rat).Sub(tc.v[0], tc.v[2]), new(big.Rat).Add(tc.v[0], tc.v[2]))
					if tc.v[1] != nil {
						sum := new(big.Rat).Add(tc.v[0], tc.v[2])
						centre = quotient(tc.v[1], sum.Add(sum, tc.v[1]))
					}
				}
				if !sameRat(tc.ml.rat(), ml) || !sameRat(tc.centre.rat(), centre) {
					t.Fatalf("%v of %v: indices %v %v, want %v %v", f, tc.v, tc.ml, tc.centre, ml, centre)
				}
			}
			var foreAft *big.Rat
			if heelWhole && foreWhole && heelMean != nil && foreMean != nil {
				foreAft = quotient(new(big.Rat).Sub(foreMean, heelMean), new(big.Rat).Add(foreMean, heelMean))
			}
			if !sameRat(s.ForeAft.rat(), foreAft) {
				t.Fatalf("%v: fore-aft %v, want %v", f, s.ForeAft, foreAft)
			}
		}

		// The pair: mean wear over what both shoes show.
		diff, n := new(big.Rat), int64(0)
		for _, first := range []Col{HeelMedial, ForeMedial} {
			for z := first; z < first+3; z++ {
				if l, r := wear[Left][z], wear[Right][z]; l != nil && r != nil {
					diff.Add(diff, r).Sub(diff, l)
					n++
				}
			}
		}
		decided, side := Both, NoSide
		if n > 0 {
			diff.Quo(diff, big.NewRat(n, 1))
			decided = [...]Foot{Left, Both, Right}[diff.Cmp(zero)+1]
			switch size := new(big.Rat).Abs(diff); {
			case size.Cmp(one) < 0:
				side = EvenWear
			case diff.Sign() < 0:
				side = LeftMore
			default:
				side = RightMore
			}
		}
		if got.DecidedBy != decided || got.Side != side {
			t.Fatalf("pair %v %v, want %v %v", got.DecidedBy, got.Side, decided, side)
		}
		for _, tc := range [][3]Pattern{
			{got.Heel, got.Shoe[Left].Heel, got.Shoe[Right].Heel}, {got.Fore, got.Shoe[Left].Fore, got.Shoe[Right].Fore},
		} {
			want := NoPattern
			switch {
			case n == 0:
			case decided != Both:
				want = tc[1+decided]
			case tc[1] == tc[2]:
				want = tc[1]
			case tc[1] != NoPattern && tc[2] != NoPattern:
				want = MixedWear
			}
			if tc[0] != want {
				t.Fatalf("pair pattern %v of %v and %v, want %v", tc[0], tc[1], tc[2], want)
			}
		}
	})
}
