package dashboard

import (
	"bytes"
	"encoding/csv"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/stats"
)

// agreementPage says, check by check, how alike two people read the same pair,
// the second of them blind.
type agreementPage struct {
	Ways     []way
	Path     string
	Store    filterSelect
	From, To string
	Title    string
	Narrowed string // that there are more second readings than are counted
	Checks   []agreementRow
	Empty    bool
	Clear    string
}

// agreementRow is one check.
type agreementRow struct {
	Name         string
	Pairs, Both  int // pairs, and of those the places that both read
	Alike, AC1   string
	Kappa, Often string
	Thin         bool // too few pairs to go by
	CSV          string
}

// maxSecond is how many second readings are counted at most, the newest.
const maxSecond = 2000

// thinPairs is the number of pairs under which an agreement is said to be thin:
// the intervals are too short below about 15 clusters (see stats.ClusteredShares).
const thinPairs = 15

// agreeOn is one check over which two readings are set side by side: a check of
// each shoe, the zones of a part, or one of the pair.
type agreeOn struct {
	name    string // as in an address
	label   string // key of the words
	cols    []assess.Col
	pair    bool
	ordered bool // the scale has an order, so that a near miss is less of one
}

// levels are the words of the check's scale as they stand in data.
func (on *agreeOn) levels() []string {
	c := &assess.Columns[on.cols[0]]
	switch c.Kind {
	case assess.Grade:
		words := make([]string, c.Max+1)
		for v := range words {
			words[v] = strconv.Itoa(v)
		}
		return words
	case assess.Side:
		words := make([]string, 0, len(c.Words))
		for v := c.Min; v <= c.Max; v++ {
			words = append(words, strconv.Itoa(v))
		}
		return words
	}
	return c.Words
}

// said is a level as a person reads it.
func (on *agreeOn) said(w words, level int) string {
	switch c := &assess.Columns[on.cols[0]]; c.Kind {
	case assess.Grade:
		return strconv.Itoa(level) + " " + w.say("grade."+strconv.Itoa(level))
	default:
		return w.word(c.Words[level])
	}
}

// agreeOns lists what two readings are compared over, in the order of the bench.
func agreeOns() []agreeOn {
	all := []agreeOn{
		{name: "heel", label: "part.heel", cols: []assess.Col{assess.HeelMedial, assess.HeelCentre, assess.HeelLateral}, ordered: true},
		{name: "mid", label: "part.mid", cols: []assess.Col{assess.MidMedial, assess.MidLateral}, ordered: true},
		{name: "fore", label: "part.fore", cols: []assess.Col{assess.ForeMedial, assess.ForeCentre, assess.ForeLateral}, ordered: true},
		{name: "toe", label: "part.toe", cols: []assess.Col{assess.ToeMedial, assess.ToeLateral}, ordered: true},
	}
	for _, col := range toldAlike {
		all = append(all, agreeOn{name: assess.Columns[col].Name, label: "check." + assess.Columns[col].Name, cols: []assess.Col{col}, ordered: worsening.Has(col)})
	}
	for _, col := range sidesTold {
		all = append(all, agreeOn{name: assess.Columns[col].Name, label: "check." + assess.Columns[col].Name, cols: []assess.Col{col}, pair: true, ordered: true})
	}
	return all
}

// place is where on a pair a check was read.
type place struct {
	shoe string
	col  assess.Col
	a, b int // levels, of the first reading and of the blind one
}

// places lists where both readings of a pair say something on a check.
func (on *agreeOn) places(r *models.SecondReading) []place {
	var all []place
	from := 0
	if c := &assess.Columns[on.cols[0]]; c.Kind == assess.Side {
		from = c.Min
	}
	add := func(shoe string, col assess.Col, a, b assess.Value) {
		if a.OK() && b.OK() {
			all = append(all, place{shoe, col, a.Int() - from, b.Int() - from})
		}
	}
	for _, col := range on.cols {
		if on.pair {
			add("pair", col, r.First.Pair(col), r.Blind.Pair(col))
			continue
		}
		for f := range r.First.Shoe {
			add(shoeWord(assess.Foot(f)), col, r.First.Shoe[f][col], r.Blind.Shoe[f][col])
		}
	}
	return all
}

// agreed is what the second readings say of one check: of each pair that both read,
// the levels at each place.
type agreed [][]stats.GradePair

func (on *agreeOn) count(readings []models.SecondReading) agreed {
	var a agreed
	for i := range readings {
		places := on.places(&readings[i])
		if len(places) == 0 {
			continue
		}
		items := make([]stats.GradePair, len(places))
		for i, p := range places {
			items[i] = stats.GradePair{First: p.a, Second: p.b}
		}
		a = append(a, items)
	}
	return a
}

// alike counts, of each pair, the places that were read alike, and those that were
// not.
func (a agreed) alike() [][]int {
	by := make([][]int, len(a))
	for i, items := range a {
		by[i] = []int{0, 0}
		for _, p := range items {
			if p.First == p.Second {
				by[i][0]++
			} else {
				by[i][1]++
			}
		}
	}
	return by
}

// confused returns the two levels that were taken for one another most often,
// and how often; 0 where there are none. Of as many, the lower stand.
func (a agreed) confused() (low, high, n int) {
	times := map[[2]int]int{}
	for _, items := range a {
		for _, p := range items {
			if p.First != p.Second {
				times[[2]int{min(p.First, p.Second), max(p.First, p.Second)}]++
			}
		}
	}
	for levels, both := range times {
		if both > n || both == n && slices.Compare(levels[:], []int{low, high}) < 0 {
			low, high, n = levels[0], levels[1], both
		}
	}
	return low, high, n
}

// agreementConf is the confidence of the page's intervals.
const agreementConf = 0.95

// agreementRow says how alike a check is read.
func (w words) agreementRow(on *agreeOn, a agreed) (agreementRow, error) {
	levels := len(on.levels())
	row := agreementRow{Name: w.say(on.label), Pairs: len(a), Alike: "–", AC1: "–", Kappa: "–", Thin: len(a) < thinPairs}
	if on.cols[0] < assess.NumZones {
		row.Name = w.say("agree.zones", "part", row.Name)
	}
	shares, err := stats.ClusteredShares([]string{"alike", "apart"}, a.alike(), agreementConf)
	if errors.Is(err, stats.ErrEmpty) {
		return row, nil
	}
	if err != nil {
		return row, err
	}
	row.Both = shares[0].Size
	row.Alike = w.shareBetween(&shares[0])
	if low, high, n := a.confused(); n > 0 {
		row.Often = w.say("agree.often", "a", on.said(w, low), "b", on.said(w, high), "times", n)
	}
	if row.Thin {
		return row, nil // what goes beyond chance can't be told
	}
	// A value that is undefined has a reason, and stays a dash.
	undefined := func(err error) bool {
		_, ok := errors.AsType[*stats.Reason](err)
		return ok
	}
	weights := stats.IdentityWeights
	if on.ordered {
		weights = stats.LinearWeights
	}
	ac1, err := stats.ClusteredAC1(a, levels, agreementConf)
	switch {
	case err == nil:
		row.AC1 = w.coefficient(ac1)
	case !undefined(err):
		return row, err
	}
	kappa, err := stats.ClusteredKappa(a, weights(levels), agreementConf)
	switch {
	case err == nil:
		row.Kappa = w.coefficient(kappa)
	case !undefined(err):
		return row, err
	}
	return row, nil
}

// shareBetween writes a share with its interval, where there is one.
func (w words) shareBetween(s *stats.Share) string {
	share := w.percentOf(s.Share.V)
	if !s.Low.OK || !s.High.OK {
		return share
	}
	return w.say("agree.between", "v", share, "low", w.percentOf(s.Low.V), "high", w.percentOf(s.High.V))
}

// coefficient writes a coefficient with its interval, where that has a width.
func (w words) coefficient(a *stats.Agreement) string {
	v, low, high := hundredths(a.Value), hundredths(a.Low.V), hundredths(a.High.V)
	if !a.SE.OK || low == high {
		return v
	}
	return w.say("agree.between", "v", v, "low", low, "high", high)
}

// hundredths writes a coefficient's figure.
func hundredths(v float64) string {
	text := strconv.FormatFloat(v, 'f', 2, 64)
	if text == "-0.00" {
		text = "0.00"
	}
	return strings.Replace(text, "-", "−", 1)
}

// showAgreement answers with how alike readers read, as far as the reader of the
// page leads them.
func (s *Server) showAgreement(c *gin.Context) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	if err := s.inReach(c, who, c.Query("store"), ""); err != nil {
		return err
	}
	f := models.InspectionFilter{Scopes: who.scopes(readWear), Store: c.Query("store"), From: c.Query("from"), To: c.Query("to")}
	if f.From == "" {
		f.From = s.now().UTC().AddDate(-1, 0, 0).Format(time.DateOnly)
	}
	readings, more, err := s.db.SecondReadings(ctx, f, maxSecond)
	if err != nil {
		return wrongQuery(err)
	}
	ons := agreeOns()
	if c.Query("as") == "csv" {
		at := slices.IndexFunc(ons, func(on agreeOn) bool { return on.name == c.Query("check") })
		if at < 0 {
			return refuseParameter("check", "want one of the page's checks")
		}
		data, err := ons[at].csv(readings)
		if err == nil {
			attach(c, "second-readings-"+ons[at].name+".csv", "text/csv; charset=utf-8", data)
		}
		return err
	}
	view := agreementPage{
		Ways: fleetWays(c, w), Path: c.Request.URL.Path, Clear: c.Request.URL.Path, From: f.From, To: f.To,
		Title: w.say("agree.title"), Empty: len(readings) == 0,
	}
	if more {
		view.Narrowed = w.say("agree.narrowed", "n", maxSecond)
	}
	if view.Store, err = s.storesLed(c); err != nil {
		return err
	}
	for i := range ons {
		row, err := w.agreementRow(&ons[i], ons[i].count(readings))
		if err != nil {
			return err
		}
		row.CSV = address(c, "as", "csv", "check", ons[i].name)
		view.Checks = append(view.Checks, row)
	}
	return s.render(c, http.StatusOK, "fleet-agreement", view)
}

// storesLed lays out the stores in scope to choose one.
func (s *Server) storesLed(c *gin.Context) (filterSelect, error) {
	w, who := s.words(c), s.who(c)
	f := filterSelect{Name: "store", Label: w.say("office.field.store"), Choices: []choice{{Text: w.say("agree.all-stores"), Picked: c.Query("store") == ""}}}
	all, err := s.db.Stores(c.Request.Context())
	for i := range all {
		if at := &all[i]; who.allowsAt(readWear, at.Code, at.Region) {
			f.Choices = append(f.Choices, choice{Value: at.Code, Text: at.Code + " " + at.Name, Picked: c.Query("store") == at.Code})
		}
	}
	return f, err
}

// csv writes both readings of the check as tally agreement takes them: a line a
// reading and place.
func (on *agreeOn) csv(readings []models.SecondReading) ([]byte, error) {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	levels := on.levels()
	// A write to a buffer doesn't fail, and Error is looked at in the end.
	_ = out.Write([]string{"item", "pair_ref", "day", "check", "shoe", "reading", "grade"})
	for i := range readings {
		r := &readings[i]
		for _, p := range on.places(r) {
			name := assess.Columns[p.col].Name
			item := strings.Join([]string{r.Blind.ID.String(), p.shoe, name}, " ")
			for _, said := range []struct {
				reading string
				level   int
			}{{"first", p.a}, {"blind", p.b}} {
				_ = out.Write([]string{item, r.First.PairRef, r.First.Day, name, p.shoe, said.reading, levels[said.level]})
			}
		}
	}
	out.Flush()
	return b.Bytes(), out.Error()
}
