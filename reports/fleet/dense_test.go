package fleet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models/facts"
	"solewright/models/retail"
)

// scattered is a source of readings whose every column is drawn at random, of
// many months, so that segments end anywhere.
type scattered struct {
	Source
	readings, stores, models int
	pairs                    int // 0: one for each reading
	days                     int // 0: some months
}

func (s scattered) Identity(context.Context) (facts.Identity, error) {
	return facts.Identity{ID: "scattered"}, nil
}

func (s scattered) Catalogue(context.Context) (*facts.Catalogue, error) {
	c := &facts.Catalogue{Regions: []retail.Region{{Code: "N"}, {Code: "S"}}}
	for i := range s.stores {
		c.Stores = append(c.Stores, retail.Store{Code: storeCode(i), Region: c.Regions[i%2].Code})
	}
	for i := range s.models {
		c.Models = append(c.Models, retail.ShoeModel{ID: assess.UUID{0: byte(i), 6: 0x70, 8: 0x80}, Category: retail.Categories[i%len(retail.Categories)]})
	}
	return c, nil
}

// Changed says that nothing came after the load.
func (s scattered) Changed(_ context.Context, after facts.Position, _ int) (facts.Changed, error) {
	return facts.Changed{To: after}, nil
}

func storeCode(i int) string { return fmt.Sprintf("K-%03d", i) }

// draw draws a reading of a pair.
func (s scattered) draw(random *rand.Rand, pair string) facts.Fact {
	maybe := func(n int) assess.Value {
		if c := random.IntN(n + 1); c < n {
			return assess.Of(c)
		}
		return assess.Unread
	}
	f := facts.Fact{
		Pair: pair, Last: random.IntN(10) < 7, Model: assess.UUID{0: byte(random.IntN(s.models)), 6: 0x70, 8: 0x80},
		Batch: fmt.Sprint("B", random.IntN(20)), Store: storeCode(random.IntN(s.stores)), Staff: fmt.Sprint("F", random.IntN(50)),
		Day:  dayOf(uint16(9500 + random.IntN(cmp.Or(s.days, 200)))),
		Kind: assess.RecordKind(random.IntN(len(assess.KindWords))), Gait: maybe(len(assess.GaitWords)), Posture: maybe(len(assess.GaitWords)),
		Strike: maybe(len(assess.StrikeWords)), Surface: maybe(len(assess.Surfaces)), UsedFor: maybe(len(assess.UsedForWords)),
		Heel: assess.Pattern(random.IntN(int(assess.MixedWear) + 1)), Fore: assess.Pattern(random.IntN(int(assess.MixedWear) + 1)),
		Side: assess.MoreWorn(random.IntN(int(assess.RightMore) + 1)), Verdict: assess.Verdict(random.IntN(int(assess.Incomplete) + 1)),
		KMSource: maybe(len(assess.KMSourceWords)), GaitBefore: maybe(2),
		Codes: []string{"", "heel-through", "bond-lifting heel-through"}[random.IntN(3)],
	}
	for shoe := range f.Grades {
		for zone := range assess.NumZones {
			f.Grades[shoe] = f.Grades[shoe].With(zone, []int{0, 1, 2, 3, 4, facts.CantGrade, facts.NoGrade}[random.IntN(7)])
		}
		f.Grades[shoe] = []facts.Grades{0, f.Grades[0], f.Grades[shoe], f.Grades[shoe]}[random.IntN(4)]
		f.Tilt[shoe] = maybe(900)
		f.Unread[shoe] = assess.ColSet(0).With(shoeChecks[random.IntN(len(shoeChecks))])
	}
	f.Runner, f.KM = uint64(random.IntN(s.readings/4+1)), maybe(900)
	if lower := maybe(40); lower.OK() {
		f.Lower = assess.Of(20 * lower.Int())
		f.Upper = maybe(900)
	}
	f.Contradicts = random.IntN(30) == 0
	return f
}

func (s scattered) EachFact(_ context.Context, begin func() func(*facts.Fact) error) (facts.Position, error) {
	each := begin()
	random := rand.New(rand.NewPCG(1, 2))
	for n := range s.readings {
		f := s.draw(random, pairRef(uint64(n%cmp.Or(s.pairs, s.readings))))
		if err := each(&f); err != nil {
			return facts.Position{}, err
		}
	}
	return facts.Position{}, nil
}

// scatter loads a scattered fleet; of every third segment some rows are struck,
// and every second takes more rows.
func scatter(t testing.TB, s scattered) *View {
	t.Helper()
	c := New(Options{Source: s})
	if err := c.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	for i, s := range c.segments {
		if i%2 == 0 {
			c.put(s, s.unsealed())
			s = c.segments[i]
		}
		if i%3 == 0 {
			s.strike([]int{0, s.len() / 2, s.len() - 1})
		}
	}
	c.publish()
	return c.View()
}

// naive counts row by row, by words and by what else is said of a row, without
// columns, blocks or codes of a filter: what Count must say.
func naive(v *View, f *Filter, dims []Dim, also func(*row) string) map[string]int {
	from, _ := dayBound(max(f.From, "2000-01-01"), false)
	to := uint16(1<<16 - 1)
	if f.To != "" {
		to, _ = dayBound(f.To, true)
	}
	word := func(s *segment, r *row, d Dim) string {
		code := uint32(0)
		switch d {
		case Model:
			code = uint32(r.model)
		case Category:
			code = uint32(v.names.category[r.model])
		case Batch:
			code = r.batch
		case Store:
			code = uint32(r.store)
		case Region:
			code = uint32(v.names.region[r.store])
		case Month:
			code = uint32(s.month)
		case Reason:
			code = uint32(v.findings[r.finding].first)
		case Staff:
			code = uint32(r.staff)
		default:
			code = packed[d].of(r.what)
		}
		return v.names.word(d, code)
	}
	counts := map[string]int{}
	for _, s := range v.segments {
	rows:
		for i := range s.len() {
			r := s.at(i)
			if s.isStruck(i) || s.earlier && !f.Readings || r.day < from || r.day > to {
				continue
			}
			km := countedKM(r.km)
			if f.KMFrom.OK() && (!km.OK() || km.Int() < f.KMFrom.Int()) || f.KMTo.OK() && (!km.OK() || km.Int() > f.KMTo.Int()) {
				continue
			}
			store := word(s, &r, Store)
			if !slices.ContainsFunc(f.Scopes, func(in retail.Scope) bool {
				return in == retail.Scope{} || in.Store == store || in.Store == "" && in.Region == word(s, &r, Region)
			}) {
				continue
			}
			for _, o := range f.Only {
				if !slices.Contains(o.Words, word(s, &r, o.Dim)) {
					continue rows
				}
			}
			by := make([]string, len(dims))
			for n, d := range dims {
				by[n] = word(s, &r, d)
			}
			counts[fmt.Sprintf("%q", by)+also(&r)]++
		}
	}
	return counts
}

func TestACountIsThatOfTheRowsLookedAtOneByOne(t *testing.T) {
	var single []Dim
	for d := range numDims {
		if d != Code {
			single = append(single, d)
		}
	}
	long := scatter(t, scattered{readings: 50_000, stores: 40, models: 25, days: 20})
	short := scatter(t, scattered{readings: 5_000, stores: 40, models: 25})
	if !slices.ContainsFunc(long.segments, func(s *segment) bool { return s.sealed && s.len() == segmentRows }) {
		t.Fatal("no segment is full")
	}
	if !slices.ContainsFunc(short.segments, func(s *segment) bool { return s.sealed && s.numStruck > 0 && !s.earlier }) {
		t.Fatal("no row of a sealed segment is struck out")
	}
	draw := func(t *rapid.T) (*View, Filter, []Dim) {
		v := rapid.SampledFrom([]*View{short, short, long}).Draw(t, "fleet")
		f := Filter{
			Scopes: rapid.SampledFrom([][]retail.Scope{{{}}, {{}}, {{}}, {{Region: "N"}}, {{Store: storeCode(3)}}, nil}).Draw(t, "scopes"),
			From:   rapid.SampledFrom([]string{"", "", "2026-02", "2026-03-11"}).Draw(t, "from"),
			To:     rapid.SampledFrom([]string{"", "", "2026-05", "2026-06-20"}).Draw(t, "to"),

			KMFrom: rapid.SampledFrom([]assess.Value{assess.Unread, assess.Unread, assess.Of(0), assess.Of(250)}).Draw(t, "km from"),
			KMTo:   rapid.SampledFrom([]assess.Value{assess.Unread, assess.Unread, assess.Of(249), assess.Of(700)}).Draw(t, "km to"),

			Readings: rapid.Bool().Draw(t, "readings"),
		}
		for _, d := range rapid.SliceOfNDistinct(rapid.SampledFrom(single), 0, 2, rapid.ID).Draw(t, "only") {
			if d == Month {
				continue
			}
			words := append([]string{""}, v.Words(d)...)
			f.Only = append(f.Only, Only{Dim: d, Words: rapid.SliceOfNDistinct(rapid.SampledFrom(words), 1, 3, rapid.ID).Draw(t, "words")})
		}
		return v, f, rapid.SliceOfNDistinct(rapid.SampledFrom(single), 0, 3, rapid.ID).Draw(t, "dims")
	}
	t.Run("by words", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			v, f, dims := draw(t)
			cells, err := v.Count(f, dims...)
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]int{}
			for _, c := range cells {
				got[fmt.Sprintf("%q", c.By)] += c.N
			}
			if diff := gocmp.Diff(naive(v, &f, dims, func(*row) string { return "" }), got); diff != "" {
				t.Fatalf("%+v by %v (-one by one +count):\n%s", f, dims, diff)
			}
		})
	})
	t.Run("by interval of life", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			v, f, dims := draw(t)
			f.Readings = false
			groups, err := v.Life(f, dims...)
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]int{}
			for _, g := range groups {
				by := fmt.Sprintf("%q", g.By)
				for what, n := range map[string]int{" contradicting": g.Contradicting, " unknown": g.Unknown} {
					if n > 0 {
						got[by+what] += n
					}
				}
				for _, s := range g.Spans {
					got[by+fmt.Sprint(s.Lower, s.Upper)] += s.N
				}
				if !slices.IsSortedFunc(g.Spans, func(a, b Span) int {
					return cmp.Or(cmp.Compare(a.Lower, b.Lower), cmp.Compare(one(b.Upper.OK()), one(a.Upper.OK())), cmp.Compare(a.Upper, b.Upper))
				}) {
					t.Fatalf("by %v: spans in another order: %v", dims, g.Spans)
				}
			}
			want := naive(v, &f, dims, func(r *row) string {
				switch life := interval(v.intervals[r.interval]); {
				case life.contradicts():
					return " contradicting"
				case life == 0:
					return " unknown"
				default:
					return fmt.Sprint(int(life.lower())-1, countedKM(life.upper()))
				}
			})
			if diff := gocmp.Diff(want, got); diff != "" {
				t.Fatalf("%+v by %v (-one by one +life):\n%s", f, dims, diff)
			}
		})
	})
	t.Run("by distance and condition", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			v, f, dims := draw(t)
			width := rapid.SampledFrom([]int{1, 7, 100}).Draw(t, "width")
			groups, err := v.Bands(f, width, dims...)
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]int{}
			for _, g := range groups {
				by := fmt.Sprintf("%q", g.By)
				for _, l := range g.Looks {
					for what, n := range map[string]int{" sound": l.Sound, " worn": l.Worn, "": l.N - l.Sound - l.Worn} {
						if n > 0 {
							got[by+fmt.Sprint(l.KM)+what] += n
						}
					}
				}
				if g.Unknown > 0 {
					got[by+" unknown"] += g.Unknown
				}
			}
			want := naive(v, &f, dims, func(r *row) string {
				km := countedKM(r.km)
				if !km.OK() {
					return " unknown"
				}
				return fmt.Sprint(km.Int()-km.Int()%width) + []string{"", " sound", " worn"}[conditionOf(packed[Verdict].of(r.what))]
			})
			if diff := gocmp.Diff(want, got); diff != "" {
				t.Fatalf("%+v by %v (-one by one +bands):\n%s", f, dims, diff)
			}
		})
	})
}

func TestNoDimensionLiesInTwoBytes(t *testing.T) {
	for d, f := range packed {
		if last := f.shift + f.bits - 1; f.bits > 0 && f.shift/8 != last/8 {
			t.Errorf("%s lies in bits %d to %d", Dim(d), f.shift, last)
		}
	}
}

// BenchmarkCount holds the counts that pages ask for against the way by keys
// that serves any question.
func BenchmarkCount(b *testing.B) {
	v := scatter(b, scattered{readings: 1_000_000, stores: 200, models: 200})
	all := []retail.Scope{{}}
	for _, q := range []struct {
		name string
		f    Filter
		dims []Dim
	}{
		{"all by gait and heel", Filter{Scopes: all}, []Dim{Gait, HeelPattern}},
		{"all by model and verdict", Filter{Scopes: all}, []Dim{Model, Verdict}},
		{"all by category, gait and heel", Filter{Scopes: all}, []Dim{Category, Gait, HeelPattern}},
		{"a store by month and verdict", Filter{Scopes: []retail.Scope{{Store: storeCode(3)}}}, []Dim{Month, Verdict}},
		{"a region by month and verdict", Filter{Scopes: []retail.Scope{{Region: "N"}}}, []Dim{Month, Verdict}},
		{"a kind by category and forefoot", Filter{Scopes: all, Only: []Only{{Kind, []string{assess.KindWords[1]}}}}, []Dim{Category, ForePattern}},
	} {
		b.Run(q.name+"/count", func(b *testing.B) {
			for b.Loop() {
				if _, err := v.Count(q.f, q.dims...); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(q.name+"/by keys", func(b *testing.B) {
			for b.Loop() {
				g, err := v.group(&q.f, q.dims)
				if err != nil {
					b.Fatal(err)
				}
				t := g.tally()
				v.scan(g.query, func(sel *selection) {
					g.keys(sel, func(_ uint16, key uint64) { t.put(key, 1) })
				})
				g.cells(t)
				t.free()
			}
		})
	}
}

func TestAMonthIsThatOfItsDay(t *testing.T) {
	for day := range 1 << 16 {
		date := epochDay.AddDate(0, 0, day)
		if got := monthOf(monthNumber(uint16(day))); got != date.Format("2006-01") {
			t.Fatalf("%s lies in %s", date.Format(time.DateOnly), got)
		}
	}
}

// drawn is a source of readings that are drawn already.
type drawn struct {
	scattered
	facts []facts.Fact
}

func (d drawn) EachFact(_ context.Context, begin func() func(*facts.Fact) error) (facts.Position, error) {
	var group sync.WaitGroup
	half := len(d.facts) / 2
	failed := make([]error, 2)
	for k, part := range [][]facts.Fact{d.facts[:half], d.facts[half:]} {
		each := begin()
		group.Go(func() {
			for i := range part {
				failed[k] = errors.Join(failed[k], each(&part[i]))
			}
		})
	}
	group.Wait()
	return facts.Position{}, errors.Join(failed...)
}

// BenchmarkLoad is what the copy takes for a reading, without the database.
func BenchmarkLoad(b *testing.B) {
	d := drawn{scattered: scattered{readings: 200_000, stores: 200, models: 200}}
	if _, err := d.scattered.EachFact(b.Context(), func() func(*facts.Fact) error {
		return func(f *facts.Fact) error {
			d.facts = append(d.facts, *f)
			d.facts[len(d.facts)-1].Runner = uint64(len(d.facts)/3 + 1)
			return nil
		}
	}); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := New(Options{Source: d}).Load(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N*len(d.facts))/b.Elapsed().Seconds(), "rows/s")
}

func TestShoesAlikeAreThoseWithTheSameGrades(t *testing.T) {
	v := scatter(t, scattered{readings: 5_000, stores: 3, models: 5})
	f := Filter{Scopes: []retail.Scope{{}}, Readings: true}
	want := map[string][2]int{}
	if err := v.Each(f, func(l *Listed) error {
		n := want[l.Word(Store)]
		left := l.Grades(assess.Left)
		want[l.Word(Store)] = [2]int{n[0] + 1, n[1] + one(left != 0 && left == l.Grades(assess.Right))}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	groups, err := v.Alike(f, Store)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string][2]int{}
	for _, g := range groups {
		got[g.By[0]] = [2]int{g.N, g.Alike}
	}
	if diff := gocmp.Diff(want, got); diff != "" || len(got) != 3 {
		t.Errorf("by store (-one by one +alike):\n%s", diff)
	}
}

// Readings of one pair on one day tie; a list turns its pages without losing one.
func TestAListOfReadingsHasEachOnce(t *testing.T) {
	v := scatter(t, scattered{readings: 3_000, stores: 2, models: 3, pairs: 30}) // some hundred readings a pair
	f := Filter{Scopes: []retail.Scope{{}}, Readings: true}
	for order := range numOrders {
		want, got := map[string]int{}, map[string]int{}
		say := func(l *Listed) string {
			return fmt.Sprint(l.Pair, l.Day, l.KM, l.Word(Store), l.Word(Verdict), l.Word(Gait))
		}
		if err := v.Each(f, func(l *Listed) error { want[say(l)]++; return nil }); err != nil {
			t.Fatal(err)
		}
		pages := 0
		for after := ""; pages == 0 || after != ""; pages++ {
			page, next, err := v.List(f, order, after, 7)
			if err != nil {
				t.Fatal(err)
			}
			for i := range page {
				got[say(&page[i])]++
			}
			after = next
		}
		if diff := gocmp.Diff(want, got); diff != "" || pages < 20 {
			t.Errorf("order %d in %d pages (-rows +listed):\n%s", order, pages, diff)
		}
	}
}
