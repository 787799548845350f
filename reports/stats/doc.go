// Package stats holds the statistics of the fleet: one statistic a file,
// its definition, source and edge cases in the doc comment, its check values
// with their source in the test beside it.
//
// # Conventions
//
// The unit of observation is the pair of shoes unless a function says
// otherwise. Distances are whole kilometres, so data reduce to counts on
// distinct values first; every function takes such counts (or a frequency
// beside each value) and its cost grows with distinct values.
//
// An interval observation of life is (lower, upper]: lower is the last
// distance seen sound, upper the first seen worn. lower = 0 means worn at the
// first look, upper = +Inf means sound so far, lower = upper an exact value.
// At equal times events come before censorings.
//
// Confidence levels are given as conf in (0, 1), for example 0.95. Random
// parts take a seed and give the same answer for the same seed.
//
// A statistic that cannot be estimated returns a *Reason, input that breaks a
// precondition an error wrapping ErrBadInput. Nothing returns NaN. Results do
// not depend on the order of rows or the naming of groups.
//
// # Speed
//
// Upper bounds in seconds on two cores shared with other work, in November
// 2026, by
//
//	go test ./reports/stats -run '^$' -bench . -benchtime 1x
//
//	Kaplan–Meier of 10 million rows                          0.20
//	log-rank of 10 million rows in 12 groups                 0.26
//	NPMLE of a million interval rows on a 10 km grid         0.13
//	the same on a 1 km grid                                  0.91
//	NPMLE of 10,000 unrounded interval rows                  0.03
//	Weibull life of a million rows, reduced                  0.06 (mean of three)
//	NPMLE band of a million rows, 500 resamples              2.5  (mean of three)
//	Krippendorff's alpha of a million grades, 2,000 resamples 0.10
//	share of 250,000 runners, 2,000 resamples                0.05
//
// The package imports the standard library and gonum only.
package stats
