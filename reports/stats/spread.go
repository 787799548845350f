package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Units of one kind, as stores or the models of a category, are never quite
// alike: readers have habits and shoes their own wear. A test of one unit against
// the others that allows for chance alone calls the habit a finding. What is here
// measures how far units lie apart and tests against that.

// winsorisedNormal is the mean square of a standard normal whose outer tenths are
// pulled in to the 10 % and 90 % quantiles ±q: 2·0.1 q² + 0.8 − 2 q φ(q).
var winsorisedNormal = func() float64 {
	q := -zQuantile(winsorTail)
	density := math.Exp(-q*q/2) / math.Sqrt(2*math.Pi)
	return 2*winsorTail*q*q + 1 - 2*winsorTail - 2*q*density
}()

// fewToPull is below how many units no tenth holds one, and nothing is pulled in.
const fewToPull = 10

// meanSquare is the mean of z², the outer tenths pulled in, over what standard
// normals would have: 1 where units vary as chance has it, whatever a few units far
// out do.
func meanSquare(z []float64) float64 {
	if len(z) < fewToPull {
		sum := 0.0
		for _, v := range z {
			sum += v * v
		}
		return sum / math.Max(1, float64(len(z)))
	}
	return winsorisedPhi(z) / winsorisedNormal
}

// Dispersion is by how much units vary beyond chance: Phi times the variance.
type Dispersion struct {
	Phi   float64
	Units int
}

// MeasureDispersion measures it from the z of each unit, φ = mean z² with the
// outer tenths of z pulled in, over 0.679, which standard normals have so; no less
// than 1.
//
// Source: Spiegelhalter DJ (2005) Statistics in Medicine 24:1185–1202; the divisor
// is the same mean under normal z, without which φ of ten or more units comes out a
// third too small.
func MeasureDispersion(z []float64) Dispersion {
	return Dispersion{Phi: math.Max(1, meanSquare(z)), Units: len(z)}
}

// P returns the two-sided chance of a unit as far out as z among units that vary so:
// of z/√φ by Student's t with a degree of freedom less than units, for φ is
// measured from them; by the normal where chance explains how they vary.
func (d Dispersion) P(z float64) float64 {
	if d.Phi <= 1 {
		return normalTwoSided(z)
	}
	if d.Units < 2 {
		return 1
	}
	return 2 * distuv.StudentsT{Sigma: 1, Nu: float64(d.Units - 1)}.Survival(math.Abs(z)/math.Sqrt(d.Phi))
}

// Deviation is what one unit came to beside what others let expect.
type Deviation struct {
	Hits     int
	Expected float64
	// Chance is the variance of Hits − Expected by chance alone. Moved is what a
	// variance of 1 in the log odds of units adds to it: (Σ p(1 − p))² of the
	// unit's cases, times 1 + Σ w² where what is expected comes from other units with
	// shares w of the cases.
	Chance, Moved float64
}

// OddsSpread returns the standard deviation τ between the log odds of units, so that
// with
//
//	z_i² = (hits_i − expected_i)² / (chance_i + τ² moved_i)
//
// the mean of z², the outer tenths of z pulled in, is what standard normals have; 0
// where chance explains it all. Units on which chance has no say are left out.
//
// Source: the moment equation of Paule RC, Mandel J (1982) J Res Natl Bur Stand
// 87:377–385, winsorised as MeasureDispersion.
func OddsSpread(units []Deviation) float64 {
	units = slices.DeleteFunc(slices.Clone(units), func(u Deviation) bool { return !(u.Chance > 0) })
	z := make([]float64, len(units))
	beyond := func(variance float64) float64 {
		for i, u := range units {
			z[i] = (float64(u.Hits) - u.Expected) / math.Sqrt(u.Chance+variance*u.Moved)
		}
		return meanSquare(z) - 1
	}
	if beyond(0) <= 0 {
		return 0
	}
	high := 1.0
	for beyond(high) > 0 && high < widestOdds {
		high *= 2
	}
	low := 0.0
	for range 60 { // to the last digits: the equation falls with τ²
		if middle := (low + high) / 2; beyond(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Sqrt(high)
}

// widestOdds ends the search for a variance of log odds: at a standard deviation
// of 32 every unit has all hits or none.
const widestOdds = 1024

// Risk is a number of cases that are expected to be hits with the same probability.
type Risk struct {
	P float64
	N int
}

// OddsTail returns the probability of hits or more among independent cases with the
// given probabilities, where the log odds of all of them together are off by a
// normal with standard deviation sd:
//
//	∫ P(X ≥ hits | odds e^u times those given) φ(u/sd)/sd du
//
// With sd 0 it is the exact Poisson-binomial tail. Else the integral goes by the
// trapezoid over ±8 standard deviations in steps of a quarter, to better than 1e-4
// of itself.
//
// Errors: ErrEmpty for no cases, ErrBadInput for a probability outside 0–1, a
// negative number of cases, of hits or of sd.
func OddsTail(risks []Risk, hits int, sd float64) (float64, error) {
	cases := 0
	for i, r := range risks {
		if err := checkExpected(i, r.P); err != nil {
			return 0, err
		}
		if r.N < 0 {
			return 0, badInput("risk %d has %d cases, must be 0 or more", i+1, r.N)
		}
		cases += r.N
	}
	if hits < 0 || !(sd >= 0) || math.IsInf(sd, 1) {
		return 0, badInput("%d hits at a standard deviation of %v, both must be 0 or more", hits, sd)
	}
	if cases == 0 {
		return 0, ErrEmpty
	}
	if sd == 0 {
		return risksAtLeast(risks, hits, 1), nil
	}
	const step, reach = 0.25, 8
	sum := 0.0
	for u := -float64(reach); u <= reach; u += step {
		sum += math.Exp(-u*u/2) * risksAtLeast(risks, hits, math.Exp(u*sd))
	}
	return math.Min(1, sum*step/math.Sqrt(2*math.Pi)), nil
}

// risksAtLeast is the exact tail with the odds of every case multiplied.
func risksAtLeast(risks []Risk, hits int, odds float64) float64 {
	at := func(p float64) float64 { return odds * p / (1 - p + odds*p) }
	if len(risks) == 1 {
		return binomialAtLeast(hits, risks[0].N, at(risks[0].P))
	}
	var expected []float64
	for _, r := range risks {
		p := at(r.P)
		for range r.N {
			expected = append(expected, p)
		}
	}
	f, first := poissonBinomialPMF(expected)
	tail := 0.0
	for k := len(f) - 1; k >= 0 && first+k >= hits; k-- {
		tail += f[k]
	}
	return math.Min(1, tail)
}
