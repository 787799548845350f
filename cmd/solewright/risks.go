package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"time"

	"solewright/models"
	"solewright/reports/risk"
)

// How often a server looks whether the day's tables are there, and how long the
// one that computes them may take before another does. House values; a hundred
// million pairs come as some hundred thousand distinct intervals.
const (
	risksEvery = time.Hour
	risksLease = 10 * time.Minute
	risksJob   = "risk"
)

// keepRisks has the risk by distance computed, at once where today's is missing
// and then once a day, by one of all servers, until the context ends.
func keepRisks(ctx context.Context, db *models.DB, log *slog.Logger, now func() time.Time) {
	owner := thisServer()
	every(ctx, risksEvery, func() {
		curves, err := computeRisks(ctx, db, owner, now().UTC().Format(time.DateOnly))
		switch {
		case err != nil && ctx.Err() == nil:
			log.Warn("computing the risk by distance", "error", err)
		case curves > 0:
			log.Info("computed the risk by distance", "curves", curves)
		}
	})
}

// thisServer names this process among those that share a database.
func thisServer() string {
	host, err := os.Hostname()
	if err != nil {
		host = "unknown"
	}
	return fmt.Sprintf("%s:%d", host, os.Getpid())
}

// computeRisks computes the tables of a day where no server did or does, and
// returns how many curves they hold. While no life is measured yet nothing is
// stored and the day stays open, to be tried again.
func computeRisks(ctx context.Context, db *models.DB, owner, day string) (curves int, err error) {
	mine, err := db.ClaimJob(ctx, risksJob, day, owner, risksLease)
	if err != nil || !mine {
		return 0, err
	}
	counts, err := db.Lives(ctx)
	if err != nil {
		return 0, err
	}
	lives := make([]risk.Life, len(counts))
	pairs := 0
	for i, c := range counts {
		lives[i] = risk.Life{Model: c.Model.String(), Category: c.Category, Lower: c.Lower, Upper: c.Upper, Pairs: c.Pairs}
		pairs += c.Pairs
	}
	tables, err := risk.Tables(lives, day)
	if err != nil || len(tables.Curves) == 0 {
		return 0, err
	}
	if _, err := db.AddRisks(ctx, models.Actor{Account: "solewright"}, tables, fmt.Sprintf("measured life of %d pairs", pairs)); err != nil {
		return 0, err
	}
	return len(tables.Curves), db.FinishJob(ctx, risksJob, day, owner)
}
