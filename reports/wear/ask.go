package wear

import (
	"slices"
	"strconv"
	"strings"

	"solewright/assess"
	"solewright/models/retail"
	"solewright/reports/fleet"
)

// Ask says which pairs a question is about, and how it is put. The zero value
// of a field doesn't restrict, but for Scopes.
type Ask struct {
	// Scopes are whose stores are seen.
	Scopes []retail.Scope
	// From and To bound the day of the last reading, days or months, both
	// included.
	From, To string
	// KMFrom and KMTo bound the distance, in km, both included; unread is no bound.
	KMFrom, KMTo assess.Value
	// Only are conditions on words; see [Ask.With].
	Only []fleet.Only
	// Part is the part of the outsole whose pattern is asked about.
	Part Part
	// Pattern is the pattern asked about; empty asks about all of them, and
	// where a yes or no is counted, about pairs found worn.
	Pattern string
	// Readings asks about all readings, not only each pair's last: what moves from
	// month to month can't be seen in last readings, for a pair seen sound lately
	// has its worn reading still before it.
	Readings bool
	// By splits the answer.
	By []fleet.Dim
}

// Part is a part of the outsole that has a pattern.
type Part uint8

// The parts.
const (
	Heel Part = iota
	Forefoot
)

// Parts are their words.
var Parts = []string{"heel", "forefoot"}

// Units are what is counted: pairs at their last reading, or all readings.
var Units = []string{"pair", "reading"}

// String returns the part's word.
func (p Part) String() string { return Parts[p] }

// Dim returns where the part's pattern stands.
func (p Part) Dim() fleet.Dim {
	if p == Forefoot {
		return fleet.ForePattern
	}
	return fleet.HeelPattern
}

// Patterns are the words of a pattern, in order.
var Patterns = func() []string {
	var all []string
	for p := assess.NoPattern + 1; p <= assess.MixedWear; p++ {
		all = append(all, p.String())
	}
	return all
}()

// Filters are the dimensions that a parameter of their name restricts.
var Filters = []fleet.Dim{
	fleet.Region, fleet.Store, fleet.Model, fleet.Category, fleet.Batch, fleet.Gait, fleet.Posture, fleet.Strike, fleet.Surface,
	fleet.Kind, fleet.Verdict, fleet.Reason,
}

// Splits are the dimensions that an answer may be split by.
var Splits = []fleet.Dim{
	fleet.Model, fleet.Category, fleet.Batch, fleet.Gait, fleet.Posture, fleet.Strike, fleet.Surface, fleet.UsedFor, fleet.Store, fleet.Region,
	fleet.Month, fleet.Kind, fleet.Side, fleet.Verdict,
}

// maxSplits is how many dimensions an answer may be split by, so that there is
// room for what is asked about.
const maxSplits = fleet.MaxDims - 2

// names writes dimensions as their words.
func names(dims []fleet.Dim) []string {
	all := make([]string, len(dims))
	for i, d := range dims {
		all[i] = d.String()
	}
	return all
}

// maxKM is the largest distance of a record.
const maxKM = 200_000

// Read reads a question from parameters: from, to, km_from, km_to, the names of
// [Filters], part, pattern, unit and by, with commas between several. view may be nil; with it, models
// may be named by their label. Every fault is named, by its parameter.
func Read(get func(name string) string, view *fleet.View, scopes []retail.Scope) (Ask, error) {
	a := Ask{Scopes: scopes, From: get("from"), To: get("to"), Pattern: get("pattern")}
	var errs assess.FieldErrors
	for _, d := range Filters {
		words := get(d.String())
		if words == "" {
			continue
		}
		list := strings.Split(words, ",")
		if d == fleet.Model {
			list = modelIDs(view, list)
		}
		a.Only = append(a.Only, fleet.Only{Dim: d, Words: list})
	}
	for _, bound := range []struct {
		name string
		to   *assess.Value
	}{{"km_from", &a.KMFrom}, {"km_to", &a.KMTo}} {
		text := get(bound.name)
		if text == "" {
			continue
		}
		km, err := strconv.Atoi(text)
		if err != nil || km < 0 || km > maxKM {
			errs.Add(assess.FieldError{Field: bound.name, Value: text, Want: "whole kilometres, 0 to 200000", Err: assess.ErrMalformed})
			continue
		}
		*bound.to = assess.Of(km)
	}
	if p := get("part"); p != "" {
		i := slices.Index(Parts, p)
		if i < 0 {
			errs.Add(assess.FieldError{Field: "part", Value: p, Want: "one of " + strings.Join(Parts, ", "), Err: assess.ErrMalformed})
		}
		a.Part = Part(max(i, 0))
	}
	if a.Pattern != "" && !slices.Contains(Patterns, a.Pattern) {
		errs.Add(assess.FieldError{Field: "pattern", Value: a.Pattern, Want: "one of " + strings.Join(Patterns, ", "), Err: assess.ErrMalformed})
	}
	if unit := get("unit"); unit != "" {
		if a.Readings = unit == "reading"; !slices.Contains(Units, unit) {
			errs.Add(assess.FieldError{Field: "unit", Value: unit, Want: "one of " + strings.Join(Units, ", "), Err: assess.ErrMalformed})
		}
	}
	if by := get("by"); by != "" {
		for word := range strings.SplitSeq(by, ",") {
			d, ok := fleet.DimByName(word)
			if !ok || !slices.Contains(Splits, d) {
				errs.Add(assess.FieldError{Field: "by", Value: word, Want: "some of " + strings.Join(names(Splits), ", "), Err: assess.ErrMalformed})
				continue
			}
			a.By = append(a.By, d)
		}
		if len(a.By) > maxSplits {
			errs.Add(assess.FieldError{Field: "by", Value: by, Want: "no more than two at once", Err: assess.ErrOutOfRange})
		}
	}
	// The copy knows the words of closed lists, and how a day is written.
	if view != nil {
		if err := view.Check(a.filter()); err != nil {
			if more, ok := errorsOf(err); ok {
				errs = append(errs, more...)
			} else {
				return a, err
			}
		}
	}
	return a, errs.Err()
}

// modelIDs turns labels of models into their ids, and leaves ids alone.
func modelIDs(view *fleet.View, words []string) []string {
	if view == nil {
		return words
	}
	byLabel := map[string]string{}
	for _, id := range view.Words(fleet.Model) {
		byLabel[view.Label(fleet.Model, id)] = id
	}
	ids := make([]string, len(words))
	for i, w := range words {
		ids[i] = w
		if id, ok := byLabel[w]; ok && w != "" {
			ids[i] = id
		}
	}
	return ids
}

// filter returns the question's filter.
func (a Ask) filter() fleet.Filter {
	return fleet.Filter{Scopes: a.Scopes, From: a.From, To: a.To, KMFrom: a.KMFrom, KMTo: a.KMTo, Only: a.Only, Readings: a.Readings}
}

// Filter returns the pairs that are asked about, those of the pattern where one
// is named.
func (a Ask) Filter() fleet.Filter {
	if a.Pattern != "" {
		a = a.With(a.Part.Dim(), a.Pattern)
	}
	return a.filter()
}

// With returns the question narrowed to words of a dimension.
func (a Ask) With(d fleet.Dim, words ...string) Ask {
	a.Only = append(slices.Clip(a.Only), fleet.Only{Dim: d, Words: words})
	return a
}

// Without returns the question without its conditions on a dimension.
func (a Ask) Without(d fleet.Dim) Ask {
	a.Only = slices.DeleteFunc(slices.Clone(a.Only), func(o fleet.Only) bool { return o.Dim == d })
	return a
}

// SplitBy returns the question with its answer split by dimensions.
func (a Ask) SplitBy(dims ...fleet.Dim) Ask {
	a.By = dims
	return a
}
