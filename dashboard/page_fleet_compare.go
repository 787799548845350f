package dashboard

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/reports/figure"
	memory "solewright/reports/fleet"
	"solewright/reports/wear"
)

// fleetComparePage sets two of anything side by side.
type fleetComparePage struct {
	wearFilters
	Sides [2]compareSide
	// Since sets what was read before a month beside what was read from it on.
	Since filterSelect
	// Answer says in a sentence whether it changed.
	Answer string
	Parts  []way
	Figure figureView
	Rows   []compareRow
	Empty  bool
}

// compareSide is the form of one side.
type compareSide struct {
	Name    string
	Selects []filterSelect
	// Extra and Bounds are the filters that few questions need; ExtraSet says that one
	// is set.
	Extra    []filterSelect
	Bounds   []filterBound
	ExtraSet bool
}

type compareRow struct {
	What, A, B, NA, NB string
	Difference, Q      string
	Differs            bool
	PairsOfA, PairsOfB string
}

// sideDims are what a side can be.
var sideDims = []memory.Dim{memory.Model, memory.Category, memory.Store, memory.Region, memory.Gait, memory.Kind}

// sideExtra are what it can be that few ask about.
var sideExtra = []memory.Dim{memory.Posture, memory.Strike}

// compareDiffers is the q under which a difference is called one.
const compareDiffers = 0.05

// showFleetCompare answers with two groups of pairs side by side.
func (s *Server) showFleetCompare(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	w := s.words(c)
	view := fleetComparePage{}
	if view.wearFilters, a, err = s.wearFilters(c, v, a); err != nil {
		return err
	}
	since, err := sinceMonth(c.Query("since"))
	if err != nil {
		return err
	}
	view.Since = w.sinceSelect(view.Months, c.Query("since"))
	var asks [2]wear.Ask
	var names [2]string
	for i, prefix := range []string{"a_", "b_"} {
		of, err := wear.Read(func(name string) string { return c.Query(prefix + name) }, v, s.who(c).scopes(readWear))
		if err != nil {
			return wrongQuery(err)
		}
		if err := s.inReach(c, s.who(c), c.Query(prefix+"store"), c.Query(prefix+"region")); err != nil {
			return err
		}
		of.From, of.To, of.Part = a.From, a.To, a.Part
		of.Only = append(of.Only, a.Only...)
		if !since.IsZero() {
			of.Readings, of.From, of.To = true, c.Query("from"), c.Query("to")
			if i == 0 {
				of.To = since.AddDate(0, 0, -1).Format(time.DateOnly)
			} else {
				of.From = since.Format(time.DateOnly)
			}
		}
		asks[i] = of
		view.Sides[i] = compareSide{Name: w.say("fleet.compare.side", "side", strings.ToUpper(prefix[:1]))}
		var named []string
		side := sideContext(c, prefix)
		for _, d := range append(slices.Clip(sideDims), sideExtra...) {
			f := s.filterSelect(side, v, a, d)
			for _, x := range f.Choices {
				if x.Picked && x.Value != "" {
					named = append(named, x.Text)
				}
			}
			f.Name = prefix + f.Name
			if slices.Contains(sideExtra, d) {
				view.Sides[i].Extra, view.Sides[i].ExtraSet = append(view.Sides[i].Extra, f), view.Sides[i].ExtraSet || side.Query(d.String()) != ""
				continue
			}
			view.Sides[i].Selects = append(view.Sides[i].Selects, f)
		}
		for _, b := range w.bounds(side) {
			if b.Days { // both sides share the days
				continue
			}
			if b.Value != "" {
				view.Sides[i].ExtraSet, named = true, append(named, w.say("fleet.compare."+b.Name, "km", b.Value))
			}
			b.Name = prefix + b.Name
			view.Sides[i].Bounds = append(view.Sides[i].Bounds, b)
		}
		if !since.IsZero() {
			named = append(named, w.say([]string{"fleet.compare.before", "fleet.compare.since"}[i], "month", w.monthYear(c.Query("since"))))
		}
		if names[i] = strings.Join(named, ", "); names[i] == "" {
			names[i] = w.say("fleet.compare.all")
		}
	}
	view.Kept = keptBeside(view.Kept, "a_", "b_", "part", "since")
	for _, part := range wear.Parts {
		view.Parts = append(view.Parts, way{Href: address(c, "part", part), Text: w.say("fleet.part." + part), Here: part == a.Part.String()})
	}
	found, err := wear.Compare(v, asks[0], asks[1])
	if err != nil {
		return err
	}
	m := &figure.Matrix{Columns: names[:]}
	differ := 0
	for _, x := range found {
		row := w.compareRow(a.Part, x)
		row.PairsOfA, row.PairsOfB = askAddress(asks[0], x.Word), askAddress(asks[1], x.Word)
		if row.Differs {
			differ++
		}
		view.Rows = append(view.Rows, row)
		m.Rows = append(m.Rows, figure.MatrixRow{Name: row.What, Cells: []figure.Estimate{estimate(x.A, 0), estimate(x.B, 0)}})
		view.Empty = x.A.Size+x.B.Size == 0
	}
	if !since.IsZero() && len(view.Rows) > 0 {
		change, err := wear.Changed(v, asks[1], asks[0])
		if err != nil {
			return err
		}
		view.Answer = w.changed(c.Query("since"), &change)
	}
	m.Finding = w.say("fleet.compare.finding", "n", differ, "of", len(found))
	view.Figure = s.figure(c, "compare", w.say("fleet.compare.title", "a", names[0], "b", names[1]), w.say("fleet.compare.caption"), m)
	if done, err := s.serveFigure(c, view.Figure); done || err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "fleet-compare", view)
}

// compareRow writes one comparison, without its lists.
func (w words) compareRow(part wear.Part, x wear.Comparison) compareRow {
	row := compareRow{What: w.say("fleet.compare.worn"), A: w.percentOf(x.A.Share.V), B: w.percentOf(x.B.Share.V)}
	if x.Word != "" {
		row.What = w.say("fleet.picked", "part", w.say("fleet.part."+part.String()), "pattern", w.word(x.Word))
	}
	if x.A.Size == 0 {
		row.A = "–"
	}
	if x.B.Size == 0 {
		row.B = "–"
	}
	row.NA, row.NB = w.say("figure.n", "n", x.A.Size), w.say("figure.n", "n", x.B.Size)
	row.Difference, row.Q = w.say("figure.few"), "–"
	if x.Known {
		row.Difference = w.say("fleet.compare.points", "points", points(x.Difference.Difference), "low", points(x.Difference.Low), "high", points(x.Difference.High))
		row.Q, row.Differs = "q "+qWords(x.Q), x.Q < compareDiffers
	}
	return row
}

// sinceMonth reads the month that splits what was read before from what came
// after; the zero time is none.
func sinceMonth(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	month, err := time.Parse(monthForm, text)
	if err != nil {
		return month, refuseParameter("since", "want a month as YYYY-MM")
	}
	return month, nil
}

// sinceSelect lays out the months to compare before and since, the latest first;
// before the first there is nothing.
func (w words) sinceSelect(months []monthKey, picked string) filterSelect {
	f := filterSelect{Name: "since", Label: w.say("fleet.compare.split"), Choices: []choice{{Text: w.say("fleet.compare.no-split"), Picked: picked == ""}}}
	for i := len(months) - 1; i > 0; i-- {
		m := months[i].Month
		f.Choices = append(f.Choices, choice{Value: m, Text: w.monthYear(m), Picked: m == picked})
	}
	return f
}

// changed says whether the share found worn moved since a month, among like
// readings: less is better.
func (w words) changed(month string, c *wear.Change) string {
	key := "fleet.compare.same"
	switch {
	case !c.Known:
		key = "fleet.compare.unknown"
	case c.P < compareDiffers && c.Z < 0:
		key = "fleet.compare.better"
	case c.P < compareDiffers:
		key = "fleet.compare.worse"
	}
	share := w.percentOf(float64(c.Hits) / float64(max(c.Size, 1)))
	return w.say(key, "month", w.monthYear(month), "share", share, "size", c.Size, "expected", w.percentOf(c.Expected), "p", qWords(c.P))
}

// sideContext is the request with one side's parameters as if they were the
// page's.
func sideContext(c *gin.Context, prefix string) *gin.Context {
	side := c.Copy()
	q := url.Values{}
	for name, values := range c.Request.URL.Query() {
		if plain, ok := strings.CutPrefix(name, prefix); ok {
			q[plain] = values
		}
	}
	u := *c.Request.URL
	u.RawQuery = q.Encode()
	side.Request = c.Request.Clone(c.Request.Context())
	side.Request.URL = &u
	return side
}

// keptBeside leaves out the parameters whose name begins with one of prefixes.
func keptBeside(kept []choice, prefixes ...string) []choice {
	var left []choice
	for _, k := range kept {
		beside := false
		for _, p := range prefixes {
			beside = beside || strings.HasPrefix(k.Text, p) && k.Text != "part"
		}
		if !beside {
			left = append(left, k)
		}
	}
	return left
}

// askAddress is the list of the pairs of a question; without a pattern, of
// those found worn.
func askAddress(a wear.Ask, pattern string) string {
	if a.Pattern = pattern; pattern != "" {
		return questionAddress(a)
	}
	return questionAddress(a, "verdict", "replace,retire")
}

// points writes a difference of shares in percentage points, with its sign.
func points(d float64) string {
	text := strconv.FormatFloat(100*d, 'f', 1, 64)
	if d > 0 {
		return "+" + text
	}
	return strings.Replace(text, "-", "−", 1)
}
