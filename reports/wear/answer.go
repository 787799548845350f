package wear

import (
	"encoding/json"
	"errors"
	"iter"
	"slices"
	"strconv"
	"strings"

	"solewright/assess"
	"solewright/reports/fleet"
	"solewright/reports/stats"
	"solewright/reports/tally"
)

// Answer is what tally says, or that no pair met the question.
type Answer struct{ json.RawMessage }

// Decode fills into, a pointer to a struct with the answer's JSON keys.
func (a Answer) Decode(into any) error { return json.Unmarshal(a.RawMessage, into) }

// nothing is the answer where no pair meets the question: tally refuses a file
// without rows.
func nothing(name string) Answer {
	return Answer{json.RawMessage(`{"name":` + strconv.Quote(name) + `,"n":0,"dropped":{"count":0,"first":[]},"groups":[],"why":"no pairs meet the question"}`)}
}

func errorsOf(err error) (assess.FieldErrors, bool) {
	if all, ok := errors.AsType[assess.FieldErrors](err); ok {
		return all, true
	}
	if one, ok := errors.AsType[assess.FieldError](err); ok {
		return assess.FieldErrors{one}, true
	}
	return nil, false
}

// counted are rows that carry how often they stand.
type counted struct {
	columns []string
	rows    [][]string // the last cell is the count
}

// Header returns the columns.
func (c *counted) Header() []string { return c.columns }

// Records yields each row once with its count, but a row that tally will drop
// as often as it stands, so that the dropped are counted by the pair.
func (c *counted) Records() iter.Seq2[[]string, error] {
	return func(yield func([]string, error) bool) {
		for _, row := range c.rows {
			last := len(row) - 1
			times := 1
			if open := slices.Index(c.columns, "upper"); hasEmpty(row[:last], open) {
				times, _ = strconv.Atoi(row[last]) // written by add
				row = append(slices.Clone(row[:last]), "1")
			}
			for range times {
				if !yield(row, nil) {
					return
				}
			}
		}
	}
}

// hasEmpty reports whether a cell is empty; the one at open may be.
func hasEmpty(row []string, open int) bool {
	for i, cell := range row {
		if cell == "" && i != open {
			return true
		}
	}
	return false
}

func (c *counted) add(n int, words ...string) {
	c.rows = append(c.rows, append(slices.Clone(words), strconv.Itoa(n)))
}

// compute asks tally, split by dimensions.
func compute(rows *counted, by []fleet.Dim, args ...string) (Answer, error) {
	if len(rows.rows) == 0 {
		return nothing(args[0]), nil
	}
	if len(by) > 0 {
		args = append(args, "--by", strings.Join(names(by), ","))
	}
	result, err := tally.Compute(args, rows)
	if err != nil {
		return Answer{}, err
	}
	text, err := result.MarshalJSON()
	return Answer{text}, err
}

// labelled writes the words of a cell as export pairs does: models by name.
func labelled(v *fleet.View, dims []fleet.Dim, words []string) []string {
	for i, d := range dims {
		if d == fleet.Model {
			words = slices.Clone(words)
			words[i] = v.Label(d, words[i])
		}
	}
	return words
}

// count counts the pairs asked about by dimensions, in rows for tally.
func count(v *fleet.View, a Ask, dims ...fleet.Dim) (*counted, error) {
	cells, err := v.Count(a.filter(), dims...)
	if err != nil {
		return nil, err
	}
	rows := &counted{columns: append(names(dims), "n")}
	for _, c := range cells {
		rows.add(c.N, labelled(v, dims, c.By)...)
	}
	return rows, nil
}

// Of are what Shares may be of, beside the pattern of the part.
var Of = []string{"pattern", "verdict", "reason", "side", "kind"}

// Shares answers which share of pairs has each word of what is asked about, by
// tally shares --of. of is one of [Of]; empty is the pattern of the part.
func Shares(v *fleet.View, a Ask, of string) (Answer, error) {
	d := a.Part.Dim()
	if of != "" && of != "pattern" {
		d, _ = fleet.DimByName(of) // one of Of
	}
	rows, err := count(v, a, append(slices.Clone(a.By), d)...)
	if err != nil {
		return Answer{}, err
	}
	return compute(rows, a.By, "shares", "--of", d.String(), "--count", "n")
}

// Association answers whether the pattern goes with the words of a dimension,
// by tally association --rows pattern --cols dimension.
func Association(v *fleet.View, a Ask, with fleet.Dim) (Answer, error) {
	rows, err := count(v, a, append(slices.Clone(a.By), a.Part.Dim(), with)...)
	if err != nil {
		return Answer{}, err
	}
	return compute(rows, a.By, "association", "--rows", a.Part.Dim().String(), "--cols", with.String(), "--count", "n")
}

// Life answers how long pairs last, by tally life --lower --upper. With
// replicates of the bootstrap it has a band; 0 is none.
func Life(v *fleet.View, a Ask, replicates int) (Answer, error) {
	groups, err := lives(v, a)
	if err != nil {
		return Answer{}, err
	}
	rows := &counted{columns: append(names(a.By), "lower", "upper", "n")}
	for _, g := range groups {
		by := labelled(v, a.By, g.By)
		for _, s := range g.Spans {
			upper := ""
			if s.Upper.OK() {
				upper = strconv.Itoa(s.Upper.Int())
			}
			rows.add(s.N, append(slices.Clone(by), strconv.Itoa(s.Lower), upper)...)
		}
		if n := g.Contradicting + g.Unknown; n > 0 {
			rows.add(n, append(slices.Clone(by), "", "")...)
		}
	}
	args := []string{"life", "--lower", "lower", "--upper", "upper", "--count", "n"}
	if replicates > 0 {
		args = append(args, "--bootstrap", strconv.Itoa(replicates))
	}
	return compute(rows, a.By, args...)
}

// gaits returns the gaits asked about; false where there is no condition on them, or
// several.
func (a Ask) gaits() (words []string, ok bool) {
	conditions := 0
	for _, o := range a.Only {
		if o.Dim == fleet.Gait {
			words, conditions = o.Words, conditions+1
		}
	}
	return words, conditions == 1
}

// lives counts the intervals of the pairs asked about. Those under some gaits are put
// together from what the fleet has under each: who asks for one group of gaits asks
// for the others too, and all are counted at once.
func lives(v *fleet.View, a Ask) ([]fleet.LifeGroup, error) {
	gaits, ok := a.gaits()
	if !ok || len(a.By) == fleet.MaxDims || slices.Contains(a.By, fleet.Gait) {
		return v.Life(a.Filter(), a.By...)
	}
	under, err := v.Life(a.Without(fleet.Gait).Filter(), append(slices.Clone(a.By), fleet.Gait)...)
	if err != nil {
		return nil, err
	}
	// The gait comes last, so that groups to be put together follow each other.
	var groups []fleet.LifeGroup
	for _, g := range under {
		by, gait := g.By[:len(a.By)], g.By[len(a.By)]
		if !slices.Contains(gaits, gait) {
			continue
		}
		if n := len(groups); n > 0 && slices.Equal(groups[n-1].By, by) {
			groups[n-1].Join(g)
			continue
		}
		g.By = by
		groups = append(groups, g)
	}
	return groups, nil
}

// hits counts, by dimensions, the pairs that have the pattern asked about among
// those that have one; or where none is named, the pairs found worn among those
// judged.
func hits(v *fleet.View, a Ask, dims ...fleet.Dim) ([]stats.Trials, [][]string, error) {
	of, place := []fleet.Dim{fleet.Verdict}, len(dims)
	if a.Pattern != "" {
		of[0] = a.Part.Dim()
	}
	if len(dims) == 1 && dims[0] == fleet.Month { // a page shows both by month
		of = []fleet.Dim{fleet.Verdict, a.Part.Dim()}
		if a.Pattern != "" {
			place++
		}
	}
	cells, err := v.Count(a.filter(), append(slices.Clone(dims), of...)...)
	if err != nil {
		return nil, nil, err
	}
	var trials []stats.Trials
	var by [][]string
	for _, c := range cells {
		at, word := labelled(v, dims, c.By[:len(dims)]), c.By[place]
		if n := len(by); n == 0 || !slices.Equal(by[n-1], at) {
			by, trials = append(by, at), append(trials, stats.Trials{Name: strings.Join(at, ", ")})
		}
		t := &trials[len(trials)-1]
		switch {
		case a.Pattern != "" && word != "":
			t.Size += c.N
			if word == a.Pattern {
				t.Hits += c.N
			}
		case a.Pattern == "" && word == assess.Incomplete.String(), word == "":
		default:
			t.Size += c.N
			if word == assess.Replace.String() || word == assess.Retire.String() {
				t.Hits += c.N
			}
		}
	}
	return trials, by, nil
}

// TrendAnswer is a chart of shares by month, and whether they rise or fall.
type TrendAnswer struct {
	Chart Answer `json:"chart"`
	Trend Answer `json:"trend"`
}

// Trend answers whether a share moves from month to month: of the pattern asked
// about, or of pairs found worn. The chart is tally chart --kind p over months
// with their hits and size; the trend tally trend --hits --size --score, where
// score numbers the months from 0.
func Trend(v *fleet.View, a Ask) (TrendAnswer, error) {
	trials, by, err := hits(v, a, append(slices.Clone(a.By), fleet.Month)...)
	if err != nil {
		return TrendAnswer{}, err
	}
	months := map[string]bool{}
	for _, words := range by {
		months[words[len(words)-1]] = true
	}
	score := map[string]string{}
	for i, m := range sorted(months) {
		score[m] = strconv.Itoa(i)
	}
	rows := &counted{columns: append(names(a.By), "month", "score", "hits", "size", "n")}
	for i, t := range trials {
		month := by[i][len(a.By)]
		rows.add(1, append(slices.Clone(by[i]), score[month], strconv.Itoa(t.Hits), strconv.Itoa(t.Size))...)
	}
	var out TrendAnswer
	if out.Chart, err = compute(rows, a.By, "chart", "--kind", "p", "--order", "month", "--hits", "hits", "--size", "size"); err != nil {
		return out, err
	}
	out.Trend, err = compute(rows, a.By, "trend", "--hits", "hits", "--size", "size", "--score", "score")
	return out, err
}

func sorted(set map[string]bool) []string {
	var all []string
	for w := range set {
		all = append(all, w)
	}
	slices.Sort(all)
	return all
}

// Stores answers which stores are apart from the rest, by tally funnel: of the
// pattern asked about, or of pairs found worn.
func Stores(v *fleet.View, a Ask) (Answer, error) {
	trials, _, err := hits(v, a, fleet.Store)
	if err != nil {
		return Answer{}, err
	}
	rows := &counted{columns: []string{"store", "hits", "size", "n"}}
	for _, t := range trials {
		if t.Size > 0 {
			rows.add(1, t.Name, strconv.Itoa(t.Hits), strconv.Itoa(t.Size))
		}
	}
	return compute(rows, []fleet.Dim{fleet.Store}, "funnel", "--hits", "hits", "--size", "size")
}

// Monthly counts the pairs asked about by month, as [Trend] does: how many are
// hits, of how many.
func Monthly(v *fleet.View, a Ask) (map[string]stats.Trials, error) {
	trials, by, err := hits(v, a, fleet.Month)
	all := map[string]stats.Trials{}
	for i, t := range trials {
		all[by[i][0]] = t
	}
	return all, err
}

// Watched is how many pairs were last seen sound at KM or beyond.
type Watched struct{ KM, N int }

// OnWatch counts the pairs that were last seen sound at or beyond each distance,
// ascending.
func OnWatch(v *fleet.View, a Ask) ([]Watched, error) {
	groups, err := lives(v, a)
	if err != nil || len(groups) == 0 {
		return nil, err
	}
	var at []Watched
	for _, s := range groups[0].Spans { // by Lower
		if n := len(at); n > 0 && at[n-1].KM == s.Lower {
			at[n-1].N += s.N
			continue
		}
		at = append(at, Watched{s.Lower, s.N})
	}
	for i := len(at) - 2; i >= 0; i-- {
		at[i].N += at[i+1].N
	}
	return at, nil
}
