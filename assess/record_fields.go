package assess

import "time"

// How long text in a record may be, in characters.
const (
	maxCode   = 32
	maxDevice = 64
	maxName   = 80
	maxLabel  = 24
	maxBatch  = 40
	maxReason = 300
	maxNote   = 1000
)

// Bounds of numbers in a record that are no columns of a reading.
const (
	minSizeMM, maxSizeMM = 50, 400
	maxDistance          = 999_999 // tenths of a kilometre or mile
	maxRules             = 1_000_000
)

// recordFields are the fields of a record in the order of the CSV.
var recordFields = makeRecordFields()

func makeRecordFields() []Field[Record] {
	type rec = Record
	fields := []Field[rec]{
		ID("inspection_id", func(r *rec) *UUID { return &r.ID }),
		PairRefs("pair_ref", func(r *rec) *string { return &r.PairRef }),
		Code("store", maxCode, func(r *rec) *string { return &r.Store }),
		Code("staff", maxCode, func(r *rec) *string { return &r.Staff }),
		Code("device", maxDevice, func(r *rec) *string { return &r.Device }),
		Instant("at", func(r *rec) *time.Time { return &r.At }),
		Enum("kind", KindWords, func(r *rec) *RecordKind { return &r.Kind }),
		Text("brand", maxName, func(r *rec) *string { return &r.Brand }),
		Text("model", maxName, func(r *rec) *string { return &r.Model }),
		Text("version", maxName, func(r *rec) *string { return &r.Version }),
		Text("size_label", maxLabel, func(r *rec) *string { return &r.SizeLabel }),
		Measured("size_mm", "mm", minSizeMM, maxSizeMM, 0, func(r *rec) *Value { return &r.SizeMM }),
		Code("runner", maxDevice, func(r *rec) *string { return &r.Runner }),
		Words("gait", GaitWords, func(r *rec) *Value { return &r.Gait }),
		Words("gait_by", GaitByWords, func(r *rec) *Value { return &r.GaitBy }),
		Words("gait_before", yesNo, func(r *rec) *Value { return &r.GaitBefore }),
		ofFoot(Left, PostureField("posture", func(r *rec) *Value { return &r.Posture[Left] }, func(r *rec) *Value { return &r.PostureSum[Left] })),
		ofFoot(Right, PostureField("posture", func(r *rec) *Value { return &r.Posture[Right] }, func(r *rec) *Value { return &r.PostureSum[Right] })),
		Words("strike", StrikeWords, func(r *rec) *Value { return &r.Strike }),
		Words("surface", Surfaces, func(r *rec) *Value { return &r.Surface }),
		Words("used_for", UsedForWords, func(r *rec) *Value { return &r.UsedFor }),
		Measured("km", "km or mi", 0, maxDistance, 1, func(r *rec) *Value { return &r.Distance }),
		Words("km_unit", KMUnitWords, func(r *rec) *Value { return &r.KMUnit }),
		Words("km_source", KMSourceWords, func(r *rec) *Value { return &r.KMSource }),
		Date("bought_on", func(r *rec) *string { return &r.BoughtOn }),
		Text("batch", maxBatch, func(r *rec) *string { return &r.Batch }),
		pairField(Setup),
	}
	for _, f := range [...]Foot{Left, Right} {
		for c := range NumShoe {
			fields = append(fields, ofFoot(f, ofColumn(&Columns[c], func(r *rec) *Value { return &r.Shoe[f][c] })))
		}
	}
	for c := LoadN; c <= TorsionAgain; c++ {
		fields = append(fields, pairField(c))
	}
	return append(fields,
		Code("second_reader", maxCode, func(r *rec) *string { return &r.SecondReader }),
		pairField(SecondSays),
		Set("second_on", checkNames, func(r *rec) *ColSet { return &r.SecondOn }),
		pairField(Hygiene),
		pairField(PainMentioned),
		Enum("advised", verdictWords[:], func(r *rec) *Verdict { return &r.Advised }),
		Enum("given", verdictWords[:], func(r *rec) *Verdict { return &r.Given }),
		Text("given_reason", maxReason, func(r *rec) *string { return &r.GivenReason }),
		Whole("rules", 1, maxRules, 0, func(r *rec) *int { return &r.Rules }),
		Set("flags", FlagWords, func(r *rec) *Flags { return &r.Flags }),
		Text("note", maxNote, func(r *rec) *string { return &r.Note }),
		ID("supersedes", func(r *rec) *UUID { return &r.Supersedes }),
		Instant("voided_at", func(r *rec) *time.Time { return &r.VoidedAt }),
		Text("void_reason", maxReason, func(r *rec) *string { return &r.VoidReason }),
		Instant("received_at", func(r *rec) *time.Time { return &r.ReceivedAt }),
		Text("amend_reason", maxReason, func(r *rec) *string { return &r.AmendReason }),
	)
}

// pairField makes the field of a column read once for the pair.
func pairField(c Col) Field[Record] {
	return ofColumn(&Columns[c], func(r *Record) *Value { return &r.pair[c-NumShoe] })
}

// ofFoot makes f the field of one shoe: l_ or r_ before its name in CSV, in the
// left or right object in JSON.
func ofFoot(foot Foot, f Field[Record]) Field[Record] {
	f.Group, f.Member = foot.String(), f.Name
	f.Name = shoePrefix[foot] + f.Name
	return f
}

// shoePrefix stands before the columns of one shoe in CSV.
var shoePrefix = [...]string{Left: "l_", Right: "r_"}

// checkNames are the names of the columns that a second reader can be asked
// about, by column; empty for the others.
var checkNames = func() []string {
	names := make([]string, NumCols)
	for c := range Columns {
		if Columns[c].Check {
			names[c] = Columns[c].Name
		}
	}
	return names
}()

// PairRefs makes a field of a pair reference.
func PairRefs[T any](name string, at func(*T) *string) Field[T] {
	return Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			ref, err := ParsePairRef(text)
			if err != nil {
				return "a pair reference: 8 characters 0–9 and A–Z without I, L, O and U, and their check character"
			}
			*at(v) = ref
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return append(dst, *at(v)...) },
	}
}

// PostureField makes a field of a posture band: one of GaitWords, or the sum
// of the Foot Posture Index, which goes to sum and is banded by the newest table
// that is built in, until it is banded by the one that holds: see BandPosture.
func PostureField[T any](name string, at, sum func(*T) *Value) Field[T] {
	f := Words(name, GaitWords, at)
	f.Shape = Either
	parse := f.Parse
	f.Parse = func(v *T, text string) string {
		if n, ok := parseDecimal(text, 0, false); ok {
			if band := CurrentPostureBands().Band(Of(n)); band.OK() {
				*at(v), *sum(v) = band, Of(n)
				return ""
			}
		}
		if want := parse(v, text); want != "" {
			return want + ", or a Foot Posture Index from −12 to +12"
		}
		return ""
	}
	return f
}
