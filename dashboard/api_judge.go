package dashboard

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

var docJudge = operation{
	id: "judge", summary: "Judge a reading",
	about: "Stores nothing. The reading is judged under its own rules, or today's where it names none, with the as-new values of the catalogue's model.",
	body:  ref("Reading"), answer: ref("Result"),
}

// postJudge answers with the verdict on a reading.
func (s *Server) postJudge(c *gin.Context) error {
	body, err := readBody(c)
	if err != nil {
		return err
	}
	rec, err := assess.DecodeJSON(body)
	if err != nil {
		return err
	}
	j, err := s.judge(c.Request.Context(), &rec)
	if err != nil {
		return err
	}
	risks, err := s.risks(c.Request.Context(), s.now().UTC().Format(time.DateOnly))
	if err != nil {
		return err
	}
	return answerResult(c, j, &rec, risks)
}

// answerResult answers with a verdict, its margin, when the pair should come
// back after what was given, and the as-new values that it goes by.
func answerResult(c *gin.Context, j *judged, rec *assess.Record, risks *assess.RiskTables) error {
	j.result.Margin = j.engine.Margin(&rec.Reading, j.asNew)
	next, err := json.Marshal(j.nextCheck(rec, risks))
	if err != nil {
		return err
	}
	body := assess.AppendResult(nil, &j.result)
	body = append(body[:len(body)-1], `,"next_check":`...)
	body = append(append(body, next...), '}')
	body = append(body[:len(body)-1], `,"as_new":`...)
	if j.asNew == nil {
		body = append(body, "null}"...)
	} else {
		body = append(assess.AppendAsNew(body, j.asNew), '}')
	}
	c.Data(http.StatusOK, "application/json", body)
	return nil
}

// nextCheck is when a pair that goes back to its runner should come again:
// after InKM or Days, whichever is first, and which table says so. AsOf is the
// day of the measured life, where that is what it goes by.
type nextCheck struct {
	InKM int     `json:"in_km"`
	Days int     `json:"days"`
	AtKM *int    `json:"at_km"`
	By   string  `json:"by"`
	AsOf *string `json:"as_of"`
}

// nextCheck looks up the next check after the verdict that was given, else the
// advised one; nil where there is none.
func (j *judged) nextCheck(rec *assess.Record, risks *assess.RiskTables) *nextCheck {
	verdict := rec.Given
	if verdict == assess.NoVerdict {
		verdict = j.result.Verdict
	}
	category, model := "", ""
	if j.model != nil {
		category, model = j.model.Category, j.model.ID.String()
	}
	next, ok := j.engine.NextCheck(verdict, j.result.How, category, model, rec.KM, risks)
	if !ok {
		return nil
	}
	answer := &nextCheck{InKM: next.InKM, Days: next.Days, By: next.By.String()}
	if next.AtKM.OK() {
		at := next.AtKM.Int()
		answer.AtKM = &at
	}
	if next.By != assess.NextByTable {
		answer.AsOf = &risks.AsOf
	}
	return answer
}

// judged is a reading's result, and what it was judged by.
type judged struct {
	engine      *assess.Engine
	asNew       *assess.AsNew // nil where the model isn't known
	asNewNumber int
	model       *models.ShoeModel // nil where it isn't in the catalogue
	result      assess.Result
}

// judge judges a reading under its own rules. A reading that names none gets
// the number of those that hold today.
func (s *Server) judge(ctx context.Context, rec *assess.Record) (*judged, error) {
	if rec.Rules == 0 {
		n, err := s.rulesOn(ctx, s.now().UTC().Format(time.DateOnly))
		if err != nil {
			return nil, err
		}
		rec.Rules = n
	}
	j := &judged{}
	var err error
	if j.engine, err = s.engineOf(ctx, rec.Rules); errors.Is(err, models.ErrNotFound) {
		return nil, &failure{class: badValues, values: []badValue{{Pointer: "#/rules", Detail: fmt.Sprintf("%d: there is no such rule set", rec.Rules)}}}
	} else if err != nil {
		return nil, err
	}
	m, err := s.shoe(ctx, rec)
	if err != nil {
		return nil, err
	}
	j.model = m
	if m != nil && m.AsNewNumber > 0 {
		j.asNew, j.asNewNumber = &m.AsNew, m.AsNewNumber
	}
	j.engine.Judge(&rec.Reading, j.asNew, &j.result)
	return j, nil
}

var docRules = operation{
	id: "get-rules", summary: "Read a rule set",
	about:  "The number, or current. The codes of its rules are the closed list of codes of findings.",
	answer: ref("RuleSet"), fails: []*class{notFound},
}

// getRules answers with a rule set.
func (s *Server) getRules(c *gin.Context) error {
	ctx := c.Request.Context()
	n, err := strconv.Atoi(c.Param("n"))
	if c.Param("n") == "current" {
		n, err = s.rulesOn(ctx, s.now().UTC().Format(time.DateOnly))
		if err != nil {
			return err
		}
	}
	if err != nil {
		return refuse(notFound, "a rule set is known by its number, or as current")
	}
	engine, err := s.engineOf(ctx, n)
	if err != nil {
		return err
	}
	c.JSON(http.StatusOK, engine.Set())
	return nil
}

// What-if judges at most so many readings, in well under requestTimeout.
const maxWhatIf = 20_000

// whatIfBody is a draft, and the readings to try it on.
type whatIfBody struct {
	Rules  json.RawMessage `json:"rules" doc:"The draft, in the form of GET /rules/current"`
	Store  string          `json:"store,omitempty" maxLength:"32" doc:"Only readings of this store"`
	Region string          `json:"region,omitempty" maxLength:"32" doc:"Only readings of this region"`
	From   string          `json:"from,omitempty" format:"date" doc:"First local day"`
	To     string          `json:"to,omitempty" format:"date" doc:"Last local day"`
}

// whatIf is what a draft would change.
type whatIf struct {
	Judged    int             `json:"judged" doc:"Readings tried"`
	Unchanged int             `json:"unchanged"`
	Harsher   int             `json:"harsher"`
	Milder    int             `json:"milder"`
	Complete  bool            `json:"complete" doc:"False where there were more readings than are tried at once"`
	Moves     []whatIfMove    `json:"moves" nullable:"false" doc:"Readings by old and new verdict, where they differ"`
	Rules     []whatIfByRule  `json:"rules" nullable:"false" doc:"By the rule that makes the difference, the most changes first"`
	Examples  []whatIfExample `json:"examples" nullable:"false" doc:"Some of the readings that change"`
}

type whatIfMove struct {
	From  string `json:"from"`
	To    string `json:"to"`
	Count int    `json:"count"`
}

type whatIfByRule struct {
	Code    string `json:"code"`
	Harsher int    `json:"harsher"`
	Milder  int    `json:"milder"`
}

type whatIfExample struct {
	Inspection string `json:"inspection_id"`
	From       string `json:"from"`
	To         string `json:"to"`
	Code       string `json:"code"`
}

// whatIfExamples is how many readings that change are named.
const whatIfExamples = 20

var docTryRules = operation{
	id: "what-if", summary: "Count what a draft rule set would change",
	about: "Judges live readings under their own rules and under the draft. Nothing is stored.",
	body:  whatIfBody{}, answer: whatIf{},
}

// errEnough ends a stream of readings early.
var errEnough = errors.New("enough readings")

// postWhatIf tries a draft rule set on stored readings.
func (s *Server) postWhatIf(c *gin.Context) error {
	var in whatIfBody
	if err := s.decode(c, &in); err != nil {
		return err
	}
	draft, err := draftEngine(in.Rules)
	if err != nil {
		return err
	}
	out := whatIf{Complete: true, Moves: []whatIfMove{}, Rules: []whatIfByRule{}, Examples: []whatIfExample{}}
	filter := models.InspectionFilter{
		Scopes: s.who(c).scopes(readReading), Store: in.Store, Region: in.Region, From: in.From, To: in.To, Live: true,
	}
	count, complete, err := s.tryRules(c.Request.Context(), draft, filter, func(r *models.Inspection, change assess.Change) {
		if len(out.Examples) < whatIfExamples {
			out.Examples = append(out.Examples, whatIfExample{r.ID.String(), change.From.String(), change.To.String(), change.Code})
		}
	})
	if err != nil {
		return err
	}
	out.Complete = complete
	out.Judged, out.Harsher, out.Milder = count.Judged, count.Harsher, count.Milder
	out.Unchanged = count.Judged - count.Harsher - count.Milder
	for from := range count.Moves {
		for to, n := range count.Moves[from] {
			if n > 0 && from != to {
				out.Moves = append(out.Moves, whatIfMove{assess.Verdict(from).String(), assess.Verdict(to).String(), n})
			}
		}
	}
	for _, r := range count.Rules() {
		out.Rules = append(out.Rules, whatIfByRule(r))
	}
	c.JSON(http.StatusOK, out)
	return nil
}

// tryRules judges stored readings under their own rules and under a draft, at
// most maxWhatIf of them, and tells changed of each whose verdict differs;
// complete is false where there were more.
func (s *Server) tryRules(ctx context.Context, draft *assess.Engine, f models.InspectionFilter, changed func(*models.Inspection, assess.Change)) (count assess.WhatIf, complete bool, err error) {
	var before, after assess.Result
	err = s.db.EachInspection(ctx, f, func(r *models.Inspection) error {
		if count.Judged == maxWhatIf {
			return errEnough
		}
		own, err := s.engineOf(ctx, r.Rules)
		if err != nil {
			return err
		}
		asNew, err := s.builtAs(ctx, r)
		if err != nil {
			return err
		}
		own.Judge(&r.Reading, asNew, &before)
		draft.Judge(&r.Reading, asNew, &after)
		if change := count.Count(&before, &after); change.Way != assess.Unchanged {
			changed(r, change)
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		return count, false, nil
	}
	return count, true, err
}

// draftEngine compiles the draft that stands in the member rules of a body. A
// draft needs no number yet.
func draftEngine(text []byte) (*assess.Engine, error) {
	draft := &assess.RuleSet{}
	if err := json.Unmarshal(text, draft); err != nil {
		return nil, underPointer("/rules", err)
	}
	if draft.Number == 0 {
		draft.Number = 1
	}
	engine, err := assess.Compile(draft)
	return engine, underPointer("/rules", err)
}

// underPointer puts the pointer at before those of the fields that err names.
func underPointer(at string, err error) error {
	errs, ok := errors.AsType[assess.FieldErrors](err)
	if !ok {
		return err
	}
	moved := make(assess.FieldErrors, len(errs))
	for i := range errs {
		moved[i] = errs[i]
		moved[i].Field = at + errs[i].Field
	}
	return moved
}
