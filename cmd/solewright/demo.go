package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"iter"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/exchange"
	"solewright/models/retail"
	"solewright/reports/sim"
)

type demoCmd struct {
	Addr  string `default:"127.0.0.1:8080" help:"Address to listen on."`
	Data  string `placeholder:"DIR" help:"A fresh folder for the data; default a new one that is removed at the end."`
	Pairs int    `default:"20000" help:"How many readings to invent."`
	Seed  uint64 `default:"1" help:"The same seed invents the same retailer."`
}

// demoPassword opens every account of the invented retailer, which holds
// nobody's data.
const demoPassword = "worn pairs 2026"

func (d *demoCmd) Run(a *app) error {
	if d.Pairs < 1 || d.Pairs > 10_000_000 {
		return usageError{fmt.Errorf("--pairs: %d: want 1 to 10000000", d.Pairs)}
	}
	if err := listenable("--addr", d.Addr); err != nil {
		return err
	}
	begin := a.now()
	folder := d.Data
	if folder == "" {
		made, err := os.MkdirTemp("", "solewright-demo-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(made)
		folder = made
	}
	log := slog.New(slog.NewTextHandler(a.stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	where := database{Data: folder}
	path := filepath.Join(folder, "solewright.db")
	_, err := os.Stat(path)
	fresh := os.IsNotExist(err)
	db, err := where.open(a, log, true)
	if err != nil {
		return err
	}
	defer db.Close()
	if fresh {
		if _, _, err := db.Migrate(a.ctx); err != nil {
			return err
		}
		fmt.Fprintf(a.stdout, "inventing a retailer with %d readings …\n", d.Pairs)
		fleet := sim.New(sim.Options{Seed: d.Seed, Inspections: d.Pairs, Plant: true, Judge: true})
		if err := settle(a, db, fleet); err != nil {
			return err
		}
	} else if err := db.CheckSchema(a.ctx); err != nil {
		return err
	} else {
		fmt.Fprintf(a.stdout, "going on with the data in %s\n", folder)
	}
	serve := serveCmd{database: where, Addr: d.Addr}
	if err := openDoors(a, db); err != nil {
		return err
	}
	files, err := serve.files(folder)
	if err != nil {
		return err
	}
	var drawing sync.WaitGroup
	defer drawing.Wait() // before the database closes
	return serve.serve(a, db, log, func(addr string) {
		if fresh {
			drawing.Go(func() { drawPhotos(a.ctx, db, files, log) })
		}
		fmt.Fprintf(a.stdout, "ready after %s at http://%s, stop with Ctrl-C\n", a.now().Sub(begin).Round(100*time.Millisecond), addr)
	})
}

// settle stores an invented retailer, by the same door as any import.
func settle(a *app, db *models.DB, fleet *sim.Fleet) error {
	regions := map[string]string{}
	for _, r := range fleet.Regions {
		regions[r.Code] = r.Name
	}
	stores := func(yield func(*retail.StoreLine) bool) {
		for _, s := range fleet.Stores {
			if !yield(&retail.StoreLine{Store: s, RegionName: regions[s.Region]}) {
				return
			}
		}
	}
	sales := func(yield func(*retail.Sale) bool) {
		for s := range fleet.Sales() {
			if !yield(&s) {
				return
			}
		}
	}
	for _, step := range []func() error{
		func() error { return feed(a, db, "stores", retail.StoreLines.CSV, stores) },
		func() error { return feed(a, db, "staff", retail.StaffList.CSV, each(fleet.Staff)) },
		func() error { return feed(a, db, "shoe-models", retail.ShoeModels.CSV, each(fleet.Models)) },
		func() error { return feed(a, db, "runners", retail.Runners.CSV, fleet.Runners()) },
		func() error { return feed(a, db, "fittings", retail.Fittings.CSV, fleet.Fittings()) },
		func() error { return feed(a, db, "sales", retail.Sales.CSV, sales) },
		func() error { return feed(a, db, "events", retail.Events.CSV, each(fleet.Events)) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	records := func(yield func(*assess.Record) bool) {
		for r := range fleet.Inspections() {
			if !yield(r) {
				return
			}
		}
	}
	if _, err := db.ImportInspections(a.ctx, operator, exchange.Judged(a.ctx, db, exchange.Today(a.now()), records), models.ImportOptions{
		Refused: func(row int, err error) { fmt.Fprintf(a.stderr, "reading %d: %v\n", row, err) },
	}); err != nil {
		return err
	}
	return handOver(a, db, fleet)
}

// handOver stores the credit tables of an invented retailer, and the trade-ins
// that go by them.
func handOver(a *app, db *models.DB, fleet *sim.Fleet) error {
	return db.Together(a.ctx, func(db *models.DB) error {
		numbers := []int{}
		for _, t := range fleet.CreditTables() {
			n, err := db.AddCreditTable(a.ctx, operator, t, "invented")
			if err != nil {
				return fmt.Errorf("inventing credit tables: %w", err)
			}
			numbers = append(numbers, n)
		}
		for t := range fleet.TradeIns() {
			in := models.TradeIn{
				ID: t.ID, Store: t.Store, InspectionID: t.Inspection, PairRef: t.PairRef, Staff: t.Staff, Device: t.Device, At: t.At,
				Grade: t.Grade, Route: t.Route, Credit: t.Credit, Advised: t.Advised, Currency: t.Currency, CreditTable: numbers[t.Table],
				OverrideBy: t.OverrideBy, Reason: t.Reason, Voucher: t.Voucher,
			}
			body, err := json.Marshal(t)
			if err != nil {
				return err
			}
			if _, _, err := db.SaveTradeIn(a.ctx, operator, in, sha256.Sum256(body)); err != nil {
				return fmt.Errorf("inventing trade-ins: %w", err)
			}
		}
		return nil
	})
}

// feed imports rows of one kind as if they came in a file.
func feed[T any](a *app, db *models.DB, kind string, table *assess.Table[T], rows iter.Seq[*T]) error {
	file := table.AppendHeader(nil)
	for v := range rows {
		file = table.Append(file, v)
	}
	sum, err := exchange.Import(a.ctx, db, operator, kind, bytes.NewReader(file), exchange.Options{})
	for _, bad := range sum.Bad {
		fmt.Fprintf(a.stderr, "%s, line %d: %v\n", kind, bad.Line, bad.Err)
	}
	if err != nil {
		return fmt.Errorf("inventing %s: %w", kind, err)
	}
	return nil
}

// each yields pointers to the items of a list.
func each[T any](all []T) iter.Seq[*T] {
	return func(yield func(*T) bool) {
		for i := range all {
			if !yield(&all[i]) {
				return
			}
		}
	}
}

// openDoors sets the demo's password for the first account of each role, and
// prints them.
func openDoors(a *app, db *models.DB) error {
	all, err := db.Accounts(a.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "sign in with one of these codes and the password %q:\n", demoPassword)
	for _, role := range retail.Roles {
		i := slices.IndexFunc(all, func(acc models.Account) bool { return acc.Role == role && acc.Active() })
		if i < 0 {
			continue
		}
		acc := all[i]
		if !acc.HasPassword {
			if err := db.SetPassword(a.ctx, operator, acc.Code, demoPassword); err != nil {
				return err
			}
		}
		fmt.Fprintf(a.stdout, "  %-8s %s (%s)\n", role, acc.Code, retail.Words(acc.Scopes))
	}
	return nil
}
