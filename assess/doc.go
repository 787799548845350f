// Package assess reads a pair of worn running shoes: what was found by hand
// goes in, a verdict with its reasons, the wear pattern and the grade at
// hand-over come out. It is pure: no I/O, no clock, no database, the standard
// library only. The server and the browser (GOOS=js GOARCH=wasm) run the very
// same engine, and a golden file holds both to the same bytes.
//
// # Model
//
// A [Reading] holds two [Shoe]s of [Value]s, one a column, and what is read
// once for the pair. [Columns] is the one table of all that can be read; CSV,
// JSON, pages and rules go by it. A Value is a whole number, unread, or "can't
// read", and the three never stand for one another: absent is never zero.
// [AsNew] is what the shoe model is like out of the box. A zone that was built
// without rubber or pattern is neither graded nor unread.
//
// A [RuleSet] is data: a table of [Rule]s, each a [Predicate] out of a closed
// list with thresholds, a severity and a stable code, then limits, grades and
// next checks. [Compile] checks it and makes an [Engine]; [Default] is the one
// of [DefaultRules]. [Engine.Judge] fills a [Result]: findings worst first, what
// is unread most decisive first, patterns, flags, grade and route. What a runner
// hears comes afterwards from the word catalogue, by [Sentence].
//
// # Verdict
//
// The verdict is the highest severity over the left shoe, the right shoe and
// the pair: keep, recheck (now or later), replace, retire. Keep and recheck
// become incomplete while a needed check is unread. [CheckGiven] says what may
// be given in place of what is advised.
//
// # Units and numbers
//
// Grades are 0–4; angles hundredths of a degree, in (medial) positive; depths
// and durometer values tenths; distance whole km; age whole days; money minor
// units. No floating point decides anything: means and indices are fractions
// ([Ratio]), thresholds are [Hundredths], and the 95 % interval of a tilt is
// compared as 100·tilt − 196·u in whole numbers.
//
// # Laws
//
// Property tests hold the default rules to these:
//
//   - Mirroring the pair and swapping its shoes swaps left and right in the
//     findings and changes nothing else.
//   - Making a grade, depth, press, lining, squeeze, bond, |tilt| at fixed
//     uncertainty or single-shoe band worse never improves the verdict.
//   - The order of entry never matters, nor what a Result held before.
//   - Unread never hides replace or retire. The worse shoe decides.
//   - Mesh, creases, inserts and what is said of pain change no verdict;
//     distance and age are never more than a note.
//   - Patterns and indices are those of their definitions in exact arithmetic.
//
// # Choices where the trade leaves room
//
//   - A zone whose grade is unread but whose depth and as-new depth are known
//     has the depth's grade, 0 to 2, and counts as read. Beside a grade, a depth
//     that is gone says "2 or worse" and contradicts only 0.
//   - Rules take the tilt less its as-new tilt; a tilt without a method counts
//     as by eye, one without an uncertainty never replaces by itself.
//   - A second reader who agrees on a tilt settles it as three photos do; one who
//     differs settles nothing without a measured tilt under 2°.
//   - The more worn shoe has the higher mean wear over the heel and forefoot
//     zones read on both shoes.
//   - A refused pair is grade X whatever its reading; the other grades that keep
//     a shoe in use need the hygiene check. A plate is kept and shown, and no
//     rule of set 1 goes by it.
//   - [Engine.Margin] says what a single step is.
//
// # Sources
//
// Every rule carries its basis. Most are common practice or house values and
// say so. Bands of bend and twist: Barton, Bonanno & Menz 2009. Symmetry index:
// Robinson, Herzog & Nigg 1987. What a person can read of an angle: Haight et
// al. 2005. Grip of smooth patches: Beschorner et al. 2020, on work shoes.
//
// # Adding a rule
//
// Add a row to the table in rules.go and its sentence to each language in
// words_en.go and words_es.go; tests name what is missing, a row of rules_test.go
// included. A retailer's own rule set needs no code: see [ParseRuleSet].
//
// # Adding a check
//
// Add a constant and a row to column.go, label and help to the words, and a
// rule. CSV, JSON, pages and the engine follow the table. A test that no
// predicate can make takes a new one: a row in predicate.go and its case in
// judge.go.
package assess
