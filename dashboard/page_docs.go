package dashboard

import (
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"
)

// docsPage is the description of the API, for people.
type docsPage struct {
	About      string
	Operations []docsOperation
	Schemas    []docsSchema
	Problems   []docsProblem
}

// docsOperation is one address with one method.
type docsOperation struct {
	ID, Method, Path, Summary, About string
	// Right is what a role needs; empty where nobody is asked.
	Right        string
	Params       []docsField
	Body, Answer string // names of schemas
	Statuses     []docsField
}

// docsSchema is one object and its members.
type docsSchema struct {
	Name, About string
	Members     []docsField
}

// docsField is one line: a name, what type it is of, and what it means.
type docsField struct{ Name, Type, About string }

// docsProblem is one class of problem.
type docsProblem struct {
	Slug, Title string
	Status      int
}

// showDocs serves the description of the API as a page.
func (s *Server) showDocs(c *gin.Context) error {
	view := docsPage{About: s.spec.api.Info.Description}
	for _, r := range s.table {
		if r.doc != nil {
			view.Operations = append(view.Operations, s.docsOperation(r))
		}
	}
	schemas := s.spec.registry.Map()
	for _, name := range slices.Sorted(maps.Keys(schemas)) {
		view.Schemas = append(view.Schemas, docsSchema{name, schemas[name].Description, members("", schemas[name])})
	}
	for _, cl := range classes {
		view.Problems = append(view.Problems, docsProblem{cl.slug, cl.title, cl.status})
	}
	return s.render(c, http.StatusOK, "api", view)
}

// docsOperation is the description of one route.
func (s *Server) docsOperation(r route) docsOperation {
	op := s.spec.operation(r)
	d := docsOperation{
		ID: op.OperationID, Method: op.Method, Path: op.Path, Summary: op.Summary, About: op.Description,
	}
	if r.right != open {
		d.Right = string(r.right)
	}
	for _, p := range op.Parameters {
		d.Params = append(d.Params, docsField{p.Name, p.In, p.Description})
	}
	switch {
	case len(r.doc.takes) > 0:
		d.Body = strings.Join(r.doc.takes, " or ")
	case op.RequestBody != nil:
		d.Body = typeName(op.RequestBody.Content["application/json"].Schema)
	}
	for _, status := range slices.Sorted(maps.Keys(op.Responses)) {
		answer := op.Responses[status]
		field := docsField{Name: status, About: answer.Description}
		for media, content := range answer.Content {
			field.Type = typeName(content.Schema)
			if media != "application/json" && media != "application/problem+json" {
				field.Type = media
			}
		}
		d.Statuses = append(d.Statuses, field)
	}
	return d
}

// members lists the members of an object, those of objects inside it with
// their path.
func members(prefix string, s *huma.Schema) []docsField {
	var all []docsField
	for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
		m := s.Properties[name]
		all = append(all, docsField{prefix + name, typeName(m), m.Description})
		if m.Type == huma.TypeObject {
			all = append(all, members(prefix+name+".", m)...)
		}
	}
	return all
}

// typeName says in a few words what a schema allows.
func typeName(s *huma.Schema) string {
	if s.Ref != "" {
		return s.Ref[strings.LastIndexByte(s.Ref, '/')+1:]
	}
	var alternatives []string
	for _, a := range s.AnyOf {
		alternatives = append(alternatives, typeName(a))
	}
	switch {
	case len(alternatives) > 0:
		return strings.Join(alternatives, " or ")
	case len(s.Enum) > 0:
		var all []string
		for _, w := range s.Enum {
			if word, ok := w.(string); ok {
				all = append(all, word)
			}
		}
		return strings.Join(all, " · ")
	case s.Type == huma.TypeArray:
		return "list of " + typeName(s.Items)
	case s.Format != "":
		return s.Format
	}
	return s.Type
}
