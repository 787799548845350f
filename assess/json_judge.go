package assess

// question is what JudgeJSON is asked.
type question struct {
	reading Record
	asNew   *AsNew
	rules   *RuleSet
}

var questionMembers = []member[question]{
	need(member[question]{name: "reading", read: func(j *jsonReader, at string, q *question) {
		recordObject.read(j, &q.reading, at)
	}}),
	{name: "as_new", read: func(j *jsonReader, at string, q *question) {
		if j.peek() == 'n' {
			j.literal()
			return
		}
		q.asNew = new(AsNew)
		asNewObject.read(j, q.asNew, at)
	}},
	{name: "rules", read: func(j *jsonReader, at string, q *question) {
		if j.peek() == 'n' {
			j.literal()
			return
		}
		q.rules = new(RuleSet)
		readMembers(j, at, ruleSetMembers, q.rules)
	}},
}

// JudgeJSON answers {"reading": {…}, "as_new": {…} or null, "rules": {…} or
// null} with the object of AppendResult, margin included, or with {"errors":
// […]}, the problems of AppendProblems. Without as_new the model is unknown;
// without rules the default set judges.
func JudgeJSON(text []byte) []byte {
	q, err := decodeMembers(text, questionMembers)
	engine := Default()
	if err == nil && q.rules != nil {
		engine, err = Compile(q.rules)
	}
	if err != nil {
		errs, _ := err.(FieldErrors)
		if q != nil {
			for i := range errs {
				errs[i].Field = "/rules" + errs[i].Field
			}
		}
		return append(AppendProblems([]byte(`{"errors":`), errs), '}')
	}
	var result Result
	engine.Judge(&q.reading.Reading, q.asNew, &result)
	result.Margin = engine.Margin(&q.reading.Reading, q.asNew)
	return AppendResult(nil, &result)
}
