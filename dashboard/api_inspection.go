package dashboard

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// clientTime is the header in which a tablet says what its own clock shows as
// it sends, in RFC 3339; the server takes its clock's error from it.
const clientTime = "X-Client-Time"

var docPutInspection = operation{
	id: "put-inspection", summary: "Store a reading",
	about: "The id is a UUIDv7 made by the client. The same body again changes nothing and answers 200. " +
		"The server judges again under the body's rules; where the advised verdict differs, both are stored and the reading is flagged. " +
		"A verdict that takes a second person, less than an advised replace or retire or a trainee's keep, takes their sign-off; " +
		"a client that had no line for it sends the flag second-unproven, and the reading waits for a manager. " +
		"What a second reader says is flagged second-said, unless they signed the verdict off or read the pair blind that day. " +
		"A blind reading is refused where its reader had read the pair openly, earlier that day, or signed for its verdict, or been shown it. " +
		"A client that sends its own time in " + clientTime + " has its clock's error taken into account.",
	body: ref("Reading"), answer: ref("Reading"), made: true, fails: []*class{conflict},
}

// putInspection stores a reading once.
func (s *Server) putInspection(c *gin.Context) error {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil || id.Version() != 7 && id.Version() != 8 {
		return refuseParameter("id", "want a UUIDv7, such as 017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
	}
	rec, err := readingOf(c, false)
	if err != nil {
		return err
	}
	switch rec.ID {
	case id:
	case assess.UUID{}:
		rec.ID = id
	default:
		return &failure{class: badValues, values: []badValue{{
			Pointer: "#/inspection_id", Detail: fmt.Sprintf("%q: want the id of the address, or none", rec.ID),
		}}}
	}
	return s.saveReading(c, rec)
}

// readingOf reads a reading from the body. What only the server says may
// stand in it, so that a reading can be sent back as it was got, but counts for
// nothing; a reading that is void can't be stored as new. amends says that the
// address names a reading that it takes the place of.
func readingOf(c *gin.Context, amends bool) (assess.Record, error) {
	body, err := readBody(c)
	if err != nil {
		return assess.Record{}, err
	}
	rec, err := assess.DecodeJSON(body)
	if errs, ok := errors.AsType[assess.FieldErrors](err); ok && amends && rec.Supersedes.IsZero() {
		// The address says what is amended: the reason needs nothing beside it.
		err = slices.DeleteFunc(errs, func(e assess.FieldError) bool {
			return e.Field == "/amend_reason" && errors.Is(e, assess.ErrInconsistent)
		}).Err()
	}
	if err != nil {
		return rec, err
	}
	if !rec.VoidedAt.IsZero() {
		return rec, &failure{class: badValues, values: []badValue{{Pointer: "#/voided_at", Detail: "a reading is voided by POST …/void"}}}
	}
	rec.Flags &= assess.FlagSecondUnproven // only the tablet knows that it had no line
	rec.ReceivedAt = time.Time{}
	return rec, nil
}

// saveReading judges and stores a new reading: one call of the database.
func (s *Server) saveReading(c *gin.Context, rec assess.Record) error {
	ctx, who := c.Request.Context(), s.who(c)
	if err := present(&rec); err != nil {
		return err
	}
	if err := s.mayAt(ctx, who, writeReading, rec.Store, "#/store"); err != nil {
		return err
	}
	offset, err := clockOffset(c, s.now())
	if err != nil {
		return err
	}
	// Taken before anything is filled in, or the same body would differ.
	in := models.NewInspection{SHA: sha256.Sum256(assess.Canonical(&rec)), ClockOffset: offset}
	if err := s.bandPosture(ctx, &rec, offset); err != nil {
		return err
	}
	j, err := s.judge(ctx, &rec)
	if err != nil {
		return err
	}
	if rec.Advised == assess.NoVerdict {
		rec.Advised = j.result.Verdict
	}
	if in.Signed, err = s.checkGiven(ctx, &rec); err != nil {
		return err
	}
	if rec.Device == "" {
		rec.Device = who.Device
	}
	proven := true
	if rec.Pair(assess.SecondSays).OK() && in.Signed == nil {
		if in.Signed, proven, err = s.heard(ctx, &rec, offset); err != nil {
			return err
		}
	}
	in.Record, in.AsNew = rec, j.asNewNumber
	in.Facts = models.FactsOf(&j.result, assess.EngineVersion)
	in.Facts.Flags |= rec.AsideFlags()
	if !proven {
		in.Facts.Flags |= assess.FlagSecondSaid
	}
	if rec.At.Add(offset).Sub(s.now()) > models.MaxClockOff { // nobody reads a pair in time to come
		in.Facts.Flags |= assess.FlagClockOff
	}
	saved, err := s.db.SaveInspection(ctx, who.actor(), in)
	if err != nil {
		return unsigned(err, "second_reader")
	}
	status := http.StatusOK
	if saved.Created {
		status = http.StatusCreated
		s.metrics.inspections.WithLabelValues(saved.Kind.String(), saved.Facts.Verdict.String()).Inc()
	}
	c.Header("Location", apiRoot+"/inspections/"+saved.ID.String())
	c.Data(status, "application/json", assess.AppendJSON(nil, &saved.Record))
	return nil
}

// bandPosture bands sums of the Foot Posture Index by the bands of the reading's
// day.
func (s *Server) bandPosture(ctx context.Context, r *assess.Record, offset time.Duration) error {
	if !r.HasPostureSum() {
		return nil
	}
	place, err := s.store(ctx, r.Store)
	if err != nil {
		return err
	}
	day, err := storeDay(place, r.At.Add(offset))
	if err != nil {
		return err
	}
	bands, err := s.db.PostureBandsOn(ctx, day)
	if errors.Is(err, models.ErrNotFound) {
		return nil // of a day before the first
	}
	if err != nil {
		return err
	}
	r.BandPosture(bands)
	return nil
}

// present refuses a reading without what no reading is without.
func present(r *assess.Record) error {
	var errs assess.FieldErrors
	missing := func(absent bool, field, want string) {
		if absent {
			errs.Add(assess.FieldError{Field: "/" + field, Err: assess.ErrMissingField, Want: want})
		}
	}
	missing(r.Store == "", "store", "the code of a store")
	missing(r.Staff == "", "staff", "the code of who read the pair")
	missing(r.At.IsZero(), "at", "when the pair was read")
	missing(r.Kind == assess.NoKind, "kind", "one of "+strings.Join(assess.KindWords[1:], ", "))
	return errs.Err()
}

// clockOffset returns the server's clock less the client's, as far as the
// client says what its clock shows.
func clockOffset(c *gin.Context, now time.Time) (time.Duration, error) {
	text := c.GetHeader(clientTime)
	if text == "" {
		return 0, nil
	}
	theirs, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return 0, refuseParameter(clientTime, "%.40q: want an instant such as 2026-10-05T14:03:00Z", text)
	}
	offset := now.Sub(theirs)
	if !theirs.Add(offset).Equal(now) { // cut to what a Duration holds
		return 0, refuseParameter(clientTime, "%.40q: want an instant such as 2026-10-05T14:03:00Z, within 290 years of the server's", text)
	}
	return offset, nil
}

// checkGiven holds what the runner was told against what the fitter saw
// advised. It returns the signature that this takes of a second person, nil
// where it takes none: a reading that was kept without a line is stored on the
// word of its reader, flagged, and waits for a manager.
func (s *Server) checkGiven(ctx context.Context, r *assess.Record) (*models.Signature, error) {
	offLine := r.Flags&assess.FlagSecondUnproven != 0
	r.Flags = 0
	if r.Given == assess.NoVerdict {
		return nil, nil
	}
	a, err := s.account(ctx, r.Staff)
	if err != nil && !errors.Is(err, models.ErrNotFound) {
		return nil, err
	}
	trainee := a.Holds(retail.Trainee)
	err = assess.CheckGiven(r.Advised, r.Given, assess.Giving{Trainee: trainee, Second: r.HasSecond, Reason: r.GivenReason})
	if err != nil {
		f := &failure{class: badValues, cause: err}
		for detail := range strings.SplitSeq(err.Error(), "\n") {
			f.values = append(f.values, badValue{Pointer: "#/given", Detail: detail})
		}
		return nil, f
	}
	if !assess.SecondNeeded(r.Advised, r.Given, trainee) {
		return nil, nil
	}
	if offLine {
		r.Flags = assess.FlagSecondUnproven
		return nil, nil
	}
	switch may, err := s.mayCoSign(ctx, r.SecondReader, r.Store); {
	case err != nil:
		return nil, err
	case !may:
		return nil, &failure{class: badValues, values: []badValue{{Pointer: "#/second_reader", Detail: noCoSigner}}}
	}
	return &models.Signature{Account: r.SecondReader, SignOff: models.SignOff{
		Reading: r.ID, Purpose: models.ForReading, Advised: r.Advised, Given: r.Given,
	}}, nil
}

// heard looks for what proves that the second reader said what the reading has
// them say: a signature of the verdict, which the reading uses up, or a blind
// reading of their own that day. Without either it is the reader's word.
func (s *Server) heard(ctx context.Context, r *assess.Record, offset time.Duration) (signed *models.Signature, proven bool, err error) {
	if r.SecondReader == "" {
		return nil, false, nil
	}
	sig := models.Signature{Account: r.SecondReader, SignOff: models.SignOff{
		Reading: r.ID, Purpose: models.ForReading, Advised: r.Advised, Given: r.Given,
	}}
	may, err := s.mayCoSign(ctx, r.SecondReader, r.Store)
	if err == nil && may {
		may, err = s.db.Waits(ctx, sig)
	}
	if err != nil || may {
		return &sig, may, err
	}
	place, err := s.store(ctx, r.Store)
	if err != nil {
		return nil, false, err
	}
	day, err := storeDay(place, r.At.Add(offset))
	if err != nil {
		return nil, false, err
	}
	proven, err = s.db.ReadBlind(ctx, r.PairRef, r.SecondReader, day)
	return nil, proven, err
}

// unsigned says at a member of the body that nobody signed for it; other errors
// stay what they are.
func unsigned(err error, member string) error {
	if !errors.Is(err, models.ErrUnsigned) {
		return err
	}
	return &failure{class: badValues, cause: err, values: []badValue{{
		Pointer: "#/" + member, Detail: "has not signed this with a PIN or password of their own, or what they signed was used before",
	}}}
}

var docInspection = operation{
	id: "get-inspection", summary: "Read a reading", answer: ref("Reading"), fails: []*class{notFound},
}

// getInspection answers with one reading.
func (s *Server) getInspection(c *gin.Context) error {
	in, err := s.inspection(c, readReading)
	if err != nil {
		return err
	}
	s.saw(c, in.PairRef)
	c.Data(http.StatusOK, "application/json", assess.AppendJSON(nil, &in.Record))
	return nil
}

// inspection returns the reading that the address names, where the one who
// asks has the right in its store.
func (s *Server) inspection(c *gin.Context, r right) (*models.Inspection, error) {
	id, err := assess.ParseUUID(c.Param("id"))
	if err != nil {
		return nil, refuse(notFound, "a reading is known by its UUID")
	}
	ctx, who := c.Request.Context(), s.who(c)
	in, err := s.db.Inspection(ctx, id)
	if err != nil {
		return nil, err
	}
	if err := s.mayAt(ctx, who, r, in.Store, "#/store"); err != nil {
		return nil, err
	}
	if may, err := s.maySee(ctx, who, in); err != nil || !may {
		return nil, errors.Join(err, errBlind)
	}
	return in, nil
}

// errBlind refuses a reading that was made without knowing of others.
var errBlind = refuse(forbidden, "a blind reading is for its reader and the trainers")

// maySee reports whether somebody may see a reading of a store in reach: blind
// ones are kept from other fitters, who may have the same pair to read.
func (s *Server) maySee(ctx context.Context, who Identity, in *models.Inspection) (bool, error) {
	if in.Kind != assess.Blind || in.Staff == who.Code {
		return true, nil
	}
	at, err := s.store(ctx, in.Store)
	return err == nil && who.allowsAt(seeBlind, at.Code, at.Region), err
}

// visible returns the readings of stores in reach that somebody may see.
func (s *Server) visible(ctx context.Context, who Identity, all []*models.Inspection) ([]*models.Inspection, error) {
	var seen []*models.Inspection
	for _, in := range all {
		may, err := s.maySee(ctx, who, in)
		if err != nil {
			return nil, err
		}
		if may {
			seen = append(seen, in)
		}
	}
	return seen, nil
}

var docResult = operation{
	id: "get-result", summary: "Judge a stored reading again",
	about:  "Under its own rules, with the as-new values it was judged with.",
	answer: ref("Result"), fails: []*class{notFound},
}

// getResult answers with the verdict on a stored reading and its reasons.
func (s *Server) getResult(c *gin.Context) error {
	in, err := s.inspection(c, readReading)
	if err != nil {
		return err
	}
	s.saw(c, in.PairRef)
	ctx := c.Request.Context()
	j := &judged{}
	if j.engine, err = s.engineOf(ctx, in.Rules); err != nil {
		return err
	}
	if j.asNew, err = s.builtAs(ctx, in); err != nil {
		return err
	}
	if j.model, err = s.shoe(ctx, &in.Record); err != nil {
		return err
	}
	risks, err := s.risks(ctx, in.Day)
	if err != nil {
		return err
	}
	j.engine.Judge(&in.Reading, j.asNew, &j.result)
	return answerResult(c, j, &in.Record, risks)
}

var docInspections = operation{
	id: "list-inspections", summary: "List readings", about: "Newest first.",
	query: params(pageParams, scopeParams, []param{
		{"pair_ref", "Of one pair.", textOf(0, "")},
		{"runner", "Of one runner.", textOf(0, "")},
		{"staff", "By one reader.", textOf(0, "")},
		{"model", "UUID of a shoe model.", uuidOf()},
		{"kind", "Why the pair was read.", oneOf(assess.KindWords[1:], "")},
		{"verdict", "As advised by the server.", oneOf(verdictWords(), "")},
		{"live", "true leaves out what was voided or superseded.", oneOf([]string{"true", "false"}, "")},
	}),
	answer: ref("Readings"), list: true, fails: []*class{badQuery},
}

// listInspections answers with a page of readings.
func (s *Server) listInspections(c *gin.Context) error {
	p, wrongPage := pageAsked(c)
	model, wrongModel := uuidAsked(c, "model")
	kind, wrongKind := wordAsked(c, "kind", assess.KindWords)
	verdict, wrongVerdict := wordAsked(c, "verdict", append([]string{""}, verdictWords()...))
	_, wrongLive := wordAsked(c, "live", []string{"", "true", "false"})
	if err := allOf(wrongPage, exactDays(c), wrongModel, wrongKind, wrongVerdict, wrongLive); err != nil {
		return err
	}
	who := s.who(c)
	f := models.InspectionFilter{
		Scopes: who.scopes(readReading), Store: c.Query("store"), Region: c.Query("region"),
		From: c.Query("from"), To: c.Query("to"), PairRef: c.Query("pair_ref"),
		Runner: c.Query("runner"), Staff: c.Query("staff"), Live: c.Query("live") == "true",
		Model: model, Kind: assess.RecordKind(kind), Verdict: assess.Verdict(verdict),
	}
	found, next, err := s.db.Inspections(c.Request.Context(), f, p)
	if err != nil {
		return wrongQuery(err)
	}
	if found, err = s.visible(c.Request.Context(), who, found); err != nil {
		return err
	}
	s.saw(c, refsOf(found)...)
	items := make([]json.RawMessage, len(found))
	for i, in := range found {
		items[i] = assess.AppendJSON(nil, &in.Record)
	}
	answerPage(c, items, next)
	return nil
}

// reasonBody says why.
type reasonBody struct {
	Reason string `json:"reason" minLength:"1" maxLength:"300" doc:"Why, in a few words"`
}

var docVoid = operation{
	id: "void-inspection", summary: "Void a reading",
	about: "It stays, marked as void, and its pair's interval of life is computed anew.",
	body:  reasonBody{}, answer: ref("Reading"), fails: []*class{notFound, conflict},
}

// postVoid marks a reading as void.
func (s *Server) postVoid(c *gin.Context) error {
	var body reasonBody
	if err := s.decode(c, &body); err != nil {
		return err
	}
	in, err := s.inspection(c, voidReading)
	if err != nil {
		return err
	}
	voided, err := s.db.VoidInspection(c.Request.Context(), s.who(c).actor(), in.ID, body.Reason)
	if wrong, ok := errors.AsType[assess.FieldError](err); ok && wrong.Field == "void_reason" {
		wrong.Field = "reason" // which the body calls it
		return wrong
	}
	if err != nil {
		return err
	}
	c.Data(http.StatusOK, "application/json", assess.AppendJSON(nil, &voided.Record))
	return nil
}

var docAmend = operation{
	id: "amend-inspection", summary: "Amend a reading",
	about: "The body is the whole reading as it should be, with an id of its own; one is made where it has none. It takes the place of the old reading, which stays.",
	body:  ref("Reading"), answer: ref("Reading"), made: true, fails: []*class{notFound, conflict},
}

// postAmend stores a reading that takes the place of another.
func (s *Server) postAmend(c *gin.Context) error {
	rec, err := readingOf(c, true)
	if err != nil {
		return err
	}
	old, err := s.inspection(c, writeReading)
	if err != nil {
		return err
	}
	f := &failure{class: badValues}
	if !rec.Supersedes.IsZero() && rec.Supersedes != old.ID {
		f.values = append(f.values, badValue{Pointer: "#/supersedes", Detail: fmt.Sprintf("%q: want the id of the address, or none", rec.Supersedes)})
	}
	if rec.ID == old.ID {
		f.values = append(f.values, badValue{Pointer: "#/inspection_id", Detail: fmt.Sprintf("%q: want an id of its own, or none", rec.ID)})
	}
	if rec.Store != old.Store {
		f.values = append(f.values, badValue{Pointer: "#/store", Detail: fmt.Sprintf("%q: want the store of the reading, %s", rec.Store, old.Store)})
	}
	if len(f.values) > 0 {
		return f
	}
	rec.Supersedes = old.ID
	if rec.ID.IsZero() {
		rec.ID = newID(s.now())
	}
	if rec.PairRef == "" {
		rec.PairRef = old.PairRef
	}
	return s.saveReading(c, rec)
}

// newID makes a UUIDv7.
func newID(now time.Time) assess.UUID {
	var random [10]byte
	_, _ = rand.Read(random[:]) // never fails: see crypto/rand
	return assess.NewV7(now.UnixMilli(), random)
}
