package models

import (
	"bytes"
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"time"

	"gorm.io/gorm"
	"gorm.io/gorm/clause"

	"solewright/assess"
	"solewright/models/retail"
)

// ImportOptions say how many readings are brought in at once.
type ImportOptions struct {
	// KeepGood stores the good rows though others are refused; otherwise one
	// refused row means that nothing is stored.
	KeepGood bool
	// DryRun does everything, and then undoes it.
	DryRun bool
	// Refused is told of every row that is refused, by its place from 0.
	Refused func(row int, err error)
	// Progress is told now and then how many rows were read.
	Progress func(rows int)
}

// ImportResult counts what an import did.
type ImportResult struct {
	Read    int // rows given
	Stored  int // rows that were new
	Known   int // rows that were stored before, with the same content
	Refused int
	Pairs   int // pairs created or computed anew
}

// ErrRefused says that rows of an import were refused and nothing was stored.
var ErrRefused = errors.New("some rows were refused, so nothing was stored")

// errDryRun undoes a dry run.
var errDryRun = errors.New("dry run")

// ImportInspections stores many readings in one transaction, in bounded memory;
// it is SaveInspection for a file. Readings that are stored already are passed
// over where their content is the same, and refused where it isn't. The pairs'
// intervals of life are computed at the end, all at once. An error that rows
// yields undoes everything; where it is ErrRefused, which says that the caller
// has refused rows of its own, what was yielded before is checked to the end.
func (db *DB) ImportInspections(ctx context.Context, by Actor, rows iter.Seq2[*NewInspection, error], o ImportOptions) (ImportResult, error) {
	if db.within != nil {
		return ImportResult{}, errors.New("an import is a transaction of its own")
	}
	var res ImportResult
	err := db.bulk(ctx, func(t *txn, conn *sql.Conn) error {
		im, err := db.newImport(ctx, t, o)
		if err != nil {
			return err
		}
		var into staging = &sqliteStaging{importing: im}
		if db.dialect == postgresDialect {
			into = &postgresStaging{importing: im, conn: conn}
		}
		err = im.run(ctx, by, rows, into)
		res = im.res
		return err
	})
	if errors.Is(err, errDryRun) {
		err = nil
	}
	return res, wrap(err, "importing readings")
}

// bulk runs f in a transaction on a connection of its own. On SQLite the disk is
// not waited for within it, but for the log to reach it at the end.
func (db *DB) bulk(ctx context.Context, f func(*txn, *sql.Conn) error) (err error) {
	conn, err := db.primary.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	if db.dialect == sqliteDialect {
		if _, err := conn.ExecContext(ctx, "PRAGMA synchronous = NORMAL"); err != nil {
			return err
		}
		// The context may be over by then, and the connection goes back to the pool.
		defer func() {
			_, full := conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA synchronous = FULL")
			_, synced := conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA wal_checkpoint(PASSIVE)")
			err = errors.Join(err, full, synced)
		}()
	}
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	t := &countedTx{tx, db.primary.statements}
	g := db.gorm.Session(&gorm.Session{NewDB: true, Context: ctx})
	g.Statement.ConnPool = t
	if err := f(&txn{countedTx: t, g: g}, conn); err != nil {
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return tx.Commit()
}

// importing is an import under way.
type importing struct {
	db     *DB
	t      *txn
	o      ImportOptions
	res    ImportResult
	now    time.Time
	zones  map[string]*time.Location
	models map[[3]string]id
	typed  []*retail.ShoeModel
	merged map[string]string
	// blind counts the blind readings among what was stored.
	blind int
	// first is the version of the pairs that the import makes: at random, so
	// that a pair that somebody else makes meanwhile is not taken for one.
	first int64
}

// staging is how a dialect takes in rows.
type staging interface {
	// begin prepares to take rows.
	begin(ctx context.Context) error
	// wait returns once the connection is free for a query.
	wait() error
	// add takes the n-th row.
	add(ctx context.Context, n int, row *inspectionRow, vals []valueRow) error
	// finish stores what was added and is new, and notes the refs of their pairs
	// in the temporary table touched, and the blind readings with their places in
	// blind_read.
	finish(ctx context.Context) error
	// stop ends what is still under way.
	stop()
	// savePairs stores pairs that were computed anew.
	savePairs(ctx context.Context, rows []pairRow) error
}

func (db *DB) newImport(ctx context.Context, t *txn, o ImportOptions) (*importing, error) {
	im := &importing{
		db: db, t: t, o: o, now: db.now(), first: rand.Int64N(1 << 62),
		zones: map[string]*time.Location{}, models: map[[3]string]id{}, merged: map[string]string{},
	}
	if err := im.pairsOf(ctx, "SELECT code, zone FROM store", func(code, name string) (err error) {
		im.zones[code], err = time.LoadLocation(name)
		return err
	}); err != nil {
		return nil, err
	}
	err := im.pairsOf(ctx, "SELECT ref, merged_into FROM pair WHERE merged_into IS NOT NULL", func(ref, into string) error {
		im.merged[ref] = into
		return nil
	})
	return im, err
}

func (im *importing) exec(ctx context.Context, queries ...string) error {
	for _, q := range queries {
		if _, err := im.t.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// pairsOf calls f with the two text columns of a query.
func (im *importing) pairsOf(ctx context.Context, query string, f func(a, b string) error) error {
	rows, err := im.t.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	type twoRow struct{ A, B string }
	return scanAll(rows, func(row *twoRow) error { return f(row.A, row.B) })
}

// progressEvery is how many rows lie between two reports of progress.
const progressEvery = 1000

func (im *importing) run(ctx context.Context, by Actor, rows iter.Seq2[*NewInspection, error], into staging) error {
	defer into.stop()
	if err := into.begin(ctx); err != nil {
		return err
	}
	refused := false
	for in, err := range rows {
		if refused = errors.Is(err, ErrRefused); refused {
			break
		}
		if err := cmp.Or(err, ctx.Err()); err != nil {
			return err
		}
		if err := im.take(ctx, in, into); err != nil {
			return err
		}
		if im.o.Progress != nil && im.res.Read%progressEvery == 0 {
			im.o.Progress(im.res.Read)
		}
	}
	if err := into.finish(ctx); err != nil {
		return err
	}
	if err := im.refuseKnowing(ctx); err != nil {
		return err
	}
	if refused || im.res.Refused > 0 && !im.o.KeepGood {
		return ErrRefused
	}
	if err := im.addTyped(ctx); err != nil {
		return err
	}
	if err := im.strikeOut(ctx); err != nil {
		return err
	}
	if err := im.computePairs(ctx, into); err != nil {
		return err
	}
	if im.o.Progress != nil {
		im.o.Progress(im.res.Read)
	}
	if im.o.DryRun {
		return errDryRun
	}
	if im.res.Stored == 0 {
		return nil
	}
	return im.db.noteAudit(ctx, im.t, by, entry{
		action: "inspection.import", subject: "import",
		after: fmt.Sprintf(`{"stored":%d,"known":%d,"refused":%d}`, im.res.Stored, im.res.Known, im.res.Refused),
	})
}

// take lays a row out, looks up its model and hands it on, or refuses it.
func (im *importing) take(ctx context.Context, in *NewInspection, into staging) error {
	n := im.res.Read
	im.res.Read++
	row, vals, err := im.prepare(in)
	if err != nil {
		im.refuse(n, err)
		return nil
	}
	if row.ModelID, err = im.modelOf(ctx, row, into); err != nil {
		return err
	}
	if row.PairRef == "" && in.Record.Kind != assess.Blind {
		if err := into.wait(); err != nil {
			return err
		}
		if row.PairRef, err = im.db.newRef(ctx, im.t, in.Record.ID); err != nil {
			return err
		}
	}
	return into.add(ctx, n, row, vals)
}

func (im *importing) refuse(n int, err error) {
	im.res.Refused++
	if im.o.Refused != nil {
		im.o.Refused(n, err)
	}
}

// prepare lays a reading out as rows, with what the database knows.
func (im *importing) prepare(in *NewInspection) (*inspectionRow, []valueRow, error) {
	if err := checkNew(in); err != nil {
		return nil, nil, err
	}
	r := &in.Record
	if r.ReceivedAt.IsZero() {
		r.ReceivedAt = im.now
	}
	zone, ok := im.zones[r.Store]
	if !ok {
		return nil, nil, refused("store", r.Store, "the code of a store that is set up")
	}
	row, vals, err := newRow(in)
	if err != nil {
		return nil, nil, err
	}
	if err := row.finish(in, zone); err != nil {
		return nil, nil, err
	}
	row.PairRef = text(cmp.Or(im.merged[r.PairRef], r.PairRef))
	return row, vals, nil
}

// modelOf finds a model's id by its words, noting one that isn't there.
func (im *importing) modelOf(ctx context.Context, r *inspectionRow, into staging) (id, error) {
	if r.Brand == "" && r.Model == "" {
		return id{}, nil
	}
	words := [3]string{string(r.Brand), string(r.Model), string(r.Version)}
	if m, ok := im.models[words]; ok {
		return m, nil
	}
	key := identity(words[0], words[1], words[2])
	if err := into.wait(); err != nil {
		return id{}, err
	}
	var found id
	ok, err := im.db.scalar(ctx, im.t, &found, "SELECT coalesce(linked_to, id) FROM shoe_model WHERE identity = ?", key)
	if err != nil {
		return id{}, err
	}
	if !ok {
		found = modelID(key)
		im.typed = append(im.typed, &retail.ShoeModel{
			ID: assess.UUID(found), Brand: words[0], Model: words[1], Version: words[2], TypedIn: true,
			Features: retail.Features{DropMM: -1},
		})
	}
	im.models[words] = found
	return found, nil
}

// refuseKnowing refuses the blind readings by who knew what the pair reads like,
// from a row of the file, whichever came first, or from what was stored before.
func (im *importing) refuseKnowing(ctx context.Context) error {
	if im.blind == 0 {
		return nil
	}
	if err := im.exec(ctx, "DELETE FROM blind_read WHERE NOT EXISTS (SELECT 1 FROM inspection b WHERE b.store = blind_read.store AND b.id = blind_read.id AND "+knewFirst+")"); err != nil {
		return err
	}
	rows, err := im.t.QueryContext(ctx, "SELECT r.n, b.staff FROM blind_read r JOIN inspection b ON b.store = r.store AND b.id = r.id ORDER BY r.n")
	if err != nil {
		return err
	}
	type knewRow struct {
		N     int
		Staff string
	}
	if err := scanAll(rows, func(row *knewRow) error {
		im.refuse(row.N, refuseKnowing(row.Staff))
		im.res.Stored--
		return nil
	}); err != nil {
		return err
	}
	return im.exec(ctx,
		"DELETE FROM inspection_value WHERE (store, id) IN (SELECT store, id FROM blind_read)",
		"DELETE FROM change WHERE (store, id) IN (SELECT store, id FROM blind_read)",
		"DELETE FROM inspection WHERE (store, id) IN (SELECT store, id FROM blind_read)")
}

// addTyped adds the models that no one had entered.
func (im *importing) addTyped(ctx context.Context) error {
	for _, m := range im.typed {
		row := newModelRow(m)
		row.CreatedAt = instant(im.now)
		if err := im.t.g.WithContext(ctx).Clauses(clause.OnConflict{DoNothing: true}).Create(&row).Error; err != nil {
			return err
		}
	}
	return nil
}

// strikeOut links readings with those that supersede them, whichever came first,
// and has the photos follow. The set of amendments is small and has an index of
// its own.
func (im *importing) strikeOut(ctx context.Context) error {
	rows, err := im.t.QueryContext(ctx, `
		UPDATE inspection SET superseded_by = n.id FROM inspection n
		WHERE n.supersedes IS NOT NULL AND inspection.store = n.store AND inspection.id = n.supersedes AND inspection.superseded_by IS NULL
		RETURNING inspection.store, inspection.id, coalesce(inspection.pair_ref, '')`)
	if err != nil {
		return err
	}
	type struckRow struct {
		Store string
		ID    id
		Ref   string
	}
	var struck []struckRow
	if err := scanAll(rows, func(row *struckRow) error {
		struck = append(struck, *row)
		return nil
	}); err != nil {
		return err
	}
	for _, s := range struck {
		if err := im.db.photosFollowAll(ctx, im.t, s.Store, s.ID); err != nil {
			return err
		}
		if err := im.db.noteChange(ctx, im.t, change{Op: Superseded, Store: s.Store, ID: s.ID, PairRef: text(s.Ref)}); err != nil {
			return err
		}
		if s.Ref == "" {
			continue
		}
		if _, err := im.t.ExecContext(ctx, im.db.dialect.sql("INSERT INTO touched (ref) VALUES (?) ON CONFLICT DO NOTHING"), s.Ref); err != nil {
			return err
		}
	}
	return nil
}

// pairPage is how many pairs are computed at once.
const pairPage = 5000

// computePairs brings every touched pair in line with its readings, some
// thousands at a time.
func (im *importing) computePairs(ctx context.Context, into staging) error {
	for last := ""; ; {
		refs, err := im.db.words(ctx, im.t, "SELECT ref FROM touched WHERE ref > ? ORDER BY ref LIMIT ?", last, pairPage)
		if err != nil || len(refs) == 0 {
			return err
		}
		rows, err := im.pairsBetween(ctx, last, refs[len(refs)-1])
		if err != nil {
			return err
		}
		im.res.Pairs += len(rows)
		if err := into.savePairs(ctx, rows); err != nil {
			return err
		}
		last = refs[len(refs)-1]
	}
}

// pairsBetween computes the touched pairs after one reference and up to
// another.
func (im *importing) pairsBetween(ctx context.Context, after, upTo string) ([]pairRow, error) {
	rows, err := im.t.QueryContext(ctx, im.db.dialect.sql("SELECT "+pairLayout.list("")+
		" FROM pair WHERE ref > ? AND ref <= ? AND ref IN (SELECT ref FROM touched)"), after, upTo)
	if err != nil {
		return nil, err
	}
	known := map[string]pairRow{}
	if err := scanAll(rows, func(row *pairRow) error {
		known[row.Ref] = *row
		return nil
	}); err != nil {
		return nil, err
	}
	past, err := im.db.pastBetween(ctx, im.t, after, upTo, " AND pair_ref IN (SELECT ref FROM touched)")
	if err != nil {
		return nil, err
	}
	var all []pairRow
	for ref, readings := range past {
		pair, ok := known[ref]
		if !ok {
			pair = pairRow{Ref: ref, Version: im.first}
			ok = pair.begin(readings, im.now)
		}
		if ok {
			pair.derive(readings)
			all = append(all, pair)
		}
	}
	return all, nil
}

// settleOne settles a row that was not stored, given what is stored under its
// id: the same content counts as known, and so does a reading that was erased;
// anything else is refused. Where nothing is stored, another amendment was
// faster.
func (im *importing) settleOne(n int, given, have *Inspection) {
	if have == nil {
		im.refuse(n, fmt.Errorf("reading %s was amended before: amend the latest: %w", given.Supersedes, ErrConflict))
		return
	}
	// A merge may have given the stored one another pair.
	same := *given
	same.PairRef = have.PairRef
	if have.Erased || bytes.Equal(assess.Canonical(&have.Record), assess.Canonical(&same.Record)) {
		im.res.Known++
		return
	}
	im.refuse(n, fmt.Errorf("reading %s is stored with another content: amend it instead: %w", given.ID, ErrConflict))
}

// sqliteStaging stores each row at once: SQLite has but one writer.
type sqliteStaging struct {
	*importing
	inspection, value, change, touched, read, pair, sha *sql.Stmt
}

func (s *sqliteStaging) begin(ctx context.Context) error {
	if err := s.exec(ctx,
		"CREATE TEMP TABLE IF NOT EXISTS touched (ref TEXT PRIMARY KEY) WITHOUT ROWID",
		"CREATE TEMP TABLE IF NOT EXISTS blind_read (n INTEGER PRIMARY KEY, store TEXT, id BLOB)",
		"DELETE FROM touched",
		"DELETE FROM blind_read",
	); err != nil {
		return err
	}
	for _, p := range []struct {
		into  **sql.Stmt
		query string
	}{
		{&s.inspection, inspectionLayout.insert(sqliteDialect) + " ON CONFLICT (store, id) DO NOTHING"},
		{&s.value, valueLayout.insert(sqliteDialect)},
		{&s.change, "INSERT INTO change (op, store, id, pair_ref) VALUES (?, ?, ?, ?)"},
		{&s.touched, "INSERT INTO touched (ref) VALUES (?) ON CONFLICT DO NOTHING"},
		{&s.read, "INSERT INTO blind_read (n, store, id) VALUES (?, ?, ?)"},
		{&s.sha, "SELECT body_sha FROM inspection WHERE store = ? AND id = ?"},
		{&s.pair, pairLayout.insert(sqliteDialect) + " ON CONFLICT (ref) DO UPDATE SET " + pairReplace},
	} {
		var err error
		if *p.into, err = s.t.PrepareContext(ctx, p.query); err != nil {
			return err
		}
	}
	return nil
}

func (s *sqliteStaging) wait() error { return nil }

// pairReplace sets every column of a pair but its key and version to that of
// the row that was to be inserted.
var pairReplace = func() string {
	set := "version = pair.version + 1"
	for _, c := range pairLayout.columns[1 : len(pairLayout.columns)-1] {
		set += ", " + c + " = excluded." + c
	}
	return set
}()

func (s *sqliteStaging) add(ctx context.Context, n int, row *inspectionRow, vals []valueRow) error {
	stored, err := affected(s.inspection.ExecContext(ctx, fields(row)...))
	switch {
	case errors.Is(classify(err), ErrConflict):
		given, err := asStored(row, vals, NoContradiction)
		if err == nil {
			s.settleOne(n, given, nil)
		}
		return err
	case err != nil:
		return err
	case stored == 0:
		var sha hash
		if err := s.sha.QueryRowContext(ctx, row.Store, row.ID).Scan(&sha); err != nil {
			return err
		}
		if sha == row.BodySHA {
			s.res.Known++
			return nil
		}
		return s.compare(ctx, n, row, vals)
	}
	s.res.Stored++
	for i := range vals {
		if _, err := s.value.ExecContext(ctx, fields(&vals[i])...); err != nil {
			return err
		}
	}
	if _, err := s.change.ExecContext(ctx, int(Added), row.Store, row.ID, row.PairRef); err != nil {
		return err
	}
	if row.PairRef == "" {
		return nil
	}
	if row.Kind == int(assess.Blind) {
		s.blind++
		if _, err := s.read.ExecContext(ctx, n, row.Store, row.ID); err != nil {
			return err
		}
	}
	_, err = s.touched.ExecContext(ctx, row.PairRef)
	return err
}

// compare settles a row whose id is stored with another hash.
func (s *sqliteStaging) compare(ctx context.Context, n int, row *inspectionRow, vals []valueRow) error {
	given, err := asStored(row, vals, NoContradiction)
	if err != nil {
		return err
	}
	have, err := s.db.inspectionIn(ctx, s.t, "i.store = ? AND i.id = ?", row.Store, row.ID)
	if err != nil {
		return err
	}
	s.settleOne(n, given, have)
	return nil
}

func (s *sqliteStaging) stop() {}

func (s *sqliteStaging) finish(context.Context) error { return nil }

func (s *sqliteStaging) savePairs(ctx context.Context, rows []pairRow) error {
	for i := range rows {
		if _, err := s.pair.ExecContext(ctx, fields(&rows[i])...); err != nil {
			return err
		}
	}
	return nil
}
