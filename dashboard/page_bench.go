package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// benchPage is the day's list of a store: what was read today. What waits on
// the tablet is the tablet's own to show.
type benchPage struct {
	// Store is the store the bench stands in, where somebody chose it; AskStore
	// says that there is one to choose, for who works for several.
	Store    string
	AskStore bool
	// Day is the store's day in words.
	Day  string
	Rows []benchRow
	// Shut says that verdicts of others are left out.
	Shut bool
	// Failed says that the list can't be read just now; the page works all the
	// same.
	Failed bool
}

// benchRow is one reading of the day.
type benchRow struct {
	ID, Time, Shoe, Runner, Staff, Kind string
	// Verdict is the mark to draw, VerdictWords what stands beside it; both are empty
	// for what somebody else read and the one who asks has not looked at: everybody
	// in the store sees the list, and who knows a verdict can't read the pair blind.
	Verdict, VerdictWords string
	PairRef, PairSpaced   string
	// Mend says that the reading can be corrected and voided from here.
	Mend bool
}

// benchLimit is how many readings a day's list shows: a busy store reads fewer.
const benchLimit = 200

// showBench answers with the day's list. A list that can't be read is said on
// the page, which must open whenever the bench does.
func (s *Server) showBench(c *gin.Context) error {
	who, w := s.who(c), s.words(c)
	ctx := c.Request.Context()
	store, err := s.benchStore(c)
	if err != nil {
		return err
	}
	zone := time.UTC
	if store.Code != "" {
		if zone, err = time.LoadLocation(store.Zone); err != nil {
			return fmt.Errorf("store %s: %w", store.Code, err)
		}
	}
	today := s.now().In(zone)
	day := today.Format(time.DateOnly)
	view := benchPage{AskStore: who.Store == "", Store: c.Query("store"), Day: w.day(today)}
	list, _, err := s.db.Inspections(ctx, models.InspectionFilter{
		Scopes: who.scopes(readReading), Store: store.Code, From: day, To: day, Live: true,
	}, models.Page{Limit: benchLimit})
	if err != nil {
		s.log.WarnContext(ctx, "the day's list can't be read", "error", err)
		view.Failed = true
	}
	if list, err = s.visible(ctx, who, list); err != nil {
		return err
	}
	known := s.knownVerdicts(c, list)
	for _, in := range list {
		row := benchRow{
			ID: in.ID.String(), Time: in.At.In(zone).Format("15:04"), Shoe: shoeName(&in.Record),
			Runner: in.Runner, Staff: in.Staff, Kind: w.word(in.Kind.String()),
			PairRef: in.PairRef, PairSpaced: spaced(in.PairRef), Mend: in.Kind != assess.Blind,
		}
		if known[in.ID] {
			row.Verdict, row.VerdictWords = in.Facts.Verdict.String(), w.verdict(in.Facts.Verdict, in.Facts.How)
		} else {
			view.Shut = true
		}
		view.Rows = append(view.Rows, row)
	}
	return s.render(c, http.StatusOK, "bench", view)
}

// benchStore returns the store that the bench stands in: the one asked for by
// name, where readings may be stored there, else the tablet's or the person's
// own; the zero store for who works for several and asked for none.
func (s *Server) benchStore(c *gin.Context) (retail.Store, error) {
	ctx, who := c.Request.Context(), s.who(c)
	code := who.Store
	if asked := c.Query("store"); asked != "" {
		if err := s.mayAt(ctx, who, writeReading, asked, "#/store"); err != nil {
			return retail.Store{}, err
		}
		code = asked
	}
	if code == "" {
		return retail.Store{}, nil
	}
	return s.store(ctx, code)
}

// shoeName says a reading's shoe: brand, model, version and size.
func shoeName(r *assess.Record) string {
	name := strings.Join(strings.Fields(r.Brand+" "+r.Model+" "+r.Version), " ")
	if name != "" && r.SizeLabel != "" {
		name += ", "
	}
	return name + r.SizeLabel
}

// spaced writes a pair reference as the slip prints it: 7K3M 9QTD 4.
func spaced(ref string) string {
	if len(ref) != 9 {
		return ref
	}
	return ref[:4] + " " + ref[4:8] + " " + ref[8:]
}

// verdict says a verdict as the bench does.
func (w words) verdict(v assess.Verdict, how assess.How) string {
	switch {
	case v == assess.RecheckPair && how == assess.Now:
		return w.say("verdict.now")
	case v == assess.NoVerdict:
		return w.say("verdict.waits")
	}
	return w.say("verdict." + v.String())
}

// day says a day: 25 November.
func (w words) day(t time.Time) string {
	return w.say("day", "d", t.Day(), "month", w.say("month."+t.Format("1")))
}

// ticketPage is the reading of one pair. It is the same page for every ticket,
// so that a tablet can keep it for when the line is down; the ticket itself
// lives on the tablet until it is finished.
type ticketPage struct {
	// Engine says that the tablet can judge by itself.
	Engine bool
	// Gaits are the words of the gait, to choose from.
	Gaits []string
}

// showTicket answers with the reading page.
func (s *Server) showTicket(c *gin.Context) error {
	if _, err := assess.ParseUUID(c.Param("uuid")); err != nil {
		return refuse(notFound, "a ticket's address ends in its UUID")
	}
	return s.render(c, http.StatusOK, "ticket", ticketPage{Engine: s.hasEngine(), Gaits: assess.GaitWords})
}

// benchContext is what a tablet must know to work through a ticket without the
// line: who is at the bench, the store, the rules for hand-over, the credit
// table and the risk by distance. Absent parts are unknown, and the bench says
// so.
type benchContext struct {
	Who    benchWho            `json:"who"`
	Store  *benchStore         `json:"store,omitempty"`
	Rules  *assess.RuleSet     `json:"rules"`
	Credit *assess.CreditTable `json:"credit,omitempty"`
	Risks  *assess.RiskTables  `json:"risks,omitempty"`
	// Bands are all posture bands, oldest first: a fitting goes by those of its day.
	Bands []benchBands `json:"bands"`
}

// benchBands are posture bands by the first sum of each.
type benchBands struct {
	Number int    `json:"number"`
	From   string `json:"from"`
	Low    [5]int `json:"low"`
}

// postureBands returns all posture bands, oldest first.
func (s *Server) postureBands(ctx context.Context) ([]benchBands, error) {
	versions, err := s.db.Versions(ctx, models.PostureBands)
	if err != nil {
		return nil, err
	}
	all := make([]benchBands, len(versions))
	for i := range versions {
		b, err := models.PostureBandsOf(&versions[i])
		if err != nil {
			return nil, err
		}
		all[i] = benchBands{b.Version, versions[i].From, b.Low}
	}
	return all, nil
}

type benchWho struct {
	Code string `json:"code"`
	// Trainee says that a verdict of theirs may take a second person.
	Trainee bool `json:"trainee"`
	// MayOverride says that the person may give another credit than the table's.
	MayOverride bool `json:"may_override"`
}

type benchStore struct {
	Code     string `json:"code"`
	Name     string `json:"name"`
	Currency string `json:"currency"`
	Unit     string `json:"unit"`
}

// showBenchContext answers with the bench's context.
func (s *Server) showBenchContext(c *gin.Context) error {
	ctx, who := c.Request.Context(), s.who(c)
	answer := benchContext{Who: benchWho{Code: who.Code, Trainee: who.holds(retail.Trainee), MayOverride: who.allows(setCredit)}}
	day := s.now().UTC().Format(time.DateOnly)
	store, err := s.benchStore(c)
	if err != nil {
		return err
	}
	if store.Code != "" {
		answer.Store = &benchStore{Code: store.Code, Name: store.Name, Currency: store.Currency, Unit: store.Unit}
		if day, err = storeDay(store, s.now()); err != nil {
			return err
		}
		if answer.Credit, err = s.creditTable(ctx, store.Currency, day); err != nil {
			return err
		}
	}
	if answer.Rules, err = s.db.RuleSetOn(ctx, day); err != nil {
		return err
	}
	if answer.Risks, err = s.risks(ctx, day); err != nil {
		return err
	}
	if answer.Bands, err = s.postureBands(ctx); err != nil {
		return err
	}
	c.Header("Cache-Control", "private, no-cache")
	c.JSON(http.StatusOK, answer)
	return nil
}

// storeDay returns the local day of a store, YYYY-MM-DD.
func storeDay(store retail.Store, now time.Time) (string, error) {
	zone, err := time.LoadLocation(store.Zone)
	if err != nil {
		return "", fmt.Errorf("store %s: %w", store.Code, err)
	}
	return now.In(zone).Format(time.DateOnly), nil
}

// creditTable returns the credit table of a currency on a day: of those that
// have begun the newest, or nil where there is none.
func (s *Server) creditTable(ctx context.Context, currency, day string) (*assess.CreditTable, error) {
	versions, err := s.db.Versions(ctx, models.CreditTables)
	if err != nil {
		return nil, err
	}
	for _, v := range slices.Backward(versions) {
		if v.From > day {
			continue
		}
		table, err := assess.ParseCreditTable([]byte(v.Body))
		if err != nil {
			return nil, fmt.Errorf("credit table %d: %w", v.Number, err)
		}
		if table.Currency == currency {
			return table, nil
		}
	}
	return nil, nil
}
