package sim

import (
	"iter"
	"slices"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

// creditPlan is what a retailer gives for a pair in one currency. All amounts
// are invented.
type creditPlan struct {
	currency string
	// full is the credit of a pair in condition A, B and C that is younger than a
	// year, in minor units.
	full [3]int64
}

var creditPlans = [...]creditPlan{
	{"EUR", [...]int64{4000, 2500, 1000}},
	{"GBP", [...]int64{3500, 2200, 900}},
	{"USD", [...]int64{4500, 2800, 1100}},
}

// House assumptions about credit and hand-over, in percent unless said
// otherwise. Older pairs are worth less; grades D and X nothing, and trail
// models a fifth more, since they resell.
const (
	yearOldPct    = 60 // of the full credit from one year on
	twoYearsPct   = 25 // from two years on
	trailMorePct  = 120
	raisedPct     = 110 // of the first tables, from half the window on
	otherRoutePct = 12  // another open route than the one proposed
	overridePct   = 2.5
	overrideMinor = 500 // what a manager adds
)

// Minutes from a reading to its hand-over, well before a blind reading.
const handOverAfter, handOverMore = 2, 4

// overrideReasons are said for more credit than the table's.
var overrideReasons = [...]string{"comes every month", "bought two pairs", "was promised before", "returned a lot of pairs"}

// creditCategory is the category with rows of its own.
const creditCategory = "trail"

// CreditTables returns the credit tables, numbered from 1 in the order in which
// they are issued: one for each currency of the stores from the start of the
// window, and another from half of it on.
func (f *Fleet) CreditTables() []assess.CreditTable {
	var all []assess.CreditTable
	half := f.start.AddDate(0, 0, (f.days-f.burn)/2)
	for _, issue := range []struct {
		from time.Time
		pct  int64
	}{{f.start, 100}, {half, raisedPct}} {
		for _, plan := range creditPlans {
			t := assess.CreditTable{Number: len(all) + 1, From: issue.from.Format(time.DateOnly), Currency: plan.currency}
			for _, category := range []struct {
				name string
				pct  int64
			}{{"", 100}, {creditCategory, trailMorePct}} {
				for i, full := range plan.full {
					for _, age := range []struct {
						under int
						pct   int64
					}{{365, 100}, {730, yearOldPct}, {0, twoYearsPct}} {
						t.Rows = append(t.Rows, assess.CreditRow{
							Grade: assess.GradeA + assess.GradeLetter(i), Category: category.name, UnderDays: age.under,
							Minor: full * issue.pct / 100 * category.pct / 100 * age.pct / 100,
						})
					}
				}
			}
			t.Rows = append(t.Rows, assess.CreditRow{Grade: assess.GradeD}, assess.CreditRow{Grade: assess.GradeX})
			all = append(all, t)
		}
	}
	return all
}

// TradeIn is the hand-over of a pair after its last reading.
type TradeIn struct {
	ID, Inspection                assess.UUID
	PairRef, Store, Staff, Device string
	At                            time.Time
	Grade                         assess.GradeLetter
	Route                         assess.Route
	// Credit is what was given and Advised what the table says, in minor units of
	// Currency. Table is the place in CreditTables.
	Credit, Advised int64
	Currency        string
	Table           int
	// OverrideBy and Reason stand where Credit is not Advised.
	OverrideBy, Reason string
	Voucher            string
}

// TradeIns yields the hand-overs of pairs, in order of time: one for each last
// reading for trade-in that stands and that the default rules give a grade. The
// pointer is good until the next turn of the loop.
func (f *Fleet) TradeIns() iter.Seq[*TradeIn] {
	return func(yield func(*TradeIn) bool) {
		b := &bench{f: f}
		tables := f.CreditTables()
		for h, p := range f.visits() {
			stands := !h.voided && h.sub == 0 && !h.amended || h.amended && h.sub == 1
			if p.visits[h.visit].kind != assess.TradeIn || !stands {
				continue
			}
			b.read(h, p)
			if t := b.handOver(h, p, tables); t != nil && !yield(t) {
				return
			}
		}
	}
}

// handOver makes the hand-over of the pair that was just read; nil where it has
// no grade.
func (b *bench) handOver(h *happening, p *pair, tables []assess.CreditTable) *TradeIn {
	f, rec := b.f, &b.rec
	model := &f.Models[p.model]
	assess.Default().Judge(&rec.Reading, &model.AsNew, &b.result)
	if b.result.Grade == assess.NoGrade {
		return nil
	}
	d := roll(derive(p.key, keyTradeIn, uint64(h.visit)))
	at := rec.At.Add(time.Duration(handOverAfter*60+d.below(handOverMore*60)) * time.Second)
	t := &TradeIn{
		ID: uuidAt(at, d.next(), d.next()), Inspection: rec.ID, PairRef: rec.PairRef,
		Store: rec.Store, Staff: rec.Staff, Device: rec.Device, At: at,
		Grade: b.result.Grade, Route: b.result.Route, Currency: f.Stores[h.store].Currency,
	}
	if d.chance(pct(otherRoutePct)) {
		var others []assess.Route
		for _, o := range assess.Default().Routes(t.Grade) {
			if o.Open && o.Route != assess.BackToRunner && o.Route != t.Route {
				others = append(others, o.Route)
			}
		}
		if len(others) > 0 {
			t.Route = others[d.below(len(others))]
		}
	}
	// The latest table of the currency that has begun; the day is that of UTC,
	// which in opening hours is the store's.
	day := at.Format(time.DateOnly)
	for i := range tables {
		if tables[i].Currency == t.Currency && tables[i].From <= day {
			t.Table = i
		}
	}
	t.Advised, _ = tables[t.Table].Credit(t.Grade, model.Category, rec.AgeDays) // there is a row for every grade
	t.Credit = t.Advised
	if t.Advised > 0 && d.chance(pct(overridePct)) {
		region := f.Stores[h.store].Region
		manager := slices.IndexFunc(f.Staff, func(s retail.Staff) bool {
			return s.Role == retail.Manager && slices.Contains(s.Scopes, retail.Scope{Region: region})
		})
		t.Credit += overrideMinor
		t.OverrideBy, t.Reason = f.Staff[manager].Code, overrideReasons[d.below(len(overrideReasons))]
	}
	if t.Credit > 0 {
		t.Voucher = "V-" + rec.PairRef
	}
	return t
}
