package dashboard

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
	memory "solewright/reports/fleet"
	"solewright/reports/wear"
)

// wearParams narrow a question about the fleet, within the caller's scope.
var wearParams = []param{
	{"from", "First day or month of the pair's last reading, in the store's calendar.", textOf(0, "")},
	{"to", "Last day or month, included.", textOf(0, "")},
	{"km_from", "Least distance in km; pairs of unknown distance are left out.", wholeOf(0, 200_000, "")},
	{"km_to", "Most distance in km, included.", wholeOf(0, 200_000, "")},
	{"region", "Codes of regions, with commas between.", textOf(0, "")},
	{"store", "Codes of stores.", textOf(0, "")},
	{"model", "Shoe models, by UUID or by brand, model and version.", textOf(0, "")},
	{"category", "Categories: " + strings.Join(retail.Categories, ", ") + ".", textOf(0, "")},
	{"batch", "Batches.", textOf(0, "")},
	{"gait", "Observed gait: " + strings.Join(assess.GaitWords, ", ") + ".", textOf(0, "")},
	{"posture", "Foot posture, in the same words.", textOf(0, "")},
	{"strike", "Foot strike: " + strings.Join(assess.StrikeWords, ", ") + ".", textOf(0, "")},
	{"surface", "Surfaces: " + strings.Join(assess.Surfaces, ", ") + ".", textOf(0, "")},
	{"kind", "Kind of visit: trade-in, check.", textOf(0, "")},
	{"verdict", "Verdicts of the last reading.", textOf(0, "")},
	{"reason", "Codes of the worst finding.", textOf(0, "")},
	{"part", "Part of the outsole whose pattern is asked about; heel when absent.", oneOf(wear.Parts, "")},
	{"pattern", "One pattern.", oneOf(wear.Patterns, "")},
	{"unit", "Counts pairs at their last reading, or with reading all readings, for what moves over time; pair when absent.", oneOf(wear.Units, "")},
	{"by", "What to split the answer by, two at most: model, category, batch, gait, posture, strike, surface, used_for, store, region, month, kind, side, verdict.", textOf(0, "")},
}

// tallyOut is what solewright tally prints.
type tallyOut struct{ wear.Answer }

// Schema describes what every answer of tally has; what else it has depends on
// the statistic.
func (tallyOut) Schema(huma.Registry) *huma.Schema {
	s := objectOf(map[string]*huma.Schema{
		"name":    textOf(0, "The statistic"),
		"n":       {Type: huma.TypeInteger, Description: "How many pairs it is of"},
		"dropped": {Type: huma.TypeObject, AdditionalProperties: true, Description: "Pairs left out because a word was absent"},
		"groups":  {Type: huma.TypeArray, Items: &huma.Schema{Type: huma.TypeObject, AdditionalProperties: true}, Description: "What tally prints for each group"},
		"why":     textOf(0, "Why something is null"),
	}, "What solewright tally prints for the same pairs of export pairs")
	s.AdditionalProperties = true
	return s
}

// wearAbout says what the answers about the fleet have in common.
const wearAbout = " The unit is the pair at its last reading; what is absent is dropped and counted. The object is the one that solewright tally prints for export pairs."

// A wearAnswer is one question about the fleet.
var (
	docWearShares = operation{
		id: "get-wear-shares", summary: "Shares of patterns, with their intervals",
		about:  "tally shares --of pattern_heel or pattern_fore, or of what of names." + wearAbout,
		query:  params(wearParams, []param{{"of", "What the shares are of; the pattern of the part when absent.", oneOf(wear.Of, "")}}),
		answer: tallyOut{}, fails: []*class{badQuery, unready},
	}
	docWearAssociation = operation{
		id: "get-wear-association", summary: "Whether the pattern goes with gait, and how strongly",
		about:  "tally association --rows pattern --cols gait. It says association, never cause." + wearAbout,
		query:  params(wearParams, []param{{"cols", "What the pattern is crossed with; gait when absent.", oneOf([]string{"gait", "posture", "strike", "surface", "category", "kind"}, "")}}),
		answer: tallyOut{}, fails: []*class{badQuery, unready},
	}
	docWearLife = operation{
		id: "get-wear-life", summary: "How long pairs last",
		about:  "tally life --lower lower --upper upper: km to the first replace, known between two looks." + wearAbout,
		query:  params(wearParams, []param{{"bootstrap", "Replicates of the band, 0–500; none when absent.", wholeOf(0, maxReplicates, "")}}),
		answer: tallyOut{}, fails: []*class{badQuery, unready},
	}
	docWearTrend = operation{
		id: "get-wear-trend", summary: "Whether a share moves from month to month",
		about: "Of the pattern, or of pairs found worn where none is named: tally chart --kind p --order month --hits hits --size size, and tally trend with months numbered from 0." + wearAbout,
		query: wearParams, answer: trendOut{}, fails: []*class{badQuery, unready},
	}
	docWearStores = operation{
		id: "get-wear-stores", summary: "Which stores are apart from the rest",
		about: "Of the pattern, or of pairs found worn where none is named: tally funnel --hits hits --size size --by store." + wearAbout,
		query: wearParams, answer: tallyOut{}, fails: []*class{badQuery, unready},
	}
	docWearSignals = operation{
		id: "get-wear-signals", summary: "What to look at first",
		about: "What chance would hardly give, the most worth acting on first, and what people did about it. Ask whether readers differ, then for case mix, then about the shoe.",
		query: wearParams, answer: signalList{}, fails: []*class{badQuery, unready},
	}
	docWearFailures = operation{
		id: "get-wear-failures", summary: "Whether a model fails early",
		about: "The risk-adjusted CUSUM of one model's readings under 250 km against the life of its category and gait, with its run lengths, the exact tail, q over models, and what was sold. " +
			"Each part is the object that tally chart --kind ra-cusum prints for its cases; it begins anew where a rule set does. Failures are those of shoes that come back; a second person reads some of them before anybody acts.",
		query:  params(wearParams, []param{{"failing", "One batch of the model.", textOf(60, "")}}),
		answer: failureOut{}, fails: []*class{badQuery, notFound, unready},
	}
	docWearCredit = operation{
		id: "get-wear-credit", summary: "Credit given, by currency, store, category and month, and where the pairs went",
		about: "In minor units; nothing is converted or summed across currencies.",
		query: []param{
			{"from", "First local day or month.", textOf(0, "")},
			{"to", "Last local day or month.", textOf(0, "")},
			{"region", "Code of a region.", textOf(0, "")},
			{"store", "Code of a store.", textOf(0, "")},
			{"category", "A category of shoe.", oneOf(retail.Categories, "")},
		},
		answer: creditList{}, fails: []*class{badQuery},
	}
	docSignal = operation{
		id: "act-on-signal", summary: "Take up, assign, comment on or close a signal",
		about: "It is stored with its evidence the first time; the address takes the filters under which it was found. A possible fault of a shoe belongs to a named person, with its pairs attached. Whether a maker or an authority must be told follows local law.",
		query: wearParams, body: signalBody{}, answer: signalOut{}, fails: []*class{badQuery, notFound, conflict, unready},
	}
)

// trendOut is the chart and the trend.
type trendOut struct {
	Chart tallyOut `json:"chart"`
	Trend tallyOut `json:"trend"`
}

// maxReplicates keeps a band within the time of a request.
const maxReplicates = 500

// fleetView returns the fleet in memory.
func (s *Server) fleetView() (*memory.View, error) {
	if s.cfg.Fleet != nil {
		if v := s.cfg.Fleet(); v != nil {
			return v, nil
		}
	}
	return nil, &failure{class: unready, detail: "the fleet is being read: try again in a moment", wait: 5 * time.Second}
}

// askOf reads a question from the address, within the caller's scope.
func (s *Server) askOf(c *gin.Context) (wear.Ask, *memory.View, error) {
	v, err := s.fleetView()
	if err != nil {
		return wear.Ask{}, nil, err
	}
	who := s.who(c)
	a, err := wear.Read(c.Query, v, who.scopes(readWear))
	if err != nil {
		return a, nil, wrongQuery(err)
	}
	return a, v, s.inReach(c, who, c.Query("store"), c.Query("region"))
}

// inReach refuses stores and regions beyond the caller's scope by name, so that
// an empty answer never stands for a missing right.
func (s *Server) inReach(c *gin.Context, who Identity, stores, regions string) error {
	for code := range strings.SplitSeq(stores, ",") {
		if code == "" || who.fleet(readWear) {
			continue
		}
		if in, err := s.inScope(c.Request.Context(), who, readWear, code); err != nil || !in {
			return refuse(forbidden, "the store is not in your scope")
		}
	}
	for code := range strings.SplitSeq(regions, ",") {
		if code != "" && !who.fleet(readWear) && !covers(who.scopes(readWear), "", code) {
			return refuse(forbidden, "the region is not in your scope")
		}
	}
	return nil
}

// unchanged answers 304 where the caller has the answer already: the same
// question, in the same scope, about the same data. It sets the headers either
// way.
func unchanged(c *gin.Context, v *memory.View, who Identity) bool {
	return tagged(c, []byte(v.Fingerprint()+"\x00"+wear.ScopeWord(who.scopes(readWear))+"\x00"+c.Request.URL.RequestURI()))
}

// answerTagged answers with JSON that hangs on more than the fleet in memory, tagged by
// what it says and to whom.
func answerTagged(c *gin.Context, who Identity, answer any) error {
	text, err := json.Marshal(answer)
	if err != nil {
		return err
	}
	if !tagged(c, append([]byte(wear.ScopeWord(who.scopes(readWear))+"\x00"), text...)) {
		c.Data(http.StatusOK, "application/json; charset=utf-8", text)
	}
	return nil
}

// tagged answers 304 where the caller has what is tagged by some bytes.
func tagged(c *gin.Context, by []byte) bool {
	sum := sha256.Sum256(by)
	tag := `"` + hex.EncodeToString(sum[:12]) + `"`
	c.Header("ETag", tag)
	c.Header("Cache-Control", "private, no-cache")
	c.Header("Vary", "Authorization, Cookie")
	if !slices.Contains(strings.Split(strings.ReplaceAll(c.GetHeader("If-None-Match"), " ", ""), ","), tag) {
		return false
	}
	c.Status(http.StatusNotModified)
	return true
}

// answerWear answers a question with what ask finds, from the caller's cache
// where nothing changed.
func (s *Server) answerWear(c *gin.Context, ask func(*memory.View, wear.Ask) (any, error)) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	if unchanged(c, v, s.who(c)) {
		return nil
	}
	found, err := ask(v, a)
	if err != nil {
		return wrongQuery(err)
	}
	c.JSON(http.StatusOK, found)
	return nil
}

// getWearShares answers with shares.
func (s *Server) getWearShares(c *gin.Context) error {
	if _, err := wordAsked(c, "of", append([]string{""}, wear.Of...)); err != nil {
		return err
	}
	return s.answerWear(c, func(v *memory.View, a wear.Ask) (any, error) { return wear.Shares(v, a, c.Query("of")) })
}

// getWearAssociation answers with the association of the pattern.
func (s *Server) getWearAssociation(c *gin.Context) error {
	with := memory.Gait
	if _, err := wordAsked(c, "cols", []string{"", "gait", "posture", "strike", "surface", "category", "kind"}); err != nil {
		return err
	}
	if d, ok := memory.DimByName(c.Query("cols")); ok {
		with = d
	}
	return s.answerWear(c, func(v *memory.View, a wear.Ask) (any, error) { return wear.Association(v, a, with) })
}

// getWearLife answers with the life of pairs.
func (s *Server) getWearLife(c *gin.Context) error {
	replicates := 0
	if q := c.Query("bootstrap"); q != "" {
		var err error
		if replicates, err = strconv.Atoi(q); err != nil || replicates < 0 || replicates > maxReplicates {
			return refuseParameter("bootstrap", "want a whole number from 0 to %d", maxReplicates)
		}
	}
	return s.answerWear(c, func(v *memory.View, a wear.Ask) (any, error) { return wear.Life(v, a, replicates) })
}

// getWearTrend answers with a share by month.
func (s *Server) getWearTrend(c *gin.Context) error {
	return s.answerWear(c, func(v *memory.View, a wear.Ask) (any, error) { return wear.Trend(v, a) })
}

// getWearStores answers with the funnel of stores.
func (s *Server) getWearStores(c *gin.Context) error {
	return s.answerWear(c, func(v *memory.View, a wear.Ask) (any, error) { return wear.Stores(v, a) })
}

// signalOut is a signal with what people did about it.
type signalOut struct {
	wear.Signal
	New     bool      `json:"new" doc:"It didn't stand out in the readings up to a week ago"`
	State   string    `json:"state" enum:"found,open,taken,closed,gone" doc:"found: nobody has acted on it; gone: acted on, and no longer found under these filters"`
	TakenBy string    `json:"taken_by,omitempty" doc:"Who looks after it"`
	Outcome string    `json:"outcome,omitempty" doc:"What it turned out to be"`
	Notes   []noteOut `json:"notes,omitempty" nullable:"false"`
}

type noteOut struct {
	Account string    `json:"account"`
	Words   string    `json:"words"`
	At      time.Time `json:"at"`
}

// signalList is every signal, the most worth acting on first; those that were
// acted on and are no longer found come last.
type signalList struct {
	Items []signalOut `json:"items" nullable:"false"`
}

// newWithin is for how many days a signal is new.
const newWithin = 7

// signals finds what stands out, and puts beside it what people did. What didn't
// stand out in the readings up to a week ago is new.
func (s *Server) signals(c *gin.Context, v *memory.View, a wear.Ask) ([]signalOut, error) {
	all, _, err := s.signalsSoon(c, v, a, 0)
	return all, err
}

// signalsSoon is signals for a page that can be shown without them, see [kept.soon].
func (s *Server) signalsSoon(c *gin.Context, v *memory.View, a wear.Ask, within time.Duration) (all []signalOut, ready bool, err error) {
	found, ready, err := s.standOut(c.Request.Context(), v, a, within)
	if err != nil || !ready {
		return nil, ready, err
	}
	stored, err := s.db.Signals(c.Request.Context(), wear.ScopeWord(a.Scopes))
	if err != nil {
		return nil, false, err
	}
	all = slices.Clone(found)
	for i := range stored {
		at := slices.IndexFunc(all, func(o signalOut) bool { return o.ID == stored[i].ID })
		if at < 0 {
			var evidence wear.Signal
			if err := json.Unmarshal(stored[i].Evidence, &evidence); err != nil {
				return nil, false, err
			}
			at, all = len(all), append(all, signalOut{Signal: evidence})
		}
		o := &all[at]
		o.State, o.TakenBy, o.Outcome = string(stored[i].State), stored[i].TakenBy, stored[i].Outcome
		for _, n := range stored[i].Notes {
			o.Notes = append(o.Notes, noteOut(n))
		}
	}
	return all, true, nil
}

// standOut finds what stands out among the pairs asked about, and says what of it is
// new; like [kept.soon] it waits for it a while.
func (s *Server) standOut(ctx context.Context, v *memory.View, a wear.Ask, within time.Duration) ([]signalOut, bool, error) {
	since := s.now().UTC().AddDate(0, 0, -newWithin).Format(time.DateOnly)
	return s.found.soon(ctx, fmt.Sprintf("%s %+v", since, a), v.Fingerprint(), within, func() ([]signalOut, error) {
		v := s.quietly(v)
		found, err := wear.Signals(v, a)
		if err != nil {
			return nil, err
		}
		before := found
		if len(found) > 0 && (a.To == "" || a.To > since) {
			old := a
			old.To = since
			var kinds []wear.Kind
			for i := range found {
				kinds = append(kinds, found[i].Kind)
			}
			if before, err = wear.SignalsOf(v, old, kinds...); err != nil {
				return nil, err
			}
		}
		all := make([]signalOut, len(found))
		for i := range found {
			same := func(o wear.Signal) bool {
				return o.Kind == found[i].Kind && o.Subject() == found[i].Subject() && (o.Kind != wear.MonthMoved || o.Month == found[i].Month)
			}
			all[i] = signalOut{Signal: found[i], State: "found", New: !slices.ContainsFunc(before, same)}
		}
		return all, nil
	})
}

// getWearSignals answers with the signals.
func (s *Server) getWearSignals(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	all, err := s.signals(c, v, a)
	if err != nil {
		return wrongQuery(err)
	}
	return answerTagged(c, s.who(c), signalList{all})
}

// getWearFailures answers with the early-failure chart of a model.
func (s *Server) getWearFailures(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	at := slices.IndexFunc(a.Only, func(o memory.Only) bool { return o.Dim == memory.Model })
	if at < 0 || len(a.Only[at].Words) != 1 {
		return refuseParameter("model", "want one shoe model")
	}
	id, err := assess.ParseUUID(a.Only[at].Words[0])
	if err != nil {
		return refuseParameter("model", "want a shoe model of the catalogue")
	}
	m, err := s.db.ShoeModel(c.Request.Context(), id)
	if err != nil {
		return err
	}
	a = withoutPattern(a.Without(memory.Model).Without(memory.Category))
	marks, err := s.marks(c, a)
	if err != nil {
		return err
	}
	found, err := s.failing(c, v, a, &m, c.Query("failing"), marks.restarts, 0)
	if err != nil {
		return wrongQuery(err)
	}
	return answerTagged(c, s.who(c), found)
}

// signalBody is what somebody does with a signal.
type signalBody struct {
	Do      string `json:"do" enum:"take,assign,comment,close"`
	To      string `json:"to,omitempty" maxLength:"60" doc:"Who gets it, for assign"`
	Outcome string `json:"outcome,omitempty" doc:"What it turned out to be, for close: reader, case mix, shoe, chance"`
	Words   string `json:"words,omitempty" maxLength:"2000" doc:"What was found; needed to comment and to close"`
}

// maxEvidencePairs is how many pairs are kept with a signal. House value.
const maxEvidencePairs = 500

// evidence is what is kept of a signal: the finding and its pairs.
type evidence struct {
	wear.Signal
	Pairs []string `json:"pairs"`
}

// actOnSignal does something with the signal that the address names.
func (s *Server) actOnSignal(c *gin.Context, body signalBody) (*signalOut, error) {
	a, v, err := s.askOf(c)
	if err != nil {
		return nil, err
	}
	signal, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return nil, refuse(notFound, "a signal is known by its UUID")
	}
	if !s.who(c).reaches(actOnSignals, a.Scopes) {
		return nil, refuse(forbidden, "you read more stores than you lead: a signal over all of them is for who leads them all")
	}
	all, err := s.signals(c, v, a)
	if err != nil {
		return nil, wrongQuery(err)
	}
	at := slices.IndexFunc(all, func(o signalOut) bool { return o.ID == signal })
	if at < 0 {
		return nil, refuse(notFound, "there is no such signal in your scope under these filters")
	}
	o := &all[at]
	pairs, _, err := v.List(o.Pairs(a).Filter(), memory.Newest, "", maxEvidencePairs)
	if err != nil {
		return nil, err
	}
	kept := evidence{Signal: o.Signal, Pairs: []string{}}
	for i := range pairs {
		kept.Pairs = append(kept.Pairs, pairs[i].Pair)
	}
	text, err := json.Marshal(kept)
	if err != nil {
		return nil, err
	}
	if err := s.db.ActOnSignal(c.Request.Context(), s.who(c).actor(), models.Signal{
		ID: o.ID, Kind: string(o.Kind), Scope: o.Scope, Subject: o.Subject(), Month: o.Month, Evidence: text,
	}, models.SignalAct(body)); err != nil {
		return nil, err
	}
	if all, err = s.signals(c, v, a); err != nil {
		return nil, err
	}
	at = slices.IndexFunc(all, func(o signalOut) bool { return o.ID == signal })
	return &all[at], nil
}

// postSignal acts on a signal.
func (s *Server) postSignal(c *gin.Context) error {
	var body signalBody
	if err := s.decode(c, &body); err != nil {
		return err
	}
	o, err := s.actOnSignal(c, body)
	if err != nil {
		return err
	}
	c.JSON(http.StatusOK, o)
	return nil
}

// creditOut is the credit of one currency, store, category and month.
type creditOut struct {
	Currency   string `json:"currency"`
	Store      string `json:"store"`
	Category   string `json:"category,omitempty"`
	Month      string `json:"month"`
	Pairs      int    `json:"pairs"`
	Overridden int    `json:"overridden" doc:"Where another credit than the table's was given"`
	Given      int64  `json:"given" doc:"Minor units"`
	Advised    int64  `json:"advised" doc:"What the tables said, minor units"`
}

type creditList struct {
	Items []creditOut `json:"items" nullable:"false"`
	// Routes are where the pairs went.
	Routes []routedOut `json:"routes" nullable:"false"`
}

// routedOut is how many pairs of one store, category and month went one way, by the
// grade that they had.
type routedOut struct {
	Store    string    `json:"store"`
	Category string    `json:"category"`
	Month    string    `json:"month"`
	Grade    gradeWord `json:"grade"`
	Route    routeWord `json:"route"`
	Pairs    int       `json:"pairs"`
}

// creditAsked reads which credit is asked about.
func (s *Server) creditAsked(c *gin.Context) (models.CreditFilter, error) {
	who := s.who(c)
	f := models.CreditFilter{
		Scopes: who.scopes(readWear), Region: c.Query("region"), Store: c.Query("store"), Category: c.Query("category"),
	}
	if err := daysAsked(&f, c.Query("from"), c.Query("to")); err != nil {
		return f, err
	}
	return f, s.inReach(c, who, f.Store, f.Region)
}

// daysAsked bounds hand-overs by days or months.
func daysAsked(f *models.CreditFilter, from, to string) (err error) {
	if f.From, err = dayAsked("from", from, false); err == nil {
		f.To, err = dayAsked("to", to, true)
	}
	return err
}

// dayAsked turns a month into its first or last day, and leaves days alone.
func dayAsked(name, text string, end bool) (string, error) {
	if text == "" {
		return "", nil
	}
	if _, err := time.Parse(time.DateOnly, text); err == nil {
		return text, nil
	}
	t, err := time.Parse(monthForm, text)
	if err != nil {
		return "", refuseParameter(name, "want a day as YYYY-MM-DD or a month as YYYY-MM")
	}
	if end {
		t = t.AddDate(0, 1, -1)
	}
	return t.Format(time.DateOnly), nil
}

// monthForm is how a month is written.
const monthForm = "2006-01"

// getWearCredit answers with the credit given.
func (s *Server) getWearCredit(c *gin.Context) error {
	f, err := s.creditAsked(c)
	if err != nil {
		return err
	}
	all, err := s.db.Credits(c.Request.Context(), f)
	if err != nil {
		return wrongQuery(err)
	}
	routed, err := s.db.Routes(c.Request.Context(), f)
	if err != nil {
		return wrongQuery(err)
	}
	out := creditList{Items: []creditOut{}, Routes: []routedOut{}}
	for _, r := range routed {
		out.Routes = append(out.Routes, routedOut{r.Store, r.Category, r.Month, gradeWord(r.Grade.String()), routeWord(r.Route.String()), r.Pairs})
	}
	for _, x := range all {
		out.Items = append(out.Items, creditOut{x.Currency, x.Store, x.Category, x.Month, x.Pairs, x.Overridden, x.Given, x.Advised})
	}
	return answerTagged(c, s.who(c), out)
}
