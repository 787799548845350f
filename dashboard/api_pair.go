package dashboard

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// pairOut is a pair as the API tells it.
type pairOut struct {
	Ref        string     `json:"pair_ref"`
	Model      string     `json:"model_id,omitempty" format:"uuid"`
	SizeLabel  string     `json:"size_label,omitempty"`
	SizeMM     int        `json:"size_mm,omitempty"`
	Batch      string     `json:"batch,omitempty"`
	Runner     string     `json:"runner,omitempty"`
	BoughtOn   string     `json:"bought_on,omitempty" format:"date"`
	Store      string     `json:"store" doc:"Where the pair was sold or first read"`
	LastStore  string     `json:"last_store,omitempty" doc:"Where it was last read"`
	CreatedAt  time.Time  `json:"created_at"`
	EndedAt    *time.Time `json:"ended_at,omitempty" doc:"When it was traded in"`
	MergedInto string     `json:"merged_into,omitempty" doc:"The pair that it turned out to be"`
	Life       lifeOut    `json:"life"`
}

// lifeOut is an interval of life.
type lifeOut struct {
	Lower       int    `json:"lower" doc:"Largest km it was found sound at, 0 if none"`
	Upper       *int   `json:"upper,omitempty" doc:"km it was first found worn at; absent: sound so far"`
	Readings    int    `json:"readings" doc:"Readings that took part"`
	Contradicts string `json:"contradicts,omitempty" doc:"How the readings contradict each other; the pair is then left out of life"`
}

func pairOf(p *models.Pair) pairOut {
	out := pairOut{
		Ref: p.Ref, Model: p.ModelID.String(), SizeLabel: p.SizeLabel, SizeMM: p.SizeMM.Int(), Batch: p.Batch,
		Runner: p.Runner, BoughtOn: p.BoughtOn, Store: p.Store, LastStore: p.LastStore, CreatedAt: p.CreatedAt,
		MergedInto: p.MergedInto,
		Life:       lifeOut{Lower: p.Life.Lower, Readings: p.Life.Readings},
	}
	if !p.EndedAt.IsZero() {
		out.EndedAt = &p.EndedAt
	}
	if p.Life.Upper.OK() {
		km := p.Life.Upper.Int()
		out.Life.Upper = &km
	}
	if p.Life.Contradicts != models.NoContradiction {
		out.Life.Contradicts = p.Life.Contradicts.String()
	}
	return out
}

// historyOut is a pair with its readings.
type historyOut struct {
	pairOut
	Inspections []json.RawMessage `json:"inspections" nullable:"false" doc:"Its readings, newest first, the voided and amended among them; each a Reading"`
}

var docPair = operation{
	id: "get-pair", summary: "Read a pair's history",
	about:  "Whoever holds the slip may read it in any store; a look from outside one's scope is kept in the audit trail.",
	answer: historyOut{}, fails: []*class{notFound},
}

// getPair answers with a pair and its readings.
func (s *Server) getPair(c *gin.Context) error {
	pair, err := s.pairHistory(c)
	if err != nil {
		return err
	}
	s.saw(c, pair.Ref)
	c.JSON(http.StatusOK, historyOf(pair))
	return nil
}

func historyOf(pair *models.PairHistory) historyOut {
	out := historyOut{pairOut: pairOf(&pair.Pair), Inspections: []json.RawMessage{}}
	for _, in := range pair.Inspections {
		out.Inspections = append(out.Inspections, assess.AppendJSON(nil, &in.Record))
	}
	return out
}

// pairHistory returns the pair that the address names, without readings that
// the one who asks may not see. Reading it by its reference is open to any
// store, but not unnoticed.
func (s *Server) pairHistory(c *gin.Context) (*models.PairHistory, error) {
	pair, err := s.wholePair(c)
	if err != nil {
		return nil, err
	}
	pair.Inspections, err = s.visible(c.Request.Context(), s.who(c), pair.Inspections)
	return pair, err
}

// wholePair is pairHistory with the blind readings of others, which are not to
// be handed on as they are.
func (s *Server) wholePair(c *gin.Context) (*models.PairHistory, error) {
	ref, err := assess.ParsePairRef(c.Param("ref"))
	if err != nil {
		return nil, refuse(notFound, "a pair is known by the reference on its slip")
	}
	ctx, who := c.Request.Context(), s.who(c)
	pair, err := s.db.Pair(ctx, ref)
	if err != nil {
		return nil, err
	}
	near, err := s.inScope(ctx, who, readPair, pairStores(pair)...)
	if err != nil {
		return nil, err
	}
	if !near {
		if !who.anywhere(readPair) {
			return nil, refuse(forbidden, "the pair is not in your scope")
		}
		if err := s.db.AuditRead(ctx, who.actor(), "pair:"+pair.Ref); err != nil {
			return nil, err
		}
	}
	return pair, nil
}

// pairStores are the stores that know a pair: where it was sold, and where it
// was read.
func pairStores(p *models.PairHistory) []string {
	stores := []string{p.Store}
	for _, in := range p.Inspections {
		if !slices.Contains(stores, in.Store) {
			stores = append(stores, in.Store)
		}
	}
	return stores
}

var docPairs = operation{
	id: "list-pairs", summary: "List pairs",
	about: "In the caller's scope, by the store of the last reading. With a runner's code, that runner's pairs of any store; such a look is kept in the audit trail.",
	query: params(pageParams, []param{
		{"store", "Code of a store.", textOf(0, "")},
		{"runner", "Of one runner.", textOf(0, "")},
		{"model", "UUID of a shoe model.", uuidOf()},
		{"open", "true leaves out what was traded in or merged.", oneOf([]string{"true", "false"}, "")},
		{"contradicting", "true for pairs whose readings contradict each other.", oneOf([]string{"true", "false"}, "")},
	}),
	answer: pageOf[pairOut]{}, list: true, fails: []*class{badQuery},
}

// listPairs answers with a page of pairs.
func (s *Server) listPairs(c *gin.Context) error {
	p, wrongPage := pageAsked(c)
	model, wrongModel := uuidAsked(c, "model")
	_, wrongOpen := wordAsked(c, "open", []string{"", "true", "false"})
	_, wrongContradicting := wordAsked(c, "contradicting", []string{"", "true", "false"})
	if err := allOf(wrongPage, wrongModel, wrongOpen, wrongContradicting); err != nil {
		return err
	}
	ctx, who := c.Request.Context(), s.who(c)
	f := models.PairFilter{
		Scopes: who.scopes(listPairs), Store: c.Query("store"), Runner: c.Query("runner"),
		Open: c.Query("open") == "true", Contradicting: c.Query("contradicting") == "true",
		Model: model,
	}
	if f.Runner != "" && who.anywhere(readPair) && !who.fleet(listPairs) {
		f.Scopes = models.Fleet
		if err := s.db.AuditRead(ctx, who.actor(), "runner:"+f.Runner); err != nil {
			return err
		}
	}
	found, next, err := s.db.Pairs(ctx, f, p)
	if err != nil {
		return wrongQuery(err)
	}
	items := make([]pairOut, len(found))
	for i := range found {
		items[i] = pairOf(&found[i])
	}
	answerPage(c, items, next)
	return nil
}

// mergeBody names two pairs that are one.
type mergeBody struct {
	From   string `json:"from" minLength:"9" maxLength:"12" doc:"The reference that turned out to be another pair's"`
	Into   string `json:"into" minLength:"9" maxLength:"12" doc:"The reference that stays"`
	Reason string `json:"reason" minLength:"1" maxLength:"300"`
}

var docMerge = operation{
	id: "merge-pairs", summary: "Say that two pairs are one",
	about: "Everything of the one becomes the other's, and its interval of life is computed anew.",
	body:  mergeBody{}, answer: historyOut{}, fails: []*class{notFound, conflict},
}

// postMerge merges a pair into another.
func (s *Server) postMerge(c *gin.Context) error {
	var body mergeBody
	if err := s.decode(c, &body); err != nil {
		return err
	}
	from, err := s.officePair(c, body.From, "#/from")
	if err != nil {
		return err
	}
	into, err := s.officePair(c, body.Into, "#/into")
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	if err := s.db.MergePairs(ctx, s.who(c).actor(), from, into, body.Reason); err != nil {
		return err
	}
	return s.answerPair(c, into)
}

// splitBody names readings that are another pair's.
type splitBody struct {
	Ref      string   `json:"pair_ref" minLength:"9" maxLength:"12"`
	Readings []string `json:"readings" nullable:"false" minItems:"1" maxItems:"200" doc:"UUIDs of the readings that turned out to be of another pair"`
	Reason   string   `json:"reason" minLength:"1" maxLength:"300"`
}

var docSplit = operation{
	id: "split-pair", summary: "Take readings out of a pair",
	about: "They become a pair of their own, which is the answer.",
	body:  splitBody{}, answer: historyOut{}, fails: []*class{notFound, conflict},
}

// postSplit takes readings out of a pair.
func (s *Server) postSplit(c *gin.Context) error {
	var body splitBody
	if err := s.decode(c, &body); err != nil {
		return err
	}
	f := &failure{class: badValues}
	ids := make([]assess.UUID, len(body.Readings))
	for i, text := range body.Readings {
		var err error
		if ids[i], err = assess.ParseUUID(text); err != nil {
			f.values = append(f.values, badValue{Pointer: fragment("/readings/" + strconv.Itoa(i)), Detail: "want a UUID"})
		}
	}
	if len(f.values) > 0 {
		return f
	}
	ref, err := s.officePair(c, body.Ref, "#/pair_ref")
	if err != nil {
		return err
	}
	split, err := s.db.SplitPair(c.Request.Context(), s.who(c).actor(), ref, ids, body.Reason)
	if err != nil {
		return err
	}
	return s.answerPair(c, split)
}

// answerPair answers with a pair that was just changed.
func (s *Server) answerPair(c *gin.Context, ref string) error {
	pair, err := s.db.Pair(c.Request.Context(), ref)
	if err != nil {
		return err
	}
	c.JSON(http.StatusOK, historyOf(pair))
	return nil
}

// officePair returns the reference that a body names at the pointer, where
// every store that knows the pair is in reach of the one who changes it.
func (s *Server) officePair(c *gin.Context, text, pointer string) (string, error) {
	ref, err := assess.ParsePairRef(text)
	if err != nil {
		return "", &failure{class: badValues, values: []badValue{{Pointer: pointer, Detail: "want the reference on a slip"}}}
	}
	ctx := c.Request.Context()
	pair, err := s.db.Pair(ctx, ref)
	if err != nil {
		return "", err
	}
	return ref, s.mayAtAll(ctx, s.who(c), mergePairs, pairStores(pair))
}

// mayAtAll fails unless the identity has the right in every one of the stores.
func (s *Server) mayAtAll(ctx context.Context, who Identity, r right, stores []string) error {
	for _, code := range stores {
		if err := s.mayAt(ctx, who, r, code, "#"); err != nil {
			return err
		}
	}
	return nil
}
