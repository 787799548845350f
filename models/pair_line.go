package models

import "solewright/assess"

// PairLines is the CSV of [PairLine]: what export pairs writes and tally reads.
var PairLines = assess.NewTable(pairLineFields(), nil, "pair_ref")

func pairLineFields() []assess.Field[PairLine] {
	type line = PairLine
	const longest = 300 // characters of a text; what was typed is shorter
	return []assess.Field[line]{
		assess.PairRefs("pair_ref", func(l *line) *string { return &l.Ref }),
		assess.Text("model", longest, func(l *line) *string { return &l.Model }),
		assess.Text("category", longest, func(l *line) *string { return &l.Category }),
		assess.Text("batch", longest, func(l *line) *string { return &l.Batch }),
		assess.Words("gait", assess.GaitWords, func(l *line) *assess.Value { return &l.Gait }),
		assess.Words("posture", assess.GaitWords, func(l *line) *assess.Value { return &l.Posture }),
		assess.Words("strike", assess.StrikeWords, func(l *line) *assess.Value { return &l.Strike }),
		assess.Words("surface", assess.Surfaces, func(l *line) *assess.Value { return &l.Surface }),
		assess.Words("used_for", assess.UsedForWords, func(l *line) *assess.Value { return &l.UsedFor }),
		assess.Text("store", longest, func(l *line) *string { return &l.Store }),
		assess.Text("month", longest, func(l *line) *string { return &l.Month }),
		assess.Text("runner_key", longest, func(l *line) *string { return &l.RunnerKey }),
		assess.Enum("kind", assess.KindWords, func(l *line) *assess.RecordKind { return &l.Kind }),
		assess.Enum("pattern_heel", wordsOf(assess.MixedWear), func(l *line) *assess.Pattern { return &l.Heel }),
		assess.Enum("pattern_fore", wordsOf(assess.MixedWear), func(l *line) *assess.Pattern { return &l.Fore }),
		assess.Enum("side", wordsOf(assess.RightMore), func(l *line) *assess.MoreWorn { return &l.Side }),
		assess.Measured("lower", "km", 0, maxLifeKM, 0, func(l *line) *assess.Value { return &l.Lower }),
		assess.Measured("upper", "km", 0, maxLifeKM, 0, func(l *line) *assess.Value { return &l.Upper }),
		assess.Enum("verdict", wordsOf(assess.Incomplete), func(l *line) *assess.Verdict { return &l.Verdict }),
		assess.Text("reason", longest, func(l *line) *string { return &l.Reason }),
	}
}

// maxLifeKM is the largest distance that a reading can hold, in whole km.
const maxLifeKM = 200_000

// wordsOf returns the words of a closed list from its zero value to the last.
func wordsOf[E interface {
	~uint8
	String() string
}](last E) []string {
	var all []string
	for e := E(0); e <= last; e++ {
		all = append(all, e.String())
	}
	return all
}
