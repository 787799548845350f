package models_test

import (
	"cmp"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/dbtest"
	"solewright/models/retail"
)

// ianaRules is where the expected local days come from: the offset that the IANA
// time zone database gives for that zone and instant, in brackets.
const ianaRules = "IANA tz database"

func TestLocalDay(t *testing.T) {
	instant := func(s string) time.Time {
		at, err := time.Parse(time.RFC3339Nano, s)
		must(t, err)
		return at
	}
	const kept = 12 * 24 * time.Hour // of an offset, by the doc of models.NewInspection
	cases := []struct {
		name, zone, at string
		offset         time.Duration // of the tablet's clock
		day, month     string
		clockOff       bool
		source         string
	}{
		{"the last second of a year in winter", "Europe/Madrid", "2025-12-31T22:59:59.999999Z", 0, "2025-12-31", "2025-12", false, ianaRules + " [+01:00]"},
		{"the first instant of a year", "Europe/Madrid", "2025-12-31T23:00:00Z", 0, "2026-01-01", "2026-01", false, ianaRules + " [+01:00]"},
		{"the hour before summer time", "Europe/Madrid", "2026-03-29T00:59:59Z", 0, "2026-03-29", "2026-03", false, ianaRules + " [+01:00]"},
		{"the end of a month in summer time", "Europe/Madrid", "2026-03-31T22:00:00Z", 0, "2026-04-01", "2026-04", false, ianaRules + " [+02:00]"},
		{"the hour that comes twice", "Europe/Madrid", "2026-10-25T00:30:00Z", 0, "2026-10-25", "2026-10", false, ianaRules + " [+02:00]"},
		{"the end of October after summer time", "Europe/Madrid", "2026-10-31T22:59:59Z", 0, "2026-10-31", "2026-10", false, ianaRules + " [+01:00]"},
		{"far east of Greenwich it is tomorrow", "Pacific/Kiritimati", "2026-01-31T10:00:00Z", 0, "2026-02-01", "2026-02", false, ianaRules + " [+14:00]"},
		{"far west of Greenwich it is yesterday", "Pacific/Honolulu", "2026-03-01T09:59:59Z", 0, "2026-02-28", "2026-02", false, ianaRules + " [-10:00]"},
		{"a zone of three quarters of an hour", "Asia/Kathmandu", "2026-05-31T18:15:00Z", 0, "2026-06-01", "2026-06", false, ianaRules + " [+05:45]"},
		{"29 February", "Europe/Madrid", "2028-02-28T23:30:00Z", 0, "2028-02-29", "2028-02", false, ianaRules + " [+01:00]"},
		{"a tablet's clock that is a little behind", "Europe/Madrid", "2025-12-31T22:59:00Z", 2 * time.Minute, "2026-01-01", "2026-01", false, ianaRules + " [+01:00]"},
		{"a tablet's clock that is off is flagged", "Europe/Madrid", "2026-01-01T11:00:00Z", -26 * time.Hour, "2025-12-31", "2025-12", true, ianaRules + " [+01:00]"},
		{"a tablet's clock that begins in 1970", "Europe/Madrid", "1970-01-01T00:05:00Z", instant("2026-01-01T11:00:00Z").Sub(instant("1970-01-01T00:05:00Z")), "2026-01-01", "2026-01", true, ianaRules + " [+01:00]"},
		{"a tablet's clock that runs ahead by weeks", "Europe/Madrid", "2026-01-31T11:00:00Z", -30 * 24 * time.Hour, "2026-01-01", "2026-01", true, ianaRules + " [+01:00]"},
		{"five minutes are not off", "Europe/Madrid", "2026-01-01T11:00:00Z", 5 * time.Minute, "2026-01-01", "2026-01", false, "MaxClockOff, house value"},
	}
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		for i, c := range cases {
			t.Run(c.name, func(t *testing.T) {
				store := retail.Store{Code: "Z-" + c.day + c.at[11:13], Name: "Z", Region: "SOUTH", Zone: c.zone, Currency: "EUR", Unit: "km"}
				must(t, db.SaveStore(t.Context(), office, store))
				in := reading(i, ref(i), 100, assess.Keep)
				in.Record.Store, in.Record.At, in.ClockOffset = store.Code, instant(c.at), c.offset
				in = models.NewInspection{Record: in.Record, SHA: in.SHA, ClockOffset: c.offset}
				s := save(t, db, in)
				if s.Day != c.day || s.Month != c.month {
					t.Errorf("got %s and %s, want %s and %s: %s", s.Day, s.Month, c.day, c.month, c.source)
				}
				if got := s.Flags&assess.FlagClockOff != 0; got != c.clockOff {
					t.Errorf("flagged %t, want %t", got, c.clockOff)
				}
				t.Run("and stays when the store's zone changes", func(t *testing.T) {
					store.Zone = "Pacific/Auckland"
					must(t, db.SaveStore(t.Context(), office, store))
					again, err := db.Inspection(t.Context(), in.Record.ID)
					must(t, err)
					if again.Day != c.day || !again.At.Equal(instant(c.at)) || again.At.Location() != time.UTC || again.ClockOffset != min(max(c.offset, -kept), kept) {
						t.Errorf("got %s, %s, %s", again.Day, again.At, again.ClockOffset)
					}
				})
				t.Run("and the next reading follows the new zone", func(t *testing.T) {
					next := reading(1000+i, ref(1000+i), 100, assess.Keep)
					next.Record.Store, next.Record.At = store.Code, instant("2026-06-30T12:30:00Z")
					if s := save(t, db, next); s.Day != "2026-07-01" {
						t.Errorf("got %s, want 2026-07-01: %s [+12:00]", s.Day, ianaRules)
					}
				})
			})
		}
	})
}

// A day of the year 10000 has no room in a column of days, wherever it comes from.
func TestADayAfterTheLastIsRefused(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, db *models.DB) {
		setUp(t, db)
		last := time.Date(9999, 12, 31, 22, 59, 59, 0, time.UTC) // an hour less in Madrid
		for _, c := range []struct {
			name   string
			at     time.Time
			offset time.Duration
			day    string
		}{
			{"the last instant", last, 0, "9999-12-31"},
			{"midnight in the store", last.Add(time.Second), 0, ""},
			{"a tablet's clock that is behind", last.AddDate(0, 0, -1), 48 * time.Hour, ""},
		} {
			t.Run(c.name, func(t *testing.T) {
				for i, store := range []func(models.NewInspection) error{
					func(in models.NewInspection) error {
						_, err := db.SaveInspection(t.Context(), office, in)
						return err
					},
					func(in models.NewInspection) (err error) {
						_, e := db.ImportInspections(t.Context(), office, given(in), models.ImportOptions{Refused: func(_ int, refused error) { err = refused }})
						return cmp.Or(err, e)
					},
				} {
					in := reading(i, ref(i), 100, assess.Keep)
					in.Record.ID = assess.NewV7(int64(len(c.name)), [10]byte{byte(i)})
					in.Record.At, in.ClockOffset = c.at, c.offset
					if err := store(in); c.day == "" {
						wantField(t, err, "at")
						continue
					} else if err != nil {
						t.Fatal(err)
					}
					stored, err := db.Inspection(t.Context(), in.Record.ID)
					must(t, err)
					if stored.Day != c.day || stored.Month != c.day[:7] {
						t.Errorf("got %s and %s, want %s", stored.Day, stored.Month, c.day)
					}
				}
			})
		}
	})
}

func TestSaveStoreRefuses(t *testing.T) {
	db := dbtest.Open(t)
	setUp(t, db)
	good := retail.Store{Code: "S-3", Name: "Three", Region: "SOUTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"}
	for _, c := range []struct {
		name   string
		change func(*retail.Store)
		field  string
	}{
		{"a zone that doesn't exist", func(s *retail.Store) { s.Zone = "Europe/Atlantis" }, "zone"},
		{"a zone that is the machine's own", func(s *retail.Store) { s.Zone = "Local" }, "zone"},
		{"no zone", func(s *retail.Store) { s.Zone = "" }, "zone"},
		{"a region that isn't there", func(s *retail.Store) { s.Region = "WEST" }, "region"},
		{"no code", func(s *retail.Store) { s.Code = "" }, "store"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := good
			c.change(&s)
			wantField(t, db.SaveStore(t.Context(), office, s), c.field)
		})
	}
}
