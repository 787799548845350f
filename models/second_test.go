package models_test

import (
	"errors"
	"maps"
	"slices"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
)

// readBy is the n-th reading of a pair, of a kind and by somebody, at an hour of
// the day of these tests.
func readBy(n, pair int, kind assess.RecordKind, staff string, hour int) models.NewInspection {
	in := reading(n, ref(pair), 300, assess.Keep)
	in.Record.Kind, in.Record.Staff, in.Record.At = kind, staff, at.Add(time.Duration(hour)*time.Hour)
	return judged(in.Record)
}

// line is a reading of a case: its number and its pair are the case's own.
type line struct {
	n, pair  int
	kind     assess.RecordKind
	staff    string
	hour     int
	corrects int // the number of the reading it corrects, or 0
	void     bool
}

// of returns the lines of the k-th case as readings.
func of(k int, lines []line) []models.NewInspection {
	all := make([]models.NewInspection, len(lines))
	for i, l := range lines {
		in := readBy(100*k+l.n, 100*k+l.pair, l.kind, l.staff, l.hour)
		if l.corrects > 0 {
			in.Record.Supersedes = reading(100*k+l.corrects, "", 0, assess.Keep).Record.ID
		}
		if l.void { // as an export has it
			in.Record.VoidedAt, in.Record.VoidReason = at.Add(48*time.Hour), "wrong pair"
		}
		all[i] = judged(in.Record)
	}
	return all
}

// A second reading is blind, whether it comes by itself or in a file, and in
// whichever order the lines of the file stand. Common practice, no source.
func TestWhoKnowsAPairDoesNotReadItBlind(t *testing.T) {
	const open, blind = assess.WearCheck, assess.Blind
	cases := []struct {
		name    string
		stored  []line // before the file
		file    []line
		refused []int
	}{
		{"who read it openly before, in the file", nil, []line{{1, 1, open, "F-1", 0, 0, false}, {2, 1, blind, "F-1", 1, 0, false}}, []int{1}},
		{"who read it openly before, further down in the file", nil, []line{{2, 1, blind, "F-1", 1, 0, false}, {1, 1, open, "F-1", 0, 0, false}}, []int{0}},
		{"who read it openly before, as is stored", []line{{1, 1, open, "F-1", 0, 0, false}}, []line{{3, 3, open, "F-1", 0, 0, false}, {2, 1, blind, "F-1", 1, 0, false}}, []int{1}},
		{"each of two who read it openly, of whom one corrected the other", nil, []line{
			{1, 1, open, "F-1", 0, 0, false},
			{2, 1, open, "F-2", 0, 1, false},
			{3, 1, blind, "F-1", 1, 0, false},
			{4, 1, blind, "F-2", 1, 0, false},
			{5, 1, blind, "F-3", 1, 0, false},
		}, []int{2, 3}},
		{"nobody who read it openly afterwards", nil, []line{{1, 1, blind, "F-1", 0, 0, false}, {2, 1, open, "F-1", 1, 0, false}}, nil},
		{"nobody who read it openly another day", nil, []line{{1, 1, open, "F-1", 0, 0, false}, {2, 1, blind, "F-1", 24, 0, false}}, nil},
		{"nobody who read another pair openly", nil, []line{{1, 1, open, "F-1", 0, 0, false}, {2, 2, blind, "F-1", 1, 0, false}}, nil},
		{"nobody whose open reading is void", nil, []line{{1, 1, open, "F-1", 0, 0, true}, {2, 1, blind, "F-1", 1, 0, false}}, nil},
		{"nobody twice blind", nil, []line{{1, 1, blind, "F-1", 0, 0, false}, {2, 1, blind, "F-1", 1, 0, false}}, nil},
		{"nobody whose blind reading is void", nil, []line{{1, 1, open, "F-1", 0, 0, false}, {2, 1, blind, "F-1", 1, 0, true}}, nil},
	}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		for k, c := range cases {
			t.Run(c.name, func(t *testing.T) {
				file := of(2*k, c.file)
				for _, in := range of(2*k, c.stored) {
					save(t, db, in)
				}
				before, addedBefore := count(t, db), added(t, db)
				got := refusals{}
				_, err := db.ImportInspections(t.Context(), office, given(file...), models.ImportOptions{Refused: got.note, DryRun: true})
				if len(c.refused) > 0 != errors.Is(err, models.ErrRefused) {
					t.Errorf("the file is answered with %v", err)
				}
				if rows := slices.Sorted(maps.Keys(got)); !slices.Equal(rows, c.refused) {
					t.Errorf("rows %v are refused, want %v", rows, c.refused)
				}
				for _, err := range got {
					wantField(t, err, "staff")
				}
				if n := count(t, db); n != before {
					t.Errorf("%d readings are stored, want the %d of before", n, before)
				}

				res, err := db.ImportInspections(t.Context(), office, given(file...), models.ImportOptions{KeepGood: true})
				must(t, err)
				good := len(file) - len(c.refused)
				if res.Stored != good || res.Refused != len(c.refused) || count(t, db) != before+good {
					t.Errorf("keeping the good: %+v, want %d stored", res, good)
				}
				if n := added(t, db) - addedBefore; n != good {
					t.Errorf("%d readings are said to be new, want %d", n, good)
				}
				for n := range file {
					_, err := db.Inspection(t.Context(), file[n].Record.ID)
					if gone := slices.Contains(c.refused, n); gone != errors.Is(err, models.ErrNotFound) {
						t.Errorf("row %d: %v", n, err)
					}
				}
				if res, err = db.ImportInspections(t.Context(), office, given(file...), models.ImportOptions{KeepGood: true}); err != nil || res.Known != good || res.Refused != len(c.refused) {
					t.Errorf("the same file again: %+v, %v", res, err)
				}
			})
			t.Run(c.name+", sent one by one in the order of the day", func(t *testing.T) {
				sent := slices.Concat(of(2*k+1, c.stored), of(2*k+1, c.file))
				slices.SortStableFunc(sent, func(a, b models.NewInspection) int { return a.Record.At.Compare(b.Record.At) })
				for _, in := range sent {
					n := slices.IndexFunc(of(2*k+1, c.file), func(f models.NewInspection) bool { return f.Record.ID == in.Record.ID })
					_, err := db.SaveInspection(t.Context(), office, in)
					if slices.Contains(c.refused, n) {
						wantField(t, err, "staff")
					} else {
						must(t, err)
					}
				}
			})
		}
	})
}

// added returns how many readings the change feed says were added.
func added(t *testing.T, db *models.DB) int {
	t.Helper()
	all, err := db.Changes(t.Context(), models.Position{}, 1000)
	must(t, err)
	n := 0
	for _, c := range all {
		if c.Op == models.Added {
			n++
		}
	}
	return n
}

// Who signs for a verdict has seen it.
func TestWhoSignedForAVerdictDoesNotReadThePairBlindAfterwards(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		first := readBy(1, 1, assess.WearCheck, "F-1", -2)
		save(t, db, first)
		must(t, db.SignOff(t.Context(), models.Actor{Account: "F-2"}, models.SignOff{
			Reading: first.Record.ID, Purpose: models.ForReading, Advised: assess.ReplacePair, Given: assess.Keep,
		}))
		save(t, db, readBy(2, 1, assess.Blind, "F-2", -1))
		save(t, db, readBy(3, 1, assess.Blind, "F-3", 1))
		_, err := db.SaveInspection(t.Context(), office, readBy(4, 1, assess.Blind, "F-2", 1))
		wantField(t, err, "staff")
		got := refusals{}
		_, err = db.ImportInspections(t.Context(), office, given(readBy(5, 1, assess.Blind, "F-2", 1)), models.ImportOptions{Refused: got.note})
		wantErr(t, err, models.ErrRefused)
		wantField(t, got[0], "staff")
	}, dbtest.Clock(func() time.Time { return at }))
}

// Who was shown a verdict has seen it, by whatever reference the pair goes by then.
func TestWhoSawAVerdictDoesNotReadThePairBlindThatDay(t *testing.T) {
	now := at
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		now = at
		first, old := readBy(1, 1, assess.WearCheck, "F-1", -2), readBy(2, 1, assess.WearCheck, "F-1", -24*7)
		other := readBy(3, 2, assess.WearCheck, "F-1", -2)
		for _, in := range []models.NewInspection{old, first, other} {
			save(t, db, in)
		}
		must(t, db.SawPairs(t.Context(), "F-2", first.Record.PairRef))
		must(t, db.SawPairs(t.Context(), "F-1", first.Record.PairRef)) // who read it themselves
		must(t, db.SawPairs(t.Context(), "F-2"))
		now = now.Add(time.Hour)
		must(t, db.SawPairs(t.Context(), "F-2", first.Record.PairRef, other.Record.PairRef))
		saw := func(staff string) map[assess.UUID]time.Time {
			t.Helper()
			all, err := db.SawVerdicts(t.Context(), staff, first.Record.ID, old.Record.ID, other.Record.ID)
			must(t, err)
			return all
		}
		if got := saw("F-2"); len(got) != 2 || !got[first.Record.ID].Equal(at) || !got[other.Record.ID].Equal(now) {
			t.Errorf("F-2 saw %v, want the reading of the day at first sight, not one of another week", got)
		}
		if got := saw("F-1"); len(got) != 0 {
			t.Errorf("F-1 saw %v, want nothing beside their own", got)
		}

		save(t, db, readBy(4, 1, assess.Blind, "F-2", -1)) // before they saw it
		save(t, db, readBy(5, 1, assess.Blind, "F-3", 1))
		save(t, db, readBy(6, 1, assess.Blind, "F-2", 24))
		_, err := db.SaveInspection(t.Context(), office, readBy(7, 1, assess.Blind, "F-2", 1))
		wantField(t, err, "staff")
		got := refusals{}
		_, err = db.ImportInspections(t.Context(), office, given(readBy(8, 1, assess.Blind, "F-2", 1)), models.ImportOptions{Refused: got.note})
		wantErr(t, err, models.ErrRefused)
		wantField(t, got[0], "staff")

		// A merge brings it along, and so does taking the reading out again.
		sold := models.Pair{Ref: ref(3), Store: "S-1"}
		must(t, db.CreatePair(t.Context(), office, sold))
		must(t, db.MergePairs(t.Context(), office, first.Record.PairRef, sold.Ref, "two slips"))
		_, err = db.SaveInspection(t.Context(), office, readBy(9, 3, assess.Blind, "F-2", 1))
		wantField(t, err, "staff")
		split, err := db.SplitPair(t.Context(), office, sold.Ref, []assess.UUID{first.Record.ID}, "two pairs")
		must(t, err)
		in := readBy(10, 3, assess.Blind, "F-2", 1)
		in.Record.PairRef = split
		_, err = db.SaveInspection(t.Context(), office, judged(in.Record))
		wantField(t, err, "staff")
		save(t, db, readBy(11, 3, assess.Blind, "F-2", 1)) // of what stayed

		now = now.Add(61 * 24 * time.Hour)
		if n, err := db.ForgetSeen(t.Context()); n != 2 || err != nil {
			t.Errorf("%d forgotten, %v, want both", n, err)
		}
		if got := saw("F-2"); len(got) != 0 {
			t.Errorf("after two months F-2 saw %v", got)
		}
	}, dbtest.Clock(func() time.Time { return now }))
}

// What nothing could refuse, because the open reading lay on a tablet that was
// off line, still isn't counted as blind.
func TestAReadingThatTurnsOutNotToBeBlindStandsBesideNone(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		save(t, db, readBy(1, 1, assess.WearCheck, "F-1", 0))
		save(t, db, readBy(2, 1, assess.Blind, "F-2", 2))
		save(t, db, readBy(3, 1, assess.Blind, "F-3", 2))
		save(t, db, readBy(4, 1, assess.WearCheck, "F-2", 1)) // late, and before its blind one
		all, _, err := db.SecondReadings(t.Context(), models.InspectionFilter{Scopes: models.Fleet}, 10)
		must(t, err)
		var by []string
		for _, r := range all {
			by = append(by, r.Blind.Staff)
		}
		same(t, by, []string{"F-3"})
	})
}
