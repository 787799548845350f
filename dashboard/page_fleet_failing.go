package dashboard

import (
	"context"
	"fmt"
	"math"
	"strconv"
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

// modelFailing says whether a model, or a batch of it, fails early.
type modelFailing struct {
	Figure  figureView
	Batches []way
	// Lines say how it stands, how long the chart runs between false alarms, what was
	// expected and by whom, and how many were sold.
	Lines []string
	Pairs way
	// Act asks for a second reader where there is a signal.
	Act string
	// Later is where the page has all this but for Batches, while it is found.
	Later string
}

// perSold is to how many pairs sold failures are told.
const perSold = 1000

// Why nothing stands to what was sold.
const (
	soldNarrowed = "sales are known by store, region, batch and month only"
	soldBefore   = "pairs sold before these days fail in them"
	soldUnknown  = "no sales of it are known"
)

// failingWhy names the texts of why something is absent.
var failingWhy = map[string]string{
	wear.NoBaseline: "fleet.failing.no-baseline", wear.NeverEarly: "fleet.failing.never-early",
	soldNarrowed: "fleet.failing.sold-narrowed", soldBefore: "fleet.failing.sold-before", soldUnknown: "fleet.failing.sold-unknown",
}

// failureOut is the early-failure chart of a model, with what was sold of it.
type failureOut struct {
	*wear.FailureChart
	// Sold is how many pairs were sold, PerThousand the failures to a thousand of
	// them with their exact Poisson interval; SoldWhy says why there are none.
	Sold        int         `json:"sold"`
	SoldFrom    string      `json:"sold_from,omitempty"`
	PerThousand stats.Float `json:"per_thousand"`
	Low         stats.Float `json:"per_thousand_low"`
	High        stats.Float `json:"per_thousand_high"`
	SoldWhy     string      `json:"sold_why,omitempty"`
}

// failing answers whether a model fails early; batch is empty for all of its pairs. It
// is nil where a page waited in vain for it, see [kept.soon].
func (s *Server) failing(c *gin.Context, v *memory.View, a wear.Ask, m *models.ShoeModel, batch string, restarts []wear.FailureRestart, within time.Duration) (*failureOut, error) {
	found, ready, err := s.allFailing(c.Request.Context(), v, a.Without(memory.Batch), within)
	if err != nil || !ready {
		return nil, err
	}
	data := v.Fingerprint()
	chart, ready, err := s.charts.soon(c.Request.Context(), fmt.Sprintf("%s %q %+v %+v", m.ID, batch, restarts, a), data, within, func() (*wear.FailureChart, error) {
		return found.Chart(s.quietly(v), a, m.Category, m.ID.String(), batch, restarts)
	})
	if err != nil || !ready {
		return nil, err
	}
	out := &failureOut{FailureChart: chart}
	return out, s.addSold(c, a, m.ID, out)
}

// allFailing finds what early-failure charts go by, of all days; see [kept.soon].
func (s *Server) allFailing(ctx context.Context, v *memory.View, a wear.Ask, within time.Duration) (*wear.Failures, bool, error) {
	a.From, a.To = "", ""
	return s.failures.soon(ctx, fmt.Sprintf("%+v", a), v.Fingerprint(), within, func() (*wear.Failures, error) { return wear.FindFailures(s.quietly(v), a) })
}

// addSold puts beside failures what was sold of the model in the stores asked about,
// since sales are known.
func (s *Server) addSold(c *gin.Context, a wear.Ask, model assess.UUID, out *failureOut) error {
	f := models.SaleFilter{Scopes: a.Scopes, Model: model, Batch: out.Batch}
	for _, only := range a.Only {
		switch {
		case only.Dim == memory.Store || only.Dim == memory.Region:
			var within []retail.Scope
			for _, word := range only.Words {
				if only.Dim == memory.Store {
					within = append(within, retail.Scope{Store: word})
				} else {
					within = append(within, retail.Scope{Region: word})
				}
			}
			f.Within = append(f.Within, within)
		case only.Dim != memory.Batch && only.Dim != memory.Model && only.Dim != memory.Category:
			out.SoldWhy = soldNarrowed
			return nil
		}
	}
	if a.From != "" || a.To != "" {
		out.SoldWhy = soldBefore
		return nil
	}
	first, sold, err := s.db.Sold(c.Request.Context(), f)
	if err != nil {
		return err
	}
	if sold == 0 {
		out.SoldWhy = soldUnknown
		return nil
	}
	failed := 0
	for i := range out.Cases {
		if x := &out.Cases[i]; x.Failed && monthOf(x.Day) >= first {
			failed++
		}
	}
	rate, err := stats.PoissonRate(failed, float64(sold)/perSold, 1-compareDiffers)
	if err != nil {
		return err
	}
	out.Sold, out.SoldFrom = sold, first
	out.PerThousand, out.Low, out.High = stats.Some(rate.Rate), stats.Some(rate.Low), stats.Some(rate.High)
	return nil
}

// sumAnswer is what tally chart --kind ra-cusum prints.
type sumAnswer struct {
	Groups []struct {
		Points []struct {
			Order string  `json:"order"`
			Value float64 `json:"value"`
			Out   bool    `json:"out"`
		} `json:"points"`
	} `json:"groups"`
}

// modelFailing lays the early-failure chart out.
func (s *Server) modelFailing(c *gin.Context, v *memory.View, a wear.Ask, m *models.ShoeModel, batches []wear.EarlyShare, within time.Duration) (*modelFailing, error) {
	w, batch := s.words(c), c.Query("failing")
	marks, err := s.marks(c, a)
	if err != nil {
		return nil, err
	}
	found, err := s.failing(c, v, a, m, batch, marks.restarts, within)
	if err != nil {
		return nil, err
	}
	view := &modelFailing{Batches: []way{{Href: address(c, "failing", "") + "#failing", Text: w.say("fleet.failing.all"), Here: batch == ""}}}
	for _, b := range batches {
		if b.Batch != "" && b.Size >= wear.MinPairs {
			view.Batches = append(view.Batches, way{Href: address(c, "failing", b.Batch) + "#failing", Text: b.Batch, Here: b.Batch == batch})
		}
	}
	if found == nil {
		view.Later = address(c, waitKey, "yes")
		return view, nil
	}
	drawn, out, err := w.sumChart(found.FailureChart, marks)
	if err != nil {
		return nil, err
	}
	of := w.say("fleet.failing.model")
	if batch != "" {
		of = w.say("fleet.failing.batch", "batch", batch)
	}
	switch {
	case found.Why != "":
		drawn.Finding = w.say("fleet.failing.none", "km", wear.EarlyKM)
	case len(out) > 0:
		drawn.Finding = w.say("fleet.failing.signals", "of", of, "months", w.list(out))
	default:
		drawn.Finding = w.say("fleet.failing.quiet", "of", of)
	}
	view.Figure = s.figure(c, "failing", w.say("fleet.failing.title", "km", wear.EarlyKM, "of", of), w.say("fleet.failing.caption"), drawn)
	view.Lines = w.failingLines(found)
	if found.Why != "" {
		return view, nil
	}
	pairs := a.With(memory.Model, m.ID.String())
	if batch != "" {
		pairs = pairs.With(memory.Batch, batch)
	}
	view.Pairs = way{Href: questionAddress(pairs, "unit", wear.Units[1], "verdict", "replace,retire", "km_to", strconv.Itoa(wear.EarlyKM-1), "sort", "least-km"), Text: w.say("fleet.failing.pairs", "n", found.Worn)}
	if len(out) > 0 {
		view.Act = w.say("fleet.failing.act")
	}
	return view, nil
}

// sumChart draws the chart's months, and names those in which it signals.
func (w words) sumChart(f *wear.FailureChart, marks *monthMarks) (*figure.Sum, []string, error) {
	drawn := &figure.Sum{Limit: f.Limit}
	var out []string
	next := 0
	for _, part := range f.Parts {
		var chart sumAnswer
		if err := part.Chart.Decode(&chart); err != nil {
			return nil, nil, err
		}
		for _, p := range chart.Groups[0].Points {
			x := f.Cases[next]
			next++
			month := monthOf(x.Day)
			for n := len(drawn.Points); n == 0 || drawn.Points[n-1].At != month; n++ {
				at := month
				if n > 0 { // a month without readings has its place
					var err error
					if at, err = monthAfter(drawn.Points[n-1].At); err != nil {
						return nil, nil, err
					}
				}
				drawn.Points = append(drawn.Points, figure.SumPoint{ControlPoint: figure.ControlPoint{
					At: at, Name: w.monthName(at), Year: at[:4], Mark: marks.rules[at], Events: marks.events[at],
				}})
			}
			at := &drawn.Points[len(drawn.Points)-1]
			at.Size++
			at.Expected += x.Expected
			at.Highest = max(at.Highest, p.Value)
			if x.Failed {
				at.Hits++
			}
			if p.Out && !at.Out {
				at.Out = true
				out = append(out, w.monthYear(month))
			}
		}
	}
	return drawn, out, nil
}

// monthAfter is the month after one, 2026-10.
func monthAfter(month string) (string, error) {
	t, err := time.Parse(monthForm, month)
	return t.AddDate(0, 1, 0).Format(monthForm), err
}

// failingLines say the numbers of the chart in sentences.
func (w words) failingLines(f *failureOut) []string {
	if f.Why != "" {
		return []string{w.say(failingWhy[f.Why])}
	}
	fills := []any{"worn", f.Worn, "readings", f.Readings, "km", wear.EarlyKM, "expected", strconv.FormatFloat(f.Expected, 'f', 1, 64), "tested", f.Tested, "p", qWords(f.P.V), "q", qWords(f.Q.V)}
	key := "fleet.failing.stand"
	switch {
	case !f.P.OK:
		key = "fleet.failing.stand-few"
	case !f.Q.OK:
		key = "fleet.failing.stand-p"
	}
	lines := []string{w.say(key, fills...)}
	if f.InControl.OK && f.Doubled.OK {
		lines = append(lines, w.say("fleet.failing.length", "control", twoDigits(f.InControl.V), "doubled", twoDigits(f.Doubled.V)))
	}
	lines = append(lines, w.say("fleet.failing.baseline", "pairs", f.Baseline, "category", w.word(f.Category), "month", w.monthYear(f.BaselineTo)))
	if f.PerThousand.OK {
		rate := func(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }
		return append(lines, w.say("fleet.failing.sold", "sold", f.Sold, "month", w.monthYear(f.SoldFrom), "rate", rate(f.PerThousand.V), "low", rate(f.Low.V), "high", rate(f.High.V)))
	}
	return append(lines, w.say(failingWhy[f.SoldWhy]))
}

// twoDigits writes a run length as exactly as it is known.
func twoDigits(v float64) string {
	grain := math.Pow(10, math.Floor(math.Log10(max(v, 1)))-1)
	return strconv.FormatFloat(math.Round(v/grain)*grain, 'f', 0, 64)
}
