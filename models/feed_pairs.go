package models

import (
	"context"
	"encoding/binary"
	"fmt"
	"hash/maphash"

	"solewright/assess"
	"solewright/models/facts"
)

// pairTable holds what facts have of their pairs while all facts are read: some
// fifty bytes a pair. When it is filled, any number of goroutines may ask it.
type pairTable struct {
	chunks [][]heldPair
	n      int
	// places are of pairs, from 1, by open addressing; 0 is empty. There is a power
	// of two of them.
	places  []uint32
	models  numbered[id]
	batches numbered[text]
	seed    maphash.Seed
}

// heldPair is one pair.
type heldPair struct {
	ref          uint64 // the eight characters before the check character
	runner       uint64 // its key
	last         uint64 // a hash of its last reading
	model        uint32 // its number
	batch        uint32 // likewise, with contradictory where the pair's readings contradict each other
	lower, upper number
}

const contradictory = 1 << 31

// numbered numbers what many pairs have in common, from 0.
type numbered[K comparable] struct {
	all     []K
	numbers map[K]uint32
}

func (n *numbered[K]) add(key K) uint32 {
	number, ok := n.numbers[key]
	if !ok {
		if n.numbers == nil {
			n.numbers = map[K]uint32{}
		}
		number = uint32(len(n.all))
		n.all, n.numbers[key] = append(n.all, key), number
	}
	return number
}

// reading is what a reading is known by.
type reading struct {
	store string
	id    id
}

// pairsInChunk is how many pairs lie together. House value.
const pairsInChunk = 1 << 14

// heldPairs reads every pair.
func (f Feed) heldPairs(ctx context.Context) (*pairTable, error) {
	secret, err := f.db.ID(ctx)
	if err != nil {
		return nil, err
	}
	t, keys := newPairTable(), newRunnerKeys(secret)
	return t, f.db.stream(ctx, f.pool(), pairFactColumns, 1, func() *rowsInto {
		var row pairFact
		return &rowsInto{fields(&row), func() error { return t.add(&row, keys) }}
	}, " FROM pair p", nil)
}

func newPairTable() *pairTable {
	return &pairTable{places: make([]uint32, 1<<10), seed: maphash.MakeSeed()}
}

// refBits returns a written reference without its check character.
func refBits(ref string) (uint64, error) {
	if len(ref) != 9 {
		return 0, fmt.Errorf("pair reference %q has not nine characters", ref)
	}
	return binary.LittleEndian.Uint64([]byte(ref)), nil
}

func (t *pairTable) hash(store string, of id) uint64 {
	return maphash.Comparable(t.seed, reading{store, of})
}

// pair returns the n-th pair, from 1.
func (t *pairTable) pair(n uint32) *heldPair {
	return &t.chunks[(n-1)/pairsInChunk][(n-1)%pairsInChunk]
}

func (t *pairTable) add(row *pairFact, keys *runnerKeys) error {
	ref, err := refBits(row.Ref)
	if err != nil {
		return err
	}
	p := heldPair{
		ref: ref, runner: keys.of(string(row.Runner)), last: t.hash(string(row.LastStore), row.LastID),
		model: t.models.add(row.ModelID), batch: t.batches.add(row.Batch), lower: row.LowerKM, upper: row.UpperKM,
	}
	if row.Contradicts != 0 {
		p.batch |= contradictory
	}
	if t.n%pairsInChunk == 0 {
		t.chunks = append(t.chunks, make([]heldPair, 0, pairsInChunk))
	}
	last := &t.chunks[len(t.chunks)-1]
	*last = append(*last, p)
	t.n++
	if 3*t.n < 2*len(t.places) {
		*t.place(ref) = uint32(t.n)
		return nil
	}
	t.places = make([]uint32, 2*len(t.places))
	for n := range uint32(t.n) {
		*t.place(t.pair(n + 1).ref) = n + 1
	}
	return nil
}

// place returns the place of a reference, empty where there is no such pair.
func (t *pairTable) place(ref uint64) *uint32 {
	mask := uint64(len(t.places) - 1)
	for i := maphash.Comparable(t.seed, ref) & mask; ; i = (i + 1) & mask {
		if n := t.places[i]; n == 0 || t.pair(n).ref == ref {
			return &t.places[i]
		}
	}
}

// complete fills in what a fact has of its pair; false where there is no such
// pair.
func (t *pairTable) complete(f *facts.Fact, of id) (bool, error) {
	if f.Pair == "" {
		return false, nil
	}
	ref, err := refBits(f.Pair)
	if err != nil {
		return false, err
	}
	n := *t.place(ref)
	if n == 0 {
		return false, nil
	}
	p := t.pair(n)
	f.Model, f.Batch, f.Contradicts = assess.UUID(t.models.all[p.model]), string(t.batches.all[p.batch&^contradictory]), p.batch&contradictory != 0
	f.Runner, f.Lower, f.Upper = p.runner, assess.Value(p.lower), assess.Value(p.upper)
	f.Last = p.last == t.hash(f.Store, of)
	return true, nil
}
