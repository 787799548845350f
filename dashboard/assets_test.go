package dashboard

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
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

func TestWorkerKeepsEveryFileButItself(t *testing.T) {
	f := testFront(t)
	head, _, _ := strings.Cut(string(f.worker.data), "\n// worker.js")
	for name := range f.assets.files {
		if listed := strings.Contains(head, `"`+f.assets.base+"/"+name+`"`); listed == (name == workerScript) {
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
