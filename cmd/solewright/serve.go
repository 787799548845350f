package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"

	"solewright/dashboard"
	"solewright/models"
	"solewright/reports/fleet"
)

type serveCmd struct {
	database
	photoStore
	Addr         string   `default:"127.0.0.1:8080" help:"Address to listen on."`
	TLSCert      string   `name:"tls-cert" placeholder:"FILE" help:"Certificate chain, PEM; with --tls-key."`
	TLSKey       string   `name:"tls-key" placeholder:"FILE" help:"Private key, PEM."`
	TrustedProxy []string `placeholder:"NET" help:"Address or network of a proxy that ends TLS and whose X-Forwarded-For is believed."`
	Migrate      bool     `help:"Bring the schema of PostgreSQL up to date first; the embedded database always is."`
	MetricsAddr  string   `placeholder:"ADDR" help:"Address of a listener of its own for /metrics."`
	signInProvider
	MetricsToken string `placeholder:"SECRET" help:"Bearer token for /metrics on the main address."`
}

// Timeouts of the HTTP server, how long a page waits for what it can be shown without,
// and how often what has ended is deleted. House values; streaming routes lift the
// write timeout for themselves.
const (
	headerTimeout = 5 * time.Second
	readTimeout   = 15 * time.Second
	writeTimeout  = 30 * time.Second
	idleTimeout   = 60 * time.Second
	patience      = 10 * time.Millisecond
	stopTimeout   = 20 * time.Second
	purgeEvery    = time.Hour
)

// garbagePercent is how much garbage there may be, in percent of what is in use. Most of
// that is the fleet, numbers without pointers, which take the collector no time: half as
// much again costs readers nothing that can be measured, and as much again would be
// memory for nothing. House value; the environment's GOGC goes first.
const garbagePercent = 50

// signInProvider is a provider of OpenID Connect to sign in by.
type signInProvider struct {
	OIDCIssuer     string `name:"oidc-issuer" placeholder:"URL" help:"Provider of OpenID Connect that managers, trainers and the office may sign in by."`
	OIDCClient     string `name:"oidc-client" placeholder:"ID" help:"What the provider knows this service by."`
	OIDCSecretFile string `name:"oidc-secret-file" placeholder:"FILE" help:"File with the secret that the provider gave; none for a public client."`
	OIDCClaim      string `name:"oidc-claim" default:"preferred_username" help:"Claim that holds the staff code. Accounts are never made by signing in."`
	PublicURL      string `name:"public-url" placeholder:"URL" help:"Address of this service as browsers reach it; the provider sends people back to URL/sign-in/provider/back."`
}

// provider returns the provider, nil where none is set up.
func (p *signInProvider) provider() (*dashboard.Provider, error) {
	if p.OIDCIssuer == "" {
		return nil, nil
	}
	if p.OIDCClient == "" || p.PublicURL == "" {
		return nil, usageError{errors.New("--oidc-issuer needs --oidc-client and --public-url")}
	}
	var secret []byte
	if p.OIDCSecretFile != "" {
		var err error
		if secret, err = os.ReadFile(p.OIDCSecretFile); err != nil {
			return nil, fmt.Errorf("--oidc-secret-file: %w", err)
		}
	}
	for _, u := range []struct{ flag, text string }{{"--oidc-issuer", p.OIDCIssuer}, {"--public-url", p.PublicURL}} {
		if at, err := url.Parse(u.text); err != nil || at.Host == "" || at.Scheme != "http" && at.Scheme != "https" {
			return nil, usageError{fmt.Errorf("%s: %q: want an address such as https://HOST", u.flag, u.text)}
		}
	}
	return &dashboard.Provider{
		Issuer: p.OIDCIssuer, Client: p.OIDCClient, Secret: strings.TrimSpace(string(secret)), Claim: p.OIDCClaim, Public: p.PublicURL,
	}, nil
}

func (s *serveCmd) Run(a *app) error {
	if (s.TLSCert == "") != (s.TLSKey == "") {
		return usageError{errors.New("--tls-cert and --tls-key go together")}
	}
	if err := s.check(); err != nil {
		return err
	}
	log := a.logger()
	db, err := s.open(a, log, true)
	if err != nil {
		return err
	}
	defer db.Close()
	if s.Migrate || db.Dialect() == "sqlite" {
		if _, _, err := db.Migrate(a.ctx); err != nil {
			return err
		}
	} else if err := db.CheckSchema(a.ctx); err != nil {
		return err
	}
	return s.serve(a, db, log, nil)
}

// check looks at what can be seen to be wrong before anything is opened.
func (s *serveCmd) check() error {
	if err := listenable("--addr", s.Addr); err != nil {
		return err
	}
	if s.MetricsAddr != "" {
		if err := listenable("--metrics-addr", s.MetricsAddr); err != nil {
			return err
		}
	}
	for _, of := range s.TrustedProxy {
		_, notNet := netip.ParsePrefix(of)
		if _, notAddr := netip.ParseAddr(of); notNet != nil && notAddr != nil {
			return usageError{fmt.Errorf("--trusted-proxy: %q: want an address or a network such as 10.0.0.0/8", of)}
		}
	}
	if _, err := s.provider(); err != nil {
		return err
	}
	if _, err := s.files(s.Data); err != nil {
		return err
	}
	if s.TLSCert == "" {
		return nil
	}
	if _, err := tls.LoadX509KeyPair(s.TLSCert, s.TLSKey); err != nil {
		return fmt.Errorf("--tls-cert, --tls-key: %w", err)
	}
	return nil
}

// listenable refuses what is no address to listen on.
func listenable(flag, addr string) error {
	_, port, err := net.SplitHostPort(addr)
	if err == nil {
		_, err = net.LookupPort("tcp", port)
	}
	if err != nil {
		return usageError{fmt.Errorf("%s: %q: want HOST:PORT or :PORT, with a port from 0 to 65535", flag, addr)}
	}
	return nil
}

// serve answers on the address until the context ends. ready, where given, is
// told the address once connections are taken.
func (s *serveCmd) serve(a *app, db *models.DB, log *slog.Logger, ready func(addr string)) error {
	gin.SetMode(gin.ReleaseMode)
	if os.Getenv("GOGC") == "" {
		defer debug.SetGCPercent(debug.SetGCPercent(garbagePercent))
	}
	if err := os.MkdirAll(s.Data, 0o750); err != nil {
		return fmt.Errorf("the data folder: %w", err)
	}
	files, err := s.files(s.Data)
	if err != nil {
		return err
	}
	copied := fleet.New(fleet.Options{Source: db.Feed(), Snapshot: s.snapshot(), Shared: db.Snapshots(), Clock: a.now, Log: log})
	registry := prometheus.NewRegistry()
	if err := registry.Register(fleetMetrics{copied}); err != nil {
		return err
	}
	provider, err := s.provider()
	if err != nil {
		return err
	}
	handler, err := dashboard.New(dashboard.Config{
		DB: db, Logger: log, Clock: a.now, Registry: registry,
		Ready: []dashboard.Check{{Name: "fleet", Ask: copied.Ready}},
		Fleet: copied.View, Patience: patience,
		Photos: files, Provider: provider,
		Erased: func(ctx context.Context, _ models.Erasure) error {
			_, err := deletePhotos(ctx, db, files)
			return err
		},
		TrustedProxies: s.TrustedProxy, MetricsToken: s.MetricsToken,
		InsecureCookies: s.TLSCert == "" && len(s.TrustedProxy) == 0,
	})
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", s.Addr)
	if err != nil {
		return fmt.Errorf("--addr: %w", err)
	}
	// Streams end when the server stops, so that stopping needn't wait for them.
	streams, endStreams := context.WithCancel(context.WithoutCancel(a.ctx))
	defer endStreams()
	server := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
		BaseContext: func(net.Listener) context.Context { return streams },
		ErrorLog:    slog.NewLogLogger(log.Handler(), slog.LevelWarn),
		TLSConfig:   &tls.Config{MinVersion: tls.VersionTLS12},
	}
	ended := make(chan error, 2)
	if s.MetricsAddr != "" {
		metrics := &http.Server{
			Addr: s.MetricsAddr, Handler: handler.Metrics(), ReadHeaderTimeout: headerTimeout,
			ErrorLog: server.ErrorLog,
		}
		defer metrics.Close()
		go func() { ended <- fmt.Errorf("--metrics-addr: %w", metrics.ListenAndServe()) }()
	}
	go func() {
		if s.TLSCert != "" {
			ended <- server.ServeTLS(listener, s.TLSCert, s.TLSKey)
			return
		}
		ended <- server.Serve(listener)
	}()
	go purge(streams, db, log)
	go keepRisks(streams, db, log, a.now)
	go keepErased(streams, db, files, log, a.now)
	following, stopFollowing := context.WithCancel(context.WithoutCancel(a.ctx))
	var follower sync.WaitGroup
	follower.Go(func() { copied.Run(following) })
	defer follower.Wait() // it writes its snapshot
	defer stopFollowing()
	log.Info("serving", "addr", listener.Addr().String(), "database", db.Dialect())
	if ready != nil {
		ready(listener.Addr().String())
	}
	select {
	case err := <-ended:
		return err
	case <-a.ctx.Done():
	}
	log.Info("stopping")
	stop, cancel := context.WithTimeout(context.Background(), stopTimeout)
	defer cancel()
	time.AfterFunc(stopTimeout/2, endStreams)
	if err := server.Shutdown(stop); err != nil {
		return fmt.Errorf("stopping: %w", err)
	}
	return nil
}

// purge deletes ended sessions and old counts of failed attempts, until the
// context ends.
func purge(ctx context.Context, db *models.DB, log *slog.Logger) {
	every(ctx, purgeEvery, func() {
		if err := db.Sessions().Purge(ctx); err != nil && ctx.Err() == nil {
			log.Warn("deleting ended sessions", "error", err)
		}
	})
}

// every calls do at once and then at intervals, until the context ends.
func every(ctx context.Context, interval time.Duration, do func()) {
	tick := time.NewTicker(interval)
	defer tick.Stop()
	for {
		do()
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// logger returns the log of a long-running command, one line an event on
// standard error.
func (a *app) logger() *slog.Logger {
	return slog.New(slog.NewTextHandler(a.stderr, nil))
}
