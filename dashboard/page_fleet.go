package dashboard

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/figure"
	memory "solewright/reports/fleet"
	"solewright/reports/stats"
	"solewright/reports/wear"
)

// fleetPage is the manager's page: what to look at first, and the figures that
// say why.
type fleetPage struct {
	wearFilters
	Parts    []way
	Patterns []patternKey
	// Picked names the pattern asked about.
	Picked string
	Matrix figureView
	// MatrixFinding is what a screen reader hears of the matrix.
	MatrixFinding string
	Ticks         []string
	Columns       []string
	Rows          []matrixRow
	// Open is the category whose models are shown.
	Open       string
	Figures    []figureView
	Lives      []figureView
	LivesLater string // where the page has their bands
	// Band asks for the interval of the life curves.
	Band    way
	Signals []signalView
	More    int // signals that aren't shown
	// Later is where the page has its signals, while they are looked for.
	Later string
	Pairs string
	Empty bool
}

// wearFilters are the filters on the board, which live in the address.
type wearFilters struct {
	Months  []monthKey
	Range   string
	Selects []filterSelect
	// Extra are the filters that few questions need; ExtraSet says that one is set.
	Extra    []filterSelect
	Bounds   []filterBound
	ExtraSet bool
	// Kept are the parameters that the form doesn't show.
	Kept  []choice
	Clear string
	Path  string
	AsOf  string
	Ways  []way
}

// way is one way to another address.
type way struct {
	Href, Text string
	Here       bool
}

// monthKey is one month of the band of months.
type monthKey struct {
	Href, Name, Year, Label string
	Month                   string
	Bar                     template.HTML
	In, First, Last         bool
}

// filterSelect is one list to choose from.
type filterSelect struct {
	Name, Label string
	Choices     []choice
}

// Options writes the choices: with thousands of stores and models a template takes
// most of a page's time for them.
func (f filterSelect) Options() template.HTML {
	var b strings.Builder
	for _, x := range f.Choices {
		b.WriteString(`<option value="`)
		template.HTMLEscape(&b, []byte(x.Value))
		if b.WriteByte('"'); x.Picked {
			b.WriteString(" selected")
		}
		b.WriteByte('>')
		template.HTMLEscape(&b, []byte(x.Text))
		b.WriteString("</option>")
	}
	return template.HTML(b.String())
}

// filterBound is one end of a range: of days or of distances.
type filterBound struct {
	Name, Label, Value string
	Days               bool
}

// patternKey is one pattern to choose, drawn on a sole.
type patternKey struct {
	way
	Left, Right, Share string
}

// matrixRow is one row of the matrix: a category, or a model of the open one.
type matrixRow struct {
	way
	Sub   bool
	Cells []matrixCell
}

type matrixCell struct {
	Href, Share, Note string
	Few               bool
	N                 string
	Pooled            string
	SVG               template.HTML
	Label             string
}

// signalView is one signal in the margin.
type signalView struct {
	Number         int
	New            string // says since when it stands out, where that is new
	ID, Head, Text string
	Evidence       string
	Checks         []string
	Pairs          string
	PairsText      string
	Store          way // the page of the store that it is of
	State, Who     string
	Notes          []string
	Fault, MayAct  bool
	Act            string
	Outcomes       []choice
	// Photos are some of its pairs', where it says that a shoe may be at fault.
	Photos []signalPhoto

	of *wear.Signal
}

// signalPhoto is a photo of one of a signal's pairs.
type signalPhoto struct {
	Ref string
	pairPhoto
}

// A signal shows so many photos at most, of its newest pairs. House values.
const signalPhotos, signalPairs = 3, 12

// showPhotos puts photos of the pairs behind them to the signals that say that a
// shoe may be at fault.
func (s *Server) showPhotos(c *gin.Context, v *memory.View, a wear.Ask, signals []signalView) error {
	for i := range signals {
		x := &signals[i]
		if !x.Fault {
			continue
		}
		found, _, err := v.List(x.of.Pairs(a).Filter(), memory.Newest, "", signalPairs)
		if err != nil {
			return err
		}
		photos, err := s.smallPhotos(c, found)
		if err != nil {
			return err
		}
		for j := range found {
			ref := found[j].Pair
			for _, p := range photos[ref] {
				if len(x.Photos) < signalPhotos {
					x.Photos = append(x.Photos, signalPhoto{ref, p})
				}
			}
		}
	}
	return nil
}

// defaultMonths is how far back the page looks at first.
const defaultMonths = 12

// shownSignals is how many signals of a kind stand in the margin.
const shownSignals = 3

// defaultPattern is what the page opens with. House value.
const defaultPattern = assess.MedialWear

// showFleet answers with the manager's page.
func (s *Server) showFleet(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	// Where no months are named, signals are looked for in all of them: a batch
	// that fails early did so when it was new.
	looked := a
	within, _ := s.patience(c) // what the page opens with goes by what takes long
	signals, ready, err := s.signalsSoon(c, v, looked, within)
	if err != nil {
		return err
	}
	view := fleetPage{Open: c.Query("open")}
	if !ready {
		view.Later = address(c, waitKey, "yes")
	}
	if view.wearFilters, a, err = s.wearFilters(c, v, a); err != nil {
		return err
	}
	if a.Pattern == "" {
		view.openAt(&a, c.Query("part") != "", signals)
	}
	w := s.words(c)
	view.Band = way{Href: address(c, "band", "yes"), Text: w.say("fleet.life.band"), Here: c.Query("band") != ""}
	view.Signals, view.More = s.signalViews(c, looked, signals)
	if err := s.showPhotos(c, v, looked, view.Signals); err != nil {
		return err
	}
	if err := s.fleetMatrix(c, v, a, &view); err != nil {
		return err
	}
	if view.Figures, err = s.fleetFigures(c, v, a, view.Signals, within); err != nil {
		return err
	}
	if ready = !view.Band.Here; ready {
		view.Lives, _, err = s.fleetLives(c, v, a)
	} else {
		view.Lives, _, ready, err = s.bandedLives(c, v, a, within)
	}
	if err != nil {
		return err
	}
	if !ready {
		view.LivesLater = address(c, waitKey, "yes")
	}
	if done, err := s.serveFigure(c, slices.Concat([]figureView{view.Matrix}, view.Figures, view.Lives)...); done || err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "fleet", view)
}

// openAt chooses the pattern that the page opens with: that of the first model
// that stands out, among the models of its category; else the house's.
func (p *fleetPage) openAt(a *wear.Ask, part bool, signals []signalOut) {
	a.Pattern = defaultPattern.String()
	for i := range signals {
		if o := &signals[i]; o.Kind == wear.ModelWears && !part {
			a.Pattern, a.Part = o.Pattern, wear.Part(slices.Index(wear.Parts, o.Part))
			if p.Open == "" {
				p.Open = o.Category
			}
			return
		}
	}
}

// withoutPattern is the question about pairs of any pattern.
func withoutPattern(a wear.Ask) wear.Ask {
	a.Pattern = ""
	return a
}

// wearFilters lays the filters out, and returns the question with the range of
// months that the page opens with where none is given.
func (s *Server) wearFilters(c *gin.Context, v *memory.View, a wear.Ask) (wearFilters, wear.Ask, error) {
	w := s.words(c)
	f := wearFilters{Path: c.Request.URL.Path, Clear: c.Request.URL.Path, AsOf: w.say("fleet.as-of", "at", v.AsOf.UTC().Format("2006-01-02 15:04"))}
	whole := withoutPattern(a)
	whole.From, whole.To = "", ""
	first, last, err := v.Months(whole.Filter())
	if err != nil {
		return f, a, err
	}
	// A list holds all the pairs behind a number, which may be of all months.
	if a.From == "" && a.To == "" && last != "" && f.Path != "/fleet/pairs" {
		a.From, a.To = max(first, monthsBefore(last, defaultMonths-1)), last
	}
	var cells []memory.Cell
	if last != "" {
		whole.From = monthsBefore(last, shownMonths-1)
		if cells, err = v.Count(whole.Filter(), memory.Month); err != nil {
			return f, a, err
		}
	}
	f.months(c, w, first, last, cells, a)
	for _, d := range []memory.Dim{memory.Region, memory.Store, memory.Category, memory.Model, memory.Gait, memory.Kind} {
		f.Selects = append(f.Selects, s.filterSelect(c, v, a, d))
	}
	for _, d := range []memory.Dim{memory.Posture, memory.Strike} {
		f.Extra = append(f.Extra, s.filterSelect(c, v, a, d))
	}
	f.Bounds = w.bounds(c)
	shown := []string{"region", "store", "category", "model", "gait", "kind", "cursor", "figure", "as", "posture", "strike", "from", "to", "km_from", "km_to"}
	for _, name := range []string{"posture", "strike", "km_from", "km_to"} {
		f.ExtraSet = f.ExtraSet || c.Query(name) != ""
	}
	f.ExtraSet = f.ExtraSet || len(c.Query("from")) > len(monthForm) || len(c.Query("to")) > len(monthForm)
	query := c.Request.URL.Query()
	for _, name := range sortedKeys(query) {
		if !slices.Contains(shown, name) {
			f.Kept = append(f.Kept, choice{Value: query.Get(name), Text: name})
		}
	}
	f.Ways = fleetWays(c, w)
	return f, a, nil
}

// fleetWays are the pages about the fleet, in the order in which they stand on
// the board.
func fleetWays(c *gin.Context, w words) []way {
	var ways []way
	for _, to := range []struct{ path, key string }{
		{"/fleet", "fleet.way.wear"},
		{"/fleet/pairs", "fleet.way.pairs"},
		{"/fleet/compare", "fleet.way.compare"},
		{"/fleet/credit", "fleet.way.credit"},
		{"/fleet/agreement", "fleet.way.agreement"},
	} {
		ways = append(ways, way{Href: to.path, Text: w.say(to.key), Here: to.path == c.Request.URL.Path})
	}
	return ways
}

// bounds are the ends of the days and distances that the address names. A month
// is written as its first or last day: the form asks for days.
func (w words) bounds(c *gin.Context) []filterBound {
	all := []filterBound{
		{Name: "from", Days: true}, {Name: "to", Days: true}, {Name: "km_from"}, {Name: "km_to"},
	}
	for i := range all {
		b := &all[i]
		b.Label, b.Value = w.say("fleet.filter."+b.Name), c.Query(b.Name)
		if month, err := time.Parse(monthForm, b.Value); err == nil {
			if b.Name == "to" {
				month = month.AddDate(0, 1, -1)
			}
			b.Value = month.Format(time.DateOnly)
		}
	}
	return all
}

func sortedKeys(q url.Values) []string {
	var names []string
	for name := range q {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// shownMonths is how many months the band holds.
const shownMonths = 24

// months lays out the band of months, of which the first and the last are those that
// the pairs are of. A tap outside of the range widens it to
// that month, one inside narrows it to that month alone.
func (f *wearFilters) months(c *gin.Context, w words, first, last string, cells []memory.Cell, a wear.Ask) {
	from, to := monthOf(a.From), monthOf(a.To)
	if from == "" && to == "" {
		from, to = first, last
	}
	most := 1
	for _, m := range cells {
		most = max(most, m.N)
	}
	year := ""
	for _, m := range cells {
		month := m.By[0]
		k := monthKey{Month: month, Name: w.monthName(month), In: month >= from && (to == "" || month <= to), First: month == from, Last: month == to}
		k.Label = w.say("fleet.month", "month", w.monthYear(month), "n", m.N)
		begin, end := month, month
		switch {
		case from != "" && month < from:
			end = to
		case to != "" && month > to:
			begin = from
		}
		k.Href = address(c, "from", begin, "to", end)
		if y := month[:4]; y != year {
			year, k.Year = y, y
		}
		height := 4 + 18*float64(m.N)/float64(most)
		k.Bar = template.HTML(fmt.Sprintf(`<svg viewBox="0 0 22 24" aria-hidden="true"><rect x="1" y="%.1f" width="20" height="%.1f"/></svg>`, 23-height, height))
		f.Months = append(f.Months, k)
	}
	f.Range = w.say("fleet.range", "from", w.monthYear(from), "to", w.monthYear(to))
}

// monthsBefore returns the month that lies so many before another.
func monthsBefore(month string, n int) string {
	t, err := time.Parse(monthForm, month)
	if err != nil {
		return month
	}
	return t.AddDate(0, -n, 0).Format(monthForm)
}

// monthOf returns the month of a day or a month.
func monthOf(day string) string { return day[:min(len(day), len(monthForm))] }

// monthName says a month, 2026-10, in three letters.
func (w words) monthName(month string) string {
	if len(month) != len(monthForm) {
		return month
	}
	n, err := strconv.Atoi(month[5:])
	if err != nil {
		return month
	}
	name := []rune(w.say("month." + strconv.Itoa(n)))
	return string(name[:min(3, len(name))])
}

// monthYear says a month with its year.
func (w words) monthYear(month string) string {
	t, err := time.Parse(monthForm, month)
	if err != nil {
		return month
	}
	return w.say("month-year", "month", w.say("month."+strconv.Itoa(int(t.Month()))), "year", t.Year())
}

// filterSelect lays out the choices of a dimension, those in the caller's scope.
func (s *Server) filterSelect(c *gin.Context, v *memory.View, a wear.Ask, d memory.Dim) filterSelect {
	w, who := s.words(c), s.who(c)
	f := filterSelect{Name: d.String(), Label: w.say("fleet.filter." + d.String())}
	picked := c.Query(d.String())
	f.Choices = append(f.Choices, choice{Text: w.say("fleet.all." + d.String()), Picked: picked == ""})
	for _, word := range v.Words(d) {
		text := word
		switch d {
		case memory.Model:
			text = v.Label(d, word)
		case memory.Store, memory.Region:
			if !who.fleet(readWear) && !s.covered(c, d, word) {
				continue
			}
		default:
			text = w.word(word)
		}
		if text != "" && word != assess.Blind.String() {
			f.Choices = append(f.Choices, choice{Value: word, Text: text, Picked: picked == word || picked == text})
		}
	}
	if d == memory.Model {
		slices.SortFunc(f.Choices[1:], func(x, y choice) int { return strings.Compare(x.Text, y.Text) })
	}
	if picked != "" && !slices.ContainsFunc(f.Choices, func(x choice) bool { return x.Picked }) {
		f.Choices = append(f.Choices, choice{Value: picked, Text: strings.ReplaceAll(picked, ",", ", "), Picked: true})
	}
	return f
}

// covered reports whether a store or region is in the caller's scope.
func (s *Server) covered(c *gin.Context, d memory.Dim, code string) bool {
	if d == memory.Region {
		return s.inReach(c, s.who(c), "", code) == nil
	}
	return s.inReach(c, s.who(c), code, "") == nil
}

// inkFor draws a pattern: the zones of a part that tell it.
func inkFor(part wear.Part, pattern string) string {
	zones := map[string]string{
		"light": "111", "medial": "310", "central": "030", "lateral": "013", "medial-central": "330", "lateral-central": "033", "broad": "333", "mixed": "303",
	}[pattern]
	marks := []byte("0000000000")
	first, n := assess.Heel.Zones()
	if part == wear.Forefoot {
		first, n = assess.Forefoot.Zones()
	}
	for i := range n {
		marks[int(first)+i] = zones[i]
	}
	return string(marks)
}

// percentOf says a share as figures do.
func (w words) percentOf(share float64) string {
	decimals := 0
	if share > 0 && share < 0.0995 {
		decimals = 1
	}
	return w.say("figure.percent", "v", strconv.FormatFloat(100*share, 'f', decimals, 64))
}

// fleetMatrix fills in the patterns to choose from and the matrix.
func (s *Server) fleetMatrix(c *gin.Context, v *memory.View, a wear.Ask, view *fleetPage) error {
	w := s.words(c)
	for _, part := range wear.Parts {
		view.Parts = append(view.Parts, way{Href: address(c, "part", part), Text: w.say("fleet.part." + part), Here: part == a.Part.String()})
	}
	shares, n, err := wear.Patterned(v, withoutPattern(a))
	if err != nil {
		return err
	}
	view.Pairs, view.Empty = w.say("fleet.pairs", "n", n), n == 0
	for _, p := range wear.Patterns {
		share := w.percentOf(shares[p].Share.V)
		ink := inkFor(a.Part, p)
		view.Patterns = append(view.Patterns, patternKey{
			way{Href: address(c, "part", a.Part.String(), "pattern", p), Text: w.word(p), Here: p == a.Pattern}, ink, ink, share,
		})
	}
	view.Picked = w.say("fleet.picked", "part", w.say("fleet.part."+a.Part.String()), "pattern", w.word(a.Pattern))
	grid, err := s.grid(v, a, memory.Category)
	if err != nil {
		return err
	}
	all := grid.All[len(wear.GaitGroups)-1]
	m := &figure.Matrix{Reference: all.Share.V}
	for _, g := range wear.GaitGroups {
		m.Columns = append(m.Columns, w.say("fleet.gait."+g.Name))
	}
	type line struct {
		row  wear.GridRow
		dim  memory.Dim
		name string
	}
	var lines []line
	for _, r := range grid.Rows {
		lines = append(lines, line{r, memory.Category, w.word(r.Word)})
		if r.Word != view.Open {
			continue
		}
		models, err := s.grid(v, a.With(memory.Category, view.Open), memory.Model)
		if err != nil {
			return err
		}
		for _, r := range models.Rows {
			lines = append(lines, line{r, memory.Model, v.Label(memory.Model, r.Word)})
		}
	}
	for _, l := range lines {
		row := figure.MatrixRow{Name: l.name}
		for k := range l.row.Cells {
			e := estimate(l.row.Cells[k].Share, m.Reference)
			e.Note = noteOf(view.Signals, a, l.dim, l.row.Word, wear.GaitGroups[k])
			row.Cells = append(row.Cells, e)
		}
		m.Rows = append(m.Rows, row)
	}
	m.Finding = matrixFinding(w, m, view.Picked)
	view.MatrixFinding = m.Finding
	view.Matrix = s.figure(c, "wear-matrix", w.say("fleet.matrix.title", "pattern", view.Picked), w.say("fleet.matrix.caption", "share", w.percentOf(m.Reference), "n", all.Size), m)
	view.Ticks, view.Columns = m.Ticks(w.say), m.Columns
	for i, l := range lines {
		view.Rows = append(view.Rows, s.matrixRow(c, m, i, l.row, l.dim, a, view.Open))
	}
	return nil
}

// grid answers which share of pairs has the pattern, by a dimension and gait.
func (s *Server) grid(v *memory.View, a wear.Ask, rows memory.Dim) (*wear.Grid, error) {
	return s.grids.get(fmt.Sprintf("%d %+v", rows, a), v.Fingerprint(), func() (*wear.Grid, error) { return wear.MakeGrid(v, a, rows) })
}

// estimate is a share as a figure draws it.
func estimate(x stats.Share, reference float64) figure.Estimate {
	return figure.Estimate{
		Hits: x.Hits, Size: x.Size, Share: x.Share.V, Low: x.Low.V, High: x.High.V, Few: x.Size < wear.MinPairs,
		Clear: x.Size >= wear.MinPairs && (x.Low.V > reference || x.High.V < reference),
	}
}

// noteOf returns the margin number of the signal that a cell is about.
func noteOf(signals []signalView, a wear.Ask, d memory.Dim, word string, g wear.GaitGroup) string {
	for i := range signals {
		if of := signals[i].of; of.Kind == wear.ModelWears && d == memory.Model && of.Model == word && of.Part == a.Part.String() && of.Pattern == a.Pattern &&
			slices.Contains(g.Words, of.Gait) {
			return strconv.Itoa(signals[i].Number)
		}
	}
	return ""
}

// matrixFinding says in a sentence which cell is furthest above the reference.
func matrixFinding(w words, m *figure.Matrix, picked string) string {
	best, at := 0.0, ""
	for _, r := range m.Rows {
		for k, e := range r.Cells {
			if above := e.Low - m.Reference; e.Clear && above > best {
				best, at = above, w.say("fleet.matrix.cell", "row", r.Name, "column", m.Columns[k], "share", w.percentOf(e.Share), "n", e.Size)
			}
		}
	}
	if at == "" {
		return w.say("fleet.matrix.none", "pattern", picked)
	}
	return w.say("fleet.matrix.finding", "pattern", picked, "cell", at, "share", w.percentOf(m.Reference))
}

// matrixRow writes one row with its links.
func (s *Server) matrixRow(c *gin.Context, m *figure.Matrix, i int, r wear.GridRow, d memory.Dim, a wear.Ask, open string) matrixRow {
	w := s.words(c)
	row := matrixRow{Sub: d == memory.Model}
	row.Text = m.Rows[i].Name
	if row.Here = d == memory.Category && open == r.Word; row.Here {
		row.Href = address(c, "open", "", "part", a.Part.String(), "pattern", a.Pattern)
	} else if d == memory.Category {
		row.Href = address(c, "open", r.Word, "part", a.Part.String(), "pattern", a.Pattern)
	} else {
		row.Href = s.modelAddress(c, r.Word)
	}
	for k, e := range m.Rows[i].Cells {
		gait := strings.Join(wear.GaitGroups[k].Words, ",")
		if gait == "" {
			gait = c.Query("gait")
		}
		cell := matrixCell{
			Share: w.percentOf(e.Share), N: w.say("figure.n", "n", e.Size), Few: e.Few, Note: e.Note, SVG: drawn(m.Cell(e)),
			Href: pairsAddress(c, a, d.String(), r.Word, "gait", gait),
		}
		cell.Label = w.say("fleet.matrix.label", "row", row.Text, "column", m.Columns[k], "share", cell.Share, "n", e.Size, "low", w.percentOf(e.Low), "high", w.percentOf(e.High))
		if e.Few {
			cell.Share = w.say("figure.few")
			if p := r.Cells[k].Pooled; p.OK {
				cell.Pooled = w.say("fleet.pooled", "share", w.percentOf(p.V))
			}
		}
		row.Cells = append(row.Cells, cell)
	}
	return row
}

// modelAddress is where a model is read about: its page, where there is one, or
// its pairs.
func (s *Server) modelAddress(c *gin.Context, model string) string {
	if s.opens(s.who(c), "/fleet/models/:id") {
		return at("/fleet/models/"+model, rangeOf(c))
	}
	return at("/fleet/pairs", c.Request.URL.Query(), "model", model, "open", "", "pattern", "")
}

// rangeOf is the range of months of the address.
func rangeOf(c *gin.Context) url.Values {
	q := url.Values{}
	for _, name := range []string{"from", "to"} {
		if v := c.Query(name); v != "" {
			q.Set(name, v)
		}
	}
	return q
}

// questionAddress is the list of the pairs of a question, with parameters
// changed.
func questionAddress(a wear.Ask, changes ...string) string {
	q := url.Values{}
	set := func(name, value string) {
		if value != "" {
			q.Set(name, value)
		}
	}
	for _, only := range a.Only {
		q.Set(only.Dim.String(), strings.Join(only.Words, ","))
	}
	set("from", a.From)
	set("to", a.To)
	set("km_from", wholeKM(a.KMFrom))
	set("km_to", wholeKM(a.KMTo))
	if a.Pattern != "" {
		set("part", a.Part.String())
		set("pattern", a.Pattern)
	}
	if a.Readings {
		set("unit", wear.Units[1])
	}
	return at("/fleet/pairs", q, changes...)
}

// pairsAddress is the list of the pairs behind a number of the page.
func pairsAddress(c *gin.Context, a wear.Ask, changes ...string) string {
	return at("/fleet/pairs", c.Request.URL.Query(), append([]string{
		"open", "", "cursor", "", "figure", "", "as", "", "from", a.From, "to", a.To, "part", a.Part.String(), "pattern", a.Pattern,
	}, changes...)...)
}

// fleetFigures are the funnel of stores and the movements by month.
func (s *Server) fleetFigures(c *gin.Context, v *memory.View, a wear.Ask, noted []signalView, within time.Duration) ([]figureView, error) {
	w := s.words(c)
	stand, ready, err := s.stand(c.Request.Context(), v, a, within)
	if err != nil {
		return nil, err
	}
	stores := s.laterFigure(c, "stores", w.say("fleet.stores.title"))
	if ready {
		funnel, caption := storeFunnel(w, stand, noted)
		stores = s.figure(c, stores.ID, stores.Title, caption, funnel)
	}
	figures := []figureView{stores}
	for _, of := range []struct {
		id, title string
		ask       wear.Ask
	}{
		{"worn-by-month", w.say("fleet.worn.title"), withoutPattern(a)},
		{"pattern-by-month", w.say("fleet.pattern.title", "part", w.say("fleet.part."+a.Part.String()), "pattern", w.word(a.Pattern)), a},
	} {
		of.ask.Readings = true
		chart, err := s.monthChart(c, v, of.ask, noted, of.title)
		if err != nil {
			return nil, err
		}
		figures = append(figures, s.figure(c, of.id, of.title, w.say("fleet.months.caption")+" "+w.say("fleet.mark.legend"), chart))
	}
	return figures, nil
}

// stand returns how the stores of a question stand, like for like; see [kept.soon].
func (s *Server) stand(ctx context.Context, v *memory.View, a wear.Ask, within time.Duration) (*wear.Stand, bool, error) {
	return s.stands.soon(ctx, fmt.Sprintf("%+v", a), v.Fingerprint(), within, func() (*wear.Stand, error) { return wear.Standings(s.quietly(v), a) })
}

// storeFunnel draws the stores of a question, like for like, and says in its
// caption what the mix of visits explains, and what it hides.
func storeFunnel(w words, stand *wear.Stand, noted []signalView) (*figure.Funnel, string) {
	f := &figure.Funnel{All: stand.All, Counted: w.say("fleet.stores.counted"), LikeForLike: true}
	most := 0
	var outside, explained, hidden []string
	for i := range stand.Stores {
		of := &stand.Stores[i]
		raw := float64(of.Hits) / float64(of.Size)
		u := figure.FunnelUnit{
			Name: of.Store, Hits: of.Hits, Size: of.Size, Raw: raw, Expected: of.Expected, Share: of.LikeForLike(stand.All),
			Weight: of.Weight, Outside: stand.Outside(of), RawOutside: of.RawOutside,
		}
		for _, n := range noted {
			if n.of.Kind == wear.StoreApart && n.of.Store == u.Name {
				u.Note = strconv.Itoa(n.Number)
			}
		}
		switch {
		case u.Outside:
			if outside = append(outside, u.Name); !u.RawOutside {
				hidden = append(hidden, u.Name)
			}
		case u.RawOutside:
			explained = append(explained, u.Name)
		}
		f.Units, most = append(f.Units, u), max(most, int(u.Weight))
	}
	for n := least(most); n <= most+most/20+1 && len(f.Units) > 0; n += max(1, most/funnelSteps) {
		l, err := stand.FunnelLimits(n)
		if err != nil {
			break // no limits where all or none are worn
		}
		f.Limits = append(f.Limits, figure.FunnelLimit{Size: float64(n), Low95: l.NormalLow95, High95: l.NormalHigh95, Low998: l.NormalLow998, High998: l.NormalHigh998})
	}
	f.Finding = w.say("fleet.stores.none", "n", len(f.Units))
	if len(outside) > 0 {
		f.Finding = w.say("fleet.stores.finding", "n", len(f.Units), "stores", w.list(outside))
	}
	caption := w.say("fleet.stores.caption")
	if f.Crowded() {
		caption += " " + w.say("fleet.stores.crowd")
	}
	if len(explained) > 0 {
		caption += " " + w.say("fleet.stores.explained", "n", len(explained), "stores", w.list(explained))
	}
	if len(hidden) > 0 {
		caption += " " + w.say("fleet.stores.hidden", "n", len(hidden), "stores", w.list(hidden))
	}
	return f, caption
}

// funnelSteps is how many counts a limit is drawn at.
const funnelSteps = 60

// least is the count at which limits begin.
func least(most int) int { return max(1, most/funnelSteps) }

// chartAnswer is what tally chart prints.
type chartAnswer struct {
	Groups []struct {
		Points []struct {
			Order  string      `json:"order"`
			Value  stats.Float `json:"value"`
			Centre stats.Float `json:"centre"`
			Low    stats.Float `json:"low"`
			High   stats.Float `json:"high"`
			Out    bool        `json:"out"`
		} `json:"points"`
	} `json:"groups"`
}

// monthChart draws a share by month.
func (s *Server) monthChart(c *gin.Context, v *memory.View, a wear.Ask, noted []signalView, title string) (*figure.Control, error) {
	w := s.words(c)
	answer, err := wear.Trend(v, a)
	if err != nil {
		return nil, err
	}
	var found chartAnswer
	if err := answer.Chart.Decode(&found); err != nil {
		return nil, err
	}
	f := &figure.Control{Finding: w.say("fleet.months.empty", "title", title)}
	if len(found.Groups) == 0 {
		return f, nil
	}
	counts, err := wear.Monthly(v, a)
	if err != nil {
		return nil, err
	}
	marks, err := s.marks(c, a)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, p := range found.Groups[0].Points {
		t := counts[p.Order]
		point := figure.ControlPoint{
			At: p.Order, Name: w.monthName(p.Order), Year: p.Order[:4], Hits: t.Hits, Size: t.Size, Share: p.Value.V,
			Low: p.Low.V, High: p.High.V, Out: p.Out,
		}
		marks.put(&point)
		for _, n := range noted {
			if n.of.Kind == wear.MonthMoved && n.of.Month == p.Order && a.Pattern == "" {
				point.Note = strconv.Itoa(n.Number)
			}
		}
		if p.Out {
			out = append(out, w.monthYear(p.Order))
		}
		f.Points, f.Usual = append(f.Points, point), p.Centre.V
	}
	f.Finding = w.say("fleet.months.none", "title", title, "share", w.percentOf(f.Usual))
	if len(out) > 0 {
		f.Finding = w.say("fleet.months.finding", "title", title, "months", w.list(out))
	}
	return f, nil
}

// lifeAnswer is what tally life prints.
type lifeAnswer struct {
	Groups []struct {
		N     int `json:"n"`
		Curve []struct {
			Time stats.Float `json:"time"`
			Low  float64     `json:"surv_low"`
			High float64     `json:"surv_high"`
		} `json:"curve"`
		Median []stats.Float `json:"median"`
		Band   []struct {
			Time stats.Float `json:"time"`
			Low  float64     `json:"low"`
			High float64     `json:"high"`
		} `json:"band"`
		Weibull *weibullAnswer `json:"weibull"`
	} `json:"groups"`
}

// weibullAnswer is the Weibull curve beside a life curve, and where half are worn by it.
type weibullAnswer struct {
	Shape float64     `json:"shape"`
	Scale float64     `json:"scale"`
	Half  float64     `json:"b50"`
	Low   stats.Float `json:"b50_lr_low"`
	High  stats.Float `json:"b50_lr_high"`
}

// sound is the share still sound at a distance.
func (w *weibullAnswer) sound(km float64) float64 { return math.Exp(-math.Pow(km/w.Scale, w.Shape)) }

// lifePanel is a life curve, what it is of, and the Weibull curve beside it where there
// is one.
type lifePanel struct {
	*figure.Steps
	of  wear.Ask
	law *weibullAnswer
}

// bandReplicates is how many times pairs are drawn again for the bands that pages show;
// the API takes more. House value.
const bandReplicates = 100

// fleetLives draws how long pairs last, a panel for each group of gaits with
// the others behind, and no bands.
func (s *Server) fleetLives(c *gin.Context, v *memory.View, a wear.Ask) ([]figureView, []lifePanel, error) {
	groups, asks := lifeAsks(c, a)
	lives := make([]life, len(asks))
	if err := atOnce(len(asks), func(i int) (err error) {
		lives[i], err = lifeOf(v, asks[i], 0)
		return err
	}); err != nil {
		return nil, nil, err
	}
	figures, panels := s.lifePanels(c, groups, asks, lives)
	return figures, panels, nil
}

// bandedLives is fleetLives with bands, and without while those aren't there: ready says
// which, see [kept.soon].
func (s *Server) bandedLives(c *gin.Context, v *memory.View, a wear.Ask, within time.Duration) (figures []figureView, panels []lifePanel, ready bool, err error) {
	groups, asks := lifeAsks(c, a)
	lives, ready, err := s.bands.soon(c.Request.Context(), fmt.Sprintf("%+v", asks), v.Fingerprint(), within, func() ([]life, error) {
		lives, quiet := make([]life, len(asks)), s.quietly(v)
		for i, of := range asks {
			quiet.Rest()
			var err error
			if lives[i], err = lifeOf(quiet, of, bandReplicates); err != nil {
				return nil, err
			}
		}
		return lives, nil
	})
	switch {
	case err != nil:
		return nil, nil, false, err
	case ready:
		figures, panels = s.lifePanels(c, groups, asks, lives)
	default:
		figures, panels, err = s.fleetLives(c, v, a)
	}
	return figures, panels, ready, err
}

// lifeAsks returns the groups of gaits that have a panel, and what each is of.
func lifeAsks(c *gin.Context, a wear.Ask) (groups []wear.GaitGroup, asks []wear.Ask) {
	a = withoutPattern(a)
	gait := c.Query("gait")
	for _, g := range wear.GaitGroups[:len(wear.GaitGroups)-1] {
		switch {
		case gait == "":
			groups, asks = append(groups, g), append(asks, a.With(memory.Gait, g.Words...))
		case slices.Contains(g.Words, gait):
			groups, asks = append(groups, g), append(asks, a)
		}
	}
	return groups, asks
}

// life is how long the pairs asked about last, and how many were looked at.
type life struct {
	lifeAnswer
	watch []wear.Watched
}

func lifeOf(v *memory.View, a wear.Ask, replicates int) (l life, err error) {
	answer, err := wear.Life(v, a, replicates)
	if err != nil {
		return l, err
	}
	if err := answer.Decode(&l.lifeAnswer); err != nil || len(l.Groups) == 0 {
		return l, err
	}
	l.watch, err = wear.OnWatch(v, a)
	return l, err
}

// lifePanels draws lives, each with the others behind.
func (s *Server) lifePanels(c *gin.Context, groups []wear.GaitGroup, asks []wear.Ask, lives []life) ([]figureView, []lifePanel) {
	w := s.words(c)
	classes := map[string]string{"pronated": "c-in", "neutral": "c-neutral", "supinated": "c-out"}
	panels := make([]lifePanel, len(groups))
	end := 0.0
	for i := range panels {
		p := lifeCurve(w, &lives[i])
		p.of, p.Name, p.Class = asks[i], w.say("fleet.gait."+groups[i].Name), classes[groups[i].Name]
		p.Finding = w.lifeFinding(p.Steps)
		panels[i], end = p, max(end, p.Drawn())
	}
	var views []figureView
	for i, p := range panels {
		p.End = end
		for k, other := range panels {
			if k != i {
				p.Ghosts = append(p.Ghosts, other.Curve)
			}
		}
		views = append(views, s.figure(c, "life-"+strconv.Itoa(i+1), w.say("fleet.life.title", "gait", p.Name), w.say("fleet.life.caption"), p.Steps))
	}
	return views, panels
}

// lifeFinding says when half of the pairs are worn.
func (w words) lifeFinding(p *figure.Steps) string {
	if p.Half == nil {
		return w.say("fleet.life.unknown", "gait", p.Name)
	}
	return w.say("fleet.life.finding", "gait", p.Name, "from", int(math.Round(p.Half.From)), "to", int(math.Round(p.Half.To)))
}

// lifeCurve draws how long pairs last.
func lifeCurve(w words, l *life) lifePanel {
	f := lifePanel{Steps: &figure.Steps{Unit: w.say("km")}}
	if len(l.Groups) == 0 {
		return f
	}
	g := l.Groups[0]
	if f.law = g.Weibull; f.law != nil {
		f.Smooth = f.law.sound
	}
	for _, p := range g.Curve {
		if p.Time.OK {
			f.Curve = append(f.Curve, figure.Step{X: p.Time.V, Low: p.Low, High: p.High})
		}
	}
	for _, b := range g.Band {
		if b.Time.OK {
			f.Band = append(f.Band, figure.Bound{X: b.Time.V, Low: b.Low, High: b.High})
		}
	}
	if len(g.Median) == 2 && g.Median[0].OK && g.Median[1].OK {
		f.Half = &figure.Span{From: g.Median[0].V, To: g.Median[1].V}
	}
	for _, at := range l.watch {
		f.Watch = append(f.Watch, figure.Watch{X: float64(at.KM), N: at.N})
	}
	return f
}

// doSignal acts on a signal from the page, and goes back to it.
func (s *Server) doSignal(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	body := signalBody{Do: posted.Get("do"), To: posted.Get("to"), Outcome: posted.Get("outcome"), Words: posted.Get("words")}
	if _, err := s.actOnSignal(c, body); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, at("/fleet", c.Request.URL.Query()))
	return nil
}

// signalViews writes the signals of the margin: the first few of each kind that
// nobody has closed, most worth acting on first.
func (s *Server) signalViews(c *gin.Context, a wear.Ask, all []signalOut) (views []signalView, more int) {
	w := s.words(c)
	shown := map[wear.Kind]int{}
	for i := range all {
		o := &all[i]
		if o.State == string(models.SignalClosed) {
			continue
		}
		if shown[o.Kind]++; shown[o.Kind] > shownSignals {
			more++
			continue
		}
		views = append(views, s.signalView(c, w, a, o, len(views)+1))
	}
	return views, more
}

func (s *Server) signalView(c *gin.Context, w words, a wear.Ask, o *signalOut, number int) signalView {
	fills := []any{
		"label", o.Label, "batch", o.Batch, "store", o.Store, "gait", w.word(o.Gait), "month", w.monthYear(o.Month),
		"part", w.say("fleet.part." + cmp.Or(o.Part, wear.Parts[0])), "pattern", w.word(o.Pattern), "hits", o.Hits, "size", o.Size,
		"share", w.percentOf(o.Share), "expected", w.percentOf(o.Expected), "low", w.percentOf(o.Low), "high", w.percentOf(o.High),
		"tested", o.Tested, "q", qWords(o.Q), "reason", w.reason(o.Reason), "reasons", o.ReasonN,
	}
	kind := "signal." + string(o.Kind)
	if o.Kind == wear.StoreApart && o.Share < o.Expected {
		kind += ".less"
	}
	view := signalView{
		Number: number, ID: o.ID.String(), Head: w.say(kind+".head", fills...), Text: w.say(kind+".text", fills...), of: &o.Signal,
		Evidence: w.say("signal.evidence", fills...), Fault: o.Kind == wear.EarlyBatch, MayAct: s.who(c).reaches(actOnSignals, a.Scopes),
		Pairs: questionAddress(o.Pairs(a)), PairsText: w.say("signal.pairs"),
	}
	for n := 1; w.has(fmt.Sprintf("signal.%s.check.%d", o.Kind, n)); n++ {
		view.Checks = append(view.Checks, w.say(fmt.Sprintf("signal.%s.check.%d", o.Kind, n)))
	}
	if o.Kind == wear.StoreApart {
		view.Store.Href = at("/fleet/stores/"+o.Store, rangeOf(c))
	}
	if o.New {
		view.New = w.say("signal.new")
	}
	if o.TakenBy != "" {
		view.Who = w.say("signal.taken", "who", o.TakenBy)
	}
	for _, n := range o.Notes {
		view.Notes = append(view.Notes, w.say("signal.note", "who", n.Account, "words", n.Words))
	}
	view.Act = at("/fleet/signals/"+o.ID.String(), c.Request.URL.Query(), "figure", "", "as", "")
	for _, x := range models.SignalOutcomes {
		view.Outcomes = append(view.Outcomes, choice{Value: x, Text: w.say("signal.outcome." + strings.ReplaceAll(x, " ", "-"))})
	}
	return view
}

// reason says the code of a finding in short words, of either shoe: those of
// reason.CODE where the sentence needs more than the shoe, else the sentence
// without it.
func (w words) reason(code string) string {
	if key := "reason." + code; w.has(key) {
		return w.say(key)
	}
	if key := "finding." + code; w.has(key) {
		return strings.TrimLeft(w.say(key, "Shoe", ""), ": ")
	}
	return strings.ReplaceAll(code, "-", " ") // of a rule set with codes of its own
}

// qWords says a q.
func qWords(q float64) string {
	if q < 0.001 {
		return "< 0.001"
	}
	return "= " + strconv.FormatFloat(q, 'f', 3, 64)
}
