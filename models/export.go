package models

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"

	"solewright/assess"
	"solewright/models/retail"
)

// exportRows is how many readings a page of an export holds: enough that asking
// for it costs little, few enough that PostgreSQL doesn't compile the plan.
const exportRows = 2000

// ExportInspections calls write with readings as rows of CSV, a page of some
// thousand at a time, by store and id, the voided among them. From and to are
// local days, both included; they and store are empty for no bound. As many
// pages as there are processors are read at once, each on a connection of its
// own. The bytes are valid until write returns.
func (db *DB) ExportInspections(ctx context.Context, scopes []retail.Scope, from, to, store string, write func(rows []byte) error) error {
	return db.exportInspections(ctx, exportRows, scopes, from, to, store, write)
}

// exportInspections is ExportInspections in pages of so many rows.
func (db *DB) exportInspections(ctx context.Context, rows int, scopes []retail.Scope, from, to, store string, write func([]byte) error) error {
	keys, err := (&InspectionFilter{Scopes: scopes, Store: store}).where()
	if err != nil {
		return err
	}
	picked, err := (&InspectionFilter{Scopes: scopes, Store: store, From: from, To: to}).where()
	if err != nil {
		return err
	}
	ex := exporting{db: db, from: db.readerPool(), rows: rows, keys: keys, picked: picked, contradict: map[string]bool{}}
	err = ex.pairs(ctx)
	if err == nil {
		err = ex.run(ctx, write)
	}
	return wrap(err, "exporting the readings")
}

// exporting is an export under way.
type exporting struct {
	db           *DB
	from         *pool
	rows         int    // of a page
	keys, picked *where // which readings, by key alone and in full
	contradict   map[string]bool
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

// exportPage is a page of an export: the readings after one key and up to
// another.
type exportPage struct {
	after, upTo rowKey
	last        bool // there is no upTo
	csv         []byte
	read        chan error
}

func (ex *exporting) run(ctx context.Context, write func([]byte) error) error {
	var reading sync.WaitGroup
	defer reading.Wait()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var (
		pages []*exportPage // under way, in order
		idle  []*exportPage // for their memory
		after rowKey
		last  bool
	)
	for !last || len(pages) > 0 {
		for !last && len(pages) < 1+runtime.GOMAXPROCS(0) {
			p := &exportPage{read: make(chan error, 1)}
			if n := len(idle); n > 0 {
				p, idle = idle[n-1], idle[:n-1]
			}
			if err := ex.cut(ctx, p, after); err != nil {
				return err
			}
			after, last = p.upTo, p.last
			pages = append(pages, p)
			reading.Go(func() { p.read <- ex.read(ctx, p) })
		}
		p := pages[0]
		pages = slices.Delete(pages, 0, 1)
		if err := <-p.read; err != nil {
			return err
		}
		if len(p.csv) > 0 {
			if err := write(p.csv); err != nil {
				return err
			}
		}
		idle = append(idle, p)
	}
	return nil
}

// cut looks up where a page ends, in the index of keys alone.
func (ex *exporting) cut(ctx context.Context, p *exportPage, after rowKey) error {
	p.after = after
	w := ex.keys.clone()
	w.and("(i.store, i.id) > (?, ?)", after.store, after.id[:])
	err := ex.from.QueryRowContext(ctx, ex.db.dialect.sql("SELECT i.store, i.id FROM inspection i"+w.String()+
		" ORDER BY i.store, i.id LIMIT 1 OFFSET ?"), append(w.args, ex.rows-1)...).Scan(&p.upTo.store, &p.upTo.id)
	p.last = errors.Is(err, sql.ErrNoRows)
	if p.last {
		return nil
	}
	return err
}

// read reads a page and writes it as CSV. The limit has PostgreSQL's planner
// expect a page: it knows nothing of a range of two columns, and might read the
// whole table for each. Readings that came since the page was cut may exceed it.
func (ex *exporting) read(ctx context.Context, p *exportPage) error {
	var (
		row    inspectionRow
		values text
		record assess.Record
	)
	p.csv = p.csv[:0]
	into := csvFields(&row, &values)
	limit := 2 * ex.rows
	order := " ORDER BY i.store, i.id LIMIT " + strconv.Itoa(limit)
	for rows := limit; rows == limit; p.after = (rowKey{row.Store, row.ID}) {
		rows = 0
		w := ex.picked.clone()
		w.and("(i.store, i.id) > (?, ?)", p.after.store, p.after.id[:])
		if !p.last {
			w.and("(i.store, i.id) <= (?, ?)", p.upTo.store, p.upTo.id[:])
		}
		if err := ex.db.stream(ctx, ex.from, csvSelect, into, " FROM inspection i"+w.String()+order, w.args, func() error {
			rows++
			err := row.record(&record, ex.contradict[string(row.PairRef)])
			if err == nil {
				err = addValuesOf(&record.Reading, string(values))
			}
			p.csv = assess.AppendCSV(p.csv, &record)
			return err
		}); err != nil {
			return err
		}
	}
	return nil
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
