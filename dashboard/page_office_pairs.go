package dashboard

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// officePairsPage looks a pair up, and says that two pairs are one or that one
// is two.
type officePairsPage struct {
	officeFrame
	Look []sheetLine
	// Ref is the pair that was looked up.
	Ref, Spaced string
	Readings    []officeReading
	// Like are open pairs that it may be, Merge the form that says so.
	Like                   []officeLike
	Merge, Split           []sheetLine
	MergeWrong, SplitWrong string
}

// officeReading is one reading of the pair, to leave or to take out.
type officeReading struct {
	ID, Head, By, State string
	Picked              bool
}

// officeLike is an open pair of the same runner, model and size.
type officeLike struct {
	Ref, Spaced, Store, Since, Life string
}

// pairsForm is what was sent to the page of a pair, and what came of it.
type pairsForm struct {
	values map[string]string
	picked []string
	split  bool // the form that splits, else the one that merges
	wrong  assess.FieldErrors
	why    string
}

// showOfficePairs answers with the pair of the address, if there is one.
func (s *Server) showOfficePairs(c *gin.Context) error {
	return s.officePairsPage(c, http.StatusOK, c.Query("ref"), pairsForm{values: map[string]string{"from": c.Query("from")}})
}

func (s *Server) officePairsPage(c *gin.Context, status int, asked string, sent pairsForm) error {
	ctx, w := c.Request.Context(), s.words(c)
	view := officePairsPage{officeFrame: s.officeFrame(c)}
	asked = strings.TrimSpace(asked)
	var lookWrong assess.FieldErrors
	if asked != "" {
		pair, err := s.pairToChange(c, "ref", asked)
		var ok bool
		if lookWrong, ok = wrongFieldsOf(err); !ok && err != nil {
			return err
		}
		if err == nil {
			s.saw(c, pair.Ref)
			view.Ref, view.Spaced = pair.Ref, spaced(pair.Ref)
			for _, in := range pair.Inspections {
				view.Readings = append(view.Readings, w.officeReading(in, sent.picked))
			}
			if pair.Runner != "" && !pair.ModelID.IsZero() {
				like, err := s.db.OpenPairs(ctx, pair.Runner, pair.ModelID, pair.SizeLabel)
				if err != nil {
					return err
				}
				for i := range like {
					p := &like[i]
					if p.Ref != pair.Ref {
						view.Like = append(view.Like, officeLike{p.Ref, spaced(p.Ref), p.Store, w.dayAndYear(p.CreatedAt.Format(time.DateOnly)), w.life(p.Life)})
					}
				}
			}
		} else if status == http.StatusOK {
			status = http.StatusUnprocessableEntity
		}
	}
	view.Look = w.sheet("look", []written{{name: "ref", needed: true}}, map[string]string{"ref": asked}, lookWrong)
	merge, split := sent, pairsForm{}
	if sent.split {
		merge, split = split, merge
	}
	view.Merge = w.sheet("merge", []written{{name: "from", label: "office.pairs.from", needed: true}, {name: "reason", needed: true}}, merge.values, merge.wrong)
	view.MergeWrong = either(merge.why, strayErrors(merge.wrong, view.Merge))
	view.Split = w.sheet("split", []written{{name: "reason", needed: true}}, split.values, split.wrong)
	view.SplitWrong = either(split.why, strayErrors(split.wrong, view.Split))
	return s.render(c, status, "office-pairs", view)
}

// officeReading says which reading it is and how it stands.
func (w words) officeReading(in *models.Inspection, picked []string) officeReading {
	r := officeReading{ID: in.ID.String(), Head: w.dayAndYear(in.Day), By: in.Store + ", " + in.Staff, Picked: slices.Contains(picked, in.ID.String())}
	if in.KM.OK() {
		r.Head += ", " + w.say("measured", "v", in.KM.Int(), "unit", "km")
	}
	r.State = w.verdict(in.Facts.Verdict, in.Facts.How)
	switch {
	case !in.VoidedAt.IsZero():
		r.State = w.say("office.pairs.void", "why", in.VoidReason)
	case !in.SupersededBy.IsZero():
		r.State = w.say("pair.amended")
	}
	return r
}

// pairToChange returns the pair that a field names, where every store that
// knows it is in reach of who changes it. What names no pair is a FieldError.
func (s *Server) pairToChange(c *gin.Context, field, text string) (*models.PairHistory, error) {
	ctx := c.Request.Context()
	unknown := assess.FieldError{Field: field, Value: text, Want: "the reference on a pair's slip", Err: assess.ErrOutOfRange}
	ref, err := assess.ParsePairRef(text)
	if err != nil {
		return nil, unknown
	}
	pair, err := s.db.Pair(ctx, ref)
	if errors.Is(err, models.ErrNotFound) {
		return nil, unknown
	}
	if err != nil {
		return nil, err
	}
	return pair, s.mayAtAll(ctx, s.who(c), mergePairs, pairStores(pair))
}

// doMerge says that a pair turned out to be another.
func (s *Server) doMerge(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	sent := pairsForm{values: typed(posted)}
	into, err := s.pairToChange(c, "into", posted.Get("into"))
	if err == nil {
		var from *models.PairHistory
		if from, err = s.pairToChange(c, "from", posted.Get("from")); err == nil {
			err = s.db.MergePairs(c.Request.Context(), s.who(c).actor(), from.Ref, into.Ref, strings.TrimSpace(posted.Get("reason")))
		}
	}
	var again bool
	if sent.wrong, sent.why, again = s.words(c).refusal(err); again {
		return s.officePairsPage(c, http.StatusUnprocessableEntity, posted.Get("into"), sent)
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/pairs?"+encodeQuery("ref", into.Ref), "merged", spaced(into.Ref))
}

// doSplit takes the chosen readings out of a pair.
func (s *Server) doSplit(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	sent := pairsForm{values: typed(posted), picked: posted["inspections"], split: true}
	ids := make([]assess.UUID, len(sent.picked))
	for i, text := range sent.picked {
		if ids[i], err = assess.ParseUUID(text); err != nil {
			return refuse(notFound, "a reading is known by its UUID")
		}
	}
	var next string
	pair, err := s.pairToChange(c, "ref", posted.Get("ref"))
	if err == nil {
		next, err = s.db.SplitPair(c.Request.Context(), s.who(c).actor(), pair.Ref, ids, strings.TrimSpace(posted.Get("reason")))
	}
	var again bool
	if sent.wrong, sent.why, again = s.words(c).refusal(err); again {
		return s.officePairsPage(c, http.StatusUnprocessableEntity, posted.Get("ref"), sent)
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/pairs?"+encodeQuery("ref", next), "split", spaced(next))
}
