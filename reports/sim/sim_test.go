package sim_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	_ "time/tzdata" // the zones of the stores, wherever the test runs

	"solewright/assess"
	"solewright/models/retail"
	"solewright/reports/sim"
)

// row is one record kept with its truth.
type row struct {
	rec   assess.Record
	truth sim.Truth
}

// records keeps everything that a fleet yields.
func records(f *sim.Fleet) []row {
	rows := make([]row, 0, f.Len())
	for rec, truth := range f.Inspections() {
		rows = append(rows, row{*rec, *truth})
	}
	return rows
}

// theFleet is the demo's: 20,000 inspections, planted and judged.
var theFleet = sync.OnceValues(func() (*sim.Fleet, []row) {
	f := sim.New(sim.Options{Seed: 1, Plant: true, Judge: true})
	return f, records(f)
})

// fingerprint hashes everything that a fleet yields.
func fingerprint(f *sim.Fleet) string {
	h := sha256.New()
	var line []byte
	for rec, truth := range f.Inspections() {
		line = assess.AppendCSV(line[:0], rec)
		h.Write(line)
		fmt.Fprintln(h, truth.Pair, truth.KM, truth.PairLifeKM, truth.EndsBy, truth.EndsOn, truth.Why, truth.Visit)
	}
	for r := range f.Runners() {
		fmt.Fprintln(h, *r)
	}
	for fit := range f.Fittings() {
		fmt.Fprintln(h, *fit)
	}
	for s := range f.Sales() {
		fmt.Fprintln(h, s)
	}
	fmt.Fprintln(h, f.Regions, f.Stores, f.Staff, f.Models, f.Events)
	return hex.EncodeToString(h.Sum(nil))
}

// golden is the fingerprint of 3,000 inspections with seed 1. It changes with
// every change of what the package makes or of how a record is written, and
// with nothing else: not with the machine, the day or the rules.
const golden = "26f7477ddb1f65b3a3f8b0473d404f8fd9fcc6f9fbcc814456ba86bc6b5145eb"

func TestTheSameSeedGivesTheSameBytes(t *testing.T) {
	if got := fingerprint(sim.New(sim.Options{Seed: 1, Inspections: 3000, Plant: true})); got != golden {
		t.Errorf("fingerprint %s, want %s", got, golden)
	}
}

func TestOneFleetIsReadByManyAtATime(t *testing.T) {
	f := sim.New(sim.Options{Seed: 3, Inspections: 2000})
	want := fingerprint(f)
	var group sync.WaitGroup
	for range 4 {
		group.Go(func() {
			if got := fingerprint(f); got != want {
				t.Errorf("fingerprint %s, want %s", got, want)
			}
		})
	}
	group.Wait()
}

func TestAnotherSeedGivesOtherPeopleAtTheSameStores(t *testing.T) {
	a, b := sim.New(sim.Options{Seed: 1, Inspections: 2000}), sim.New(sim.Options{Seed: 2, Inspections: 2000})
	seen := map[string]bool{}
	for rec := range a.Inspections() {
		seen[rec.PairRef], seen[rec.ID.String()] = true, true
		if rec.Runner != "" {
			seen[rec.Runner] = true
		}
	}
	for rec := range b.Inspections() {
		if seen[rec.PairRef] || seen[rec.ID.String()] || seen[rec.Runner] {
			t.Fatalf("pair %s, record %s or runner %s is in both", rec.PairRef, rec.ID, rec.Runner)
		}
	}
	if !slices.Equal(a.Stores, b.Stores) || a.Plants() != b.Plants() ||
		!slices.EqualFunc(a.Models, b.Models, func(x, y retail.ShoeModel) bool { return x.ID == y.ID && x.AsNew == y.AsNew }) {
		t.Error("the stores, the catalogue or the plants differ")
	}
}

func TestALargerFleetHoldsTheSmallerOne(t *testing.T) {
	small, large := sim.New(sim.Options{Seed: 4, Inspections: 500}), sim.New(sim.Options{Seed: 4, Inspections: 5000})
	in := map[assess.UUID]assess.Record{}
	for rec := range large.Inspections() {
		in[rec.ID] = *rec
	}
	n := 0
	for rec := range small.Inspections() {
		if in[rec.ID] != *rec {
			t.Fatalf("record %s of the small fleet is another in the large one", rec.ID)
		}
		n++
	}
	if n != 500 {
		t.Errorf("%d records, want 500", n)
	}
}

func TestEveryOptionIsKept(t *testing.T) {
	for _, o := range []sim.Options{
		{Seed: 9},
		{Seed: 9, Inspections: 1},
		{Seed: 9, Inspections: 7777, Stores: 200, Models: 120, Months: 60},
		{Seed: 9, Inspections: 4000, Stores: 2000, Models: 800, Months: 1, End: time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC)},
		{Seed: 9, Inspections: 3000, Months: 120},
	} {
		f := sim.New(o)
		n := 0
		var last time.Time
		for rec := range f.Inspections() {
			if rec.At.Before(f.Start()) || !rec.At.Before(f.End()) || rec.At.Before(last) {
				t.Fatalf("%+v: %s after %s, window %s to %s", o, rec.At, last, f.Start(), f.End())
			}
			last = rec.At
			n++
		}
		want := o.Inspections
		if want == 0 {
			want = 20_000
		}
		if n != want || f.Len() != want {
			t.Errorf("%+v: %d records and Len %d, want %d", o, n, f.Len(), want)
		}
		months := o.Months
		if months == 0 {
			months = 24
		}
		if got := f.Start().AddDate(0, months, 0); !got.Equal(f.End()) {
			t.Errorf("%+v: window %s to %s", o, f.Start(), f.End())
		}
	}
	f := sim.New(sim.Options{Inspections: 1})
	if len(f.Regions) != 4 || len(f.Stores) != 24 || len(f.Models) != 40 || len(f.Staff) != 60 {
		t.Errorf("%d regions, %d stores, %d models, %d staff", len(f.Regions), len(f.Stores), len(f.Models), len(f.Staff))
	}
	currencies := map[string]bool{}
	for _, r := range f.Regions {
		currencies[r.Currency] = true
	}
	if len(currencies) != 3 {
		t.Errorf("currencies %v, want 3", currencies)
	}
	if f.End().Format(time.DateOnly) != "2026-11-01" {
		t.Errorf("the default window ends before %s", f.End())
	}
}

func TestTheCodecTakesEveryRecordAndGivesItBack(t *testing.T) {
	_, rows := theFleet()
	file := assess.AppendCSVHeader(nil)
	for i := range rows {
		file = assess.AppendCSV(file, &rows[i].rec)
	}
	d, err := assess.NewCSVDecoder(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		var got assess.Record
		if err := d.Decode(&got); err != nil {
			t.Fatalf("record %d: %v", i, err)
		}
		if got != rows[i].rec {
			t.Fatalf("record %d\n got %s\nwant %s", i, assess.AppendCSV(nil, &got), assess.AppendCSV(nil, &rows[i].rec))
		}
	}
}

func TestWhatRecordsNameIsThere(t *testing.T) {
	f, rows := theFleet()
	stores := map[string]retail.Store{}
	zones := map[string]*time.Location{}
	for _, s := range f.Stores {
		stores[s.Code] = s
		zone, err := time.LoadLocation(s.Zone)
		if err != nil {
			t.Fatal(err)
		}
		zones[s.Code] = zone
	}
	works := map[string]string{} // staff to store
	for _, p := range f.Staff {
		works[p.Code] = p.Scopes[0].Store
	}
	models := map[string]*retail.ShoeModel{}
	for i := range f.Models {
		m := &f.Models[i]
		models[m.Brand+"/"+m.Model+"/"+m.Version] = m
	}
	runners := map[string]bool{}
	for r := range f.Runners() {
		if runners[r.Code] {
			t.Fatalf("runner %s twice", r.Code)
		}
		runners[r.Code] = true
	}
	ids := map[assess.UUID]bool{}
	for i := range rows {
		rec, truth := &rows[i].rec, &rows[i].truth
		switch m := models[rec.Brand+"/"+rec.Model+"/"+rec.Version]; {
		case stores[rec.Store].Code == "", works[rec.Staff] != rec.Store:
			t.Fatalf("%s: store %s, staff %s of %s", rec.ID, rec.Store, rec.Staff, works[rec.Staff])
		case rec.SecondReader != "" && works[rec.SecondReader] != rec.Store:
			t.Fatalf("%s: second reader %s of %s", rec.ID, rec.SecondReader, works[rec.SecondReader])
		case m != &f.Models[truth.Model]:
			t.Fatalf("%s: model %s %s %s", rec.ID, rec.Brand, rec.Model, rec.Version)
		case rec.BoughtOn != "" && (rec.BoughtOn < m.Released || rec.BoughtOn > rec.At.Format(time.DateOnly)):
			t.Fatalf("%s: bought %s, released %s, read %s", rec.ID, rec.BoughtOn, m.Released, rec.At)
		case m.Retired != "" && rec.BoughtOn > m.Retired:
			t.Fatalf("%s: bought %s, sold until %s", rec.ID, rec.BoughtOn, m.Retired)
		case rec.Runner != "" && !runners[rec.Runner]:
			t.Fatalf("%s: runner %s", rec.ID, rec.Runner)
		case !rec.Supersedes.IsZero() && !ids[rec.Supersedes]:
			t.Fatalf("%s: supersedes %s, which is no earlier record", rec.ID, rec.Supersedes)
		case ids[rec.ID]:
			t.Fatalf("%s: given twice", rec.ID)
		}
		ids[rec.ID] = true
		if ms, ok := rec.ID.Time(); !ok || rec.ID.Version() != 7 || !ms.Equal(rec.At) {
			t.Fatalf("%s: not the UUIDv7 of %s", rec.ID, rec.At)
		}
		if ref, err := assess.ParsePairRef(rec.PairRef); err != nil || ref != rec.PairRef {
			t.Fatalf("%s: pair reference %s: %v", rec.ID, rec.PairRef, err)
		}
		local := rec.At.In(zones[rec.Store])
		if local.Weekday() == time.Sunday || local.Hour() < 10 || local.Hour() > 19 {
			t.Fatalf("%s: read at %s at the store", rec.ID, local)
		}
		if rec.ReceivedAt.Before(rec.At) {
			t.Fatalf("%s: received %s, read %s", rec.ID, rec.ReceivedAt, rec.At)
		}
	}
	for _, e := range f.Events {
		if stores[e.Store].Code == "" || e.From > e.To || e.Word == "" {
			t.Errorf("event %+v", e)
		}
	}
}

func TestTheHistoriesOfPairsHoldTogether(t *testing.T) {
	_, rows := theFleet()
	worsens := []assess.Col{assess.PressFore, assess.PressHeel, assess.Lining, assess.Squeeze, assess.Bond, assess.Rubber}
	for z := range assess.Col(assess.NumZones) {
		worsens = append(worsens, z)
	}
	type history struct {
		first, last *row
		seen        int
		done        bool
		told        int
	}
	pairs, refs := map[uint64]*history{}, map[string]uint64{}
	returning := map[string]map[uint64]bool{}
	for i := range rows {
		r := &rows[i]
		if pair, ok := refs[r.rec.PairRef]; ok && pair != r.truth.Pair {
			t.Fatalf("pairs %d and %d are both %s", pair, r.truth.Pair, r.rec.PairRef)
		}
		refs[r.rec.PairRef] = r.truth.Pair
		if r.rec.Runner != "" {
			if returning[r.rec.Runner] == nil {
				returning[r.rec.Runner] = map[uint64]bool{}
			}
			returning[r.rec.Runner][r.truth.Pair] = true
		}
		h := pairs[r.truth.Pair]
		if h == nil {
			h = &history{first: r}
			pairs[r.truth.Pair] = h
		}
		if p := h.last; p != nil {
			same := r.truth.Visit == p.truth.Visit
			switch {
			case h.first.rec.Model != r.rec.Model, h.first.rec.Version != r.rec.Version, h.first.rec.Batch != r.rec.Batch,
				h.first.rec.BoughtOn != r.rec.BoughtOn, h.first.rec.SizeMM != r.rec.SizeMM, h.first.rec.Runner != r.rec.Runner,
				h.first.rec.Gait != r.rec.Gait, h.first.rec.Surface != r.rec.Surface, h.first.truth.PairLifeKM != r.truth.PairLifeKM:
				t.Fatalf("pair %s is another pair at its next visit", r.rec.PairRef)
			case same != (r.truth.KM == p.truth.KM), r.truth.KM < p.truth.KM:
				t.Fatalf("pair %s: %d km at visit %d, %d km at visit %d", r.rec.PairRef, p.truth.KM, p.truth.Visit, r.truth.KM, r.truth.Visit)
			case !same && h.done:
				t.Fatalf("pair %s is seen again after its trade-in", r.rec.PairRef)
			}
			for shoe := range 2 {
				for _, c := range worsens {
					if r.truth.State.Shoe[shoe][c].Int() < p.truth.State.Shoe[shoe][c].Int() {
						t.Fatalf("pair %s: %v recovered", r.rec.PairRef, c)
					}
				}
			}
		}
		if r.rec.KM.OK() {
			if r.rec.KM.Int() < h.told {
				t.Fatalf("pair %s: told %d km after %d", r.rec.PairRef, r.rec.KM.Int(), h.told)
			}
			h.told = r.rec.KM.Int()
		}
		if r.rec.Kind != assess.Blind && r.rec.Supersedes.IsZero() {
			h.seen++
		}
		h.done = h.done || r.rec.Kind == assess.TradeIn
		h.last = r
	}
	often := [8]int{}
	for _, h := range pairs {
		often[min(h.seen, 7)]++
	}
	if often[7] > 0 || often[1] == 0 || often[2] == 0 || often[6] == 0 {
		t.Errorf("pairs seen 0 to 7 times: %v, want 1 to 6", often)
	}
	several := 0
	for _, p := range returning {
		if len(p) > 1 {
			several++
		}
	}
	if share := float64(several) / float64(len(returning)); share < 0.3 {
		t.Errorf("%.2f of runners return with another pair", share)
	}
}

// share is a row of what share of records holds.
type share struct {
	name      string
	of        func(*row) bool // nil: all
	is        func(*row) bool
	low, high float64
	source    string
}

func checkShares(t *testing.T, rows []row, shares []share) {
	for _, s := range shares {
		t.Run(s.name, func(t *testing.T) {
			n, k := 0, 0
			for i := range rows {
				if s.of == nil || s.of(&rows[i]) {
					n++
					if s.is(&rows[i]) {
						k++
					}
				}
			}
			if got := float64(k) / float64(n); n == 0 || got < s.low || got > s.high {
				t.Errorf("%.4f of %d, want %.3f to %.3f (%s)", got, n, s.low, s.high, s.source)
			}
		})
	}
}

func TestSharesOfRecordsAreNearTheirTargets(t *testing.T) {
	_, rows := theFleet()
	const house = "house assumption, no source"
	live := func(r *row) bool { return r.rec.Kind != assess.Blind }
	strike := func(r *row) bool { return r.rec.Strike.OK() }
	known := func(r *row) bool { return r.rec.KM.OK() }
	estimated := func(r *row) bool { return r.rec.KMSource.Is(1) && r.rec.Distance.OK() }
	verdict := func(v assess.Verdict) func(*row) bool { return func(r *row) bool { return r.rec.Advised == v } }
	is := func(v assess.Value, n int) bool { return v.Is(n) }
	checkShares(t, rows, []share{
		// A runner has several pairs, so that shares of records spread wider than
		// those of as many runners: some 3,600 of them, 0.006 at 85 %.
		{"rearfoot", strike, func(r *row) bool { return is(r.rec.Strike, 0) }, 0.82, 0.88, "0.85, blend of Hasegawa 2007 (74.9 %), Larson 2011 (88.9 %), Kasmer 2013 (93.7 %), Patoz 2019 (71.1 %)"},
		{"midfoot", strike, func(r *row) bool { return is(r.rec.Strike, 1) }, 0.085, 0.135, "0.11, blend of Hasegawa 2007 (23.7 %), Larson 2011 (3.4 %), Patoz 2019 (16.6 %)"},
		{"forefoot", strike, func(r *row) bool { return is(r.rec.Strike, 2) }, 0.025, 0.055, "0.04, blend; Hasegawa 2007 (1.4 %), Larson 2011 (1.8 %) and asymmetric ones"},
		{"a store under 65 % rearfoot would be misclassifying", strike, func(r *row) bool { return is(r.rec.Strike, 0) }, 0.65, 0.94, "field studies 71–94 %"},

		{"trade-ins", nil, func(r *row) bool { return r.rec.Kind == assess.TradeIn }, 0.33, 0.45, house},
		{"checks", nil, func(r *row) bool { return r.rec.Kind == assess.WearCheck }, 0.50, 0.64, house},
		{"blind readings", nil, func(r *row) bool { return r.rec.Kind == assess.Blind }, 0.02, 0.045, house},
		{"visits that wear drove", live, func(r *row) bool { return r.truth.Why == sim.Felt }, 0.08, 0.20, house},
		{"visits for an offer", live, func(r *row) bool { return r.truth.Why == sim.Offer }, 0.02, 0.06, house},

		{"keep", live, verdict(assess.Keep), 0.35, 0.50, house},
		{"recheck", live, verdict(assess.RecheckPair), 0.15, 0.25, house},
		{"replace", live, verdict(assess.ReplacePair), 0.25, 0.40, house},
		{"retire", live, verdict(assess.RetirePair), 0.01, 0.03, house},
		{"incomplete", live, verdict(assess.Incomplete), 0.03, 0.06, house},
		{"given more than advised", live, func(r *row) bool { return r.rec.Given > r.rec.Advised && r.rec.Given < assess.Incomplete }, 0.01, 0.05, house},
		{"given less than advised", live, func(r *row) bool { return r.rec.Flags&assess.FlagGivenLess != 0 }, 0.0001, 0.01, house},

		{"distance unknown", nil, func(r *row) bool { return !r.rec.KM.OK() }, 0.05, 0.15, house},
		{"told in miles", known, func(r *row) bool { return r.rec.KMUnit.Is(assess.Miles) }, 0.40, 0.60, "two regions of four"},
		{"estimates at a multiple of 50", estimated, func(r *row) bool { return r.rec.Distance.Int()%500 == 0 }, 0.90, 1, house},
		{"estimates at a multiple of 100", estimated, func(r *row) bool { return r.rec.Distance.Int()%1000 == 0 }, 0.55, 0.85, house},
		{"date of purchase known", nil, func(r *row) bool { return r.rec.BoughtOn != "" }, 0.70, 0.90, house},

		{"gait known", nil, func(r *row) bool { return r.rec.Gait.OK() }, 0.85, 0.95, house},
		{"gait before the wear was read", func(r *row) bool { return r.rec.Gait.OK() }, func(r *row) bool { return r.rec.GaitBefore.Is(assess.Yes) }, 0.78, 0.88, house},
		{"gait observed as it is", func(r *row) bool { return r.rec.Gait.OK() }, func(r *row) bool { return r.rec.Gait.Is(r.truth.Gait) }, 0.88, 0.96, house},
		{"tilt measured where the counter looks square", func(r *row) bool { return r.rec.Shoe[0][assess.Stand].Is(assess.Square) }, func(r *row) bool { return r.rec.Shoe[0][assess.Tilt].OK() }, 0.01, 0.04, house},
		{"tilt measured where it doesn't", func(r *row) bool { return r.rec.Shoe[0][assess.Stand].Int() > assess.Square }, func(r *row) bool { return r.rec.Shoe[0][assess.Tilt].OK() }, 0.90, 0.98, house},
		{"depth measured", nil, func(r *row) bool { return r.rec.Shoe[0][assess.HeelMedialMM].OK() }, 0.01, 0.05, house},
		{"can't read", live, func(r *row) bool {
			return slices.ContainsFunc(r.rec.Shoe[0][:], assess.Value.Cant) || slices.ContainsFunc(r.rec.Shoe[1][:], assess.Value.Cant)
		}, 0.01, 0.035, house},
		{"a second reader", live, func(r *row) bool { return r.rec.SecondReader != "" }, 0.10, 0.35, house},
		{"notes", live, func(r *row) bool { return r.rec.Note != "" }, 0.005, 0.02, house},
		{"trail models run on trail or mixed ground", func(r *row) bool { return r.rec.UsedFor.Is(0) && isTrail(r) }, func(r *row) bool { return r.rec.Surface.Is(1) || r.rec.Surface.Is(3) }, 0.95, 1, house},
		{"other models run on trail", func(r *row) bool { return !isTrail(r) }, func(r *row) bool { return r.rec.Surface.Is(1) }, 0, 0.04, house},
		{"voided", nil, func(r *row) bool { return !r.rec.VoidedAt.IsZero() }, 0.0005, 0.005, house},
		{"superseding", nil, func(r *row) bool { return !r.rec.Supersedes.IsZero() }, 0.001, 0.006, house},
	})
}

// isTrail reports whether the record is of a trail model.
func isTrail(r *row) bool {
	f, _ := theFleet()
	return f.Models[r.truth.Model].AsNew.Trail
}

func TestTraineesAlwaysHaveACoReader(t *testing.T) {
	f, rows := theFleet()
	n := 0
	for i := range rows {
		if r := &rows[i]; f.Staff[r.truth.Reader].Role == retail.Trainee && r.rec.Kind != assess.Blind {
			n++
			if r.rec.SecondReader == "" {
				t.Fatalf("%s: %s read alone", r.rec.ID, r.rec.Staff)
			}
		}
	}
	if n == 0 {
		t.Error("no trainee read a pair")
	}
}

func TestNobodyReadsAPairBlindWhoReadItOpenlyThatDay(t *testing.T) {
	_, rows := theFleet()
	type visit struct{ pair, staff, day string }
	of := func(r *row) visit { return visit{r.rec.PairRef, r.rec.Staff, r.rec.At.Format(time.DateOnly)} } // opening hours lie within one day of UTC
	open := map[visit]bool{}
	for i := range rows {
		if rows[i].rec.Kind != assess.Blind {
			open[of(&rows[i])] = true
		}
	}
	blind := 0
	for i := range rows {
		if r := &rows[i]; r.rec.Kind == assess.Blind {
			blind++
			if open[of(r)] {
				t.Errorf("record %s is not blind", r.rec.ID)
			}
		}
	}
	if blind == 0 {
		t.Error("nothing was read blind")
	}
}

func TestLessThanAdvisedHasASecondPersonAndAReason(t *testing.T) {
	_, rows := theFleet()
	for i := range rows {
		r := &rows[i].rec
		if less := r.Flags&assess.FlagGivenLess != 0; less != (r.GivenReason != "") || less && r.SecondReader == "" {
			t.Errorf("%s: advised %s, given %s for %q with %q", r.ID, r.Advised, r.Given, r.GivenReason, r.SecondReader)
		}
	}
}

func TestWithoutJudgeTheVerdictsAreLeftOpen(t *testing.T) {
	for rec := range sim.New(sim.Options{Inspections: 500}).Inspections() {
		if rec.Advised != assess.NoVerdict || rec.Given != assess.NoVerdict || rec.Rules != 0 || rec.Flags != 0 {
			t.Fatalf("%s: advised %s, given %s, rules %d, flags %b", rec.ID, rec.Advised, rec.Given, rec.Rules, rec.Flags)
		}
	}
}

func TestTheTrueStateIsWornFromTheTrueLifeOn(t *testing.T) {
	f, rows := theFleet()
	var result assess.Result
	worn := 0
	for i := range rows {
		truth := &rows[i].truth
		assess.Default().Judge(&truth.State, &f.Models[truth.Model].AsNew, &result)
		if replaced := result.Verdict == assess.ReplacePair || result.Verdict == assess.RetirePair; replaced != truth.Worn() {
			t.Fatalf("%s: %s at %d km, life %d km by %v", rows[i].rec.ID, result.Verdict, truth.KM, truth.PairLifeKM, truth.EndsBy)
		}
		if truth.Worn() {
			worn++
		}
	}
	if worn == 0 || worn == len(rows) {
		t.Errorf("%d of %d are worn", worn, len(rows))
	}
}

// moments returns mean and standard deviation.
func moments(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sd / float64(len(x)-1))
}

func TestTiltIsReadWithTheErrorsOfItsSource(t *testing.T) {
	f := sim.New(sim.Options{Seed: 6, Inspections: 150_000})
	within, all := map[int][]float64{}, []float64(nil)
	for rec, truth := range f.Inspections() {
		for i := range rec.Shoe {
			s := &rec.Shoe[i]
			if s[assess.TiltBy].Is(assess.ByPhoto) && s[assess.TiltN].Is(1) {
				off := float64(s[assess.Tilt].Int()-truth.State.Shoe[i][assess.Tilt].Int()) / 100
				within[truth.Reader] = append(within[truth.Reader], off)
				all = append(all, off)
			}
		}
	}
	var pooled, n float64
	for _, x := range within {
		if len(x) > 1 {
			_, sd := moments(x)
			pooled += sd * sd * float64(len(x)-1)
			n += float64(len(x) - 1)
		}
	}
	_, sd := moments(all)
	if got := math.Sqrt(pooled / n); math.Abs(got-1) > 0.05 {
		t.Errorf("one reader: SD %.2f°, want 1.0 ± 0.05 (Haight et al. 2005: 95 %% limits about 2°)", got)
	}
	// 54 people at the benches: their own offsets alone spread by 10 %.
	if sd < 1.3 || sd > 1.9 {
		t.Errorf("between readers: SD %.2f°, want 1.6 ± 0.3 (Haight et al. 2005: 95 %% limits 2.2–4.1°)", sd)
	}
}

func TestVisitsFollowTheSeason(t *testing.T) {
	f := sim.New(sim.Options{Seed: 8, Inspections: 60_000})
	months, day := map[string]float64{}, map[string]float64{}
	for rec := range f.Inspections() {
		months[rec.At.Format("2006-01")]++
	}
	for d := f.Start(); d.Before(f.End()); d = d.AddDate(0, 0, 1) {
		if d.Weekday() != time.Sunday {
			day[d.Format("2006-01")]++
		}
	}
	if len(months) != 24 {
		t.Fatalf("%d months", len(months))
	}
	perDay := func(suffixes ...string) float64 {
		n, days := 0.0, 0.0
		for month := range months {
			if slices.ContainsFunc(suffixes, func(s string) bool { return strings.HasSuffix(month, s) }) {
				n, days = n+months[month], days+day[month]
			}
		}
		return n / days
	}
	year := 60_000 / 626.0 // open days of 24 months
	for _, row := range []struct {
		name      string
		got       float64
		low, high float64
	}{
		{"spring is busiest", perDay("-04", "-05") / year, 1.08, 1.25},
		{"autumn is busy", perDay("-09", "-10") / year, 1.03, 1.20},
		{"midwinter is quiet", perDay("-12", "-01") / year, 0.80, 0.96},
		{"high summer is quiet", perDay("-07", "-08") / year, 0.80, 0.98},
	} {
		t.Run(row.name, func(t *testing.T) {
			if row.got < row.low || row.got > row.high {
				t.Errorf("%.3f of a mean day, want %.2f to %.2f (house assumption, no source)", row.got, row.low, row.high)
			}
		})
	}
	t.Run("the fleet neither grows nor shrinks", func(t *testing.T) {
		first, second := 0.0, 0.0
		for month, n := range months {
			if month < "2025-11" {
				first += n
			} else {
				second += n
			}
		}
		if r := second / first; r < 0.93 || r > 1.07 {
			t.Errorf("the second year has %.3f of the first", r)
		}
	})
}

func TestPairsTriedGoWithWhatWasChosen(t *testing.T) {
	f := sim.New(sim.Options{Seed: 2, Inspections: 20_000})
	sold := map[assess.UUID]retail.ShoeModel{}
	for _, m := range f.Models {
		sold[m.ID] = m
	}
	fittings, written, several := 0, 0, 0
	for fit := range f.Fittings() {
		fittings++
		if len(fit.Tried) == 0 {
			continue
		}
		written++
		if len(fit.Tried) > 1 {
			several++
		}
		chosen, day := 0, fit.At.Format(time.DateOnly)
		for _, p := range fit.Tried {
			m, known := sold[p.Model]
			switch {
			case !known || p.Size == "":
				t.Fatalf("fitting %s: %+v is no shoe of the catalogue in a size", fit.ID, p)
			case p.Outcome == "chosen":
				if chosen++; p.Model != fit.ChosenID || p.Size != fit.ChosenSize {
					t.Fatalf("fitting %s: %+v is not what was chosen", fit.ID, p)
				}
			case m.Released > day || m.Retired != "" && m.Retired <= day:
				t.Fatalf("fitting %s: %s %s was not on the shelf", fit.ID, m.Brand, m.Model)
			case (p.Outcome == "put-back") == (p.Felt == "comfortable"):
				t.Fatalf("fitting %s: %+v", fit.ID, p)
			}
		}
		if want := !fit.ChosenID.IsZero(); (chosen == 1) != want || chosen > 1 {
			t.Fatalf("fitting %s: %d of the pairs tried are chosen, a pair was: %v", fit.ID, chosen, want)
		}
	}
	if got := float64(written) / float64(fittings); math.Abs(got-0.62) > 0.06 || several < written/3 {
		t.Errorf("pairs tried are written down at %.2f of %d fittings, several at %d; want 0.62 ± 0.06 and a third (assumption)", got, fittings, several)
	}
}

func TestFeetAreThoseOfTheirSources(t *testing.T) {
	f := sim.New(sim.Options{Seed: 2, Inspections: 60_000})
	feet := map[string][2]retail.Foot{}
	posture := []float64(nil)
	at, codes := map[string]retail.Fitting{}, map[string]bool{}
	for r := range f.Runners() {
		codes[r.Code] = true
	}
	for fit := range f.Fittings() {
		if !codes[fit.Runner] || fit.ID.Version() != 7 {
			t.Fatalf("fitting %s of runner %s", fit.ID, fit.Runner)
		}
		if before, again := feet[fit.Runner]; again && (before[0].LengthMM != fit.Foot[0].LengthMM || before[1].LengthMM != fit.Foot[1].LengthMM) {
			t.Fatalf("runner %s has other feet", fit.Runner)
		}
		if _, ok := feet[fit.Runner]; !ok {
			if sum := assess.PostureSum(fit.Foot[0].Posture); sum.OK() {
				posture = append(posture, float64(sum.Int()))
			}
		}
		feet[fit.Runner] = fit.Foot
		at[fit.Store+fit.OldPair+fit.At.Format(time.DateOnly)] = *fit
	}
	var length []float64
	apart := 0
	for _, f := range feet {
		length = append(length, float64(f[0].LengthMM))
		if d := f[0].LengthMM - f[1].LengthMM; d > 4 || d < -4 {
			apart++
		}
	}
	mean, _ := moments(length)
	if want := 0.55*270.2 + 0.45*248.9; math.Abs(mean-want) > 1 {
		t.Errorf("mean foot %.1f mm, want %.1f ± 1 (men 270.2 ± 13.3, women 248.9 ± 12.1, cohort of 577 each; 55 %% men)", mean, want)
	}
	if got := float64(apart) / float64(len(feet)); math.Abs(got-0.19) > 0.03 {
		t.Errorf("%.3f of feet differ by more than 4 mm, want 0.19 ± 0.03 (UK survey 2018, n = 2,890)", got)
	}
	mean, sd := moments(posture)
	if math.Abs(mean-4) > 0.15 || sd < 2.4 || sd > 3.1 {
		t.Errorf("Foot Posture Index %.2f ± %.2f, want +4 (Redmond, Crane & Menz 2008) and 2.5–3 (assumption)", mean, sd)
	}

	matched := 0
	for rec := range f.Inspections() {
		fit, ok := at[rec.Store+rec.PairRef+rec.At.Format(time.DateOnly)]
		if !ok || rec.Kind == assess.Blind || !rec.Supersedes.IsZero() {
			continue
		}
		matched++
		if fit.Gait != rec.Gait || rec.Gait.OK() && fit.BeforeWear != rec.GaitBefore || fit.Runner != rec.Runner ||
			fit.BeforeWear.Is(assess.Yes) != fit.At.Before(rec.At) {
			t.Fatalf("fitting %s at %s doesn't go with record %s at %s", fit.ID, fit.At, rec.ID, rec.At)
		}
		for i := range fit.Foot {
			band := assess.CurrentPostureBands().Band(assess.PostureSum(fit.Foot[i].Posture))
			if band.OK() && rec.Posture[i].OK() && band != rec.Posture[i] {
				t.Fatalf("record %s: posture %d, at the fitting %d", rec.ID, rec.Posture[i].Int(), band.Int())
			}
		}
	}
	if matched != len(at) {
		t.Errorf("%d of %d fittings belong to a record", matched, len(at))
	}
}

func TestHealthDataIsKeptWithConsentOnly(t *testing.T) {
	f, rows := theFleet()
	consent := map[string]string{}
	for r := range f.Runners() {
		consent[r.Code] = r.HealthNotes.Date
	}
	n := 0
	for i := range rows {
		r := &rows[i].rec
		if r.Posture[0] == assess.Unread && r.Posture[1] == assess.Unread && r.Pair(assess.PainMentioned) == assess.Unread {
			continue
		}
		n++
		if date := consent[r.Runner]; date == "" || date > r.At.Format(time.DateOnly) {
			t.Fatalf("%s of %s: consent %q", r.At, r.Runner, date)
		}
	}
	if n == 0 {
		t.Error("nobody consented")
	}
}

func TestSalesHoldEveryPairThatWasSold(t *testing.T) {
	f, rows := theFleet()
	type cell struct {
		store string
		model assess.UUID
		batch string
		month string
	}
	sold := map[cell]int{}
	total, order := 0, ""
	for s := range f.Sales() {
		c := cell{s.Store, s.Model, s.Batch, s.Month}
		if _, twice := sold[c]; twice || s.Pairs < 1 || s.Month < order {
			t.Fatalf("%+v is given twice, empty or out of order", s)
		}
		sold[c], order = s.Pairs, s.Month
		total += s.Pairs
	}
	// A pair whose date and batch are known was bought in the window at one of
	// the stores, or elsewhere with the batch read off the tongue.
	seen := map[uint64]bool{}
	found, pairs := 0, 0
	for i := range rows {
		r := &rows[i]
		if seen[r.truth.Pair] || r.rec.BoughtOn < f.Start().Format(time.DateOnly) || r.rec.Batch == "" {
			continue
		}
		seen[r.truth.Pair] = true
		pairs++
		for _, s := range f.Stores {
			if sold[cell{s.Code, f.Models[r.truth.Model].ID, r.rec.Batch, r.rec.BoughtOn[:7]}] > 0 {
				found++
				break
			}
		}
	}
	if share := float64(found) / float64(pairs); share < 0.98 {
		t.Errorf("%.3f of %d pairs with date and batch stand among the sales", share, pairs)
	}
	known := 0
	for p := range f.Pairs() {
		if p.InWindow {
			known++
		}
	}
	if total < known || total > 4*known {
		t.Errorf("%d pairs sold, %d of them to the fleet's runners", total, known)
	}
}

func TestPairsAreThePopulationBehindTheRecords(t *testing.T) {
	f, rows := theFleet()
	type key struct {
		pair uint64
		life int
	}
	visits := map[key]map[int]bool{}
	for i := range rows {
		truth := &rows[i].truth
		k := key{truth.Pair, truth.PairLifeKM}
		if visits[k] == nil {
			visits[k] = map[int]bool{}
		}
		visits[k][truth.Visit] = true
	}
	planned, seen, unseen := 0, 0, 0
	for p := range f.Pairs() {
		got := len(visits[key{p.Pair, p.LifeKM}])
		delete(visits, key{p.Pair, p.LifeKM})
		if got > p.Visits {
			t.Fatalf("pair %s has %d visits on record and %d in the plan", p.Ref, got, p.Visits)
		}
		planned, seen = planned+p.Visits, seen+got
		if p.Visits == 0 {
			unseen++
		}
	}
	// The last runner's records are cut so that the number is exact.
	if len(visits) > 0 || planned-seen > 40 || unseen == 0 {
		t.Errorf("%d pairs on record are none of the fleet's; %d visits planned, %d on record; %d pairs unseen", len(visits), planned, seen, unseen)
	}
}

func TestMemoryGoesWithRunnersAndNotWithInspections(t *testing.T) {
	f := sim.New(sim.Options{Seed: 1, Inspections: 200_000})
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before, n, most := heap(), 0, uint64(0)
	for range f.Inspections() {
		if n++; n%50_000 == 1 {
			most = max(most, heap())
		}
	}
	if n != f.Len() {
		t.Errorf("%d records, want %d", n, f.Len())
	}
	// 200,000 records of 900 bytes would be 180 MB; 36,000 runners at 40 bytes
	// and a day's records are 2 MB.
	if grown := int64(most) - int64(before); grown > 6<<20 {
		t.Errorf("the heap grew by %d bytes", grown)
	}
}

func BenchmarkInspections(b *testing.B) {
	for _, judge := range []bool{false, true} {
		b.Run(fmt.Sprintf("judge=%v", judge), func(b *testing.B) {
			f := sim.New(sim.Options{Seed: 1, Inspections: 200_000, Judge: judge})
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				for range f.Inspections() {
					n++
				}
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "records/s")
		})
	}
}

func BenchmarkNew(b *testing.B) {
	const inspections = 200_000
	for b.Loop() {
		sim.New(sim.Options{Seed: 1, Inspections: inspections})
	}
	b.ReportMetric(float64(inspections*b.N)/b.Elapsed().Seconds(), "records/s")
}
