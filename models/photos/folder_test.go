package photos

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// failing is a file on a disk that fails at one step.
type failing struct {
	*os.File
	at  string
	err error
}

// Write keeps half of the bytes where the disk is full by then.
func (f failing) Write(p []byte) (int, error) {
	if f.at != "write" {
		return f.File.Write(p)
	}
	n, err := f.File.Write(p[:len(p)/2])
	return n, errors.Join(f.err, err)
}

func (f failing) Sync() error {
	if f.at == "sync" {
		return f.err
	}
	return f.File.Sync()
}

func (f failing) Close() error {
	err := f.File.Close()
	if f.at == "close" {
		return f.err
	}
	return err
}

// The disk itself is filled by deploy/prove.sh disk.
func TestADiskThatFailsKeepsNothingByHalves(t *testing.T) {
	for _, c := range []struct {
		name, at string
		err      error // of the system, as write(2), fsync(2) and close(2) say it
		want     error
	}{
		{"full in the middle of writing", "write", syscall.ENOSPC, ErrFull},
		{"full when the bytes are to last", "sync", syscall.ENOSPC, ErrFull},
		{"over the quota at the end, as on a shared disk", "close", syscall.EDQUOT, ErrFull},
		{"broken", "write", syscall.EIO, ErrStore},
		{"read-only since", "sync", syscall.EROFS, ErrStore},
		{"whole", "", nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			part, err := os.CreateTemp(dir, ".part-*")
			if err != nil {
				t.Fatal(err)
			}
			err = diskError(finish(failing{part, c.at, c.err}, filepath.Join(dir, "photo.jpg"), []byte("a picture")))
			if !errors.Is(err, c.want) {
				t.Errorf("%v, want %v", err, c.want)
			}
			left, err := os.ReadDir(dir)
			if err != nil {
				t.Fatal(err)
			}
			want := 0
			if c.want == nil {
				want = 1
			}
			if len(left) != want {
				t.Errorf("%v are left, want %d", left, want)
			}
		})
	}
}
