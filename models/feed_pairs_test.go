package models

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"solewright/assess"
	"solewright/models/facts"
)

// TestFactsAreCompletedByTheirPairs fills a table beyond several chunks and asks
// it for every pair, and for pairs that came later.
func TestFactsAreCompletedByTheirPairs(t *testing.T) {
	const pairs, later = 2*pairsInChunk + 100, 200
	random := rand.New(rand.NewPCG(1, 2))
	rows := make([]pairFact, pairs+later)
	for i := range rows {
		rows[i] = pairFact{
			Ref: assess.NewPairRef([5]byte{byte(random.Uint32()), byte(random.Uint32()), byte(i >> 16), byte(i >> 8), byte(i)}), ModelID: id{byte(i % 7)}, Batch: text(fmt.Sprint("B", i%11)),
			Runner: text([]string{"", fmt.Sprint("R", i%500)}[i%2]), LowerKM: number(assess.Of(i)), UpperKM: number(assess.Unread), Contradicts: i % 3,
			LastStore: text(fmt.Sprint("S", i%5)), LastID: id{1, byte(i >> 8), byte(i)},
		}
	}
	keys := newRunnerKeys("secret")
	table := newPairTable()
	for i := range rows[:pairs] {
		if err := table.add(&rows[i], keys); err != nil {
			t.Fatal(err)
		}
	}
	for i := range rows {
		row := &rows[i]
		for _, of := range []reading{{string(row.LastStore), row.LastID}, {string(row.LastStore), id{2}}, {"elsewhere", row.LastID}} {
			got := facts.Fact{Pair: row.Ref, Store: of.store}
			ok, err := table.complete(&got, of.id)
			if err != nil || ok != (i < pairs) {
				t.Fatalf("pair %d of %d is found: %t, %v", i, pairs, ok, err)
			}
			if !ok {
				continue
			}
			want := facts.Fact{
				Pair: row.Ref, Store: of.store, Model: assess.UUID(row.ModelID), Batch: string(row.Batch), Runner: keys.of(string(row.Runner)),
				Lower: assess.Of(i), Contradicts: row.Contradicts != 0, Last: of == reading{string(row.LastStore), row.LastID},
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Fatalf("pair %d (-row +completed):\n%s", i, diff)
			}
		}
	}
	if ok, err := table.complete(&facts.Fact{}, id{1}); ok || err != nil {
		t.Errorf("a reading without a pair is completed: %t, %v", ok, err)
	}
	if _, err := table.complete(&facts.Fact{Pair: "12"}, id{1}); err == nil {
		t.Error("a reference of two characters is taken")
	}
}
