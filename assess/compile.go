package assess

import (
	"slices"
	"strconv"
)

// maxRows bounds a rule set; the default has under a hundred rows.
const maxRows = 1000

// compiler gathers what is wrong with a rule set.
type compiler struct {
	errs     FieldErrors
	cascades map[string]cascade
	codes    map[string]bool
}

// cascade is a group of alternatives and what they are about.
type cascade struct {
	bit     uint8
	subject subject
}

// subject is what a rule looks at; the rules of one cascade share it.
type subject struct {
	If    Predicate
	check Col
	part  Part
}

func (c *compiler) bad(field, value, want string, err error) {
	c.errs.Add(FieldError{Field: field, Value: value, Want: want, Err: err})
}

// header checks what stands around the rules.
func (c *compiler) header(s *RuleSet) {
	if s.Number < 1 {
		c.bad("/number", strconv.Itoa(s.Number), "a whole number from 1", ErrOutOfRange)
	}
	if _, want := parseDate(s.From); want != "" {
		c.bad("/from", s.From, want, ErrOutOfRange)
	}
	if n := len(s.Rules); n == 0 || n > maxRows {
		c.bad("/rules", strconv.Itoa(n), "1 to "+strconv.Itoa(maxRows)+" rules", ErrOutOfRange)
	}
	p := &s.PossibleFault
	if p.UnderKM < 0 || p.UnderKM > maxKM {
		c.bad("/possible_fault/under_km", strconv.Itoa(p.UnderKM), "0 to "+strconv.Itoa(maxKM), ErrOutOfRange)
	}
	if p.UnderDays < 0 || p.UnderDays > maxDays {
		c.bad("/possible_fault/under_days", strconv.Itoa(p.UnderDays), "0 to "+strconv.Itoa(maxDays), ErrOutOfRange)
	}
	c.places("/possible_fault/surfaces", Surfaces, p.Surfaces)
	c.places("/possible_fault/trail_surfaces", Surfaces, p.TrailSurfaces)
}

// Bounds of a distance and an age in a rule.
const (
	maxKM   = 100_000
	maxDays = 36_525
)

// rule resolves one row.
func (c *compiler) rule(at string, in *Rule) rule {
	r := rule{If: in.If, severity: in.Severity, how: in.How, check: NoCol, part: NoPart}
	if !isKebab(in.Code) {
		c.bad(at+"/code", in.Code, "words of a–z and 0–9 with hyphens between", ErrOutOfRange)
	} else if c.codes[in.Code] {
		c.bad(at+"/code", in.Code, "a code that no other rule has", ErrDuplicateField)
	}
	c.codes[in.Code] = true
	if in.Severity > Retire {
		c.bad(at+"/severity", strconv.Itoa(int(in.Severity)), oneOf(severityWords[:]), ErrOutOfRange)
	}
	if (in.Severity == Recheck) != (in.How == Now || in.How == Later) {
		c.bad(at+"/how", in.How.String(), "now or later with recheck, and nothing otherwise", ErrInconsistent)
	}
	if in.Basis == "" {
		c.bad(at+"/basis", "", "the source, or that there is none", ErrMissingField)
	}
	switch in.Fault {
	case "":
	case FaultStructure:
		r.faulty = faultStructure
	case FaultOutsole:
		r.faulty = faultOutsole
	default:
		c.bad(at+"/fault", in.Fault, FaultStructure+" or "+FaultOutsole, ErrOutOfRange)
	}
	if in.Fault != "" && in.Severity < Replace {
		c.bad(at+"/fault", in.Fault, "replace or retire as the severity", ErrInconsistent)
	}
	spec := in.If.spec()
	if spec == nil {
		names := make([]string, len(predicates))
		for i := range predicates {
			names[i] = string(predicates[i].name)
		}
		c.bad(at+"/if", string(in.If), oneOf(names), ErrOutOfRange)
		return r
	}
	c.params(at, in, spec)
	c.subject(at, in, spec, &r)
	c.thresholds(at, in, spec, &r)
	c.conditions(at, in, &r)
	if in.Cascade != "" {
		r.cascade = c.cascade(at+"/cascade", in.Cascade, subject{in.If, r.check, r.part})
	}
	return r
}

// params checks that the row has the parameters its predicate needs and none
// that it doesn't take.
func (c *compiler) params(at string, in *Rule, spec *predicateSpec) {
	for _, p := range []struct {
		bit param
		key string
		set bool
	}{
		{pCheck, "check", in.Check != ""},
		{pPart, "part", in.Part != ""},
		{pWords, "words", len(in.Words) > 0},
		{pToward, "toward", in.Toward != ""},
		{pAtLeast, "at_least", in.AtLeast != 0},
		{pOver, "over", in.Over != 0},
		{pApart, "apart", in.Apart != 0},
		{pNearEnd, "near_end", in.NearEnd != 0},
		{pTilt, "tilt_at_least", in.TiltAtLeast != 0},
		{pTilt, "tilt_under", in.TiltUnder != 0},
		{pTilt, "untilted", in.Untilted},
		{pBy, "by", len(in.By) > 0},
		{pPhotos, "photos", in.Photos != 0},
		{pPress, "press", in.Press != ""},
		{pSecond, "second", in.Second != ""},
		{pAgain, "again", in.Again != ""},
		{pCategory, "category", in.Category != ""},
		{pRigid, "rigid_counter", in.RigidCounter},
	} {
		switch {
		case p.set && (spec.needs|spec.takes)&p.bit == 0:
			c.bad(at+"/"+p.key, "", "no such parameter with the predicate "+string(in.If), ErrUnknownField)
		case !p.set && spec.needs&p.bit != 0:
			c.bad(at+"/"+p.key, "", "a value: the predicate "+string(in.If)+" needs it", ErrMissingField)
		}
	}
}

// subject resolves what the rule looks at.
func (c *compiler) subject(at string, in *Rule, spec *predicateSpec, r *rule) {
	if in.Check != "" && spec.needs&pCheck != 0 {
		i := slices.IndexFunc(spec.checks, func(k Col) bool { return k.String() == in.Check })
		if i < 0 {
			names := make([]string, len(spec.checks))
			for j, k := range spec.checks {
				names[j] = k.String()
			}
			c.bad(at+"/check", in.Check, oneOf(names), ErrOutOfRange)
		} else {
			r.check = spec.checks[i]
		}
	}
	switch in.If {
	case IfStand:
		r.check = Stand
	case IfTilt:
		r.check = Tilt
	}
	if in.Part != "" && spec.needs&pPart != 0 {
		names := []string{Heel.String(), Midfoot.String(), Forefoot.String(), Toe.String()}
		if i := slices.Index(names, in.Part); i < 0 {
			c.bad(at+"/part", in.Part, oneOf(names), ErrOutOfRange)
		} else {
			r.part = Part(i)
		}
	}
	if r.check < NumCols && len(in.Words) > 0 {
		r.words = c.places(at+"/words", Columns[r.check].Words, in.Words)
	}
	if in.Toward != "" && spec.towards != nil {
		switch slices.Index(spec.towards, in.Toward) {
		case 0:
			r.toward = 1
		case 1:
			r.toward = -1
		default:
			c.bad(at+"/toward", in.Toward, oneOf(spec.towards), ErrOutOfRange)
		}
		if spec.towards[0] == "left" {
			r.toward = -r.toward
		}
	}
}

// thresholds resolves the numbers.
func (c *compiler) thresholds(at string, in *Rule, spec *predicateSpec, r *rule) {
	within := func(key string, h, lo, hi Hundredths, whole bool) {
		if h < lo || h > hi || whole && h%100 != 0 {
			want := "a number"
			if whole {
				want = "a whole number"
			}
			c.bad(at+"/"+key, h.String(), want+" from "+lo.String()+" to "+hi.String(), ErrOutOfRange)
		}
	}
	if in.AtLeast != 0 && spec.needs&pAtLeast != 0 {
		least := Hundredths(1)
		if spec.whole {
			least = 100
		}
		within("at_least", in.AtLeast, least, spec.max, spec.whole)
		r.atLeast = int32(in.AtLeast)
		if spec.whole {
			r.atLeast /= 100
		}
	}
	if in.Over != 0 && spec.needs&pOver != 0 {
		r.over = int64(in.Over)
		switch r.check {
		case ColKM:
			within("over", in.Over, 100, maxKM*100, true)
			r.over /= 100
		case ColBoughtOn:
			within("over", in.Over, 100, maxDays*100, true)
			r.over /= 100
		default:
			within("over", in.Over, 1, 100_000, false)
		}
	}
	degrees := func(key string, h Hundredths) int32 {
		if h != 0 {
			within(key, h, 1, Hundredths(Columns[FlexDeg].Max), false)
		}
		return int32(h)
	}
	r.apart = degrees("apart", in.Apart)
	r.nearEnd, r.hasNear = int64(degrees("near_end", in.NearEnd)), in.NearEnd != 0
	r.tiltAtLeast = degrees("tilt_at_least", in.TiltAtLeast)
	r.tiltUnder = degrees("tilt_under", in.TiltUnder)
	r.untilted = in.Untilted
	if in.Photos != 0 && (in.Photos < Columns[TiltN].Min || in.Photos > Columns[TiltN].Max) {
		c.bad(at+"/photos", strconv.Itoa(in.Photos), "1 to "+strconv.Itoa(Columns[TiltN].Max), ErrOutOfRange)
	}
	r.photos = in.Photos
}

// conditions resolves what must hold besides.
func (c *compiler) conditions(at string, in *Rule, r *rule) {
	if n := btoi(in.TiltAtLeast != 0) + btoi(in.TiltUnder != 0) + btoi(in.Untilted); n > 1 {
		c.bad(at+"/tilt_under", "", "at most one of tilt_at_least, tilt_under and untilted", ErrInconsistent)
	}
	if in.Press != "" {
		if in.If == IfZone && r.part != NoPart && r.part != Heel && r.part != Forefoot {
			c.bad(at+"/press", in.Press, "heel or fore as the part: the thumb presses nowhere else", ErrInconsistent)
		}
		r.press = c.word(at+"/press", pressWords, in.Press)
	}
	r.second = c.word(at+"/second", Columns[SecondSays].Words, in.Second)
	r.again = c.word(at+"/again", yesNo, in.Again)
	r.by = c.places(at+"/by", Columns[TiltBy].Words, in.By)
	if in.Category != "" && in.Category != TrailCategory {
		c.bad(at+"/category", in.Category, TrailCategory, ErrOutOfRange)
	}
	r.trail, r.rigid = in.Category != "", in.RigidCounter
}

// cascade returns the number of a cascade.
func (c *compiler) cascade(field, name string, s subject) uint8 {
	k, known := c.cascades[name]
	switch {
	case !isKebab(name):
		c.bad(field, name, "words of a–z and 0–9 with hyphens between", ErrOutOfRange)
	case known && k.subject != s:
		c.bad(field, name, "rules of one predicate on one check or part: "+string(k.subject.If), ErrInconsistent)
	case !known && len(c.cascades) == maxCascades:
		c.bad(field, name, "at most "+strconv.Itoa(maxCascades)+" cascades", ErrOutOfRange)
	case !known:
		k = cascade{bit: uint8(len(c.cascades) + 1), subject: s}
		c.cascades[name] = k
	}
	return k.bit
}

// word returns the place of a word, Unread for none.
func (c *compiler) word(field string, scale []string, word string) Value {
	if word == "" {
		return Unread
	}
	i := slices.Index(scale, word)
	if i < 0 {
		c.bad(field, word, oneOf(scale), ErrOutOfRange)
		return Unread
	}
	return Of(i)
}

// places returns the places of words, one bit each.
func (c *compiler) places(field string, scale, words []string) uint32 {
	for i, w := range words {
		if !slices.Contains(scale, w) {
			c.bad(field+"/"+strconv.Itoa(i), w, oneOf(scale), ErrOutOfRange)
		}
	}
	return placesOf(scale, words)
}

// placesOf returns the places of the words that are on the scale, one bit each.
func placesOf(scale, words []string) (set uint32) {
	for _, w := range words {
		if i := slices.Index(scale, w); i >= 0 {
			set |= 1 << i
		}
	}
	return set
}

// grades resolves the grade table.
func (c *compiler) grades(in []GradeRow) []gradeRow {
	out := make([]gradeRow, len(in))
	if len(in) == 0 {
		c.bad("/grades", "", "the rows of the grade table", ErrMissingField)
	}
	for i := range in {
		row, at := &in[i], "/grades/"+strconv.Itoa(i)
		if row.Grade == NoGrade || row.Grade > GradeX {
			c.bad(at+"/grade", strconv.Itoa(int(row.Grade)), oneOf(gradeLetters[1:]), ErrOutOfRange)
		}
		if row.ZoneFrom < 0 || row.ZoneTo > maxGrade || row.ZoneFrom > row.ZoneTo {
			c.bad(at+"/zone_to", strconv.Itoa(row.ZoneTo), "0 to 4, from zone_from on", ErrOutOfRange)
		}
		if len(row.Routes) == 0 {
			c.bad(at+"/routes", "", "at least one route", ErrMissingField)
		}
		for j, r := range row.Routes {
			if r <= BackToRunner || r > SealedDisposal {
				c.bad(at+"/routes/"+strconv.Itoa(j), strconv.Itoa(int(r)), oneOf(routeWords[Resale:]), ErrOutOfRange)
			}
		}
		if row.Basis == "" {
			c.bad(at+"/basis", "", "the source, or that there is none", ErrMissingField)
		}
		out[i] = gradeRow{GradeRow: row, hygiene: c.places(at+"/hygiene", Columns[Hygiene].Words, row.Hygiene)}
		for j, v := range row.Verdicts {
			if v == NoVerdict || v > Incomplete {
				c.bad(at+"/verdicts/"+strconv.Itoa(j), strconv.Itoa(int(v)), oneOf(verdictWords[:]), ErrOutOfRange)
			}
			out[i].verdicts |= 1 << v
		}
	}
	return out
}

// nextCheck checks the dated table of next checks.
func (c *compiler) nextCheck(in []NextCheckRow) {
	for i := range in {
		row, at := &in[i], "/next_check/"+strconv.Itoa(i)
		if row.Verdict != Keep && row.Verdict != RecheckPair {
			c.bad(at+"/verdict", row.Verdict.String(), "keep or recheck", ErrOutOfRange)
		}
		if row.KM < 1 || row.KM > maxKM {
			c.bad(at+"/km", strconv.Itoa(row.KM), "1 to "+strconv.Itoa(maxKM), ErrOutOfRange)
		}
		if row.Days < 1 || row.Days > maxDays {
			c.bad(at+"/days", strconv.Itoa(row.Days), "1 to "+strconv.Itoa(maxDays), ErrOutOfRange)
		}
		if row.Basis == "" {
			c.bad(at+"/basis", "", "the source, or that there is none", ErrMissingField)
		}
	}
}

// isKebab reports whether s is made of lower-case words and digits with single
// hyphens between.
func isKebab(s string) bool {
	hyphen := true
	for i := range len(s) {
		switch b := s[i]; {
		case b == '-' && hyphen:
			return false
		case b == '-':
			hyphen = true
		case b >= 'a' && b <= 'z', b >= '0' && b <= '9':
			hyphen = false
		default:
			return false
		}
	}
	return !hyphen
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
