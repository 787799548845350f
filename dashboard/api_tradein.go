package dashboard

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// tradeInBody is the hand-over of a pair as the tablet sends it.
type tradeInBody struct {
	Inspection  string    `json:"inspection_id" format:"uuid" doc:"The reading it goes by"`
	PairRef     string    `json:"pair_ref,omitempty" maxLength:"12" doc:"Checked against the reading's pair"`
	Store       string    `json:"store" minLength:"1" maxLength:"32"`
	Staff       string    `json:"staff" minLength:"1" maxLength:"32" doc:"Code of who took the pair in"`
	Device      string    `json:"device,omitempty" maxLength:"64"`
	At          time.Time `json:"at" doc:"When, by the client's clock"`
	Grade       gradeWord `json:"grade"`
	Route       routeWord `json:"route"`
	Credit      int64     `json:"credit" minimum:"0" maximum:"100000000" doc:"What was given, in minor units of the store's currency"`
	Advised     int64     `json:"advised" minimum:"0" maximum:"100000000" doc:"What the credit table said on the screen"`
	Currency    string    `json:"currency,omitempty" pattern:"^[A-Z]{3}$" doc:"ISO 4217; the store's where absent"`
	CreditTable int       `json:"credit_table" minimum:"0" maximum:"2147483647" doc:"Number of the table, 0 where there is none"`
	OverrideBy  string    `json:"override_by,omitempty" maxLength:"32" doc:"Who allowed another credit than advised"`
	Reason      string    `json:"reason,omitempty" maxLength:"300" doc:"Why the credit is not as advised"`
	Voucher     string    `json:"voucher,omitempty" maxLength:"80" doc:"Reference of the voucher"`
}

// gradeWord and routeWord are words of closed lists of assess.
type (
	gradeWord string
	routeWord string
)

// Schema lists the grades.
func (gradeWord) Schema(huma.Registry) *huma.Schema {
	return oneOf(gradeLetters(), "Condition of the pair at hand-over")
}

// Schema lists the routes.
func (routeWord) Schema(huma.Registry) *huma.Schema {
	return oneOf(routeWords(), "Where the pair goes")
}

func gradeLetters() []string {
	var all []string
	for g := assess.GradeA; g <= assess.GradeX; g++ {
		all = append(all, g.String())
	}
	return all
}

func routeWords() []string {
	var all []string
	for r := assess.BackToRunner; r <= assess.SealedDisposal; r++ {
		all = append(all, r.String())
	}
	return all
}

// tradeInOut is a trade-in as it is stored.
type tradeInOut struct {
	ID string `json:"trade_in_id" format:"uuid"`
	tradeInBody
	ReceivedAt time.Time  `json:"received_at"`
	Month      string     `json:"month" doc:"In the store's own zone"`
	VoidedAt   *time.Time `json:"voided_at,omitempty"`
	VoidReason string     `json:"void_reason,omitempty"`
}

func tradeInOf(t *models.StoredTradeIn) tradeInOut {
	out := tradeInOut{
		ID: t.ID.String(),
		tradeInBody: tradeInBody{
			Inspection: t.InspectionID.String(), PairRef: t.PairRef, Store: t.Store, Staff: t.Staff, Device: t.Device, At: t.At,
			Grade: gradeWord(t.Grade.String()), Route: routeWord(t.Route.String()), Credit: t.Credit, Advised: t.Advised,
			Currency: t.Currency, CreditTable: t.CreditTable, OverrideBy: t.OverrideBy, Reason: t.Reason, Voucher: t.Voucher,
		},
		ReceivedAt: t.ReceivedAt, Month: t.Month, VoidReason: t.VoidReason,
	}
	if !t.VoidedAt.IsZero() {
		out.VoidedAt = &t.VoidedAt
	}
	return out
}

var docPutTradeIn = operation{
	id: "put-trade-in", summary: "Store a trade-in",
	about: "Ends the pair. The same body again changes nothing and answers 200. The amount that was shown stands; " +
		"another than advised takes somebody with the right to override, and a reason. " +
		"A route that the reading's grade closes is refused.",
	body: tradeInBody{}, answer: tradeInOut{}, made: true, fails: []*class{conflict},
}

// putTradeIn stores a trade-in once.
func (s *Server) putTradeIn(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuseParameter("id", "want a UUID")
	}
	var body tradeInBody
	if err := s.decode(c, &body); err != nil {
		return err
	}
	ctx, who := c.Request.Context(), s.who(c)
	if err := s.mayAt(ctx, who, writeTradeIn, body.Store, "#/store"); err != nil {
		return err
	}
	body.At = body.At.UTC()
	canonical, err := json.Marshal(body)
	if err != nil {
		return err
	}
	reading, err := assess.ParseUUID(body.Inspection)
	if err != nil {
		return &failure{class: badValues, values: []badValue{{Pointer: "#/inspection_id", Detail: "want a UUID"}}}
	}
	in := models.TradeIn{
		ID: id, Store: body.Store, InspectionID: reading, PairRef: body.PairRef, Staff: body.Staff, Device: body.Device,
		At: body.At, Credit: body.Credit, Advised: body.Advised, Currency: body.Currency, CreditTable: body.CreditTable,
		OverrideBy: body.OverrideBy, Reason: body.Reason, Voucher: body.Voucher,
		Grade: assess.GradeA + assess.GradeLetter(slices.Index(gradeLetters(), string(body.Grade))),
		Route: assess.BackToRunner + assess.Route(slices.Index(routeWords(), string(body.Route))),
	}
	if in.Device == "" {
		in.Device = who.Device
	}
	if err := s.checkOverride(ctx, who, &in); err != nil {
		return err
	}
	if err := s.checkRoute(ctx, &in); err != nil {
		return err
	}
	if in.CreditTable > 0 {
		if _, err := s.db.VersionOf(ctx, models.CreditTables, in.CreditTable); errors.Is(err, models.ErrNotFound) {
			return &failure{class: badValues, values: []badValue{{
				Pointer: "#/credit_table", Detail: fmt.Sprintf("%d: want the number of a credit table, 0 where there is none", in.CreditTable),
			}}}
		} else if err != nil {
			return err
		}
	}
	stored, created, err := s.db.SaveTradeIn(ctx, who.actor(), in, sha256.Sum256(canonical))
	if err != nil {
		return unsigned(err, "override_by")
	}
	status := http.StatusOK
	if created {
		status = http.StatusCreated
	}
	c.JSON(status, tradeInOf(&stored))
	return nil
}

// checkOverride refuses another credit than advised, unless somebody with the
// right to it in that store allowed it: the one who sends it, or another who
// signed it off with a secret of their own.
func (s *Server) checkOverride(ctx context.Context, who Identity, in *models.TradeIn) error {
	if in.Credit == in.Advised {
		return nil
	}
	at, err := s.store(ctx, in.Store)
	if err != nil {
		return err
	}
	if in.OverrideBy == "" && who.allowsAt(setCredit, at.Code, at.Region) {
		in.OverrideBy = who.Code
	}
	if in.OverrideBy == who.Code && who.allowsAt(setCredit, at.Code, at.Region) {
		return nil
	}
	a, err := s.account(ctx, in.OverrideBy)
	if err != nil && !errors.Is(err, models.ErrNotFound) {
		return err
	}
	allowed := identityOf(&a)
	if err != nil || !a.Active() || !allowed.allowsAt(setCredit, at.Code, at.Region) {
		return &failure{class: badValues, values: []badValue{{
			Pointer: "#/override_by", Detail: "another credit than advised takes a manager of the store",
		}}}
	}
	if in.Reason == "" {
		return nil // the database refuses it for that
	}
	in.Signed = &models.Signature{Account: a.Code, SignOff: models.SignOff{
		Reading: in.InspectionID, Purpose: models.ForCredit, Credit: in.Credit, Currency: cmp.Or(in.Currency, at.Currency),
	}}
	return nil
}

// checkRoute refuses a route that the reading closes: a worn-out pair never
// goes to resale or donation, whatever its looks. A reading that isn't stored
// yet is the database's to refuse.
func (s *Server) checkRoute(ctx context.Context, in *models.TradeIn) error {
	reading, err := s.db.Inspection(ctx, in.InspectionID)
	if errors.Is(err, models.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	engine, err := s.engineOf(ctx, reading.Rules)
	if err != nil {
		return err
	}
	f := &failure{class: badValues}
	if g := reading.Facts.Grade; in.Grade != g {
		f.values = append(f.values, badValue{Pointer: "#/grade", Detail: "want the reading's grade" + spaceBefore(g.String())})
	}
	open := slices.ContainsFunc(engine.Routes(reading.Facts.Grade), func(o assess.RouteOption) bool {
		return o.Route == in.Route && o.Open
	})
	if !open {
		f.values = append(f.values, badValue{Pointer: "#/route", Detail: "the reading's grade closes this route"})
	}
	if len(f.values) > 0 {
		return f
	}
	return nil
}

// spaceBefore sets a word off from what stands before it, if there is one.
func spaceBefore(word string) string {
	if word == "" {
		return ": it has none yet"
	}
	return ", " + word
}

var docTradeIn = operation{
	id: "get-trade-in", summary: "Read a trade-in", answer: tradeInOut{}, fails: []*class{notFound},
}

// getTradeIn answers with one trade-in.
func (s *Server) getTradeIn(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuse(notFound, "a trade-in is known by its UUID")
	}
	ctx := c.Request.Context()
	t, err := s.db.TradeIn(ctx, id)
	if err != nil {
		return err
	}
	if err := s.mayAt(ctx, s.who(c), readReading, t.Store, "#"); err != nil {
		return err
	}
	c.JSON(http.StatusOK, tradeInOf(&t))
	return nil
}
