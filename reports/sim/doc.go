// Package sim simulates a running retailer whose truth is known: stores and the
// people at their benches, a catalogue, runners, their pairs, every reading of
// them, fittings, sales and offers. It feeds the demo, the scale tests and the
// study of how well the statistics find what is there.
//
// # What is true
//
// Every pair has a true state at every distance. Rubber goes at a rate by model,
// gait, foot strike, surface and use, times a runner's factor (log SD 0.40), a
// side's (0.15) and a zone's (0.10); the counter's tilt grows with a heavy tail;
// lining, bond, squeeze, foam and bending follow Weibull lives of the model. The
// true life of a pair is the distance at which its true state first meets a
// replace rule of the default rule set (assess.DefaultRules): by construction a
// perfect reader replaces at that distance and not before.
//
// # What is recorded
//
// People read the state with their own errors: grades one step off, words one
// step off, tilt with 1.0° of noise and an own offset of 1.25° (1.6° in all).
// They leave checks out, can't read some, and ask a second reader about a lean.
// Runners tell a distance by round numbers, in miles in two regions of four, or
// not at all. Pairs come by schedule, because they feel finished (which depends
// on wear), for an offer, to a race weekend, or when they are given up; one pair
// is seen up to six times, and many that are sold are never seen.
//
// Numbers marked as house assumptions have no published source; where there is
// one it stands beside the number.
//
// # Same seed, same data
//
// Everything is drawn from SplitMix64 streams keyed by seed, runner, pair and
// visit, in whole numbers: a pair is a function of its key and can be built again
// at any time. Iterators stream in order of time (UTC) and hold one small entry a
// runner, so a million inspections take the memory of their runners. A fleet with
// more inspections has the same first runners with the same records. Stores,
// staff, catalogue and their truth don't depend on the seed, so replicates under
// many seeds share one truth. Judged fields (Options.Judge) also depend on the
// rules and the engine of package assess.
//
// Opening hours are 10:00–17:45 in the standard time of the store's zone, Sundays
// closed, so that the data needs no time zone database; an open day lies within
// one UTC day.
//
// # Planted problems
//
// With Options.Plant, three problems are in the data for pages to find.
// Fleet.Plants says where; with the default options they are:
//
//   - A batch that fails early: E2502 of Hodrumel Trolmune 1. In 55 % of its
//     pairs the bond of one shoe parts at a Weibull life with scale 150 km and
//     shape 1.6. About half of its pairs have a true life under 250 km, where
//     about 12 % of all others do; read under 250 km, the bond is parted in about
//     35 % against 3 %. Some 260 of its pairs are seen in 20,000 inspections.
//   - A store that reads hard: E3. Its people grade a zone one too worn with 32
//     points more chance and a word with 9, and see 0.8° more lean than there is.
//     It says replace or retire in about 38 % of readings against 28 % elsewhere,
//     though as many of its pairs are truly worn as elsewhere (29 % and 28 %).
//   - A model that wears its inner forefoot under pronated feet: Siltrune
//     Klombisk 1. Under pronated and highly pronated gait the inner forefoot wears
//     2.3 times as fast. About 53 % of its readings under an observed pronated
//     gait have a medial forefoot pattern; 11 % of other models' do, and 4–5 % of
//     its own under the other gaits.
//
// Without Plant the same batch, store and model are there and are like the rest;
// all other pairs are the same, but for runners whose visits move because a pair
// of theirs fails earlier.
package sim
