package dashboard

import (
	"encoding/json"
	"errors"
	"maps"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"solewright/assess"
)

// openAPI is as much of a description as the tests look at.
type openAPI struct {
	OpenAPI    string                               `json:"openapi"`
	Paths      map[string]map[string]map[string]any `json:"paths"`
	Components struct {
		Schemas map[string]map[string]any `json:"schemas"`
	} `json:"components"`
}

func TestTheDescriptionHoldsEveryRouteOfTheAPI(t *testing.T) {
	r := newRig(t)
	w := r.call("GET", apiRoot+"/openapi.json", "", nil)
	want(t, w, http.StatusOK)
	spec := decoded[openAPI](t, w)
	if spec.OpenAPI != "3.1.0" {
		t.Errorf("OpenAPI %s, want 3.1.0", spec.OpenAPI)
	}
	described := 0
	for _, methods := range spec.Paths {
		described += len(methods)
	}
	routed := 0
	for _, route := range r.table {
		if !strings.HasPrefix(route.path, apiRoot+"/") || route.path == apiRoot+"/docs" {
			continue
		}
		routed++
		op := spec.Paths[documentedPath(route.path)][strings.ToLower(route.method)]
		if op == nil {
			t.Errorf("%s %s isn't described", route.method, route.path)
			continue
		}
		if op["summary"] == "" || op["operationId"] == "" {
			t.Errorf("%s %s lacks a summary or an id", route.method, route.path)
		}
		for _, name := range pathNames(route.path) {
			if pathParams[name] == "" {
				t.Errorf("%s: the parameter %s has no description", route.path, name)
			}
		}
	}
	if described != routed {
		t.Errorf("%d operations are described, %d routed", described, routed)
	}
	if _, ok := spec.Paths[apiRoot+"/export/{kind}.csv"]; !ok {
		t.Errorf("the export isn't at its address: %v", slices.Sorted(maps.Keys(spec.Paths)))
	}
}

// TestReferencesLeadToSchemas follows every $ref of the description.
func TestReferencesLeadToSchemas(t *testing.T) {
	r := newRig(t)
	spec := decoded[openAPI](t, r.call("GET", apiRoot+"/openapi.json", "", nil))
	var whole any
	must(t, json.Unmarshal(r.spec.json, &whole))
	n := 0
	var follow func(v any)
	follow = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if to, ok := v["$ref"].(string); ok {
				n++
				if spec.Components.Schemas[strings.TrimPrefix(to, schemaRoot)] == nil {
					t.Errorf("%s leads nowhere", to)
				}
			}
			for _, m := range v {
				follow(m)
			}
		case []any:
			for _, m := range v {
				follow(m)
			}
		}
	}
	follow(whole)
	if n == 0 {
		t.Error("the description refers to no schema")
	}
}

// TestTheSchemaOfAReadingIsWhatAssessReads takes each member of the schema to
// the decoder, which refuses names that it doesn't know, and the names that the
// CSV has to the schema.
func TestTheSchemaOfAReadingIsWhatAssessReads(t *testing.T) {
	s := readingSchema()
	known := func(pointer, body string) {
		t.Helper()
		_, err := assess.DecodeJSON([]byte(body))
		errs, _ := errors.AsType[assess.FieldErrors](err)
		for i := range errs {
			if errors.Is(errs[i], assess.ErrUnknownField) {
				t.Errorf("assess doesn't know %s", pointer)
			}
		}
	}
	described := 0
	for name, m := range s.Properties {
		if name == "left" || name == "right" {
			for member := range m.Properties {
				described++
				known(name+"/"+member, `{"`+name+`":{"`+member+`":null}}`)
			}
			continue
		}
		described++
		known(name, `{"`+name+`":null}`)
	}
	columns := strings.Count(string(assess.AppendCSVHeader(nil)), ",") + 1
	if described != columns {
		t.Errorf("%d members are described, the CSV has %d columns", described, columns)
	}
}

// TestReadingsKeepToTheirSchema validates what the server answers by what it
// describes.
func TestReadingsKeepToTheirSchema(t *testing.T) {
	r := newRig(t)
	everything := soundReading.with(fields{
		"left": soundShoe.with(fields{
			"mid_medial": "x", "heel_medial_mm": 2.5, "tilt": -1.25, "tilt_by": "photo", "tilt_u": 1.1, "tilt_n": 2,
			"posture": "neutral", "edge": []string{"heel_lateral"}, "squeeze": "cant:wet",
		}),
		"second_reader": "F-2", "second_says": "agrees", "second_on": []string{"stand"}, "gait": "neutral", "size_mm": 265,
	})
	r.put(1, everything)
	for path, schema := range map[string]string{
		"/inspections/" + id(1): "Reading", "/inspections/" + id(1) + "/result": "Result", "/inspections": "Readings",
		"/pairs?runner=R-1": "PageOfPairOut", "/stores": "Stores", "/shoe-models": "ShoeModels", "/rules/current": "RuleSet",
		"/runners/" + "R-none": "Problem", "/staff": "StaffList", "/regions": "Regions",
	} {
		w := r.call("GET", apiRoot+path, r.office(), nil)
		s := r.spec.registry.Map()[schema]
		if s == nil {
			t.Fatalf("no schema %s among %v", schema, slices.Sorted(maps.Keys(r.spec.registry.Map())))
		}
		s.PrecomputeMessages()
		for _, inner := range r.spec.registry.Map() {
			precompute(inner)
		}
		var body any
		must(t, json.Unmarshal(w.Body.Bytes(), &body))
		res := &huma.ValidateResult{}
		huma.Validate(r.spec.registry, s, huma.NewPathBuffer(nil, 0), huma.ModeReadFromServer, body, res)
		for _, err := range res.Errors {
			t.Errorf("%s isn't a %s: %v", path, schema, err)
		}
	}
}

// precompute readies a schema and those within it for validation.
func precompute(s *huma.Schema) {
	s.PrecomputeMessages()
	for _, m := range s.Properties {
		precompute(m)
	}
	for _, m := range s.AnyOf {
		precompute(m)
	}
	if s.Items != nil {
		precompute(s.Items)
	}
}

func TestTheDocsShowEveryOperationAndProblem(t *testing.T) {
	r := newRig(t)
	w := r.call("GET", apiRoot+"/docs", "", nil)
	want(t, w, http.StatusOK)
	page := w.Body.String()
	for _, route := range r.table {
		if route.doc != nil && !strings.Contains(page, `id="`+route.doc.id+`"`) {
			t.Errorf("%s isn't shown", route.doc.id)
		}
	}
	for _, cl := range classes {
		if !strings.Contains(page, `id="`+cl.slug+`"`) {
			t.Errorf("the problem %s isn't explained", cl.slug)
		}
	}
	for _, s := range []string{"schema-Reading", "schema-Result", "left.heel_medial", "put-inspection"} {
		if !strings.Contains(page, s) {
			t.Errorf("%s isn't shown", s)
		}
	}
	if strings.Contains(page, "https://") || strings.Contains(page, "<no value>") {
		t.Error("the page leads elsewhere, or lacks a value")
	}
}

func TestPlacesBecomePointers(t *testing.T) {
	value := map[string]any{
		"items": []any{map[string]any{"a.b": 1.0, "a": map[string]any{"b": 2.0}}},
		"x[0]":  map[string]any{"y": 1.0}, "til~de/slash": 1.0,
	}
	for place, want := range map[string]string{
		"":               "#",
		"items":          "#/items",
		"items[0]":       "#/items/0",
		"items[0].a.b":   "#/items/0/a.b",
		"x[0].y":         "#/x%5B0%5D/y",
		"til~de/slash":   "#/til~0de~1slash",
		"missing.inside": "#/missing.inside",
	} {
		got := pointerTo(value, place)
		if strings.ReplaceAll(strings.ReplaceAll(got, "[", "%5B"), "]", "%5D") != want {
			t.Errorf("%q is %s, want %s", place, got, want)
		}
	}
}

func FuzzDecode(f *testing.F) {
	registry := huma.NewMapRegistry(schemaRoot, huma.DefaultSchemaNamer)
	sp := &spec{registry: registry}
	registry.Schema(reflect.TypeFor[splitBody](), false, "")
	for _, seed := range []string{
		`{"pair_ref":"7K3M9QTDS","readings":["x"],"reason":"r"}`, `{}`, `[]`, `null`, `{"a.b":{"c[0]":1}}`, `{"readings":[[1]]}`,
		`{"PAIR_REF":"7K3M9QTDS","readings":["x"],"reason":"r"}`, "\xff", `{"":1}`, `{"readings":{"0":1}}`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		var v splitBody
		err := sp.decode(body, &v)
		if err == nil {
			if len(v.Readings) == 0 || len(v.Ref) < 9 || v.Reason == "" {
				t.Errorf("%q was taken as %+v", body, v)
			}
			return
		}
		got := answerTo(err)
		if got.status != http.StatusBadRequest && got.status != http.StatusUnprocessableEntity {
			t.Errorf("%q is answered with %d: %v", body, got.status, err)
		}
		for _, bad := range got.values {
			if !strings.HasPrefix(bad.Pointer, "#") || bad.Detail == "" {
				t.Errorf("%q: %+v is no place", body, bad)
			}
		}
	})
}

func TestWhatIsKnownIsAskedAgainAfterAWhile(t *testing.T) {
	clock := newTestClock()
	c := newCache[string, int](clock.Now, 2)
	asked := 0
	load := func() (int, error) {
		asked++
		return asked, nil
	}
	get := func(k string) int {
		t.Helper()
		v, err := c.get(k, load)
		must(t, err)
		return v
	}
	if first, again := get("a"), get("a"); first != 1 || again != 1 {
		t.Error("it was asked twice")
	}
	clock.advance(cacheFor - time.Second)
	if get("a") != 1 {
		t.Error("it was asked again too soon")
	}
	clock.advance(time.Second)
	if get("a") != 2 {
		t.Error("it was believed for too long")
	}
	get("b")
	get("c") // full: begins anew
	if len(c.m) != 1 {
		t.Errorf("%d are remembered, want at most 2", len(c.m))
	}
	broken := errors.New("broken")
	if _, err := c.get("d", func() (int, error) { return 0, broken }); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	if _, ok := c.m["d"]; ok {
		t.Error("a failure was remembered")
	}
}
