package main

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"sync"

	"solewright/assess"
	"solewright/models/facts"
	"solewright/models/retail"
)

// The invented fleet of the proof: the target's numbers of stores, models, staff
// and months. Of ten readings, seven are the first of their pair and three the
// second. Everything is drawn from the number of the reading.
const (
	fleetStores  = 2000
	fleetRegions = 12
	fleetModels  = 800
	fleetStaff   = 5000
	fleetDays    = 3650
	fleetRunners = 3 // pairs a runner
)

// drawn are the columns that are drawn at random: how many values each has, and
// the odd factor that scatters it. The SQL of the generator and the source in
// memory draw alike.
type drawn struct{ factor, values int64 }

// modulus is the largest prime below 2³²; factors stay below 2⁴⁰, so that a
// product with a reading's number has room in 63 bits.
const modulus = 4294967291

var (
	drawStore   = drawn{682_498_929_517, fleetStores}
	drawModel   = drawn{731_034_821_113, fleetModels}
	drawStaff   = drawn{590_111_293_267, fleetStaff}
	drawGait    = drawn{488_712_409_331, 5}
	drawStrike  = drawn{629_001_337_111, 3}
	drawSurface = drawn{377_123_456_789, 4}
	drawVerdict = drawn{811_222_333_447, 4}
	drawHeel    = drawn{433_494_437_221, 8}
	drawFore    = drawn{555_666_777_891, 8}
	drawSide    = drawn{299_792_458_123, 3}
	drawKM      = drawn{667_430_151_617, 90}
	drawBatch   = drawn{141_421_356_237, 120}
	drawZones   = drawn{271_828_182_845, 100_000}
	drawTilt    = drawn{161_803_398_875, 900}
)

func (d drawn) of(n int64) int64 { return n * d.factor % modulus / 64 % d.values }

// sql writes the draw as SQL over a column n.
func (d drawn) sql() string {
	return fmt.Sprintf("(n * %d %% %d / 64 %% %d)", d.factor, int64(modulus), d.values)
}

// pairOf returns the pair of a reading, and whether the reading is its last.
func pairOf(n int64) (pair int64, last bool) {
	if n%10 < 7 {
		return n/10*7 + n%10, n%10 >= 3
	}
	return n/10*7 + n%10 - 7, true
}

// lastOf returns the last reading of a pair.
func lastOf(pair int64) int64 {
	if pair%7 < 3 {
		return pair/7*10 + pair%7 + 7
	}
	return pair/7*10 + pair%7
}

// invented is a source of facts that no database stands behind: what the copy
// itself takes is measured with it at a size that takes a database too long.
type invented struct {
	readings int64
	days     int64 // that they are of, the last of the fleet's; 0 is all

	mu    sync.Mutex
	added int64 // pairs that came after the load, each with one reading
}

func (s *invented) Identity(context.Context) (facts.Identity, error) {
	return facts.Identity{ID: fmt.Sprint("invented ", s.readings)}, nil
}

func (s *invented) Anchor(context.Context, facts.Position) (string, error) { return "", nil }

func (s *invented) Catalogue(context.Context) (*facts.Catalogue, error) {
	var c facts.Catalogue
	for i := range int64(fleetRegions) {
		c.Regions = append(c.Regions, retail.Region{Code: regionName(i)})
	}
	for i := range int64(fleetStores) {
		c.Stores = append(c.Stores, retail.Store{Code: storeName(i), Region: regionName(i % fleetRegions)})
	}
	for i := range int64(fleetModels) {
		c.Models = append(c.Models, retail.ShoeModel{ID: modelID(i), Brand: "Velm", Model: fmt.Sprintf("M-%03d", i/2), Version: fmt.Sprint(1 + i%2), Category: retail.Categories[i/2%int64(len(retail.Categories))]})
	}
	return &c, nil
}

func regionName(i int64) string { return fmt.Sprintf("R-%02d", i) }
func storeName(i int64) string  { return fmt.Sprintf("S-%04d", i) }

func modelID(i int64) assess.UUID { return assess.UUID{0: byte(i >> 8), 1: byte(i), 6: 0x70, 8: 0x80} }

// scatterPairs is odd, so that its multiples fill forty bits without one twice.
const scatterPairs = 0x9e3779b97f

// refOf writes a pair's number as a reference, scattered over all there are, as
// references are that are drawn.
func refOf(pair int64) string {
	pair = int64(uint64(pair) * scatterPairs)
	return assess.NewPairRef([5]byte{byte(pair >> 32), byte(pair >> 24), byte(pair >> 16), byte(pair >> 8), byte(pair)})
}

// fact makes the n-th reading.
func (s *invented) fact(n int64, f *facts.Fact, days []string, stores, staff, batches []string) {
	pair, last := pairOf(n)
	final := lastOf(pair)
	km := 20*drawKM.of(n) + 20
	*f = facts.Fact{
		Pair: refOf(pair), Last: last, Model: modelID(drawModel.of(pair)), Batch: batches[drawBatch.of(pair)],
		Runner: uint64(pair/fleetRunners + 1), Store: stores[drawStore.of(n)], Staff: staff[drawStaff.of(n)],
		Day: days[s.day(n)], Kind: assess.TradeIn + assess.RecordKind(n%2),
		Gait: assess.Of(int(drawGait.of(n))), Strike: assess.Of(int(drawStrike.of(n))), Posture: assess.Of(int(drawGait.of(n + 1))),
		Surface: assess.Of(int(drawSurface.of(n))), UsedFor: assess.Of(0), KM: assess.Of(int(km)),
		Heel: assess.LightWear + assess.Pattern(drawHeel.of(n)), Fore: assess.LightWear + assess.Pattern(drawFore.of(n)),
		Side: assess.EvenWear + assess.MoreWorn(drawSide.of(n)), Verdict: assess.Keep + assess.Verdict(drawVerdict.of(n)),
		Codes:  "heel-through bond-lifting",
		Grades: [2]facts.Grades{facts.Grades(drawZones.of(n)), facts.Grades(drawZones.of(n + 1))},
		Tilt:   [2]assess.Value{assess.Of(int(drawTilt.of(n)) - 450), assess.Of(int(drawTilt.of(n+1)) - 450)},
		Lower:  assess.Of(0),
	}
	if v := assess.Keep + assess.Verdict(drawVerdict.of(final)); v >= assess.ReplacePair {
		f.Upper = assess.Of(int(20*drawKM.of(final) + 20))
	} else {
		f.Lower = assess.Of(int(20*drawKM.of(final) + 20))
	}
}

// day returns the day of the n-th reading from the fleet's first.
func (s *invented) day(n int64) int64 {
	days := cmp.Or(s.days, fleetDays)
	return fleetDays - days + min(n*days/s.readings, days-1)
}

// spoken are the words of the invented fleet, made once.
func spoken() (days, stores, staff, batches []string) {
	for i := range fleetDays {
		days = append(days, fleetStart.AddDate(0, 0, i).Format("2006-01-02"))
	}
	for i := range int64(fleetStores) {
		stores = append(stores, storeName(i))
	}
	for i := range fleetStaff {
		staff = append(staff, fmt.Sprintf("F-%04d", i))
	}
	for i := range drawBatch.values {
		batches = append(batches, fmt.Sprintf("B-%03d", i))
	}
	return days, stores, staff, batches
}

// EachFact makes the readings in as many parts as there are processors, as a
// database is read.
func (s *invented) EachFact(ctx context.Context, begin func() func(*facts.Fact) error) (facts.Position, error) {
	days, stores, staff, batches := spoken()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var group sync.WaitGroup
	parts := int64(runtime.GOMAXPROCS(0))
	for part := range parts {
		each := begin()
		group.Go(func() {
			var f facts.Fact
			for n := s.readings * part / parts; n < s.readings*(part+1)/parts && ctx.Err() == nil; n++ {
				s.fact(n, &f, days, stores, staff, batches)
				if err := each(&f); err != nil {
					cancel(err)
				}
			}
		})
	}
	group.Wait()
	return facts.Position{}, context.Cause(ctx)
}

// come adds pairs to the feed of changes.
func (s *invented) come(pairs int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.added += pairs
}

func (s *invented) FactsOf(_ context.Context, pairs []string, each func(*facts.Fact) error) error {
	for i, ref := range pairs {
		f := facts.Fact{
			Pair: ref, Last: true, Model: modelID(int64(i) % fleetModels), Store: storeName(int64(i) % fleetStores), Staff: "F-0001",
			Day: fleetStart.AddDate(0, 0, fleetDays-1).Format("2006-01-02"), Kind: assess.WearCheck, Verdict: assess.Keep,
			Grades: [2]facts.Grades{facts.AllUnread, facts.AllUnread},
		}
		if err := each(&f); err != nil {
			return err
		}
	}
	return nil
}

func (s *invented) Changed(_ context.Context, after facts.Position, limit int) (facts.Changed, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	to := min(after.Number+int64(limit), s.added)
	c := facts.Changed{To: facts.Position{Number: to}, More: to < s.added}
	for n := after.Number; n < to; n++ {
		c.Pairs = append(c.Pairs, refOf(s.readings+n)) // beyond the pairs that were loaded
	}
	return c, nil
}
