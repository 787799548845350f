package main

import (
	"strings"
	"testing"
)

const (
	testID  = "019ab000-0000-7000-8000-000000000001"
	testRef = "ABCDEFGH0"
)

func TestScriptPutsInWhatIsNew(t *testing.T) {
	for _, row := range []struct {
		name, sql string
		params    []parameter
		want      string
	}{
		{"the id of the reading", "SELECT $1::uuid", []parameter{{text: testID}}, "SELECT " + scriptID + "::uuid;"},
		{"the reference of its pair", "SELECT $1", []parameter{{text: testRef}}, "SELECT " + scriptRef + ";"},
		{"the subject in the audit trail", "SELECT $1", []parameter{{text: "inspection:" + testID}}, "SELECT " + scriptSubject + ";"},
		{"the version of the pair that was read", "UPDATE pair SET version = version + 1 WHERE version = $2 AND x = $1", []parameter{{text: "7"}, {text: "7"}}, "WHERE version = :got_version::bigint AND x = :v0;"},
		{"nothing for NULL", "SELECT $1, $2", []parameter{{null: true}, {text: ""}}, "SELECT NULL, :v0;"},
		{"the same variable for the same value, past nine of them too", "SELECT $1, $10, $2, $3, $4, $5, $6, $7, $8, $9", []parameter{{text: "a"}, {text: "b"}, {}, {}, {}, {}, {}, {}, {}, {text: "a"}}, "SELECT :v0, :v0, :v1, :v2, :v2, :v2, :v2, :v2, :v2, :v2;"},
		{"the pair's row into variables", "SELECT ref, version FROM pair WHERE ref = $1", []parameter{{text: testRef}}, "FROM pair WHERE ref = " + scriptRef + "\n\\gset got_\n"},
	} {
		t.Run(row.name, func(t *testing.T) {
			var s script
			got, err := s.write([]statement{{row.sql, row.params}}, testID, testRef, 1_764_000_000_000, 3)
			if err != nil {
				t.Fatal(err)
			}
			if !strings.Contains(got, row.want) {
				t.Errorf("got\n%s\nwant\n%s", got, row.want)
			}
			if !strings.HasPrefix(got, "\\set n :n + 1\n") || !strings.Contains(got, "(1764000000000 + :n)") || !strings.Contains(got, "permute(:n * 16 + :client_id, 68719476736, 3)") {
				t.Errorf("the head is not that of the round:\n%s", got)
			}
		})
	}
	t.Run("a placeholder without a value is an error", func(t *testing.T) {
		var s script
		if got, err := s.write([]statement{{"SELECT $2", []parameter{{}}}}, testID, testRef, 0, 0); err == nil {
			t.Errorf("got %s", got)
		}
	})
}

// ranPgbench is what pgbench of PostgreSQL 15 prints.
const ranPgbench = `pgbench (15.18 (Debian 15.18-0+deb12u1))
transaction type: put.sql
scaling factor: 1
query mode: prepared
number of clients: 16
number of threads: 2
maximum number of tries: 1
number of transactions per client: 500
number of transactions actually processed: 8000/8000
number of failed transactions: 0 (0.000%)
latency average = 6.565 ms
initial connection time = 31.160 ms
tps = 2437.155721 (without initial connection time)
`

func TestPgbenchRate(t *testing.T) {
	got, err := pgbenchRate(ranPgbench, 8000)
	if err != nil || got != 2437.155721 {
		t.Errorf("got %v, %v", got, err)
	}
	for _, row := range []struct {
		name, out string
		want      int
	}{
		{"transactions are missing", strings.Replace(ranPgbench, "8000/8000", "7999/8000", 1), 8000},
		{"other transactions were asked for", ranPgbench, 16000},
		{"there is no rate", strings.Replace(ranPgbench, "tps", "", 1), 8000},
	} {
		t.Run("an error where "+row.name, func(t *testing.T) {
			if got, err := pgbenchRate(row.out, row.want); err == nil {
				t.Errorf("got %v", got)
			}
		})
	}
}
