package models

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/stdlib"

	"solewright/assess"
)

// postgresStaging collects some thousands of rows, looks which of them are
// stored, and copies the others into their tables while the next are collected.
type postgresStaging struct {
	*importing
	conn    *sql.Conn
	pending []pendingRow

	inspections, values, changes, touched, read, pairs *copier
	sending                                            chan error // nil while nothing is on its way

	analysed int // rows stored when the planner last looked at them
}

// pendingRow is a row that was added and not looked at yet; n is its place in
// the input.
type pendingRow struct {
	n    int
	row  *inspectionRow
	vals []valueRow
}

// rowKey is the key of a reading.
type rowKey struct {
	store string
	id    id
}

func (p *pendingRow) key() rowKey { return rowKey{p.row.Store, p.row.ID} }

// changeRow is what an import writes to the change feed.
type changeRow struct {
	Op      int    `gorm:"column:op"`
	Store   string `gorm:"column:store"`
	ID      id     `gorm:"column:id"`
	PairRef text   `gorm:"column:pair_ref"`
}

// touchedRow names a pair that got a reading.
type touchedRow struct {
	Ref string `gorm:"column:ref"`
}

// readRow names a blind reading of an import, with its place in the input.
type readRow struct {
	N     int    `gorm:"column:n"`
	Store string `gorm:"column:store"`
	ID    id     `gorm:"column:id"`
}

// begin makes the temporary tables, which go with the transaction.
//
// Whatever is looked up here is looked up by its key. An ANALYZE that comes
// while the import runs sees none of its rows, and a plan that believes it would
// read all of them again for each few thousand; so plans without keys are put
// last. What has no index is still read as a whole, and that is never worth
// compiling.
func (s *postgresStaging) begin(ctx context.Context) error {
	if err := s.exec(ctx,
		"SET LOCAL enable_seqscan = off",
		"SET LOCAL enable_hashjoin = off",
		"SET LOCAL enable_mergejoin = off",
		"SET LOCAL jit = off",
		"CREATE TEMP TABLE touched_often (ref text COLLATE \"C\") ON COMMIT DROP",
		"CREATE TEMP TABLE touched (ref text COLLATE \"C\" PRIMARY KEY) ON COMMIT DROP",
		"CREATE TEMP TABLE blind_read (n integer PRIMARY KEY, store text COLLATE \"C\", id uuid) ON COMMIT DROP",
		"CREATE TEMP TABLE new_pair (LIKE pair) ON COMMIT DROP",
	); err != nil {
		return err
	}
	for _, c := range []struct {
		into  **copier
		table string
		row   any
	}{
		{&s.inspections, "inspection", inspectionRow{}},
		{&s.values, "inspection_value", valueRow{}},
		{&s.changes, "change", changeRow{}},
		{&s.touched, "touched_often", touchedRow{}},
		{&s.read, "blind_read", readRow{}},
		{&s.pairs, "new_pair", pairRow{}},
	} {
		var err error
		if *c.into, err = s.newCopier(ctx, layoutOf(c.table, c.row)); err != nil {
			return err
		}
	}
	return nil
}

// copyRows is how many rows are looked at and copied at once.
const copyRows = 5000

func (s *postgresStaging) add(ctx context.Context, n int, row *inspectionRow, vals []valueRow) error {
	s.pending = append(s.pending, pendingRow{n, row, vals})
	if len(s.pending) < copyRows {
		return nil
	}
	return s.store(ctx)
}

// store passes over what is stored, and sends the rest on its way.
func (s *postgresStaging) store(ctx context.Context) error {
	if err := s.wait(); err != nil || len(s.pending) == 0 {
		return err
	}
	if err := s.analyse(ctx, max(analyseRows, analyseGrowth*s.analysed)); err != nil {
		return err
	}
	fresh, err := s.fresh(ctx)
	if err != nil {
		return err
	}
	if fresh, err = s.firstAmendments(ctx, fresh); err != nil {
		return err
	}
	for i := range fresh {
		row := fresh[i].row
		s.inspections.append(row)
		for j := range fresh[i].vals {
			s.values.append(&fresh[i].vals[j])
		}
		s.changes.append(&changeRow{int(Added), row.Store, row.ID, row.PairRef})
		if row.PairRef == "" {
			continue
		}
		s.touched.append(&touchedRow{string(row.PairRef)})
		if row.Kind == int(assess.Blind) {
			s.blind++
			s.read.append(&readRow{fresh[i].n, row.Store, row.ID})
		}
	}
	s.res.Stored += len(fresh)
	s.pending = s.pending[:0]
	s.send(ctx, s.inspections, s.values, s.changes, s.touched, s.read)
	return nil
}

// When the planner looks at the rows of an import: after so many, and again each
// time they have grown so many times.
const (
	analyseRows   = 20_000
	analyseGrowth = 4
)

// analyse has the planner look at the rows stored once there are at least so
// many. Autovacuum takes rows that aren't committed for none, after which each
// look-up by key reads the whole table; what this transaction analyses counts
// them, and keeps autovacuum away until it ends.
func (s *postgresStaging) analyse(ctx context.Context, least int) error {
	if s.res.Stored < least {
		return nil
	}
	s.analysed = s.res.Stored
	return s.exec(ctx, "ANALYZE inspection")
}

// fresh returns the pending rows whose id is new, and settles the others.
func (s *postgresStaging) fresh(ctx context.Context) ([]pendingRow, error) {
	keys := make([]rowKey, len(s.pending))
	for i := range s.pending {
		keys[i] = s.pending[i].key()
	}
	stores, ids := keyArrays(keys)
	rows, err := s.t.QueryContext(ctx, "SELECT i.store, i.id, i.body_sha FROM unnest($1::text[], $2::uuid[]) k (store, id) JOIN inspection i USING (store, id)", stores, ids)
	if err != nil {
		return nil, err
	}
	type shaRow struct {
		Store string
		ID    id
		SHA   hash
	}
	stored := map[rowKey]hash{}
	if err := scanAll(rows, func(row *shaRow) error {
		stored[rowKey{row.Store, row.ID}] = row.SHA
		return nil
	}); err != nil {
		return nil, err
	}
	var (
		fresh, others []pendingRow
		first         = map[rowKey]*pendingRow{}
	)
	for i := range s.pending {
		p := &s.pending[i]
		k := p.key()
		sha, isStored := stored[k]
		twice := first[k]
		switch {
		case isStored && sha == p.row.BodySHA, twice != nil && twice.row.BodySHA == p.row.BodySHA:
			s.res.Known++
		case isStored:
			others = append(others, *p)
		case twice != nil:
			if err := s.settleTwice(p, twice); err != nil {
				return nil, err
			}
		default:
			first[k] = p
			fresh = append(fresh, *p)
		}
	}
	return fresh, s.settle(ctx, others)
}

// keyArrays returns keys as two columns.
func keyArrays(keys []rowKey) (stores []string, ids [][16]byte) {
	stores, ids = make([]string, len(keys)), make([][16]byte, len(keys))
	for i, k := range keys {
		stores[i], ids[i] = k.store, k.id
	}
	return stores, ids
}

// settle settles rows whose id is stored with another hash.
func (s *postgresStaging) settle(ctx context.Context, others []pendingRow) error {
	if len(others) == 0 {
		return nil
	}
	keys := make([]rowKey, len(others))
	for i := range others {
		keys[i] = others[i].key()
	}
	stores, ids := keyArrays(keys)
	stored, err := s.db.inspectionsIn(ctx, s.t, " WHERE (i.store, i.id) IN (SELECT * FROM unnest(?::text[], ?::uuid[]))", stores, ids)
	if err != nil {
		return err
	}
	have := make(map[rowKey]*Inspection, len(stored))
	for _, in := range stored {
		have[rowKey{in.Store, id(in.ID)}] = in
	}
	for i := range others {
		given, err := asStored(others[i].row, others[i].vals, NoContradiction)
		if err != nil {
			return err
		}
		s.settleOne(others[i].n, given, have[keys[i]])
	}
	return nil
}

// settleTwice settles a row whose id stands further up in the input.
func (s *postgresStaging) settleTwice(p, before *pendingRow) error {
	given, err := asStored(p.row, p.vals, NoContradiction)
	if err != nil {
		return err
	}
	have, err := asStored(before.row, before.vals, NoContradiction)
	if err != nil {
		return err
	}
	s.settleOne(p.n, given, have)
	return nil
}

// firstAmendments refuses rows that amend what was amended before.
func (s *postgresStaging) firstAmendments(ctx context.Context, rows []pendingRow) ([]pendingRow, error) {
	var keys []rowKey
	for i := range rows {
		if r := rows[i].row; r.Supersedes != (id{}) {
			keys = append(keys, rowKey{r.Store, r.Supersedes})
		}
	}
	if len(keys) == 0 {
		return rows, nil
	}
	stores, ids := keyArrays(keys)
	found, err := s.t.QueryContext(ctx, "SELECT i.store, i.supersedes FROM unnest($1::text[], $2::uuid[]) k (store, id) JOIN inspection i ON i.store = k.store AND i.supersedes = k.id", stores, ids)
	if err != nil {
		return nil, err
	}
	type keyRow struct {
		Store string
		ID    id
	}
	amended := map[rowKey]bool{}
	if err := scanAll(found, func(row *keyRow) error {
		amended[rowKey{row.Store, row.ID}] = true
		return nil
	}); err != nil {
		return nil, err
	}
	first := make([]pendingRow, 0, len(rows))
	for _, p := range rows {
		k := rowKey{p.row.Store, p.row.Supersedes}
		switch {
		case k.id == id{}:
		case amended[k]:
			given, err := asStored(p.row, p.vals, NoContradiction)
			if err != nil {
				return nil, err
			}
			s.settleOne(p.n, given, nil)
			continue
		default:
			amended[k] = true
		}
		first = append(first, p)
	}
	return first, nil
}

// finish stores what is pending, and notes which pairs it touched. Whoever
// writes a reading of these pairs waits, and then reads again.
func (s *postgresStaging) finish(ctx context.Context) error {
	if err := s.store(ctx); err != nil {
		return err
	}
	if err := s.wait(); err != nil {
		return err
	}
	if err := s.analyse(ctx, max(analyseRows, s.analysed+1)); err != nil {
		return err
	}
	return s.exec(ctx,
		"INSERT INTO touched SELECT DISTINCT ref FROM touched_often",
		"ANALYZE touched",
		"SELECT 1 FROM pair WHERE ref IN (SELECT ref FROM touched) ORDER BY ref FOR UPDATE")
}

// savePairs stores pairs. A pair that somebody else made since it was looked for
// is computed again, until it is in.
func (s *postgresStaging) savePairs(ctx context.Context, rows []pairRow) error {
	for i := range rows {
		s.pairs.append(&rows[i])
	}
	s.send(ctx, s.pairs)
	if err := s.wait(); err != nil {
		return err
	}
	columns := pairLayout.list("")
	stored, err := affected(s.t.ExecContext(ctx, "INSERT INTO pair ("+columns+") SELECT "+columns+
		" FROM new_pair ON CONFLICT (ref) DO UPDATE SET "+pairReplace+" WHERE pair.version = excluded.version"))
	if err != nil {
		return err
	}
	if stored < len(rows) {
		missed, err := s.db.words(ctx, s.t, "SELECT n.ref FROM new_pair n JOIN pair p ON p.ref = n.ref WHERE p.xmin <> pg_current_xact_id()::xid")
		if err != nil {
			return err
		}
		for _, ref := range missed {
			if err := s.again(ctx, ref); err != nil {
				return err
			}
		}
	}
	return s.exec(ctx, "TRUNCATE new_pair")
}

// again computes a pair until nobody else writes it at the same time.
func (s *postgresStaging) again(ctx context.Context, ref string) error {
	for attempt := 0; ; attempt++ {
		_, err := s.db.recompute(ctx, s.t, ref)
		if !errors.Is(err, errMoved) || attempt == maxRetries {
			return err
		}
	}
}

// send copies what the copiers hold, without waiting for it to arrive. The
// buffers are not touched before wait.
func (s *postgresStaging) send(ctx context.Context, copiers ...*copier) {
	s.sending = make(chan error, 1)
	go func() {
		for _, c := range copiers {
			if err := c.flush(ctx, s.conn); err != nil {
				s.sending <- err
				return
			}
		}
		s.sending <- nil
	}()
}

// wait waits for what was sent to arrive.
func (s *postgresStaging) wait() error {
	if s.sending == nil {
		return nil
	}
	err := <-s.sending
	s.sending = nil
	return err
}

// stop waits for what is still on its way when an import ends early; the error
// that ended it says more.
func (s *postgresStaging) stop() { _ = s.wait() }

// copier collects rows in the binary format of COPY.
// Source: PostgreSQL 15 documentation, COPY, "Binary Format".
type copier struct {
	statement string
	types     []uint32
	buf       []byte
}

var (
	copyHeader  = append([]byte("PGCOPY\n\xff\r\n\x00"), 0, 0, 0, 0, 0, 0, 0, 0) // no flags, no extension
	copyTrailer = []byte{0xff, 0xff}
)

// newCopier prepares to copy into a table, of whose columns it looks up the
// types.
func (s *postgresStaging) newCopier(ctx context.Context, l layout) (*copier, error) {
	c := &copier{statement: "COPY " + l.table + " (" + strings.Join(l.columns, ", ") + ") FROM STDIN (FORMAT binary)"}
	for _, column := range l.columns {
		var oid uint32
		_, err := s.db.scalar(ctx, s.t, &oid, "SELECT atttypid FROM pg_attribute WHERE attrelid = to_regclass(?) AND attname = ?", l.table, column)
		if err != nil {
			return nil, err
		}
		c.types = append(c.types, oid)
	}
	return c, nil
}

// append adds a row, given as a pointer to its struct.
func (c *copier) append(row any) {
	if len(c.buf) == 0 {
		c.buf = append(c.buf, copyHeader...)
	}
	c.buf = binary.BigEndian.AppendUint16(c.buf, uint16(len(c.types)))
	for i, f := range fields(row) {
		c.buf = appendField(c.buf, f, c.types[i])
	}
}

// flush sends what was added.
func (c *copier) flush(ctx context.Context, conn *sql.Conn) error {
	if len(c.buf) == 0 {
		return nil
	}
	c.buf = append(c.buf, copyTrailer...)
	err := conn.Raw(func(driver any) error {
		_, err := driver.(*stdlib.Conn).Conn().PgConn().CopyFrom(ctx, bytes.NewReader(c.buf), c.statement)
		return err
	})
	c.buf = c.buf[:0]
	return err
}

// appendField appends one field: its length and its bytes, or −1 for NULL.
func appendField(dst []byte, field any, oid uint32) []byte {
	const null = 0xffff_ffff
	switch v := field.(type) {
	case *text:
		if *v != "" {
			return appendText(dst, string(*v))
		}
	case *string:
		return appendText(dst, *v)
	case *number:
		if n := assess.Value(*v); n.OK() {
			return appendNumber(dst, int64(n.Int()), oid)
		}
	case *code:
		if *v != 0 {
			return appendNumber(dst, int64(*v), oid)
		}
	case *int:
		return appendNumber(dst, int64(*v), oid)
	case *int64:
		return appendNumber(dst, *v, oid)
	case *flag:
		b := byte(0)
		if *v {
			b = 1
		}
		return append(dst, 0, 0, 0, 1, b)
	case *id:
		if *v != (id{}) {
			return append(append(dst, 0, 0, 0, 16), v[:]...)
		}
	case *hash:
		if *v != (hash{}) {
			return append(append(dst, 0, 0, 0, 32), v[:]...)
		}
	case *instant:
		if t := time.Time(*v); !t.IsZero() {
			return binary.BigEndian.AppendUint64(append(dst, 0, 0, 0, 8), uint64(t.UnixMicro()-postgresEpoch))
		}
	default:
		panic(fmt.Sprintf("models: no COPY format for %T", field))
	}
	return binary.BigEndian.AppendUint32(dst, null)
}

// postgresEpoch is 2000-01-01, from which PostgreSQL counts, in microseconds of
// Unix time.
var postgresEpoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC).UnixMicro()

func appendText(dst []byte, s string) []byte {
	return append(binary.BigEndian.AppendUint32(dst, uint32(len(s))), s...)
}

// appendNumber writes a whole number in the width of its column. One that is too
// large is written as it is, which PostgreSQL refuses.
func appendNumber(dst []byte, n int64, oid uint32) []byte {
	switch {
	case oid == pgtype.Int2OID && n == int64(int16(n)):
		return binary.BigEndian.AppendUint16(append(dst, 0, 0, 0, 2), uint16(n))
	case oid == pgtype.Int4OID && n == int64(int32(n)):
		return binary.BigEndian.AppendUint32(append(dst, 0, 0, 0, 4), uint32(n))
	default:
		return binary.BigEndian.AppendUint64(append(dst, 0, 0, 0, 8), uint64(n))
	}
}
