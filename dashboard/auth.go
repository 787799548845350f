package dashboard

import (
	"slices"

	"github.com/gin-gonic/gin"

	"solewright/models/retail"
)

// Identity is who a request comes from. The zero Identity is nobody.
type Identity struct {
	// Code is the account's code, or "token:NAME" for an API token.
	Code   string
	Role   retail.Role
	Scopes []retail.Scope
	// Device is the code of the enrolled tablet the request comes from, if any.
	Device string
	// Store is the store the bench opens for: the tablet's, else the only
	// store scope of the account, else empty.
	Store string
}

// Known reports whether somebody is signed in.
func (id Identity) Known() bool { return id.Code != "" }

// Fleet reports whether the identity acts on the whole fleet.
func (id Identity) Fleet() bool { return slices.Contains(id.Scopes, retail.Scope{}) }

const identityKey = "solewright.identity"

// who returns the identity behind the request.
func (s *Server) who(c *gin.Context) Identity {
	id, _ := c.Get(identityKey)
	who, _ := id.(Identity)
	return who
}
