package models

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"encoding/hex"
	"encoding/json"
	"errors"
	"reflect"
	"time"
	_ "time/tzdata" // a day in a store's zone must not depend on the machine

	"gorm.io/gorm"
	"gorm.io/gorm/clause"

	"solewright/models/retail"
)

type regionRow struct {
	Code     string `gorm:"column:code;primaryKey"`
	Name     string `gorm:"column:name"`
	Currency string `gorm:"column:currency"`
}

func (regionRow) TableName() string { return "region" }

func (row *regionRow) region() retail.Region {
	return retail.Region{Code: row.Code, Name: row.Name, Currency: row.Currency}
}

type storeRow struct {
	Code     string `gorm:"column:code;primaryKey"`
	Name     string `gorm:"column:name"`
	Region   string `gorm:"column:region"`
	Zone     string `gorm:"column:zone"`
	Currency string `gorm:"column:currency"`
	Unit     string `gorm:"column:unit"`
	Retired  text   `gorm:"column:retired"`
}

func (storeRow) TableName() string { return "store" }

func (row *storeRow) store() retail.Store {
	return retail.Store{
		Code: row.Code, Name: row.Name, Region: row.Region, Zone: row.Zone,
		Currency: row.Currency, Unit: row.Unit, Retired: string(row.Retired),
	}
}

// Regions returns all regions, by code.
func (db *DB) Regions(ctx context.Context) ([]retail.Region, error) {
	rows, err := findRows[regionRow](db.g(ctx).Order("code"))
	return mapped(rows, (*regionRow).region), wrap(err, "reading the regions")
}

// Region returns one region.
func (db *DB) Region(ctx context.Context, code string) (retail.Region, error) {
	row, err := takeRow[regionRow](db.g(ctx).Where("code = ?", code))
	return row.region(), wrap(err, "region %s", code)
}

// SaveRegion creates a region, or changes the one with its code.
func (db *DB) SaveRegion(ctx context.Context, by Actor, r retail.Region) error {
	if r.Code == "" {
		return refused("region", r.Code, "a code")
	}
	row := regionRow{Code: r.Code, Name: r.Name, Currency: r.Currency}
	return wrap(db.tx(ctx, func(t *txn) error {
		old, err := takeRow[regionRow](t.g.Where("code = ?", r.Code))
		if err != nil && !errors.Is(err, gorm.ErrRecordNotFound) {
			return err
		}
		return db.saveAudited(ctx, t, by, "region", r.Code, &old, &row, err == nil)
	}), "saving region %s", r.Code)
}

// Stores returns all stores, the retired among them, by code.
func (db *DB) Stores(ctx context.Context) ([]retail.Store, error) {
	rows, err := findRows[storeRow](db.g(ctx).Order("code"))
	return mapped(rows, (*storeRow).store), wrap(err, "reading the stores")
}

// Store returns one store.
func (db *DB) Store(ctx context.Context, code string) (retail.Store, error) {
	row, err := takeRow[storeRow](db.g(ctx).Where("code = ?", code))
	return row.store(), wrap(err, "store %s", code)
}

// SaveStore creates a store, or changes the one with its code. Days that are
// stored stay as they are when the zone changes.
func (db *DB) SaveStore(ctx context.Context, by Actor, s retail.Store) error {
	if _, err := time.LoadLocation(s.Zone); err != nil || s.Zone == "" || s.Zone == "Local" {
		return refused("zone", s.Zone, "an IANA time zone, for example Europe/Madrid")
	}
	if s.Code == "" {
		return refused("store", s.Code, "a code")
	}
	row := storeRow{
		Code: s.Code, Name: s.Name, Region: s.Region, Zone: s.Zone,
		Currency: s.Currency, Unit: s.Unit, Retired: text(s.Retired),
	}
	defer db.zones.Delete(s.Code)
	return wrap(db.tx(ctx, func(t *txn) error {
		if _, err := takeRow[regionRow](t.g.Where("code = ?", s.Region)); errors.Is(err, gorm.ErrRecordNotFound) {
			return refused("region", s.Region, "the code of a region that is set up")
		} else if err != nil {
			return err
		}
		old, err := takeRow[storeRow](t.g.Where("code = ?", s.Code))
		if err != nil && !errors.Is(err, gorm.ErrRecordNotFound) {
			return err
		}
		return db.saveAudited(ctx, t, by, "store", s.Code, &old, &row, err == nil)
	}), "saving store %s", s.Code)
}

// saveAudited writes a row whose key is its code over the old one, with its
// line in the audit trail. A row that stays as it is leaves no trace.
func (db *DB) saveAudited(ctx context.Context, t *txn, by Actor, kind, code string, old, row any, known bool) error {
	e := entry{action: kind + ".create", subject: kind + ":" + code, after: asJSON(row)}
	if known {
		e.action, e.before = kind+".change", asJSON(old)
		if e.before == e.after {
			return nil
		}
	}
	if err := t.g.Clauses(clause.OnConflict{UpdateAll: true}).Create(row).Error; err != nil {
		return err
	}
	if kind == "runner" {
		e.runner = code // so that an erasure finds the entry
	}
	return db.noteAudit(ctx, t, by, e)
}

// asJSON writes a row for the audit trail: its columns by name, without what is
// NULL and what its field keeps out of JSON.
func asJSON(row any) string {
	v := reflect.Indirect(reflect.ValueOf(row))
	names := layoutOf("", v.Interface()).columns
	shown := make(map[string]any, len(names))
	for i, name := range names {
		if v.Type().Field(i).Tag.Get("json") == "-" {
			continue
		}
		value := v.Field(i).Interface()
		if valuer, ok := value.(driver.Valuer); ok {
			stored, err := valuer.Value()
			if err != nil || stored == nil {
				continue // the row itself is refused for the same error
			}
			value = stored
			if b, ok := stored.([]byte); ok {
				value = hex.EncodeToString(b)
			}
		}
		shown[name] = value
	}
	b, err := json.Marshal(shown)
	if err != nil {
		panic(err) // columns hold strings, numbers and times
	}
	return string(b)
}

// mapped returns what f makes of each row; of no rows, an empty slice.
func mapped[R, V any](rows []R, f func(*R) V) []V {
	all := make([]V, len(rows))
	for i := range rows {
		all[i] = f(&rows[i])
	}
	return all
}

// zoneOf returns a store's time zone.
func (db *DB) zoneOf(ctx context.Context, q querier, store string) (*time.Location, error) {
	var name string
	err := q.QueryRowContext(ctx, db.dialect.sql("SELECT zone FROM store WHERE code = ?"), store).Scan(&name)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, refused("store", store, "the code of a store that is set up")
	}
	if err != nil {
		return nil, err
	}
	return time.LoadLocation(name)
}
