// Package fleettest fills the fleet in memory with an invented retailer and no
// database in between: a test or a proof that asks the statistics about many
// fleets, some with problems planted and some with none, has them in a second
// each. What is loaded is what the feed of a database with the same records hands
// over, which a test of reports/wear holds; unread checks and tilts, which no share
// and no life goes by, are left out.
package fleettest

import (
	"context"
	"hash/fnv"
	"strings"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/facts"
	"solewright/models/retail"
	"solewright/reports/fleet"
	"solewright/reports/sim"
)

// Load judges every record of an invented retailer by the default rules and
// returns the fleet in memory that holds them.
func Load(ctx context.Context, f *sim.Fleet) (*fleet.View, error) {
	s, err := read(f)
	if err != nil {
		return nil, err
	}
	c := fleet.New(fleet.Options{Source: s})
	if err := c.Load(ctx); err != nil {
		return nil, err
	}
	return c.View(), nil
}

// source is a retailer whose records don't change.
type source struct {
	catalogue facts.Catalogue
	facts     []facts.Fact
}

// read judges the records and puts each beside those of its pair.
func read(f *sim.Fleet) (*source, error) {
	engine, err := assess.Compile(assess.DefaultRules())
	if err != nil {
		return nil, err
	}
	s := &source{catalogue: facts.Catalogue{Regions: f.Regions, Stores: f.Stores, Models: f.Models}}
	type reading struct {
		fact  facts.Fact
		point models.LifePoint
	}
	var (
		all    []reading
		result assess.Result
		places = map[assess.UUID]int{}
		pairs  = map[string][]int{} // in order of time, as records come
		refs   []string
	)
	for rec, truth := range f.Inspections() {
		if at, ok := places[rec.Supersedes]; ok {
			all[at].point.Live = false
		}
		m := &f.Models[truth.Model]
		engine.Judge(&rec.Reading, &m.AsNew, &result)
		places[rec.ID] = len(all)
		if pairs[rec.PairRef] == nil {
			refs = append(refs, rec.PairRef)
		}
		pairs[rec.PairRef] = append(pairs[rec.PairRef], len(all))
		all = append(all, reading{factOf(rec, m, &result), models.LifePoint{
			At: rec.At, ID: rec.ID, Kind: rec.Kind, KM: rec.KM, Advised: result.Verdict, Live: rec.VoidedAt.IsZero(), Model: m.ID, SizeMM: rec.SizeMM,
		}})
	}
	for _, ref := range refs {
		var points []models.LifePoint
		last, batch, runner := -1, "", uint64(0)
		for _, at := range pairs[ref] {
			r := &all[at]
			if points = append(points, r.point); !r.point.Live || r.fact.Kind == assess.Blind {
				continue
			}
			last = at
			if r.fact.Batch != "" {
				batch = r.fact.Batch
			}
			if r.fact.Runner != 0 {
				runner = r.fact.Runner
			}
		}
		life := models.Life(points)
		for _, at := range pairs[ref] {
			r := &all[at]
			if !r.point.Live || r.fact.Kind == assess.Blind {
				continue
			}
			r.fact.Last, r.fact.Batch, r.fact.Runner = at == last, batch, runner
			r.fact.Upper, r.fact.Contradicts = life.Upper, life.Contradicts != models.NoContradiction
			if life.Readings > 0 && !r.fact.Contradicts {
				r.fact.Lower = assess.Of(life.Lower)
			}
			s.facts = append(s.facts, r.fact)
		}
	}
	return s, nil
}

// factOf writes what statistics see of a record, without what its pair's other
// readings say.
func factOf(rec *assess.Record, m *retail.ShoeModel, result *assess.Result) facts.Fact {
	found := models.FactsOf(result, assess.EngineVersion)
	f := facts.Fact{
		Pair: rec.PairRef, Model: m.ID, Batch: rec.Batch, Store: rec.Store, Staff: rec.Staff, Day: rec.At.Format(time.DateOnly), // an open day lies within one UTC day
		Kind: rec.Kind, Gait: rec.Gait, Strike: rec.Strike, Surface: rec.Surface, UsedFor: rec.UsedFor, KM: rec.KM, KMSource: rec.KMSource,
		GaitBefore: rec.GaitBefore, Heel: found.Pattern.Heel, Fore: found.Pattern.Fore, Side: found.Pattern.Side, Verdict: found.Verdict,
		Codes: strings.Join(found.Codes, " "), Grades: [2]facts.Grades{facts.AllUnread, facts.AllUnread},
	}
	if rec.Runner != "" {
		h := fnv.New64a()
		h.Write([]byte(rec.Runner))
		f.Runner = h.Sum64()
	}
	switch by := found.Pattern.DecidedBy; {
	case by != assess.Both:
		f.Posture = rec.Posture[by]
	case rec.Posture[assess.Left] == rec.Posture[assess.Right]:
		f.Posture = rec.Posture[assess.Left]
	}
	for foot := range rec.Shoe {
		for z := range assess.NumZones {
			if g := rec.Shoe[foot][z]; g.OK() {
				f.Grades[foot] = f.Grades[foot].With(z, g.Int())
			}
		}
	}
	return f
}

func (s *source) Identity(context.Context) (facts.Identity, error) {
	return facts.Identity{ID: "invented"}, nil
}

func (s *source) Anchor(context.Context, facts.Position) (string, error) { return "", nil }

func (s *source) Catalogue(context.Context) (*facts.Catalogue, error) { return &s.catalogue, nil }

func (s *source) EachFact(_ context.Context, begin func() func(*facts.Fact) error) (facts.Position, error) {
	each := begin()
	for i := range s.facts {
		if err := each(&s.facts[i]); err != nil {
			return facts.Position{}, err
		}
	}
	return facts.Position{}, nil
}

func (s *source) FactsOf(context.Context, []string, func(*facts.Fact) error) error { return nil }

func (s *source) Changed(_ context.Context, after facts.Position, _ int) (facts.Changed, error) {
	return facts.Changed{To: after}, nil
}
