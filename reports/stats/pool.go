package stats

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// PooledShare is the share of one group, pulled towards all.
type PooledShare struct {
	Name string `json:"name"`
	Hits int    `json:"hits"`
	Size int    `json:"size"`
	// Share is as counted, undefined for an empty group.
	Share Float `json:"share"`
	// Pooled is the empirical Bayes mean (y + α)/(n + α + β), undefined below
	// 10 groups; Low and High its interval, see Pool.Interval.
	Pooled Float `json:"pooled"`
	Low    Float `json:"low"`
	High   Float `json:"high"`
	// Why says what is undefined and why.
	Why string `json:"why,omitempty"`
}

// Pool holds groups whose shares are taken as drawn from one Beta(α, β).
type Pool struct {
	// Alpha and Beta are undefined where the groups differ no more than
	// chance: then every group has the pooled share.
	Alpha Float `json:"alpha"`
	Beta  Float `json:"beta"`
	// Mean is α/(α + β), Rho = 1/(α + β + 1) the likeness of two pairs of one
	// group: 0 where groups are alike.
	Mean   float64       `json:"mean"`
	Rho    float64       `json:"rho"`
	LogLik float64       `json:"loglik"`
	Groups []PooledShare `json:"groups"`
	// Interval says how the intervals were made: "wilson" (unshrunk, below 10
	// groups), "laird-louis" (corrected for the error of α and β, below 50
	// groups or without spread) or "naive" (Beta quantiles).
	Interval string `json:"interval"`
	Why      string `json:"why,omitempty"`
}

// How many groups each interval needs. Naive intervals cover about 70 % at 10
// groups, 87 % at 20 and 93 % at 50 (own simulation, Beta(2, 14), size 20).
const (
	fewGroups  = 10
	manyGroups = 50
	// unshrunk is the interval below fewGroups.
	unshrunk = "wilson"
	// refits is the number of parametric bootstrap fits (Laird & Louis: 200 to
	// 1000).
	refits = 400
)

// PoolShares fits y_j ~ Bin(n_j, θ_j), θ_j ~ Beta(α, β) by maximum likelihood
//
//	Σ log C(n, y) + log B(y + α, n − y + β) − log B(α, β)
//
// and shrinks each group's share towards the mean. From 50 groups on the
// intervals are Beta quantiles; from 10 to 49 they are corrected for the error
// of α and β by drawing θ*, y* from the fit, refitting 400 times from the
// seed, and taking quantiles of the equal mixture of Beta(y + α*, n − y + β*);
// below 10 groups they are Wilson's and nothing is shrunk. Groups of one name
// are added up; an empty one gets the prior.
//
// Errors: ErrEmpty for no pairs, ErrOneGroup for fewer than two groups,
// ErrNoSpread where all pairs agree or no group has two pairs, ErrNoMaximum
// where every group is all hits or none, ErrBadInput for hits outside 0–size
// or conf outside (0, 1).
//
// Sources: Tarone RE (1982) Biometrics 38:215–220; Laird NM, Louis TA (1987)
// JASA 82:739–750 (type III bootstrap); Carlin BP, Louis TA, Bayes and
// Empirical Bayes Methods, 3.5.
func PoolShares(groups []Trials, seed uint64, conf float64) (*Pool, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	joined, err := unitsByName(groups)
	if err != nil {
		return nil, err
	}
	held := 0
	for _, g := range joined {
		if g.Size > 0 {
			held++
		}
	}
	if held == 0 {
		return nil, ErrEmpty
	}
	if held < 2 {
		return nil, ErrOneGroup
	}
	l := newBetaBinomial(joined)
	fit, err := l.fit()
	if err != nil {
		return nil, err
	}
	p := &Pool{Mean: fit.mean, Rho: fit.theta / (1 + fit.theta), LogLik: fit.loglik}
	for _, g := range joined {
		p.LogLik += logChoose(g.Size, g.Hits)
	}
	if fit.theta > 0 {
		p.Alpha, p.Beta = Some(fit.mean/fit.theta), Some((1-fit.mean)/fit.theta)
	} else {
		p.Why = "alpha, beta: the groups differ no more than by chance, so the Beta shrinks to a point"
	}
	limits, err := p.limits(joined, held, fit, seed, (1-conf)/2)
	if err != nil {
		return nil, err
	}
	for _, g := range joined {
		s := PooledShare{Name: g.Name, Hits: g.Hits, Size: g.Size}
		if g.Size > 0 {
			s.Share = Some(float64(g.Hits) / float64(g.Size))
		} else {
			s.Why = "share: the group holds no pairs"
		}
		if p.Interval == unshrunk {
			s.Why = "pooled: fewer than 10 groups are too few to learn their spread from, so nothing is shrunk"
		} else {
			s.Pooled = Some(fit.posteriorMean(g))
		}
		if g.Size > 0 || p.Interval != unshrunk {
			if s.Low, s.High, err = limits(g); err != nil {
				return nil, err
			}
		}
		p.Groups = append(p.Groups, s)
	}
	return p, nil
}

// limits chooses how the intervals are made and returns the way, which leaves
// alpha on either side.
func (p *Pool) limits(groups []Trials, held int, fit betaFit, seed uint64, alpha float64) (func(Trials) (low, high Float, err error), error) {
	switch {
	case held < fewGroups:
		p.Interval = unshrunk
		return func(g Trials) (Float, Float, error) {
			low, high, err := Wilson(float64(g.Hits), float64(g.Size), 1-2*alpha)
			return Some(low), Some(high), err
		}, nil
	case held >= manyGroups && fit.theta > 0:
		p.Interval = "naive"
		return func(g Trials) (Float, Float, error) {
			return Some(fit.quantile(g, alpha)), Some(fit.quantile(g, 1-alpha)), nil
		}, nil
	}
	p.Interval = "laird-louis"
	fits, err := refit(groups, fit, seed)
	seen := map[Trials][2]Float{} // groups alike have limits alike
	return func(g Trials) (Float, Float, error) {
		alike := Trials{Hits: g.Hits, Size: g.Size}
		l, known := seen[alike]
		if !known {
			l = [2]Float{Some(mixtureQuantile(fits, g, alpha)), Some(mixtureQuantile(fits, g, 1-alpha))}
			seen[alike] = l
		}
		return l[0], l[1], nil
	}, err
}

// betaFit is a Beta by its mean and theta = 1/(α + β); theta 0 is a single
// point.
type betaFit struct{ mean, theta, loglik float64 }

func (f betaFit) posteriorMean(g Trials) float64 {
	return (float64(g.Hits)*f.theta + f.mean) / (float64(g.Size)*f.theta + 1)
}

// posterior returns the Beta of a group; theta must be above 0.
func (f betaFit) posterior(g Trials) (a, b float64) {
	return float64(g.Hits) + f.mean/f.theta, float64(g.Size-g.Hits) + (1-f.mean)/f.theta
}

func (f betaFit) quantile(g Trials, q float64) float64 {
	a, b := f.posterior(g)
	return mathext.InvRegIncBeta(a, b, q)
}

// betaBinomial is the data by how many groups have more than i hits, misses
// and pairs: A_i, B_i and C_i. The log-likelihood in m = mean and θ is
//
//	Σ_i A_i log(m + iθ) + B_i log(1 − m + iθ) − C_i log(1 + iθ)
//
// and smooth down to θ = 0, the binomial.
type betaBinomial struct{ hits, misses, pairs tail }

func newBetaBinomial(groups []Trials) *betaBinomial {
	var hits, misses, pairs []int
	for _, g := range groups {
		hits, misses, pairs = append(hits, g.Hits), append(misses, g.Size-g.Hits), append(pairs, g.Size)
	}
	return &betaBinomial{tailOf(hits), tailOf(misses), tailOf(pairs)}
}

func (l *betaBinomial) loglik(m, theta float64) float64 {
	return l.hits.logs(m, theta) + l.misses.logs(1-m, theta) - l.pairs.logs(1, theta)
}

// bestMean returns the m that maximises the likelihood at theta: it is
// concave in m, so Newton's step, kept inside a shrinking bracket, finds it.
func (l *betaBinomial) bestMean(theta, guess float64) float64 {
	low, high, m := 0.0, 1.0, guess
	for range 100 {
		up, upSlope, _ := l.hits.inverses(m, theta)
		down, downSlope, _ := l.misses.inverses(1-m, theta)
		d, dd := up-down, -upSlope-downSlope
		if d > 0 {
			low = m
		} else {
			high = m
		}
		next := m - d/dd
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-m) <= 1e-15*m {
			return next
		}
		m = next
	}
	return m
}

// slope returns the derivative of the profile likelihood in theta.
func (l *betaBinomial) slope(m, theta float64) float64 {
	_, _, hits := l.hits.inverses(m, theta)
	_, _, misses := l.misses.inverses(1-m, theta)
	_, _, pairs := l.pairs.inverses(1, theta)
	return hits + misses - pairs
}

// stretch says that count groups have more than i of something, for every i
// from from up to but not to.
type stretch struct{ from, to, count float64 }

// tail is how many groups have more than i of something, for every i.
type tail []stretch

// Sums over i add up term by term below exactTerms and over stretches shorter
// than shortStretch; over longer ones the Euler–Maclaurin formula with two
// corrections is off by less than 1e-14 of a sum, and costs the same however
// large the groups are.
const (
	exactTerms   = 64
	shortStretch = 16
)

// tailOf returns the tail of a list of counts.
func tailOf(counts []int) tail {
	sorted := slices.Sorted(slices.Values(counts))
	var t tail
	from := 0
	for at, n := range sorted {
		for from < n {
			to := n
			if from < exactTerms {
				to = min(n, exactTerms)
			}
			t = append(t, stretch{float64(from), float64(to), float64(len(sorted) - at)})
			from = to
		}
	}
	return t
}

// total returns Σ_i of the tail: all that was counted.
func (t tail) total() float64 {
	sum := 0.0
	for _, s := range t {
		sum += s.count * (s.to - s.from)
	}
	return sum
}

func (s stretch) termwise() bool { return s.from < exactTerms || s.to-s.from < shortStretch }

// logs returns Σ_i log(base + iθ).
func (t tail) logs(base, theta float64) float64 {
	sum := 0.0
	for _, s := range t {
		part := 0.0
		if s.termwise() {
			for i := s.from; i < s.to; i++ {
				part += math.Log(base + i*theta)
			}
		} else {
			n, a, b := s.to-s.from, base+s.from*theta, base+s.to*theta
			part = n*(math.Log(a)+meanLog1p(n*theta/a)) + (math.Log(a)-math.Log(b))/2
			p, q := theta/a, theta/b
			part += (q-p)/12 - (q*q*q-p*p*p)/360
		}
		sum += s.count * part
	}
	return sum
}

// meanLog1p returns the mean of log(1 + x) over x from 0 to t.
func meanLog1p(t float64) float64 {
	const small = 1e-3
	if t < small {
		return t * (1./2 - t*(1./6-t*(1./12-t*(1./20-t/30))))
	}
	return (1+1/t)*math.Log1p(t) - 1
}

// inverses returns Σ_i 1/(base + iθ), Σ_i 1/(base + iθ)² and Σ_i i/(base + iθ)
// for θ above 0.
func (t tail) inverses(base, theta float64) (first, second, weighted float64) {
	for _, s := range t {
		var f, ff, w float64
		if s.termwise() {
			for i := s.from; i < s.to; i++ {
				v := 1 / (base + i*theta)
				f += v
				ff += v * v
				w += i * v
			}
		} else {
			n, a, b := s.to-s.from, 1/(base+s.from*theta), 1/(base+s.to*theta)
			p, q := theta*a, theta*b
			f = math.Log1p(n*p)/theta + (a-b)/2 + (a*p-b*q)/12 - (a*p*p*p-b*q*q*q)/120
			ff = n*a*b + (a*a-b*b)/2 + (a*a*p-b*b*q)/6 - (a*a*p*p*p-b*b*q*q*q)/30
			w = (n - base*f) / theta
		}
		first += s.count * f
		second += s.count * ff
		weighted += s.count * w
	}
	return first, second, weighted
}

// The grid of log θ on which the profile is searched for its maxima.
const (
	leastTheta = 1e-7
	mostTheta  = 1e4
	thetaSteps = 14
)

// fit finds the highest maximum of the profile, at θ = 0 or inside.
func (l *betaBinomial) fit() (betaFit, error) {
	if len(l.hits) == 0 || len(l.misses) == 0 {
		return betaFit{}, ErrNoSpread.because("all pairs agree")
	}
	if l.pairs[len(l.pairs)-1].to < 2 {
		return betaFit{}, ErrNoSpread.because("no group has two pairs, so groups cannot be told from chance")
	}
	m := l.hits.total() / l.pairs.total()
	best := betaFit{mean: m, loglik: l.loglik(m, 0)}
	step := math.Pow(mostTheta/leastTheta, 1.0/thetaSteps)
	low, lowMean := leastTheta, l.bestMean(leastTheta, m)
	rising := l.slope(lowMean, low) > 0
	for range thetaSteps {
		high := low * step
		highMean := l.bestMean(high, lowMean)
		falls := l.slope(highMean, high) <= 0
		if rising && falls {
			theta, mean := l.peak(low, high, lowMean)
			if v := l.loglik(mean, theta); v > best.loglik {
				best = betaFit{mean, theta, v}
			}
		}
		low, lowMean, rising = high, highMean, !falls
	}
	if rising {
		return betaFit{}, ErrNoMaximum.because("nearly every group is all hits or none, so the spread between groups has no finite estimate")
	}
	return best, nil
}

// peak returns the maximum of the profile between low, where it rises, and
// high, where it falls.
func (l *betaBinomial) peak(low, high, mean float64) (theta, m float64) {
	const tolerance = 1e-13 // of log θ
	u := fallsThrough(func(u float64) float64 {
		theta := math.Exp(u)
		mean = l.bestMean(theta, mean)
		return l.slope(mean, theta) * theta
	}, math.Log(low), math.Log(high), tolerance)
	theta = math.Exp(u)
	return theta, l.bestMean(theta, mean)
}

// fallsThrough returns where f falls through 0 between low, where it is above 0,
// and high, where it is not, by the Illinois rule, with a halving wherever that
// moves one end only.
func fallsThrough(f func(float64) float64, low, high, tolerance float64) float64 {
	const rounds, stuck = 200, 3
	above, below := f(low), f(high)
	x, side := low, 0
	for range rounds {
		next := (low*below - high*above) / (below - above)
		if !(next > low && next < high) || side > stuck || side < -stuck {
			next = (low + high) / 2
		}
		moved := math.Abs(next - x)
		x = next
		v := f(x)
		if v == 0 || moved <= tolerance || high-low <= tolerance {
			break
		}
		if v > 0 {
			low, above = x, v
			if side > 0 {
				below /= 2
			}
			side = max(side, 0) + 1
		} else {
			high, below = x, v
			if side < 0 {
				above /= 2
			}
			side = min(side, 0) - 1
		}
	}
	return x
}

// refit draws data from the fit and fits them, leaving out draws without a
// maximum. It draws for the sizes in their order, so that the order of groups
// does not matter.
func refit(groups []Trials, fit betaFit, seed uint64) ([]betaFit, error) {
	rng := rand.New(rand.NewPCG(seed, 0))
	drawn := slices.Clone(groups)
	slices.SortFunc(drawn, func(a, b Trials) int { return a.Size - b.Size })
	var fits []betaFit
	for range refits {
		for j, g := range drawn {
			theta := fit.mean
			if fit.theta > 0 {
				theta = drawBeta(rng, fit.mean/fit.theta, (1-fit.mean)/fit.theta)
			}
			drawn[j].Hits = drawBinomial(rng, g.Size, theta)
		}
		if f, err := newBetaBinomial(drawn).fit(); err == nil {
			fits = append(fits, f)
		}
	}
	if 2*len(fits) < refits {
		return nil, ErrNotReached.because("too many resamples have no fit for an interval")
	}
	return fits, nil
}

// drawBeta draws from Beta(a, b) as a part of two gammas, by their logs: a
// gamma of small shape is often below what float64 holds.
func drawBeta(rng *rand.Rand, a, b float64) float64 {
	logGamma := func(shape float64) float64 {
		return math.Log(distuv.Gamma{Alpha: shape + 1, Beta: 1, Src: rng}.Rand()) - rng.ExpFloat64()/shape
	}
	return 1 / (1 + math.Exp(logGamma(b)-logGamma(a)))
}

// mixtureQuantile returns the q quantile of the equal mixture of the
// posteriors of a group under the refits.
func mixtureQuantile(fits []betaFit, g Trials, q float64) float64 {
	const tolerance = 1e-10
	return fallsThrough(func(x float64) float64 {
		below := 0.0
		for _, f := range fits {
			switch {
			case f.theta > 0:
				a, b := f.posterior(g)
				below += mathext.RegIncBeta(a, b, x)
			case f.mean <= x:
				below++
			}
		}
		return q*float64(len(fits)) - below
	}, 0, 1, tolerance)
}

// logChoose returns log C(n, k).
func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return a - b - c
}
