package dashboard

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// posturePage shows the posture bands that hold beside a draft of the next. As
// with rules the draft is the page's address, and nothing is stored until it is
// published.
type posturePage struct {
	officeFrame
	Number       int
	From, Source string
	Rows         []postureRow
	Changed      int
	MaySet       bool
	Publish      []sheetLine
	FormWrong    string
	Versions     []models.Numbered
	// Draft are the changes, to be sent on.
	Draft []draftChange
	// WhatIf says how many stored fittings would change their band by the draft,
	// and Moves which way; empty without a draft.
	WhatIf string
	Moves  []postureMove
}

// postureMove is how many feet would go from one band to another.
type postureMove struct {
	From, To string
	Feet     int
}

// postureWhatIf counts the stored fittings that a draft would put into another
// band, on either foot. What is stored keeps the bands of its day.
func (w words) postureWhatIf(counts []models.PostureCount, base, draft *assess.PostureBands) (says string, moves []postureMove) {
	whole, changed := 0, 0
	var feet [len(draft.Low)][len(draft.Low)]int
	for _, c := range counts {
		known, moved := false, false
		for _, sum := range c.Sum {
			was, is := base.Band(sum), draft.Band(sum)
			if !was.OK() || !is.OK() {
				continue
			}
			known = true
			if was != is {
				moved = true
				feet[was.Int()][is.Int()] += c.Fittings
			}
		}
		if known {
			whole += c.Fittings
		}
		if moved {
			changed += c.Fittings
		}
	}
	for from, row := range feet {
		for to, n := range row {
			if n > 0 {
				moves = append(moves, postureMove{w.word(assess.GaitWords[from]), w.word(assess.GaitWords[to]), n})
			}
		}
	}
	return w.say("office.posture.what-if", "n", changed, "whole", whole), moves
}

// postureRow is one band: its sums now and in the draft.
type postureRow struct {
	Was, Is postureBand
	// Name is the draft's line for the band's first sum, empty for the first band,
	// which begins with the lowest sum there is.
	Name, Draft, Wrong string
	Changed            bool
}

// postureDraft makes the bands that an address or a form changes others into.
// Wrong are the refused lines by name.
func postureDraft(base *assess.PostureBands, sent url.Values) (draft assess.PostureBands, made []draftChange, wrong map[string]string) {
	draft, wrong = *base, map[string]string{}
	for i := 1; i < len(draft.Low); i++ {
		name := "low-" + strconv.Itoa(i)
		text := strings.TrimSpace(sent.Get(name))
		if text == "" || text == strconv.Itoa(base.Low[i]) {
			continue
		}
		made = append(made, draftChange{name, text})
		low, err := strconv.Atoi(strings.Replace(text, "−", "-", 1))
		if err != nil {
			wrong[name] = assess.FieldError{Value: text, Want: "a whole number", Err: assess.ErrOutOfRange}.Reason()
			continue
		}
		draft.Low[i] = low
	}
	if len(wrong) > 0 {
		return draft, made, wrong
	}
	if errs, ok := wrongFieldsOf(draft.Check()); ok {
		for _, e := range errs {
			wrong[e.Field] = e.Reason()
		}
	}
	return draft, made, wrong
}

// showPosture answers with the bands that hold and the draft of the address.
func (s *Server) showPosture(c *gin.Context) error {
	return s.posturePage(c, http.StatusOK, c.Request.URL.Query(), nil)
}

func (s *Server) posturePage(c *gin.Context, status int, sent url.Values, publishWrong assess.FieldErrors) error {
	ctx, w := c.Request.Context(), s.words(c)
	today := s.now().UTC().Format(time.DateOnly)
	v, err := s.db.VersionOn(ctx, models.PostureBands, today)
	if err != nil {
		return err
	}
	base, err := models.PostureBandsOf(&v)
	if err != nil {
		return err
	}
	draft, made, wrong := postureDraft(base, sent)
	view := posturePage{
		officeFrame: s.officeFrame(c), Number: base.Version, From: w.dayAndYear(v.From), Source: base.Source,
		Changed: len(made), MaySet: s.who(c).allows(publishRules), Draft: made,
	}
	was, is := w.postureBands(base), w.postureBands(&draft)
	for i := range was {
		row := postureRow{Was: was[i], Is: is[i], Changed: was[i] != is[i]}
		if i > 0 {
			row.Name = "low-" + strconv.Itoa(i)
			row.Draft, row.Wrong = sent.Get(row.Name), wrong[row.Name]
		}
		view.Rows = append(view.Rows, row)
	}
	if view.Versions, err = s.db.Versions(ctx, models.PostureBands); err != nil {
		return err
	}
	if len(made) > 0 && len(wrong) == 0 {
		counts, err := s.db.PostureCounts(ctx)
		if err != nil {
			return err
		}
		view.WhatIf, view.Moves = w.postureWhatIf(counts, base, &draft)
	}
	view.Publish = w.sheet("publish", []written{
		{name: "from", kind: "date", needed: true}, {name: "source", needed: true}, {name: "note", needed: true},
	}, map[string]string{"from": sent.Get("from"), "source": sent.Get("source"), "note": sent.Get("note")}, publishWrong)
	if view.FormWrong = strayErrors(publishWrong, view.Publish); len(made) == 0 || len(wrong) > 0 {
		view.Wrong, view.FormWrong, view.Publish = view.FormWrong, "", nil // there is no form to publish nothing
	}
	return s.render(c, status, "office-posture", view)
}

// doPublishPosture stores the draft as the next posture bands, from a day on
// that has not begun: fittings before it keep theirs.
func (s *Server) doPublishPosture(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx := c.Request.Context()
	base, err := s.db.PostureBandsOn(ctx, s.now().UTC().Format(time.DateOnly))
	if err != nil {
		return err
	}
	draft, made, wrong := postureDraft(base, posted)
	bad := s.publishWrong(posted, "set", "why the bands change", base.Version)
	if draft.Source = strings.TrimSpace(posted.Get("source")); draft.Source == "" {
		bad.Add(assess.FieldError{Field: "source", Want: "where the bands come from", Err: assess.ErrMissingField})
	}
	if len(made) == 0 {
		bad.Add(assess.FieldError{Want: "a draft that changes something", Err: assess.ErrMissingField})
	}
	if len(bad) > 0 || len(wrong) > 0 {
		return s.posturePage(c, http.StatusUnprocessableEntity, posted, bad)
	}
	number, err := s.db.AddPostureBands(ctx, s.who(c).actor(), posted.Get("from"), draft, strings.TrimSpace(posted.Get("note")))
	if err != nil {
		return err
	}
	return officeDone(c, "/office/posture", "posture", strconv.Itoa(number))
}
