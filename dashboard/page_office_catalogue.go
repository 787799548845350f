package dashboard

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// cataloguePage lists models, and holds what one of them is like as new.
type cataloguePage struct {
	officeFrame
	Query  string
	Models []modelRow
	More   bool
	// Typed are models that were typed in at stores and wait.
	Typed []modelRow
	// Model is the one that is open.
	Model  *modelSheet
	MaySet bool
}

// modelRow is one model of the list.
type modelRow struct {
	ID, Name, Marks, Note string
	Here                  bool
}

// modelSheet is one model: its mask, its values, and what a change would touch.
type modelSheet struct {
	// ID is new for a model that isn't stored yet.
	ID, Name, Marks string
	New, TypedIn    bool
	Version         int
	Zones           []maskZone
	Words, Values   []sheetLine
	Wrong           string
	Batches         []models.Batch
	Link            []choice
	Touches         *maskTouches
}

// maskZone is one zone of the mask: both shoes are built alike.
type maskZone struct {
	Zone, Part, Edge string
	Built            bool
}

// maskTouches counts what changed as-new values would change, were the
// readings of the model judged again.
type maskTouches struct {
	Readings, Zones, Verdicts, Patterns int
	Complete                            bool
}

// modelsShown is how many models a list shows; a search narrows it.
const modelsShown = 60

// showCatalogue answers with the models that match a search.
func (s *Server) showCatalogue(c *gin.Context) error {
	view, err := s.catalogue(c, "")
	if err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "office-catalogue", view)
}

// catalogue returns the page without a model open.
func (s *Server) catalogue(c *gin.Context, here string) (cataloguePage, error) {
	ctx, w := c.Request.Context(), s.words(c)
	view := cataloguePage{officeFrame: s.officeFrame(c), Query: strings.TrimSpace(c.Query("q")), MaySet: s.who(c).allows(setCatalogue)}
	row := func(m *models.ShoeModel) modelRow {
		marks := builtMarks(m.AsNew.Built)
		note := w.say("office.catalogue.version", "version", m.AsNewNumber)
		if m.Retired != "" {
			note = w.say("office.catalogue.retired", "day", m.Retired)
		}
		return modelRow{ID: m.ID.String(), Name: modelName(&m.ShoeModel), Marks: marks, Note: note, Here: m.ID.String() == here}
	}
	var found []models.ShoeModel
	if gtin, err := assess.ParseGTIN(view.Query); err == nil {
		m, err := s.db.ShoeModelByGTIN(ctx, gtin)
		if err != nil && !errors.Is(err, models.ErrNotFound) {
			return view, err
		}
		if err == nil {
			found = []models.ShoeModel{m}
		}
	} else if found, err = s.db.SearchShoeModels(ctx, view.Query, modelsShown+1); err != nil {
		return view, err
	}
	view.More = len(found) > modelsShown
	for i := range found[:min(len(found), modelsShown)] {
		if !found[i].TypedIn {
			view.Models = append(view.Models, row(&found[i]))
		}
	}
	waiting, err := s.db.TypedInModels(ctx)
	if err != nil {
		return view, err
	}
	for i := range waiting {
		view.Typed = append(view.Typed, row(&waiting[i]))
	}
	return view, nil
}

func modelName(m *retail.ShoeModel) string {
	return strings.Join(strings.Fields(m.Brand+" "+m.Model+" "+m.Version), " ")
}

// builtMarks writes a mask as a sole map takes it.
func builtMarks(built assess.ColSet) string {
	var shoe assess.Shoe
	return strings.ReplaceAll(soleMarks(&shoe, built), "-", "0")
}

// modelForm is what was sent to the page of a model, and what came of it.
type modelForm struct {
	values  map[string]string
	built   []string
	wrong   assess.FieldErrors
	why     string
	touches *maskTouches
}

// showModel answers with one model as new.
func (s *Server) showModel(c *gin.Context) error {
	m, err := s.modelAsked(c)
	if err != nil {
		return err
	}
	return s.modelPage(c, http.StatusOK, m, modelForm{})
}

// modelAsked returns the model of the address; new is one that isn't stored.
func (s *Server) modelAsked(c *gin.Context) (models.ShoeModel, error) {
	if c.Param("id") == "new" {
		return models.ShoeModel{ShoeModel: retail.ShoeModel{Features: retail.Features{DropMM: retail.UnknownDrop}}}, nil
	}
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return models.ShoeModel{}, refuse(notFound, "a shoe model is known by its UUID")
	}
	return s.db.ShoeModel(c.Request.Context(), id)
}

func (s *Server) modelPage(c *gin.Context, status int, m models.ShoeModel, sent modelForm) error {
	ctx, w := c.Request.Context(), s.words(c)
	view, err := s.catalogue(c, m.ID.String())
	if err != nil {
		return err
	}
	sheet := &modelSheet{
		ID: m.ID.String(), Name: modelName(&m.ShoeModel), Marks: builtMarks(m.AsNew.Built),
		New: m.ID.IsZero(), TypedIn: m.TypedIn, Version: m.AsNewNumber, Touches: sent.touches,
	}
	if sheet.New {
		sheet.ID = "new"
	}
	values := writeSheet(retail.ShoeModels, &m.ShoeModel)
	built := strings.Fields(values["built"])
	if sent.values != nil {
		values, built = sent.values, sent.built
	}
	for z := assess.Col(0); z < assess.NumZones; z++ {
		part, edge, _ := strings.Cut(z.String(), "_")
		sheet.Zones = append(sheet.Zones, maskZone{
			Zone: z.String(), Part: w.say("part." + part), Edge: w.say("edge." + edge), Built: slices.Contains(built, z.String()),
		})
	}
	yesNo := []choice{{"yes", w.say("office.yes"), false}, {"no", w.say("office.no"), false}}
	bands := w.choicesOf(retail.FlexibilityWords, w.say("office.unknown"))
	sheet.Words = w.sheet("model", []written{
		{name: "brand", needed: true},
		{name: "model", needed: true},
		{name: "version"},
		{name: "category", kind: "select", choices: w.choicesOf(retail.Categories, w.say("office.unknown"))},
		{name: "gtins", kind: "area"},
		{name: "released", kind: "date"},
		{name: "retired", kind: "date", label: "office.catalogue.not-sold"},
	}, values, sent.wrong)
	sheet.Values = w.sheet("model", []written{
		{name: "tilt"},
		{name: "lean"},
		{name: "rigid_counter", kind: "select", choices: yesNo},
		{name: "plate", kind: "select", choices: []choice{yesNo[1], yesNo[0]}},
		{name: "depth_heel"},
		{name: "depth_mid"},
		{name: "depth_fore"},
		{name: "depth_toe"},
		{name: "flex", kind: "select", choices: bands},
		{name: "torsion", kind: "select", choices: bands},
		{name: "shore"},
		{name: "asker"},
		{name: "cushioning", kind: "select", choices: w.choicesOf(retail.CushioningWords, w.say("office.unknown"))},
		{name: "medial_support", kind: "select", choices: w.choicesOf(retail.MedialSupportWords, w.say("office.unknown"))},
		{name: "stack_mm"},
		{name: "drop_mm"},
		{name: "flexibility", kind: "select", choices: bands},
		{name: "widths"},
	}, values, sent.wrong)
	sheet.Wrong = either(sent.why, strayErrors(sent.wrong, append(slices.Clone(sheet.Words), sheet.Values...)))
	if !sheet.New {
		if sheet.Batches, err = s.db.Batches(ctx, m.ID); err != nil {
			return err
		}
	}
	if m.TypedIn {
		if sheet.Link, err = s.likeModels(ctx, &m); err != nil {
			return err
		}
	}
	view.Model = sheet
	return s.render(c, status, "office-catalogue", view)
}

// likeModels offers the catalogued models that a typed-in one may be: those that
// share a word with it first, then the others.
func (s *Server) likeModels(ctx context.Context, typed *models.ShoeModel) ([]choice, error) {
	all, err := s.db.ShoeModels(ctx)
	if err != nil {
		return nil, err
	}
	var like, rest []choice
	typedWords := strings.Fields(strings.ToLower(modelName(&typed.ShoeModel)))
	for i := range all {
		m := &all[i]
		if m.TypedIn || !m.LinkedTo.IsZero() {
			continue
		}
		one := choice{Value: m.ID.String(), Text: modelName(&m.ShoeModel)}
		if slices.ContainsFunc(strings.Fields(strings.ToLower(one.Text)), func(word string) bool { return slices.Contains(typedWords, word) }) {
			like = append(like, one)
		} else {
			rest = append(rest, one)
		}
	}
	return append(like, rest...), nil
}

// doModel stores a model, or says what its new as-new values would touch.
func (s *Server) doModel(c *gin.Context) error {
	ctx, w := c.Request.Context(), s.words(c)
	old, err := s.modelAsked(c)
	if err != nil {
		return err
	}
	posted, err := form(c)
	if err != nil {
		return err
	}
	sent := modelForm{values: typed(posted), built: posted["built"]}
	next, err := s.modelSent(c, old, posted)
	if err == nil && posted.Get("act") == "try" {
		sent.touches, err = s.touches(ctx, s.who(c), &old, next.AsNew)
		if err == nil {
			return s.modelPage(c, http.StatusOK, old, sent)
		}
	}
	var saved models.ShoeModel
	if err == nil {
		saved, err = s.db.SaveShoeModel(ctx, s.who(c).actor(), next)
	}
	var again bool
	if sent.wrong, sent.why, again = w.refusal(err); again {
		return s.modelPage(c, http.StatusUnprocessableEntity, old, sent)
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/catalogue/"+saved.ID.String(), "model", modelName(&saved.ShoeModel))
}

// modelSent reads the form of a model. A model that is new takes the id of its
// words, which must be free; a typed-in one becomes a catalogued one.
func (s *Server) modelSent(c *gin.Context, old models.ShoeModel, posted url.Values) (retail.ShoeModel, error) {
	m, err := readSheet(retail.ShoeModels, posted)
	if err != nil {
		return m, err
	}
	m.ID, m.TypedIn = old.ID, false
	if !m.ID.IsZero() {
		return m, nil
	}
	same, err := s.db.ShoeModelNamed(c.Request.Context(), m.Brand, m.Model, m.Version)
	switch {
	case errors.Is(err, models.ErrNotFound):
		return m, nil
	case err == nil:
		err = taken("model", modelName(&same.ShoeModel))
	}
	return m, err
}

// touches judges the live readings of a model in scope again, each under its
// own rules, with the as-new values it has and with those of a draft.
func (s *Server) touches(ctx context.Context, who Identity, m *models.ShoeModel, next assess.AsNew) (*maskTouches, error) {
	t := &maskTouches{Complete: true}
	if m.ID.IsZero() {
		return t, nil
	}
	next.Trail = m.AsNew.Trail
	var before, after assess.Result
	filter := models.InspectionFilter{Scopes: who.scopes(readReading), Model: m.ID, Live: true}
	err := s.db.EachInspection(ctx, filter, func(r *models.Inspection) error {
		if t.Readings == maxWhatIf {
			t.Complete = false
			return errEnough
		}
		engine, err := s.engineOf(ctx, r.Rules)
		if err != nil {
			return err
		}
		engine.Judge(&r.Reading, m.Known(), &before)
		engine.Judge(&r.Reading, &next, &after)
		t.Readings++
		for f := range r.Shoe {
			for z := assess.Col(0); z < assess.NumZones; z++ {
				if next.Built.Has(z) && !m.AsNew.Built.Has(z) && r.Shoe[f][z].OK() {
					t.Zones++
				}
			}
		}
		if before.Verdict != after.Verdict || before.How != after.How {
			t.Verdicts++
		}
		if before.Pattern.Heel != after.Pattern.Heel || before.Pattern.Fore != after.Pattern.Fore {
			t.Patterns++
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return t, err
}

// doLink says that a typed-in model is a catalogued one.
func (s *Server) doLink(c *gin.Context) error {
	typedIn, err := s.modelAsked(c)
	if err != nil {
		return err
	}
	posted, err := form(c)
	if err != nil {
		return err
	}
	to, err := assess.ParseUUID(posted.Get("to"))
	if err != nil {
		err = assess.FieldError{Field: "to", Value: posted.Get("to"), Want: "a model of the catalogue", Err: assess.ErrOutOfRange}
	} else {
		err = s.db.LinkShoeModel(c.Request.Context(), s.who(c).actor(), typedIn.ID, to)
	}
	if wrong, why, ok := s.words(c).refusal(err); ok {
		return s.modelPage(c, http.StatusUnprocessableEntity, typedIn, modelForm{wrong: wrong, why: why})
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/catalogue/"+to.String(), "link", modelName(&typedIn.ShoeModel))
}
