package dashboard

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"solewright/models/photos"
	"solewright/models/photos/s3test"
	"solewright/models/retail"
)

// shot is the n-th picture of a test, and the SHA-256 of its bytes.
func shot(t testing.TB, n int) (data []byte, sha string) {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 96, 64))
	img.SetGray(n%96, n/96, color.Gray{255})
	var b bytes.Buffer
	must(t, png.Encode(&b, img))
	sum := sha256.Sum256(b.Bytes())
	return b.Bytes(), hex.EncodeToString(sum[:])
}

// shown is the address of a photo of a reading.
func shown(sha string, reading, store string) string {
	return fmt.Sprintf("%s/photos/%s?inspection=%s&store=%s&shoe=right&view=back", apiRoot, sha, reading, store)
}

func (r *rig) upload(path, token string, data []byte) *httptest.ResponseRecorder {
	return r.call("PUT", path, token, data, "Content-Type", "image/png")
}

// newRigOnBucket is newRig with its photos in a bucket.
func newRigOnBucket(t *testing.T) (*rig, *s3test.Server) {
	t.Helper()
	bucket := s3test.New(t)
	return newRig(t, func(c *Config) {
		var err error
		c.Photos, err = photos.Open(bucket.URL, photos.Access{Key: s3test.Key, Secret: s3test.Secret})
		must(t, err)
	}), bucket
}

func TestAPhotoIsKeptOnceAndSeenWithItsReading(t *testing.T) {
	r := newRig(t)
	data, sha := shot(t, 1)
	// It may come before its reading, as from a tablet that was off line.
	first := r.upload(shown(sha, id(1), storeA)+"&points=0.1,0.9,0.9,0.9,0.5,0.2,0.5,0.7", r.fitter(), data)
	want(t, first, http.StatusCreated)
	out := decoded[photoOut](t, first)
	if out.Shoe != "right" || out.View != "back" || len(out.Points) != 8 || out.SHA == sha {
		t.Errorf("stored as %+v", out)
	}
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.fitter(), nil), http.StatusForbidden) // no reading shows it yet
	ref, _ := r.put(1, soundReading)["pair_ref"].(string)
	want(t, r.upload(shown(sha, id(1), storeA)+"&points=0.1,0.9,0.9,0.9,0.5,0.2,0.5,0.7", r.fitter(), data), http.StatusOK)

	for _, path := range []string{sha, out.SHA, out.SHA + "?w=160"} {
		w := r.call("GET", apiRoot+"/photos/"+path, r.fitter(), nil)
		want(t, w, http.StatusOK)
		if _, kind, err := image.Decode(w.Body); err != nil || kind != "jpeg" || w.Header().Get("Content-Type") != "image/jpeg" {
			t.Errorf("%s is %s of %s, %v", path, kind, w.Header().Get("Content-Type"), err)
		}
		if got := w.Header().Get("Cache-Control"); got != "private, no-cache" {
			t.Errorf("%s may be kept as %q", path, got)
		}
		again := r.call("GET", apiRoot+"/photos/"+path, r.fitter(), nil, "If-None-Match", w.Header().Get("ETag"))
		want(t, again, http.StatusNotModified)
	}
	list := decoded[photosOut](t, r.call("GET", apiRoot+"/inspections/"+id(1)+"/photos", r.fitter(), nil))
	if len(list.Photos) != 1 || list.Photos[0].SHA != out.SHA {
		t.Errorf("the reading's photos are %+v", list)
	}

	// Of another region, it takes the slip.
	far := r.token(retail.Fitter, retail.Scope{Store: storeB})
	want(t, r.call("GET", apiRoot+"/photos/"+out.SHA, far, nil), http.StatusForbidden)
	want(t, r.call("GET", apiRoot+"/photos/"+out.SHA+"?pair=7K3M9QTDS", far, nil), http.StatusForbidden)
	want(t, r.call("GET", apiRoot+"/photos/"+out.SHA+"?pair="+ref, far, nil), http.StatusOK)
	want(t, r.upload(shown(sha, id(1), storeA), far, data), http.StatusForbidden)

	page := r.call("GET", "/pairs/"+ref, r.fitter(), nil)
	want(t, page, http.StatusOK)
	if !strings.Contains(page.Body.String(), "/photos/"+out.SHA) {
		t.Error("the pair's page doesn't show it")
	}
}

func TestAPhotoIsRefusedByName(t *testing.T) {
	r := newRig(t)
	data, sha := shot(t, 1)
	text := []byte("a shoe")
	sum := sha256.Sum256(text)
	whole := shown(sha, id(1), storeA)
	for name, c := range map[string]struct {
		path string
		data []byte
		code int
		at   []string // pointers and parameters
	}{
		"other bytes":        {whole, append(data, 0), http.StatusUnprocessableEntity, []string{"#"}},
		"no picture":         {shown(hex.EncodeToString(sum[:]), id(1), storeA), text, http.StatusUnprocessableEntity, []string{"#"}},
		"no hash":            {shown("abc", id(1), storeA), data, http.StatusBadRequest, []string{"sha256"}},
		"nothing said of it": {apiRoot + "/photos/" + sha, data, http.StatusBadRequest, []string{"inspection", "store", "shoe", "view"}},
		"seven numbers":      {whole + "&points=0,0,0,0,0,0,0", data, http.StatusUnprocessableEntity, []string{"#/points"}},
		"points outside":     {whole + "&points=0,0,0,0,0,0,0,2", data, http.StatusBadRequest, []string{"points"}},
		"no store":           {shown(sha, id(1), "S-9"), data, http.StatusUnprocessableEntity, []string{"#/store"}},
	} {
		t.Run(name, func(t *testing.T) {
			w := r.upload(c.path, r.fitter(), c.data)
			want(t, w, c.code)
			var at []string
			for _, v := range decoded[problem](t, w).Errors {
				at = append(at, v.Pointer+v.Parameter)
			}
			if !slices.Equal(at, c.at) {
				t.Errorf("it names %q, want %q: %s", at, c.at, w.Body)
			}
		})
	}
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.fitter(), nil), http.StatusNotFound)
	want(t, r.call("GET", apiRoot+"/photos/"+sha+"?w=7", r.fitter(), nil), http.StatusBadRequest)

	none := newRig(t, func(c *Config) { c.Photos = nil })
	want(t, none.upload(whole, none.fitter(), data), http.StatusServiceUnavailable)
}

func TestAPhotoThatCannotBeKeptIsSaidAndComesAgain(t *testing.T) {
	r, bucket := newRigOnBucket(t)
	data, sha := shot(t, 1)
	r.put(1, soundReading)
	for name, c := range map[string]struct {
		status int
		code   string
		says   string
	}{
		"the key may not write": {http.StatusForbidden, "AccessDenied", "can't be reached"},
		"the bucket is full":    {http.StatusInsufficientStorage, "StorageFull", "full: the photo was not kept"},
	} {
		t.Run(name, func(t *testing.T) {
			bucket.Fail(func(*http.Request) (int, string) { return c.status, c.code })
			w := r.upload(shown(sha, id(1), storeA), r.fitter(), data)
			want(t, w, http.StatusServiceUnavailable)
			if p := decoded[problem](t, w); !strings.Contains(p.Detail, c.says) || strings.Contains(w.Body.String(), c.code) {
				t.Errorf("it says %s, want %q and nothing of how the store is kept", w.Body, c.says)
			}
			list := decoded[photosOut](t, r.call("GET", apiRoot+"/inspections/"+id(1)+"/photos", r.fitter(), nil))
			if len(list.Photos) != 0 || len(bucket.Names()) != 0 {
				t.Errorf("kept by halves: %+v, %v", list, bucket.Names())
			}
		})
	}
	bucket.Fail(nil)
	want(t, r.upload(shown(sha, id(1), storeA), r.fitter(), data), http.StatusCreated)
	want(t, r.call("GET", apiRoot+"/photos/"+sha+"?w=160", r.fitter(), nil), http.StatusOK)
	bucket.Fail(func(*http.Request) (int, string) { return http.StatusServiceUnavailable, "SlowDown" })
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.fitter(), nil), http.StatusServiceUnavailable)
}

// A bucket that takes a photo and says that it didn't: nothing shows the photo
// until it has come again, and nothing that fails is told with the key.
func TestAPhotoThatTheBucketTookUnsaidComesAgain(t *testing.T) {
	r, bucket := newRigOnBucket(t)
	data, sha := shot(t, 1)
	r.put(1, soundReading)
	bucket.FailDone(func(q *http.Request) (status int, code string) {
		if q.Method == http.MethodPut {
			status, code = http.StatusInternalServerError, "InternalError"
		}
		return status, code
	})
	want(t, r.upload(shown(sha, id(1), storeA), r.fitter(), data), http.StatusServiceUnavailable)
	list := func() int {
		return len(decoded[photosOut](t, r.call("GET", apiRoot+"/inspections/"+id(1)+"/photos", r.fitter(), nil)).Photos)
	}
	if len(bucket.Names()) != 1 || list() != 0 {
		t.Errorf("%v are kept and %d shown, want 1 and 0", bucket.Names(), list())
	}
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.fitter(), nil), http.StatusNotFound)

	bucket.FailDone(nil)
	want(t, r.upload(shown(sha, id(1), storeA), r.fitter(), data), http.StatusCreated)
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.fitter(), nil), http.StatusOK)
	if list() != 1 {
		t.Errorf("%d are shown, want 1", list())
	}

	// What no reading takes is not kept for good.
	for n := 2; n <= 12; n++ {
		other, hash := shot(t, n)
		want(t, r.upload(shown(hash, id(1), storeA), r.fitter(), other), http.StatusCreated)
	}
	many, hash := shot(t, 13)
	want(t, r.upload(shown(hash, id(1), storeA), r.fitter(), many), http.StatusUnprocessableEntity)
	r.clock.advance(2 * time.Hour)
	gone, err := r.db.PhotosToDelete(t.Context())
	must(t, err)
	if len(gone) != 1 {
		t.Errorf("%d are to be deleted, want the one that was refused", len(gone))
	}
	for _, told := range []string{s3test.Key, s3test.Secret} {
		if strings.Contains(r.logged.String(), told) {
			t.Errorf("the log tells %q", told)
		}
	}
}

// While a bucket is slow, pictures are still unpacked, so that who comes next
// waits for the bucket alone.
func TestASlowBucketHoldsUpNoOtherPhoto(t *testing.T) {
	r, bucket := newRigOnBucket(t)
	r.put(1, soundReading)
	fitter := r.fitter()
	all := cap(r.stripping) + 1
	arrived, answer := make(chan struct{}, all), make(chan struct{})
	bucket.Fail(func(q *http.Request) (int, string) {
		if q.Method == http.MethodPut {
			arrived <- struct{}{}
			<-answer
		}
		return 0, ""
	})
	var sending sync.WaitGroup
	for n := range all {
		data, sha := shot(t, n+1)
		sending.Go(func() {
			if w := r.upload(shown(sha, id(1), storeA), fitter, data); w.Code != http.StatusCreated {
				t.Errorf("%d %s", w.Code, w.Body)
			}
		})
	}
	for range all {
		<-arrived
	}
	close(answer)
	sending.Wait()
}

func TestABlindReadersPhotoIsKeptFromOthers(t *testing.T) {
	r := newRig(t)
	data, sha := shot(t, 1)
	r.put(1, soundReading.with(fields{"kind": "blind"}))
	want(t, r.upload(shown(sha, id(1), storeA), r.fitter(), data), http.StatusCreated)
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.token(retail.Manager, retail.Scope{Store: storeA}), nil), http.StatusForbidden)
	want(t, r.call("GET", apiRoot+"/photos/"+sha, r.office(), nil), http.StatusOK)
}

// A list of pairs shows their photos to who may read the readings that they
// belong to, and never one of a blind or a void reading.
func TestAListOfPairsShowsTheirPhotos(t *testing.T) {
	r := newRig(t)
	ref := r.put(1, soundReading.with(fields{"runner": "R-77"}))["pair_ref"].(string)
	blind := soundReading.with(fields{"kind": "blind", "staff": "F-2", "pair_ref": ref, "at": "2026-10-05T11:30:00Z"})
	delete(blind, "given")
	r.put(2, blind)
	show := func(n int) string {
		data, sha := shot(r.t, n)
		want(r.t, r.upload(shown(sha, id(n), storeA), r.office(), data), http.StatusCreated)
		links, err := r.db.PhotosOf(t.Context(), mustUUID(t, id(n)))
		must(t, err)
		return hex.EncodeToString(links[mustUUID(t, id(n))][0].SHA[:])
	}
	open, hidden := show(1), show(2)
	page := r.sees("/fleet/pairs")
	r.shows(page, "/api/v1/photos/"+open+"?pair="+ref+"&amp;w=160")
	if strings.Contains(page, hidden) || strings.Contains(page, "R-77") {
		t.Error("the list shows what was read blind, or whose pair it is")
	}
	if south := r.call("GET", "/fleet/pairs", r.token(retail.Manager, retail.Scope{Region: regionB}), nil).Body.String(); strings.Contains(south, open) {
		t.Error("another region's manager sees the photo")
	}
	want(t, r.call("POST", apiRoot+"/inspections/"+id(1)+"/void", r.office(), fields{"reason": "wrong pair"}), http.StatusOK)
	if page := r.sees("/fleet/pairs"); strings.Contains(page, open) {
		t.Error("the photo of a void reading is shown")
	}
}
