package dashboard

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models/exchange"
)

// importsPage takes a file and lists what came of those before.
type importsPage struct {
	officeFrame
	Lines     []sheetLine
	FormWrong string
	Past      []importPast
}

// importPast is one import of the trail.
type importPast struct {
	At, By, Kind, File, What string
	Failed                   bool
}

// importPage is one file: what a dry run found, what may be done with it, and
// what became of it.
type importPage struct {
	officeFrame
	ID, Kind, Name string
	Running        bool
	Stores, Over   bool // the run stores, and has
	Progress       string
	Counts         []importCount
	Why            string
	Bad            []badLine
	More           int
	CanAll         bool
	CanKeep        bool
	Rejected       bool
}

type importCount struct {
	Label string
	N     int
}

// badLine is one value of a file that was refused.
type badLine struct {
	Line                      int
	Column, Value, Why, Wants string
}

const (
	pastShown = 30
	// badShown is how many bad lines stand on the page; all are in the file that
	// can be downloaded.
	badShown = 200
	// importRefresh is after how many seconds the page of a run asks again.
	importRefresh = 2
)

// showImports answers with the form for a file and the imports before.
func (s *Server) showImports(c *gin.Context) error {
	return s.importsPage(c, http.StatusOK, c.Query("kind"), nil)
}

func (s *Server) importsPage(c *gin.Context, status int, kind string, wrong assess.FieldErrors) error {
	w := s.words(c)
	view := importsPage{officeFrame: s.officeFrame(c)}
	view.Lines = w.sheet("import", []written{
		{name: "kind", kind: "select", choices: w.kinds(exchange.ImportKinds), needed: true},
		{name: "file", kind: "file", needed: true},
	}, map[string]string{"kind": kind}, wrong)
	view.FormWrong = strayErrors(wrong, view.Lines)
	past, err := s.db.Imports(c.Request.Context(), pastShown)
	if err != nil {
		return err
	}
	for i := range past {
		p := &past[i]
		row := importPast{At: p.At.UTC().Format(time.DateTime), By: p.Account, Kind: w.say("office.kind." + p.Kind), File: p.File, Failed: p.Failed()}
		switch {
		case p.Why != "":
			row.What = w.say("office.imports.broke", "why", p.Why)
		case p.Failed():
			row.What = w.say("office.imports.refused", "n", p.Refused, "read", p.Read)
		default:
			row.What = w.say("office.imports.stored", "n", p.Stored, "known", p.Known, "refused", p.Refused)
		}
		view.Past = append(view.Past, row)
	}
	return s.render(c, status, "office-imports", view)
}

// kinds offers kinds of records.
func (w words) kinds(all []string) []choice {
	choices := make([]choice, len(all))
	for i, kind := range all {
		choices[i] = choice{Value: kind, Text: w.say("office.kind." + kind)}
	}
	return choices
}

// doImport takes a file and tries it: nothing is stored yet.
func (s *Server) doImport(c *gin.Context) error {
	// A large file takes longer than other requests may; a writer without
	// deadlines, as in a test, has none to move.
	control := http.NewResponseController(c.Writer)
	_ = control.SetReadDeadline(time.Now().Add(importReading))
	_ = control.SetWriteDeadline(time.Now().Add(importReading + importPatience + requestTimeout))
	c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, maxImport+maxForm)
	refused := func(kind string, e assess.FieldError) error {
		return s.importsPage(c, http.StatusUnprocessableEntity, kind, assess.FieldErrors{e})
	}
	if err := c.Request.ParseMultipartForm(maxForm); err != nil {
		if _, large := errors.AsType[*http.MaxBytesError](err); large {
			return refused("", assess.FieldError{Field: "file", Want: fmt.Sprintf("a file of at most %d MB; for a larger one, solewright import", maxImport>>20), Err: assess.ErrOutOfRange})
		}
		return refused("", assess.FieldError{Field: "file", Want: "a CSV file", Err: assess.ErrMissingField})
	}
	defer func() { _ = c.Request.MultipartForm.RemoveAll() }()
	kind := c.PostForm("kind")
	if !slices.Contains(exchange.ImportKinds, kind) {
		return refused(kind, assess.FieldError{Field: "kind", Value: kind, Want: "one of " + strings.Join(exchange.ImportKinds, ", "), Err: assess.ErrOutOfRange})
	}
	sent, header, err := c.Request.FormFile("file")
	if err != nil || header.Size == 0 {
		return refused(kind, assess.FieldError{Field: "file", Want: "a CSV file", Err: assess.ErrMissingField})
	}
	defer sent.Close()
	file, err := s.imports.add(s.who(c).actor(), kind, filepath.Base(header.Filename), sent)
	if err != nil {
		return err
	}
	file.start(s.db, s.importOptions(true, true)).wait(c.Request.Context())
	c.Redirect(http.StatusSeeOther, "/office/imports/"+file.ID)
	return nil
}

// importOptions are those of a pass. A dry run keeps the good rows, so that it
// counts what would be stored of them.
func (s *Server) importOptions(dry, keep bool) exchange.Options {
	return exchange.Options{DryRun: dry, KeepGood: keep, Today: exchange.Today(s.now())}
}

// fileAsked is the file that the address names, of whoever asks.
func (s *Server) fileAsked(c *gin.Context) (*importFile, error) {
	if file := s.imports.of(s.who(c).actor(), c.Param("id")); file != nil {
		return file, nil
	}
	return nil, refuse(notFound, "the file is not here any more: send it again; what was stored stands in the list of imports")
}

// showImport answers with what a pass over the file found, or how far it is.
func (s *Server) showImport(c *gin.Context) error {
	file, err := s.fileAsked(c)
	if err != nil {
		return err
	}
	w := s.words(c)
	over, run := file.last()
	view := importPage{officeFrame: s.officeFrame(c), ID: file.ID, Kind: w.say("office.kind." + file.Kind), Name: file.Name, Stores: run.stores, Over: over}
	if view.Running = !run.isDone(); view.Running {
		view.Progress = w.say("office.imports.progress", "n", int(file.rows.Load()), "of", max(file.Lines, 1))
		c.Header("Refresh", strconv.Itoa(importRefresh))
		return s.render(c, http.StatusOK, "office-import", view)
	}
	sum, bad := &run.sum, badLines(run)
	stored := "office.imports.would"
	if over {
		stored = "office.imports.did"
	}
	refused := errors.Is(run.err, exchange.ErrRefused)
	if run.err == nil || refused {
		view.Counts = []importCount{
			{w.say("office.imports.read"), sum.Read},
			{w.say(stored), sum.Stored},
			{w.say("office.imports.known"), sum.Known},
			{w.say("office.imports.bad"), len(sum.Bad)},
		}
		view.CanAll, view.CanKeep = !over && len(sum.Bad) == 0, !over && len(sum.Bad) > 0 && len(sum.Bad) < sum.Read
		view.Rejected = len(sum.Bad) > 0
		if refused {
			view.Why = w.say("office.imports.refused", "n", len(sum.Bad), "read", sum.Read)
		}
	} else if bad == nil {
		s.failed(c, run.err)
		view.Why = w.say("office.imports.broke", "why", answerTo(run.err).title)
	}
	view.Bad, view.More = bad[:min(len(bad), badShown)], max(len(bad)-badShown, 0)
	return s.render(c, http.StatusOK, "office-import", view)
}

// badLines says what is wrong with the rows of a pass, or with the file as a
// whole: the column, the value, why, and what is allowed.
func badLines(run *importRun) []badLine {
	var all []badLine
	add := func(line int, err error) {
		fields, ok := wrongFieldsOf(err)
		if !ok {
			all = append(all, badLine{Line: line, Why: conflictReason(err)})
		}
		for _, e := range fields {
			all = append(all, badLine{Line: max(e.Line, line), Column: strings.TrimPrefix(e.Field, "/"), Value: e.Value, Why: e.Err.Error(), Wants: e.Want})
		}
	}
	for _, b := range run.sum.Bad {
		add(b.Line, b.Err)
	}
	if _, ofFile := wrongFieldsOf(run.err); ofFile {
		add(1, run.err)
	}
	return all
}

// doImportAct stores the rows of a file, or drops it.
func (s *Server) doImportAct(c *gin.Context) error {
	file, err := s.fileAsked(c)
	if err != nil {
		return err
	}
	posted, err := form(c)
	if err != nil {
		return err
	}
	switch act := posted.Get("act"); act {
	case "all", "keep":
		file.start(s.db, s.importOptions(false, act == "keep")).wait(c.Request.Context())
	case "drop":
		s.imports.forget(file)
		return officeDone(c, "/office/imports", "dropped", file.Name)
	default:
		return refuse(badSyntax, "act is all, keep or drop")
	}
	c.Redirect(http.StatusSeeOther, "/office/imports/"+file.ID)
	return nil
}

// showRejected answers with the bad rows of a file as they stand in it, to be
// put right and sent again.
func (s *Server) showRejected(c *gin.Context) error {
	file, err := s.fileAsked(c)
	if err != nil {
		return err
	}
	_, run := file.last()
	if !run.isDone() || len(run.sum.Bad) == 0 {
		return refuse(notFound, "no row of the file was refused")
	}
	var b bytes.Buffer
	if err := exchange.Rejected(file.Kind, file.read(), run.sum.Bad, &b); err != nil {
		return err
	}
	attach(c, file.Kind+".rejected.csv", "text/csv; charset=utf-8", b.Bytes())
	return nil
}

// exportsPage offers the downloads.
type exportsPage struct {
	officeFrame
	Lines []sheetLine
}

// showExports answers with the form of a download, or leads to the download that
// was asked for.
func (s *Server) showExports(c *gin.Context) error {
	w, who := s.words(c), s.who(c)
	values, wrong := map[string]string{}, assess.FieldErrors(nil)
	for _, name := range []string{"kind", "store", "first", "last"} {
		values[name] = strings.TrimSpace(c.Query(name))
	}
	kinds := slices.DeleteFunc(slices.Clone(exchange.ExportKinds), func(kind string) bool { return kind == "runners" && !who.fleet(exportRecords) })
	inReach, err := s.storeChoices(c, w.say("office.exports.all"))
	if err != nil {
		return err
	}
	if values["kind"] != "" {
		want := func(ok bool, name, wants string) {
			if !ok {
				wrong.Add(assess.FieldError{Field: name, Value: values[name], Want: wants, Err: assess.ErrOutOfRange})
			}
		}
		want(slices.Contains(kinds, values["kind"]), "kind", "one of "+strings.Join(kinds, ", "))
		want(values["first"] == "" || isDay(values["first"]), "first", "a day such as 2026-10-31")
		want(values["last"] == "" || isDay(values["last"]), "last", "a day such as 2026-10-31")
		want(slices.ContainsFunc(inReach, func(x choice) bool { return x.Value == values["store"] }), "store", "a store in your scope")
		if len(wrong) == 0 {
			to := apiRoot + "/export/" + url.PathEscape(values["kind"]) + ".csv"
			if q := encodeQuery("from", values["first"], "to", values["last"], "store", values["store"]); q != "" {
				to += "?" + q
			}
			c.Redirect(http.StatusSeeOther, to)
			return nil
		}
	}
	view := exportsPage{officeFrame: s.officeFrame(c), Lines: w.sheet("export", []written{
		{name: "kind", kind: "select", choices: w.kinds(kinds), needed: true},
		{name: "store", kind: "select", choices: inReach},
		{name: "first", kind: "date"},
		{name: "last", kind: "date"},
	}, values, wrong)}
	status := http.StatusOK
	if len(wrong) > 0 {
		status = http.StatusUnprocessableEntity
	}
	return s.render(c, status, "office-exports", view)
}
