package dashboard

import (
	"math"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"solewright/assess"
	"solewright/models/retail"
)

// readingSchemas are the schemas of what assess reads and writes itself, made
// from its table of columns and its lists of words.
func readingSchemas() map[string]*huma.Schema {
	return map[string]*huma.Schema{
		"Reading":    readingSchema(),
		"Readings":   listSchema("Reading"),
		"Result":     resultSchema(),
		"OpenAPI":    {Type: huma.TypeObject, AdditionalProperties: true, Description: "OpenAPI 3.1"},
		"RuleSet":    {Type: huma.TypeObject, AdditionalProperties: true, Description: "Numbered, dated, and immutable once a reading was judged by it"},
		"Fitting":    fieldsSchema(retail.Fittings.Fields, "One fitting of a runner"),
		"ShoeModel":  fieldsSchema(retail.ShoeModels.Fields, "One version of one model, and what it is like out of the box"),
		"ShoeModels": listSchema("ShoeModel"),
		"Store":      fieldsSchema(retail.Stores.Fields, "One shop"),
		"Stores":     listSchema("Store"),
		"Region":     fieldsSchema(retail.Regions.Fields, "A group of stores"),
		"Regions":    listSchema("Region"),
		"Staff":      fieldsSchema(retail.StaffList.Fields, "One person's account, by code"),
		"StaffList":  listSchema("Staff"),
		"Runner":     fieldsSchema(retail.Runners.Fields, "A runner: an opaque code and consents"),
	}
}

// fieldsSchema is the schema of a record that is written by its fields.
func fieldsSchema[T any](fields []assess.Field[T], about string) *huma.Schema {
	s := objectOf(map[string]*huma.Schema{}, about)
	for i := range fields {
		f := &fields[i]
		var m *huma.Schema
		switch f.Shape {
		case assess.Number:
			m = &huma.Schema{Type: huma.TypeNumber}
		case assess.List:
			m = &huma.Schema{Type: huma.TypeArray, Items: textOf(0, "")}
		case assess.Either:
			m = &huma.Schema{AnyOf: []*huma.Schema{{Type: huma.TypeNumber}, {Type: huma.TypeString}}}
		default:
			m = textOf(0, "")
		}
		// What a field refuses, it says what it wants instead.
		m.Description = f.Parse(new(T), "\x00")
		path := strings.Split(strings.TrimPrefix(f.Pointer(), "/"), "/")
		at := s
		if len(path) == 2 {
			if s.Properties[path[0]] == nil {
				s.Properties[path[0]] = objectOf(map[string]*huma.Schema{}, "")
			}
			at = s.Properties[path[0]]
		}
		at.Properties[path[len(path)-1]] = m
	}
	return s
}

// cantWords are the answers of a check that can't be read.
var cantWords = []string{"cant:wet", "cant:dirty", "cant:repaired", "cant:other"}

func readingSchema() *huma.Schema {
	props := map[string]*huma.Schema{
		"inspection_id": {Type: huma.TypeString, Format: "uuid", Description: "UUIDv7 made by the client"},
		"pair_ref":      textOf(9, "The pair's reference from the slip"),
		"store":         textOf(32, "Code of the store"),
		"staff":         textOf(32, "Code of the one who read"),
		"device":        textOf(64, "Code of the tablet"),
		"at":            instantOf("When the pair was read, by the client's clock"),
		"kind":          oneOf(assess.KindWords[1:], "Why the pair was read"),
		"brand":         textOf(80, "As typed, where the model is not in the catalogue"),
		"model":         textOf(80, ""),
		"version":       textOf(80, ""),
		"size_label":    textOf(24, "The size as printed"),
		"size_mm":       wholeOf(50, 400, "mm"),
		"runner":        textOf(64, "Opaque code of the runner"),
		"gait":          oneOf(assess.GaitWords, "Gait as observed"),
		"gait_by":       oneOf(assess.GaitByWords, "How the gait was observed"),
		"gait_before":   oneOf([]string{"no", "yes"}, "Whether the gait was recorded before the wear was read"),
		"strike":        oneOf(assess.StrikeWords, "Foot strike"),
		"surface":       oneOf(assess.Surfaces, "What the pair was run on"),
		"used_for":      oneOf(assess.UsedForWords, ""),
		"km":            {Type: huma.TypeNumber, Minimum: bound(0), Description: "Distance run, in km_unit, to a tenth"},
		"km_unit":       oneOf(assess.KMUnitWords, ""),
		"km_source":     oneOf(assess.KMSourceWords, ""),
		"bought_on":     {Type: huma.TypeString, Format: "date"},
		"batch":         textOf(40, ""),
		"second_reader": textOf(32, "Code of the second reader"),
		"second_on":     listOf(checks(), "Checks the second reader read; empty means all"),
		"advised":       oneOf(verdictWords(), "What the engine advised"),
		"given":         oneOf(verdictWords(), "What the runner was told"),
		"given_reason":  textOf(300, "Why given differs from advised"),
		"rules":         {Type: huma.TypeInteger, Minimum: bound(1), Description: "Number of the rule set judged by"},
		"flags":         listOf(assess.FlagWords, "Set by the server; second-unproven is taken from a client that had no line to let the second person prove who they are"),
		"note":          textOf(1000, ""),
		"supersedes":    {Type: huma.TypeString, Format: "uuid", Description: "The reading that this one takes the place of"},
		"voided_at":     instantOf("Set by the server"),
		"void_reason":   textOf(300, "Set by the server"),
		"received_at":   instantOf("Set by the server"),
		"amend_reason":  textOf(300, "Why it takes the place of the reading it supersedes"),
	}
	for c := assess.NumShoe; c < assess.NumCols; c++ {
		props[c.String()] = columnSchema(c)
	}
	for _, f := range []assess.Foot{assess.Left, assess.Right} {
		shoe := map[string]*huma.Schema{"posture": oneOf(assess.GaitWords, "Posture of this foot")}
		for c := range assess.NumShoe {
			shoe[c.String()] = columnSchema(c)
		}
		props[f.String()] = objectOf(shoe, "What was read off the "+f.String()+" shoe")
	}
	s := objectOf(props, "One reading of a pair. A member that is absent was not read.")
	s.Required = []string{"store", "staff", "at", "kind"}
	return s
}

// columnSchema is the schema of one column, as assess writes it.
func columnSchema(c assess.Col) *huma.Schema {
	col := assess.Columns[c]
	var s *huma.Schema
	switch col.Kind {
	case assess.Word:
		s = oneOf(col.Words, "")
	case assess.Grade, assess.Side:
		s = wholeOf(col.Min, col.Max, "")
	case assess.Measure:
		unit := math.Pow10(col.Decimals)
		s = &huma.Schema{Type: huma.TypeNumber, Minimum: bound(float64(col.Min) / unit), Maximum: bound(float64(col.Max) / unit)}
		if col.Decimals == 0 {
			s.Type = huma.TypeInteger
		}
	case assess.Zones:
		zones := make([]string, assess.NumZones)
		for z := range zones {
			zones[z] = assess.Col(z).String()
		}
		s = listOf(zones, "Zones whose worst patch is under 20 mm")
	}
	about := col.Unit
	if col.Kind == assess.Grade || col.Kind == assess.Side {
		about = strings.Join(col.Words, " · ")
	}
	switch {
	case !col.CantRead:
	case s.Type == huma.TypeString:
		for _, w := range cantWords {
			s.Enum = append(s.Enum, w)
		}
	default:
		cant := oneOf(cantWords, "")
		if col.Kind == assess.Grade {
			cant.Enum = append(cant.Enum, "x")
		}
		s = &huma.Schema{AnyOf: []*huma.Schema{s, cant}}
	}
	if col.Needed {
		about = joined(about, "needed for keep")
	}
	s.Description = joined(s.Description, about)
	return s
}

// resultSchema is the schema of what assess.AppendResult writes: every member
// is there, null where it is absent.
func resultSchema() *huma.Schema {
	index := func() *huma.Schema { return orNull(&huma.Schema{Type: huma.TypeNumber}) }
	pattern := func() *huma.Schema {
		var all []string
		for p := assess.LightWear; p <= assess.MixedWear; p++ {
			all = append(all, p.String())
		}
		return orNull(oneOf(all, "Wear pattern"))
	}
	shoe := func() *huma.Schema {
		return objectOf(map[string]*huma.Schema{
			"heel": pattern(), "fore": pattern(), "ml_heel": index(), "ml_fore": index(),
			"centre_heel": index(), "centre_fore": index(), "fore_aft": index(),
		}, "")
	}
	pair := objectOf(map[string]*huma.Schema{
		"heel": pattern(), "fore": pattern(),
		"side":       orNull(oneOf([]string{"even", "left more", "right more"}, "")),
		"decided_by": orNull(oneOf([]string{"left", "right"}, "The more worn shoe; null where they are even")),
	}, "")
	side := func() *huma.Schema { return oneOf([]string{"left", "right", "pair"}, "") }
	how := func() *huma.Schema { return orNull(oneOf([]string{"now", "later"}, "When a recheck is meant")) }
	finding := objectOf(map[string]*huma.Schema{
		"check":    textOf(0, "Column without prefix"),
		"shoe":     side(),
		"zone":     orNull(textOf(0, "Zone, or part of the outsole")),
		"severity": oneOf([]string{"note", "recheck", "replace", "retire"}, ""),
		"how":      how(),
		"code":     textOf(0, "Stable word of the rule"),
		"values":   {Type: huma.TypeObject, AdditionalProperties: true, Description: "What the rule went by"},
	}, "")
	missing := objectOf(map[string]*huma.Schema{"check": textOf(0, ""), "shoe": side()}, "")
	return objectOf(map[string]*huma.Schema{
		"verdict":  orNull(oneOf(verdictWords(), "")),
		"how":      how(),
		"findings": {Type: huma.TypeArray, Items: finding, Description: "Worst first"},
		"unread":   {Type: huma.TypeArray, Items: missing, Description: "Most decisive first"},
		"pattern":  objectOf(map[string]*huma.Schema{"left": shoe(), "right": shoe(), "pair": pair}, ""),
		"margin":   orNull(wholeOf(1, 0, "Fewest single-step changes that alter the verdict")),
		"flags":    listOf(assess.FlagWords, ""),
		"grade":    orNull(oneOf(gradeLetters(), "Condition at hand-over")),
		"route":    orNull(oneOf(routeWords(), "Where the pair may go")),
		"rules":    wholeOf(1, 0, "Number of the rule set"),
		"engine":   textOf(0, "Version of the engine"),
		"next_check": orNull(objectOf(map[string]*huma.Schema{
			"in_km": wholeOf(1, 0, "Distance from this reading"),
			"days":  wholeOf(1, 0, "Whichever is first"),
			"at_km": orNull(wholeOf(1, 0, "Distance of the pair then; null while its distance is unknown")),
			"by":    oneOf([]string{"table", "model", "category", "all"}, "The rule set's table, or the measured life of the model, its category or all pairs"),
			"as_of": orNull(textOf(0, "Day of the measured life")),
		}, "When a pair that goes back to its runner should come again")),
		"as_new": orNull(fieldsSchema(assess.AsNewFields(), "What the model is like out of the box; null where it isn't known")),
	}, "A verdict with everything that led to it")
}

// orNull lets null stand for absent.
func orNull(s *huma.Schema) *huma.Schema {
	s.Nullable = true
	if s.Enum != nil {
		s.Enum = append(s.Enum, nil)
	}
	return s
}

// checks are the names of the checks a person makes.
func checks() []string {
	var names []string
	for c := range assess.NumCols {
		if assess.Columns[c].Check {
			names = append(names, c.String())
		}
	}
	return names
}

// verdictWords are the words of the verdicts in data.
func verdictWords() []string {
	var all []string
	for v := assess.Keep; v <= assess.Incomplete; v++ {
		all = append(all, v.String())
	}
	return all
}

// objectOf, oneOf, listOf, textOf, instantOf and wholeOf make the schemas used
// above. An upper bound that is not above the lower stands for none.
func objectOf(props map[string]*huma.Schema, about string) *huma.Schema {
	return &huma.Schema{Type: huma.TypeObject, Properties: props, AdditionalProperties: false, Description: about}
}

func oneOf(all []string, about string) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString, Description: about}
	for _, w := range all {
		s.Enum = append(s.Enum, w)
	}
	return s
}

func listOf(all []string, about string) *huma.Schema {
	return &huma.Schema{Type: huma.TypeArray, Items: oneOf(all, ""), Description: about}
}

func textOf(limit int, about string) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString, Description: about}
	if limit > 0 {
		s.MaxLength = &limit
	}
	return s
}

func instantOf(about string) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Format: "date-time", Description: about}
}

func dateOf() *huma.Schema { return &huma.Schema{Type: huma.TypeString, Format: "date"} }

func uuidOf() *huma.Schema { return &huma.Schema{Type: huma.TypeString, Format: "uuid"} }

func wholeOf(lo, hi int, about string) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeInteger, Minimum: bound(float64(lo)), Description: about}
	if hi > lo {
		s.Maximum = bound(float64(hi))
	}
	return s
}

func bound(x float64) *float64 { return &x }

// joined joins two sentences' halves, either of which may be empty.
func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + ", " + b
}
