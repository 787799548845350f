package dashboard

import (
	"context"
	"encoding/json"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// rulesPage shows the rule set that holds beside a draft of the next. The draft
// is the page's address: what it changes stands there, so that it can be kept,
// sent and come back to, and nothing is stored until it is published.
type rulesPage struct {
	officeFrame
	Number         int
	From, Note     string
	Versions       []models.Numbered
	Groups         []ruleGroup
	Changed        int
	MayTry, MaySet bool
	// Since and Until are the months that the draft is tried on.
	Since, Until sheetLine
	Tried        *rulesTried
	Publish      []sheetLine
	FormWrong    string
	// Draft are the changes, to be sent on.
	Draft []draftChange
}

type draftChange struct{ Name, Value string }

// ruleGroup is the rules of one check.
type ruleGroup struct {
	Name string
	Rows []ruleRow
}

// ruleRow is one rule: what it asks, where it leads, and what the draft makes
// of both.
type ruleRow struct {
	When, Code, Leads string
	Then              string // the name of the draft's line; empty where nothing leads on
	ThenIs            []choice
	Knobs             []knobView
	Changed           bool
}

// knobView is one threshold of a row.
type knobView struct {
	Name, Label, Was, Draft, Wrong string
}

// rulesTried is what a draft would have changed.
type rulesTried struct {
	Judged, Harsher, Milder, Changed int
	Share                            string
	Complete                         bool
	Moves                            []rulesMove
	ByRule                           []assess.RuleEffect
	Pairs                            []rulesPair
}

type rulesMove struct {
	From, FromWords, To, ToWords string
	N                            int
}

// rulesPair is a pair whose verdict would differ.
type rulesPair struct {
	Ref, Spaced, Store, Left, Right, From, FromWords, To, ToWords, Code string
}

// pairsShown is how many pairs that would change are shown.
const pairsShown = 12

// leadsTo are the words of where a rule may lead, as a draft writes them.
var leadsTo = []string{"note", "recheck later", "recheck now", "replace", "retire"}

func leadOf(r *assess.Rule) string {
	return strings.TrimSpace(r.Severity.String() + " " + r.How.String())
}

func setLead(r *assess.Rule, lead string) {
	word, how, _ := strings.Cut(lead, " ")
	r.How = assess.NoHow
	switch how {
	case "later":
		r.How = assess.Later
	case "now":
		r.How = assess.Now
	}
	for sev := assess.Note; sev <= assess.Retire; sev++ {
		if sev.String() == word {
			r.Severity = sev
		}
	}
}

// knob is one number of a rule set that a draft may change.
type knob struct {
	name, label, pointer string
	rule                 int // its rule, −1 for a number beside the rules
	hundredths           *assess.Hundredths
	whole                *int
}

func (k *knob) String() string {
	if k.whole != nil {
		return strconv.Itoa(*k.whole)
	}
	return k.hundredths.String()
}

// set takes what was written, and reports whether it is a number.
func (k *knob) set(text string) bool {
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	scaled := math.Round(x * 100)
	if err != nil || math.Abs(scaled) > math.MaxInt32 || math.Abs(scaled-x*100) > 1e-6 || k.whole != nil && x != math.Trunc(x) {
		return false
	}
	if k.whole != nil {
		*k.whole = int(x)
	} else {
		*k.hundredths = assess.Hundredths(scaled)
	}
	return true
}

// knobsOf lists the numbers of a rule set.
func knobsOf(set *assess.RuleSet) []knob {
	var all []knob
	for i := range set.Rules {
		r := &set.Rules[i]
		for _, h := range []struct {
			member string
			at     *assess.Hundredths
		}{
			{"at_least", &r.AtLeast},
			{"over", &r.Over},
			{"apart", &r.Apart},
			{"near_end", &r.NearEnd},
			{"tilt_at_least", &r.TiltAtLeast},
			{"tilt_under", &r.TiltUnder},
		} {
			if *h.at != 0 {
				all = append(all, knob{name: r.Code + "." + h.member, label: "office.rules." + h.member, pointer: "/rules/" + strconv.Itoa(i) + "/" + h.member, rule: i, hundredths: h.at})
			}
		}
		if r.Photos != 0 {
			all = append(all, knob{name: r.Code + ".photos", label: "office.rules.photos", pointer: "/rules/" + strconv.Itoa(i) + "/photos", rule: i, whole: &r.Photos})
		}
	}
	all = append(all,
		knob{name: "fault.under_km", label: "office.rules.under_km", pointer: "/possible_fault/under_km", rule: -1, whole: &set.PossibleFault.UnderKM},
		knob{name: "fault.under_days", label: "office.rules.under_days", pointer: "/possible_fault/under_days", rule: -1, whole: &set.PossibleFault.UnderDays})
	for i := range set.NextCheck {
		n := &set.NextCheck[i]
		at := "next-" + strconv.Itoa(i)
		all = append(all,
			knob{name: at + ".km", label: "office.rules.km", pointer: "/next_check/" + strconv.Itoa(i) + "/km", rule: -1, whole: &n.KM},
			knob{name: at + ".days", label: "office.rules.days", pointer: "/next_check/" + strconv.Itoa(i) + "/days", rule: -1, whole: &n.Days})
	}
	return all
}

// draftOf makes the draft that an address or a form changes a set into. Wrong
// are the refused lines by name.
func draftOf(base *assess.RuleSet, changes url.Values) (draft *assess.RuleSet, made []draftChange, wrong map[string]string, err error) {
	text, err := json.Marshal(base)
	if err != nil {
		return nil, nil, nil, err
	}
	draft, wrong = &assess.RuleSet{}, map[string]string{}
	if err := json.Unmarshal(text, draft); err != nil {
		return nil, nil, nil, err
	}
	knobs := knobsOf(draft)
	for i := range knobs {
		k := &knobs[i]
		value := strings.TrimSpace(changes.Get(k.name))
		if value == "" || value == k.String() {
			continue
		}
		made = append(made, draftChange{k.name, value})
		if !k.set(value) {
			wrong[k.name] = assess.FieldError{Value: value, Want: "a number", Err: assess.ErrOutOfRange}.Reason()
		}
	}
	for i := range draft.Rules {
		r := &draft.Rules[i]
		name := r.Code + ".then"
		lead := changes.Get(name)
		if lead == "" || lead == leadOf(r) {
			continue
		}
		made = append(made, draftChange{name, lead})
		if !slices.Contains(leadsTo, lead) {
			wrong[name] = assess.FieldError{Value: lead, Want: "one of " + strings.Join(leadsTo, ", "), Err: assess.ErrOutOfRange}.Reason()
			continue
		}
		setLead(r, lead)
		if r.Severity < assess.Replace {
			r.Fault = "" // only what replaces can be a fault
		}
	}
	if _, err := assess.Compile(draft); err != nil {
		errs, ok := wrongFieldsOf(err)
		if !ok {
			return nil, nil, nil, err
		}
		for _, e := range errs {
			wrong[nameOf(draft, knobs, e.Field)] = e.Reason()
		}
	}
	return draft, made, wrong, nil
}

// nameOf returns the line of a draft that a JSON pointer is about.
func nameOf(set *assess.RuleSet, knobs []knob, pointer string) string {
	for i := range knobs {
		if knobs[i].pointer == pointer {
			return knobs[i].name
		}
	}
	for i := range set.Rules {
		if strings.HasPrefix(pointer, "/rules/"+strconv.Itoa(i)+"/") {
			return set.Rules[i].Code + ".then"
		}
	}
	return pointer
}

// showOfficeRules answers with the rules that hold and the draft of the address.
func (s *Server) showOfficeRules(c *gin.Context) error {
	return s.rulesPage(c, http.StatusOK, c.Request.URL.Query(), nil)
}

func (s *Server) rulesPage(c *gin.Context, status int, sent url.Values, publishWrong assess.FieldErrors) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	today := s.now().UTC()
	base, err := s.db.RuleSetOn(ctx, today.Format(time.DateOnly))
	if err != nil {
		return err
	}
	draft, made, wrong, err := draftOf(base, sent)
	if err != nil {
		return err
	}
	view := rulesPage{
		officeFrame: s.officeFrame(c), Number: base.Number, From: w.dayAndYear(base.From), Changed: len(made), Draft: made,
		MayTry: who.allows(tryRules), MaySet: who.allows(publishRules), Groups: w.ruleGroups(base, draft, sent, made, wrong),
	}
	if view.Versions, err = s.db.Versions(ctx, models.RuleSets); err != nil {
		return err
	}
	months, first, last, wrongMonths := w.monthsAsked(sent, today.AddDate(-1, 0, 0), today)
	view.Since, view.Until = months[0], months[1]
	view.Publish = w.sheet("publish", []written{
		{name: "from", kind: "date", needed: true}, {name: "note", needed: true},
	}, map[string]string{"from": sent.Get("from"), "note": sent.Get("note")}, publishWrong)
	if view.FormWrong = strayErrors(publishWrong, view.Publish); len(made) == 0 {
		view.Wrong, view.FormWrong = view.FormWrong, "" // there is no form to publish nothing
	}
	if view.MayTry && len(made) > 0 && len(wrong) == 0 && len(wrongMonths) == 0 {
		view.Tried, err = s.triedRules(ctx, w, draft, models.InspectionFilter{
			Scopes: who.scopes(readReading), From: first.Format(time.DateOnly), To: last.AddDate(0, 1, -1).Format(time.DateOnly), Live: true,
		})
		if err != nil {
			return err
		}
	}
	return s.render(c, status, "office-rules", view)
}

// monthsAsked reads the months that a draft is tried on, and lays their lines
// out; what wasn't asked is from since to until.
func (w words) monthsAsked(sent url.Values, since, until time.Time) (lines []sheetLine, first, last time.Time, wrong assess.FieldErrors) {
	values := map[string]string{}
	month := func(name string, otherwise time.Time) time.Time {
		values[name] = either(sent.Get(name), otherwise.Format(monthForm))
		t, err := time.Parse(monthForm, values[name])
		if err != nil {
			wrong.Add(assess.FieldError{Field: name, Value: values[name], Want: "a month such as 2026-10", Err: assess.ErrOutOfRange})
		}
		return t
	}
	first, last = month("since", since), month("until", until)
	return w.sheet("try", []written{{name: "since", kind: "month"}, {name: "until", kind: "month"}}, values, wrong), first, last, wrong
}

// ruleGroups lays the rules out by check or part, in the order of the set, and
// after them the numbers beside the rules.
func (w words) ruleGroups(base, draft *assess.RuleSet, sent url.Values, made []draftChange, wrong map[string]string) []ruleGroup {
	was, is := knobsOf(base), knobsOf(draft)
	changed := func(name string) bool {
		return slices.ContainsFunc(made, func(d draftChange) bool { return d.Name == name })
	}
	knob := func(i int) knobView {
		v := knobView{Name: was[i].name, Label: w.say(was[i].label), Was: was[i].String(), Wrong: wrong[was[i].name]}
		if changed(v.Name) {
			v.Draft = sent.Get(v.Name)
		}
		return v
	}
	var groups []ruleGroup
	at := map[string]int{}
	put := func(name string, row ruleRow) {
		if _, known := at[name]; !known {
			at[name] = len(groups)
			groups = append(groups, ruleGroup{Name: name})
		}
		g := &groups[at[name]]
		g.Rows = append(g.Rows, row)
	}
	for i := range base.Rules {
		r := &base.Rules[i]
		row := ruleRow{When: ruleTest(w, r), Code: r.Code, Leads: ruleLeads(w, r), Then: r.Code + ".then", Changed: changed(r.Code + ".then")}
		row.ThenIs = []choice{{Text: w.say("office.rules.same", "number", base.Number)}}
		for _, lead := range leadsTo {
			row.ThenIs = append(row.ThenIs, choice{Value: lead, Text: w.say("methods.severity." + strings.ReplaceAll(lead, " ", "-")), Picked: row.Changed && lead == leadOf(&draft.Rules[i])})
		}
		for j := range was {
			if was[j].rule == i {
				k := knob(j)
				row.Knobs, row.Changed = append(row.Knobs, k), row.Changed || changed(k.Name)
			}
		}
		if text := wrong[row.Then]; text != "" {
			row.Knobs = append(row.Knobs, knobView{Wrong: text})
		}
		put(w.ruleGroup(r), row)
	}
	rows := map[string]*ruleRow{}
	var order []string
	for j := range is {
		if is[j].rule >= 0 {
			continue
		}
		key, _, _ := strings.Cut(is[j].name, ".")
		if rows[key] == nil {
			rows[key] = &ruleRow{When: w.besideRules(base, key)}
			order = append(order, key)
		}
		k := knob(j)
		rows[key].Knobs, rows[key].Changed = append(rows[key].Knobs, k), rows[key].Changed || changed(k.Name)
	}
	for _, key := range order {
		put(w.say("office.rules.beside"), *rows[key])
	}
	return groups
}

// ruleGroup names the check or part that a rule is about.
func (w words) ruleGroup(r *assess.Rule) string {
	switch {
	case r.Part != "":
		return w.say("office.rules.outsole", "part", w.say("part."+r.Part))
	case r.If == assess.IfStand, r.If == assess.IfTilt:
		return w.say("office.rules.counter")
	case r.Check != "" && w.has("check."+r.Check):
		return w.say("check." + r.Check)
	}
	return w.say("office.rules.rest")
}

// besideRules says what a number beside the rules is about.
func (w words) besideRules(set *assess.RuleSet, key string) string {
	i, err := strconv.Atoi(strings.TrimPrefix(key, "next-"))
	if err != nil {
		return w.say("office.rules.fault")
	}
	n := &set.NextCheck[i]
	return w.say("office.rules.next", "verdict", w.word(n.Verdict.String()), "category", either(n.Category, w.say("office.rules.any")))
}

// triedRules counts what a draft would have changed.
func (s *Server) triedRules(ctx context.Context, w words, draft *assess.RuleSet, f models.InspectionFilter) (*rulesTried, error) {
	engine, err := assess.Compile(draft)
	if err != nil {
		return nil, err
	}
	t := &rulesTried{}
	count, complete, err := s.tryRules(ctx, engine, f, func(r *models.Inspection, change assess.Change) {
		if len(t.Pairs) < pairsShown {
			t.Pairs = append(t.Pairs, rulesPair{
				Ref: r.PairRef, Spaced: spaced(r.PairRef), Store: r.Store, Code: change.Code,
				Left: soleMarks(&r.Shoe[assess.Left], 0), Right: soleMarks(&r.Shoe[assess.Right], 0),
				From: change.From.String(), FromWords: w.verdict(change.From, change.FromHow),
				To: change.To.String(), ToWords: w.verdict(change.To, change.ToHow),
			})
		}
	})
	if err != nil {
		return nil, err
	}
	t.Judged, t.Harsher, t.Milder, t.Complete = count.Judged, count.Harsher, count.Milder, complete
	t.Changed, t.ByRule = count.Harsher+count.Milder, count.Rules()
	if count.Judged > 0 {
		t.Share = strconv.FormatFloat(100*float64(t.Changed)/float64(count.Judged), 'f', 1, 64) + " %"
	}
	for from := range count.Moves {
		for to, n := range count.Moves[from] {
			if n > 0 && from != to {
				a, b := assess.Verdict(from), assess.Verdict(to)
				t.Moves = append(t.Moves, rulesMove{a.String(), w.verdict(a, assess.NoHow), b.String(), w.verdict(b, assess.NoHow), n})
			}
		}
	}
	slices.SortStableFunc(t.Moves, func(a, b rulesMove) int { return b.N - a.N })
	return t, nil
}

// doDraft turns what was written into the address of the draft.
func (s *Server) doDraft(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	base, err := s.db.RuleSetOn(c.Request.Context(), s.now().UTC().Format(time.DateOnly))
	if err != nil {
		return err
	}
	_, made, _, err := draftOf(base, posted)
	if err != nil {
		return err
	}
	pairs := []string{"since", posted.Get("since"), "until", posted.Get("until")}
	for _, d := range made {
		pairs = append(pairs, d.Name, d.Value)
	}
	c.Redirect(http.StatusSeeOther, "/office/rules?"+encodeQuery(pairs...))
	return nil
}

// doPublish stores the draft as the next rule set, from a day on that has not
// begun: what was judged keeps its rules.
func (s *Server) doPublish(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, today := c.Request.Context(), s.now().UTC().Format(time.DateOnly)
	base, err := s.db.RuleSetOn(ctx, today)
	if err != nil {
		return err
	}
	draft, made, wrong, err := draftOf(base, posted)
	if err != nil {
		return err
	}
	bad := s.publishWrong(posted, "set", "why the rules change", base.Number)
	if len(made) == 0 {
		bad.Add(assess.FieldError{Want: "a draft that changes something", Err: assess.ErrMissingField})
	}
	if len(bad) > 0 || len(wrong) > 0 {
		return s.rulesPage(c, http.StatusUnprocessableEntity, posted, bad)
	}
	draft.From = posted.Get("from")
	number, err := s.db.AddRuleSet(ctx, s.who(c).actor(), *draft, strings.TrimSpace(posted.Get("note")))
	if err != nil {
		return err
	}
	return officeDone(c, "/office/rules", "rules", strconv.Itoa(number))
}
