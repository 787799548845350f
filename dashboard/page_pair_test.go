package dashboard

import (
	"net/http"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// zones sets a shoe's zones from ten characters, as a sole map writes them.
func zones(shoe *assess.Shoe, marks string) {
	for z, c := range marks {
		switch c {
		case '-', 'a':
		case 'c':
			shoe[z] = assess.CantOther
		default:
			shoe[z] = assess.Of(int(c - '0'))
		}
	}
}

func reading(km int, day string, advised assess.Verdict, left, right string) *models.Inspection {
	in := &models.Inspection{Day: day, Facts: models.Facts{Verdict: advised}}
	in.Kind, in.Store, in.Staff, in.Rules = assess.WearCheck, "K07", "07-14", 1
	in.KM = assess.Of(km)
	in.Advised, in.Given = advised, advised
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	in.At = at
	zones(&in.Shoe[assess.Left], left)
	zones(&in.Shoe[assess.Right], right)
	return in
}

func TestChangesBetweenReadings(t *testing.T) {
	w := testFront(t).pages.langs[0]
	before := reading(438, "2026-05-30", assess.RecheckPair, "1121021010", "1121022110")
	after := reading(612, "2026-06-22", assess.ReplacePair, "1121021010", "1121033100")
	b, a := &before.Shoe[assess.Right], &after.Shoe[assess.Right]
	b[assess.PressFore], a[assess.PressFore] = assess.Of(assess.Softer), assess.Of(assess.Gives)
	b[assess.Lining], a[assess.Lining] = assess.Of(assess.PaddingShowing), assess.Of(assess.LiningWorn)
	b[assess.Stand], a[assess.Stand] = assess.Of(assess.Square), assess.Of(assess.LeansIn)
	b[assess.Tilt], a[assess.Tilt] = assess.Of(-50), assess.Of(550)
	b[assess.Bond] = assess.Of(assess.Attached) // not read the second time
	before.SetPair(assess.FlexSide, assess.Of(0))
	after.SetPair(assess.FlexSide, assess.Of(2))

	got := w.changes(before, after)
	want := []pairChange{
		{What: "Right forefoot, inner and centre", From: "2", To: "3", Grades: true, Worse: true},
		{What: "Right toe, inner", From: "1", To: "0", Grades: true, Better: true},
		{What: "Right forefoot press", From: "softer", To: "gives", Worse: true},
		{What: "Right stand", From: "square", To: "leans in"},
		{What: "Right tilt", From: "0.5° out", To: "5.5° in"},
		{What: "Right lining", From: "padding showing", To: "worn", Better: true},
		{What: "Flex, left v right", From: "even", To: "right clearly easier"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("changes\n%+v\nwant\n%+v", got, want)
	}
}

func TestSoleMarks(t *testing.T) {
	var shoe assess.Shoe
	zones(&shoe, "01234c----")
	if got, want := soleMarks(&shoe, assess.ColSet(0).With(assess.ToeLateral)), "01234c---a"; got != want {
		t.Errorf("marks %s, want %s", got, want)
	}
}

func TestLifeIsSaidInOneSentence(t *testing.T) {
	w := testFront(t).pages.langs[0]
	for want, life := range map[string]models.Interval{
		"Nothing is known of its life yet.":                                                            {},
		"Sound at 438 km, and no more is known.":                                                       {Readings: 2, Lower: 438},
		"Worn at its first look, by 300 km.":                                                           {Readings: 1, Upper: assess.Of(300)},
		"Sound up to 438 km, worn by 612 km. Its life ended between the two.":                          {Readings: 3, Lower: 438, Upper: assess.Of(612)},
		w.say("life.contradicts", "how", models.Backwards.String()):                                    {Readings: 2, Contradicts: models.Backwards},
		"Its readings contradict each other (" + models.Crossed.String() + "): a second reader looks.": {Readings: 2, Contradicts: models.Crossed},
	} {
		if got := w.life(life); got != want {
			t.Errorf("life %+v: %q, want %q", life, got, want)
		}
	}
}

func TestDistanceLineRunsWithTheDistance(t *testing.T) {
	w := testFront(t).pages.langs[0]
	pair := &models.PairHistory{Pair: models.Pair{Life: models.Interval{Readings: 2, Lower: 438, Upper: assess.Of(612)}}}
	void := reading(900, "2026-07-01", assess.Keep, "", "")
	void.VoidedAt = void.At
	blind := reading(990, "2026-07-01", assess.Keep, "", "")
	blind.Kind = assess.Blind
	pair.Inspections = []*models.Inspection{ // newest first
		void, blind,
		reading(612, "2026-06-22", assess.ReplacePair, "", ""), reading(438, "2026-05-30", assess.RecheckPair, "", ""),
	}
	line := newDistanceLine(w, pair)
	if len(line.Notches) != 2 || line.Notches[0].Label != "438 km, 30 May" || line.Notches[1].Label != "612 km, 22 June" {
		t.Fatalf("notches %+v, want the two live readings, nearest first", line.Notches)
	}
	near := &models.PairHistory{Inspections: []*models.Inspection{
		reading(620, "2026-07-01", assess.Keep, "", ""), reading(612, "2026-06-22", assess.Keep, "", ""),
	}}
	if l := newDistanceLine(w, near); l.Notches[0].Label == "" || l.Notches[1].Label != "" || !strings.Contains(l.Label, "620 km, 1 July") {
		t.Errorf("labels that lie on each other: %+v, said %q", l.Notches, l.Label)
	}
	if line.Notches[0].X != line.Sound || line.Notches[1].X != line.Worn || line.Width() <= 0 || line.Worn >= line.End {
		t.Errorf("line %+v: sound must end at 438 km, worn at 612 km, before the end", line)
	}
	for i := 1; i < len(line.Ticks); i++ {
		if line.Ticks[i].X <= line.Ticks[i-1].X {
			t.Errorf("ticks don't rise: %v", line.Ticks)
		}
	}
	if line := newDistanceLine(w, &models.PairHistory{Inspections: []*models.Inspection{void}}); line != nil {
		t.Errorf("a pair without a live distance has the line %+v", line)
	}
	// Far beyond any shoe's life the line still has few ticks.
	far := &models.PairHistory{Inspections: []*models.Inspection{reading(99_999, "2026-06-22", assess.ReplacePair, "", "")}}
	if n := len(newDistanceLine(w, far).Ticks); n > 60 {
		t.Errorf("%d ticks at 99,999 km", n)
	}
}

func TestPairReadingSaysHowItWasGiven(t *testing.T) {
	w := testFront(t).pages.langs[0]
	first := reading(212, "2026-04-27", assess.ReplacePair, "0110010010", "1110011110")
	first.GaitBefore = assess.Of(assess.Yes)
	first.Given, first.GivenReason = assess.Keep, "walks in them"
	r := w.pairReading(first, nil, 0)
	if r.Head != "212 km" || r.Since != "First reading" || r.Given != "Advised by set 1; given: Keep, walks in them" {
		t.Errorf("reading %+v", r)
	}
	want := []pairChange{{What: "Worst zone", To: "1 scuffed"}, {What: "Second reader", To: "not asked"}, {What: "Order", To: "gait before wear"}}
	if !reflect.DeepEqual(r.Changes, want) {
		t.Errorf("first look %+v, want %+v", r.Changes, want)
	}
	again := reading(212, "2026-04-28", assess.Keep, "0110010010", "1110011110")
	again.KM = assess.Unread
	r = w.pairReading(again, first, 0)
	if r.Head != "28 April" || r.Since != "Changed since 212 km" || r.Changes[0].What != "Nothing changed" {
		t.Errorf("reading %+v", r)
	}
}

// A reading that was corrected or voided stays on its pair's page, struck
// through, with who did it, when and why.
func TestWhatWasStruckOutSaysWhoWhenAndWhy(t *testing.T) {
	r := newRig(t)
	r.team()
	ref := r.put(1, soundReading)["pair_ref"].(string)
	page := "/pairs/" + ref
	amended := soundReading.with(fields{"staff": "F-2", "supersedes": id(1), "amend_reason": "left and right were swapped", "km": 320})
	want(t, r.call("PUT", apiRoot+"/inspections/"+id(2), r.fitter(), amended.with(fields{"pair_ref": ref})), http.StatusCreated)
	r.shows(r.sees(page), "Corrected by F-2, 5 October 14:00: left and right were swapped", `href="#r-`+id(2)+`"`, `id="r-`+id(1)+`" class="gone"`)

	void := url.Values{"reading": {id(2)}, "reason": {"another runner's pair"}}
	session := cookie(t, r.post("/sign-in", credentials("F-1", password, "/bench")), sessionCookie)
	refuse := func(why string, form url.Values) {
		t.Helper()
		r.refused(r.post(page+"/void", form, session), why)
	}
	with := func(name, value string) url.Values {
		form := url.Values{"staff": {"M-1"}, "password": {password}}
		for k, v := range void {
			form[k] = v
		}
		form.Set(name, value)
		return form
	}
	refuse("Say why it is void", with("reason", " "))
	refuse("Code and secret don", with("password", "wrong horse battery"))
	refuse("Only a manager of this store", with("staff", "F-2"))
	want(t, r.post("/pairs/7K3M9QTDS/void", with("reason", "x"), session), http.StatusNotFound)
	want(t, r.call("POST", page+"/void", r.token(retail.Fitter, retail.Scope{Store: storeB}), with("reason", "x")), http.StatusForbidden)
	want(t, r.post(page+"/void", with("reason", "another runner's pair"), session), http.StatusSeeOther)
	r.shows(r.sees(page+"?done=void"), "Void since 5 October 14:00, by M-1: another runner&#39;s pair", "The reading is void", "Nothing is known of its life yet")
	refuse("it is void already", with("reason", "again"))
	// Once void, it can't be corrected; nor can what was corrected before.
	for n, old := range map[int]string{3: id(1), 4: id(2)} {
		want(t, r.call("PUT", apiRoot+"/inspections/"+id(n), r.fitter(), amended.with(fields{"supersedes": old})), http.StatusConflict)
	}
	r.refusedAt(r.call("PUT", apiRoot+"/inspections/"+id(5), r.fitter(), soundReading.with(fields{"amend_reason": "of nothing"})), "#/amend_reason")
}

// A second reading, blind, stands beside the reading of somebody else that it
// was made with, for those two and for who leads them.
func TestASecondReadingStandsBesideTheFirst(t *testing.T) {
	r := newRig(t)
	r.team()
	first := r.put(1, soundReading)
	ref := first["pair_ref"].(string)
	blind := soundReading.with(fields{
		"kind": "blind", "staff": "F-2", "pair_ref": ref, "at": "2026-10-05T11:20:00Z", "left": soundShoe.with(fields{"lining": "worn"}),
	})
	r.put(2, blind)
	// One's own is nobody's second.
	r.refusedAt(r.call("PUT", apiRoot+"/inspections/"+id(3), r.fitter(), blind.with(fields{"staff": "F-1", "at": "2026-10-05T11:21:00Z"})), "#/staff")
	r.put(4, blind.with(fields{"staff": "B-1", "at": "2026-10-04T11:21:00Z"})) // of another day
	r.put(5, blind.with(fields{"pair_ref": "7K3M9QTDS", "staff": "M-1"}))      // of another pair
	const agrees, differs = "F-2 read the pair blind: agrees on", `<dd>sound <i>worn</i></dd>`
	page := r.sees("/pairs/" + ref)
	r.shows(page, agrees, differs)
	if n := strings.Count(page, "read the pair blind"); n != 1 {
		t.Errorf("%d second readings stand there, want 1", n)
	}
	for code, want := range map[string]bool{"F-1": true, "F-2": true, "M-1": true, "B-1": false} {
		session := cookie(t, r.post("/sign-in", credentials(code, password, "/bench")), sessionCookie)
		if got := strings.Contains(r.look("/pairs/"+ref, session).Body.String(), agrees); got != want {
			t.Errorf("%s sees it: %v, want %v", code, got, want)
		}
	}
	if !strings.Contains(page, "Sound at") {
		t.Errorf("the pair's life is not that of the first reading: %s", page)
	}
}
