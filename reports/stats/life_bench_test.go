package stats

import (
	"math"
	"math/rand/v2"
	"testing"
)

// simulatedRows draws interval observations of Weibull lives (shape 2.5,
// scale 600 km) at one to four looks a pair, bounds rounded to grid (0: not).
func simulatedRows(n int, grid float64, seed uint64) (lower, upper []float64) {
	r := rand.New(rand.NewPCG(seed, 1))
	rounded := func(x float64) float64 {
		if grid > 0 {
			return math.Round(x/grid) * grid
		}
		return x
	}
	for len(lower) < n {
		life := 600 * math.Pow(r.ExpFloat64(), 1/2.5)
		low, high, at := 0.0, math.Inf(1), 0.0
		for looks := 1 + r.IntN(4); looks > 0; looks-- {
			at += 50 + 200*r.ExpFloat64()
			if life <= rounded(at) {
				high = rounded(at)
				break
			}
			low = rounded(at)
		}
		if low < high {
			lower, upper = append(lower, low), append(upper, high)
		}
	}
	return lower, upper
}

func simulatedIntervals(n int, grid float64, seed uint64) []Interval {
	lower, upper := simulatedRows(n, grid, seed)
	x, err := Intervals(lower, upper, nil)
	if err != nil {
		panic(err)
	}
	return x
}

// simulatedExits draws right-censored rows in whole kilometres, in groups.
func simulatedExits(n, groups int, seed uint64) (time []float64, event []bool, group []int) {
	r := rand.New(rand.NewPCG(seed, 1))
	time, event, group = make([]float64, n), make([]bool, n), make([]int, n)
	for i := range time {
		life, seen := 600*math.Pow(r.ExpFloat64(), 1/2.5), 1500*r.Float64()
		time[i], event[i], group[i] = math.Ceil(math.Min(life, seen)), life <= seen, r.IntN(groups)
	}
	return time, event, group
}

const million = 1_000_000

func BenchmarkKaplanMeierOf10MillionRows(b *testing.B) {
	time, event, _ := simulatedExits(10*million, 1, 1)
	for b.Loop() {
		x, err := Exits(time, event, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := KaplanMeier(x, KMOptions{Conf: 0.95, Tau: 1000}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLogRankOf10MillionRowsIn12Groups(b *testing.B) {
	time, event, group := simulatedExits(10*million, 12, 1)
	for b.Loop() {
		groups, err := ExitsBy(time, event, nil, group, 12)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := LogRank(groups); err != nil {
			b.Fatal(err)
		}
	}
}

// benchmarkNPMLE times counting the rows and solving for the masses.
func benchmarkNPMLE(b *testing.B, n int, grid float64) {
	lower, upper := simulatedRows(n, grid, 1)
	for b.Loop() {
		x, err := Intervals(lower, upper, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := NPMLE(x); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNPMLEOf1MillionRowsOn10Km(b *testing.B) { benchmarkNPMLE(b, million, 10) }
func BenchmarkNPMLEOf1MillionRowsOn1Km(b *testing.B)  { benchmarkNPMLE(b, million, 1) }
func BenchmarkNPMLEOf10000UnroundedRows(b *testing.B) { benchmarkNPMLE(b, 10000, 0) }

// benchmarkMethods times the two methods on the same counted rows, each to
// the same certificate.
func benchmarkMethods(b *testing.B, x []Interval) {
	for _, method := range []struct {
		name        string
		newtonLimit int
	}{{"ConstrainedNewton", math.MaxInt}, {"EMICM", 0}} {
		b.Run(method.name, func(b *testing.B) {
			for b.Loop() {
				m := problemOf(x)
				m.newtonLimit = method.newtonLimit
				if gap, _, ok := m.maximise(); !ok {
					b.Fatalf("stopped at a gap of %v", gap)
				}
			}
		})
	}
}

func BenchmarkMethodsOn1MillionRowsOn10Km(b *testing.B) {
	benchmarkMethods(b, simulatedIntervals(million, 10, 1))
}

func BenchmarkMethodsOn10000UnroundedRows(b *testing.B) {
	benchmarkMethods(b, simulatedIntervals(10000, 0, 1))
}

func BenchmarkMethodsOn3000RowsAThirdExact(b *testing.B) {
	lower, upper := simulatedRows(3000, 0, 1)
	benchmarkMethods(b, withExactLives(lower, upper, 1))
}

func BenchmarkWeibullOf1MillionRowsReduced(b *testing.B) {
	x := simulatedIntervals(million, 10, 1)
	for b.Loop() {
		if _, err := FitWeibull(x, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBandOf500ResamplesOf1MillionRows(b *testing.B) {
	x := simulatedIntervals(million, 10, 1)
	life, err := NPMLE(x)
	if err != nil {
		b.Fatal(err)
	}
	at := make([]float64, len(life.Curve))
	for i, p := range life.Curve {
		at[i] = p.Time
	}
	for b.Loop() {
		if _, err := LifeBand(x, at, 500, 1, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAlphaOf1MillionGrades(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	grades := make([]Grade, 0, million)
	for item := range million / 4 {
		truth := r.IntN(5)
		for rater := range 4 {
			grades = append(grades, Grade{item, rater, min(4, truth+r.IntN(4)/3)})
		}
	}
	for b.Loop() {
		ratings, err := Reduce(grades, 5)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Krippendorff(ratings, Ordinal, nil, BootstrapReplicates, 1, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkShareOf2000Resamples(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	clusters := make([]Cluster, million/4)
	for i := range clusters {
		size := 1 + r.IntN(7)
		clusters[i] = Cluster{r.IntN(size + 1), size}
	}
	for b.Loop() {
		if _, err := BootstrapShare(clusters, BootstrapReplicates, 1, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
