package dashboard

import (
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"solewright/models/retail"
)

// homes are the pages that a role starts on, the best first. A server shows
// the first that it has.
var homes = map[retail.Role][]string{
	retail.Fitter:  {"/bench"},
	retail.Trainee: {"/bench"},
	retail.Manager: {"/fleet", "/bench"},
	retail.Trainer: {"/training"},
	retail.Office:  {"/office", "/bench"},
}

// homePage stands where a role has no page on this server.
type homePage struct {
	// Roles are those that the person holds.
	Roles string
}

// showHome sends people to the page that their main role starts on, or to that
// of another role where there is none.
func (s *Server) showHome(c *gin.Context) error {
	who := s.who(c)
	for _, role := range who.roles() {
		for _, path := range homes[retail.Role(role)] {
			if s.opens(who, path) {
				c.Redirect(http.StatusSeeOther, path)
				return nil
			}
		}
	}
	return s.render(c, http.StatusOK, "home", homePage{Roles: s.words(c).roles(who)})
}

// opens reports whether there is a page at the path that who has the right to.
func (s *Server) opens(who Identity, path string) bool {
	return slices.ContainsFunc(s.table, func(r route) bool {
		return r.method == http.MethodGet && r.path == path && who.allows(r.right)
	})
}
