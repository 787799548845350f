package stats

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// profile is the log-likelihood of one group along a parameter λ, maximised
// over the other, ν, at each point; in the scaled (γ, β) of weibullData,
//
//	shape     λ = log β, ν = γ
//	quantile  λ = log t_p scaled, ν = β:  γ = β λ − log(−log(1−p))
type profile struct {
	data   *weibullData
	shape  bool
	offset float64 // log(−log(1−p))
	best   float64 // the maximum of log L
	hess   *mat.SymDense
}

// slope returns log L at (λ, ν), its derivatives in λ and ν, and the second
// derivatives in ν and in both.
func (f *profile) slope(lambda, nu float64) (l, dl, dn, dnn, dln float64) {
	var grad [2]float64
	if f.shape {
		beta := math.Exp(lambda)
		l = f.data.evaluate([]float64{nu, beta}, grad[:], f.hess)
		return l, beta * grad[1], grad[0], f.hess.At(0, 0), beta * f.hess.At(0, 1)
	}
	l = f.data.evaluate([]float64{nu*lambda - f.offset, nu}, grad[:], f.hess)
	gg, gb, bb := f.hess.At(0, 0), f.hess.At(0, 1), f.hess.At(1, 1)
	dl = nu * grad[0]
	dn = grad[1] + lambda*grad[0]
	dnn = bb + 2*lambda*gb + lambda*lambda*gg
	dln = grad[0] + nu*(gb+lambda*gg)
	return l, dl, dn, dnn, dln
}

// over maximises over ν from a guess by Newton steps in a bracket, none longer
// than the curvature can be trusted for; log L is concave in ν. It returns the
// maximum, its slope in λ (that of log L itself, by the envelope theorem), ν
// and dν/dλ.
func (f *profile) over(lambda, guess float64) (l, dl, nu, follow float64) {
	const (
		rounds    = 200
		decrement = 1e-20 // squared length of a step in standard errors
	)
	low, high := math.Inf(-1), math.Inf(1)
	nu = guess
	var dn, dnn, dln float64
	for range rounds {
		l, dl, dn, dnn, dln = f.slope(lambda, nu)
		if dn > 0 {
			low = nu
		} else {
			high = nu
		}
		if dn*dn <= decrement*-dnn {
			break
		}
		next := f.within(nu, nu-dn/dnn)
		if math.IsNaN(next) {
			next = f.within(nu, nu+math.Copysign(math.MaxFloat64, dn))
		}
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if next == nu || !f.shape && next < nu && next < leastShape {
			break // no further in float64, or flat down to shape 0
		}
		nu = next
	}
	return l, dl, nu, -dln / dnn
}

// together solves 2 (best − log L) = z² and ∂ log L/∂ν = 0 at once by Newton
// steps from (λ, ν), each of one evaluation. As log L is concave in ν, a solution
// on this side of from is the limit. ok is false where the steps leave that side,
// grow, or lead nowhere.
//
// Source: Venzon DJ, Moolgavkar SH (1988) Applied Statistics 37:87–94.
func (f *profile) together(lambda, nu, from, se, z float64) (limit float64, ok bool) {
	const (
		rounds = 12
		near   = 1e-7 // a step, in standard errors, whose error left is of its square
	)
	target := f.best - z*z/2
	for range rounds {
		l, dl, dn, dnn, dln := f.slope(lambda, nu)
		det := dl*dnn - dn*dln
		a := (dn*dn - (l-target)*dnn) / det
		b := ((l-target)*dln - dl*dn) / det
		switch next := lambda + a; {
		case !(dnn < 0), math.IsNaN(a), math.IsNaN(b):
			return 0, false
		case !((next-from)*(lambda-from) > 0), math.Abs(a) > math.Abs(lambda-from), nu+b != f.within(nu, nu+b):
			return 0, false
		}
		lambda, nu = lambda+a, nu+b
		if math.Abs(a) < near*se && math.Abs(b) < near*(1+math.Abs(nu)) {
			return lambda, true
		}
	}
	return 0, false
}

// limit returns the λ between the maximum, at (from, ν), and the farthest one
// at which 2 (best − profile) reaches z². Where together does not find it, it
// solves for the root of the drop, which is nearly straight, by Newton steps in
// a bracket. ok is false where the profile does not fall that far.
func (f *profile) limit(from, nu, se, z, farthest float64) (lambda float64, ok bool) {
	side := math.Copysign(1, farthest-from)
	inside, outside := from, math.NaN() // the drop is too small, too large
	// The data span 2 on either scale; a longer first step could leave the
	// range of the arithmetic where the standard error is huge.
	lambda = from + side*math.Min(z*se, 1)
	_, _, nu, follow := f.over(from, nu)
	nu = f.within(nu, nu+follow*(lambda-from))
	if at, ok := f.together(lambda, nu, from, se, z); ok && side*(at-farthest) <= 0 {
		return at, true
	}
	const rounds = 200
	for range rounds {
		if side*(lambda-farthest) > 0 {
			lambda = farthest
		}
		l, dl, n, follow := f.over(lambda, nu)
		root := math.Sqrt(math.Max(0, 2*(f.best-l)))
		if math.Abs(root-z) < 1e-11 {
			return lambda, true
		}
		if root < z {
			if lambda == farthest {
				return 0, false
			}
			inside = lambda
		} else {
			outside = lambda
		}
		// d root/dλ = −dl/root; near the maximum and beyond the bracket, step
		// by doubling or halving instead.
		next := lambda + (root-z)*root/dl
		switch bracketed := !math.IsNaN(outside); {
		case bracketed && !(side*(next-inside) > 0 && side*(outside-next) > 0):
			next = (inside + outside) / 2
		case !bracketed && !(side*(next-inside) > 0 && side*(next-inside) < 4*side*(inside-from)):
			next = from + 2*(inside-from)
		}
		if next == lambda || math.Abs(next-lambda) <= 1e-15*math.Abs(next) {
			return next, true
		}
		nu = f.within(n, n+follow*(next-lambda))
		lambda = next
	}
	return lambda, true
}

// within returns next, or the nearest value to it that is no farther from ν
// than one step may go.
func (f *profile) within(nu, next float64) float64 {
	const longest = 4 // a step's factor for a shape, its length for γ
	if f.shape {
		return math.Max(nu-longest, math.Min(nu+longest, next))
	}
	return math.Max(nu/longest, math.Min(nu*longest, next))
}

// farthestLog bounds the search for a limit: e^700 times the estimate is as
// good as open, and near what float64 holds.
const farthestLog = 700

// likelihoodRatioLimits sets the limits by likelihood ratio and says which of
// all limits are undefined.
func (w *Weibull) likelihoodRatioLimits() {
	w.ShapeLRLow, w.ShapeLRHigh = w.profileShape()
	// The scale is the distance by which 1 − 1/e have failed.
	w.ScaleLRLow, w.ScaleLRHigh = w.profileQuantile(-math.Expm1(-1))
	w.B10LRLow, w.B10LRHigh = w.profileQuantile(0.1)
	w.B50LRLow, w.B50LRHigh = w.profileQuantile(0.5)
	type limit struct {
		name string
		v    Float
	}
	undefined := func(limits []limit, why string) {
		var names []string
		for _, l := range limits {
			if !l.v.OK {
				names = append(names, l.name)
			}
		}
		if len(names) == 0 {
			return
		}
		if w.Why != "" {
			w.Why += "; "
		}
		w.Why += strings.Join(names, ", ") + ": " + why
	}
	undefined([]limit{
		{"shape_low", w.ShapeLow},
		{"shape_high", w.ShapeHigh},
		{"scale_low", w.ScaleLow},
		{"scale_high", w.ScaleHigh},
		{"b10_low", w.B10Low},
		{"b10_high", w.B10High},
		{"b50_low", w.B50Low},
		{"b50_high", w.B50High},
	}, beyondNumbers)
	undefined([]limit{
		{"shape_lr_low", w.ShapeLRLow},
		{"shape_lr_high", w.ShapeLRHigh},
		{"scale_lr_low", w.ScaleLRLow},
		{"scale_lr_high", w.ScaleLRHigh},
		{"b10_lr_low", w.B10LRLow},
		{"b10_lr_high", w.B10LRHigh},
		{"b50_lr_low", w.B50LRLow},
		{"b50_lr_high", w.B50LRHigh},
	}, "the likelihood never falls far enough on that side")
}

func (w *Weibull) profileShape() (low, high Float) {
	f := &profile{data: w.data, shape: true, best: w.LogLik, hess: mat.NewSymDense(2, nil)}
	from := math.Log(w.theta[1])
	toShape := func(lambda float64) float64 { return math.Exp(lambda) / w.data.spread }
	return f.both(from, w.theta[0], math.Sqrt(w.VCov[1][1]), normalCritical(w.conf), farthestLog, toShape)
}

func (w *Weibull) profileQuantile(p float64) (low, high Float) {
	u := math.Log(-math.Log1p(-p))
	f := &profile{data: w.data, offset: u, best: w.LogLik, hess: mat.NewSymDense(2, nil)}
	s := w.data.spread
	from := (w.theta[0] + u) / w.theta[1]
	su := w.Sigma * u
	se := math.Sqrt(w.VCov[0][0]+2*su*w.VCov[0][1]+su*su*w.VCov[1][1]) / s
	toKm := func(lambda float64) float64 { return math.Exp(w.data.centre + s*lambda) }
	return f.both(from, w.theta[1], se, normalCritical(w.conf), farthestLog/s, toKm)
}

// both returns the limits on either side, each in the unit of report.
func (f *profile) both(from, nu, se, z, farthest float64, report func(float64) float64) (low, high Float) {
	if l, ok := f.limit(from, nu, se, z, from-farthest); ok {
		low = Some(report(l))
	}
	if l, ok := f.limit(from, nu, se, z, from+farthest); ok {
		high = Some(report(l))
	}
	return low, high
}
