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
// segment's bitmap, and processors share a scan by segments; the more rows, the more
// of a model lie together.
const segmentRows = 1 << 15

// planes is how many words of 64 bits the codes of findings may fill: a rule set
// has some ninety.
const planes = 4

// row is a fact in numbers.
type row struct {
	pair     uint64 // the forty bits of its reference
	km       uint32 // a distance, counted from 1 so that 0 is unread
	interval uint32 // the number of the pair's interval of life
	runner   uint32
	batch    uint32
	what     uint32
	unread   uint32 // the number of the set of checks without a value
	finding  uint32 // the number of the set of codes
	grades   [2]uint32
	tilt     [2]int16
	day      uint16 // from epochDay
	store    uint16
	model    uint16
	staff    uint16
	isFirst  bool // not the pair's last reading
}

// keyedRow is a row with what its interval's and its runner's numbers stand for.
type keyedRow struct {
	row
	life      interval
	runnerKey uint64
}

// kmBits is what a distance takes.
const (
	kmBits = 18
	kmMask = 1<<kmBits - 1
)

// maxKM is the largest distance that has room; a record holds no more than
// 200,000 km.
const maxKM = kmMask - 2

// countedKM returns the distance that n stands for in a column.
func countedKM[N uint32 | uint64](n N) assess.Value {
	if n == 0 {
		return assess.Unread
	}
	return assess.Of(int(n) - 1)
}

// interval is a pair's interval of life: its lower end and then its upper one,
// each counted from 1 so that 0 is unread, and whether the pair's readings
// contradict each other.
type interval uint64

const contradicts = 1 << (2 * kmBits)

func (i interval) lower() uint64     { return uint64(i) & kmMask }
func (i interval) upper() uint64     { return uint64(i) >> kmBits & kmMask }
func (i interval) contradicts() bool { return i&contradicts != 0 }

// noTilt stands where a tilt is unread; a tilt is ±4500 hundredths of a degree.
const noTilt = -1 << 15

// epochDay is day 0 of the columns.
var epochDay = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// dayNumber returns the day's number from epochDay. A day out of the calendar, as
// of a tablet whose clock had stopped, counts as its first or last: one wrong day
// must not keep the fleet from all that follows it.
func dayNumber(day string) (uint16, error) {
	if len(day) > len(time.DateOnly) { // of the year 10000 or later, which was taken once
		return lastDay, nil
	}
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return 0, err
	}
	return numbered(t), nil
}

// lastDay is the last of the calendar, in the year 2179.
const lastDay = 1<<16 - 1

// numbered cuts a day to the calendar.
func numbered(t time.Time) uint16 {
	return uint16(min(max(int64(t.Sub(epochDay)/(24*time.Hour)), 0), lastDay))
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

// InCalendar returns a month as the columns have it: one out of their calendar is its
// first or its last.
func InCalendar(month string) string {
	n, ok := dayBound(month, false)
	if !ok { // of the year 10000 or later
		n = lastDay
	}
	return monthOf(monthNumber(n))
}

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
// As long as it takes more rows it holds them one after the other; what a view
// has of them never changes. When it is full it is sealed: in order of the model,
// by columns.
type segment struct {
	month   int
	earlier bool // not pairs' last readings

	rows []row  // until it is sealed
	most uint32 // of their distances
	columns

	struck         []uint64 // a bit for each row that no longer holds; replaced, never changed
	numStruck      int
	firstDay, last uint16 // the days of its rows lie between
}

// columns are the rows of a sealed segment. What most scans read lies open, the
// rest in as many bits as it needs.
type columns struct {
	sealed bool
	n      int

	what  [2][]uint16 // the halves of row.what
	store []uint16
	// models are the models of its rows, each once, and ends the row that each
	// ends before.
	models, ends []uint16
	// pairLow is sixteen bits of the reference, by which most rows are passed over
	// when some are looked for.
	pairLow []uint16

	day, staff, batch, runner, pairHigh packedInts
	km, interval, unread, finding       packedInts
	grades, tilt                        [2]packedInts
}

// open lists the columns of every row that lie open, in the order of the snapshot.
func (c *columns) open() []*[]uint16 {
	return []*[]uint16{&c.what[0], &c.what[1], &c.store, &c.pairLow}
}

// packed lists the packed columns by name, in the order of the snapshot.
func (c *columns) packed() []namedColumn {
	return []namedColumn{
		{"day", &c.day},
		{"staff", &c.staff},
		{"batch", &c.batch},
		{"runner", &c.runner},
		{"pair, the other 24 bits", &c.pairHigh},
		{"km", &c.km},
		{"interval of life", &c.interval},
		{"unread checks", &c.unread},
		{"findings", &c.finding},
		{"grades, left", &c.grades[0]},
		{"grades, right", &c.grades[1]},
		{"tilt, left", &c.tilt[0]},
		{"tilt, right", &c.tilt[1]},
	}
}

type namedColumn struct {
	name string
	*packedInts
}

func (s *segment) len() int {
	if s.sealed {
		return s.n
	}
	return len(s.rows)
}

// leastRows is for how many rows a segment has room at first.
const leastRows = 1 << 6

// add appends a row to a segment that isn't sealed.
func (s *segment) add(r *row) {
	if len(s.rows) == 0 {
		s.firstDay, s.last = r.day, r.day
	}
	s.firstDay, s.last, s.most = min(s.firstDay, r.day), max(s.last, r.day), max(s.most, r.km)
	if len(s.rows) == cap(s.rows) {
		s.rows = append(make([]row, 0, min(max(4*len(s.rows), leastRows), max(segmentRows, len(s.rows)+1))), s.rows...)
	}
	s.rows = append(s.rows, *r)
}

// seal returns the rows that hold by columns.
func (s *segment) seal() *segment {
	if s.sealed && s.numStruck == 0 {
		return s
	}
	rows := s.byModel()
	n := len(rows)
	t := &segment{month: s.month, earlier: s.earlier, firstDay: s.firstDay, last: s.last}
	c := &t.columns
	c.sealed, c.n = true, n
	for _, column := range c.open() {
		*column = make([]uint16, n)
	}
	for i := range rows {
		r := &rows[i]
		c.what[0][i], c.what[1][i], c.store[i], c.pairLow[i] = uint16(r.what), uint16(r.what>>halfBits), r.store, uint16(r.pair)
		if i == 0 || r.model != rows[i-1].model {
			c.models, c.ends = append(c.models, r.model), append(c.ends, 0)
		}
		c.ends[len(c.ends)-1] = uint16(i + 1)
	}
	c.models, c.ends = slices.Clip(c.models), slices.Clip(c.ends)
	c.day = pack(n, func(i int) uint64 { return uint64(rows[i].day) })
	c.staff = pack(n, func(i int) uint64 { return uint64(rows[i].staff) })
	c.batch = pack(n, func(i int) uint64 { return uint64(rows[i].batch) })
	c.runner = pack(n, func(i int) uint64 { return uint64(rows[i].runner) })
	c.pairHigh = pack(n, func(i int) uint64 { return rows[i].pair >> 16 })
	c.km = pack(n, func(i int) uint64 { return uint64(rows[i].km) })
	c.interval = pack(n, func(i int) uint64 { return uint64(rows[i].interval) })
	c.unread = pack(n, func(i int) uint64 { return uint64(rows[i].unread) })
	c.finding = pack(n, func(i int) uint64 { return uint64(rows[i].finding) })
	for shoe := range 2 {
		c.grades[shoe] = pack(n, func(i int) uint64 { return uint64(rows[i].grades[shoe]) })
		c.tilt[shoe] = pack(n, func(i int) uint64 { return uint64(int(rows[i].tilt[shoe]) - noTilt) })
	}
	return t
}

// byModel returns the rows that hold, those of a model together, else in their
// order.
func (s *segment) byModel() []row {
	most := uint16(0)
	for i := range s.len() {
		most = max(most, s.modelAt(i))
	}
	places := make([]int, int(most)+2)
	for i := range s.len() {
		if !s.isStruck(i) {
			places[s.modelAt(i)+1]++
		}
	}
	for m := range places[1:] {
		places[m+1] += places[m]
	}
	rows := make([]row, s.len()-s.numStruck)
	for i := range s.len() {
		if !s.isStruck(i) {
			r := s.at(i)
			rows[places[r.model]] = r
			places[r.model]++
		}
	}
	return rows
}

// unsealed returns a segment of the rows that hold that takes more.
func (s *segment) unsealed() *segment {
	t := &segment{month: s.month, earlier: s.earlier, rows: make([]row, 0, s.len()-s.numStruck+leastRows)}
	for i := range s.len() {
		if !s.isStruck(i) {
			r := s.at(i)
			t.add(&r)
		}
	}
	return t
}

// at returns a row.
func (s *segment) at(i int) row {
	if !s.sealed {
		return s.rows[i]
	}
	return row{
		pair: s.pair(i), km: uint32(s.km.at(i)), interval: uint32(s.interval.at(i)), runner: uint32(s.runner.at(i)), batch: uint32(s.batch.at(i)), what: s.whatAt(i),
		unread: uint32(s.unread.at(i)), finding: uint32(s.finding.at(i)),
		grades: [2]uint32{uint32(s.grades[0].at(i)), uint32(s.grades[1].at(i))},
		tilt:   [2]int16{s.tiltAt(0, i), s.tiltAt(1, i)},
		day:    uint16(s.day.at(i)), store: s.store[i], model: s.modelAt(i), staff: uint16(s.staff.at(i)), isFirst: s.earlier,
	}
}

// The columns of a row, sealed or not.

func (s *segment) pair(i int) uint64 {
	if !s.sealed {
		return s.rows[i].pair
	}
	return s.pairHigh.at(i)<<16 | uint64(s.pairLow[i])
}

func (s *segment) kmAt(i int) uint64 {
	if !s.sealed {
		return uint64(s.rows[i].km)
	}
	return s.km.at(i)
}

// mostKM returns what no distance is beyond, as in the column.
func (s *segment) mostKM() uint64 {
	if !s.sealed {
		return uint64(s.most)
	}
	return min(s.km.most(), maxKM+1)
}

func (s *segment) intervalAt(i int) uint32 {
	if !s.sealed {
		return s.rows[i].interval
	}
	return uint32(s.interval.at(i))
}

func (s *segment) dayAt(i int) uint16 {
	if !s.sealed {
		return s.rows[i].day
	}
	return uint16(s.day.at(i))
}

func (s *segment) staffAt(i int) uint16 {
	if !s.sealed {
		return s.rows[i].staff
	}
	return uint16(s.staff.at(i))
}

func (s *segment) batchAt(i int) uint32 {
	if !s.sealed {
		return s.rows[i].batch
	}
	return uint32(s.batch.at(i))
}

func (s *segment) runnerAt(i int) uint32 {
	if !s.sealed {
		return s.rows[i].runner
	}
	return uint32(s.runner.at(i))
}

func (s *segment) unreadAt(i int) uint32 {
	if !s.sealed {
		return s.rows[i].unread
	}
	return uint32(s.unread.at(i))
}

func (s *segment) findingAt(i int) uint32 {
	if !s.sealed {
		return s.rows[i].finding
	}
	return uint32(s.finding.at(i))
}

func (s *segment) gradesAt(shoe, i int) uint32 {
	if !s.sealed {
		return s.rows[i].grades[shoe]
	}
	return uint32(s.grades[shoe].at(i))
}

func (s *segment) tiltAt(shoe, i int) int16 {
	if !s.sealed {
		return s.rows[i].tilt[shoe]
	}
	return int16(int(s.tilt[shoe].at(i)) + noTilt)
}

func (s *segment) whatAt(i int) uint32 {
	if !s.sealed {
		return s.rows[i].what
	}
	return uint32(s.what[0][i]) | uint32(s.what[1][i])<<halfBits
}

func (s *segment) modelAt(i int) uint16 {
	if !s.sealed {
		return s.rows[i].model
	}
	run, _ := slices.BinarySearch(s.ends, uint16(i+1))
	return s.models[run]
}

// buffers are where blocks of columns are put together that don't lie open.
type buffers struct {
	what               [2][blockRows]uint16
	store, model, rows [blockRows]uint16
	key, code          [blockRows]uint64
	more               [blockRows]uint32
	book               book
}

// whats returns one half of the packed dimensions of the rows from base to end.
func (s *segment) whats(half, base, end int, b *buffers) []uint16 {
	if s.sealed {
		return s.what[half][base:end]
	}
	for i, rows := 0, s.rows[base:end]; i < len(rows); i++ {
		b.what[half][i] = uint16(rows[i].what >> (halfBits * half))
	}
	return b.what[half][:end-base]
}

// stores returns the stores of the rows from base to end.
func (s *segment) stores(base, end int, b *buffers) []uint16 {
	if s.sealed {
		return s.store[base:end]
	}
	for i, rows := 0, s.rows[base:end]; i < len(rows); i++ {
		b.store[i] = rows[i].store
	}
	return b.store[:end-base]
}

// modelsOf returns the models of the rows from base to end.
func (s *segment) modelsOf(base, end int, b *buffers) []uint16 {
	if !s.sealed {
		for i, rows := 0, s.rows[base:end]; i < len(rows); i++ {
			b.model[i] = rows[i].model
		}
		return b.model[:end-base]
	}
	run, _ := slices.BinarySearch(s.ends, uint16(base+1))
	for i := base; i < end; run++ {
		to := min(int(s.ends[run]), end)
		for part, model := b.model[i-base:to-base], s.models[run]; len(part) > 0; part = part[1:] {
			part[0] = model
		}
		i = to
	}
	return b.model[:end-base]
}

// eachModel calls f with the runs of rows of a block that are of one model: between
// which two of rows they are, and the model.
func (s *segment) eachModel(base int, rows []uint16, f func(from, to int, model uint16)) {
	if !s.sealed {
		for k, i := range rows {
			f(k, k+1, s.rows[base+int(i)].model)
		}
		return
	}
	if len(rows) == 0 {
		return
	}
	run, _ := slices.BinarySearch(s.ends, uint16(base+int(rows[0])+1))
	for k := 0; k < len(rows); run++ {
		from, end := k, int(s.ends[run])-base
		for k < len(rows) && int(rows[k]) < end {
			k++
		}
		if k > from {
			f(from, k, s.models[run])
		}
	}
}

// pickModels picks the rows of a sealed block whose model is allowed, from first,
// as many as there is room for at most.
func (s *segment) pickModels(allowed []bool, base, first int, rows []uint16) []uint16 {
	n, end := 0, first+len(rows)
	run, _ := slices.BinarySearch(s.ends, uint16(first+1))
	for i := first; i < end; run++ {
		to := min(int(s.ends[run]), end)
		if allowed[s.models[run]] {
			for ; i < to; i++ {
				rows[n] = uint16(i - base)
				n++
			}
		}
		i = to
	}
	return rows[:n]
}

// span returns between which rows a query may pick some.
func (q *query) span(s *segment) (from, to int) {
	if q.oneModel < 0 || !s.sealed {
		return 0, s.len()
	}
	run, ok := slices.BinarySearch(s.models, uint16(q.oneModel))
	if !ok {
		return 0, 0
	}
	if run > 0 {
		from = int(s.ends[run-1])
	}
	return from, int(s.ends[run])
}

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
	runners, intervals            keyNumbers

	findings sets[string, finding] // by the text of Fact.Codes
	unread   sets[uint32, uint32]
	days     map[string]uint16

	// An encoder of one goroutine asks whole, under mu, for what it has not met.
	whole *encoder
	mu    *sync.Mutex
}

// part returns an encoder for a goroutine of its own, which numbers as e does.
func (e *encoder) part(mu *sync.Mutex) *encoder {
	p := newEncoder()
	p.whole, p.mu = e, mu
	for _, d := range [][2]*dictionary[string]{{&p.stores, &e.stores}, {&p.staff, &e.staff}, {&p.batches, &e.batches}} {
		d[0].whole, d[0].mu = d[1], mu
	}
	p.models.whole, p.models.mu = &e.models, mu
	return p
}

// finding is the codes of a reading as bits, and the number of the first, which is
// of the worst finding.
type finding struct {
	codes [planes]uint64
	first uint16
	text  string
	sum   [2]uint64 // of the codes in words, and of the first
}

// sets numbers what many rows have in common, from 0, which is nothing.
type sets[K comparable, V any] struct {
	all    []V
	places map[K]uint32
}

func newSets[K comparable, V any]() sets[K, V] {
	var nothing K
	return sets[K, V]{all: make([]V, 1), places: map[K]uint32{nothing: 0}}
}

func (s *sets[K, V]) add(key K, set V) uint32 {
	n := uint32(len(s.all))
	s.put(n, key, set)
	return n
}

// put notes which number a set has.
func (s *sets[K, V]) put(n uint32, key K, set V) {
	s.all = atLeast(s.all, int(n)+1)
	s.all[n], s.places[key] = set, n
}

// atLeast returns a list of n or more.
func atLeast[T any](list []T, n int) []T {
	if len(list) >= n {
		return list
	}
	return append(list, make([]T, n-len(list))...)
}

// maxDays bounds what the encoder remembers of the days it has read.
const maxDays = 1 << 14

func newEncoder() *encoder {
	return &encoder{
		stores: newDictionary[string](), staff: newDictionary[string](), batches: newDictionary[string](),
		codes: newDictionary[string](), models: newDictionary[assess.UUID](),
		runners: newKeyNumbers(), intervals: newKeyNumbers(),
		findings: newSets[string, finding](), unread: newSets[uint32, uint32](), days: map[string]uint16{},
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

// encode writes a fact as a row, but for the numbers of its interval and its
// runner.
func (e *encoder) encode(f *facts.Fact, r *keyedRow) error {
	var err error
	*r = keyedRow{row: row{
		batch: e.batches.add(f.Batch), unread: e.unreadSet(unreadBits(&f.Unread)),
		grades: [2]uint32{uint32(f.Grades[0]), uint32(f.Grades[1])}, isFirst: !f.Last,
	}, runnerKey: f.Runner}
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
	if r.finding, err = e.finding(f.Codes); err != nil {
		return err
	}
	for i, v := range f.Tilt {
		r.tilt[i] = noTilt
		if v.OK() {
			r.tilt[i] = int16(v.Int())
		}
	}
	var counted [3]uint64
	for i, v := range [3]assess.Value{f.KM, f.Lower, f.Upper} {
		switch {
		case !v.OK():
		case v.Int() < 0 || v.Int() > maxKM:
			return fmt.Errorf("pair %s: a distance of %d km has no room", f.Pair, v.Int())
		default:
			counted[i] = uint64(v.Int() + 1)
		}
	}
	r.km, r.life = uint32(counted[0]), interval(counted[1]|counted[2]<<kmBits)
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
	if err == nil && len(e.days) < maxDays {
		e.days[strings.Clone(day)] = n
	}
	return n, err
}

func (e *encoder) unreadSet(set uint32) uint32 {
	if n, ok := e.unread.places[set]; ok {
		return n
	}
	if e.whole == nil {
		return e.unread.add(set, set)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	n := e.whole.unreadSet(set)
	e.unread.put(n, set, set)
	return n
}

func (e *encoder) finding(text string) (uint32, error) {
	if n, ok := e.findings.places[text]; ok {
		return n, nil
	}
	if e.whole != nil {
		e.mu.Lock()
		defer e.mu.Unlock()
		n, err := e.whole.finding(text)
		if err == nil {
			f := e.whole.findings.all[n]
			e.findings.put(n, f.text, f)
		}
		return n, err
	}
	f := finding{text: strings.Clone(text)}
	for word := range strings.FieldsSeq(text) {
		n := e.codes.add(word)
		if n >= 64*planes {
			return 0, fmt.Errorf("more than %d codes of findings have no room", 64*planes)
		}
		f.codes[n/64] |= 1 << (n % 64)
		if f.first == 0 {
			f.first = uint16(n)
		}
	}
	countBits(&f.codes, func(code uint32) { f.sum[0] += e.codes.hash(code) })
	f.sum[1] = e.codes.hash(uint32(f.first))
	return e.findings.add(f.text, f), nil
}

// dictionary numbers words from 1 in order of their first appearance; the zero
// word is 0.
type dictionary[K comparable] struct {
	words  []K
	hashes []uint64 // of the words as they are written
	places map[K]uint32

	// A dictionary of one goroutine asks whole, under mu, for words that it has not
	// met; words are in whole alone.
	whole *dictionary[K]
	mu    *sync.Mutex
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
	if d.whole != nil {
		d.mu.Lock()
		defer d.mu.Unlock()
		n := d.whole.add(word)
		d.hashes = atLeast(d.hashes, int(n)+1)
		d.hashes[n], d.places[word] = d.whole.hashes[n], n
		return n
	}
	n := uint32(len(d.words))
	d.places[word] = n
	d.words = append(d.words, word)
	sum := sha256.Sum256(fmt.Append(nil, word))
	d.hashes = append(d.hashes, binary.LittleEndian.Uint64(sum[:]))
	return n
}

func (d *dictionary[K]) hash(n uint32) uint64 { return d.hashes[n] }

// keyNumbers numbers keys from 1; key 0, which is of no runner and of no interval,
// is 0. Places are by open addressing: a map would take five times the memory.
type keyNumbers struct {
	keys   []uint64
	places []uint32 // of keys, 0 empty; a power of two of them
}

func newKeyNumbers() keyNumbers { return keyNumbers{keys: []uint64{0}} }

// bytes returns what the keys take.
func (k *keyNumbers) bytes() int { return 8*cap(k.keys) + 4*cap(k.places) }

func (k *keyNumbers) add(key uint64) uint32 {
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

func (k *keyNumbers) grow() {
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
func (e *encoder) hash(r *keyedRow) (a, b uint64) {
	h := hasher{1, 2}
	h.add(r.pair | uint64(one(r.isFirst))<<63)
	h.add(uint64(r.km) | uint64(r.life)<<kmBits)
	h.add(uint64(r.what)<<32 | uint64(e.unread.all[r.unread]))
	h.add(uint64(r.grades[0])<<32 | uint64(r.grades[1]))
	h.add(uint64(r.day)<<32 | uint64(uint16(r.tilt[0]))<<16 | uint64(uint16(r.tilt[1])))
	h.add(r.runnerKey)
	f := &e.findings.all[r.finding]
	for _, n := range [...]uint64{
		e.stores.hash(uint32(r.store)), e.staff.hash(uint32(r.staff)), e.models.hash(uint32(r.model)),
		e.batches.hash(r.batch), f.sum[1], f.sum[0],
	} {
		h.add(n)
	}
	return h.a, h.b
}

type hasher struct{ a, b uint64 }

func (h *hasher) add(n uint64) {
	h.a = mix(h.a ^ n)
	h.b = mix(h.b + n*0x9e3779b97f4a7c15)
}
