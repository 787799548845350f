package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"solewright/assess"
	"solewright/models"
)

// While pages are asked for, a reading comes every comeEvery, and a reader looks at
// each page for lookAt on average: people do, and a page takes a processor to itself.
// Meanwhile it asks, as a browser does, for what the page was shown without.
const (
	comeEvery = 100 * time.Millisecond
	lookAt    = time.Second
	lookFor   = time.Minute
)

// looking is how long a reader looks at one page: from half of lookAt to half as long
// again, at random. Readers who all look for as long walk in step, and ask at once
// every time.
func looking() time.Duration { return lookAt/2 + rand.N(lookAt) }

// fleetPages are the pages and answers about the fleet that are asked for, each drawn
// anew: of all months and of the last, of all regions and of one, of models and stores.
var fleetPages = []struct {
	name string
	path func() string
}{
	{"/fleet", func() string { return "/fleet" }},
	{"/fleet of all months", func() string { return "/fleet?from=2016-11&to=2026-10" }},
	{"/fleet of a region, all months", func() string { return "/fleet?from=2016-11&to=2026-10&region=" + regionName(rand.Int64N(fleetRegions)) }},
	{"/fleet of a posture and up to a distance", func() string {
		posture := assess.GaitWords[rand.IntN(len(assess.GaitWords))]
		return fmt.Sprintf("/fleet?posture=%s&km_to=%d", url.QueryEscape(posture), 500+rand.IntN(1500))
	}},
	{"/fleet/models/{id}", func() string { return "/fleet/models/" + modelID(rand.Int64N(fleetModels)).String() }},
	{"/fleet/stores/{code}", func() string { return "/fleet/stores/" + storeName(rand.Int64N(fleetStores)) }},
	{"/fleet/pairs of a model", func() string { return "/fleet/pairs?model=" + modelID(rand.Int64N(fleetModels)).String() }},
	{"/api/v1/wear/shares by gait", func() string { return "/api/v1/wear/shares?by=gait&part=heel&pattern=medial" }},
	{"/api/v1/wear/life of a model", func() string { return "/api/v1/wear/life?model=" + modelID(rand.Int64N(fleetModels)).String() }},
	{"/api/v1/wear/trend of a region", func() string { return "/api/v1/wear/trend?region=" + regionName(rand.Int64N(fleetRegions)) }},
}

// pages measures pages of a server of its own, as a signed-in head office gets them,
// while readings come: each kind alone first, then by all readers.
func (l *lab) pages(t *table, of, address string, db *models.DB) error {
	const code = "HQ-1"
	password, _, err := l.solewright(nil, "staff", "add", code, "--role", "office", "--db", address)
	if err != nil {
		return err
	}
	s, err := l.serve("serve", "--db", address, "--data", l.path("pages"))
	if err != nil {
		return err
	}
	defer s.kill()
	jar, err := cookiejar.New(nil)
	if err != nil {
		return err
	}
	web := &http.Client{Jar: jar, Timeout: answerWithin, Transport: &http.Transport{MaxIdleConnsPerHost: readers}}
	get := func(ctx context.Context, path string) (a shown, err error) {
		begin := time.Now()
		ask, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+path, nil)
		if err != nil {
			return a, err
		}
		resp, err := web.Do(ask)
		if err != nil {
			return a, err
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		if err == nil && (resp.StatusCode != http.StatusOK || resp.Request.URL.Path == "/sign-in") {
			err = fmt.Errorf("%s answered %d at %s: %.200s", path, resp.StatusCode, resp.Request.URL.Path, text)
		}
		return shown{took: time.Since(begin), id: resp.Header.Get("X-Request-ID"), lacks: bytes.Contains(text, []byte("data-later="))}, err
	}
	resp, err := web.PostForm(s.url+"/sign-in", url.Values{"staff": {code}, "password": {password[strings.LastIndexByte(password, ' ')+1:]}})
	if err != nil {
		return err
	}
	resp.Body.Close()
	if err := poll(l.ctx, func() bool {
		resp, err := web.Get(s.url + "/readyz")
		if err != nil {
			return false
		}
		defer resp.Body.Close()
		text, err := io.ReadAll(resp.Body)
		return err == nil && strings.Contains(string(text), "as of")
	}); err != nil {
		return err
	}
	for _, p := range fleetPages {
		path := p.path()
		first, err := get(l.ctx, path)
		if err != nil {
			return err
		}
		t.row(of, p.name+", the first time", milli(first.took), "")
		if strings.HasPrefix(path, "/api/") {
			continue
		}
		rest, err := get(l.ctx, restOf(path))
		if err != nil {
			return err
		}
		t.row(of, p.name+", the first time, until all of it is there", milli(first.took+rest.took), "< "+seconds(signalsWithin)+" s")
	}

	ctx, cancel := context.WithTimeout(l.ctx, lookFor)
	defer cancel()
	var (
		group  sync.WaitGroup
		mu     sync.Mutex
		took   = make([][]time.Duration, len(fleetPages))
		ids    = make([][]string, len(fleetPages))
		rests  []time.Duration // until the rest of a page was there
		lacked int             // pages that were shown without something
		failed error
		stored int
	)
	fail := func(err error) {
		mu.Lock()
		defer mu.Unlock()
		if failed == nil && ctx.Err() == nil {
			failed = err
		}
	}
	group.Go(func() {
		tick := time.NewTicker(comeEvery)
		defer tick.Stop()
		for ; ; stored++ {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
			if err := storeOne(ctx, db, stored); err != nil {
				fail(fmt.Errorf("storing a reading: %w", err))
				return
			}
		}
	})
	for range readers {
		group.Go(func() {
			for ctx.Err() == nil {
				i := rand.IntN(len(fleetPages))
				path := fleetPages[i].path()
				page, err := get(ctx, path)
				if err != nil {
					fail(err)
					return
				}
				mu.Lock()
				took[i], ids[i] = append(took[i], page.took), append(ids[i], page.id)
				mu.Unlock()
				look, leave := context.WithTimeout(ctx, looking())
				var rest shown
				if page.lacks {
					if rest, err = get(look, restOf(path)); err != nil && look.Err() == nil {
						fail(err)
					}
				}
				if page.lacks && ctx.Err() == nil {
					mu.Lock()
					if lacked++; err == nil {
						rests = append(rests, page.took+rest.took)
					}
					mu.Unlock()
				}
				<-look.Done()
				leave()
			}
		})
	}
	group.Wait()
	if failed != nil {
		return fmt.Errorf("%s: %w", of, failed)
	}
	t.row(of, "peak memory of that server, from its start to the last page", field(fmt.Sprintf("/proc/%d/status", s.cmd.Process.Pid), "VmHWM"), fmt.Sprintf("< %d kB", memoryWithin>>10))
	var logged map[string]time.Duration
	patient, done := context.WithTimeout(l.ctx, answerWithin)
	defer done()
	if err := poll(patient, func() bool { // a line is written after its answer
		logged, failed = s.times()
		return failed != nil || !slices.ContainsFunc(slices.Concat(ids...), func(id string) bool { return logged[id] == 0 })
	}); err != nil {
		return err
	}
	if failed != nil {
		return failed
	}
	var all, served []time.Duration
	for i, d := range took {
		if len(d) == 0 {
			return fmt.Errorf("%s: %s was not asked for", of, fleetPages[i].name)
		}
		var by []time.Duration
		for _, id := range ids[i] {
			by = append(by, logged[id])
		}
		all, served = append(all, d...), append(served, by...)
		t.row(of, fleetPages[i].name+", p50 and p95, of the server and over HTTP", milli(percentile(by, 50))+", "+milli(percentile(by, 95))+"; "+milli(percentile(d, 50))+", "+milli(percentile(d, 95)), "")
	}
	t.row(of, fmt.Sprintf("all %d pages, each looked at for %s to %s by %d readers, %d readings stored meanwhile, p50 and p95 of the server", len(all), lookAt/2, lookAt*3/2, readers, stored), milli(percentile(served, 50))+", "+milli(percentile(served, 95)), "p95 "+milli(askWithin))
	if len(rests) == 0 {
		return fmt.Errorf("%s: no page got the rest of it", of)
	}
	t.row(of, fmt.Sprintf("%d of them were shown without something; all of it was there while they were looked at for", lacked), fmt.Sprintf("%d, p50 and p95 %s, %s", len(rests), milli(percentile(rests, 50)), milli(percentile(rests, 95))), "")
	t.row(of, "the same over HTTP, with readers, server and database on one machine, p50 and p95", milli(percentile(all, 50))+", "+milli(percentile(all, 95)), "")
	return nil
}

// shown is a page as a reader gets it: how long that took, the request's id, and whether
// the page lacks what takes long.
type shown struct {
	took  time.Duration
	id    string
	lacks bool
}

// restOf is where a page asks for what it was shown without.
func restOf(path string) string {
	if strings.Contains(path, "?") {
		return path + "&wait=parts"
	}
	return path + "?wait=parts"
}

// requestLine is what the server logs of a request: its id, and how long it took.
var requestLine = regexp.MustCompile(`request_id=(\S+) .*\bms=([0-9.]+)`)

// times returns how long the server took for each request that it logged.
func (s *server) times() (map[string]time.Duration, error) {
	log, err := os.ReadFile(s.log)
	if err != nil {
		return nil, err
	}
	took := map[string]time.Duration{}
	for _, m := range requestLine.FindAllSubmatch(log, -1) {
		ms, err := strconv.ParseFloat(string(m[2]), 64)
		if err != nil {
			return nil, err
		}
		took[string(m[1])] = time.Duration(ms * float64(time.Millisecond))
	}
	return took, nil
}

// storeOne stores the n-th reading of a day in one of the stores.
func storeOne(ctx context.Context, db *models.DB, n int) error {
	_, err := db.SaveInspection(ctx, models.Actor{Account: "proof"}, models.NewInspection{
		Record: assess.Record{
			ID: assess.NewV7(time.Now().UnixMilli(), [10]byte{byte(n), byte(n >> 8)}), Store: storeName(int64(n) % fleetStores),
			Staff: "F-0001", At: time.Now(), Kind: assess.WearCheck,
		},
		Facts: models.Facts{Verdict: assess.Keep},
	})
	return err
}
