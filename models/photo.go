package models

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"solewright/assess"
)

// PhotoView says from where a photo shows a shoe.
type PhotoView string

// The views. ViewBack is what a tilt is measured on.
const (
	ViewBack   PhotoView = "back"
	ViewSole   PhotoView = "sole"
	ViewInner  PhotoView = "inner"
	ViewOuter  PhotoView = "outer"
	ViewLining PhotoView = "lining"
	ViewOther  PhotoView = "other"
)

// PhotoViews lists the views.
var PhotoViews = []PhotoView{ViewBack, ViewSole, ViewInner, ViewOuter, ViewLining, ViewOther}

// StoredPhoto is a photo whose file is kept elsewhere, by the SHA-256 of its
// stripped bytes.
type StoredPhoto struct {
	SHA [sha256.Size]byte
	// File is what the photo's file is named beside the SHA-256; [DB.ExpectPhoto]
	// and [DB.SavePhoto] say it. A photo that is deleted and sent again gets
	// another, so that deleting the file of before can't take the new one. It is
	// empty for a photo of before schema 16.
	File          string
	Bytes         int
	Width, Height int
	CreatedAt     time.Time
}

// PhotoLink says what a photo shows.
type PhotoLink struct {
	Store      string
	Inspection assess.UUID // which needn't be stored yet
	SHA        [sha256.Size]byte
	Foot       assess.Foot
	View       PhotoView
	// Points are the four points that a tilt was taken from: both ends of the
	// table line, left first, then the counter's midpoint at the collar and at the
	// midsole, each x and y as parts of the photo's width and height from its upper
	// left corner, eight numbers of 0 to 1. Without a measurement there are none.
	Points []float64
}

// tiltNumbers is how many numbers four points have.
const tiltNumbers = 8

// maxPhotos is how many photos a reading may have: six views of two shoes. House
// value.
const maxPhotos = 12

func (l *PhotoLink) check() error {
	var errs assess.FieldErrors
	missing := func(absent bool, field, want string) {
		if absent {
			errs.Add(assess.FieldError{Field: field, Want: want, Err: assess.ErrMissingField})
		}
	}
	missing(l.Store == "", "store", "the code of a store")
	missing(l.Inspection.IsZero(), "inspection", "the reading that the photo belongs to")
	if l.Foot != assess.Left && l.Foot != assess.Right {
		errs.Add(assess.FieldError{Field: "shoe", Value: fmt.Sprint(l.Foot), Want: "left or right", Err: assess.ErrOutOfRange})
	}
	if !slices.Contains(PhotoViews, l.View) {
		errs.Add(assess.FieldError{Field: "view", Value: string(l.View), Want: "one of " + strings.Join(Words(PhotoViews), ", "), Err: assess.ErrOutOfRange})
	}
	within := func(v float64) bool { return v >= 0 && v <= 1 }
	if n := len(l.Points); n != 0 && n != tiltNumbers || slices.ContainsFunc(l.Points, func(v float64) bool { return !within(v) }) {
		errs.Add(assess.FieldError{Field: "points", Value: fmt.Sprint(l.Points), Want: "eight numbers of 0 to 1", Err: assess.ErrOutOfRange})
	}
	return errs.Err()
}

// Words gives the words of a closed list as text, for a message or a schema.
func Words[W ~string](list []W) []string {
	words := make([]string, len(list))
	for i, w := range list {
		words[i] = string(w)
	}
	return words
}

type photoRow struct {
	SHA       hash    `gorm:"column:sha;primaryKey"`
	File      string  `gorm:"column:file"`
	Bytes     int     `gorm:"column:bytes"`
	Width     int     `gorm:"column:width"`
	Height    int     `gorm:"column:height"`
	CreatedAt instant `gorm:"column:created_at"`
	DeletedAt instant `gorm:"column:deleted_at"`
}

// goneRow is a file that is to be deleted.
type goneRow struct {
	SHA  hash   `gorm:"column:sha;primaryKey"`
	File string `gorm:"column:file;primaryKey"`
}

type aliasRow struct {
	SentSHA hash `gorm:"column:sent_sha;primaryKey"`
	SHA     hash `gorm:"column:sha"`
}

type linkRow struct {
	Store        string `gorm:"column:store;primaryKey"`
	InspectionID id     `gorm:"column:inspection_id;primaryKey"`
	SHA          hash   `gorm:"column:sha;primaryKey"`
	Foot         int    `gorm:"column:foot"`
	View         string `gorm:"column:view"`
	Points       text   `gorm:"column:points"`
}

var (
	photoLayout = layoutOf("photo", photoRow{})
	aliasLayout = layoutOf("photo_alias", aliasRow{})
	linkLayout  = layoutOf("inspection_photo", linkRow{})
	goneLayout  = layoutOf("photo_gone", goneRow{})
)

// stored is the photo of a row.
func (row *photoRow) stored() StoredPhoto {
	return StoredPhoto{
		SHA: row.SHA, File: row.File, Bytes: row.Bytes, Width: row.Width, Height: row.Height, CreatedAt: time.Time(row.CreatedAt),
	}
}

func (row *linkRow) link() (PhotoLink, error) {
	l := PhotoLink{
		Store: row.Store, Inspection: assess.UUID(row.InspectionID), SHA: row.SHA, Foot: assess.Foot(row.Foot), View: PhotoView(row.View),
	}
	if row.Points == "" {
		return l, nil
	}
	return l, json.Unmarshal([]byte(row.Points), &l.Points)
}

// photoUnclaimed is how long a file may be kept without a record of what it
// shows. An upload is over long before. House value.
const photoUnclaimed = time.Hour

// ExpectPhoto notes that a photo's file is about to be kept, and returns what to
// name it. Unless [DB.SavePhoto] says within the hour what it shows, it is one of
// [DB.PhotosToDelete] then: a file that was kept for nothing, because the server
// was killed or the reading takes no photo, doesn't stay where nobody finds it.
func (db *DB) ExpectPhoto(ctx context.Context, p StoredPhoto) (file string, err error) {
	row, now := db.photoRow(p), db.now()
	row.DeletedAt = instant(now.Add(photoUnclaimed))
	return file, wrap(db.tx(ctx, func(t *txn) error {
		var was photoRow
		for known := false; !known; { // it may be forgotten between the two
			if _, err := t.ExecContext(ctx, photoLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&row)...); err != nil {
				return err
			}
			var err error
			if was, known, err = db.lockPhoto(ctx, t, row.SHA); err != nil {
				return err
			}
		}
		switch file = was.File; {
		case was.DeletedAt == instant{}:
			return nil
		case !time.Time(was.DeletedAt).After(now): // its file may be on the way out
			if err := db.condemn(ctx, t, was); err != nil {
				return err
			}
			file = row.File
		}
		_, err := t.ExecContext(ctx, db.dialect.sql("UPDATE photo SET file = ?, deleted_at = ? WHERE sha = ?"), file, row.DeletedAt, row.SHA)
		return err
	}), "expecting photo %x", p.SHA)
}

// photoRow is a photo that is new, with a file of its own.
func (db *DB) photoRow(p StoredPhoto) photoRow {
	var name [8]byte
	_, _ = rand.Read(name[:]) // never fails: see crypto/rand
	return photoRow{
		SHA: p.SHA, File: hex.EncodeToString(name[:]), Bytes: p.Bytes, Width: p.Width, Height: p.Height, CreatedAt: instant(db.now()),
	}
}

// lockPhoto returns the row of a photo, which nobody else changes meanwhile.
func (db *DB) lockPhoto(ctx context.Context, t *txn, sha hash) (row photoRow, known bool, err error) {
	query := "SELECT " + photoLayout.list("") + " FROM photo WHERE sha = ?"
	if db.dialect == postgresDialect { // SQLite has one writer at a time
		query += " FOR UPDATE"
	}
	err = t.QueryRowContext(ctx, db.dialect.sql(query), sha).Scan(fields(&row)...)
	if errors.Is(err, sql.ErrNoRows) {
		return row, false, nil
	}
	return row, err == nil, err
}

// condemn puts the file of a photo among those to delete.
func (db *DB) condemn(ctx context.Context, t *txn, row photoRow) error {
	_, err := t.ExecContext(ctx, goneLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&goneRow{SHA: row.SHA, File: row.File})...)
	return err
}

// SavePhoto notes a photo whose file is kept, and what it shows; sent is the
// SHA-256 of the bytes that it was made of, which leads to it too. It returns what
// the file is named from then on: where that isn't what [DB.ExpectPhoto] said, the
// photo was deleted meanwhile and its file is to be kept again. The same again
// changes nothing and returns created false; another view or other points of the
// same photo replace those before. A reading that was erased with its runner takes
// none: ErrConflict.
func (db *DB) SavePhoto(ctx context.Context, by Actor, p StoredPhoto, sent [sha256.Size]byte, l PhotoLink) (file string, created bool, err error) {
	l.SHA = p.SHA
	if err := l.check(); err != nil {
		return "", false, err
	}
	row := linkRow{Store: l.Store, InspectionID: id(l.Inspection), SHA: l.SHA, Foot: int(l.Foot), View: string(l.View)}
	if len(l.Points) > 0 {
		points, err := json.Marshal(l.Points)
		if err != nil {
			return "", false, err
		}
		row.Points = text(points)
	}
	return file, created, wrap(db.tx(ctx, func(t *txn) error {
		file, created, err = db.savePhoto(ctx, t, by, p, sent, row)
		return err
	}), "storing photo %x of reading %s", p.SHA, l.Inspection)
}

func (db *DB) savePhoto(ctx context.Context, t *txn, by Actor, p StoredPhoto, sent hash, row linkRow) (file string, created bool, err error) {
	var erased flag
	if _, err := db.scalar(ctx, t, &erased, "SELECT erased FROM inspection WHERE store = ? AND id = ?", row.Store, row.InspectionID); err != nil {
		return "", false, err
	}
	if erased {
		return "", false, fmt.Errorf("the reading was erased with its runner: %w", ErrConflict)
	}
	photo := db.photoRow(p)
	// A photo that was to be deleted is wanted, and from here on nobody deletes it.
	if err := t.QueryRowContext(ctx, photoLayout.insert(db.dialect)+" ON CONFLICT (sha) DO UPDATE SET deleted_at = NULL RETURNING file", fields(&photo)...).Scan(&file); err != nil {
		return "", false, err
	}
	was := linkRow{}
	err = t.QueryRowContext(ctx, db.dialect.sql("SELECT "+linkLayout.list("")+" FROM inspection_photo WHERE store = ? AND inspection_id = ? AND sha = ?"),
		row.Store, row.InspectionID, row.SHA).Scan(fields(&was)...)
	switch {
	case err == nil && was == row:
		return file, false, nil
	case err == nil:
		_, err := t.ExecContext(ctx, db.dialect.sql("UPDATE inspection_photo SET foot = ?, view = ?, points = ? WHERE store = ? AND inspection_id = ? AND sha = ?"),
			row.Foot, row.View, row.Points, row.Store, row.InspectionID, row.SHA)
		return file, false, err
	case !errors.Is(err, sql.ErrNoRows):
		return "", false, err
	}
	var n int
	if _, err := db.scalar(ctx, t, &n, "SELECT count(*) FROM inspection_photo WHERE store = ? AND inspection_id = ?", row.Store, row.InspectionID); err != nil {
		return "", false, err
	}
	if n >= maxPhotos {
		return "", false, refused("inspection", assess.UUID(row.InspectionID).String(), fmt.Sprintf("a reading with fewer than %d photos", maxPhotos))
	}
	if _, err := t.ExecContext(ctx, aliasLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&aliasRow{SentSHA: sent, SHA: p.SHA})...); err != nil {
		return "", false, err
	}
	if _, err := t.ExecContext(ctx, linkLayout.insert(db.dialect), fields(&row)...); err != nil {
		return "", false, err
	}
	if err := db.photoFollows(ctx, t, row); err != nil {
		return "", false, err
	}
	return file, true, db.noteAudit(ctx, t, by, entry{
		action: "photo.add", subject: "inspection:" + assess.UUID(row.InspectionID).String(), after: hex.EncodeToString(row.SHA[:]),
	})
}

// photosFollow has the photos of a reading belong to the one that takes its place
// as well.
func (db *DB) photosFollow(ctx context.Context, t *txn, store string, from, to id) error {
	_, err := t.ExecContext(ctx, db.dialect.sql("INSERT INTO inspection_photo (store, inspection_id, sha, foot, view, points)"+
		" SELECT store, ?, sha, foot, view, points FROM inspection_photo WHERE store = ? AND inspection_id = ? ON CONFLICT DO NOTHING"), to, store, from)
	return err
}

// photoFollows has a photo that arrived after its reading was amended belong to
// the readings that took its place.
func (db *DB) photoFollows(ctx context.Context, t *txn, row linkRow) error {
	for {
		var next id
		known, err := db.scalar(ctx, t, &next, "SELECT superseded_by FROM inspection WHERE store = ? AND id = ?", row.Store, row.InspectionID)
		if err != nil || !known || next == (id{}) {
			return err
		}
		row.InspectionID = next
		if _, err := t.ExecContext(ctx, linkLayout.insert(db.dialect)+" ON CONFLICT DO NOTHING", fields(&row)...); err != nil {
			return err
		}
	}
}

// photosFollowAll is photoFollows for every photo of a reading.
func (db *DB) photosFollowAll(ctx context.Context, t *txn, store string, reading id) error {
	rows, err := t.QueryContext(ctx, db.dialect.sql("SELECT "+linkLayout.list("")+" FROM inspection_photo WHERE store = ? AND inspection_id = ?"), store, reading)
	if err != nil {
		return err
	}
	var links []linkRow
	if err := scanAll(rows, func(row *linkRow) error {
		links = append(links, *row)
		return nil
	}); err != nil {
		return err
	}
	for _, row := range links {
		if err := db.photoFollows(ctx, t, row); err != nil {
			return err
		}
	}
	return nil
}

// Photo returns the photo that a SHA-256 leads to: its own, or that of the bytes
// it was made of. One that is to be deleted is ErrNotFound.
func (db *DB) Photo(ctx context.Context, sha [sha256.Size]byte) (StoredPhoto, error) {
	var row photoRow
	err := db.q().QueryRowContext(ctx, db.dialect.sql("SELECT "+photoLayout.list("")+" FROM photo WHERE deleted_at IS NULL AND "+
		"(sha = ? OR sha = (SELECT sha FROM photo_alias WHERE sent_sha = ?))"), hash(sha), hash(sha)).Scan(fields(&row)...)
	return row.stored(), wrap(err, "photo %x", sha)
}

// PhotoShownBy returns the readings that a photo, by its own SHA-256, belongs to.
func (db *DB) PhotoShownBy(ctx context.Context, sha [sha256.Size]byte) ([]*Inspection, error) {
	all, err := db.inspectionsIn(ctx, db.q(), " WHERE (i.store, i.id) IN (SELECT store, inspection_id FROM inspection_photo WHERE sha = ?)", hash(sha))
	return all, wrap(err, "reading what photo %x shows", sha)
}

// PhotosOf returns the photos of readings, by reading, each left shoe first and in
// the order of PhotoViews.
func (db *DB) PhotosOf(ctx context.Context, readings ...assess.UUID) (map[assess.UUID][]PhotoLink, error) {
	all := map[assess.UUID][]PhotoLink{}
	if len(readings) == 0 {
		return all, nil
	}
	ids := make([]any, len(readings))
	for i, r := range readings {
		ids[i] = id(r)
	}
	rows, err := db.q().QueryContext(ctx, db.dialect.sql("SELECT "+linkLayout.list("")+" FROM inspection_photo WHERE inspection_id IN (?"+
		strings.Repeat(", ?", len(ids)-1)+") ORDER BY inspection_id, foot, sha"), ids...)
	if err != nil {
		return nil, wrap(err, "reading the photos of readings")
	}
	err = scanAll(rows, func(row *linkRow) error {
		l, err := row.link()
		all[l.Inspection] = append(all[l.Inspection], l)
		return err
	})
	for _, links := range all {
		slices.SortStableFunc(links, func(a, b PhotoLink) int {
			if a.Foot != b.Foot {
				return int(a.Foot) - int(b.Foot)
			}
			return slices.Index(PhotoViews, a.View) - slices.Index(PhotoViews, b.View)
		})
	}
	return all, wrap(err, "reading the photos of readings")
}

// PhotosOfPairs returns the photos of pairs by their reference: those of readings
// that stand and are not blind, the newest reading's first.
func (db *DB) PhotosOfPairs(ctx context.Context, refs []string) (map[string][]PhotoLink, error) {
	all := map[string][]PhotoLink{}
	if len(refs) == 0 {
		return all, nil
	}
	var w where
	w.in("i.pair_ref", refs)
	w.and("i.kind <> ? AND i.voided_at IS NULL AND i.superseded_by IS NULL", int(assess.Blind))
	rows, err := db.reader().QueryContext(ctx, db.dialect.sql("SELECT i.pair_ref, "+linkLayout.list("p.")+" FROM inspection i JOIN inspection_photo p"+
		" ON p.store = i.store AND p.inspection_id = i.id"+w.String()+" ORDER BY i.at DESC, i.id, p.foot, p.sha"), w.args...)
	if err != nil {
		return nil, wrap(err, "reading the photos of pairs")
	}
	defer rows.Close()
	for rows.Next() {
		var (
			pair string
			row  linkRow
		)
		if err := rows.Scan(append([]any{&pair}, fields(&row)...)...); err != nil {
			return nil, wrap(err, "reading the photos of pairs")
		}
		l, err := row.link()
		if err != nil {
			return nil, wrap(err, "reading the photos of pairs")
		}
		all[pair] = append(all[pair], l)
	}
	return all, wrap(rows.Err(), "reading the photos of pairs")
}

// EachPhoto calls f with every photo that is kept, in order of its SHA-256.
func (db *DB) EachPhoto(ctx context.Context, f func(StoredPhoto) error) error {
	rows, err := db.reader().QueryContext(ctx, "SELECT "+photoLayout.list("")+" FROM photo WHERE deleted_at IS NULL ORDER BY sha")
	if err != nil {
		return wrap(err, "reading the photos")
	}
	return wrap(scanAll(rows, func(row *photoRow) error {
		return f(row.stored())
	}), "reading the photos")
}

// PhotosToDelete forgets the photos that are to be deleted, see [DB.EraseRunner]
// and [DB.ExpectPhoto], and returns the names of their files: those of photos that
// were forgotten before, too, until [DB.PhotoDeleted] says that they are gone. No
// photo has or gets such a name, so that deleting the files harms none, however
// long it takes and whoever does it.
func (db *DB) PhotosToDelete(ctx context.Context) ([]StoredPhoto, error) {
	due := "SELECT " + photoLayout.list("") + " FROM photo WHERE deleted_at <= ? ORDER BY sha"
	var all []StoredPhoto
	err := db.tx(ctx, func(t *txn) error {
		now := db.now()
		rows, err := t.QueryContext(ctx, db.dialect.sql(due), instant(now))
		if err != nil {
			return err
		}
		var found []hash
		if err := scanAll(rows, func(row *photoRow) error {
			found = append(found, row.SHA)
			return nil
		}); err != nil {
			return err
		}
		for _, sha := range found {
			if err := db.forgetPhoto(ctx, t, sha, now); err != nil {
				return err
			}
		}
		if rows, err = t.QueryContext(ctx, "SELECT "+goneLayout.list("")+" FROM photo_gone ORDER BY sha, file"); err != nil {
			return err
		}
		all = nil
		return scanAll(rows, func(row *goneRow) error {
			all = append(all, StoredPhoto{SHA: row.SHA, File: row.File})
			return nil
		})
	})
	return all, wrap(err, "reading the photos to delete")
}

// forgetPhoto forgets a photo that is still to be deleted now that nobody else
// changes it, but for one that a reading of a runner who wasn't erased shows: that
// was stored while the other reading was erased.
func (db *DB) forgetPhoto(ctx context.Context, t *txn, sha hash, now time.Time) error {
	row, known, err := db.lockPhoto(ctx, t, sha)
	if err != nil || !known || row.DeletedAt == (instant{}) || time.Time(row.DeletedAt).After(now) {
		return err
	}
	var shown int
	if _, err := db.scalar(ctx, t, &shown, "SELECT count(*) FROM inspection_photo p JOIN inspection i ON i.store = p.store AND i.id = p.inspection_id"+
		" WHERE p.sha = ? AND NOT i.erased", sha); err != nil {
		return err
	}
	if shown > 0 {
		_, err := t.ExecContext(ctx, db.dialect.sql("UPDATE photo SET deleted_at = NULL WHERE sha = ?"), sha)
		return err
	}
	if err := db.condemn(ctx, t, row); err != nil {
		return err
	}
	for _, table := range []string{"inspection_photo", "photo_alias", "photo"} {
		if _, err := t.ExecContext(ctx, db.dialect.sql("DELETE FROM "+table+" WHERE sha = ?"), sha); err != nil {
			return err
		}
	}
	return nil
}

// PhotoDeleted forgets the name of a file that is gone.
func (db *DB) PhotoDeleted(ctx context.Context, p StoredPhoto) error {
	return wrap(db.tx(ctx, func(t *txn) error {
		_, err := t.ExecContext(ctx, db.dialect.sql("DELETE FROM photo_gone WHERE sha = ? AND file = ?"), hash(p.SHA), p.File)
		return err
	}), "forgetting the file of photo %x", p.SHA)
}
