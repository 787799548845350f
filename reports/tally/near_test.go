package tally

import "testing"

func TestNearestItems(t *testing.T) {
	const source = "[R] R package cluster 2.1.4 daisy(metric = 'gower') and pam"
	small := data(t, "gower_small.csv")
	near := result(t, small, "near --item item --to A")
	compare(t, near, map[string]float64{
		"groups.0.rows.0.distance": .1079545455, "groups.0.rows.1.distance": .3068181818,
		"groups.0.rows.2.distance": .6212121212, "groups.0.rows.3.distance": .8465909091, "dropped.count": 0,
	}, 1e-9, source)
	for i, item := range []string{"B", "E", "D", "C"} {
		if got := at(t, near, "groups.0.rows."+string(rune('0'+i))+".item"); got != item {
			t.Errorf("place %d: %v, want %s (%s)", i+1, got, item, source)
		}
	}
	typical := result(t, small, "near --item item")
	compare(t, typical, map[string]float64{"groups.0.mean_distance": .4706439394}, 1e-9, source)
	if got := at(t, typical, "groups.0.medoid"); got != "A" {
		t.Errorf("medoid %v, want A (%s)", got, source)
	}
	// (1/4 + 0)/2 by hand.
	two := result(t, small, "near --item item --to B --columns heel,side")
	compare(t, two, map[string]float64{"groups.0.rows.0.distance": .125}, 1e-12, "by hand")
}

func TestNearAtItsEdges(t *testing.T) {
	grouped := result(t, "i,x,g\na,1,u\nb,3,u\nc,2,v\nd,2,v\n", "near --item i --to a --by g")
	if at(t, grouped, "groups.0.rows.0.item") != "b" || at(t, grouped, "groups.1.rows") != nil {
		t.Errorf("an item of the first group: %v", grouped)
	}
	for _, got := range []any{
		grouped,
		result(t, "i,x\na,1\nb,1\n", "near --item i"),
		result(t, "i,x,y\na,1,NA\nb,,2\nc,3,4\n,5,6\n", "near --item i"),
	} {
		for _, path := range nulls(got, "") {
			t.Errorf("%s is null without a why", path)
		}
	}
	missing := result(t, "i,x,y\na,1,NA\nb,,2\nc,3,4\n,5,6\n", "near --item i --to a")
	if at(t, missing, "dropped.count") != 1.0 || at(t, missing, "groups.0.rows.0.item") != "c" {
		t.Errorf("one item without a name, b not to be compared with a: %v", missing)
	}
	wantFault(t, "near --item i", "i,x\na,1\na,2\n", `line 3, column "i"`)
	wantUsage(t, "near --item i --to z", "i,x\na,1\nb,2\n")
	wantUsage(t, "near --item i --count x", "i,x\na,1\nb,2\n")
}
