package tally

import "testing"

func TestRegressionOfLives(t *testing.T) {
	const survreg = "[R] R 4.2.2 survival 3.5-3, survreg; the fixtures of reports/stats say how"
	for _, c := range []struct {
		name, args, file string
		term             string
		want             map[string]float64
	}{
		{
			"intervals", "regress --lower left --upper right --on treatment", "breast_cosmesis.csv", "treatment=RadChem",
			map[string]float64{
				"terms.0.coef": 3.899276, "terms.0.se": .140530, "terms.1.coef": -.567551, "terms.1.se": .175730, "terms.1.p": .0012393,
				"log_scale": -.479101, "se_log_scale": .119892, "loglik": -143.320827, "loglik_null": -148.792431, "lrt": 10.943208, "df": 1,
			},
		},
		{
			"right-censored, a reference named", "regress --time time --event cens --on treat --ref treat=control", "freireich_6mp.csv", "treat=6-MP",
			map[string]float64{
				"terms.0.coef": 2.248352, "terms.0.se": .165972, "terms.1.coef": 1.267335, "terms.1.se": .310640,
				"terms.1.ratio": 3.551374, "log_scale": -.311709, "loglik": -106.579492, "lrt": 19.651831,
			},
		},
		{
			"one look each", "regress --time age_days --worn tumour --current-status --on group", "rfm_mice_lung_tumour.csv", "group=ge",
			map[string]float64{"terms.1.coef": -.387604, "terms.1.se": .280981, "loglik": -80.320201, "loglik_null": -83.004419},
		},
		{
			"counts, two factors and a number", "regress --lower lower --upper upper --count count --on model,gait,mass", "looks_regression.csv", "model=Birch",
			map[string]float64{
				"terms.0.coef": 6.963146, "terms.1.coef": .374902, "terms.2.coef": -.149290, "terms.3.coef": -.101890,
				"terms.4.coef": -.009151, "terms.4.se": .003058, "loglik": -425.339940, "df": 4,
			},
		},
		{
			"by group", "regress --lower lower --upper upper --count count --on model,mass --by gait", "looks_regression.csv", "",
			map[string]float64{"groups.0.df": 3, "groups.1.df": 3},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := result(t, data(t, c.file), c.args)
			compare(t, got, c.want, 1e-6, survreg)
			at(t, got, "groups")
			if c.term != "" && at(t, got, "terms.1.term") != c.term {
				t.Errorf("term %v, want %s", at(t, got, "terms.1.term"), c.term)
			}
		})
	}
}

func TestARegressionWithoutEstimateIsNullWithItsReason(t *testing.T) {
	for name, c := range map[string]struct{ args, csv string }{
		"a level never worn":       {"regress --time t --event e --on g", "t,e,g\n5,1,a\n9,1,a\n7,0,a\n6,0,b\n"},
		"one level":                {"regress --time t --event e --on g", "t,e,g\n5,1,a\n9,1,a\n"},
		"a life of nothing":        {"regress --time t --event e --on g", "t,e,g\n0,1,a\n9,1,b\n"},
		"every row dropped":        {"regress --time t --event e --on g", "t,e,g\n5,1,\n9,,b\n"},
		"numbers named as levels":  {"regress --time t --event e --on g --ref g=1", "t,e,g\n5,1,1\n9,1,1\n8,0,2\n"},
		"a reference in one group": {"regress --time t --event e --on g --ref g=a --by h", "t,e,g,h\n5,1,a,x\n9,1,b,x\n7,0,a,x\n6,1,b,y\n8,1,c,y\n"},
	} {
		t.Run(name, func(t *testing.T) {
			got := result(t, c.csv, c.args)
			path := "terms"
			if name == "a reference in one group" {
				path = "groups.1.terms"
			}
			if v := at(t, got, path); v != nil {
				t.Errorf("%s = %v, want null", path, v)
			}
			for _, p := range nulls(got, "") {
				t.Errorf("%s is null without a why", p)
			}
		})
	}
}
