package stats

import (
	"errors"
	"fmt"
	"math"
)

// Reason says why a statistic has no value for otherwise well-formed input:
// nothing happened, one group only, perfect separation. It is an answer, not
// a fault: the page prints it where the number would stand.
//
// Every function of this package that can fail to estimate returns a *Reason
// (as error); it never returns NaN, an infinity or a made-up number instead.
type Reason struct {
	// Code is a stable word for programs, for example "no-events".
	Code string
	// Detail is one plain clause for people, without a final stop.
	Detail string
}

func (r *Reason) Error() string { return r.Detail }

// Is makes errors.Is(err, ErrNoEvents) true for any reason of that code,
// whatever its detail.
func (r *Reason) Is(target error) bool {
	t, ok := target.(*Reason)
	return ok && t.Code == r.Code
}

// because returns a copy of r with its own detail.
func (r *Reason) because(format string, args ...any) *Reason {
	return &Reason{Code: r.Code, Detail: fmt.Sprintf(format, args...)}
}

// Reasons that several statistics share. A statistic's file may add its own.
var (
	ErrEmpty      = &Reason{"empty", "there is nothing to count"}
	ErrOneGroup   = &Reason{"one-group", "fewer than two groups hold data"}
	ErrNoEvents   = &Reason{"no-events", "no event was seen"}
	ErrNoSpread   = &Reason{"no-spread", "all values are equal"}
	ErrNotReached = &Reason{"not-reached", "the data end before this point is reached"}
	ErrSeparation = &Reason{"separation", "a group has only events or none, so its effect has no finite estimate"}
	ErrNoMaximum  = &Reason{"no-maximum", "the likelihood has no maximum"}

	// ErrBeyondNumbers may come from any statistic of measured values, beside
	// the errors that it names.
	ErrBeyondNumbers = &Reason{"beyond-numbers", "the values are so large that the result is beyond what a number holds"}
)

// finite says whether every value is a number, neither infinite nor NaN.
func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// ErrBadInput marks input that breaks a function's stated preconditions
// (lengths differ, a count below zero, a probability outside 0–1). Wrapped
// errors name the argument, the value and what is allowed.
var ErrBadInput = errors.New("bad input")

// badInput wraps ErrBadInput with what was wrong.
func badInput(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrBadInput, fmt.Sprintf(format, args...))
}

// isReason says whether err is an answer (a statistic without value) rather
// than a fault of the input.
func isReason(err error) bool {
	_, ok := errors.AsType[*Reason](err)
	return ok
}
