package fleet

import "math/bits"

// packedInts is a column of numbers that never changes: each takes the bits that
// the largest needs beyond the least. The zero value holds nothing.
type packedInts struct {
	least uint64
	width uint8
	words []uint64
}

// pack packs n numbers.
func pack(n int, at func(i int) uint64) packedInts {
	if n == 0 {
		return packedInts{}
	}
	least, most := at(0), at(0)
	for i := 1; i < n; i++ {
		v := at(i)
		least, most = min(least, v), max(most, v)
	}
	p := packedInts{least: least, width: uint8(bits.Len64(most - least))}
	p.words = make([]uint64, p.wordsOf(n))
	if p.width == 0 {
		return p
	}
	for i := range n {
		v := at(i) - least
		bit := uint(i) * uint(p.width)
		p.words[bit/64] |= v << (bit % 64)
		if over := bit%64 + uint(p.width); over > 64 {
			p.words[bit/64+1] |= v >> (64 - bit%64)
		}
	}
	return p
}

// wordsOf returns how many words n numbers take: one more than they fill, so that
// the last is read as any other.
func (p *packedInts) wordsOf(n int) int { return n*int(p.width)/64 + 2 }

// at returns the i-th number.
func (p *packedInts) at(i int) uint64 {
	bit := uint(i) * uint(p.width)
	words := p.words[bit/64:]
	return p.least + (words[0]>>(bit%64)|words[1]<<(64-bit%64))&(1<<p.width-1)
}

// read reads the numbers from the i-th on, times by, as many as there is room for;
// of a column whose numbers have thirty-two bits at most.
func (p *packedInts) read(i int, by uint32, numbers []uint32) {
	width := uint(p.width)
	words, bit := p.words[uint(i)*width/64:], uint(i)*width%64
	for k := range numbers {
		n := words[0] >> (bit & 63)
		if bit += width; bit >= 64 {
			words, bit = words[1:], bit-64
			n |= words[0] << ((width - bit) & 63)
		}
		numbers[k] = by * uint32(p.least+n&(1<<(width&63)-1))
	}
}

// most returns what no number is beyond: the largest that there is room for.
func (p *packedInts) most() uint64 { return p.least + 1<<p.width - 1 }

func (p *packedInts) bytes() int { return 8 * cap(p.words) }
