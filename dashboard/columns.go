package dashboard

import (
	"encoding/json"
	"math"

	"solewright/assess"
)

// columnRow is one column of a reading as the bench needs it.
type columnRow struct {
	Name  string   `json:"name"`
	Kind  string   `json:"kind"`
	Words []string `json:"words,omitempty"`
	Unit  string   `json:"unit,omitempty"`
	// Min and Max bound a measure, in its unit; Step is its smallest step.
	Min    float64 `json:"min,omitempty"`
	Max    float64 `json:"max,omitempty"`
	Step   float64 `json:"step,omitempty"`
	Check  bool    `json:"check,omitempty"`
	Needed bool    `json:"needed,omitempty"`
	Cant   bool    `json:"cant,omitempty"`
}

// columnKinds are the kinds of column in the words of columns.json.
var columnKinds = map[assess.Kind]string{
	assess.Grade: "grade", assess.Word: "word", assess.Side: "side", assess.Measure: "measure", assess.Zones: "zones",
}

// columnTable writes assess.Columns, the names of a model's as-new values and
// the closed lists around a reading as JSON: what the bench is built from.
func columnTable() ([]byte, error) {
	rows := make([]columnRow, assess.NumCols)
	for i, c := range assess.Columns {
		unit := math.Pow10(c.Decimals)
		rows[i] = columnRow{
			Name: c.Name, Kind: columnKinds[c.Kind], Words: c.Words, Unit: c.Unit,
			Check: c.Check, Needed: c.Needed, Cant: c.CantRead,
		}
		if c.Kind == assess.Measure {
			rows[i].Min, rows[i].Max, rows[i].Step = float64(c.Min)/unit, float64(c.Max)/unit, 1/unit
		}
	}
	var asNew []string
	for _, f := range assess.AsNewFields() {
		asNew = append(asNew, f.Name)
	}
	return json.Marshal(map[string]any{
		"shoe":   rows[:assess.NumShoe],
		"pair":   rows[assess.NumShoe:],
		"as_new": asNew,
		"lists": map[string][]string{
			"kind":      {assess.TradeIn.String(), assess.WearCheck.String()},
			"gait":      assess.GaitWords,
			"gait_by":   assess.GaitByWords,
			"strike":    assess.StrikeWords,
			"surface":   assess.Surfaces,
			"used_for":  assess.UsedForWords,
			"km_unit":   assess.KMUnitWords,
			"km_source": assess.KMSourceWords,
		},
	})
}
