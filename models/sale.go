package models

import (
	"context"
	"fmt"
	"time"

	"solewright/assess"
	"solewright/models/retail"
)

type saleRow struct {
	Store   string `gorm:"column:store;primaryKey"`
	ModelID id     `gorm:"column:model_id;primaryKey"`
	Batch   string `gorm:"column:batch;primaryKey"`
	Month   string `gorm:"column:month;primaryKey"`
	Pairs   int    `gorm:"column:pairs"`
}

var saleLayout = layoutOf("sale", saleRow{})

// SaveSale stores how many pairs of a model a store sold in a month; the same
// store, model, batch and month again replaces the number. A model or store that
// isn't set up is refused.
func (db *DB) SaveSale(ctx context.Context, by Actor, s retail.Sale) error {
	if _, err := time.Parse("2006-01", s.Month); err != nil {
		return refused("month", s.Month, "a month as YYYY-MM")
	}
	if s.Pairs < 0 {
		return refused("pairs", fmt.Sprint(s.Pairs), "0 or more")
	}
	row := saleRow{s.Store, id(s.Model), s.Batch, s.Month, s.Pairs}
	return wrap(db.tx(ctx, func(t *txn) error {
		if _, err := db.zoneOf(ctx, t, s.Store); err != nil {
			return err
		}
		var n int
		if _, err := db.scalar(ctx, t, &n, "SELECT count(*) FROM shoe_model WHERE id = ?", row.ModelID); err != nil {
			return err
		}
		if n == 0 {
			return refused("model", s.Model.String(), "a model of the catalogue")
		}
		var old int
		known, err := db.scalar(ctx, t, &old, "SELECT pairs FROM sale WHERE store = ? AND model_id = ? AND batch = ? AND month = ?",
			row.Store, row.ModelID, row.Batch, row.Month)
		if err != nil || known && old == row.Pairs {
			return err
		}
		db.wrote()
		if _, err := t.ExecContext(ctx, saleLayout.insert(db.dialect)+
			" ON CONFLICT (store, model_id, batch, month) DO UPDATE SET pairs = excluded.pairs", fields(&row)...); err != nil || !known {
			return err // a first number is its own trace
		}
		return db.noteAudit(ctx, t, by, entry{
			action: "sale.change", subject: "sale:" + row.Store + ":" + row.Month + ":" + s.Model.String(),
			before: fmt.Sprint(old), after: fmt.Sprint(row.Pairs),
		})
	}), "saving the sales of store %s in %s", s.Store, s.Month)
}

// EachSale calls f with every sale of the months from and to, both included and
// empty for no bound, by store, model, batch and month.
func (db *DB) EachSale(ctx context.Context, from, to string, f func(*retail.Sale) error) error {
	var w where
	if from != "" {
		w.and("month >= ?", from)
	}
	if to != "" {
		w.and("month <= ?", to)
	}
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql(
		"SELECT "+saleLayout.list("")+" FROM sale"+w.String()+" ORDER BY store, model_id, batch, month"), w.args...)
	if err != nil {
		return wrap(err, "reading the sales")
	}
	return wrap(scanAll(rows, func(row *saleRow) error {
		return f(&retail.Sale{Store: row.Store, Model: assess.UUID(row.ModelID), Batch: row.Batch, Month: row.Month, Pairs: row.Pairs})
	}), "reading the sales")
}

// SaleFilter picks sales; zero fields don't restrict, but for Scopes. The months
// are both included.
type SaleFilter struct {
	Scopes   []retail.Scope
	Within   [][]retail.Scope // each narrows Scopes to what lies in one of these too
	Store    string
	Model    assess.UUID
	Batch    string
	From, To string // months, YYYY-MM
}

// where picks the sales.
func (f *SaleFilter) where() (w where) {
	w.scopes("store", f.Scopes)
	for _, within := range f.Within {
		w.scopes("store", within)
	}
	for _, c := range []struct{ condition, value string }{
		{"store = ?", f.Store}, {"batch = ?", f.Batch}, {"month >= ?", f.From}, {"month <= ?", f.To},
	} {
		if c.value != "" {
			w.and(c.condition, c.value)
		}
	}
	if !f.Model.IsZero() {
		w.and("model_id = ?", id(f.Model))
	}
	return w
}

// Sales returns up to limit sales, the newest months first, and how many sales
// and pairs there are in all.
func (db *DB) Sales(ctx context.Context, f SaleFilter, limit int) (sales []retail.Sale, rows, pairs int, err error) {
	w := f.where()
	err = db.reader().QueryRowContext(ctx, db.dialect.sql("SELECT count(*), CAST(coalesce(sum(pairs), 0) AS BIGINT) FROM sale"+w.String()), w.args...).Scan(&rows, &pairs)
	if err != nil {
		return nil, 0, 0, wrap(err, "counting the sales")
	}
	found, err := db.reader().QueryContext(ctx, db.dialect.sql("SELECT "+saleLayout.list("")+" FROM sale"+w.String()+
		" ORDER BY month DESC, store, model_id, batch LIMIT ?"), append(w.args, limit)...)
	if err != nil {
		return nil, 0, 0, wrap(err, "reading the sales")
	}
	err = scanAll(found, func(row *saleRow) error {
		sales = append(sales, retail.Sale{Store: row.Store, Model: assess.UUID(row.ModelID), Batch: row.Batch, Month: row.Month, Pairs: row.Pairs})
		return nil
	})
	return sales, rows, pairs, wrap(err, "reading the sales")
}

type eventRow struct {
	Store   string `gorm:"column:store;primaryKey"`
	FromDay string `gorm:"column:from_day;primaryKey"`
	ToDay   string `gorm:"column:to_day;primaryKey"`
	Word    string `gorm:"column:word;primaryKey"`
}

var eventLayout = layoutOf("event", eventRow{})

// SaveEvent stores something that moves visits; the same event again changes
// nothing. An event without a store is the whole fleet's.
func (db *DB) SaveEvent(ctx context.Context, by Actor, e retail.Event) error {
	for _, d := range []struct{ field, day string }{{"from", e.From}, {"to", e.To}} {
		if _, err := time.Parse(time.DateOnly, d.day); err != nil {
			return refused(d.field, d.day, "a day as YYYY-MM-DD")
		}
	}
	switch {
	case e.To < e.From:
		return refused("to", e.To, "a day not before from")
	case e.Word == "":
		return refused("word", e.Word, "what happened")
	}
	row := eventRow{e.Store, e.From, e.To, e.Word}
	return wrap(db.tx(ctx, func(t *txn) error {
		if e.Store != "" {
			if _, err := db.zoneOf(ctx, t, e.Store); err != nil {
				return err
			}
		}
		n, err := affected(t.ExecContext(ctx, eventLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&row)...))
		if err != nil || n == 0 {
			return err
		}
		return db.noteAudit(ctx, t, by, entry{action: "event.create", subject: "event:" + e.Store + ":" + e.From, after: e.Word})
	}), "saving the event %s", e.Word)
}

// DeleteEvent takes an event out; the audit trail keeps it. One that isn't there
// is ErrNotFound.
func (db *DB) DeleteEvent(ctx context.Context, by Actor, e retail.Event) error {
	return wrap(db.tx(ctx, func(t *txn) error {
		n, err := affected(t.ExecContext(ctx, db.dialect.sql("DELETE FROM event WHERE store = ? AND from_day = ? AND to_day = ? AND word = ?"), e.Store, e.From, e.To, e.Word))
		if err != nil {
			return err
		}
		if n == 0 {
			return ErrNotFound
		}
		return db.noteAudit(ctx, t, by, entry{action: "event.delete", subject: "event:" + e.Store + ":" + e.From, before: e.Word})
	}), "taking out the event %s", e.Word)
}

// ChangeEvent puts one event in the place of another.
func (db *DB) ChangeEvent(ctx context.Context, by Actor, old, next retail.Event) error {
	return db.Together(ctx, func(db *DB) error {
		if err := db.DeleteEvent(ctx, by, old); err != nil {
			return err
		}
		return db.SaveEvent(ctx, by, next)
	})
}

// Events returns the events that touch the days from and to, both included and
// empty for no bound, by store and first day.
func (db *DB) Events(ctx context.Context, from, to string) ([]retail.Event, error) {
	var w where
	if from != "" {
		w.and("to_day >= ?", from)
	}
	if to != "" {
		w.and("from_day <= ?", to)
	}
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql(
		"SELECT "+eventLayout.list("")+" FROM event"+w.String()+" ORDER BY store, from_day, to_day, word"), w.args...)
	if err != nil {
		return nil, wrap(err, "reading the events")
	}
	all := []retail.Event{}
	err = scanAll(rows, func(row *eventRow) error {
		all = append(all, retail.Event{Store: row.Store, From: row.FromDay, To: row.ToDay, Word: row.Word})
		return nil
	})
	return all, wrap(err, "reading the events")
}

// Batch is what was sold of one batch of a model.
type Batch struct {
	Name        string
	First, Last string // months, YYYY-MM
	Pairs       int
}

// Batches returns the batches of a model that were sold, by first month and
// name.
func (db *DB) Batches(ctx context.Context, model assess.UUID) ([]Batch, error) {
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql(`SELECT batch, min(month), max(month), sum(pairs)
		FROM sale WHERE model_id = ? AND batch <> '' GROUP BY batch ORDER BY 2, 1`), id(model))
	if err != nil {
		return nil, wrap(err, "reading the batches of %s", model)
	}
	all := []Batch{}
	err = scanAll(rows, func(b *Batch) error {
		all = append(all, *b)
		return nil
	})
	return all, wrap(err, "reading the batches of %s", model)
}

// Sold returns the first month in which any pair of the sales that a filter picks was
// sold, and how many pairs were in all; nothing where there are none.
func (db *DB) Sold(ctx context.Context, f SaleFilter) (first string, pairs int, err error) {
	w := f.where()
	w.and("pairs > 0")
	err = db.reader().QueryRowContext(ctx, db.dialect.sql("SELECT coalesce(min(month), ''), CAST(coalesce(sum(pairs), 0) AS BIGINT) FROM sale"+w.String()), w.args...).Scan(&first, &pairs)
	return first, pairs, wrap(err, "adding up the sales")
}
