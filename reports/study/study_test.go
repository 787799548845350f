package study

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"solewright/reports/stats"
)

// A fast run draws three replicates in a thousand, and allows more standard
// errors because a hundred and fifty rows are held against chance at once.
var fast = Options{Seed: 1, Workers: 2, Share: 0.003, Tolerance: 4}

func TestTheMethodsKeepTheirPromises(t *testing.T) {
	for _, s := range Scenarios() {
		t.Run(s.Part+": "+s.Data, func(t *testing.T) {
			rows, err := s.Run(t.Context(), fast)
			if err != nil {
				t.Fatal(err)
			}
			for i := range rows {
				if r := &rows[i]; r.Verdict == Failed {
					t.Errorf("%s: %s %.4f ± %.4f in %d, want %s %.4f, listed %+v", r.Method, r.Kind, r.Estimate, r.SE, r.Replicates, r.Bound, r.Want, s.Claims[i].Strays)
				}
			}
		})
	}
}

// folder holds the tables of the full run.
const folder = "../../testdata/study"

func TestTheTablesHoldEveryRowOfTheStudy(t *testing.T) {
	for _, part := range Parts() {
		t.Run(part, func(t *testing.T) {
			text, err := os.ReadFile(filepath.Join(folder, part+".csv"))
			if err != nil {
				t.Fatal(err)
			}
			rows, err := ParseCSV(text)
			if err != nil {
				t.Fatal(err)
			}
			again, err := CSV(rows)
			if err != nil {
				t.Fatal(err)
			}
			if read, err := ParseCSV(again); err != nil || !reflect.DeepEqual(read, rows) {
				t.Errorf("written and read again it differs, %v", err)
			}
			for _, s := range Scenarios(part) {
				for _, c := range s.Claims {
					i := slices.IndexFunc(rows, func(r Row) bool { return r.Data == s.Data && r.Method == c.Method })
					if i < 0 {
						t.Errorf("no row of %s, %s: run deploy/prove.sh study %s", s.Data, c.Method, part)
						continue
					}
					r := &rows[i]
					if n := (Options{}).replicates(&s); r.Replicates+r.Without != n {
						t.Errorf("%s, %s: %d replicates, want %d", s.Data, c.Method, r.Replicates+r.Without, n)
					}
					if v := c.verdict(r.Estimate, Tolerance*r.SE+0.00005); v == Failed || r.Verdict == Failed {
						t.Errorf("%s, %s: %.4f ± %.4f says %s, now %s", s.Data, c.Method, r.Estimate, r.SE, r.Verdict, v)
					}
				}
			}
		})
	}
}

// tooShort is an interval of 90 % that claims 95.
func tooShort() Scenario {
	return Scenario{
		Part: "none", Data: "a mean of 20", Claims: []Claim{covers("z interval, 90 %"), rejects("its test"), {Method: "mean", Kind: Mean, Bound: Below}},
		Try: func(r *rand.Rand) ([]Outcome, error) {
			mean := 0.0
			for range 20 {
				mean += r.NormFloat64() / 20
			}
			half := 1.6448536269514722 / math.Sqrt(20)
			return []Outcome{coveredBy(0, mean-half, mean+half), yes(math.Abs(mean) > half), number(mean)}, nil
		},
	}
}

func TestABrokenPromiseIsFound(t *testing.T) {
	s := tooShort()
	rows, err := s.Run(t.Context(), Options{Seed: 1, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.90, 0.10, 0} { // by the definition of the interval
		if r := &rows[i]; r.Verdict != Failed || math.Abs(r.Estimate-want) > 4*math.Sqrt(.9*.1/Replicates) {
			t.Errorf("%s: %.4f is said to be %s, want about %v and %s", r.Method, r.Estimate, r.Verdict, want, Failed)
		}
	}
	if r := &rows[0]; r.Below+r.Above != 1-r.Estimate && math.Abs(r.Below+r.Above-1+r.Estimate) > 1e-12 {
		t.Errorf("misses %v and %v don't add up to %v", r.Below, r.Above, 1-r.Estimate)
	}
}

func TestAPromiseIsOffOnlyWithinItsList(t *testing.T) {
	for _, tc := range []struct {
		name      string
		low, high float64
		want      Verdict
	}{
		{"within the range it is listed", 0.88, 0.93, Listed},
		{"outside the range it has failed", 0.93, 0.97, Failed},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := tooShort().strays(1, tc.low, tc.high, "it claims too much", "nothing")
			rows, err := s.Run(t.Context(), Options{Seed: 1, Workers: 1})
			if err != nil {
				t.Fatal(err)
			}
			if rows[0].Verdict != tc.want || rows[0].Why != "it claims too much" {
				t.Errorf("%.4f is %s (%s), want %s", rows[0].Estimate, rows[0].Verdict, rows[0].Why, tc.want)
			}
		})
	}
}

func TestTheNumberOfWorkersChangesNothing(t *testing.T) {
	s := Scenarios("agreement")[2] // with a bootstrap in it
	var first []Row
	for _, workers := range []int{1, 2, 7} {
		rows, err := s.Run(t.Context(), Options{Seed: 5, Workers: workers, Share: 0.01})
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = rows
		} else if !reflect.DeepEqual(rows, first) {
			t.Errorf("%d workers: %+v, want %+v", workers, rows, first)
		}
	}
	other, err := s.Run(t.Context(), Options{Seed: 6, Workers: 2, Share: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	if reflect.DeepEqual(other, first) {
		t.Error("another seed draws the same")
	}
}

func TestAStudyCanBeStopped(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if rows, err := Run(ctx, Scenarios("shares"), Options{Seed: 1, Workers: 2}); !errors.Is(err, context.Canceled) {
		t.Errorf("%d rows, %v", len(rows), err)
	}
}

func TestTheTruthIsTrue(t *testing.T) {
	// Γ(1 + 1/k) η is the mean of a Weibull law; by 5,000 km all have failed.
	if got, want := life.mean(5000), life.scale*math.Gamma(1+1/life.shape); math.Abs(got-want) > 1e-6 {
		t.Errorf("mean life %v, want %v", got, want)
	}
	if got := life.sound(life.quantile(0.1)); math.Abs(got-0.9) > 1e-12 {
		t.Errorf("sound at B10 %v", got)
	}
	if k, next := life.sound(soundKM), life.sound(life.next(soundKM, nextRisk)); math.Abs(next/k-(1-nextRisk)) > 1e-12 {
		t.Errorf("conditional risk %v", 1-next/k)
	}
	counts := make([][]int, 3)
	for i := range counts {
		for _, p := range grading[i] {
			counts[i] = append(counts[i], int(math.Round(100*p)))
		}
	}
	for _, w := range [][][]float64{stats.IdentityWeights(3), stats.LinearWeights(3), stats.QuadraticWeights(3)} {
		k, err := stats.WeightedKappa(counts, w, Conf)
		if err != nil {
			t.Fatal(err)
		}
		if got := kappaOf(grading, w); math.Abs(got-k.Kappa) > 1e-12 {
			t.Errorf("kappa of the law %v, of its counts %v", got, k.Kappa)
		}
	}
}

func TestEveryRowHasAKeyOfItsOwn(t *testing.T) {
	seen := map[[2]string]bool{}
	for _, s := range Scenarios() {
		for _, c := range s.Claims {
			key := [2]string{s.Part + s.Data, c.Method}
			if seen[key] {
				t.Errorf("%v twice", key)
			}
			seen[key] = true
			if st := c.Strays; st != nil && (st.Why == "" || st.Page == "" || st.Low >= st.High) {
				t.Errorf("%v: %+v says nothing", key, st)
			}
		}
	}
}
