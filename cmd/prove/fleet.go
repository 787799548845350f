package main

import (
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"solewright/models"
	"solewright/reports/fleet"
	"solewright/reports/wear"
)

// The sizes of the proof, its readers, and how long they ask.
const (
	inMemory    = 10_000_000
	inPostgres  = 10_000_000
	inSQLite    = 1_000_000
	readers     = 8
	askFor      = 10 * time.Second
	comingPairs = 100 // pairs that come while readers ask
)

// The targets.
const (
	askWithin     = 50 * time.Millisecond
	lifeWithin    = 300 * time.Millisecond
	restartWithin = 3 * time.Second
	signalsWithin = 5 * time.Second
	seenWithin    = 5 * time.Second
	loadRate      = 1_000_000
	ratioWanted   = 100
	bytesWanted   = 24 // a reading
	memoryWithin  = 1 << 30
)

// proveFleet returns the proof of the fleet in memory, with a source.
func proveFleet(name string, run func(*lab, *table) error) proof {
	return proof{name, func(l *lab) error {
		t := newTable("The fleet in memory", "of", "what", "measured", "target")
		t.note("%d readings from a source in this process (fleet.md), %d from PostgreSQL and %d from SQLite, which make their rows themselves, by INSERT … SELECT", inMemory, inPostgres, inSQLite)
		t.note("%d stores, %d models, %d staff, ten years; three of ten readings are their pair's second", fleetStores, fleetModels, fleetStaff)
		t.note("questions: %d readers ask without pause for %s, each a random one of the list, while readings come; the percentiles are of all of them and of each kind", readers, askFor)
		if err := run(l, t); err != nil {
			return err
		}
		return l.write(name, t)
	}}
}

// everything picks the whole fleet.
func everything(only ...fleet.Only) fleet.Filter {
	return fleet.Filter{Scopes: models.Fleet, Only: only}
}

// question is a kind of question, which draws what it is about.
type question struct {
	name string
	ask  func(*fleet.View) error
}

func oneOf(d fleet.Dim, word string) fleet.Only { return fleet.Only{Dim: d, Words: []string{word}} }

func anyModel() fleet.Only  { return oneOf(fleet.Model, modelID(rand.Int64N(fleetModels)).String()) }
func anyStore() fleet.Only  { return oneOf(fleet.Store, storeName(rand.Int64N(fleetStores))) }
func anyRegion() fleet.Only { return oneOf(fleet.Region, regionName(rand.Int64N(fleetRegions))) }

func counting(f func() fleet.Filter, dims ...fleet.Dim) func(*fleet.View) error {
	return func(v *fleet.View) error {
		cells, err := v.Count(f(), dims...)
		if err == nil && len(cells) == 0 {
			err = fmt.Errorf("nothing is counted by %v", dims)
		}
		return err
	}
}

// questions are what pages ask.
var questions = []question{
	{"a model's heel patterns by gait", counting(func() fleet.Filter { return everything(anyModel()) }, fleet.Gait, fleet.HeelPattern)},
	{"all heel patterns by gait", counting(func() fleet.Filter { return everything() }, fleet.Gait, fleet.HeelPattern)},
	{"a region's verdicts by month", counting(func() fleet.Filter { return everything(anyRegion()) }, fleet.Month, fleet.Verdict)},
	{"verdicts by model, the last year", counting(func() fleet.Filter {
		f := everything()
		f.From = "2025-11"
		return f
	}, fleet.Model, fleet.Verdict)},
	{"a store's verdicts by month", counting(func() fleet.Filter { return everything(anyStore()) }, fleet.Month, fleet.Verdict)},
	{"trade-ins by category and forefoot pattern", counting(func() fleet.Filter { return everything(oneOf(fleet.Kind, "trade-in")) }, fleet.Category, fleet.ForePattern)},
	{"a region's reasons by model", counting(func() fleet.Filter { return everything(anyRegion()) }, fleet.Model, fleet.Reason)},
	{"life of a model", func(v *fleet.View) error { _, err := v.Life(everything(anyModel())); return err }},
	{"grades of a model's zones by gait", func(v *fleet.View) error { _, err := v.Grades(everything(anyModel()), fleet.Gait); return err }},
	{"newest pairs of a model", func(v *fleet.View) error {
		_, _, err := v.List(everything(anyModel()), fleet.Newest, "", 50)
		return err
	}},
}

// asking has readers ask for a while and returns how long each answer took, by
// question.
func asking(ctx context.Context, c *fleet.Copy) (map[string][]time.Duration, error) {
	ctx, cancel := context.WithTimeout(ctx, askFor)
	defer cancel()
	var (
		group  sync.WaitGroup
		mu     sync.Mutex
		took   = map[string][]time.Duration{}
		failed error
	)
	for range readers {
		group.Go(func() {
			for ctx.Err() == nil {
				q := questions[rand.IntN(len(questions))]
				begin := time.Now()
				err := q.ask(c.View())
				d := time.Since(begin)
				mu.Lock()
				took[q.name] = append(took[q.name], d)
				if err != nil {
					failed = err
				}
				mu.Unlock()
			}
		})
	}
	group.Wait()
	return took, failed
}

// percentile returns the p-th of a hundred parts of durations, which it sorts.
func percentile(all []time.Duration, p int) time.Duration {
	slices.Sort(all)
	return all[min(len(all)*p/100, len(all)-1)]
}

func milli(d time.Duration) string { return fmt.Sprintf("%.1f ms", float64(d.Microseconds())/1e3) }

// asked writes the percentiles of answers.
func asked(t *table, of string, took map[string][]time.Duration) {
	var all []time.Duration
	for _, q := range questions {
		of, d := of, took[q.name]
		if len(d) == 0 {
			continue
		}
		all = append(all, d...)
		t.row(of, q.name+", p50 and p95", milli(percentile(d, 50))+", "+milli(percentile(d, 95)), "")
	}
	t.row(of, fmt.Sprintf("all %d questions, p50 and p95", len(all)), milli(percentile(all, 50))+", "+milli(percentile(all, 95)), "p95 "+milli(askWithin))
}

// timed runs f and returns how long it took.
func timed(f func() error) (time.Duration, error) {
	begin := time.Now()
	err := f()
	return time.Since(begin), err
}

// alone measures questions of the whole fleet, one reader, the first time and the
// best of five.
func alone(t *table, of string, v *fleet.View) error {
	for _, q := range []struct {
		question
		target string
	}{
		{question{"life of every model", func(v *fleet.View) error { _, err := v.Life(everything(), fleet.Model); return err }}, "first " + milli(lifeWithin)},
		{question{"life by gait", func(v *fleet.View) error { _, err := v.Life(everything(), fleet.Gait); return err }}, "first " + milli(lifeWithin)},
		{question{"heel patterns by model and gait", counting(func() fleet.Filter { return everything() }, fleet.Model, fleet.Gait, fleet.HeelPattern)}, ""},
		{question{"verdicts within runners, of a model", func(v *fleet.View) error { _, err := v.Clusters(everything(anyModel()), fleet.Verdict); return err }}, ""},
		{question{"what stands out in the whole fleet", func(v *fleet.View) error { _, err := wear.Signals(v, wear.Ask{Scopes: models.Fleet}); return err }}, "first " + milli(signalsWithin)},
	} {
		var first, best time.Duration
		for run := range 6 {
			d, err := timed(func() error { return q.ask(v) })
			if err != nil {
				return err
			}
			if run == 0 {
				first, best = d, d
			}
			best = min(best, d)
		}
		t.row(of, q.name+", alone: first, best of six", milli(first)+", "+milli(best), q.target)
	}
	return nil
}

// rate writes a rate of rows.
func rate(rows int, d time.Duration) string {
	return fmt.Sprintf("%.0f rows/s (%s s)", float64(rows)/d.Seconds(), seconds(d))
}

// resident returns the memory of this process that is in use.
func resident() string {
	runtime.GC()
	return field("/proc/self/status", "VmRSS")
}

func snapshotOf(of string) string { return strings.ReplaceAll(of, " ", "-") + ".snapshot" }

// loadFleet loads a copy and writes how long it took.
func (l *lab) loadFleet(t *table, of string, source fleet.Source) (*fleet.Copy, error) {
	o := fleet.Options{Source: source, Snapshot: l.path(snapshotOf(of))}
	c := fleet.New(o)
	if err := os.WriteFile("/proc/self/clear_refs", []byte("5"), 0); err != nil { // the peak begins anew
		return nil, err
	}
	d, err := timed(func() error { return c.Load(l.ctx) })
	if err != nil {
		return nil, err
	}
	peak := field("/proc/self/status", "VmHWM")
	rows := c.View().Rows
	t.row(of, "load, reading by reading", rate(rows, d), fmt.Sprint(loadRate, " rows/s"))
	t.row(of, "peak memory of the process while it loads", peak, fmt.Sprintf("< %d kB", memoryWithin>>10))
	t.row(of, "memory of the process once it is loaded", field("/proc/self/status", "VmRSS"), fmt.Sprintf("< %d kB", memoryWithin>>10))
	t.row(of, "bytes a reading, all columns", fmt.Sprintf("%.1f", float64(c.View().Bytes())/float64(rows)), bytesWanted)
	for _, column := range c.View().Columns() {
		t.row(of, "bytes a reading: "+column.Name, fmt.Sprintf("%.2f", float64(column.Bytes)/float64(rows)), "")
	}
	d, err = timed(func() error { return c.Save(l.ctx) })
	if err != nil {
		return nil, err
	}
	t.row(of, "write the snapshot", seconds(d)+" s", "")
	again := fleet.New(o)
	if d, err = timed(func() error { return again.Load(l.ctx) }); err != nil {
		return nil, err
	}
	if again.View().Fingerprint() != c.View().Fingerprint() {
		return nil, fmt.Errorf("%s: the copy from the snapshot is another", of)
	}
	t.row(of, "start again from the snapshot, the same fingerprint", seconds(d)+" s", fmt.Sprintf("< %s s", seconds(restartWithin)))
	return c, nil
}

func proveFleetInMemory(l *lab, t *table) error {
	const of = "10 M in process"
	source := &invented{readings: inMemory}
	c, err := l.loadFleet(t, of, source)
	if err != nil {
		return err
	}
	t.row(of, "resident memory of the process after it, with nothing else in it", resident(), fmt.Sprintf("< %d kB", memoryWithin>>10))
	if err := alone(t, of, c.View()); err != nil {
		return err
	}
	stop := make(chan struct{})
	var writer sync.WaitGroup
	var steps []time.Duration
	writer.Go(func() {
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				source.come(comingPairs)
				d, err := timed(func() error { _, err := c.Step(l.ctx); return err })
				if err != nil {
					return
				}
				steps = append(steps, d)
			}
		}
	})
	took, err := asking(l.ctx, c)
	close(stop)
	writer.Wait()
	if err != nil {
		return err
	}
	asked(t, of, took)
	if len(steps) == 0 {
		return fmt.Errorf("%s: nothing came while readers asked", of)
	}
	const scanning = of + ", no answer kept"
	scans := fleet.New(fleet.Options{Source: source, Snapshot: l.path(snapshotOf(of)), Answers: -1})
	if err := scans.Load(l.ctx); err != nil {
		return err
	}
	if took, err = asking(l.ctx, scans); err != nil {
		return err
	}
	asked(t, scanning, took)
	t.row(of, fmt.Sprintf("follow %d new pairs, readers asking, p95", comingPairs), milli(percentile(steps, 95)), "")
	return nil
}

// against is a question to the copy, and the same in SQL.
type against struct {
	name string
	dims []fleet.Dim
	sql  string
}

// rows of the pair's last reading, as export pairs has them.
const lastReadings = "FROM pair p JOIN inspection i ON i.store = p.last_store AND i.id = p.last_id"

var compared = []against{
	{
		"heel patterns by gait, all",
		[]fleet.Dim{fleet.Gait, fleet.HeelPattern},
		"SELECT i.gait, i.heel, count(*) " + lastReadings + " GROUP BY 1, 2",
	},
	{
		"verdicts by model, all",
		[]fleet.Dim{fleet.Model, fleet.Verdict},
		"SELECT p.model_id, i.advised, count(*) " + lastReadings + " GROUP BY 1, 2",
	},
}

func proveFleetOnPostgres(l *lab, t *table) error {
	const of = "10 M on PostgreSQL"
	cluster, err := l.startCluster("postgres")
	if err != nil {
		return err
	}
	defer cluster.stop()
	if _, _, err := l.solewright(nil, "migrate", "--db", cluster.url); err != nil {
		return err
	}
	for _, s := range writeFleet("postgres", inPostgres) {
		if _, err := cluster.psql(s); err != nil {
			return err
		}
	}
	if _, err := cluster.psql("VACUUM ANALYZE"); err != nil {
		return err
	}
	db, err := models.Open(l.ctx, models.Options{URL: cluster.url})
	if err != nil {
		return err
	}
	defer db.Close()
	c, err := l.loadFleet(t, of, db.Feed())
	if err != nil {
		return err
	}
	if err := l.elsewhere(t, of, db, c); err != nil {
		return err
	}
	// What was answered before would be no comparison.
	scans := fleet.New(fleet.Options{Source: db.Feed(), Snapshot: l.path(snapshotOf(of)), Answers: -1})
	if err := scans.Load(l.ctx); err != nil {
		return err
	}
	for _, q := range compared {
		var slow, fast []time.Duration
		for range 3 {
			var rows string
			d, err := timed(func() (err error) { rows, err = cluster.psql(q.sql); return err })
			if err != nil {
				return err
			}
			slow = append(slow, d)
			var cells []fleet.Cell
			if d, err = timed(func() (err error) { cells, err = scans.View().Count(everything(), q.dims...); return err }); err != nil {
				return err
			}
			fast = append(fast, d)
			if err := sameCounts(rows, cells); err != nil {
				return fmt.Errorf("%s: %w", q.name, err)
			}
		}
		ratio := float64(percentile(slow, 50)) / float64(percentile(fast, 50))
		t.row(of, q.name+": SQL, copy, ratio (medians of three in turn, the same counts)",
			fmt.Sprintf("%s, %s, %.0f×", milli(percentile(slow, 50)), milli(percentile(fast, 50)), ratio), fmt.Sprint(ratioWanted, "×"))
	}
	if err := l.followed(t, of, db, c); err != nil {
		return err
	}
	return l.pages(t, of, cluster.url, db)
}

// elsewhere measures what a server takes that comes up without a file.
func (l *lab) elsewhere(t *table, of string, db *models.DB, c *fleet.Copy) error {
	file, err := os.Open(l.path(snapshotOf(of)))
	if err != nil {
		return err
	}
	defer file.Close()
	d, err := timed(func() error { return db.Snapshots().Keep(l.ctx, file) })
	if err != nil {
		return err
	}
	t.row(of, "share the snapshot, in PostgreSQL", seconds(d)+" s", "")
	other := fleet.New(fleet.Options{Source: db.Feed(), Snapshot: l.path("elsewhere.snapshot"), Shared: db.Snapshots()})
	if d, err = timed(func() error { return other.Load(l.ctx) }); err != nil {
		return err
	}
	if other.View().Fingerprint() != c.View().Fingerprint() {
		return fmt.Errorf("%s: the copy from the shared snapshot is another", of)
	}
	t.row(of, "load on another machine, from the snapshot in PostgreSQL", rate(c.View().Rows, d), fmt.Sprint(loadRate, " rows/s"))
	return nil
}

// sameCounts fails unless a query and the copy counted the same, whatever they
// call it.
func sameCounts(rows string, cells []fleet.Cell) error {
	var want, got []int
	for line := range strings.Lines(rows) {
		n, err := strconv.Atoi(strings.TrimSpace(line[strings.LastIndexByte(line, '|')+1:]))
		if err != nil {
			return err
		}
		want = append(want, n)
	}
	for _, c := range cells {
		got = append(got, c.N)
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(want, got) {
		return fmt.Errorf("SQL counts %d groups, the copy %d, and not the same", len(want), len(got))
	}
	return nil
}

// followed measures how soon readings show that are stored while readers ask.
func (l *lab) followed(t *table, of string, db *models.DB, c *fleet.Copy) error {
	ctx, stop := context.WithCancel(l.ctx)
	defer stop()
	var group sync.WaitGroup
	defer group.Wait()
	defer stop()
	group.Go(func() { c.Run(ctx) })
	var seen []time.Duration
	var storing error
	group.Go(func() {
		for n := 0; ctx.Err() == nil; n++ {
			before := c.View().Rows
			begin := time.Now()
			if err := storeOne(ctx, db, n); err != nil {
				if ctx.Err() == nil {
					storing = err
				}
				return
			}
			if poll(ctx, func() bool { return c.View().Rows > before }) == nil {
				seen = append(seen, time.Since(begin))
			}
		}
	})
	took, err := asking(l.ctx, c)
	if err != nil {
		return err
	}
	asked(t, of, took)
	stop()
	group.Wait()
	if storing != nil {
		return fmt.Errorf("%s: storing a reading: %w", of, storing)
	}
	if len(seen) == 0 {
		state, _ := c.Ready(l.ctx)
		return fmt.Errorf("%s: no reading was seen to come: %s", of, state)
	}
	t.row(of, fmt.Sprintf("from storing a reading until it shows, readers asking, the slowest of %d", len(seen)), milli(slices.Max(seen)), "< "+milli(seenWithin))
	return nil
}

func proveFleetOnSQLite(l *lab, t *table) error {
	const of = "1 M on SQLite"
	path := l.path("fleet.db")
	if _, _, err := l.solewright(nil, "migrate", "--db", "file:"+path); err != nil {
		return err
	}
	raw, err := sql.Open("sqlite", path)
	if err != nil {
		return err
	}
	for _, s := range append([]string{"PRAGMA synchronous = OFF"}, writeFleet("sqlite", inSQLite)...) {
		if _, err := raw.ExecContext(l.ctx, s); err != nil {
			return fmt.Errorf("%.60s…: %w", s, err)
		}
	}
	if err := raw.Close(); err != nil {
		return err
	}
	db, err := models.Open(l.ctx, models.Options{URL: "file:" + path})
	if err != nil {
		return err
	}
	defer db.Close()
	if info, err := os.Stat(filepath.Clean(path)); err == nil {
		t.row(of, "the database, MB", info.Size()>>20, "")
	}
	c, err := l.loadFleet(t, of, db.Feed())
	if err != nil {
		return err
	}
	if err := l.followed(t, of, db, c); err != nil {
		return err
	}
	return l.pages(t, of, "file:"+path, db)
}
