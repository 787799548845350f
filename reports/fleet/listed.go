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

	row  row
	view *View
}

// Word returns the row's word of a dimension; of Code its codes, a space between,
// in no particular order.
func (l *Listed) Word(d Dim) string {
	switch d {
	case Model:
		return l.view.names.word(d, uint32(l.row.model))
	case Category:
		return l.view.names.word(d, uint32(l.view.names.category[l.row.model]))
	case Batch:
		return l.view.names.word(d, l.row.batch)
	case Store:
		return l.view.names.word(d, uint32(l.row.store))
	case Region:
		return l.view.names.word(d, uint32(l.view.names.region[l.row.store]))
	case Staff:
		return l.view.names.word(d, uint32(l.row.staff))
	case Month:
		return monthOf(monthNumber(l.row.day))
	case Reason:
		return l.view.names.word(d, uint32(l.view.findings[l.row.finding].first))
	case Code:
		var all []byte
		countBits(&l.view.findings[l.row.finding].codes, func(code uint32) {
			if len(all) > 0 {
				all = append(all, ' ')
			}
			all = append(all, l.view.names.codes[code]...)
		})
		return string(all)
	}
	return l.view.names.word(d, packed[d].of(l.row.what))
}

// Grades are the grades of the row's zones on one shoe.
func (l *Listed) Grades(of assess.Foot) facts.Grades { return facts.Grades(l.row.grades[of]) }
