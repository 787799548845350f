package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// retailer makes a database with one store and returns the flags that name it.
func retailer(t *testing.T) (flags []string) {
	t.Helper()
	data := t.TempDir()
	flags = []string{"--data", data}
	must(t, append([]string{"migrate"}, flags...)...)
	stores := filepath.Join(data, "stores.csv")
	text := "region,region_name,currency,unit,store,name,zone\nE,East,EUR,km,E1,Harbour,Europe/Berlin\n"
	if err := os.WriteFile(stores, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, append([]string{"import", "stores", stores}, flags...)...)
	return flags
}

func TestATabletIsSetUpListedAndRevoked(t *testing.T) {
	flags := retailer(t)
	device := func(args ...string) []string { return slices.Concat([]string{"device"}, args, flags) }

	code := must(t, device("add", "T1", "--store", "E1")...)
	if lines := strings.Fields(code); len(lines) != 1 {
		t.Errorf("add printed %q; want the enrolment code alone on its line", code)
	}
	if again := must(t, device("add", "T1", "--store", "E1")...); again == code {
		t.Error("a second code is the same as the first")
	}
	if list := must(t, device("list")...); list != "T1\tE1\twaits for its enrolment code\n" {
		t.Errorf("list: %q", list)
	}
	must(t, device("revoke", "T1")...)
	var line map[string]string
	if err := json.Unmarshal([]byte(must(t, device("list", "--store", "E1", "--json")...)), &line); err != nil {
		t.Fatal(err)
	}
	if line["code"] != "T1" || !strings.HasPrefix(line["state"], "revoked 20") {
		t.Errorf("list --json: %v", line)
	}
	for _, wrong := range [][]string{
		device("add", "T1", "--store", "E1"), // it was revoked
		device("add", "T2", "--store", "E9"),
		device("revoke", "T9"),
	} {
		if got := command(t, "", nil, wrong...); got.code != exitWrong || strings.Count(got.err, "\n") != 1 {
			t.Errorf("%q: exit %d, %q; want 1 and one line", wrong, got.code, got.err)
		}
	}
}

func TestPeopleAndTokensAreListedInJSON(t *testing.T) {
	flags := retailer(t)
	must(t, append([]string{"staff", "add", "M1", "--role", "manager", "--region", "E", "--also", "trainer@fleet", "--also", "fitter@store:E1"}, flags...)...)
	must(t, append([]string{"token", "add", "till", "--role", "fitter", "--store", "E1", "--days", "3"}, flags...)...)
	for _, c := range []struct{ kind, key, value string }{
		{"staff", "scopes", "region:E"},
		{"staff", "also", "trainer@fleet fitter@store:E1"},
		{"token", "scopes", "store:E1"},
	} {
		var line map[string]string
		if err := json.Unmarshal([]byte(must(t, append([]string{c.kind, "list", "--json"}, flags...)...)), &line); err != nil {
			t.Fatal(err)
		}
		if line[c.key] != c.value {
			t.Errorf("%s list --json: %v; want %s %q", c.kind, line, c.key, c.value)
		}
	}
	for _, c := range []struct {
		also string
		code int
		says string
	}{
		{"trainer", exitUsage, "want a role and where"},
		{"trainee@store:E1", exitWrong, "trainee or fitter, not both"},
	} {
		got := command(t, "", nil, append([]string{"staff", "add", "F2", "--role", "fitter", "--store", "E1", "--also", c.also}, flags...)...)
		if got.code != c.code || !strings.Contains(got.err, c.says) {
			t.Errorf("--also %s: exit %d, %q", c.also, got.code, got.err)
		}
	}
}
