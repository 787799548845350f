package wear_test

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"testing"

	"solewright/models"
	"solewright/reports/fleet"
	"solewright/reports/fleet/fleettest"
	"solewright/reports/sim"
	"solewright/reports/wear"
)

// A model against the others of its category is what solewright tally life --by says of
// the two, whose score test is held against published values.
func TestALifeAgainstItsCategoryIsTallysScoreTest(t *testing.T) {
	f := sim.New(sim.Options{Inspections: 6000})
	v, err := fleettest.Load(t.Context(), f)
	must(t, err)
	tested := 0
	for i := range f.Models {
		m := &f.Models[i]
		of := wear.Ask{Scopes: models.Fleet}.With(fleet.Gait, wear.GaitGroups[1].Words...)
		category := of.With(fleet.Category, m.Category)
		pooled, err := wear.PooledLife(v, category)
		must(t, err)
		got, err := wear.LifeAgainst(v, of.With(fleet.Model, m.ID.String()), pooled)
		must(t, err)
		groups, err := v.Life(category.Filter(), fleet.Model)
		must(t, err)
		var file bytes.Buffer
		file.WriteString("of,lower,upper,n\n")
		var pairs, others int
		for _, g := range groups {
			name := "others"
			if g.By[0] == m.ID.String() {
				name = "model"
			}
			for _, s := range g.Spans {
				upper := ""
				if s.Upper.OK() {
					upper = fmt.Sprint(s.Upper.Int())
				}
				fmt.Fprintf(&file, "%s,%d,%s,%d\n", name, s.Lower, upper, s.N)
				if others += s.N; name == "model" {
					pairs, others = pairs+s.N, others-s.N
				}
			}
		}
		if (got != nil) != (min(pairs, others) >= wear.MinPairs) {
			t.Errorf("of %d pairs beside %d there is a test: %t", pairs, others, got != nil)
		}
		if got == nil {
			continue
		}
		tested++
		score := command(t, file.Bytes(), "life", "--lower", "lower", "--upper", "upper", "--count", "n", "--by", "of").(map[string]any)["score"].(map[string]any)
		want, err := strconv.ParseFloat(fmt.Sprint(score["chi2"]), 64)
		if err != nil || math.Abs(got.Chi2-want) > 1e-6*(1+want) {
			t.Errorf("%s: chi2 %v, tally has %v", m.Model, got.Chi2, score)
		}
	}
	if tested < 10 {
		t.Errorf("only %d models were tested", tested)
	}
}
