package main

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// script is a script of pgbench made of statements that were sent for one
// reading. Each run of it stores another reading: its id, its pair and the
// version of the pair are put in anew, everything else is bound as it was.
type script struct {
	variables []string // the value of v0, v1, …
}

// What a script computes before its statements: a UUIDv7 in two halves, the
// first of 15 hexadecimal digits, with a time that goes up; and the pair's
// reference, nine characters that are the same for the same client, n and round.
const scriptHead = `\set n :n + 1
\set hi (%d + :n) * 65536 + 28672 + random(0, 4095)
\set lo -9223372036854775807 + random(0, 4611686018427387902)
\set ref permute(:n * %d + :client_id, 68719476736, %d)
`

// Expressions of those in SQL.
const (
	scriptID      = "('0' || to_hex(:hi::bigint) || to_hex(:lo::bigint))::uuid"
	scriptSubject = "('inspection:' || " + scriptID + "::text)"
	scriptRef     = "upper(lpad(to_hex(:ref::bigint), 9, '0'))"
	scriptVersion = ":got_version::bigint"
)

// placeholder is $1, $2, … in a statement; versionIs the one that a pair's
// version is held against.
var (
	placeholder = regexp.MustCompile(`\$(\d+)`)
	versionIs   = regexp.MustCompile(`\bversion = \$(\d+)`)
)

// write returns the script of the statements that stored the reading with this
// id and pair. The new ids begin at a time, and the pairs are those of a round.
func (s *script) write(statements []statement, id, pairRef string, beginMS int64, round int) (string, error) {
	var b strings.Builder
	fmt.Fprintf(&b, scriptHead, beginMS, putClients, round)
	for _, st := range statements {
		version := 0
		if m := versionIs.FindStringSubmatch(st.sql); m != nil {
			version, _ = strconv.Atoi(m[1]) // digits
		}
		var bad error
		b.WriteString(placeholder.ReplaceAllStringFunc(st.sql, func(p string) string {
			n, _ := strconv.Atoi(p[1:]) // digits
			if n < 1 || n > len(st.params) {
				bad = fmt.Errorf("%s has no value in %.60q", p, st.sql)
				return p
			}
			switch v := st.params[n-1]; {
			case v.null:
				return "NULL"
			case n == version:
				return scriptVersion
			case v.text == id:
				return scriptID
			case v.text == pairRef:
				return scriptRef
			case v.text == "inspection:"+id:
				return scriptSubject
			default:
				return ":" + s.variable(v.text)
			}
		}))
		if bad != nil {
			return "", bad
		}
		if strings.Contains(st.sql, " FROM pair WHERE ref = ") {
			b.WriteString("\n\\gset got_\n")
		} else {
			b.WriteString(";\n")
		}
	}
	return b.String(), nil
}

// variable returns the name of the variable that holds a value.
func (s *script) variable(value string) string {
	i := slices.Index(s.variables, value)
	if i < 0 {
		i = len(s.variables)
		s.variables = append(s.variables, value)
	}
	return "v" + strconv.Itoa(i)
}

// pgbench runs a script so often by each client at once, and returns
// transactions a second.
func (c *cluster) pgbench(file string, variables []string, clients, each int) (float64, error) {
	args := []string{"-n", "-M", "prepared", "-c", strconv.Itoa(clients), "-j", "2", "-t", strconv.Itoa(each), "-D", "n=0"}
	for i, v := range variables {
		args = append(args, "-D", "v"+strconv.Itoa(i)+"="+v)
	}
	out, err := exec.CommandContext(c.l.ctx, filepath.Join(c.bin, "pgbench"), append(args, "-f", file, c.url)...).CombinedOutput()
	if err != nil {
		return 0, fmt.Errorf("pgbench: %w: %s", err, out)
	}
	return pgbenchRate(string(out), clients*each)
}

var (
	processedLine = regexp.MustCompile(`(?m)^number of transactions actually processed: (\d+)/(\d+)$`)
	rateLine      = regexp.MustCompile(`(?m)^tps = ([0-9.]+) \(without initial connection time\)$`)
)

// pgbenchRate reads what pgbench printed of a run that had to do so many
// transactions.
func pgbenchRate(out string, want int) (float64, error) {
	done := processedLine.FindStringSubmatch(out)
	rate := rateLine.FindStringSubmatch(out)
	if done == nil || rate == nil {
		return 0, fmt.Errorf("pgbench printed %s", out)
	}
	if done[1] != strconv.Itoa(want) {
		return 0, fmt.Errorf("pgbench did %s transactions of %d: %s", done[1], want, out)
	}
	return strconv.ParseFloat(rate[1], 64)
}
