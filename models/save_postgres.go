package models

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"solewright/assess"
)

// The statements that store a reading at one go on PostgreSQL, which is the hot
// path: every part hangs on the pair's, so that either all of it happens or
// nothing. Where it doesn't apply, no row comes back and nothing has changed.
//
//	saveNewPair    the pair is not known yet: no reading of its past is needed
//	saveKnownPair  the pair is as it was when its past was read
var (
	saveNewPair = saveStatement(func(p *numbering) string {
		columns := pairLayout.columns
		return "INSERT INTO pair (" + strings.Join(columns, ", ") + ") SELECT " + p.list(columns) +
			" WHERE " + p.applies() + " ON CONFLICT DO NOTHING RETURNING ref"
	})
	saveKnownPair = saveStatement(func(p *numbering) string {
		columns := pairLayout.columns
		set := make([]string, 0, len(columns))
		for _, c := range columns[1 : len(columns)-1] {
			set = append(set, c+" = "+p.list([]string{c}))
		}
		// The key and the version stand at the ends of the layout, and are
		// numbered after the rest here.
		return "UPDATE pair SET " + strings.Join(set, ", ") + ", version = version + 1 WHERE " + p.applies() +
			" AND ref = " + p.list(columns[:1]) + " AND version = " + p.list(columns[len(columns)-1:]) + " RETURNING ref"
	})
)

// numbering hands out the placeholders of a statement.
type numbering struct{ n int }

func (p *numbering) next() string {
	p.n++
	return "$" + strconv.Itoa(p.n)
}

// list returns placeholders for columns, but for the model's id, which comes out
// of the catalogue.
func (p *numbering) list(columns []string) string {
	s := make([]string, len(columns))
	for i, c := range columns {
		if s[i] = p.next(); c == "model_id" {
			s[i] = "coalesce((SELECT id FROM m), " + s[i] + "::uuid)"
		}
	}
	return strings.Join(s, ", ")
}

// applies is the condition that the statement may store the reading: $1 is the
// identity of its model, or NULL; $2 its store and $3 its id. An amendment of
// it that came first is left to the long way.
func (p *numbering) applies() string {
	return "($1::text IS NULL OR EXISTS (SELECT 1 FROM m))" +
		" AND NOT EXISTS (SELECT 1 FROM inspection WHERE store = $2::text AND supersedes = $3::uuid)"
}

// saveStatement writes the statement around the part that stores the pair.
// Arguments: identity, store, id; the pair's columns; the reading's columns; the
// rare values as four arrays; the audit entry's time, account, device, subject.
func saveStatement(pair func(*numbering) string) string {
	p := &numbering{n: 3}
	values := valueLayout.columns
	return "WITH m AS (SELECT coalesce(linked_to, id) AS id FROM shoe_model WHERE identity = $1::text)" +
		",\np AS (" + pair(p) + ")" +
		",\ni AS (INSERT INTO inspection (" + inspectionLayout.list("") + ") SELECT " + p.list(inspectionLayout.columns) +
		" FROM p RETURNING store, id, pair_ref, model_id)" +
		",\nv AS (INSERT INTO inspection_value (" + strings.Join(values, ", ") + ") SELECT i.store, i.id, u.* FROM i, unnest(" +
		p.next() + "::smallint[], " + p.next() + "::text[], " + p.next() + "::integer[], " + p.next() + "::text[]) u)" +
		",\nc AS (INSERT INTO change (op, store, id, pair_ref) SELECT " + strconv.Itoa(int(Added)) + ", store, id, pair_ref FROM i)" +
		",\na AS (INSERT INTO audit (at, account, device, action, subject) SELECT " +
		p.next() + "::timestamptz, " + p.next() + "::text, " + p.next() + "::text, '" + createAction + "', " + p.next() + "::text FROM i)" +
		"\nSELECT model_id FROM i"
}

// errLongWay says that a reading can't be stored at one go.
var errLongWay = errors.New("not at one go")

// saveAtOnce stores a reading in one statement, after reading its pair's past if
// there is one. It returns errLongWay, having changed nothing, where something
// out of the ordinary has to be looked at: an amendment, a blind reading, one that
// takes a signature, a model
// that the catalogue doesn't know, a merged pair, an id that is stored.
func (db *DB) saveAtOnce(ctx context.Context, by Actor, in NewInspection) (Saved, error) {
	r := &in.Record
	if r.Kind == assess.Blind || in.Signed != nil || !r.Supersedes.IsZero() || db.within != nil || db.dialect != postgresDialect {
		return Saved{}, errLongWay
	}
	zone, err := db.cachedZone(ctx, r.Store)
	if err != nil {
		return Saved{}, err
	}
	if r.ReceivedAt.IsZero() {
		r.ReceivedAt = db.now()
	}
	row, vals, err := newRow(&in)
	if err != nil {
		return Saved{}, err
	}
	if err := row.finish(&in, zone); err != nil {
		return Saved{}, err
	}
	if row.PairRef == "" {
		row.PairRef = text(refFrom(r.ID, 0))
	}
	var key text
	if r.Brand != "" || r.Model != "" {
		key = text(identity(r.Brand, r.Model, r.Version))
	}
	pair := pairRow{Ref: string(row.PairRef)}
	pair.begin([]pastRow{row.past()}, db.now())
	pair.derive([]pastRow{row.past()})
	for attempt := 0; ; attempt++ {
		contradicts := Contradiction(pair.Contradicts)
		statement := saveNewPair
		of := fields(&pair)
		if attempt > 0 {
			statement = saveKnownPair
			of = append(of[1:len(of)-1:len(of)-1], of[0], of[len(of)-1])
		}
		args := append([]any{key, row.Store, row.ID}, of...)
		args = append(args, fields(row)...)
		args = append(append(args, arrays(vals)...), instant(db.now()), text(by.Account), text(by.Device), createSubject(r.ID))
		err := db.primary.QueryRowContext(ctx, statement, args...).Scan(&row.ModelID)
		if err == nil {
			stored, err := asStored(row, vals, contradicts)
			if err != nil {
				return Saved{}, err
			}
			return Saved{Inspection: *stored, Created: true}, nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return Saved{}, err
		}
		if attempt == maxRetries || r.PairRef == "" {
			return Saved{}, errLongWay
		}
		if pair, err = db.pastWith(ctx, row, key); err != nil {
			return Saved{}, err
		}
	}
}

// createAction and createSubject are what the audit trail says of a new reading.
const createAction = "inspection.create"

func createSubject(reading assess.UUID) string { return "inspection:" + reading.String() }

// pastWith returns a known pair as it is with one more reading.
func (db *DB) pastWith(ctx context.Context, row *inspectionRow, key text) (pairRow, error) {
	// The version is read before the past: what is stored in between shows.
	pair, known, err := db.pairRowIn(ctx, db.primary, string(row.PairRef))
	if err != nil {
		return pairRow{}, err
	}
	if !known || pair.MergedInto != "" {
		return pairRow{}, errLongWay
	}
	past, err := db.pastOf(ctx, db.primary, string(row.PairRef))
	if err != nil {
		return pairRow{}, err
	}
	if slices.ContainsFunc(past, func(p pastRow) bool { return p.ID == row.ID }) {
		return pairRow{}, errLongWay
	}
	if key != "" {
		found, err := db.scalar(ctx, db.primary, &row.ModelID, "SELECT coalesce(linked_to, id) FROM shoe_model WHERE identity = ?", key)
		if err != nil {
			return pairRow{}, err
		}
		if !found {
			return pairRow{}, errLongWay
		}
	}
	pair.derive(append(past, row.past()))
	return pair, nil
}

// past is the row as its pair sees it.
func (row *inspectionRow) past() pastRow {
	return pastRow{
		Store: row.Store, ID: row.ID, At: row.At, Kind: row.Kind, KM: row.KM, Advised: row.Advised, AdvisedSent: row.AdvisedSent,
		ModelID: row.ModelID, SizeLabel: row.SizeLabel, SizeMM: row.SizeMM, Batch: row.Batch, Runner: row.Runner,
		BoughtOn: row.BoughtOn, SupersededBy: row.SupersededBy, VoidedAt: row.VoidedAt,
	}
}

// arrays returns rare values as four columns.
func arrays(vals []valueRow) []any {
	feet, names := make([]int16, len(vals)), make([]string, len(vals))
	values, cants := make([]*int32, len(vals)), make([]*string, len(vals))
	for i := range vals {
		feet[i], names[i] = int16(vals[i].Foot), vals[i].Name
		if v := assess.Value(vals[i].Value); v.OK() {
			n := int32(v.Int())
			values[i] = &n
		}
		if c := string(vals[i].Cant); c != "" {
			cants[i] = &c
		}
	}
	return []any{feet, names, values, cants}
}

// zoneLasts is how long a store's zone is remembered. A change on another server
// is followed after that; days that are stored stay as they are in any case.
const zoneLasts = 30 * time.Second

// cachedZone is zoneOf with a memory.
func (db *DB) cachedZone(ctx context.Context, store string) (*time.Location, error) {
	type remembered struct {
		zone  *time.Location
		until time.Time
	}
	if v, ok := db.zones.Load(store); ok {
		if z := v.(remembered); db.now().Before(z.until) {
			return z.zone, nil
		}
	}
	zone, err := db.zoneOf(ctx, db.primary, store)
	if err != nil {
		return nil, err
	}
	db.zones.Store(store, remembered{zone, db.now().Add(zoneLasts)})
	return zone, nil
}
