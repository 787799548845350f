package models

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"solewright/assess"
)

// rowsInto is where the rows of a stream go: each is called when the values of
// a row lie in the variables of fields.
type rowsInto struct {
	fields []any
	each   func() error
}

// set lays the value of a column into its variable.
func (r *rowsInto) set(columns []string, i int, s string, read func(any, string) error) error {
	if err := read(r.fields[i], s); err != nil {
		return fmt.Errorf("column %s: %w", columns[i], err)
	}
	return nil
}

// stream reads the rows of SELECT columns tail. By way of database/sql a row of
// many columns takes several times as long: on PostgreSQL each value is taken out
// of the bytes that came, by up to so many workers at once, each with what begin
// returns; on SQLite, where there is one, a row comes as one text, because what
// costs there is each column that is asked for.
func (db *DB) stream(ctx context.Context, from *pool, columns []string, workers int, begin func() *rowsInto, tail string, args []any) (err error) {
	conn, err := from.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	from.statements.Add(1)
	if db.dialect == sqliteDialect {
		return streamText(ctx, conn, columns, begin(), tail, args)
	}
	into := make([]*rowsInto, workers)
	for i := range into {
		into[i] = begin()
	}
	return streamWire(ctx, conn, columns, into, db.dialect.sql(tail), args)
}

// leastPart is how many rows are worth a part of their own. House value.
const leastPart = 100

// parts returns conditions, each after the word before, that pick the readings i in
// parts to stream at once. On PostgreSQL it is one: what costs there is that each
// part is joined by itself, and sees the readings at a moment of its own, in which
// one that is written anew is in another part, or in both.
func (db *DB) parts(ctx context.Context, from *pool, before string) ([]string, error) {
	if db.dialect == postgresDialect {
		return []string{""}, nil
	}
	var end int64
	if err := from.QueryRowContext(ctx, "SELECT coalesce(max(rowid), 0) FROM inspection").Scan(&end); err != nil {
		return nil, err
	}
	parts := make([]string, min(int64(runtime.GOMAXPROCS(0)), 1+end/leastPart))
	bound := func(i int) string { return strconv.FormatInt(end*int64(i)/int64(len(parts)), 10) }
	for i := range parts {
		// The first part begins anywhere and the last ends nowhere.
		var bounds []string
		if i > 0 {
			bounds = append(bounds, "i.rowid >= "+bound(i))
		}
		if i < len(parts)-1 {
			bounds = append(bounds, "i.rowid < "+bound(i+1))
		}
		if len(bounds) > 0 {
			parts[i] = before + strings.Join(bounds, " AND ")
		}
	}
	return parts, nil
}

// wireRows are some rows as they came from PostgreSQL: the values one after
// another, and where each ends. NULL is nothing, as an empty text is.
type wireRows struct {
	bytes []byte
	ends  []int
}

// wireBytes is how much is read off a connection, and handed to a worker, at once.
// House value.
const wireBytes = 64 << 10

func (w *wireRows) add(values [][]byte) {
	for _, v := range values {
		w.bytes = append(w.bytes, v...)
		w.ends = append(w.ends, len(w.bytes))
	}
}

// read lays one row after the other into r. One string holds all of their texts,
// so that they are one piece of memory.
func (w *wireRows) read(columns []string, r *rowsInto) error {
	all, from := string(w.bytes), 0
	for ends := w.ends; len(ends) > 0; ends = ends[len(columns):] {
		for i, end := range ends[:len(columns)] {
			if err := r.set(columns, i, all[from:end], setWire); err != nil {
				return err
			}
			from = end
		}
		if err := r.each(); err != nil {
			return err
		}
	}
	return nil
}

// streamWire takes the rows off the connection and has workers read them: for
// both to be done by one goroutine would leave PostgreSQL waiting for it.
func streamWire(ctx context.Context, conn *sql.Conn, columns []string, into []*rowsInto, tail string, args []any) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	full, empty := make(chan *wireRows), make(chan *wireRows, 2*len(into))
	var reading sync.WaitGroup
	for _, r := range into {
		empty <- new(wireRows)
		empty <- new(wireRows)
		reading.Go(func() {
			for rows := range full {
				if ctx.Err() == nil {
					if err := rows.read(columns, r); err != nil {
						stop(err)
					}
				}
				rows.bytes, rows.ends = rows.bytes[:0], rows.ends[:0]
				empty <- rows
			}
		})
	}
	err := conn.Raw(func(driver any) error {
		rows, err := driver.(*stdlib.Conn).Conn().Query(ctx, "SELECT "+strings.Join(columns, ", ")+tail, append([]any{wireFormats(into[0].fields)}, args...)...)
		if err != nil {
			return err
		}
		defer rows.Close()
		some := <-empty
		for rows.Next() {
			if some.add(rows.RawValues()); len(some.bytes) >= wireBytes {
				full <- some
				some = <-empty
			}
		}
		full <- some
		return rows.Err()
	})
	close(full)
	reading.Wait()
	if failed := context.Cause(ctx); failed != nil {
		return failed
	}
	return err
}

// The formats of PostgreSQL's values.
const (
	wireText   = 0
	wireBinary = 1
)

// wireFormats returns the format that takes PostgreSQL least to write for each
// variable: that of a number is text, whose value is copied once and is shorter.
func wireFormats(fields []any) pgx.QueryResultFormats {
	formats := make(pgx.QueryResultFormats, len(fields))
	for i, f := range fields {
		switch f.(type) {
		case *id, *instant, *flag:
			formats[i] = wireBinary
		default:
			formats[i] = wireText
		}
	}
	return formats
}

// unitSeparator stands between the values of a row that comes as one text. No
// text that is stored holds a control character.
const unitSeparator = "\x1f"

func streamText(ctx context.Context, conn *sql.Conn, columns []string, into *rowsInto, tail string, args []any) error {
	rows, err := conn.QueryContext(ctx, "SELECT "+asText(columns, into.fields)+tail, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var rest string
		if err := rows.Scan(&rest); err != nil {
			return err
		}
		for i := range columns {
			least := 0
			if _, ok := into.fields[i].(*id); ok {
				least = min(len(id{}), len(rest))
			}
			s, after, more := cut(rest, least)
			if more != (i < len(columns)-1) {
				return fmt.Errorf("the database holds a text with a control character in %q", s)
			}
			if err := into.set(columns, i, s, setText); err != nil {
				return err
			}
			rest = after
		}
		if err := into.each(); err != nil {
			return err
		}
	}
	return rows.Err()
}

// cut takes the first value, which has so many bytes at least, off a row that comes
// as one text.
func cut(row string, least int) (s, after string, more bool) {
	s, after, more = strings.Cut(row[least:], unitSeparator)
	return row[:least+len(s)], after, more
}

// asText is the expression that makes one text of columns: NULL is nothing. Ids are
// their bytes as they are, with whatever is among them, and zeros for none: to write
// them in digits takes a fifth of the time of an export.
func asText(columns []string, into []any) string {
	shown := slices.Clone(columns)
	for i := range into {
		if _, ok := into[i].(*id); ok {
			shown[i] = "ifnull(" + columns[i] + ", zeroblob(" + strconv.Itoa(len(id{})) + "))"
		}
	}
	return "concat(" + strings.Join(shown, ", '"+unitSeparator+"', ") + ")"
}

// setText reads a value out of what asText made, or of PostgreSQL's text format.
// Nothing is NULL.
func setText(into any, s string) error {
	var (
		n   int
		err error
	)
	switch v := into.(type) {
	case *string:
		*v = s
	case *text:
		*v = text(s)
	case *flag:
		*v = s == "1"
	case *id:
		if copy(v[:], s) != len(v) || len(s) != len(v) {
			err = fmt.Errorf("%d bytes are no id", len(s))
		}
	case *number:
		if *v = number(assess.Unread); s != "" {
			n, err = strconv.Atoi(s)
			*v = number(assess.Of(n))
		}
	case *code:
		if *v = 0; s != "" {
			n, err = strconv.Atoi(s)
			*v = code(n)
		}
	case *instant:
		if *v = (instant{}); s != "" {
			n, err = strconv.Atoi(s)
			*v = instant(time.UnixMicro(int64(n)).UTC())
		}
	case *int:
		*v, err = strconv.Atoi(s)
	case *int64:
		*v, err = strconv.ParseInt(s, 10, 64)
	default:
		err = fmt.Errorf("a %T is not read", into)
	}
	return err
}

// setWire reads a value in the format that wireFormats asks for.
func setWire(into any, s string) error {
	switch v := into.(type) {
	case *flag:
		*v = s == "\x01"
	case *id:
		if *v = (id{}); s != "" && copy(v[:], s) != len(s) {
			return fmt.Errorf("%d bytes are no id", len(s))
		}
	case *instant:
		if *v = (instant{}); s == "" {
			return nil
		}
		if len(s) != 8 {
			return fmt.Errorf("%d bytes are no instant", len(s))
		}
		*v = instant(time.UnixMicro(int64(binary.BigEndian.Uint64([]byte(s))) + postgresEpoch).UTC())
	default:
		return setText(into, s)
	}
	return nil
}
