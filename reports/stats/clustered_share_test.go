package stats

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// runners is a hand-made group of 8 runners with 17 pairs.
var (
	patterns = []string{"medial", "lateral", "even"}
	runners  = [][]int{
		{2, 0, 1}, {0, 2, 0}, {0, 0, 1}, {3, 0, 1}, {0, 1, 0}, {0, 0, 2}, {1, 0, 0}, {1, 2, 0},
	}
)

func TestClusteredSharesReproduceTheirReferences(t *testing.T) {
	litters := readPublished(t, "weil_rat_litters.csv")
	for _, tt := range []struct {
		group, deff, share, neff, low, high string
		naiveLow, naiveHigh, v              string
	}{
		{"control", "1.232495394", ".8987341772", "128.1952052", ".8343845998", ".9398823062", ".8418377", ".9367020", ".000709941185"},
		{"treated", "3.952860626", ".7724137931", "36.6822951", ".6149430909", ".8782374357", ".6976599", ".8331062", ".004792249907"},
	} {
		rows := litters.where("group", tt.group)
		n, y := rows.wholes("n"), rows.wholes("y")
		var counts [][]int
		hits, size := 0, 0
		for j := range n {
			counts = append(counts, []int{y[j], n[j] - y[j]})
			hits += y[j]
			size += n[j]
		}
		shares, err := ClusteredShares([]string{"surviving", "dead"}, counts, .95)
		if err != nil {
			t.Fatal(err)
		}
		naiveLow, naiveHigh, err := Wilson(float64(hits), float64(size), .95)
		if err != nil {
			t.Fatal(err)
		}
		s := shares[0]
		const source = "[R] R survey 4.1-1 vcov, statsmodels 0.13.5 GEE, on Weil's litters"
		reproduce(t, []printed{
			{tt.group + " deff", s.Deff.V, tt.deff, source},
			{tt.group + " share", s.Share.V, tt.share, source},
			{tt.group + " n_eff", s.NEff.V, tt.neff, source},
			{tt.group + " low", s.Low.V, tt.low, source},
			{tt.group + " high", s.High.V, tt.high, source},
			{tt.group + " v", s.Deff.V * s.Share.V * (1 - s.Share.V) / float64(size), tt.v, source},
			{tt.group + " naive low", naiveLow, tt.naiveLow, source},
			{tt.group + " naive high", naiveHigh, tt.naiveHigh, source},
		})
		published := map[string]string{"control": "1.232495", "treated": "3.952861"}[tt.group]
		reproduce(t, []printed{{tt.group + " deff", s.Deff.V, published, "[P] documentation of R package PF: Table 1 of Rao & Scott 1992"}})
	}
}

func TestClusteredSharesByHand(t *testing.T) {
	shares, err := ClusteredShares(patterns, runners, .95)
	if err != nil {
		t.Fatal(err)
	}
	const source = "[O] by hand, Σ r² = 1304/289 for medial; R survey 4.1-1 vcov agrees"
	reproduce(t, []printed{
		{"medial deff", shares[0].Deff.V, "1.2523409364", source},
		{"medial n_eff", shares[0].NEff.V, "13.5745782", source},
		{"medial low", shares[0].Low.V, ".1992697153", source},
		{"medial high", shares[0].High.V, ".6631838498", source},
		{"medial v", shares[0].Deff.V * 70 / 4913, ".0178432455824", source},
		{"lateral deff", shares[1].Deff.V, "2.0795518207", source},
		{"lateral v", shares[1].Deff.V * 5 * 12 / 4913, ".0253965213", source},
		{"even v", shares[2].Deff.V * 5 * 12 / 4913, ".0151612854", source},
		{"lateral n_eff", shares[1].NEff.V, "8.1748384", source},
		{"lateral low", shares[1].Low.V, ".0940351052", source},
		{"lateral high", shares[1].High.V, ".6258361777", "[O] mpmath 1.2.1, 30 digits"},
		{"even deff", shares[2].Deff.V, "1.2414565826", source},
		{"even n_eff", shares[2].NEff.V, "13.6935921", source},
		{"even low", shares[2].Low.V, ".1212378652", source},
		{"even high", shares[2].High.V, ".5572040199", source},
	})
}

func TestClusteredSharesAtTheirEdges(t *testing.T) {
	levels := []string{"yes", "no"}
	t.Run("one runner has no interval", func(t *testing.T) {
		s, err := ClusteredShares(levels, [][]int{{2, 3}, {0, 0}}, .95)
		if err != nil {
			t.Fatal(err)
		}
		if s[0].Share != Some(.4) || s[0].Low.OK || s[0].Deff.OK || s[0].NEff.OK || s[0].Why == "" {
			t.Errorf("got %+v, want the share alone and why", s[0])
		}
	})
	t.Run("no spread falls back on independent pairs and says so", func(t *testing.T) {
		s, err := ClusteredShares(levels, [][]int{{2, 0}, {18, 0}}, .95)
		if err != nil {
			t.Fatal(err)
		}
		low, _, err := Wilson(20, 20, .95)
		if err != nil {
			t.Fatal(err)
		}
		if s[0].Deff.OK || s[0].NEff.OK || s[0].Low != Some(low) || s[0].High != Some(1) || s[0].Why == "" {
			t.Errorf("got %+v, want Wilson on 20 of 20 and why", s[0])
		}
	})
	t.Run("one pair a runner is just above one: n/(n − 1)", func(t *testing.T) {
		s, err := ClusteredShares(levels, [][]int{{1, 0}, {1, 0}, {0, 1}, {1, 0}, {0, 1}}, .95)
		if err != nil {
			t.Fatal(err)
		}
		reproduce(t, []printed{{"deff", s[0].Deff.V, "1.25000000000", "[O] closed form n/(n − 1), n = 5"}})
	})
	t.Run("a design effect below one does not lengthen the sample", func(t *testing.T) {
		s, err := ClusteredShares(levels, [][]int{{1, 1}, {1, 1}, {1, 1}}, .95)
		if err != nil {
			t.Fatal(err)
		}
		if s[0].Deff != Some(0) || s[0].NEff != Some(6) {
			t.Errorf("deff %v, n_eff %v, want 0 and 6 (n / max(deff, 1))", s[0].Deff, s[0].NEff)
		}
	})
	for _, tt := range []struct {
		name   string
		counts [][]int
		want   error
	}{
		{"nothing at all", [][]int{{0, 0}}, ErrEmpty},
		{"a row too short", [][]int{{1}}, ErrBadInput},
		{"a negative count", [][]int{{1, -1}}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := ClusteredShares(levels, tt.counts, .95); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
}

func TestClusteredShareLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		counts := rapid.SliceOfN(rapid.SliceOfN(rapid.IntRange(0, 6), 3, 3), 2, 30).Draw(t, "counts")
		a, err := ClusteredShares(patterns, counts, .95)
		if errors.Is(err, ErrEmpty) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		moved := rapid.Permutation(counts).Draw(t, "moved")
		turned := make([][]int, len(moved))
		for j, row := range moved {
			turned[j] = []int{row[2], row[0], row[1]}
		}
		b, err := ClusteredShares([]string{"even", "medial", "lateral"}, turned, .95)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i, s := range a {
			same := b[slices.IndexFunc(b, func(x Share) bool { return x.Level == s.Level })]
			if !relativelyClose(s.Low.V, same.Low.V, 1e-9) || !relativelyClose(s.High.V, same.High.V, 1e-9) || !relativelyClose(s.Deff.V, same.Deff.V, 1e-9) {
				t.Fatalf("the order of runners or levels matters: %+v and %+v", s, same)
			}
			if s.Low.OK && !(s.Low.V <= s.Share.V+1e-12 && s.Share.V <= s.High.V+1e-12) {
				t.Fatalf("the interval of level %d misses its share: %+v", i, s)
			}
			if s.NEff.OK && s.NEff.V > float64(s.Size)+1e-9 {
				t.Fatalf("n_eff %v beyond n %d", s.NEff.V, s.Size)
			}
			sum += s.Share.V
		}
		if !relativelyClose(sum, 1, 1e-12) {
			t.Fatalf("shares sum to %v", sum)
		}
	})
}
