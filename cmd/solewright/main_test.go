package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
	"solewright/reports/sim"
)

// outcome is what one command did.
type outcome struct {
	code     int
	out, err string
}

// command runs the program as from a shell, with env in place of the environment.
func command(t *testing.T, stdin string, env map[string]string, args ...string) outcome {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(t.Context(), args, func(k string) string { return env[k] }, strings.NewReader(stdin), &out, &errs)
	return outcome{code, out.String(), errs.String()}
}

// must runs a command that has to succeed, and returns what it printed.
func must(t *testing.T, args ...string) string {
	t.Helper()
	got := command(t, "", nil, args...)
	if got.code != exitDone {
		t.Fatalf("solewright %s: exit %d: %s", strings.Join(args, " "), got.code, got.err)
	}
	return got.out
}

func TestWrongCommandLinesExitWithTwo(t *testing.T) {
	for _, args := range [][]string{
		{},
		{"polish"},
		{"serve", "--adr", ":80"},
		{"import", "shoes", "x.csv"},
		{"export", "inspections", "--from", "2026-02-31"},
		{"demo", "--pairs", "0"},
		{"migrate", "--db", "mysql://x"},
		{"serve", "--tls-cert", "cert.pem"},
		{"token", "add", "t", "--role", "king"},
		{"serve", "--addr", "here"},
		{"serve", "--addr", ":99999"},
		{"serve", "--metrics-addr", "9100"},
		{"serve", "--trusted-proxy", "10.0.0.0/99"},
		{"serve", "--photos", "ftp:x"},
		{"serve", "--db", "file:"},
		{"serve", "--db", "postgres://u:hush@h/d?sslmode=perhaps"},
		{"serve", "--db", "file:x.db", "--db-replica", "postgres://h/d"},
		{"serve", "--db", "postgres://h/d", "--db-replica", "replica-1"},
		{"serve", "--oidc-issuer", "provider", "--oidc-client", "c", "--public-url", "https://h"},
		{"serve", "--oidc-issuer", "https://p", "--oidc-client", "c", "--public-url", "h"},
		{"demo", "--addr", "here"},
	} {
		got := command(t, "", map[string]string{"SOLEWRIGHT_DATA": t.TempDir()}, args...)
		flags := slices.DeleteFunc(slices.Clone(args), func(arg string) bool { return !strings.HasPrefix(arg, "--") })
		if len(flags) > 0 && !slices.ContainsFunc(flags, func(flag string) bool { return strings.Contains(got.err, flag) }) {
			t.Errorf("%q: %q names no flag", args, got.err)
		}
		if strings.Contains(got.err, "hush") {
			t.Errorf("%q: %q tells a password", args, got.err)
		}
		if got.code != exitUsage || strings.Count(got.err, "\n") != 1 {
			t.Errorf("%q: exit %d, %q; want 2 and one line", args, got.code, got.err)
		}
	}
	if got := command(t, "", nil, "--help"); got.code != exitDone || !strings.Contains(got.out, "judge") {
		t.Errorf("--help: exit %d, %q", got.code, got.out)
	}
}

func TestAMissingCertificateIsNamedBeforeAnythingIsOpened(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	got := command(t, "", nil, "serve", "--data", data, "--tls-cert", filepath.Join(data, "none.pem"), "--tls-key", "none.pem")
	if got.code != exitWrong || !strings.Contains(got.err, "--tls-cert") || !strings.Contains(got.err, "none.pem") || strings.Count(got.err, "\n") != 1 {
		t.Errorf("exit %d, %q; want 1, and the flag and the file on one line", got.code, got.err)
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Error("a data folder was made")
	}
}

func TestCountsComeAsJSON(t *testing.T) {
	files, db := invented(t, 3), "file:"+filepath.Join(t.TempDir(), "a.db")
	for _, row := range []struct {
		args []string
		want string
	}{
		{[]string{"migrate"}, `"was":0`},
		{[]string{"import", "stores", filepath.Join(files, "stores.csv"), "--dry-run"}, `{"bad":0,"dry_run":true,"known":0,"read":12,"stored":12}`},
	} {
		out := must(t, append(row.args, "--json", "--db", db)...)
		if !json.Valid([]byte(out)) || !strings.Contains(out, row.want) {
			t.Errorf("%q: %q, want %s", row.args, out, row.want)
		}
	}
}

func TestAMissingDatabaseIsNamed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "none.db")
	must(t, "migrate", "--db", "file:"+path)
	path += "?mode=ro" // of the name: a path may hold any character
	got := command(t, "", nil, "verify", "--db", "file:"+path)
	if got.code != exitWrong || !strings.Contains(got.err, path) || !strings.Contains(got.err, "migrate") {
		t.Errorf("exit %d, %q; want 1, the path and what to do", got.code, got.err)
	}
	if _, err := os.Stat(path); !os.IsNotExist(err) {
		t.Error("the command made a database")
	}
}

func TestSettingsComeFromTheEnvironmentAndFromFiles(t *testing.T) {
	dir := t.TempDir()
	url := "file:" + filepath.Join(dir, "e.db")
	secret := filepath.Join(dir, "secret")
	if err := os.WriteFile(secret, []byte(url+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := command(t, "", map[string]string{"SOLEWRIGHT_DB_FILE": secret}, "migrate"); got.code != exitDone {
		t.Fatalf("migrate: %s", got.err)
	}
	if got := command(t, "", map[string]string{"SOLEWRIGHT_DB": url}, "migrate", "--check"); got.code != exitDone {
		t.Errorf("the environment was not followed: %s", got.err)
	}
	got := command(t, "", map[string]string{"SOLEWRIGHT_DB": url}, "migrate", "--check", "--db", "file:"+filepath.Join(dir, "other.db"))
	if got.code != exitWrong {
		t.Error("the flag did not win over the environment")
	}
}

func TestJudge(t *testing.T) {
	got := command(t, `{"left":{"lining":"shell broken"}}`, nil, "judge", "-")
	var says struct{ Verdict string }
	if err := json.Unmarshal([]byte(got.out), &says); err != nil || says.Verdict != "retire" {
		t.Errorf("a broken shell: %s %s (source: common practice, no source)", got.out, got.err)
	}
	got = command(t, "l_lining,r_lining\r\nsound,sound\r\nsound,velvet\r\nshell showing,sound\r\n", nil, "judge", "-")
	if got.code != exitWrong || strings.Count(got.out, "\n") != 2 || !strings.Contains(got.err, "velvet") || !strings.Contains(got.err, "line 3") {
		t.Errorf("a CSV with a bad row: exit %d, %q, %q", got.code, got.out, got.err)
	}
	if got := command(t, `{"left":{"tilt":99}}`, nil, "judge", "-"); got.code != exitWrong || !strings.Contains(got.err, "/left/tilt") {
		t.Errorf("a tilt of 99 degrees: exit %d, %q", got.code, got.err)
	}
}

func TestTally(t *testing.T) {
	got := command(t, "hits,size\n81,263\n", nil, "tally", "shares", "-", "--hits", "hits", "--size", "size")
	// Newcombe 1998, Stat Med 17:857, Table I, method 3: 81/263 gives 0.2553 to 0.3662 (as quoted by public test suites).
	if got.code != exitDone || !strings.Contains(got.out, "0.25528") || !strings.Contains(got.out, "0.36620") {
		t.Errorf("exit %d, %s %s", got.code, got.out, got.err)
	}
	for _, args := range [][]string{{"tally", "horoscope", "-"}, {"tally", "shares", "-", "--hitz", "hits"}} {
		if got := command(t, "", nil, args...); got.code != exitUsage {
			t.Errorf("%q: exit %d, %s; want 2", args, got.code, got.err)
		}
	}
	if got := command(t, "", nil, "tally", "shares", "-", "--of", "x"); got.code != exitWrong || strings.Count(got.err, "\n") != 1 {
		t.Errorf("an empty file: exit %d, %q; want 1 and one line", got.code, got.err)
	}
	if got := command(t, "", nil, "tally", "--help"); got.code != exitDone {
		t.Errorf("--help: exit %d, %s", got.code, got.err)
	}
}

// invented writes the files of a small invented retailer to a folder.
func invented(t *testing.T, readings int) string {
	t.Helper()
	dir, fleet := t.TempDir(), sim.New(sim.Options{Seed: 7, Inspections: readings, Stores: 12})
	write := func(kind string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, kind+".csv"), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	stores := retail.StoreLines.CSV.AppendHeader(nil)
	for _, s := range fleet.Stores {
		stores = retail.StoreLines.CSV.Append(stores, &retail.StoreLine{Store: s})
	}
	write("stores", stores)
	shoes := retail.ShoeModels.CSV.AppendHeader(nil)
	for _, m := range fleet.Models {
		shoes = retail.ShoeModels.CSV.Append(shoes, &m)
	}
	write("shoe-models", shoes)
	records := assess.AppendCSVHeader(nil)
	for r := range fleet.Inspections() {
		records = assess.AppendCSV(records, r)
	}
	write("inspections", records)
	return dir
}

func TestWhatIsExportedComesBackTheSame(t *testing.T) {
	files := invented(t, 300)
	first, second := "file:"+filepath.Join(t.TempDir(), "a.db"), "file:"+filepath.Join(t.TempDir(), "b.db")
	must(t, "migrate", "--db", first)
	must(t, "migrate", "--db", second)
	kinds := []string{"stores", "shoe-models", "inspections"}
	for _, kind := range kinds {
		must(t, "import", kind, filepath.Join(files, kind+".csv"), "--db", first)
	}
	again := t.TempDir()
	for _, kind := range kinds {
		out := must(t, "export", kind, "--db", first)
		name := filepath.Join(again, kind+".csv")
		if err := os.WriteFile(name, []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
		must(t, "import", kind, name, "--db", second)
		if must(t, "export", kind, "--db", second) != out {
			t.Errorf("%s came back otherwise", kind)
		}
	}
	if says := must(t, "import", "inspections", filepath.Join(again, "inspections.csv"), "--db", second); !strings.Contains(says, " 0 stored, 300 known") {
		t.Errorf("the same file again: %s", says)
	}
	if says := must(t, "verify", "--db", second); !strings.Contains(says, "300 readings") || !strings.Contains(says, " 0 differences") {
		t.Errorf("verify: %s", says)
	}
}

func TestBadRowsStoreNothingUnlessTheGoodAreKept(t *testing.T) {
	files := invented(t, 20)
	db := "file:" + filepath.Join(t.TempDir(), "a.db")
	must(t, "migrate", "--db", db)
	must(t, "import", "stores", filepath.Join(files, "stores.csv"), "--db", db)
	must(t, "import", "shoe-models", filepath.Join(files, "shoe-models.csv"), "--db", db)
	name := filepath.Join(files, "inspections.csv")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\r\n")
	bad := strings.Replace(lines[3], ",springs back,", ",bounces,", 1)
	if bad == lines[3] {
		t.Fatal("the row to spoil has no press reading")
	}
	lines[3] = bad
	if err := os.WriteFile(name, []byte(strings.Join(lines, "")), 0o600); err != nil {
		t.Fatal(err)
	}
	got := command(t, "", nil, "import", "inspections", name, "--db", db)
	if got.code != exitWrong || !strings.Contains(got.err, "line 4") || !strings.Contains(got.err, "bounces") || !strings.Contains(got.err, "nothing was stored") {
		t.Errorf("exit %d, %q", got.code, got.err)
	}
	if rows := strings.Count(must(t, "export", "inspections", "--db", db), "\r\n"); rows != 1 {
		t.Errorf("%d lines are in the database, want the header alone", rows)
	}
	got = command(t, "", nil, "import", "inspections", name, "--db", db, "--keep-good")
	if got.code != exitWrong || !strings.Contains(got.out, "19 stored") {
		t.Errorf("--keep-good: exit %d, %q, %q", got.code, got.out, got.err)
	}
	rejected, err := os.ReadFile(name + ".rejected.csv")
	if err != nil || string(rejected) != lines[0]+bad {
		t.Errorf("the rejected file holds %q (%v), want the header and the bad row", rejected, err)
	}
}

// TestDemoServesAPair boots the demo as a person would and reads a pair through
// the API with a token.
func TestDemoServesAPair(t *testing.T) {
	data := t.TempDir()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	out, in := io.Pipe()
	var errs bytes.Buffer
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"demo", "--pairs", "200", "--data", data, "--addr", "127.0.0.1:0"},
			func(string) string { return "" }, strings.NewReader(""), in, &errs)
		in.Close()
	}()
	var said bytes.Buffer
	address := ""
	buffer := make([]byte, 4096)
	for address == "" {
		n, err := out.Read(buffer)
		said.Write(buffer[:n])
		if _, after, ok := strings.Cut(said.String(), " at http://"); ok {
			address, _, _ = strings.Cut(after, ",")
		} else if err != nil {
			t.Fatalf("the demo ended: %s%s", said.String(), errs.String())
		}
	}
	go io.Copy(io.Discard, out)

	secret := strings.TrimSpace(must(t, "token", "add", "test", "--role", "office", "--data", data))
	server := &caller{t: t, url: "http://" + address, token: secret}
	ask := func(method, path, body string) (int, string) {
		status, text := server.ask(method, path, "application/json", []byte(body))
		return status, string(text)
	}
	if status, text := ask("GET", "/readyz", ""); status != http.StatusOK {
		t.Fatalf("/readyz: %d %s", status, text)
	}
	at := time.Date(2026, 11, 2, 10, 0, 0, 0, time.UTC)
	id := assess.NewV7(at.UnixMilli(), [10]byte{1, 2, 3})
	reading := `{"store":"E1","staff":"E1-01","at":"2026-11-02T10:00:00Z","kind":"check","left":{"bond":"parted"}}`
	if status, text := ask("PUT", "/api/v1/inspections/"+id.String(), reading); status != http.StatusCreated || !strings.Contains(text, `"advised":"replace"`) {
		t.Fatalf("PUT: %d %s", status, text)
	}
	if status, text := ask("PUT", "/api/v1/inspections/"+id.String(), reading); status != http.StatusOK {
		t.Fatalf("PUT again: %d %s", status, text)
	}
	if csv := must(t, "export", "inspections", "--data", data); !strings.Contains(csv, id.String()) {
		t.Error("the reading is not in the export")
	}
	must(t, "verify", "--data", data)
	wantTradeIns(t, filepath.Join(data, "solewright.db"))
	stop()
	if code := <-ended; code != exitDone {
		t.Errorf("the demo ended with %d: %s", code, errs.String())
	}
}

// wantTradeIns fails unless a database has trade-ins, each graded as the reading
// it goes by and worth what the credit table it names says.
func wantTradeIns(t *testing.T, file string) {
	t.Helper()
	db, err := models.Open(t.Context(), models.Options{URL: "file:" + file})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	n := 0
	if err := db.EachTradeIn(t.Context(), models.Fleet, "", "", func(in *models.StoredTradeIn) error {
		n++
		reading, err := db.Inspection(t.Context(), in.InspectionID)
		if err != nil {
			return err
		}
		if reading.Facts.Grade != in.Grade || in.Grade == assess.NoGrade {
			t.Errorf("trade-in %s has grade %s, its reading %s", in.ID, in.Grade, reading.Facts.Grade)
		}
		v, err := db.VersionOf(t.Context(), models.CreditTables, in.CreditTable)
		if err != nil {
			return err
		}
		table, err := assess.ParseCreditTable([]byte(v.Body))
		if err != nil {
			return err
		}
		shoe, err := db.ShoeModel(t.Context(), reading.ModelID)
		if err != nil {
			return err
		}
		if minor, ok := table.Credit(in.Grade, shoe.Category, reading.AgeDays); !ok || minor != in.Advised || table.Currency != in.Currency || v.From > in.Day || table.Number != v.Number {
			t.Errorf("trade-in %s: table %d in %s says %d, stored are %d %s", in.ID, v.Number, table.Currency, minor, in.Advised, in.Currency)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if n == 0 {
		t.Error("the demo has no trade-ins")
	}
}
