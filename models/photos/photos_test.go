package photos_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"solewright/models/photos"
	"solewright/models/photos/s3test"
)

// drawn is a picture with a red left and a blue right half.
func drawn(w, h int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{200, 0, 0, 255}
			if x >= w/2 {
				c = color.RGBA{0, 0, 200, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	return img
}

func asJPEG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withExif puts an Exif segment behind a JPEG's first marker: an orientation, and
// a place as text where its picture stands. Tags: CIPA DC-008 (Exif 2.32), 0x0112
// Orientation, 0x010E ImageDescription.
func withExif(data []byte, orientation uint16, place string) []byte {
	le := binary.LittleEndian
	tiff := []byte("II*\x00\x08\x00\x00\x00")
	tiff = le.AppendUint16(tiff, 2)
	tiff = le.AppendUint16(tiff, 0x010E)
	tiff = le.AppendUint16(tiff, 2) // ASCII
	tiff = le.AppendUint32(tiff, uint32(len(place)+1))
	tiff = le.AppendUint32(tiff, 8+2+2*12+4)
	tiff = le.AppendUint16(tiff, 0x0112)
	tiff = le.AppendUint16(tiff, 3) // SHORT
	tiff = le.AppendUint32(tiff, 1)
	tiff = le.AppendUint32(tiff, uint32(orientation))
	tiff = le.AppendUint32(tiff, 0)
	tiff = append(append(tiff, place...), 0)
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(body)+2))...)
	return append(append(out, body...), data[2:]...)
}

func TestStripTurnsUprightAndKeepsThePictureOnly(t *testing.T) {
	const place = "52.5200N 13.4050E"
	sent := withExif(asJPEG(t, drawn(200, 100)), 6, place)
	if !bytes.Contains(sent, []byte(place)) {
		t.Fatal("the test's picture has no place in it")
	}
	p, err := photos.Strip(sent)
	if err != nil {
		t.Fatal(err)
	}
	// Orientation 6: the first row is the right side of what is seen (CIPA DC-008),
	// so that what was left is on top.
	if p.Width != 100 || p.Height != 200 {
		t.Errorf("it is %d × %d, want it turned to 100 × 200", p.Width, p.Height)
	}
	kept, err := jpeg.Decode(bytes.NewReader(p.Bytes))
	if err != nil {
		t.Fatal(err)
	}
	if r, _, b, _ := kept.At(50, 20).RGBA(); r < b {
		t.Error("what was left is not on top")
	}
	for _, left := range []string{place, "Exif", "JFIF\x00\x01\x02"} {
		if bytes.Contains(p.Bytes, []byte(left)) {
			t.Errorf("%q is left in it", left)
		}
	}
	if p.SHA != sha256.Sum256(p.Bytes) || p.Sent != sha256.Sum256(sent) {
		t.Error("its hashes are not those of its bytes")
	}
	again, err := photos.Strip(sent)
	if err != nil || again.SHA != p.SHA {
		t.Errorf("the same bytes gave another photo: %v", err)
	}
}

func TestStripMakesLargePicturesSmaller(t *testing.T) {
	p, err := photos.Strip(asPNG(t, drawn(3200, 800)))
	if err != nil {
		t.Fatal(err)
	}
	if p.Width != 1600 || p.Height != 400 {
		t.Errorf("it is %d × %d, want 1600 × 400", p.Width, p.Height)
	}
}

func TestStripLaysOnWhite(t *testing.T) {
	p, err := photos.Strip(asPNG(t, image.NewRGBA(image.Rect(0, 0, 80, 80)))) // all seen through
	if err != nil {
		t.Fatal(err)
	}
	kept, err := jpeg.Decode(bytes.NewReader(p.Bytes))
	if err != nil {
		t.Fatal(err)
	}
	if r, _, _, _ := kept.At(40, 40).RGBA(); r>>8 < 250 {
		t.Errorf("red is %d, want white", r>>8)
	}
}

func TestStripRefuses(t *testing.T) {
	whole := asJPEG(t, drawn(200, 100))
	// A PNG whose header speaks of more pixels than memory has room for; its
	// checksum is right, its data isn't there.
	bomb := asPNG(t, drawn(64, 64))
	binary.BigEndian.PutUint32(bomb[16:], 60_000)
	binary.BigEndian.PutUint32(bomb[20:], 60_000)
	binary.BigEndian.PutUint32(bomb[29:], crc(bomb[12:29]))
	for name, c := range map[string]struct {
		data []byte
		says string
	}{
		"nothing":           {nil, "a JPEG or a PNG is taken"},
		"a text":            {[]byte("a shoe"), "a JPEG or a PNG is taken"},
		"a drawing":         {[]byte("<svg xmlns='http://www.w3.org/2000/svg'/>"), "a JPEG or a PNG is taken"},
		"half a header":     {whole[:3], "header can't be read"},
		"half a picture":    {whole[:len(whole)/2], "damaged"},
		"too small":         {asJPEG(t, drawn(20, 20)), "each side takes 64"},
		"too many pixels":   {bomb, "60000 × 60000"},
		"too many bytes":    {append(whole, make([]byte, photos.MaxBytes)...), "16777216 are taken"},
		"a HEIC of a phone": {[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), "a JPEG or a PNG is taken"},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := photos.Strip(c.data)
			if !errors.Is(err, photos.ErrPicture) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, %v, want an error that says %q", p, err, c.says)
			}
		})
	}
}

func FuzzStrip(f *testing.F) {
	f.Add(asJPEG(f, drawn(70, 70)))
	f.Add(asPNG(f, drawn(70, 70)))
	f.Add(withExif(asJPEG(f, drawn(70, 70)), 8, "here"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := photos.Strip(data)
		if err != nil {
			if !errors.Is(err, photos.ErrPicture) {
				t.Fatal(err)
			}
			return
		}
		if _, err := jpeg.Decode(bytes.NewReader(p.Bytes)); err != nil {
			t.Fatalf("what is kept can't be read: %v", err)
		}
	})
}

// Both kinds of store do the same.
func TestAStoreKeepsAPhotoOnce(t *testing.T) {
	for _, kind := range []string{"a folder", "a bucket"} {
		t.Run(kind, func(t *testing.T) {
			var (
				files *photos.Store
				err   error
				names func() []string
				spoil func(name string, data []byte)
			)
			if kind == "a folder" {
				dir := t.TempDir()
				files, err = photos.Open("file:"+dir, photos.Access{})
				names = func() []string { return in(t, dir) }
				spoil = func(name string, data []byte) {
					if err := os.WriteFile(name, data, 0o600); err != nil {
						t.Fatal(err)
					}
				}
			} else {
				server := s3test.New(t)
				files, err = photos.Open(server.URL, photos.Access{Key: s3test.Key, Secret: s3test.Secret})
				names = server.Names
				spoil = server.Put
			}
			if err != nil {
				t.Fatal(err)
			}
			p, err := photos.Strip(asPNG(t, drawn(400, 200)))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := files.Bytes(t.Context(), nameOf(p), 0); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("before it is put it is %v", err)
			}
			var all sync.WaitGroup
			for range 4 { // tablets that send the same picture
				all.Go(func() {
					if err := files.Put(t.Context(), p, ""); err != nil {
						t.Error(err)
					}
				})
			}
			all.Wait()
			got, err := files.Bytes(t.Context(), nameOf(p), 0)
			if err != nil || !bytes.Equal(got, p.Bytes) {
				t.Errorf("got %d bytes, %v, want the %d that were put", len(got), err, len(p.Bytes))
			}
			small, err := files.Bytes(t.Context(), nameOf(p), 160)
			if err != nil {
				t.Fatal(err)
			}
			size, err := jpeg.DecodeConfig(bytes.NewReader(small))
			if err != nil || size.Width != 160 || size.Height != 80 {
				t.Errorf("small it is %d × %d, %v, want 160 × 80", size.Width, size.Height, err)
			}
			if _, err := files.Bytes(t.Context(), nameOf(p), 161); err == nil {
				t.Error("a width that is none of the list's is made")
			}
			if wrong, err := files.Check(t.Context(), nameOf(p)); wrong != "" || err != nil {
				t.Errorf("a whole photo is %q, %v", wrong, err)
			}
			if len(names()) != 2 {
				t.Fatalf("%d files, want the photo and the small one: %v", len(names()), names())
			}
			whole := names()[1] // after NAME.160.jpg
			spoil(names()[0], small[:len(small)/2])
			if again, err := files.Bytes(t.Context(), nameOf(p), 160); err != nil || !bytes.Equal(again, small) {
				t.Errorf("half a small one is answered with %d bytes, %v, want it made again", len(again), err)
			}
			spoil(whole, p.Bytes[:len(p.Bytes)/2]) // a copy that was broken off
			if _, err := files.Bytes(t.Context(), nameOf(p), 0); !errors.Is(err, photos.ErrStore) {
				t.Errorf("half a photo is %v", err)
			}
			if err := files.Put(t.Context(), p, ""); err != nil {
				t.Error(err)
			}
			if got, err := files.Bytes(t.Context(), nameOf(p), 0); err != nil || !bytes.Equal(got, p.Bytes) {
				t.Errorf("put again it is %d bytes, %v", len(got), err)
			}
			spoil(whole, []byte("rotten"))
			if wrong, err := files.Check(t.Context(), nameOf(p)); wrong != "its file holds other bytes" || err != nil {
				t.Errorf("rot is %q, %v", wrong, err)
			}
			for range 2 {
				if err := files.Delete(t.Context(), nameOf(p)); err != nil {
					t.Error(err)
				}
			}
			if _, err := files.Bytes(t.Context(), nameOf(p), 160); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("deleted it is %v", err)
			}
			if wrong, _ := files.Check(t.Context(), nameOf(p)); wrong != "its file is missing" {
				t.Errorf("a missing photo is %q", wrong)
			}
			if left := names(); len(left) > 0 {
				t.Errorf("%v are left", left)
			}
		})
	}
}

// nameOf is the name of a photo without a word beside its SHA-256.
func nameOf(p *photos.Photo) photos.Name { return photos.Name{SHA: p.SHA} }

// in lists the files of a folder's folders.
func in(t *testing.T, dir string) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(dir, "*", "*"))
	if err != nil {
		t.Fatal(err)
	}
	hidden, err := filepath.Glob(filepath.Join(dir, "*", ".*"))
	if err != nil {
		t.Fatal(err)
	}
	return append(names, hidden...)
}

func TestABucketThatRefuses(t *testing.T) {
	p, err := photos.Strip(asPNG(t, drawn(400, 200)))
	if err != nil {
		t.Fatal(err)
	}
	server := s3test.New(t)
	held := make(chan struct{})
	t.Cleanup(func() { close(held) })
	good := photos.Access{Key: s3test.Key, Secret: s3test.Secret, Wait: 5 * time.Second}
	answer := func(status int, code string) func(*http.Request) (int, string) {
		return func(*http.Request) (int, string) { return status, code }
	}
	for _, c := range []struct {
		name   string
		url    string
		access photos.Access
		fail   func(*http.Request) (int, string)
		err    error
		says   string
	}{
		{"a wrong secret", server.URL, photos.Access{Key: s3test.Key, Secret: "another"}, nil, photos.ErrStore, "refuses"},
		{"an unknown key", server.URL, photos.Access{Key: "NOBODY", Secret: s3test.Secret}, nil, photos.ErrStore, "refuses"},
		{"a bucket that isn't there", server.At("/boots"), good, nil, photos.ErrStore, "there is no bucket boots"},
		{"a key that may not write", server.URL, good, answer(http.StatusForbidden, "AccessDenied"), photos.ErrStore, "refuses"},
		{"a server that is broken", server.URL, good, answer(http.StatusInternalServerError, "InternalError"), photos.ErrStore, "refuses"},
		{"a full server", server.URL, good, answer(http.StatusInsufficientStorage, "StorageFull"), photos.ErrFull, "free some space"},
		{
			"a server that doesn't answer", server.URL,
			photos.Access{Key: s3test.Key, Secret: s3test.Secret, Wait: 50 * time.Millisecond},
			func(*http.Request) (int, string) { <-held; return http.StatusServiceUnavailable, "SlowDown" }, photos.ErrStore, "no answer within 50ms",
		},
		{"a server that isn't there", "s3:http://" + unused(t) + "/shoes", good, nil, photos.ErrStore, "refused"},
	} {
		t.Run(c.name, func(t *testing.T) {
			server.Fail(c.fail)
			defer server.Fail(nil)
			files, err := photos.Open(c.url, c.access)
			if err != nil {
				t.Fatal(err)
			}
			if err := files.Put(t.Context(), p, ""); !errors.Is(err, c.err) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("put: %v, want %v that says %q", err, c.err, c.says)
			}
			if _, err := files.Bytes(t.Context(), nameOf(p), 0); !errors.Is(err, c.err) || errors.Is(err, fs.ErrNotExist) {
				t.Errorf("a photo that can't be asked for is %v, want %v", err, c.err)
			}
			if _, err := files.Check(t.Context(), nameOf(p)); err == nil {
				t.Error("a photo that can't be read is checked")
			}
			if names := server.Names(); len(names) > 0 {
				t.Errorf("kept are %v", names)
			}
		})
	}
	t.Run("who gives up waits no longer", func(t *testing.T) {
		server.Fail(func(*http.Request) (int, string) { <-held; return http.StatusServiceUnavailable, "SlowDown" })
		defer server.Fail(nil)
		files, err := photos.Open(server.URL, good)
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
		defer cancel()
		if err := files.Put(ctx, p, ""); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%v", err)
		}
	})
	t.Run("a hiccup is tried again", func(t *testing.T) {
		var once sync.Once
		server.Fail(func(r *http.Request) (status int, code string) {
			if r.Method == http.MethodPut {
				once.Do(func() { status, code = http.StatusServiceUnavailable, "SlowDown" })
			}
			return status, code
		})
		defer server.Fail(nil)
		files, err := photos.Open(server.URL, good)
		if err != nil {
			t.Fatal(err)
		}
		if err := files.Put(t.Context(), p, ""); err != nil {
			t.Error(err)
		}
		if server.Calls(http.MethodPut) < 2 || len(server.Names()) != 1 {
			t.Errorf("%d calls, kept are %v", server.Calls(http.MethodPut), server.Names())
		}
	})
}

// What a bucket says in the middle of something, or doesn't, is not to be taken
// for what it has done: a photo is kept when Put says so, never shown by halves,
// and comes again.
func TestABucketThatStopsHalfWay(t *testing.T) {
	p, err := photos.Strip(asPNG(t, drawn(400, 200)))
	if err != nil {
		t.Fatal(err)
	}
	const silent, slow = 150 * time.Millisecond, 10 * time.Second // how long is waited
	of := func(method string, then func()) func(*http.Request) bool {
		return func(r *http.Request) bool {
			if r.Method == method && then != nil {
				then()
			}
			return r.Method == method
		}
	}
	broken := func(*http.Request) (int, string) { return http.StatusInternalServerError, "InternalError" }
	puts := func(r *http.Request) (int, string) {
		if r.Method == http.MethodPut {
			return broken(r)
		}
		return 0, ""
	}
	for _, c := range []struct {
		name    string
		befalls func(s *s3test.Server, silence func())
		wait    time.Duration
		there   bool // before
		kept    int  // objects afterwards
		put     bool // Put is answered
		shown   bool // the photo is, while it lasts
	}{
		{"it takes the photo and says that it failed", func(s *s3test.Server, _ func()) { s.FailDone(puts) }, slow, false, 1, false, true},
		{"it takes the photo and then hangs up", func(s *s3test.Server, _ func()) { s.Cut(of("PUT", nil)) }, slow, false, 1, false, true},
		{"it takes the photo and falls silent", func(s *s3test.Server, silence func()) { s.Cut(of("PUT", silence)) }, silent, false, 1, false, true},
		{"it falls silent in the middle of taking it", func(s *s3test.Server, silence func()) {
			s.Fail(func(r *http.Request) (int, string) { silence(); return broken(r) })
		}, silent, false, 0, false, false},
		{"it hangs up in the middle of giving it", func(s *s3test.Server, _ func()) { s.Cut(of("GET", nil)) }, slow, true, 1, true, false},
		{"it falls silent in the middle of giving it", func(s *s3test.Server, silence func()) { s.Cut(of("GET", silence)) }, silent, true, 1, true, false},
		{"it is slow", func(s *s3test.Server, _ func()) {
			s.Fail(func(*http.Request) (int, string) { <-time.After(silent / 10); return 0, "" })
		}, slow, false, 1, true, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			server := s3test.New(t)
			over := make(chan struct{})
			defer close(over)
			files, err := photos.Open(server.URL, photos.Access{Key: s3test.Key, Secret: s3test.Secret, Wait: c.wait})
			if err != nil {
				t.Fatal(err)
			}
			if c.there {
				if err := files.Put(t.Context(), p, ""); err != nil {
					t.Fatal(err)
				}
			}
			c.befalls(server, func() { <-over })
			check := func(what string, err error, good bool) {
				t.Helper()
				switch {
				case good && err != nil, !good && !errors.Is(err, photos.ErrStore):
					t.Errorf("%s: %v", what, err)
				case err != nil && (strings.Contains(err.Error(), s3test.Key) || strings.Contains(err.Error(), s3test.Secret)):
					t.Errorf("%s: the error tells the key: %v", what, err)
				}
			}
			check("put", files.Put(t.Context(), p, ""), c.put)
			if len(server.Names()) != c.kept {
				t.Errorf("kept are %v, want %d", server.Names(), c.kept)
			}
			got, err := files.Bytes(t.Context(), nameOf(p), 0)
			check("shown", err, c.shown)
			if len(got) > 0 && !bytes.Equal(got, p.Bytes) {
				t.Errorf("%d bytes of %d are shown", len(got), len(p.Bytes))
			}
			_, err = files.Bytes(t.Context(), nameOf(p), 160)
			if c.kept == 1 && !c.shown {
				check("small", err, false)
				if names := server.Names(); len(names) != 1 {
					t.Errorf("kept are %v", names)
				}
			}

			server.Fail(nil)
			server.FailDone(nil)
			server.Cut(nil)
			before := server.Calls(http.MethodPut)
			check("put again", files.Put(t.Context(), p, ""), true)
			if again := server.Calls(http.MethodPut) - before; again != 1-c.kept {
				t.Errorf("it is sent %d times more, with %d kept", again, c.kept)
			}
			for _, width := range []int{0, 160} {
				_, err := files.Bytes(t.Context(), nameOf(p), width)
				check("then", err, true)
			}
			if err := files.Delete(t.Context(), nameOf(p)); err != nil || len(server.Names()) > 0 {
				t.Errorf("left are %v, %v", server.Names(), err)
			}
		})
	}
}

// unused returns an address that nothing listens on.
func unused(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func TestWhatAKillLeftIsClearedAway(t *testing.T) {
	dir := t.TempDir()
	part := filepath.Join(dir, "ab", ".part-1")
	if err := os.MkdirAll(filepath.Dir(part), 0o750); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		age  int // hours
		left bool
	}{{2, false}, {0, true}} {
		if err := os.WriteFile(part, []byte("half"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := age(part, c.age); err != nil {
			t.Fatal(err)
		}
		files, err := photos.Open("file:"+dir, photos.Access{})
		if err != nil {
			t.Fatal(err)
		}
		if err := files.Tidy(); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(part); (err == nil) != c.left {
			t.Errorf("a part of %d hours ago: %v", c.age, err)
		}
	}
}

func TestOpenSaysWhatIsWanted(t *testing.T) {
	signs := photos.Access{Key: "K", Secret: "S"}
	for _, c := range []struct {
		url    string
		access photos.Access
		says   string
	}{
		{"", signs, "want file:DIR"},
		{"file:", signs, "want file:DIR"},
		{"/photos", signs, "want file:DIR"},
		{"s3://photos", signs, "want s3:https://HOST/BUCKET"},
		{"s3:https://host.test", signs, "want s3:https://HOST/BUCKET"},
		{"s3:ftp://host.test/shoes", signs, "want s3:https://HOST/BUCKET"},
		{"s3:https://K:S@host.test/shoes", signs, "settings of their own"},
		{"s3:https://host.test/shoes", photos.Access{Key: "K"}, "takes a key and its secret"},
	} {
		if _, err := photos.Open(c.url, c.access); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v, want %q", c.url, err, c.says)
		}
	}
}

func crc(data []byte) uint32 { return crc32.ChecksumIEEE(data) }

func age(path string, hours int) error {
	then := time.Now().Add(-time.Duration(hours) * time.Hour)
	return os.Chtimes(path, then, then)
}
