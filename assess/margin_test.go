package assess

import "testing"

func BenchmarkMargin(b *testing.B) {
	r := sound()
	e := Default()
	var n int
	for b.Loop() {
		n = e.Margin(&r, &AsNew{})
	}
	b.ReportMetric(float64(n), "margin")
}
