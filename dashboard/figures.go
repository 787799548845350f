package dashboard

import (
	"bytes"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/reports/figure"
)

// figureView is a figure on a page: what it is, how it is read, its drawing, and
// the same numbers as a table and as files.
type figureView struct {
	ID, Title, Caption string
	SVG                template.HTML
	Table              figure.Table
	// CSV and File are the addresses of the files.
	CSV, File string

	figure figure.Figure
}

// Rows writes the rows of the table: that of a funnel has thousands, for which a
// template takes most of a page's time.
func (f figureView) Rows() template.HTML {
	var b strings.Builder
	for _, row := range f.Table.Rows {
		b.WriteString("<tr>")
		for i, cell := range row {
			if f.Table.Columns[i].Number {
				b.WriteString(`<td class="num">`)
			} else {
				b.WriteString("<td>")
			}
			template.HTMLEscape(&b, []byte(cell.Text))
			b.WriteString("</td>")
		}
		b.WriteString("</tr>")
	}
	return template.HTML(b.String())
}

// figure lays a figure out for a page. Its files are at the page's own address,
// so that they answer to the same filters.
func (s *Server) figure(c *gin.Context, id, title, caption string, f figure.Figure) figureView {
	w := s.words(c)
	file := func(as string) string { return address(c, "figure", id, "as", as) }
	return figureView{
		ID: id, Title: title, Caption: caption, SVG: drawn(f.Draw(w.say)), Table: f.Table(w.say), CSV: file("csv"), File: file("svg"), figure: f,
	}
}

// drawn is a drawing as a part of a page. Package figure escapes every text that
// it writes.
func drawn(s *figure.Scene) template.HTML { return template.HTML(s.SVG()) }

// serveFigure answers with a file of one of a page's figures, where the address
// asks for one.
func (s *Server) serveFigure(c *gin.Context, figures ...figureView) (bool, error) {
	as := c.Query("as")
	if as == "" {
		return false, nil
	}
	for i := range figures {
		f := &figures[i]
		if f.ID != c.Query("figure") {
			continue
		}
		switch as {
		case "csv":
			var b bytes.Buffer
			if err := f.Table.CSV(&b); err != nil {
				return true, err
			}
			attach(c, f.ID+".csv", "text/csv; charset=utf-8", b.Bytes())
			return true, nil
		case "svg":
			attach(c, f.ID+".svg", "image/svg+xml", figure.File(f.figure, f.Title, f.Caption, s.words(c).say))
			return true, nil
		}
	}
	return true, refuse(notFound, "there is no such figure on this page")
}

// attach answers with a file to keep.
func attach(c *gin.Context, name, kind string, data []byte) {
	c.Header("Content-Disposition", `attachment; filename="`+name+`"`)
	c.Header("Cache-Control", "private, no-cache")
	c.Data(http.StatusOK, kind, data)
}

// address is the page's own address with parameters changed, which come as
// name, value; an empty value takes one away. Paging starts anew.
func address(c *gin.Context, changes ...string) string {
	return at(c.Request.URL.Path, c.Request.URL.Query(), append([]string{"cursor", ""}, changes...)...)
}

// at is an address with parameters changed.
func at(path string, query url.Values, changes ...string) string {
	for i := 0; i+1 < len(changes); i += 2 {
		if query.Del(changes[i]); changes[i+1] != "" {
			query.Set(changes[i], changes[i+1])
		}
	}
	return (&url.URL{Path: path, RawQuery: query.Encode()}).String()
}
