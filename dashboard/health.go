package dashboard

import (
	"context"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
)

// readyTimeout bounds the checks of /readyz: a load balancer asks often and
// takes no answer for a no.
const readyTimeout = 3 * time.Second

// getAlive says that the process answers.
func (s *Server) getAlive(c *gin.Context) error {
	c.JSON(http.StatusOK, gin.H{"status": "alive"})
	return nil
}

// readiness is what /readyz says: each check by name, ok or what is wrong.
type readiness struct {
	Status string            `json:"status"`
	Checks map[string]string `json:"checks"`
}

// getReady says whether requests should be sent here.
func (s *Server) getReady(c *gin.Context) error {
	ctx, cancel := context.WithTimeout(c.Request.Context(), readyTimeout)
	defer cancel()
	status, r := http.StatusOK, readiness{"ready", map[string]string{}}
	for _, check := range append([]Check{{"database", s.reachDatabase}, {"schema", s.checkSchema}, {"writes", s.checkWrites}}, s.cfg.Ready...) {
		state, err := check.Ask(ctx)
		if err != nil {
			f := answerTo(err)
			c.Set(failureKey, &failure{class: unready, cause: err})
			// The error's own text may name hosts and tables; the table's detail doesn't.
			status, r.Status, state = http.StatusServiceUnavailable, "not ready", f.detail
			if state == "" {
				state = f.title
			}
		}
		r.Checks[check.Name] = state
	}
	c.JSON(status, r)
	return nil
}

func (s *Server) reachDatabase(ctx context.Context) (string, error) { return "ok", s.db.Ping(ctx) }

// checkWrites fails from a write that found the database full or read-only until
// one succeeds. It tries itself: where nothing is sent here, nothing is written.
func (s *Server) checkWrites(ctx context.Context) (string, error) {
	if s.unwritable.Load() {
		if err := s.db.TryWrite(ctx); err != nil {
			return "", err
		}
		s.unwritable.Store(false)
	}
	return "ok", nil
}

func (s *Server) checkSchema(ctx context.Context) (string, error) { return "ok", s.db.CheckSchema(ctx) }
