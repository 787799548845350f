package wear

import (
	"math"

	"solewright/reports/stats"
)

// atRisk is what one unit's pairs came to beside what like pairs of other units
// let expect.
type atRisk struct {
	hits, size int
	risks      []stats.Risk
	expected   float64
	// slope is by how much hits move with the log odds, Σ p(1 − p); unsure is the
	// variance of what is expected, for it is counted from others.
	slope, unsure float64
}

// add adds pairs that are alike: own ones, and those of other units. Where there
// are no others, own ones stand for them and say nothing.
func (r *atRisk) add(own, others rate) {
	if own.size == 0 {
		return
	}
	from := others
	if from.size == 0 {
		from = own
	}
	// Jeffreys' half of a pair to each side, so that what was never seen among few
	// isn't called impossible.
	p, n := (float64(from.hits)+0.5)/(float64(from.size)+1), float64(own.size)
	r.hits, r.size = r.hits+own.hits, r.size+own.size
	r.risks = append(r.risks, stats.Risk{P: p, N: own.size})
	r.expected += n * p
	r.slope += n * p * (1 - p)
	r.unsure += n * n * p * (1 - p) / float64(from.size)
}

// risks sets a unit's pairs beside like pairs of the other units.
func (u *measured) risks(all map[like]rate) atRisk {
	r := atRisk{risks: make([]stats.Risk, 0, len(u.by))}
	for _, s := range u.by {
		of := all[s.like]
		r.add(s.rate, rate{of.hits - s.hits, of.size - s.size})
	}
	return r
}

// join adds another unit's pairs. Of all units together no risks are kept.
func (r *atRisk) join(o *atRisk) {
	r.hits, r.size = r.hits+o.hits, r.size+o.size
	r.expected, r.slope, r.unsure = r.expected+o.expected, r.slope+o.slope, r.unsure+o.unsure
}

// besideOthers moves what is expected of a unit to where the others of its family
// lie, which with it are all, by the best linear guess at the family's log odds,
// where those of families lie apart by a standard deviation; what remains unsure of
// the guess adds to what is.
//
// Source: Robinson GK (1991) Statistical Science 6:15–32, best linear unbiased
// prediction.
func (r *atRisk) besideOthers(all *atRisk, between float64) atRisk {
	prior, slope := between*between, all.slope-r.slope
	guess, left := 0.0, prior
	if prior > 0 && slope > 0 {
		noise := 1/slope + (all.unsure-r.unsure)/(slope*slope)
		away := (float64(all.hits-r.hits) - (all.expected - r.expected)) / slope
		guess, left = away*prior/(prior+noise), prior*noise/(prior+noise)
	}
	moved := atRisk{hits: r.hits, size: r.size, risks: make([]stats.Risk, 0, len(r.risks))}
	for _, x := range r.risks {
		odds := x.P / (1 - x.P) * math.Exp(guess)
		p, n := odds/(1+odds), float64(x.N)
		moved.risks = append(moved.risks, stats.Risk{P: p, N: x.N})
		moved.expected += n * p
		moved.slope += n * p * (1 - p)
	}
	moved.unsure = moved.slope * moved.slope * (left + r.unsure/(r.slope*r.slope))
	return moved
}

// deviation is how far the unit lies off, where the other units' own differences
// add others to its own: the sum of squares of their shares of the pairs.
func (r *atRisk) deviation(others float64) stats.Deviation {
	return stats.Deviation{Hits: r.hits, Expected: r.expected, Chance: r.slope + r.unsure, Moved: r.slope * r.slope * (1 + others)}
}

// tail is the chance of as many hits or more, where the log odds of units lie apart
// by a standard deviation. Only more is news: of no more than half a standard deviation
// beyond what was expected it is given as 1, and no q under 5 % is another for it.
func (r *atRisk) tail(spread float64) (float64, error) {
	if beyond := float64(r.hits) - r.expected; beyond <= 0 || 4*beyond*beyond <= r.slope {
		return 1, nil
	}
	return stats.OddsTail(r.risks, r.hits, math.Sqrt(spread*spread+r.unsure/(r.slope*r.slope)))
}
