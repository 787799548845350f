package fleet

import (
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models/facts"
	"solewright/models/retail"
)

// changing is a scattered fleet of which some pairs were read again.
type changing struct {
	scattered
	seed     uint64
	again    []string // pairs that a step says have changed
	newNames bool
}

func (c *changing) Changed(_ context.Context, after facts.Position, _ int) (facts.Changed, error) {
	return facts.Changed{Pairs: c.again, To: facts.Position{Number: after.Number + 1}}, nil
}

// FactsOf draws the pairs anew; every seventh has no reading left.
func (c *changing) FactsOf(_ context.Context, pairs []string, each func(*facts.Fact) error) error {
	random := rand.New(rand.NewPCG(c.seed, 3))
	for i, ref := range pairs {
		if i%7 == 6 {
			continue
		}
		f := c.draw(random, ref)
		f.Last = true
		if c.newNames {
			f.Batch = fmt.Sprint("new ", c.seed)
		}
		if err := each(&f); err != nil {
			return err
		}
	}
	return nil
}

// kinds are the questions whose answers are kept.
var kinds = map[string]func(v *View, f Filter, dims []Dim) (any, error){
	"count":  func(v *View, f Filter, dims []Dim) (any, error) { return v.Count(f, dims...) },
	"life":   func(v *View, f Filter, dims []Dim) (any, error) { f.Readings = false; return v.Life(f, dims...) },
	"looks":  func(v *View, f Filter, dims []Dim) (any, error) { return v.Looks(f, dims...) },
	"bands":  func(v *View, f Filter, dims []Dim) (any, error) { return v.Bands(f, 50, dims...) },
	"grades": func(v *View, f Filter, dims []Dim) (any, error) { return v.Grades(f, dims...) },
	"unread": func(v *View, f Filter, dims []Dim) (any, error) { return v.Unread(f, dims...) },
	"tilts":  func(v *View, f Filter, dims []Dim) (any, error) { return v.Tilts(f, dims...) },
	"alike":  func(v *View, f Filter, dims []Dim) (any, error) { return v.Alike(f, dims...) },
	"clusters": func(v *View, f Filter, dims []Dim) (any, error) {
		return v.Clusters(f, Verdict, slices.DeleteFunc(slices.Clone(dims), func(d Dim) bool { return d == Verdict })...)
	},
}

// TestAnAnswerThatWasBroughtUpToDateIsThatOfAScan has pairs come, change and go,
// and asks the same few questions of the newest view and of earlier ones.
func TestAnAnswerThatWasBroughtUpToDateIsThatOfAScan(t *testing.T) {
	filters := []Filter{
		{Scopes: []retail.Scope{{}}},
		{Scopes: []retail.Scope{{}}, Readings: true},
		{Scopes: []retail.Scope{{Region: "N"}}, From: "2026-02-10", To: "2026-04"},
		{Scopes: []retail.Scope{{Store: storeCode(3)}}},
		{Scopes: []retail.Scope{{}}, Only: []Only{{Model, []string{(assess.UUID{0: 2, 6: 0x70, 8: 0x80}).String()}}}},
		{Scopes: []retail.Scope{{}}, Only: []Only{{Code, []string{"bond-lifting"}}, {Gait, []string{"", "neutral"}}}},
		{Scopes: []retail.Scope{{}}, KMFrom: assess.Of(100), KMTo: assess.Of(250)},
		{Scopes: nil},
	}
	groups := [][]Dim{nil, {Gait, HeelPattern}, {Model}, {Month, Verdict}, {Code}, {Store, Month, Batch}, {Category, Region}}
	questions := 0
	rapid.Check(t, func(r *rapid.T) {
		source := &changing{scattered: scattered{readings: 500, stores: 12, models: 7}}
		c := New(Options{Source: source, Answers: rapid.SampledFrom([]int{0, 1 << 16}).Draw(r, "answers")})
		if err := c.Load(t.Context()); err != nil {
			t.Fatal(err)
		}
		views := []*View{c.View()}
		for range rapid.IntRange(1, 12).Draw(r, "steps") {
			if rapid.Bool().Draw(r, "change") {
				source.seed++
				source.newNames = rapid.IntRange(0, 5).Draw(r, "new names") == 0
				source.again = nil
				pairs := rapid.SliceOfNDistinct(rapid.IntRange(0, 550), 0, 30, rapid.ID).Draw(r, "pairs")
				for _, n := range pairs {
					source.again = append(source.again, pairRef(uint64(n)))
				}
				if _, err := c.Step(t.Context()); err != nil {
					t.Fatal(err)
				}
				views = append(views, c.View())
			}
			v := views[max(0, len(views)-1-rapid.IntRange(0, 2).Draw(r, "views back"))]
			kind := rapid.SampledFrom([]string{"count", "life", "looks", "grades", "unread", "tilts", "alike", "clusters"}).Draw(r, "kind")
			f := rapid.SampledFrom(filters).Draw(r, "filter")
			dims := rapid.SampledFrom(groups).Draw(r, "by")
			asked := v
			if rapid.IntRange(0, 3).Draw(r, "quietly") == 0 {
				asked = v.Quietly(nil)
			}
			if rapid.IntRange(0, 7).Draw(r, "clean") == 0 {
				runtime.GC() // long answers are written again
			}
			got, err := kinds[kind](asked, f, dims)
			if err != nil {
				t.Fatal(err)
			}
			plain := *v
			plain.answers = newAnswers(-1)
			want, err := kinds[kind](&plain, f, dims)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(fmt.Sprint(want), fmt.Sprint(got)); diff != "" {
				t.Fatalf("%s by %v of %+v (-scan +kept):\n%s", kind, dims, f, diff)
			}
			questions++
			months, err := plain.Count(f, Month)
			if err != nil {
				t.Fatal(err)
			}
			var ends [2]string
			if len(months) > 0 {
				ends = [2]string{months[0].By[0], months[len(months)-1].By[0]}
			}
			if first, last, err := asked.Months(f); [2]string{first, last} != ends || err != nil {
				t.Fatalf("months of %+v are from %q to %q, %v; want %q", f, first, last, err, ends)
			}
			groups, err := v.Life(Filter{Scopes: []retail.Scope{{}}})
			if err != nil {
				t.Fatal(err)
			}
			pairs := 0
			for _, g := range groups {
				pairs += g.Contradicting + g.Unknown
				for _, s := range g.Spans {
					pairs += s.N
				}
			}
			if pairs != v.Pairs {
				t.Fatalf("life is of %d pairs, the view has %d", pairs, v.Pairs)
			}
		}
	})
	if questions < 100 {
		t.Errorf("only %d questions were asked", questions)
	}
}

// TestOneAnswerForAllWhoAsk has many ask one question at once: it is scanned for
// once in each view.
func TestOneAnswerForAllWhoAsk(t *testing.T) {
	c := New(Options{Source: scattered{readings: 20_000, stores: 40, models: 25}})
	if err := c.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	v := c.View()
	var scans int
	var mu sync.Mutex
	ask := func() ([]Cell, error) {
		return answered(v, "count", &Filter{Scopes: []retail.Scope{{}}}, []Dim{Gait}, func(g *grouping) (sum[Cell], error) {
			mu.Lock()
			defer mu.Unlock()
			scans += one(g.query.taken == nil) // else it is another's share of a scan
			return &counts{tally: g.tally()}, nil
		})
	}
	var group sync.WaitGroup
	for range 32 {
		group.Go(func() {
			cells, err := ask()
			n := 0
			for _, cell := range cells {
				n += cell.N
			}
			if err != nil || n != v.Pairs {
				t.Errorf("%d of %d pairs, %v", n, v.Pairs, err)
			}
		})
	}
	group.Wait()
	if scans != 1 {
		t.Errorf("the rows were scanned %d times", scans)
	}
}

// TestQuietQuestionsLeaveAProcessor has one quiet question wait for another: who asks
// of the view itself doesn't, and finds what a quiet question found.
func TestQuietQuestionsLeaveAProcessor(t *testing.T) {
	c := New(Options{Source: scattered{readings: 2000, stores: 40, models: 25}})
	if err := c.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	v := c.View()
	all := Filter{Scopes: []retail.Scope{{}}}
	v.answers.quiet <- struct{}{} // a quiet scan is running
	var group sync.WaitGroup
	group.Go(func() {
		if cells, err := v.Quietly(nil).Count(all, Gait); err != nil || len(cells) == 0 {
			t.Errorf("%d cells, %v", len(cells), err)
		}
	})
	if cells, err := v.Count(all, Store); err != nil || len(cells) != 40 {
		t.Errorf("%d cells, %v", len(cells), err)
	}
	if v.Quietly(nil).spare() {
		t.Error("a quiet question takes a second processor")
	}
	<-v.answers.quiet
	group.Wait()
	v.answers.slots = make(chan struct{}) // a scan would never begin
	if cells, err := v.Count(all, Gait); err != nil || len(cells) == 0 {
		t.Errorf("what a quiet question found: %d cells, %v", len(cells), err)
	}
}

// TestAQuietScanRests has a quiet question rest, with its place left to others meanwhile.
func TestAQuietScanRests(t *testing.T) {
	c := New(Options{Source: scattered{readings: 2000, stores: 40, models: 25}})
	if err := c.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	v := c.View()
	rests, taken := 0, 0
	rest := func() { rests, taken = rests+1, taken+len(v.answers.slots) }
	if cells, err := v.Quietly(rest).Count(Filter{Scopes: []retail.Scope{{}}}, Staff); err != nil || len(cells) == 0 {
		t.Fatalf("%d cells, %v", len(cells), err)
	}
	if rests == 0 || taken > 0 || len(v.answers.slots) > 0 {
		t.Errorf("it rested %d times, with %d places taken; %d are taken at the end", rests, taken, len(v.answers.slots))
	}
	v.rest = func() { t.Error("a view that isn't quiet rests") }
	v.Rest()
}

func TestAnswersTakeNoMoreThanTheyMay(t *testing.T) {
	const most = 1 << 20
	c := New(Options{Source: scattered{readings: 5000, stores: 40, models: 25}, Answers: most})
	if err := c.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	v := c.View()
	for store := range 40 {
		for d := range numDims {
			if _, err := v.Count(Filter{Scopes: []retail.Scope{{Store: storeCode(store)}}}, d); err != nil {
				t.Fatal(err)
			}
		}
	}
	a := v.answers
	var sums [2]int
	for _, e := range a.kept {
		n := e.Value.(*answer)
		sums[n.shelf] += n.bytes
	}
	readers, quiet := &a.shelves[ofReaders], &a.shelves[ofQuiet]
	if readers.bytes+quiet.bytes > most || [2]int{readers.bytes, quiet.bytes} != sums || len(a.kept) != readers.Len()+quiet.Len() || len(a.kept) < 20 {
		t.Errorf("%d answers, %d and %d on the shelves, take %d and %d bytes, by their sums %d; no more than %d are allowed", len(a.kept), readers.Len(), quiet.Len(), readers.bytes, quiet.bytes, sums, most)
	}
	// What readers ask again and again stays, whatever quiet views were asked since.
	all := Filter{Scopes: []retail.Scope{{}}}
	if _, err := v.Count(all, Gait); err != nil {
		t.Fatal(err)
	}
	for store := range 40 {
		for d := range numDims {
			if _, err := v.Quietly(nil).Count(Filter{Scopes: []retail.Scope{{Store: storeCode(store)}}, Readings: true}, d); err != nil {
				t.Fatal(err)
			}
		}
	}
	if n := a.kept[questionOf("count", &all, []Dim{Gait})]; n == nil || readers.bytes < most/4 || quiet.bytes > most/2 || readers.bytes+quiet.bytes > most {
		t.Errorf("the readers' answer is %v; theirs take %d bytes, those of quiet views %d of %d", n, readers.bytes, quiet.bytes, most)
	}
	if _, err := v.Count(Filter{Scopes: []retail.Scope{{}}, From: "no day"}); err == nil {
		t.Error("a wrong filter is answered")
	}
	for question := range a.kept {
		if e := a.kept[question].Value.(*answer); e.found.Load() == nil {
			t.Errorf("what was refused is kept: %s", question)
		}
	}
}
