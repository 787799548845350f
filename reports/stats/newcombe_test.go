package stats

import (
	"errors"
	"testing"

	"pgregory.net/rapid"
)

func TestNewcombeReproducesItsReferences(t *testing.T) {
	const (
		table     = "[P2] Newcombe 1998, Stat Med 17:873–890, Table II, method 10"
		memory    = "[M] Newcombe 1998, Table II, method 10, printed value from memory"
		recompute = "[R] statsmodels 0.13.5 confint_proportions_2indep(method = 'newcomb')"
	)
	for _, tt := range []struct {
		a, b      Trials
		low, high string
		source    string
	}{
		{Trials{"a", 56, 70}, Trials{"b", 48, 80}, "0.0524", "0.3339", table},
		{Trials{"a", 9, 10}, Trials{"b", 3, 10}, "0.1705", "0.8090", table},
		{Trials{"a", 6, 7}, Trials{"b", 2, 7}, "0.0582", "0.8062", table},
		{Trials{"a", 5, 56}, Trials{"b", 0, 29}, "-0.0381", "0.1926", table},
		{Trials{"a", 0, 10}, Trials{"b", 0, 20}, "-0.1611", "0.2775", table},
		{Trials{"a", 0, 10}, Trials{"b", 0, 10}, "-0.2775", "0.2775", memory},
		{Trials{"a", 10, 10}, Trials{"b", 0, 20}, "0.6791", "1.0000", table},
		{Trials{"a", 10, 10}, Trials{"b", 0, 10}, "0.6075", "1.0000", memory},
		{Trials{"a", 56, 70}, Trials{"b", 48, 80}, "0.0524314724", "0.3338726540", recompute},
		{Trials{"a", 9, 10}, Trials{"b", 3, 10}, "0.1705227239", "0.8090179735", recompute},
		{Trials{"a", 6, 7}, Trials{"b", 2, 7}, "0.0582279275", "0.8062496375", recompute},
		{Trials{"a", 5, 56}, Trials{"b", 0, 29}, "-0.0381371479", "0.1925600139", recompute},
		{Trials{"a", 0, 10}, Trials{"b", 0, 20}, "-0.1611251581", "0.2775327999", recompute},
		{Trials{"a", 0, 10}, Trials{"b", 0, 10}, "-0.2775327999", "0.2775327999", recompute},
		{Trials{"a", 10, 10}, Trials{"b", 0, 20}, "0.6790860371", "1", recompute},
		{Trials{"a", 10, 10}, Trials{"b", 0, 10}, "0.6075093504", "1", recompute},
	} {
		d, err := Newcombe(tt.a, tt.b, .95)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{
			{"lower limit", d.Low, tt.low, tt.source},
			{"upper limit", d.High, tt.high, tt.source},
		})
	}
}

func TestDifferencesCompareEveryPairOfGroups(t *testing.T) {
	groups := []Trials{{"x", 9, 10}, {"empty", 0, 0}, {"y", 3, 10}, {"z", 5, 10}}
	pairs, err := Differences(groups, .95)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"xy", "xz", "yz"}
	if len(pairs) != len(want) {
		t.Fatalf("%d pairs, want %v", len(pairs), want)
	}
	for i, p := range pairs {
		if p.A+p.B != want[i] {
			t.Errorf("pair %d is %s–%s, want %s", i, p.A, p.B, want[i])
		}
	}
}

func TestDifferencesRefuse(t *testing.T) {
	for _, tt := range []struct {
		name   string
		groups []Trials
		want   error
	}{
		{"one group with pairs", []Trials{{"x", 1, 2}, {"y", 0, 0}}, ErrOneGroup},
		{"more hits than pairs", []Trials{{"x", 3, 2}, {"y", 1, 2}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := Differences(tt.groups, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	if _, err := Newcombe(Trials{"x", 0, 0}, Trials{"y", 1, 2}, .95); !errors.Is(err, ErrEmpty) {
		t.Errorf("an empty group: err = %v, want ErrEmpty", err)
	}
}

func TestNewcombeLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) Trials {
			size := rapid.IntRange(1, 5000).Draw(t, name+" size")
			return Trials{name, rapid.IntRange(0, size).Draw(t, name+" hits"), size}
		}
		a, b := draw("a"), draw("b")
		ab, err := Newcombe(a, b, .95)
		if err != nil {
			t.Fatal(err)
		}
		ba, err := Newcombe(b, a, .95)
		if err != nil {
			t.Fatal(err)
		}
		if ab.Difference != -ba.Difference || ab.Low != -ba.High || ab.High != -ba.Low {
			t.Fatalf("swapping the groups does not change the sign alone: %+v and %+v", ab, ba)
		}
		const ulp = 1e-15
		if !(-1-ulp <= ab.Low && ab.Low <= ab.Difference && ab.Difference <= ab.High && ab.High <= 1+ulp) {
			t.Fatalf("−1 ≤ low ≤ difference ≤ high ≤ 1 broken: %+v", ab)
		}
	})
}
