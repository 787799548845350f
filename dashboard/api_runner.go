package dashboard

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/retail"
)

// runnerOut is what is kept of a runner, with the pairs that came with the code.
type runnerOut struct {
	Runner json.RawMessage `json:"runner" doc:"A Runner: code and consents, nothing else about the person"`
	Pairs  []pairOut       `json:"pairs" nullable:"false" doc:"The runner's pairs, of any store"`
}

var docRunner = operation{
	id: "get-runner", summary: "Read a runner's record",
	about:  "By the runner's own code, in any store. Every look is kept in the audit trail.",
	answer: runnerOut{}, fails: []*class{notFound},
}

// getRunner answers with a runner's consents and pairs.
func (s *Server) getRunner(c *gin.Context) error {
	ctx, code := c.Request.Context(), c.Param("code")
	r, err := s.db.Runner(ctx, code)
	if err != nil {
		return err
	}
	pairs, _, err := s.db.Pairs(ctx, models.PairFilter{Scopes: models.Fleet, Runner: code}, models.Page{Limit: models.MaxLimit})
	if err != nil {
		return err
	}
	if err := s.db.AuditRead(ctx, s.who(c).actor(), "runner:"+code); err != nil {
		return err
	}
	out := runnerOut{Runner: retail.Runners.JSON.Append(nil, &r), Pairs: []pairOut{}}
	for i := range pairs {
		out.Pairs = append(out.Pairs, pairOf(&pairs[i]))
	}
	c.JSON(http.StatusOK, out)
	return nil
}

var docPutRunner = operation{
	id: "put-runner", summary: "Store a runner's consents",
	about: "Creates the runner, or replaces what is kept: a consent that is left out is withdrawn.",
	body:  ref("Runner"), answer: ref("Runner"),
}

// putRunner stores a runner's consents.
func (s *Server) putRunner(c *gin.Context) error {
	body, err := readBody(c)
	if err != nil {
		return err
	}
	r, err := retail.Runners.JSON.Decode(body)
	if err != nil {
		return err
	}
	code := c.Param("code")
	if r.Code != "" && r.Code != code {
		return &failure{class: badValues, values: []badValue{{Pointer: "#/runner", Detail: "want the code of the address, or none"}}}
	}
	r.Code = code
	if err := s.db.SaveRunner(c.Request.Context(), s.who(c).actor(), r); err != nil {
		return err
	}
	c.Data(http.StatusOK, "application/json", retail.Runners.JSON.Append(nil, &r))
	return nil
}

// erasedOut says what an erasure did; it names nobody.
type erasedOut struct {
	Inspections int `json:"inspections" doc:"Readings that were cleared"`
	Fittings    int `json:"fittings"`
	Pairs       int `json:"pairs"`
	Photos      int `json:"photos" doc:"Photos deleted"`
}

var docEraseRunner = operation{
	id: "erase-runner", summary: "Erase a runner",
	about:  "The code is replaced by a random key everywhere, the audit trail included; notes, and photos without consent to teach, go. What was read off the shoes stays, as of somebody unknown.",
	answer: erasedOut{}, fails: []*class{notFound},
}

// deleteRunner erases a runner.
func (s *Server) deleteRunner(c *gin.Context) error {
	e, err := s.erase(c.Request.Context(), s.who(c), c.Param("code"))
	if err != nil {
		return err
	}
	c.JSON(http.StatusOK, erasedOut{e.Inspections, e.Fittings, len(e.Pairs), len(e.Photos)})
	return nil
}

// erase erases a runner and tells of it, so that the files of photos go too.
func (s *Server) erase(ctx context.Context, who Identity, code string) (models.Erasure, error) {
	e, err := s.db.EraseRunner(ctx, who.actor(), code)
	if err == nil && s.cfg.Erased != nil {
		err = s.cfg.Erased(ctx, e)
	}
	return e, err
}
