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
func Signals(v *fleet.View, a Ask) ([]Signal, error) { return SignalsOf(v, a, Kinds...) }

// SignalsOf is [Signals] of some kinds.
func SignalsOf(v *fleet.View, a Ask, kinds ...Kind) ([]Signal, error) {
	a.Pattern, a.Part, a.By, a.Readings = "", Heel, nil, false
	_, month, err := v.Months(a.filter())
	if err != nil || month == "" {
		return nil, err
	}
	var all []Signal
	for _, kind := range Kinds {
		if !slices.Contains(kinds, kind) {
			continue
		}
		found, err := finders[kind](v, a)
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

// finders test everything of a kind.
var finders = map[Kind]func(*fleet.View, Ask) ([]Signal, error){
	EarlyBatch: earlyBatches, StoreApart: storesApart, ModelWears: modelWear, MonthMoved: monthsMoved,
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

// like numbers what pairs have to have in common to be compared: the kind of visit,
// the category and the band of distance. It sorts by them.
type like uint32

// What the parts of a like are times.
const (
	likeKind     = 1 << 24
	likeCategory = 1 << 16
)

// alike returns the like of a kind of visit and a category in the first band; a word
// that there isn't, as "", stands before the first.
func alike(kind, category string) like {
	return like(likeKind*(slices.Index(assess.KindWords, kind)+1) + likeCategory*(slices.Index(retail.Categories, category)+1))
}

// rate is how many of some pairs were found worn.
type rate struct{ hits, size int }

func (r rate) less(o rate) float64 {
	if r.size <= o.size {
		return float64(r.hits) / max(float64(r.size), 1)
	}
	return float64(r.hits-o.hits) / float64(r.size-o.size)
}

// stratum is the pairs that are alike.
type stratum struct {
	like
	rate
}

// strata splits looks by bands of distance; under ends them, 0 for no end.
func strata(g *fleet.LookGroup, first like, band, under int) []stratum {
	all := make([]stratum, 0, len(g.Looks))
	for _, l := range g.Looks {
		if under > 0 && l.KM >= under {
			break
		}
		in := first + like(l.KM/band)
		if n := len(all); n == 0 || all[n-1].like != in {
			all = append(all, stratum{like: in})
		}
		r := &all[len(all)-1]
		r.hits, r.size = r.hits+l.Worn, r.size+l.Worn+l.Sound
	}
	return all
}

// measured is one unit's pairs by what is alike, each once.
type measured struct {
	words []string
	by    []stratum
}

// byFirst puts together the readings of each word of the first dimension, by what is
// alike: the others are kind and category.
func byFirst(groups []fleet.LookGroup) []measured {
	var units []measured
	for i := range groups {
		by := groups[i].By
		if n := len(units); n == 0 || units[n-1].words[0] != by[0] {
			units = append(units, measured{words: by[:1]})
		}
		u := &units[len(units)-1]
		u.by = append(u.by, strata(&groups[i], alike(by[1], by[2]), 2*bandKM, 0)...)
	}
	return units
}

// total adds strata up.
func total(units []measured) map[like]rate {
	all := map[like]rate{}
	for i := range units {
		for _, s := range units[i].by {
			all[s.like] = rate{all[s.like].hits + s.hits, all[s.like].size + s.size}
		}
	}
	return all
}

// against is what a unit's pairs came to beside what like pairs of other units had:
// how many hits they let expect, and the variance of that under chance alone.
type against struct {
	rate
	expected, variance float64
}

func (a *against) share() float64 { return a.expected / max(float64(a.size), 1) }

// against sets a unit's pairs beside like pairs of other units, which with it are all.
func (u *measured) against(all map[like]rate) against {
	var a against
	for _, s := range u.by {
		p, n := all[s.like].less(s.rate), float64(s.size)
		a.hits, a.size = a.hits+s.hits, a.size+s.size
		a.expected, a.variance = a.expected+n*p, a.variance+n*p*(1-p)
	}
	return a
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
