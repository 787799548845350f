package stats

import "math"

// Difference compares the shares of two groups.
type Difference struct {
	A string `json:"a"`
	B string `json:"b"`
	// Difference is the share of A minus the share of B, −1 to 1.
	Difference float64 `json:"difference"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
}

// Trials counts the hits among the pairs of one named unit: a group, a
// store, a month.
type Trials struct {
	Name string
	Hits int
	Size int
}

func (g Trials) check() error {
	if g.Hits < 0 || g.Hits > g.Size {
		return badInput("%q has %d hits of %d, must lie in 0 to size", g.Name, g.Hits, g.Size)
	}
	return nil
}

// Newcombe returns the difference d = p₁ − p₂ of two independent shares with
// the hybrid score interval. With (lᵢ, uᵢ) the Wilson limits of pᵢ:
//
//	d − √((p₁ − l₁)² + (u₂ − p₂)²),  d + √((u₁ − p₁)² + (p₂ − l₂)²)
//
// The limits never leave −1 to 1.
//
// Errors: ErrEmpty where a group is empty, ErrBadInput for hits outside
// 0–size or conf outside (0, 1).
//
// Source: Newcombe RG (1998) "Interval estimation for the difference between
// independent proportions", Statistics in Medicine 17:873–890, method 10.
func Newcombe(a, b Trials, conf float64) (Difference, error) {
	l1, u1, err := Wilson(float64(a.Hits), float64(a.Size), conf)
	if err != nil {
		return Difference{}, err
	}
	l2, u2, err := Wilson(float64(b.Hits), float64(b.Size), conf)
	if err != nil {
		return Difference{}, err
	}
	p1, p2 := float64(a.Hits)/float64(a.Size), float64(b.Hits)/float64(b.Size)
	return Difference{
		A: a.Name, B: b.Name, Difference: p1 - p2,
		Low:  p1 - p2 - math.Hypot(p1-l1, u2-p2),
		High: p1 - p2 + math.Hypot(u1-p1, p2-l2),
	}, nil
}

// Differences compares every pair of groups, the earlier one as A. An empty
// group is left out. The intervals are for each pair by itself: a family of
// them needs BH on tests of its own.
//
// Errors: ErrOneGroup for fewer than two groups with pairs, else as Newcombe.
func Differences(groups []Trials, conf float64) ([]Difference, error) {
	var held []Trials
	for _, g := range groups {
		if err := g.check(); err != nil {
			return nil, err
		}
		if g.Size > 0 {
			held = append(held, g)
		}
	}
	if len(held) < 2 {
		return nil, ErrOneGroup
	}
	var pairs []Difference
	for i, a := range held {
		for _, b := range held[i+1:] {
			d, err := Newcombe(a, b, conf)
			if err != nil {
				return nil, err
			}
			pairs = append(pairs, d)
		}
	}
	return pairs, nil
}
