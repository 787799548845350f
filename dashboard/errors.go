package dashboard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/photos"
)

// class is one class of failed request: its status, the fragment of the
// documentation that explains it, and its title.
type class struct {
	status int
	slug   string
	title  string
}

// The classes of failure, as the documentation lists them.
var (
	badSyntax   = &class{http.StatusBadRequest, "bad-syntax", "The request can't be read"}
	badQuery    = &class{http.StatusBadRequest, "bad-query", "A parameter is wrong"}
	notSignedIn = &class{http.StatusUnauthorized, "not-signed-in", "Sign in first"}
	forbidden   = &class{http.StatusForbidden, "forbidden", "Not yours to do"}
	crossOrigin = &class{http.StatusForbidden, "cross-origin", "The request came from another site"}
	notFound    = &class{http.StatusNotFound, "not-found", "Not found"}
	badMethod   = &class{http.StatusMethodNotAllowed, "bad-method", "Not done that way"}
	conflict    = &class{http.StatusConflict, "conflict", "It stands otherwise already"}
	tooLarge    = &class{http.StatusRequestEntityTooLarge, "too-large", "The body is too large"}
	badType     = &class{http.StatusUnsupportedMediaType, "bad-type", "The body is of the wrong type"}
	badValues   = &class{http.StatusUnprocessableEntity, "bad-values", "Some values are wrong"}
	tooMany     = &class{http.StatusTooManyRequests, "too-many", "Too many tries"}
	broken      = &class{http.StatusInternalServerError, "broken", "Something went wrong here"}
	unready     = &class{http.StatusServiceUnavailable, "unready", "Not ready"}
	tooSlow     = &class{http.StatusServiceUnavailable, "too-slow", "It took too long"}
	// gone is never seen by the one who asked; it keeps closed tabs out of the
	// count of failures. 499 is common practice, no source.
	gone = &class{499, "gone", "The caller went away"}
)

// classes is every class, in the order of the documentation.
var classes = []*class{
	badSyntax, badQuery, notSignedIn, forbidden, crossOrigin, notFound, badMethod, conflict,
	tooLarge, badType, badValues, tooMany, broken, unready, tooSlow,
}

// badValue is one value that was refused, and where it stands: a JSON Pointer
// (RFC 6901) as a URI fragment into the body, or a parameter's name.
type badValue struct {
	Pointer   string `json:"pointer,omitempty" doc:"JSON Pointer to the value in the body, as a URI fragment" example:"#/left/tilt"`
	Parameter string `json:"parameter,omitempty" doc:"Name of the query or path parameter" example:"limit"`
	Detail    string `json:"detail" doc:"What is wrong, and what is allowed"`
}

// failure is an error that carries its answer.
type failure struct {
	*class
	detail string // shown
	values []badValue
	wait   time.Duration // how long to wait before another try, 0 for unknown
	cause  error         // logged, never shown
}

func (f *failure) Error() string {
	if f.cause != nil {
		return f.slug + ": " + f.cause.Error()
	}
	return f.slug + ": " + f.detail
}

func (f *failure) Unwrap() error { return f.cause }

// refuse returns a failure of class cl with a detail that is safe to show.
func refuse(cl *class, format string, args ...any) error {
	return &failure{class: cl, detail: fmt.Sprintf(format, args...)}
}

// refuseParameter returns a failure that names the parameter at fault.
func refuseParameter(name, format string, args ...any) error {
	return &failure{class: badQuery, values: []badValue{{Parameter: name, Detail: fmt.Sprintf(format, args...)}}}
}

// meanings is the one table from the errors of other packages to their answer.
// The detail is shown; the error's own text is not, for it may name tables.
var meanings = []struct {
	err    error
	class  *class
	detail string
}{
	{models.ErrNotFound, notFound, "there is no such record"},
	{models.ErrAmended, conflict, "the reading was amended before: amend the latest"},
	{models.ErrVoid, conflict, "the reading is void already: make a new one"},
	{models.ErrConflict, conflict, "the record exists with other content"},
	{models.ErrDenied, forbidden, ""},
	{models.ErrBusy, unready, "the database is busy: try again in a moment"},
	{models.ErrUnreachable, unready, "the database can't be reached"},
	{models.ErrFull, unready, "the database is full: nothing was stored"},
	{models.ErrReadOnly, unready, "the database takes no writes: nothing was stored"},
	{models.ErrSchemaOld, unready, "the database waits for its migration"},
	{models.ErrSchemaNew, unready, "the database is ahead of this server"},
	{photos.ErrFull, unready, "the store of photos is full: the photo was not kept"},
	{photos.ErrStore, unready, "the store of photos can't be reached: try again in a moment"},
	{fs.ErrNotExist, notFound, "there is nothing at this address"},
	{context.Canceled, gone, ""},
	{context.DeadlineExceeded, tooSlow, "try again, or ask for less"},
}

// answerTo returns the answer to err: its own, the table's, or a blank 500.
func answerTo(err error) *failure {
	if f, ok := errors.AsType[*failure](err); ok {
		return f
	}
	if e, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return &failure{class: tooLarge, detail: fmt.Sprintf("at most %d bytes are read", e.Limit), cause: err}
	}
	if e, ok := errors.AsType[assess.FieldErrors](err); ok {
		return wrongFields(e)
	}
	if e, ok := errors.AsType[assess.FieldError](err); ok {
		return wrongFields(assess.FieldErrors{e})
	}
	if e, ok := errors.AsType[*models.TooMany](err); ok {
		return &failure{class: tooMany, detail: "try again in " + e.Wait.Round(time.Second).String(), wait: e.Wait, cause: err}
	}
	for _, m := range meanings {
		if errors.Is(err, m.err) {
			return &failure{class: m.class, detail: m.detail, cause: err}
		}
	}
	return &failure{class: broken, cause: err}
}

// wrongFields is the answer to what was refused in a body. A body that is no
// JSON has no place to point at but the whole.
func wrongFields(errs assess.FieldErrors) *failure {
	f := &failure{class: badValues, cause: errs}
	for i := range errs {
		field := errs[i].Field
		switch {
		case errors.Is(errs[i], assess.ErrMalformed) && field == "":
			f.class = badSyntax
		case field != "" && !strings.HasPrefix(field, "/"):
			field = "/" + field // a column's name, which is the member's
		}
		f.values = append(f.values, badValue{Pointer: fragment(field), Detail: errs[i].Reason()})
	}
	return f
}

// wrongQuery is the answer to an error of a request without a body: what is
// wrong with a field is wrong with the parameter of that name.
func wrongQuery(err error) error {
	errs, ok := errors.AsType[assess.FieldErrors](err)
	if !ok {
		var one assess.FieldError
		if one, ok = errors.AsType[assess.FieldError](err); !ok {
			return err
		}
		errs = assess.FieldErrors{one}
	}
	f := &failure{class: badQuery, cause: err}
	for i := range errs {
		f.values = append(f.values, badValue{Parameter: strings.TrimPrefix(errs[i].Field, "/"), Detail: errs[i].Reason()})
	}
	return f
}

// problem is an answer in the form of RFC 9457.
type problem struct {
	Type   string     `json:"type" format:"uri-reference" doc:"Where this class of problem is explained" example:"/api/v1/docs#bad-values"`
	Title  string     `json:"title" doc:"The class of problem, in words"`
	Status int        `json:"status" doc:"The HTTP status"`
	Detail string     `json:"detail,omitempty" doc:"What happened this time"`
	ID     string     `json:"id" doc:"Names this very failure in the server's log"`
	Errors []badValue `json:"errors,omitempty" nullable:"false" doc:"Every value that was refused"`
}

// failAPI answers err as a problem. What a parameter was is said beside what it
// should be, as of a value in a body.
func (s *Server) failAPI(c *gin.Context, err error) {
	f := s.failed(c, err)
	if f.status == http.StatusUnauthorized {
		c.Header("WWW-Authenticate", `Bearer realm="solewright"`)
	}
	for i, v := range f.values {
		given := cmp.Or(c.Query(v.Parameter), c.Param(v.Parameter))
		if v.Parameter != "" && given != "" && !strings.HasPrefix(v.Detail, `"`) {
			f.values[i].Detail = fmt.Sprintf("%.48q: %s", given, v.Detail)
		}
	}
	c.Header("Content-Type", "application/problem+json")
	c.JSON(f.status, problem{
		Type:   apiRoot + "/docs#" + f.slug,
		Title:  f.title,
		Status: f.status,
		Detail: f.detail,
		ID:     requestID(c),
		Errors: f.values,
	})
	c.Abort()
}

// failed settles what err means and keeps it for the log line. An answer that
// has begun can't be taken back: the connection is cut, so that the caller
// doesn't take half an answer for the whole.
func (s *Server) failed(c *gin.Context, err error) *failure {
	if errors.Is(err, models.ErrFull) || errors.Is(err, models.ErrReadOnly) {
		s.unwritable.Store(true)
	}
	f := answerTo(err)
	c.Set(failureKey, f)
	if f.wait > 0 {
		c.Header("Retry-After", strconv.Itoa(int(f.wait.Seconds())+1))
	}
	if c.Writer.Written() {
		panic(http.ErrAbortHandler)
	}
	return f
}
