package dashboard

import (
	"crypto/sha256"
	"net/http"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models/retail"
)

var docPutFitting = operation{
	id: "put-fitting", summary: "Store a fitting",
	about: "The same body again changes nothing and answers 200. A pair that was chosen begins here.",
	body:  ref("Fitting"), answer: ref("Fitting"), made: true, fails: []*class{conflict},
}

// putFitting stores a fitting once.
func (s *Server) putFitting(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuseParameter("id", "want a UUID")
	}
	body, err := readBody(c)
	if err != nil {
		return err
	}
	f, err := retail.Fittings.JSON.Decode(body)
	if err != nil {
		return err
	}
	if f.ID.IsZero() {
		f.ID = id
	}
	var errs assess.FieldErrors
	missing := func(absent bool, field, want string) {
		if absent {
			errs.Add(assess.FieldError{Field: "/" + field, Err: assess.ErrMissingField, Want: want})
		}
	}
	if f.ID != id {
		errs.Add(assess.FieldError{Field: "/fitting_id", Err: assess.ErrInconsistent, Want: "the id of the address, or none"})
	}
	missing(f.Store == "", "store", "the code of a store")
	missing(f.Staff == "", "staff", "the code of who fitted")
	missing(f.At.IsZero(), "at", "when")
	if err := errs.Err(); err != nil {
		return err
	}
	ctx, who := c.Request.Context(), s.who(c)
	if err := s.mayAt(ctx, who, writeFitting, f.Store, "#/store"); err != nil {
		return err
	}
	stored, created, err := s.db.SaveFitting(ctx, who.actor(), f, sha256.Sum256(retail.Fittings.JSON.Append(nil, &f)))
	if err != nil {
		return err
	}
	status := http.StatusOK
	if created {
		status = http.StatusCreated
	}
	c.Data(status, "application/json", retail.Fittings.JSON.Append(nil, &stored.Fitting))
	return nil
}

var docFitting = operation{
	id: "get-fitting", summary: "Read a fitting", answer: ref("Fitting"), fails: []*class{notFound},
}

// getFitting answers with one fitting.
func (s *Server) getFitting(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuse(notFound, "a fitting is known by its UUID")
	}
	ctx := c.Request.Context()
	f, err := s.db.Fitting(ctx, id)
	if err != nil {
		return err
	}
	if err := s.mayAt(ctx, s.who(c), writeFitting, f.Store, "#"); err != nil {
		return err
	}
	c.Data(http.StatusOK, "application/json", retail.Fittings.JSON.Append(nil, &f.Fitting))
	return nil
}
