package dashboard

import (
	"errors"
	"net/http"

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
}

// purposeWord is one of models.Purposes.
type purposeWord string

// Schema lists the purposes.
func (purposeWord) Schema(huma.Registry) *huma.Schema {
	return oneOf(models.Words(models.Purposes), "What is stood by: another credit than the table's, or a second reader's word")
}

// signedOff is who stands by what.
type signedOff struct {
	Purpose  purposeWord `json:"purpose"`
	Staff    string      `json:"staff"`
	Credit   *int64      `json:"credit,omitempty"`
	Currency string      `json:"currency,omitempty"`
}

var docSignOff = operation{
	id: "sign-off", summary: "Stand by something about a reading",
	about: "On the screen of somebody else, with one's own PIN or password. The reading needn't be stored yet. " +
		"A trade-in with another credit than advised, sent by somebody without the right to that, takes such a sign-off of that very amount.",
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
	word := models.SignOff{Reading: reading, Purpose: models.Purpose(body.Purpose), Currency: body.Currency}
	switch {
	case body.Credit != nil:
		word.Credit = *body.Credit
	case word.Purpose == models.ForCredit:
		return &failure{class: badValues, values: []badValue{{Pointer: "#/credit", Detail: "the amount that is signed for"}}}
	}
	ctx, device := c.Request.Context(), s.who(c).Device
	var a models.Account
	if body.PIN != "" && device != "" {
		a, err = s.db.SignInPIN(ctx, device, body.Staff, body.PIN)
	} else {
		a, err = s.db.SignIn(ctx, body.Staff, body.Password, c.ClientIP())
	}
	if errors.Is(err, models.ErrDenied) {
		return &failure{class: badValues, cause: err, values: []badValue{{Pointer: "#/staff", Detail: "code and secret don't match an account"}}}
	}
	if err != nil {
		return err
	}
	if err := s.db.SignOff(ctx, models.Actor{Account: a.Code, Device: device}, word); err != nil {
		return err
	}
	c.JSON(http.StatusOK, signedOff{Purpose: body.Purpose, Staff: a.Code, Credit: body.Credit, Currency: body.Currency})
	return nil
}
