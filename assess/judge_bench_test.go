package assess

import "testing"

// BenchmarkJudge judges full readings: every check by word, tilt and depth
// read, with next to nothing and with a great deal to find.
func BenchmarkJudge(b *testing.B) {
	kept, worn := sound(), sound()
	for f := Left; f <= Right; f++ {
		for _, r := range []*Reading{&kept, &worn} {
			s := &r.Shoe[f]
			s[HeelLateral], s[ForeCentre], s[ForeMedial] = Of(2), Of(1), Of(1)
			s[PressHeelAt], s[PressForeAt] = Of(2), Of(1)
			s[HeelLateralMM], s[ForeCentreMM] = Of(12), Of(28)
			s[Tilt], s[TiltU], s[TiltBy], s[TiltN] = Of(60), Of(105), Of(ByPhoto), Of(3)
		}
		s := &worn.Shoe[f]
		s[HeelLateral], s[ForeCentre] = Of(3), Of(2)
		s[PressHeel], s[Lining], s[Mesh], s[Tilt] = Of(Softer), Of(LiningWorn), Of(1), Of(250)
	}
	worn.Shoe[Left][ForeLateral] = Of(4)
	m := &AsNew{Tilt: Of(10), Flex: Of(1), Depth: [NumParts]Value{Of(35), Of(30), Of(32), Of(30)}}
	for _, bc := range []struct {
		name string
		r    *Reading
	}{{"kept", &kept}, {"worn", &worn}} {
		b.Run(bc.name, func(b *testing.B) {
			e := Default()
			var out Result
			b.ReportAllocs()
			for b.Loop() {
				e.Judge(bc.r, m, &out)
			}
			b.ReportMetric(float64(len(out.Findings)), "findings")
		})
	}
}

func TestJudgeAllocatesNothing(t *testing.T) {
	r := clearlyWorn()
	e, m := Default(), &AsNew{}
	var out Result
	if n := testing.AllocsPerRun(100, func() { e.Judge(&r, m, &out) }); n != 0 {
		t.Errorf("%v allocations a reading", n)
	}
}
