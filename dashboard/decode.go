package dashboard

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"
)

// maxBody is how many bytes of a body are read: a reading with every value set
// takes under 4 KiB, a draft rule set under 64 KiB.
const maxBody = 256 << 10

// readBody returns the whole body of a JSON request, bounded.
func readBody(c *gin.Context) ([]byte, error) {
	kind, _, err := mime.ParseMediaType(c.GetHeader("Content-Type"))
	if err != nil || kind != "application/json" {
		return nil, refuse(badType, "send Content-Type: application/json")
	}
	var b bytes.Buffer
	if n := c.Request.ContentLength; n > 0 && n <= maxBody {
		b.Grow(int(n) + bytes.MinRead)
	}
	if _, err := b.ReadFrom(http.MaxBytesReader(c.Writer, c.Request.Body, maxBody)); err != nil {
		if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return nil, err
		}
		return nil, &failure{class: badSyntax, detail: "the body ended early", cause: err}
	}
	return b.Bytes(), nil
}

// decode reads a JSON body into v, a pointer to a struct whose schema is in the
// description of the API. Every value that the schema refuses is named.
func (s *Server) decode(c *gin.Context, v any) error {
	body, err := readBody(c)
	if err != nil {
		return err
	}
	return s.spec.decode(body, v)
}

func (sp *spec) decode(body []byte, v any) error {
	var loose any
	if err := json.Unmarshal(body, &loose); err != nil {
		return notJSON(err)
	}
	path, res := huma.NewPathBuffer(nil, 0), &huma.ValidateResult{}
	schema := sp.registry.Schema(reflect.TypeOf(v).Elem(), false, "")
	huma.Validate(sp.registry, schema, path, huma.ModeWriteToServer, loose, res)
	if len(res.Errors) > 0 {
		f := &failure{class: badValues}
		for _, err := range res.Errors {
			detail := err.(huma.ErrorDetailer).ErrorDetail()
			f.values = append(f.values, badValue{Pointer: pointerTo(loose, detail.Location), Detail: detail.Message})
		}
		return f
	}
	if f := (&failure{class: badValues}); f.findUnstorable(loose, "") {
		return f
	}
	strict := json.NewDecoder(bytes.NewReader(body))
	strict.DisallowUnknownFields()
	if err := strict.Decode(v); err != nil {
		pointer := ""
		if e, ok := errors.AsType[*json.UnmarshalTypeError](err); ok && e.Field != "" {
			pointer = "/" + strings.ReplaceAll(e.Field, ".", "/")
		}
		return &failure{class: badValues, values: []badValue{{Pointer: fragment(pointer), Detail: "the value is of the wrong type, or too large"}}, cause: err}
	}
	return nil
}

// findUnstorable names every text within value that can't be stored, and reports
// whether there is one.
func (f *failure) findUnstorable(value any, pointer string) bool {
	switch v := value.(type) {
	case string:
		if !isText(v) {
			f.values = append(f.values, badValue{Pointer: fragment(pointer), Detail: wantText})
		}
	case []any:
		for i := range v {
			f.findUnstorable(v[i], pointer+"/"+strconv.Itoa(i))
		}
	case map[string]any:
		for _, name := range slices.Sorted(maps.Keys(v)) {
			f.findUnstorable(v[name], pointer+member(name))
		}
	}
	return len(f.values) > 0
}

// notJSON is the answer to a body that is no JSON, with the place where it
// stops being one.
func notJSON(err error) error {
	detail := "the body is no JSON"
	if e, ok := errors.AsType[*json.SyntaxError](err); ok && !errors.Is(err, io.ErrUnexpectedEOF) {
		detail = "the body is no JSON from byte " + strconv.FormatInt(e.Offset, 10) + " on"
	}
	return &failure{class: badSyntax, detail: detail, cause: err}
}

// pointerTo turns a place such as items[2].name in value into a JSON pointer.
// A name may itself hold dots and brackets, so the value says where names end.
func pointerTo(value any, place string) string {
	var pointer string
	for place != "" {
		place = strings.TrimPrefix(place, ".")
		if list, ok := value.([]any); ok {
			index, rest, _ := strings.Cut(strings.TrimPrefix(place, "["), "]")
			i, err := strconv.Atoi(index)
			if err != nil || i < 0 || i >= len(list) {
				break
			}
			pointer, value, place = pointer+"/"+index, list[i], rest
			continue
		}
		object, _ := value.(map[string]any)
		name := longestName(object, place)
		pointer += member(name)
		value, place = object[name], place[len(name):]
	}
	return fragment(pointer)
}

// member is the step of a JSON pointer to the member of that name.
func member(name string) string {
	return "/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(name)
}

// longestName returns the longest member of object that place begins with, and
// place itself where there is none.
func longestName(object map[string]any, place string) string {
	longest, found := "", false
	for name := range object {
		rest, ok := strings.CutPrefix(place, name)
		if ok && (rest == "" || rest[0] == '.' || rest[0] == '[') && (!found || len(name) > len(longest)) {
			longest, found = name, true
		}
	}
	if !found {
		return place
	}
	return longest
}

// fragment writes a JSON pointer as a URI fragment (RFC 6901, section 6).
func fragment(pointer string) string {
	return "#" + (&url.URL{Fragment: pointer}).EscapedFragment()
}
