package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/png"
	"io"
	"io/fs"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"solewright/models/photos/s3test"
)

// asProgram has this test's binary run as the program, so that it can be killed.
const asProgram = "SOLEWRIGHT_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		os.Exit(run(context.Background(), os.Args[1:], os.Getenv, os.Stdin, os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// startsWithin is how long a server may take until it serves.
const startsWithin = time.Minute

// process is a server in a process of its own.
type process struct {
	caller
	cmd    *exec.Cmd
	logged *bytes.Buffer // of all processes of a test
	copied sync.WaitGroup
}

func serving(t *testing.T, token string, logged *bytes.Buffer, flags ...string) *process {
	t.Helper()
	p := &process{caller: caller{t: t, token: token}, logged: logged}
	p.cmd = exec.CommandContext(t.Context(), os.Args[0], slices.Concat([]string{"serve", "--addr", "127.0.0.1:0"}, flags)...)
	p.cmd.Env = append(os.Environ(), asProgram+"=1")
	out, err := p.cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.kill)
	late := time.AfterFunc(startsWithin, func() { _ = p.cmd.Process.Kill() })
	defer late.Stop()
	lines := bufio.NewReader(io.TeeReader(out, logged))
	for p.url == "" {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatalf("the server ended: %s", logged)
		}
		if _, after, ok := strings.Cut(line, "msg=serving addr="); ok {
			p.url = "http://" + strings.Fields(after)[0]
		}
	}
	p.copied.Go(func() { _, _ = io.Copy(io.Discard, lines) }) // until it ends
	return p
}

// kill ends the process as a power cut would, but for what the system had taken
// over. What the race detector found in it would end with it.
func (p *process) kill() {
	_ = p.cmd.Process.Kill() // it may have ended
	p.copied.Wait()
	_ = p.cmd.Wait()
	if _, report, found := strings.Cut(p.logged.String(), "WARNING: DATA RACE"); found {
		p.t.Errorf("a data race in the server:%s", report)
	}
}

// caller asks a server, by a token or by what its client keeps.
type caller struct {
	t      *testing.T
	url    string
	token  string
	client http.Client
}

// ask returns status 0 where the server doesn't answer.
func (c *caller) ask(method, path, kind string, body []byte) (status int, answer []byte) {
	req, err := http.NewRequestWithContext(c.t.Context(), method, c.url+path, bytes.NewReader(body))
	if err != nil {
		c.t.Error(err)
		return 0, nil
	}
	if c.token != "" {
		req.Header.Set("Authorization", "Bearer "+c.token)
	}
	req.Header.Set("Content-Type", kind)
	resp, err := c.client.Do(req)
	if err != nil {
		return 0, nil
	}
	defer resp.Body.Close()
	answer, err = io.ReadAll(resp.Body)
	if err != nil {
		return 0, nil
	}
	return resp.StatusCode, answer
}

// A server that is killed while a bucket takes a photo has acknowledged nothing,
// shows nothing by halves, and keeps the photo once it comes again.
func TestAServerKilledInTheMiddleOfAPhoto(t *testing.T) {
	const reading = "019a44a6-7580-7000-8000-000000000001"
	var picture bytes.Buffer
	if err := png.Encode(&picture, image.NewGray(image.Rect(0, 0, 96, 64))); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(picture.Bytes())
	photo := "/api/v1/photos/" + hex.EncodeToString(sum[:])
	shows := photo + "?inspection=" + reading + "&store=E1&shoe=left&view=back"
	for _, c := range []struct {
		name string
		hold func(bucket *s3test.Server, hold func(*http.Request))
		kept int // objects at the kill
	}{
		{"before the bucket has it", func(b *s3test.Server, hold func(*http.Request)) {
			b.Fail(func(q *http.Request) (int, string) { hold(q); return 0, "" })
		}, 0},
		{"once the bucket has it", func(b *s3test.Server, hold func(*http.Request)) {
			b.Cut(func(q *http.Request) bool { hold(q); return false })
		}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			flags := retailer(t)
			data := flags[1]
			secret := filepath.Join(t.TempDir(), "secret")
			if err := os.WriteFile(secret, []byte(s3test.Secret), 0o600); err != nil {
				t.Fatal(err)
			}
			bucket := s3test.New(t)
			token := strings.TrimSpace(must(t, slices.Concat([]string{"token", "add", "tablet", "--role", "fitter"}, flags)...))
			stored := []string{"--photos", bucket.URL, "--photos-key", s3test.Key, "--photos-secret-file", secret}
			logged := &bytes.Buffer{}
			server := serving(t, token, logged, slices.Concat(flags, stored)...)
			body := `{"store":"E1","staff":"E1-01","at":"2026-11-02T10:00:00Z","kind":"check","left":{"bond":"parted"}}`
			if status, answer := server.ask("PUT", "/api/v1/inspections/"+reading, "application/json", []byte(body)); status != http.StatusCreated {
				t.Fatalf("%d %s", status, answer)
			}

			arrived, dead := make(chan struct{}), make(chan struct{})
			var once sync.Once
			c.hold(bucket, func(q *http.Request) {
				if q.Method == http.MethodPut {
					once.Do(func() { close(arrived) })
					<-dead
				}
			})
			sent := make(chan int, 1)
			go func() {
				status, _ := server.ask("PUT", shows, "image/png", picture.Bytes())
				sent <- status
			}()
			<-arrived
			server.kill()
			if status := <-sent; status != 0 {
				t.Fatalf("a photo on its way is answered %d", status)
			}
			if n := len(bucket.Names()); n != c.kept {
				t.Fatalf("%d objects are kept, want %d", n, c.kept)
			}
			bucket.Fail(nil)
			bucket.Cut(nil)
			close(dead)

			again := serving(t, token, logged, slices.Concat(flags, stored)...)
			wantShown := func(n, status int) {
				t.Helper()
				_, answer := again.ask("GET", "/api/v1/inspections/"+reading+"/photos", "", nil)
				if got := strings.Count(string(answer), `"sha256"`); got != n {
					t.Errorf("%d photos are listed, want %d: %s", got, n, answer)
				}
				if got, answer := again.ask("GET", photo, "", nil); got != status {
					t.Errorf("the photo is answered %d, want %d: %.80s", got, status, answer)
				}
			}
			wantShown(0, http.StatusNotFound)
			if status, answer := again.ask("PUT", shows, "image/png", picture.Bytes()); status != http.StatusCreated {
				t.Errorf("sent again it is answered %d %s", status, answer)
			}
			wantShown(1, http.StatusOK)
			if said := must(t, slices.Concat([]string{"verify"}, flags, stored)...); !strings.Contains(said, "1 photo") {
				t.Errorf("verify says %s", said)
			}
			again.kill()
			if len(bucket.Names()) != 1 {
				t.Errorf("kept are %v", bucket.Names())
			}
			wantUntold(t, data, logged.String())
		})
	}
}

// wantUntold fails where the key to the bucket is told in a log, or its secret is
// left in a file of the data folder.
func wantUntold(t *testing.T, data, logged string) {
	t.Helper()
	for _, told := range []string{s3test.Key, s3test.Secret} {
		if strings.Contains(logged, told) {
			t.Errorf("the log tells %q", told)
		}
	}
	files := 0
	err := filepath.WalkDir(data, func(path string, at fs.DirEntry, err error) error {
		if err != nil || at.IsDir() {
			return err
		}
		files++
		text, err := os.ReadFile(path)
		if err == nil && bytes.Contains(text, []byte(s3test.Secret)) {
			err = fmt.Errorf("%s holds the secret", path)
		}
		return err
	})
	if err != nil || files == 0 {
		t.Errorf("%d files of the data folder: %v", files, err)
	}
}
