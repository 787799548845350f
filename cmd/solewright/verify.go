package main

import (
	"encoding/json"
	"fmt"

	"solewright/models"
)

type verifyCmd struct {
	database
	JSON bool `name:"json" help:"Print one line of JSON a difference, and one of the counts."`
}

func (v *verifyCmd) Run(a *app) error {
	return v.use(a, func(db *models.DB) error {
		lines := json.NewEncoder(a.stdout)
		counted, err := db.Verify(a.ctx, func(d models.Difference) error {
			if v.JSON {
				return lines.Encode(map[string]string{"subject": d.Subject, "what": d.What, "stored": d.Stored, "counted": d.Counted})
			}
			_, err := fmt.Fprintf(a.stdout, "%s: %s is stored as %q and counts as %q\n", d.Subject, d.What, d.Stored, d.Counted)
			return err
		})
		if err != nil {
			return err
		}
		if v.JSON {
			err = lines.Encode(map[string]int{
				"inspections": counted.Inspections, "pairs": counted.Pairs,
				"differences": counted.Differences, "unjudged": counted.Unjudged,
			})
		} else {
			_, err = fmt.Fprintf(a.stdout, "%d readings and %d pairs recounted, %d differences\n",
				counted.Inspections, counted.Pairs, counted.Differences)
		}
		if err == nil && counted.Differences > 0 {
			err = fmt.Errorf("%d stored values differ from what they count as", counted.Differences)
		}
		return err
	})
}
