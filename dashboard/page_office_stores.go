package dashboard

import (
	"errors"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// storesPage lists regions and stores, and holds the forms to set them up.
type storesPage struct {
	officeFrame
	Regions []regionRow
	// Store is the form of the store that is changed, or of a new one where
	// Code is empty; Region that of a region.
	Code, RegionCode string
	Store, Region    []sheetLine
	StoreWrong       string
	RegionWrong      string
	// MaySet says that the reader may change stores, MayAdd that regions may be
	// added.
	MaySet, MayAdd bool
	// Staff and Tablets are who and what is in the store alone.
	Staff, Tablets int
}

// regionRow is one region with its stores.
type regionRow struct {
	retail.Region
	Stores []storeRow
}

type storeRow struct {
	retail.Store
	Here bool
}

// storesForm is what was sent to the page, and what is wrong with it.
type storesForm struct {
	of     string // store or region
	values map[string]string
	wrong  assess.FieldErrors
	why    string
}

// showStores answers with the regions and stores in scope.
func (s *Server) showStores(c *gin.Context) error {
	return s.storesPage(c, http.StatusOK, storesForm{})
}

func (s *Server) storesPage(c *gin.Context, status int, sent storesForm) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	regions, err := s.db.Regions(ctx)
	if err != nil {
		return err
	}
	stores, err := s.db.Stores(ctx)
	if err != nil {
		return err
	}
	view := storesPage{
		officeFrame: s.officeFrame(c), Code: c.Query("store"), RegionCode: c.Query("region"),
		MaySet: who.allows(setStores), MayAdd: who.allows(setRegions),
	}
	var inReach, zones, currencies []choice
	values, regionValues := map[string]string{"unit": "km"}, map[string]string{}
	for _, r := range regions {
		row := regionRow{Region: r}
		for _, st := range stores {
			if st.Region != r.Code || !who.allowsAt(readStores, st.Code, st.Region) {
				continue
			}
			row.Stores = append(row.Stores, storeRow{st, st.Code == view.Code})
			zones, currencies = propose(zones, st.Zone), propose(currencies, st.Currency)
			if st.Code == view.Code {
				values = writeSheet(retail.Stores, &st)
			}
		}
		whole := who.allowsAt(readStores, "", r.Code)
		if whole {
			inReach = append(inReach, choice{Value: r.Code, Text: r.Code + ", " + r.Name})
		}
		if whole && r.Code == view.RegionCode {
			regionValues = writeSheet(retail.Regions, &r)
		}
		if whole || len(row.Stores) > 0 {
			view.Regions = append(view.Regions, row)
		}
	}
	if values["store"] == "" {
		view.Code = ""
	}
	if regionValues["region"] == "" {
		view.RegionCode = ""
	}
	var wrong, regionWrong assess.FieldErrors
	switch sent.of {
	case "store":
		values, wrong = sent.values, sent.wrong
	case "region":
		regionValues, regionWrong = sent.values, sent.wrong
	}
	if at := values["region"]; !slices.ContainsFunc(inReach, func(c choice) bool { return c.Value == at }) && view.Code != "" {
		inReach = append(inReach, choice{Value: at, Text: at}) // a store in scope whose region isn't
	}
	view.Store = w.sheet("store", []written{
		{name: "store", needed: true, fixed: view.Code != ""},
		{name: "name"},
		{name: "region", kind: "select", choices: inReach, needed: true},
		{name: "zone", choices: zones, needed: true},
		{name: "currency", choices: currencies, needed: true},
		{name: "unit", kind: "select", choices: w.choicesOf(retail.UnitWords), needed: true},
		{name: "retired", kind: "date"},
	}, values, wrong)
	view.Region = w.sheet("region", []written{
		{name: "region", needed: true, fixed: view.RegionCode != ""},
		{name: "name", needed: true},
		{name: "currency", choices: currencies, needed: true},
	}, regionValues, regionWrong)
	if sent.of == "store" {
		view.StoreWrong = either(sent.why, strayErrors(wrong, view.Store))
	} else {
		view.RegionWrong = either(sent.why, strayErrors(regionWrong, view.Region))
	}
	if view.Code != "" {
		if view.Staff, view.Tablets, err = s.peopleOf(c, view.Code); err != nil {
			return err
		}
	}
	return s.render(c, status, "office-stores", view)
}

// propose adds a value to proposals, once.
func propose(all []choice, value string) []choice {
	if slices.ContainsFunc(all, func(c choice) bool { return c.Value == value }) {
		return all
	}
	return append(all, choice{Value: value, Text: value})
}

// either returns the first text that isn't empty.
func either(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// peopleOf counts who and what would be left without a store: the active
// accounts that act in it alone, and its tablets.
func (s *Server) peopleOf(c *gin.Context, store string) (staff, tablets int, err error) {
	accounts, err := s.db.Accounts(c.Request.Context())
	if err != nil {
		return 0, 0, err
	}
	for i := range accounts {
		elsewhere := func(g retail.Grant) bool { return g.Scope.Store != store }
		if a := &accounts[i]; a.Active() && !slices.ContainsFunc(a.Grants(), elsewhere) {
			staff++
		}
	}
	devices, err := s.db.Devices(c.Request.Context(), store)
	for _, d := range devices {
		if d.RevokedAt.IsZero() {
			tablets++
		}
	}
	return staff, tablets, err
}

// doStore stores what was written on the form of a store.
func (s *Server) doStore(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	st, err := readSheet(retail.Stores, posted)
	if err == nil {
		err = s.saveStore(c, st)
	}
	if wrong, why, ok := s.words(c).refusal(err); ok {
		return s.storesPage(c, http.StatusUnprocessableEntity, storesForm{"store", typed(posted), wrong, why})
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/stores?"+encodeQuery("store", st.Code), "store", st.Code)
}

// saveStore stores a store that lies in scope, before and after.
func (s *Server) saveStore(c *gin.Context, st retail.Store) error {
	ctx, who := c.Request.Context(), s.who(c)
	old, err := s.db.Store(ctx, st.Code)
	switch {
	case errors.Is(err, models.ErrNotFound):
		old = st
	case err != nil:
		return err
	case c.Query("store") == "":
		return taken("store", st.Code)
	}
	for _, at := range []retail.Store{old, st} {
		if !who.allowsAt(setStores, at.Code, at.Region) {
			return refuse(forbidden, "the store is not in your scope")
		}
	}
	if old.Region != st.Region && !who.allowsAt(setStores, "", st.Region) {
		return refuse(forbidden, "the region is not in your scope")
	}
	return s.db.SaveStore(ctx, who.actor(), st)
}

// doRegion stores what was written on the form of a region.
func (s *Server) doRegion(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	region, err := readSheet(retail.Regions, posted)
	if err == nil {
		if _, known := s.db.Region(c.Request.Context(), region.Code); known == nil && c.Query("region") == "" {
			err = taken("region", region.Code)
		} else {
			err = s.db.SaveRegion(c.Request.Context(), s.who(c).actor(), region)
		}
	}
	if wrong, why, ok := s.words(c).refusal(err); ok {
		return s.storesPage(c, http.StatusUnprocessableEntity, storesForm{"region", typed(posted), wrong, why})
	}
	if err != nil {
		return err
	}
	return officeDone(c, "/office/stores?"+encodeQuery("region", region.Code), "region", region.Code)
}
