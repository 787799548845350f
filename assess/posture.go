package assess

import (
	"fmt"
	"slices"
	"strconv"
)

// PostureItems is how many items the six-item Foot Posture Index has.
const PostureItems = 6

// The ends of one item and of the sum of the Foot Posture Index.
const (
	MinPostureItem, MaxPostureItem = -2, 2
	MinPosture, MaxPosture         = PostureItems * MinPostureItem, PostureItems * MaxPostureItem
)

// PostureItemNames are the names of the six items, in order: three of the
// rearfoot, three of the forefoot. Plus is pronated.
// Source: Redmond, Crosbie & Ouvrier, Clin Biomech 2006;21:89–98.
var PostureItemNames = [PostureItems]string{
	"talar head palpation",
	"curves above and below the lateral malleolus",
	"calcaneal inversion or eversion",
	"talonavicular bulge",
	"medial arch",
	"forefoot abduction or adduction",
}

// PostureSum returns the sum of the six items. An item that is unread or can't
// be judged leaves the sum unread: a sum of five isn't comparable.
func PostureSum(items [PostureItems]Value) Value {
	sum := 0
	for _, v := range items {
		if !v.OK() {
			return Unread
		}
		sum += v.Int()
	}
	return Of(sum)
}

// PostureBands is one version of the cuts that turn the sum of the Foot
// Posture Index into one of the five words of GaitWords.
type PostureBands struct {
	Version int
	// Low is the lowest sum of each band, highly supinated first.
	Low    [5]int
	Source string
}

// PostureTable holds the versions of the posture bands, oldest first. A version
// in use is never changed; a new one is added.
var PostureTable = []PostureBands{
	{Version: 1, Low: [5]int{-12, -4, 0, 6, 10}, Source: "Foot Posture Index manual 2005, as restated by clinical pages"},
}

// Band returns the band of a sum: the place of its word in GaitWords, Unread
// for an unread sum or one outside −12…12.
func (b *PostureBands) Band(sum Value) Value {
	if !sum.OK() || sum.Int() < MinPosture || sum.Int() > MaxPosture {
		return Unread
	}
	band, exact := slices.BinarySearch(b.Low[:], sum.Int())
	if !exact {
		band--
	}
	return Of(band)
}

// Check refuses bands that leave a sum out or have no room for one another: the
// first begins at −12, and each begins after the one before it, at +12 at most.
// The field of an error is low-N, N the band's place from 0.
func (b *PostureBands) Check() error {
	var bad FieldErrors
	for i, low := range b.Low {
		least, most := MinPosture, MaxPosture
		if i == 0 {
			most = MinPosture
		} else {
			least = max(least, b.Low[i-1]+1)
		}
		if low < least || low > most {
			bad.Add(FieldError{Field: fmt.Sprintf("low-%d", i), Value: strconv.Itoa(low), Want: fmt.Sprintf("a whole number from %d to %d", least, most), Err: ErrOutOfRange})
		}
	}
	return bad.Err()
}

// CurrentPostureBands returns the newest version of the bands.
func CurrentPostureBands() *PostureBands { return &PostureTable[len(PostureTable)-1] }

// BandPosture bands the sums that the record was written with by b, those bands
// that hold on its day.
func (r *Record) BandPosture(b *PostureBands) {
	for f, sum := range r.PostureSum {
		if sum.OK() {
			r.Posture[f] = b.Band(sum)
		}
	}
}

// HasPostureSum reports whether the record was written with a sum to band.
func (r *Record) HasPostureSum() bool { return r.PostureSum[Left].OK() || r.PostureSum[Right].OK() }
