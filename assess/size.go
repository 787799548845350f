package assess

import "strconv"

// Shoe sizes come straight from the length of the foot in whole millimetres,
// never from another size. The formulas hold the last's allowance of two size
// points over the foot, so nothing is added before or after. Half sizes are
// rounded to the nearest, ties down. There is no single law of sizes: what is
// printed on the shoe is kept beside, and toe room is checked on the foot.
//
//	EU        0.15 foot_mm + 2
//	UK        3 foot_in − 23         UK child   3 foot_in − 10
//	US men    UK + 1                 US child   UK child + ⅓
//	US women  US men + 1½
//
// Sources: step and zero of each system from the notes of ISO/TS 19407 and from
// secondary pages, the form on foot length derived; the row a maker prints may
// differ by a half or a whole size. Mondopoint: ISO 9407, steps of 5 mm.
const (
	mondopointStep = 5
	// The shortest and longest feet that the formulas are used for, in mm.
	minAdultFoot, maxAdultFoot = 200, 350
	minChildFoot, maxChildFoot = 90, 235
)

// Size is a shoe size in half sizes: 83 is 41½.
type Size int

// String writes the size with a decimal where it is a half: 41.5.
func (s Size) String() string { return string(appendDecimal(nil, int(s)*5, 1)) }

// AdultSizes are the sizes of an adult's foot in the systems in use.
type AdultSizes struct {
	Mondopoint     int // mm
	EU, UK         Size
	USMen, USWomen Size
}

// SizesOf returns the sizes of an adult's foot of that length in whole
// millimetres, standing, the longer of the two feet. Outside 200–350 mm the
// error is a FieldErrors on length_mm.
func SizesOf(footMM int) (AdultSizes, error) {
	if err := footWithin(footMM, minAdultFoot, maxAdultFoot); err != nil {
		return AdultSizes{}, err
	}
	uk := nearestHalf(60*footMM-11_684, 254) // 2 (3 mm/25.4 − 23)
	return AdultSizes{
		Mondopoint: Mondopoint(footMM),
		EU:         euSize(footMM),
		UK:         uk,
		USMen:      uk + 2,
		USWomen:    uk + 5,
	}, nil
}

// ChildSizes are the sizes of a child's foot. UK and US sizes count on past 13½
// on the child's scale; Printed gives what stands on the shoe.
type ChildSizes struct {
	Mondopoint int // mm
	EU, UK, US Size
}

// ChildSizesOf returns the sizes of a child's foot of that length in whole
// millimetres. Outside 90–235 mm the error is a FieldErrors on length_mm.
func ChildSizesOf(footMM int) (ChildSizes, error) {
	if err := footWithin(footMM, minChildFoot, maxChildFoot); err != nil {
		return ChildSizes{}, err
	}
	return ChildSizes{
		Mondopoint: Mondopoint(footMM),
		EU:         euSize(footMM),
		UK:         nearestHalf(60*footMM-5_080, 254),   // 2 (3 mm/25.4 − 10)
		US:         nearestHalf(180*footMM-14_732, 762), // the same + ⅔
	}, nil
}

// lastChild is 13½, after which the child's scale of UK and US starts again at
// 1 as the adult's: child 13 is adult 0.
const lastChild, adultZero Size = 27, 26

// Printed returns a UK or US child's size as it stands on the shoe, and whether
// it is on the adult's scale.
func (s Size) Printed() (size Size, adult bool) {
	if s > lastChild {
		return s - adultZero, true
	}
	return s, false
}

// Mondopoint returns the length mark of ISO 9407, the foot's length to the
// nearest 5 mm.
func Mondopoint(footMM int) int {
	return (footMM + mondopointStep/2) / mondopointStep * mondopointStep
}

// MondopointMark writes a length with a width, such as 260/85; without a width
// the length alone.
func MondopointMark(footMM, widthMM int) string {
	mark := strconv.Itoa(Mondopoint(footMM))
	if widthMM > 0 {
		mark += "/" + strconv.Itoa(widthMM)
	}
	return mark
}

// euSize returns 0.15 mm + 2.
func euSize(footMM int) Size { return nearestHalf(3*footMM+40, 10) }

// nearestHalf returns n/d rounded to a whole number, ties down; d is even.
func nearestHalf(n, d int) Size {
	q := (n + d/2 - 1) / d // exact for n + d/2 ≥ 1
	if n+d/2 < 1 {
		q = -((-n + d/2) / d)
	}
	return Size(q)
}

// footWithin refuses a length that no formula was made for.
func footWithin(footMM, lo, hi int) error {
	if footMM >= lo && footMM <= hi {
		return nil
	}
	return FieldErrors{{
		Field: "length_mm", Value: strconv.Itoa(footMM), Err: ErrOutOfRange,
		Want: "a length from " + strconv.Itoa(lo) + " to " + strconv.Itoa(hi) + " mm",
	}}
}
