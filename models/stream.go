package models

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/stdlib"

	"solewright/assess"
)

// stream calls each with every row of SELECT columns tail, laid into the
// variables of into. By way of database/sql a row of many columns takes several
// times as long: on PostgreSQL each value is taken out of the bytes that came,
// on SQLite a row comes as one text, because what costs there is each column
// that is asked for.
func (db *DB) stream(ctx context.Context, from *pool, columns []string, into []any, tail string, args []any, each func() error) (err error) {
	conn, err := from.Conn(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close()) }()
	from.statements.Add(1)
	if db.dialect == sqliteDialect {
		return streamText(ctx, conn, columns, into, tail, args, each)
	}
	return streamBinary(ctx, conn, columns, into, db.dialect.sql(tail), args, each)
}

func streamBinary(ctx context.Context, conn *sql.Conn, columns []string, into []any, tail string, args []any, each func() error) error {
	return conn.Raw(func(driver any) error {
		rows, err := driver.(*stdlib.Conn).Conn().Query(ctx, "SELECT "+strings.Join(columns, ", ")+tail, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		var row []byte
		for rows.Next() {
			values := rows.RawValues()
			// One string holds the values of a row, so that its texts are one piece of
			// memory.
			row = row[:0]
			for _, v := range values {
				row = append(row, v...)
			}
			rest := string(row)
			for i, v := range values {
				var s string
				s, rest = rest[:len(v)], rest[len(v):]
				if err := setBinary(into[i], s, v == nil); err != nil {
					return fmt.Errorf("column %s: %w", columns[i], err)
				}
			}
			if err := each(); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// unitSeparator stands between the values of a row that comes as one text. No
// text that is stored holds a control character.
const unitSeparator = "\x1f"

func streamText(ctx context.Context, conn *sql.Conn, columns []string, into []any, tail string, args []any, each func() error) error {
	rows, err := conn.QueryContext(ctx, "SELECT "+asText(columns, into)+tail, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var rest string
		if err := rows.Scan(&rest); err != nil {
			return err
		}
		for i := range into {
			s, after, more := strings.Cut(rest, unitSeparator)
			if more != (i < len(into)-1) {
				return fmt.Errorf("the database holds a text with a control character in %q", s)
			}
			if err := setText(into[i], s); err != nil {
				return fmt.Errorf("column %s: %w", columns[i], err)
			}
			rest = after
		}
		if err := each(); err != nil {
			return err
		}
	}
	return rows.Err()
}

// asText is the expression that makes one text of columns: NULL is nothing.
func asText(columns []string, into []any) string {
	shown := slices.Clone(columns)
	for i := range into {
		if _, ok := into[i].(*id); ok {
			shown[i] = "hex(" + columns[i] + ")"
		}
	}
	return "format('" + strings.Repeat("%s"+unitSeparator, len(columns)-1) + "%s', " + strings.Join(shown, ", ") + ")"
}

// setText reads a value out of what asText made.
func setText(into any, s string) error {
	var (
		n   int64
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
		if *v = (id{}); s != "" {
			err = v.setHex(s)
		}
	case *number:
		if *v = number(assess.Unread); s != "" {
			n, err = strconv.ParseInt(s, 10, 64)
			*v = number(assess.Of(int(n)))
		}
	case *code:
		if *v = 0; s != "" {
			n, err = strconv.ParseInt(s, 10, 64)
			*v = code(n)
		}
	case *instant:
		if *v = (instant{}); s != "" {
			n, err = strconv.ParseInt(s, 10, 64)
			*v = instant(time.UnixMicro(n).UTC())
		}
	case *int:
		n, err = strconv.ParseInt(s, 10, 64)
		*v = int(n)
	case *int64:
		*v, err = strconv.ParseInt(s, 10, 64)
	default:
		err = fmt.Errorf("a %T is not read", into)
	}
	return err
}

// setHex reads an id that is written as hexadecimal digits.
func (u *id) setHex(s string) error {
	if len(s) != 2*len(u) {
		return fmt.Errorf("%q is no id", s)
	}
	_, err := hex.Decode(u[:], []byte(s))
	return err
}

// setBinary reads a value in PostgreSQL's binary format.
func setBinary(into any, s string, null bool) error {
	var (
		n   int64
		err error
	)
	switch v := into.(type) {
	case *string:
		*v = s
	case *text:
		*v = text(s)
	case *flag:
		*v = s == "\x01"
	case *id:
		*v = id{}
		if !null && copy(v[:], s) != len(v) {
			err = fmt.Errorf("%d bytes are no id", len(s))
		}
	case *number:
		if *v = number(assess.Unread); !null {
			n, err = bigEndian(s)
			*v = number(assess.Of(int(n)))
		}
	case *code:
		if *v = 0; !null {
			n, err = bigEndian(s)
			*v = code(n)
		}
	case *instant:
		if *v = (instant{}); !null {
			n, err = bigEndian(s)
			*v = instant(time.UnixMicro(n + postgresEpoch).UTC())
		}
	case *int:
		n, err = bigEndian(s)
		*v = int(n)
	case *int64:
		*v, err = bigEndian(s)
	default:
		err = fmt.Errorf("a %T is not read", into)
	}
	return err
}

// bigEndian reads a whole number of two, four or eight bytes.
func bigEndian(s string) (int64, error) {
	var n uint64
	for i := range len(s) {
		n = n<<8 | uint64(s[i])
	}
	switch len(s) {
	case 2:
		return int64(int16(n)), nil
	case 4:
		return int64(int32(n)), nil
	case 8:
		return int64(n), nil
	}
	return 0, fmt.Errorf("%d bytes are no whole number", len(s))
}
