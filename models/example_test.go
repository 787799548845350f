package models_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// A reading is judged, stored once, and read again as part of its pair.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "solewright")
	check(err)
	defer os.RemoveAll(dir)
	db, err := models.Open(ctx, models.Options{URL: "file:" + filepath.Join(dir, "solewright.db")})
	check(err)
	defer db.Close()
	_, _, err = db.Migrate(ctx)
	check(err)

	by := models.Actor{Account: "O-1"}
	check(db.SaveRegion(ctx, by, retail.Region{Code: "SOUTH", Name: "South", Currency: "EUR"}))
	check(db.SaveStore(ctx, by, retail.Store{Code: "S-1", Name: "Harbour", Region: "SOUTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}))

	r := assess.Record{
		ID: assess.NewV7(1_773_480_000_000, [10]byte{}), PairRef: assess.NewPairRef([5]byte{1, 2, 3, 4, 5}),
		Store: "S-1", Staff: "F-1", At: time.Date(2026, 3, 14, 9, 20, 0, 0, time.UTC), Kind: assess.WearCheck,
		Brand: "Norrvik", Model: "Strand", Version: "3", Distance: assess.Of(6200), Rules: 1,
	}
	r.Shoe[assess.Left][assess.Lining] = assess.Of(assess.ShellBroken)
	r.Derive()
	rules, err := db.RuleSet(ctx, r.Rules)
	check(err)
	engine, err := assess.Compile(rules)
	check(err)
	var result assess.Result
	engine.Judge(&r.Reading, nil, &result)

	for range 2 {
		s, err := db.SaveInspection(ctx, models.Actor{Account: "F-1", Device: "T-1"}, models.NewInspection{
			Record: r, SHA: sha256.Sum256(assess.Canonical(&r)), Facts: models.FactsOf(&result, assess.EngineVersion),
		})
		check(err)
		fmt.Println(s.Created, s.Day, s.Facts.Verdict, s.Facts.Codes)
	}
	pair, err := db.Pair(ctx, r.PairRef)
	check(err)
	fmt.Printf("%s: worn out after %d and no later than %d km\n", pair.Ref, pair.Life.Lower, pair.Life.Upper.Int())
	// Output:
	// true 2026-03-14 retire [lining-shell-broken]
	// false 2026-03-14 retire [lining-shell-broken]
	// 04106105A: worn out after 0 and no later than 620 km
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}
