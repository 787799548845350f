package models

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"solewright/assess"
	"solewright/models/retail"
)

// exportRun is how much is put in order in memory at once, by each processor.
// House value.
const exportRun = 4 << 20

// ExportInspections calls write with readings as rows of CSV, many at a time, by
// store and id, the voided among them. From and to are local days, both included;
// they and store are empty for no bound. What the memory of a few runs doesn't
// hold lies in a temporary file until it is written. The bytes are valid until
// write returns.
func (db *DB) ExportInspections(ctx context.Context, scopes []retail.Scope, from, to, store string, write func(rows []byte) error) error {
	return db.exportInspections(ctx, exportRun, scopes, from, to, store, write)
}

// exportInspections is ExportInspections in runs of so many bytes.
func (db *DB) exportInspections(ctx context.Context, bytes int, scopes []retail.Scope, from, to, store string, write func([]byte) error) error {
	picked, err := (&InspectionFilter{Scopes: scopes, Store: store, From: from, To: to}).where()
	if err != nil {
		return err
	}
	ex := exporting{db: db, from: db.readerPool(), picked: picked, contradict: map[string]bool{}, sorter: sorter{bytes: bytes}}
	defer ex.sorter.close()
	err = ex.pairs(ctx)
	if err == nil {
		err = ex.read(ctx)
	}
	if err == nil {
		err = ex.write(ctx, write)
	}
	return wrap(err, "exporting the readings")
}

// exporting is an export under way.
type exporting struct {
	db         *DB
	from       *pool
	picked     *where
	contradict map[string]bool
	sorter     sorter
}

// pairs notes the few pairs that contradict themselves, which takes less than to
// look up every reading's.
func (ex *exporting) pairs(ctx context.Context) error {
	refs, err := ex.db.words(ctx, ex.from, "SELECT ref FROM pair WHERE contradicts > 0")
	for _, ref := range refs {
		ex.contradict[ref] = true
	}
	return err
}

// read reads the readings in the order they lie in, and writes them as CSV. Where
// none is left out, all processors read; one by one, an index may find them.
func (ex *exporting) read(ctx context.Context) error {
	parts := []string{ex.picked.String()}
	if len(ex.picked.conditions) == 0 {
		var err error
		if parts, err = ex.db.parts(ctx, ex.from, " WHERE "); err != nil {
			return err
		}
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var group sync.WaitGroup
	for _, part := range parts {
		group.Go(func() {
			if err := ex.readPart(ctx, part); err != nil {
				stop(err) // the first is told
			}
		})
	}
	group.Wait()
	return context.Cause(ctx)
}

func (ex *exporting) readPart(ctx context.Context, where string) error {
	var runs []*run
	if err := ex.db.stream(ctx, ex.from, csvSelect, runtime.GOMAXPROCS(0), func() *rowsInto {
		run := ex.sorter.run()
		runs = append(runs, run)
		return ex.into(run)
	}, " FROM inspection i"+where, ex.picked.args); err != nil {
		return err
	}
	for _, r := range runs {
		r.done()
	}
	return nil
}

// into is where readings are read to that are written as CSV to a run.
func (ex *exporting) into(run *run) *rowsInto {
	var (
		row    inspectionRow
		record assess.Record
	)
	return &rowsInto{csvFields(&row), func() error {
		if err := row.record(&record, ex.contradict[string(row.PairRef)]); err != nil {
			return err
		}
		from := len(run.text)
		run.text = assess.AppendCSV(run.text, &record)
		return run.add(row.Store, row.ID, from)
	}}
}

// notInCSV are the columns of a reading that its CSV doesn't show: what is found
// again by judging, and what only the database needs.
var notInCSV = []string{
	"model_id", "clock_offset_ms", "km", "age_days", "as_new", "advised", "how", "grade", "route",
	"heel", "fore", "side", "decided_by",
	"l_heel", "l_fore", "l_ml_heel", "l_ml_fore", "l_centre_heel", "l_centre_fore", "l_fore_aft",
	"r_heel", "r_fore", "r_ml_heel", "r_ml_fore", "r_centre_heel", "r_centre_fore", "r_fore_aft",
	"has_values", "erased", "day", "month", "codes", "engine", "superseded_by", "body_sha",
}

// csvSelect are the columns that an export reads, csvFields where they are read to.
var csvSelect = func() []string {
	var columns []string
	for _, c := range inspectionLayout.columns {
		if !slices.Contains(notInCSV, c) {
			columns = append(columns, "i."+c)
		}
	}
	return columns
}()

func csvFields(row *inspectionRow) []any {
	var into []any
	for i, f := range fields(row) {
		if !slices.Contains(notInCSV, inspectionLayout.columns[i]) {
			into = append(into, f)
		}
	}
	return into
}

// write writes the readings in order, some while those that follow are merged.
func (ex *exporting) write(ctx context.Context, write func([]byte) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	var working sync.WaitGroup
	defer working.Wait()
	defer stop(nil)
	values := rareValues{batches: make(chan []valuesOf, 1)}
	working.Go(func() {
		defer close(values.batches)
		if err := ex.readValues(ctx, values.batches); err != nil {
			stop(err)
		}
	})
	full, empty := make(chan []byte), make(chan []byte, 2)
	empty <- nil
	empty <- nil
	working.Go(func() {
		defer close(full)
		if err := ex.merge(ctx, &values, full, empty); err != nil {
			stop(err)
		}
	})
	for rows := range full {
		if err := write(rows); err != nil {
			return err
		}
		empty <- rows[:0]
	}
	return context.Cause(ctx)
}

// merge sends the readings in order, and lays into each its rare values, which the
// database has in the same order: for it to look up those of each reading takes
// several times as long.
func (ex *exporting) merge(ctx context.Context, values *rareValues, full chan<- []byte, empty <-chan []byte) error {
	out := <-empty
	send := func() error {
		if ctx.Err() != nil {
			return ctx.Err() // rows may lack their values
		}
		select {
		case full <- out:
			out = <-empty
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if err := ex.sorter.merge(func(key rowKey, row []byte) error {
		reading, err := values.of(key)
		if err != nil {
			return err
		}
		if reading != nil {
			out = assess.FillCSV(out, row, reading)
		} else {
			out = append(out, row...)
		}
		if len(out) < runBuffer {
			return nil
		}
		return send()
	}); err != nil {
		return err
	}
	if len(out) == 0 {
		return nil
	}
	return send()
}

// valuesOf are the rare values of a reading as words, such as 0heel_medial_mm=31 or
// 1flex_deg!w.
type valuesOf struct {
	Store  string `gorm:"column:v.store"`
	ID     id     `gorm:"column:v.id"`
	Values string `gorm:"column:string_agg(v.foot || v.name || coalesce('=' || v.value, '!' || v.cant), ' ')"`
}

// valueBatch is of how many readings the rare values are handed over at once. House
// value.
const valueBatch = 500

// readValues sends the rare values of the readings that are picked, in order. They
// are written with their reading and stay as they are, so that it doesn't matter
// that they are read after it.
func (ex *exporting) readValues(ctx context.Context, to chan<- []valuesOf) error {
	from := " FROM inspection_value v"
	if len(ex.picked.conditions) > 0 {
		from += " JOIN inspection i ON i.store = v.store AND i.id = v.id"
	}
	var batch []valuesOf
	send := func() error {
		select {
		case to <- batch:
			batch = nil
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if err := ex.db.stream(ctx, ex.from, layoutOf("", valuesOf{}).columns, 1, func() *rowsInto {
		var row valuesOf
		return &rowsInto{fields(&row), func() error {
			if batch = append(batch, row); len(batch) < valueBatch {
				return nil
			}
			return send()
		}}
	}, from+ex.picked.String()+" GROUP BY v.store, v.id ORDER BY v.store, v.id", ex.picked.args); err != nil {
		return err
	}
	return send()
}

// rareValues are the rare values of readings, as they come.
type rareValues struct {
	batches chan []valuesOf
	rows    []valuesOf
	reading assess.Reading
}

// of returns the rare values of a reading, nil where it has none. It is called with
// one reading after the other, in order.
func (r *rareValues) of(key rowKey) (*assess.Reading, error) {
	for v := r.first(); v != nil; v = r.first() {
		at := rowKey{v.Store, v.ID}
		switch c := at.compare(&key); {
		case c > 0:
			return nil, nil
		case c == 0:
			r.reading = assess.Reading{}
			return &r.reading, addValuesOf(&r.reading, v.Values)
		}
		r.rows = r.rows[1:]
	}
	return nil, nil
}

// first returns the values that come next, nil at the end.
func (r *rareValues) first() *valuesOf {
	for len(r.rows) == 0 {
		var more bool
		if r.rows, more = <-r.batches; !more {
			return nil
		}
	}
	return &r.rows[0]
}

// addValuesOf puts the rare values into a reading as valuesOf has them.
func addValuesOf(r *assess.Reading, words string) error {
	for word := range strings.FieldsSeq(words) {
		var v valueRow
		at := strings.IndexAny(word, "=!")
		if at < 1 {
			return fmt.Errorf("the database holds a value %q, which this program doesn't know", word)
		}
		v.Foot, v.Name = int(word[0]-'0'), word[1:at]
		if word[at] == '!' {
			v.Cant = text(word[at+1:])
		} else if err := setText(&v.Value, word[at+1:]); err != nil {
			return err
		}
		if err := addValue(r, &v); err != nil {
			return err
		}
	}
	return nil
}
