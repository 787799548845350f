package assess

import (
	"errors"
	"math"
	"testing"
)

func TestSizesOfAdultFeet(t *testing.T) {
	match := map[string]int{}
	var ukMisses []int
	rows := sheet(t, "size_check_adult.csv")
	for _, row := range rows {
		mm := int(number(t, row, "mondopoint_mm"))
		got, err := SizesOf(mm)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name string
			size Size
			want string
		}{
			{"EU", got.EU, "eu_half"},
			{"UK", got.UK, "uk_half"},
			{"US men", got.USMen, "us_men_half(uk+1)"},
			{"US women", got.USWomen, "us_women_half(men+1.5)"},
		} {
			if want := number(t, row, c.want); float64(c.size)/2 != want {
				t.Errorf("%d mm: %s %v, want %v", mm, c.name, c.size, want)
			}
		}
		// The rounding is to the nearest half of the exact size.
		if exact := number(t, row, "uk_exact"); math.Abs(float64(got.UK)/2-exact) > 0.2505 {
			t.Errorf("%d mm: UK %v is far from %v", mm, got.UK, exact)
		}
		if got.Mondopoint != mm {
			t.Errorf("%d mm: Mondopoint %d", mm, got.Mondopoint)
		}
		if float64(got.EU)/2 == number(t, row, "t2_eu_unverified") {
			match["EU"]++
		}
		if float64(got.UK)/2 == number(t, row, "t2_uk_unverified") {
			match["UK"]++
		} else {
			ukMisses = append(ukMisses, mm)
		}
	}
	// How far the formulas agree with the public repository's copy of the table: 23 of 23 and 20 of 23.
	if match["EU"] != 23 || match["UK"] != 20 || len(ukMisses) != 3 || ukMisses[0] != 210 || ukMisses[1] != 235 || ukMisses[2] != 290 {
		t.Errorf("%v of %d rows agree with the copy, UK differs at %v", match, len(rows), ukMisses)
	}
}

func TestSizesOfChildrensFeet(t *testing.T) {
	for _, row := range sheet(t, "size_check_child.csv") {
		mm := int(number(t, row, "foot_mm"))
		got, err := ChildSizesOf(mm)
		if err != nil {
			t.Fatal(err)
		}
		if eu, uk := number(t, row, "eu_half"), number(t, row, "uk_child_half"); float64(got.EU)/2 != eu || float64(got.UK)/2 != uk {
			t.Errorf("%d mm: EU %v, UK %v; want %v, %v", mm, got.EU, got.UK, eu, uk)
		}
		printed, adult := got.UK.Printed()
		if adult != (row["note_after_13.5_restart_at_1"] == "adult scale") {
			t.Errorf("%d mm: UK %v printed %v, adult scale %v", mm, got.UK, printed, adult)
		}
		// Past 13½ the child's scale is the adult's: child 13 = adult 0 = a last of 8⅓ in.
		if grown, err := SizesOf(mm); err == nil && adult && printed != grown.UK {
			t.Errorf("%d mm: child's UK %v, adult's %v", mm, printed, grown.UK)
		}
		// US child = UK child + ⅓, to the nearest half.
		if exact := number(t, row, "uk_child_exact(3*foot_in-10)") + 1.0/3; math.Abs(float64(got.US)/2-exact) > 0.2505 {
			t.Errorf("%d mm: US %v is far from %v", mm, got.US, exact)
		}
	}
}

func TestSizeRoundsTiesDown(t *testing.T) {
	for _, tt := range []struct {
		n, d   int
		want   Size
		source string
	}{
		{685, 10, 68, "215 mm is EU 34.25, written 34"},
		{686, 10, 69, "by hand"},
		{684, 10, 68, "by hand"},
		{-15, 10, -2, "−1.5 down is −2"},
		{-14, 10, -1, "by hand"},
		{-16, 10, -2, "by hand"},
		{-5, 10, -1, "−0.5 down is −1"},
		{-4, 10, 0, "by hand"},
		{5, 10, 0, "0.5 down is 0"},
		{0, 10, 0, "by hand"},
	} {
		if got := nearestHalf(tt.n, tt.d); got != tt.want {
			t.Errorf("%d/%d rounds to %d, want %d (%s)", tt.n, tt.d, got, tt.want, tt.source)
		}
	}
}

func TestSizesGrowWithTheFoot(t *testing.T) {
	var last AdultSizes
	for mm := minAdultFoot; mm <= maxAdultFoot; mm++ {
		s, err := SizesOf(mm)
		if err != nil || s.EU < last.EU || s.UK < last.UK || s.USMen < last.USMen || s.Mondopoint < last.Mondopoint {
			t.Errorf("%d mm: %+v after %+v, %v", mm, s, last, err)
		}
		last = s
	}
}

func TestSizesRefuse(t *testing.T) {
	for _, mm := range []int{-1, 0, 27, 199, 351, 2700} {
		if _, err := SizesOf(mm); !errors.Is(err, ErrOutOfRange) {
			t.Errorf("an adult's foot of %d mm: %v", mm, err)
		}
	}
	for _, mm := range []int{0, 89, 236} {
		if _, err := ChildSizesOf(mm); !errors.Is(err, ErrOutOfRange) {
			t.Errorf("a child's foot of %d mm: %v", mm, err)
		}
	}
}

func TestSizeStrings(t *testing.T) {
	// 260/85 is the example of width notation in the notes on Mondopoint marks.
	for got, want := range map[string]string{
		Size(83).String():        "41.5",
		Size(82).String():        "41",
		Size(-1).String():        "-0.5",
		MondopointMark(262, 85):  "260/85",
		MondopointMark(263, 0):   "265",
		MondopointMark(260, 101): "260/101",
	} {
		if got != want {
			t.Errorf("written %s, want %s", got, want)
		}
	}
}
