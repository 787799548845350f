package stats

import "slices"

// Grade is one grading in a round: which item, by which rater, which level,
// each counted from 0.
type Grade struct {
	Item  int
	Rater int
	Level int
}

// Ratings are gradings reduced to what agreement needs: how many items show
// each pattern of counts. Which rater gave which grade does not matter here.
type Ratings struct {
	// Levels is the number of grades there are, unused ones included.
	Levels int
	// Patterns are distinct; Items counts the items of each.
	Patterns []Pattern
}

// Pattern is a set of grades of one item: Counts[l] raters gave level l.
type Pattern struct {
	Counts []int
	Items  int
}

// Reduce counts gradings by item and equal items together, in order of the
// patterns themselves. The order of grades and the numbering of items and
// raters do not matter. A rater who graded an item twice counts twice.
//
// Errors: ErrEmpty for no grades, ErrBadInput for an index below 0 or a level
// beyond the last.
func Reduce(grades []Grade, levels int) (*Ratings, error) {
	if len(grades) == 0 {
		return nil, ErrEmpty
	}
	last := 0
	for i, g := range grades {
		if g.Item < 0 || g.Rater < 0 || g.Level < 0 || g.Level >= levels {
			return nil, badInput("grade %d is item %d, rater %d, level %d: must be 0 or more, the level below %d", i+1, g.Item, g.Rater, g.Level, levels)
		}
		last = max(last, g.Item)
	}
	if last >= 64*len(grades)+1024 {
		return nil, badInput("item %d among %d grades: number the items from 0 without gaps", last, len(grades))
	}
	if float64(last+1)*float64(levels) > 1e8 {
		return nil, badInput("%d items at %d levels are too many to count", last+1, levels)
	}
	flat := make([]int32, (last+1)*levels)
	for _, g := range grades {
		flat[g.Item*levels+g.Level]++
	}
	counts := make([][]int32, last+1)
	for i := range counts {
		counts[i] = flat[i*levels : (i+1)*levels]
	}
	return reducePatterns(counts, levels), nil
}

// reducePatterns counts equal rows together and leaves out empty ones.
func reducePatterns(rows [][]int32, levels int) *Ratings {
	at := map[string]int{}
	r := &Ratings{Levels: levels}
	var key []byte
	for _, row := range rows {
		key = key[:0]
		graded := false
		for _, n := range row {
			graded = graded || n > 0
			key = append(key, byte(n), byte(n>>8), byte(n>>16), byte(n>>24))
		}
		if !graded {
			continue
		}
		i, known := at[string(key)]
		if !known {
			i = len(r.Patterns)
			at[string(key)] = i
			counts := make([]int, levels)
			for l, n := range row {
				counts[l] = int(n)
			}
			r.Patterns = append(r.Patterns, Pattern{Counts: counts})
		}
		r.Patterns[i].Items++
	}
	// A fixed order, so that a seeded bootstrap does not depend on the rows'.
	slices.SortFunc(r.Patterns, func(a, b Pattern) int { return slices.Compare(a.Counts, b.Counts) })
	return r
}

// RatingsOf takes items already counted: counts[i][l] raters gave item i the
// level l.
//
// Errors: ErrEmpty for no grades, ErrBadInput for a ragged table or a
// negative count.
func RatingsOf(counts [][]int) (*Ratings, error) {
	if len(counts) == 0 {
		return nil, ErrEmpty
	}
	levels := len(counts[0])
	if err := checkTable(counts, levels); err != nil {
		return nil, err
	}
	rows := make([][]int32, len(counts))
	for i, row := range counts {
		rows[i] = make([]int32, levels)
		for l, n := range row {
			if n > 1<<30 {
				return nil, badInput("item %d has %d grades of one level", i+1, n)
			}
			rows[i][l] = int32(n)
		}
	}
	r := reducePatterns(rows, levels)
	if len(r.Patterns) == 0 {
		return nil, ErrEmpty
	}
	return r, nil
}

// size returns the number of grades in a pattern.
func (p Pattern) size() int {
	n := 0
	for _, c := range p.Counts {
		n += c
	}
	return n
}
