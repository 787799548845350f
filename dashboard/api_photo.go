package dashboard

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/photos"
	memory "solewright/reports/fleet"
)

// photoTime is how long a photo may take on a slow line. House value.
const photoTime = 2 * time.Minute

// photoOut is a photo of a reading.
type photoOut struct {
	SHA    string    `json:"sha256" doc:"Of the stripped bytes: GET /photos/{sha256}"`
	Shoe   string    `json:"shoe" enum:"left,right"`
	View   string    `json:"view" doc:"From where it shows the shoe"`
	Points []float64 `json:"points,omitempty" doc:"What a tilt was taken from: table left, table right, collar, midsole, each x and y as parts of width and height"`
}

func photoOf(l *models.PhotoLink) photoOut {
	return photoOut{SHA: hex.EncodeToString(l.SHA[:]), Shoe: shoeWord(l.Foot), View: string(l.View), Points: l.Points}
}

var shoeWords = []string{"left", "right"}

func shoeWord(f assess.Foot) string { return shoeWords[f] }

var docPutPhoto = operation{
	id: "put-photo", summary: "Store a photo of a reading",
	about: "A JPEG or PNG of up to 16 MiB, at the SHA-256 of its bytes. It is turned upright, made no larger than 1,600 pixels and " +
		"stripped of place, time and camera; what is kept has a hash of its own, and both lead to it. " +
		"The reading needn't be stored yet. The same again changes nothing and answers 200. Only the shoe belongs in the picture.",
	query: []param{
		{"inspection", "UUID of the reading.", uuidOf()},
		{"store", "Code of the reading's store.", textOf(0, "")},
		{"shoe", "Which shoe it shows.", oneOf(shoeWords, "")},
		{"view", "From where.", oneOf(models.Words(models.PhotoViews), "")},
		{"points", "Eight numbers of 0 to 1 with commas between, where a tilt was taken from it: table left, table right, collar, midsole, each x and y.", textOf(0, "")},
	},
	takes: []string{"image/jpeg", "image/png"}, answer: photoOut{}, made: true, fails: []*class{badQuery, conflict},
}

// putPhoto stores a photo and what it shows.
func (s *Server) putPhoto(c *gin.Context) error {
	files, sent, err := s.photoAsked(c)
	if err != nil {
		return err
	}
	link, err := photoLinkAsked(c)
	if err != nil {
		return err
	}
	ctx, who := c.Request.Context(), s.who(c)
	if err := s.mayAt(ctx, who, writeReading, link.Store, "#/store"); err != nil {
		return err
	}
	data, err := readPhoto(c)
	if err != nil {
		return err
	}
	if sha256.Sum256(data) != sent {
		return &failure{class: badValues, values: []badValue{{Pointer: "#", Detail: "the bytes have another SHA-256 than the address: they were changed on the way"}}}
	}
	p, err := s.strip(ctx, data)
	if err != nil {
		return err
	}
	stored := models.StoredPhoto{SHA: p.SHA, Bytes: len(p.Bytes), Width: p.Width, Height: p.Height}
	if stored.File, err = s.db.ExpectPhoto(ctx, stored); err != nil {
		return err
	}
	if err := files.Put(ctx, p, stored.File); err != nil {
		return err
	}
	file, created, err := s.db.SavePhoto(ctx, who.actor(), stored, sent, link)
	if err != nil {
		return err
	}
	// Where it was deleted between the two, as of an erased runner, it has another
	// name now. Where it wasn't, it is there, and this asks whether it is.
	if err := files.Put(ctx, p, file); err != nil {
		return err
	}
	link.SHA = p.SHA
	status := http.StatusOK
	if created {
		status = http.StatusCreated
	}
	c.Header("Location", apiRoot+"/photos/"+hex.EncodeToString(p.SHA[:]))
	c.JSON(status, photoOf(&link))
	return nil
}

// strip strips a photo once there is a place for it: a picture unpacks to hundreds
// of times its bytes.
func (s *Server) strip(ctx context.Context, data []byte) (*photos.Photo, error) {
	select {
	case s.stripping <- struct{}{}:
		defer func() { <-s.stripping }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	p, err := photos.Strip(data)
	if errors.Is(err, photos.ErrPicture) {
		err = &failure{class: badValues, cause: err, values: []badValue{{Pointer: "#", Detail: err.Error()}}}
	}
	return p, err
}

// photoAsked returns the files of photos and the hash that the address names.
func (s *Server) photoAsked(c *gin.Context) (files *photos.Store, sha [sha256.Size]byte, err error) {
	if s.cfg.Photos == nil {
		return nil, sha, refuse(unready, "this server keeps no photos")
	}
	name := c.Param("sha256")
	b, err := hex.DecodeString(name)
	if err != nil || len(b) != len(sha) || strings.ToLower(name) != name {
		return nil, sha, refuseParameter("sha256", "want 64 hexadecimal digits in lower case")
	}
	return s.cfg.Photos, [sha256.Size]byte(b), nil
}

// photoLinkAsked reads what a photo shows from the query.
func photoLinkAsked(c *gin.Context) (models.PhotoLink, error) {
	l := models.PhotoLink{Store: c.Query("store"), View: models.PhotoView(c.Query("view"))}
	f := &failure{class: badQuery}
	bad := func(name, want string) { f.values = append(f.values, badValue{Parameter: name, Detail: want}) }
	var err error
	if l.Inspection, err = assess.ParseUUID(c.Query("inspection")); err != nil {
		bad("inspection", "want the UUID of the reading")
	}
	if l.Store == "" {
		bad("store", "want the code of the reading's store")
	}
	foot := slices.Index(shoeWords, c.Query("shoe"))
	if foot < 0 {
		bad("shoe", "want left or right")
	}
	l.Foot = assess.Foot(max(foot, 0))
	if !slices.Contains(models.PhotoViews, l.View) {
		bad("view", "want one of "+strings.Join(models.Words(models.PhotoViews), ", "))
	}
	if text := c.Query("points"); text != "" {
		for part := range strings.SplitSeq(text, ",") {
			v, err := strconv.ParseFloat(part, 64)
			if err != nil || !(v >= 0 && v <= 1) {
				bad("points", "want eight numbers of 0 to 1 with commas between")
				break
			}
			l.Points = append(l.Points, v)
		}
	}
	if len(f.values) > 0 {
		return l, f
	}
	return l, nil
}

// readPhoto returns the body, bounded, with time for a slow line.
func readPhoto(c *gin.Context) ([]byte, error) {
	control := http.NewResponseController(c.Writer)
	until := time.Now().Add(photoTime)
	if err := errors.Join(control.SetReadDeadline(until), control.SetWriteDeadline(until)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return nil, err
	}
	var b bytes.Buffer
	if _, err := b.ReadFrom(http.MaxBytesReader(c.Writer, c.Request.Body, photos.MaxBytes)); err != nil {
		if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return nil, err
		}
		return nil, &failure{class: badSyntax, detail: "the body ended early", cause: err}
	}
	return b.Bytes(), nil
}

var docPhoto = operation{
	id: "get-photo", summary: "Look at a photo",
	about: "Where the caller may read a reading that it belongs to; or, with the pair's reference from the slip, that pair's history.",
	query: []param{
		{"w", "No wider and no higher than this; without it as it is kept.", oneOf(widthWords(), "")},
		{"pair", "The reference of a pair that it shows.", textOf(0, "")},
	},
	media: "image/jpeg", fails: []*class{badQuery, notFound},
}

func widthWords() []string {
	words := make([]string, len(photos.Widths))
	for i, w := range photos.Widths {
		words[i] = strconv.Itoa(w)
	}
	return words
}

// getPhoto answers with a photo, which never changes; a browser keeps it, and
// asks again whether it may still be seen.
func (s *Server) getPhoto(c *gin.Context) error {
	files, sha, err := s.photoAsked(c)
	if err != nil {
		return err
	}
	width := 0
	if text := c.Query("w"); text != "" {
		if !slices.Contains(widthWords(), text) {
			return refuseParameter("w", "want one of %s", strings.Join(widthWords(), ", "))
		}
		width, _ = strconv.Atoi(text)
	}
	p, err := s.db.Photo(c.Request.Context(), sha)
	if err != nil {
		return err
	}
	may, err := s.maySeePhoto(c, p.SHA)
	if err != nil {
		return err
	}
	if !may {
		return refuse(forbidden, "no reading in your scope has this photo")
	}
	tag := fmt.Sprintf(`"%x.%d"`, p.SHA[:8], width)
	c.Header("Cache-Control", "private, no-cache")
	c.Header("ETag", tag)
	if c.GetHeader("If-None-Match") == tag {
		c.Status(http.StatusNotModified)
		return nil
	}
	data, err := files.Bytes(c.Request.Context(), photos.Name{SHA: p.SHA, File: p.File}, width)
	if err != nil {
		return err
	}
	c.Data(http.StatusOK, "image/jpeg", data)
	return nil
}

// maySeePhoto reports whether the caller may see a reading that shows the photo,
// or holds the slip of such a pair.
func (s *Server) maySeePhoto(c *gin.Context, sha [sha256.Size]byte) (bool, error) {
	ctx, who := c.Request.Context(), s.who(c)
	shown, err := s.db.PhotoShownBy(ctx, sha)
	if err != nil {
		return false, err
	}
	pair, _ := assess.ParsePairRef(c.Query("pair")) // no reference is no slip
	for _, in := range shown {
		if may, err := s.maySee(ctx, who, in); err != nil {
			return false, err
		} else if !may {
			continue
		}
		at, err := s.store(ctx, in.Store)
		if err != nil {
			return false, err
		}
		if who.allowsAt(readReading, at.Code, at.Region) || pair != "" && in.PairRef == pair && who.anywhere(readPair) {
			return true, nil
		}
	}
	return false, nil
}

// photosOf returns the photos of readings, none where this server keeps none.
func (s *Server) photosOf(ctx context.Context, readings []*models.Inspection) (map[assess.UUID][]models.PhotoLink, error) {
	if s.cfg.Photos == nil {
		return nil, nil
	}
	ids := make([]assess.UUID, len(readings))
	for i, in := range readings {
		ids[i] = in.ID
	}
	return s.db.PhotosOf(ctx, ids...)
}

// shownPhotos is how many photos of a pair stand in a list.
const shownPhotos = 2

// smallPhotos are a few small photos of each of some pairs, by reference, as far
// as somebody may read the readings that they belong to.
func (s *Server) smallPhotos(c *gin.Context, pairs []memory.Listed) (map[string][]pairPhoto, error) {
	if s.cfg.Photos == nil {
		return nil, nil
	}
	refs := make([]string, len(pairs))
	for i := range pairs {
		refs[i] = pairs[i].Pair
	}
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	all, err := s.db.PhotosOfPairs(ctx, refs)
	if err != nil {
		return nil, err
	}
	shown := make(map[string][]pairPhoto, len(all))
	for ref, links := range all {
		links = slices.DeleteFunc(links, func(l models.PhotoLink) bool {
			at, e := s.store(ctx, l.Store)
			err = errors.Join(err, e)
			return !who.allowsAt(readReading, at.Code, at.Region)
		})
		shown[ref] = w.pairPhotos(ref, links[:min(len(links), shownPhotos)])
	}
	return shown, err
}

// photosOut are the photos of a reading.
type photosOut struct {
	Photos []photoOut `json:"photos" nullable:"false"`
}

var docPhotos = operation{
	id: "list-photos", summary: "List the photos of a reading", about: "The left shoe's first.",
	answer: photosOut{}, fails: []*class{notFound},
}

// listPhotos answers with the photos of a reading.
func (s *Server) listPhotos(c *gin.Context) error {
	in, err := s.inspection(c, readReading)
	if err != nil {
		return err
	}
	all, err := s.db.PhotosOf(c.Request.Context(), in.ID)
	if err != nil {
		return err
	}
	out := photosOut{Photos: []photoOut{}}
	for i := range all[in.ID] {
		out.Photos = append(out.Photos, photoOf(&all[in.ID][i]))
	}
	c.JSON(http.StatusOK, out)
	return nil
}
