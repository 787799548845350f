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
		err = ex.sorter.merge(ctx, write)
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
		values text
		record assess.Record
	)
	return &rowsInto{csvFields(&row, &values), func() error {
		if err := row.record(&record, ex.contradict[string(row.PairRef)]); err != nil {
			return err
		}
		if err := addValuesOf(&record.Reading, string(values)); err != nil {
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
	"erased", "day", "month", "codes", "engine", "superseded_by", "body_sha",
}

// csvSelect are the columns that an export reads, csvFields where they are read
// to: those of the reading, and its rare values as one text.
var csvSelect = func() []string {
	var columns []string
	for _, c := range inspectionLayout.columns {
		if !slices.Contains(notInCSV, c) {
			columns = append(columns, "i."+c)
		}
	}
	return append(columns, "CASE WHEN i.has_values THEN (SELECT string_agg(v.foot || v.name || coalesce('=' || v.value, '!' || v.cant), ' ')"+
		" FROM inspection_value v WHERE v.store = i.store AND v.id = i.id) END")
}()

func csvFields(row *inspectionRow, values *text) []any {
	var into []any
	for i, f := range fields(row) {
		if !slices.Contains(notInCSV, inspectionLayout.columns[i]) {
			into = append(into, f)
		}
	}
	return append(into, values)
}

// addValuesOf puts the rare values into a reading that csvSelect reads as words,
// such as 0heel_medial_mm=31 or 1flex_deg!w.
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
