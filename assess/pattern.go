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
	DecidedBy  Foot // Both where the shoes are even
}
