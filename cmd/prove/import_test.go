package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/reports/sim"
)

func TestPartsOf(t *testing.T) {
	const log = `2026-11-25 13:24:02.345 UTC [81] LOG:  duration: 1500.000 ms  statement: COPY inspection (id, at) FROM STDIN (FORMAT binary)
2026-11-25 13:24:02.345 UTC [81] LOG:  duration: 500.250 ms  statement: COPY inspection (id, at) FROM STDIN (FORMAT binary)
2026-11-25 13:24:02.345 UTC [81] LOG:  duration: 0.100 ms  parse stmtcache_1: SELECT i.store FROM unnest($1::text[]) k JOIN inspection i
2026-11-25 13:24:02.345 UTC [81] LOG:  duration: 2999.900 ms  execute stmtcache_1: SELECT i.store FROM unnest($1::text[]) k JOIN inspection i
	USING (store, id)
2026-11-25 13:24:02.345 UTC [81] LOG:  duration: 40.000 ms  statement: commit
2026-11-25 13:24:02.345 UTC [81] LOG:  checkpoint starting: time
2026-11-25 13:24:02.345 UTC [81] LOG:  duration: 30.000 ms  execute <unnamed>: WITH a AS (SELECT 1) SELECT 2
`
	const want = "SELECT … FROM unnest 3.00 s, COPY inspection 2.00 s, COMMIT 0.04 s, other 0.03 s"
	if got := partsOf(log); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestWriteReadings(t *testing.T) {
	const rows = 300
	name := filepath.Join(t.TempDir(), "readings.csv")
	if err := writeReadings(name, sim.New(sim.Options{Inspections: rows})); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	d, err := assess.NewCSVDecoder(f)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for want := range sim.New(sim.Options{Inspections: rows}).Inspections() {
		var r assess.Record
		if err := d.Decode(&r); err != nil {
			t.Fatal(err)
		}
		if got, want := assess.AppendCSV(nil, &r), assess.AppendCSV(nil, want); string(got) != string(want) {
			t.Fatalf("reading %d is\n%s\nwant\n%s", n, got, want)
		}
		n++
	}
	if n != rows {
		t.Errorf("%d readings, want %d", n, rows)
	}
}

func TestLineCounter(t *testing.T) {
	var c lineCounter
	for _, p := range []string{"a\nb", "\n", "", "c\r\n"} {
		if n, err := c.Write([]byte(p)); n != len(p) || err != nil {
			t.Errorf("Write(%q) = %d, %v", p, n, err)
		}
	}
	if c != (lineCounter{lines: 3, bytes: 7}) {
		t.Errorf("counted %+v", c)
	}
}

// The line is of the form of proc(5), with a name that holds what it may.
func TestTicksOf(t *testing.T) {
	stat := []byte("81 (post) gres) S 1 81 81 0 -1 4194304 1000 2000 3 4 100 20 3 4 20 0 1 0 99")
	for _, row := range []struct {
		name     string
		stat     []byte
		children bool
		want     int64
	}{
		{"user and system time", stat, false, 120},
		{"and that of the children it waited for", stat, true, 127},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got, err := ticksOf(row.stat, row.children); err != nil || got != row.want {
				t.Errorf("got %d, %v, want %d", got, err, row.want)
			}
		})
	}
	t.Run("a line that is cut is an error", func(t *testing.T) {
		cut := stat[:strings.Index(string(stat), "100 20")]
		if got, err := ticksOf(cut, false); err == nil {
			t.Errorf("got %d", got)
		}
	})
}
