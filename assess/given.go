package assess

import (
	"errors"
	"strings"
)

// What can be wrong with a given verdict.
var (
	// ErrNotGiven marks a reading whose fitter said nothing.
	ErrNotGiven = errors.New("no verdict is given")
	// ErrKeepUnfinished marks a keep although a needed check is unread.
	ErrKeepUnfinished = errors.New("a reading that is not finished can't be given as keep: read what is missing")
	// ErrNeedsReason marks less than advised without a reason.
	ErrNeedsReason = errors.New("giving less than advised needs a reason")
	// ErrNeedsSecond marks less than an advised replace or retire that one
	// person alone decided.
	ErrNeedsSecond = errors.New("giving less than replace or retire needs a second person")
	// ErrNeedsCoReader marks a trainee's keep without a co-reader.
	ErrNeedsCoReader = errors.New("a trainee's keep needs a co-reader")
)

// Giving is who gives a verdict, and with whom.
type Giving struct {
	// Trainee says that the reader is a trainee.
	Trainee bool
	// Second says that a second person took part: the second reader or, for a
	// trainee, the co-reader.
	Second bool
	// Reason is what the fitter wrote.
	Reason string
}

// CheckGiven says whether a verdict may be given to the runner in place of the
// advised one. A fitter may always give more. Less than advised takes a reason;
// less than an advised replace or retire takes a second person besides. A
// reading that is not finished is never given as keep, and a trainee's keep
// needs a co-reader. The error joins everything that is missing and is nil
// where nothing is. Common practice, no source.
func CheckGiven(advised, given Verdict, by Giving) error {
	if given == NoVerdict {
		return ErrNotGiven
	}
	var errs []error
	if advised == Incomplete && given == Keep {
		errs = append(errs, ErrKeepUnfinished)
	}
	if GivenLess(advised, given) && strings.TrimSpace(by.Reason) == "" {
		errs = append(errs, ErrNeedsReason)
	}
	if undoes(advised, given) && !by.Second {
		errs = append(errs, ErrNeedsSecond)
	}
	if coRead(given, by.Trainee) && !by.Second {
		errs = append(errs, ErrNeedsCoReader)
	}
	return errors.Join(errs...)
}

// SecondNeeded reports whether a verdict takes a second person to be given: one
// that undoes an advised replace or retire, or a trainee's keep.
func SecondNeeded(advised, given Verdict, trainee bool) bool {
	return undoes(advised, given) || coRead(given, trainee)
}

// undoes reports whether less is given than an advised replace or retire.
func undoes(advised, given Verdict) bool {
	return GivenLess(advised, given) && advised >= ReplacePair
}

// coRead reports whether a verdict is a trainee's keep.
func coRead(given Verdict, trainee bool) bool { return given == Keep && trainee }

// GivenLess reports whether less was given than advised, in the order keep,
// recheck, replace, retire. A reading that is not finished advises nothing that
// can be undercut, and leaves an advised replace or retire undone.
func GivenLess(advised, given Verdict) bool {
	switch {
	case advised == NoVerdict || advised == Incomplete || given == NoVerdict:
		return false
	case given == Incomplete:
		return advised >= ReplacePair
	}
	return given < advised
}

// AsideFlags returns the flags that follow from what was said and when, and not
// from what was read: less given than advised, gait recorded after the wear.
func (r *Record) AsideFlags() Flags {
	var f Flags
	if GivenLess(r.Advised, r.Given) {
		f |= FlagGivenLess
	}
	if r.GaitBefore.Is(No) {
		f |= FlagGaitAfter
	}
	return f
}
