package wear

import (
	"math"

	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// Standing is where a store's readings stand among like readings elsewhere.
type Standing struct {
	Store      string
	Hits, Size int
	// RawOutside says that the share as it was counted lies beyond the exact 99.8 %
	// limits around all stores'; false where all or none are worn.
	RawOutside bool
	// Expected is the share that readings of the same kind of visit, category and
	// distance (bands of 100 km) have in all other stores, weighted by the store's
	// own mix.
	Expected float64
	// Known says that chance could move the store's hits at all; else Z is 0.
	Known bool
	// Z is how far hits lie from those expected, in their standard errors under
	// chance alone, before stores' own spread.
	Z float64
	// Weight is how many readings of the common mix would say as much as these:
	// (1 − p̄) E² / (p̄ V), with E the hits expected and V their variance.
	Weight float64
}

// LikeForLike is what the store's share would be with the mix that all stores
// together have: by indirect standardisation, observed over expected times the
// share of all, no more than 1.
func (s *Standing) LikeForLike(all float64) float64 {
	if s.Expected == 0 {
		return all
	}
	return min(1, float64(s.Hits)/float64(s.Size)/s.Expected*all)
}

// Stand is the stores of a question, like for like.
type Stand struct {
	Stores []Standing
	// All is the share found worn in all of them.
	All float64
	// Spread is by how much stores vary more than chance: the root of φ of
	// [stats.MeasureDispersion].
	Spread float64

	vary stats.Dispersion
}

// Outer is how many standard errors the 99.8 % limits of a funnel lie out.
const Outer = 3.0902

// Outside says that a store lies beyond the 99.8 % limits, widened by the spread;
// of fewer than [MinPairs] readings it says nothing.
func (s *Stand) Outside(of *Standing) bool {
	return of.Size >= MinPairs && math.Abs(of.Z)/s.Spread > Outer
}

// Standings sets each store's readings beside like ones in all other stores. The
// unit is the reading: it is readings that a store's people make. Those of
// unknown distance are left out. The pattern and Readings of the question don't
// count.
func Standings(v *fleet.View, a Ask) (*Stand, error) {
	stand, err := standings(v, a)
	if err != nil {
		return nil, err
	}
	for i := range stand.Stores {
		v.Rest()
		s := &stand.Stores[i]
		if at, err := stats.FunnelAt(stand.All, s.Size); err == nil {
			share := float64(s.Hits) / float64(s.Size)
			s.RawOutside = share > at.High998 || share < at.Low998
		}
	}
	return stand, nil
}

// standings is Standings without RawOutside, which takes its time.
func standings(v *fleet.View, a Ask) (*Stand, error) {
	a.Pattern, a.Readings = "", true
	groups, err := v.Bands(a.filter(), 2*bandKM, fleet.Store, fleet.Kind, fleet.Category)
	if err != nil {
		return nil, err
	}
	units := byFirst(groups)
	strata := total(units)
	stand := &Stand{Spread: 1}
	var sum rate
	for _, r := range strata {
		sum = rate{sum.hits + r.hits, sum.size + r.size}
	}
	stand.All = float64(sum.hits) / max(float64(sum.size), 1)
	var z []float64
	for i := range units {
		v.Rest()
		like := units[i].against(strata)
		if like.size == 0 {
			continue
		}
		s := Standing{Store: units[i].words[0], Hits: like.hits, Size: like.size, Expected: like.share(), Weight: float64(like.size)}
		if like.variance > 0 {
			s.Known, s.Z = true, (float64(like.hits)-like.expected)/math.Sqrt(like.variance)
			s.Weight = (1 - stand.All) * like.expected * like.expected / (stand.All * like.variance)
			if s.Size >= MinPairs {
				z = append(z, s.Z)
			}
		}
		stand.Stores = append(stand.Stores, s)
	}
	stand.vary = stats.MeasureDispersion(z)
	stand.Spread = math.Sqrt(stand.vary.Phi)
	return stand, nil
}

// storesApart looks for stores whose readings stand apart.
func storesApart(v *fleet.View, a Ask) ([]Signal, error) {
	stand, err := standings(v, a)
	if err != nil {
		return nil, err
	}
	var tested []Signal
	for i := range stand.Stores {
		of := &stand.Stores[i]
		if of.Size < MinPairs || !of.Known {
			continue
		}
		s, err := Signal{Kind: StoreApart, Store: of.Store, P: stand.vary.P(of.Z)}.finding(of.Hits, of.Size, of.Expected)
		if err != nil {
			return nil, err
		}
		tested = append(tested, s)
	}
	return tested, nil
}

// FunnelLimits returns the limits of a funnel like for like at a weight: those of
// chance, widened by the spread.
func (s *Stand) FunnelLimits(weight int) (stats.NormalLimits, error) {
	return stats.NormalFunnelAt(s.All, max(1, int(math.Round(float64(weight)/(s.Spread*s.Spread)))))
}
