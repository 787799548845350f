package dashboard

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/photos"
	"solewright/models/retail"
	memory "solewright/reports/fleet"
)

func TestMain(m *testing.M) {
	gin.SetMode(gin.TestMode)
	m.Run()
}

// testClock is a clock that a test sets.
type testClock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *testClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *testClock) advance(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// rig is a server on a database with two regions of a store each, and a token
// for each role in each scope.
type rig struct {
	*Server
	t      testing.TB
	clock  *testClock
	logged *bytes.Buffer
	tokens map[string]string // by ROLE@SCOPE
}

// The stores of a rig, and where they are.
const (
	storeA, regionA = "S-A", "NORTH"
	storeB, regionB = "S-B", "SOUTH"
)

// setup is who sets a rig up.
var setup = models.Actor{Account: "setup"}

func newRig(t testing.TB, change ...func(*Config)) *rig {
	t.Helper()
	clock := newTestClock()
	return newRigOn(t, dbtest.Open(t, dbtest.Clock(clock.Now)), clock, change...)
}

func newTestClock() *testClock { return &testClock{now: time.Date(2026, 10, 5, 12, 0, 0, 0, time.UTC)} }

func newRigOn(t testing.TB, db *models.DB, clock *testClock, change ...func(*Config)) *rig {
	t.Helper()
	ctx := context.Background()
	must(t, db.SaveRegion(ctx, setup, retail.Region{Code: regionA, Name: "North", Currency: "EUR"}))
	must(t, db.SaveRegion(ctx, setup, retail.Region{Code: regionB, Name: "South", Currency: "EUR"}))
	must(t, db.SaveStore(ctx, setup, retail.Store{Code: storeA, Name: "A", Region: regionA, Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}))
	must(t, db.SaveStore(ctx, setup, retail.Store{Code: storeB, Name: "B", Region: regionB, Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}))
	logged := &bytes.Buffer{}
	cfg := Config{DB: db, Logger: slog.New(slog.NewJSONHandler(logged, nil)), Clock: clock.Now, MetricsToken: "metrics-secret"}
	cfg.Fleet = followed(t, db)
	var err error
	cfg.Photos, err = photos.Open("file:"+t.TempDir(), photos.Access{})
	must(t, err)
	for _, f := range change {
		f(&cfg)
	}
	s, err := New(cfg)
	must(t, err)
	return &rig{Server: s, t: t, clock: clock, logged: logged, tokens: map[string]string{}}
}

// followed is the fleet in memory as it stands when it is asked for.
func followed(t testing.TB, db *models.DB) func() *memory.View {
	copied := memory.New(memory.Options{Source: db.Feed()})
	loaded := false
	return func() *memory.View {
		t.Helper()
		if !loaded {
			must(t, copied.Load(context.Background()))
			loaded = true
		}
		_, err := copied.Step(context.Background())
		must(t, err)
		return copied.View()
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// token returns a token of a role in a scope, making it the first time.
func (r *rig) token(role retail.Role, scope retail.Scope) string {
	r.t.Helper()
	name := string(role) + "@" + strings.ReplaceAll(scope.String(), ":", "-")
	if r.tokens[name] == "" {
		secret, err := r.db.AddToken(context.Background(), setup, models.Token{Name: name, Role: role, Scopes: []retail.Scope{scope}}, 24*time.Hour)
		must(r.t, err)
		r.tokens[name] = secret
	}
	return r.tokens[name]
}

// fitter is the token that most tests use: a fitter of store A.
func (r *rig) fitter() string { return r.token(retail.Fitter, retail.Scope{Store: storeA}) }

// office is the token of the fleet's office.
func (r *rig) office() string { return r.token(retail.Office, retail.Scope{}) }

// call sends a request with a token, none where it is empty, and a body as JSON
// or, where it is url.Values, as a form; none where it is nil.
func (r *rig) call(method, path, token string, body any, headers ...string) *httptest.ResponseRecorder {
	r.t.Helper()
	var text []byte
	kind := "application/json"
	switch b := body.(type) {
	case nil:
	case url.Values:
		text, kind = []byte(b.Encode()), "application/x-www-form-urlencoded"
	case upload:
		text, kind = b.form(r.t)
	case string:
		text = []byte(b)
	case []byte:
		text = b
	default:
		var err error
		text, err = json.Marshal(b)
		must(r.t, err)
	}
	req := httptest.NewRequest(method, path, bytes.NewReader(text))
	if body != nil {
		req.Header.Set("Content-Type", kind)
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	r.ServeHTTP(w, req)
	return w
}

// want fails unless the answer has the status.
func want(t testing.TB, w *httptest.ResponseRecorder, status int) {
	t.Helper()
	if w.Code != status {
		t.Fatalf("status %d, want %d: %.400s", w.Code, status, w.Body)
	}
}

// decoded returns the answer's JSON.
func decoded[T any](t testing.TB, w *httptest.ResponseRecorder) T {
	t.Helper()
	var v T
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
		t.Fatalf("%v in %s", err, w.Body)
	}
	return v
}

// pointers returns the places that a problem names.
func pointers(t testing.TB, w *httptest.ResponseRecorder) []string {
	t.Helper()
	if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Fatalf("Content-Type %q, want a problem: %s", got, w.Body)
	}
	p := decoded[problem](t, w)
	if p.Status != w.Code || p.Title == "" || p.ID == "" || !strings.HasPrefix(p.Type, apiRoot+"/docs#") {
		t.Errorf("incomplete problem: %s", w.Body)
	}
	var all []string
	for _, e := range p.Errors {
		if e.Detail == "" {
			t.Errorf("%s%s has no detail", e.Pointer, e.Parameter)
		}
		all = append(all, e.Pointer+e.Parameter)
	}
	return all
}

// fields is a JSON object in the making.
type fields map[string]any

// with returns a copy of f with more members.
func (f fields) with(more fields) fields {
	all := fields{}
	for k, v := range f {
		all[k] = v
	}
	for k, v := range more {
		all[k] = v
	}
	return all
}

// soundShoe is a shoe with every needed check read and nothing found.
var soundShoe = fields{
	"heel_medial": 0, "heel_centre": 0, "heel_lateral": 1, "fore_medial": 0, "fore_centre": 1, "fore_lateral": 0,
	"toe_medial": 0, "toe_lateral": 0, "press_fore": "springs back", "stand": "square", "lining": "sound", "bond": "attached",
}

// soundReading is a complete reading of store A whose verdict is keep.
var soundReading = fields{
	"store": storeA, "staff": "F-1", "at": "2026-10-05T11:00:00Z", "kind": "trade-in",
	"brand": "Velm", "model": "Arc", "version": "3", "runner": "R-1", "km": 320, "km_source": "logged",
	"left": soundShoe, "right": soundShoe, "flex_side": 0, "torsion_side": 0, "hygiene": "clean",
}

// wornReading is soundReading with the midsole showing under the left heel.
func wornReading() fields {
	return soundReading.with(fields{"left": soundShoe.with(fields{"heel_lateral": 4}), "km": 700})
}

// id makes the nth UUIDv7 of a test.
func id(n int) string { return fmt.Sprintf("019a0000-0000-7000-8000-%012d", n) }

// put stores a reading of the fitter's and returns what was stored.
func (r *rig) put(n int, body fields) fields {
	r.t.Helper()
	w := r.call("PUT", apiRoot+"/inspections/"+id(n), r.token(retail.Office, retail.Scope{}), body)
	want(r.t, w, http.StatusCreated)
	return decoded[fields](r.t, w)
}

func TestTheServerNeedsADatabaseAndALogger(t *testing.T) {
	if _, err := New(Config{}); err == nil {
		t.Error("a server without a database was made")
	}
	if _, err := New(Config{DB: dbtest.Open(t), Logger: slog.New(slog.DiscardHandler), TrustedProxies: []string{"nowhere"}}); err == nil {
		t.Error("a proxy that is no address was taken")
	}
}

func TestEveryRouteNamesARightThatExists(t *testing.T) {
	r := newRig(t)
	for _, route := range r.table {
		if _, ok := rights[route.right]; !ok && route.right != open && route.right != anyone {
			t.Errorf("%s %s names the right %q, which no role has", route.method, route.path, route.right)
		}
		api := strings.HasPrefix(route.path, apiRoot+"/") && route.path != apiRoot+"/docs"
		if api != (route.doc != nil) {
			t.Errorf("%s %s: described %v, want %v", route.method, route.path, route.doc != nil, api)
		}
	}
}

func TestEveryRightSaysAReachForEveryRole(t *testing.T) {
	for r, row := range rights {
		if len(row) != len(retail.Roles) {
			t.Errorf("%q has %d columns, want one for each of %v", r, len(row), retail.Roles)
		}
	}
}
