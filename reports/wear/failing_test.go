package wear_test

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/fleet"
	"solewright/reports/fleet/fleettest"
	"solewright/reports/sim"
	"solewright/reports/stats"
	"solewright/reports/wear"
)

// failures are those of an invented fleet.
func failures(t *testing.T, o sim.Options) (*sim.Fleet, *fleet.View, *wear.Failures, wear.Ask) {
	t.Helper()
	f := sim.New(o)
	v, err := fleettest.Load(t.Context(), f)
	must(t, err)
	ask := wear.Ask{Scopes: models.Fleet}
	found, err := wear.FindFailures(v, ask)
	must(t, err)
	return f, v, found, ask
}

// points are what tally said of a chart's parts, one after the other.
func points(t *testing.T, c *wear.FailureChart) (values []float64, first int) {
	t.Helper()
	first = -1
	for _, part := range c.Parts {
		var chart struct {
			Groups []struct {
				Points []struct {
					Value float64
					Out   bool
				}
			}
		}
		must(t, part.Chart.Decode(&chart))
		for _, p := range chart.Groups[0].Points {
			if p.Out && first < 0 {
				first = len(values)
			}
			values = append(values, p.Value)
		}
	}
	return values, first
}

// The chart is what solewright tally prints for its cases, to the last digit.
func TestTheFailureChartIsThatOfTally(t *testing.T) {
	f, v, found, ask := failures(t, sim.Options{Plant: true})
	m := &f.Models[f.Plants().BatchModel]
	c, err := found.Chart(v, ask, m.Category, m.ID.String(), "", nil)
	must(t, err)
	if len(c.Parts) != 1 || len(c.Cases) < 500 {
		t.Fatalf("%d parts of %d cases", len(c.Parts), len(c.Cases))
	}
	var file bytes.Buffer
	file.WriteString("day,failed,expected\n")
	for _, x := range c.Cases {
		fmt.Fprintf(&file, "%s,%d,%s\n", x.Day, map[bool]int{true: 1}[x.Failed], strconv.FormatFloat(x.Expected, 'g', -1, 64))
	}
	got := object(t, c.Parts[0].Chart.RawMessage)
	want := command(t, file.Bytes(), "chart", "--kind", "ra-cusum", "--order", "day", "--event", "failed", "--expected", "expected", "--odds", "2", "--h", "4.5")
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the chart differs from tally's: %.20q", differences("", got, want))
	}
	tail := command(t, file.Bytes(), "tail", "--expected", "expected", "--hits", strconv.Itoa(c.Worn)).(map[string]any)["groups"].([]any)[0].(map[string]any)
	if p, err := strconv.ParseFloat(fmt.Sprint(tail["p_at_least"]), 64); err != nil || math.Abs(p-c.P.V) > 1e-12*p {
		t.Errorf("p %v, tally's tail %v, %v", c.P, tail["p_at_least"], err)
	}
}

// What was expected of a pair's first reading is one less the share that tally life
// has sound there, on the pairs of its category and gait, with odds that make all
// readings of the category expect what they found.
func TestWhatIsExpectedIsTheLifeOfTheCategory(t *testing.T) {
	f, v, found, ask := failures(t, sim.Options{Inspections: 8000})
	m := &f.Models[f.Plants().Model]
	c, err := found.Chart(v, ask, m.Category, m.ID.String(), "", nil)
	must(t, err)
	life, err := wear.Life(v, ask.With(fleet.Category, m.Category).With(fleet.Gait, wear.GaitGroups[1].Words...), 0)
	must(t, err)
	var answer struct {
		Groups []struct {
			Curve []stats.BracketPoint
		}
	}
	must(t, life.Decode(&answer))
	sound := (&stats.Life{Curve: answer.Groups[0].Curve}).SurvivalAt
	neutral := ask.With(fleet.Model, m.ID.String())
	neutral.Readings = true
	visits, err := v.Visits(neutral.Filter(), fleet.Gait)
	must(t, err)
	first, gait := map[string]fleet.Visit{}, map[string]string{}
	for _, x := range visits {
		if _, ok := first[x.Pair]; !ok && (x.Worn || x.Sound) && x.KM.OK() {
			first[x.Pair], gait[x.Pair] = x, x.By[0]
		}
	}
	checked := 0
	for _, x := range c.Cases {
		if at := first[x.Pair]; at.Day != x.Day || at.KM.Int() != x.KM || gait[x.Pair] != wear.GaitGroups[1].Words[0] {
			continue
		}
		raw := 1 - sound(float64(x.KM))
		if want := c.FirstOdds * raw / (1 - raw + c.FirstOdds*raw); math.Abs(want-x.Expected) > 1e-12 {
			t.Fatalf("at %d km %v is expected, want %v", x.KM, x.Expected, want)
		}
		checked++
	}
	if checked < 20 {
		t.Errorf("only %d first readings were checked", checked)
	}
	worn, expected := 0, 0.0
	for i := range f.Models {
		if x := &f.Models[i]; x.Category == m.Category {
			c, err := found.Chart(v, ask, x.Category, x.ID.String(), "", nil)
			must(t, err)
			worn, expected = worn+c.Worn, expected+c.Expected
		}
	}
	if math.Abs(expected-float64(worn)) > 0.5 {
		t.Errorf("%v are expected in the category, %d were worn", expected, worn)
	}
}

func TestTheFailureChartBeginsAnewWithTheRules(t *testing.T) {
	f, v, found, ask := failures(t, sim.Options{Plant: true})
	m := &f.Models[f.Plants().BatchModel]
	restarts := []wear.FailureRestart{{Day: "2026-01-15", Rules: 3}, {Day: "2025-09-01", Rules: 2}, {Day: "2031-01-01", Rules: 4}}
	c, err := found.Chart(v, ask, m.Category, m.ID.String(), "", restarts)
	must(t, err)
	var rules []int
	for _, p := range c.Parts {
		rules = append(rules, p.Rules)
	}
	if !slices.Equal(rules, []int{0, 2, 3}) {
		t.Fatalf("parts under rules %v", rules)
	}
	values, _ := points(t, c)
	if len(values) != len(c.Cases) {
		t.Fatalf("%d points of %d cases", len(values), len(c.Cases))
	}
	for i, x := range c.Cases {
		if i > 0 && c.Cases[i-1].Day < "2025-09-01" && x.Day >= "2025-09-01" {
			// The first case after a restart adds to nothing: log of the odds over what is
			// left, Steiner et al. 2000.
			want := math.Max(0, math.Log(map[bool]float64{true: wear.FailureOdds, false: 1}[x.Failed]/(1+(wear.FailureOdds-1)*x.Expected)))
			if math.Abs(values[i]-want) > 1e-12 {
				t.Errorf("the sum after the restart is %v, want %v", values[i], want)
			}
		}
	}
}

// The planted batch is signalled, by its own chart sooner than doubled odds would
// be; the exact tail is beyond doubt, and no batch or model is charged with what
// isn't there to expect.
func TestThePlantedBatchFailsEarly(t *testing.T) {
	f, v, found, ask := failures(t, sim.Options{Plant: true})
	p := f.Plants()
	m := &f.Models[p.BatchModel]
	c, err := found.Chart(v, ask, m.Category, m.ID.String(), p.Batch, nil)
	must(t, err)
	_, first := points(t, c)
	if first < 0 || float64(first+1) > c.Doubled.V || c.P.V > 1e-9 {
		t.Errorf("the chart signals at reading %d, doubled odds after %v; p %v", first+1, c.Doubled, c.P)
	}
	whole, err := found.Chart(v, ask, m.Category, m.ID.String(), "", nil)
	must(t, err)
	if !whole.Q.OK || whole.Q.V >= 0.05 || whole.Tested < 20 {
		t.Errorf("over %d models q %v", whole.Tested, whole.Q)
	}
	t.Run("days bound the cases, not what was known before them", func(t *testing.T) {
		part := ask
		part.From, part.To = "2026-01", "2026-03"
		some, err := found.Chart(v, part, m.Category, m.ID.String(), "", nil)
		must(t, err)
		var want []wear.FailureCase
		for _, x := range whole.Cases {
			if x.Day >= "2026-01-01" && x.Day <= "2026-03-31" {
				want = append(want, x)
			}
		}
		if len(want) == 0 || !slices.Equal(some.Cases, want) || some.Q.OK {
			t.Errorf("%d cases, want %d; q %v", len(some.Cases), len(want), some.Q)
		}
	})
	t.Run("a pair counts until it is found worn", func(t *testing.T) {
		worn := map[string]bool{}
		for _, x := range whole.Cases {
			if worn[x.Pair] || x.KM >= wear.EarlyKM {
				t.Fatalf("%+v counts", x)
			}
			worn[x.Pair] = x.Failed
		}
	})
	t.Run("where nothing can be expected it says why", func(t *testing.T) {
		none, err := found.Chart(v, ask, "", m.ID.String(), "", nil)
		must(t, err)
		never, err := found.Chart(v, ask, m.Category, assess.UUID{}.String(), "", nil)
		must(t, err)
		if none.Why != wear.NoBaseline || never.Why != wear.NeverEarly || len(none.Parts)+len(never.Parts) > 0 {
			t.Errorf("%q and %q", none.Why, never.Why)
		}
	})
}
