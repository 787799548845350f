package e2e

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/dashboard"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/photos"
	"solewright/models/retail"
)

func TestMain(m *testing.M) {
	gin.SetMode(gin.TestMode)
	code := m.Run()
	if started != nil {
		if err := chromedp.Cancel(started); err != nil {
			fmt.Fprintln(os.Stderr, "closing Chromium:", err)
		}
	}
	os.Exit(code)
}

// shop is a server that can be stopped and started again at the same address,
// on a database that stays.
type shop struct {
	t       *testing.T
	db      *models.DB
	cfg     dashboard.Config
	handler http.Handler
	addr    string
	server  *http.Server
}

// The people and the shoe of the shop. All of it is invented.
const (
	fitterCode, secondCode, traineeCode = "07-14", "07-09", "07-20"
	managerCode                         = "W-01"
	password                            = "correct horse battery"
	storeCode                           = "K07"
	shoeGTIN                            = "6291041500213"
)

// creditTable is the shop's, in JSON as the office writes it.
const creditTable = `{"number":1,"from":"2026-01-01","currency":"EUR","rows":[
	{"grade":"A","minor":2400},{"grade":"A","under_days":180,"minor":3000},{"grade":"B","minor":1600},
	{"grade":"C","minor":800},{"grade":"D","minor":400},{"grade":"A","category":"race","minor":1000}]}`

// riskTables are measured lives, as the service stores them.
const riskTables = `{"as_of":"2026-01-01","risk":20,"curves":[
	{"by":"model","of":"m1","pairs":120,"worn":40,"end_km":500,"steps":[{"next_km":300},{"at_km":200,"next_km":420},{"at_km":300,"next_km":450}]},
	{"by":"category","of":"daily","pairs":900,"worn":300,"end_km":700,"steps":[{"next_km":350},{"at_km":400,"next_km":600}]},
	{"by":"all","pairs":2000,"worn":700,"end_km":800,"steps":[{"next_km":400},{"at_km":500,"next_km":700}]}]}`

// settled opens databases with the shop in them.
var settled = dbtest.Copies(func(t testing.TB, db *models.DB) {
	ctx, by := t.Context(), models.Actor{Account: "solewright"}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	scope := []retail.Scope{{Store: storeCode}}
	must(db.SaveRegion(ctx, by, retail.Region{Code: "WEST", Name: "West", Currency: "EUR"}))
	must(db.SaveStore(ctx, by, retail.Store{Code: storeCode, Name: "Mill Lane", Region: "WEST", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}))
	for code, role := range map[string]retail.Role{fitterCode: retail.Fitter, secondCode: retail.Fitter, traineeCode: retail.Trainee} {
		must(db.SaveStaff(ctx, by, retail.Staff{Code: code, Role: role, Scopes: scope}))
		must(db.SetPassword(ctx, by, code, password))
	}
	must(db.SaveStaff(ctx, by, retail.Staff{Code: managerCode, Role: retail.Manager, Scopes: []retail.Scope{{Region: "WEST"}}}))
	must(db.SetPassword(ctx, by, managerCode, password))
	_, err := db.SaveShoeModel(ctx, by, retail.ShoeModel{
		Brand: "Ondrell", Model: "Fenline", Version: "2", Category: "daily", GTINs: []string{shoeGTIN},
		AsNew: assess.AsNew{Built: assess.ColSet(0).With(assess.MidLateral), Lean: assess.Of(800)},
	})
	must(err)
	_, err = db.AddVersion(ctx, by, models.CreditTables, "2026-01-01", creditTable, "")
	must(err)
})

func newShop(t *testing.T, change ...func(*dashboard.Config)) *shop {
	t.Helper()
	db := settled(t)
	files, err := photos.Open("file:"+t.TempDir(), photos.Access{})
	if err != nil {
		t.Fatal(err)
	}
	cfg := dashboard.Config{DB: db, Logger: slog.New(slog.DiscardHandler), InsecureCookies: true, Photos: files}
	for _, f := range change {
		f(&cfg)
	}
	s := &shop{t: t, db: db, cfg: cfg, addr: "127.0.0.1:0"}
	s.restart()
	t.Cleanup(s.stop)
	return s
}

// restart begins anew with a server that remembers nothing.
func (s *shop) restart() {
	s.t.Helper()
	s.stop()
	server, err := dashboard.New(s.cfg)
	if err != nil {
		s.t.Fatal(err)
	}
	s.handler = server
	s.start()
}

// start opens the line, at the same address as before.
func (s *shop) start() {
	s.t.Helper()
	listener, err := net.Listen("tcp", s.addr)
	if err != nil {
		s.t.Fatal(err)
	}
	s.addr = listener.Addr().String()
	server := &http.Server{Handler: s.handler}
	s.server = server
	go func() {
		if err := server.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			s.t.Errorf("serving: %v", err)
		}
	}()
}

// stop cuts the line.
func (s *shop) stop() {
	if s.server != nil {
		s.server.Close()
		s.server = nil
	}
}

func (s *shop) url(path string) string { return "http://" + s.addr + path }

// signIn signs somebody in and opens the bench.
func (s *shop) signIn(b *browser, code string) {
	b.t.Helper()
	s.admit(b, code)
	b.open(s.url("/bench"))
	b.until(`location.pathname === "/bench" && document.querySelector("main[data-ready]")`)
}

// signInByForm does the same as people do, by the page.
func (s *shop) signInByForm(b *browser, code string) {
	b.t.Helper()
	b.open(s.url("/bench"))
	b.write(`[name=staff]`, code)
	b.write(`[name=password]`, password)
	b.tap(`.signin button`)
	b.until(`location.pathname === "/bench" && document.querySelector("main[data-ready]")`)
}

// admit sends what the form of the sign-in page sends, and hands the browser the
// session that was given.
func (s *shop) admit(b *browser, code string) {
	b.t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	answer, err := client.PostForm(s.url("/sign-in"), url.Values{"staff": {code}, "password": {password}})
	if err != nil {
		b.t.Fatal(err)
	}
	answer.Body.Close()
	if answer.StatusCode != http.StatusSeeOther || len(answer.Cookies()) == 0 {
		b.t.Fatalf("%s is not let in: %s", code, answer.Status)
	}
	for _, c := range answer.Cookies() {
		if _, err := chromedp.Call(b.ctx, network.SetCookie, network.SetCookieParams{Name: c.Name, Value: c.Value, URL: s.url("/"), HTTPOnly: &c.HttpOnly, SameSite: "Lax"}); err != nil {
			b.t.Fatal(err)
		}
	}
}

// pickShoe types of a shoe at an open ticket and takes the first that is offered.
func (b *browser) pickShoe(typed string) {
	b.t.Helper()
	b.write("#shoe", typed)
	b.tap(`#shoe-list [data-shoe="0"]`)
	b.until(`document.activeElement.id === "size"`)
}

// begin begins a ticket from the day's list and returns its id.
func (s *shop) begin(b *browser, kind string) string {
	b.t.Helper()
	b.tap(`[data-act=begin][data-v=` + kind + `]`)
	b.until(`location.pathname.length > 30 && document.querySelector("main[data-ready]") && document.querySelector("#word span")`)
	return eval[string](b, `location.pathname.split("/").pop()`)
}

// stored waits for nothing: it returns the reading with that id, or fails.
func (s *shop) stored(id string) *models.Inspection {
	s.t.Helper()
	u, err := assess.ParseUUID(id)
	if err != nil {
		s.t.Fatal(err)
	}
	in, err := s.db.Inspection(context.Background(), u)
	if err != nil {
		s.t.Fatalf("reading %s: %v", id, err)
	}
	return in
}

// photos returns the photos of a reading that have arrived.
func (s *shop) photos(id string) []models.PhotoLink {
	s.t.Helper()
	u, err := assess.ParseUUID(id)
	if err != nil {
		s.t.Fatal(err)
	}
	all, err := s.db.PhotosOf(context.Background(), u)
	if err != nil {
		s.t.Fatal(err)
	}
	return all[u]
}

// greyPicture writes a picture of that size and returns its path.
func greyPicture(t *testing.T, width, height int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "heel.png")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, image.NewGray(image.Rect(0, 0, width, height))); err != nil {
		t.Fatal(err)
	}
	return path
}

// isStored reports whether the reading has arrived.
func (s *shop) isStored(id string) bool {
	u, err := assess.ParseUUID(id)
	if err != nil {
		s.t.Fatal(err)
	}
	_, err = s.db.Inspection(context.Background(), u)
	return err == nil
}

// judged is the engine's own verdict on a stored reading, with the shop's shoe.
func (s *shop) judged(in *models.Inspection) *assess.Result {
	s.t.Helper()
	asNew, err := s.db.AsNew(context.Background(), in.ModelID, in.AsNew)
	if err != nil {
		s.t.Fatal(err)
	}
	var out assess.Result
	assess.Default().Judge(&in.Reading, &asNew, &out)
	return &out
}

// literal writes v as JavaScript.
func literal(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
