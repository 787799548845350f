package main

import (
	"database/sql"
	"path/filepath"
	"strings"
	"testing"

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
