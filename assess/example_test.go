package assess_test

import (
	"fmt"

	"solewright/assess"
)

func Example() {
	var r assess.Reading
	for _, foot := range []assess.Foot{assess.Left, assess.Right} {
		for _, c := range []assess.Col{
			assess.HeelMedial, assess.HeelCentre, assess.HeelLateral, assess.ForeMedial, assess.ForeCentre, assess.ForeLateral,
			assess.ToeMedial, assess.ToeLateral, assess.PressFore, assess.Stand, assess.Lining,
		} {
			r.Set(foot, c, assess.Of(0)) // the first word of a scale is the soundest
		}
		r.Set(foot, assess.Bond, assess.Of(assess.Attached))
	}
	r.Set(assess.Right, assess.HeelLateral, assess.Of(4))
	r.SetPair(assess.FlexSide, assess.Of(0))

	var out assess.Result
	assess.Default().Judge(&r, &assess.AsNew{}, &out)
	fmt.Println(out.Verdict)
	for i := range out.Findings {
		f := &out.Findings[i]
		fmt.Println(f.Severity, f.Code+":", assess.Sentence(f.Code, "en", f))
	}
	for _, m := range out.Unread {
		fmt.Println("still to read:", assess.Label(m.Check, "en"))
	}
	fmt.Println("heel:", out.Pattern.Heel, "by the", out.Pattern.DecidedBy, "shoe; grade", out.Grade)
	// Output:
	// replace
	// replace heel-through: Right shoe: the outer heel is worn through to the midsole.
	// note heel-right-more: The heel of the right shoe is worn more than that of the left: mean grade 1.33 against 0.
	// still to read: twist, left against right
	// heel: lateral by the right shoe; grade D
}
