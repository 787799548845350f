package wear

import (
	"cmp"
	"crypto/sha256"
	"math"
	"slices"
	"strings"

	"solewright/assess"
	"solewright/models/retail"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// Kind is what a signal is about.
type Kind string

// The kinds of signal, in the order in which they are worth acting on: a
// possible fault of a shoe touches runners today, a store that reads apart
// spoils every other number, a pattern teaches, a month asks for a look.
// The order is a house value.
const (
	EarlyBatch Kind = "early-batch"
	StoreApart Kind = "store-apart"
	ModelWears Kind = "model-wears"
	MonthMoved Kind = "month-moved"
)

// Kinds are the kinds in that order.
var Kinds = []Kind{EarlyBatch, StoreApart, ModelWears, MonthMoved}

// Signal is a finding that chance would hardly give.
type Signal struct {
	ID   assess.UUID `json:"id"`
	Kind Kind        `json:"kind"`
	// Scope is whose stores it was found in, Month the last month looked at.
	Scope string `json:"scope"`
	Month string `json:"month"`
	// What it is about; fields that don't apply are empty. Model is an id, Label
	// its name.
	Model string `json:"model,omitempty"`
	Label string `json:"label,omitempty"`
	Batch string `json:"batch,omitempty"`
	// Category is the model's.
	Category string `json:"category,omitempty"`
	Store    string `json:"store,omitempty"`
	Gait     string `json:"gait,omitempty"`
	Part     string `json:"part,omitempty"`
	Pattern  string `json:"pattern,omitempty"`
	// Reason is the commonest worst finding of the pairs, and of how many.
	Reason  string `json:"reason,omitempty"`
	ReasonN int    `json:"reason_n,omitempty"`

	// Hits of Size pairs, with the Wilson interval of the share.
	Hits  int     `json:"hits"`
	Size  int     `json:"size"`
	Share float64 `json:"share"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	// Expected is the share that like pairs elsewhere have.
	Expected float64 `json:"expected"`
	// P is the chance of a finding as far out among units that differ as they do, Q
	// the same after Benjamini and Hochberg over everything of the kind that was
	// tested, Tested.
	P      float64 `json:"p"`
	Q      float64 `json:"q"`
	Tested int     `json:"tested"`
	// Beyond is how many pairs the near end of the interval leaves beyond what
	// was expected.
	Beyond float64 `json:"beyond"`
}

// Thresholds of signals. House values, but for the 250 km, which is where a
// failure is a possible fault of the shoe by the default rules.
const (
	MinPairs = 20   // below, nothing is ranked
	maxQ     = 0.05 // the share of false signals among all that are shown
	EarlyKM  = 250
	bandKM   = 50
	conf     = 0.95
	// recentMonths is how far back a month that moved is still news.
	recentMonths = 3
)

// Signals looks for what stands out among the pairs asked about, the most worth
// acting on first. The pattern, the part and By of the question don't count.
//
//   - A batch: readings of one batch under 250 km that found the pair worn, against
//     those of the same category at the same distance (bands of 50 km), moved to
//     where the model's other batches lie; the exact Poisson-binomial tail, among
//     batches that differ as they do.
//   - A store: readings that found the pair worn, against those of the same kind
//     of visit, category and distance (bands of 100 km) in all other stores: it is
//     readings that a store's people make; z over how stores vary.
//   - A model under one gait: a medial or lateral pattern, against other models
//     of its category under that gait; the binomial tail, among models that differ
//     as they do, which also holds the likeness of one runner's pairs.
//   - A month of the last three: readings that found the pair worn, against like
//     readings of all other months; z over how months vary.
//
// Stores, models, batches and months are never quite alike, so chance alone is no
// measure: how far they lie apart is measured from all of them, the outer tenths
// pulled in, and one stands out only against that; see [stats.OddsSpread] and
// [stats.MeasureDispersion].
//
// Groups under 20 pairs are not tested. Within a kind, q is by Benjamini–Hochberg
// over all that were tested, and what is left goes by how many pairs are beyond
// expectation at the near end of the interval.
func Signals(v *fleet.View, a Ask) ([]Signal, error) {
	a.Pattern, a.Part, a.By, a.Readings = "", Heel, nil, false
	month, err := lastMonth(v, a)
	if err != nil || month == "" {
		return nil, err
	}
	var all []Signal
	for _, find := range []func(*fleet.View, Ask) ([]Signal, error){earlyBatches, storesApart, modelWear, monthsMoved} {
		found, err := find(v, a)
		if err != nil {
			return nil, err
		}
		all = append(all, settle(found)...)
	}
	scope := ScopeWord(a.Scopes)
	for i := range all {
		s := &all[i]
		s.Scope = scope
		if s.Month == "" {
			s.Month = month
		}
		s.ID = signalID(s)
		if s.Model != "" {
			s.Label = v.Label(fleet.Model, s.Model)
		}
	}
	return all, addReasons(v, a, all)
}

// settle gives the findings of one kind their q, and leaves those that are
// signals, most pairs beyond expectation first.
func settle(tested []Signal) []Signal {
	if len(tested) == 0 {
		return nil
	}
	p := make([]float64, len(tested))
	for i := range tested {
		p[i] = tested[i].P
	}
	for i, q := range stats.BH(p) {
		tested[i].Q, tested[i].Tested = q, len(tested)
	}
	kept := slices.DeleteFunc(tested, func(s Signal) bool { return s.Q >= maxQ || s.Beyond <= 0 })
	slices.SortStableFunc(kept, func(x, y Signal) int { return cmp.Compare(y.Beyond, x.Beyond) })
	return kept
}

// Subject names what a signal is about, for its identity.
func (s *Signal) Subject() string {
	return strings.Join([]string{s.Store, s.Model, s.Batch, s.Gait, s.Part, s.Pattern}, "|")
}

// signalID makes the same id of the same finding: UUIDv8 (RFC 9562) of its
// SHA-256, so that any server names it alike before anyone has stored it.
func signalID(s *Signal) assess.UUID {
	sum := sha256.Sum256([]byte(strings.Join([]string{string(s.Kind), s.Scope, s.Subject(), s.Month}, "\x00")))
	var u assess.UUID
	copy(u[:], sum[:])
	u[6], u[8] = u[6]&0x0f|0x80, u[8]&0x3f|0x80
	return u
}

// ScopeWord writes scopes as one word.
func ScopeWord(scopes []retail.Scope) string {
	var all []string
	for _, s := range scopes {
		switch {
		case s.Store != "":
			all = append(all, "store:"+s.Store)
		case s.Region != "":
			all = append(all, "region:"+s.Region)
		default:
			return "fleet"
		}
	}
	slices.Sort(all)
	return strings.Join(all, " ")
}

// Pairs returns the question whose pairs, or readings, are those behind a signal:
// its Hits.
func (s *Signal) Pairs(a Ask) Ask {
	a.Pattern, a.By = "", nil
	for _, c := range []struct {
		dim  fleet.Dim
		word string
	}{{fleet.Store, s.Store}, {fleet.Model, s.Model}, {fleet.Batch, s.Batch}, {fleet.Gait, s.Gait}} {
		if c.word != "" {
			a = a.Without(c.dim).With(c.dim, c.word)
		}
	}
	switch s.Kind {
	case ModelWears:
		a.Pattern = s.Pattern
		if s.Part == Forefoot.String() {
			a.Part = Forefoot
		}
		return a
	case EarlyBatch:
		a.Readings = true
		if !a.KMTo.OK() || a.KMTo.Int() >= EarlyKM {
			a.KMTo = assess.Of(EarlyKM - 1)
		}
	case StoreApart:
		a.Readings = true
	case MonthMoved:
		a.Readings = true
		a.From, a.To = s.Month, s.Month
	}
	if !a.KMFrom.OK() {
		a.KMFrom = assess.Of(0) // an unknown distance can't be compared
	}
	return a.Without(fleet.Verdict).With(fleet.Verdict, worn...)
}

// worn are the verdicts of a worn pair.
var worn = []string{assess.Replace.String(), assess.Retire.String()}

// lastMonth returns the last month that has a pair.
func lastMonth(v *fleet.View, a Ask) (string, error) {
	cells, err := v.Count(a.filter(), fleet.Month)
	if err != nil || len(cells) == 0 {
		return "", err
	}
	return cells[len(cells)-1].By[0], nil
}

// like is what pairs have to have in common to be compared.
type like struct {
	kind, category string
	band           int
}

// rate is how many of some pairs were found worn.
type rate struct{ hits, size int }

func (r rate) less(o rate) float64 {
	if r.size <= o.size {
		return float64(r.hits) / max(float64(r.size), 1)
	}
	return float64(r.hits-o.hits) / float64(r.size-o.size)
}

// strata splits looks by what is alike; under ends them, 0 for no end.
func strata(g *fleet.LookGroup, kind, category string, band, under int) map[like]rate {
	in := map[like]rate{}
	for _, l := range g.Looks {
		if under > 0 && l.KM >= under {
			break
		}
		key := like{kind, category, l.KM / band}
		r := in[key]
		in[key] = rate{r.hits + l.Worn, r.size + l.Worn + l.Sound}
	}
	return in
}

// measured is one unit's pairs by what is alike.
type measured struct {
	words []string
	by    map[like]rate
}

// byFirst puts together the readings of each word of the first dimension, by what is
// alike: the others are kind and category.
func byFirst(groups []fleet.LookGroup) []measured {
	var units []measured
	for i := range groups {
		by := groups[i].By
		if n := len(units); n == 0 || units[n-1].words[0] != by[0] {
			units = append(units, measured{by[:1], map[like]rate{}})
		}
		for k, r := range strata(&groups[i], by[1], by[2], 2*bandKM, 0) {
			units[len(units)-1].by[k] = r
		}
	}
	return units
}

// total adds strata up.
func total(units []measured) map[like]rate {
	all := map[like]rate{}
	for _, u := range units {
		for k, r := range u.by {
			all[k] = rate{all[k].hits + r.hits, all[k].size + r.size}
		}
	}
	return all
}

// keysOf returns strata in order, so that sums come out alike.
func keysOf[V any](by map[like]V) []like {
	keys := make([]like, 0, len(by))
	for k := range by {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(x, y like) int {
		return cmp.Or(cmp.Compare(x.kind, y.kind), cmp.Compare(x.category, y.category), cmp.Compare(x.band, y.band))
	})
	return keys
}

// sum returns a unit's hits, and the chance of each of its pairs by what like pairs
// of other units had.
func (u *measured) sum(all map[like]rate) (hits int, expected []float64) {
	for _, k := range keysOf(u.by) {
		r := u.by[k]
		hits += r.hits
		chance := all[k].less(r)
		for range r.size {
			expected = append(expected, chance)
		}
	}
	return hits, expected
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / max(float64(len(x)), 1)
}

// finding fills in a share with its interval, and what is beyond expectation on
// the side where it lies.
func (s Signal) finding(hits, size int, expected float64) (Signal, error) {
	low, high, err := stats.Wilson(float64(hits), float64(size), conf)
	if err != nil {
		return s, err
	}
	s.Hits, s.Size, s.Expected, s.Low, s.High = hits, size, expected, low, high
	s.Share = float64(hits) / float64(size)
	s.Beyond = float64(size) * max(low-expected, expected-high)
	return s, nil
}

// twoSided is the chance of a standard normal as far out as z.
func twoSided(z float64) float64 { return math.Erfc(math.Abs(z) / math.Sqrt2) }

// addReasons names what most of the pairs of early batches were found with.
func addReasons(v *fleet.View, a Ask, all []Signal) error {
	for i := range all {
		s := &all[i]
		if s.Kind != EarlyBatch {
			continue
		}
		cells, err := v.Count(s.Pairs(a).filter(), fleet.Reason)
		if err != nil {
			return err
		}
		for _, c := range cells {
			if c.By[0] != "" && c.N > s.ReasonN {
				s.Reason, s.ReasonN = c.By[0], c.N
			}
		}
	}
	return nil
}
