package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"solewright/reports/sim"
)

// What a proof of export does.
const (
	exportRounds = 3
	exportTarget = 200_000 // readings a second
	sqliteShare  = 2       // one in so many of the readings, on SQLite
)

// lineCounter counts what a program prints.
type lineCounter struct{ lines, bytes int }

func (c *lineCounter) Write(p []byte) (int, error) {
	c.lines += bytes.Count(p, []byte{'\n'})
	c.bytes += len(p)
	return len(p), nil
}

// proveExport measures how fast readings are exported as CSV: on PostgreSQL in
// turn with COPY of their table, which writes the rows as they lie.
func proveExport(l *lab) error {
	c, err := l.startCluster("postgres")
	if err != nil {
		return err
	}
	defer c.stop()
	t := newTable("Readings exported as CSV",
		"database", "readings", "round", "seconds", "readings/s", "target", "MB/s", "COPY s", "ratio", "peak memory of solewright MB", "its processor s", "PostgreSQL's processor s")
	t.note("`solewright export inspections`, in order of store and id, through a pipe to a reader that counts lines and bytes")
	t.note("against `COPY inspection TO STDOUT` in PostgreSQL's text form, in no order, without the rare values of inspection_value, by psql to the same reader; ratio is COPY's time to that of the export")
	t.note("peak memory on SQLite counts what of the mapped file is in the system's memory")
	if err := l.exportRounds(t, "PostgreSQL", c.url, l.rows, c); err != nil {
		return err
	}
	if err := l.exportRounds(t, "SQLite", "file:"+l.path("export.db"), l.rows/sqliteShare, nil); err != nil {
		return err
	}
	return l.write("export", t)
}

// exportRounds fills a database and exports it some times. Without a cluster
// there is no COPY to compare with.
func (l *lab) exportRounds(t *table, name, db string, rows int, c *cluster) error {
	fleet := sim.New(sim.Options{Seed: 8, Inspections: rows})
	if _, err := l.settle(db, fleet); err != nil {
		return err
	}
	file := l.path("readings.csv")
	if err := writeReadings(file, fleet); err != nil {
		return err
	}
	if _, _, err := l.solewright(nil, "import", "inspections", file, "--db", db); err != nil {
		return err
	}
	if err := os.Remove(file); err != nil {
		return err
	}
	if c != nil {
		// As autovacuum leaves the tables some minutes later.
		if _, err := c.psql("VACUUM ANALYZE", "CHECKPOINT"); err != nil {
			return err
		}
	}
	var rates, ratios []float64
	for round := range l.roundsOr(exportRounds) {
		var copied, server time.Duration
		if c != nil {
			var err error
			if copied, err = c.copyOut(rows); err != nil {
				return err
			}
			if server, err = c.cpu(); err != nil {
				return err
			}
		}
		var out lineCounter
		_, u, err := l.solewright(&out, "export", "inspections", "--db", db)
		if err != nil {
			return err
		}
		if out.lines != rows+1 {
			return fmt.Errorf("%s: %d lines exported, want %d and a header", name, out.lines, rows)
		}
		rates = append(rates, float64(rows)/u.wall.Seconds())
		copySeconds, ratio, serverSeconds := "", "", ""
		if c != nil {
			after, err := c.cpu()
			if err != nil {
				return err
			}
			ratios = append(ratios, copied.Seconds()/u.wall.Seconds())
			copySeconds, ratio, serverSeconds = seconds(copied), fmt.Sprintf("%.2f", ratios[round]), seconds(after-server)
		}
		t.row(name, rows, round+1, seconds(u.wall), perSecond(rows, u.wall), "", fmt.Sprintf("%.0f", float64(out.bytes)/1e6/u.wall.Seconds()),
			copySeconds, ratio, u.peak>>20, seconds(u.cpu), serverSeconds)
	}
	ratio := ""
	if c != nil {
		ratio = fmt.Sprintf("%.2f", median(ratios))
	}
	t.row(name, rows, "median", "", fmt.Sprintf("%.0f", median(rates)), fmt.Sprint("≥ ", exportTarget), "", "", ratio, "", "", "")
	return nil
}

// copyOut reads the table of readings by COPY, and returns how long that took.
func (c *cluster) copyOut(rows int) (time.Duration, error) {
	var out lineCounter
	cmd := exec.CommandContext(c.l.ctx, filepath.Join(c.bin, "psql"), "-X", "-q", c.url, "-c", "COPY inspection TO STDOUT")
	cmd.Stdout, cmd.Stderr = &out, os.Stderr
	begin := time.Now()
	if err := cmd.Run(); err != nil {
		return 0, fmt.Errorf("psql: %w", err)
	}
	if out.lines != rows {
		return 0, fmt.Errorf("COPY wrote %d readings of %d", out.lines, rows)
	}
	return time.Since(begin), nil
}
