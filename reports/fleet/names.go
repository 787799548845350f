package fleet

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"slices"
	"strings"
	"sync"

	"solewright/assess"
	"solewright/models/facts"
	"solewright/models/retail"
)

// names is what the numbers in the columns stand for. It never changes; what
// comes in new makes another.
type names struct {
	stores, regions, staff, batches, codes []string
	models                                 []assess.UUID
	labels                                 []string // of models
	category                               []uint8  // of models, place in the closed list
	region                                 []uint16 // of stores

	sum [2]uint64 // over what the catalogue says

	inOrder [numDims]func() []uint32 // the codes in the order in which people get to see words
	ranks   [numDims]func() []uint32 // by code, the place in that order
	ids     func() []string          // of models, written out
	codeOf  func() map[string]uint32 // of models, by id
}

func newNames(e *encoder, c *facts.Catalogue) *names {
	n := &names{
		stores: e.stores.words, staff: e.staff.words, batches: e.batches.words, codes: e.codes.words,
		models: e.models.words, regions: []string{""},
	}
	regionOf := make(map[string]string, len(c.Stores))
	for _, s := range c.Stores {
		regionOf[s.Code] = s.Region
	}
	for _, r := range c.Regions {
		n.regions = append(n.regions, r.Code)
	}
	n.region = make([]uint16, len(n.stores))
	for i, s := range n.stores {
		n.region[i] = uint16(max(slices.Index(n.regions, regionOf[s]), 0))
	}
	byID := make(map[assess.UUID]*retail.ShoeModel, len(c.Models))
	for i := range c.Models {
		byID[c.Models[i].ID] = &c.Models[i]
	}
	n.labels, n.category = make([]string, len(n.models)), make([]uint8, len(n.models))
	for i, u := range n.models {
		if m := byID[u]; m != nil {
			n.labels[i] = labelOf(m)
			n.category[i] = uint8(max(slices.Index(closed[Category], m.Category), 0))
		}
	}
	// All of the catalogue: of which stores and models there were rows that no longer hold
	// is nobody else's to know.
	for _, s := range c.Stores {
		n.mix(s.Code, s.Region)
	}
	for i := range c.Models {
		m := &c.Models[i]
		n.mix(m.ID.String(), labelOf(m), m.Category)
	}
	n.ids = sync.OnceValue(func() []string {
		ids := make([]string, len(n.models))
		for i, u := range n.models {
			if !u.IsZero() {
				ids[i] = u.String()
			}
		}
		return ids
	})
	n.codeOf = sync.OnceValue(func() map[string]uint32 {
		codes := make(map[string]uint32, len(n.models))
		for code, id := range n.ids() {
			codes[id] = uint32(code)
		}
		return codes
	})
	for d := range numDims {
		n.inOrder[d] = sync.OnceValue(func() []uint32 { return n.sorted(d) })
		n.ranks[d] = sync.OnceValue(func() []uint32 {
			codes := n.inOrder[d]()
			rank := make([]uint32, len(codes))
			for place, code := range codes {
				rank[code] = uint32(place)
			}
			return rank
		})
	}
	return n
}

// labelOf is what people call a model.
func labelOf(m *retail.ShoeModel) string {
	return strings.Join(strings.Fields(m.Brand+" "+m.Model+" "+m.Version), " ")
}

// alike says that the same numbers stand for the same words as in the names of
// the same encoder at another time.
func (n *names) alike(other *names) bool {
	return len(n.stores) == len(other.stores) && len(n.staff) == len(other.staff) && len(n.batches) == len(other.batches) &&
		len(n.codes) == len(other.codes) && len(n.models) == len(other.models) && slices.Equal(n.regions, other.regions) && n.sum == other.sum
}

// mix adds to the sum what the catalogue says of one store or model.
func (n *names) mix(words ...string) {
	sum := sha256.Sum256([]byte(strings.Join(words, "\x00")))
	n.sum[0] += binary.LittleEndian.Uint64(sum[:])
	n.sum[1] += binary.LittleEndian.Uint64(sum[8:])
}

// months are all that a day's number reaches, written out.
var months = sync.OnceValue(func() []string {
	all := make([]string, monthNumber(1<<16-1)+1)
	for n := range all {
		all[n] = monthOf(n)
	}
	return all
})

// words returns the words of a dimension by code.
func (n *names) words(d Dim) []string {
	switch d {
	case Month:
		return months()
	case Model:
		return n.ids()
	case Batch:
		return n.batches
	case Store:
		return n.stores
	case Region:
		return n.regions
	case Staff:
		return n.staff
	case Reason, Code:
		return n.codes
	}
	return closed[d]
}

// size returns how many codes a dimension has.
func (n *names) size(d Dim) int {
	if d == Model {
		return len(n.models)
	}
	return max(len(n.words(d)), 1)
}

// word returns the word of a code.
func (n *names) word(d Dim, code uint32) string {
	if w := n.words(d); int(code) < len(w) {
		return w[code]
	}
	return ""
}

// sorted returns the codes of a dimension in the order in which people get to see
// words: closed lists in their own order, others by the alphabet.
func (n *names) sorted(d Dim) []uint32 {
	codes := make([]uint32, n.size(d))
	for i := range codes {
		codes[i] = uint32(i)
	}
	if w := n.words(d); closed[d] == nil && len(w) > 0 {
		slices.SortFunc(codes, func(a, b uint32) int { return cmp.Compare(w[a], w[b]) })
	}
	return codes
}
