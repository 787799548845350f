package dashboard

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

var docShoeModels = operation{
	id: "list-shoe-models", summary: "List or search the catalogue",
	about: "By brand, model and version. With q, the models each of whose words begins a word of brand, model or version, those still sold first, on one page; with gtin, the one model with that number. By features, only catalogued models that have them; several words with commas between.",
	query: params(pageParams, []param{
		{"q", "Beginnings of words.", textOf(80, "")},
		{"gtin", "A GTIN, as scanned.", textOf(14, "")},
		{"category", "Categories.", textOf(0, "")},
		{"cushioning", "Words of cushioning.", textOf(0, "")},
		{"medial_support", "Words of medial support.", textOf(0, "")},
		{"flexibility", "Words of flexibility.", textOf(0, "")},
		{"width", "A word of the maker's widths, such as wide.", textOf(24, "")},
		{"sold", "true for models that are still sold.", oneOf([]string{"true", "false"}, "")},
	}),
	answer: ref("ShoeModels"), list: true, fails: []*class{badQuery},
}

// listShoeModels answers with models of the catalogue.
func (s *Server) listShoeModels(c *gin.Context) error {
	ctx := c.Request.Context()
	if gtin := c.Query("gtin"); gtin != "" {
		m, err := s.db.ShoeModelByGTIN(ctx, gtin)
		if errors.Is(err, models.ErrNotFound) {
			answerPage(c, []json.RawMessage{}, "")
			return nil
		}
		if err != nil {
			return err
		}
		answerPage(c, []json.RawMessage{writeShoe(&m)}, "")
		return nil
	}
	if q := strings.TrimSpace(c.Query("q")); q != "" {
		p, err := pageAsked(c)
		if err != nil {
			return err
		}
		found, err := s.db.SearchShoeModels(ctx, q, p.Limit)
		if err != nil {
			return wrongQuery(err)
		}
		items := make([]json.RawMessage, len(found))
		for i := range found {
			items[i] = writeShoe(&found[i])
		}
		answerPage(c, items, "")
		return nil
	}
	has, err := featuresAsked(c)
	if err != nil {
		return err
	}
	all, err := s.db.ShoeModels(ctx)
	if err != nil {
		return err
	}
	all = slices.DeleteFunc(all, func(m models.ShoeModel) bool { return !has(&m) })
	slices.SortFunc(all, func(a, b models.ShoeModel) int { return strings.Compare(shoeKey(&a), shoeKey(&b)) })
	return answerPart(c, all, shoeKey, writeShoe)
}

// featuresAsked returns whether a model has the features that a query asks for;
// without any, every model does.
func featuresAsked(c *gin.Context) (has func(*models.ShoeModel) bool, err error) {
	type part struct {
		of    func(*models.ShoeModel) string
		words []string
	}
	var asked []part
	for _, q := range []struct {
		name string
		all  []string
		of   func(*models.ShoeModel) string
	}{
		{"category", retail.Categories, func(m *models.ShoeModel) string { return m.Category }},
		{"cushioning", retail.CushioningWords, func(m *models.ShoeModel) string { return m.Features.Cushioning }},
		{"medial_support", retail.MedialSupportWords, func(m *models.ShoeModel) string { return m.Features.MedialSupport }},
		{"flexibility", retail.FlexibilityWords, func(m *models.ShoeModel) string { return m.Features.Flexibility }},
	} {
		text := c.Query(q.name)
		if text == "" {
			continue
		}
		words := strings.Split(text, ",")
		for _, w := range words {
			if !slices.Contains(q.all, w) {
				return nil, refuseParameter(q.name, "want some of %s, commas between", strings.Join(q.all, ", "))
			}
		}
		asked = append(asked, part{q.of, words})
	}
	width, sold := c.Query("width"), c.Query("sold") == "true"
	return func(m *models.ShoeModel) bool {
		if len(asked) > 0 || width != "" || sold {
			if m.TypedIn || !m.LinkedTo.IsZero() || sold && m.Retired != "" {
				return false
			}
		}
		for _, p := range asked {
			if !slices.Contains(p.words, p.of(m)) {
				return false
			}
		}
		return width == "" || slices.Contains(strings.FieldsFunc(m.Features.Widths, func(r rune) bool { return r == ' ' || r == ',' }), width)
	}, nil
}

// shoeKey orders the catalogue; the id makes it unambiguous.
func shoeKey(m *models.ShoeModel) string {
	return strings.Join([]string{m.Brand, m.Model, m.Version, m.ID.String()}, "\x00")
}

func writeShoe(m *models.ShoeModel) json.RawMessage {
	return retail.ShoeModels.JSON.Append(nil, &m.ShoeModel)
}

var docShoeModel = operation{
	id: "get-shoe-model", summary: "Read a model of the catalogue", answer: ref("ShoeModel"), fails: []*class{notFound},
}

// getShoeModel answers with one model.
func (s *Server) getShoeModel(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return refuse(notFound, "a shoe model is known by its UUID")
	}
	m, err := s.db.ShoeModel(c.Request.Context(), id)
	if err != nil {
		return err
	}
	c.Data(http.StatusOK, "application/json", writeShoe(&m))
	return nil
}

var docStores = operation{
	id: "list-stores", summary: "List stores", query: pageParams, answer: ref("Stores"), list: true, fails: []*class{badQuery},
}

// listStores answers with the stores.
func (s *Server) listStores(c *gin.Context) error {
	all, err := s.db.Stores(c.Request.Context())
	if err != nil {
		return err
	}
	return answerPart(c, all, func(st *retail.Store) string { return st.Code }, writer(retail.Stores))
}

var docRegions = operation{
	id: "list-regions", summary: "List regions", query: pageParams, answer: ref("Regions"), list: true, fails: []*class{badQuery},
}

// listRegions answers with the regions.
func (s *Server) listRegions(c *gin.Context) error {
	all, err := s.db.Regions(c.Request.Context())
	if err != nil {
		return err
	}
	return answerPart(c, all, func(r *retail.Region) string { return r.Code }, writer(retail.Regions))
}

var docStaff = operation{
	id: "list-staff", summary: "List staff", about: "By code: role and scopes of the accounts that act in the caller's scope.",
	query: pageParams, answer: ref("StaffList"), list: true, fails: []*class{badQuery},
}

// listStaff answers with the accounts in the caller's scope.
func (s *Server) listStaff(c *gin.Context) error {
	all, err := s.staffOf(c.Request.Context(), s.who(c))
	if err != nil {
		return err
	}
	return answerPart(c, all, func(a *retail.Staff) string { return a.Code }, writer(retail.StaffList))
}

// staffOf returns what is said of the accounts of which a grant lies in the scope
// of who.
func (s *Server) staffOf(ctx context.Context, who Identity) ([]retail.Staff, error) {
	accounts, err := s.accountsOf(ctx, who, readStaff)
	all := make([]retail.Staff, len(accounts))
	for i := range accounts {
		all[i] = accounts[i].Staff
	}
	return all, err
}

// accountsOf returns the accounts of which a grant lies where who has the right.
func (s *Server) accountsOf(ctx context.Context, who Identity, r right) ([]models.Account, error) {
	accounts, err := s.db.Accounts(ctx)
	if err != nil {
		return nil, err
	}
	var all []models.Account
	for _, a := range accounts {
		for _, g := range a.Grants() {
			region, err := s.regionOf(ctx, g.Scope)
			if err != nil {
				return nil, err
			}
			if who.allowsAt(r, g.Scope.Store, region) {
				all = append(all, a)
				break
			}
		}
	}
	return all, nil
}

// regionOf returns the region that a scope lies in, empty for the fleet.
func (s *Server) regionOf(ctx context.Context, scope retail.Scope) (string, error) {
	if scope.Store == "" {
		return scope.Region, nil
	}
	st, err := s.store(ctx, scope.Store)
	return st.Region, err
}

// writer returns what writes a record as JSON.
func writer[T any](f retail.Format[T]) func(*T) json.RawMessage {
	return func(v *T) json.RawMessage { return f.JSON.Append(nil, v) }
}
