package dashboard

import (
	"os/exec"
	"strings"
	"testing"
)

// TestImports holds the package to its place: SQL is the business of models.
func TestImports(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "go", "list", "-f", `{{join .Imports "\n"}}{{"\n"}}{{join .TestImports "\n"}}`, ".").Output()
	must(t, err)
	for _, law := range []struct{ path, why string }{
		{"gorm.io/", "models is the only package that knows gorm: ask it for a verb"},
		{"database/sql", "models is the only package that knows SQL: ask it for a verb"},
		{"github.com/jackc/", "models is the only package that knows a driver"},
		{"modernc.org/", "models is the only package that knows a driver"},
		{"solewright/cmd", "cmd wires the dashboard, not the other way round"},
	} {
		for path := range strings.SplitSeq(string(out), "\n") {
			if strings.HasPrefix(path, law.path) {
				t.Errorf("dashboard imports %s: %s", path, law.why)
			}
		}
	}
}
