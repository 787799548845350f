package dashboard

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"solewright/assess"
)

func TestAssetsChangeTheirFolderWithAnyFile(t *testing.T) {
	read := func(css string) *assets {
		a, err := readAssets(fstest.MapFS{"css/a.css": {Data: []byte(css)}, "js/b.js": {Data: []byte("export {};")}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	one, same, other := read("a{}"), read("a{}"), read("b{}")
	if one.base != same.base || one.base == other.base {
		t.Errorf("bases %s, %s, %s: want the first two alike and the last apart", one.base, same.base, other.base)
	}
	if url, err := one.url("js/b.js"); err != nil || url != one.base+"/js/b.js" {
		t.Errorf("url = %s, %v", url, err)
	}
	if _, err := one.url("js/none.js"); err == nil {
		t.Error("a file that there is not has an address")
	}
}

func TestAssetsRefuseWhatTheyCouldNotServe(t *testing.T) {
	for name, files := range map[string]fstest.MapFS{
		"an unknown kind":               {"a.exe": {Data: []byte("x")}},
		"a packed file without a plain": {"assess.wasm.gz": {Data: []byte("x")}},
	} {
		if _, err := readAssets(files, nil); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestPackedFilesUnpackToTheSame(t *testing.T) {
	text := bytes.Repeat([]byte("sole wright "), 400)
	z, err := gzip.NewReader(bytes.NewReader(pack(text)))
	if err != nil {
		t.Fatal(err)
	}
	got, err := io.ReadAll(z)
	if err != nil || !bytes.Equal(got, text) {
		t.Errorf("unpacked %d bytes, %v, want the %d packed", len(got), err, len(text))
	}
	if pack([]byte("x")) != nil {
		t.Error("a byte is packed into more than itself")
	}
}

func TestBuiltPackingIsServedAsItIs(t *testing.T) {
	a, err := readAssets(fstest.MapFS{"assess.wasm": {Data: []byte("plain")}, "assess.wasm.gz": {Data: []byte("packed")}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := string(a.files["assess.wasm"].gzipped()); got != "packed" {
		t.Errorf("packed variant is %q", got)
	}
	if _, ok := a.files["assess.wasm.gz"]; ok {
		t.Error("the packed variant has an address of its own")
	}
}

func TestTheWorkersListIsWhatTabletsKeep(t *testing.T) {
	f := testFront(t)
	head, _, _ := strings.Cut(string(f.worker.data), "\n// worker.js")
	kept := f.assets.onTablets()
	if slices.Contains(kept, workerScript) || len(kept) < 40 {
		t.Errorf("%d files are kept: %q", len(kept), kept)
	}
	for name := range f.assets.files {
		if listed := strings.Contains(head, `"`+f.assets.base+"/"+name+`"`); listed != slices.Contains(kept, name) {
			t.Errorf("%s listed: %v", name, listed)
		}
	}
}

func TestColumnsAreTheEnginesOwn(t *testing.T) {
	var table struct {
		Shoe, Pair []columnRow
		Lists      map[string][]string
	}
	if err := json.Unmarshal(testFront(t).assets.files["columns.json"].data, &table); err != nil {
		t.Fatal(err)
	}
	all := append(table.Shoe, table.Pair...)
	if len(table.Shoe) != int(assess.NumShoe) || len(all) != int(assess.NumCols) {
		t.Fatalf("%d and %d columns, want %d and %d", len(table.Shoe), len(all), assess.NumShoe, assess.NumCols)
	}
	for i, row := range all {
		c := assess.Columns[i]
		if row.Name != c.Name || row.Check != c.Check || row.Needed != c.Needed || row.Cant != c.CantRead || columnKinds[c.Kind] != row.Kind {
			t.Errorf("%s is written %+v", c.Name, row)
		}
		if c.Kind == assess.Measure && row.Step <= 0 {
			t.Errorf("%s has no step", c.Name)
		}
	}
	// 0.1 mm and 0.01° are the smallest units of the columns.
	for name, want := range map[string][3]float64{"heel_medial_mm": {0, 15, 0.1}, "tilt": {-45, 45, 0.01}} {
		for _, row := range table.Shoe {
			if row.Name == name && [3]float64{row.Min, row.Max, row.Step} != want {
				t.Errorf("%s is bounded %v to %v by %v, want %v", name, row.Min, row.Max, row.Step, want)
			}
		}
	}
}

// What the bench's pages load stands on the tablet without a line; what only pages at a
// desk load doesn't.
func TestTabletsKeepWhatTheBenchLoads(t *testing.T) {
	f := testFront(t)
	kept := f.assets.onTablets()
	asked := regexp.MustCompile(`asset "([^"]+)"`)
	loads := func(pattern string) (all []string) {
		names, err := fs.Glob(embedded, pattern)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %d templates, %v", pattern, len(names), err)
		}
		for _, name := range names {
			text, err := fs.ReadFile(embedded, name)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range asked.FindAllSubmatch(text, -1) {
				all = append(all, string(m[1]))
			}
		}
		return all
	}
	var bench []string
	for _, page := range []string{"layout", "pages/bench", "pages/ticket", "pages/fitting", "pages/slip", "pages/pair", "pages/sign-in"} {
		bench = append(bench, loads("templates/"+page+".html")...)
	}
	for _, name := range bench {
		if !slices.Contains(kept, name) {
			t.Errorf("a tablet doesn't keep %s", name)
		}
	}
	if len(bench) < 10 {
		t.Errorf("the bench's pages load %d files", len(bench))
	}
	left := 0
	for _, name := range append(loads("templates/pages/fleet*.html"), loads("templates/pages/office*.html")...) {
		if !slices.Contains(kept, name) {
			left++
		}
	}
	if left < 10 {
		t.Errorf("%d times a page at a desk loads what tablets don't keep", left)
	}
}
