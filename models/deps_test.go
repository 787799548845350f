package models_test

import (
	"os/exec"
	"strings"
	"testing"
)

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".", "./dbtest").Output()
	must(t, err)
	for dep := range strings.FieldsSeq(string(out)) {
		for path, reason := range map[string]string{
			"github.com/gin-gonic/gin":       "a record does not know that it is shown over HTTP",
			"solewright/dashboard":           "pages show records, never the other way round",
			"solewright/cmd":                 "the program wires packages, they don't know it",
			"solewright/reports/fleet":       "the fleet's copy is filled from here through its own interface",
			"gorm.io/driver/sqlite":          "it needs cgo",
			"github.com/mattn/go-sqlite3":    "it needs cgo",
			"github.com/glebarez/go-sqlite":  "it registers the driver name that modernc's does, which panics at the start",
			"github.com/alexedwards/scs/v2":  "sessions are its store by their shape alone",
			"github.com/danielgtaylor/huma/": "a record does not know its OpenAPI schema",
		} {
			if strings.HasPrefix(dep, path) {
				t.Errorf("models imports %s: %s", dep, reason)
			}
		}
	}
	if !strings.Contains(string(out), "gorm.io/gorm") {
		t.Error("the list of imports is not the one of this package")
	}
}
