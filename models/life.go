package models

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"solewright/assess"
)

// LifePoint is one reading of a pair as its interval of life sees it.
type LifePoint struct {
	At      time.Time
	ID      assess.UUID
	Kind    assess.RecordKind
	KM      assess.Value // whole km, unread when unknown
	Advised assess.Verdict
	Live    bool // neither voided nor superseded
	// Model and SizeMM are what the shoe was taken for: zero and unread where the
	// reading doesn't say.
	Model  assess.UUID
	SizeMM assess.Value
}

// counts reports whether the point takes part, and whether it says worn.
func (p LifePoint) counts() (takesPart, worn bool) {
	if !p.Live || p.Kind == assess.Blind || !p.KM.OK() {
		return false, false
	}
	switch p.Advised {
	case assess.Keep, assess.RecheckPair:
		return true, false
	case assess.ReplacePair, assess.RetirePair:
		return true, true
	}
	return false, false
}

// Contradiction says how the readings of a pair contradict each other.
type Contradiction uint8

// The contradictions. A pair with one is shown to a second reader, and is left
// out of life until a reading is amended or voided.
const (
	NoContradiction Contradiction = iota
	Crossed                       // found worn at no greater distance than it was sound at
	Backwards                     // the distance runs backwards
	OtherShoe                     // its readings name two models, or sizes too far apart for one shoe
)

// sizeApart is how far two sizes of one shoe may lie apart in mm, as when one
// was converted from another system: the step of Mondopoint (ISO 9407).
const sizeApart = 5

// String returns the contradiction's words.
func (c Contradiction) String() string {
	return [...]string{"", "worn no later than sound", "distance runs backwards", "two models or sizes"}[c]
}

// Interval is what a pair's readings say about the distance at which it was
// worn out: after Lower, and no later than Upper, in whole km.
type Interval struct {
	Lower int          // the largest distance it was found sound at, 0 if none
	Upper assess.Value // the distance it was first found worn at; unread: sound so far
	// Readings is how many readings took part; with none, nothing is known.
	Readings int
	// Contradicts is set where the readings can't all be right; Lower and Upper
	// are then empty.
	Contradicts Contradiction
}

// Life computes the interval of life of a pair from its readings, in any order.
// It goes by the live, non-blind readings with a known distance, in order of
// time: worn is advised replace or retire, sound is advised keep or recheck,
// anything else is left out. Upper is the distance of the first worn; Lower the
// largest sound distance before it. Readings at the same instant go by their id.
//
// Live, non-blind readings that can't be of one shoe contradict each other before
// all else: a slip was mixed up, or two tablets off line drew the same reference.
// With 40 random bits that is expected 45 times in ten million pairs (n²/2 over
// 2⁴⁰), and all but those of the same model and size show here.
func Life(points []LifePoint) Interval {
	used := make([]LifePoint, 0, len(points))
	for _, p := range points {
		if ok, _ := p.counts(); ok {
			used = append(used, p)
		}
	}
	slices.SortFunc(used, func(a, b LifePoint) int {
		return cmp.Or(a.At.Compare(b.At), slices.Compare(a.ID[:], b.ID[:]))
	})
	if otherShoe(points) {
		return Interval{Readings: len(used), Contradicts: OtherShoe}
	}
	v := Interval{Readings: len(used)}
	sound, last := -1, 0
	for _, p := range used {
		km := p.KM.Int()
		if km < last {
			return Interval{Readings: len(used), Contradicts: Backwards}
		}
		last = km
		_, worn := p.counts()
		switch {
		case v.Upper.OK():
		case !worn:
			sound = km
		case km <= sound:
			return Interval{Readings: len(used), Contradicts: Crossed}
		default:
			v.Upper = p.KM
		}
	}
	v.Lower = max(sound, 0)
	return v
}

// otherShoe reports whether live, non-blind readings name two models, or sizes
// too far apart.
func otherShoe(points []LifePoint) bool {
	var model assess.UUID
	least, most := math.MaxInt, math.MinInt
	for _, p := range points {
		if !p.Live || p.Kind == assess.Blind {
			continue
		}
		if !p.Model.IsZero() && !model.IsZero() && p.Model != model {
			return true
		}
		if model.IsZero() {
			model = p.Model
		}
		if p.SizeMM.OK() {
			least, most = min(least, p.SizeMM.Int()), max(most, p.SizeMM.Int())
		}
	}
	return least < most && most-least > sizeApart
}

// LifeCount counts the pairs of a model with the same interval of life.
type LifeCount struct {
	Model    assess.UUID
	Category string // the model's, empty where it has none
	Lower    int
	Upper    assess.Value // unread: sound so far
	Pairs    int
}

type lifeCountRow struct {
	ModelID  id     `gorm:"column:model_id"`
	Category text   `gorm:"column:category"`
	LowerKM  number `gorm:"column:lower_km"`
	UpperKM  number `gorm:"column:upper_km"`
	Pairs    int    `gorm:"column:pairs"`
}

// Lives counts the intervals of life of all pairs whose readings say something
// and don't contradict each other, by model. Pairs that were merged into
// another count once, as the other.
func (db *DB) Lives(ctx context.Context) ([]LifeCount, error) {
	rows, err := db.reader().QueryContext(ctx, `
		SELECT p.model_id, m.category, p.lower_km, p.upper_km, count(*)
		FROM pair p LEFT JOIN shoe_model m ON m.id = p.model_id
		WHERE p.lower_km IS NOT NULL AND p.merged_into IS NULL
		GROUP BY p.model_id, m.category, p.lower_km, p.upper_km
		ORDER BY p.model_id, p.lower_km, p.upper_km`)
	if err != nil {
		return nil, wrap(err, "counting lives")
	}
	all := []LifeCount{}
	err = scanAll(rows, func(row *lifeCountRow) error {
		all = append(all, LifeCount{
			Model: assess.UUID(row.ModelID), Category: string(row.Category),
			Lower: assess.Value(row.LowerKM).Int(), Upper: assess.Value(row.UpperKM), Pairs: row.Pairs,
		})
		return nil
	})
	return all, wrap(err, "counting lives")
}
