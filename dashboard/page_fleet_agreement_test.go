package dashboard

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
	"solewright/reports/stats"
	"solewright/reports/tally"
)

// readTwice makes pairs whose bonds were read as a table says: counts[i][j] shoes
// were read at level i and then, blind, at level j.
func readTwice(counts [][]int) []models.SecondReading {
	var all []models.SecondReading
	shoe := assess.Left
	for i, row := range counts {
		for j, n := range row {
			for range n {
				if shoe == assess.Left {
					b := &models.Inspection{}
					b.ID[0], b.ID[1] = byte(len(all)), byte(len(all)>>8)
					all = append(all, models.SecondReading{First: &models.Inspection{}, Blind: b})
				}
				r := &all[len(all)-1]
				r.First.Shoe[shoe][assess.Bond], r.Blind.Shoe[shoe][assess.Bond] = assess.Of(i), assess.Of(j)
				shoe = 1 - shoe
			}
		}
	}
	return all
}

// What the page computes of the stored readings is what tally computes of their
// file, and what is published.
func TestAgreementIsWhatTallySaysOfTheFile(t *testing.T) {
	readings := readTwice([][]int{{106, 10, 4}, {22, 28, 10}, {2, 12, 6}})
	var on *agreeOn
	for _, o := range agreeOns() {
		if o.name == "bond" {
			on = &o
		}
	}
	file, err := on.csv(readings)
	must(t, err)
	lines, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
	must(t, err)
	result, err := tally.Compute([]string{
		"agreement", "--item", "item", "--rater", "reading", "--grade", "grade", "--scale", "ordinal", "--levels", strings.Join(on.levels(), ","),
	}, tally.Table{Columns: lines[0], Rows: lines[1:]})
	must(t, err)
	var all struct {
		Groups []struct {
			AC1      float64 `json:"ac1"`
			Pairwise []struct {
				Kappa stats.Kappas `json:"kappa"`
			} `json:"pairwise"`
		} `json:"groups"`
	}
	must(t, result.Decode(&all))
	said := all.Groups[0]

	counted := on.count(readings)
	ac1, err := stats.ClusteredAC1(counted, 3, agreementConf)
	must(t, err)
	linear, err := stats.ClusteredKappa(counted, stats.LinearWeights(3), agreementConf)
	must(t, err)
	kappa, err := stats.ClusteredKappa(counted, stats.IdentityWeights(3), agreementConf)
	must(t, err)
	for _, tt := range []struct {
		name        string
		page, tally float64
		want        float64
		source      string
	}{
		{"kappa, linear weights", linear.Value, said.Pairwise[0].Kappa.Linear.Kappa, .4923076923, "[R] statsmodels 0.13.5 cohens_kappa on the table of Fleiss, Cohen & Everitt 1969 [M]"},
		{"kappa", kappa.Value, said.Pairwise[0].Kappa.Unweighted.Kappa, .4285714286, "[R] statsmodels 0.13.5 cohens_kappa on the same table"},
		{"AC1", ac1.Value, said.AC1, .5935648, "by hand from the formula of Gwet 2008: p_a .7, p_e .261875"},
	} {
		if math.Abs(tt.page-tt.want) > 1e-7 || math.Abs(tt.tally-tt.want) > 1e-7 {
			t.Errorf("%s: the page has %.8f, tally %.8f; want %.8f: %s", tt.name, tt.page, tt.tally, tt.want, tt.source)
		}
	}
	if low, high, n := counted.confused(); low != 0 || high != 1 || n != 32 {
		t.Errorf("most often taken for one another are %d and %d, %d times; want 0 and 1, 22 + 10 times", low, high, n)
	}
}

func TestReadersSeeHowAlikeTheyRead(t *testing.T) {
	r := newRig(t)
	first := r.put(1, soundReading)
	ref := first["pair_ref"].(string)
	blind := soundReading.with(fields{"kind": "blind", "pair_ref": ref, "staff": "F-2", "at": "2026-10-05T11:30:00Z"})
	left := fields{}
	for k, v := range soundReading["left"].(fields) {
		left[k] = v
	}
	left["bond"] = "lifting"
	delete(blind, "given")
	r.put(2, blind.with(fields{"left": left}))
	r.put(3, blind.with(fields{"staff": "F-3", "at": "2026-10-06T11:30:00Z"})) // another day is another wear

	page := r.sees("/fleet/agreement?from=2026-01-01")
	r.shows(page, "How alike readers read", "50%", "attached and lifting: 1", "few pairs")
	readings, _, err := r.db.SecondReadings(t.Context(), models.InspectionFilter{Scopes: models.Fleet}, maxSecond)
	must(t, err)
	alike, places := 0, 0
	for _, on := range agreeOns() {
		for _, p := range on.places(&readings[0]) {
			places++
			if p.a == p.b {
				alike++
			}
		}
	}
	if len(readings) != 1 || alike != places-1 {
		t.Fatalf("%d pairs read twice, %d of %d places alike; want one pair and one place apart", len(readings), alike, places)
	}
	r.shows(r.sees("/fleet/stores/"+storeA+"?from=2026-10&to=2026-10"), fmt.Sprintf("Pairs read twice: 1. Of %d places on them, %.0f%% were read alike.", places, 100*float64(alike)/float64(places)))
	w := r.call("GET", "/fleet/agreement?from=2026-01-01&as=csv&check=bond", r.token(retail.Trainer, retail.Scope{}), nil)
	want(t, w, http.StatusOK)
	if got := strings.Count(w.Body.String(), "\n"); got != 5 || !strings.Contains(w.Body.String(), ",bond,left,blind,lifting\n") || strings.Contains(w.Body.String(), "F-2") {
		t.Errorf("the file holds %s, want both shoes as both read them, and no names", w.Body)
	}
	south := r.call("GET", "/fleet/agreement", r.token(retail.Manager, retail.Scope{Region: regionB}), nil)
	want(t, south, http.StatusOK)
	if !strings.Contains(south.Body.String(), "No pair was read a second time") {
		t.Error("the other region's manager sees it")
	}
	want(t, r.call("GET", "/fleet/agreement?as=csv&check=nonsense", r.office(), nil), http.StatusBadRequest)
	want(t, r.call("GET", "/fleet/agreement?from=yesterday", r.office(), nil), http.StatusBadRequest)
}

// A second reading is blind: who read the pair openly that day makes none, by the
// API or by the amendment of one.
func TestNobodyReadsAPairBlindAfterReadingItOpenly(t *testing.T) {
	r := newRig(t)
	ref := r.put(1, soundReading)["pair_ref"].(string)
	blind := soundReading.with(fields{"kind": "blind", "pair_ref": ref, "at": "2026-10-05T11:30:00Z"})
	delete(blind, "given")
	put := func(n int, body fields) *problemAnswer {
		w := r.call("PUT", apiRoot+"/inspections/"+id(n), r.fitter(), body)
		if w.Code == http.StatusCreated {
			return nil
		}
		want(t, w, http.StatusUnprocessableEntity)
		p := decoded[problemAnswer](t, w)
		return &p
	}
	p := put(2, blind)
	if p == nil || len(p.Errors) != 1 || p.Errors[0].Pointer != "#/staff" || !strings.Contains(p.Errors[0].Detail, "has not read the pair openly that day") {
		t.Fatalf("the same person's second reading: %+v", p)
	}
	if p := put(3, blind.with(fields{"staff": "F-2"})); p != nil {
		t.Errorf("somebody else's is refused: %+v", p)
	}
	if p := put(4, blind.with(fields{"at": "2026-10-06T11:30:00Z"})); p != nil {
		t.Errorf("one of another day is refused: %+v", p)
	}
	// One that was corrected by somebody else was read by both.
	want(t, r.call("POST", apiRoot+"/inspections/"+id(1)+"/amend", r.fitter(), soundReading.with(fields{"staff": "F-3", "inspection_id": id(5)})), http.StatusCreated)
	for _, who := range []string{"F-1", "F-3"} {
		if p := put(6, blind.with(fields{"staff": who})); p == nil {
			t.Errorf("%s read the pair and reads it blind", who)
		}
	}
	w := r.call("POST", apiRoot+"/inspections/"+id(3)+"/amend", r.office(), blind.with(fields{"inspection_id": id(7)}))
	if w.Code != http.StatusUnprocessableEntity {
		t.Errorf("a second reading becomes F-1's by an amendment: %d %s", w.Code, w.Body)
	}
	// A reading that was void was of nothing.
	want(t, r.call("POST", apiRoot+"/inspections/"+id(5)+"/void", r.office(), fields{"reason": "wrong pair"}), http.StatusOK)
	if p := put(8, blind.with(fields{"staff": "F-3"})); p != nil {
		t.Errorf("after voiding: %s", fmt.Sprint(p))
	}
}

// problemAnswer is a problem of the API.
type problemAnswer struct {
	Errors []badValue `json:"errors"`
}
