package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// lab is what the proofs have in common.
type lab struct {
	ctx     context.Context
	args    []string
	parts   []string // of the study, none for all
	program string
	out     string
	rounds  int // 0: as many as the proof takes by itself
	rows    int

	scratch string // of the proof that runs
	command string // what repeats it
}

// readyWithin is how long a program may take until it serves.
const readyWithin = 60 * time.Second

// path returns a path in the scratch folder.
func (l *lab) path(name string) string { return filepath.Join(l.scratch, name) }

// roundsOr returns how many rounds were asked for, or n.
func (l *lab) roundsOr(n int) int { return cmp.Or(l.rounds, n) }

// usage is what a program took to run.
type usage struct {
	wall, cpu time.Duration
	peak      int64 // resident memory, bytes
}

// solewright runs a command of the program to its end and returns what it
// printed and what it took. Out nil keeps what it prints.
func (l *lab) solewright(out io.Writer, args ...string) (string, usage, error) {
	var kept bytes.Buffer
	if out == nil {
		out = &kept
	}
	var errs bytes.Buffer
	cmd := exec.CommandContext(l.ctx, l.program, args...)
	cmd.Stdout, cmd.Stderr = out, &errs
	begin := time.Now()
	err := cmd.Run()
	u := usage{wall: time.Since(begin)}
	if err != nil {
		return "", u, fmt.Errorf("solewright %s: %w: %s%s", strings.Join(args, " "), err, kept.String(), errs.String())
	}
	u.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	if r, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		u.peak = r.Maxrss * 1024 // kilobytes on Linux
	}
	return strings.TrimSpace(kept.String()), u, nil
}

// server is a program that serves the API.
type server struct {
	cmd   *exec.Cmd
	url   string
	log   string
	ready time.Duration // from start until /readyz said so
}

// serve starts the program with args and an address, and waits until it is ready.
func (l *lab) serve(args ...string) (*server, error) {
	port, err := freePort(l.ctx)
	if err != nil {
		return nil, err
	}
	s := &server{url: "http://" + port, log: l.path("server.log")}
	log, err := os.OpenFile(s.log, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	defer log.Close()
	s.cmd = exec.CommandContext(l.ctx, l.program, append(args, "--addr", port)...)
	s.cmd.Stdout, s.cmd.Stderr = log, log
	begin := time.Now()
	if err := s.cmd.Start(); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(l.ctx, readyWithin)
	defer cancel()
	if err := poll(ctx, func() bool { return s.isReady(ctx) }); err != nil {
		tail, _ := os.ReadFile(s.log)
		s.kill()
		return nil, fmt.Errorf("solewright %s is not ready: %w: %s", strings.Join(args, " "), err, tail)
	}
	s.ready = time.Since(begin)
	return s, nil
}

func (s *server) isReady(ctx context.Context) bool {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+"/readyz", nil)
	if err != nil {
		return false
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return false
	}
	resp.Body.Close()
	return resp.StatusCode == http.StatusOK
}

// kill ends the server by SIGKILL, at once. One that has ended stays ended.
func (s *server) kill() {
	_ = s.cmd.Process.Kill()
	_ = s.cmd.Wait() // says "signal: killed"
}

// poll asks until the answer is yes or the context ends.
func poll(ctx context.Context, yes func() bool) error {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for !yes() {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
	}
	return nil
}

// freePort returns an address of this machine that nobody listens on.
func freePort(ctx context.Context) (string, error) {
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}
