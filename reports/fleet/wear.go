package fleet

import (
	"cmp"
	"encoding/binary"
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
	var groups []GradeGroup
	err := sums(v, &f, dims, func(c *counts, s *segment, i int) {
		for shoe := range c {
			g := s.grades[shoe][i]
			for z := range c[shoe] {
				c[shoe][z][g&7]++
				g >>= 3
			}
		}
	}, func(by []string, n int, c *counts) {
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
		groups = append(groups, g)
	})
	return groups, err
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
	var groups []UnreadGroup
	err := sums(v, &f, dims, func(c *counts, s *segment, i int) {
		for shoe := range c.zones {
			g := s.grades[shoe][i]
			for z := range c.zones[shoe] {
				c.zones[shoe][z] += one(g&7 >= facts.CantGrade)
				g >>= 3
			}
		}
		for bits, n := s.unread[i], 0; bits != 0; bits, n = bits>>1, n+1 {
			c.checks[n] += int(bits & 1)
		}
	}, func(by []string, n int, c *counts) {
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
		groups = append(groups, g)
	})
	return groups, err
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
	var groups []AlikeGroup
	err := sums(v, &f, dims, func(alike *int, s *segment, i int) {
		left := s.grades[assess.Left][i]
		*alike += one(left != 0 && left == s.grades[assess.Right][i])
	}, func(by []string, n int, alike *int) {
		groups = append(groups, AlikeGroup{By: by, N: n, Alike: *alike})
	})
	return groups, err
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
	var groups []TiltGroup
	err := sums(v, &f, dims, func(c *[2]TiltSum, s *segment, i int) {
		for shoe := range c {
			if t := int64(s.tilt[shoe][i]); t != noTilt {
				c[shoe].N++
				c[shoe].Sum += t
				c[shoe].Squares += t * t
			}
		}
	}, func(by []string, n int, c *[2]TiltSum) {
		groups = append(groups, TiltGroup{By: by, N: n, Tilt: *c})
	})
	return groups, err
}

// sums adds up the rows of each group in a C of its own, and hands them over in
// the order of words.
func sums[C any](v *View, f *Filter, dims []Dim, add func(*C, *segment, int), done func(by []string, n int, c *C)) error {
	g, err := v.group(f, dims)
	if err != nil {
		return err
	}
	t := scratch.Get().(*tally)
	defer t.free()
	t.table.reset()
	var (
		all   []C
		count []int
	)
	v.scan(g.query, func(sel *selection) {
		g.keys(sel, func(row uint16, key uint64) {
			place := t.table.at(key) // of the group's sums, from 1
			if *place == 0 {
				var zero C
				all, count = append(all, zero), append(count, 0)
				*place = uint32(len(all))
			}
			add(&all[*place-1], sel.segment, sel.base+int(row))
			count[*place-1]++
		})
	})
	var keys []uint64
	t.table.each(func(key uint64, _ uint32) { keys = append(keys, key) })
	g.sortKeys(keys)
	for _, k := range keys {
		place := *t.table.at(k) - 1
		done(g.words(k), count[place], &all[place])
	}
	return nil
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
	g, err := v.group(&f, append(slices.Clone(dims), of))
	if err != nil {
		return nil, err
	}
	levels := g.sizes[len(dims)]
	t := scratch.Get().(*tally)
	defer t.free()
	t.table.reset()
	if g.cellsN > 1<<31 {
		return nil, assess.FieldError{Field: "by", Want: "fewer groups at once", Err: assess.ErrOutOfRange}
	}
	alone := map[uint64]int{} // by key of group and level
	v.scan(g.query, func(sel *selection) {
		g.keys(sel, func(row uint16, key uint64) {
			if runner := sel.runner[sel.base+int(row)]; runner > 0 {
				*t.table.at(uint64(runner)<<31 | key)++
			} else {
				alone[key]++
			}
		})
	})
	return g.clusters(t, alone, levels), nil
}

// clusters puts together what was counted by runner, group and level.
func (g *grouping) clusters(t *tally, alone map[uint64]int, levels uint64) []ClusterGroup {
	type count struct {
		group, runner uint64
		level         uint64 // its place in the order of words
		code          uint64
		n             int
	}
	rank := g.view.names.ranks[g.dims[len(g.dims)-1]]()
	inner := &grouping{view: g.view, dims: g.dims[:len(g.dims)-1], sizes: g.sizes}
	counts := make([]count, 0, t.table.n+len(alone))
	note := func(runner, key uint64, n int) {
		counts = append(counts, count{inner.place(key / levels), runner, uint64(rank[key%levels]), key, n})
	}
	t.table.each(func(key uint64, n uint32) { note(key>>31, key&(1<<31-1), int(n)) })
	for key, n := range alone {
		note(0, key, n)
	}
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
			cg.Levels = append(cg.Levels, g.view.names.word(g.dims[len(g.dims)-1], uint32(code)))
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
