package models

import (
	"database/sql/driver"
	"fmt"
	"reflect"
	"strings"
	"time"

	"solewright/assess"
)

// The types of this file are how values lie in columns. Each knows how to be
// NULL, so a row struct has no pointers, and each reads what either driver
// gives for it.

// instant is a time.Time in UTC with microseconds; zero is NULL.
type instant time.Time

// Value gives the driver a time; on SQLite it is written as microseconds.
func (t instant) Value() (driver.Value, error) {
	if time.Time(t).IsZero() {
		return nil, nil
	}
	return time.Time(t).UTC().Truncate(time.Microsecond), nil
}

// Scan reads a time, or microseconds.
func (t *instant) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*t = instant{}
	case time.Time:
		*t = instant(v.UTC())
	case int64:
		*t = instant(time.UnixMicro(v).UTC())
	default:
		return unscannable(src, "instant")
	}
	return nil
}

// text is a string; empty is NULL.
type text string

// Value gives the driver a string or NULL.
func (s text) Value() (driver.Value, error) {
	if s == "" {
		return nil, nil
	}
	return string(s), nil
}

// Scan reads a string.
func (s *text) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*s = ""
	case string:
		*s = text(v)
	case []byte:
		*s = text(v)
	default:
		return unscannable(src, "text")
	}
	return nil
}

// id is a UUID; zero is NULL.
type id assess.UUID

// Value gives the driver sixteen bytes or NULL.
func (u id) Value() (driver.Value, error) {
	if assess.UUID(u).IsZero() {
		return nil, nil
	}
	return u[:], nil
}

// Scan reads sixteen bytes, or the text that the PostgreSQL driver gives.
func (u *id) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*u = id{}
		return nil
	case []byte:
		if len(v) == len(u) {
			*u = id(v)
			return nil
		}
	case string:
		p, err := assess.ParseUUID(v)
		*u = id(p)
		return err
	}
	return unscannable(src, "id")
}

// number is an assess.Value that is set or unread; unread is NULL. What can't
// be read has no place in such a column.
type number assess.Value

// Value gives the driver a whole number or NULL.
func (n number) Value() (driver.Value, error) {
	v := assess.Value(n)
	switch {
	case v == assess.Unread:
		return nil, nil
	case v.OK():
		return int64(v.Int()), nil
	}
	return nil, fmt.Errorf("can't read stands where only a number can be stored")
}

// Scan reads a whole number.
func (n *number) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*n = number(assess.Unread)
	case int64:
		*n = number(assess.Of(int(v)))
	default:
		return unscannable(src, "number")
	}
	return nil
}

// code is a small closed list of which 0 means none; 0 is NULL.
type code uint8

// Value gives the driver a whole number or NULL.
func (c code) Value() (driver.Value, error) {
	if c == 0 {
		return nil, nil
	}
	return int64(c), nil
}

// Scan reads a whole number.
func (c *code) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*c = 0
	case int64:
		*c = code(v)
	default:
		return unscannable(src, "code")
	}
	return nil
}

// hash is a SHA-256; zero is NULL.
type hash [32]byte

// Value gives the driver thirty-two bytes or NULL.
func (h hash) Value() (driver.Value, error) {
	if h == (hash{}) {
		return nil, nil
	}
	return h[:], nil
}

// Scan reads thirty-two bytes.
func (h *hash) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*h = hash{}
		return nil
	case []byte:
		if len(v) == len(h) {
			*h = hash(v)
			return nil
		}
	}
	return unscannable(src, "hash")
}

// flag is a bool: boolean on PostgreSQL, 0 or 1 on SQLite.
type flag bool

// Value gives the driver a bool.
func (f flag) Value() (driver.Value, error) { return bool(f), nil }

// Scan reads a bool, 0 or 1.
func (f *flag) Scan(src any) error {
	switch v := src.(type) {
	case bool:
		*f = flag(v)
	case int64:
		*f = v != 0
	default:
		return unscannable(src, "flag")
	}
	return nil
}

func unscannable(src any, want string) error {
	return fmt.Errorf("a column of the database holds %T where %s is expected", src, want)
}

// layout is the columns of a row struct, in the order of its fields.
type layout struct {
	table   string
	columns []string
}

// layoutOf reads the columns of a row struct from its gorm tags; a field
// without one is named by its name in lower case.
func layoutOf(table string, row any) layout {
	l := layout{table: table}
	t := reflect.TypeOf(row)
	for i := range t.NumField() {
		f := t.Field(i)
		name := strings.ToLower(f.Name)
		for setting := range strings.SplitSeq(f.Tag.Get("gorm"), ";") {
			if c, ok := strings.CutPrefix(setting, "column:"); ok {
				name = c
			}
		}
		l.columns = append(l.columns, name)
	}
	return l
}

// list returns the columns, each with the prefix, separated by commas.
func (l layout) list(prefix string) string {
	return prefix + strings.Join(l.columns, ", "+prefix)
}

// insert returns the statement that inserts one row.
func (l layout) insert(d dialect) string {
	return "INSERT INTO " + l.table + " (" + l.list("") + ") VALUES (" + d.params(1, len(l.columns)) + ")"
}

// fields returns pointers to the fields of *row, for Scan and as arguments.
func fields(row any) []any {
	v := reflect.ValueOf(row).Elem()
	p := make([]any, v.NumField())
	for i := range p {
		p[i] = v.Field(i).Addr().Interface()
	}
	return p
}

// params returns n placeholders from number first: $1, $2 or ?, ?.
func (d dialect) params(first, n int) string {
	var b strings.Builder
	for i := range n {
		if i > 0 {
			b.WriteString(", ")
		}
		if d == postgresDialect {
			fmt.Fprintf(&b, "$%d", first+i)
		} else {
			b.WriteByte('?')
		}
	}
	return b.String()
}

// sql turns the ? of a statement into what the dialect wants. No statement of
// this package holds a ? otherwise.
func (d dialect) sql(query string) string {
	if d == sqliteDialect {
		return query
	}
	var b strings.Builder
	n := 0
	for i := range len(query) {
		if query[i] != '?' {
			b.WriteByte(query[i])
			continue
		}
		n++
		fmt.Fprintf(&b, "$%d", n)
	}
	return b.String()
}
