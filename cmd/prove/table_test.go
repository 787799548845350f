package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestWriteTable(t *testing.T) {
	l := &lab{ctx: t.Context(), out: filepath.Join(t.TempDir(), "new"), command: "sh deploy/prove.sh trial"}
	tab := newTable("A trial", "run", "seconds")
	tab.note("%d runs", 2)
	tab.row(1, seconds(1234*time.Millisecond))
	tab.row("median", "")
	if err := l.write("trial", tab); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(l.out, "trial.md"))
	if err != nil {
		t.Fatal(err)
	}
	got := string(text)
	if want := "\n\n| run | seconds |\n| --- | --- |\n| 1 | 1.23 |\n| median |  |\n"; !strings.HasSuffix(got, want) {
		t.Errorf("got\n%s\nwant at its end\n%s", got, want)
	}
	for _, want := range []string{
		"^# A trial\n\n", `(?m)^- date: \d{4}-\d\d-\d\d \d\d:\d\d UTC$`, "(?m)^- command: `sh deploy/prove.sh trial`$",
		`(?m)^- machine: .*\d+ processors`, "(?m)^- 2 runs$", `(?m)^- load over .*\d as it ended$`,
	} {
		if !regexp.MustCompile(want).MatchString(got) {
			t.Errorf("no %s in\n%s", want, got)
		}
	}
}

func TestField(t *testing.T) {
	file := filepath.Join(t.TempDir(), "info")
	if err := os.WriteFile(file, []byte("MemTotalled: no\nMemTotal:       24683620 kB\nMemTotal: twice\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ name, file, key, want string }{
		{"the value of the first line with the name", file, "MemTotal", "24683620 kB"},
		{"unknown without such a line", file, "MemFree", "unknown"},
		{"unknown without the file", file + "2", "MemTotal", "unknown"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := field(row.file, row.key); got != row.want {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

func TestMedian(t *testing.T) {
	for _, row := range []struct {
		name string
		of   []float64
		want float64
	}{
		{"the middle one, in any order", []float64{9, 1, 2}, 2},
		{"the lower of two in the middle", []float64{4, 3, 2, 1}, 2},
		{"the only one", []float64{7}, 7},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := median(row.of); got != row.want {
				t.Errorf("got %v, want %v", got, row.want)
			}
		})
	}
}

func TestPerSecond(t *testing.T) {
	if got := perSecond(1000, 250*time.Millisecond); got != "4000" {
		t.Errorf("got %s", got)
	}
}
