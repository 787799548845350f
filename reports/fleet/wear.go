package fleet

import (
	"cmp"
	"encoding/binary"
	"math/bits"
	"reflect"
	"slices"

	"solewright/assess"
	"solewright/models/facts"
)

// ZoneGrades is how often a zone had each grade, couldn't be read, or wasn't.
type ZoneGrades struct {
	Grades       [5]int
	Cant, Unread int
}

// N returns how often the zone had a grade.
func (z *ZoneGrades) N() (n int) {
	for _, c := range z.Grades {
		n += c
	}
	return n
}

// Mean returns the mean grade, 0 to 4; false where there is none.
func (z *ZoneGrades) Mean() (float64, bool) {
	sum := 0
	for grade, c := range z.Grades {
		sum += grade * c
	}
	n := z.N()
	return float64(sum) / float64(max(n, 1)), n > 0
}

// GradeGroup is the grades of the rows with the words By: of each shoe the ten
// zones from assess.HeelMedial.
type GradeGroup struct {
	By    []string
	N     int
	Zones [2][assess.NumZones]ZoneGrades
}

// Grades counts the grades of zones of the rows that a filter picks.
func (v *View) Grades(f Filter, dims ...Dim) ([]GradeGroup, error) {
	type counts [2][assess.NumZones][8]uint32
	return sums(v, "grades", &f, dims, func(c *counts, _ *grouping, s *segment, i, sign int) {
		for shoe := range c {
			g := s.gradesAt(shoe, i)
			for z := range c[shoe] {
				c[shoe][z][g&7] += uint32(sign)
				g >>= 3
			}
		}
	}, func(by []string, n int, c *counts) GradeGroup {
		g := GradeGroup{By: by, N: n}
		for shoe := range c {
			for z := range c[shoe] {
				to := &g.Zones[shoe][z]
				for grade := range to.Grades {
					to.Grades[grade] = int(c[shoe][z][grade])
				}
				to.Cant, to.Unread = int(c[shoe][z][facts.CantGrade]), int(c[shoe][z][facts.NoGrade])
			}
		}
		return g
	})
}

// CheckCount is in how many rows a check has no value, because it wasn't read or
// couldn't be. Shoe is assess.Both for what is read once for the pair.
type CheckCount struct {
	Shoe  assess.Foot
	Check assess.Col
	N     int
}

// UnreadGroup is what has no value in the N rows with the words By, every check
// in order of columns: zones, then the other checks of a shoe, then the pair's.
// Degrees and hardness, which few stores measure, are not among them.
type UnreadGroup struct {
	By     []string
	N      int
	Checks []CheckCount
}

// Unread counts the checks without a value of the rows that a filter picks.
func (v *View) Unread(f Filter, dims ...Dim) ([]UnreadGroup, error) {
	type counts struct {
		zones  [2][assess.NumZones]int
		checks [32]int
	}
	return sums(v, "unread", &f, dims, func(c *counts, g *grouping, s *segment, i, sign int) {
		for shoe := range c.zones {
			for none := ungraded(s.gradesAt(shoe, i)); none != 0; none &= none - 1 {
				c.zones[shoe][bits.TrailingZeros32(none)/3] += sign
			}
		}
		for unread := g.query.unread[s.unreadAt(i)]; unread != 0; unread &= unread - 1 {
			c.checks[bits.TrailingZeros32(unread)] += sign
		}
	}, func(by []string, n int, c *counts) UnreadGroup {
		g := UnreadGroup{By: by, N: n}
		bit := 0
		for shoe := range c.zones {
			foot := assess.Foot(shoe)
			for z, n := range c.zones[shoe] {
				g.Checks = append(g.Checks, CheckCount{foot, assess.HeelMedial + assess.Col(z), n})
			}
			for _, check := range shoeChecks {
				g.Checks = append(g.Checks, CheckCount{foot, check, c.checks[bit]})
				bit++
			}
		}
		for _, check := range pairChecks {
			g.Checks = append(g.Checks, CheckCount{assess.Both, check, c.checks[bit]})
			bit++
		}
		return g
	})
}

// ungraded returns, in the first of the three bits of each zone, whether it has no
// grade, which are the codes from facts.CantGrade on: most zones have one.
func ungraded(grades uint32) uint32 {
	const first = 1 | 1<<3 | 1<<6 | 1<<9 | 1<<12 | 1<<15 | 1<<18 | 1<<21 | 1<<24 | 1<<27
	return grades >> 2 & (grades>>1 | grades) & first
}

// AlikeGroup is in how many of the N rows with the words By both shoes were given
// the same row of grades; where every zone is as new, that says nothing, and the
// row doesn't count as alike.
type AlikeGroup struct {
	By       []string
	N, Alike int
}

// Alike counts the rows that a filter picks whose two shoes have the same grades.
func (v *View) Alike(f Filter, dims ...Dim) ([]AlikeGroup, error) {
	return sums(v, "alike", &f, dims, func(alike *int, _ *grouping, s *segment, i, sign int) {
		left := s.gradesAt(int(assess.Left), i)
		*alike += sign * one(left != 0 && left == s.gradesAt(int(assess.Right), i))
	}, func(by []string, n int, alike *int) AlikeGroup { return AlikeGroup{By: by, N: n, Alike: *alike} })
}

// TiltSum is of one shoe's tilts, in hundredths of a degree, how many there are,
// their sum and the sum of their squares.
type TiltSum struct {
	N, Sum, Squares int64
}

// TiltGroup is the tilts of the rows with the words By, by shoe.
type TiltGroup struct {
	By   []string
	N    int
	Tilt [2]TiltSum
}

// Tilts sums up the tilts of the rows that a filter picks.
func (v *View) Tilts(f Filter, dims ...Dim) ([]TiltGroup, error) {
	return sums(v, "tilts", &f, dims, func(c *[2]TiltSum, _ *grouping, s *segment, i, sign int) {
		for shoe := range c {
			if t := int64(s.tiltAt(shoe, i)); t != noTilt {
				c[shoe].N += int64(sign)
				c[shoe].Sum += int64(sign) * t
				c[shoe].Squares += int64(sign) * t * t
			}
		}
	}, func(by []string, n int, c *[2]TiltSum) TiltGroup { return TiltGroup{By: by, N: n, Tilt: *c} })
}

// sums adds up the rows of each group in a C of its own, and writes them in the
// order of words.
func sums[C, E any](v *View, kind string, f *Filter, dims []Dim, add func(c *C, g *grouping, s *segment, i, sign int), line func(by []string, n int, c *C) E) ([]E, error) {
	return answered(v, kind, f, dims, func(*grouping) (sum[E], error) {
		return &totals[C, E]{counts: counts{tally: scratchTable()}, put: add, line: line}, nil
	})
}

// totals is the sum of sums.
type totals[C, E any] struct {
	counts // by key, the place of the group's total, from 1
	all    []C
	count  []int
	put    func(c *C, g *grouping, s *segment, i, sign int)
	line   func(by []string, n int, c *C) E
}

func (t *totals[C, E]) scan(g *grouping) {
	g.view.scan(g.query, func(sel *selection) { t.change(g, sel, 1) })
}

// counted is nil: the totals of groups are not tallied.
func (t *totals[C, E]) counted() *tally { return nil }

func (t *totals[C, E]) change(g *grouping, sel *selection, sign int) {
	g.keys(sel, func(row uint16, key uint64) {
		place := t.table.at(key)
		if *place == 0 {
			var zero C
			t.all, t.count = append(t.all, zero), append(t.count, 0)
			*place = uint32(len(t.all))
		}
		t.put(&t.all[*place-1], g, sel.segment, sel.base+int(row), sign)
		t.count[*place-1] += sign
	})
}

func (t *totals[C, E]) lines(g *grouping) []E {
	keys := g.sortedKeys(&t.table)
	lines := make([]E, 0, len(keys))
	for _, k := range keys {
		if place := *t.table.at(k) - 1; t.count[place] > 0 {
			lines = append(lines, t.line(g.words(k), t.count[place], &t.all[place]))
		}
	}
	return lines
}

func (t *totals[C, E]) keep() (sum[E], int) {
	n := t.settle() + cap(t.all)*int(reflect.TypeFor[C]().Size()) + 8*cap(t.count)
	if n > answerBytes {
		return nil, n
	}
	return t, n
}

// ClusterGroup is how the pairs with the words By fall into clusters: those of
// one runner are alike. Rows[i] is the counts of Clusters[i] clusters that have
// the same counts by level; a pair without a runner is a cluster of its own. It
// is what stats.ClusteredShares takes, without the repetitions.
type ClusterGroup struct {
	By       []string
	Levels   []string // that occur in the group, in order
	Counts   [][]int
	Clusters []int
}

// Clusters counts the rows that a filter picks by the words of a dimension within
// each runner. Of can't be Code, nor one of the dimensions grouped by.
func (v *View) Clusters(f Filter, of Dim, dims ...Dim) ([]ClusterGroup, error) {
	if of == Code {
		return nil, assess.FieldError{Field: "of", Value: of.String(), Want: "what each row has one of", Err: assess.ErrInconsistent}
	}
	// The level is the last dimension of the key, so that it comes off by division.
	return answered(v, "clusters", &f, append(slices.Clone(dims), of), func(g *grouping) (sum[ClusterGroup], error) {
		if g.cellsN > 1<<clusterBits {
			return nil, assess.FieldError{Field: "by", Want: "fewer groups at once", Err: assess.ErrOutOfRange}
		}
		return &clusters{counts{tally: scratchTable()}}, nil
	})
}

// clusterBits is how many bits of a key of clusters are the group and level; the
// rest is the runner's number, 0 for a pair alone.
const clusterBits = 31

// clusters is the sum of Clusters.
type clusters struct{ counts }

func (c *clusters) scan(g *grouping) {
	g.view.scan(g.query, func(sel *selection) { c.change(g, sel, 1) })
}

func (c *clusters) change(g *grouping, sel *selection, sign int) {
	g.keys(sel, func(row uint16, key uint64) {
		*c.table.at(uint64(sel.runnerAt(sel.base+int(row)))<<clusterBits | key) += uint32(sign)
	})
}

func (c *clusters) keep() (sum[ClusterGroup], int) {
	n := c.settle()
	if n > answerBytes {
		return nil, n
	}
	return c, n
}

// lines puts together what was counted by runner, group and level.
func (c *clusters) lines(g *grouping) []ClusterGroup {
	type count struct {
		group, runner uint64
		level         uint64 // its place in the order of words
		code          uint64
		n             int
	}
	last := len(g.dims) - 1
	levels := g.sizes[last]
	rank := g.view.names.ranks[g.dims[last]]()
	inner := &grouping{view: g.view, dims: g.dims[:last], sizes: g.sizes}
	counts := make([]count, 0, c.table.n)
	c.table.each(func(key uint64, n uint32) {
		code := key & (1<<clusterBits - 1)
		counts = append(counts, count{inner.place(code / levels), key >> clusterBits, uint64(rank[code%levels]), code, int(n)})
	})
	slices.SortFunc(counts, func(a, b count) int {
		return cmp.Or(cmp.Compare(a.group, b.group), cmp.Compare(a.runner, b.runner), cmp.Compare(a.level, b.level))
	})
	var groups []ClusterGroup
	for len(counts) > 0 {
		n := 1
		for n < len(counts) && counts[n].group == counts[0].group {
			n++
		}
		of := counts[:n]
		counts = counts[n:]
		cg := ClusterGroup{By: inner.words(of[0].code / levels)}
		column := map[uint64]int{} // of each level
		var places []uint64
		for _, c := range of {
			if _, ok := column[c.level]; !ok {
				column[c.level] = 0
				places = append(places, c.level)
			}
		}
		slices.Sort(places)
		codes := make([]uint64, len(places))
		for i, p := range places {
			column[p] = i
		}
		for _, c := range of {
			codes[column[c.level]] = c.code % levels
		}
		for _, code := range codes {
			cg.Levels = append(cg.Levels, g.view.names.word(g.dims[last], uint32(code)))
		}
		cg.add(func(yield func(row []int, clusters int)) {
			row := make([]int, len(places))
			for i := 0; i < len(of); {
				clear(row)
				if of[i].runner == 0 {
					row[column[of[i].level]] = 1
					yield(row, of[i].n)
					i++
					continue
				}
				runner := of[i].runner
				for ; i < len(of) && of[i].runner == runner; i++ {
					row[column[of[i].level]] = of[i].n
				}
				yield(row, 1)
			}
		})
		groups = append(groups, cg)
	}
	return groups
}

// add takes the clusters of a group and joins those with the same counts.
func (c *ClusterGroup) add(all func(yield func(row []int, clusters int))) {
	seen := map[string]int{}
	var key []byte
	all(func(row []int, clusters int) {
		key = key[:0]
		for _, n := range row {
			key = binary.AppendUvarint(key, uint64(n))
		}
		i, ok := seen[string(key)]
		if !ok {
			i = len(c.Counts)
			seen[string(key)] = i
			c.Counts, c.Clusters = append(c.Counts, slices.Clone(row)), append(c.Clusters, 0)
		}
		c.Clusters[i] += clusters
	})
}
