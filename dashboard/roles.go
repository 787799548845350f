package dashboard

import (
	"slices"

	"solewright/models"
	"solewright/models/retail"
)

// right names something that a role may or may not do; every route names one.
type right string

// The rights.
const (
	// open asks for nobody: static files, health, the sign-in page.
	open right = "open"
	// anyone shows itself to those signed in and to those not.
	anyone right = "anyone"
	// signedIn asks for anybody: judging, the rules, the catalogue.
	signedIn right = "signed in"

	workBench    right = "work at the bench"
	writeReading right = "store a reading"
	readReading  right = "read readings"
	voidReading  right = "void a reading"
	// coSign: be the second person that a verdict takes.
	coSign        right = "stand by a colleague's verdict"
	confirmSecond right = "confirm what was kept off line"
	readPair      right = "read a pair's history"
	listPairs     right = "list pairs"
	mergePairs    right = "merge and split pairs"
	writeTradeIn  right = "store a trade-in"
	setCredit     right = "override the credit"
	writeFitting  right = "store a fitting"
	readRunner    right = "read a runner's record"
	writeRunner   right = "store a runner's consents"
	eraseRunner   right = "erase a runner"
	readStaff     right = "read the staff list"
	exportRecords right = "export records"
	// importRecords: a file may hold rows of any store.
	importRecords right = "import records"
	tryRules      right = "try draft rules"
	readWear      right = "read how the fleet wears"
	actOnSignals  right = "act on signals"

	openOffice right = "open the office"
	readStores right = "list stores"
	setStores  right = "set up stores"
	setRegions right = "set up regions"
	setStaff   right = "set up staff"
	setDevices right = "set up tablets"
	readTrail  right = "read the audit trail"
	// readTables: what holds for the whole fleet may be read by who leads a part.
	readTables   right = "see the catalogue and the rules"
	setCatalogue right = "set up the catalogue"
	publishRules right = "publish rules"
	// publishCredit: what a table gives holds for every store of its currency.
	publishCredit right = "publish credit tables"

	readSales right = "read sales and events"
	setEvents right = "set up events"

	// seeBlind: a blind reading of somebody else.
	seeBlind right = "see blind readings"
)

// reach is how far a right goes.
type reach uint8

const (
	// never: the role hasn't got the right.
	never reach = iota
	// own: for stores in the account's scopes.
	own
	// fleet: with the whole fleet in scope, because what it touches belongs to
	// no store.
	fleet
	// anywhere: whatever the scope. Where that shows a pair or a runner of
	// another store, it takes the slip's reference or the runner's code, and is
	// audited.
	anywhere
)

// rights is the one table of who may do what, how far. Columns are
// retail.Roles; a test walks every cell of every route.
var rights = map[right][]reach{
	//              fitter    trainee   manager   trainer   office
	signedIn:      {anywhere, anywhere, anywhere, anywhere, anywhere},
	workBench:     {anywhere, anywhere, anywhere, never, anywhere},
	writeReading:  {own, own, own, never, own},
	readReading:   {own, own, own, own, own},
	voidReading:   {never, never, own, never, own},
	coSign:        {own, never, own, never, own},
	confirmSecond: {never, never, own, never, own},
	readPair:      {anywhere, anywhere, anywhere, own, anywhere},
	listPairs:     {own, own, own, own, own},
	mergePairs:    {never, never, never, never, own},
	writeTradeIn:  {own, own, own, never, own},
	setCredit:     {never, never, own, never, own},
	writeFitting:  {own, own, own, never, own},
	readRunner:    {anywhere, anywhere, anywhere, never, anywhere},
	writeRunner:   {anywhere, anywhere, anywhere, never, anywhere},
	eraseRunner:   {never, never, never, never, fleet},
	readStaff:     {own, own, own, own, own},
	exportRecords: {never, never, own, never, own},
	importRecords: {never, never, never, never, fleet},
	tryRules:      {never, never, never, never, anywhere},
	readWear:      {never, never, own, own, own},
	actOnSignals:  {never, never, own, never, own},

	openOffice: {never, never, anywhere, never, anywhere},
	readStores: {never, never, own, never, own},
	setStores:  {never, never, never, never, own},
	setRegions: {never, never, never, never, fleet},
	setStaff:   {never, never, own, never, own},
	setDevices: {never, never, own, never, own},
	readTrail:  {never, never, never, never, fleet},

	readTables:   {never, never, anywhere, never, anywhere},
	setCatalogue: {never, never, never, never, fleet},
	publishRules: {never, never, never, never, fleet},

	publishCredit: {never, never, never, never, fleet},

	readSales: {never, never, own, never, own},
	setEvents: {never, never, own, never, own},

	seeBlind: {never, never, never, own, own},
}

// reachOf returns how far role may go with r.
func reachOf(role retail.Role, r right) reach {
	i := slices.Index(retail.Roles, role)
	if row, ok := rights[r]; ok && i >= 0 {
		return row[i]
	}
	return never
}

// allows reports whether the identity has the right at all, which is what a
// route asks before its handler looks at stores.
func (id Identity) allows(r right) bool { return len(id.scopes(r)) > 0 }

// allowsAt reports whether the identity has the right in a store of a region.
func (id Identity) allowsAt(r right, store, region string) bool {
	return id.anywhere(r) || covers(id.scopes(r), store, region)
}

// anywhere reports whether the identity has the right whatever its scope.
func (id Identity) anywhere(r right) bool {
	return slices.ContainsFunc(id.Grants, func(g retail.Grant) bool { return reachOf(g.Role, r) == anywhere })
}

// scopes returns where the identity holds a role with the right: what may be
// listed by it. A right that reaches anywhere still lists its own.
func (id Identity) scopes(r right) []retail.Scope { return scopesOf(id.Grants, r) }

// fleet reports whether the identity has the right for the whole fleet.
func (id Identity) fleet(r right) bool { return slices.Contains(id.scopes(r), retail.Scope{}) }

// reaches reports whether the identity has the right in all of the scopes.
func (id Identity) reaches(r right, scopes []retail.Scope) bool {
	held := id.scopes(r)
	return !slices.ContainsFunc(scopes, func(s retail.Scope) bool {
		return !slices.Contains(held, retail.Scope{}) && !slices.Contains(held, s)
	})
}

// scopesOf returns the scopes of the grants whose role has the right, each once;
// the fleet alone where it is among them.
func scopesOf(grants []retail.Grant, r right) []retail.Scope {
	var all []retail.Scope
	for _, g := range grants {
		switch reach := reachOf(g.Role, r); {
		case reach == never:
		case g.Scope == retail.Scope{}:
			return models.Fleet
		case reach != fleet && !slices.Contains(all, g.Scope):
			all = append(all, g.Scope)
		}
	}
	return all
}

// holds reports whether the identity holds a role anywhere.
func (id Identity) holds(role retail.Role) bool {
	return slices.ContainsFunc(id.Grants, func(g retail.Grant) bool { return g.Role == role })
}

// roles lists the identity's roles, each once, the main one first.
func (id Identity) roles() []string {
	var all []string
	for _, g := range id.Grants {
		if !slices.Contains(all, string(g.Role)) {
			all = append(all, string(g.Role))
		}
	}
	return all
}

// covers reports whether one of the scopes holds the store.
func covers(scopes []retail.Scope, store, region string) bool {
	return slices.ContainsFunc(scopes, func(s retail.Scope) bool {
		switch {
		case s.Store != "":
			return s.Store == store
		case s.Region != "":
			return s.Region == region
		}
		return true
	})
}
