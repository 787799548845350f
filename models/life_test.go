package models_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// point is a live reading at an hour, of a distance; −1 is unknown.
func point(hour, km int, advised assess.Verdict) models.LifePoint {
	p := models.LifePoint{
		At: at.Add(time.Duration(hour) * time.Hour), ID: assess.UUID{15: byte(hour)},
		Kind: assess.WearCheck, Advised: advised, Live: true,
	}
	if km >= 0 {
		p.KM = assess.Of(km)
	}
	return p
}

// shoe is the same reading of a shoe taken for a model, by a number, and a size.
func shoe(p models.LifePoint, model byte, mm int) models.LifePoint {
	p.Model, p.SizeMM = assess.UUID{0: model}, assess.Of(mm)
	return p
}

// ruleOfLife is where the expected intervals come from.
const ruleOfLife = "interval of life of a pair, by hand from its definition in Life's doc comment"

func TestLife(t *testing.T) {
	blind := point(2, 300, assess.ReplacePair)
	blind.Kind = assess.Blind
	struckOut := point(2, 300, assess.ReplacePair)
	struckOut.Live = false
	const (
		keep, recheck, replace = assess.Keep, assess.RecheckPair, assess.ReplacePair
		retire, incomplete     = assess.RetirePair, assess.Incomplete
	)
	for _, c := range []struct {
		name   string
		points []models.LifePoint
		want   models.Interval
		source string
	}{
		{"no reading says nothing", nil, models.Interval{}, ruleOfLife},
		{"sound so far is open above", []models.LifePoint{point(1, 200, keep), point(2, 400, recheck)}, models.Interval{Lower: 400, Readings: 2}, ruleOfLife},
		{"worn at first sight begins at 0", []models.LifePoint{point(1, 650, replace)}, models.Interval{Upper: assess.Of(650), Readings: 1}, ruleOfLife},
		{"between the last sound and the first worn", []models.LifePoint{point(3, 700, retire), point(1, 200, keep), point(2, 500, keep)}, models.Interval{Lower: 500, Upper: assess.Of(700), Readings: 3}, ruleOfLife},
		{"what comes after the first worn changes nothing", []models.LifePoint{point(1, 300, keep), point(2, 500, replace), point(3, 800, retire), point(4, 900, keep)}, models.Interval{Lower: 300, Upper: assess.Of(500), Readings: 4}, ruleOfLife},
		{"incomplete and unknown distances are left out", []models.LifePoint{point(1, 300, incomplete), point(2, -1, replace), point(3, 400, keep)}, models.Interval{Lower: 400, Readings: 1}, ruleOfLife},
		{"blind readings are left out", []models.LifePoint{point(1, 400, keep), blind}, models.Interval{Lower: 400, Readings: 1}, ruleOfLife},
		{"what was voided or superseded is left out", []models.LifePoint{point(1, 400, keep), struckOut}, models.Interval{Lower: 400, Readings: 1}, ruleOfLife},
		{"two models are two shoes", []models.LifePoint{shoe(point(1, 200, keep), 1, 270), shoe(point(2, 500, replace), 2, 270)}, models.Interval{Readings: 2, Contradicts: models.OtherShoe}, ruleOfLife},
		{"a model and none are one shoe", []models.LifePoint{shoe(point(1, 200, keep), 1, 270), point(2, 500, replace)}, models.Interval{Lower: 200, Upper: assess.Of(500), Readings: 2}, ruleOfLife},
		{"sizes over 5 mm apart are two shoes", []models.LifePoint{shoe(point(1, 200, keep), 1, 270), shoe(point(2, 500, replace), 1, 276)}, models.Interval{Readings: 2, Contradicts: models.OtherShoe}, "ISO 9407: Mondopoint goes by 5 mm"},
		{"sizes 5 mm apart may be one shoe", []models.LifePoint{shoe(point(1, 200, keep), 1, 270), shoe(point(2, 500, replace), 1, 265)}, models.Interval{Lower: 200, Upper: assess.Of(500), Readings: 2}, "ISO 9407: Mondopoint goes by 5 mm"},
		{"two shoes show without a distance, too", []models.LifePoint{shoe(point(1, -1, keep), 1, 270), shoe(point(2, -1, keep), 2, 270)}, models.Interval{Contradicts: models.OtherShoe}, ruleOfLife},
		{"two shoes come before all else", []models.LifePoint{shoe(point(1, 500, keep), 1, 270), shoe(point(2, 300, keep), 2, 270)}, models.Interval{Readings: 2, Contradicts: models.OtherShoe}, ruleOfLife},
		{"a voided reading of another shoe says nothing", []models.LifePoint{shoe(point(1, 400, keep), 1, 270), shoe(struckOut, 2, 230)}, models.Interval{Lower: 400, Readings: 1}, ruleOfLife},
		{"a blind reading of another shoe says nothing", []models.LifePoint{shoe(point(1, 400, keep), 1, 270), shoe(blind, 2, 230)}, models.Interval{Lower: 400, Readings: 1}, ruleOfLife},
		{"worn at the distance it was sound at contradicts", []models.LifePoint{point(1, 500, keep), point(2, 500, replace)}, models.Interval{Readings: 2, Contradicts: models.Crossed}, ruleOfLife},
		{"a distance that runs backwards contradicts", []models.LifePoint{point(1, 500, keep), point(2, 300, keep)}, models.Interval{Readings: 2, Contradicts: models.Backwards}, ruleOfLife},
		{"backwards after it was worn contradicts too", []models.LifePoint{point(1, 500, replace), point(2, 300, replace)}, models.Interval{Readings: 2, Contradicts: models.Backwards}, ruleOfLife},
		{"new and sound at 0", []models.LifePoint{point(1, 0, keep)}, models.Interval{Readings: 1}, ruleOfLife},
		{"worn at 0 after nothing", []models.LifePoint{point(1, 0, replace)}, models.Interval{Upper: assess.Of(0), Readings: 1}, ruleOfLife},
	} {
		t.Run(c.name, func(t *testing.T) { same(t, models.Life(c.points), c.want) })
	}
}

// drawPoint is a reading of any kind, with few values so that they collide.
func drawPoint(t *rapid.T) models.LifePoint {
	p := models.LifePoint{
		At: at.Add(time.Duration(rapid.IntRange(0, 8).Draw(t, "hour")) * time.Hour), ID: assess.UUID{14: 1, 15: rapid.Byte().Draw(t, "id")},
		Kind: assess.RecordKind(rapid.IntRange(1, 3).Draw(t, "kind")), Advised: assess.Verdict(rapid.IntRange(0, 5).Draw(t, "advised")),
		Live: rapid.IntRange(0, 4).Draw(t, "dead") > 0,
	}
	if rapid.IntRange(0, 4).Draw(t, "unknown") > 0 {
		p.KM = assess.Of(rapid.IntRange(0, 6).Draw(t, "hundreds") * 100)
	}
	if rapid.IntRange(0, 9).Draw(t, "sized") == 0 {
		p.SizeMM = assess.Of(rapid.IntRange(268, 275).Draw(t, "mm"))
	}
	return p
}

func TestLifeLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points := rapid.SliceOfNDistinct(rapid.Custom(drawPoint), 0, 8, func(p models.LifePoint) assess.UUID { return p.ID }).Draw(t, "points")
		v := models.Life(points)
		shuffled := slices.Clone(points)
		for i := range shuffled {
			j := rapid.IntRange(0, i).Draw(t, "j")
			shuffled[i], shuffled[j] = shuffled[j], shuffled[i]
		}
		if w := models.Life(shuffled); w != v {
			t.Fatalf("the order of entry matters: %+v and %+v", v, w)
		}
		if v.Contradicts == models.NoContradiction && v.Upper.OK() && v.Upper.Int() != 0 && v.Lower >= v.Upper.Int() {
			t.Fatalf("lower is not below upper: %+v", v)
		}
		if v.Contradicts != models.NoContradiction && (v.Lower != 0 || v.Upper.OK()) {
			t.Fatalf("a pair that contradicts itself has a life: %+v", v)
		}
		for _, p := range points {
			if !p.Live || p.Kind == assess.Blind || !p.KM.OK() {
				continue
			}
			// Sound at a distance that life says it was worn at, before it was found worn.
			if v.Upper.OK() && (p.Advised == assess.Keep || p.Advised == assess.RecheckPair) && p.KM.Int() > v.Lower && p.KM.Int() < v.Upper.Int() {
				t.Fatalf("sound at %d lies inside (%d, %d)", p.KM.Int(), v.Lower, v.Upper.Int())
			}
		}
	})
}

// TestLifeInTheDatabase plays random histories of saving, amending and voiding
// on both databases and compares the stored interval with Life of what stands.
func TestLifeInTheDatabase(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		n := 0
		rapid.Check(t, func(r *rapid.T) {
			n++
			pair := ref(10_000 + n)
			points := map[assess.UUID]models.LifePoint{}
			var live []assess.UUID
			for step := range rapid.IntRange(1, 6).Draw(r, "steps") {
				what := rapid.IntRange(0, 3).Draw(r, "what")
				if what == 3 && len(live) > 0 {
					i := rapid.IntRange(0, len(live)-1).Draw(r, "which")
					if _, err := db.VoidInspection(t.Context(), office, live[i], "wrong pair"); err != nil {
						r.Fatal(err)
					}
					p := points[live[i]]
					p.Live = false
					points[live[i]] = p
					live = slices.Delete(live, i, i+1)
					continue
				}
				p := drawPoint(r)
				in := reading(n*10+step, pair, 0, p.Advised)
				rec := in.Record
				rec.At, rec.Kind, rec.Distance, rec.SizeMM = p.At, p.Kind, assess.Unread, p.SizeMM
				if p.KM.OK() {
					rec.Distance = assess.Of(10 * p.KM.Int())
				}
				if p.Kind == assess.Blind {
					rec.Staff = "F-2" // who reads a pair openly doesn't read it blind
				}
				p.ID, p.Live = rec.ID, true
				if what == 2 && len(live) > 0 {
					i := rapid.IntRange(0, len(live)-1).Draw(r, "which")
					rec.Supersedes = live[i]
					old := points[live[i]]
					old.Live = false
					points[live[i]] = old
					live = slices.Delete(live, i, i+1)
				}
				rec.Derive()
				if _, err := db.SaveInspection(t.Context(), office, judged(rec)); err != nil {
					r.Fatal(err)
				}
				points[p.ID] = p
				live = append(live, p.ID)
			}
			var all []models.LifePoint
			for _, p := range points {
				all = append(all, p)
			}
			want := models.Life(all)
			onlyBlind := !slices.ContainsFunc(all, func(p models.LifePoint) bool { return p.Kind != assess.Blind })
			h, err := db.Pair(t.Context(), pair)
			switch {
			case onlyBlind:
				if err == nil {
					r.Fatalf("blind readings made pair %+v", h.Pair)
				}
			case err != nil:
				r.Fatal(err)
			case h.Life != want:
				r.Fatalf("stored %+v, want %+v", h.Life, want)
			case len(h.Inspections) != len(all):
				r.Fatalf("%d readings, want %d", len(h.Inspections), len(all))
			}
		})
		v, err := db.Verify(t.Context(), func(d models.Difference) error {
			if d.What == "life" {
				t.Errorf("%+v", d)
			}
			return nil
		})
		must(t, err)
		if v.Pairs == 0 {
			t.Error("no pair was verified")
		}
	})
}
