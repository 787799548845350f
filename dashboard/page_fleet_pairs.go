package dashboard

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models/facts"
	memory "solewright/reports/fleet"
)

// fleetPairsPage lists the pairs behind a number.
type fleetPairsPage struct {
	wearFilters
	Title, Caption string
	About          []way // what narrows the list beyond the board's filters; a tap takes it away
	Orders         []way
	CSV            string
	Rows           []fleetPairRow
	Next           string
	First          string // the way back to the first page
}

type fleetPairRow struct {
	Ref, Spaced, Left, Right                 string
	Model, Store, Day, Gait, KM, Heel, Fore  string
	Verdict, VerdictWords, Reason, Batch, At string
	Photos                                   []pairPhoto
}

// orders are the orders of the list, by the word in the address.
var orders = []struct {
	word  string
	order memory.Order
}{{"newest", memory.Newest}, {"oldest", memory.Oldest}, {"most-km", memory.MostKM}, {"least-km", memory.LeastKM}}

// maxListed is how many pairs the CSV of a list holds at most; export pairs has
// them all.
const maxListed = 10_000

// showFleetPairs answers with the pairs behind a number.
func (s *Server) showFleetPairs(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	w := s.words(c)
	view := fleetPairsPage{CSV: address(c, "as", "csv")}
	if view.wearFilters, a, err = s.wearFilters(c, v, a); err != nil {
		return err
	}
	at := slices.IndexFunc(orders, func(o struct {
		word  string
		order memory.Order
	},
	) bool {
		return o.word == cmp.Or(c.Query("sort"), orders[0].word)
	})
	if at < 0 {
		return refuseParameter("sort", "want newest, oldest, most-km or least-km")
	}
	for i, o := range orders {
		view.Orders = append(view.Orders, way{Href: address(c, "sort", o.word), Text: w.say("fleet.sort." + o.word), Here: i == at})
	}
	if c.Query("as") == "csv" {
		return s.listCSV(c, v, a.Filter(), orders[at].order)
	}
	page, next, err := v.List(a.Filter(), orders[at].order, c.Query("cursor"), defaultLimit)
	if err != nil {
		return wrongQuery(err)
	}
	cells, err := v.Count(a.Filter())
	if err != nil {
		return err
	}
	n := 0
	if len(cells) > 0 {
		n = cells[0].N
	}
	view.Title, view.Caption = w.say("fleet.list.title", "n", n), w.say("fleet.list.caption")
	if a.Readings {
		view.Title, view.Caption = w.say("fleet.list.readings", "n", n), w.say("fleet.list.readings-caption")
	}
	for _, name := range []string{"pattern", "batch", "verdict", "reason", "posture", "strike", "surface"} {
		if word := c.Query(name); word != "" {
			var said []string
			for one := range strings.SplitSeq(word, ",") {
				if one = w.word(one); name == memory.Reason.String() {
					one = w.reason(one)
				}
				said = append(said, one)
			}
			text := strings.Join(said, ", ")
			if name == "pattern" {
				text = w.say("fleet.picked", "part", w.say("fleet.part."+a.Part.String()), "pattern", w.word(word))
			}
			view.About = append(view.About, way{Href: address(c, name, ""), Text: w.say("fleet.list.only", "what", w.say("fleet.filter."+name), "word", text)})
		}
	}
	if next != "" {
		view.Next = address(c, "cursor", next)
	}
	if c.Query("cursor") != "" {
		view.First = address(c)
	}
	photos, err := s.smallPhotos(c, page)
	if err != nil {
		return err
	}
	var lately []string // of others no note is kept, which spares the database to look
	for i := range page {
		if s.db.Lately(page[i].Day) {
			lately = append(lately, page[i].Pair)
		}
	}
	s.saw(c, lately...)
	for i := range page {
		row := w.pairRow(v, &page[i])
		row.Photos = photos[row.Ref]
		view.Rows = append(view.Rows, row)
	}
	return s.render(c, http.StatusOK, "fleet-pairs", view)
}

// pairRow writes one pair of a list.
func (w words) pairRow(v *memory.View, l *memory.Listed) fleetPairRow {
	r := fleetPairRow{
		Ref: l.Pair, Spaced: spaced(l.Pair), Left: gradeMarks(l.Grades(assess.Left)), Right: gradeMarks(l.Grades(assess.Right)),
		Model: v.Label(memory.Model, l.Word(memory.Model)), Store: l.Word(memory.Store), Day: w.dayAndYear(l.Day), Batch: l.Word(memory.Batch),
		Gait: w.word(l.Word(memory.Gait)), Heel: w.word(l.Word(memory.HeelPattern)), Fore: w.word(l.Word(memory.ForePattern)),
		Verdict: l.Word(memory.Verdict), At: l.Day,
	}
	if r.Verdict != "" {
		r.VerdictWords = w.say("verdict." + r.Verdict)
	}
	if code := l.Word(memory.Reason); code != "" {
		r.Reason = w.reason(code)
	}
	if l.KM.OK() {
		r.KM = w.say("measured", "v", l.KM.Int(), "unit", "km")
	}
	return r
}

// gradeMarks writes zones as a sole map takes them.
func gradeMarks(g facts.Grades) string {
	marks := make([]byte, assess.NumZones)
	for z := range marks {
		switch v := g.At(z); v {
		case facts.NoGrade:
			marks[z] = '-'
		case facts.CantGrade:
			marks[z] = 'c'
		default:
			marks[z] = byte('0' + v)
		}
	}
	return string(marks)
}

// wholeKM writes a distance, nothing where it is unread.
func wholeKM(v assess.Value) string {
	if !v.OK() {
		return ""
	}
	return strconv.Itoa(v.Int())
}

// listCSV answers with the list as a file, in the words of export pairs.
func (s *Server) listCSV(c *gin.Context, v *memory.View, f memory.Filter, order memory.Order) error {
	dims := []memory.Dim{memory.Category, memory.Batch, memory.Gait, memory.Posture, memory.Strike, memory.Store, memory.Month, memory.Kind, memory.HeelPattern, memory.ForePattern, memory.Side, memory.Verdict, memory.Reason}
	head := []string{"pair_ref", "model", "day", "km", "lower", "upper"}
	for _, d := range dims {
		head = append(head, d.String())
	}
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	out.UseCRLF = true
	if err := out.Write(head); err != nil {
		return err
	}
	for n, after := 0, ""; n < maxListed; {
		page, next, err := v.List(f, order, after, maxPage)
		if err != nil {
			return err
		}
		for i := range page {
			l := &page[i]
			line := []string{l.Pair, v.Label(memory.Model, l.Word(memory.Model)), l.Day, wholeKM(l.KM), wholeKM(l.Lower), wholeKM(l.Upper)}
			for _, d := range dims {
				line = append(line, l.Word(d))
			}
			if err := out.Write(line); err != nil {
				return err
			}
		}
		if n, after = n+len(page), next; next == "" {
			break
		}
	}
	out.Flush()
	attach(c, "pairs.csv", "text/csv; charset=utf-8", b.Bytes())
	return out.Error()
}

// maxPage is the largest page that the fleet in memory lists at once.
const maxPage = 500
