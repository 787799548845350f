package dashboard

import (
	"encoding/json"
	"io/fs"
	"sync"

	"solewright/reports/figure"
)

// front is what pages are made of: their files, words and templates. It is
// read once in a process, whose embedded files don't change, and never written
// after.
type front struct {
	assets *assets
	worker asset
	pages  *pages
}

var readFront = sync.OnceValues(newFront)

// newFront reads the embedded files. The engine for the browser is found among
// them where it was built.
func newFront() (*front, error) {
	static, err := fs.Sub(embedded, "static")
	if err != nil {
		return nil, err
	}
	templates, err := fs.Sub(embedded, "templates")
	if err != nil {
		return nil, err
	}
	langs, err := readWords(static)
	if err != nil {
		return nil, err
	}
	generated := map[string][]byte{"css/figure.css": []byte(figure.Style)}
	if generated["columns.json"], err = columnTable(); err != nil {
		return nil, err
	}
	for _, w := range langs { // with what a language lacks filled in
		if generated["words/"+w.tag.String()+".json"], err = json.Marshal(w.text); err != nil {
			return nil, err
		}
	}
	f := &front{}
	if f.assets, err = readAssets(static, generated); err != nil {
		return nil, err
	}
	if f.worker, err = makeWorker(f.assets); err != nil {
		return nil, err
	}
	if f.pages, err = readPages(templates, langs, f.assets); err != nil {
		return nil, err
	}
	return f, nil
}

// hasEngine reports whether browsers can judge by themselves.
func (f *front) hasEngine() bool {
	_, ok := f.assets.files["assess.wasm"]
	return ok
}
