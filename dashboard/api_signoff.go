package dashboard

import (
	"context"
	"errors"
	"net/http"
	"slices"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// signOffBody is somebody standing by something on another person's screen,
// with a secret of their own.
type signOffBody struct {
	Purpose  purposeWord `json:"purpose"`
	Staff    string      `json:"staff" minLength:"1" maxLength:"32" doc:"Code of who stands by it"`
	PIN      string      `json:"pin,omitempty" maxLength:"16" doc:"Their PIN, on a store's tablet"`
	Password string      `json:"password,omitempty" maxLength:"256" doc:"Their password, anywhere"`
	Credit   *int64      `json:"credit,omitempty" minimum:"0" maximum:"100000000" doc:"The amount that purpose credit is about, in minor units; needed there"`
	Currency string      `json:"currency,omitempty" pattern:"^[A-Z]{3}$" doc:"ISO 4217 code of credit; needed with it"`
	Advised  verdictWord `json:"advised,omitempty" doc:"The verdict in whose place given is given; needed with it"`
	Given    verdictWord `json:"given,omitempty" doc:"The verdict that purpose reading is about; needed there"`
	Store    string      `json:"store,omitempty" maxLength:"32" doc:"Store of the reading: the right to sign there is looked at already here"`
}

// verdictWord is a verdict's word.
type verdictWord string

// Schema lists the verdicts.
func (verdictWord) Schema(huma.Registry) *huma.Schema { return oneOf(verdictWords(), "A verdict") }

// verdict returns the verdict of a word, assess.NoVerdict of none.
func (v verdictWord) verdict() assess.Verdict {
	return assess.Verdict(slices.Index(verdictWords(), string(v)) + 1)
}

// purposeWord is one of models.Purposes.
type purposeWord string

// Schema lists the purposes.
func (purposeWord) Schema(huma.Registry) *huma.Schema {
	return oneOf(models.Words(models.Purposes), "What is stood by: another credit than the table's, or a verdict that takes a second person")
}

// signedOff is who stands by what.
type signedOff struct {
	Purpose  purposeWord `json:"purpose"`
	Staff    string      `json:"staff"`
	Credit   *int64      `json:"credit,omitempty"`
	Currency string      `json:"currency,omitempty"`
	Advised  verdictWord `json:"advised,omitempty"`
	Given    verdictWord `json:"given,omitempty"`
}

var docSignOff = operation{
	id: "sign-off", summary: "Stand by something about a reading",
	about: "On the screen of somebody else, with one's own PIN or password. The reading needn't be stored yet. " +
		"A trade-in with another credit than advised, sent by somebody without the right to that, takes such a sign-off of that very amount; " +
		"a reading takes one of the very verdict that a second person is needed for. A sign-off serves once.",
	body: signOffBody{}, answer: signedOff{}, fails: []*class{tooMany},
}

// postSignOff checks a secret and notes what its owner stands by.
func (s *Server) postSignOff(c *gin.Context) error {
	reading, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuseParameter("id", "want a UUID")
	}
	var body signOffBody
	if err := s.decode(c, &body); err != nil {
		return err
	}
	word := models.SignOff{Reading: reading, Purpose: models.Purpose(body.Purpose), Currency: body.Currency, Advised: body.Advised.verdict(), Given: body.Given.verdict()}
	switch {
	case body.Credit != nil:
		word.Credit = *body.Credit
	case word.Purpose == models.ForCredit:
		return &failure{class: badValues, values: []badValue{{Pointer: "#/credit", Detail: "the amount that is signed for"}}}
	}
	a, err := s.prove(c, body.Staff, body.PIN, body.Password)
	if errors.Is(err, models.ErrDenied) {
		return &failure{class: badValues, cause: err, values: []badValue{{Pointer: "#/staff", Detail: "code and secret don't match an account"}}}
	}
	if err != nil {
		return err
	}
	if err := s.maySign(c.Request.Context(), s.who(c), a.Code, &body); err != nil {
		return err
	}
	if err := s.db.SignOff(c.Request.Context(), models.Actor{Account: a.Code, Device: s.who(c).Device}, word); err != nil {
		return err
	}
	c.JSON(http.StatusOK, signedOff{
		Purpose: body.Purpose, Staff: a.Code, Credit: body.Credit, Currency: body.Currency, Advised: body.Advised, Given: body.Given,
	})
	return nil
}

// prove returns the account of somebody who proves on another person's screen
// who they are: by their PIN on a store's tablet, by their password anywhere.
// Failures count as they do at sign-in.
func (s *Server) prove(c *gin.Context, code, pin, password string) (models.Account, error) {
	if device := s.who(c).Device; pin != "" && device != "" {
		return s.db.SignInPIN(c.Request.Context(), device, code, pin)
	}
	return s.db.SignIn(c.Request.Context(), code, password, c.ClientIP())
}

// maySign refuses a signature that could serve nothing: under one's own reading,
// or by somebody who may not sign it in the store, where that is said.
func (s *Server) maySign(ctx context.Context, who Identity, code string, body *signOffBody) error {
	if models.Purpose(body.Purpose) != models.ForReading {
		return nil
	}
	if code == who.Code {
		return refuse(forbidden, "who is at the bench can't be the second person")
	}
	if body.Store == "" {
		return nil
	}
	may, err := s.mayCoSign(ctx, code, body.Store)
	if err == nil && !may {
		err = refuse(forbidden, noCoSigner)
	}
	return err
}

// noCoSigner says who can be a second person.
const noCoSigner = "want somebody of the store who is no trainee"

// mayCoSign reports whether somebody can be the second person of a verdict in a
// store: who is unknown, retired, a trainee, or of another store can't.
func (s *Server) mayCoSign(ctx context.Context, code, store string) (bool, error) {
	place, err := s.store(ctx, store)
	var a models.Account
	if err == nil {
		a, err = s.account(ctx, code)
	}
	switch {
	case errors.Is(err, models.ErrNotFound):
		return false, nil
	case err != nil:
		return false, err
	}
	second := identityOf(&a)
	return a.Active() && second.allowsAt(coSign, place.Code, place.Region), nil
}
