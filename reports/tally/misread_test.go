package tally

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

// fails runs the command, which must fail without printing, and returns how.
func fails(t *testing.T, args, csv string) error {
	t.Helper()
	var out bytes.Buffer
	err := Run(append(strings.Fields(args), "-"), Console{Stdin: strings.NewReader(csv), Stdout: &out, Stderr: &out})
	if err == nil || out.Len() > 0 {
		t.Fatalf("tally %s: error %v beside %q", args, err, &out)
	}
	return err
}

func wantFault(t *testing.T, args, csv, place string) {
	t.Helper()
	err := fails(t, args, csv)
	if _, usage := errors.AsType[*UsageError](err); usage || !strings.Contains(err.Error(), place) {
		t.Errorf("tally %s: error %v, want a fault of the file with %s", args, err, place)
	}
}

func wantUsage(t *testing.T, args, csv string) {
	t.Helper()
	err := fails(t, args, csv)
	if _, usage := errors.AsType[*UsageError](err); !usage {
		t.Errorf("tally %s: error %v, want a *UsageError", args, err)
	}
}

func TestMisreadingFromGradesAlone(t *testing.T) {
	const source = "[R] second EM program on the data of Dawid & Skene 1979; the paper prints .40 .42 .11 .07 [M]"
	got := result(t, data(t, "dawid_skene_anaesthesia.csv"), "misread --item item --rater rater --grade rating")
	compare(t, got, map[string]float64{
		"groups.0.prevalence.0": .3999689976, "groups.0.prevalence.1": .4215763205, "groups.0.prevalence.2": .1117880152, "groups.0.prevalence.3": .0666666667,
		"groups.0.loglik": -190.7309965949, "groups.0.confusion.0.0.0": .907426, "groups.0.confusion.0.2.1": .338786, "groups.0.confusion.4.1.0": .158210,
	}, 1e-6, source)
	for item, class := range map[string]string{"0": "1", "1": "4", "7": "3", "44": "2"} {
		if v := at(t, got, "groups.0.map."+item); v != class {
			t.Errorf("item %s is %v, want %s (%s)", item, v, class, source)
		}
	}
}

func TestPatternsAreItemsCounted(t *testing.T) {
	patterns := "a,b,c,n\n1,1,1,7\n0,0,0,9\n1,0,1,2\n0,0,1,3\n1,1,0,1\n"
	counted := result(t, patterns, "misread --patterns a,b,c --count n")
	var long strings.Builder
	long.WriteString("item,rater,grade\n")
	item := 0
	for _, p := range []struct {
		grades string
		n      int
	}{{"111", 7}, {"000", 9}, {"101", 2}, {"001", 3}, {"110", 1}} {
		for range p.n {
			for k, g := range p.grades {
				long.WriteString("i" + string(rune('A'+item)) + "," + string(rune('a'+k)) + "," + string(g) + "\n")
			}
			item++
		}
	}
	each := result(t, long.String(), "misread --item item --rater rater --grade grade")
	for _, path := range []string{"groups.0.loglik", "groups.0.prevalence.1", "groups.0.confusion.1.0.0", "groups.0.confusion.2.1.1"} {
		compare(t, counted, map[string]float64{path: at(t, each, path).(float64)}, 1e-9, "the same items one by one")
	}
	if at(t, counted, "groups.0.map.0") != "1" || at(t, counted, "groups.0.map.1") != "0" {
		t.Errorf("patterns 111 and 000 are %v", at(t, counted, "groups.0.map"))
	}
}

func TestSharesCorrectedForKnownErrors(t *testing.T) {
	const (
		flags  = "misread --hits y --size n --se-hits a --se-size b --sp-hits c --sp-size d --by id"
		source = "[P] Lang Z, Reiczigel J (2014) Prev Vet Med 113:13-22, examples 1-4 in the documentation of R package asht; further digits and delta limits by formula"
	)
	got := result(t, "id,y,n,a,b,c,d\n1,4060,11284,178,179,358,359\n2,51,2971,32,33,20,20\n3,711.72,11862,8,10,12,12\n4,259,509,84,127,96,109\n5,51,509,23,41,187,195\n", flags)
	compare(t, got, map[string]float64{
		"groups.0.raw": .3600302, "groups.0.lr_low": .3486735, "groups.0.lr_high": .3720830, "groups.0.low": .3496455, "groups.0.high": .3704149,
		"groups.1.estimate": .0177024, "groups.1.lr_low": 0, "groups.1.lr_high": .0533451,
		"groups.2.apparent": .06, "groups.2.lr_low": 0, "groups.2.lr_high": .1466684,
		"groups.3.lr_low": .5848679, "groups.3.lr_high": .8664582,
		"groups.4.lr_low": .0366098, "groups.4.lr_high": .1946941,
	}, 1e-6, source)
	split := result(t, "id,y,n,a,b,c,d\n4,100,200,84,127,96,109\n4,159,309,84,127,96,109\n", flags)
	compare(t, split, map[string]float64{"groups.0.lr_low": .5848679, "groups.0.lr_high": .8664582}, 1e-6, source)

	wantFault(t, flags, "id,y,n,a,b,c,d\n4,1,2,8,10,9,10\n4,1,2,9,10,9,10\n", `line 3, column "a"`)
	wantFault(t, flags, "id,y,n,a,b,c,d\n4,3,2,8,10,9,10\n", `line 2, column "y"`)
	wantUsage(t, "misread --hits y --size n", "y,n\n1,2\n")
	wantUsage(t, "misread --patterns y", "y,n\n1,2\n")
	for _, csv := range []string{"id,y,n,a,b,c,d\n1,1,2,5,10,5,10\n", "id,y,n,a,b,c,d\n1,0,0,8,10,9,10\n"} {
		for _, path := range nulls(result(t, csv, flags), "") {
			t.Errorf("%s is null without a why", path)
		}
	}
	for _, csv := range []string{"i,r,g\n1,x,a\n2,x,b\n", "i,r,g\n1,x,a\n1,y,a\n1,z,a\n2,x,a\n2,y,b\n"} {
		for _, path := range nulls(result(t, csv, "misread --item i --rater r --grade g --levels a,b,c"), "") {
			t.Errorf("%s is null without a why", path)
		}
	}
}
