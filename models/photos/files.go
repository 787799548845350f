package photos

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Files keeps photos in a folder, which several servers may share: a file for
// each, named by its hash, in 256 folders. It is safe for concurrent use.
type Files struct{ dir string }

// Open returns the photos of file:DIR. The folder is made with the first of them.
func Open(url string) (*Files, error) {
	dir, ok := strings.CutPrefix(url, "file:")
	if !ok || dir == "" {
		return nil, fmt.Errorf("photos %q: want file:DIR", url)
	}
	return &Files{dir: dir}, clearParts(dir)
}

// oldPart is how long nobody writes one file. House value.
const oldPart = time.Hour

// clearParts removes what a server that was killed left half written.
func clearParts(dir string) error {
	parts, err := filepath.Glob(filepath.Join(dir, "*", ".part-*"))
	if err != nil {
		return err
	}
	for _, part := range parts {
		if info, err := os.Stat(part); err == nil && time.Since(info.ModTime()) > oldPart {
			os.Remove(part)
		}
	}
	return nil
}

// path names a photo's file; width 0 is the photo itself.
func (f *Files) path(sha [sha256.Size]byte, width int) string {
	name := hex.EncodeToString(sha[:])
	if width > 0 {
		return filepath.Join(f.dir, name[:2], name+"."+strconv.Itoa(width)+".jpg")
	}
	return filepath.Join(f.dir, name[:2], name+".jpg")
}

// Put keeps a photo. It is on the disk, whole, when Put returns nil; a second
// time changes nothing.
func (f *Files) Put(p *Photo) error {
	if _, err := os.Stat(f.path(p.SHA, 0)); err == nil {
		return nil
	}
	return f.write(f.path(p.SHA, 0), p.Bytes)
}

// write writes a file so that others see all of it or none.
func (f *Files) write(path string, data []byte) (err error) {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("keeping a photo: %w", err)
	}
	part, err := os.CreateTemp(dir, ".part-*")
	if err != nil {
		return fmt.Errorf("keeping a photo: %w", err)
	}
	defer func() {
		if err != nil {
			os.Remove(part.Name())
			err = fmt.Errorf("keeping a photo: %w", err)
		}
	}()
	_, err = part.Write(data)
	if err == nil {
		err = part.Sync()
	}
	if e := part.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(part.Name(), path)
	}
	if err != nil {
		return err
	}
	return syncDir(dir)
}

// syncDir makes what was renamed within a folder outlast a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Bytes returns a photo, no wider or higher than a width of Widths, or as it is
// kept where width is 0. A small picture is made once and kept beside it.
//
// Errors: fs.ErrNotExist where the file is gone.
func (f *Files) Bytes(sha [sha256.Size]byte, width int) ([]byte, error) {
	if width != 0 && !slices.Contains(Widths, width) {
		return nil, fmt.Errorf("a width of %d: want one of %v", width, Widths)
	}
	data, err := os.ReadFile(f.path(sha, width))
	if err == nil || width == 0 || !errors.Is(err, fs.ErrNotExist) {
		return data, err
	}
	if data, err = os.ReadFile(f.path(sha, 0)); err != nil {
		return nil, err
	}
	if data, err = smaller(data, width); err != nil {
		return nil, fmt.Errorf("photo %x: %w", sha, err)
	}
	// Not keeping it costs making it again, and no answer.
	_ = f.write(f.path(sha, width), data)
	return data, nil
}

// Delete removes a photo and what was made of it; one that isn't there is no
// error.
func (f *Files) Delete(sha [sha256.Size]byte) error {
	for _, width := range append([]int{0}, Widths...) {
		if err := os.Remove(f.path(sha, width)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("deleting a photo: %w", err)
		}
	}
	return nil
}

// Check reads a photo and says what is wrong with its file, nothing where it is
// whole.
func (f *Files) Check(ctx context.Context, sha [sha256.Size]byte) (wrong string, err error) {
	if err := ctx.Err(); err != nil {
		return "", err
	}
	data, err := os.ReadFile(f.path(sha, 0))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "its file is missing", nil
	case err != nil:
		return "", err
	case sha256.Sum256(data) != sha:
		return "its file holds other bytes", nil
	}
	return "", nil
}
