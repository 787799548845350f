package fleet_test

import (
	"os/exec"
	"strings"
	"testing"
)

func TestImports(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").Output()
	check(t, err)
	for dep := range strings.FieldsSeq(string(out)) {
		for path, reason := range map[string]string{
			"gorm.io/":                 "the copy is filled through its own interface",
			"database/sql":             "the copy is filled through its own interface",
			"github.com/gin-gonic/gin": "the copy doesn't know that it is asked over HTTP",
			"solewright/dashboard":     "pages ask the copy, never the other way round",
		} {
			if strings.HasPrefix(dep, path) {
				t.Errorf("reports/fleet imports %s: %s", dep, reason)
			}
		}
	}
	if !strings.Contains(string(out), "solewright/models/facts") {
		t.Error("the list of imports is not the one of this package")
	}
}
