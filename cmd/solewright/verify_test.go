package main

import (
	"database/sql"
	"path/filepath"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models"
	"solewright/reports/fleet"
)

// TestVerifyFindsWhatTheFleetInMemoryMissed changes a reading behind the back of
// the feed of changes, after the snapshot was written.
func TestVerifyFindsWhatTheFleetInMemoryMissed(t *testing.T) {
	files, data := invented(t, 100), t.TempDir()
	path := filepath.Join(data, "solewright.db")
	url := "file:" + path
	must(t, "migrate", "--db", url)
	for _, kind := range []string{"stores", "shoe-models", "inspections"} {
		must(t, "import", kind, filepath.Join(files, kind+".csv"), "--db", url)
	}
	db, err := models.Open(t.Context(), models.Options{URL: url})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	where := database{Data: data}
	c := fleet.New(fleet.Options{Source: db.Feed(), Snapshot: where.snapshot()})
	if err := c.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := c.Save(t.Context()); err != nil {
		t.Fatal(err)
	}
	if says := must(t, "verify", "--db", url, "--data", data); !strings.Contains(says, " 0 differences") {
		t.Errorf("before: %s", says)
	}
	raw, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer raw.Close()
	if _, err := raw.ExecContext(t.Context(), "UPDATE inspection SET gait = 4 - coalesce(gait, 0) WHERE kind <> 3"); err != nil {
		t.Fatal(err)
	}
	got := command(t, "", nil, "verify", "--db", url, "--data", data)
	if got.code != exitWrong || !strings.Contains(got.out, "fleet: fleet in memory is stored as") {
		t.Errorf("after: exit %d, %s%s; want 1 and the fleet named", got.code, got.out, got.err)
	}
}

// A month that the fleet in memory cuts to its calendar is no difference.
func TestVerifyKnowsDaysOutOfTheCalendar(t *testing.T) {
	files, url := invented(t, 1), "file:"+filepath.Join(t.TempDir(), "a.db")
	must(t, "migrate", "--db", url)
	must(t, "import", "stores", filepath.Join(files, "stores.csv"), "--db", url)
	rows := "pair_ref,store,staff,at,kind\r\n"
	for n, at := range []string{"1970-01-01T12:00:00Z", "2026-01-01T12:00:00Z", "9999-12-30T12:00:00Z"} {
		rows += assess.NewPairRef([5]byte{byte(n)}) + ",E1,E1-01," + at + ",check\r\n"
	}
	if got := command(t, rows, nil, "import", "inspections", "-", "--db", url); got.code != exitDone {
		t.Fatalf("import: %s", got.err)
	}
	if says := must(t, "verify", "--db", url); !strings.Contains(says, "3 readings, 3 pairs") || !strings.Contains(says, " 0 differences") {
		t.Errorf("verify: %s", says)
	}
}
