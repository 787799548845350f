package dashboard

import (
	"cmp"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// salesPage lists what was sold by store, model, batch and month.
type salesPage struct {
	officeFrame
	Lines       []sheetLine
	Rows        []saleRow
	Sum         string
	More        int
	MayBringIn  bool
	MayDownload bool
}

type saleRow struct {
	Month, Store, Model, Batch string
	Pairs                      int
}

// salesShown is how many sales a page shows; a search narrows it.
const salesShown = 200

// showSales answers with the sales of a search.
func (s *Server) showSales(c *gin.Context) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	view := salesPage{officeFrame: s.officeFrame(c), MayBringIn: who.allows(importRecords), MayDownload: who.allows(exportRecords)}
	values := map[string]string{}
	for _, name := range []string{"store", "shoe", "batch", "since", "until"} {
		values[name] = strings.TrimSpace(c.Query(name))
	}
	stores, err := s.storeChoices(c, w.say("office.exports.all"))
	if err != nil {
		return err
	}
	all, err := s.db.ShoeModels(ctx)
	if err != nil {
		return err
	}
	names, shoes := map[assess.UUID]string{}, []choice(nil)
	for i := range all {
		names[all[i].ID] = modelName(&all[i].ShoeModel)
		shoes = append(shoes, choice{Value: names[all[i].ID], Text: names[all[i].ID]})
	}
	slices.SortFunc(shoes, func(a, b choice) int { return cmp.Compare(a.Value, b.Value) })
	f := models.SaleFilter{Scopes: who.scopes(readSales), Store: values["store"], Batch: values["batch"], From: values["since"], To: values["until"]}
	var wrong assess.FieldErrors
	for _, name := range []string{"since", "until"} {
		if _, err := time.Parse(monthForm, values[name]); err != nil && values[name] != "" {
			wrong.Add(assess.FieldError{Field: name, Value: values[name], Want: "a month such as 2026-10", Err: assess.ErrOutOfRange})
		}
	}
	if values["shoe"] != "" {
		for id, name := range names {
			if strings.EqualFold(name, values["shoe"]) {
				f.Model = id
			}
		}
		if f.Model.IsZero() {
			wrong.Add(assess.FieldError{Field: "shoe", Value: values["shoe"], Want: "brand, model and version as the catalogue has them", Err: assess.ErrOutOfRange})
		}
	}
	view.Lines = w.sheet("sales", []written{
		{name: "store", kind: "select", choices: stores},
		{name: "shoe", choices: shoes},
		{name: "batch"},
		{name: "since", kind: "month"},
		{name: "until", kind: "month"},
	}, values, wrong)
	if len(wrong) > 0 {
		return s.render(c, http.StatusUnprocessableEntity, "office-sales", view)
	}
	found, rows, pairs, err := s.db.Sales(ctx, f, salesShown)
	if err != nil {
		return err
	}
	for _, x := range found {
		view.Rows = append(view.Rows, saleRow{x.Month, x.Store, names[x.Model], x.Batch, x.Pairs})
	}
	view.Sum, view.More = w.say("office.sales.sum", "n", pairs), rows-len(found)
	return s.render(c, http.StatusOK, "office-sales", view)
}

// storeChoices offers the stores in scope, after one for all of them.
func (s *Server) storeChoices(c *gin.Context, all string) ([]choice, error) {
	stores, err := s.db.Stores(c.Request.Context())
	choices := []choice{{Text: all}}
	for _, st := range stores {
		if s.who(c).allowsAt(readSales, st.Code, st.Region) {
			choices = append(choices, choice{Value: st.Code, Text: strings.TrimSuffix(st.Code+", "+st.Name, ", ")})
		}
	}
	return choices, err
}

// eventsPage lists what moves visits, and holds the form of one event.
type eventsPage struct {
	officeFrame
	Search    []sheetLine
	Rows      []eventRow
	More      int
	MaySet    bool
	Lines     []sheetLine
	FormWrong string
	// Was is the event that the form corrects, nil for a new one.
	Was        *retail.Event
	MayBringIn bool
}

type eventRow struct {
	retail.Event
	Here, MayChange bool
	To              string // the address of its form
	Days            string
}

// eventsShown is how many events a page shows; a search narrows it.
const eventsShown = 200

type eventForm struct {
	values map[string]string
	wrong  assess.FieldErrors
	why    string
}

// showEvents answers with the events of a search.
func (s *Server) showEvents(c *gin.Context) error {
	return s.eventsPage(c, http.StatusOK, eventForm{})
}

// eventOf reads an event from an address or a form, its fields before a prefix.
func eventOf(get func(string) string, prefix string) retail.Event {
	return retail.Event{Store: get(prefix + "store"), From: get(prefix + "from"), To: get(prefix + "to"), Word: get(prefix + "word")}
}

func (s *Server) eventsPage(c *gin.Context, status int, sent eventForm) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	view := eventsPage{officeFrame: s.officeFrame(c), MaySet: who.allows(setEvents), MayBringIn: who.allows(importRecords)}
	search := map[string]string{}
	for _, name := range []string{"q", "first", "last"} {
		search[name] = strings.TrimSpace(c.Query(name))
	}
	var wrong assess.FieldErrors
	for _, name := range []string{"first", "last"} {
		if search[name] != "" && !isDay(search[name]) {
			wrong.Add(assess.FieldError{Field: name, Value: search[name], Want: "a day such as 2026-10-31", Err: assess.ErrOutOfRange})
			status = http.StatusUnprocessableEntity
		}
	}
	view.Search = w.sheet("search", []written{{name: "q", label: "office.events.find"}, {name: "first", kind: "date"}, {name: "last", kind: "date"}}, search, wrong)
	was := eventOf(c.Query, "was-")
	if sent.values != nil {
		was = eventOf(func(name string) string { return sent.values[name] }, "was-")
	}
	if len(wrong) == 0 {
		all, err := s.db.Events(ctx, search["first"], search["last"])
		if err != nil {
			return err
		}
		slices.SortStableFunc(all, func(a, b retail.Event) int { return cmp.Compare(b.From, a.From) })
		for _, e := range all {
			mine, err := s.eventInReach(c, e)
			if err != nil {
				return err
			}
			switch {
			case e.Store != "" && !mine,
				!strings.Contains(strings.ToLower(e.Store+" "+e.Word), strings.ToLower(search["q"])):
			case len(view.Rows) == eventsShown:
				view.More++
			default:
				row := eventRow{
					Event: e, Here: e == was, MayChange: view.MaySet && mine, Days: e.From,
					To: address(c, "was-store", e.Store, "was-from", e.From, "was-to", e.To, "was-word", e.Word, "done", "", "of", ""),
				}
				if e.To != e.From {
					row.Days += " – " + e.To
				}
				if view.Rows = append(view.Rows, row); row.Here && mine {
					view.Was = &was
				}
			}
		}
	}
	values := sent.values
	if values == nil && view.Was != nil {
		values = writeSheet(retail.Events, view.Was)
	}
	stores, err := s.storeChoices(c, "")
	if err != nil {
		return err
	}
	view.Lines = w.sheet("event", []written{
		{name: "store", kind: "select", choices: stores, needed: true},
		{name: "word", needed: true},
		{name: "from", kind: "date", needed: true, label: "office.field.first"},
		{name: "to", kind: "date", needed: true, label: "office.field.last"},
	}, values, sent.wrong)
	view.FormWrong = either(sent.why, strayErrors(sent.wrong, view.Lines))
	return s.render(c, status, "office-events", view)
}

// eventInReach reports whether an event is somebody's to change: its store is in
// scope, or it is the fleet's and the fleet is.
func (s *Server) eventInReach(c *gin.Context, e retail.Event) (bool, error) {
	who := s.who(c)
	if e.Store == "" {
		return who.fleet(setEvents), nil
	}
	in, err := s.inScope(c.Request.Context(), who, setEvents, e.Store)
	if errors.Is(err, models.ErrNotFound) {
		err = assess.FieldError{Field: "store", Value: e.Store, Want: "a store that is set up", Err: assess.ErrOutOfRange}
	}
	return in, err
}

// doEvent stores, corrects or takes out an event.
func (s *Server) doEvent(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, by := c.Request.Context(), s.who(c).actor()
	was, done := eventOf(posted.Get, "was-"), "event"
	next, err := readSheet(retail.Events, posted)
	touched := []retail.Event{next}
	if was != (retail.Event{}) {
		touched = append(touched, was)
	}
	if posted.Get("act") == "delete" {
		touched, err = []retail.Event{was}, nil
	}
	for i := 0; i < len(touched) && err == nil; i++ {
		var mine bool
		if mine, err = s.eventInReach(c, touched[i]); err == nil && !mine {
			err = refuse(forbidden, "the store is not in your scope")
		}
	}
	switch {
	case err != nil:
	case posted.Get("act") == "delete":
		err, done = s.db.DeleteEvent(ctx, by, was), "event-gone"
		next = was
	case len(touched) > 1:
		err = s.db.ChangeEvent(ctx, by, was, next)
	default:
		err = s.db.SaveEvent(ctx, by, next)
	}
	if wrong, why, ok := s.words(c).refusal(err); ok {
		return s.eventsPage(c, http.StatusUnprocessableEntity, eventForm{typed(posted), wrong, why})
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/events", done, next.Word)
}
