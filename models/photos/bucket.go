package photos

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"strings"
	"time"

	"github.com/minio/minio-go/v7"
	"github.com/minio/minio-go/v7/pkg/credentials"
)

// bucket keeps photos as objects of a server that speaks S3. An object is there
// whole or not at all: that is what the protocol promises of a single PUT.
type bucket struct {
	at           minio.Core
	name, prefix string
	wait         time.Duration
}

// How long a bucket may take, how often a call is tried, and the region of a
// server that has none. House values, but for the region, which is what such
// servers go by.
const (
	bucketWait  = 20 * time.Second
	bucketTries = 2
	noRegion    = "us-east-1"
)

// openBucket reads an address of scheme://HOST/BUCKET/PREFIX?region=NAME.
func openBucket(address string, a Access) (*bucket, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, err
	}
	name, prefix, _ := strings.Cut(strings.Trim(u.Path, "/"), "/")
	switch {
	case u.Scheme != "https" && u.Scheme != "http" || u.Host == "" || name == "":
		return nil, errors.New("want s3:https://HOST/BUCKET")
	case u.User != nil:
		return nil, errors.New("the key and its secret are settings of their own, no part of the address")
	case a.Key == "" || a.Secret == "":
		return nil, errors.New("a bucket takes a key and its secret")
	}
	at, err := minio.NewCore(u.Host, &minio.Options{
		Creds: credentials.NewStaticV4(a.Key, a.Secret, ""), Secure: u.Scheme == "https",
		Region: cmp.Or(u.Query().Get("region"), noRegion), MaxRetries: bucketTries,
	})
	if err != nil {
		return nil, err
	}
	return &bucket{at: *at, name: name, prefix: prefix, wait: cmp.Or(a.Wait, bucketWait)}, nil
}

// do runs one call within the time that the bucket has for it.
func (b *bucket) do(ctx context.Context, call func(context.Context) error) error {
	bounded, cancel := context.WithTimeout(ctx, b.wait)
	defer cancel()
	err := call(bounded)
	switch said := minio.ToErrorResponse(err); {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err() // who asked went away
	case bounded.Err() != nil:
		return fmt.Errorf("%w: no answer within %s", ErrStore, b.wait)
	case said.Code == minio.NoSuchKey:
		return fs.ErrNotExist
	case said.Code == minio.NoSuchBucket:
		return fmt.Errorf("%w: there is no bucket %s", ErrStore, b.name)
	case said.StatusCode == http.StatusInsufficientStorage: // RFC 4918, 11.5
		return fmt.Errorf("%w: %w", ErrFull, err)
	}
	return fmt.Errorf("%w: %w", ErrStore, err)
}

func (b *bucket) key(name string) string { return path.Join(b.prefix, name) }

// size is −1 for a key that may write and not list, to whom a server doesn't say
// what there is: then the object is put again, as it was.
func (b *bucket) size(ctx context.Context, name string) (n int64) {
	err := b.do(ctx, func(ctx context.Context) error {
		object, err := b.at.StatObject(ctx, b.name, b.key(name), minio.StatObjectOptions{})
		n = object.Size
		return err
	})
	if err != nil {
		return -1
	}
	return n
}

// tidy has nothing to do: an object that wasn't put whole isn't there.
func (b *bucket) tidy() error { return nil }

func (b *bucket) get(ctx context.Context, name string) (data []byte, err error) {
	err = b.do(ctx, func(ctx context.Context) error {
		object, _, _, err := b.at.GetObject(ctx, b.name, b.key(name), minio.GetObjectOptions{})
		if err != nil {
			return err
		}
		data, err = io.ReadAll(object)
		return errors.Join(err, object.Close())
	})
	return data, err
}

// put signs the bytes too, so that a server takes none that were changed or cut
// short on the way.
func (b *bucket) put(ctx context.Context, name string, data []byte) error {
	sum := sha256.Sum256(data)
	return b.do(ctx, func(ctx context.Context) error {
		_, err := b.at.PutObject(ctx, b.name, b.key(name), bytes.NewReader(data), int64(len(data)), "", hex.EncodeToString(sum[:]),
			minio.PutObjectOptions{ContentType: "image/jpeg", DisableContentSha256: true})
		return err
	})
}

func (b *bucket) remove(ctx context.Context, name string) error {
	err := b.do(ctx, func(ctx context.Context) error {
		return b.at.RemoveObject(ctx, b.name, b.key(name), minio.RemoveObjectOptions{})
	})
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
