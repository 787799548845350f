// Package wear answers what people ask about the fleet: which share of pairs
// wears how, what goes with what, how long pairs last, what moves, and what to
// look at first. An answer of [Shares], [Association], [Life], [Trend] and
// [Stores] is the object that `solewright tally` prints for `export pairs`: the
// same function over the same pairs, here counted in the fleet in memory.
//
// The unit is the pair, at its last reading. What is absent is dropped and
// counted, never taken for a word of its own.
package wear
