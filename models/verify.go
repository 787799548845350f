package models

import (
	"context"
	"fmt"
	"strings"

	"solewright/assess"
)

// Difference is something derived that is stored otherwise than it counts.
type Difference struct {
	Subject         string // such as inspection:… or pair:…
	What            string // such as advised, pattern, life
	Stored, Counted string
}

// Verification counts what was recounted.
type Verification struct {
	Inspections, Pairs, Differences int
	// Unjudged readings name no rule set, so that nothing can be recounted.
	Unjudged int
}

// Verify recounts what is derived: the verdict, findings, patterns and hand-over
// of every reading under its own rule set and as-new values, and the interval of
// life of every pair. f is told of each difference. It writes nothing.
func (db *DB) Verify(ctx context.Context, f func(Difference) error) (Verification, error) {
	v := verifying{DB: db, engines: map[int]*assess.Engine{}, asNew: map[asNewKey]*assess.AsNew{}, f: f}
	err := db.EachInspection(ctx, InspectionFilter{Scopes: Fleet}, func(in *Inspection) error { return v.inspection(ctx, in) })
	if err == nil {
		err = v.pairs(ctx)
	}
	return v.sum, wrap(err, "verifying")
}

// verifying is a verification under way.
type verifying struct {
	*DB
	engines map[int]*assess.Engine
	asNew   map[asNewKey]*assess.AsNew
	result  assess.Result
	sum     Verification
	f       func(Difference) error
}

type asNewKey struct {
	model  assess.UUID
	number int
}

func (v *verifying) differs(subject, what, stored, counted string) error {
	if stored == counted {
		return nil
	}
	v.sum.Differences++
	return v.f(Difference{Subject: subject, What: what, Stored: stored, Counted: counted})
}

// inspection judges a reading again.
func (v *verifying) inspection(ctx context.Context, in *Inspection) error {
	v.sum.Inspections++
	if in.Rules == 0 {
		v.sum.Unjudged++
		return nil
	}
	engine, err := v.engine(ctx, in.Rules)
	if err != nil {
		return err
	}
	model, err := v.model(ctx, in)
	if err != nil {
		return err
	}
	engine.Judge(&in.Reading, model, &v.result)
	counted := FactsOf(&v.result, assess.EngineVersion)
	// Through the row and back, so that both are as they are stored.
	var row inspectionRow
	row.setPattern(&counted.Pattern)
	counted.Pattern = row.pattern()
	subject := createSubject(in.ID)
	for _, c := range []struct{ what, stored, counted string }{
		{"advised", in.Facts.verdict(), counted.verdict()},
		{"findings", strings.Join(in.Facts.Codes, " "), strings.Join(counted.Codes, " ")},
		{"pattern", patternWords(&in.Facts.Pattern), patternWords(&counted.Pattern)},
		{"hand-over", in.Facts.handOver(), counted.handOver()},
	} {
		if err := v.differs(subject, c.what, c.stored, c.counted); err != nil {
			return err
		}
	}
	return nil
}

func (f *Facts) verdict() string {
	return strings.TrimSpace(f.Verdict.String() + " " + f.How.String())
}

func (f *Facts) handOver() string {
	return strings.TrimSpace(f.Grade.String() + " " + f.Route.String())
}

// patternWords writes a pattern with its indices in ten-thousandths.
func patternWords(p *assess.PairPattern) string {
	s := fmt.Sprintf("%s/%s %s %s", p.Heel, p.Fore, p.Side, p.DecidedBy)
	for i := range p.Shoe {
		w := &p.Shoe[i]
		s += fmt.Sprintf("; %s/%s", w.Heel, w.Fore)
		for _, r := range []assess.Ratio{w.MLHeel, w.MLFore, w.CentreHeel, w.CentreFore, w.ForeAft} {
			s += " -"
			if r.Den != 0 {
				s = fmt.Sprintf("%s%d", s[:len(s)-1], r.Num)
			}
		}
	}
	return s
}

func (v *verifying) engine(ctx context.Context, number int) (*assess.Engine, error) {
	if e := v.engines[number]; e != nil {
		return e, nil
	}
	set, err := v.RuleSet(ctx, number)
	if err != nil {
		return nil, err
	}
	e, err := assess.Compile(set)
	v.engines[number] = e
	return e, err
}

// model returns the as-new values that a reading was judged with.
func (v *verifying) model(ctx context.Context, in *Inspection) (*assess.AsNew, error) {
	if in.AsNew == 0 {
		return nil, nil
	}
	k := asNewKey{in.ModelID, in.AsNew}
	if a := v.asNew[k]; a != nil {
		return a, nil
	}
	a, err := v.AsNew(ctx, in.ModelID, in.AsNew)
	v.asNew[k] = &a
	return &a, err
}

// pairs computes every pair's interval of life again.
func (v *verifying) pairs(ctx context.Context) error {
	for last := ""; ; {
		stored, err := v.pairsIn(ctx, v.reader(), " WHERE ref > ? ORDER BY ref LIMIT ?", last, streamPage)
		if err != nil || len(stored) == 0 {
			return err
		}
		next := stored[len(stored)-1].Ref
		past, err := v.pastBetween(ctx, v.reader(), last, next, "")
		if err != nil {
			return err
		}
		for i := range stored {
			v.sum.Pairs++
			p := &stored[i]
			counted := pairRow{}
			counted.derive(past[p.Ref])
			if err := v.differs("pair:"+p.Ref, "life", p.Life.words(), counted.life().words()); err != nil {
				return err
			}
		}
		last = next
	}
}

// words writes an interval as people read it, leaving nothing out.
func (v Interval) words() string {
	upper := "open"
	if v.Upper.OK() {
		upper = fmt.Sprint(v.Upper.Int())
	}
	return strings.TrimSpace(fmt.Sprintf("%d to %s km by %d readings %s", v.Lower, upper, v.Readings, v.Contradicts))
}
