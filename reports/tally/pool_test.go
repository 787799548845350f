package tally

import "testing"

func TestPoolingOfRatTumours(t *testing.T) {
	got := result(t, data(t, "rat_tumours.csv"), "pool --hits y --size n --by group")
	compare(t, got, map[string]float64{
		"alpha": 2.3416144, "beta": 14.1148043, "loglik": -156.5689299, "groups.70.share": 4. / 14,
		"groups.70.pooled": .2082193, "groups.70.low": .0862164, "groups.70.high": .3663520, "groups.0.pooled": .0642305,
	}, 1e-6, "[R] score equations of the beta-binomial solved in R 4.2.2; data of Tarone 1982")
	if at(t, got, "groups.70.by.group") != "71" {
		t.Errorf("the last unit is %v, want 71", at(t, got, "groups.70.by"))
	}
}

func TestPoolingExplainsWhatItLeavesOut(t *testing.T) {
	for _, csv := range []string{
		"g,y,n\na,1,4\nb,0,0\nc,3,9\n",
		"g,y,n\na,1,4\n",
		"g,y,n\na,0,4\nb,0,5\n",
		"g,y,n\na,5,20\nb,5,20\nc,5,20\nd,5,20\ne,5,20\nf,5,20\ng,5,20\nh,5,20\ni,5,20\nj,5,20\n",
	} {
		for _, path := range nulls(result(t, csv, "pool --hits y --size n --by g"), "") {
			t.Errorf("%s is null without a why in %s", path, csv)
		}
	}
	few := result(t, "g,y,n\na,1,4\nb,0,0\nc,3,9\n", "pool --hits y --size n --by g")
	if at(t, few, "groups.1.by.g") != "b" || at(t, few, "groups.1.share") != nil || at(t, few, "groups.0.pooled") != nil {
		t.Errorf("three units, one empty: %v", few)
	}
}
