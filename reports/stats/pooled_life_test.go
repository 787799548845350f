package stats

import (
	"errors"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A part against the others of the pool is ScoreTest of the two, whose values are held
// against published ones.
func TestAPartAgainstItsPoolIsTheScoreTestOfTwo(t *testing.T) {
	tested := 0
	rapid.Check(t, func(t *rapid.T) {
		part, others := intervalCensored(t, "part"), intervalCensored(t, "others")
		for _, scores := range []Scores{SunScores, FinkelsteinScores} {
			pool, err := PoolLife(slices.Concat(part, others), scores)
			want, wantErr := ScoreTest([][]Interval{part, others}, scores)
			if wantErr != nil || err != nil {
				if !errors.Is(err, ErrNoSpread) || !errors.Is(wantErr, ErrNoSpread) {
					t.Fatalf("pool %v, test %v", err, wantErr)
				}
				continue
			}
			got, err := pool.Against(part)
			if err != nil {
				t.Fatal(err)
			}
			near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-6*(1+math.Abs(b)) }
			if got.DF != 1 || !near(got.Chi2, want.Chi2) || !near(got.P, want.P) || !near(got.U[0], want.U[0]) || !near(got.U[1], want.U[1]) {
				t.Fatalf("%s: %+v, want %+v", scores, got, want)
			}
			tested++
		}
	})
	if tested < 50 {
		t.Errorf("only %d parts were tested", tested)
	}
}

func TestAPartOfAPoolThatIsNone(t *testing.T) {
	all := []Interval{{0, 100, 3}, {100, 200, 4}, {150, math.Inf(1), 5}}
	pool, err := PoolLife(all, SunScores)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		part []Interval
		want error
	}{
		"all of it":      {all, ErrOneGroup},
		"nothing":        {nil, ErrOneGroup},
		"another's pair": {[]Interval{{10, 20, 1}}, ErrBadInput},
		"no interval":    {[]Interval{{20, 10, 1}}, ErrBadInput},
	} {
		if _, err := pool.Against(c.part); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	if _, err := PoolLife(all, "ranks"); !errors.Is(err, ErrBadInput) {
		t.Errorf("unknown scores: %v", err)
	}
	if _, err := PoolLife(nil, SunScores); !errors.Is(err, ErrEmpty) {
		t.Errorf("no pairs: %v", err)
	}
}
