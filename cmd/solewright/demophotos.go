package main

import (
	"bytes"
	"context"
	"errors"
	"image/png"
	"log/slog"

	"solewright/assess"
	"solewright/models"
	"solewright/models/photos"
	"solewright/reports/sim"
)

// demoPhotos is how many of the newest tilts that were measured on a photo get
// one, and demoLook how many readings are looked through for them: they are drawn
// while people look around already.
const demoPhotos, demoLook = 150, 4000

// drawPhotos draws the photos that the invented retailer's newest tilts were
// measured on, and keeps them as if tablets had sent them.
func drawPhotos(ctx context.Context, db *models.DB, files *photos.Store, log *slog.Logger) {
	drawn, after := 0, ""
	for seen := 0; seen < demoLook && drawn < demoPhotos; {
		list, next, err := db.Inspections(ctx, models.InspectionFilter{Scopes: models.Fleet, Live: true}, models.Page{Limit: 200, After: after})
		if err != nil {
			logUnlessEnded(ctx, log, err)
			return
		}
		for _, in := range list {
			for _, foot := range []assess.Foot{assess.Left, assess.Right} {
				shoe := in.Shoe[foot]
				if !shoe[assess.TiltBy].Is(assess.ByPhoto) || !shoe[assess.Tilt].OK() {
					continue
				}
				if err := drawPhoto(ctx, db, files, in, foot, float64(shoe[assess.Tilt].Int())/100); err != nil {
					logUnlessEnded(ctx, log, err)
					return
				}
				drawn++
			}
		}
		seen, after = seen+len(list), next
		if next == "" {
			return
		}
	}
}

func logUnlessEnded(ctx context.Context, log *slog.Logger, err error) {
	if ctx.Err() == nil && !errors.Is(err, context.Canceled) {
		log.Warn("drawing photos", "error", err)
	}
}

func drawPhoto(ctx context.Context, db *models.DB, files *photos.Store, in *models.Inspection, foot assess.Foot, tilt float64) error {
	picture, points := sim.BackView(foot, tilt)
	var b bytes.Buffer
	if err := png.Encode(&b, picture); err != nil {
		return err
	}
	p, err := photos.Strip(b.Bytes())
	if err != nil {
		return err
	}
	stored := models.StoredPhoto{SHA: p.SHA, Bytes: len(p.Bytes), Width: p.Width, Height: p.Height}
	if stored.File, err = db.ExpectPhoto(ctx, stored); err != nil {
		return err
	}
	if err := files.Put(ctx, p, stored.File); err != nil {
		return err
	}
	_, _, err = db.SavePhoto(ctx, models.Actor{Account: in.Staff}, stored, p.Sent, models.PhotoLink{Store: in.Store, Inspection: in.ID, Foot: foot, View: models.ViewBack, Points: points})
	return err
}
