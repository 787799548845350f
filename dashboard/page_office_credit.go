package dashboard

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	"golang.org/x/text/currency"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// creditTablePage shows the credit table of one currency beside a draft of the
// next. As with the rules, the draft is the page's address.
type creditTablePage struct {
	officeFrame
	Currency   string
	Currencies []choice
	// Number is the table that is shown, 0 where the currency has none yet; Old
	// says that it isn't the one that holds, and can only be read.
	Number     int
	From, Note string
	Old        bool
	Versions   []creditVersion
	Grades     []string
	Rows       []creditTableRow
	Changed    int
	MayTry     bool
	MaySet     bool
	Row        []sheetLine
	// Since and Until are the months that the draft is tried on.
	Since, Until sheetLine
	Tried        *creditTried
	Publish      []sheetLine
	FormWrong    string
	// Draft are the changes, to be sent on.
	Draft []draftChange
}

// creditVersion is one table of the currency.
type creditVersion struct {
	Number         int
	From, Note, By string
	State          string // held, holds or comes
	Shown          bool
}

// creditTableRow is one category and age, over all grades.
type creditTableRow struct {
	Category, Age string
	First         bool // of its category
	Changed       bool
	Cells         []creditCell
}

// creditCell is the amount of one grade, category and age.
type creditCell struct {
	Name, Label, Was, Draft, Wrong string
}

// creditTried is what a draft would have paid. Amounts are in the table's
// currency.
type creditTried struct {
	Pairs, More, Less, None int
	Now, Then, By           string
	Grades                  []creditTriedRow
}

type creditTriedRow struct {
	Grade, Now, Then string
	Pairs            int
}

// creditKey names an amount of a table: what a draft calls GRADE.CATEGORY.DAYS.
type creditKey struct {
	grade    assess.GradeLetter
	category string
	under    int
}

func (k creditKey) String() string {
	return k.grade.String() + "." + k.band()
}

// band is the key without its grade, as an added row is written.
func (k creditKey) band() string { return k.category + "." + strconv.Itoa(k.under) }

// creditKeyOf reads what String writes; with grade "" what band writes.
func creditKeyOf(text string) (creditKey, bool) {
	grade, band, ok := strings.Cut(text, ".")
	g := slices.Index(gradeLetters(), grade)
	k, okBand := creditBandOf(band)
	k.grade = assess.GradeA + assess.GradeLetter(max(g, 0))
	return k, ok && okBand && g >= 0
}

func creditBandOf(text string) (creditKey, bool) {
	category, days, ok := strings.Cut(text, ".")
	under, err := strconv.Atoi(days)
	return creditKey{category: category, under: under}, ok && err == nil && under >= 0 &&
		(category == "" || slices.Contains(retail.Categories, category))
}

// maxAmount is how many characters of an amount are read.
const maxAmount = 16

// minorOf reads an amount in the major unit of a currency, by the decimals of
// ISO 4217; ok is false where the text is none.
func minorOf(code, text string) (minor int64, ok bool) {
	decimals := 2
	if unit, err := currency.ParseISO(code); err == nil {
		decimals, _ = currency.Standard.Rounding(unit)
	}
	whole, part, _ := strings.Cut(strings.Replace(text, ",", ".", 1), ".")
	if whole == "" || len(part) > decimals || len(text) > maxAmount {
		return 0, false
	}
	n, err := strconv.ParseUint(whole+part+strings.Repeat("0", decimals-len(part)), 10, 63)
	return int64(n), err == nil
}

// noAmount takes an amount out of a draft.
const noAmount = "-"

// draftCredit makes the draft that an address or a form changes a table into.
// Bands are the categories and ages that it asks amounts for. Wrong are the
// refused amounts by name.
func draftCredit(base *assess.CreditTable, changes url.Values) (draft *assess.CreditTable, made []draftChange, bands []creditKey, wrong map[string]string) {
	amounts := map[creditKey]int64{}
	addBand := func(k creditKey) {
		k.grade = assess.NoGrade
		if !slices.Contains(bands, k) {
			bands = append(bands, k)
		}
	}
	for _, row := range base.Rows {
		k := creditKey{row.Grade, row.Category, row.UnderDays}
		amounts[k] = row.Minor
		addBand(k)
	}
	if len(bands) == 0 {
		addBand(creditKey{})
	}
	wrong = map[string]string{}
	for _, text := range changes["row"] {
		if k, ok := creditBandOf(text); ok && !slices.Contains(bands, k) {
			made = append(made, draftChange{"row", text})
			addBand(k)
		}
	}
	for _, name := range sortedKeys(changes) {
		value := strings.TrimSpace(changes.Get(name))
		k, ok := creditKeyOf(name)
		if !ok || value == "" {
			continue
		}
		old, stands := amounts[k]
		addBand(k)
		minor, isAmount := minorOf(base.Currency, value)
		switch {
		case value == noAmount && !stands, isAmount && stands && minor == old:
			continue
		case value == noAmount:
			delete(amounts, k)
		case isAmount:
			amounts[k] = minor
		default:
			wrong[name] = assess.FieldError{Value: value, Want: "an amount such as " + money(base.Currency, 2500) + ", or - for none", Err: assess.ErrOutOfRange}.Reason()
		}
		made = append(made, draftChange{name, value})
	}
	draft = &assess.CreditTable{Number: 1, From: base.From, Currency: base.Currency}
	for k, minor := range amounts {
		draft.Rows = append(draft.Rows, assess.CreditRow{Grade: k.grade, Category: k.category, UnderDays: k.under, Minor: minor})
	}
	slices.SortFunc(draft.Rows, func(a, b assess.CreditRow) int {
		return cmp.Or(cmp.Compare(a.Category, b.Category), compareAges(a.UnderDays, b.UnderDays), cmp.Compare(a.Grade, b.Grade))
	})
	slices.SortFunc(bands, func(a, b creditKey) int {
		return cmp.Or(cmp.Compare(a.category, b.category), compareAges(a.under, b.under))
	})
	if errs, ok := wrongFieldsOf(draft.Check()); ok {
		for _, e := range errs {
			at, _, _ := strings.Cut(strings.TrimPrefix(e.Field, "/rows/"), "/")
			if i, err := strconv.Atoi(at); err == nil {
				r := draft.Rows[i]
				wrong[creditKey{r.Grade, r.Category, r.UnderDays}.String()] = e.Reason()
			}
		}
	}
	return draft, made, bands, wrong
}

// compareAges orders bands from the youngest; one without a bound comes last.
func compareAges(a, b int) int {
	if (a == 0) != (b == 0) {
		return cmp.Compare(b, a)
	}
	return cmp.Compare(a, b)
}

// creditTables returns the tables of a currency, oldest first, with the one
// that holds on a day, nil where none has begun.
func (s *Server) creditTables(ctx context.Context, code, day string) (all []models.Numbered, tables []*assess.CreditTable, holds *assess.CreditTable, err error) {
	versions, err := s.db.Versions(ctx, models.CreditTables)
	if err != nil {
		return nil, nil, nil, err
	}
	for _, v := range versions {
		table, err := assess.ParseCreditTable([]byte(v.Body))
		if err != nil {
			return nil, nil, nil, fmt.Errorf("credit table %d: %w", v.Number, err)
		}
		table.Number = v.Number
		if table.Currency != code {
			continue
		}
		all, tables = append(all, v), append(tables, table)
		if v.From <= day {
			holds = table
		}
	}
	return all, tables, holds, nil
}

// currencies lists the currencies of the stores in scope, and those that have
// had a table.
func (s *Server) currencies(c *gin.Context) ([]string, error) {
	ctx, who := c.Request.Context(), s.who(c)
	stores, err := s.db.Stores(ctx)
	if err != nil {
		return nil, err
	}
	var all []string
	for _, st := range stores {
		if who.allowsAt(readStores, st.Code, st.Region) {
			all = append(all, st.Currency)
		}
	}
	slices.Sort(all)
	return slices.Compact(all), nil
}

// showOfficeCredit answers with the credit table of a currency and the draft of
// the address.
func (s *Server) showOfficeCredit(c *gin.Context) error {
	return s.creditTablePage(c, http.StatusOK, c.Request.URL.Query(), nil)
}

func (s *Server) creditTablePage(c *gin.Context, status int, sent url.Values, publishWrong assess.FieldErrors) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	view := creditTablePage{officeFrame: s.officeFrame(c), MayTry: who.allows(tryRules), MaySet: who.allows(publishCredit), Grades: gradeLetters()}
	codes, err := s.currencies(c)
	if err != nil {
		return err
	}
	if len(codes) > 0 {
		view.Currency = codes[0]
	}
	if asked := sent.Get("currency"); slices.Contains(codes, asked) {
		view.Currency = asked
	} else if asked != "" {
		return refuse(notFound, "no store in your scope has that currency")
	}
	for _, code := range codes {
		view.Currencies = append(view.Currencies, choice{Value: code, Text: code, Picked: code == view.Currency})
	}
	if view.Currency == "" {
		return s.render(c, status, "office-credit", view)
	}
	today := s.now().UTC()
	day := today.Format(time.DateOnly)
	all, tables, base, err := s.creditTables(ctx, view.Currency, day)
	if err != nil {
		return err
	}
	holds := 0
	if base == nil {
		base = &assess.CreditTable{From: day, Currency: view.Currency}
	} else {
		holds = base.Number
	}
	if asked, err := strconv.Atoi(sent.Get("table")); err == nil && asked != holds {
		at := slices.IndexFunc(tables, func(t *assess.CreditTable) bool { return t.Number == asked })
		if at < 0 {
			return refuse(notFound, "the currency has no table of that number")
		}
		base, view.Old, view.MayTry, view.MaySet, sent = tables[at], true, false, false, url.Values{}
	}
	for i := range all {
		v := &all[i]
		state := "held"
		switch {
		case v.Number == holds:
			state = "holds"
		case v.From > day:
			state = "comes"
		}
		view.Versions = append(view.Versions, creditVersion{v.Number, w.dayAndYear(v.From), v.Note, v.CreatedBy, w.say("office.credit." + state), v.Number == base.Number})
		if v.Number == base.Number {
			view.Number, view.From, view.Note = v.Number, w.dayAndYear(v.From), v.Note
		}
	}
	draft, made, bands, wrong := draftCredit(base, sent)
	view.Changed, view.Draft = len(made), made
	view.Rows = w.creditTableRows(base, bands, sent, made, wrong)
	view.Row = w.sheet("row", []written{
		{name: "category", kind: "select", choices: append([]choice{{Text: w.say("office.rules.any")}}, w.choicesOf(retail.Categories)...)},
		{name: "under_days"},
	}, map[string]string{}, nil)
	months, first, last, wrongMonths := w.monthsAsked(sent, today.AddDate(0, -3, 0), today)
	view.Since, view.Until = months[0], months[1]
	view.Publish = w.sheet("publish", []written{
		{name: "from", kind: "date", needed: true}, {name: "note", needed: true},
	}, map[string]string{"from": sent.Get("from"), "note": sent.Get("note")}, publishWrong)
	if view.FormWrong = strayErrors(publishWrong, view.Publish); len(made) == 0 {
		view.Wrong, view.FormWrong = view.FormWrong, "" // there is no form to publish nothing
	}
	if view.MayTry && len(made) > 0 && len(wrong) == 0 && len(wrongMonths) == 0 {
		view.Tried, err = s.triedCredit(ctx, who.scopes(readReading), base, draft, first.Format(time.DateOnly), last.AddDate(0, 1, -1).Format(time.DateOnly))
		if err != nil {
			return err
		}
	}
	return s.render(c, status, "office-credit", view)
}

// creditTableRows lays the amounts out: categories and ages down, grades across.
func (w words) creditTableRows(base *assess.CreditTable, bands []creditKey, sent url.Values, made []draftChange, wrong map[string]string) []creditTableRow {
	was := map[creditKey]string{}
	for _, row := range base.Rows {
		was[creditKey{row.Grade, row.Category, row.UnderDays}] = money(base.Currency, row.Minor)
	}
	rows := make([]creditTableRow, len(bands))
	for i, band := range bands {
		row := creditTableRow{Category: w.say("office.credit.any"), Age: w.say("office.credit.older"), First: i == 0 || bands[i-1].category != band.category}
		if band.category != "" {
			row.Category = w.word(band.category)
		}
		if band.under > 0 {
			row.Age = w.say("office.credit.under", "n", band.under)
		}
		for g := assess.GradeA; g <= assess.GradeX; g++ {
			k := creditKey{g, band.category, band.under}
			cell := creditCell{Name: k.String(), Label: w.say("office.credit.cell", "grade", g, "category", row.Category, "age", row.Age), Was: was[k], Wrong: wrong[k.String()]}
			if slices.ContainsFunc(made, func(d draftChange) bool { return d.Name == cell.Name }) {
				cell.Draft, row.Changed = sent.Get(cell.Name), true
			}
			row.Cells = append(row.Cells, cell)
		}
		rows[i] = row
	}
	return rows
}

// triedCredit adds up what a draft would have paid for the trade-ins of some
// months, beside what the table that holds would have. Neither is what was
// paid: an older table may have held, and managers override.
func (s *Server) triedCredit(ctx context.Context, scopes []retail.Scope, base, draft *assess.CreditTable, from, to string) (*creditTried, error) {
	t := &creditTried{}
	var now, then int64
	type sum struct {
		pairs     int
		now, then int64
	}
	sums := map[assess.GradeLetter]*sum{}
	err := s.db.EachWorth(ctx, scopes, base.Currency, from, to, func(x *models.Worth) error {
		a, _ := base.Credit(x.Grade, x.Category, x.AgeDays())
		b, ok := draft.Credit(x.Grade, x.Category, x.AgeDays())
		t.Pairs += x.Pairs
		switch {
		case !ok:
			t.None += x.Pairs
		case b > a:
			t.More += x.Pairs
		}
		if b < a {
			t.Less += x.Pairs
		}
		if sums[x.Grade] == nil {
			sums[x.Grade] = &sum{}
		}
		of, n := sums[x.Grade], int64(x.Pairs)
		of.pairs += x.Pairs
		of.now, of.then = of.now+n*a, of.then+n*b
		now, then = now+n*a, then+n*b
		return nil
	})
	if err != nil {
		return nil, err
	}
	code := base.Currency
	t.Now, t.Then, t.By = money(code, now), money(code, then), money(code, then-now)
	if then > now {
		t.By = "+" + t.By
	}
	for g := assess.GradeA; g <= assess.GradeX; g++ {
		if of := sums[g]; of != nil {
			t.Grades = append(t.Grades, creditTriedRow{g.String(), money(code, of.now), money(code, of.then), of.pairs})
		}
	}
	return t, nil
}

// doCreditDraft turns what was written into the address of the draft.
func (s *Server) doCreditDraft(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	base, err := s.creditBase(c, posted)
	if err != nil {
		return err
	}
	if posted.Get("act") == "row" {
		if under := strings.TrimSpace(posted.Get("under_days")); under != "" || posted.Get("category") != "" {
			posted.Add("row", posted.Get("category")+"."+either(under, "0"))
		}
	}
	_, made, _, _ := draftCredit(base, posted)
	q := url.Values{"currency": {base.Currency}}
	for _, name := range []string{"since", "until"} {
		if v := posted.Get(name); v != "" {
			q.Set(name, v)
		}
	}
	for _, d := range made {
		q.Add(d.Name, d.Value)
	}
	c.Redirect(http.StatusSeeOther, "/office/credit?"+q.Encode())
	return nil
}

// creditBase is the table that holds today in the currency of a form; an empty
// one where there is none.
func (s *Server) creditBase(c *gin.Context, posted url.Values) (*assess.CreditTable, error) {
	code, day := posted.Get("currency"), s.now().UTC().Format(time.DateOnly)
	codes, err := s.currencies(c)
	if err != nil {
		return nil, err
	}
	if !slices.Contains(codes, code) {
		return nil, refuse(notFound, "no store in your scope has that currency")
	}
	_, _, base, err := s.creditTables(c.Request.Context(), code, day)
	if base == nil {
		base = &assess.CreditTable{From: day, Currency: code}
	}
	return base, err
}

// doCredit stores the draft as the next table of its currency, from a day on
// that has not begun: what was shown by a table keeps its number.
func (s *Server) doCredit(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	base, err := s.creditBase(c, posted)
	if err != nil {
		return err
	}
	draft, made, _, wrong := draftCredit(base, posted)
	bad := s.publishWrong(posted, "table", "why the amounts change", base.Number)
	if len(made) == 0 || len(draft.Rows) == 0 {
		bad.Add(assess.FieldError{Want: "a draft that changes an amount", Err: assess.ErrMissingField})
	}
	if len(bad) > 0 || len(wrong) > 0 {
		return s.creditTablePage(c, http.StatusUnprocessableEntity, posted, bad)
	}
	draft.From = posted.Get("from")
	number, err := s.db.AddCreditTable(c.Request.Context(), s.who(c).actor(), *draft, strings.TrimSpace(posted.Get("note")))
	if err != nil {
		return err
	}
	return officeDone(c, "/office/credit?"+encodeQuery("currency", draft.Currency), "credit", strconv.Itoa(number))
}

// publishWrong says what is wrong with a form that publishes a draft: its day,
// its note, and what it is a draft of.
func (s *Server) publishWrong(posted url.Values, kind, note string, base int) assess.FieldErrors {
	var bad assess.FieldErrors
	if from := posted.Get("from"); !isDay(from) || from <= s.now().UTC().Format(time.DateOnly) {
		bad.Add(assess.FieldError{Field: "from", Value: from, Want: "a day after today", Err: assess.ErrOutOfRange})
	}
	if strings.TrimSpace(posted.Get("note")) == "" {
		bad.Add(assess.FieldError{Field: "note", Want: note, Err: assess.ErrMissingField})
	}
	if based := posted.Get("base"); based != strconv.Itoa(base) {
		bad.Add(assess.FieldError{Value: based, Want: "a draft of " + kind + " " + strconv.Itoa(base) + ", which holds now", Err: assess.ErrInconsistent})
	}
	return bad
}
