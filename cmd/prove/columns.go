package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"solewright/models/retail"
	"solewright/reports/fleet"
)

const (
	// columnRatio is how many times as fast as a column engine the copy should be.
	columnRatio = 5
	// columnRounds is how often each question is asked of both, in turn.
	columnRounds = 15
	// columnModules is where deploy/prove.sh installs the engine.
	columnModules = "bin/columns"
)

// engine is an embedded column engine in a process of its own.
type engine struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Reader
}

// startEngine starts the column engine on a database file.
func (l *lab) startEngine(file string) (*engine, error) {
	modules, err := filepath.Abs(columnModules)
	if err != nil {
		return nil, err
	}
	e := &engine{cmd: exec.CommandContext(l.ctx, "node", "deploy/columns.mjs", modules, file)}
	e.cmd.Stderr = os.Stderr
	if e.in, err = e.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := e.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	e.out = bufio.NewReader(out)
	return e, e.cmd.Start()
}

func (e *engine) stop() error {
	return errors.Join(e.in.Close(), e.cmd.Wait())
}

// ask returns the last column of what SQL comes to, and how long it took without
// the way here.
func (e *engine) ask(sql string) (counts []int, took time.Duration, err error) {
	line, err := json.Marshal(map[string]string{"sql": sql})
	if err != nil {
		return nil, 0, err
	}
	if _, err := e.in.Write(append(line, '\n')); err != nil {
		return nil, 0, err
	}
	if line, err = e.out.ReadBytes('\n'); err != nil {
		return nil, 0, err
	}
	var answer struct {
		MS     float64 `json:"ms"`
		Counts []int   `json:"counts"`
		Error  string  `json:"error"`
	}
	if err := json.Unmarshal(line, &answer); err != nil {
		return nil, 0, err
	}
	if answer.Error != "" {
		return nil, 0, fmt.Errorf("%s: %s", sql, answer.Error)
	}
	return answer.Counts, time.Duration(answer.MS * float64(time.Millisecond)), nil
}

// writeColumns is the statement that has a column engine make the readings of
// [invented] itself, in the narrowest types there are and in order of the day:
// what it is asked below needs no other column.
func writeColumns(readings int64) string {
	draw := func(d drawn, n string) string {
		return fmt.Sprintf("(%s * %d %% %d // 64 %% %d)", n, d.factor, int64(modulus), d.values)
	}
	return fmt.Sprintf(`CREATE TABLE reading AS
WITH numbered AS (SELECT n, CASE WHEN n %% 10 < 7 THEN n // 10 * 7 + n %% 10 ELSE n // 10 * 7 + n %% 10 - 7 END AS pair FROM range(%[1]d) t(n)),
paired AS (SELECT *, pair // 7 * 10 + CASE WHEN pair %% 7 < 3 THEN pair %% 7 + 7 ELSE pair %% 7 END AS final FROM numbered),
lived AS (SELECT *, (20 * %[2]s + 20) AS km, %[3]s >= 2 AS worn FROM paired)
SELECT n = final AS is_last,
  %[4]s::USMALLINT AS model, %[5]s::USMALLINT AS store, (%[5]s %% %[6]d)::UTINYINT AS region, (%[4]s // 2 %% %[7]d)::UTINYINT AS category,
  least(n * %[8]d // %[1]d, %[8]d - 1)::USMALLINT AS day,
  (year(date '2016-11-01' + least(n * %[8]d // %[1]d, %[8]d - 1)::INTEGER) * 12 + month(date '2016-11-01' + least(n * %[8]d // %[1]d, %[8]d - 1)::INTEGER))::USMALLINT AS month,
  (n %% 2)::UTINYINT AS kind, %[9]s::UTINYINT AS gait, %[10]s::UTINYINT AS heel, %[11]s::UTINYINT AS fore, %[12]s::UTINYINT AS verdict,
  (CASE WHEN worn THEN 0 ELSE km END)::USMALLINT AS lower, (CASE WHEN worn THEN km END)::USMALLINT AS upper
FROM lived`,
		readings, draw(drawKM, "final"), draw(drawVerdict, "final"), draw(drawModel, "pair"), draw(drawStore, "n"),
		fleetRegions, len(retail.Categories), fleetDays, draw(drawGait, "n"), draw(drawHeel, "n"), draw(drawFore, "n"), draw(drawVerdict, "n"))
}

// both is a question to the copy, and the same in SQL for a column engine.
type both struct {
	name string
	copy func(*fleet.View) ([]int, error)
	sql  string
}

// askBoth are questions of pages.
func askBoth() []both {
	const model, store, region = 123, 77, 5
	lastYear := everything()
	lastYear.From = "2025-11"
	life := func(f fleet.Filter, dims ...fleet.Dim) func(*fleet.View) ([]int, error) {
		return func(v *fleet.View) ([]int, error) {
			groups, err := v.Life(f, dims...)
			var n []int
			for _, g := range groups {
				for _, s := range g.Spans {
					n = append(n, s.N)
				}
			}
			return n, err
		}
	}
	count := func(f fleet.Filter, dims ...fleet.Dim) func(*fleet.View) ([]int, error) {
		return func(v *fleet.View) ([]int, error) {
			cells, err := v.Count(f, dims...)
			var n []int
			for _, c := range cells {
				n = append(n, c.N)
			}
			return n, err
		}
	}
	ofModel := oneOf(fleet.Model, modelID(model).String())
	return []both{
		{"all heel patterns by gait", count(everything(), fleet.Gait, fleet.HeelPattern), "SELECT gait, heel, count(*) FROM reading WHERE is_last GROUP BY 1, 2"},
		{"all verdicts by model", count(everything(), fleet.Model, fleet.Verdict), "SELECT model, verdict, count(*) FROM reading WHERE is_last GROUP BY 1, 2"},
		{"all heel patterns by model and gait", count(everything(), fleet.Model, fleet.Gait, fleet.HeelPattern), "SELECT model, gait, heel, count(*) FROM reading WHERE is_last GROUP BY 1, 2, 3"},
		{"verdicts by model, the last year", count(lastYear, fleet.Model, fleet.Verdict), fmt.Sprintf("SELECT model, verdict, count(*) FROM reading WHERE is_last AND day >= %d GROUP BY 1, 2", daysBefore(lastYear.From))},
		{"a region's verdicts by month", count(everything(oneOf(fleet.Region, regionName(region))), fleet.Month, fleet.Verdict), fmt.Sprintf("SELECT month, verdict, count(*) FROM reading WHERE is_last AND region = %d GROUP BY 1, 2", region)},
		{"a store's verdicts by month", count(everything(oneOf(fleet.Store, storeName(store))), fleet.Month, fleet.Verdict), fmt.Sprintf("SELECT month, verdict, count(*) FROM reading WHERE is_last AND store = %d GROUP BY 1, 2", store)},
		{"trade-ins by category and forefoot pattern", count(everything(oneOf(fleet.Kind, "trade-in")), fleet.Category, fleet.ForePattern), "SELECT category, fore, count(*) FROM reading WHERE is_last AND kind = 0 GROUP BY 1, 2"},
		{"a model's heel patterns by gait", count(everything(ofModel), fleet.Gait, fleet.HeelPattern), fmt.Sprintf("SELECT gait, heel, count(*) FROM reading WHERE is_last AND model = %d GROUP BY 1, 2", model)},
		{"life of a model", life(everything(ofModel)), fmt.Sprintf("SELECT lower, upper, count(*) FROM reading WHERE is_last AND model = %d GROUP BY 1, 2", model)},
		{"life by gait", life(everything(), fleet.Gait), "SELECT gait, lower, upper, count(*) FROM reading WHERE is_last GROUP BY 1, 2, 3"},
		{"life of every model", life(everything(), fleet.Model), "SELECT model, lower, upper, count(*) FROM reading WHERE is_last GROUP BY 1, 2, 3"},
	}
}

// daysBefore is how many days of the invented fleet lie before a month.
func daysBefore(month string) int {
	t, err := time.Parse("2006-01", month)
	if err != nil {
		panic(err) // a constant
	}
	return int(t.Sub(fleetStart) / (24 * time.Hour))
}

// proveColumns compares the copy with an embedded column engine.
func proveColumns(l *lab) error {
	t := newTable("The fleet in memory beside an embedded column engine", "question", "column engine", "copy", "ratio", "target")
	t.note("%d readings, the same in both; the engine (DuckDB, from the npm registry) has them in its own file, in its narrowest types, and only the columns it is asked for", inMemory)
	t.note("medians of %d rounds in turn after one that isn't counted, one reader, no answer kept by the copy; both take as many threads as they like", columnRounds)
	t.note("every answer is compared: both count the same groups")
	e, err := l.startEngine(l.path("columns.db"))
	if err != nil {
		return err
	}
	defer e.stop()
	for _, sql := range []string{writeColumns(inMemory), "CHECKPOINT"} {
		if _, _, err := e.ask(sql); err != nil {
			return err
		}
	}
	c := fleet.New(fleet.Options{Source: &invented{readings: inMemory}, Answers: -1})
	if err := c.Load(l.ctx); err != nil {
		return err
	}
	for _, q := range askBoth() {
		var slow, fast []time.Duration
		for round := range columnRounds + 1 {
			want, there, err := e.ask(q.sql)
			if err != nil {
				return err
			}
			var got []int
			here, err := timed(func() (err error) { got, err = q.copy(c.View()); return err })
			if err != nil {
				return err
			}
			if slices.Sort(want); !slices.Equal(want, slices.Sorted(slices.Values(got))) {
				return fmt.Errorf("%s: the engine counts %d groups, the copy %d, and not the same", q.name, len(want), len(got))
			}
			if round > 0 {
				slow, fast = append(slow, there), append(fast, here)
			}
		}
		engine, here := percentile(slow, 50), percentile(fast, 50)
		t.row(q.name, milli(engine), milli(here), fmt.Sprintf("%.1f×", float64(engine)/float64(here)), fmt.Sprint(columnRatio, "×"))
	}
	size, err := os.Stat(l.path("columns.db"))
	if err != nil {
		return err
	}
	t.row("bytes a reading", fmt.Sprintf("%.1f (on disk, of 14 columns)", float64(size.Size())/inMemory), fmt.Sprintf("%.1f (in memory, of all)", float64(c.View().Bytes())/float64(c.View().Rows)), "", "")
	return l.write("columns", t)
}
