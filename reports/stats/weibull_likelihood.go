package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// This file holds the likelihood that the Weibull fit and the Weibull
// regression share. With y = log t, the observation of a pair with covariates
// x depends on
//
//	z = β y − xᵀγ,  H = e^z,  S = e^(−H)
//
// where σ = 1/β and γ = b/σ for the usual log t = xᵀb + σW. In (γ, β) the
// log-likelihood is concave for every kind of observation, so Newton steps
// find its one maximum, or run off where there is none.
//
// Source: Burridge J (1981) Biometrika 68:651–654 (concavity).

type lifeKind uint8

const (
	exactLife    lifeKind = iota // failed at t
	soundSoFar                   // failed after t
	wornAtLook                   // failed at or before t
	betweenLooks                 // failed between t and t e^gap
)

// lifeRow is n like observations; y is the scaled log of its only or lower
// bound, gap the scaled log of upper over lower.
type lifeRow struct {
	kind   lifeKind
	y, gap float64
	n      float64
}

// weibullData is a set of observations by their covariates. Logs are shifted
// by centre and divided by spread, so that the unit of distance and its range
// do not bear on the arithmetic.
type weibullData struct {
	designs        []weibullDesign
	centre, spread float64
	exact          float64 // number of exact lives
	constant       float64 // what scaling and the density in t add to log L
	n, events      int
}

// weibullDesign is the observations that share covariates x, the first of
// which is the constant 1.
type weibullDesign struct {
	x         []float64
	intervals []Interval
	rows      []lifeRow
}

// newWeibullData takes tidy intervals by design.
func newWeibullData(designs []weibullDesign) (*weibullData, error) {
	d := &weibullData{designs: designs}
	low, high := math.Inf(1), math.Inf(-1)
	for _, g := range designs {
		for _, v := range g.intervals {
			d.n += v.N
			if !math.IsInf(v.Upper, 1) {
				d.events += v.N
			}
			if v.Upper == 0 {
				return nil, badInput("a life of exactly 0 km has no place in a Weibull law")
			}
			for _, t := range []float64{v.Lower, v.Upper} {
				if t > 0 && !math.IsInf(t, 1) {
					low, high = math.Min(low, math.Log(t)), math.Max(high, math.Log(t))
				}
			}
		}
	}
	if d.n == 0 {
		return nil, ErrEmpty
	}
	if d.events == 0 {
		return nil, ErrNoEvents.because("no pair was seen worn")
	}
	d.centre, d.spread = (low+high)/2, (high-low)/2
	if d.spread == 0 {
		d.spread = 1
	}
	for i := range designs {
		g := &designs[i]
		for _, v := range g.intervals {
			row, ok := d.row(v)
			if ok {
				g.rows = append(g.rows, row)
			}
			if row.kind == exactLife {
				d.exact += row.n
				d.constant -= row.n * (math.Log(v.Lower) + math.Log(d.spread))
			}
		}
	}
	return d, nil
}

// row scales an observation; ok is false where it says nothing.
func (d *weibullData) row(v Interval) (row lifeRow, ok bool) {
	scaled := func(t float64) float64 { return (math.Log(t) - d.centre) / d.spread }
	row.n = float64(v.N)
	sound := math.IsInf(v.Upper, 1)
	switch {
	case v.Lower == v.Upper:
		row.kind, row.y = exactLife, scaled(v.Lower)
	case v.Lower == 0 && sound:
		row.kind = soundSoFar
		return row, false
	case sound:
		row.kind, row.y = soundSoFar, scaled(v.Lower)
	case v.Lower == 0:
		row.kind, row.y = wornAtLook, scaled(v.Upper)
	default:
		row.kind, row.y = betweenLooks, scaled(v.Lower)
		row.gap = math.Log1p((v.Upper-v.Lower)/v.Lower) / d.spread
	}
	return row, true
}

// slopes holds an observation's log-likelihood and its derivatives in z and,
// for an interval, in d = β·gap.
type slopes struct{ l, z, zz, d, zd, dd float64 }

// at returns the slopes at z and shape beta; log β, which an exact life adds,
// is left to the caller.
func (r lifeRow) at(z, beta float64) slopes {
	// Beyond this cumulative hazard e^−H is 0 in float64.
	const extinct = 745
	h := math.Exp(z)
	switch r.kind {
	case exactLife:
		return slopes{l: z - h, z: 1 - h, zz: -h}
	case soundSoFar:
		return slopes{l: -h, z: -h, zz: -h}
	case wornAtLook:
		if h > extinct {
			return slopes{}
		}
		q := -math.Expm1(-h)
		rise := h * math.Exp(-h) / q
		return slopes{l: math.Log(q), z: rise, zz: rise * (1 - h/q)}
	}
	more := h * math.Expm1(beta*r.gap)
	if more > extinct {
		return slopes{l: -h, z: -h, zz: -h}
	}
	// log(e^−H − e^−(H+more)) without loss where the interval is narrow.
	q := -math.Expm1(-more)
	odds := (1 - q) / q
	end := (h + more) * odds
	return slopes{
		l: -h + math.Log(q),
		z: -h + more*odds, zz: -h + more*odds*(1-more/q),
		d: end, zd: end * (1 - more/q), dd: end * (1 - (h+more)/q),
	}
}

// evaluate returns log L at theta = (γ, β) in scaled logs and, if grad is not
// nil, sets its gradient and Hessian.
func (d *weibullData) evaluate(theta, grad []float64, hess *mat.SymDense) float64 {
	p := len(theta) - 1
	beta := theta[p]
	total := d.constant
	if d.exact > 0 {
		total += d.exact * math.Log(beta)
	}
	if grad != nil {
		clear(grad)
		hess.Zero()
		grad[p] = d.exact / beta
		hess.SetSym(p, p, -d.exact/(beta*beta))
	}
	for _, g := range d.designs {
		shift := floats.Dot(g.x, theta[:p])
		var z, zz, b, zb, bb float64
		for _, r := range g.rows {
			s := r.at(beta*r.y-shift, beta)
			total += r.n * s.l
			z += r.n * s.z
			zz += r.n * s.zz
			b += r.n * (r.y*s.z + r.gap*s.d)
			zb += r.n * (r.y*s.zz + r.gap*s.zd)
			bb += r.n * (r.y*r.y*s.zz + 2*r.y*r.gap*s.zd + r.gap*r.gap*s.dd)
		}
		if grad == nil {
			continue
		}
		for i, x := range g.x {
			grad[i] -= x * z
			for j := i; j < p; j++ {
				hess.SetSym(i, j, hess.At(i, j)+x*g.x[j]*zz)
			}
			hess.SetSym(i, p, hess.At(i, p)-x*zb)
		}
		grad[p] += b
		hess.SetSym(p, p, hess.At(p, p)+bb)
	}
	return total
}

const (
	// newtonRounds is far above the 6 to 15 that a maximum takes.
	newtonRounds = 100
	// newtonDecrement is the squared length of a Newton step in standard
	// errors below which the step is taken and the search ends; the error left
	// is of its square.
	newtonDecrement = 1e-12
	// leastShape, on the scale of logs between −1 and 1, is a law without any
	// rise of wear over the data.
	leastShape = 1e-7
)

// maximise returns (γ, β) at the maximum of log L, log L there and its
// negative Hessian, factorised. Where the search runs off it returns the last
// step as direction.
func (d *weibullData) maximise() (theta []float64, loglik float64, information *mat.Cholesky, direction []float64) {
	p := len(d.designs[0].x)
	theta = make([]float64, p+1)
	theta[p] = 1
	grad, step, trial := make([]float64, p+1), make([]float64, p+1), make([]float64, p+1)
	hess := mat.NewSymDense(p+1, nil)
	information = new(mat.Cholesky)
	loglik = d.evaluate(theta, grad, hess)
	slow := 0
	for range newtonRounds {
		hess.ScaleSym(-1, hess)
		if !information.Factorize(hess) {
			return theta, loglik, nil, step
		}
		if err := information.SolveVecTo(mat.NewVecDense(p+1, step), mat.NewVecDense(p+1, grad)); err != nil {
			return theta, loglik, nil, step
		}
		decrement := floats.Dot(grad, step)
		// Newton steps end at once when they near a maximum; where they near
		// the end of a slope they creep on.
		const near, creeping = 1e-2, 15
		if decrement < near {
			slow++
		}
		if slow > creeping || theta[p] < leastShape {
			return theta, loglik, nil, step
		}
		done := decrement < newtonDecrement
		t := 1.0
		if step[p] < 0 {
			const part = 0.9 // of the way to shape 0
			t = math.Min(1, part*theta[p]/-step[p])
		}
		for ; ; t /= 2 {
			for i := range theta {
				trial[i] = theta[i] + t*step[i]
			}
			l := d.evaluate(trial, nil, nil)
			// A rise below what log L is computed to can't be seen.
			const computed = 1e-13
			if done || l >= loglik+t*decrement/10-computed*math.Abs(loglik) || t < 1e-10 {
				break
			}
		}
		copy(theta, trial)
		loglik = d.evaluate(theta, grad, hess)
		if done {
			hess.ScaleSym(-1, hess)
			if !information.Factorize(hess) {
				return theta, loglik, nil, step
			}
			return theta, loglik, information, nil
		}
	}
	return theta, loglik, nil, step
}

// coefficients turns (γ, β) in scaled logs into (b, log σ) in logs of the
// distance, with their covariance.
func (d *weibullData) coefficients(theta []float64, information *mat.Cholesky) (b []float64, logSigma float64, cov *mat.SymDense, err error) {
	p := len(theta) - 1
	beta := theta[p]
	inverse := mat.NewSymDense(p+1, nil)
	if err := information.InverseTo(inverse); err != nil {
		return nil, 0, nil, ErrNoMaximum.because("the likelihood is too flat to give standard errors")
	}
	// b = s γ/β, log σ = log s − log β with s the spread; the centre shifts
	// the intercept, which is x's first entry.
	b = make([]float64, p)
	jac := mat.NewDense(p+1, p+1, nil)
	for i, c := range theta[:p] {
		b[i] = d.spread * c / beta
		jac.Set(i, i, d.spread/beta)
		jac.Set(i, p, -b[i]/beta)
	}
	jac.Set(p, p, -1/beta)
	b[0] += d.centre
	var half, full mat.Dense
	half.Mul(jac, inverse)
	full.Mul(&half, jac.T())
	cov = mat.NewSymDense(p+1, nil)
	for i := range p + 1 {
		for j := i; j <= p; j++ {
			cov.SetSym(i, j, full.At(i, j))
		}
	}
	return b, math.Log(d.spread / beta), cov, nil
}

// extremes returns the furthest distance at which a pair was still sound and
// the nearest by which one was worn.
func extremes(x []Interval) (lastSound, firstWorn float64) {
	firstWorn = math.Inf(1)
	for _, v := range x {
		lastSound = math.Max(lastSound, v.Lower)
		firstWorn = math.Min(firstWorn, v.Upper)
	}
	return lastSound, firstWorn
}

// onlyOneLook says whether every pair was worn at its first look or sound so
// far.
func onlyOneLook(x []Interval) bool {
	return !slices.ContainsFunc(x, func(v Interval) bool { return v.Lower > 0 && !math.IsInf(v.Upper, 1) })
}
