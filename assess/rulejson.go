package assess

// ruleMembers are the members of a rule's JSON.
var ruleMembers = []member[Rule]{
	need(textMember("code", func(r *Rule) *string { return &r.Code })),
	need(textMember("if", func(r *Rule) *string { return (*string)(&r.If) })),
	need(wordMember("severity", severityWords[:], func(r *Rule) *Severity { return &r.Severity })),
	wordMember("how", howWords[:], func(r *Rule) *How { return &r.How }),
	textMember("cascade", func(r *Rule) *string { return &r.Cascade }),
	textMember("fault", func(r *Rule) *string { return &r.Fault }),
	need(textMember("basis", func(r *Rule) *string { return &r.Basis })),
	textMember("check", func(r *Rule) *string { return &r.Check }),
	textMember("part", func(r *Rule) *string { return &r.Part }),
	wordsMember("words", func(r *Rule) *[]string { return &r.Words }),
	textMember("toward", func(r *Rule) *string { return &r.Toward }),
	numberMember("at_least", 2, func(r *Rule) *Hundredths { return &r.AtLeast }),
	numberMember("over", 2, func(r *Rule) *Hundredths { return &r.Over }),
	numberMember("apart", 2, func(r *Rule) *Hundredths { return &r.Apart }),
	numberMember("near_end", 2, func(r *Rule) *Hundredths { return &r.NearEnd }),
	numberMember("tilt_at_least", 2, func(r *Rule) *Hundredths { return &r.TiltAtLeast }),
	numberMember("tilt_under", 2, func(r *Rule) *Hundredths { return &r.TiltUnder }),
	flagMember("untilted", func(r *Rule) *bool { return &r.Untilted }),
	wordsMember("by", func(r *Rule) *[]string { return &r.By }),
	numberMember("photos", 0, func(r *Rule) *int { return &r.Photos }),
	textMember("press", func(r *Rule) *string { return &r.Press }),
	textMember("second", func(r *Rule) *string { return &r.Second }),
	textMember("again", func(r *Rule) *string { return &r.Again }),
	textMember("category", func(r *Rule) *string { return &r.Category }),
	flagMember("rigid_counter", func(r *Rule) *bool { return &r.RigidCounter }),
}

var faultMembers = []member[FaultLimits]{
	numberMember("under_km", 0, func(l *FaultLimits) *int { return &l.UnderKM }),
	numberMember("under_days", 0, func(l *FaultLimits) *int { return &l.UnderDays }),
	wordsMember("surfaces", func(l *FaultLimits) *[]string { return &l.Surfaces }),
	wordsMember("trail_surfaces", func(l *FaultLimits) *[]string { return &l.TrailSurfaces }),
	need(textMember("basis", func(l *FaultLimits) *string { return &l.Basis })),
}

var gradeMembers = []member[GradeRow]{
	need(wordMember("grade", gradeLetters[:], func(g *GradeRow) *GradeLetter { return &g.Grade })),
	listMember("verdicts", func(g *GradeRow) *[]Verdict { return &g.Verdicts }, wordMember("", verdictWords[:], itself[Verdict])),
	wordMember("how", howWords[:], func(g *GradeRow) *How { return &g.How }),
	numberMember("zone_from", 0, func(g *GradeRow) *int { return &g.ZoneFrom }),
	numberMember("zone_to", 0, func(g *GradeRow) *int { return &g.ZoneTo }),
	wordsMember("hygiene", func(g *GradeRow) *[]string { return &g.Hygiene }),
	need(listMember("routes", func(g *GradeRow) *[]Route { return &g.Routes }, wordMember("", routeWords[:], itself[Route]))),
	need(textMember("basis", func(g *GradeRow) *string { return &g.Basis })),
}

var nextCheckMembers = []member[NextCheckRow]{
	need(wordMember("verdict", verdictWords[:], func(n *NextCheckRow) *Verdict { return &n.Verdict })),
	textMember("category", func(n *NextCheckRow) *string { return &n.Category }),
	need(numberMember("km", 0, func(n *NextCheckRow) *int { return &n.KM })),
	need(numberMember("days", 0, func(n *NextCheckRow) *int { return &n.Days })),
	need(textMember("basis", func(n *NextCheckRow) *string { return &n.Basis })),
}

var ruleSetMembers = []member[RuleSet]{
	numberMember("number", 0, func(s *RuleSet) *int { return &s.Number }),
	need(textMember("from", func(s *RuleSet) *string { return &s.From })),
	need(rowsMember("rules", func(s *RuleSet) *[]Rule { return &s.Rules }, ruleMembers)),
	need(rowMember("possible_fault", func(s *RuleSet) *FaultLimits { return &s.PossibleFault }, faultMembers)),
	need(rowsMember("grades", func(s *RuleSet) *[]GradeRow { return &s.Grades }, gradeMembers)),
	rowsMember("next_check", func(s *RuleSet) *[]NextCheckRow { return &s.NextCheck }, nextCheckMembers),
}

// ParseRuleSet reads a rule set from JSON and checks it as Compile does. It is
// strict: an unknown member, a word outside its list or a threshold out of
// bounds is an error with its JSON pointer, the value and what is allowed; all
// of them are reported at once, as FieldErrors.
func ParseRuleSet(text []byte) (*RuleSet, error) {
	s, err := decodeMembers(text, ruleSetMembers)
	if err != nil {
		return nil, err
	}
	if _, err := Compile(s); err != nil {
		return nil, err
	}
	return s, nil
}

// MarshalJSON writes s with its members in a fixed order, so that equal sets
// are equal bytes.
func (s RuleSet) MarshalJSON() ([]byte, error) { return writeMembers(nil, ruleSetMembers, &s), nil }

// UnmarshalJSON reads what MarshalJSON writes, as strictly as ParseRuleSet but
// without compiling it: a draft has no number yet.
func (s *RuleSet) UnmarshalJSON(text []byte) error {
	v, err := decodeMembers(text, ruleSetMembers)
	if err == nil {
		*s = *v
	}
	return err
}
