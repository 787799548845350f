package assess

// Pattern is the wear pattern of one part of one shoe, or of the pair.
type Pattern uint8

// The patterns. NoPattern stands for a part with an unread zone.
const (
	NoPattern Pattern = iota
	LightWear
	MedialWear
	CentralWear
	LateralWear
	MedialCentralWear
	LateralCentralWear
	BroadWear
	MixedWear
)

var patternWords = [...]string{
	"", "light", "medial", "central", "lateral", "medial-central", "lateral-central", "broad", "mixed",
}

// String returns the pattern's word, empty for NoPattern.
func (p Pattern) String() string { return patternWords[p] }

// Ratio is an index kept as a fraction, so that it is exact and the same on
// every machine. A zero Den means the index is absent.
type Ratio struct{ Num, Den int32 }

// ShoePattern is the wear pattern of one shoe with its indices.
type ShoePattern struct {
	Heel, Fore             Pattern
	MLHeel, MLFore         Ratio // (M − L) / (M + L)
	CentreHeel, CentreFore Ratio // C / (M + C + L)
	ForeAft                Ratio // (F − H) / (F + H) from part means
}

// MoreWorn says which shoe is worn more.
type MoreWorn uint8

// The side flags: means a grade or more apart.
const (
	NoSide MoreWorn = iota
	EvenWear
	LeftMore
	RightMore
)

// String returns even, left more, right more, or nothing.
func (s MoreWorn) String() string { return [...]string{"", "even", "left more", "right more"}[s] }

// PairPattern is the wear pattern of a pair: both shoes, and the more worn
// shoe's for the pair.
type PairPattern struct {
	Shoe       [2]ShoePattern
	Heel, Fore Pattern
	Side       MoreWorn
	DecidedBy  Foot // Both where the shoes are even or can't be compared
}

// partWear is the wear of one part of one shoe. Wear is counted in units of
// 1/den grade, so that it stays exact where only a depth stands.
type partWear struct {
	v     [3]int32 // by zone, medial first; only what is in has
	has   uint8    // zones read, as-built ones left out
	n     int32    // how many
	sum   int32
	den   int32
	least int32 // least grade, by the thresholds of depth where there is none
	whole bool  // no zone is unread
}

// pattern names the pattern of a heel or forefoot:
//
//	light            max < 2
//	medial …         that zone is the strict maximum and at least 1 above the
//	                 mean of the others
//	medial-central … two neighbours tie for the maximum, the third is at least
//	                 1 lower
//	broad            max ≥ 2 and max − min ≤ 1, none of the above
//	mixed            anything else
//
// Grades are those of the zones, or twice the lost fraction of the depth. An
// as-built zone is left out; with an unread one there is no pattern. Common
// practice, no source.
func (w *partWear) pattern() Pattern {
	if !w.whole || w.n == 0 {
		return NoPattern
	}
	hi, lo := int32(-1), int32(1<<30)
	var at uint8 // zones at the maximum
	for z := range 3 {
		if w.has>>z&1 == 0 {
			continue
		}
		lo = min(lo, w.v[z])
		switch {
		case w.v[z] > hi:
			hi, at = w.v[z], 1<<z
		case w.v[z] == hi:
			at |= 1 << z
		}
	}
	others := w.n - 1
	switch {
	case hi < 2*w.den:
		return LightWear
	case at&(at-1) == 0 && others > 0 && others*hi-(w.sum-hi) >= others*w.den:
		return [...]Pattern{0, MedialWear, CentralWear, 0, LateralWear}[at]
	case at == 0b011 && w.n == 3 && hi-lo >= w.den:
		return MedialCentralWear
	case at == 0b110 && w.n == 3 && hi-lo >= w.den:
		return LateralCentralWear
	case hi-lo <= w.den:
		return BroadWear
	}
	return MixedWear
}

// mediolateral returns (M − L) / (M + L), from −1 lateral to +1 medial. It is
// absent where both are 0, one of them was built without rubber, or there is no
// pattern.
func (w *partWear) mediolateral() Ratio {
	if !w.whole || w.has&0b101 != 0b101 {
		return Ratio{}
	}
	return ratio(w.v[0]-w.v[2], w.v[0]+w.v[2])
}

// centreShare returns C / (M + C + L), from 0 to 1. It is absent where all are
// 0, one of them was built without rubber, or there is no pattern.
func (w *partWear) centreShare() Ratio {
	if w.has != 0b111 {
		return Ratio{}
	}
	return ratio(w.v[1], w.sum)
}

// foreAft returns (F − H) / (F + H) of the part means, from −1 heel to +1
// forefoot. It is absent where both are 0 or one part isn't wholly read.
func foreAft(heel, fore *partWear) Ratio {
	if !heel.whole || !fore.whole || heel.n == 0 || fore.n == 0 {
		return Ratio{}
	}
	f, h := fore.sum*heel.n*heel.den, heel.sum*fore.n*fore.den
	return ratio(f-h, f+h)
}

// ratio returns num/den in lowest terms, absent for a den of 0.
func ratio(num, den int32) Ratio {
	if den == 0 {
		return Ratio{}
	}
	a, b := max(num, -num), den
	for a != 0 {
		a, b = b%a, a
	}
	return Ratio{num / b, den / b}
}

// apart returns the mean wear of r less that of l as a fraction of grades. Its
// denominator is 0 where either part isn't wholly read.
func apart(l, r *partWear) (num, den int32) {
	if !l.whole || !r.whole || l.n == 0 || r.n == 0 {
		return 0, 0
	}
	return r.sum*l.n*l.den - l.sum*r.n*r.den, l.n * l.den * r.n * r.den
}

// shoePattern describes one shoe.
func shoePattern(w *[NumParts]partWear) ShoePattern {
	heel, fore := &w[Heel], &w[Forefoot]
	return ShoePattern{
		Heel: heel.pattern(), Fore: fore.pattern(),
		MLHeel: heel.mediolateral(), MLFore: fore.mediolateral(),
		CentreHeel: heel.centreShare(), CentreFore: fore.centreShare(),
		ForeAft: foreAft(heel, fore),
	}
}

// pairPattern describes the pair: the pattern of the shoe with the higher mean
// wear over the heel and forefoot zones that are read on both shoes. Shoes that
// are even lend the pair their pattern where it is the same, else it is mixed.
func pairPattern(wear *[2][NumParts]partWear) PairPattern {
	p := PairPattern{DecidedBy: Both}
	p.Shoe[Left], p.Shoe[Right] = shoePattern(&wear[Left]), shoePattern(&wear[Right])

	// Wear of the shared zones in units of 1/den, right less left.
	var diff, den, n int64 = 0, 1, 0
	for _, part := range [...]Part{Heel, Forefoot} {
		l, r := &wear[Left][part], &wear[Right][part]
		var sl, sr int32
		for z := range 3 {
			if l.has&r.has>>z&1 == 1 {
				sl, sr, n = sl+l.v[z], sr+r.v[z], n+1
			}
		}
		d := int64(l.den) * int64(r.den)
		diff, den = diff*d+int64(sr*l.den-sl*r.den)*den, den*d
	}
	if n == 0 {
		return p
	}
	switch step := n * den; {
	case diff >= step:
		p.Side = RightMore
	case diff <= -step:
		p.Side = LeftMore
	default:
		p.Side = EvenWear
	}
	switch {
	case diff > 0:
		p.DecidedBy = Right
	case diff < 0:
		p.DecidedBy = Left
	default:
		p.Heel = evenPattern(p.Shoe[Left].Heel, p.Shoe[Right].Heel)
		p.Fore = evenPattern(p.Shoe[Left].Fore, p.Shoe[Right].Fore)
		return p
	}
	p.Heel, p.Fore = p.Shoe[p.DecidedBy].Heel, p.Shoe[p.DecidedBy].Fore
	return p
}

// evenPattern returns the pattern of a pair whose shoes are worn alike.
func evenPattern(l, r Pattern) Pattern {
	switch {
	case l == NoPattern || r == NoPattern:
		return NoPattern
	case l == r:
		return l
	}
	return MixedWear
}

// The depth that stands for a grade, as the share q = depth / new of what was
// there: q over 17/20 is fresh, over 1/10 scuffed, else smooth. House values,
// no source.
const (
	freshDepthNum, freshDepthDen = 17, 20
	scuffDepthNum, scuffDepthDen = 1, 10
)

// depthGrade returns the grade that a depth stands for: 0, 1 or 2. A depth
// alone never shows that rubber has thinned or is gone.
func depthGrade(depth, asNew int32) int32 {
	switch {
	case depth*freshDepthDen > asNew*freshDepthNum:
		return 0
	case depth*scuffDepthDen > asNew*scuffDepthNum:
		return 1
	}
	return 2
}
