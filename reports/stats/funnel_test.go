package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestFunnelLimitsReproduceTheirReferences(t *testing.T) {
	const source = "[R] R 4.2.2 qbinom, pbinom, after Spiegelhalter 2005"
	for _, tt := range []struct {
		n    int
		want [4]string // 0.1 %, 2.5 %, 97.5 %, 99.9 %
	}{
		{10, [4]string{"0", "0", ".27873566", ".44266953"}},
		{20, [4]string{"0", "0", ".22846761", ".33517182"}},
		{50, [4]string{"0", ".01386293", ".17972273", ".24012842"}},
		{100, [4]string{".01417887", ".04038060", ".15771861", ".19835672"}},
		{500, [4]string{".05998869", ".07344753", ".12601490", ".14268931"}},
		{1000, [4]string{".07134085", ".08127866", ".11848293", ".12991784"}},
	} {
		l, err := FunnelAt(.1, tt.n)
		if err != nil {
			t.Fatal(err)
		}
		for i, got := range []float64{l.Low998, l.Low95, l.High95, l.High998} {
			reproduce(t, []printed{{"exact limit", got, tt.want[i], source}})
		}
	}
	l, err := FunnelAt(.1, 100)
	if err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{
		{"normal limit", l.NormalLow998, ".00729303", source},
		{"normal limit", l.NormalLow95, ".04120108", source},
		{"normal limit", l.NormalHigh95, ".15879892", source},
		{"normal limit", l.NormalHigh998, ".19270697", source},
	})
}

func TestFunnelReproducesOverdispersion(t *testing.T) {
	small := readPublished(t, "funnel_small.csv")
	names, y, n := small.words("unit"), small.wholes("y"), small.wholes("n")
	var units []Trials
	for i := range names {
		units = append(units, Trials{names[i], y[i], n[i]})
	}
	f, err := MakeFunnel(units, None)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[R] R 4.2.2; tau2 by R package metafor, rma(method = 'DL')"
	reproduce(t, []printed{
		{"target", f.Target, ".1286089239", source},
		{"phi", f.Phi, "1.3433529026", source},
		{"p of phi", f.PhiP, ".14395", source},
		{"tau2", f.Tau2.V, ".000297825027", source},
		{"winsorised phi", f.PhiWinsorised, "1.262262770", source},
	})
	if f, err = MakeFunnel(units, Some(.12)); err != nil {
		t.Fatal(err)
	}
	reproduce(t, []printed{{"tau2 about .12", f.Tau2.V, ".000417350946", "[R] Spiegelhalter's form about an outside target"}})

	low, high, err := f.Adjusted(100, .95)
	if err != nil {
		t.Fatal(err)
	}
	half := 1.959963984540054 * math.Sqrt(.12*.88/100+f.Tau2.V)
	if !relativelyClose(low, .12-half, 1e-12) || !relativelyClose(high, .12+half, 1e-12) {
		t.Errorf("adjusted limits %v, %v, want .12 ∓ %v (formula of Spiegelhalter 2005)", low, high, half)
	}
}

func TestFunnelAddsUpUnits(t *testing.T) {
	f, err := MakeFunnel([]Trials{{"a", 1, 10}, {"none", 0, 0}, {"b", 5, 20}, {"a", 2, 10}}, None)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Groups) != 2 || f.Groups[0].Name != "a" || f.Groups[0].Hits != 3 || f.Groups[0].Size != 20 {
		t.Errorf("groups %+v, want a with 3 of 20, and b", f.Groups)
	}
}

func TestFunnelRefuses(t *testing.T) {
	for _, tt := range []struct {
		name   string
		units  []Trials
		target Float
		want   error
	}{
		{"no pairs", []Trials{{"a", 0, 0}}, None, ErrEmpty},
		{"no hits anywhere", []Trials{{"a", 0, 5}, {"b", 0, 3}}, None, ErrNoSpread},
		{"more hits than pairs", []Trials{{"a", 6, 5}}, None, ErrBadInput},
		{"an impossible target", []Trials{{"a", 1, 5}}, Some(1.2), ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := MakeFunnel(tt.units, tt.target); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	one, err := MakeFunnel([]Trials{{"a", 1, 5}}, None)
	if err != nil {
		t.Fatal(err)
	}
	if one.Tau2.OK || one.PhiP != 1 {
		t.Errorf("one unit: %+v, want tau2 undefined", one)
	}
	if _, _, err := one.Adjusted(10, .95); !errors.Is(err, ErrOneGroup) {
		t.Errorf("limits of one unit: err = %v, want ErrOneGroup", err)
	}
	if _, err := FunnelAt(0, 10); !errors.Is(err, ErrBadInput) {
		t.Errorf("a target of nought: err = %v, want ErrBadInput", err)
	}
}

func TestFunnelLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var units []Trials
		for i := range rapid.IntRange(2, 15).Draw(t, "n") {
			size := rapid.IntRange(2, 400).Draw(t, "size")
			units = append(units, Trials{string(rune('a' + i)), rapid.IntRange(1, size-1).Draw(t, "hits"), size})
		}
		a, err := MakeFunnel(units, None)
		if err != nil {
			t.Fatal(err)
		}
		b, err := MakeFunnel(rapid.Permutation(units).Draw(t, "order"), None)
		if err != nil {
			t.Fatal(err)
		}
		if !relativelyClose(a.Phi, b.Phi, 1e-9) || !relativelyClose(a.PhiWinsorised, b.PhiWinsorised, 1e-9) || math.Abs(a.Tau2.V-b.Tau2.V) > 1e-12 {
			t.Fatalf("the order of units matters: %+v and %+v", a, b)
		}
		for _, g := range a.Groups {
			if !(0 <= g.Low998 && g.Low998 <= g.Low95 && g.Low95 <= g.High95 && g.High95 <= g.High998 && g.High998 <= 1) {
				t.Fatalf("limits out of order: %+v", g)
			}
		}
	})
}
