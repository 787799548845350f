package stats

import (
	"math"
	"slices"
)

// FunnelLimits are the control limits of a share at one size. Exact limits
// interpolate between whole numbers of hits.
type FunnelLimits struct {
	Low95   float64 `json:"low95"`
	High95  float64 `json:"high95"`
	Low998  float64 `json:"low998"`
	High998 float64 `json:"high998"`
	NormalLimits
}

// NormalLimits are the control limits of a share at one size by the normal curve.
type NormalLimits struct {
	NormalLow95   float64 `json:"normal_low95"`
	NormalHigh95  float64 `json:"normal_high95"`
	NormalLow998  float64 `json:"normal_low998"`
	NormalHigh998 float64 `json:"normal_high998"`
}

// FunnelUnit is one store, reader or model on the plot.
type FunnelUnit struct {
	Name  string  `json:"name"`
	Hits  int     `json:"hits"`
	Size  int     `json:"size"`
	Share float64 `json:"share"`
	// Z is (share − target) in standard errors at this size.
	Z float64 `json:"z"`
	FunnelLimits
}

// Funnel holds shares against a common target, with limits that narrow as
// size grows.
type Funnel struct {
	Target float64      `json:"target"`
	Groups []FunnelUnit `json:"groups"`
	// Phi is the overdispersion, mean z²: 1 where chance alone parts the
	// units. PhiP tests it, PhiWinsorised pulls the outer tenths of z in.
	Phi           float64 `json:"phi"`
	PhiP          float64 `json:"phi_p"`
	PhiWinsorised float64 `json:"phi_winsorised"`
	// Tau2 is the variance between units beyond chance (additive), from the
	// unwinsorised phi; undefined for one unit.
	Tau2 Float `json:"tau2"`
}

// The two pairs of limits and the winsorised tail of Spiegelhalter 2005.
const (
	funnelInner = 0.025
	funnelOuter = 0.001
	winsorTail  = 0.1
)

// MakeFunnel sets units against a target share; without one (None), against
// the pooled share. With s² = p₀(1 − p₀)/n:
//
//	z = (y/n − p₀)/s,  φ = mean z²
//	τ² = max(0, (I φ − (I − 1)) / (Σw − Σw²/Σw)),  w = 1/s²
//
// I φ is held against chi-square, with I − 1 degrees of freedom where the
// target is the pooled share. τ² is DerSimonian & Laird's exactly for the
// pooled target, and kept in the same form for a target from outside. Units
// of one name are added up, empty ones left out.
//
// Errors: ErrEmpty for no pairs, ErrNoSpread where the target is 0 or 1,
// ErrBadInput for hits outside 0–size or a target outside 0–1.
//
// Source: Spiegelhalter DJ (2005) Statistics in Medicine 24:1185–1202.
func MakeFunnel(units []Trials, target Float) (*Funnel, error) {
	if target.OK && !(target.V >= 0 && target.V <= 1) {
		return nil, badInput("target is %v, must lie in 0–1", target.V)
	}
	units, err := addedUp(units)
	if err != nil {
		return nil, err
	}
	hits, size := 0, 0
	for _, u := range units {
		hits += u.Hits
		size += u.Size
	}
	if size == 0 {
		return nil, ErrEmpty
	}
	df := len(units)
	p0 := target.V
	if !target.OK {
		p0 = float64(hits) / float64(size)
		df--
	}
	if p0 == 0 || p0 == 1 {
		return nil, ErrNoSpread.because("the target share is %v, so nothing can vary around it", p0)
	}
	f := &Funnel{Target: p0, Groups: make([]FunnelUnit, len(units))}
	var z []float64
	sum, sumW, sumWW := 0.0, 0.0, 0.0
	for i, u := range units {
		share := float64(u.Hits) / float64(u.Size)
		w := float64(u.Size) / (p0 * (1 - p0))
		g := FunnelUnit{Name: u.Name, Hits: u.Hits, Size: u.Size, Share: share, Z: (share - p0) * math.Sqrt(w)}
		g.FunnelLimits = funnelLimits(p0, u.Size)
		f.Groups[i] = g
		z = append(z, g.Z)
		sum += g.Z * g.Z
		sumW += w
		sumWW += w * w
	}
	count := float64(len(units))
	f.Phi = sum / count
	f.PhiP = 1
	if df > 0 {
		f.PhiP = chiSquareTail(sum, df)
	}
	f.PhiWinsorised = winsorisedPhi(z)
	if len(units) > 1 {
		f.Tau2 = Some(math.Max(0, (sum-(count-1))/(sumW-sumWW/sumW)))
	}
	return f, nil
}

// Adjusted returns the limits at a size once the spread between units beyond
// chance is allowed for: p₀ ∓ z √(p₀(1 − p₀)/size + τ²), cut at 0 and 1.
//
// Errors: ErrBadInput for a size below 1 or conf outside (0, 1); ErrOneGroup
// where τ² is undefined.
func (f *Funnel) Adjusted(size int, conf float64) (low, high float64, err error) {
	if err := checkConf(conf); err != nil {
		return 0, 0, err
	}
	if size < 1 {
		return 0, 0, badInput("size is %d, must be 1 or more", size)
	}
	if !f.Tau2.OK {
		return 0, 0, ErrOneGroup
	}
	half := normalCritical(conf) * math.Sqrt(f.Target*(1-f.Target)/float64(size)+f.Tau2.V)
	return math.Max(0, f.Target-half), math.Min(1, f.Target+half), nil
}

// FunnelAt returns the limits of a funnel at a size.
//
// Errors: ErrBadInput unless 0 < target < 1 and size ≥ 1.
func FunnelAt(target float64, size int) (FunnelLimits, error) {
	if err := checkFunnelAt(target, size); err != nil {
		return FunnelLimits{}, err
	}
	return funnelLimits(target, size), nil
}

// NormalFunnelAt returns the limits by the normal curve at a size, to draw a
// funnel's curves: the exact ones take some hundred times as long.
//
// Errors: ErrBadInput unless 0 < target < 1 and size ≥ 1.
func NormalFunnelAt(target float64, size int) (NormalLimits, error) {
	if err := checkFunnelAt(target, size); err != nil {
		return NormalLimits{}, err
	}
	return normalLimits(target, size), nil
}

func checkFunnelAt(target float64, size int) error {
	if !(target > 0 && target < 1) || size < 1 {
		return badInput("target %v at size %d, must lie between 0 and 1 at 1 or more", target, size)
	}
	return nil
}

func funnelLimits(p0 float64, size int) FunnelLimits {
	return FunnelLimits{
		Low95: exactLimit(p0, size, funnelInner), High95: exactLimit(p0, size, 1-funnelInner),
		Low998: exactLimit(p0, size, funnelOuter), High998: exactLimit(p0, size, 1-funnelOuter),
		NormalLimits: normalLimits(p0, size),
	}
}

func normalLimits(p0 float64, size int) NormalLimits {
	at := func(q float64) float64 {
		v := p0 + zQuantile(q)*math.Sqrt(p0*(1-p0)/float64(size))
		return math.Min(1, math.Max(0, v))
	}
	return NormalLimits{
		NormalLow95: at(funnelInner), NormalHigh95: at(1 - funnelInner),
		NormalLow998: at(funnelOuter), NormalHigh998: at(1 - funnelOuter),
	}
}

// zQuantile returns the normal quantile, the upper half mirrored from the
// lower.
func zQuantile(q float64) float64 {
	if q > 0.5 {
		return normalCritical(1 - 2*(1-q))
	}
	return -normalCritical(1 - 2*q)
}

// exactLimit returns (r − α)/n with r the smallest number of hits for which
// P(R ≤ r) ≥ q and α the part of its probability beyond q, cut at 0.
func exactLimit(p0 float64, n int, q float64) float64 {
	low, high := 0, n
	for low < high {
		middle := low + (high-low)/2
		if binomialAtMost(middle, n, p0) >= q {
			high = middle
		} else {
			low = middle + 1
		}
	}
	alpha := (binomialAtMost(low, n, p0) - q) / binomialPMF(low, n, p0)
	return math.Max(0, (float64(low)-alpha)/float64(n))
}

// winsorisedPhi is mean z² with z pulled in to its 10 % and 90 % quantiles.
func winsorisedPhi(z []float64) float64 {
	sorted := slices.Sorted(slices.Values(z))
	low, high := quantile7(sorted, winsorTail), quantile7(sorted, 1-winsorTail)
	sum := 0.0
	for _, v := range z {
		v = math.Min(high, math.Max(low, v))
		sum += v * v
	}
	return sum / float64(len(z))
}

// addedUp joins units of one name, in order of first appearance, and leaves
// out empty ones.
func addedUp(units []Trials) ([]Trials, error) {
	out, err := unitsByName(units)
	return slices.DeleteFunc(out, func(u Trials) bool { return u.Size == 0 }), err
}

// unitsByName joins units of one name, in order of first appearance.
func unitsByName(units []Trials) ([]Trials, error) {
	at := map[string]int{}
	var out []Trials
	for _, u := range units {
		if err := u.check(); err != nil {
			return nil, err
		}
		i, known := at[u.Name]
		if !known {
			i = len(out)
			at[u.Name] = i
			out = append(out, Trials{Name: u.Name})
		}
		out[i].Hits += u.Hits
		out[i].Size += u.Size
	}
	return out, nil
}
