package models_test

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// BenchmarkSaveInspection stores first readings of pairs, and readings of pairs
// that have one, with several writers at once.
func BenchmarkSaveInspection(b *testing.B) {
	for _, kind := range dbtest.Kinds(b) {
		for _, known := range []bool{false, true} {
			b.Run(fmt.Sprintf("%s/known=%t", kind, known), func(b *testing.B) {
				db := openKind(b, kind)
				ctx := context.Background()
				for _, err := range []error{
					db.SaveRegion(ctx, office, retail.Region{Code: "SOUTH", Name: "South", Currency: "EUR"}),
					db.SaveStore(ctx, office, retail.Store{Code: "S-1", Name: "One", Region: "SOUTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}),
				} {
					if err != nil {
						b.Fatal(err)
					}
				}
				var n atomic.Int64
				b.SetParallelism(8)
				b.ResetTimer()
				b.RunParallel(func(pb *testing.PB) {
					for pb.Next() {
						i := int(n.Add(1))
						pair := i
						if known {
							pair = i % 1000
						}
						if _, err := db.SaveInspection(ctx, office, reading(i, ref(pair), i, assess.Keep)); err != nil {
							b.Error(err)
						}
					}
				})
				b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
			})
		}
	}
}

func openKind(b *testing.B, kind string) *models.DB {
	b.Helper()
	if kind == "postgres" {
		return dbtest.OpenPostgres(b)
	}
	return dbtest.Open(b)
}
