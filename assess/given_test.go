package assess

import (
	"errors"
	"testing"
)

func TestGivenVerdict(t *testing.T) {
	const source = "common practice, no source [P]"
	why := Giving{Reason: "runs on a treadmill only"}
	both := Giving{Reason: "seen by two", Second: true}
	for _, tc := range []struct {
		name           string
		advised, given Verdict
		by             Giving
		want           []error
	}{
		{"as advised", ReplacePair, ReplacePair, Giving{}, nil},
		{"more than advised", Keep, RetirePair, Giving{}, nil},
		{"replace for recheck", RecheckPair, ReplacePair, Giving{}, nil},
		{"nothing", Keep, NoVerdict, Giving{}, []error{ErrNotGiven}},
		{"keep for replace, alone and without a word", ReplacePair, Keep, Giving{}, []error{ErrNeedsReason, ErrNeedsSecond}},
		{"keep for replace, alone", ReplacePair, Keep, why, []error{ErrNeedsSecond}},
		{"keep for replace, two without a word", ReplacePair, Keep, Giving{Second: true}, []error{ErrNeedsReason}},
		{"keep for replace, two without more than blanks", ReplacePair, Keep, Giving{Second: true, Reason: " \t"}, []error{ErrNeedsReason}},
		{"keep for replace, two with a reason", ReplacePair, Keep, both, nil},
		{"recheck for replace, alone", ReplacePair, RecheckPair, why, []error{ErrNeedsSecond}},
		{"replace for retire, alone", RetirePair, ReplacePair, why, []error{ErrNeedsSecond}},
		{"unfinished for replace, alone", ReplacePair, Incomplete, why, []error{ErrNeedsSecond}},
		{"keep for recheck without a word", RecheckPair, Keep, Giving{}, []error{ErrNeedsReason}},
		{"keep for recheck, alone", RecheckPair, Keep, why, nil},
		{"keep for unfinished", Incomplete, Keep, both, []error{ErrKeepUnfinished}},
		{"recheck for unfinished", Incomplete, RecheckPair, Giving{}, nil},
		{"unfinished as it is", Incomplete, Incomplete, Giving{}, nil},
		{"replace for unfinished", Incomplete, ReplacePair, Giving{}, nil},
		{"a trainee's keep alone", Keep, Keep, Giving{Trainee: true}, []error{ErrNeedsCoReader}},
		{"a trainee's keep with a co-reader", Keep, Keep, Giving{Trainee: true, Second: true}, nil},
		{"a trainee's replace alone", ReplacePair, ReplacePair, Giving{Trainee: true}, nil},
		{"a trainee's keep for replace alone", ReplacePair, Keep, Giving{Trainee: true}, []error{ErrNeedsReason, ErrNeedsSecond, ErrNeedsCoReader}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			err := CheckGiven(tc.advised, tc.given, tc.by)
			if (err == nil) != (tc.want == nil) {
				t.Errorf("got %v, want %v (%s)", err, tc.want, source)
			}
			for _, is := range []error{ErrNotGiven, ErrKeepUnfinished, ErrNeedsReason, ErrNeedsSecond, ErrNeedsCoReader} {
				wanted := false
				for _, w := range tc.want {
					wanted = wanted || w == is
				}
				if errors.Is(err, is) != wanted {
					t.Errorf("got %v, want %v (%s)", err, tc.want, source)
				}
			}
		})
	}
}

func TestGivenLess(t *testing.T) {
	for advised := Keep; advised <= RetirePair; advised++ {
		for given := Keep; given <= RetirePair; given++ {
			if got := GivenLess(advised, given); got != (given < advised) {
				t.Errorf("%v for %v: %v", given, advised, got)
			}
		}
		if got := GivenLess(advised, Incomplete); got != (advised >= ReplacePair) {
			t.Errorf("not finished for %v: %v", advised, got)
		}
		if GivenLess(Incomplete, advised) || GivenLess(NoVerdict, advised) || GivenLess(advised, NoVerdict) {
			t.Errorf("%v against nothing is less", advised)
		}
	}
}
