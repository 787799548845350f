package models

import (
	"bufio"
	"context"
	"io"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgproto3"
	"github.com/jackc/pgx/v5/stdlib"
	gormpostgres "gorm.io/driver/postgres"
)

func (db *DB) openPostgres(ctx context.Context, o Options) error {
	db.dialect = postgresDialect
	conns := o.MaxConns
	if conns == 0 {
		conns = processors(4, 16)
	}
	var err error
	if db.primary, err = postgresPool(ctx, o.URL, conns); err != nil {
		return err
	}
	for _, address := range o.Replicas {
		r, err := postgresPool(ctx, address, conns)
		if err != nil {
			return err
		}
		db.readers = append(db.readers, r)
	}
	return db.openGorm(gormpostgres.New(gormpostgres.Config{Conn: db.primary}))
}

func postgresPool(ctx context.Context, address string, conns int) (*pool, error) {
	c, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, refused("db", redacted(address), "postgres://user@host:port/database")
	}
	// A day computed by the server would otherwise be in its own zone.
	c.RuntimeParams["timezone"] = "UTC"
	if c.RuntimeParams["application_name"] == "" {
		c.RuntimeParams["application_name"] = "solewright"
	}
	c.BuildFrontend = func(r io.Reader, w io.Writer) *pgproto3.Frontend {
		return pgproto3.NewFrontend(bufio.NewReaderSize(r, wireBytes), w)
	}
	p := newPool(stdlib.OpenDB(*c), conns)
	if err := p.PingContext(ctx); err != nil {
		_ = p.Close()
		return nil, wrap(err, "connecting to %s", redacted(address))
	}
	return p, nil
}
