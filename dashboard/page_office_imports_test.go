package dashboard

import (
	"bytes"
	"context"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/exchange"
	"solewright/models/retail"
)

// upload is a file as a browser sends it.
type upload struct{ kind, name, text string }

func (u upload) form(t testing.TB) (body []byte, kind string) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	must(t, w.WriteField("kind", u.kind))
	part, err := w.CreateFormFile("file", u.name)
	must(t, err)
	_, err = part.Write([]byte(u.text))
	must(t, err)
	must(t, w.Close())
	return b.Bytes(), w.FormDataContentType()
}

var (
	goodEvents = upload{"events", "offers.csv", "store,from,to,word\nS-A,2026-10-01,2026-10-03,offer\nS-B,2026-09-01,2026-09-01,race\n"}
	badEvents  = upload{"events", "offers.csv", "store,from,to,word\nS-A,2026-10-01,2026-10-03,offer\nS-A,2026-10-05,soon,offer\nNONE,2026-10-01,2026-10-03,offer\n"}
)

// bringIn sends a file and returns the page of it, once it was tried.
func (r *rig) bringIn(u upload, token string) string {
	r.t.Helper()
	w := r.call("POST", "/office/imports", token, u)
	want(r.t, w, http.StatusSeeOther)
	to := w.Header().Get("Location")
	r.imports.mu.Lock()
	file := r.imports.all[strings.TrimPrefix(to, "/office/imports/")]
	r.imports.mu.Unlock()
	_, run := file.last()
	<-run.done
	return to
}

// bringAnother is bringIn of the office's, with no file beside it.
func (r *rig) bringAnother(u upload) string {
	r.t.Helper()
	r.imports = newImportFiles(r.clock.Now)
	return r.bringIn(u, r.office())
}

// does acts on a file and waits until that is done.
func (r *rig) does(page, act string) {
	r.t.Helper()
	want(r.t, r.send(page, url.Values{"act": {act}}), http.StatusSeeOther)
	r.imports.mu.Lock()
	file := r.imports.all[strings.TrimPrefix(page, "/office/imports/")]
	r.imports.mu.Unlock()
	if file != nil {
		_, run := file.last()
		<-run.done
	}
}

func TestTheOfficeBringsInFiles(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		r := newRigOn(t, db, newTestClock())
		ctx := t.Context()
		events := func() int {
			all, err := r.db.Events(ctx, "", "")
			must(t, err)
			return len(all)
		}
		t.Run("a file is tried first, and then stored as a whole", func(t *testing.T) {
			r.t = t
			page := r.bringIn(goodEvents, r.office())
			r.shows(r.sees(page), "offers.csv", "Would be stored", "No line is bad.", "Import all")
			if n := events(); n != 0 {
				t.Fatalf("%d events are stored by a try", n)
			}
			r.does(page, "all")
			r.shows(r.sees(page), "What was stored", "Another file")
			if n := events(); n != 2 {
				t.Errorf("%d events are stored, want 2", n)
			}
			r.shows(r.sees("/office/imports"), "2 stored, 0 known already, 0 bad", "offers.csv")
			r.audited("import", "import:events")
			r.does(page, "all") // a second press changes nothing
			past, err := r.db.Imports(ctx, 10)
			must(t, err)
			if len(past) != 1 {
				t.Errorf("%d imports are noted, want 1", len(past))
			}
		})
		t.Run("bad lines are named, all or nothing stores nothing, and the good rows can be kept", func(t *testing.T) {
			r.t = t
			page := r.bringIn(badEvents, r.office())
			body := r.sees(page)
			r.shows(body, `<th scope="row" class="num" data-l="Line">3</th>`, "soon", `<th scope="row" class="num" data-l="Line">4</th>`, "NONE", "Import the good rows")
			if strings.Contains(body, "Import all") {
				t.Error("all is offered with bad lines")
			}
			w := r.call("GET", page+"/rejected.csv", r.office(), nil)
			want(t, w, http.StatusOK)
			if got, want := w.Body.String(), "store,from,to,word\nS-A,2026-10-05,soon,offer\nNONE,2026-10-01,2026-10-03,offer\n"; got != want {
				t.Errorf("the bad lines are %q, want %q", got, want)
			}
			before := events()
			r.does(page, "all")
			r.shows(r.sees(page), "2 of 3 rows are bad: nothing was stored.")
			if events() != before {
				t.Error("something was stored all the same")
			}
			r.does(page, "keep")
			r.shows(r.sees(page), "What was stored")
			past, err := r.db.Imports(ctx, 10)
			must(t, err)
			if !past[1].Failed() || past[0].Failed() || past[0].Refused != 2 {
				t.Errorf("the imports are noted as %+v", past)
			}
		})
		t.Run("a second reading by who knew the pair is named by line and column", func(t *testing.T) {
			r.t = t
			page := r.bringAnother(upload{"inspections", "r.csv", "inspection_id,pair_ref,store,staff,at,kind\n" +
				"017f22e2-79b0-7cc3-98c4-dc0c0c073981,7K3M9QTDS,S-A,F-1,2026-09-30T11:00:00Z,check\n" +
				"017f22e2-79b0-7cc3-98c4-dc0c0c073982,7K3M9QTDS,S-A,F-1,2026-09-30T12:00:00Z,blind\n"})
			r.shows(r.sees(page), `<th scope="row" class="num" data-l="Line">3</th>`, "staff", "F-1", "has not read the pair openly that day", "Import the good rows")
		})
		t.Run("readings come in, and again they are known", func(t *testing.T) {
			r.t = t
			r.put(1, soundReading)
			var b bytes.Buffer
			must(t, exchange.Export(ctx, r.db, "inspections", exchange.Asked{Scopes: models.Fleet}, func(row []byte) error {
				b.Write(row)
				return nil
			}))
			page := r.bringIn(upload{"inspections", "r.csv", b.String()}, r.office())
			r.shows(r.sees(page), `Known already</th><td class="num">1<`)
			r.does(page, "drop")
			want(t, r.call("GET", page, r.office(), nil), http.StatusNotFound)
		})
		t.Run("what isn't such a file is said so", func(t *testing.T) {
			r.t = t
			r.refused(r.send("/office/imports", url.Values{"kind": {"events"}}), "a CSV file")
			r.refused(r.call("POST", "/office/imports", r.office(), upload{"shoes", "x.csv", "a\n"}), "&#34;shoes&#34;", "shoe-models")
			r.refused(r.call("POST", "/office/imports", r.office(), upload{"events", "x.csv", ""}), "a CSV file", `value="events" selected`)
			page := r.bringIn(upload{"events", "x.csv", "shop,when\nA,B\n"}, r.office())
			r.shows(r.sees(page), "shop")
			r.shows(r.sees(r.bringIn(upload{"events", "x.csv", "\x00\xff\"a\nb"}, r.office())), "What is wrong")
		})
	})
}

func TestAFileIsItsSendersAlone(t *testing.T) {
	r := newRig(t)
	page := r.bringIn(goodEvents, r.office())
	other, err := r.db.AddToken(t.Context(), setup, models.Token{Name: "other", Role: retail.Office, Scopes: models.Fleet}, time.Hour)
	must(t, err)
	want(t, r.call("GET", page, other, nil), http.StatusNotFound)
	want(t, r.call("POST", page, other, url.Values{"act": {"all"}}), http.StatusNotFound)
	want(t, r.call("GET", page, r.office(), nil), http.StatusOK)
}

func TestFilesThatWaitAreBounded(t *testing.T) {
	r := newRig(t)
	for range maxFiles {
		r.bringIn(goodEvents, r.office())
	}
	want(t, r.call("POST", "/office/imports", r.office(), goodEvents), http.StatusTooManyRequests)
	r.clock.advance(importLife + time.Minute)
	r.bringIn(goodEvents, r.office())
	if n := len(r.imports.all); n != 1 {
		t.Errorf("%d files are kept, want the new one alone", n)
	}
}

func TestAPassThatRunsSaysHowFarItIs(t *testing.T) {
	r := newRig(t)
	file, err := r.imports.add(models.Actor{Account: "token:office@fleet"}, "events", "long.csv", strings.NewReader(goodEvents.text))
	must(t, err)
	file.run = &importRun{done: make(chan struct{})}
	file.rows.Store(2)
	w := r.call("GET", "/office/imports/"+file.ID, r.office(), nil)
	want(t, w, http.StatusOK)
	r.check(w)
	r.shows(w.Body.String(), "2 of about 3 rows")
	if got := w.Header().Get("Refresh"); got != fmt.Sprint(importRefresh) {
		t.Errorf("Refresh %q", got)
	}
	want(t, r.send("/office/imports/"+file.ID, url.Values{"act": {"all"}}), http.StatusSeeOther)
	if over, run := file.last(); over || run != file.run {
		t.Error("a second pass began beside the first")
	}
}

func TestAPassThatBreaksOffStoresNothing(t *testing.T) {
	r := newRig(t)
	page := r.bringIn(goodEvents, r.office())
	r.imports.mu.Lock()
	file := r.imports.all[strings.TrimPrefix(page, "/office/imports/")]
	r.imports.mu.Unlock()
	must(t, file.content.Close())
	r.does(page, "all")
	r.shows(r.sees(page), "It broke off, and nothing was stored")
	all, err := r.db.Events(context.Background(), "", "")
	must(t, err)
	if len(all) != 0 {
		t.Errorf("%d events are stored", len(all))
	}
	r.shows(r.sees("/office/imports"), "It broke off")
}

func TestExportsLeadToTheirDownload(t *testing.T) {
	r := newRig(t)
	w := r.call("GET", "/office/exports?kind=sales&store="+storeA+"&first=2026-01-01&last=", r.office(), nil)
	want(t, w, http.StatusSeeOther)
	if to := w.Header().Get("Location"); to != apiRoot+"/export/sales.csv?from=2026-01-01&store="+storeA {
		t.Errorf("sent to %s", to)
	}
	want(t, r.call("GET", w.Header().Get("Location"), r.office(), nil), http.StatusOK)
	r.refused(r.call("GET", "/office/exports?kind=sales&first=soon&store=NONE", r.office(), nil), "&#34;soon&#34;", "&#34;NONE&#34;", `value="sales" selected`)
	north := r.token(retail.Manager, retail.Scope{Region: regionA})
	w = r.call("GET", "/office/exports", north, nil)
	want(t, w, http.StatusOK)
	if body := w.Body.String(); strings.Contains(body, `value="runners"`) || strings.Contains(body, storeB) {
		t.Errorf("a manager is offered what they can't have: %s", body)
	}
	r.refused(r.call("GET", "/office/exports?kind=runners", north, nil), "&#34;runners&#34;")
}
