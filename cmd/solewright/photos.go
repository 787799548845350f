package main

import (
	"context"
	"encoding/hex"
	"errors"
	"path/filepath"

	"solewright/models"
	"solewright/models/photos"
)

// photoFolder is where the photos are, the same in every command that needs them.
type photoFolder struct {
	Photos string `placeholder:"URL" help:"file:DIR of the photos (default photos in the data folder)."`
}

func (p *photoFolder) files(data string) (*photos.Files, error) {
	url := p.Photos
	if url == "" {
		url = "file:" + filepath.Join(data, "photos")
	}
	return photos.Open(url)
}

// deletePhotos deletes the files of the photos that nothing shows any more, and
// returns how many it deleted. One that fails doesn't keep the others; it is
// tried again the next time.
func deletePhotos(ctx context.Context, db *models.DB, files *photos.Files) (deleted int, err error) {
	gone, err := db.PhotosToDelete(ctx)
	if err != nil {
		return 0, err
	}
	var failed []error
	for _, sha := range gone {
		if err := files.Delete(sha); err != nil {
			failed = append(failed, err)
			continue
		}
		if err := db.PhotoDeleted(ctx, sha); err != nil {
			failed = append(failed, err)
			continue
		}
		deleted++
	}
	return deleted, errors.Join(failed...)
}

// verifyPhotos reads the file of every photo again.
func verifyPhotos(ctx context.Context, db *models.DB, files *photos.Files, differs func(models.Difference) error) (read, differences int, err error) {
	err = db.EachPhoto(ctx, func(p models.StoredPhoto) error {
		read++
		wrong, err := files.Check(ctx, p.SHA)
		if err != nil || wrong == "" {
			return err
		}
		differences++
		return differs(models.Difference{Subject: "photo:" + hex.EncodeToString(p.SHA[:]), What: "file", Stored: "whole", Counted: wrong})
	})
	return read, differences, err
}
