package assess

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// valueOf draws a value of a column: often the soundest, sometimes any that the
// scale allows, unread or can't read.
func valueOf(t *rapid.T, c Col) Value {
	k := &Columns[c]
	switch n := rapid.IntRange(0, 99).Draw(t, "kind of value"); {
	case n < 55 && k.Kind != Measure:
		return Of(0)
	case n < 85:
		switch k.Kind {
		case Word:
			return Of(rapid.IntRange(0, len(k.Words)-1).Draw(t, k.Name))
		case Zones:
			return Of(rapid.IntRange(0, 1<<NumZones-1).Draw(t, k.Name))
		case Measure:
			if c == Tilt || c == TiltU {
				return Of(rapid.IntRange(max(k.Min, -700), 700).Draw(t, k.Name))
			}
		}
		return Of(rapid.IntRange(k.Min, k.Max).Draw(t, k.Name))
	case n < 90 && k.CantRead:
		return CantDirty
	}
	return Unread
}

// anyReading draws a reading that every scale allows. Unread values are rare
// enough that some readings are finished.
func anyReading(t *rapid.T) Reading {
	r := sound()
	for c := range NumCols {
		if c >= NumShoe {
			if rapid.IntRange(0, 2).Draw(t, "touched") == 0 {
				r.SetPair(c, valueOf(t, c))
			}
			continue
		}
		for f := Left; f <= Right; f++ {
			if rapid.IntRange(0, 4).Draw(t, "touched") == 0 {
				r.Shoe[f][c] = valueOf(t, c)
			}
		}
	}
	if rapid.Bool().Draw(t, "second on some") {
		r.SecondOn = ColSet(rapid.Uint64Range(0, 1<<NumCols-1).Draw(t, "second on"))
	}
	r.KM, r.AgeDays, r.Surface = anyFacts(t)
	return r
}

func anyFacts(t *rapid.T) (km, days, surface Value) {
	some := func(name string, hi int) Value {
		if rapid.Bool().Draw(t, name+" known") {
			return Of(rapid.IntRange(0, hi).Draw(t, name))
		}
		return Unread
	}
	return some("km", 2000), some("days", 2000), some("surface", len(Surfaces)-1)
}

// anyModel draws what is known of a model when new.
func anyModel(t *rapid.T) *AsNew {
	if rapid.IntRange(0, 9).Draw(t, "model known") == 0 {
		return nil
	}
	m := &AsNew{NoRigidCounter: rapid.IntRange(0, 4).Draw(t, "soft") == 0, Trail: rapid.Bool().Draw(t, "trail")}
	some := func(name string, lo, hi int) Value {
		if rapid.Bool().Draw(t, name+" known") {
			return Of(rapid.IntRange(lo, hi).Draw(t, name))
		}
		return Unread
	}
	for z := HeelMedial; z < NumZones; z++ {
		if rapid.IntRange(0, 14).Draw(t, "built") == 0 {
			m.Built = m.Built.With(z)
		}
	}
	for p := range NumParts {
		m.Depth[p] = some("depth", 1, 150)
	}
	m.Tilt, m.Flex, m.Torsion = some("tilt", -200, 200), some("flex", 0, 2), some("torsion", 0, 2)
	m.Asker, m.Shore = some("asker", 1, 1000), some("shore", 1, 1000)
	return m
}

// mirrored is the same pair seen in a mirror: left is right. In and out, medial
// and lateral stay what they are.
func mirrored(r Reading) Reading {
	r.Shoe[Left], r.Shoe[Right] = r.Shoe[Right], r.Shoe[Left]
	for _, c := range []Col{FlexSide, TorsionSide} {
		if v := r.Pair(c); v.OK() {
			r.SetPair(c, Of(-v.Int()))
		}
	}
	return r
}

var otherSide = strings.NewReplacer("left", "right", "right", "left")

func TestMirroringSwapsTheShoesAndNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		image := mirrored(r)
		a, b := judge(&r, m), judge(&image, m)
		if a.Verdict != b.Verdict || a.How != b.How || a.Grade != b.Grade || a.Route != b.Route || a.Flags != b.Flags {
			t.Fatalf("%v %v %v %v %b, mirrored %v %v %v %v %b", a.Verdict, a.How, a.Grade, a.Route, a.Flags, b.Verdict, b.How, b.Grade, b.Route, b.Flags)
		}
		var got, want []string
		for i := range a.Findings {
			want = append(want, otherSide.Replace(told(&a.Findings[i])))
		}
		for i := range b.Findings {
			got = append(got, told(&b.Findings[i]))
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Fatalf("mirrored findings %v, want %v", got, want)
		}
		p, q := a.Pattern, b.Pattern
		if p.Shoe[Left] != q.Shoe[Right] || p.Shoe[Right] != q.Shoe[Left] || p.Heel != q.Heel || p.Fore != q.Fore ||
			otherSide.Replace(p.Side.String()) != q.Side.String() || otherSide.Replace(p.DecidedBy.String()) != q.DecidedBy.String() {
			t.Fatalf("pattern %+v, mirrored %+v", p, q)
		}
		if x, y := Default().Margin(&r, m), Default().Margin(&image, m); x != y {
			t.Fatalf("margin %d, mirrored %d", x, y)
		}
	})
}

// worsened are the columns in which more is worse, with how much worse.
func worsen(t *rapid.T, r *Reading, m *AsNew) bool {
	f := Foot(rapid.IntRange(0, 1).Draw(t, "foot"))
	s := &r.Shoe[f]
	c := rapid.SampledFrom([]Col{
		HeelMedial, HeelCentre, HeelLateral, MidMedial, MidLateral, ForeMedial, ForeCentre, ForeLateral, ToeMedial, ToeLateral,
		HeelMedialMM, HeelCentreMM, HeelLateralMM, ForeMedialMM, ForeCentreMM, ForeLateralMM,
		PressHeel, PressFore, Lining, Squeeze, Bond, Tilt, Flex, Torsion,
	}).Draw(t, "column")
	k := &Columns[c]
	n := s[c].Int()
	switch {
	case !s[c].OK():
		return false
	case c == Tilt:
		asNew := 0
		if m != nil {
			asNew = m.Tilt.Int()
		}
		by := rapid.IntRange(1, 400).Draw(t, "by")
		if n-asNew < 0 || n == asNew && rapid.Bool().Draw(t, "outward") {
			by = -by
		}
		n += by
		if n < k.Min || n > k.Max {
			return false
		}
	case k.Kind == Measure: // a depth
		if n == 0 {
			return false
		}
		n = rapid.IntRange(0, n-1).Draw(t, "to")
	default:
		if n == len(k.Words)-1 {
			return false
		}
		n = rapid.IntRange(n+1, len(k.Words)-1).Draw(t, "to")
	}
	s[c] = Of(n)
	return true
}

func TestWorseNeverImprovesTheVerdict(t *testing.T) {
	tried := 0
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		worse := r
		if !worsen(t, &worse, m) {
			return
		}
		tried++
		a, b := judge(&r, m), judge(&worse, m)
		if harshness(b) < harshness(a) {
			t.Fatalf("%v %v, worse %v %v", a.Verdict, a.How, b.Verdict, b.How)
		}
	})
	if tried == 0 {
		t.Error("no reading could be made worse")
	}
}

func TestOrderOfEntryNeverMatters(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		type entry struct {
			f Foot
			c Col
		}
		var entries []entry
		for c := range NumCols {
			if c >= NumShoe {
				entries = append(entries, entry{Both, c})
			} else {
				entries = append(entries, entry{Left, c}, entry{Right, c})
			}
		}
		again := Reading{SecondOn: r.SecondOn, KM: r.KM, AgeDays: r.AgeDays, Surface: r.Surface}
		for _, e := range rapid.Permutation(entries).Draw(t, "order") {
			again.Set(e.f, e.c, r.Get(e.f, e.c))
			judge(&again, m) // judging half a reading leaves no trace
		}
		if a, b := judge(&r, m), judge(&again, m); !reflect.DeepEqual(a, b) {
			t.Fatalf("%+v, entered in another order %+v", a, b)
		}
	})
}

func TestUnreadNeverHidesReplaceOrRetire(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		before := judge(&r, m)
		if before.Verdict != ReplacePair && before.Verdict != RetirePair {
			return
		}
		worst := before.Findings[0]
		keep := map[Col]bool{worst.Check: true}
		for _, u := range worst.Values[:worst.NUsed] {
			keep[u.Col] = true
		}
		keep[TiltBy] = keep[Tilt] // by what method is part of the tilt
		keep[TiltU] = keep[Tilt]
		for c := range NumCols {
			if keep[c] || !rapid.Bool().Draw(t, "blank") {
				continue
			}
			if c >= NumShoe {
				r.SetPair(c, Unread)
			} else {
				r.Shoe[Left][c], r.Shoe[Right][c] = Unread, Unread
			}
		}
		if after := judge(&r, m); after.Verdict != before.Verdict {
			t.Fatalf("%v by %s, unread the rest %v", before.Verdict, worst.Code, after.Verdict)
		}
	})
}

func TestVerdictIsTheWorstFindingUnlessUnread(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		out := judge(&r, m)
		worst, how := Note, NoHow
		for i, f := range out.Findings {
			worst = max(worst, f.Severity)
			how = max(how, f.How)
			if i > 0 && f.Severity > out.Findings[i-1].Severity {
				t.Fatalf("%s stands below a lesser finding", f.Code)
			}
		}
		want := [...]Verdict{Note: Keep, Recheck: RecheckPair, Replace: ReplacePair, Retire: RetirePair}[worst]
		if worst < Replace && len(out.Unread) > 0 {
			want = Incomplete
		}
		if want != RecheckPair {
			how = NoHow
		}
		if out.Verdict != want || out.How != how {
			t.Fatalf("%v %v, want %v %v", out.Verdict, out.How, want, how)
		}
	})
}

func TestLooksAndTalkChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		before := judge(&r, m)
		for _, c := range []Col{Mesh, Creases, Insert, Edge, ShoreOutsole} {
			r.Shoe[Left][c], r.Shoe[Right][c] = valueOf(t, c), valueOf(t, c)
		}
		r.SetPair(Setup, valueOf(t, Setup))
		r.SetPair(LoadN, valueOf(t, LoadN))
		r.SetPair(PainMentioned, valueOf(t, PainMentioned))
		after := judge(&r, m)
		if before.Verdict != after.Verdict || before.How != after.How || before.Grade != after.Grade || before.Flags != after.Flags {
			t.Fatalf("%v %v %v became %v %v %v", before.Verdict, before.How, before.Grade, after.Verdict, after.How, after.Grade)
		}
	})
}

func TestDistanceAndAgeAreNeverMoreThanNoted(t *testing.T) {
	graver := func(out *Result) (codes []string) {
		for i := range out.Findings {
			if f := &out.Findings[i]; f.Check == ColKM || f.Check == ColBoughtOn {
				if f.Severity != Note {
					codes = append(codes, "graver than a note: "+f.Code)
				}
				continue
			}
			codes = append(codes, told(&out.Findings[i]))
		}
		return codes
	}
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		before := graver(judge(&r, m))
		verdict := judge(&r, m).Verdict
		r.KM, r.AgeDays, r.Surface = anyFacts(t)
		out := judge(&r, m)
		if after := graver(out); out.Verdict != verdict || !slices.Equal(before, after) {
			t.Fatalf("%v with %v became %v with %v", verdict, before, out.Verdict, after)
		}
	})
}

func TestTheWorseShoeDecides(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		// Without what compares the shoes.
		for _, c := range []Col{FlexSide, TorsionSide} {
			r.SetPair(c, Of(0))
		}
		for _, c := range []Col{Flex, Torsion, FlexDeg, TorsionDeg} {
			r.Shoe[Left][c], r.Shoe[Right][c] = Unread, Unread
		}
		left, right := r, r
		left.Shoe[Right], right.Shoe[Left] = sound().Shoe[Right], sound().Shoe[Left]
		pair, l, x := harshness(judge(&r, m)), harshness(judge(&left, m)), harshness(judge(&right, m))
		if unfinished := harshness(&Result{Verdict: Incomplete}); pair != max(l, x) && (l == unfinished) == (x == unfinished) {
			t.Fatalf("pair %d, left alone %d, right alone %d", pair, l, x)
		}
	})
}

func TestWhatWasBuiltSoIsNotRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		if m == nil {
			return
		}
		before := judge(&r, m)
		for z := HeelMedial; z < NumZones; z++ {
			for f := Left; f <= Right && m.Built.Has(z); f++ {
				r.Shoe[f][z], r.Shoe[f][z+DepthOf] = valueOf(t, z), valueOf(t, z+DepthOf)
			}
		}
		if after := judge(&r, m); !reflect.DeepEqual(before, after) {
			t.Fatalf("%+v became %+v", before, after)
		}
	})
}

// A Result that judged before judges the same as a new one.
func TestResultsAreUsedAgain(t *testing.T) {
	var used Result
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		Default().Judge(&r, m, &used)
		fresh := judge(&r, m)
		if fresh.Verdict != used.Verdict || fresh.Grade != used.Grade || fresh.Flags != used.Flags || fresh.Pattern != used.Pattern ||
			!slices.Equal(fresh.Findings, used.Findings) || !slices.Equal(fresh.Unread, used.Unread) {
			t.Fatalf("fresh %+v, used %+v", fresh, used)
		}
	})
}

// The shortened engine of Margin never differs from the whole one.
func TestSteadyEngineGivesTheSameVerdict(t *testing.T) {
	// A note that keeps a later rule of its cascade from standing.
	refuted := sound()
	refuted.Shoe[Left][Stand], refuted.Shoe[Left][Tilt], refuted.Shoe[Left][TiltBy] = Of(LeansIn), Of(50), Of(ByPhoto)
	refuted.SetPair(SecondSays, Of(Differs))
	if got := newSearch(Default().steady, &refuted, &AsNew{}).base; got != Keep {
		t.Errorf("a lean that was refuted: %v", got)
	}
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		if got, want := newSearch(Default().steady, &r, m).base, judge(&r, m).Verdict; got != want {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}
