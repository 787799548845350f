package dashboard

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/gin-gonic/gin"
)

//go:embed static templates
var embedded embed.FS

// assets are the files that pages load: style sheets, modules, words, the
// table of columns and, where it was built, the engine for the browser. All of
// them stand under one folder named for the hash of them all, so that modules
// can import each other by relative address and every answer can be kept for
// ever.
type assets struct {
	base  string // /static/HASH
	files map[string]asset
}

// asset is one file with its content type.
type asset struct {
	data    []byte
	kind    string
	gzipped func() []byte
}

// assetKinds are the content types by ending. They are written down because
// those of the operating system differ from machine to machine, and a browser
// refuses a module or an engine of the wrong type.
var assetKinds = map[string]string{
	".css":  "text/css; charset=utf-8",
	".js":   "text/javascript; charset=utf-8",
	".json": "application/json",
	".svg":  "image/svg+xml",
	".wasm": "application/wasm",
}

// readAssets collects the files of static and the generated ones, by name; a
// generated one takes the place of the file with its name. A file NAME.gz is NAME as the build packed it.
func readAssets(static fs.FS, generated map[string][]byte) (*assets, error) {
	a := &assets{files: map[string]asset{}}
	packed := map[string][]byte{}
	err := fs.WalkDir(static, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := fs.ReadFile(static, name)
		if err != nil {
			return err
		}
		if plain, ok := strings.CutSuffix(name, ".gz"); ok {
			packed[plain] = data
			return nil
		}
		return a.add(name, data)
	})
	if err != nil {
		return nil, err
	}
	for name, data := range packed {
		file, ok := a.files[name]
		if !ok {
			return nil, fmt.Errorf("static/%s.gz: there is no %s beside it", name, name)
		}
		file.gzipped = func() []byte { return data }
		a.files[name] = file
	}
	for name, data := range generated {
		if err := a.add(name, data); err != nil {
			return nil, err
		}
	}
	sum := sha256.New()
	for _, name := range a.names() {
		fmt.Fprintf(sum, "%s %d\n", name, len(a.files[name].data))
		sum.Write(a.files[name].data)
	}
	a.base = "/static/" + hex.EncodeToString(sum.Sum(nil))[:16]
	return a, nil
}

// add keeps one file. Files of an unknown kind are refused: they would be
// served with a guessed type.
func (a *assets) add(name string, data []byte) error {
	kind, ok := assetKinds[path.Ext(name)]
	if !ok {
		return fmt.Errorf("static/%s: no content type for %q", name, path.Ext(name))
	}
	a.files[name] = asset{data: data, kind: kind, gzipped: sync.OnceValue(func() []byte { return pack(data) })}
	return nil
}

// names returns the names of all files in order.
func (a *assets) names() []string { return slices.Sorted(maps.Keys(a.files)) }

// url returns the address of a file, or an error where there is none: a page
// that asks for it is wrong.
func (a *assets) url(name string) (string, error) {
	if _, ok := a.files[name]; !ok {
		return "", fmt.Errorf("no file static/%s", name)
	}
	return a.base + "/" + name, nil
}

// pack returns data gzipped, or nil where that doesn't make it smaller.
func pack(data []byte) []byte {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err != nil {
		panic(err) // the level is a constant
	}
	z.Write(data) // a bytes.Buffer never fails
	z.Close()
	if b.Len() >= len(data) {
		return nil
	}
	return b.Bytes()
}

// showStatic serves /static/HASH/NAME. An address with an older hash, asked
// for by a page that was open before an update, gets the file of today and is
// not kept.
func (s *Server) showStatic(c *gin.Context) error {
	hash, name, _ := strings.Cut(strings.TrimPrefix(c.Param("path"), "/"), "/")
	file, ok := s.assets.files[name]
	if !ok {
		return fs.ErrNotExist
	}
	keep := "no-cache"
	if "/static/"+hash == s.assets.base {
		keep = "public, max-age=31536000, immutable"
	}
	c.Header("Cache-Control", keep)
	s.serve(c, file)
	return nil
}

// serve writes a file, gzipped where the browser takes it.
func (s *Server) serve(c *gin.Context, file asset) {
	c.Header("Vary", "Accept-Encoding")
	data := file.data
	if strings.Contains(c.GetHeader("Accept-Encoding"), "gzip") {
		if packed := file.gzipped(); packed != nil {
			c.Header("Content-Encoding", "gzip")
			data = packed
		}
	}
	c.Header("Content-Length", strconv.Itoa(len(data)))
	c.Data(http.StatusOK, file.kind, data)
}

// workerScript is where the service worker stands among the static files. It
// is served at the root, since a worker only rules over addresses beside it
// and below.
const workerScript = "js/worker.js"

// showWorker serves the service worker with the list of what it keeps.
func (s *Server) showWorker(c *gin.Context) error {
	c.Header("Cache-Control", "no-cache")
	s.serve(c, s.worker)
	return nil
}

// atDesks is how the names of files begin that only pages of the fleet and of the office
// load. Those pages need a line, so that a tablet needn't keep their files.
var atDesks = []string{"css/figure.", "css/fleet.", "css/office.", "js/fleet.", "js/later.", "js/office-"}

// onTablets returns the names of the files that the worker keeps, in order.
func (a *assets) onTablets() []string {
	return slices.DeleteFunc(a.names(), func(name string) bool {
		return name == workerScript || slices.ContainsFunc(atDesks, func(begin string) bool { return strings.HasPrefix(name, begin) })
	})
}

// makeWorker puts the list of files before the worker's script. Their address
// changes with every file, which is what makes browsers take a new worker.
func makeWorker(a *assets) (asset, error) {
	var files []string
	for _, name := range a.onTablets() {
		files = append(files, a.base+"/"+name)
	}
	list, err := json.Marshal(files)
	if err != nil {
		return asset{}, err
	}
	script, ok := a.files[workerScript]
	if !ok {
		return asset{}, fmt.Errorf("static/%s is missing", workerScript)
	}
	data := slices.Concat([]byte("const BASE = \""+a.base+"\";\nconst FILES = "), list, []byte(";\n"), script.data)
	return asset{data: data, kind: script.kind, gzipped: sync.OnceValue(func() []byte { return pack(data) })}, nil
}
