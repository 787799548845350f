package retail

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"solewright/assess"
)

// How long text may be, in characters.
const (
	maxCode  = 32
	maxKey   = 64 // a runner's code, which may be a random key
	maxName  = 80
	maxLabel = 24
	maxNote  = 1000
)

// Bounds of measures, in millimetres but for the distance; house values, wide
// enough for any foot and shoe.
const (
	minFootMM, maxFootMM   = 50, 400
	minWidthMM, maxWidthMM = 30, 200
	maxStackMM             = 100
	maxDropMM              = 40
	maxWeeklyKM            = 400
	maxPairs               = 1_000_000
)

// UnknownDrop is the DropMM of a model whose drop isn't known.
const UnknownDrop = -1

// Closed lists of words.
var (
	UnitWords          = []string{"km", "mi"}
	CushioningWords    = []string{"low", "medium", "high"}
	MedialSupportWords = []string{"none", "some", "firm"}
	FlexibilityWords   = []string{"stiff", "moderate", "floppy"}
	MassBands          = []string{"under 60", "60-74", "75-89", "90 and over"}
	StrikeByWords      = []string{"seen", "index"}
	// FeltWords say how a pair was on the feet, OutcomeWords what became of it.
	FeltWords    = []string{"comfortable", "short", "long", "narrow", "wide", "heel-slips", "disliked"}
	OutcomeWords = []string{"chosen", "possible", "put-back"}
	noYes        = []string{"no", "yes"}
)

// Format is how one kind of record is written: its fields in the order of the
// CSV, which are the members of the JSON too.
type Format[T any] struct {
	Fields []assess.Field[T]
	CSV    *assess.Table[T]
	JSON   *assess.Object[T]
}

// The formats of the retailer's records.
var (
	Regions    = format(regionFields(), nil, "region", "name", "currency")
	Stores     = format(storeFields(), nil, "store", "region", "zone", "currency", "unit")
	StoreLines = format(storeLineFields(), nil, "store", "region", "zone", "currency", "unit")
	StaffList  = format(staffFields(), nil, "staff", "role", "scopes")
	ShoeModels = format(shoeModelFields(), finishShoeModel)
	Runners    = format(runnerFields(), nil, "runner")
	Fittings   = format(fittingFields(), nil, "fitting_id", "store", "staff", "at")
	Sales      = format(saleFields(), nil, "store", "model", "month", "pairs")
	Events     = format(eventFields(), finishEvent, "store", "from", "to", "word")
)

func format[T any](fields []assess.Field[T], finish func(*T) assess.FieldErrors, required ...string) Format[T] {
	return Format[T]{fields, assess.NewTable(fields, finish, required...), assess.NewObject(fields, finish)}
}

// finishShoeModel tells a drop of 0 from one that wasn't given: the field
// counts from 1 while it is read.
func finishShoeModel(m *ShoeModel) assess.FieldErrors {
	m.Features.DropMM--
	return m.Unnamed()
}

// Unnamed says what a model lacks of its name: a brand and a model, or where it was
// typed in at a store one of them, as a fitter may know no more.
func (m *ShoeModel) Unnamed() assess.FieldErrors {
	var bad assess.FieldErrors
	missing := func(absent bool, field, want string) {
		if absent {
			bad.Add(assess.FieldError{Field: field, Want: want, Err: assess.ErrMissingField})
		}
	}
	if m.TypedIn {
		missing(m.Brand == "" && m.Model == "", "model", "a brand or a model")
		return bad
	}
	missing(m.Brand == "", "brand", "a brand")
	missing(m.Model == "", "model", "a model")
	return bad
}

// finishEvent refuses an event that ends before it begins.
func finishEvent(e *Event) assess.FieldErrors {
	var bad assess.FieldErrors
	if e.To < e.From {
		bad.Add(assess.FieldError{Field: "to", Value: e.To, Want: "a day not before from", Err: assess.ErrInconsistent})
	}
	return bad
}

func regionFields() []assess.Field[Region] {
	type t = Region
	return []assess.Field[t]{
		assess.Code("region", maxCode, func(r *t) *string { return &r.Code }),
		assess.Text("name", maxName, func(r *t) *string { return &r.Name }),
		currency("currency", func(r *t) *string { return &r.Currency }),
	}
}

func storeFields() []assess.Field[Store] {
	type t = Store
	return []assess.Field[t]{
		assess.Code("store", maxCode, func(s *t) *string { return &s.Code }),
		assess.Text("name", maxName, func(s *t) *string { return &s.Name }),
		assess.Code("region", maxCode, func(s *t) *string { return &s.Region }),
		zone("zone", func(s *t) *string { return &s.Zone }),
		currency("currency", func(s *t) *string { return &s.Currency }),
		word("unit", UnitWords, func(s *t) *string { return &s.Unit }),
		assess.Date("retired", func(s *t) *string { return &s.Retired }),
	}
}

// StoreLine is a store with the name of its region: the row of the CSV of
// stores, so that one file sets up regions and stores alike.
type StoreLine struct {
	Store
	RegionName string
}

func storeLineFields() []assess.Field[StoreLine] {
	type t = StoreLine
	var fields []assess.Field[t]
	for _, f := range storeFields() {
		fields = append(fields, assess.Within(f, func(l *t) *Store { return &l.Store }))
		if f.Name == "region" {
			fields = append(fields, assess.Text("region_name", maxName, func(l *t) *string { return &l.RegionName }))
		}
	}
	return fields
}

func staffFields() []assess.Field[Staff] {
	type t = Staff
	roles := make([]string, len(Roles))
	for i, r := range Roles {
		roles[i] = string(r)
	}
	return []assess.Field[t]{
		assess.Code("staff", maxCode, func(s *t) *string { return &s.Code }),
		word("role", roles, func(s *t) *string { return (*string)(&s.Role) }),
		words("scopes", "fleet, region:CODE or store:CODE, space between", ParseScope, Scope.String,
			func(s *t) *[]Scope { return &s.Scopes }),
		words("also", "further roles, each with its scope, such as trainer@fleet or manager@store:CODE, space between", ParseGrant, Grant.String,
			func(s *t) *[]Grant { return &s.Also }),
		assess.Date("retired", func(s *t) *string { return &s.Retired }),
	}
}

func shoeModelFields() []assess.Field[ShoeModel] {
	type t = ShoeModel
	fields := []assess.Field[t]{
		assess.ID("model_id", func(m *t) *assess.UUID { return &m.ID }),
		assess.Text("brand", maxName, func(m *t) *string { return &m.Brand }),
		assess.Text("model", maxName, func(m *t) *string { return &m.Model }),
		assess.Text("version", maxName, func(m *t) *string { return &m.Version }),
		word("category", Categories, func(m *t) *string { return &m.Category }),
		words("gtins", "GTINs of 8, 12, 13 or 14 digits, space between", parseGTIN, writeGTIN,
			func(m *t) *[]string { return &m.GTINs }),
	}
	for _, f := range assess.AsNewFields() {
		fields = append(fields, assess.Within(f, func(m *t) *assess.AsNew { return &m.AsNew }))
	}
	return append(fields,
		word("cushioning", CushioningWords, func(m *t) *string { return &m.Features.Cushioning }),
		word("medial_support", MedialSupportWords, func(m *t) *string { return &m.Features.MedialSupport }),
		assess.Whole("stack_mm", 1, maxStackMM, 0, func(m *t) *int { return &m.Features.StackMM }),
		drop("drop_mm"),
		word("flexibility", FlexibilityWords, func(m *t) *string { return &m.Features.Flexibility }),
		assess.Text("widths", maxName, func(m *t) *string { return &m.Features.Widths }),
		assess.Date("released", func(m *t) *string { return &m.Released }),
		assess.Date("retired", func(m *t) *string { return &m.Retired }),
		assess.Flag("typed_in", func(m *t) *bool { return &m.TypedIn }),
	)
}

func runnerFields() []assess.Field[Runner] {
	type t = Runner
	return []assess.Field[t]{
		assess.Code("runner", maxKey, func(r *t) *string { return &r.Code }),
		assess.Date("teaching_photos_on", func(r *t) *string { return &r.TeachingPhotos.Date }),
		assess.Code("teaching_photos_text", maxCode, func(r *t) *string { return &r.TeachingPhotos.Text }),
		assess.Date("health_notes_on", func(r *t) *string { return &r.HealthNotes.Date }),
		assess.Code("health_notes_text", maxCode, func(r *t) *string { return &r.HealthNotes.Text }),
		word("unit", UnitWords, func(r *t) *string { return &r.Unit }),
		word("mass_band", MassBands, func(r *t) *string { return &r.MassBand }),
	}
}

func fittingFields() []assess.Field[Fitting] {
	type t = Fitting
	fields := []assess.Field[t]{
		assess.ID("fitting_id", func(f *t) *assess.UUID { return &f.ID }),
		assess.Code("store", maxCode, func(f *t) *string { return &f.Store }),
		assess.Code("staff", maxCode, func(f *t) *string { return &f.Staff }),
		assess.Code("runner", maxKey, func(f *t) *string { return &f.Runner }),
		assess.Instant("at", func(f *t) *time.Time { return &f.At }),
	}
	for _, side := range []assess.Foot{assess.Left, assess.Right} {
		of := func(f assess.Field[t]) assess.Field[t] {
			f.Group, f.Member = side.String(), f.Name
			f.Name = side.String()[:1] + "_" + f.Name
			return f
		}
		fields = append(fields,
			of(assess.Whole("length_mm", minFootMM, maxFootMM, 0, func(f *t) *int { return &f.Foot[side].LengthMM })),
			of(assess.Whole("width_mm", minWidthMM, maxWidthMM, 0, func(f *t) *int { return &f.Foot[side].WidthMM })))
		for i := range assess.PostureItems {
			fields = append(fields, of(assess.Measured("fpi_"+strconv.Itoa(i+1), "", assess.MinPostureItem, assess.MaxPostureItem, 0,
				func(f *t) *assess.Value { return &f.Foot[side].Posture[i] })))
		}
		fields = append(fields, of(assess.Measured("strike_index", "%", 0, 100, 0,
			func(f *t) *assess.Value { return &f.StrikeIndex[side] })))
	}
	return append(fields,
		assess.Words("gait", assess.GaitWords, func(f *t) *assess.Value { return &f.Gait }),
		assess.Words("gait_by", assess.GaitByWords, func(f *t) *assess.Value { return &f.GaitBy }),
		assess.Words("strike", assess.StrikeWords, func(f *t) *assess.Value { return &f.Strike }),
		word("strike_by", StrikeByWords, func(f *t) *string { return &f.StrikeBy }),
		words("surfaces", list(assess.Surfaces)+", space between", among(assess.Surfaces), func(s string) string { return s },
			func(f *t) *[]string { return &f.Surfaces }),
		assess.Words("used_for", assess.UsedForWords, func(f *t) *assess.Value { return &f.UsedFor }),
		assess.Measured("weekly_km", "km", 0, maxWeeklyKM, 0, func(f *t) *assess.Value { return &f.WeeklyKM }),
		assess.Words("before_wear", noYes, func(f *t) *assess.Value { return &f.BeforeWear }),
		assess.PairRefs("old_pair", func(f *t) *string { return &f.OldPair }),
		words("tried", wantTried, ParseTried, TriedPair.String, func(f *t) *[]TriedPair { return &f.Tried }),
		assess.ID("chosen_model", func(f *t) *assess.UUID { return &f.ChosenID }),
		assess.Text("chosen_size", maxLabel, func(f *t) *string { return &f.ChosenSize }),
		assess.PairRefs("chosen_pair", func(f *t) *string { return &f.ChosenPair }),
		assess.Flag("referred", func(f *t) *bool { return &f.Referred }),
		assess.Text("note", maxNote, func(f *t) *string { return &f.Note }),
	)
}

// wantTried says how a pair that was tried on is written.
var wantTried = "outcome:felt:size:shoe for each pair tried, outcome one of " + list(OutcomeWords) + ", felt one of " + list(FeltWords) +
	" or empty, shoe a model's UUID or a typed-in name, size and name query-escaped"

// String writes the pair as fittings hold it.
func (p TriedPair) String() string {
	shoe := url.QueryEscape(p.Name)
	if !p.Model.IsZero() {
		shoe = p.Model.String()
	}
	return strings.Join([]string{p.Outcome, p.Felt, url.QueryEscape(p.Size), shoe}, ":")
}

// ParseTried reads a pair that String wrote; ok is false where a part isn't what
// it may be.
func ParseTried(text string) (p TriedPair, ok bool) {
	part := strings.Split(text, ":")
	if len(part) != 4 || part[3] == "" || !slices.Contains(OutcomeWords, part[0]) || part[1] != "" && !slices.Contains(FeltWords, part[1]) {
		return p, false
	}
	p.Outcome, p.Felt = part[0], part[1]
	plain := func(escaped string, limit int) string {
		s, err := url.QueryUnescape(escaped)
		if err != nil || utf8.RuneCountInString(s) > limit || !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl) {
			ok = false
		}
		return strings.TrimSpace(s)
	}
	ok = true
	p.Size = plain(part[2], maxLabel)
	if id, err := assess.ParseUUID(part[3]); err == nil {
		p.Model = id
		return p, ok
	}
	p.Name = plain(part[3], maxName)
	return p, ok && p.Name != ""
}

func saleFields() []assess.Field[Sale] {
	type t = Sale
	return []assess.Field[t]{
		assess.Code("store", maxCode, func(s *t) *string { return &s.Store }),
		assess.ID("model", func(s *t) *assess.UUID { return &s.Model }),
		assess.Text("batch", maxName, func(s *t) *string { return &s.Batch }),
		month("month", func(s *t) *string { return &s.Month }),
		assess.Whole("pairs", 0, maxPairs, -1, func(s *t) *int { return &s.Pairs }),
	}
}

func eventFields() []assess.Field[Event] {
	type t = Event
	return []assess.Field[t]{
		assess.Code("store", maxCode, func(e *t) *string { return &e.Store }),
		assess.Date("from", func(e *t) *string { return &e.From }),
		assess.Date("to", func(e *t) *string { return &e.To }),
		assess.Text("word", maxName, func(e *t) *string { return &e.Word }),
	}
}

// field makes a field of a string that parse takes or refuses.
func field[T any](name, want string, parse func(string) (string, bool), at func(*T) *string) assess.Field[T] {
	return assess.Field[T]{
		Name: name,
		Parse: func(v *T, text string) string {
			s, ok := parse(text)
			if !ok {
				return want
			}
			*at(v) = s
			return ""
		},
		Append: func(dst []byte, v *T) []byte { return append(dst, *at(v)...) },
	}
}

// word makes a field of one word of a closed list.
func word[T any](name string, all []string, at func(*T) *string) assess.Field[T] {
	return field(name, "one of "+list(all), among(all), at)
}

// currency makes a field of an ISO 4217 code.
func currency[T any](name string, at func(*T) *string) assess.Field[T] {
	return field(name, "an ISO 4217 code such as EUR", func(s string) (string, bool) {
		return s, len(s) == 3 && strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
	}, at)
}

// zone makes a field of an IANA time zone.
func zone[T any](name string, at func(*T) *string) assess.Field[T] {
	return field(name, "an IANA time zone such as Europe/Madrid", func(s string) (string, bool) {
		_, err := time.LoadLocation(s)
		return s, err == nil && s != "Local"
	}, at)
}

// month makes a field of a month.
func month[T any](name string, at func(*T) *string) assess.Field[T] {
	return field(name, "a month such as 2026-10", func(s string) (string, bool) {
		_, err := time.Parse("2006-01", s)
		return s, err == nil
	}, at)
}

// drop makes the field of a model's drop, which may be 0 and may be unknown;
// see finishShoeModel.
func drop(name string) assess.Field[ShoeModel] {
	f := assess.Whole(name, 0, maxDropMM, UnknownDrop, func(m *ShoeModel) *int { return &m.Features.DropMM })
	parse := f.Parse
	f.Parse = func(m *ShoeModel, text string) string {
		want := parse(m, text)
		m.Features.DropMM++
		return want
	}
	return f
}

// words makes a field of several words with spaces between.
func words[T, E any](name, want string, parse func(string) (E, bool), write func(E) string, at func(*T) *[]E) assess.Field[T] {
	return assess.Field[T]{
		Name: name, Shape: assess.List,
		Parse: func(v *T, text string) string {
			var all []E
			for _, w := range strings.Fields(text) {
				e, ok := parse(w)
				if !ok {
					return want
				}
				all = append(all, e)
			}
			*at(v) = all
			return ""
		},
		Append: func(dst []byte, v *T) []byte {
			for i, e := range *at(v) {
				if i > 0 {
					dst = append(dst, ' ')
				}
				dst = append(dst, write(e)...)
			}
			return dst
		},
	}
}

// ParseScope reads what [Scope.String] writes.
func ParseScope(s string) (scope Scope, ok bool) {
	if s == "fleet" {
		return Scope{}, true
	}
	kind, code, _ := strings.Cut(s, ":")
	switch {
	case code == "":
		return Scope{}, false
	case kind == "region":
		return Scope{Region: code}, true
	case kind == "store":
		return Scope{Store: code}, true
	}
	return Scope{}, false
}

// ParseGrant reads what [Grant.String] writes.
func ParseGrant(s string) (g Grant, ok bool) {
	role, scope, _ := strings.Cut(s, "@")
	if !slices.Contains(Roles, Role(role)) {
		return Grant{}, false
	}
	g.Role = Role(role)
	g.Scope, ok = ParseScope(scope)
	return g, ok
}

// parseGTIN takes a GTIN in its form of 14 digits.
func parseGTIN(s string) (string, bool) {
	gtin, err := assess.ParseGTIN(s)
	return gtin, err == nil
}

// writeGTIN writes a GTIN in the form that it is read in.
func writeGTIN(s string) string {
	if gtin, ok := parseGTIN(s); ok {
		return gtin
	}
	return s
}

// among takes the words of a list.
func among(all []string) func(string) (string, bool) {
	return func(s string) (string, bool) { return s, slices.Contains(all, s) }
}

// list writes words with commas between.
func list(all []string) string { return strings.Join(all, ", ") }
