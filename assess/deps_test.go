//go:build !js

package assess

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// forbidden says why a package of the standard library has no place here.
var forbidden = map[string]string{
	"net/http":     "the engine runs in the browser and off line",
	"os":           "the engine reads and writes no files",
	"os/exec":      "the engine starts nothing",
	"database/sql": "the engine knows no database",
	"math/rand":    "the same reading must always get the same result",
	"math/rand/v2": "the same reading must always get the same result",
}

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", "{{join .Imports \"\\n\"}}", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	for path := range strings.Lines(string(out)) {
		path = strings.TrimSpace(path)
		if why, ok := forbidden[path]; ok {
			t.Errorf("assess imports %s: %s", path, why)
		}
	}
	out, err = exec.Command("go", "list", "-deps", "-f", "{{if not .Standard}}{{.ImportPath}}{{end}}", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	for path := range strings.Lines(string(out)) {
		if path = strings.TrimSpace(path); path != "" && path != "solewright/assess" {
			t.Errorf("assess depends on %s: only the standard library, so that it builds for the browser and anyone can check it", path)
		}
	}
}

// A verdict may not depend on when it is computed.
func TestNoClock(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if p, ok := s.X.(*ast.Ident); ok && p.Name == "time" && (s.Sel.Name == "Now" || s.Sel.Name == "Since") {
					t.Errorf("%s asks the clock: time arrives as an argument", name)
				}
			}
			return true
		})
	}
}
