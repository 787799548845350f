package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
	"solewright/reports/figure"
	memory "solewright/reports/fleet"
	"solewright/reports/stats"
	"solewright/reports/wear"
)

// fleetModelPage is what the fleet says of one model of shoe.
type fleetModelPage struct {
	wearFilters
	Name, About string
	Count       way // the pairs of all that is shown
	Built       string
	AsNew       []modelFact
	Sole        figureView
	Parts       []way
	Lives       []modelLife
	LivesLater  string // where the page has them beside their category's
	Versions    []modelVersion
	EarlyKM     int
	// VersionsLater is where the page has how the versions stand.
	VersionsLater string
	// Against heads the comparisons; it is empty where the category is unknown.
	Against  string
	Patterns []modelPatterns
	Early    figureView
	Batches  []way
	Failing  *modelFailing
	Ends     []modelEnd
	Empty    bool
	// LaterOnly leaves all out but Failing.
	LaterOnly bool
}

// modelFact is one value of the model as new.
type modelFact struct{ Name, Value string }

// modelLife is the life of the model's pairs under one group of gaits.
type modelLife struct {
	Figure figureView
	Median string
	// Against says how the pairs last beside those of their category.
	Against string
	Pairs   string
}

// categoryLives is how long the pairs of a category last in a view, by what was asked
// about.
type categoryLives struct {
	view *memory.View
	of   []*stats.PooledLife
}

// modelPatterns is the model beside the rest of its category under one group of
// gaits.
type modelPatterns struct {
	Gait   string
	Figure figureView
	Rows   []compareRow
}

// modelEnd is one reason why pairs were worn, how often, and those pairs.
type modelEnd struct {
	way
	Count, Share string
}

// showFleetModel answers with what the fleet says of a model.
func (s *Server) showFleetModel(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuse(notFound, "a shoe model is known by its UUID")
	}
	m, err := s.db.ShoeModel(c.Request.Context(), id)
	if err != nil {
		return err
	}
	within, parts := s.patience(c)
	// The address says which model it is, and the model its category.
	a = withoutPattern(a.Without(memory.Model).Without(memory.Category))
	always := a.With(memory.Model, id.String())
	w := s.words(c)
	view := fleetModelPage{EarlyKM: wear.EarlyKM, Name: modelName(&m.ShoeModel), Built: builtMarks(m.AsNew.Built), AsNew: w.asNew(&m), About: w.say("fleet.model.no-category")}
	if m.Category != "" {
		view.About = w.say("fleet.model.category", "category", w.word(m.Category))
	}
	if view.wearFilters, a, err = s.wearFilters(c, v, a); err != nil {
		return err
	}
	view.Selects = slices.DeleteFunc(view.Selects, func(f filterSelect) bool {
		return f.Name == memory.Model.String() || f.Name == memory.Category.String()
	})
	of := a.With(memory.Model, id.String())
	batches, err := wear.Early(v, always)
	if err != nil {
		return err
	}
	if view.Failing, err = s.modelFailing(c, v, always.Without(memory.Model), &m, batches, within); err != nil {
		return err
	}
	var ready bool
	if view.Lives, ready, err = s.modelLives(c, v, of, &m, within); err != nil {
		return err
	}
	if !ready {
		view.LivesLater = address(c, waitKey, "yes")
	}
	if view.Versions, ready, err = s.modelVersions(c, v, a, always.Without(memory.Model), &m, within); err != nil {
		return err
	}
	if !ready {
		view.VersionsLater = address(c, waitKey, "yes")
	}
	if view.LaterOnly = parts; parts {
		return s.render(c, http.StatusOK, "fleet-model", view)
	}
	if view.Sole, err = s.modelSole(c, v, of, view.Name); err != nil {
		return err
	}
	if m.Category != "" {
		view.Against = w.say("fleet.model.patterns-head", "category", w.word(m.Category))
		for _, part := range wear.Parts {
			view.Parts = append(view.Parts, way{Href: address(c, "part", part), Text: w.say("fleet.part." + part), Here: part == a.Part.String()})
		}
		if view.Patterns, err = s.modelPatterns(c, v, a, &m); err != nil {
			return err
		}
	}
	view.Early, view.Batches = s.modelBatches(c, batches, always)
	figures := []figureView{view.Sole, view.Early}
	if view.Failing.Later == "" {
		figures = append(figures, view.Failing.Figure)
	}
	for i := range view.Lives {
		figures = append(figures, view.Lives[i].Figure)
	}
	for i := range view.Patterns {
		figures = append(figures, view.Patterns[i].Figure)
	}
	if done, err := s.serveFigure(c, figures...); done || err != nil {
		return err
	}
	if view.Ends, err = w.modelEnds(v, of); err != nil {
		return err
	}
	cells, err := v.Count(of.Filter())
	if err != nil {
		return err
	}
	n := 0
	if len(cells) > 0 {
		n = cells[0].N
	}
	view.Count, view.Empty = way{Href: questionAddress(of), Text: w.say("fleet.pairs", "n", n)}, n == 0
	return s.render(c, http.StatusOK, "fleet-model", view)
}

// asNew writes what is known of a model as new.
func (w words) asNew(m *models.ShoeModel) []modelFact {
	values := writeSheet(retail.ShoeModels, &m.ShoeModel)
	var all []modelFact
	for _, name := range []string{"tilt", "lean", "rigid_counter", "plate", "depth_heel", "depth_mid", "depth_fore", "depth_toe", "flex", "torsion", "shore", "asker", "drop_mm"} {
		value := values[name]
		if value == "yes" || value == "no" {
			value = w.say("office." + value)
		}
		if value != "" {
			all = append(all, modelFact{w.say("office.field." + name), w.word(value)})
		}
	}
	return all
}

// modelSole draws the mean grade of each zone.
func (s *Server) modelSole(c *gin.Context, v *memory.View, a wear.Ask, name string) (figureView, error) {
	w := s.words(c)
	groups, err := v.Grades(a.Filter())
	if err != nil {
		return figureView{}, err
	}
	f := &figure.Sole{Finding: w.say("fleet.model.sole-none", "name", name)}
	if len(groups) > 0 {
		most := 0.0
		for shoe, means := range []*[assess.NumZones]figure.Mean{&f.Left, &f.Right} {
			for z := range means {
				grades := &groups[0].Zones[shoe][z]
				sum := 0
				for grade, n := range grades.Grades {
					sum += grade * n
				}
				n := grades.N()
				if n == 0 {
					continue
				}
				means[z] = figure.Mean{Grade: float64(sum) / float64(n), N: n}
				if means[z].Grade > most {
					most = means[z].Grade
					part, edge, _ := strings.Cut(assess.Col(z).String(), "_")
					f.Finding = w.say("fleet.model.sole-finding", "name", name, "n", groups[0].N, "zone", w.say("zone.of", "part", w.say("part."+part), "edge", w.say("edge."+edge)),
						"shoe", w.say([]string{"shoe.left", "shoe.right"}[shoe]), "grade", strconv.FormatFloat(most, 'f', 1, 64))
				}
			}
		}
	}
	return s.figure(c, "sole", w.say("fleet.model.sole"), w.say("fleet.model.sole-caption"), f), nil
}

// modelLives draws how long the model's pairs last, with the medians, beside those of
// their category; ready says whether the bands and the category's lives are there, see
// [kept.soon].
func (s *Server) modelLives(c *gin.Context, v *memory.View, a wear.Ask, m *models.ShoeModel, within time.Duration) (all []modelLife, ready bool, err error) {
	w := s.words(c)
	figures, panels, ready, err := s.bandedLives(c, v, a, within)
	if err != nil {
		return nil, false, err
	}
	against := make([]string, len(panels))
	if m.Category != "" {
		var there bool
		if against, there, err = s.livesAgainst(c, v, panels, m.Category, within); err != nil {
			return nil, false, err
		}
		ready = ready && there
	}
	var lives []modelLife
	for i := range figures {
		f := panels[i].Steps
		gait := c.Query("gait")
		for _, g := range wear.GaitGroups {
			if gait == "" && w.say("fleet.gait."+g.Name) == f.Name {
				gait = strings.Join(g.Words, ",")
			}
		}
		lives = append(lives, modelLife{Figure: figures[i], Median: w.median(f) + w.weibull(panels[i].law), Against: against[i], Pairs: questionAddress(a, "gait", gait)})
	}
	return lives, ready, nil
}

// livesAgainst draws beside each panel of a model how long all of its category last, and
// says whether the model's pairs differ from the others: by the score test, and after
// Benjamini and Hochberg over the panels.
func (s *Server) livesAgainst(c *gin.Context, v *memory.View, panels []lifePanel, category string, within time.Duration) ([]string, bool, error) {
	asks := make([]wear.Ask, len(panels))
	for i, p := range panels {
		asks[i] = p.of.Without(memory.Model).With(memory.Category, category)
	}
	found, ready, err := s.lives.soon(c.Request.Context(), fmt.Sprintf("%+v", asks), v.Fingerprint(), within, func() (categoryLives, error) {
		all, quiet := categoryLives{view: v}, s.quietly(v)
		for _, a := range asks {
			pooled, err := wear.PooledLife(quiet, a)
			if err != nil {
				return all, err
			}
			all.of = append(all.of, pooled)
		}
		return all, nil
	})
	if err != nil || !ready {
		return make([]string, len(panels)), ready, err
	}
	tests := make([]*stats.ScoreResult, len(panels))
	var p []float64
	for i, pooled := range found.of {
		if pooled == nil {
			continue
		}
		for _, at := range pooled.Curve {
			panels[i].Beside = append(panels[i].Beside, figure.Step{X: at.Time, Low: at.SurvLow, High: at.SurvHigh})
		}
		if tests[i], err = wear.LifeAgainst(found.view, panels[i].of, pooled); err != nil {
			return nil, false, err
		}
		if tests[i] != nil {
			p = append(p, tests[i].P)
		}
	}
	q, w := stats.BH(p), s.words(c)
	against := make([]string, len(panels))
	for i, pooled := range found.of {
		if pooled == nil {
			continue
		}
		against[i] = w.say("fleet.model.category-open", "category", w.word(category))
		if half := pooled.Median; half != nil {
			against[i] = w.say("fleet.model.category-median", "category", w.word(category), "from", int(half[0]), "to", int(half[1]))
		}
		t := tests[i]
		if t == nil {
			against[i] += " " + w.say("fleet.model.life-few")
			continue
		}
		says := "fleet.model.life-same"
		switch {
		case q[0] >= compareDiffers:
		case t.U[0] > 0:
			says = "fleet.model.life-sooner"
		default:
			says = "fleet.model.life-longer"
		}
		against[i] += " " + w.say(says, "q", "q "+qWords(q[0]))
		q = q[1:]
	}
	return against, true, nil
}

// modelVersion is how one version of a model stands.
type modelVersion struct {
	way
	Pairs             way
	Worn, Early, Half string
	WornOf, EarlyOf   string
	Compare           way // this one beside the page's
}

// modelVersions sets the versions of a model side by side, in order of their release;
// nothing where there is only one. See [kept.soon] for ready.
func (s *Server) modelVersions(c *gin.Context, v *memory.View, a, always wear.Ask, m *models.ShoeModel, within time.Duration) (rows []modelVersion, ready bool, err error) {
	all, err := s.db.ShoeModelVersions(c.Request.Context(), m.Brand, m.Model)
	if err != nil || len(all) < 2 {
		return nil, true, err
	}
	slices.SortStableFunc(all, func(x, y models.ShoeModel) int { return strings.Compare(x.Released, y.Released) })
	ids := make([]string, len(all))
	for i := range all {
		ids[i] = all[i].ID.String()
	}
	found, ready, err := s.versions.soon(c.Request.Context(), fmt.Sprintf("%q %+v %+v", ids, a, always), v.Fingerprint(), within, func() ([]wear.Summary, error) {
		summaries, quiet := make([]wear.Summary, len(ids)), s.quietly(v)
		for i, id := range ids {
			var err error
			if summaries[i], err = wear.Summarize(quiet, a.With(memory.Model, id), always.With(memory.Model, id)); err != nil {
				return nil, err
			}
		}
		return summaries, nil
	})
	if err != nil {
		return nil, false, err
	}
	w := s.words(c)
	for i := range all {
		here := ids[i] == m.ID.String()
		row := modelVersion{way: way{Href: at("/fleet/models/"+ids[i], rangeOf(c)), Text: either(all[i].Version, w.say("fleet.model.no-version")), Here: here}}
		if ready {
			of := &found[i]
			row.Pairs = way{Href: questionAddress(a.With(memory.Model, ids[i])), Text: strconv.Itoa(of.Pairs)}
			row.Worn, row.WornOf = w.shareOf(of.Worn)
			row.Early, row.EarlyOf = w.shareOf(of.Early)
			row.Half = w.say("fleet.model.not-reached")
			if h := of.Half; h != nil {
				row.Half = w.say("fleet.model.from-to", "from", int(h[0]), "to", int(h[1]))
			}
		}
		if !here {
			row.Compare = way{Href: at("/fleet/compare", rangeOf(c), "a_model", m.ID.String(), "b_model", ids[i]), Text: w.say("fleet.model.compare")}
		}
		rows = append(rows, row)
	}
	return rows, ready, nil
}

// shareOf writes a share with its interval, and what it is of.
func (w words) shareOf(s stats.Share) (share, of string) {
	of = w.say("fleet.model.of", "n", s.Size)
	if !s.Share.OK {
		return w.say("fleet.store.unknown"), of
	}
	return w.shareBetween(&s), of
}

// median says where half of the pairs are worn, and its interval: between where
// the lower and the upper end of the band fall to one half, and no narrower than
// where the median itself may lie. Of few pairs it says nothing.
func (w words) median(f *figure.Steps) string {
	if f.Half == nil || len(f.Watch) == 0 || f.Watch[0].N < wear.MinPairs {
		return w.say("fleet.model.median-unknown", "gait", f.Name)
	}
	text := w.say("fleet.model.median", "gait", f.Name, "from", int(f.Half.From), "to", int(f.Half.To))
	low := slices.IndexFunc(f.Band, func(b figure.Bound) bool { return b.Low <= 0.5 })
	high := slices.IndexFunc(f.Band, func(b figure.Bound) bool { return b.High <= 0.5 })
	if low < 0 {
		return text
	}
	from := int(min(f.Band[low].X, f.Half.From))
	if high < 0 {
		return text + " " + w.say("fleet.model.median-open", "low", from)
	}
	return text + " " + w.say("fleet.model.median-band", "low", from, "high", int(max(f.Band[high].X, f.Half.To)))
}

// weibull says where half of the pairs are worn by the Weibull curve, nothing where there
// is none.
func (w words) weibull(law *weibullAnswer) string {
	switch {
	case law == nil:
		return ""
	case !law.Low.OK || !law.High.OK:
		return " " + w.say("fleet.model.weibull-open", "km", int(law.Half))
	}
	return " " + w.say("fleet.model.weibull", "km", int(law.Half), "low", int(law.Low.V), "high", int(law.High.V))
}

// modelPatterns compares the model with the others of its category, under each
// group of gaits.
func (s *Server) modelPatterns(c *gin.Context, v *memory.View, a wear.Ask, m *models.ShoeModel) ([]modelPatterns, error) {
	w := s.words(c)
	cells, err := v.Count(a.With(memory.Category, m.Category).Filter(), memory.Model)
	if err != nil {
		return nil, err
	}
	var others []string
	for _, cell := range cells {
		if id := cell.By[0]; id != "" && id != m.ID.String() {
			others = append(others, id)
		}
	}
	if len(others) == 0 {
		return nil, nil
	}
	var all []modelPatterns
	for i, g := range wear.GaitGroups[:len(wear.GaitGroups)-1] {
		under := a
		if gait := c.Query("gait"); gait == "" {
			under = a.With(memory.Gait, g.Words...)
		} else if !slices.Contains(g.Words, gait) {
			continue
		}
		this, rest := under.With(memory.Model, m.ID.String()), under.With(memory.Model, others...)
		found, err := wear.Compare(v, this, rest)
		if err != nil {
			return nil, err
		}
		p := modelPatterns{Gait: w.say("fleet.gait." + g.Name)}
		drawn, differ := &figure.Matrix{Columns: []string{w.say("fleet.model.this"), w.say("fleet.model.others")}}, 0
		for _, x := range found {
			row := w.compareRow(a.Part, x)
			row.PairsOfA, row.PairsOfB = askAddress(this, x.Word), askAddress(rest, x.Word)
			if row.Differs {
				differ++
			}
			p.Rows = append(p.Rows, row)
			drawn.Rows = append(drawn.Rows, figure.MatrixRow{Name: row.What, Cells: []figure.Estimate{estimate(x.A, 0), estimate(x.B, 0)}})
		}
		drawn.Finding = w.say("fleet.compare.finding", "n", differ, "of", len(found))
		p.Figure = s.figure(c, "patterns-"+strconv.Itoa(i+1), p.Gait, drawn.Finding, drawn)
		all = append(all, p)
	}
	return all, nil
}

// modelBatches draws the share worn early by batch, over the months that the
// address names.
func (s *Server) modelBatches(c *gin.Context, found []wear.EarlyShare, a wear.Ask) (figureView, []way) {
	w := s.words(c)
	f := &figure.Bars{Finding: w.say("fleet.model.early-none", "km", wear.EarlyKM)}
	var lists []way
	most := -1.0
	for _, b := range found {
		name := either(b.Batch, w.say("fleet.model.no-batch"))
		f.Rows = append(f.Rows, figure.Bar{Name: name, Estimate: estimate(b.Share, 0)})
		if b.Size >= wear.MinPairs && b.Share.Share.V > most {
			most = b.Share.Share.V
			f.Finding = w.say("fleet.model.early-finding", "km", wear.EarlyKM, "batch", name, "share", w.percentOf(most), "size", b.Size)
		}
		if b.Batch != "" {
			lists = append(lists, way{Href: questionAddress(a, "batch", b.Batch, "unit", wear.Units[1], "sort", "least-km"), Text: b.Batch})
		}
	}
	return s.figure(c, "early", w.say("fleet.model.early", "km", wear.EarlyKM), w.say("fleet.model.early-caption", "km", wear.EarlyKM), f), lists
}

// modelEnds counts the worst findings of the pairs found worn, most first.
func (w words) modelEnds(v *memory.View, a wear.Ask) ([]modelEnd, error) {
	worn := []string{assess.Replace.String(), assess.Retire.String()}
	cells, err := v.Count(a.Without(memory.Verdict).With(memory.Verdict, worn...).Filter(), memory.Reason)
	if err != nil {
		return nil, err
	}
	all := 0
	for _, cell := range cells {
		all += cell.N
	}
	slices.SortStableFunc(cells, func(x, y memory.Cell) int { return y.N - x.N })
	var ends []modelEnd
	for _, cell := range cells {
		code := cell.By[0]
		e := modelEnd{Count: strconv.Itoa(cell.N), Share: w.percentOf(float64(cell.N) / float64(all))}
		e.Text = w.say("fleet.model.no-reason")
		if code != "" {
			e.Text, e.Href = w.reason(code), questionAddress(a, "verdict", strings.Join(worn, ","), "reason", code)
		}
		ends = append(ends, e)
	}
	return ends, nil
}
