package assess

import "time"

// RecordKind says why a pair was read.
type RecordKind uint8

// The kinds of reading. Blind readings never feed pairs, life or shares.
const (
	NoKind RecordKind = iota
	TradeIn
	WearCheck
	Blind
)

// Words of the kinds and of the closed lists around a reading, in the order of
// their constants or from 0.
var (
	KindWords     = []string{"", "trade-in", "check", "blind"}
	GaitWords     = []string{"highly supinated", "supinated", "neutral", "pronated", "highly pronated"}
	GaitByWords   = []string{"walk", "treadmill", "video"}
	StrikeWords   = []string{"rearfoot", "midfoot", "forefoot"}
	UsedForWords  = []string{"running", "walking", "work"}
	KMSourceWords = []string{"logged", "estimated", "unknown"}
	KMUnitWords   = []string{"km", "mi"}
)

// String returns the kind's word.
func (k RecordKind) String() string { return KindWords[k] }

// Record is one reading with everything that is kept about it: the row of the
// CSV, the body of the API, the line of the export. Words are Values whose
// number is the place in the list named; Unread means empty.
type Record struct {
	ID      UUID
	PairRef string
	Store   string
	Staff   string
	Device  string
	At      time.Time
	Kind    RecordKind

	Brand, Model, Version string
	SizeLabel             string
	SizeMM                Value

	Runner     string
	Gait       Value    // GaitWords
	GaitBy     Value    // GaitByWords
	GaitBefore Value    // No, Yes
	Posture    [2]Value // GaitWords, by foot
	Strike     Value    // StrikeWords
	UsedFor    Value    // UsedForWords

	// Distance as entered; Reading.KM is derived from it.
	Distance Value  // tenths of KMUnit
	KMUnit   Value  // KMUnitWords
	KMSource Value  // KMSourceWords
	BoughtOn string // YYYY-MM-DD, empty when unknown
	Batch    string

	Reading

	SecondReader string
	Advised      Verdict
	Given        Verdict
	GivenReason  string
	Rules        int
	Flags        Flags
	Note         string
	Supersedes   UUID
	VoidedAt     time.Time
	VoidReason   string
	ReceivedAt   time.Time
}
