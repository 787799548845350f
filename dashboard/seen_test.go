package dashboard

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
)

// as signs somebody of the team in.
func (r *rig) as(code string) *http.Cookie {
	r.t.Helper()
	return cookie(r.t, r.post("/sign-in", credentials(code, password, "")), sessionCookie)
}

// Who was shown a verdict by a page or by the API doesn't read the pair blind that
// day, and is told when they saw it. Common practice, no source.
func TestWhoWasShownAVerdictDoesNotReadThePairBlind(t *testing.T) {
	r := newRig(t)
	r.team()
	n := 0
	for _, c := range []struct {
		name, path string // REF and ID stand for the pair and its reading
		blind      bool
	}{
		{"the pair's page", "/pairs/REF", false},
		{"the slip", "/slip/ID", false},
		{"the pair by the API", apiRoot + "/pairs/REF", false},
		{"the reading by the API", apiRoot + "/inspections/ID", false},
		{"its result", apiRoot + "/inspections/ID/result", false},
		{"a list of readings", apiRoot + "/inspections?pair_ref=REF", false},
		{"the day's list", "/bench", true},
		{"whether they saw it", apiRoot + "/inspections/ID/seen", true},
		{"pairs without their readings", apiRoot + "/pairs?store=" + storeA, true},
		{"nothing", "/methods", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			n++
			r.t = t
			first := r.put(2*n, soundReading)
			ref := first["pair_ref"].(string)
			session := r.as("F-2")
			seen := func() fields {
				return decoded[fields](t, r.look(apiRoot+"/inspections/"+id(2*n)+"/seen", session))
			}
			if at := seen()["seen_at"]; at != nil {
				t.Errorf("before, it was seen at %v", at)
			}
			at := r.clock.Now()
			for range 2 { // what counts is the first time
				want(t, r.look(strings.NewReplacer("REF", ref, "ID", id(2*n)).Replace(c.path), session), http.StatusOK)
				r.clock.advance(time.Minute)
			}
			second := soundReading.with(fields{"kind": "blind", "staff": "F-2", "pair_ref": ref, "at": r.clock.Now().Format(time.RFC3339)})
			delete(second, "given")
			w := r.call("PUT", apiRoot+"/inspections/"+id(2*n+1), r.fitter(), second)
			if c.blind {
				want(t, w, http.StatusCreated)
				if at := seen()["seen_at"]; at != nil {
					t.Errorf("it was seen at %v", at)
				}
				return
			}
			want(t, w, http.StatusUnprocessableEntity)
			p := decoded[problemAnswer](t, w)
			clock := at.In(madrid(t)).Format("15:04")
			if len(p.Errors) != 1 || p.Errors[0].Pointer != "#/staff" || !strings.Contains(p.Errors[0].Detail, "as F-2 did at "+clock) {
				t.Errorf("it is refused with %+v, want that F-2 saw it at %s", p.Errors, clock)
			}
			if got, err := time.Parse(time.RFC3339, seen()["seen_at"].(string)); err != nil || !got.Equal(at) {
				t.Errorf("seen at %v, %v, want %v", got, err, at)
			}
			// Who wasn't there reads it blind.
			want(t, r.call("PUT", apiRoot+"/inspections/"+id(2*n+1), r.fitter(), second.with(fields{"staff": "T-1"})), http.StatusCreated)
		})
	}
}

func madrid(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Madrid")
	must(t, err)
	return zone
}

// Everybody in the store sees the day's list, and who knows a verdict can't read
// the pair blind: it keeps those of others until they are looked at.
func TestTheDaysListKeepsTheVerdictsOfOthersToItself(t *testing.T) {
	r := newRig(t)
	r.team()
	ref := r.put(1, soundReading)["pair_ref"].(string)
	r.put(2, soundReading.with(fields{"staff": "F-2", "runner": "R-2"}))
	session := r.as("F-2")
	shown := func() []string {
		w := r.look("/bench", session)
		want(t, w, http.StatusOK)
		checkPage(t, w.Body.Bytes())
		rows := slices.DeleteFunc(tableRows(t, w), func(row string) bool { return !strings.Contains(row, "Velm") })
		slices.SortFunc(rows, func(a, b string) int { return strings.Index(a, "R-1") - strings.Index(b, "R-1") })
		return rows
	}
	rows := shown()
	if len(rows) != 2 || !strings.Contains(rows[0], "| F-2 | trade-in | Keep running |") || !strings.Contains(rows[1], "| F-1 | trade-in | open to see it |") {
		t.Errorf("rows %q, want one's own verdict alone", rows)
	}
	want(t, r.look("/pairs/"+ref, session), http.StatusOK)
	if rows = shown(); len(rows) != 2 || !strings.Contains(rows[1], "| F-1 | trade-in | Keep running |") {
		t.Errorf("rows %q, want what was looked at too", rows)
	}
}

// A page is shown though it can't be noted who saw it, and the log says so.
func TestAPageIsShownThoughItCantBeNotedWhoSawIt(t *testing.T) {
	r := newRig(t)
	r.team()
	ref := r.put(1, soundReading)["pair_ref"].(string)
	session := r.as("F-2")
	r.seenTime = time.Millisecond
	must(t, r.db.Together(t.Context(), func(*models.DB) error { // on SQLite one writes at a time
		want(t, r.look("/pairs/"+ref, session), http.StatusOK)
		return nil
	}))
	if !strings.Contains(r.logged.String(), "who saw a verdict is not noted") {
		t.Error("the log says nothing of it")
	}
	saw, err := r.db.SawVerdicts(t.Context(), "F-2", uuidOfReading(t, 1))
	must(t, err)
	if len(saw) != 0 {
		t.Errorf("it is noted all the same: %v", saw)
	}
}

func uuidOfReading(t *testing.T, n int) assess.UUID {
	t.Helper()
	reading, err := assess.ParseUUID(id(n))
	must(t, err)
	return reading
}
