package exchange

import (
	"context"
	"maps"
	"slices"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// Asked says what of a kind is exported.
type Asked struct {
	// Scopes are whose records are seen; models.Fleet is everything.
	Scopes []retail.Scope
	// Store narrows to one store, From and To to local days, both included;
	// empty for no bound. They don't count for kinds that have neither.
	Store, From, To string
}

// exports writes each kind of record, row after row.
var exports = map[string]func(context.Context, *models.DB, Asked, func([]byte) error) error{
	"inspections": inspections,
	"pairs":       pairs,
	"fittings":    fittings,
	"shoe-models": shoeModels,
	"stores":      stores,
	"staff":       staff,
	"runners":     runners,
	"sales":       sales,
	"events":      events,
}

// ExportKinds are the kinds that can be exported, in order.
var ExportKinds = slices.Sorted(maps.Keys(exports))

// Export writes a kind of record as CSV, the header first, then a row or some
// thousand a call of write. The bytes belong to Export.
func Export(ctx context.Context, db *models.DB, kind string, ask Asked, write func([]byte) error) error {
	return exports[kind](ctx, db, ask, write)
}

func inspections(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	if err := write(assess.AppendCSVHeader(nil)); err != nil {
		return err
	}
	return db.ExportInspections(ctx, ask.Scopes, ask.From, ask.To, ask.Store, write)
}

func pairs(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	return rows(models.PairLines, write, func(each func(*models.PairLine) error) error {
		return db.EachPairLine(ctx, ask.Scopes, ask.From, ask.To, ask.Store, each)
	})
}

func fittings(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	in, err := ask.reach(ctx, db)
	if err != nil {
		return err
	}
	return rows(retail.Fittings.CSV, write, func(each func(*retail.Fitting) error) error {
		return db.EachFitting(ctx, func(f *models.StoredFitting) error {
			if f.Day < ask.From || ask.To != "" && f.Day > ask.To || !in[f.Store] {
				return nil
			}
			return each(&f.Fitting)
		})
	})
}

func shoeModels(ctx context.Context, db *models.DB, _ Asked, write func([]byte) error) error {
	all, err := db.ShoeModels(ctx)
	return list(retail.ShoeModels.CSV, write, all, err, func(m *models.ShoeModel) *retail.ShoeModel { return &m.ShoeModel })
}

func stores(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	in, err := ask.reach(ctx, db)
	if err != nil {
		return err
	}
	regions, err := db.Regions(ctx)
	if err != nil {
		return err
	}
	name := map[string]string{}
	for _, r := range regions {
		name[r.Code] = r.Name
	}
	all, err := db.Stores(ctx)
	return list(retail.StoreLines.CSV, write, all, err, func(s *retail.Store) *retail.StoreLine {
		if !in[s.Code] {
			return nil
		}
		return &retail.StoreLine{Store: *s, RegionName: name[s.Region]}
	})
}

func staff(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	all, err := db.Accounts(ctx)
	if err != nil {
		return err
	}
	byCode, err := storesByCode(ctx, db)
	if err != nil {
		return err
	}
	return list(retail.StaffList.CSV, write, all, nil, func(a *models.Account) *retail.Staff {
		for _, g := range a.Grants() {
			at := retail.Store{Code: g.Scope.Store, Region: g.Scope.Region}
			if g.Scope.Store != "" {
				at = byCode[g.Scope.Store]
			}
			if within(ask.Scopes, at) {
				return &a.Staff
			}
		}
		return nil
	})
}

// runners belong to no store, so narrowing leaves none of them out; who may
// export them is for the caller to decide.
func runners(ctx context.Context, db *models.DB, _ Asked, write func([]byte) error) error {
	return rows(retail.Runners.CSV, write, func(each func(*retail.Runner) error) error {
		return db.EachRunner(ctx, each)
	})
}

func sales(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	in, err := ask.reach(ctx, db)
	if err != nil {
		return err
	}
	return rows(retail.Sales.CSV, write, func(each func(*retail.Sale) error) error {
		return db.EachSale(ctx, monthOf(ask.From), monthOf(ask.To), func(s *retail.Sale) error {
			if !in[s.Store] {
				return nil
			}
			return each(s)
		})
	})
}

func events(ctx context.Context, db *models.DB, ask Asked, write func([]byte) error) error {
	in, err := ask.reach(ctx, db)
	if err != nil {
		return err
	}
	all, err := db.Events(ctx, ask.From, ask.To)
	return list(retail.Events.CSV, write, all, err, func(e *retail.Event) *retail.Event {
		if !in[e.Store] {
			return nil
		}
		return e
	})
}

// rows writes the header of a table, and every row that stream gives.
func rows[T any](table *assess.Table[T], write func([]byte) error, stream func(func(*T) error) error) error {
	if err := write(table.AppendHeader(nil)); err != nil {
		return err
	}
	var row []byte
	return stream(func(v *T) error {
		row = table.Append(row[:0], v)
		return write(row)
	})
}

// list writes a table of items that were read with err, each as row gives it;
// nil leaves it out.
func list[E, T any](table *assess.Table[T], write func([]byte) error, all []E, err error, row func(*E) *T) error {
	if err != nil {
		return err
	}
	return rows(table, write, func(each func(*T) error) error {
		for i := range all {
			if v := row(&all[i]); v != nil {
				if err := each(v); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// reach returns the stores that are asked for, by code.
func (ask Asked) reach(ctx context.Context, db *models.DB) (map[string]bool, error) {
	all, err := storesByCode(ctx, db)
	in := map[string]bool{}
	for code, s := range all {
		in[code] = within(ask.Scopes, s) && (ask.Store == "" || ask.Store == code)
	}
	return in, err
}

func storesByCode(ctx context.Context, db *models.DB) (map[string]retail.Store, error) {
	all, err := db.Stores(ctx)
	by := map[string]retail.Store{}
	for _, s := range all {
		by[s.Code] = s
	}
	return by, err
}

// within reports whether one of the scopes covers a store. The zero store
// stands for the fleet, one with a region only for that region.
func within(scopes []retail.Scope, at retail.Store) bool {
	return slices.ContainsFunc(scopes, func(s retail.Scope) bool {
		return s == retail.Scope{} || s.Region != "" && s.Region == at.Region || s.Store != "" && s.Store == at.Code
	})
}

// monthOf returns the month of a day, and nothing for none.
func monthOf(day string) string { return day[:min(len(day), len("2026-10"))] }
