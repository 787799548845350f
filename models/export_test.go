package models

import (
	"bytes"
	"context"
	"database/sql"

	"solewright/models/retail"
)

// Rows are the row structs of the tables, for the test that they have not
// drifted from the schema.
var Rows = map[string]any{
	"region": regionRow{}, "store": storeRow{}, "account": accountRow{}, "device": deviceRow{},
	"session": sessionRow{}, "api_token": tokenRow{}, "shoe_model": modelRow{}, "shoe_gtin": gtinRow{},
	"as_new": asNewRow{}, "sale": saleRow{}, "event": eventRow{}, "runner": runnerRow{}, "pair": pairRow{},
	"inspection": inspectionRow{}, "inspection_value": valueRow{}, "fitting": fittingRow{}, "trade_in": tradeInRow{},
	"rule_set": numberedRow{}, "credit_table": numberedRow{}, "posture_band": numberedRow{}, "risk_table": numberedRow{}, "audit": auditRow{}, "sign_off": signOffRow{},
	"photo": photoRow{}, "verdict_seen": seenRow{}, "photo_gone": goneRow{}, "photo_alias": aliasRow{}, "inspection_photo": linkRow{},
}

// Columns returns the columns of a row struct.
func Columns(row any) []string { return layoutOf("", row).columns }

// Primary is the pool behind a database, for tests that look at what is stored.
func (db *DB) Primary() *sql.DB { return db.primary.DB }

// Reader is the pool that lists are read from.
func (db *DB) Reader() *sql.DB { return db.reader().(*pool).DB }

// SQL turns ? into what the dialect wants.
func (db *DB) SQL(query string) string { return db.dialect.sql(query) }

// Down takes the schema down to a version.
func (db *DB) Down(ctx context.Context, version int64) error {
	p, err := db.provider()
	if err != nil {
		return err
	}
	_, err = p.DownTo(ctx, version)
	return err
}

// UpTo brings the schema up to a version, and seeds nothing.
func (db *DB) UpTo(ctx context.Context, version int64) error {
	p, err := db.provider()
	if err != nil {
		return err
	}
	_, err = p.UpTo(ctx, version)
	return err
}

// MigrationNames returns the files of a dialect's migrations.
func MigrationNames(dialect string) ([]string, error) {
	entries, err := migrations.ReadDir("migrations/" + dialect)
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = e.Name()
	}
	return names, err
}

// Classify, Folded, Identity and Searchable are tested by themselves.
var (
	Classify   = classify
	Folded     = folded
	Identity   = identity
	Searchable = searchable
)

// PoolWith opens a SQLite file with one pragma that reads back as want.
func PoolWith(ctx context.Context, path, name, set, want string) error {
	p, err := sqlitePool(ctx, path, "immediate", 1, []pragma{{name, set, want}})
	if err != nil {
		return err
	}
	return p.Close()
}

// ExportedTo exports everything in runs of so many bytes.
func (db *DB) ExportedTo(ctx context.Context, run int, write func([]byte) error) error {
	return db.exportInspections(ctx, run, Fleet, "", "", "", write)
}

// Exported returns what an export in runs of so many bytes writes.
func (db *DB) Exported(ctx context.Context, run int, scopes []retail.Scope, from, to, store string) (string, error) {
	var out bytes.Buffer
	err := db.exportInspections(ctx, run, scopes, from, to, store, func(rows []byte) error {
		_, err := out.Write(rows)
		return err
	})
	return out.String(), err
}
