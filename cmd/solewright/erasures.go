package main

import (
	"context"
	"log/slog"
	"time"

	"solewright/models"
	"solewright/models/photos"
)

// How often a server looks whether the day's erasures were replayed, and how
// long the one that does it may take before another does. House values: a tablet
// that was off line for hours brings an erased code back for a day at the most.
const (
	erasuresEvery = time.Hour
	erasuresLease = 30 * time.Minute
	erasuresJob   = "erasures"
)

// keepErased has the erasure list replayed, at once where today's turn is
// missing and then once a day, by one of all servers, and deletes the photos that
// nothing shows, as of erased runners, and the notes of who saw a verdict that
// have served, until the context ends.
func keepErased(ctx context.Context, db *models.DB, files *photos.Store, log *slog.Logger, now func() time.Time) {
	owner := thisServer()
	every(ctx, erasuresEvery, func() {
		runners, err := replayErasures(ctx, db, owner, now().UTC().Format(time.DateOnly))
		if err != nil && ctx.Err() == nil {
			log.Warn("replaying erasures", "error", err)
		}
		if runners > 0 {
			log.Info("erased again what came in late", "runners", runners)
		}
		if _, err := db.ForgetSeen(ctx); err != nil && ctx.Err() == nil {
			log.Warn("forgetting who saw verdicts", "error", err)
		}
		deleted, err := deletePhotos(ctx, db, files)
		if err != nil && ctx.Err() == nil {
			log.Warn("deleting photos", "error", err)
		}
		if deleted > 0 {
			log.Info("deleted photos that nothing shows", "photos", deleted)
		}
	})
}

// replayErasures erases the runners whom the list marks and who are back, once a
// day where no server did or does, and returns how many they were.
func replayErasures(ctx context.Context, db *models.DB, owner, day string) (runners int, err error) {
	mine, err := db.ClaimJob(ctx, erasuresJob, day, owner, erasuresLease)
	if err != nil || !mine {
		return 0, err
	}
	list, err := db.Erasures(ctx)
	if err != nil {
		return 0, err
	}
	if len(list) > 0 {
		done, err := db.ReplayErasures(ctx, models.Actor{Account: "solewright"}, list)
		if err != nil {
			return len(done), err
		}
		runners = len(done)
	}
	return runners, db.FinishJob(ctx, erasuresJob, day, owner)
}
