package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"solewright/models"
	"solewright/models/photos"
)

// photoStore is where the photos are, the same in every command that needs them.
type photoStore struct {
	Photos           string `placeholder:"URL" help:"file:DIR of the photos (default photos in the data folder), or s3:https://HOST/BUCKET/PREFIX?region=NAME, which several servers share."`
	PhotosKey        string `placeholder:"KEY" help:"Key to the bucket of photos."`
	PhotosSecretFile string `placeholder:"FILE" help:"File with the secret of the key to the bucket of photos."`
}

func (p *photoStore) files(data string) (*photos.Store, error) {
	url, access := p.Photos, photos.Access{Key: p.PhotosKey}
	if url == "" {
		url = "file:" + filepath.Join(data, "photos")
	}
	if p.PhotosSecretFile != "" {
		secret, err := os.ReadFile(p.PhotosSecretFile)
		if err != nil {
			return nil, fmt.Errorf("--photos-secret-file: %w", err)
		}
		access.Secret = strings.TrimSpace(string(secret))
	}
	files, err := photos.Open(url, access)
	if err != nil {
		return nil, usageError{fmt.Errorf("--photos: %w", err)}
	}
	return files, nil
}

// deletePhotos deletes the files of the photos that nothing shows, and what was
// left half written, and returns how many photos it deleted. One that fails
// doesn't keep the others; it is tried again the next time.
func deletePhotos(ctx context.Context, db *models.DB, files *photos.Store) (deleted int, err error) {
	gone, err := db.PhotosToDelete(ctx)
	if err != nil {
		return 0, err
	}
	failed := []error{files.Tidy()}
	for _, p := range gone {
		if err := files.Delete(ctx, photos.Name{SHA: p.SHA, File: p.File}); err != nil {
			failed = append(failed, err)
			continue
		}
		if err := db.PhotoDeleted(ctx, p); err != nil {
			failed = append(failed, err)
			continue
		}
		deleted++
	}
	return deleted, errors.Join(failed...)
}

// verifyPhotos reads the file of every photo again.
func verifyPhotos(ctx context.Context, db *models.DB, files *photos.Store, differs func(models.Difference) error) (read, differences int, err error) {
	err = db.EachPhoto(ctx, func(p models.StoredPhoto) error {
		read++
		wrong, err := files.Check(ctx, photos.Name{SHA: p.SHA, File: p.File})
		if err != nil || wrong == "" {
			return err
		}
		differences++
		return differs(models.Difference{Subject: "photo:" + hex.EncodeToString(p.SHA[:]), What: "file", Stored: "whole", Counted: wrong})
	})
	return read, differences, err
}
