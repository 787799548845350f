package dashboard

import (
	"slices"

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
func (id Identity) allows(r right) bool {
	switch reachOf(id.Role, r) {
	case own, anywhere:
		return true
	case fleet:
		return id.Fleet()
	}
	return false
}

// allowsAt reports whether the identity has the right in a store of a region.
func (id Identity) allowsAt(r right, store, region string) bool {
	switch reachOf(id.Role, r) {
	case anywhere:
		return true
	case own, fleet:
		return id.covers(store, region)
	}
	return false
}

// covers reports whether one of the identity's scopes holds the store.
func (id Identity) covers(store, region string) bool {
	return slices.ContainsFunc(id.Scopes, func(s retail.Scope) bool {
		switch {
		case s.Store != "":
			return s.Store == store
		case s.Region != "":
			return s.Region == region
		}
		return true
	})
}
