package assess

import "strconv"

// ratioDecimals is how many decimals an index is written with.
const ratioDecimals = 4

// AppendResult appends r as JSON to dst: what every surface answers with.
//
//	{"verdict", "how", "findings": [{"check", "shoe", "zone", "severity", "how",
//	"code", "values": {}}], "unread": [{"shoe", "check"}], "pattern": {"left":
//	{"heel", "fore", "ml_heel", "ml_fore", "centre_heel", "centre_fore",
//	"fore_aft"}, "right": {…}, "pair": {"heel", "fore", "side", "decided_by"}},
//	"margin", "flags": [], "grade", "route", "rules", "engine"}
//
// Every member is always there; what is absent is null. The zone is a part
// (heel, mid, fore, toe) where a finding is about one. Values hold a number or
// the column's word. Indices are rounded to four decimals from exact fractions.
func AppendResult(dst []byte, r *Result) []byte {
	dst = append(dst, '{')
	dst = appendWord(dst, "verdict", r.Verdict.String())
	dst = appendWord(dst, "how", r.How.String())
	dst = append(appendName(dst, "findings"), '[')
	for i := range r.Findings {
		dst = appendFinding(appendComma(dst, i), &r.Findings[i])
	}
	dst = append(appendName(append(dst, ']'), "unread"), '[')
	for i, m := range r.Unread {
		dst = append(appendComma(dst, i), '{')
		dst = appendWord(dst, "shoe", m.Shoe.String())
		dst = append(appendWord(dst, "check", m.Check.String()), '}')
	}
	dst = append(appendName(append(dst, ']'), "pattern"), '{')
	for f := Left; f <= Right; f++ {
		dst = appendShoePattern(appendName(dst, f.String()), &r.Pattern.Shoe[f])
	}
	dst = append(appendName(dst, Both.String()), '{')
	dst = appendWord(dst, "heel", r.Pattern.Heel.String())
	dst = appendWord(dst, "fore", r.Pattern.Fore.String())
	dst = appendWord(dst, "side", r.Pattern.Side.String())
	decided := ""
	if r.Pattern.DecidedBy != Both {
		decided = r.Pattern.DecidedBy.String()
	}
	dst = append(appendWord(dst, "decided_by", decided), '}', '}')
	dst = appendName(dst, "margin")
	if r.Margin == 0 {
		dst = append(dst, "null"...)
	} else {
		dst = strconv.AppendInt(dst, int64(r.Margin), 10)
	}
	dst = appendWords(appendName(dst, "flags"), string(appendSet(nil, FlagWords, uint64(r.Flags))))
	dst = appendWord(dst, "grade", r.Grade.String())
	dst = appendWord(dst, "route", r.Route.String())
	dst = strconv.AppendInt(appendName(dst, "rules"), int64(r.Rules), 10)
	return append(appendWord(dst, "engine", EngineVersion), '}')
}

// appendFinding appends one finding.
func appendFinding(dst []byte, f *Finding) []byte {
	dst = append(dst, '{')
	dst = appendWord(dst, "check", f.Check.String())
	dst = appendWord(dst, "shoe", f.Shoe.String())
	dst = appendWord(dst, "zone", f.Where())
	dst = appendWord(dst, "severity", f.Severity.String())
	dst = appendWord(dst, "how", f.How.String())
	dst = appendWord(dst, "code", f.Code)
	dst = append(appendName(dst, "values"), '{')
	for _, u := range f.Values[:f.NUsed] {
		dst = appendUsed(appendName(dst, u.Key()), u)
	}
	return append(dst, '}', '}')
}

// appendUsed appends a value as a number or as its word.
func appendUsed(dst []byte, u Used) []byte {
	words, n := u.Words(), u.V.Int()
	switch {
	case !u.V.OK():
		return append(append(append(append(dst, '"'), cantPrefix...), cantWords[u.V]...), '"')
	case u.Col < NumCols && u.As != OfIndex && (Columns[u.Col].Kind == Grade && words != nil || Columns[u.Col].Kind == Side):
		return strconv.AppendInt(dst, int64(n), 10)
	case n >= 0 && n < len(words):
		return appendQuoted(dst, words[n])
	}
	return appendDecimal(dst, n, u.Decimals())
}

// appendShoePattern appends the pattern of one shoe.
func appendShoePattern(dst []byte, p *ShoePattern) []byte {
	dst = append(dst, '{')
	dst = appendWord(dst, "heel", p.Heel.String())
	dst = appendWord(dst, "fore", p.Fore.String())
	dst = p.MLHeel.appendTo(appendName(dst, "ml_heel"))
	dst = p.MLFore.appendTo(appendName(dst, "ml_fore"))
	dst = p.CentreHeel.appendTo(appendName(dst, "centre_heel"))
	dst = p.CentreFore.appendTo(appendName(dst, "centre_fore"))
	return append(p.ForeAft.appendTo(appendName(dst, "fore_aft")), '}')
}

// appendTo appends the ratio to four decimals, halves away from zero, or null.
func (r Ratio) appendTo(dst []byte) []byte {
	num, den := int64(r.Num), int64(r.Den)
	if den == 0 {
		return append(dst, "null"...)
	}
	if den < 0 {
		num, den = -num, -den
	}
	scaled := num
	for range ratioDecimals {
		scaled *= 10
	}
	return appendDecimal(dst, roundDiv(int(scaled), int(den)), ratioDecimals)
}

// appendWord appends a member that is a word, null where it is empty.
func appendWord(dst []byte, name, word string) []byte {
	dst = appendName(dst, name)
	if word == "" {
		return append(dst, "null"...)
	}
	return appendQuoted(dst, word)
}

// appendComma appends a comma before every element but the first.
func appendComma(dst []byte, i int) []byte {
	if i > 0 {
		dst = append(dst, ',')
	}
	return dst
}

// AppendProblems appends a list of problems as JSON to dst: an array of
// {"pointer", "value", "message"}, the value null where nothing stood there.
func AppendProblems(dst []byte, errs FieldErrors) []byte {
	dst = append(dst, '[')
	for i, e := range errs {
		dst = append(appendComma(dst, i), '{')
		dst = append(appendQuoted(append(dst, `"pointer":`...), e.Field), ',')
		dst = appendQuoted(append(dst, `"value":`...), e.Value)
		dst = append(appendWord(dst, "message", e.Reason()), '}')
	}
	return append(dst, ']')
}
