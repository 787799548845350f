package stats

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func anaesthesia(t testing.TB) []Grade {
	p := readPublished(t, "dawid_skene_anaesthesia.csv")
	item, rater, rating := p.wholes("item"), p.wholes("rater"), p.wholes("rating")
	grades := make([]Grade, len(item))
	for i := range item {
		grades[i] = Grade{item[i] - 1, rater[i] - 1, rating[i] - 1}
	}
	return grades
}

func TestDawidSkeneReproducesAnaesthesia(t *testing.T) {
	r, err := DawidSkene(anaesthesia(t), nil, 4)
	if err != nil {
		t.Fatal(err)
	}
	const (
		paper = "[M] Dawid & Skene 1979, Table 2"
		ours  = "[R] second EM program, 34 iterations; data of R package rater"
	)
	rows := []printed{{"loglik", r.LogLik, "-190.7309965949", ours}}
	for j, want := range []string{".40", ".42", ".11", ".07"} {
		rows = append(rows, printed{"prevalence", r.Prevalence[j], want, paper})
	}
	for j, want := range []string{".3999689976", ".4215763205", ".1117880152", ".0666666667"} {
		rows = append(rows, printed{"prevalence", r.Prevalence[j], want, ours})
	}
	for k, table := range [][]string{
		{".907426", ".092574", "0", "0", ".070332", ".876580", ".053088", "0", "0", ".338786", ".661214", "0", "0", "0", ".555556", ".444444"},
		{".833344", ".166656", "0", "0", ".052763", ".632569", ".314668", "0", "0", "0", "1", "0", "0", "0", "0", "1"},
		{"1", "0", "0", "0", ".105498", ".789078", ".105424", "0", "0", ".403633", ".198789", ".397578", "0", "0", ".666667", ".333333"},
		{".944494", ".055506", "0", "0", ".052735", ".843446", ".103819", "0", "0", "0", ".801211", ".198789", "0", "0", ".333333", ".666667"},
		{"1", "0", "0", "0", ".158210", ".735241", ".106548", "0", "0", ".209083", ".790917", "0", "0", "0", ".333333", ".666667"},
	} {
		for i, want := range table {
			rows = append(rows, printed{"confusion", r.Confusion[k][i/4][i%4].V, want, ours})
		}
	}
	rows = append(rows,
		printed{"certainty of item 35", r.Certainty[34], ".9482", ours},
		printed{"certainty of item 38", r.Certainty[37], ".9787", ours},
	)
	reproduce(t, rows)
	for i, want := range []int{1, 4, 2, 2, 2, 2, 1, 3, 2, 2, 4, 3, 1, 2, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 1, 1, 2, 1, 1, 1, 1, 3, 1, 2, 2, 4, 2, 3, 3, 1, 1, 1, 2, 1, 2} {
		if r.Map[i]+1 != want {
			t.Errorf("item %d: class %d, want %d (%s)", i+1, r.Map[i]+1, want, ours)
		}
	}
	if r.Note != "" {
		t.Errorf("note %q, want none for seven grades an item", r.Note)
	}
}

func TestDawidSkeneRefuses(t *testing.T) {
	for _, tt := range []struct {
		name   string
		grades []Grade
		weight []int
		want   error
	}{
		{"no grades", nil, nil, ErrEmpty},
		{"one grade an item", []Grade{{0, 0, 1}, {1, 0, 0}}, nil, ErrNotPaired},
		{"a level beyond the last", []Grade{{0, 0, 2}}, nil, ErrBadInput},
		{"too few weights", []Grade{{0, 0, 1}, {1, 0, 0}}, []int{1}, ErrBadInput},
		{"a negative weight", []Grade{{0, 0, 1}, {0, 1, 0}}, []int{-1}, ErrBadInput},
		{"no weight at all", []Grade{{0, 0, 1}, {0, 1, 0}}, []int{0}, ErrEmpty},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := DawidSkene(tt.grades, tt.weight, 2); !errors.Is(err, tt.want) {
				t.Errorf("err = %v, want %v", err, tt.want)
			}
		})
	}
	two, err := DawidSkene([]Grade{{0, 0, 1}, {0, 1, 1}, {1, 0, 0}, {1, 1, 0}}, nil, 2)
	if err != nil {
		t.Fatal(err)
	}
	if two.Note == "" {
		t.Error("two raters: no word that error and truth cannot be told apart")
	}
}

func TestDawidSkeneLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		items := rapid.IntRange(4, 12).Draw(t, "items")
		var grades []Grade
		for i := range items {
			truth := i % 2
			for k := range 3 {
				level := truth
				if rapid.IntRange(0, 4).Draw(t, "slip") == 0 {
					level = 1 - truth
				}
				grades = append(grades, Grade{i, k, level})
			}
		}
		a, err := DawidSkene(grades, nil, 2)
		if err != nil {
			if !isReason(err) {
				t.Fatal(err)
			}
			return
		}
		b, err := DawidSkene(rapid.Permutation(grades).Draw(t, "order"), nil, 2)
		if err != nil {
			t.Fatal(err)
		}
		double := make([]int, items)
		for i := range double {
			double[i] = 2
		}
		c, err := DawidSkene(grades, double, 2)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.LogLik-b.LogLik) > 1e-9 || math.Abs(2*a.LogLik-c.LogLik) > 1e-7*math.Abs(c.LogLik) {
			t.Fatalf("order or doubling matters: %v, %v, %v", a.LogLik, b.LogLik, c.LogLik)
		}
		sum := 0.0
		for _, p := range a.Prevalence {
			sum += p
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Fatalf("prevalences sum to %v", sum)
		}
	})
}

func TestDawidSkeneLimitsSurroundTheEstimate(t *testing.T) {
	const source = "[O] the fit of Dawid & Skene 1979, of which the limits are resamples of patients"
	p := readPublished(t, "dawid_skene_anaesthesia.csv")
	item, rater, level := p.wholes("item"), p.wholes("rater"), p.wholes("rating")
	var grades, twice []Grade
	for i := range item {
		g := Grade{item[i] - 1, rater[i] - 1, level[i] - 1}
		grades = append(grades, g)
		again := g
		again.Item += 45
		twice = append(twice, g, again)
	}
	fit, err := DawidSkene(grades, nil, 4)
	if err != nil {
		t.Fatal(err)
	}
	limits, err := DawidSkeneLimits(grades, nil, 4, 400, 1, .95)
	if err != nil {
		t.Fatal(err)
	}
	for j, l := range limits {
		// A share of 45 patients cannot be known better than by Wilson on them.
		low, high, err := Wilson(45*fit.Prevalence[j], 45, .95)
		if err != nil {
			t.Fatal(err)
		}
		if !(l.Low < fit.Prevalence[j] && fit.Prevalence[j] < l.High) || l.High-l.Low < 0.7*(high-low) {
			t.Errorf("level %d: %v–%v around %v, known truth would give %v–%v (%s)", j+1, l.Low, l.High, fit.Prevalence[j], low, high, source)
		}
	}
	weight := make([]int, 45)
	for i := range weight {
		weight[i] = 2
	}
	counted, err := DawidSkeneLimits(grades, weight, 4, 50, 1, .95)
	if err != nil {
		t.Fatal(err)
	}
	written, err := DawidSkeneLimits(twice, nil, 4, 50, 1, .95)
	if err != nil {
		t.Fatal(err)
	}
	for j := range counted {
		if !relativelyClose(counted[j].Low, written[j].Low, 1e-9) || !relativelyClose(counted[j].High, written[j].High, 1e-9) {
			t.Errorf("level %d: %v counted, %v written out", j+1, counted[j], written[j])
		}
	}
}
