// Package s3test is a small server for tests that speaks as much S3 as a store
// of photos needs: HEAD, GET, PUT and DELETE of an object of one bucket, by
// path. It checks every signature and every byte that was signed, as a server in
// service does.
package s3test

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// What the server is reached with.
const (
	Bucket = "shoes"
	Region = "eu-test-1"
	Key    = "KEYOFTHETEST"
	Secret = "a secret/that is +no secret"
)

// Server is a bucket in memory.
type Server struct {
	URL string // s3:http://HOST/BUCKET/pairs?region=…, as photos.Open reads it

	mu      sync.Mutex
	objects map[string][]byte
	wrong   Refusal
	late    Refusal
	cut     func(*http.Request) bool
	calls   map[string]int
}

// New starts a server that ends with the test.
func New(t testing.TB) *Server {
	t.Helper()
	s := &Server{objects: map[string][]byte{}, calls: map[string]int{}}
	served := httptest.NewServer(s)
	t.Cleanup(served.Close)
	s.URL = fmt.Sprintf("s3:%s/%s/pairs?region=%s", served.URL, Bucket, Region)
	return s
}

// Refusal says which status and which code a request is refused with; status 0
// is none.
type Refusal func(*http.Request) (status int, code string)

// Fail refuses requests before their bodies are read; f may also wait. A nil f
// ends that, here and below.
func (s *Server) Fail(f Refusal) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.wrong = f
}

// FailDone refuses requests that have been done all the same; f may also wait.
func (s *Server) FailDone(f Refusal) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.late = f
}

// Cut does what is asked for, and sends half of the bytes that are to be sent;
// where f is true then, that is all that comes. f may also wait.
func (s *Server) Cut(f func(*http.Request) bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.cut = f
}

// Names lists the objects there are.
func (s *Server) Names() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Sorted(maps.Keys(s.objects))
}

// Put puts bytes into the bucket past all checks.
func (s *Server) Put(name string, data []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.objects[name] = data
}

// Calls returns how many requests of a method were answered.
func (s *Server) Calls(method string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.calls[method]
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	wrong, late, cut := s.wrong, s.late, s.cut
	s.calls[r.Method]++
	s.mu.Unlock()
	if wrong.befalls(w, r) {
		return
	}
	body, err := io.ReadAll(r.Body)
	if err != nil {
		refuse(w, http.StatusBadRequest, "IncompleteBody")
		return
	}
	if err := Verify(r, Secret); err != nil || !strings.Contains(r.Header.Get("Authorization"), "Credential="+Key+"/") {
		refuse(w, http.StatusForbidden, "SignatureDoesNotMatch")
		return
	}
	if signed := r.Header.Get("X-Amz-Content-Sha256"); signed != hexSHA(body) {
		refuse(w, http.StatusBadRequest, "XAmzContentSHA256Mismatch")
		return
	}
	name, ok := strings.CutPrefix(r.URL.Path, "/"+Bucket+"/")
	if !ok {
		refuse(w, http.StatusNotFound, "NoSuchBucket")
		return
	}
	answer := httptest.NewRecorder()
	s.answer(answer, r.Method, name, body)
	if late.befalls(w, r) {
		return
	}
	data := answer.Body.Bytes()
	half := len(data) / 2
	if half == 0 && cut != nil && cut(r) { // an answer of no bytes is cut before its head
		panic(http.ErrAbortHandler)
	}
	maps.Copy(w.Header(), answer.Header())
	w.WriteHeader(answer.Code)
	_, _ = w.Write(data[:half]) // who doesn't read it has gone
	if half > 0 && cut != nil {
		w.(http.Flusher).Flush()
		if cut(r) {
			panic(http.ErrAbortHandler)
		}
	}
	_, _ = w.Write(data[half:])
}

// befalls reports whether the request is refused, having answered it then.
func (f Refusal) befalls(w http.ResponseWriter, r *http.Request) bool {
	if f == nil {
		return false
	}
	status, code := f(r)
	if status != 0 {
		refuse(w, status, code)
	}
	return status != 0
}

func (s *Server) answer(w http.ResponseWriter, method, name string, body []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	data, there := s.objects[name]
	switch {
	case method == http.MethodPut:
		s.objects[name] = body
		w.Header().Set("ETag", `"`+hexSHA(body)[:32]+`"`)
	case method == http.MethodDelete:
		delete(s.objects, name)
		w.WriteHeader(http.StatusNoContent)
	case !there:
		refuse(w, http.StatusNotFound, "NoSuchKey")
	default:
		w.Header().Set("ETag", `"`+hexSHA(data)[:32]+`"`)
		w.Header().Set("Last-Modified", time.Date(2026, 10, 5, 0, 0, 0, 0, time.UTC).Format(http.TimeFormat))
		w.Header().Set("Content-Length", fmt.Sprint(len(data)))
		if method == http.MethodGet {
			_, _ = w.Write(data)
		}
	}
}

func refuse(w http.ResponseWriter, status int, code string) {
	w.Header().Set("Content-Type", "application/xml")
	w.WriteHeader(status)
	_ = xml.NewEncoder(w).Encode(struct {
		XMLName xml.Name `xml:"Error"`
		Code    string
		Message string
	}{Code: code, Message: "the test's server refuses"})
}

// Verify checks a request's signature, as Signature Version 4 has it for S3:
// of the method, the path, the query, the headers that are named as signed, and
// the hash of the body that the headers state.
func Verify(r *http.Request, secret string) error {
	fields, ok := strings.CutPrefix(r.Header.Get("Authorization"), "AWS4-HMAC-SHA256 ")
	if !ok {
		return errors.New("not signed")
	}
	said := map[string]string{}
	for part := range strings.SplitSeq(fields, ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		said[name] = value
	}
	_, scope, _ := strings.Cut(said["Credential"], "/")
	part := strings.Split(scope, "/") // day, region, service, aws4_request
	if len(part) != 4 {
		return errors.New("the credential has no scope")
	}
	var headers strings.Builder
	for name := range strings.SplitSeq(said["SignedHeaders"], ";") {
		value := strings.Join(r.Header.Values(name), ",")
		switch name {
		case "host":
			value = r.Host
		case "content-length":
			value = fmt.Sprint(r.ContentLength)
		}
		headers.WriteString(name + ":" + strings.Join(strings.Fields(value), " ") + "\n")
	}
	canonical := strings.Join([]string{
		r.Method, r.URL.EscapedPath(), strings.ReplaceAll(r.URL.Query().Encode(), "+", "%20"), headers.String(),
		said["SignedHeaders"], r.Header.Get("X-Amz-Content-Sha256"),
	}, "\n")
	text := strings.Join([]string{"AWS4-HMAC-SHA256", r.Header.Get("X-Amz-Date"), scope, hexSHA([]byte(canonical))}, "\n")
	key := []byte("AWS4" + secret)
	for _, p := range part {
		key = mac(key, p)
	}
	if want := hex.EncodeToString(mac(key, text)); !hmac.Equal([]byte(want), []byte(said["Signature"])) {
		return fmt.Errorf("signed %s, want %s", said["Signature"], want)
	}
	return nil
}

func mac(key []byte, text string) []byte {
	m := hmac.New(sha256.New, key)
	m.Write([]byte(text))
	return m.Sum(nil)
}

func hexSHA(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// At returns the address of the server with another path.
func (s *Server) At(path string) string {
	u, _ := url.Parse(strings.TrimPrefix(s.URL, "s3:")) // it is ours
	u.Path = path
	return "s3:" + u.String()
}
