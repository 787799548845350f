package fleet

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"solewright/assess"
	"solewright/models/facts"
)

func TestPackedNumbersComeOutAsTheyWentIn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.IntRange(0, 64).Draw(t, "bits")
		least := rapid.Uint64().Draw(t, "least")
		numbers := rapid.SliceOfN(rapid.Map(rapid.Uint64(), func(n uint64) uint64 {
			return max(least, least+n&(1<<bits-1)) // the sum may wrap around
		}), 0, 200).Draw(t, "numbers")
		p := pack(len(numbers), func(i int) uint64 { return numbers[i] })
		for i, want := range numbers {
			if got := p.at(i); got != want {
				t.Fatalf("number %d of %d bits: %d went in, %d came out", i, p.width, want, got)
			}
		}
		if p.width <= 32 && len(numbers) > 0 {
			from := rapid.IntRange(0, len(numbers)-1).Draw(t, "from")
			read := make([]uint32, len(numbers)-from)
			p.read(from, 3, read)
			for i, got := range read {
				if want := 3 * uint32(numbers[from+i]); got != want {
					t.Fatalf("number %d of %d bits, read from %d on: %d, want %d", from+i, p.width, from, got, want)
				}
			}
		}
		if int(p.width) > bits {
			t.Fatalf("%d bits for numbers of %d", p.width, bits)
		}
	})
}

func TestWhichZonesHaveNoGrade(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var grades, want uint32
		for z := range assess.NumZones {
			code := uint32(rapid.SampledFrom([]int{0, 1, 2, 3, 4, facts.CantGrade, facts.NoGrade}).Draw(t, "code"))
			grades |= code << (3 * z)
			want |= uint32(one(code >= facts.CantGrade)) << (3 * z)
		}
		if got := ungraded(grades); got != want {
			t.Fatalf("of %030b it is %030b, want %030b", grades, got, want)
		}
	})
}

func TestACodeIsFoundWhereverItStands(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		near := rapid.SampledFrom([]uint16{0, 1, 2, 3, 1<<15 - 1, 1 << 15, 1<<15 + 1, 1<<16 - 2, 1<<16 - 1}) // where one borrows from the next
		column, code := rapid.SliceOfN(near, 0, 40).Draw(t, "column"), near.Draw(t, "code")
		var want []uint16
		for i, c := range column {
			if c == code {
				want = append(want, uint16(i))
			}
		}
		if got := find(make([]uint16, len(column)), column, code); !slices.Equal(got, want) {
			t.Fatalf("%d is found at %v, want %v", code, got, want)
		}
	})
}

func TestABandIsADivision(t *testing.T) {
	widths := []uint64{1<<kmBits - 1, 1 << kmBits, 1<<kmBits + 1, 1 << 40}
	for w := range uint64(300) {
		widths = append(widths, w+1)
	}
	for _, width := range widths {
		band := bands(width)
		for km := range uint64(1 << kmBits) {
			want := uint64(0)
			if km > 0 {
				want = 1 + (km-1)/width
			}
			if got := band(km); got != want {
				t.Fatalf("%d km in bands of %d is in the %d., want %d.", int(km)-1, width, got, want)
			}
		}
	}
}
