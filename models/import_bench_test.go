package models_test

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// BenchmarkImport brings in readings and, on PostgreSQL, compares with COPY of
// the very rows that this made into the same tables with the same indexes:
// share-of-copy is the one rate over the other.
func BenchmarkImport(b *testing.B) {
	for _, kind := range dbtest.Kinds(b) {
		b.Run(kind, func(b *testing.B) {
			ctx := context.Background()
			address := dbtest.MigratedURL(b, kind)
			db := dbtest.OpenURL(b, address)
			for _, err := range []error{
				db.SaveRegion(ctx, office, retail.Region{Code: "SOUTH", Name: "South", Currency: "EUR"}),
				db.SaveStore(ctx, office, retail.Store{Code: "S-1", Name: "One", Region: "SOUTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}),
			} {
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ResetTimer()
			start := time.Now()
			res, err := db.ImportInspections(ctx, office, func(yield func(*models.NewInspection, error) bool) {
				for i := range b.N {
					in := reading(i, ref(i*2/3), 100+i%700, assess.Keep)
					if !yield(&in, nil) {
						return
					}
				}
			}, models.ImportOptions{})
			took := time.Since(start)
			b.StopTimer()
			if err != nil || res.Stored != b.N {
				b.Fatal(res, err)
			}
			b.ReportMetric(float64(b.N)/took.Seconds(), "readings/s")
			if kind == "postgres" {
				b.ReportMetric(float64(copyAgain(b, address))/float64(took), "share-of-copy")
			}
		})
	}
}

// copyAgain returns how long COPY takes for the rows that are stored.
func copyAgain(b *testing.B, address string) time.Duration {
	b.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(ctx)
	tables := []string{"inspection", "pair", "change"}
	rows := make([]bytes.Buffer, len(tables))
	for i, table := range tables {
		if _, err := conn.PgConn().CopyTo(ctx, &rows[i], "COPY "+table+" TO STDOUT (FORMAT binary)"); err != nil {
			b.Fatal(err)
		}
		if _, err := conn.Exec(ctx, "TRUNCATE "+table); err != nil {
			b.Fatal(err)
		}
	}
	start := time.Now()
	for i, table := range tables {
		if _, err := conn.PgConn().CopyFrom(ctx, &rows[i], "COPY "+table+" FROM STDIN (FORMAT binary)"); err != nil {
			b.Fatal(err)
		}
	}
	return time.Since(start)
}
