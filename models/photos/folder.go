package photos

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// folder keeps photos in a folder, a file for each.
type folder string

// oldPart is how long nobody writes one file. House value.
const oldPart = time.Hour

func (f folder) tidy() error {
	parts, err := filepath.Glob(f.path("*/.part-*"))
	if err != nil {
		return err
	}
	var failed []error
	for _, part := range parts {
		if info, err := os.Stat(part); err == nil && time.Since(info.ModTime()) > oldPart {
			failed = append(failed, os.Remove(part))
		}
	}
	return errors.Join(failed...)
}

func (f folder) path(name string) string { return filepath.Join(string(f), filepath.FromSlash(name)) }

// size makes the name last, too: whoever gave it may have been killed before, or
// not have come to that yet.
func (f folder) size(_ context.Context, name string) int64 {
	info, err := os.Stat(f.path(name))
	if err != nil || f.last(name) != nil {
		return -1
	}
	return info.Size()
}

// last makes a name last, and that of its folder, whoever gave them.
func (f folder) last(name string) error {
	for _, dir := range []string{filepath.Dir(f.path(name)), string(f)} {
		if err := syncDir(dir); err != nil {
			return err
		}
	}
	return nil
}

func (f folder) get(ctx context.Context, name string) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	data, err := os.ReadFile(f.path(name))
	if err != nil {
		return nil, diskError(err)
	}
	return data, nil
}

func (f folder) put(_ context.Context, name string, data []byte) error {
	return diskError(f.write(name, data))
}

// write writes a file under a name that nobody reads, and renames it once it is
// on the disk.
func (f folder) write(name string, data []byte) error {
	path := f.path(name)
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return err
	}
	part, err := os.CreateTemp(dir, ".part-*")
	if err != nil {
		return err
	}
	if err := finish(part, path, data); err != nil {
		return err
	}
	return f.last(name)
}

// partFile is a file that is being written.
type partFile interface {
	io.WriteCloser
	Sync() error
	Name() string
}

// finish writes the bytes into part and gives it its name; where that fails,
// part is gone.
func finish(part partFile, path string, data []byte) (err error) {
	defer func() {
		if err != nil {
			os.Remove(part.Name())
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
	return err
}

// syncDir makes the names that were given in a folder last.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

func (f folder) remove(_ context.Context, name string) error {
	if err := os.Remove(f.path(name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return diskError(err)
	}
	return nil
}

// diskError puts the sentinel for what a disk says into its chain.
func diskError(err error) error {
	switch {
	case err == nil, errors.Is(err, fs.ErrNotExist):
		return err
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w: %w", ErrFull, err)
	}
	return fmt.Errorf("%w: %w", ErrStore, err)
}
