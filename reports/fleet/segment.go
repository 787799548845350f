package fleet

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"sync"
	"time"

	"solewright/assess"
	"solewright/models/facts"
)

// segmentRows is how many rows a segment holds at most. A strike copies the
// segment's bitmap, and a scan's selection of a segment stays in the cache.
const segmentRows = 1 << 14

// planes is how many words of 64 bits the codes of findings may fill: a rule set
// has some ninety.
const planes = 4

// row is a fact as it lies in the columns.
type row struct {
	pair    uint64 // the forty bits of its reference
	life    uint64
	runner  uint32
	batch   uint32
	what    uint32
	unread  uint32
	grades  [2]uint32
	tilt    [2]int16
	day     uint16 // from epochDay
	store   uint16
	model   uint16
	staff   uint16
	reason  uint16
	codes   [planes]uint64
	isFirst bool // not the pair's last reading
}

// The fields of row.life: three distances, each counted from 1 so that 0 is
// unread, and whether the pair's readings contradict each other.
const (
	kmBits      = 18
	kmMask      = 1<<kmBits - 1
	lowerShift  = kmBits
	upperShift  = 2 * kmBits
	contradicts = 1 << (3 * kmBits)
)

// maxKM is the largest distance that has room; a record holds no more than
// 200,000 km.
const maxKM = kmMask - 2

func distance(life uint64, shift int) assess.Value {
	n := int(life>>shift) & kmMask
	if n == 0 {
		return assess.Unread
	}
	return assess.Of(n - 1)
}

// noTilt stands where a tilt is unread; a tilt is ±4500 hundredths of a degree.
const noTilt = -1 << 15

// epochDay is day 0 of the columns.
var epochDay = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// dayNumber returns the day's number from epochDay.
func dayNumber(day string) (uint16, error) {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return 0, err
	}
	n := int(t.Sub(epochDay) / (24 * time.Hour))
	if n < 0 || n > 1<<16-1 {
		return 0, fmt.Errorf("day %s is out of the fleet's calendar", day)
	}
	return uint16(n), nil
}

func dayOf(n uint16) string { return epochDay.AddDate(0, 0, int(n)).Format(time.DateOnly) }

// monthNumber counts months from that of epochDay.
func monthNumber(day uint16) int { return int(monthOfDay()[day]) }

// monthOfDay is the month of every day of the calendar: each row that comes asks
// for its own, and the calendar's arithmetic takes longer than the row.
var monthOfDay = sync.OnceValue(func() *[1 << 16]uint16 {
	var months [1 << 16]uint16
	for day, month := 0, 0; day < len(months); month++ {
		next := int(epochDay.AddDate(0, month+1, 0).Sub(epochDay) / (24 * time.Hour))
		for ; day < min(next, len(months)); day++ {
			months[day] = uint16(month)
		}
	}
	return &months
})

func monthOf(n int) string { return epochDay.AddDate(0, n, 0).Format("2006-01") }

// unreadChecks are the checks whose bits row.unread holds, first those of the
// left shoe, then of the right, then of the pair.
var shoeChecks, pairChecks = func() (shoe, pair []assess.Col) {
	rare := []assess.Col{assess.FlexDeg, assess.TorsionDeg, assess.ShoreOutsole, assess.AskerMidsole}
	for c := range assess.NumCols {
		switch {
		case !assess.Columns[c].Check || c < assess.NumZones || slices.Contains(rare, c):
		case c < assess.NumShoe:
			shoe = append(shoe, c)
		default:
			pair = append(pair, c)
		}
	}
	return shoe, pair
}()

// unreadBits packs the sets of unread checks.
func unreadBits(sets *[3]assess.ColSet) (packed uint32) {
	bit := 0
	for foot, checks := range [3][]assess.Col{shoeChecks, shoeChecks, pairChecks} {
		for _, c := range checks {
			if sets[foot].Has(c) {
				packed |= 1 << bit
			}
			bit++
		}
	}
	return packed
}

const pairAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// pairAlphabetPlace is pairAlphabet the other way round, 255 elsewhere.
var pairAlphabetPlace = func() (place [256]uint8) {
	for i := range place {
		place[i] = 255
	}
	for i := range len(pairAlphabet) {
		place[pairAlphabet[i]] = uint8(i)
	}
	return place
}()

// pairNumber returns the forty bits of a written reference.
func pairNumber(ref string) (uint64, error) {
	var n uint64
	if len(ref) != 9 {
		return 0, fmt.Errorf("pair reference %q has not nine characters", ref)
	}
	for i := range 8 {
		p := pairAlphabetPlace[ref[i]]
		if p > 31 {
			return 0, fmt.Errorf("pair reference %q has a character that none has", ref)
		}
		n = n<<5 | uint64(p)
	}
	return n, nil
}

// pairRef writes a reference with its check character.
func pairRef(n uint64) string {
	return assess.NewPairRef([5]byte{byte(n >> 32), byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)})
}

// segment is some rows of one month: of pairs' last readings or of earlier ones.
// Columns only grow; what a view holds of them never changes.
type segment struct {
	month   int
	earlier bool // not pairs' last readings

	what           []uint32
	day            []uint16
	store          []uint16
	model          []uint16
	staff          []uint16
	reason         []uint16
	batch          []uint32
	runner         []uint32
	life           []uint64
	pairLow        []uint32
	pairHigh       []uint8
	grades         [2][]uint32
	tilt           [2][]int16
	unread         []uint32
	codes          [planes][]uint64
	struck         []uint64 // a bit for each row that no longer holds; replaced, never changed
	numStruck      int
	firstDay, last uint16 // the days of its rows lie between
}

func (s *segment) len() int { return len(s.what) }

// add appends a row.
func (s *segment) add(r *row) {
	n := s.len()
	if n == 0 {
		s.firstDay, s.last = r.day, r.day
	}
	if n == cap(s.what) {
		s.grow()
	}
	s.firstDay, s.last = min(s.firstDay, r.day), max(s.last, r.day)
	s.what = append(s.what, r.what)
	s.day = append(s.day, r.day)
	s.store = append(s.store, r.store)
	s.model = append(s.model, r.model)
	s.staff = append(s.staff, r.staff)
	s.reason = append(s.reason, r.reason)
	s.batch = append(s.batch, r.batch)
	s.runner = append(s.runner, r.runner)
	s.life = append(s.life, r.life)
	s.pairLow = append(s.pairLow, uint32(r.pair))
	s.pairHigh = append(s.pairHigh, uint8(r.pair>>32))
	s.unread = append(s.unread, r.unread)
	for f := range 2 {
		s.grades[f] = append(s.grades[f], r.grades[f])
		s.tilt[f] = append(s.tilt[f], r.tilt[f])
	}
	for k, word := range r.codes {
		if s.codes[k] == nil && word != 0 {
			s.codes[k] = make([]uint64, n, cap(s.what))
		}
		if s.codes[k] != nil {
			s.codes[k] = append(s.codes[k], word)
		}
	}
}

// leastRows is for how many rows a segment has room at first.
const leastRows = 1 << 8

// grow doubles a segment's room: append would copy a growing column four times
// over.
func (s *segment) grow() {
	rows := min(max(2*s.len(), leastRows), max(segmentRows, s.len()+1))
	room(&s.what, rows)
	room(&s.day, rows)
	room(&s.store, rows)
	room(&s.model, rows)
	room(&s.staff, rows)
	room(&s.reason, rows)
	room(&s.batch, rows)
	room(&s.runner, rows)
	room(&s.life, rows)
	room(&s.pairLow, rows)
	room(&s.pairHigh, rows)
	room(&s.unread, rows)
	for f := range 2 {
		room(&s.grades[f], rows)
		room(&s.tilt[f], rows)
	}
	for k := range s.codes {
		if s.codes[k] != nil {
			room(&s.codes[k], rows)
		}
	}
}

// room moves a column to where there is room for more rows.
func room[T any](column *[]T, rows int) {
	moved := make([]T, len(*column), rows)
	copy(moved, *column)
	*column = moved
}

// at returns a row.
func (s *segment) at(i int) row {
	r := row{
		pair: s.pair(i), life: s.life[i], runner: s.runner[i], batch: s.batch[i], what: s.what[i], unread: s.unread[i],
		grades: [2]uint32{s.grades[0][i], s.grades[1][i]}, tilt: [2]int16{s.tilt[0][i], s.tilt[1][i]},
		day: s.day[i], store: s.store[i], model: s.model[i], staff: s.staff[i], reason: s.reason[i], isFirst: s.earlier,
	}
	for k := range s.codes {
		if s.codes[k] != nil {
			r.codes[k] = s.codes[k][i]
		}
	}
	return r
}

func (s *segment) pair(i int) uint64 { return uint64(s.pairHigh[i])<<32 | uint64(s.pairLow[i]) }

func (s *segment) isStruck(i int) bool {
	return i>>6 < len(s.struck) && s.struck[i>>6]>>(i&63)&1 == 1
}

// strike strikes rows out, in a new bitmap.
func (s *segment) strike(rows []int) {
	struck := make([]uint64, (s.len()+63)/64)
	copy(struck, s.struck)
	for _, i := range rows {
		struck[i>>6] |= 1 << (i & 63)
	}
	s.struck, s.numStruck = struck, s.numStruck+len(rows)
}

// encoder turns facts into rows, and numbers what has no closed list.
type encoder struct {
	stores, staff, batches, codes dictionary[string]
	models                        dictionary[assess.UUID]
	runners                       runnerKeys

	codesOf map[string]codeBits // by the text of Fact.Codes
	days    map[string]uint16
}

// codeBits are the codes of a reading as bits, and the first one's number.
type codeBits struct {
	bits  [planes]uint64
	first uint16
}

// maxRemembered bounds what the encoder remembers of texts it has parsed.
const maxRemembered = 1 << 14

func newEncoder() *encoder {
	return &encoder{
		stores: newDictionary[string](), staff: newDictionary[string](), batches: newDictionary[string](),
		runners: runnerKeys{keys: []uint64{0}}, codes: newDictionary[string](), models: newDictionary[assess.UUID](),
		codesOf: map[string]codeBits{}, days: map[string]uint16{},
	}
}

var errTooMany = errors.New("the fleet in memory holds no more than 65,535 of them")

// number numbers a word in sixteen bits.
func number[K comparable](d *dictionary[K], what string, word K) (uint16, error) {
	n := d.add(word)
	if n > 1<<16-1 {
		return 0, fmt.Errorf("%s: %w", what, errTooMany)
	}
	return uint16(n), nil
}

// encode writes a fact as a row.
func (e *encoder) encode(f *facts.Fact, r *row) error {
	var err error
	*r = row{
		runner: e.runners.add(f.Runner), batch: e.batches.add(f.Batch), unread: unreadBits(&f.Unread),
		grades: [2]uint32{uint32(f.Grades[0]), uint32(f.Grades[1])}, isFirst: !f.Last,
	}
	if r.pair, err = pairNumber(f.Pair); err != nil {
		return err
	}
	if r.day, err = e.day(f.Day); err != nil {
		return err
	}
	if r.store, err = number(&e.stores, "stores", f.Store); err != nil {
		return err
	}
	if r.staff, err = number(&e.staff, "staff", f.Staff); err != nil {
		return err
	}
	if r.model, err = number(&e.models, "shoe models", f.Model); err != nil {
		return err
	}
	codes, err := e.codeBits(f.Codes)
	if err != nil {
		return err
	}
	r.codes, r.reason = codes.bits, codes.first
	for i, v := range f.Tilt {
		r.tilt[i] = noTilt
		if v.OK() {
			r.tilt[i] = int16(v.Int())
		}
	}
	for i, v := range [3]assess.Value{f.KM, f.Lower, f.Upper} {
		switch {
		case !v.OK():
		case v.Int() < 0 || v.Int() > maxKM:
			return fmt.Errorf("pair %s: a distance of %d km has no room", f.Pair, v.Int())
		default:
			r.life |= uint64(v.Int()+1) << (i * kmBits)
		}
	}
	if f.Contradicts {
		r.life |= contradicts
	}
	for d, code := range [numDims]uint32{
		Kind: uint32(f.Kind), Gait: place(f.Gait), Posture: place(f.Posture), Strike: place(f.Strike),
		Surface: place(f.Surface), UsedFor: place(f.UsedFor), HeelPattern: uint32(f.Heel), ForePattern: uint32(f.Fore),
		Side: uint32(f.Side), Verdict: uint32(f.Verdict), KMSource: place(f.KMSource), GaitBefore: place(f.GaitBefore),
	} {
		if code >= 1<<packed[d].bits && packed[d].bits > 0 {
			return fmt.Errorf("pair %s: %s %d has no room", f.Pair, Dim(d), code)
		}
		r.what |= code << packed[d].shift
	}
	return nil
}

func (e *encoder) day(day string) (uint16, error) {
	if n, ok := e.days[day]; ok {
		return n, nil
	}
	n, err := dayNumber(day)
	if err == nil && len(e.days) < maxRemembered {
		e.days[strings.Clone(day)] = n
	}
	return n, err
}

func (e *encoder) codeBits(text string) (codeBits, error) {
	if b, ok := e.codesOf[text]; ok {
		return b, nil
	}
	var b codeBits
	for word := range strings.FieldsSeq(text) {
		n := e.codes.add(strings.Clone(word))
		if n >= 64*planes {
			return b, fmt.Errorf("more than %d codes of findings have no room", 64*planes)
		}
		b.bits[n/64] |= 1 << (n % 64)
		if b.first == 0 {
			b.first = uint16(n)
		}
	}
	if len(e.codesOf) < maxRemembered {
		e.codesOf[strings.Clone(text)] = b
	}
	return b, nil
}

// dictionary numbers words from 1 in order of their first appearance; the zero
// word is 0.
type dictionary[K comparable] struct {
	words  []K
	hashes []uint64 // of the words as they are written
	places map[K]uint32
}

func newDictionary[K comparable]() dictionary[K] {
	var zero K
	return dictionary[K]{words: []K{zero}, hashes: []uint64{0}, places: map[K]uint32{zero: 0}}
}

func (d *dictionary[K]) add(word K) uint32 {
	if n, ok := d.places[word]; ok {
		return n
	}
	if s, ok := any(word).(string); ok {
		word = any(strings.Clone(s)).(K)
	}
	n := uint32(len(d.words))
	d.places[word] = n
	d.words = append(d.words, word)
	sum := sha256.Sum256(fmt.Append(nil, word))
	d.hashes = append(d.hashes, binary.LittleEndian.Uint64(sum[:]))
	return n
}

func (d *dictionary[K]) hash(n uint32) uint64 { return d.hashes[n] }

// runnerKeys numbers the keys of runners from 1; no runner is 0. Places are by
// open addressing: a map would take five times the memory.
type runnerKeys struct {
	keys   []uint64
	places []uint32 // of keys, 0 empty; a power of two of them
}

func (k *runnerKeys) add(key uint64) uint32 {
	if key == 0 {
		return 0
	}
	if 3*len(k.keys) >= 2*len(k.places) {
		k.grow()
	}
	mask := uint64(len(k.places) - 1)
	for i := mix(key) & mask; ; i = (i + 1) & mask {
		switch n := k.places[i]; {
		case n == 0:
			n = uint32(len(k.keys))
			k.keys = append(k.keys, key)
			k.places[i] = n
			return n
		case k.keys[n] == key:
			return n
		}
	}
}

func (k *runnerKeys) keyOf(n uint32) uint64 {
	if n == 0 {
		return 0
	}
	return k.keys[n]
}

func (k *runnerKeys) grow() {
	size := 1 << 10
	for 3*len(k.keys) >= size {
		size *= 2
	}
	k.places = make([]uint32, size)
	mask := uint64(len(k.places) - 1)
	for n, key := range k.keys[1:] {
		i := mix(key) & mask
		for k.places[i] != 0 {
			i = (i + 1) & mask
		}
		k.places[i] = uint32(n + 1)
	}
}

// mix scatters the bits of a number: the finalizer of SplitMix64 (Steele, Lea &
// Flood 2014, Fast splittable pseudorandom number generators).
func mix(x uint64) uint64 {
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// countBits calls f with every code of a row.
func countBits(codes *[planes]uint64, f func(code uint32)) {
	for k, word := range codes {
		for ; word != 0; word &= word - 1 {
			f(uint32(64*k + bits.TrailingZeros64(word)))
		}
	}
}

// hash returns two sums over what a row says, in words and not in this copy's
// numbers, so that another copy of the same data has the same.
func (e *encoder) hash(r *row) (a, b uint64) {
	h := hasher{1, 2}
	h.add(r.pair | uint64(one(r.isFirst))<<63)
	h.add(r.life)
	h.add(uint64(r.what)<<32 | uint64(r.unread))
	h.add(uint64(r.grades[0])<<32 | uint64(r.grades[1]))
	h.add(uint64(r.day)<<32 | uint64(uint16(r.tilt[0]))<<16 | uint64(uint16(r.tilt[1])))
	h.add(e.runners.keyOf(r.runner))
	for _, n := range [...]uint64{
		e.stores.hash(uint32(r.store)), e.staff.hash(uint32(r.staff)), e.models.hash(uint32(r.model)),
		e.batches.hash(r.batch), e.codes.hash(uint32(r.reason)),
	} {
		h.add(n)
	}
	var codes uint64
	countBits(&r.codes, func(code uint32) { codes += e.codes.hash(code) })
	h.add(codes)
	return h.a, h.b
}

type hasher struct{ a, b uint64 }

func (h *hasher) add(n uint64) {
	h.a = mix(h.a ^ n)
	h.b = mix(h.b + n*0x9e3779b97f4a7c15)
}
