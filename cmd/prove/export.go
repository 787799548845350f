package main

import (
	"bytes"
	"fmt"
	"os"

	"solewright/reports/sim"
)

// What a proof of export does.
const (
	exportRounds = 3
	exportTarget = 200_000 // readings a second
	sqliteShare  = 5       // one in so many of the readings, on SQLite
)

// lineCounter counts what a program prints.
type lineCounter struct{ lines, bytes int }

func (c *lineCounter) Write(p []byte) (int, error) {
	c.lines += bytes.Count(p, []byte{'\n'})
	c.bytes += len(p)
	return len(p), nil
}

// proveExport measures how fast readings are exported as CSV.
func proveExport(l *lab) error {
	c, err := l.startCluster()
	if err != nil {
		return err
	}
	defer c.stop()
	t := newTable("Readings exported as CSV",
		"database", "readings", "round", "seconds", "readings/s", "target", "MB/s", "peak memory of solewright MB", "its processor s")
	t.note("`solewright export inspections`, in order of store and id, through a pipe to a reader that counts lines and bytes")
	for _, at := range []struct {
		name, db string
		rows     int
	}{
		{"PostgreSQL", c.url, l.rows},
		{"SQLite", "file:" + l.path("export.db"), l.rows / sqliteShare},
	} {
		fleet := sim.New(sim.Options{Seed: 8, Inspections: at.rows})
		if _, err := l.settle(at.db, fleet); err != nil {
			return err
		}
		file := l.path("readings.csv")
		if err := writeReadings(file, fleet); err != nil {
			return err
		}
		if _, _, err := l.solewright(nil, "import", "inspections", file, "--db", at.db); err != nil {
			return err
		}
		if err := os.Remove(file); err != nil {
			return err
		}
		for round := range l.roundsOr(exportRounds) {
			var out lineCounter
			_, u, err := l.solewright(&out, "export", "inspections", "--db", at.db)
			if err != nil {
				return err
			}
			if out.lines != at.rows+1 {
				return fmt.Errorf("%s: %d lines exported, want %d and a header", at.name, out.lines, at.rows)
			}
			t.row(at.name, at.rows, round+1, seconds(u.wall), perSecond(at.rows, u.wall), fmt.Sprint("≥ ", exportTarget),
				fmt.Sprintf("%.0f", float64(out.bytes)/1e6/u.wall.Seconds()), u.peak>>20, seconds(u.cpu))
		}
	}
	return l.write("export", t)
}
