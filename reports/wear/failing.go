package wear

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"solewright/assess"
	"solewright/reports/fleet"
	"solewright/reports/stats"
)

// What the early-failure chart watches for. House values: doubled odds, and the
// limit at which the mix of pairs of the coverage study has some 7,700 readings
// between false alarms.
const (
	FailureOdds  = 2
	FailureLimit = 4.5
)

// Why there is no chart.
const (
	NoBaseline = "fewer than 20 pairs of its category have a known life"
	NeverEarly = "no pair of it was read under 250 km"
)

// FailureCase is one reading under [EarlyKM] of a pair that hadn't been found worn:
// whether it was now, and how likely that was.
type FailureCase struct {
	Day    string `json:"day"`
	Pair   string `json:"pair"`
	Batch  string `json:"batch,omitempty"`
	KM     int    `json:"km"`
	Failed bool   `json:"failed"`
	// Expected is F(km) of the baseline, given that the pair was sound where it was
	// read before, 1 − S(km)/S(before), with its odds recalibrated.
	Expected float64 `json:"expected"`
}

// FailureRestart is a day from which the chart begins anew, because readings are
// judged by another rule set.
type FailureRestart struct {
	Day   string `json:"day"`
	Rules int    `json:"rules"`
}

// FailurePart is the chart from one restart to the next.
type FailurePart struct {
	// FailureRestart is zero for what comes before the first.
	FailureRestart
	// Chart is what tally chart --kind ra-cusum says of the part's cases.
	Chart Answer `json:"chart"`
}

// FailureTail is how a model's, or a batch's, failures stand against what was
// expected of the same readings.
type FailureTail struct {
	Readings int     `json:"readings"`
	Worn     int     `json:"worn"`
	Expected float64 `json:"expected"`
	// P is the exact Poisson-binomial chance of as many or more, by chance alone; Q
	// the same after Benjamini and Hochberg over the Tested models. Under MinPairs
	// readings nothing is tested and both are absent.
	P      stats.Float `json:"p"`
	Q      stats.Float `json:"q"`
	Tested int         `json:"tested"`
}

// FailureChart is the early-failure chart of a model, or of one batch of it.
type FailureChart struct {
	Model    string  `json:"model"`
	Label    string  `json:"label"`
	Category string  `json:"category"`
	Batch    string  `json:"batch,omitempty"`
	Odds     float64 `json:"odds"`
	Limit    float64 `json:"limit"`
	FailureTail
	// InControl is the mean number of readings between false alarms at this mix of
	// risks while the baseline holds, Doubled until a signal where the odds are
	// doubled. Source: Steiner SH et al. (2000) Biostatistics 1:441–452, appendix.
	InControl stats.Float `json:"in_control"`
	Doubled   stats.Float `json:"doubled"`
	// Baseline is how many pairs the life curves are of that say what was expected,
	// and of which day the last of them is.
	Baseline   int    `json:"baseline_pairs"`
	BaselineTo string `json:"baseline_to"`
	// FirstOdds and LaterOdds are what the odds of first and of later looks were
	// multiplied by, so that the category's readings expect what they found: runners
	// come back because a shoe feels finished, which the curve doesn't know.
	FirstOdds float64       `json:"baseline_odds_first"`
	LaterOdds float64       `json:"baseline_odds_later"`
	Parts     []FailurePart `json:"parts"`
	Cases     []FailureCase `json:"cases"`
	// Why says why there is no chart.
	Why string `json:"why,omitempty"`
}

// baseline is what a category leads to expect.
type baseline struct {
	pairs int
	lives []*stats.Life // by [GaitGroups], the last of all pairs; nil where too few
	odds  [2]float64    // what odds are multiplied by, of first and later looks
}

// under returns which of the lives is that of a gait.
func (b *baseline) under(gait string) int {
	last := len(b.lives) - 1
	under := last
	for i, g := range GaitGroups[:last] {
		if g.holds(gait) && b.lives[i] != nil {
			under = i
		}
	}
	return under
}

// raw is how likely a pair, sound at before, is found worn at km by one of the lives.
func (b *baseline) raw(under, before, km int) float64 {
	life := b.lives[under]
	sound := life.SurvivalAt(float64(before))
	if sound == 0 {
		return 1
	}
	return 1 - life.SurvivalAt(float64(km))/sound
}

// chance is raw with its odds recalibrated.
func (b *baseline) chance(under, before, km int) float64 {
	return shifted(b.raw(under, before, km), b.odds[look(before)])
}

// look is 0 for the first look at a pair, 1 for a later one.
func look(before int) int {
	if before > 0 {
		return 1
	}
	return 0
}

// shifted multiplies the odds of a probability.
func shifted(p, odds float64) float64 { return odds * p / (1 - p + odds*p) }

// looks counts readings under [EarlyKM] by what was expected of them.
type looks struct {
	by    *baseline
	cells []rate // by life, then before, then km
}

func newLooks(by *baseline) *looks {
	return &looks{by, make([]rate, len(by.lives)*EarlyKM*EarlyKM)}
}

// add counts a reading and returns its cell.
func (l *looks) add(x *fleet.Visit, before int) int {
	cell := (l.by.under(x.By[1])*EarlyKM+before)*EarlyKM + x.KM.Int()
	l.cells[cell].size++
	if x.Worn {
		l.cells[cell].hits++
	}
	return cell
}

// chance is that of a cell's readings.
func (l *looks) chance(cell int) float64 {
	return l.by.chance(cell/(EarlyKM*EarlyKM), cell/EarlyKM%EarlyKM, cell%EarlyKM)
}

// calibrate multiplies the odds of first and of later looks so that all of the
// category's readings together expect what they found.
func (b *baseline) calibrate(l *looks) {
	type risk struct{ p, n float64 }
	var risks [2][]risk
	var found [2]rate
	for cell, r := range l.cells {
		if r.size == 0 {
			continue
		}
		at := look(cell / EarlyKM % EarlyKM)
		risks[at] = append(risks[at], risk{l.chance(cell), float64(r.size)})
		found[at] = rate{found[at].hits + r.hits, found[at].size + r.size}
	}
	for i, all := range risks {
		low, high := -oddsReach, oddsReach
		for range 50 {
			middle, expected := (low+high)/2, 0.0
			odds := math.Exp(middle)
			for _, r := range all {
				expected += r.n * shifted(r.p, odds)
			}
			if expected < float64(found[i].hits) {
				low = middle
			} else {
				high = middle
			}
		}
		if found[i].hits > 0 && found[i].hits < found[i].size {
			b.odds[i] = math.Exp((low + high) / 2)
		}
	}
}

// oddsReach is how far off the log odds of a baseline may be.
const oddsReach = 5.0

// Failures is what the early-failure charts are drawn from: what every category
// leads to expect, and how every model stands against it.
type Failures struct {
	baselines map[string]*baseline // by category
	to        string
	tails     map[string]FailureTail // by model
}

// FindFailures measures the life of every category, by gait, from all of its pairs in
// the scopes asked about, recalibrates it to their readings, and holds every model
// against it. Conditions on model,
// category, batch and gait, and days, don't count.
func FindFailures(v *fleet.View, a Ask) (*Failures, error) {
	a = failureAsk(a)
	f := &Failures{baselines: map[string]*baseline{}, tails: map[string]FailureTail{}}
	_, month, err := v.Months(a.filter())
	if err != nil {
		return nil, err
	}
	f.to = month
	groups, err := v.Life(a.filter(), fleet.Category, fleet.Gait)
	if err != nil {
		return nil, err
	}
	for len(groups) > 0 {
		n := slices.IndexFunc(groups, func(g fleet.LifeGroup) bool { return g.By[0] != groups[0].By[0] })
		if n < 0 {
			n = len(groups)
		}
		if category := groups[0].By[0]; category != "" {
			if f.baselines[category], err = baselineOf(groups[:n]); err != nil {
				return nil, err
			}
		}
		groups = groups[n:]
	}
	models, err := v.Count(a.filter(), fleet.Category, fleet.Model)
	if err != nil {
		return nil, err
	}
	models = slices.DeleteFunc(models, func(m fleet.Cell) bool { return f.baselines[m.By[0]] == nil || m.By[1] == "" })
	var (
		tested []string
		p      []float64
	)
	for len(models) > 0 {
		category := models[0].By[0]
		n := slices.IndexFunc(models, func(m fleet.Cell) bool { return m.By[0] != category })
		if n < 0 {
			n = len(models)
		}
		if err := f.hold(v, a, category, models[:n]); err != nil {
			return nil, err
		}
		models = models[n:]
	}
	for model, t := range f.tails {
		if t.P.OK {
			tested = append(tested, model)
		}
	}
	slices.Sort(tested)
	for _, model := range tested {
		p = append(p, f.tails[model].P.V)
	}
	for i, q := range stats.BH(p) {
		t := f.tails[tested[i]]
		t.Q, t.Tested = stats.Some(q), len(tested)
		f.tails[tested[i]] = t
	}
	return f, nil
}

// hold recalibrates what a category leads to expect, and holds its models against it.
func (f *Failures) hold(v *fleet.View, a Ask, category string, models []fleet.Cell) error {
	by := f.baselines[category]
	all, of := newLooks(by), make([][]uint32, len(models)) // the cells of each model's readings
	worn := make([]int, len(models))
	for i, m := range models {
		if err := earlyLooks(v, a, m.By[1], func(x *fleet.Visit, before int) {
			of[i] = append(of[i], uint32(all.add(x, before)))
			if x.Worn {
				worn[i]++
			}
		}); err != nil {
			return err
		}
	}
	by.calibrate(all)
	chances := make([]float64, len(all.cells)) // of cells that were asked for
	for i, m := range models {
		v.Rest()
		expected := make([]float64, len(of[i]))
		for k, cell := range of[i] {
			if chances[cell] == 0 {
				chances[cell] = all.chance(int(cell))
			}
			expected[k] = chances[cell]
		}
		var err error
		if f.tails[m.By[1]], err = tailOf(expected, worn[i]); err != nil {
			return err
		}
	}
	return nil
}

// failureAsk leaves of a question what the baseline goes by.
func failureAsk(a Ask) Ask {
	for _, d := range []fleet.Dim{fleet.Model, fleet.Category, fleet.Batch, fleet.Gait, fleet.Verdict, fleet.Reason} {
		a = a.Without(d)
	}
	a.From, a.To, a.KMFrom, a.KMTo, a.Pattern, a.By, a.Readings = "", "", assess.Unread, assess.Unread, "", nil, false
	return a
}

// baselineOf fits the life of a category's pairs, by gait and of all; nil where there
// are fewer than [MinPairs] with an interval of life.
func baselineOf(groups []fleet.LifeGroup) (*baseline, error) {
	b := &baseline{odds: [2]float64{1, 1}}
	for _, g := range GaitGroups {
		under := slices.DeleteFunc(slices.Clone(groups), func(of fleet.LifeGroup) bool { return !g.holds(of.By[1]) })
		intervals, pairs, err := intervalsOf(under)
		if err != nil {
			return nil, err
		}
		if b.pairs = pairs; pairs < MinPairs { // the last group is all
			b.lives = append(b.lives, nil)
			continue
		}
		life, err := stats.NPMLE(intervals)
		if err != nil {
			return nil, err
		}
		b.lives = append(b.lives, life)
	}
	if b.lives[len(b.lives)-1] == nil {
		return nil, nil
	}
	return b, nil
}

// earlyLooks calls each with a model's readings under [EarlyKM], in order of the day: of
// each pair until it is found worn, with the distance that it was sound at before, 0 at
// its first look. A reading without a distance or a verdict says nothing, and one at no
// greater distance than the pair was sound at before can't.
func earlyLooks(v *fleet.View, a Ask, model string, each func(x *fleet.Visit, before int)) error {
	a = failureAsk(a).With(fleet.Model, model)
	a.Readings, a.KMFrom, a.KMTo = true, assess.Of(0), assess.Of(EarlyKM-1)
	visits, err := v.Visits(a.filter(), fleet.Batch, fleet.Gait)
	if err != nil {
		return err
	}
	type seen struct {
		worn bool
		km   int
	}
	before := map[string]seen{}
	for i := range visits {
		x := &visits[i]
		was, km := before[x.Pair], x.KM.Int()
		if !x.Worn && !x.Sound || was.worn || km <= was.km {
			continue
		}
		before[x.Pair] = seen{x.Worn, km}
		each(x, was.km)
	}
	return nil
}

// cases are those readings of a model, with what was expected of each.
func (f *Failures) cases(v *fleet.View, a Ask, category, model string) ([]FailureCase, error) {
	by := f.baselines[category]
	var cases []FailureCase
	err := earlyLooks(v, a, model, func(x *fleet.Visit, before int) {
		cases = append(cases, FailureCase{
			Day: x.Day, Pair: x.Pair, Batch: x.By[0], KM: x.KM.Int(), Failed: x.Worn,
			Expected: by.chance(by.under(x.By[1]), before, x.KM.Int()),
		})
	})
	return cases, err
}

// tailOf is how so many readings found worn stand against what was expected of all.
func tailOf(expected []float64, worn int) (FailureTail, error) {
	t := FailureTail{Readings: len(expected), Worn: worn}
	for _, p := range expected {
		t.Expected += p
	}
	if len(expected) < MinPairs {
		return t, nil
	}
	tail, err := stats.PoissonBinomial(expected, worn)
	if err != nil {
		return t, err
	}
	t.P = stats.Some(tail.PAtLeast)
	return t, nil
}

// Chart draws the chart of a model, or of one batch of it, over the days of the
// question; the first reading of a pair in it is held against what was known of the
// pair before.
func (f *Failures) Chart(v *fleet.View, a Ask, category, model, batch string, restarts []FailureRestart) (*FailureChart, error) {
	c := &FailureChart{
		Model: model, Label: v.Label(fleet.Model, model), Category: category, Batch: batch, Odds: FailureOdds, Limit: FailureLimit,
		BaselineTo: f.to, Parts: []FailurePart{}, Cases: []FailureCase{},
	}
	by := f.baselines[category]
	if by == nil {
		c.Why = NoBaseline
		return c, nil
	}
	c.Baseline, c.FirstOdds, c.LaterOdds = by.pairs, by.odds[0], by.odds[1]
	all, err := f.cases(v, a, category, model)
	if err != nil {
		return nil, err
	}
	var expected []float64
	worn := 0
	for _, x := range all {
		if x.Day >= a.From && (a.To == "" || x.Day[:min(len(x.Day), len(a.To))] <= a.To) && (batch == "" || x.Batch == batch) {
			c.Cases, expected = append(c.Cases, x), append(expected, x.Expected)
			if x.Failed {
				worn++
			}
		}
	}
	if c.FailureTail, err = tailOf(expected, worn); err != nil {
		return nil, err
	}
	if t := f.tails[model]; batch == "" && t.Readings == c.Readings { // of all months
		c.FailureTail = t
	}
	if len(c.Cases) == 0 {
		c.Why = NeverEarly
		return c, nil
	}
	if err := c.lengths(); err != nil {
		return nil, err
	}
	return c, c.split(restarts)
}

// riskGrain is to what the risks are rounded whose run length is computed: the length
// is good to two digits.
const riskGrain = 0.002

// lengths states the run lengths at the chart's own mix of risks; where none of its
// readings could have failed there is none.
func (c *FailureChart) lengths() error {
	expected := make([]float64, len(c.Cases))
	any := false
	for i, x := range c.Cases {
		expected[i] = min(1, math.Round(x.Expected/riskGrain)*riskGrain)
		any = any || expected[i] > 0
	}
	if !any {
		return nil
	}
	for _, l := range []struct {
		odds float64
		to   *stats.Float
	}{{1, &c.InControl}, {FailureOdds, &c.Doubled}} {
		length, err := stats.RiskRunLength(expected, FailureOdds, FailureLimit, l.odds)
		if err != nil {
			return err
		}
		*l.to = stats.Some(length.ARLOne)
	}
	return nil
}

// split charts the cases between the restarts.
func (c *FailureChart) split(restarts []FailureRestart) error {
	restarts = slices.SortedFunc(slices.Values(restarts), func(a, b FailureRestart) int { return cmp.Compare(a.Day, b.Day) })
	left := c.Cases
	part := FailurePart{}
	flush := func(until string) error {
		n := len(left)
		if until != "" {
			n, _ = slices.BinarySearchFunc(left, until, func(x FailureCase, day string) int { return cmp.Compare(x.Day, day) })
		}
		if n > 0 {
			rows := &counted{columns: []string{"day", "failed", "expected", "n"}}
			for _, x := range left[:n] {
				rows.add(1, x.Day, map[bool]string{true: "1", false: "0"}[x.Failed], strconv.FormatFloat(x.Expected, 'g', -1, 64))
			}
			var err error
			if part.Chart, err = compute(rows, nil, "chart", "--kind", "ra-cusum", "--order", "day", "--event", "failed", "--expected", "expected",
				"--odds", strconv.Itoa(FailureOdds), "--h", strconv.FormatFloat(FailureLimit, 'g', -1, 64)); err != nil {
				return err
			}
			c.Parts = append(c.Parts, part)
		}
		left = left[n:]
		return nil
	}
	for _, r := range restarts {
		if err := flush(r.Day); err != nil {
			return err
		}
		part = FailurePart{FailureRestart: r}
	}
	return flush("")
}
