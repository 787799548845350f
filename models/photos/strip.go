package photos

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"net/http"

	"github.com/kovidgoyal/imaging"
)

// What is taken, and what is kept. House values: a tilt is read off 1,600 pixels
// to a tenth of a degree, and a phone's picture has 12 to 50 million.
const (
	// MaxBytes is how many bytes a photo may have as it is sent.
	MaxBytes = 16 << 20
	// maxPixels bounds what a picture unpacks to, about four bytes a pixel.
	maxPixels = 50_000_000
	// minSide is the least a picture needs to show anything.
	minSide = 64
	// keptSide is the longer side of what is kept.
	keptSide = 1600
	quality  = 86
)

// ErrPicture is the chain's end of every picture that is not taken; the error
// says why, and what is.
var ErrPicture = errors.New("not a picture that can be kept")

func refused(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrPicture, fmt.Sprintf(format, args...))
}

// Photo is a picture as it is kept: upright, without metadata, a JPEG.
type Photo struct {
	SHA           [sha256.Size]byte // of Bytes
	Sent          [sha256.Size]byte // of the bytes it was made of
	Bytes         []byte
	Width, Height int // pixels
}

// Strip makes a picture what is kept of it: turned upright as its camera says,
// no larger than 1,600 pixels, and without anything but the picture: place,
// time, camera, and thumbnails that show more than was cut to are gone. The same
// bytes give the same photo.
//
// Errors: ErrPicture for what is not a JPEG or PNG, is damaged, or is too small or
// too large.
func Strip(data []byte) (p *Photo, err error) {
	// Decoders of pictures meet what no one has thought of.
	defer func() {
		if r := recover(); r != nil {
			p, err = nil, refused("it is damaged")
		}
	}()
	if len(data) > MaxBytes {
		return nil, refused("it has %d bytes; up to %d are taken", len(data), MaxBytes)
	}
	var size image.Config
	switch kind := http.DetectContentType(data); kind {
	case "image/jpeg":
		size, err = jpeg.DecodeConfig(bytes.NewReader(data))
	case "image/png":
		size, err = png.DecodeConfig(bytes.NewReader(data))
	default:
		return nil, refused("it is %s; a JPEG or a PNG is taken", kind)
	}
	switch {
	case err != nil:
		return nil, refused("its header can't be read: %v", err)
	case size.Width*size.Height > maxPixels:
		return nil, refused("it has %d × %d pixels; up to %d million in all are taken", size.Width, size.Height, maxPixels/1_000_000)
	case min(size.Width, size.Height) < minSide:
		return nil, refused("it has %d × %d pixels; each side takes %d", size.Width, size.Height, minSide)
	}
	picture, err := imaging.Decode(bytes.NewReader(data), imaging.AutoOrientation(true), imaging.Backends(imaging.GO_IMAGE))
	if err != nil {
		return nil, refused("it is damaged: %v", err)
	}
	p = &Photo{Sent: sha256.Sum256(data)}
	if p.Bytes, p.Width, p.Height, err = fitted(picture, keptSide); err != nil {
		return nil, err
	}
	p.SHA = sha256.Sum256(p.Bytes)
	return p, nil
}

// Widths are the widths that small pictures are made in.
var Widths = []int{160, 320, 640}

// smaller makes a kept photo no larger than a width.
func smaller(kept []byte, width int) ([]byte, error) {
	picture, err := imaging.Decode(bytes.NewReader(kept), imaging.Backends(imaging.GO_IMAGE))
	if err != nil {
		return nil, err
	}
	data, _, _, err := fitted(picture, width)
	return data, err
}

func fitted(picture image.Image, side int) (data []byte, width, height int, err error) {
	if b := picture.Bounds(); max(b.Dx(), b.Dy()) > side {
		picture = imaging.Fit(picture, side, side, imaging.Lanczos)
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, onWhite(picture), &jpeg.Options{Quality: quality}); err != nil {
		return nil, 0, 0, err
	}
	b := picture.Bounds()
	return buf.Bytes(), b.Dx(), b.Dy(), nil
}

// onWhite lays a picture that can be seen through on white, as a JPEG can't.
func onWhite(picture image.Image) image.Image {
	if o, ok := picture.(interface{ Opaque() bool }); ok && o.Opaque() {
		return picture
	}
	b := picture.Bounds()
	flat := image.NewRGBA(image.Rect(0, 0, b.Dx(), b.Dy()))
	draw.Draw(flat, flat.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(flat, flat.Bounds(), picture, b.Min, draw.Over)
	return flat
}
