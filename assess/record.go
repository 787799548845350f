package assess

import (
	"strconv"
	"time"
)

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

// Kilometres and Miles are the places in KMUnitWords.
const Kilometres, Miles = 0, 1

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
	// PostureSum are the sums of the Foot Posture Index that were written in place
	// of bands; a record that is read back has none.
	PostureSum [2]Value
	Strike     Value // StrikeWords
	UsedFor    Value // UsedForWords

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
	AmendReason  string // why it takes the place of the reading it supersedes
	ReceivedAt   time.Time
}

// kmPerMile is the international mile, 1.609344 km, in millionths of a
// kilometre. Source: the international yard and pound agreement of 1959.
const kmPerMile = 1_609_344

// hoursPerDay turns durations into days.
const hoursPerDay = 24

// Derive fills in what follows from the rest of the record: the whole distance
// in kilometres (half a kilometre counts up), the age in days, and that a second
// reader took part. Decoders call it. A distance without unit is in kilometres;
// the age counts whole days from the date of purchase to the UTC date of the
// reading, and a purchase dated the day after, which the time zone of a store
// can make, counts as 0 days.
func (r *Record) Derive() {
	r.HasSecond = r.SecondReader != ""
	r.KM, r.AgeDays = Unread, Unread
	if r.Distance.OK() {
		const tenths, millionths = 10, 1_000_000
		perUnit := millionths
		if r.KMUnit.Is(Miles) {
			perUnit = kmPerMile
		}
		const km = tenths * millionths
		r.KM = Of((r.Distance.Int()*perUnit + km/2) / km)
	}
	if days, ok := r.age(); ok && days >= -1 {
		r.AgeDays = Of(max(days, 0))
	}
}

// age returns the days from purchase to reading, where both are known.
func (r *Record) age() (days int, ok bool) {
	bought, want := parseDate(r.BoughtOn)
	if want != "" || r.At.IsZero() {
		return 0, false
	}
	y, m, d := r.At.UTC().Date()
	read := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	return int(read.Sub(bought).Hours()) / hoursPerDay, true
}

// finishRecord derives what follows and reports what can't stand together,
// fields by CSV name. What is odd but possible is left to the engine's flags.
func finishRecord(r *Record) FieldErrors {
	r.Derive()
	var bad FieldErrors
	misfit := func(field, value, want string) {
		bad.Add(FieldError{Field: field, Value: value, Want: want, Err: ErrInconsistent})
	}
	for _, f := range [...]Foot{Left, Right} {
		// needs says that a column that tells how a check was made stands only
		// beside the check; number: beside its value, not beside "can't read".
		needs := func(c, check Col, number bool) {
			v := r.Shoe[f][check]
			if r.Shoe[f][c] == Unread || v.OK() || v.Cant() && !number {
				return
			}
			misfit(shoePrefix[f]+Columns[c].Name, string(Columns[c].appendValue(nil, r.Shoe[f][c])),
				shoePrefix[f]+Columns[check].Name+" beside it")
		}
		needs(TiltU, Tilt, true)
		needs(TiltBy, Tilt, false)
		needs(TiltN, Tilt, true)
		needs(TiltYaw, Tilt, true)
		needs(PressHeelAt, PressHeel, false)
		needs(PressForeAt, PressFore, false)
		edge := r.Shoe[f][Edge].Int()
		for z := range Col(NumZones) {
			if edge>>z&1 == 1 && !r.Shoe[f][z].OK() {
				misfit(shoePrefix[f]+Columns[Edge].Name, Columns[z].Name, "a grade in "+shoePrefix[f]+Columns[z].Name)
			}
		}
	}
	for _, try := range [...]struct{ again, side Col }{{FlexAgain, FlexSide}, {TorsionAgain, TorsionSide}} {
		if v := r.Pair(try.again); v != Unread && !r.Pair(try.side).OK() {
			misfit(Columns[try.again].Name, string(Columns[try.again].appendValue(nil, v)), Columns[try.side].Name+" beside it")
		}
	}
	switch second := r.SecondReader; {
	case second != "" && second == r.Staff:
		misfit("second_reader", second, "somebody other than staff")
	case second == "" && r.Pair(SecondSays) != Unread:
		misfit("second_says", string(Columns[SecondSays].appendValue(nil, r.Pair(SecondSays))), "second_reader beside it")
	case second == "" && r.SecondOn != 0:
		misfit("second_on", string(appendSet(nil, checkNames, uint64(r.SecondOn))), "second_reader beside it")
	}
	if r.GivenReason != "" && r.Given == NoVerdict {
		misfit("given_reason", r.GivenReason, "given beside it")
	}
	if r.VoidReason != "" && r.VoidedAt.IsZero() {
		misfit("void_reason", r.VoidReason, "voided_at beside it")
	}
	if r.AmendReason != "" && r.Supersedes.IsZero() {
		misfit("amend_reason", r.AmendReason, "supersedes beside it")
	}
	if !r.ID.IsZero() && r.Supersedes == r.ID {
		misfit("supersedes", r.Supersedes.String(), "another reading than itself")
	}
	if days, ok := r.age(); ok && days < -1 {
		misfit("bought_on", r.BoughtOn, "a date before the reading, which is "+strconv.Itoa(-days)+" days earlier")
	}
	return bad
}

// AssignID gives a record without an id the one of ImportID, for which store,
// pair reference, instant, kind and staff must be there; those that aren't are
// reported, by CSV name.
func (r *Record) AssignID() error {
	if !r.ID.IsZero() {
		return nil
	}
	var bad FieldErrors
	for _, need := range [...]struct {
		field  string
		absent bool
	}{
		{"pair_ref", r.PairRef == ""},
		{"store", r.Store == ""},
		{"staff", r.Staff == ""},
		{"at", r.At.IsZero()},
		{"kind", r.Kind == NoKind},
	} {
		if need.absent {
			bad.Add(FieldError{Field: need.field, Err: ErrMissingField, Want: "a value, as inspection_id is empty"})
		}
	}
	if len(bad) == 0 {
		r.ID = ImportID(r.Store, r.PairRef, r.At, r.Kind.String(), r.Staff)
	}
	return bad.Err()
}
