package dashboard

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// known is what nearly every request needs and the database seldom changes.
// Each answer is believed for cacheFor, so that storing a reading asks the
// database for nothing but to store it.
type known struct {
	tokens   *cache[[sha256.Size]byte, models.Token]
	accounts *cache[string, models.Account]
	devices  *cache[[sha256.Size]byte, models.Device]
	stores   *cache[string, retail.Store]
	shoes    *cache[modelWords, *models.ShoeModel] // nil: not in the catalogue
	asNew    *cache[asNewKey, *assess.AsNew]
	engines  *cache[int, *assess.Engine]
	onDay    *cache[string, int]                // the number of the rule set of a day
	risks    *cache[string, *assess.RiskTables] // of a day, nil: none computed by then
	events   *cache[string, []retail.Event]     // of all days, by no key
}

// modelWords are how a reading names its model.
type modelWords struct{ brand, model, version string }

// asNewKey names one version of a model's as-new values.
type asNewKey struct {
	model  assess.UUID
	number int
}

// How many answers are remembered: the target fleet's stores and staff fit.
const (
	manyKnown = 8192
	fewKnown  = 256
)

func newKnown(now func() time.Time) known {
	return known{
		tokens:   newCache[[sha256.Size]byte, models.Token](now, fewKnown),
		accounts: newCache[string, models.Account](now, manyKnown),
		devices:  newCache[[sha256.Size]byte, models.Device](now, manyKnown),
		stores:   newCache[string, retail.Store](now, manyKnown),
		shoes:    newCache[modelWords, *models.ShoeModel](now, manyKnown),
		asNew:    newCache[asNewKey, *assess.AsNew](now, manyKnown),
		engines:  newCache[int, *assess.Engine](now, fewKnown),
		onDay:    newCache[string, int](now, fewKnown),
		risks:    newCache[string, *assess.RiskTables](now, fewKnown),
		events:   newCache[string, []retail.Event](now, fewKnown),
	}
}

// account returns the account with this code.
func (s *Server) account(ctx context.Context, code string) (models.Account, error) {
	return s.known.accounts.get(code, func() (models.Account, error) { return s.db.Account(ctx, code) })
}

// store returns the store with this code.
func (s *Server) store(ctx context.Context, code string) (retail.Store, error) {
	return s.known.stores.get(code, func() (retail.Store, error) { return s.db.Store(ctx, code) })
}

// shoe returns the catalogue's model of a reading, nil where there is none.
func (s *Server) shoe(ctx context.Context, r *assess.Record) (*models.ShoeModel, error) {
	if r.Brand == "" && r.Model == "" && r.Version == "" {
		return nil, nil
	}
	return s.known.shoes.get(modelWords{r.Brand, r.Model, r.Version}, func() (*models.ShoeModel, error) {
		m, err := s.db.ShoeModelNamed(ctx, r.Brand, r.Model, r.Version)
		if errors.Is(err, models.ErrNotFound) {
			return nil, nil
		}
		return &m, err
	})
}

// builtAs returns the as-new values that a stored reading was judged with, nil
// where it was judged without.
func (s *Server) builtAs(ctx context.Context, in *models.Inspection) (*assess.AsNew, error) {
	if in.AsNew == 0 {
		return nil, nil
	}
	return s.known.asNew.get(asNewKey{in.ModelID, in.AsNew}, func() (*assess.AsNew, error) {
		m, err := s.db.AsNew(ctx, in.ModelID, in.AsNew)
		return &m, err
	})
}

// engine returns the engine of a rule set by its number.
func (s *Server) engineOf(ctx context.Context, number int) (*assess.Engine, error) {
	return s.known.engines.get(number, func() (*assess.Engine, error) {
		set, err := s.db.RuleSet(ctx, number)
		if err != nil {
			return nil, err
		}
		return assess.Compile(set)
	})
}

// rulesOn returns the number of the rule set that holds on a day.
func (s *Server) rulesOn(ctx context.Context, day string) (int, error) {
	return s.known.onDay.get(day, func() (int, error) {
		set, err := s.db.RuleSetOn(ctx, day)
		if err != nil {
			return 0, err
		}
		return set.Number, nil
	})
}

// risks returns the risk by distance that holds on a day, nil where none was
// computed by then.
func (s *Server) risks(ctx context.Context, day string) (*assess.RiskTables, error) {
	return s.known.risks.get(day, func() (*assess.RiskTables, error) { return s.db.Risks(ctx, day) })
}

// mayAt fails with what to answer where the identity hasn't got the right in a
// store. A store that isn't set up is the caller's mistake, at the pointer.
func (s *Server) mayAt(ctx context.Context, who Identity, r right, store, pointer string) error {
	at, err := s.store(ctx, store)
	if errors.Is(err, models.ErrNotFound) {
		return &failure{class: badValues, values: []badValue{{Pointer: pointer, Detail: fmt.Sprintf("%.48q: there is no such store", store)}}}
	}
	if err != nil {
		return err
	}
	if !who.allowsAt(r, at.Code, at.Region) {
		return refuse(forbidden, "the store is not in your scope")
	}
	return nil
}

// inScope reports whether the identity has the right in one of the stores by a
// scope that holds it.
func (s *Server) inScope(ctx context.Context, who Identity, r right, stores ...string) (bool, error) {
	for _, code := range stores {
		at, err := s.store(ctx, code)
		if err != nil {
			return false, err
		}
		if covers(who.scopes(r), at.Code, at.Region) {
			return true, nil
		}
	}
	return false, nil
}
