package dashboard

import (
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"
)

// officeWays are the pages of the office in the order in which they stand on
// the board. A line is shown where the reader has the right to the page.
var officeWays = []navItem{
	{Path: "/office/rules", Key: "office.rules"},
	{Path: "/office/credit", Key: "office.credit"},
	{Path: "/office/catalogue", Key: "office.catalogue"},
	{Path: "/office/stores", Key: "office.stores"},
	{Path: "/office/staff", Key: "office.staff"},
	{Path: "/office/tablets", Key: "office.tablets"},
	{Path: "/office/trail", Key: "office.trail"},
	{Path: "/office/faults", Key: "office.faults"},
	{Path: "/office/pairs", Key: "office.pairs"},
	{Path: "/office/sales", Key: "office.sales"},
	{Path: "/office/events", Key: "office.events"},
	{Path: "/office/imports", Key: "office.imports"},
	{Path: "/office/exports", Key: "office.exports"},
	{Path: "/office/requests", Key: "office.requests"},
}

// officeFrame is what stands around every page of the office.
type officeFrame struct {
	Ways []navItem
	// Done says what was just done, Wrong why nothing was.
	Done, Wrong string
}

// officeFrame returns the frame for the reader of a page.
func (s *Server) officeFrame(c *gin.Context) officeFrame {
	w, f := s.words(c), officeFrame{}
	for _, way := range officeWays {
		if s.opens(s.who(c), way.Path) {
			way.Here = c.Request.URL.Path == way.Path || strings.HasPrefix(c.Request.URL.Path, way.Path+"/")
			f.Ways = append(f.Ways, way)
		}
	}
	if key := "office.done." + c.Query("done"); w.has(key) {
		f.Done = w.say(key, "of", c.Query("of"))
	}
	return f
}

// officeDone sends who stored something back to a page, which says so.
func officeDone(c *gin.Context, to, what, of string) error {
	sep := "?"
	if strings.Contains(to, "?") {
		sep = "&"
	}
	c.Redirect(http.StatusSeeOther, to+sep+encodeQuery("done", what, "of", of))
	return nil
}

// showOffice sends people to the first page of the office that they have.
func (s *Server) showOffice(c *gin.Context) error {
	for _, way := range officeWays {
		if s.opens(s.who(c), way.Path) {
			c.Redirect(http.StatusSeeOther, way.Path)
			return nil
		}
	}
	return refuse(forbidden, "no page of the office is open to your role")
}
