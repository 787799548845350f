package assess

import (
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// anyRecord draws records that can stand: every value within its column, and
// what says how a check was made only beside the check.
func anyRecord() *rapid.Generator[Record] {
	return rapid.Custom(func(t *rapid.T) Record {
		var r Record
		draw := drawer{t}
		if draw.chance("has id") {
			r.ID = NewV7(rapid.Int64Range(0, 1<<47).Draw(t, "ms"), [10]byte(draw.bytes(10)))
		}
		if draw.chance("has ref") {
			r.PairRef = NewPairRef([5]byte(draw.bytes(5)))
		}
		r.Store, r.Staff = draw.code("store"), draw.code("staff")
		r.Device, r.Runner = draw.code("device"), draw.code("runner")
		r.At = draw.instant("at")
		r.Kind = RecordKind(draw.upTo(len(KindWords)))
		r.Brand, r.Model, r.Version = draw.text("brand"), draw.text("model"), draw.text("version")
		r.SizeLabel, r.Batch = draw.text("size"), draw.text("batch")
		r.SizeMM = draw.value(minSizeMM, maxSizeMM)
		r.Gait, r.GaitBy = draw.word(GaitWords), draw.word(GaitByWords)
		r.GaitBefore, r.Strike = draw.word(yesNo), draw.word(StrikeWords)
		r.Posture = [2]Value{draw.word(GaitWords), draw.word(GaitWords)}
		r.Surface, r.UsedFor = draw.word(Surfaces), draw.word(UsedForWords)
		r.Distance = draw.value(0, maxDistance)
		r.KMUnit, r.KMSource = draw.word(KMUnitWords), draw.word(KMSourceWords)
		if r.At.IsZero() && draw.chance("has bought") {
			r.BoughtOn = "2024-02-29"
		} else if draw.chance("has bought") {
			r.BoughtOn = r.At.AddDate(0, 0, -draw.upTo(3000)).Format(time.DateOnly)
			if r.BoughtOn < "1970-01-01" {
				r.BoughtOn = ""
			}
		}
		for f := range r.Shoe {
			for c := range NumShoe {
				r.Shoe[f][c] = draw.column(&Columns[c])
			}
			s := &r.Shoe[f]
			if !s[Tilt].OK() {
				s[TiltU], s[TiltN], s[TiltYaw] = Unread, Unread, Unread
			}
			if s[Tilt] == Unread {
				s[TiltBy] = Unread
			}
			if s[PressHeel] == Unread {
				s[PressHeelAt] = Unread
			}
			if s[PressFore] == Unread {
				s[PressForeAt] = Unread
			}
			edge := 0
			for z := range NumZones {
				if s[z].OK() && draw.chance("edge") {
					edge |= 1 << z
				}
			}
			s[Edge] = Unread
			if edge != 0 {
				s[Edge] = Of(edge)
			}
		}
		for c := Setup; c < NumCols; c++ {
			r.SetPair(c, draw.column(&Columns[c]))
		}
		if !r.Pair(FlexSide).OK() {
			r.SetPair(FlexAgain, Unread)
		}
		if !r.Pair(TorsionSide).OK() {
			r.SetPair(TorsionAgain, Unread)
		}
		if r.SecondReader = draw.code("second"); r.SecondReader == "" || r.SecondReader == r.Staff {
			r.SecondReader = ""
			r.SetPair(SecondSays, Unread)
		} else {
			for c := range NumCols {
				if Columns[c].Check && draw.chance("second on") {
					r.SecondOn = r.SecondOn.With(c)
				}
			}
		}
		r.Advised, r.Given = Verdict(draw.upTo(len(verdictWords))), Verdict(draw.upTo(len(verdictWords)))
		if r.Given != NoVerdict {
			r.GivenReason = draw.text("given reason")
		}
		r.Rules = draw.upTo(maxRules + 1)
		r.Flags = Flags(draw.upTo(1 << len(FlagWords)))
		r.Note = draw.text("note")
		if draw.chance("supersedes") {
			r.Supersedes = NewV7(1, [10]byte(draw.bytes(10)))
		}
		if r.VoidedAt = draw.instant("voided"); !r.VoidedAt.IsZero() {
			r.VoidReason = draw.text("void reason")
		}
		r.ReceivedAt = draw.instant("received")
		r.Derive()
		return r
	})
}

// drawer draws the parts of a record.
type drawer struct{ t *rapid.T }

func (d drawer) chance(label string) bool { return rapid.Bool().Draw(d.t, label) }

func (d drawer) upTo(n int) int { return rapid.IntRange(0, n-1).Draw(d.t, "number") }

func (d drawer) bytes(n int) []byte {
	return rapid.SliceOfN(rapid.Byte(), n, n).Draw(d.t, "bytes")
}

func (d drawer) code(label string) string {
	return rapid.StringMatching(`([A-Za-z0-9._-]{1,12})?`).Draw(d.t, label)
}

func (d drawer) text(label string) string {
	return rapid.StringMatching(`[ -~äß€語👟",;'=]{0,8}`).Draw(d.t, label)
}

func (d drawer) instant(label string) time.Time {
	if !d.chance("has " + label) {
		return time.Time{}
	}
	lo, hi := time.Date(minYear, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(maxYear, 12, 31, 0, 0, 0, 0, time.UTC)
	return time.UnixMicro(rapid.Int64Range(lo.UnixMicro(), hi.UnixMicro()).Draw(d.t, label)).UTC()
}

func (d drawer) value(lo, hi int) Value {
	if !d.chance("is set") {
		return Unread
	}
	return Of(rapid.IntRange(lo, hi).Draw(d.t, "value"))
}

func (d drawer) word(words []string) Value { return d.value(0, len(words)-1) }

func (d drawer) column(c *Column) Value {
	if c.CantRead && d.upTo(8) == 0 {
		return []Value{CantWet, CantDirty, CantRepaired, CantOther}[d.upTo(4)]
	}
	switch c.Kind {
	case Word:
		return d.word(c.Words)
	case Zones:
		return Unread
	}
	return d.value(c.Min, c.Max)
}

func TestDerive(t *testing.T) {
	at := time.Date(2026, 10, 5, 23, 30, 0, 0, time.UTC)
	for _, tt := range []struct {
		name     string
		record   Record
		km, days Value
		source   string
	}{
		{"kilometres are the default unit", Record{Distance: Of(5124)}, Of(512), Unread, "by hand"},
		{"half a kilometre counts up", Record{Distance: Of(5125)}, Of(513), Unread, "by hand"},
		{"a mile is 1.609344 km", Record{Distance: Of(1_000_0), KMUnit: Of(Miles)}, Of(1609), Unread, "agreement of 1959: 1000 mi = 1609.344 km"},
		{"the marathon is 26.2 miles and 42 km", Record{Distance: Of(262), KMUnit: Of(Miles)}, Of(42), Unread, "26.2 × 1.609344 = 42.16"},
		{"no distance stays unread", Record{KMUnit: Of(Miles)}, Unread, Unread, "absent is never zero"},
		{"no distance run is zero", Record{Distance: Of(0)}, Of(0), Unread, "by hand"},
		{"age counts days", Record{At: at, BoughtOn: "2026-09-05"}, Unread, Of(30), "September has 30 days"},
		{"age crosses a leap day", Record{At: at, BoughtOn: "2024-02-28"}, Unread, Of(950), "2024-02-28 to 2026-10-05: 1 + 1 + 365 + 365 + 218"},
		{"bought tomorrow by the store's clock is new", Record{At: at, BoughtOn: "2026-10-06"}, Unread, Of(0), "time zones reach UTC+14"},
		{"no instant, no age", Record{BoughtOn: "2026-09-05"}, Unread, Unread, "absent is never zero"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := tt.record
			r.Derive()
			if r.KM != tt.km || r.AgeDays != tt.days {
				t.Errorf("km %v, days %v; want %v, %v (%s)", r.KM, r.AgeDays, tt.km, tt.days, tt.source)
			}
		})
	}
}

func TestAssignID(t *testing.T) {
	row := Record{
		Store: "MAD-01", Staff: "F7", PairRef: NewPairRef([5]byte{1, 2, 3, 4, 5}),
		At: time.Date(2022, 2, 22, 19, 22, 22, 0, time.UTC), Kind: TradeIn,
	}
	t.Run("the same row gets the same id, a version 8 with the instant of the row", func(t *testing.T) {
		a, b := row, row
		if err := errors.Join(a.AssignID(), b.AssignID()); err != nil {
			t.Fatal(err)
		}
		at, ok := a.ID.Time()
		if a.ID != b.ID || a.ID.Version() != 8 || a.ID[8]>>6 != 2 || !ok || !at.Equal(row.At) {
			t.Errorf("ids %v and %v, instant %v", a.ID, b.ID, at)
		}
	})
	t.Run("each of the five fields counts", func(t *testing.T) {
		first := row
		if err := first.AssignID(); err != nil {
			t.Fatal(err)
		}
		for name, change := range map[string]func(*Record){
			"store": func(r *Record) { r.Store = "MAD-02" },
			"staff": func(r *Record) { r.Staff = "F8" },
			"ref":   func(r *Record) { r.PairRef = NewPairRef([5]byte{9}) },
			"at":    func(r *Record) { r.At = r.At.Add(time.Microsecond) },
			"kind":  func(r *Record) { r.Kind = WearCheck },
		} {
			other := row
			change(&other)
			if err := other.AssignID(); err != nil || other.ID == first.ID {
				t.Errorf("%s: id %v, error %v", name, other.ID, err)
			}
		}
	})
	t.Run("an id that is there stays", func(t *testing.T) {
		r := Record{ID: UUID{1}}
		if err := r.AssignID(); err != nil || r.ID != (UUID{1}) {
			t.Errorf("id %v, error %v", r.ID, err)
		}
	})
	t.Run("what is missing is named, all of it", func(t *testing.T) {
		err := new(Record).AssignID()
		if !errors.Is(err, ErrMissingField) {
			t.Fatal(err)
		}
		for _, name := range []string{"pair_ref", "store", "staff", "at", "kind"} {
			if !strings.Contains(err.Error(), name+": missing") {
				t.Errorf("%q isn't named in %v", name, err)
			}
		}
	})
}
