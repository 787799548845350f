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

// postgresStaging copies rows into temporary tables and stores what is new from
// there, set by set.
type postgresStaging struct {
	*importing
	conn              *sql.Conn
	rows, vals, pairs *copier
}

// begin makes the temporary tables, which go with the transaction. n is the
// place of a row in the input.
func (s *postgresStaging) begin(ctx context.Context) error {
	for _, q := range []string{
		"CREATE TEMP TABLE staged (LIKE inspection, n bigint NOT NULL) ON COMMIT DROP",
		"CREATE TEMP TABLE staged_value (LIKE inspection_value, n bigint NOT NULL) ON COMMIT DROP",
		"CREATE TEMP TABLE staged_pair (LIKE pair) ON COMMIT DROP",
		"CREATE TEMP TABLE touched (ref text COLLATE \"C\" PRIMARY KEY) ON COMMIT DROP",
	} {
		if _, err := s.t.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	for _, c := range []struct {
		into  **copier
		table string
		l     layout
		extra []string
	}{
		{&s.rows, "staged", inspectionLayout, []string{"n"}},
		{&s.vals, "staged_value", valueLayout, []string{"n"}},
		{&s.pairs, "staged_pair", pairLayout, nil},
	} {
		var err error
		if *c.into, err = s.newCopier(ctx, c.table, append(c.l.columns[:len(c.l.columns):len(c.l.columns)], c.extra...)); err != nil {
			return err
		}
	}
	return nil
}

func (s *postgresStaging) add(ctx context.Context, n int, row *inspectionRow, vals []valueRow) error {
	place := int64(n)
	s.rows.append(append(fields(row), &place))
	for i := range vals {
		s.vals.append(append(fields(&vals[i]), &place))
	}
	if s.rows.full() || s.vals.full() {
		return s.flush(ctx)
	}
	return nil
}

func (s *postgresStaging) flush(ctx context.Context) error {
	if err := s.rows.flush(ctx, s.conn); err != nil {
		return err
	}
	return s.vals.flush(ctx, s.conn)
}

// How staged rows lie to what is stored.
const (
	isStored = "EXISTS (SELECT 1 FROM inspection i WHERE i.store = s.store AND i.id = s.id)"
	isOurs   = "EXISTS (SELECT 1 FROM inspection i WHERE i.store = s.store AND i.id = s.id AND i.xmin = pg_current_xact_id()::xid)"
	isSecond = "EXISTS (SELECT 1 FROM staged o WHERE o.store = s.store AND o.id = s.id AND o.n < s.n)"
)

// finish stores what is new, and passes over or refuses what isn't.
func (s *postgresStaging) finish(ctx context.Context) error {
	if err := s.flush(ctx); err != nil {
		return err
	}
	if err := s.exec(ctx, "ANALYZE staged, staged_value"); err != nil {
		return err
	}
	known, err := affected(s.t.ExecContext(ctx,
		"DELETE FROM staged s USING inspection i WHERE i.store = s.store AND i.id = s.id AND i.body_sha = s.body_sha"))
	if err != nil {
		return err
	}
	s.res.Known += known
	if err := s.settle(ctx, isStored); err != nil {
		return err
	}
	columns := inspectionLayout.list("")
	s.res.Stored, err = affected(s.t.ExecContext(ctx, `
		WITH stored AS (INSERT INTO inspection (`+columns+`) SELECT `+columns+` FROM staged ON CONFLICT DO NOTHING RETURNING store, id, pair_ref)
		INSERT INTO change (op, store, id, pair_ref) SELECT `+fmt.Sprint(int(Added))+`, store, id, pair_ref FROM stored`))
	if err != nil {
		return err
	}
	if s.res.Stored+s.res.Known+s.res.Refused < s.res.Read {
		// An id twice in the input, an amendment of what was amended before, or a
		// row that somebody else has just stored.
		if err := s.settle(ctx, "(NOT "+isOurs+" OR "+isSecond+")"); err != nil {
			return err
		}
	}
	if s.res.Stored < s.res.Read {
		if err := s.exec(ctx, "DELETE FROM staged_value v WHERE NOT EXISTS (SELECT 1 FROM staged s WHERE s.n = v.n)"); err != nil {
			return err
		}
	}
	values := valueLayout.list("")
	return s.exec(ctx,
		"INSERT INTO inspection_value ("+values+") SELECT "+values+" FROM staged_value",
		"INSERT INTO touched SELECT DISTINCT pair_ref FROM staged WHERE pair_ref IS NOT NULL",
		"ANALYZE touched",
		// Whoever writes a reading of these pairs waits, and then reads again.
		"SELECT 1 FROM pair WHERE ref IN (SELECT ref FROM touched) ORDER BY ref FOR UPDATE")
}

func (s *postgresStaging) exec(ctx context.Context, queries ...string) error {
	for _, q := range queries {
		if _, err := s.t.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// settlePage is how many rows are compared at once.
const settlePage = 500

// settle takes the staged rows that meet a condition out, as known or refused.
func (s *postgresStaging) settle(ctx context.Context, condition string) error {
	for {
		given, order, err := s.staged(ctx, condition)
		if err != nil || len(order) == 0 {
			return err
		}
		stored, err := s.db.inspectionsIn(ctx, s.t, " WHERE (i.store, i.id) IN (SELECT store, id FROM staged WHERE n = ANY (?))", order)
		if err != nil {
			return err
		}
		type key struct {
			store string
			id    assess.UUID
		}
		have := make(map[key]*Inspection, len(stored))
		for _, in := range stored {
			have[key{in.Store, in.ID}] = in
		}
		for _, n := range order {
			s.settleOne(int(n), given[n], have[key{given[n].Store, given[n].ID}])
		}
		if _, err := s.t.ExecContext(ctx, "DELETE FROM staged WHERE n = ANY ($1)", order); err != nil {
			return err
		}
	}
}

// staged returns some of the staged rows that meet a condition, and their
// places in order.
func (s *postgresStaging) staged(ctx context.Context, condition string) (map[int64]*Inspection, []int64, error) {
	rows, err := s.t.QueryContext(ctx, "SELECT n, "+inspectionLayout.list("")+" FROM staged s WHERE "+condition+
		fmt.Sprintf(" ORDER BY n LIMIT %d", settlePage))
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	var (
		given = map[int64]*Inspection{}
		order []int64
		n     int64
		row   inspectionRow
		into  = append([]any{&n}, fields(&row)...)
	)
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return nil, nil, err
		}
		if given[n], err = row.inspection(NoContradiction); err != nil {
			return nil, nil, err
		}
		order = append(order, n)
	}
	if err := rows.Err(); err != nil {
		return nil, nil, err
	}
	values, err := s.t.QueryContext(ctx, "SELECT n, "+valueLayout.list("")+" FROM staged_value WHERE n = ANY ($1)", order)
	if err != nil {
		return nil, nil, err
	}
	defer values.Close()
	var w valueRow
	into = append([]any{&n}, fields(&w)...)
	for values.Next() {
		if err := values.Scan(into...); err != nil {
			return nil, nil, err
		}
		if err := addValue(&given[n].Reading, &w); err != nil {
			return nil, nil, err
		}
	}
	return given, order, values.Err()
}

// savePairs stores pairs. A pair that somebody else made since it was looked for
// is computed again, until it is in.
func (s *postgresStaging) savePairs(ctx context.Context, rows []pairRow) error {
	for i := range rows {
		s.pairs.append(fields(&rows[i]))
	}
	if err := s.pairs.flush(ctx, s.conn); err != nil {
		return err
	}
	columns := pairLayout.list("")
	stored, err := affected(s.t.ExecContext(ctx, "INSERT INTO pair ("+columns+") SELECT "+columns+
		" FROM staged_pair ON CONFLICT (ref) DO UPDATE SET "+pairReplace+" WHERE pair.version = excluded.version"))
	if err != nil {
		return err
	}
	if stored < len(rows) {
		missed, err := s.db.words(ctx, s.t, "SELECT s.ref FROM staged_pair s JOIN pair p ON p.ref = s.ref WHERE p.xmin <> pg_current_xact_id()::xid")
		if err != nil {
			return err
		}
		for _, ref := range missed {
			if err := s.again(ctx, ref); err != nil {
				return err
			}
		}
	}
	return s.exec(ctx, "TRUNCATE staged_pair")
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

// copier collects rows in the binary format of COPY and sends them to a table.
// Source: PostgreSQL 15 documentation, COPY, "Binary Format".
type copier struct {
	statement string
	types     []uint32
	buf       []byte
}

// copyChunk is how many bytes are collected before they are sent.
const copyChunk = 4 << 20

var (
	copyHeader  = append([]byte("PGCOPY\n\xff\r\n\x00"), 0, 0, 0, 0, 0, 0, 0, 0) // no flags, no extension
	copyTrailer = []byte{0xff, 0xff}
)

// newCopier prepares to copy into columns of a table, whose types it looks up.
func (s *postgresStaging) newCopier(ctx context.Context, table string, columns []string) (*copier, error) {
	c := &copier{statement: "COPY " + table + " (" + strings.Join(columns, ", ") + ") FROM STDIN (FORMAT binary)"}
	for _, column := range columns {
		var oid uint32
		_, err := s.db.scalar(ctx, s.t, &oid, "SELECT atttypid FROM pg_attribute WHERE attrelid = to_regclass(?) AND attname = ?", table, column)
		if err != nil {
			return nil, err
		}
		c.types = append(c.types, oid)
	}
	return c, nil
}

func (c *copier) full() bool { return len(c.buf) >= copyChunk }

// append adds a row, given as pointers to its fields.
func (c *copier) append(row []any) {
	if len(c.buf) == 0 {
		c.buf = append(c.buf, copyHeader...)
	}
	c.buf = binary.BigEndian.AppendUint16(c.buf, uint16(len(row)))
	for i, f := range row {
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
