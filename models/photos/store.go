package photos

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"time"
)

var (
	// ErrStore says that the store of photos can't be reached, or doesn't do what
	// it is asked for.
	ErrStore = errors.New("the store of photos can't be used")
	// ErrFull says that the store has no room; nothing was kept.
	ErrFull = errors.New("the store of photos is full: free some space")
)

// Access is what a store asks of who uses it, beside its address.
type Access struct {
	// Key and Secret sign requests to a bucket; a folder takes none.
	Key, Secret string
	// Wait is how long a bucket may take to do one thing; 0 is 20 seconds.
	Wait time.Duration
}

// Store keeps photos by their hash, for one server or for several that share
// it. It is safe for concurrent use.
type Store struct{ kept blobs }

// blobs is where the bytes are, by name.
type blobs interface {
	// size returns how many bytes there are by the name, and lasting; −1 where
	// there are none or that can't be said.
	size(ctx context.Context, name string) int64
	// get returns fs.ErrNotExist where there is nothing.
	get(ctx context.Context, name string) ([]byte, error)
	// put keeps the bytes, whole, or nothing.
	put(ctx context.Context, name string, data []byte) error
	// remove of what isn't there is no error.
	remove(ctx context.Context, name string) error
	// tidy removes what was left half written.
	tidy() error
}

// Open returns the photos of file:DIR, which is made with the first of them, or
// of s3:https://HOST/BUCKET/PREFIX, a bucket that is there already; PREFIX may be
// empty, and ?region=NAME is us-east-1 where it isn't given. The names are the
// same in both, so that copying the one into the other moves the photos. It asks
// nothing of a bucket yet.
func Open(url string, a Access) (*Store, error) {
	if dir, ok := strings.CutPrefix(url, "file:"); ok && dir != "" {
		return &Store{folder(dir)}, nil
	}
	if address, ok := strings.CutPrefix(url, "s3:"); ok {
		b, err := openBucket(address, a)
		if err != nil {
			return nil, fmt.Errorf("photos %q: %w", url, err)
		}
		return &Store{b}, nil
	}
	return nil, fmt.Errorf("photos %q: want file:DIR or s3:https://HOST/BUCKET", url)
}

// Name is what the files of a photo go by: the SHA-256 of its bytes and, as the
// record of the photo says, a word beside it, which may be empty. A photo that is
// deleted and kept again has another word, so that a name is deleted once and for
// all.
type Name struct {
	SHA  [sha256.Size]byte
	File string
}

// of names the file of a width; 0 is the photo itself.
func (n Name) of(width int) string {
	sha := hex.EncodeToString(n.SHA[:])
	name := sha[:2] + "/" + sha
	if n.File != "" {
		name += "-" + n.File
	}
	if width > 0 {
		name += "." + strconv.Itoa(width)
	}
	return name + ".jpg"
}

// Put keeps a photo by its SHA-256 and the word beside it. It is kept for good,
// whole, when Put returns nil; a second time changes nothing. What stands by its
// name and is of another size, as of a copy that was broken off, is replaced.
func (s *Store) Put(ctx context.Context, p *Photo, file string) error {
	name := Name{p.SHA, file}.of(0)
	if s.kept.size(ctx, name) == int64(len(p.Bytes)) {
		return nil
	}
	if err := s.kept.put(ctx, name, p.Bytes); err != nil {
		return fmt.Errorf("keeping a photo: %w", err)
	}
	return nil
}

// Bytes returns a photo no larger than width either way, one of Widths, or as it
// is kept where width is 0. A photo that isn't there is fs.ErrNotExist. A small
// one is made when it is first asked for. One that isn't the bytes that were put
// is ErrStore.
func (s *Store) Bytes(ctx context.Context, n Name, width int) ([]byte, error) {
	if width != 0 && !slices.Contains(Widths, width) {
		return nil, fmt.Errorf("a width of %d: want one of %v", width, Widths)
	}
	if width > 0 {
		switch small, err := s.kept.get(ctx, n.of(width)); {
		case err == nil && bytes.HasSuffix(small, endOfImage):
			return small, nil
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return nil, err
		}
	}
	data, err := s.kept.get(ctx, n.of(0))
	if err == nil && sha256.Sum256(data) != n.SHA {
		err = fmt.Errorf("%w: photo %x: %s", ErrStore, n.SHA, otherBytes)
	}
	if err != nil {
		return nil, err
	}
	if width == 0 {
		return data, nil
	}
	if data, err = smaller(data, width); err != nil {
		return nil, fmt.Errorf("photo %x: %w", n.SHA, err)
	}
	// Not keeping it costs making it again, and no answer. One that was deleted
	// meanwhile mustn't come back small.
	if s.kept.put(ctx, n.of(width), data) == nil && s.kept.size(ctx, n.of(0)) < 0 {
		_ = s.kept.remove(ctx, n.of(width))
	}
	return data, nil
}

// endOfImage is what every JPEG ends with. Source: ITU-T T.81, table B.1, EOI.
var endOfImage = []byte{0xff, 0xd9}

// otherBytes says that a photo isn't what it was.
const otherBytes = "its file holds other bytes"

// Delete removes a photo in every width. One that isn't there is no error.
func (s *Store) Delete(ctx context.Context, n Name) error {
	for _, width := range append([]int{0}, Widths...) {
		if err := s.kept.remove(ctx, n.of(width)); err != nil {
			return fmt.Errorf("deleting a photo: %w", err)
		}
	}
	return nil
}

// Check reads a photo whole and says what is wrong with it, nothing where it is
// as it was put.
func (s *Store) Check(ctx context.Context, n Name) (wrong string, err error) {
	data, err := s.kept.get(ctx, n.of(0))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "its file is missing", nil
	case err != nil:
		return "", err
	case sha256.Sum256(data) != n.SHA:
		return otherBytes, nil
	}
	return "", nil
}

// Tidy removes what a server that was killed left half written.
func (s *Store) Tidy() error {
	if err := s.kept.tidy(); err != nil {
		return fmt.Errorf("tidying the photos: %w", err)
	}
	return nil
}
