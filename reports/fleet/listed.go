package fleet

import (
	"solewright/assess"
	"solewright/models/facts"
)

// Listed is one row of a list. Words are by dimension, "" where absent.
type Listed struct {
	Pair         string
	Day          string
	KM           assess.Value
	Lower, Upper assess.Value
	Contradicts  bool

	row   row
	names *names
}

// Word returns the row's word of a dimension; of Code its codes, a space between,
// in no particular order.
func (l *Listed) Word(d Dim) string {
	switch d {
	case Model:
		return l.names.word(d, uint32(l.row.model))
	case Category:
		return l.names.word(d, uint32(l.names.category[l.row.model]))
	case Batch:
		return l.names.word(d, l.row.batch)
	case Store:
		return l.names.word(d, uint32(l.row.store))
	case Region:
		return l.names.word(d, uint32(l.names.region[l.row.store]))
	case Staff:
		return l.names.word(d, uint32(l.row.staff))
	case Month:
		return monthOf(monthNumber(l.row.day))
	case Reason:
		return l.names.word(d, uint32(l.row.reason))
	case Code:
		var all []byte
		countBits(&l.row.codes, func(code uint32) {
			if len(all) > 0 {
				all = append(all, ' ')
			}
			all = append(all, l.names.codes[code]...)
		})
		return string(all)
	}
	return l.names.word(d, packed[d].of(l.row.what))
}

// Grades are the grades of the row's zones on one shoe.
func (l *Listed) Grades(of assess.Foot) facts.Grades { return facts.Grades(l.row.grades[of]) }
