package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"solewright/assess"
	"solewright/reports/sim"
)

// What a proof of import does.
const (
	importRounds = 2
	importTarget = 0.35 // of COPY's rate
	shownParts   = 8    // kinds of statement that are named
)

// importedTables are what an import of readings fills.
var importedTables = []string{"inspection", "inspection_value", "pair", "change"}

// proveImport measures an import of readings into PostgreSQL, against COPY of
// the very rows that it made into the same tables with the same indexes.
func proveImport(l *lab) error {
	c, err := l.startCluster("postgres")
	if err != nil {
		return err
	}
	defer c.stop()
	t := newTable("A file of readings imported, against COPY of the same rows",
		"readings", "round", "import s", "readings/s", "COPY s", "ratio", "target", "peak memory of solewright MB", "its processor s", "PostgreSQL's processor s")
	t.note("`solewright import inspections FILE`: parse the CSV, judge every reading, store it, compute every pair's interval of life, one transaction")
	t.note("against COPY … FROM of the rows that this made, in PostgreSQL's text form from files on the server, into %s, with all their indexes", strings.Join(importedTables, ", "))
	t.note("PostgreSQL %s with fsync, full_page_writes and synchronous_commit on; a CHECKPOINT before each", c.version)
	fleet := sim.New(sim.Options{Seed: 8, Inspections: l.rows})
	if _, err := l.settle(c.url, fleet); err != nil {
		return err
	}
	for _, part := range []struct{ rows, rounds int }{{l.rows / 4, 1}, {l.rows, l.roundsOr(importRounds)}} {
		file := l.path(fmt.Sprint("readings-", part.rows, ".csv"))
		if err := writeReadings(file, sim.New(sim.Options{Seed: 8, Inspections: part.rows})); err != nil {
			return err
		}
		var ratios []float64
		for round := range part.rounds {
			im, err := l.importOnce(c, file, part.rows)
			if err != nil {
				return err
			}
			copied, err := c.copyAgain(part.rows)
			if err != nil {
				return err
			}
			ratio := copied.Seconds() / im.wall.Seconds()
			ratios = append(ratios, ratio)
			t.row(part.rows, round+1, seconds(im.wall), perSecond(part.rows, im.wall), seconds(copied), fmt.Sprintf("%.2f", ratio), "",
				im.peak>>20, seconds(im.cpu), seconds(im.postgres))
			if part.rows == l.rows && round == 0 {
				t.note("of the %s s of the first import of %d, within PostgreSQL, partly while solewright prepares the next rows: %s", seconds(im.wall), part.rows, im.parts)
			}
		}
		t.row(part.rows, "median", "", "", "", fmt.Sprintf("%.2f", median(ratios)), fmt.Sprint("≥ ", importTarget), "", "", "")
	}
	return l.write("import", t)
}

// imported is what an import took.
type imported struct {
	usage
	postgres time.Duration // processor time of all its processes
	parts    string        // time by statement
}

// importOnce imports a file into tables that are empty.
func (l *lab) importOnce(c *cluster, file string, rows int) (imported, error) {
	if _, err := c.psql("CHECKPOINT"); err != nil {
		return imported{}, err
	}
	log := filepath.Join(c.dir, "server.log")
	from, err := os.Stat(log)
	if err != nil {
		return imported{}, err
	}
	before, err := c.cpu()
	if err != nil {
		return imported{}, err
	}
	said, u, err := l.solewright(nil, "import", "inspections", file, "--db", c.url+"&log_min_duration_statement=0&log_parameter_max_length=0")
	if err != nil {
		return imported{}, err
	}
	if want := fmt.Sprintf("%d rows read, %d stored, 0 known already, 0 bad", rows, rows); said != want {
		return imported{}, fmt.Errorf("the import says %q, want %q", said, want)
	}
	after, err := c.cpu()
	if err != nil {
		return imported{}, err
	}
	text, err := os.ReadFile(log)
	if err != nil {
		return imported{}, err
	}
	return imported{usage: u, postgres: after - before, parts: partsOf(string(text[from.Size():]))}, nil
}

// copyAgain empties the tables that an import filled, copies their rows back and
// empties them for the next, and returns how long the copying took.
func (c *cluster) copyAgain(rows int) (time.Duration, error) {
	file := func(table string) string { return filepath.Join(c.dir, table+".copy") }
	// The feed's numbers are made by the table, and have to be copied as they are.
	from := map[string]string{"change": "change (op, store, id, pair_ref)"}
	for _, table := range importedTables {
		if _, err := c.psql(fmt.Sprintf("COPY %s TO '%s'", cmp.Or(from[table], table), file(table)), "TRUNCATE "+table); err != nil {
			return 0, err
		}
	}
	if _, err := c.psql("CHECKPOINT"); err != nil {
		return 0, err
	}
	begin := time.Now()
	for _, table := range importedTables {
		if _, err := c.psql(fmt.Sprintf("COPY %s FROM '%s'", cmp.Or(from[table], table), file(table))); err != nil {
			return 0, err
		}
	}
	took := time.Since(begin)
	counted, err := c.psql("SELECT count(*) FROM inspection")
	if err != nil {
		return 0, err
	}
	if counted != strconv.Itoa(rows) {
		return 0, fmt.Errorf("COPY stored %s readings of %d", counted, rows)
	}
	for _, table := range importedTables {
		if _, err := c.psql("TRUNCATE " + table); err != nil {
			return 0, err
		}
		if err := os.Remove(file(table)); err != nil {
			return 0, err
		}
	}
	return took, nil
}

// writeReadings writes the readings of a retailer as CSV.
func writeReadings(name string, fleet *sim.Fleet) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<20)
	line := assess.AppendCSVHeader(nil)
	_, err = w.Write(line)
	for r := range fleet.Inspections() {
		if err != nil {
			break
		}
		line = assess.AppendCSV(line[:0], r)
		_, err = w.Write(line)
	}
	return errors.Join(err, w.Flush(), f.Close())
}

// Entries of the log that log_min_duration_statement makes, and what names the
// kind of a statement.
var (
	logDuration   = regexp.MustCompile(`LOG:  duration: ([0-9.]+) ms  (?:(?:parse|bind|execute) [^:]*|statement): (.*)`)
	statementKind = regexp.MustCompile(`(?i)^(COPY|INSERT INTO|ANALYZE|TRUNCATE|COMMIT|UPDATE|SELECT)\b(?:\s+([a-z_]+))?`)
	selectedFrom  = regexp.MustCompile(`(?i)\bFROM ([a-z_]+)`)
)

// kindOf names the kind of a statement by its verb and table.
func kindOf(sql string) string {
	m := statementKind.FindStringSubmatch(sql)
	switch {
	case m == nil:
		return "other"
	case strings.EqualFold(m[1], "SELECT"):
		if f := selectedFrom.FindStringSubmatch(sql); f != nil {
			return "SELECT … FROM " + f[1]
		}
		return "SELECT"
	case m[2] == "":
		return strings.ToUpper(m[1])
	default:
		return strings.ToUpper(m[1]) + " " + m[2]
	}
}

// partsOf sums a log's durations by the kind of statement, longest first.
func partsOf(log string) string {
	sums := map[string]float64{}
	for line := range strings.Lines(log) {
		m := logDuration.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		ms, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			continue // the expression takes digits and points only
		}
		sums[kindOf(m[2])] += ms / 1000
	}
	kinds := slices.SortedFunc(maps.Keys(sums), func(a, b string) int { return cmp.Compare(sums[b], sums[a]) })
	var parts []string
	for _, kind := range kinds[:min(len(kinds), shownParts)] {
		parts = append(parts, fmt.Sprintf("%s %.2f s", kind, sums[kind]))
	}
	return strings.Join(parts, ", ")
}
