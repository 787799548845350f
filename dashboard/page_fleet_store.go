package dashboard

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	memory "solewright/reports/fleet"
	"solewright/reports/stats"
	"solewright/reports/wear"
)

// fleetStorePage is what the fleet says of one store, for its training. Nobody is
// ranked, and no person is named.
type fleetStorePage struct {
	wearFilters
	Name, About string
	Count       way // the pairs of all that is shown
	Funnel      figureView
	Moves       figureView
	Signals     []signalView
	Later       string // where the page has its signals, while they are looked for
	// Readers answers whether the store reads as others do, Shifts by zone.
	Readers      string
	Shifts       []storeShift
	ReadersLater string // where the page has them
	Verdicts     []modelEnd
	Unread       []storeUnread
	Trust        []storeTrust
	Empty        bool
	// Records is what the records say of the store; RecordsLater is where the page has it.
	Records      *storeRecords
	RecordsLater string
	// LaterOnly leaves all out but Funnel, Signals, how the store reads and Records.
	LaterOnly bool
}

// storeUnread is how often a check was left unread, here and in all stores that
// the reader may see.
type storeUnread struct{ Check, Here, All string }

// storeShift is how a zone is read here, and in like readings elsewhere.
type storeShift struct {
	Zone, Here, Elsewhere, Q string
	Differs                  bool
}

// storeTrust is one number on whether the data can be trusted.
type storeTrust struct{ What, Here, All string }

// showFleetStore answers with what the fleet says of a store.
func (s *Server) showFleetStore(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	ctx, who, w := c.Request.Context(), s.who(c), s.words(c)
	store, err := s.store(ctx, c.Param("code"))
	if errors.Is(err, models.ErrNotFound) {
		return refuse(notFound, "there is no such store")
	}
	if err != nil {
		return err
	}
	if !who.allowsAt(readWear, store.Code, store.Region) {
		return refuse(forbidden, "the store is not in your scope")
	}
	// The address says which store it is, and the store its region.
	a = withoutPattern(a.Without(memory.Store).Without(memory.Region))
	looked := a // a signal is of all months where none is named
	within, parts := s.patience(c)
	signals, ready, err := s.signalsSoon(c, v, looked, within)
	if err != nil {
		return err
	}
	view := fleetStorePage{Name: store.Name, About: w.say("fleet.store.about", "code", store.Code, "region", store.Region)}
	if !ready {
		view.Later = address(c, waitKey, "yes")
	}
	if view.wearFilters, a, err = s.wearFilters(c, v, a); err != nil {
		return err
	}
	view.Selects = slices.DeleteFunc(view.Selects, func(f filterSelect) bool {
		return f.Name == memory.Store.String() || f.Name == memory.Region.String()
	})
	of := a.With(memory.Store, store.Code)
	mine := slices.DeleteFunc(signals, func(o signalOut) bool { return o.Store != store.Code })
	view.Signals, _ = s.signalViews(c, looked, mine)
	stand, ready, err := s.stand(ctx, v, a, within)
	if err != nil {
		return err
	}
	if view.Funnel = s.laterFigure(c, "stores", w.say("fleet.stores.title")); !ready {
		view.ReadersLater = view.Funnel.Later
	} else {
		funnel, caption := storeFunnel(w, stand, nil)
		for i := range funnel.Units {
			if u := &funnel.Units[i]; u.Name == store.Code {
				u.Named = true
				funnel.Finding = w.say("fleet.store.place", "store", store.Code, "share", w.percentOf(u.Raw), "n", u.Size, "expected", w.percentOf(u.Expected), "all", w.percentOf(funnel.All))
			}
		}
		view.Funnel = s.figure(c, view.Funnel.ID, view.Funnel.Title, caption, funnel)
		if view.Readers, view.Shifts, ready, err = s.storeReaders(ctx, w, v, a, stand, store.Code, within); err != nil {
			return err
		}
		if !ready {
			view.ReadersLater = address(c, waitKey, "yes")
		}
	}
	if within > 0 { // the database takes as long as it takes
		view.RecordsLater = address(c, waitKey, "yes")
	} else if view.Records, err = s.storeRecords(c, a, store.Code); err != nil {
		return err
	}
	if view.LaterOnly = parts; parts {
		return s.render(c, http.StatusOK, "fleet-store", view)
	}
	read := of
	read.Readings = true
	months, err := s.monthChart(c, v, read, nil, w.say("fleet.worn.title"))
	if err != nil {
		return err
	}
	view.Moves = s.figure(c, "worn-by-month", w.say("fleet.worn.title"), w.say("fleet.months.caption")+" "+w.say("fleet.mark.legend"), months)
	if done, err := s.serveFigure(c, view.Funnel, view.Moves); done || err != nil {
		return err
	}
	if view.Unread, err = w.storeUnread(v, of, a); err != nil {
		return err
	}
	if view.Trust, err = w.storeTrust(v, of, a); err != nil {
		return err
	}
	n := 0
	if view.Verdicts, n, err = w.storeVerdicts(v, of); err != nil {
		return err
	}
	view.Count, view.Empty = way{Href: questionAddress(of), Text: w.say("fleet.pairs", "n", n)}, n == 0
	return s.render(c, http.StatusOK, "fleet-store", view)
}

// storeReaders says whether a store stands apart and whether that looks like its
// readers, with the zones that say so; see [kept.soon].
func (s *Server) storeReaders(ctx context.Context, w words, v *memory.View, a wear.Ask, stand *wear.Stand, store string, within time.Duration) (answer string, rows []storeShift, ready bool, err error) {
	r, ready, err := s.readings.soon(ctx, fmt.Sprintf("%s %+v", store, a), v.Fingerprint(), within, func() (*wear.Reading, error) { return wear.HowRead(s.quietly(v), a, stand, store) })
	if err != nil || !ready || r.Size == 0 {
		return "", nil, ready, err
	}
	way := "harder"
	if r.Z < 0 {
		way = "milder"
	}
	answer = w.say("fleet.store.readers."+string(r.Cause),
		"store", store, "same", r.Same, "zones", len(r.Shifts), "way", w.say("fleet.store."+way), "model", v.Label(memory.Model, r.Model), "part", w.percentOf(r.Part),
		"share", w.percentOf(float64(r.Hits)/float64(r.Size)), "expected", w.percentOf(r.Expected))
	grade := func(g float64) string { return strconv.FormatFloat(g, 'f', 2, 64) }
	for _, s := range r.Shifts {
		part, edge, _ := strings.Cut(s.Zone.String(), "_")
		rows = append(rows, storeShift{
			Zone: w.say("zone.of", "part", w.say("part."+part), "edge", w.say("edge."+edge)), Here: grade(s.Here), Elsewhere: grade(s.Elsewhere),
			Q: "q " + qWords(s.Q), Differs: s.Q < compareDiffers,
		})
	}
	return answer, rows, true, nil
}

// storeVerdicts counts a store's pairs by their last verdict.
func (w words) storeVerdicts(v *memory.View, of wear.Ask) (rows []modelEnd, all int, err error) {
	cells, err := v.Count(of.Filter(), memory.Verdict)
	if err != nil {
		return nil, 0, err
	}
	for _, cell := range cells {
		all += cell.N
	}
	for _, cell := range cells {
		row := modelEnd{Count: strconv.Itoa(cell.N), Share: w.percentOf(float64(cell.N) / float64(all))}
		row.Text = w.say("verdict.waits")
		if word := cell.By[0]; word != "" {
			row.Text, row.Href = w.say("verdict."+word), questionAddress(of, "verdict", word)
		}
		rows = append(rows, row)
	}
	return rows, all, nil
}

// storeUnread says of every check that a verdict needs how often it was left
// unread, the most forgotten first.
func (w words) storeUnread(v *memory.View, here, all wear.Ask) ([]storeUnread, error) {
	type share struct {
		n, of int
	}
	count := func(a wear.Ask) (map[assess.Col]share, error) {
		a.Readings = true
		groups, err := v.Unread(a.Filter())
		by := map[assess.Col]share{}
		for _, g := range groups {
			for _, check := range g.Checks {
				s := by[check.Check]
				by[check.Check] = share{s.n + check.N, s.of + g.N}
			}
		}
		return by, err
	}
	mine, err := count(here)
	if err != nil {
		return nil, err
	}
	others, err := count(all)
	if err != nil {
		return nil, err
	}
	part := func(s share) float64 { return float64(s.n) / float64(max(s.of, 1)) }
	var checks []assess.Col
	for check := range mine {
		if check >= assess.NumZones && assess.Columns[check].Needed {
			checks = append(checks, check)
		}
	}
	slices.SortFunc(checks, func(a, b assess.Col) int {
		if d := part(mine[b]) - part(mine[a]); d != 0 {
			return int(max(-1, min(1, d*1e9)))
		}
		return int(a) - int(b)
	})
	var rows []storeUnread
	for _, check := range checks {
		rows = append(rows, storeUnread{
			w.say("check." + assess.Columns[check].Name), w.percentOf(part(mine[check])), w.percentOf(part(others[check])),
		})
	}
	return rows, nil
}

// storeTrust says how often distances end in round numbers, and how often a pair's
// two shoes were given the same row of grades.
func (w words) storeTrust(v *memory.View, here, all wear.Ask) ([]storeTrust, error) {
	type trust struct{ hundred, fifty, same string }
	measure := func(a wear.Ask) (t trust, err error) {
		counted, err := stats.NewHeapingCount(stats.HeapingOptions{})
		if err != nil {
			return t, err
		}
		looked := a
		looked.Readings = true
		groups, err := v.Looks(looked.Filter())
		if err != nil {
			return t, err
		}
		for _, g := range groups {
			for _, look := range g.Looks {
				counted.Add(look.KM, look.N)
			}
		}
		alike, err := v.Alike(a.Filter())
		if err != nil {
			return t, err
		}
		t = trust{hundred: w.say("fleet.store.unknown"), fifty: w.say("fleet.store.unknown"), same: w.say("fleet.store.unknown")}
		if len(alike) > 0 {
			t.same = w.percentOf(float64(alike[0].Alike) / float64(alike[0].N))
		}
		if h, err := counted.Measure(); err == nil {
			t.hundred, t.fifty = w.percentOf(h.Share100), w.percentOf(h.Share50)
		}
		return t, nil
	}
	mine, err := measure(here)
	if err != nil {
		return nil, err
	}
	others, err := measure(all)
	if err != nil {
		return nil, err
	}
	return []storeTrust{
		{w.say("fleet.store.hundreds"), mine.hundred, others.hundred},
		{w.say("fleet.store.fifties"), mine.fifty, others.fifty},
		{w.say("fleet.store.alike"), mine.same, others.same},
	}, nil
}
