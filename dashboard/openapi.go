package dashboard

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"solewright/models/exchange"
)

// schemaRoot begins every reference to a schema.
const schemaRoot = "#/components/schemas/"

// apiRoot begins every address of the API.
const apiRoot = "/api/v1"

// operation documents one route of the API. Types stand for their schema: a
// value of the type, or the name of a schema of schemas.go as a ref.
type operation struct {
	id, summary string
	about       string
	query       []param
	body        any
	answer      any
	// made says that 201 answers a first time and 200 the same again.
	made bool
	// empty says that 204 answers, without a body.
	empty bool
	// list says that the answer has a Link header to the next page.
	list bool
	// media is the answer's type where it isn't JSON.
	media string
	// takes are the types of a body that isn't JSON.
	takes []string
	// fails are the classes of problem beyond those that any route has.
	fails []*class
}

// param is one query parameter.
type param struct {
	name, about string
	schema      *huma.Schema
}

// ref names a schema of schemas.go.
type ref string

// pathParams says what the parameters of a path are.
var pathParams = map[string]string{
	"id":     "The record's UUID.",
	"ref":    "The pair's reference from the slip.",
	"n":      "The number of a rule set.",
	"code":   "The code of the store, the runner or the person.",
	"sha256": "SHA-256 of the photo's bytes, as sent or as kept, 64 hexadecimal digits.",
	"kind":   "What to export: " + strings.Join(exchange.ExportKinds, ", ") + ".",
}

// spec is the API's description: huma's registry makes the schemas of the Go
// types, which also check the bodies, so that what is described is what is done.
type spec struct {
	api      *huma.OpenAPI
	registry huma.Registry
	json     []byte
}

// newSpec describes the routes that carry an operation.
func newSpec(routes []route) (*spec, error) {
	registry := huma.NewMapRegistry(schemaRoot, huma.DefaultSchemaNamer)
	for name, schema := range readingSchemas() {
		registry.Map()[name] = schema
	}
	sp := &spec{registry: registry, api: &huma.OpenAPI{
		OpenAPI: "3.1.0",
		Info: &huma.Info{
			Title:   "solewright",
			Version: "1",
			Description: "Readings of worn pairs of running shoes: verdicts with their reasons, and what is kept of them. " +
				"Times are RFC 3339, months 2026-10 in the store's own zone, money in minor units, lengths in millimetres. " +
				"Every failure is a problem of RFC 9457, with a pointer to every bad value.",
		},
		Servers: []*huma.Server{{URL: "/"}},
		Components: &huma.Components{
			Schemas: registry,
			SecuritySchemes: map[string]*huma.SecurityScheme{
				"token":   {Type: "http", Scheme: "bearer", Description: "A token made with solewright token add."},
				"session": {Type: "apiKey", In: "cookie", Name: sessionCookie, Description: "The session of a page."},
			},
		},
		Security: []map[string][]string{{"token": {}}, {"session": {}}},
	}}
	for _, r := range routes {
		if r.doc != nil {
			sp.api.AddOperation(sp.operation(r))
		}
	}
	var err error
	if sp.json, err = json.MarshalIndent(sp.api, "", " "); err != nil {
		return nil, fmt.Errorf("describing the API: %w", err)
	}
	return sp, nil
}

// operation writes the description of one route.
func (sp *spec) operation(r route) *huma.Operation {
	d := r.doc
	op := &huma.Operation{
		OperationID: d.id,
		Method:      r.method,
		Path:        documentedPath(r.path),
		Summary:     d.summary,
		Description: d.about,
		Tags:        []string{tagOf(r.path)},
		Responses:   map[string]*huma.Response{},
	}
	if r.right == open {
		op.Security = []map[string][]string{}
	}
	for _, name := range pathNames(r.path) {
		op.Parameters = append(op.Parameters, &huma.Param{
			Name: name, In: "path", Required: true, Description: pathParams[name], Schema: &huma.Schema{Type: huma.TypeString},
		})
	}
	for _, q := range d.query {
		op.Parameters = append(op.Parameters, &huma.Param{Name: q.name, In: "query", Description: q.about, Schema: q.schema})
	}
	if d.body != nil {
		op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			"application/json": {Schema: sp.schema(d.body)},
		}}
	}
	if len(d.takes) > 0 {
		op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{}}
		for _, media := range d.takes {
			op.RequestBody.Content[media] = &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
		}
	}
	ok := &huma.Response{Description: d.summary}
	if d.answer != nil || d.media != "" {
		media := "application/json"
		schema := &huma.Schema{Type: huma.TypeString}
		if d.media != "" {
			media = d.media
		} else {
			schema = sp.schema(d.answer)
		}
		ok.Content = map[string]*huma.MediaType{media: {Schema: schema}}
	}
	if d.list {
		ok.Headers = map[string]*huma.Param{"Link": {
			Description: `The next page, as rel="next" (RFC 8288); absent on the last.`, Schema: &huma.Schema{Type: huma.TypeString},
		}}
	}
	switch {
	case d.empty:
		op.Responses["204"] = ok
	case d.made:
		op.Responses["201"] = ok
		op.Responses["200"] = &huma.Response{Description: "The same body was stored before", Content: ok.Content}
	default:
		op.Responses["200"] = ok
	}
	fails := d.fails
	if d.body != nil || len(d.takes) > 0 {
		fails = append([]*class{badSyntax, badType, tooLarge, badValues}, fails...)
	}
	if r.right != open {
		fails = append(fails, notSignedIn, forbidden, tooMany)
	}
	problems := map[string]*huma.MediaType{"application/problem+json": {Schema: sp.schema(problem{})}}
	for _, f := range fails {
		op.Responses[strconv.Itoa(f.status)] = &huma.Response{Description: f.title, Content: problems}
	}
	op.Responses["default"] = &huma.Response{Description: "Any other problem", Content: problems}
	return op
}

// schema returns a reference to the schema of v's type, or of the name v.
func (sp *spec) schema(v any) *huma.Schema {
	if name, ok := v.(ref); ok {
		return &huma.Schema{Ref: schemaRoot + string(name)}
	}
	return sp.registry.Schema(reflect.TypeOf(v), true, "")
}

// documentedPath writes a route's pattern the way OpenAPI does.
func documentedPath(pattern string) string {
	parts := strings.Split(pattern, "/")
	for i, p := range parts {
		if name, ok := strings.CutPrefix(p, ":"); ok {
			name, suffix, found := strings.Cut(name, ".")
			if parts[i] = "{" + name + "}"; found {
				parts[i] += "." + suffix
			}
		}
	}
	return strings.Join(parts, "/")
}

// pathNames returns the names of the parameters in a route's pattern.
func pathNames(pattern string) []string {
	var names []string
	for p := range strings.SplitSeq(pattern, "/") {
		if name, ok := strings.CutPrefix(p, ":"); ok {
			name, _, _ = strings.Cut(name, ".")
			names = append(names, name)
		}
	}
	return names
}

// tagOf groups routes by the first word after the root.
func tagOf(pattern string) string {
	tag, _, _ := strings.Cut(strings.TrimPrefix(pattern, apiRoot+"/"), "/")
	return tag
}

var docSpec = operation{
	id: "get-openapi", summary: "Read this description", answer: ref("OpenAPI"),
}

// getSpec serves the description.
func (s *Server) getSpec(c *gin.Context) error {
	c.Data(http.StatusOK, "application/json", s.spec.json)
	return nil
}
