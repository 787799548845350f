package models

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"gorm.io/gorm"
	"gorm.io/gorm/clause"

	"solewright/assess"
	"solewright/models/retail"
)

// ShoeModel is a model of the catalogue as it is stored.
type ShoeModel struct {
	retail.ShoeModel
	// AsNewNumber is the number of the as-new values, counted from 1 for each
	// model; 0 for a typed-in one, of which nothing is known.
	AsNewNumber int
	// LinkedTo is the catalogued model that a typed-in one turned out to be.
	LinkedTo  assess.UUID
	CreatedAt time.Time
}

// Known returns what readings of the model are judged with: its as-new values,
// or nil where nothing is known of the model.
func (m *ShoeModel) Known() *assess.AsNew {
	if m.AsNewNumber == 0 {
		return nil
	}
	return &m.AsNew
}

type modelRow struct {
	ID            id      `gorm:"column:id;primaryKey"`
	Brand         string  `gorm:"column:brand"`
	Model         string  `gorm:"column:model"`
	Version       text    `gorm:"column:version"`
	Identity      string  `gorm:"column:identity"`
	Search        string  `gorm:"column:search"`
	Category      text    `gorm:"column:category"`
	Cushioning    text    `gorm:"column:cushioning"`
	MedialSupport text    `gorm:"column:medial_support"`
	StackMM       number  `gorm:"column:stack_mm"`
	DropMM        number  `gorm:"column:drop_mm"`
	Flexibility   text    `gorm:"column:flexibility"`
	Widths        text    `gorm:"column:widths"`
	Released      text    `gorm:"column:released"`
	Retired       text    `gorm:"column:retired"`
	TypedIn       flag    `gorm:"column:typed_in"`
	LinkedTo      id      `gorm:"column:linked_to"`
	AsNew         int     `gorm:"column:as_new"`
	CreatedAt     instant `gorm:"column:created_at"`
}

func (modelRow) TableName() string { return "shoe_model" }

type gtinRow struct {
	GTIN    string `gorm:"column:gtin;primaryKey"`
	ModelID id     `gorm:"column:model_id"`
}

func (gtinRow) TableName() string { return "shoe_gtin" }

type asNewRow struct {
	ModelID   id      `gorm:"column:model_id;primaryKey"`
	Number    int     `gorm:"column:number;primaryKey"`
	Body      string  `gorm:"column:body"`
	CreatedAt instant `gorm:"column:created_at"`
}

func (asNewRow) TableName() string { return "as_new" }

// known stores a whole number of which unknown means none.
func known(n, unknown int) number {
	if n == unknown {
		return number(assess.Unread)
	}
	return number(assess.Of(n))
}

// orUnknown reads what known wrote.
func orUnknown(n number, unknown int) int {
	if v := assess.Value(n); v.OK() {
		return v.Int()
	}
	return unknown
}

func newModelRow(m *retail.ShoeModel) modelRow {
	return modelRow{
		ID: id(m.ID), Brand: m.Brand, Model: m.Model, Version: text(m.Version),
		Identity: identity(m.Brand, m.Model, m.Version),
		Search:   " " + searchable(m.Brand+" "+m.Model+" "+m.Version),
		Category: text(m.Category), Cushioning: text(m.Features.Cushioning),
		MedialSupport: text(m.Features.MedialSupport), StackMM: known(m.Features.StackMM, 0),
		DropMM: known(m.Features.DropMM, -1), Flexibility: text(m.Features.Flexibility),
		Widths: text(m.Features.Widths), Released: text(m.Released), Retired: text(m.Retired), TypedIn: flag(m.TypedIn),
	}
}

func (row *modelRow) shoeModel() ShoeModel {
	return ShoeModel{
		ShoeModel: retail.ShoeModel{
			ID: assess.UUID(row.ID), Brand: row.Brand, Model: row.Model, Version: string(row.Version),
			Category: string(row.Category),
			Features: retail.Features{
				Cushioning: string(row.Cushioning), MedialSupport: string(row.MedialSupport),
				StackMM: orUnknown(row.StackMM, 0), DropMM: orUnknown(row.DropMM, -1),
				Flexibility: string(row.Flexibility), Widths: string(row.Widths),
			},
			Released: string(row.Released), Retired: string(row.Retired), TypedIn: bool(row.TypedIn),
		},
		AsNewNumber: row.AsNew, LinkedTo: assess.UUID(row.LinkedTo), CreatedAt: time.Time(row.CreatedAt),
	}
}

// SaveShoeModel creates a model, or changes the one with its id. The id may be
// zero: then it is the one of the model's words, so that the same catalogue
// imported twice is stored once. Another model with the same brand, model and
// version, however spelled, or with one of the GTINs, is ErrConflict. As-new
// values that changed get a new number; that the model is for trail is one of
// them, and follows its category. A typed-in model that is saved without TypedIn
// becomes a catalogued one; the other way round is ErrConflict.
func (db *DB) SaveShoeModel(ctx context.Context, by Actor, m retail.ShoeModel) (ShoeModel, error) {
	if bad := m.Unnamed(); len(bad) > 0 {
		return ShoeModel{}, bad
	}
	var saved ShoeModel
	err := db.tx(ctx, func(t *txn) error {
		id, err := db.saveModel(ctx, t, by, m)
		if err != nil {
			return err
		}
		saved, err = db.modelWhere(ctx, t, "id = ?", id)
		return err
	})
	return saved, wrap(err, "saving shoe model %s %s %s", m.Brand, m.Model, m.Version)
}

func (db *DB) saveModel(ctx context.Context, t *txn, by Actor, m retail.ShoeModel) (id, error) {
	row := newModelRow(&m)
	same, err := takeRow[modelRow](t.g.Where("identity = ?", row.Identity))
	switch {
	case errors.Is(err, gorm.ErrRecordNotFound):
	case err != nil:
		return id{}, err
	case row.ID == id{}:
		row.ID = same.ID
	case row.ID != same.ID:
		return id{}, fmt.Errorf("it is in the catalogue already as %s %s %s: change that one: %w", same.Brand, same.Model, same.Version, ErrConflict)
	}
	if row.ID == (id{}) {
		row.ID = modelID(row.Identity)
	}
	old, err := takeRow[modelRow](t.g.Where("id = ?", row.ID))
	if err != nil && !errors.Is(err, gorm.ErrRecordNotFound) {
		return id{}, err
	}
	isKnown := err == nil
	if m.TypedIn && isKnown && !bool(old.TypedIn) {
		return id{}, fmt.Errorf("it is catalogued: it can't become typed in: %w", ErrConflict)
	}
	row.CreatedAt, row.LinkedTo = old.CreatedAt, old.LinkedTo
	if !isKnown {
		row.CreatedAt = instant(db.now())
	}
	var (
		asNew   asNewRow
		changed bool
	)
	if !m.TypedIn {
		m.AsNew.Trail = m.Category == assess.TrailCategory
		if asNew, changed, err = db.nextAsNew(ctx, t, row.ID, old.AsNew, m.AsNew); err != nil {
			return id{}, err
		}
		row.AsNew = asNew.Number
	}
	if err := db.saveAudited(ctx, t, by, "shoe-model", assess.UUID(row.ID).String(), &old, &row, isKnown); err != nil {
		return id{}, err
	}
	if changed {
		if err := t.g.Create(&asNew).Error; err != nil {
			return id{}, err
		}
	}
	return row.ID, db.saveGTINs(ctx, t, row.ID, m.GTINs)
}

// modelID makes the id of a model of which only the words are known: a UUIDv8
// of their SHA-256, so that two tablets that type the same words mean the same.
func modelID(identity string) id {
	sum := sha256.Sum256([]byte("shoe-model\n" + identity))
	u := id(sum[:16])
	u[6], u[8] = 0x80|u[6]&0x0f, 0x80|u[8]&0x3f
	return u
}

// nextAsNew returns a model's as-new values as the row to store, and whether
// they differ from those stored under the number it has now.
func (db *DB) nextAsNew(ctx context.Context, t *txn, model id, number int, a assess.AsNew) (asNewRow, bool, error) {
	next := asNewRow{ModelID: model, Number: number + 1, Body: string(assess.AppendAsNew(nil, &a)), CreatedAt: instant(db.now())}
	if number == 0 {
		return next, true, nil
	}
	now, err := takeRow[asNewRow](t.g.Where("model_id = ? AND number = ?", model, number))
	if err != nil {
		return asNewRow{}, false, err
	}
	if now.Body == next.Body {
		return now, false, nil
	}
	return next, true, nil
}

// saveGTINs makes gtins the numbers of a model.
func (db *DB) saveGTINs(ctx context.Context, t *txn, model id, gtins []string) error {
	have, err := findRows[gtinRow](t.g.Where("model_id = ?", model))
	if err != nil {
		return err
	}
	for _, g := range have {
		if !slices.Contains(gtins, g.GTIN) {
			if err := t.g.Delete(&g).Error; err != nil {
				return err
			}
		}
	}
	for _, g := range gtins {
		if slices.ContainsFunc(have, func(h gtinRow) bool { return h.GTIN == g }) {
			continue
		}
		other, err := takeRow[gtinRow](t.g.Where("gtin = ?", g))
		switch {
		case err == nil:
			return fmt.Errorf("GTIN %s belongs to shoe model %s: %w", g, assess.UUID(other.ModelID), ErrConflict)
		case !errors.Is(err, gorm.ErrRecordNotFound):
			return err
		}
		if err := t.g.Create(&gtinRow{GTIN: g, ModelID: model}).Error; err != nil {
			return err
		}
	}
	return nil
}

// ShoeModel returns the model with this id; of a typed-in one that was linked,
// the row itself, with LinkedTo set.
func (db *DB) ShoeModel(ctx context.Context, model assess.UUID) (ShoeModel, error) {
	m, err := db.modelWhere(ctx, db.q(), "id = ?", id(model))
	return m, wrap(err, "shoe model %s", model)
}

// ShoeModelByGTIN returns the model with this number.
func (db *DB) ShoeModelByGTIN(ctx context.Context, gtin string) (ShoeModel, error) {
	m, err := db.modelWhere(ctx, db.q(), "id = (SELECT model_id FROM shoe_gtin WHERE gtin = ?)", gtin)
	return m, wrap(err, "shoe model with GTIN %s", gtin)
}

// ShoeModelNamed returns the model with these words, in any spelling that folds
// to the same; of a typed-in one that was linked, the catalogued one.
func (db *DB) ShoeModelNamed(ctx context.Context, brand, model, version string) (ShoeModel, error) {
	m, err := db.modelWhere(ctx, db.q(),
		"id = (SELECT coalesce(linked_to, id) FROM shoe_model WHERE identity = ?)", identity(brand, model, version))
	return m, wrap(err, "shoe model %s %s %s", brand, model, version)
}

// ShoeModelVersions returns the versions of a model, in any spelling of brand and model
// that folds to the same, in order of their words; the retired are among them, typed-in
// ones that were linked are not.
func (db *DB) ShoeModelVersions(ctx context.Context, brand, model string) ([]ShoeModel, error) {
	first := identity(brand, model, "") // ends with a newline
	after := first[:len(first)-1] + string(first[len(first)-1]+1)
	all, err := db.modelsWhere(ctx, db.q(), "identity >= ? AND identity < ? AND linked_to IS NULL ORDER BY identity", first, after)
	return all, wrap(err, "versions of shoe model %s %s", brand, model)
}

// ShoeModels returns the whole catalogue by brand, model and version, the
// retired and the typed-in among it.
func (db *DB) ShoeModels(ctx context.Context) ([]ShoeModel, error) {
	all, err := db.modelsWhere(ctx, db.q(), "id IS NOT NULL ORDER BY identity")
	return all, wrap(err, "reading the catalogue")
}

// SearchShoeModels returns up to limit models, each of the query's words being
// the beginning of a word of brand, model or version. Models that are still
// sold come first; a typed-in model that was linked is left out.
func (db *DB) SearchShoeModels(ctx context.Context, query string, limit int) ([]ShoeModel, error) {
	where, args := "linked_to IS NULL", []any{}
	for w := range strings.FieldsSeq(searchable(query)) {
		where += ` AND search LIKE ? ESCAPE '\'`
		args = append(args, likeWord(w))
	}
	all, err := db.modelsWhere(ctx, db.q(),
		where+" ORDER BY CASE WHEN retired IS NULL THEN 0 ELSE 1 END, identity LIMIT ?", append(args, limit)...)
	return all, wrap(err, "searching the catalogue")
}

// TypedInModels returns the typed-in models that wait for the office.
func (db *DB) TypedInModels(ctx context.Context) ([]ShoeModel, error) {
	all, err := db.modelsWhere(ctx, db.q(), "typed_in AND linked_to IS NULL ORDER BY created_at, identity")
	return all, wrap(err, "reading the typed-in models")
}

// LinkShoeModel says that a typed-in model is a catalogued one. Readings and
// pairs of the typed-in one become the other's; they keep the words they were
// entered with, and the as-new values they were judged with.
func (db *DB) LinkShoeModel(ctx context.Context, by Actor, typed, catalogued assess.UUID) error {
	return wrap(db.tx(ctx, func(t *txn) error {
		from, err := db.modelWhere(ctx, t, "id = ?", id(typed))
		if err != nil {
			return err
		}
		to, err := db.modelWhere(ctx, t, "id = ?", id(catalogued))
		if err != nil {
			return err
		}
		switch {
		case !from.TypedIn || !from.LinkedTo.IsZero():
			return fmt.Errorf("only a typed-in model that is not linked yet can be linked: %w", ErrConflict)
		case to.TypedIn || !to.LinkedTo.IsZero():
			return fmt.Errorf("it can be linked only to a catalogued model: %w", ErrConflict)
		}
		for _, u := range []struct {
			query string
			args  []any
		}{
			{"INSERT INTO change (op, store, id, pair_ref) SELECT ?, store, id, pair_ref FROM inspection WHERE model_id = ?", []any{int(Relinked), id(typed)}},
			{"INSERT INTO change (op, pair_ref) SELECT ?, ref FROM pair WHERE model_id = ?", []any{int(Relinked), id(typed)}},
			{"UPDATE inspection SET model_id = ? WHERE model_id = ?", []any{id(catalogued), id(typed)}},
			{"UPDATE pair SET model_id = ?, version = version + 1 WHERE model_id = ?", []any{id(catalogued), id(typed)}},
			{"UPDATE shoe_model SET linked_to = ? WHERE id = ?", []any{id(catalogued), id(typed)}},
		} {
			if _, err := t.ExecContext(ctx, db.dialect.sql(u.query), u.args...); err != nil {
				return err
			}
		}
		// Readings by both names looked like two shoes until now.
		strange, err := db.words(ctx, t, "SELECT ref FROM pair WHERE model_id = ? AND contradicts = ?", id(catalogued), int(OtherShoe))
		if err != nil {
			return err
		}
		for _, ref := range strange {
			if _, err := db.recompute(ctx, t, ref); err != nil {
				return err
			}
		}
		return db.noteAudit(ctx, t, by, entry{
			action: "shoe-model.link", subject: "shoe-model:" + typed.String(), after: catalogued.String(),
		})
	}), "linking shoe model %s to %s", typed, catalogued)
}

// AsNew returns a model's as-new values under a number that a reading names.
func (db *DB) AsNew(ctx context.Context, model assess.UUID, number int) (assess.AsNew, error) {
	row, err := takeRow[asNewRow](db.g(ctx).Where("model_id = ? AND number = ?", id(model), number))
	if err != nil {
		return assess.AsNew{}, wrap(err, "as-new values %d of shoe model %s", number, model)
	}
	return assess.DecodeAsNew([]byte(row.Body))
}

// modelFor returns the catalogued id of a model's words, adding a typed-in
// model where there is none. A reading that names no model has none.
func (db *DB) modelFor(ctx context.Context, t *txn, brand, model, version string) (id, error) {
	if brand == "" && model == "" {
		return id{}, nil
	}
	key := identity(brand, model, version)
	var found id
	err := t.QueryRowContext(ctx, db.dialect.sql("SELECT coalesce(linked_to, id) FROM shoe_model WHERE identity = ?"), key).Scan(&found)
	if err == nil || !errors.Is(err, sql.ErrNoRows) {
		return found, err
	}
	row := newModelRow(&retail.ShoeModel{
		ID: assess.UUID(modelID(key)), Brand: brand, Model: model, Version: version, TypedIn: true,
		Features: retail.Features{DropMM: -1},
	})
	row.CreatedAt = instant(db.now())
	// Somebody else may type the same at the same moment: same words, same row.
	return row.ID, t.g.Clauses(clause.OnConflict{DoNothing: true}).Create(&row).Error
}

func (db *DB) modelWhere(ctx context.Context, q querier, where string, args ...any) (ShoeModel, error) {
	all, err := db.modelsWhere(ctx, q, where, args...)
	if err != nil {
		return ShoeModel{}, err
	}
	if len(all) == 0 {
		return ShoeModel{}, ErrNotFound
	}
	return all[0], nil
}

var modelLayout = layoutOf("shoe_model", modelRow{})

// modelsWhere returns models with their GTINs and as-new values, in three
// queries however many there are.
func (db *DB) modelsWhere(ctx context.Context, q querier, where string, args ...any) ([]ShoeModel, error) {
	rows, err := q.QueryContext(ctx, db.dialect.sql("SELECT "+modelLayout.list("")+" FROM shoe_model WHERE "+where), args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	all := []ShoeModel{}
	at := map[id]int{}
	for rows.Next() {
		var row modelRow
		if err := rows.Scan(fields(&row)...); err != nil {
			return nil, err
		}
		at[row.ID] = len(all)
		all = append(all, row.shoeModel())
	}
	if err := rows.Err(); err != nil || len(all) == 0 {
		return all, err
	}
	of := "(SELECT id FROM shoe_model WHERE " + where + ")"
	err = db.each(ctx, q, "SELECT model_id, gtin FROM shoe_gtin WHERE model_id IN "+of+" ORDER BY gtin", args,
		func(model id, gtin string) error {
			if i, ok := at[model]; ok {
				all[i].GTINs = append(all[i].GTINs, gtin)
			}
			return nil
		})
	if err != nil {
		return nil, err
	}
	err = db.each(ctx, q, "SELECT a.model_id, a.body FROM as_new a JOIN shoe_model m ON m.id = a.model_id AND m.as_new = a.number WHERE a.model_id IN "+of, args,
		func(model id, body string) (err error) {
			if i, ok := at[model]; ok {
				all[i].AsNew, err = assess.DecodeAsNew([]byte(body))
			}
			return err
		})
	return all, err
}

// each calls f with the two columns of every row of a query.
func (db *DB) each(ctx context.Context, q querier, query string, args []any, f func(id, string) error) error {
	rows, err := q.QueryContext(ctx, db.dialect.sql(query), args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var (
			key   id
			value string
		)
		if err := rows.Scan(&key, &value); err != nil {
			return err
		}
		if err := f(key, value); err != nil {
			return err
		}
	}
	return rows.Err()
}
