package sim

import (
	"cmp"
	"fmt"
	"slices"

	"solewright/models/retail"
)

// regionPlan is a region with the zones its stores lie in. The offset is that
// of the zone's standard time: opening hours are kept in it all year, so that
// the data doesn't depend on a time zone database. All offsets and opening
// hours are such that a store's open day lies within one UTC day.
type regionPlan struct {
	code, name, currency, unit string
	zones                      []zonePlan
	size                       sizeSystem
}

type zonePlan struct {
	name   string
	offset int // seconds east of UTC
}

var regionPlans = [...]regionPlan{
	{"N", "North", "GBP", "mi", []zonePlan{{"Europe/London", 0}}, sizeUK},
	{"E", "East", "EUR", "km", []zonePlan{{"Europe/Berlin", 3600}, {"Europe/Vienna", 3600}}, sizeEU},
	{"S", "South", "EUR", "km", []zonePlan{{"Europe/Madrid", 3600}, {"Europe/Lisbon", 0}}, sizeEU},
	{"W", "West", "USD", "mi", []zonePlan{{"America/New_York", -5 * 3600}}, sizeUS},
}

// Opening hours in standard time of the store, seconds of the day.
const (
	opens  = 10 * 3600
	closes = 17*3600 + 45*60
)

// store is what the simulation knows of a store beside its record.
type store struct {
	region  int
	offset  int
	bench   []int // who reads at the bench, by place in Fleet.Staff
	devices [2]string
	weight  int
	offers  []window
	races   []window
}

// window is a span of the calendar in ticks.
type window struct{ from, to int32 }

// reader is how one person reads.
type reader struct {
	trainee bool
	// up and down are the chances to grade a zone one too worn or one too fresh.
	up, down share
	// word is the chance to be one step off on a scale of words.
	word share
	// bias is the person's own offset in degrees of tilt, hundredths.
	bias int32
	// hard is the chance beyond word to read a word one step too worn.
	hard share
	// unread is the chance to leave a needed check out.
	unread share
}

// How well people read. The grades are house assumptions; the tilt is from
// Haight et al. 2005: 95 % limits of about 2° for one rater and 2.2–4.1°
// between raters, hence 1.0° within and 1.6° in all.
const (
	typicalUp    = 2.6 // % of grades read one too worn
	typicalDown  = 3.2 // % read one too fresh
	typicalWord  = 1.1 // % of words read one step off
	traineeTimes = 2
	sdWithin     = 100 // hundredths of a degree
	sdBetween    = 125 // √(1.6² − 1.0²)
	sdByEye      = 200 // by eye: the method's own component
	sdStand      = 35  // what the eye sees of a lean without measuring: house assumption
)

// Staffing: two at each bench, three at one bench in four; one bench in three
// has a trainee. With a manager for each region, a trainer and the office, 24
// stores come to 60 people.
const thirdEvery, traineeEvery = 4, 3

// buildPlaces makes regions, stores and staff. They don't depend on the seed:
// the retailer is the same, its customers differ.
func (f *Fleet) buildPlaces(n int) {
	key := derive(f.house, keyStore, 0)
	for _, r := range regionPlans {
		f.Regions = append(f.Regions, retail.Region{Code: r.code, Name: r.name, Currency: r.currency})
	}
	for i := range n {
		r := i % len(regionPlans)
		nth := i / len(regionPlans)
		plan := &regionPlans[r]
		zone := plan.zones[nth%len(plan.zones)]
		code := fmt.Sprintf("%s%d", plan.code, nth+1)
		d := roll(derive(key, keyStore, uint64(i)))
		s := store{
			region: r, offset: zone.offset,
			devices: [2]string{code + "-T1", code + "-T2"},
			weight:  60 + d.below(90),
		}
		f.Stores = append(f.Stores, retail.Store{
			Code: code, Name: townName(i), Region: plan.code, Zone: zone.name, Currency: plan.currency, Unit: plan.unit,
		})
		heads := 2
		if (nth+r)%thirdEvery == 0 {
			heads = 3
		}
		for k := range heads {
			role := retail.Fitter
			if k == heads-1 && i%traineeEvery == 1 {
				role = retail.Trainee
			}
			s.bench = append(s.bench, len(f.Staff))
			f.hire(fmt.Sprintf("%s-%02d", code, k+1), role, retail.Scope{Store: code})
		}
		f.stores = append(f.stores, s)
	}
	for _, r := range f.Regions {
		f.hire(r.Code+"-01", retail.Manager, retail.Scope{Region: r.Code})
	}
	f.hire("HQ-01", retail.Trainer, retail.Scope{})
	f.hire("HQ-02", retail.Office, retail.Scope{})

	for i := range f.stores {
		s := &f.stores[i]
		f.storeTotal += s.weight
		f.storeSums = append(f.storeSums, f.storeTotal)
		f.regionStores[s.region] = append(f.regionStores[s.region], i)
	}
}

// hire adds a person with their own way of reading. People differ in skill as
// runners do in habit: house assumption.
func (f *Fleet) hire(code string, role retail.Role, scope retail.Scope) {
	d := roll(derive(f.house, keyStaff, uint64(len(f.Staff))))
	t := f.tables
	r := reader{
		trainee: role == retail.Trainee,
		up:      share(scale(int32(pct(typicalUp)), t.habit[d.q()])),
		down:    share(scale(int32(pct(typicalDown)), t.habit[d.q()])),
		word:    share(scale(int32(pct(typicalWord)), t.habit[d.q()])),
		bias:    scale(sdBetween, t.normal[d.q()]),
		unread:  pct(unreadPct),
	}
	if r.trainee {
		r.up *= traineeTimes
		r.down *= traineeTimes
		r.word *= traineeTimes
		r.unread *= traineeTimes
	}
	f.Staff = append(f.Staff, retail.Staff{Code: code, Role: role, Scopes: []retail.Scope{scope}})
	f.readers = append(f.readers, r)
}

// homeStore draws a store by weight.
func (f *Fleet) homeStore(d *dice) int {
	i, _ := slices.BinarySearch(f.storeSums, d.below(f.storeTotal)+1)
	return i
}

// Offers: three a year at each store, nine days each; one race weekend a year
// in each region. All are house assumptions.
const (
	offersPerYear = 3
	offerDays     = 9
	raceDays      = 3
)

// buildEvents plans the offers and races of the whole window.
func (f *Fleet) buildEvents() {
	for i := range f.stores {
		s := &f.stores[i]
		d := roll(derive(f.house, keyEvent, uint64(i)))
		for year := 0; f.burn+year*365 < f.days; year++ {
			first := f.burn + year*365
			for o := range offersPerYear {
				// Regions start a month apart, stores within ten days of each other.
				from := first + o*365/offersPerYear + 20 + 25*s.region + d.below(10)
				f.addEvent(i, from, offerDays, offerWords[o], &s.offers)
			}
			f.addEvent(i, first+60+70*s.region, raceDays, raceWord, &s.races)
		}
	}
	slices.SortFunc(f.Events, func(a, b retail.Event) int {
		if c := cmp.Compare(a.From, b.From); c != 0 {
			return c
		}
		return cmp.Compare(a.Store, b.Store)
	})
}

// addEvent notes an event of some days at a store, cut at the window's end.
func (f *Fleet) addEvent(store, from, days int, word string, in *[]window) {
	to := min(from+days, f.days) - 1
	if from > to {
		return
	}
	*in = append(*in, window{f.cum[from], f.cum[to+1]})
	f.Events = append(f.Events, retail.Event{
		Store: f.Stores[store].Code, From: f.dates[from], To: f.dates[to], Word: word,
	})
}
