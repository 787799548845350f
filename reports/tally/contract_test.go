package tally

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"
)

// numbered puts a column id, counting from 1, before a CSV.
func numbered(text string) string {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	for i := range lines {
		if i == 0 {
			lines[i] = "id," + lines[i]
			continue
		}
		lines[i] = strconv.Itoa(i) + "," + lines[i]
	}
	return strings.Join(lines, "\n")
}

// lung is data set lung of R package survival, with 1 for death and the
// patients above 63 years told apart.
func lung(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(data(t, "lung.csv")), "\n") {
		cells := strings.Split(line, ",")
		if i == 0 {
			b.WriteString("time,dead,old,sex\n")
			continue
		}
		dead, err := strconv.Atoi(cells[1])
		if err != nil {
			t.Fatal(err)
		}
		age, err := strconv.Atoi(cells[2])
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%s,%d,%v,%s\n", cells[0], dead-1, age > 63, cells[3])
	}
	return b.String()
}

// turbine has a row for the wheels cracked and one for the others of each age.
func turbine(t *testing.T) string {
	t.Helper()
	b := "hours,cracked,wheels\n"
	for _, line := range strings.Split(strings.TrimSpace(data(t, "turbine_wheel_inspection.csv")), "\n")[1:] {
		cells := strings.Split(line, ",")
		seen, err := strconv.Atoi(cells[1])
		if err != nil {
			t.Fatal(err)
		}
		cracked, err := strconv.Atoi(cells[2])
		if err != nil {
			t.Fatal(err)
		}
		b += fmt.Sprintf("%s,1,%d\n%s,0,%d\n", cells[0], cracked, cells[0], seen-cracked)
	}
	return b
}

// want are numbers by their path in a result.
type want map[string]float64

const (
	party    = "sex,party,n\nF,D,762\nF,I,327\nF,R,468\nM,D,484\nM,I,239\nM,R,477\n"
	smallRxC = "r,c,n\na,x,3\na,z,2\nb,y,5\nb,z,1\nc,x,1\nc,y,1\nc,z,4\n"
	litters  = "runner,pattern,n\n1,medial,2\n1,even,1\n2,lateral,2\n3,even,1\n4,medial,3\n4,even,1\n5,lateral,1\n6,even,2\n7,medial,1\n8,medial,1\n8,lateral,2\n"
	diagnose = "a,b,n\nschizophrenia,schizophrenia,35\nschizophrenia,affective,5\naffective,schizophrenia,15\naffective,affective,20\naffective,other,5\nother,schizophrenia,10\nother,affective,5\nother,other,5\n"
	raters   = "a,b,n\n1,1,106\n1,2,10\n1,3,4\n2,1,22\n2,2,28\n2,3,10\n3,1,2\n3,2,12\n3,3,6\n"
	smokers  = "y,n,s\n83,86,1\n90,93,2\n129,136,3\n70,82,4\n"
	bracket  = "l,u,n\n100,200,2\n300,400,1\n500,,2\n"
	byRisk   = "t,y,p\n1,0,.1\n2,1,.05\n3,0,.2\n4,0,.1\n5,1,.05\n6,1,.3\n7,0,.02\n8,1,.1\n"
	mixture  = "p,n\n.02,5\n.05,3\n.15,2\n"
)

func TestEveryFlagGivesThePublishedValue(t *testing.T) {
	for _, c := range []struct {
		name, args, csv, source string
		tolerance               float64
		want                    want
	}{
		{
			"--conf widens a share's interval", "shares --hits y --size n --conf 0.99", "y,n\n15,148\n", "R prop.test(15, 148, conf.level = .99, correct = FALSE) [R]",
			1e-9,
			want{"groups.0.levels.0.low": .0536448696, "groups.0.levels.0.high": .1832673501},
		},
		{
			"--cluster widens by the design effect", "shares --hits y --size n --cluster id --by group", numbered(data(t, "weil_rat_litters.csv")), "Rao & Scott 1992, design effects printed in the documentation of R package PF [P]",
			1e-6,
			want{"groups.0.levels.0.deff": 1.232495, "groups.1.levels.0.deff": 3.952861, "groups.1.levels.0.low": .6149430909, "groups.1.levels.0.high": .8782374357},
		},
		{
			"--cluster takes each level against the rest", "shares --of pattern --cluster runner --count n", litters, "by hand with the formula of Rao & Scott 1992; R survey agrees [O]",
			1e-9,
			want{"groups.0.levels.2.share": 7. / 17, "groups.0.levels.2.deff": 1.2523409364, "groups.0.levels.2.low": .1992697153, "groups.0.levels.1.high": .6258361778},
		},
		{
			"--levels lists a level nobody has", "shares --of v --levels a,b,c", "v\na\nb\na\na\n", "Wilson with 0 of n: 0 to z²/(n + z²), z = 1.959964",
			1e-9,
			want{"groups.0.levels.2.hits": 0, "groups.0.levels.2.low": 0, "groups.0.levels.2.high": 3.841458820694 / (4 + 3.841458820694)},
		},
		{
			"--count counts the cells of a table", "association --rows sex --cols party --count n", party, "Agresti 2007, p. 39: X² = 30.1 on 2 df; R chisq.test, DescTools [M, R]",
			1e-8,
			want{"n": 2757, "groups.0.chi2": 30.0701490958, "groups.0.df": 2, "groups.0.adjusted_residuals.0.2": -5.315945543, "groups.0.cramers_v": .1044358024, "groups.0.cramers_v_corrected": .1009199828, "groups.0.expected.0.0": 1557 * 1246 / 2757.},
		},
		{
			"--exact enumerates", "association --rows r --cols c --count n --exact", smallRxC, "R fisher.test of (3,0,2 / 0,5,1 / 1,1,4) [R]",
			1e-10,
			want{"groups.0.p_exact": .01801629743},
		},
		{
			"small expected counts are tested exactly unasked", "association --rows r --cols c --count n", smallRxC, "R fisher.test of (3,0,2 / 0,5,1 / 1,1,4) [R]",
			1e-10,
			want{"groups.0.p_exact": .01801629743},
		},
		{
			"one 2×2 table a row", "association --two-by-two a,b,c,d --by id", "id,a,b,c,d\ntwins,2,15,10,3\n", "Fisher 1962; R help of fisher.test prints p = 0.0004652 [M]",
			1e-10,
			want{"groups.0.p_less": .0004651809434, "groups.0.p_two": .0005367241191},
		},
		{
			"--conf sets what is rejected", "adjust --p p --conf 0.9", "p\n.0001\n.0004\n.0019\n.0095\n.0201\n.0278\n.0298\n.0344\n.0459\n.3240\n.4262\n.5719\n.6528\n.7590\n1\n", "R p.adjust [R]",
			1e-6,
			want{"bh.6": .063857, "holm.8": .3213},
		},
		{
			"--ci log", "life --time time --event cens --by treat --ci log", data(t, "freireich_6mp.csv"), "R survfit(conf.type = \"log\") [R]",
			1e-9,
			want{"groups.0.median": 8, "groups.0.median_low": 4, "groups.0.median_high": 12, "groups.1.median_low": 16},
		},
		{
			"--tau bounds the mean life", "life --time t --event s --by arm --tau 10", data(t, "pbc312_rmst.csv"), "R package survRM2, vignette: 7.146 (0.283) and 7.283 (0.295) [P]",
			1e-6,
			want{"groups.0.rmst": 7.1464930, "groups.0.rmst_se": .28277485, "groups.1.rmst": 7.2834158, "groups.1.rmst_se": .29547809},
		},
		{
			"--strata compares within", "life --time time --event dead --by sex --strata old", lung(t), "R survdiff(Surv(time, status) ~ sex + strata(age > 63), lung) [R]",
			1e-8,
			want{"logrank.chi2": 10.8022117272, "logrank.df": 1},
		},
		{
			"pairs of four groups", "life --time time --event status --by celltype", data(t, "veteran_celltype.csv"), "R survdiff: 25.4 on 3 df; expected of squamous [R]",
			1e-6,
			want{"logrank.chi2": 25.40370035, "logrank.df": 3, "logrank.expected.0": 47.65467767},
		},
		{
			"--given and --risk bracket by the support", "life --lower l --upper u --count n --given 250 --risk 0.2", bracket, "masses 2/5, 1/5, 2/5 by hand [O]",
			1e-9,
			want{"groups.0.next.npmle.left": 300, "groups.0.next.npmle.right": 400, "groups.0.support.0.mass": .4, "n": 5},
		},
		{
			"--current-status", "life --time age_days --worn tumour --current-status --by group", data(t, "rfm_mice_lung_tumour.csv"), "R Iso::pava on Hoel & Walburg 1972 [R]",
			1e-9,
			want{"groups.0.steps.0.failed_by": 0, "groups.0.steps.8.failed_by": 1. / 6, "groups.0.n": 96, "groups.1.n": 48},
		},
		{
			"--current-status with --count", "life --time hours --worn cracked --current-status --count wheels", turbine(t), "Nelson 1982; R Iso::pava and survreg(interval2) [R]",
			1e-5,
			want{"groups.0.steps.1.failed_by": .0697674419, "groups.0.steps.10.failed_by": .5833333333, "groups.0.weibull.shape": 2.175779909, "groups.0.weibull.scale": 46.77723025, "groups.0.weibull.shape_lr_low": 1.668965138},
		},
		{
			"u chart", "chart --kind u --order sample --hits nonconformities --size units", data(t, "u_chart_pc_manufacture.csv"), "Montgomery, Introduction to SQC: 1.93, 0.07, 3.79 [M]",
			1e-8,
			want{"groups.0.points.0.centre": 1.93, "groups.0.points.0.low": .06613305196, "groups.0.points.0.high": 3.793866948},
		},
		{
			"--sigma narrows, --baseline learns from a part", "chart --kind c --order t --value x --sigma 2 --baseline 1:2", "t,x\n1,4\n2,14\n3,30\n", "c̄ ∓ 2 √c̄ with c̄ = 9 by hand",
			1e-12,
			want{"groups.0.points.2.centre": 9, "groups.0.points.2.low": 3, "groups.0.points.2.high": 15},
		},
		{
			"cusum", "chart --kind cusum --order t --value x --target 10 --sd 2 --k 0.5 --h 2", "t,x\n1,12\n2,13\n3,14\n4,10\n", "by hand: z = 1, 1.5, 2, 0; C⁺ = .5, 1.5, 3, 2.5 [Page 1954]",
			1e-12,
			want{"groups.0.upper.2": 3, "groups.0.upper.3": 2.5, "groups.0.lower.3": 0, "groups.0.first_signal": 3},
		},
		{
			"risk-adjusted cusum", "chart --kind ra-cusum --order t --event y --expected p --odds 2 --h 2", byRisk, "closed form of Steiner et al. 2000, log 2 − log(1 + p) or −log(1 + p) [O]",
			1e-9,
			want{"groups.0.points.4.value": 1.0110822962, "groups.0.points.7.value": 2.0198995857, "groups.0.first_signal": 8},
		},
		{
			"tail", "tail --expected p --hits 2", "p\n.1\n.2\n.3\n.4\n", "exact fractions [O]",
			1e-12,
			want{"groups.0.p_at_least": .2572, "groups.0.p_at_most": .9572, "groups.0.p_mid": .15},
		},
		{
			"tail with --count", "tail --expected p --hits 5 --count n", "p,n\n.3,10\n", "R pbinom(4, 10, .3, lower.tail = FALSE) [R]",
			1e-9,
			want{"groups.0.p_at_least": .1502683326},
		},
		{
			"three categories", "match --first a --second b --count n", diagnose, "Fleiss 1981, p. 121: chi2 = 14.00 on 2 df [M]; by hand",
			1e-9,
			want{"groups.0.chi2": 14, "groups.0.df": 2, "groups.0.p": .000911881966},
		},
		{
			"a category that only agrees is dropped with its df", "match --first a --second b --count n", diagnose + "neurosis,neurosis,9\n", "as without it: it adds nothing to d and makes V singular (Stuart 1955)",
			1e-9,
			want{"groups.0.chi2": 14, "groups.0.df": 2},
		},
		{
			"b is first yes, second no", "match --first a --second b --count n", "a,b,n\nyes,no,150\nno,yes,86\nyes,yes,794\nno,no,570\n", "Agresti 2002, Table 10.1; R mcnemar.test, binom.test [M, R]",
			1e-7,
			want{"groups.0.b": 150, "groups.0.c": 86, "groups.0.chi2": 17.3559322, "groups.0.p": 3.09929344e-05, "groups.0.p_exact": 3.71593614e-05},
		},
		{
			"--levels puts yes last", "match --first a --second b --count n --levels worn,sound", "a,b,n\nworn,sound,150\nsound,worn,86\n", "the contract of match: b = first yes and second no",
			0,
			want{"groups.0.b": 86, "groups.0.c": 150},
		},
		{
			"run length, both sides", "run-length --kind normal --k 0.5 --h 4 --shift 0", "", "Lucas & Crosier 1982, Table 1: 168; R package spc 335.3676 one-sided [P, R]",
			1e-3,
			want{"arl_two": 167.6838, "arl_one": 335.3676},
		},
		{
			"run length of failures", "run-length --kind bernoulli --p0 .01 --p .02 --m 69 --h 3", "", "linear solve of the walk on 1/69 (Reynolds & Stoumbos 1999) [R]",
			1e-6,
			want{"arl_one": 373.447513},
		},
		{
			"run length of failures in control", "run-length --kind bernoulli --p0 .01 --m 69 --h 3", "", "linear solve of the walk on 1/69 (Reynolds & Stoumbos 1999) [R]",
			1e-6,
			want{"arl_one": 2300.743068},
		},
		{
			"run length given the expected", "run-length --kind ra --expected p --odds 2 --h 2 --count n", mixture, "simulated: 440.68 (SE .42) [O]",
			1.3,
			want{"arl_one": 440.68, "n": 10},
		},
		{
			"--true-odds", "run-length --kind ra --expected p --odds 2 --h 3 --true-odds 2 --count n", mixture, "simulated: 135.248 (SE .096) [O]",
			.3,
			want{"arl_one": 135.248},
		},
		{
			"funnel", "funnel --hits y --size n --by unit", data(t, "funnel_small.csv"), "Spiegelhalter 2005; R metafor rma(method = \"DL\") [R]",
			1e-9,
			want{"target": .1286089239, "phi": 1.3433529026, "phi_winsorised": 1.262262770, "tau2": .000297825027},
		},
		{
			"--target", "funnel --hits y --size n --by unit --target 0.1", "unit,y,n\na,12,100\nb,5,50\n", "R qbinom, pbinom with the interpolation of Spiegelhalter 2005 [R]",
			1e-8,
			want{"target": .1, "groups.0.low95": .04038060, "groups.0.high95": .15771861, "groups.0.low998": .01417887, "groups.0.high998": .19835672, "groups.0.normal_high95": .15879892, "groups.1.low95": .01386293},
		},
		{
			"a share along a score", "trend --hits y --size n --score s", smokers, "R help of prop.trend.test: 8.2249 [M]",
			1e-7,
			want{"groups.0.chi2": 8.2249223, "groups.0.p": .004131897},
		},
		{
			"a series with ties", "trend --value flow --order year", data(t, "nile.csv"), "R cor.test(method = \"kendall\"), scipy theilslopes [R]",
			1e-8,
			want{"groups.0.s": -1387, "groups.0.z": -4.128066523, "groups.0.tau_b": -.2807413347, "groups.0.slope": -2.6},
		},
		{
			"two raters", "agreement --first a --second b --count n", raters, "Fleiss, Cohen & Everitt 1969: .429 [M]; statsmodels [R]",
			1e-8,
			want{"groups.0.kappa.unweighted.kappa": .4285714286, "groups.0.kappa.unweighted.se": .05371100, "groups.0.kappa.linear.kappa": .4923076923, "groups.0.kappa.quadratic.kappa": .5666666667},
		},
		{
			"--levels keeps a grade nobody gave", "agreement --first a --second b --count n --levels 1,2,3,4", "a,b,n\n1,1,5\n2,2,4\n1,3,1\n", "quadratic weights 1 − (d/3)² by hand: po = 1 − 4/9/10, pe from the margins .6, .4 and .5, .4, .1",
			1e-12,
			want{"groups.0.kappa.quadratic.kappa": byHandKappa()},
		},
		{
			"agreement that chance does not inflate", "agreement --item item --rater rater --grade grade", long(t, "krippendorff_12x4.csv"), "Gwet 2014, p. 120: AC1 .77544; Krippendorff 2011: nominal .743 [P2]",
			1e-9,
			want{"groups.0.ac1": .7754440681, "groups.0.alpha": .7434210526},
		},
		{
			"how sure that agreement is", "agreement --item item --rater rater --grade grade", long(t, "krippendorff_12x4.csv"), "R package irrCAC, gwet.ac1.raw(cac.raw4raters): standard error 0.14295, 0.461 to 1 [M]",
			5e-4,
			want{"groups.0.ac1_se": .14295, "groups.0.ac1_low": .461, "groups.0.ac1_high": 1},
		},
		{
			"--scale interval", "agreement --item item --rater rater --grade grade --scale interval", long(t, "krippendorff_12x4.csv"), "Krippendorff 2011: .849 [P2]",
			1e-9,
			want{"groups.0.alpha": .8491071429},
		},
		{
			"intraclass intervals", "agreement --item item --rater rater --grade grade --scale interval", long(t, "shrout_fleiss.csv"), "Shrout & Fleiss 1979; R package psych [P, R]",
			1e-6,
			want{"groups.0.icc.icc11.low": -.1329323, "groups.0.icc.icc21.high": .7610844, "groups.0.icc.icc31.icc": .7148407148, "groups.0.icc.icc31.low": .3424648},
		},
		{
			"grades may be counted", "agreement --item item --rater rater --grade grade --count n", "item,rater,grade,n\n1,x,a,2\n1,y,b,1\n2,x,a,3\n3,x,b,3\n", "Fleiss 1971 by hand: P = 1/3, 1, 1; p = 5/9, 4/9",
			1e-12,
			want{"groups.0.fleiss.kappa": (7./9 - 41./81) / (1 - 41./81), "groups.0.fleiss.n": 3, "n": 9},
		},
		{
			"limits of agreement", "limits --first wright1 --second mini1", data(t, "pefr_bland_altman.csv"), "Bland & Altman 1986 at 1.96 SD, recomputed [R]",
			1e-6,
			want{"groups.0.low": -78.09590548, "groups.0.high": 73.86061136, "groups.0.bias_low": -22.0488377, "groups.0.bias_high": 17.8135436, "groups.0.se_limit": 38.76512987 * 0.42008402520840293},
		},
		{
			"--by names the pair", "symmetry --left l --right r --by pair", "pair,l,r\na,1080,1200\nb,1,0\n", "Robinson et al. 1987 by hand",
			1e-8,
			want{"groups.0.si": 10.52631579, "groups.1.si": -200},
		},
		{
			"heaping of ages", "heaping --value age --count count", data(t, "pasex_males_single_age.csv"), "R package DemoTools replicates SINGAGE: Whipple 2.33873, Myers 47.46/2 [P]",
			1e-6,
			want{"groups.0.whipple_05": 233.8729863, "groups.0.myers": 23.73002042},
		},
		{
			"kilometres are read whole", "heaping --value km", "km\n100\n250\n30\n37\n471\n", "Whipple's formula by hand: 3 of all 5 end in 0 or 5",
			1e-9,
			want{"groups.0.whipple_05": 300, "groups.0.share50": .4, "groups.0.share100": .2},
		},
		{
			"--range", "heaping --value v --range 0:99", "v\n0\n5\n7\n100\n", "Whipple's formula by hand: 2 of 3 within 0–99 end in 0 or 5",
			1e-9,
			want{"groups.0.whipple_05": 500 * 2. / 3, "groups.0.share50": .5, "groups.0.share100": .5},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			compare(t, result(t, strings.ReplaceAll(c.csv, `"`, ""), c.args), c.want, c.tolerance, c.source)
		})
	}
}

// byHandKappa is 1 − Σ d² p / Σ d² r c, the quadratic kappa, of 5 (1,1), 4
// (2,2), 1 (1,3).
func byHandKappa() float64 {
	observed := 4. / 10
	expected := 0.
	row, col := []float64{.6, .4, 0}, []float64{.5, .4, .1}
	for i, r := range row {
		for k, c := range col {
			expected += float64((i-k)*(i-k)) * r * c
		}
	}
	return 1 - observed/expected
}

// nulls lists the objects that hold a null, or a list with one, and no why.
func nulls(v any, path string) (bare []string) {
	switch in := v.(type) {
	case map[string]any:
		_, told := in["why"]
		for key, value := range in {
			missing := value == nil
			if list, ok := value.([]any); ok {
				for _, item := range list {
					missing = missing || item == nil
				}
			}
			if missing && !told {
				bare = append(bare, path+"."+key)
			}
			bare = append(bare, nulls(value, path+"."+key)...)
		}
	case []any:
		for i, item := range in {
			bare = append(bare, nulls(item, path+"."+strconv.Itoa(i))...)
		}
	}
	return bare
}

func TestNoNullStandsWithoutItsReason(t *testing.T) {
	for _, c := range []struct{ args, csv string }{
		{"shares --of v --cluster c", "v,c\na,1\nb,1\n"},
		{"shares --hits y --size n --by g", "y,n,g\n0,0,a\n1,2,b\n"},
		{"difference --hits y --size n --by g", "y,n,g\n0,0,a\n1,2,b\n3,4,c\n"},
		{"association --rows r --cols c --exact", "r,c\na,x\nb,y\nb,x\n"},
		{"association --rows r --cols c", "r,c\na,x\na,y\n"},
		{"association --two-by-two a,b,c,d --by id", "id,a,b,c,d\nx,0,0,0,0\ny,0,3,0,4\nz,5,0,0,4\n"},
		{"life --time t --event e --by g", "t,e,g\n5,1,a\n6,1,a\n7,1,b\n9,0,b\n"},
		{"life --time t --event e --tau 100", "t,e\n5,1\n6,0\n"},
		{"life --time t --event e --by g", "t,e,g\n5,0,a\n6,0,b\n"},
		{"life --lower l --upper u --given 3 --bootstrap 20", "l,u\n1,2\n3,\n2,5\n"},
		{"life --time t --worn w --current-status --given 2", "t,w\n1,0\n2,0\n"},
		{"chart --kind p --order t --hits y --size n", "t,y,n\n1,0,0\n2,1,4\n"},
		{"chart --kind p --order t --hits y --size n --baseline 7:9", "t,y,n\n1,0,2\n2,1,4\n"},
		{"chart --kind cusum --order t --value x --target 0 --sd 1", "t,x\n1,0\n2,0\n"},
		{"chart --kind ewma --order t --value x", "t,x\n1,0\n2,0\n"},
		{"chart --kind ra-cusum --order t --event y --expected p", "t,y,p\n1,0,.5\n"},
		{"match --first a --second b", "a,b\nx,x\ny,y\n"},
		{"match --first a --second b", "a,b\nx,x\ny,y\nz,z\n"},
		{"match --first a --second b", "a,b\nx,x\n"},
		{"funnel --hits y --size n --by g", "g,y,n\na,0,0\nb,1,4\n"},
		{"funnel --hits y --size n --by g", "g,y,n\na,0,3\nb,0,4\n"},
		{"trend --hits y --size n --score s", "y,n,s\n0,3,1\n0,4,2\n"},
		{"trend --value v --order o", "v,o\n1,1\n1,2\n1,3\n"},
		{"trend --value v --order o", "v,o\n1,1\n"},
		{"agreement --item i --rater r --grade g", "i,r,g\n1,x,a\n1,y,a\n2,x,a\n"},
		{"agreement --item i --rater r --grade g --count n", "i,r,g,n\n1,x,a,0\n"},
		{"agreement --item i --rater r --grade g --scale interval", "i,r,g\n1,x,1\n1,y,1\n2,x,1\n2,y,1\n"},
		{"agreement --first a --second b", "a,b\nx,x\n"},
		{"limits --first a --second b", "a,b\n1,2\n"},
		{"symmetry --left a --right b --by c", "a,b,c\n0,0,x\n"},
		{"heaping --value v", "v\n3\n"},
		{"tail --expected p --hits 3 --count n", "p,n\n.5,0\n"},
		{"adjust --p p", "p\n1\n"},
		{"run-length --kind bernoulli --p 0 --m 5 --h 2", ""},
		{"run-length --kind normal --k 0.5 --h 4 --shift -30", ""},
		{"shares --of v --count n", "v,n\na,0\n"},
		{"shares --of v --by g", "v,g\n,a\nNA,b\n"},
		{"life --lower l --upper u --by g", "l,u,g\nNA,5,a\n"},
		{"life --time t --event e", "t,e\n1e300,1\n1e-300,1\n1.5,0\n"},
		{"trend --hits y --size n --score s", "y,n,s\n0,9,3\n4,8,-1e308\n"},
		{"limits --first a --second b --count n", "a,b,n\n1,2,1\n1e308,0,30\n"},
		{"tail --expected p --hits 9", "p\n.5\n"},
		{"chart --kind ewma --order t --value v", "t,v\n1,1e308\n2,-1e308\n3,5\n"},
		{"chart --kind cusum --order t --value v", "t,v\n1,1e308\n2,-1e308\n3,5\n"},
		{"chart --kind cusum --order t --value v --target 0 --sd 1e-300", "t,v\n1,1e308\n2,-1e308\n3,5\n"},
		{"chart --kind u --order t --hits y --size n", "t,y,n\n1,3,1e308\n2,4,1e308\n"},
		{"agreement --item i --rater r --grade g --scale interval", "i,r,g\n1,x,1e308\n1,y,-1e308\n2,x,3\n2,y,5\n"},
		{"regress --time t --event e --on x", "t,e,x\n10,1,1e308\n20,1,-1e308\n12,0,3\n15,1,9\n"},
		{"regress --time t --event e --on g", "t,e,g\n1,1,a\n2,0,a\n"},
	} {
		t.Run(c.args, func(t *testing.T) {
			for _, path := range nulls(result(t, c.csv, c.args), "") {
				t.Errorf("%s is null without a why", path)
			}
		})
	}
}

func TestWrongRowsExitWithTheirPlaceAndWrongFlagsAsUsage(t *testing.T) {
	for _, c := range []struct {
		name, args, csv, place string
	}{
		{"a rate above 1", "tail --expected p --hits 1", "p\n.5\n1.5\n", `line 3, column "p"`},
		{"a p-value below 0", "adjust --p p", "p\n-.5\n", `line 2, column "p"`},
		{"an order that stands twice", "chart --kind c --order t --value x", "t,x\n1,3\n1.0,4\n", `line 3, column "t"`},
		{"faults on no units", "chart --kind u --order t --hits x --size n", "t,x,n\n1,3,0\n", `line 2, column "x"`},
		{"a negative count", "shares --of v --count n", "v,n\na,1\na,-1\n", `line 3, column "n"`},
		{"half a count", "shares --of v --count n", "v,n\na,1.5\n", `line 2, column "n"`},
		{"counts beyond counting", "shares --of v --count n", "v,n\n" + strings.Repeat("a,1000000000000\n", 9100), `column "n"`},
		{"hits beyond counting", "shares --hits y --size n --count c", "y,n,c\n1,1000000000000,1000000000000\n", `line 2, column "n"`},
		{"a number beyond numbers", "limits --first a --second b", "a,b\n1,2\n1e999,3\n", `line 3, column "a"`},
		{"a hexadecimal number", "limits --first a --second b", "a,b\n0x10,2\n", `line 2, column "a"`},
		{"infinity", "limits --first a --second b", "a,b\nInf,2\n", `line 2, column "a"`},
		{"not a number", "limits --first a --second b", "a,b\nNaN,2\n", `line 2, column "a"`},
		{"differences beyond numbers", "limits --first a --second b", "a,b\n1e308,-1e308\n", `line 2, column "a"`},
		{"a column named twice", "shares --of v", "v,w,v\na,b,c\n", `line 1, column "v"`},
		{"a word in a dropped row", "limits --first a --second b", "a,b\n,x\n", `line 2, column "b"`},
		{"a cell on a later line of its record", "limits --first a --second b", "w,a,b\n\"x\ny\",1,z\n", `line 3, column "b"`},
		{"UTF-16", "shares --of v", "\xff\xfev\x00\n\x00a\x00\n\x00", "line 1, column 1"},
		{"a bare quote", "shares --of v", "v,w\n5\" heel,b\n", "line 2, column 2"},
		{"text behind a quote", "shares --of v", "v,w\n\"a\"b,c\n", "line 2, column 4"},
		{"a grade that is a word", "agreement --item i --rater r --grade g --scale interval", "i,r,g\n1,x,1\n1,y,good\n", `line 3, column "g"`},
		{"a series too long for every pair", "trend --value v --order o --count n", "v,o,n\n1,1,4000\n2,2,4000\n", `line 3, column "o"`},
		{"an order of 0 and −0", "chart --kind cusum --order t --value x", "t,x\n0,3\n-0,4\n", `line 3, column "t"`},
		{"sizes beyond counting", "misread --hits y --size m --se-hits a --se-size b --sp-hits c --sp-size d", "y,m,a,b,c,d\n1,1e308,3,4,5,6\n", `line 2, column "m"`},
		{"a negative side", "symmetry --left a --right b", "a,b\n1,-2\n", `line 2, column "b"`},

		{"--conf of 1", "shares --of v --conf 1", "v\na\n", ""},
		{"--lambda beyond 1", "chart --kind ewma --order t --value x --lambda 2", "t,x\n1,3\n2,5\n", ""},
		{"--h of 0", "chart --kind cusum --order t --value x --h 0", "t,x\n1,3\n2,5\n", ""},
		{"--sigma below 0", "chart --kind c --order t --value x --sigma -1", "t,x\n1,3\n", ""},
		{"--odds of 1", "chart --kind ra-cusum --order t --event y --expected p --odds 1", "t,y,p\n1,1,.5\n", ""},
		{"--sd of 0", "chart --kind ewma --order t --value x --sd 0", "t,x\n1,3\n2,5\n", ""},
		{"--target beyond 1", "funnel --hits y --size n --by g --target 2", "g,y,n\na,1,2\nb,1,3\n", ""},
		{"--hits below 0", "tail --expected p --hits -1", "p\n.5\n", ""},
		{"--hits no number", "tail --expected p --hits many", "p\n.5\n", ""},
		{"--tau below 0", "life --time t --event e --tau -1", "t,e\n1,1\n", ""},
		{"--risk of 1", "life --time t --event e --given 3 --risk 1", "t,e\n1,1\n5,1\n", ""},
		{"--baseline that is no range", "chart --kind c --order t --value x --baseline 3", "t,x\n1,3\n", ""},
		{"--bootstrap below 0", "life --lower l --upper u --bootstrap -5", "l,u\n1,2\n3,\n", ""},
		{"--bootstrap below 0, one look", "life --time t --worn w --current-status --bootstrap -5", "t,w\n1,0\n2,1\n", ""},
		{"--bootstrap below 0, misread", "misread --patterns a,b,c --bootstrap -5", "a,b,c\n1,2,1\n", ""},
		{"--two-by-two of three", "association --two-by-two a,b,c --by id", "id,a,b,c\nx,1,2,3\n", ""},
		{"--strata with two looks", "life --lower l --upper u --strata s", "l,u,s\n1,2,x\n", ""},
		{"a flag of another statistic", "shares --of v --sigma 2", "v\na\n", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out bytes.Buffer
			err := Run(append(strings.Fields(c.args), "-"), Console{Stdin: strings.NewReader(c.csv), Stdout: &out, Stderr: &out})
			_, usage := errors.AsType[*UsageError](err)
			switch {
			case err == nil:
				t.Errorf("no error: %s", &out)
			case c.place == "" && !usage:
				t.Errorf("error %v, want a *UsageError", err)
			case c.place != "" && (usage || !strings.Contains(err.Error(), c.place)):
				t.Errorf("error %v, want a fault of the file at %s", err, c.place)
			}
		})
	}
}

func TestOddFilesAreRead(t *testing.T) {
	for _, c := range []struct{ name, args, csv, path, want string }{
		{"a byte order mark before a quoted header", "shares --of v", "\ufeff\"v\",w\na,b\n", "groups.0.levels.0.level", "a"},
		{"CRLF", "shares --of w", "v,w\r\na,b\r\n", "groups.0.levels.0.level", "b"},
		{"no line end at the end", "shares --of w", "v,w\na,b", "groups.0.levels.0.level", "b"},
		{"a line end in a cell", "shares --of v", "v,w\n\"a\nb\",c\n", "groups.0.levels.0.level", "a\nb"},
		{"a NUL byte", "shares --of v", "v,w\na\x00,c\n", "groups.0.levels.0.level", "a\x00"},
		{"a header beyond ASCII", "shares --of Größe --by 店", "店,Größe\n東京,groß\n", "groups.0.by.店", "東京"},
		{"a name with a comma", "shares --of v --by g", "v,g\na,\"x, y\"\n", "groups.0.by.g", "x, y"},
		{"values that would join to one", "funnel --hits y --size n --by a,b", "a,b,y,n\n\"x, y\",z,1,4\nx,\"y, z\",2,4\n", "groups.1.by.b", "y, z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := at(t, result(t, c.csv, c.args), c.path); got != c.want {
				t.Errorf("%s = %q, want %q", c.path, got, c.want)
			}
		})
	}
}

func TestABlankLineIsAnEmptyCellOnlyWhereOneColumnStands(t *testing.T) {
	one := result(t, "v\na\n\nb\n", "shares --of v")
	if got := at(t, one, "dropped.first.0.line"); got != 3.0 || at(t, one, "dropped.count") != 1.0 {
		t.Errorf("one column: dropped line %v, want 3", got)
	}
	if got := at(t, result(t, "v,w\na,1\n\nb,2\n", "shares --of v"), "dropped.count"); got != 0.0 {
		t.Errorf("two columns: %v dropped, want none", got)
	}
}

func TestAHundredDroppedCellsAreListed(t *testing.T) {
	got := result(t, "v,w\na,1\n"+strings.Repeat("NA,2\n", 250), "shares --of v")
	if n := len(at(t, got, "dropped.first").([]any)); n != 100 || at(t, got, "dropped.count") != 250.0 {
		t.Errorf("%d listed of %v, want 100 of 250", n, at(t, got, "dropped.count"))
	}
	if line := at(t, got, "dropped.first.99.line"); line != 102.0 {
		t.Errorf("the last listed is line %v, want 102", line)
	}
}

func TestManyGroupsAreEachCounted(t *testing.T) {
	const groups = 5_000
	var b strings.Builder
	b.WriteString("g,v,n\n")
	for i := range groups {
		fmt.Fprintf(&b, "g%d,%d,9\n", i, i%7)
	}
	for _, args := range []string{"shares --of v --by g", "funnel --hits v --size n --by g", "difference --hits v --size n --by g"} {
		if got := len(at(t, result(t, b.String(), args), "groups").([]any)); got != groups {
			t.Errorf("%s: %d groups, want %d", args, got, groups)
		}
	}
}

func TestEveryResultIsJSONWithItsHead(t *testing.T) {
	var out bytes.Buffer
	if err := Run(strings.Fields("adjust --p p -"), Console{Stdin: strings.NewReader("p\n.2\n"), Stdout: &out, Stderr: &out}); err != nil {
		t.Fatal(err)
	}
	var head struct {
		Name    string
		N       int
		Dropped droppedRows
		Groups  []any
	}
	d := json.NewDecoder(&out)
	if err := d.Decode(&head); err != nil || head.Name != "adjust" || head.N != 1 || head.Groups == nil || head.Dropped.First == nil {
		t.Errorf("head %+v, error %v", head, err)
	}
}
