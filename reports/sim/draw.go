package sim

import (
	"math"
	"sync"
)

// Everything random comes from SplitMix64 streams, and every quantity of the
// simulation is a whole number: floating point is used once, to fill tables of
// quantiles that are rounded to 1/65536. So the same seed gives the same bytes
// on every machine, whatever its fused multiply-add or its math library does.

// golden is the increment of SplitMix64.
const golden = 0x9e3779b97f4a7c15

// mix is the finaliser of SplitMix64.
// Source: Steele, Lea & Flood, Fast splittable pseudorandom number generators,
// OOPSLA 2014.
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// derive returns the key of the n-th thing of a kind under a parent key.
func derive(key, kind uint64, n uint64) uint64 {
	return mix(mix(key+kind*golden) + n*golden)
}

// Kinds of keys; each names a family of streams.
const (
	keyRunner uint64 = iota + 1
	keyLine
	keyPair
	keyWear
	keyPlan
	keyVisit
	keyRead
	keyID
	keyKnown
	keyGuess
	keyModel
	keyStore
	keyStaff
	keyEvent
	keySilent
	keyFitting
	keyLives
	keyRef
	keyCode
	keyTradeIn
)

// dice is a stream of draws. It deals the 64 bits of each step of SplitMix64
// out in pieces of 12, which is what the tables are indexed by.
type dice struct {
	state, buf uint64
	left       int
}

func roll(key uint64) dice { return dice{state: key} }

// next returns 64 bits.
func (d *dice) next() uint64 {
	d.state += golden
	return mix(d.state)
}

// q returns a uniform place in a table of quantiles.
func (d *dice) q() uint32 {
	if d.left == 0 {
		d.buf, d.left = d.next(), 5
	}
	i := uint32(d.buf) & (quantiles - 1)
	d.buf >>= quantileBits
	d.left--
	return i
}

// below returns a uniform whole number in [0, n).
func (d *dice) below(n int) int {
	return int(d.next() >> 32 * uint64(n) >> 32)
}

// share is a probability in 1/65536.
type share uint32

// pct turns percent into a share.
func pct(p float64) share { return share(p*655.36 + 0.5) }

// chance is true with probability p.
func (d *dice) chance(p share) bool { return share(d.next()>>48) < p }

// pick returns i with a probability in proportion to weights[i], of which the
// sum is total.
func (d *dice) pick(weights []int, total int) int {
	x := d.below(total)
	for i, w := range weights {
		if x -= w; x < 0 {
			return i
		}
	}
	return len(weights) - 1
}

const (
	quantileBits = 12
	quantiles    = 1 << quantileBits
	// one is 1 in fixed point.
	oneBits = 16
	one     = 1 << oneBits
)

// scale returns a × f, f in fixed point.
func scale(a, f int32) int32 { return int32(int64(a) * int64(f) >> oneBits) }

// quantileTable holds a distribution by the quantiles at (i + ½)/4096, in fixed point.
type quantileTable [quantiles]int32

// fill tabulates a quantile function.
func fill(t *quantileTable, quantile func(p float64) float64) {
	for i := range t {
		t[i] = int32(math.Round(quantile((float64(i)+0.5)/quantiles) * one))
	}
}

// The spreads of the logarithm of what varies.
const (
	sdRunner = 0.40 // wear rate between runners: simulator assumption, reported low and high abraders
	sdSide   = 0.15 // wear rate between a runner's two sides: simulator assumption
	sdZone   = 0.10 // wear rate between zones of one shoe: house assumption
	sdVolume = 0.50 // weekly distance between runners: house assumption
	sdTilt   = 0.90 // growth of counter tilt between shoes, the heavy tail: house assumption
	sdFelt   = 0.13 // how near the end a runner feels it: house assumption
	sdHabit  = 0.30 // the distance at which runners change by habit: house assumption
)

// The shapes of Weibull lives; all are house assumptions.
const (
	shapeFatigue = 3.0 // foam and bending: few early, then many
	shapeRub     = 2.2 // lining, squeeze, mesh, rubber
	shapeGlue    = 1.6 // bond and differences between the shoes
)

// tables are the distributions in use.
type tables struct {
	normal                                        quantileTable // standard normal
	exponential                                   quantileTable // mean 1
	runner, side, zone, volume, tilt, felt, habit quantileTable // lognormal, median 1
	fatigue, rub, glue                            quantileTable // Weibull, scale 1

	// gaitCuts cut a standard normal into the gaits, in fixed point.
	gaitCuts [gaits - 1]int32
}

var tabulate = sync.OnceValue(func() *tables {
	t := new(tables)
	normal := func(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }
	lognormal := func(sd float64) func(float64) float64 {
		return func(p float64) float64 { return math.Exp(sd * normal(p)) }
	}
	weibull := func(shape float64) func(float64) float64 {
		return func(p float64) float64 { return math.Pow(-math.Log1p(-p), 1/shape) }
	}
	fill(&t.normal, normal)
	fill(&t.exponential, weibull(1))
	fill(&t.runner, lognormal(sdRunner))
	fill(&t.side, lognormal(sdSide))
	fill(&t.zone, lognormal(sdZone))
	fill(&t.volume, lognormal(sdVolume))
	fill(&t.tilt, lognormal(sdTilt))
	fill(&t.felt, lognormal(sdFelt))
	fill(&t.habit, lognormal(sdHabit))
	fill(&t.fatigue, weibull(shapeFatigue))
	fill(&t.rub, weibull(shapeRub))
	fill(&t.glue, weibull(shapeGlue))
	sum := 0
	for g := range t.gaitCuts {
		sum += gaitShare[g]
		t.gaitCuts[g] = int32(math.Round(normal(float64(sum)/100) * one))
	}
	return t
})

// permute40 is a bijection on 40 bits, keyed: a Feistel network of four rounds
// on halves of 20 bits. It gives every pair and runner a different code that
// looks random.
func permute40(key, n uint64) uint64 {
	const half = 1<<20 - 1
	l, r := n>>20&half, n&half
	for round := range uint64(4) {
		l, r = r, l^mix(key+round*golden+r)&half
	}
	return l<<20 | r
}
