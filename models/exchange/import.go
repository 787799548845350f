package exchange

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"iter"
	"maps"
	"slices"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// Options say how a file is imported.
type Options struct {
	// KeepGood stores the good rows though others are refused.
	KeepGood bool
	// DryRun does everything, and undoes it.
	DryRun bool
	// Name is what the trail calls the file.
	Name string
	// Progress is told now and then how many rows were read; may be nil.
	Progress func(rows int)
	// Today is the day whose rules judge a reading that names none, YYYY-MM-DD.
	Today string
}

// BadRow is a row that was refused.
type BadRow struct {
	Row  int // from 0, the header not counted
	Line int // on which it begins
	Err  error
}

// Summary is what an import did.
type Summary struct {
	Read, Stored, Known int
	Bad                 []BadRow // in order of rows
}

// ErrRefused says that rows were refused and nothing was stored.
var ErrRefused = models.ErrRefused

// errDryRun undoes a dry run.
var errDryRun = errors.New("dry run")

// importer reads one kind of record.
type importer struct {
	run func(context.Context, *models.DB, models.Actor, io.Reader, Options) (Summary, error)
	raw func(io.Reader) (func() ([]byte, error), error) // the rows as they stand
}

// imports are the kinds that can be imported.
var imports = map[string]importer{
	"shoe-models": kind(retail.ShoeModels.CSV, func(ctx context.Context, db *models.DB, by models.Actor, m *retail.ShoeModel) error {
		_, err := db.SaveShoeModel(ctx, by, *m)
		return err
	}),
	"stores":   kind(retail.StoreLines.CSV, saveStore),
	"staff":    kind(retail.StaffList.CSV, saved((*models.DB).SaveStaff)),
	"runners":  kind(retail.Runners.CSV, saved((*models.DB).SaveRunner)),
	"fittings": kind(retail.Fittings.CSV, saveFitting),
	"sales":    kind(retail.Sales.CSV, saved((*models.DB).SaveSale)),
	"events":   kind(retail.Events.CSV, saved((*models.DB).SaveEvent)),

	"inspections": {importInspections, func(file io.Reader) (func() ([]byte, error), error) {
		d, err := assess.NewCSVDecoder(file)
		return rawOf(d), err
	}},
}

// ImportKinds are the kinds that can be imported, in order.
var ImportKinds = slices.Sorted(maps.Keys(imports))

// Import stores the rows of a CSV file. Where rows are refused it stores
// nothing and returns ErrRefused, unless KeepGood is set; the summary names
// them either way. What became of the file is noted in the audit trail, but for
// a dry run.
func Import(ctx context.Context, db *models.DB, by models.Actor, kind string, file io.Reader, o Options) (Summary, error) {
	sum, err := imports[kind].run(ctx, db, by, file, o)
	if o.DryRun {
		return sum, err
	}
	note := models.Import{Kind: kind, File: o.Name, Read: sum.Read, Refused: len(sum.Bad)}
	switch {
	case err == nil:
		note.Stored, note.Known = sum.Stored, sum.Known
	case !errors.Is(err, ErrRefused):
		note.Why = err.Error()
	}
	// An import that was broken off is noted, too.
	return sum, errors.Join(err, db.NoteImport(context.WithoutCancel(ctx), by, note))
}

// kind returns the import of a small kind of record: read as a whole, then
// stored in one transaction.
func kind[T any](table *assess.Table[T], save func(context.Context, *models.DB, models.Actor, *T) error) importer {
	raw := func(file io.Reader) (func() ([]byte, error), error) {
		d, err := table.Decoder(file)
		return rawOf(d), err
	}
	run := func(ctx context.Context, db *models.DB, by models.Actor, file io.Reader, o Options) (Summary, error) {
		d, err := table.Decoder(file)
		if err != nil {
			return Summary{}, err
		}
		type row struct {
			n, line int
			v       T
		}
		var good []row
		var bad []BadRow
		n := 0
		for ; ; n++ {
			var v T
			err := d.Decode(&v)
			if err == io.EOF {
				break
			}
			switch {
			case isBadRow(err):
				bad = append(bad, BadRow{n, d.Line(), err})
			case err != nil:
				return Summary{}, err
			default:
				good = append(good, row{n, d.Line(), v})
			}
		}
		var sum Summary
		err = db.Together(ctx, func(db *models.DB) error {
			sum = Summary{Read: n, Bad: slices.Clone(bad)}
			for i := range good {
				writes := db.Writes()
				switch err := save(ctx, db, by, &good[i].v); {
				case err == nil && db.Writes() == writes:
					sum.Known++
				case err == nil:
					sum.Stored++
				case isBadRow(err) || errors.Is(err, models.ErrConflict) || errors.Is(err, models.ErrNotFound):
					sum.Bad = append(sum.Bad, BadRow{good[i].n, good[i].line, err})
				default:
					return err
				}
				if o.Progress != nil {
					o.Progress(i + 1)
				}
			}
			switch {
			case len(sum.Bad) > 0 && !o.KeepGood:
				return ErrRefused
			case o.DryRun:
				return errDryRun
			}
			return nil
		})
		slices.SortFunc(sum.Bad, func(a, b BadRow) int { return a.Row - b.Row })
		if errors.Is(err, errDryRun) {
			err = nil
		}
		return sum, err
	}
	return importer{run, raw}
}

// saved turns a verb of models that stores a value into what an import calls.
func saved[T any](verb func(*models.DB, context.Context, models.Actor, T) error) func(context.Context, *models.DB, models.Actor, *T) error {
	return func(ctx context.Context, db *models.DB, by models.Actor, v *T) error { return verb(db, ctx, by, *v) }
}

// saveStore stores a store, and its region where there is none yet or its name
// has changed. A region's currency is that of its first store.
func saveStore(ctx context.Context, db *models.DB, by models.Actor, l *retail.StoreLine) error {
	region, err := db.Region(ctx, l.Region)
	switch {
	case errors.Is(err, models.ErrNotFound):
		region = retail.Region{Code: l.Region, Name: l.RegionName, Currency: l.Currency}
		if region.Name == "" {
			region.Name = l.Region
		}
		err = db.SaveRegion(ctx, by, region)
	case err == nil && l.RegionName != "" && l.RegionName != region.Name:
		region.Name = l.RegionName
		err = db.SaveRegion(ctx, by, region)
	}
	if err != nil {
		return err
	}
	return db.SaveStore(ctx, by, l.Store)
}

func saveFitting(ctx context.Context, db *models.DB, by models.Actor, f *retail.Fitting) error {
	_, _, err := db.SaveFitting(ctx, by, *f, sha256.Sum256(retail.Fittings.CSV.Append(nil, f)))
	return err
}

// importInspections streams readings through the engine into the database.
func importInspections(ctx context.Context, db *models.DB, by models.Actor, file io.Reader, o Options) (Summary, error) {
	d, err := assess.NewCSVDecoder(file)
	if err != nil {
		return Summary{}, err
	}
	var sum Summary
	var lines []int32 // of the rows handed on, with their places
	var places []int32
	j := newJudging(db, o.Today)
	decoded := func(yield func(*models.NewInspection, error) bool) {
		var rec assess.Record
		for ; ; sum.Read++ {
			err := d.Decode(&rec)
			if err == nil {
				err = rec.AssignID()
			}
			switch {
			case err == io.EOF:
				if len(sum.Bad) > 0 && !o.KeepGood {
					yield(nil, ErrRefused)
				}
				return
			case isBadRow(err):
				sum.Bad = append(sum.Bad, BadRow{sum.Read, d.Line(), err})
				continue
			case err != nil:
				yield(nil, err)
				return
			}
			in, err := j.judge(ctx, &rec)
			if isBadRow(err) {
				sum.Bad = append(sum.Bad, BadRow{sum.Read, d.Line(), err})
				continue
			}
			lines, places = append(lines, int32(d.Line())), append(places, int32(sum.Read))
			if !yield(in, err) {
				return
			}
		}
	}
	res, err := db.ImportInspections(ctx, by, decoded, models.ImportOptions{
		KeepGood: o.KeepGood, DryRun: o.DryRun, Progress: o.Progress,
		Refused: func(row int, err error) {
			sum.Bad = append(sum.Bad, BadRow{int(places[row]), int(lines[row]), err})
		},
	})
	slices.SortFunc(sum.Bad, func(a, b BadRow) int { return a.Row - b.Row })
	sum.Stored, sum.Known = res.Stored, res.Known
	return sum, err
}

// Judged gives each of the readings what an import stores with it, for a
// caller that makes readings instead of decoding them.
func Judged(ctx context.Context, db *models.DB, today string, records iter.Seq[*assess.Record]) iter.Seq2[*models.NewInspection, error] {
	j := newJudging(db, today)
	return func(yield func(*models.NewInspection, error) bool) {
		for r := range records {
			if !yield(j.judge(ctx, r)) {
				return
			}
		}
	}
}

// judging judges the readings of an import by their own rules, each with the
// as-new values of its model. What it asks the database it asks once.
type judging struct {
	db      *models.DB
	today   string
	current int // number of today's rules, 0 until asked
	engines map[int]*assess.Engine
	shoes   map[[3]string]*models.ShoeModel // nil: not in the catalogue
	zones   map[string]*time.Location       // by store
	bands   map[string]*assess.PostureBands // by day; nil: none hold
	result  assess.Result
	in      models.NewInspection
}

func newJudging(db *models.DB, today string) *judging {
	return &judging{
		db: db, today: today, engines: map[int]*assess.Engine{}, shoes: map[[3]string]*models.ShoeModel{},
		zones: map[string]*time.Location{}, bands: map[string]*assess.PostureBands{},
	}
}

// judge returns a reading with what the engine finds in it. What it returns is
// good until the next call.
func (j *judging) judge(ctx context.Context, r *assess.Record) (*models.NewInspection, error) {
	j.in = models.NewInspection{SHA: sha256.Sum256(assess.Canonical(r))}
	if err := j.bandPosture(ctx, r); err != nil {
		return nil, err
	}
	engine, err := j.engine(ctx, r)
	if err != nil {
		return nil, err
	}
	shoe, err := j.shoe(ctx, r)
	if err != nil {
		return nil, err
	}
	var asNew *assess.AsNew
	if shoe != nil && shoe.AsNewNumber > 0 {
		asNew, j.in.AsNew = &shoe.AsNew, shoe.AsNewNumber
	}
	engine.Judge(&r.Reading, asNew, &j.result)
	if r.Advised == assess.NoVerdict {
		r.Advised = j.result.Verdict
	}
	j.in.Record = *r
	j.in.Facts = models.FactsOf(&j.result, assess.EngineVersion)
	j.in.Facts.Flags |= r.AsideFlags()
	return &j.in, nil
}

// bandPosture bands the sums of the Foot Posture Index by the bands of the
// reading's day. A store that isn't set up is for the database to refuse.
func (j *judging) bandPosture(ctx context.Context, r *assess.Record) error {
	if !r.HasPostureSum() {
		return nil
	}
	zone, known := j.zones[r.Store]
	if !known {
		at, err := j.db.Store(ctx, r.Store)
		if errors.Is(err, models.ErrNotFound) {
			return nil
		}
		if err == nil {
			zone, err = time.LoadLocation(at.Zone)
		}
		if err != nil {
			return err
		}
		j.zones[r.Store] = zone
	}
	day := r.At.In(zone).Format(time.DateOnly)
	bands, known := j.bands[day]
	if !known {
		var err error
		if bands, err = j.db.PostureBandsOn(ctx, day); err != nil && !errors.Is(err, models.ErrNotFound) {
			return err
		}
		j.bands[day] = bands
	}
	if bands != nil { // of a day before the first there are none
		r.BandPosture(bands)
	}
	return nil
}

// engine returns the engine of a reading's rules, and names today's where it
// names none.
func (j *judging) engine(ctx context.Context, r *assess.Record) (*assess.Engine, error) {
	if r.Rules == 0 {
		if j.current == 0 {
			set, err := j.db.RuleSetOn(ctx, j.today)
			if err != nil {
				return nil, err
			}
			j.current = set.Number
		}
		r.Rules = j.current
	}
	if e := j.engines[r.Rules]; e != nil {
		return e, nil
	}
	set, err := j.db.RuleSet(ctx, r.Rules)
	if errors.Is(err, models.ErrNotFound) {
		return nil, assess.FieldErrors{{Field: "rules", Value: fmt.Sprint(r.Rules), Want: "the number of a rule set, or none", Err: assess.ErrOutOfRange}}
	}
	if err != nil {
		return nil, err
	}
	e, err := assess.Compile(set)
	j.engines[r.Rules] = e
	return e, err
}

// shoe returns the catalogue's model of a reading, nil where there is none.
func (j *judging) shoe(ctx context.Context, r *assess.Record) (*models.ShoeModel, error) {
	words := [3]string{r.Brand, r.Model, r.Version}
	if words == [3]string{} {
		return nil, nil
	}
	if m, asked := j.shoes[words]; asked {
		return m, nil
	}
	m, err := j.db.ShoeModelNamed(ctx, r.Brand, r.Model, r.Version)
	switch {
	case errors.Is(err, models.ErrNotFound):
		j.shoes[words] = nil
		return nil, nil
	case err != nil:
		return nil, err
	}
	j.shoes[words] = &m
	return &m, nil
}

// Rejected copies the header of a CSV file and the rows with these places to
// w, as they stand in the file.
func Rejected(kind string, file io.Reader, bad []BadRow, w io.Writer) error {
	in := bufio.NewReader(file)
	header, err := in.ReadBytes('\n')
	if err != nil && err != io.EOF {
		return err
	}
	next, err := imports[kind].raw(io.MultiReader(bytes.NewReader(header), in))
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	out.Write(header)
	for row := 0; len(bad) > 0; row++ {
		raw, err := next()
		if err != nil {
			return err
		}
		if bad[0].Row == row {
			out.Write(raw)
			for len(bad) > 0 && bad[0].Row == row {
				bad = bad[1:]
			}
		}
	}
	return out.Flush()
}

// rawOf returns the rows of a file as they stand, one a call.
func rawOf[T any](d *assess.Decoder[T]) func() ([]byte, error) {
	var v T
	return func() ([]byte, error) {
		if err := d.Decode(&v); err != nil && !isBadRow(err) {
			return nil, err
		}
		return d.Raw(), nil
	}
}

// isBadRow reports whether an error is about the values of one row.
func isBadRow(err error) bool {
	var many assess.FieldErrors
	var one assess.FieldError
	return errors.As(err, &many) || errors.As(err, &one)
}

// Today returns the day of an instant in UTC, as Options want it.
func Today(now time.Time) string { return now.UTC().Format(time.DateOnly) }
