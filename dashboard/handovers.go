package dashboard

import (
	"bytes"
	"cmp"
	"context"
	"encoding/csv"
	"errors"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/stats"
	"solewright/reports/wear"
)

// routesView says where pairs went, in all and by store, category and month.
type routesView struct {
	Total  routeLine
	Heads  []string // the routes that pairs went
	Tables []routeTable
}

type routeTable struct {
	Title, Column string
	Lines         []routeLine
}

// routeLine is where some pairs went: how many each route of the heads, and which share
// the one that their grade proposes first.
type routeLine struct {
	Name     string
	Pairs    int
	Counts   []int
	Proposed string
}

// handOverKeys are what hand-overs are told by.
var handOverKeys = []string{"store", "category", "month"}

// handOverWord returns the word of a key.
func handOverWord(key, store, category, month string) string {
	switch key {
	case "store":
		return store
	case "category":
		return category
	}
	return month
}

// handOverName says one of those words.
func (w words) handOverName(key, word string) string {
	switch key {
	case "category":
		return cmp.Or(w.word(word), w.say("fleet.credit.no-model"))
	case "month":
		return w.monthYear(word)
	}
	return word
}

// sumBy adds up by a word, and returns the words in order.
func sumBy[T, S any](all []T, word func(*T) string, add func(*S, *T)) ([]string, map[string]*S) {
	sums := map[string]*S{}
	var order []string
	for i := range all {
		key := word(&all[i])
		if sums[key] == nil {
			sums[key], order = new(S), append(order, key)
		}
		add(sums[key], &all[i])
	}
	slices.Sort(order)
	return order, sums
}

// routeSum is how many pairs went each way.
type routeSum struct {
	by       map[assess.Route]int
	n, first int // pairs, and those that went as their grade proposes
}

// routes lays out where pairs went; nil where there are none.
func (w words) routes(all []models.Routed, e *assess.Engine) *routesView {
	if len(all) == 0 {
		return nil
	}
	add := func(s *routeSum, r *models.Routed) {
		if s.by == nil {
			s.by = map[assess.Route]int{}
		}
		s.by[r.Route] += r.Pairs
		if s.n += r.Pairs; e.Proposes(r.Grade, r.Route) {
			s.first += r.Pairs
		}
	}
	_, whole := sumBy(all, func(*models.Routed) string { return "" }, add)
	var taken []assess.Route
	for r := assess.BackToRunner; r <= assess.SealedDisposal; r++ {
		if whole[""].by[r] > 0 {
			taken = append(taken, r)
		}
	}
	line := func(name string, s *routeSum) routeLine {
		l := routeLine{Name: name, Pairs: s.n, Proposed: w.percentOf(float64(s.first) / float64(s.n))}
		for _, r := range taken {
			l.Counts = append(l.Counts, s.by[r])
		}
		return l
	}
	view := &routesView{Total: line("", whole[""])}
	for _, r := range taken {
		view.Heads = append(view.Heads, w.word(r.String()))
	}
	for _, key := range handOverKeys {
		t := routeTable{Title: w.say("fleet.credit.by." + key), Column: w.say("fleet.filter." + key)}
		order, sums := sumBy(all, func(r *models.Routed) string { return handOverWord(key, r.Store, r.Category, r.Month) }, add)
		for _, word := range order {
			t.Lines = append(t.Lines, line(w.handOverName(key, word), sums[word]))
		}
		view.Tables = append(view.Tables, t)
	}
	return view
}

// routesCSV answers with where pairs went as a file.
func routesCSV(c *gin.Context, all []models.Routed) error {
	rows := [][]string{{"store", "category", "month", "grade", "route", "pairs"}}
	for _, r := range all {
		rows = append(rows, []string{r.Store, r.Category, r.Month, r.Grade.String(), r.Route.String(), strconv.Itoa(r.Pairs)})
	}
	return handOverCSV(c, "routes.csv", rows)
}

// handOverCSV answers with a file of hand-overs.
func handOverCSV(c *gin.Context, name string, rows [][]string) error {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	out.UseCRLF = true
	if err := out.WriteAll(rows); err != nil {
		return err
	}
	attach(c, name, "text/csv; charset=utf-8", b.Bytes())
	return nil
}

// proposing returns the engine whose grades say today which routes they propose.
func (s *Server) proposing(ctx context.Context) (*assess.Engine, error) {
	n, err := s.rulesOn(ctx, s.now().UTC().Format(time.DateOnly))
	if err != nil {
		return nil, err
	}
	return s.engineOf(ctx, n)
}

// storeRecords is what the records say of a store beside the fleet in memory: where its
// pairs went and what was given for them, and how alike two people read.
type storeRecords struct {
	Routes *routesView
	Given  []string // by currency
	Credit string   // where it stands beside other stores
	Agreed string
	// Agreement is where it stands check by check.
	Agreement string
}

// storeRecords asks for a store's records of the days of a question.
func (s *Server) storeRecords(c *gin.Context, a wear.Ask, store string) (*storeRecords, error) {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	view := &storeRecords{
		Credit:    at("/fleet/credit", rangeOf(c), "store", store),
		Agreement: at("/fleet/agreement", url.Values{}, "store", store),
	}
	f := models.CreditFilter{Scopes: who.scopes(readWear), Store: store}
	if err := daysAsked(&f, a.From, a.To); err != nil {
		return nil, err
	}
	routed, err := s.db.Routes(ctx, f)
	if err != nil {
		return nil, wrongQuery(err)
	}
	engine, err := s.proposing(ctx)
	if err != nil {
		return nil, err
	}
	view.Routes = w.routes(routed, engine)
	credits, err := s.db.Credits(ctx, f)
	if err != nil {
		return nil, wrongQuery(err)
	}
	currencies, sums := sumBy(credits, func(x *models.Credit) string { return x.Currency }, (*creditSum).add)
	for _, code := range currencies {
		l := w.creditLine(code, "", *sums[code])
		view.Given = append(view.Given, w.say("fleet.store.given", "code", code, "given", l.Given, "mean", l.Mean, "advised", l.Advised, "overridden", l.Overridden))
	}
	readings, _, err := s.db.SecondReadings(ctx, models.InspectionFilter{Scopes: f.Scopes, Store: store, From: f.From, To: f.To}, maxSecond)
	if err != nil {
		return nil, wrongQuery(err)
	}
	view.Agreed, err = w.agreedInAll(readings)
	return view, err
}

// agreedInAll says which share of all places on pairs read twice was read alike.
func (w words) agreedInAll(readings []models.SecondReading) (string, error) {
	ons := agreeOns()
	var by [][]int
	for i := range readings {
		row := []int{0, 0}
		for k := range ons {
			for _, n := range ons[k].count(readings[i : i+1]).alike() {
				row[0], row[1] = row[0]+n[0], row[1]+n[1]
			}
		}
		if row[0]+row[1] > 0 {
			by = append(by, row)
		}
	}
	shares, err := stats.ClusteredShares([]string{"alike", "apart"}, by, agreementConf)
	if errors.Is(err, stats.ErrEmpty) {
		return w.say("fleet.store.agreed-none"), nil
	}
	if err != nil {
		return "", err
	}
	return w.say("fleet.store.agreed", "n", shares[0].Size, "pairs", len(by), "share", w.shareBetween(&shares[0])), nil
}
