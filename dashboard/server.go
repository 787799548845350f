package dashboard

import (
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
)

// Config is what a server needs. The zero value of an optional field is its
// default.
type Config struct {
	// Logger receives one line a request and every error; required.
	Logger *slog.Logger
	// Clock tells the time; default time.Now.
	Clock func() time.Time
	// TrustedProxies are the addresses or networks whose X-Forwarded-For is
	// believed; default none.
	TrustedProxies []string
	// InsecureCookies leaves out the Secure attribute, for plain HTTP on
	// localhost only.
	InsecureCookies bool
	// MetricsToken guards /metrics on this server; empty switches the route
	// off, for a deployment that serves [Server.Metrics] on a listener of its own.
	MetricsToken string
	// WASM holds the engine built for the browser, assess.wasm and
	// wasm_exec.js; nil when it was not built, and the server judges instead.
	WASM fs.FS
}

// Server answers HTTP requests. It is safe for concurrent use.
type Server struct {
	cfg     Config
	log     *slog.Logger
	now     func() time.Time
	handler http.Handler
}

// New returns a server that is ready to serve.
func New(cfg Config) (*Server, error) {
	if cfg.Logger == nil {
		return nil, errors.New("dashboard: Config.Logger is missing")
	}
	if cfg.Clock == nil {
		cfg.Clock = time.Now
	}
	s := &Server{cfg: cfg, log: cfg.Logger, now: cfg.Clock}
	e := gin.New()
	if err := e.SetTrustedProxies(cfg.TrustedProxies); err != nil {
		return nil, err
	}
	for _, r := range s.routes() {
		e.Handle(r.method, r.path, r.handle)
	}
	s.handler = e
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// route is one line of the table of routes.
type route struct {
	method, path string
	right        right
	handle       gin.HandlerFunc
}

// routes is every address the server answers, on one screen.
func (s *Server) routes() []route {
	return []route{
		{"GET", "/healthz", open, s.api(s.showAlive)},
	}
}

func (s *Server) showAlive(c *gin.Context) error {
	c.JSON(http.StatusOK, gin.H{"status": "alive"})
	return nil
}
