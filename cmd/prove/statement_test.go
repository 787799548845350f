package main

import (
	"slices"
	"testing"
)

// loggedPut is a log as PostgreSQL 15 writes it with log_statement=all: a
// statement of several lines, one that pgx begins a transaction with, an error
// with its statement, and a line of the server itself.
const loggedPut = `2026-11-25 13:24:01.101 UTC [77] LOG:  checkpoint starting: immediate force wait
2026-11-25 13:24:02.345 UTC [81] LOG:  execute stmtcache_ab12: WITH m AS (SELECT 1)
	,
	p AS (SELECT $1::text, $2::text)
	SELECT model_id FROM i
2026-11-25 13:24:02.345 UTC [81] DETAIL:  parameters: $1 = 'it''s
	two lines', $2 = NULL
2026-11-25 13:24:02.346 UTC [81] LOG:  statement: begin
2026-11-25 13:24:02.347 UTC [81] ERROR:  duplicate key value violates unique constraint "pair_pkey"
2026-11-25 13:24:02.347 UTC [81] DETAIL:  Key (ref)=(A) already exists.
2026-11-25 13:24:02.347 UTC [81] STATEMENT:  INSERT INTO pair VALUES ($1)
2026-11-25 13:24:02.348 UTC [81] LOG:  execute <unnamed>: SELECT $1
2026-11-25 13:24:02.348 UTC [81] DETAIL:  parameters: $1 = ''
`

// The form of the log is that of PostgreSQL 15's documentation, "Error Reporting
// and Logging", as its own server writes it.
func TestParseLog(t *testing.T) {
	got, err := parseLog(loggedPut)
	if err != nil {
		t.Fatal(err)
	}
	want := []statement{
		{"WITH m AS (SELECT 1)\n,\np AS (SELECT $1::text, $2::text)\nSELECT model_id FROM i", []parameter{{text: "it's\ntwo lines"}, {null: true}}},
		{"begin", nil},
		{"SELECT $1", []parameter{{}}},
	}
	if len(got) != len(want) {
		t.Fatalf("got %d statements, want %d: %+v", len(got), len(want), got)
	}
	for i := range want {
		if got[i].sql != want[i].sql || !slices.Equal(got[i].params, want[i].params) {
			t.Errorf("statement %d is %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestParseParametersRefuses(t *testing.T) {
	for _, row := range []struct{ name, list string }{
		{"a value that isn't closed", "$1 = 'a"},
		{"a gap in the numbers", "$1 = 'a', $3 = 'b'"},
		{"something else than a value", "$1 = a"},
		{"no comma between values", "$1 = 'a' $2 = 'b'"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got, err := parseParameters(row.list); err == nil {
				t.Errorf("read %+v as %+v", row.list, got)
			}
		})
	}
}

func TestSameStatements(t *testing.T) {
	a := []statement{{"SELECT $1", []parameter{{text: "1"}}}, {"begin", nil}}
	for _, row := range []struct {
		name string
		b    []statement
		want bool
	}{
		{"other values are the same statements", []statement{{"SELECT $1", []parameter{{null: true}}}, {"begin", nil}}, true},
		{"one less is not", a[:1], false},
		{"another order is not", []statement{a[1], a[0]}, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := sameStatements(a, row.b); got != row.want {
				t.Errorf("got %t", got)
			}
		})
	}
}
