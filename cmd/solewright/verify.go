package main

import (
	"context"
	"encoding/json"
	"fmt"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/fleet"
)

type verifyCmd struct {
	database
	photoStore
	JSON bool `name:"json" help:"Print one line of JSON a difference, and one of the counts."`
}

func (v *verifyCmd) Run(a *app) error {
	return v.use(a, func(db *models.DB) error {
		lines := json.NewEncoder(a.stdout)
		say := func(d models.Difference) error {
			if v.JSON {
				return lines.Encode(map[string]string{"subject": d.Subject, "what": d.What, "stored": d.Stored, "counted": d.Counted})
			}
			_, err := fmt.Fprintf(a.stdout, "%s: %s is stored as %q and counts as %q\n", d.Subject, d.What, d.Stored, d.Counted)
			return err
		}
		counted, err := db.Verify(a.ctx, say)
		if err != nil {
			return err
		}
		strayed, err := v.verifyFleet(a.ctx, db, say)
		if err != nil {
			return err
		}
		files, err := v.files(v.Data)
		if err != nil {
			return err
		}
		pictures, rotten, err := verifyPhotos(a.ctx, db, files, say)
		if err != nil {
			return err
		}
		counted.Differences += strayed + rotten
		if v.JSON {
			err = lines.Encode(map[string]int{
				"inspections": counted.Inspections, "pairs": counted.Pairs,
				"photos": pictures, "differences": counted.Differences, "unjudged": counted.Unjudged,
			})
		} else {
			_, err = fmt.Fprintf(a.stdout, "%d readings, %d pairs and %d photos recounted, %d differences\n",
				counted.Inspections, counted.Pairs, pictures, counted.Differences)
		}
		if err == nil && counted.Differences > 0 {
			err = fmt.Errorf("%d stored values differ from what they count as", counted.Differences)
		}
		return err
	})
}

// verifyFleet brings up the fleet in memory as the server does, from the snapshot
// in the data folder where there is one, and compares it with what the database
// says: every pair with its line of export pairs, and all readings by a copy that
// is read anew.
func (v *verifyCmd) verifyFleet(ctx context.Context, db *models.DB, differs func(models.Difference) error) (differences int, err error) {
	var views [2]*fleet.View
	for i, snapshot := range []string{v.snapshot(), ""} {
		c := fleet.New(fleet.Options{Source: db.Feed(), Snapshot: snapshot})
		if err := c.Load(ctx); err != nil {
			return 0, err
		}
		views[i] = c.View()
	}
	copied := make(map[string]string, views[0].Pairs)
	if err := views[0].Each(fleet.Filter{Scopes: models.Fleet}, func(l *fleet.Listed) error {
		copied[l.Pair] = fmt.Sprintf("%s %s to %s %s %s/%s %s %s %s", l.Word(fleet.Model), kilometres(l.Lower), kilometres(l.Upper),
			l.Word(fleet.Verdict), l.Word(fleet.HeelPattern), l.Word(fleet.ForePattern), l.Word(fleet.Reason), l.Word(fleet.Store), l.Word(fleet.Month))
		return nil
	}); err != nil {
		return 0, err
	}
	differ := func(subject, stored, counted string) error {
		if stored == counted {
			return nil
		}
		differences++
		return differs(models.Difference{Subject: subject, What: "fleet in memory", Stored: stored, Counted: counted})
	}
	if err := db.EachPairLine(ctx, models.Fleet, "", "", "", func(l *models.PairLine) error {
		model := ""
		if !l.ModelID.IsZero() {
			model = l.ModelID.String()
		}
		counted := fmt.Sprintf("%s %s to %s %s %s/%s %s %s %s", model, kilometres(l.Lower), kilometres(l.Upper),
			l.Verdict, l.Heel, l.Fore, l.Reason, l.Store, fleet.InCalendar(l.Month))
		stored := copied[l.Ref]
		delete(copied, l.Ref)
		return differ("pair:"+l.Ref, stored, counted)
	}); err != nil {
		return 0, err
	}
	for ref, stored := range copied {
		if err := differ("pair:"+ref, stored, ""); err != nil {
			return 0, err
		}
	}
	return differences, differ("fleet", state(views[0]), state(views[1]))
}

// state says what a view holds, in so few words that any difference shows.
func state(v *fleet.View) string {
	return fmt.Sprintf("%d readings of %d pairs, fingerprint %s", v.Rows, v.Pairs, v.Fingerprint())
}

// kilometres writes a distance, nothing where it is unread.
func kilometres(v assess.Value) string {
	if !v.OK() {
		return "-"
	}
	return fmt.Sprint(v.Int(), " km")
}
