package dashboard

import (
	"encoding/base64"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// How many items a page of a list holds.
const (
	defaultLimit = 50
	maxLimit     = 200
)

// pageOf is one page of a list.
type pageOf[T any] struct {
	Items []T    `json:"items" nullable:"false" doc:"The items of this page, in the list's order"`
	Next  string `json:"next,omitempty" doc:"Opaque cursor of the next page; absent on the last"`
}

// pageParams are the parameters that every list takes.
var pageParams = []param{
	{"limit", "Items on a page, 1–200; 50 when absent.", wholeOf(1, maxLimit, "")},
	{"cursor", "Where to go on: next of the page before, as it came.", textOf(0, "")},
}

// scopeParams narrow a list to where and when, within the caller's scope.
var scopeParams = []param{
	{"store", "Code of a store.", textOf(0, "")},
	{"region", "Code of a region.", textOf(0, "")},
	{"from", "First local day, YYYY-MM-DD.", dateOf()},
	{"to", "Last local day, YYYY-MM-DD.", dateOf()},
}

// params puts lists of parameters together.
func params(lists ...[]param) []param { return slices.Concat(lists...) }

// wordAsked returns the place of a parameter's word in a closed list, 0 where
// it is absent.
func wordAsked(c *gin.Context, name string, list []string) (int, error) {
	i := slices.Index(list, c.Query(name))
	if i < 0 {
		return 0, refuseParameter(name, "want one of %s", strings.TrimPrefix(strings.Join(list, ", "), ", "))
	}
	return i, nil
}

// uuidAsked returns a parameter that is a UUID, zero where it is absent.
func uuidAsked(c *gin.Context, name string) (assess.UUID, error) {
	q := c.Query(name)
	if q == "" {
		return assess.UUID{}, nil
	}
	u, err := assess.ParseUUID(q)
	if err != nil {
		return u, refuseParameter(name, "want a UUID")
	}
	return u, nil
}

// exactDays refuses from and to that are no days.
func exactDays(c *gin.Context) error {
	var errs []error
	for _, name := range []string{"from", "to"} {
		if day := c.Query(name); day != "" && !isDay(day) {
			errs = append(errs, refuseParameter(name, "want a day such as 2026-10-05"))
		}
	}
	return allOf(errs...)
}

// allOf makes one answer of what is wrong with several parameters; any other error
// goes first.
func allOf(errs ...error) error {
	all := &failure{class: badQuery}
	for _, err := range errs {
		f, ok := errors.AsType[*failure](err)
		if err != nil && (!ok || f.class != badQuery) {
			return err
		}
		if err != nil {
			all.values = append(all.values, f.values...)
		}
	}
	if len(all.values) == 0 {
		return nil
	}
	return all
}

// pageAsked reads limit and cursor.
func pageAsked(c *gin.Context) (models.Page, error) {
	p := models.Page{After: c.Query("cursor"), Limit: defaultLimit}
	if q := c.Query("limit"); q != "" {
		n, err := strconv.Atoi(q)
		if err != nil || n < 1 || n > maxLimit {
			return p, refuseParameter("limit", "want a whole number from 1 to %d", maxLimit)
		}
		p.Limit = n
	}
	return p, nil
}

// answerPage answers with one page of a list.
func answerPage[T any](c *gin.Context, items []T, next string) {
	if items == nil {
		items = []T{}
	}
	if next != "" {
		linkNext(c, next)
	}
	c.JSON(http.StatusOK, pageOf[T]{items, next})
}

// answerPart answers with one page of a list that is all in memory, ordered by
// key; the cursor is the key of the last item before the page.
func answerPart[T, Out any](c *gin.Context, all []T, key func(*T) string, write func(*T) Out) error {
	p, err := pageAsked(c)
	if err != nil {
		return err
	}
	after, err := base64.RawURLEncoding.DecodeString(p.After)
	if err != nil {
		return refuseParameter("cursor", "want next of the page before, as it came")
	}
	var items []Out
	var last, next string
	for i := range all {
		k := key(&all[i])
		if k <= string(after) && p.After != "" {
			continue
		}
		if len(items) == p.Limit {
			next = base64.RawURLEncoding.EncodeToString([]byte(last))
			break
		}
		items, last = append(items, write(&all[i])), k
	}
	answerPage(c, items, next)
	return nil
}

// linkNext sets the Link header (RFC 8288) to the request's own address with
// the cursor of the next page.
func linkNext(c *gin.Context, cursor string) {
	q := c.Request.URL.Query()
	q.Set("cursor", cursor)
	next := url.URL{Path: c.Request.URL.Path, RawQuery: q.Encode()}
	c.Header("Link", "<"+next.String()+`>; rel="next"`)
}

// listSchema describes the answer of a list whose items have the schema named.
func listSchema(items string) *huma.Schema {
	return objectOf(map[string]*huma.Schema{
		"items": {Type: huma.TypeArray, Items: &huma.Schema{Ref: schemaRoot + items}, Description: "The items of this page, in the list's order"},
		"next":  textOf(0, "Opaque cursor of the next page; absent on the last"),
	}, "One page of a list")
}
