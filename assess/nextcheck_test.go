package assess

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
)

func TestNextCheck(t *testing.T) {
	risks := &RiskTables{AsOf: "2026-10-01", Risk: 2000, Curves: []RiskCurve{
		{By: NextByModel, Of: "m1", Steps: []RiskStep{{0, 300}, {200, 420}, {300, 450}}},
		{By: NextByCategory, Of: "daily", Steps: []RiskStep{{0, 350}, {400, 600}}},
		{By: NextByAll, Steps: []RiskStep{{0, 400}, {500, 700}}},
	}}
	const house, measured = "dated table, house value [D]", "conditional quantile looked up in the curve given"
	for _, tc := range []struct {
		name            string
		verdict         Verdict
		how             How
		category, model string
		km              Value
		risks           *RiskTables
		want            ComeBack
		ok              bool
		source          string
	}{
		{"keep by the table", Keep, NoHow, "daily", "m1", Of(100), nil, ComeBack{250, 90, Of(350), NextByTable}, true, house},
		{"keep, distance unknown", Keep, NoHow, "daily", "m1", Unread, risks, ComeBack{250, 90, Unread, NextByTable}, true, house},
		{"keep by the category's row", Keep, NoHow, "race", "", Of(100), nil, ComeBack{150, 90, Of(250), NextByTable}, true, house},
		{"recheck later by the table, whatever is measured", RecheckPair, Later, "daily", "m1", Of(100), risks, ComeBack{100, 30, Of(200), NextByTable}, true, house},
		{"recheck now has none", RecheckPair, Now, "daily", "m1", Of(100), risks, ComeBack{}, false, house},
		{"replace has none", ReplacePair, NoHow, "daily", "m1", Of(100), risks, ComeBack{}, false, house},
		{"not finished has none", Incomplete, NoHow, "daily", "m1", Of(100), risks, ComeBack{}, false, house},
		{"keep by the model", Keep, NoHow, "daily", "m1", Of(199), risks, ComeBack{101, 90, Of(300), NextByModel}, true, measured},
		{"on a step", Keep, NoHow, "daily", "m1", Of(200), risks, ComeBack{220, 90, Of(420), NextByModel}, true, measured},
		{"at the last step", Keep, NoHow, "daily", "m1", Of(300), risks, ComeBack{150, 90, Of(450), NextByModel}, true, measured},
		{"beyond the model's data by the category", Keep, NoHow, "daily", "m1", Of(301), risks, ComeBack{49, 90, Of(350), NextByCategory}, true, measured},
		{"a step that was passed is not answered with the past", Keep, NoHow, "daily", "m2", Of(360), risks, ComeBack{240, 90, Of(600), NextByCategory}, true, measured},
		{"nor one that is just reached", Keep, NoHow, "daily", "m2", Of(350), risks, ComeBack{250, 90, Of(600), NextByCategory}, true, measured},
		{"beyond the category's data by all", Keep, NoHow, "daily", "m2", Of(401), risks, ComeBack{299, 90, Of(700), NextByAll}, true, measured},
		{"another category by all", Keep, NoHow, "tempo", "", Of(10), risks, ComeBack{390, 90, Of(400), NextByAll}, true, measured},
		{"beyond all data by the table", Keep, NoHow, "daily", "m1", Of(501), risks, ComeBack{250, 90, Of(751), NextByTable}, true, measured},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, ok := Default().NextCheck(tc.verdict, tc.how, tc.category, tc.model, tc.km, tc.risks)
			if got != tc.want || ok != tc.ok {
				t.Errorf("got %+v, %v, want %+v, %v (%s)", got, ok, tc.want, tc.ok, tc.source)
			}
		})
	}
}

func TestParseRiskTables(t *testing.T) {
	const good = `{"as_of":"2026-10-01","risk":20,"curves":[{"by":"model","of":"m1","steps":[{"next_km":300},{"at_km":200,"next_km":420}]},{"by":"all","steps":[{"next_km":400}]}]}`
	var tables RiskTables
	if err := json.Unmarshal([]byte(good), &tables); err != nil {
		t.Fatal(err)
	}
	if text, err := json.Marshal(tables); err != nil || string(text) != good {
		t.Errorf("written again %s, %v", text, err)
	}
	for _, tc := range []struct {
		name, old, new, want string
		err                  error
	}{
		{"falling steps", `"at_km":200`, `"at_km":0`, "/curves/0/steps/1", ErrInconsistent},
		{"a step into the past", `"next_km":420`, `"next_km":200`, `/curves/0/steps/1: "200 to 200"`, ErrInconsistent},
		{"a basis", `"model"`, `"table"`, `/curves/0/by: "table" out of range`, ErrOutOfRange},
		{"a risk", `"risk":20`, `"risk":120`, `/risk: "120" out of range`, ErrOutOfRange},
		{"a day", "2026-10-01", "soon", `/as_of: "soon" out of range`, ErrOutOfRange},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := ParseRiskTables([]byte(strings.Replace(good, tc.old, tc.new, 1)))
			if !errors.Is(err, tc.err) || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want %s", err, tc.want)
			}
		})
	}
}
