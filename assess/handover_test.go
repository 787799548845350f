package assess

import (
	"slices"
	"testing"
)

func TestGradeAndRoute(t *testing.T) {
	const source = "grade table, common practice, no source [P]"
	with := func(f Foot, c Col, v int) func(*Reading) { return func(r *Reading) { r.Set(f, c, Of(v)) } }
	both := func(a, b func(*Reading)) func(*Reading) { return func(r *Reading) { a(r); b(r) } }
	cleanable, refuse := with(Both, Hygiene, Cleanable), with(Both, Hygiene, Refuse)
	unasked := func(r *Reading) { r.SetPair(Hygiene, Unread) }
	for _, tc := range []struct {
		name   string
		change func(*Reading)
		grade  GradeLetter
		route  Route
	}{
		{"fresh and clean", func(*Reading) {}, GradeA, Resale},
		{"scuffed and clean", with(Left, HeelLateral, 1), GradeA, Resale},
		{"scuffed and cleanable", both(with(Left, HeelLateral, 1), cleanable), GradeB, Resale},
		{"smooth and clean", with(Right, ForeMedial, 2), GradeB, Resale},
		{"keep with the toe thin", with(Right, ToeMedial, 3), GradeC, DonationWalking},
		{"recheck later", with(Left, Bond, Lifting), GradeC, DonationWalking},
		{"recheck later and cleanable", both(with(Left, Bond, Lifting), cleanable), GradeC, DonationWalking},
		{"recheck now has none yet", with(Left, Stand, Doubtful), NoGrade, BackToRunner},
		{"not finished has none yet", func(r *Reading) { r.Shoe[Left][Lining] = Unread }, NoGrade, BackToRunner},
		{"replace", with(Left, Bond, Parted), GradeD, RecyclingNeverResale},
		{"replace though unfinished", both(with(Left, Bond, Parted), func(r *Reading) { r.Shoe[Left][Lining] = Unread }), GradeD, RecyclingNeverResale},
		{"replace, hygiene not asked", both(with(Left, Bond, Parted), unasked), GradeD, RecyclingNeverResale},
		{"retire", with(Left, Lining, ShellBroken), GradeD, RecyclingNeverResale},
		{"refused", refuse, GradeX, SealedDisposal},
		{"refused and to be replaced", both(refuse, with(Left, Bond, Parted)), GradeX, SealedDisposal},
		{"refused before it was finished", func(r *Reading) { *r = Reading{}; refuse(r) }, GradeX, SealedDisposal},
		{"kept, hygiene not asked", unasked, NoGrade, BackToRunner},
		{"recheck later, hygiene not asked", both(with(Left, Bond, Lifting), unasked), NoGrade, BackToRunner},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := sound()
			tc.change(&r)
			if got := judge(&r, &AsNew{}); got.Grade != tc.grade || got.Route != tc.route {
				t.Errorf("got %v, %v, want %v, %v (%s)", got.Grade, got.Route, tc.grade, tc.route, source)
			}
		})
	}
	t.Run("a thin zone that was built so doesn't count", func(t *testing.T) {
		r := sound()
		r.Shoe[Left][MidMedial] = Of(3)
		if got := judge(&r, &AsNew{Built: ColSet(0).With(MidMedial)}); got.Grade != GradeA {
			t.Errorf("got %v", got.Grade)
		}
	})
}

func TestRoutes(t *testing.T) {
	for _, tc := range []struct {
		grade GradeLetter
		open  []Route
	}{
		{NoGrade, []Route{BackToRunner}},
		{GradeA, []Route{BackToRunner, Resale}},
		{GradeB, []Route{BackToRunner, Resale, Donation}},
		{GradeC, []Route{BackToRunner, DonationWalking, Recycling}},
		{GradeD, []Route{BackToRunner, RecyclingNeverResale}},
		{GradeX, []Route{BackToRunner, SealedDisposal}},
	} {
		var open []Route
		all := Default().Routes(tc.grade)
		for _, o := range all {
			switch {
			case o.Open:
				open = append(open, o.Route)
				if o.ClosedBy != NoGrade {
					t.Errorf("%v: %v is open and closed by %v", tc.grade, o.Route, o.ClosedBy)
				}
			case o.ClosedBy != tc.grade:
				t.Errorf("%v: %v is closed by %v", tc.grade, o.Route, o.ClosedBy)
			}
		}
		if !slices.Equal(open, tc.open) || len(all) != int(SealedDisposal) {
			t.Errorf("%v: open %v of %d, want %v", tc.grade, open, len(all), tc.open)
		}
	}
}

func TestAGradeProposesOneOfItsRoutes(t *testing.T) {
	for grade, first := range map[GradeLetter]Route{
		NoGrade: BackToRunner, GradeA: Resale, GradeB: Resale, GradeC: DonationWalking, GradeD: RecyclingNeverResale, GradeX: SealedDisposal,
	} {
		for r := BackToRunner; r <= SealedDisposal; r++ {
			if got := Default().Proposes(grade, r); got != (r == first) {
				t.Errorf("grade %v proposes %v: %t", grade, r, got)
			}
		}
	}
}
