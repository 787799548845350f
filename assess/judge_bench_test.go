package assess

import "testing"

func BenchmarkJudge(b *testing.B) {
	r := sound()
	for f := Left; f <= Right; f++ {
		s := &r.Shoe[f]
		s[HeelLateral], s[ForeCentre], s[ForeMedial] = Of(3), Of(2), Of(1)
		s[PressHeel], s[PressHeelAt] = Of(Softer), Of(2)
		s[Tilt], s[TiltU], s[TiltBy], s[TiltN] = Of(250), Of(105), Of(ByPhoto), Of(3)
		s[Squeeze], s[Mesh], s[Creases], s[Rubber], s[Insert] = Of(0), Of(1), Of(0), Of(0), Of(0)
		s[Lining] = Of(LiningWorn)
	}
	r.Shoe[Left][ForeLateral] = Of(4)
	m := &AsNew{Tilt: Of(10), Flex: Of(1)}
	e := Default()
	var out Result
	b.ReportAllocs()
	for b.Loop() {
		e.Judge(&r, m, &out)
	}
	b.ReportMetric(float64(len(out.Findings)), "findings")
}
