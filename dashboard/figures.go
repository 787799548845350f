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
	// CSV and File are the addresses of the files, Whole that of the page of its table.
	CSV, File, Whole string
	// Later is where the page has the figure, which takes long to find; it is nothing
	// but its title here.
	Later string

	figure figure.Figure
	say    figure.Say
	table  *figure.Table // once it is made
}

// SVG draws the figure.
func (f figureView) SVG() template.HTML { return drawn(f.figure.Draw(f.say)) }

// Table returns the figure's numbers.
func (f figureView) Table() *figure.Table {
	if len(f.table.Columns) == 0 {
		*f.table = f.figure.Table(f.say)
	}
	return f.table
}

// Long says that the table is a page of its own: that of a funnel of thousands would
// be most of every page that shows it.
func (f figureView) Long() bool {
	funnel, ok := f.figure.(*figure.Funnel)
	return ok && funnel.Crowded()
}

// Rows writes the rows of the table: that of a funnel has thousands, for which a
// template takes most of a page's time.
func (f figureView) Rows() template.HTML {
	var b strings.Builder
	for _, row := range f.Table().Rows {
		b.WriteString("<tr>")
		for i, cell := range row {
			if f.table.Columns[i].Number {
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
	file := func(as string) string { return address(c, "figure", id, "as", as) }
	return figureView{
		ID: id, Title: title, Caption: caption, CSV: file("csv"), File: file("svg"), Whole: file("table"),
		figure: f, say: s.words(c).say, table: new(figure.Table),
	}
}

// laterFigure holds the place of a figure that is not found yet.
func (s *Server) laterFigure(c *gin.Context, id, title string) figureView {
	return figureView{ID: id, Title: title, Later: address(c, waitKey, "yes")}
}

// drawn is a drawing as a part of a page. Package figure escapes every text that
// it writes.
func drawn(s *figure.Scene) template.HTML { return template.HTML(s.SVG()) }

// tablePage is the table of a figure as a page of its own.
type tablePage struct {
	figureView
	Back string
}

// serveFigure answers with a file of one of a page's figures, or with its table,
// where the address asks for one.
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
			if err := f.Table().CSV(&b); err != nil {
				return true, err
			}
			attach(c, f.ID+".csv", "text/csv; charset=utf-8", b.Bytes())
			return true, nil
		case "svg":
			attach(c, f.ID+".svg", "image/svg+xml", figure.File(f.figure, f.Title, f.Caption, s.words(c).say))
			return true, nil
		case "table":
			return true, s.render(c, http.StatusOK, "fleet-table", tablePage{*f, address(c, "figure", "", "as", "")})
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
