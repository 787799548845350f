package dashboard

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
)

// pairPage is the history of one pair: what is known of it, its distance line,
// and its readings side by side, oldest first.
type pairPage struct {
	Ref, Spaced string
	Shoe        string
	Batch       string
	Bought      string
	Runner      string
	// Life says in a sentence what the readings say about its life.
	Life string
	// Line is absent where no reading has a distance.
	Line     *distanceLine
	Readings []pairReading
	// Done says what was just done, Wrong why nothing was done to a reading that
	// doesn't stand any more.
	Done, Wrong string
	// Trade says that a trade-in waits for a decision; Decide is where, for who
	// may.
	Trade, Decide string
}

// pairReading is one reading in its column.
type pairReading struct {
	ID, Head, By, Day string
	// Left and Right are the zones as a sole map takes them.
	Left, Right           string
	Verdict, VerdictWords string
	// Given says how the verdict was given.
	Given string
	// Second says who else stands by the verdict that was given.
	Second string
	// Gone says that the reading was voided or amended, by whom, when and why;
	// Newer is the reading that took its place.
	Gone, Newer string
	// Beside is what others read of the pair blind, next to this reading.
	Beside []pairBeside
	// Mend says that who looks may correct the reading; Void is how it is voided.
	Mend    bool
	Void    voiding
	Since   string
	Changes []pairChange
	Photos  []pairPhoto
}

// pairBeside is a second reading, blind: on how much it agrees, and where not.
type pairBeside struct {
	Head    string
	Changes []pairChange
}

// voiding is the form that voids a reading.
type voiding struct {
	Open bool // it was asked for
	// Asks says that a manager has to prove who they are; ByPIN how.
	Asks, ByPIN   bool
	Reason, Staff string
	Wrong         string
}

// pairPhoto is one photo of a reading, small, and the way to it as it is kept.
type pairPhoto struct {
	Small, Whole string
	Label        string
}

// pairPhotos writes the photos of a reading, for who reads the pair's history.
func (w words) pairPhotos(ref string, links []models.PhotoLink) []pairPhoto {
	var all []pairPhoto
	for i := range links {
		p := photoOf(&links[i])
		at := apiRoot + "/photos/" + p.SHA + "?pair=" + url.QueryEscape(ref)
		all = append(all, pairPhoto{
			Small: at + "&w=160", Whole: at,
			Label: w.say("photo.of", "shoe", w.say("shoe."+p.Shoe), "view", w.say("photo.view."+p.View)),
		})
	}
	return all
}

// pairChange is one line of what a reading says, or of what changed.
type pairChange struct {
	What, From, To string
	// Grades says that From and To are wear grades.
	Grades bool
	Worse  bool
	// Better says that wear went back, which is two readers differing.
	Better bool
}

// showPair answers with a pair's history.
func (s *Server) showPair(c *gin.Context) error {
	return s.pairPage(c, http.StatusOK, c.Query("void"), voiding{Open: true})
}

// pairPage answers with a pair's history, and with the form that voids one of
// its readings as asked has it.
func (s *Server) pairPage(c *gin.Context, status int, voids string, asked voiding) error {
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	pair, err := s.wholePair(c)
	if err != nil {
		return err
	}
	s.saw(c, pair.Ref)
	besides := models.Beside(pair.Inspections)
	view := pairPage{
		Ref: pair.Ref, Spaced: spaced(pair.Ref), Batch: pair.Batch, Bought: w.dayAndYear(pair.BoughtOn), Runner: pair.Runner,
		Life: w.life(pair.Life), Line: newDistanceLine(w, pair),
	}
	if c.Query("done") == "void" {
		view.Done = w.say("void.done")
	}
	if err := s.tradeWaits(c, pair.Ref, &view); err != nil {
		return err
	}
	shots, err := s.photosOf(ctx, pair.Inspections)
	if err != nil {
		return err
	}
	ids, byID := make([]assess.UUID, len(pair.Inspections)), make(map[assess.UUID]*models.Inspection)
	for i, in := range pair.Inspections {
		ids[i], byID[in.ID] = in.ID, in
	}
	signed, err := s.db.SignedFor(ctx, ids...)
	if err != nil {
		return err
	}
	var before *models.Inspection
	for i := len(pair.Inspections) - 1; i >= 0; i-- {
		in := pair.Inspections[i]
		if in.Kind == assess.Blind {
			continue // what a fitter saw blind is no part of a pair's history
		}
		var built assess.ColSet
		if !in.ModelID.IsZero() && in.AsNew > 0 {
			asNew, err := s.db.AsNew(ctx, in.ModelID, in.AsNew)
			if err != nil {
				return err
			}
			built = asNew.Built
		}
		view.Shoe = shoeName(&in.Record)
		reading := w.pairReading(in, before, built)
		reading.Photos = w.pairPhotos(pair.Ref, shots[in.ID])
		reading.Second = w.second(in, signed[in.ID])
		if reading.Gone, err = s.gone(c, in, byID[in.SupersededBy]); err != nil {
			return err
		}
		if in.Live() {
			before = in
			place, err := s.store(ctx, in.Store)
			if err != nil {
				return err
			}
			for _, b := range besides[in.ID] {
				// What was seen blind is shown to the two who read, and to who leads them.
				may, err := s.maySee(ctx, who, b)
				if err != nil {
					return err
				}
				if may || who.Code == in.Staff || who.allowsAt(voidReading, place.Code, place.Region) {
					reading.Beside = append(reading.Beside, w.beside(in, b))
				}
			}
			reading.Mend = who.allowsAt(writeReading, place.Code, place.Region)
			if reading.ID == voids {
				reading.Void = asked
			}
			reading.Void.Asks, reading.Void.ByPIN = !who.allowsAt(voidReading, place.Code, place.Region), who.Device != ""
		} else if !in.SupersededBy.IsZero() {
			reading.Newer = in.SupersededBy.String()
		}
		if reading.ID == voids && !in.Live() {
			view.Wrong = asked.Wrong
		}
		view.Readings = append(view.Readings, reading)
	}
	return s.render(c, status, "pair", view)
}

// tradeWaits says on a pair's page that its trade-in waits for a decision.
func (s *Server) tradeWaits(c *gin.Context, ref string, view *pairPage) error {
	waiting, err := s.db.CorrectedTradeInsOf(c.Request.Context(), ref)
	if err != nil || len(waiting) == 0 {
		return err
	}
	w, t := s.words(c), &waiting[0].TradeIn
	view.Trade = w.say("pair.trade-waits", "route", w.word(t.Route.String()), "amount", t.Currency+" "+money(t.Currency, t.Credit))
	at, err := s.store(c.Request.Context(), t.Store)
	if err == nil && s.who(c).allowsAt(setCredit, at.Code, at.Region) {
		view.Decide = "/office/corrected#t-" + t.ID.String()
	}
	return err
}

// beside says how a second reading agrees with the first: on how many of the
// checks that both read, and what they differ on.
func (w words) beside(in, second *models.Inspection) pairBeside {
	both, same := 0, 0
	pair := models.SecondReading{First: in, Blind: second}
	for _, on := range agreeOns() {
		for _, p := range on.places(&pair) {
			both++
			if p.a == p.b {
				same++
			}
		}
	}
	return pairBeside{Head: w.say("blind.agrees", "who", second.Staff, "same", same, "both", both), Changes: w.changes(in, second)}
}

// gone says of a reading that doesn't stand any more who struck it out, when
// and why; newer is the one that took its place, if one did. It is empty for a
// reading that stands.
func (s *Server) gone(c *gin.Context, in, newer *models.Inspection) (string, error) {
	if in.Live() {
		return "", nil
	}
	ctx, w := c.Request.Context(), s.words(c)
	place, err := s.store(ctx, in.Store)
	if err != nil {
		return "", err
	}
	zone, err := time.LoadLocation(place.Zone)
	if err != nil {
		return "", fmt.Errorf("store %s: %w", place.Code, err)
	}
	at := func(t time.Time) string { return w.day(t.In(zone)) + " " + t.In(zone).Format("15:04") }
	if in.VoidedAt.IsZero() {
		if newer == nil {
			return w.say("pair.amended"), nil
		}
		key := "pair.amended-by"
		if newer.AmendReason == "" { // as in files, and from programs
			key = "pair.amended-for-no-reason"
		}
		return w.say(key, "who", newer.Staff, "at", at(newer.ReceivedAt), "why", newer.AmendReason), nil
	}
	lines, _, err := s.db.Audit(ctx, models.AuditFilter{Action: "inspection.void", Subject: "inspection:" + in.ID.String()}, models.Page{Limit: 1})
	if err != nil {
		return "", err
	}
	by := ""
	if len(lines) > 0 {
		by = lines[0].Account
	}
	return w.say("pair.void-by", "who", by, "at", at(in.VoidedAt), "why", in.VoidReason), nil
}

// second says who else stands by the verdict of a reading: who signed it, or
// that nobody has yet. It is empty for a reading that takes nobody.
func (w words) second(in *models.Inspection, signed string) string {
	unproven := in.Flags&assess.FlagSecondUnproven != 0
	switch {
	case signed != "" && unproven:
		return w.say("pair.second.confirmed", "code", in.SecondReader, "who", signed)
	case signed != "":
		return w.say("pair.second.signed", "who", signed)
	case unproven:
		return w.say("pair.second.waits", "code", in.SecondReader)
	case in.Flags&assess.FlagSecondSaid != 0:
		return w.say("pair.second.said", "code", in.SecondReader, "staff", in.Staff)
	}
	return ""
}

// doVoidReading voids a reading of a pair: by who has the right to it, or by a
// manager who proves who they are on the screen of somebody without.
func (s *Server) doVoidReading(c *gin.Context) error {
	posted, err := form(c)
	if err != nil {
		return err
	}
	ctx, w, who := c.Request.Context(), s.words(c), s.who(c)
	reading, err := assess.ParseUUID(posted.Get("reading"))
	if err != nil {
		return refuse(notFound, "a reading is known by its UUID")
	}
	in, err := s.db.Inspection(ctx, reading)
	if err != nil {
		return err
	}
	if in.PairRef != c.Param("ref") {
		return refuse(notFound, "the reading is of another pair")
	}
	if err := s.mayAt(ctx, who, writeReading, in.Store, "#"); err != nil {
		return err
	}
	place, err := s.store(ctx, in.Store)
	if err != nil {
		return err
	}
	sent := voiding{Open: true, Reason: strings.TrimSpace(posted.Get("reason")), Staff: strings.TrimSpace(posted.Get("staff"))}
	again := func(why string) error {
		sent.Wrong = why
		return s.pairPage(c, http.StatusUnprocessableEntity, reading.String(), sent)
	}
	if sent.Reason == "" {
		return again(w.say("void.why"))
	}
	by := who.actor()
	if !who.allowsAt(voidReading, place.Code, place.Region) {
		a, err := s.prove(c, sent.Staff, posted.Get("pin"), posted.Get("password"))
		switch {
		case errors.Is(err, models.ErrDenied):
			return again(w.say("sign.denied"))
		case errors.Is(err, models.ErrTooMany):
			return again(w.say("sign.locked"))
		case err != nil:
			return err
		}
		manager := identityOf(&a)
		if !manager.allowsAt(voidReading, place.Code, place.Region) {
			return again(w.say("void.who"))
		}
		by.Account = a.Code
	}
	_, err = s.db.VoidInspection(ctx, by, reading, sent.Reason)
	if wrong, why, ok := w.refusal(err); ok {
		return again(either(why, strayErrors(wrong, nil)))
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/pairs/"+url.PathEscape(in.PairRef)+"?done=void")
	return nil
}

// life says what a pair's readings say about the distance it lasted.
func (w words) life(l models.Interval) string {
	switch {
	case l.Contradicts != models.NoContradiction:
		return w.say("life.contradicts", "how", w.word(l.Contradicts.String()))
	case l.Readings == 0:
		return w.say("life.unknown")
	case !l.Upper.OK():
		return w.say("life.sound", "lower", l.Lower)
	case l.Lower == 0:
		return w.say("life.first-worn", "upper", l.Upper.Int())
	}
	return w.say("life.between", "lower", l.Lower, "upper", l.Upper.Int())
}

// pairReading writes one reading, and what changed since the one before.
func (w words) pairReading(in, before *models.Inspection, built assess.ColSet) pairReading {
	r := pairReading{
		ID: in.ID.String(), Day: w.dayOf(in.Day), By: strings.Join([]string{in.Store, in.Staff}, ", "),
		Left: soleMarks(&in.Shoe[assess.Left], built), Right: soleMarks(&in.Shoe[assess.Right], built),
		Verdict: in.Facts.Verdict.String(), VerdictWords: w.verdict(in.Facts.Verdict, in.Facts.How),
	}
	r.Head = r.Day
	if in.KM.OK() {
		r.Head = w.say("measured", "v", in.KM.Int(), "unit", "km")
	}
	switch {
	case in.Given == assess.NoVerdict || in.Given == in.Facts.Verdict:
		r.Given = w.say("pair.given-as-advised", "rules", in.Rules)
	case in.GivenReason != "":
		r.Given = w.say("pair.given-because", "rules", in.Rules, "given", w.say("given."+in.Given.String()), "why", in.GivenReason)
	default:
		r.Given = w.say("pair.given", "rules", in.Rules, "given", w.say("given."+in.Given.String()))
	}
	if before == nil {
		r.Since = w.say("pair.first")
		r.Changes = w.firstLook(in)
		return r
	}
	r.Since = w.say("pair.since", "when", w.dayOf(before.Day))
	if before.KM.OK() {
		r.Since = w.say("pair.since", "when", w.say("measured", "v", before.KM.Int(), "unit", "km"))
	}
	r.Changes = w.changes(before, in)
	if len(r.Changes) == 0 {
		r.Changes = []pairChange{{What: w.say("pair.unchanged")}}
	}
	return r
}

// dayOf says a local day, YYYY-MM-DD.
func (w words) dayOf(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return w.day(t)
}

// dayAndYear says a local day with its year, and nothing for no day.
func (w words) dayAndYear(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return w.say("day-year", "day", w.day(t), "year", t.Year())
}

// firstLook says of a pair's first reading what the others say by change.
func (w words) firstLook(in *models.Inspection) []pairChange {
	worst := -1
	for f := range in.Shoe {
		for z := range assess.NumZones {
			if v := in.Shoe[f][z]; v.OK() {
				worst = max(worst, v.Int())
			}
		}
	}
	var lines []pairChange
	if worst >= 0 {
		lines = append(lines, pairChange{What: w.say("pair.worst-zone"), To: fmt.Sprintf("%d %s", worst, w.say("grade."+strconv.Itoa(worst)))})
	}
	second := w.say("second.none")
	if says := in.Pair(assess.SecondSays); says.OK() {
		second = w.word(assess.Columns[assess.SecondSays].Words[says.Int()])
	}
	lines = append(lines, pairChange{What: w.say("second.head"), To: second})
	if in.GaitBefore.OK() {
		order := "pair.gait-after"
		if in.GaitBefore.Is(assess.Yes) {
			order = "pair.gait-before"
		}
		lines = append(lines, pairChange{What: w.say("pair.order"), To: w.say(order)})
	}
	return lines
}

// worsening are the checks whose words go from sound to worn, so that a step
// back is two readers differing.
var worsening = assess.ColSet(0).
	With(assess.PressHeel).With(assess.PressFore).With(assess.Lining).With(assess.Squeeze).With(assess.Bond).With(assess.Rubber)

// told are the checks of a shoe whose change is told, after the zones.
var told = []assess.Col{
	assess.PressHeel, assess.PressFore, assess.Stand, assess.Tilt, assess.Lining, assess.Squeeze, assess.Bond, assess.Mesh,
	assess.Creases, assess.Rubber,
}

// toldAlike are those of them that two people can read alike: degrees never fall
// on the same tenth.
var toldAlike = slices.DeleteFunc(slices.Clone(told), func(c assess.Col) bool { return c == assess.Tilt })

// sidesTold are the comparisons of the two shoes.
var sidesTold = []assess.Col{assess.FlexSide, assess.TorsionSide}

// changes lists what two readings of a pair say differently. Zones of one part
// of one shoe that changed alike share a line.
func (w words) changes(a, b *models.Inspection) []pairChange {
	var lines []pairChange
	for _, f := range []assess.Foot{assess.Left, assess.Right} {
		shoe := w.say("shoe." + f.String() + ".cap")
		for p := range assess.NumParts {
			lines = append(lines, w.zoneChanges(shoe, p, &a.Shoe[f], &b.Shoe[f])...)
		}
		for _, col := range told {
			from, to := a.Shoe[f][col], b.Shoe[f][col]
			if from == to || from == assess.Unread || to == assess.Unread {
				continue
			}
			back := worsening.Has(col) && from.OK() && to.OK() && to.Int() < from.Int()
			lines = append(lines, pairChange{
				What: w.say("of-shoe", "shoe", shoe, "what", strings.ToLower(w.short(col))),
				From: w.value(col, from), To: w.value(col, to),
				Worse: worsening.Has(col) && !back && from.OK() && to.OK(), Better: back,
			})
		}
	}
	for _, col := range []assess.Col{assess.FlexSide, assess.TorsionSide} {
		from, to := a.Pair(col), b.Pair(col)
		if from != to && from != assess.Unread && to != assess.Unread {
			lines = append(lines, pairChange{What: w.say("check." + col.String()), From: w.value(col, from), To: w.value(col, to)})
		}
	}
	return lines
}

// zoneChanges lists the zones of one part whose grade changed.
func (w words) zoneChanges(shoe string, p assess.Part, a, b *assess.Shoe) []pairChange {
	type step struct{ from, to int }
	edges := map[step][]string{}
	var order []step
	first, n := p.Zones()
	for z := first; z < first+assess.Col(n); z++ {
		from, to := a[z], b[z]
		if !from.OK() || !to.OK() || from == to {
			continue
		}
		s := step{from.Int(), to.Int()}
		if edges[s] == nil {
			order = append(order, s)
		}
		_, edge, _ := strings.Cut(z.String(), "_")
		edges[s] = append(edges[s], w.say("edge."+edge))
	}
	var lines []pairChange
	for _, s := range order {
		lines = append(lines, pairChange{
			What: w.say("zone", "shoe", shoe, "part", w.say("part."+p.String()), "edge", w.list(edges[s])),
			From: strconv.Itoa(s.from), To: strconv.Itoa(s.to), Grades: true,
			Worse: s.to > s.from && s.to >= thinGrade, Better: s.to < s.from,
		})
	}
	return lines
}

// thinGrade is where wear begins to tell in a verdict: reaching it stands out.
const thinGrade = 3

// list joins words as a sentence does.
func (w words) list(all []string) string {
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	last := len(all) - 1
	return w.say("and", "all", strings.Join(all[:last], ", "), "last", all[last])
}

// short names a check in a few words.
func (w words) short(col assess.Col) string {
	if key := "short." + col.String(); w.has(key) {
		return w.say(key)
	}
	return w.say("check." + col.String())
}

// value writes a value of a column as the bench does.
func (w words) value(col assess.Col, v assess.Value) string {
	c := &assess.Columns[col]
	switch {
	case !v.OK():
		return w.say("cant-read")
	case c.Kind == assess.Measure:
		n := float64(v.Int()) / math.Pow10(c.Decimals)
		if col != assess.Tilt {
			return w.say("measured", "v", n, "unit", c.Unit)
		}
		way := "tilt.in"
		if n < 0 {
			way = "tilt.out"
		}
		return w.say(way, "n", strconv.FormatFloat(math.Abs(n), 'f', 1, 64))
	}
	if i := v.Int() - c.Min; i >= 0 && i < len(c.Words) {
		return w.word(c.Words[i])
	}
	return strconv.Itoa(v.Int())
}

// soleMarks writes a shoe's zones as a sole map takes them: 0–4, - unread, c
// can't read, a as built.
func soleMarks(shoe *assess.Shoe, built assess.ColSet) string {
	marks := make([]byte, assess.NumZones)
	for z := range marks {
		switch v := shoe[z]; {
		case built.Has(assess.Col(z)):
			marks[z] = 'a'
		case v.OK():
			marks[z] = byte('0' + v.Int())
		case v.Cant():
			marks[z] = 'c'
		default:
			marks[z] = '-'
		}
	}
	return string(marks)
}

// distanceLine is the line of a pair's life: solid as long as it was sound,
// dashed where it wore out, a notch at each reading. Positions are in the
// units of the drawing.
type distanceLine struct {
	Label   string
	End     float64
	Sound   float64 // where the solid line ends
	Worn    float64 // where the dashed line ends; Sound where it has not worn out
	Ticks   []lineTick
	Notches []lineNotch
}

// Width is how long it is unknown whether the pair was worn out.
func (l *distanceLine) Width() float64 { return l.Worn - l.Sound }

type lineTick struct {
	X     float64
	Long  bool
	Label string
}

type lineNotch struct {
	X     float64
	Label string
}

// The distance line's drawing: its left end and its length.
const lineStart, lineLength = 10.0, 1086.0

// labelRoom is how far apart two labels of the line stand at least.
const labelRoom = 180.0

// newDistanceLine lays out the distance line of a pair, or returns nil where
// no live reading has a distance.
func newDistanceLine(w words, pair *models.PairHistory) *distanceLine {
	top := 0
	var live []*models.Inspection
	for _, in := range pair.Inspections {
		if in.Live() && in.Kind != assess.Blind && in.KM.OK() {
			live, top = append(live, in), max(top, in.KM.Int())
		}
	}
	if len(live) == 0 {
		return nil
	}
	step := 100
	for top/step >= 10 {
		step *= 2
	}
	end := (top/step + 1) * step
	at := func(km int) float64 {
		return math.Round(10*(lineStart+lineLength*float64(km)/float64(end))) / 10
	}
	line := &distanceLine{End: at(end), Sound: at(pair.Life.Lower), Worn: at(pair.Life.Lower)}
	if pair.Life.Upper.OK() {
		line.Worn = at(pair.Life.Upper.Int())
	}
	for km := 0; km <= end; km += step / 5 {
		t := lineTick{X: at(km), Long: km%step == 0}
		if t.Long {
			t.Label = strconv.Itoa(km)
		}
		if km == end {
			t.Label = w.say("measured", "v", km, "unit", "km")
		}
		line.Ticks = append(line.Ticks, t)
	}
	var said []string
	written := math.Inf(-1)
	for i := len(live) - 1; i >= 0; i-- {
		label := w.say("pair.at", "km", live[i].KM.Int(), "day", w.dayOf(live[i].Day))
		notch := lineNotch{X: at(live[i].KM.Int()), Label: label}
		if notch.X-written < labelRoom {
			notch.Label = "" // its column below says it
		} else {
			written = notch.X
		}
		line.Notches = append(line.Notches, notch)
		said = append(said, label)
	}
	line.Label = w.say("pair.line", "readings", strings.Join(said, "; "), "life", w.life(pair.Life))
	return line
}
