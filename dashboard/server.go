package dashboard

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"runtime"
	"sync/atomic"
	"time"

	"github.com/alexedwards/scs/v2"
	"github.com/gin-gonic/gin"
	"github.com/prometheus/client_golang/prometheus"

	"solewright/models"
	"solewright/models/exchange"
	"solewright/models/photos"
	memory "solewright/reports/fleet"
	"solewright/reports/wear"
)

// Config is what a server needs. The zero value of an optional field is its
// default.
type Config struct {
	// DB keeps the records; required.
	DB *models.DB
	// Logger receives one line a request; required.
	Logger *slog.Logger
	// Clock tells the time; default time.Now.
	Clock func() time.Time
	// LockAfter is after how long without a touch a store's tablet locks itself;
	// default four minutes.
	LockAfter time.Duration
	// Provider is another way to sign in than by password; default none.
	Provider *Provider
	// TrustedProxies are the addresses or networks whose X-Forwarded-For is
	// believed; default none.
	TrustedProxies []string
	// InsecureCookies leaves out the Secure attribute of cookies and the
	// Strict-Transport-Security header, for plain HTTP on localhost only.
	InsecureCookies bool
	// MetricsToken guards /metrics on this server; empty switches the address
	// off, for a deployment that serves [Server.Metrics] on a listener of its own.
	MetricsToken string
	// Registry takes the server's metrics; default a registry of its own. The
	// server adds those of the Go runtime and of the process.
	Registry *prometheus.Registry
	// Erased is told of every runner that was erased, to delete the files of
	// photos and to make anew the reports that showed the pairs; default nobody.
	Erased func(context.Context, models.Erasure) error
	// Photos keeps the files of photos; without it none are taken or shown.
	Photos *photos.Store
	// Fleet returns the fleet in memory, nil while it is being read; without it
	// what is asked of the fleet is answered as not ready.
	Fleet func() *memory.View
	// Patience is how long a page about the fleet waits for what stands out in it, and
	// for what an early-failure chart goes by; what takes longer is put in its place
	// when it is found. Default as long as it takes.
	Patience time.Duration
	// Ready are checks beside the database's that /readyz asks, for example how
	// far the fleet in memory has followed.
	Ready []Check
}

// Check is one line of /readyz: it says how things stand, and an error where
// the server must not be sent requests.
type Check struct {
	Name string
	Ask  func(context.Context) (state string, err error)
}

// Server answers HTTP requests. It is safe for concurrent use.
type Server struct {
	*front

	cfg       Config
	db        *models.DB
	log       *slog.Logger
	now       func() time.Time
	table     []route
	spec      *spec
	registry  *prometheus.Registry
	stripping chan struct{} // holds a place for each photo that is being unpacked
	// unwritable says that the last write found the database full or read-only.
	unwritable atomic.Bool
	// seenTime is how long a page waits for the note of who saw it.
	seenTime  time.Duration
	metrics   *metrics
	sessions  *scs.SessionManager
	provider  *provider // nil for none
	origin    *http.CrossOriginProtection
	known     known
	badTokens *badTokens
	engine    *gin.Engine
	waiting   *waiting
	// What takes more than a few milliseconds to find in a large fleet: shares by
	// category or model and gait, signals, how stores stand, what early-failure
	// charts go by, and the charts, the bands of lives, how long categories last, and how
	// versions stand.
	grids    *kept[*wear.Grid]
	found    *kept[[]signalOut]
	stands   *kept[*wear.Stand]
	readings *kept[*wear.Reading]
	failures *kept[*wear.Failures]
	charts   *kept[*wear.FailureChart]
	bands    *kept[[]life]
	lives    *kept[categoryLives]
	versions *kept[[]wear.Summary]
	// imports are the files that people are bringing in over a page.
	imports *importFiles
	// sizes is the table of shoe sizes that a fitting goes by, as JSON.
	sizes string
	// export is exchange.Export, but for the test of an export that takes long.
	export func(context.Context, *models.DB, string, exchange.Asked, func([]byte) error) error
}

// New returns a server that is ready to serve.
func New(cfg Config) (*Server, error) {
	if cfg.DB == nil || cfg.Logger == nil {
		return nil, errors.New("dashboard: Config.DB and Config.Logger must be set")
	}
	if cfg.Clock == nil {
		cfg.Clock = time.Now
	}
	if cfg.LockAfter == 0 {
		cfg.LockAfter = 4 * time.Minute
	}
	if cfg.Registry == nil {
		cfg.Registry = prometheus.NewRegistry()
	}
	waiting := &waiting{now: cfg.Clock}
	unseen := newBehind(cfg.Logger, cfg.Clock, waiting)
	s := &Server{
		cfg:       cfg,
		db:        cfg.DB,
		log:       cfg.Logger,
		now:       cfg.Clock,
		registry:  cfg.Registry,
		sessions:  newSessions(cfg),
		origin:    http.NewCrossOriginProtection(),
		known:     newKnown(cfg.Clock),
		badTokens: newBadTokens(cfg.Clock),
		waiting:   waiting,
		grids:     newKept[*wear.Grid](unseen, maxKept),
		found:     newKept[[]signalOut](unseen, maxKept),
		stands:    newKept[*wear.Stand](unseen, maxKept),
		readings:  newKept[*wear.Reading](unseen, maxKept),
		failures:  newKept[*wear.Failures](unseen, maxKept),
		charts:    newKept[*wear.FailureChart](unseen, maxKept),
		bands:     newKept[[]life](unseen, maxKept),
		lives:     newKept[categoryLives](unseen, maxKept),
		versions:  newKept[[]wear.Summary](unseen, maxKept),
		imports:   newImportFiles(cfg.Clock),
		export:    exchange.Export,
		stripping: make(chan struct{}, runtime.GOMAXPROCS(0)),
		seenTime:  seenTime,
	}
	var err error
	if s.provider, err = newProvider(cfg.Provider, cfg.Clock); err != nil {
		return nil, err
	}
	if s.front, err = readFront(); err != nil {
		return nil, err
	}
	if s.sizes, err = sizeTable(); err != nil {
		return nil, err
	}
	if s.metrics, err = newMetrics(cfg.Registry, cfg.DB); err != nil {
		return nil, err
	}
	s.table = s.routes()
	if s.spec, err = newSpec(s.table); err != nil {
		return nil, err
	}
	if s.engine, err = s.newEngine(); err != nil {
		return nil, err
	}
	return s, nil
}

// newEngine returns gin with the middleware and the table of routes.
func (s *Server) newEngine() (*gin.Engine, error) {
	e := gin.New()
	e.HandleMethodNotAllowed = true
	e.RedirectTrailingSlash = false // it would believe X-Forwarded-Prefix
	if err := e.SetTrustedProxies(s.cfg.TrustedProxies); err != nil {
		return nil, err
	}
	e.Use(s.observe, s.recoverPanic, s.secure, s.sameOrigin, s.readable)
	e.NoRoute(s.authorise(anyone), s.noRoute)
	e.NoMethod(s.noMethod)
	for _, r := range s.table {
		e.Handle(r.method, r.path, s.authorise(r.right), r.handle)
		if r.method == http.MethodGet {
			e.Handle(http.MethodHead, r.path, s.authorise(r.right), r.handle)
		}
	}
	return e, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.engine.ServeHTTP(w, r) }

// Pages lists the addresses that answer a browser's GET, as gin writes them,
// for checks that no page may escape.
func (s *Server) Pages() []string {
	var paths []string
	for _, r := range s.table {
		if r.method == http.MethodGet && r.doc == nil {
			paths = append(paths, r.path)
		}
	}
	return paths
}

// route is one line of the table of routes.
type route struct {
	method, path string
	right        right
	handle       gin.HandlerFunc
	doc          *operation // nil for pages
}

// routes is every address the server answers, on one screen.
func (s *Server) routes() []route {
	page, api, stream := s.page, s.api, s.stream
	const v1 = apiRoot
	return []route{
		{"GET", "/healthz", open, api(s.getAlive), nil},
		{"GET", "/readyz", open, api(s.getReady), nil},
		{"GET", "/metrics", open, api(s.getMetrics), nil},
		{"GET", "/static/*path", open, page(s.showStatic), nil},
		{"GET", "/worker.js", open, page(s.showWorker), nil},

		{"GET", "/", signedIn, page(s.showHome), nil},
		{"GET", "/sign-in", anyone, page(s.showSignInForm), nil},
		{"POST", "/sign-in", anyone, page(s.signIn), nil},
		{"GET", "/sign-in/provider", anyone, page(s.goToProvider), nil},
		{"GET", providerBack, anyone, page(s.backFromProvider), nil},
		{"POST", "/sign-out", anyone, page(s.signOut), nil},
		{"GET", "/enrol", anyone, page(s.showEnrol), nil},
		{"POST", "/enrol", anyone, page(s.enrol), nil},
		{"POST", "/language", anyone, page(s.chooseLanguage), nil},
		{"GET", "/me", signedIn, page(s.showMe), nil},
		{"POST", "/me", signedIn, page(s.saveMe), nil},

		{"GET", "/bench", workBench, page(s.showBench), nil},
		{"GET", "/bench/context.json", workBench, api(s.showBenchContext), nil},
		{"GET", "/bench/fitting", workBench, page(s.showFitting), nil},
		{"GET", "/bench/:uuid", workBench, page(s.showTicket), nil},
		{"GET", "/methods", signedIn, page(s.showMethods), nil},
		{"GET", "/pairs/:ref", readPair, page(s.showPair), nil},
		{"POST", "/pairs/:ref/void", writeReading, page(s.doVoidReading), nil},
		{"GET", "/pairs/:ref/qr.svg", signedIn, page(s.showPairQR), nil},
		{"GET", "/slip/:id", readReading, page(s.showSlip), nil},

		{"GET", "/office", openOffice, page(s.showOffice), nil},
		{"GET", "/office/rules", readTables, page(s.showOfficeRules), nil},
		{"POST", "/office/rules/draft", tryRules, page(s.doDraft), nil},
		{"POST", "/office/rules", publishRules, page(s.doPublish), nil},
		{"GET", "/office/posture", readTables, page(s.showPosture), nil},
		{"POST", "/office/posture", publishRules, page(s.doPublishPosture), nil},
		{"GET", "/office/credit", readTables, page(s.showOfficeCredit), nil},
		{"POST", "/office/credit/draft", tryRules, page(s.doCreditDraft), nil},
		{"POST", "/office/credit", publishCredit, page(s.doCredit), nil},
		{"GET", "/office/catalogue", readTables, page(s.showCatalogue), nil},
		{"GET", "/office/catalogue/:id", readTables, page(s.showModel), nil},
		{"POST", "/office/catalogue/:id", setCatalogue, page(s.doModel), nil},
		{"POST", "/office/catalogue/:id/link", setCatalogue, page(s.doLink), nil},
		{"GET", "/office/imports", importRecords, page(s.showImports), nil},
		{"POST", "/office/imports", importRecords, page(s.doImport), nil},
		{"GET", "/office/imports/:id", importRecords, page(s.showImport), nil},
		{"POST", "/office/imports/:id", importRecords, page(s.doImportAct), nil},
		{"GET", "/office/imports/:id/rejected.csv", importRecords, page(s.showRejected), nil},
		{"GET", "/office/exports", exportRecords, page(s.showExports), nil},
		{"GET", "/office/faults", actOnSignals, page(s.showFaults), nil},
		{"POST", "/office/faults/:id", actOnSignals, page(s.doFault), nil},
		{"GET", "/office/waiting", confirmSecond, page(s.showWaiting), nil},
		{"POST", "/office/waiting/:id", confirmSecond, page(s.doConfirm), nil},
		{"GET", "/office/corrected", setCredit, page(s.showCorrected), nil},
		{"POST", "/office/corrected/:id", setCredit, page(s.doCorrected), nil},
		{"GET", "/office/sales", readSales, page(s.showSales), nil},
		{"GET", "/office/events", readSales, page(s.showEvents), nil},
		{"POST", "/office/events", setEvents, page(s.doEvent), nil},
		{"GET", "/office/stores", readStores, page(s.showStores), nil},
		{"POST", "/office/stores", setStores, page(s.doStore), nil},
		{"POST", "/office/regions", setRegions, page(s.doRegion), nil},
		{"GET", "/office/staff", setStaff, page(s.showStaff), nil},
		{"POST", "/office/staff", setStaff, page(s.doStaff), nil},
		{"POST", "/office/staff/secret", setStaff, page(s.doSecret), nil},
		{"GET", "/office/tablets", setDevices, page(s.showTablets), nil},
		{"POST", "/office/tablets", setDevices, page(s.doTablet), nil},
		{"POST", "/office/tablets/revoke", setDevices, page(s.doRevoke), nil},
		{"GET", "/office/trail", readTrail, page(s.showTrail), nil},
		{"GET", "/office/requests", eraseRunner, page(s.showRequests), nil},
		{"POST", "/office/requests", eraseRunner, page(s.doRequest), nil},
		{"POST", "/office/requests/record", eraseRunner, page(s.doRecord), nil},
		{"POST", "/office/requests/erase", eraseRunner, page(s.doErase), nil},
		{"GET", "/office/pairs", mergePairs, page(s.showOfficePairs), nil},
		{"POST", "/office/pairs/merge", mergePairs, page(s.doMerge), nil},
		{"POST", "/office/pairs/split", mergePairs, page(s.doSplit), nil},

		{"GET", "/fleet", readWear, page(s.showFleet), nil},
		{"GET", "/fleet/models/:id", readWear, page(s.showFleetModel), nil},
		{"GET", "/fleet/stores/:code", readWear, page(s.showFleetStore), nil},
		{"GET", "/fleet/pairs", readWear, page(s.showFleetPairs), nil},
		{"GET", "/fleet/compare", readWear, page(s.showFleetCompare), nil},
		{"GET", "/fleet/credit", readWear, page(s.showFleetCredit), nil},
		{"GET", "/fleet/agreement", readWear, page(s.showAgreement), nil},
		{"POST", "/fleet/signals/:id", actOnSignals, page(s.doSignal), nil},

		{"GET", v1 + "/openapi.json", open, api(s.getSpec), &docSpec},
		{"GET", v1 + "/docs", open, page(s.showDocs), nil},

		{"POST", v1 + "/judge", signedIn, api(s.postJudge), &docJudge},
		{"GET", v1 + "/rules/:n", signedIn, api(s.getRules), &docRules},
		{"POST", v1 + "/rules/what-if", tryRules, api(s.postWhatIf), &docTryRules},

		{"GET", v1 + "/inspections", readReading, api(s.listInspections), &docInspections},
		{"PUT", v1 + "/inspections/:id", writeReading, api(s.putInspection), &docPutInspection},
		{"GET", v1 + "/inspections/:id", readReading, api(s.getInspection), &docInspection},
		{"GET", v1 + "/inspections/:id/result", readReading, api(s.getResult), &docResult},
		{"GET", v1 + "/inspections/:id/seen", readReading, api(s.getSeen), &docSeen},
		{"POST", v1 + "/inspections/:id/void", voidReading, api(s.postVoid), &docVoid},
		{"POST", v1 + "/inspections/:id/sign-off", workBench, api(s.postSignOff), &docSignOff},
		{"POST", v1 + "/inspections/:id/amend", writeReading, api(s.postAmend), &docAmend},

		{"GET", v1 + "/inspections/:id/photos", readReading, api(s.listPhotos), &docPhotos},
		{"PUT", v1 + "/photos/:sha256", writeReading, api(s.putPhoto), &docPutPhoto},
		{"GET", v1 + "/photos/:sha256", readReading, api(s.getPhoto), &docPhoto},

		{"GET", v1 + "/pairs", listPairs, api(s.listPairs), &docPairs},
		{"GET", v1 + "/pairs/:ref", readPair, api(s.getPair), &docPair},
		{"POST", v1 + "/pairs/merge", mergePairs, api(s.postMerge), &docMerge},
		{"POST", v1 + "/pairs/split", mergePairs, api(s.postSplit), &docSplit},

		{"PUT", v1 + "/trade-ins/:id", writeTradeIn, api(s.putTradeIn), &docPutTradeIn},
		{"GET", v1 + "/trade-ins/:id", readReading, api(s.getTradeIn), &docTradeIn},
		{"PUT", v1 + "/fittings/:id", writeFitting, api(s.putFitting), &docPutFitting},
		{"GET", v1 + "/fittings/:id", writeFitting, api(s.getFitting), &docFitting},

		{"GET", v1 + "/shoe-models", signedIn, api(s.listShoeModels), &docShoeModels},
		{"GET", v1 + "/shoe-models/:id", signedIn, api(s.getShoeModel), &docShoeModel},
		{"GET", v1 + "/stores", signedIn, api(s.listStores), &docStores},
		{"GET", v1 + "/regions", signedIn, api(s.listRegions), &docRegions},
		{"GET", v1 + "/staff", readStaff, api(s.listStaff), &docStaff},
		{"GET", v1 + "/runners/:code", readRunner, api(s.getRunner), &docRunner},
		{"PUT", v1 + "/runners/:code", writeRunner, api(s.putRunner), &docPutRunner},
		{"DELETE", v1 + "/runners/:code", eraseRunner, api(s.deleteRunner), &docEraseRunner},

		{"GET", v1 + "/wear/shares", readWear, api(s.getWearShares), &docWearShares},
		{"GET", v1 + "/wear/association", readWear, api(s.getWearAssociation), &docWearAssociation},
		{"GET", v1 + "/wear/life", readWear, api(s.getWearLife), &docWearLife},
		{"GET", v1 + "/wear/trend", readWear, api(s.getWearTrend), &docWearTrend},
		{"GET", v1 + "/wear/stores", readWear, api(s.getWearStores), &docWearStores},
		{"GET", v1 + "/wear/signals", readWear, api(s.getWearSignals), &docWearSignals},
		{"GET", v1 + "/wear/failures", readWear, api(s.getWearFailures), &docWearFailures},
		{"GET", v1 + "/wear/credit", readWear, api(s.getWearCredit), &docWearCredit},
		{"POST", v1 + "/signals/:id", actOnSignals, api(s.postSignal), &docSignal},

		{"GET", v1 + "/export/:kind.csv", exportRecords, stream(s.getExport), &docExport},
	}
}
