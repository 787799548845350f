package photos_test

import (
	"os/exec"
	"strings"
	"testing"
)

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").Output()
	if err != nil {
		t.Fatal(err)
	}
	for dep := range strings.FieldsSeq(string(out)) {
		for path, reason := range map[string]string{
			"gorm.io/":                 "what a photo is of is a record, files are not",
			"database/sql":             "what a photo is of is a record, files are not",
			"github.com/gin-gonic/gin": "files don't know that they are asked for over HTTP",
			"solewright/dashboard":     "pages ask for photos, never the other way round",
		} {
			if dep == path || strings.HasSuffix(path, "/") && strings.HasPrefix(dep, path) {
				t.Errorf("models/photos imports %s: %s", dep, reason)
			}
		}
	}
	if !strings.Contains(string(out), "kovidgoyal/imaging") {
		t.Error("the list of imports is not the one of this package")
	}
}
