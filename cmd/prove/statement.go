package main

import (
	"fmt"
	"regexp"
	"strings"
)

// statement is one statement that PostgreSQL was sent, as its log shows it.
type statement struct {
	sql    string
	params []parameter
}

// parameter is a value bound to a statement, in PostgreSQL's text form.
type parameter struct {
	text string
	null bool
}

// Entries of the log of PostgreSQL, as log_statement writes them under the
// default log_line_prefix: a time and a process, the severity, the message.
// Further lines of a message begin with a tab.
var (
	logEntry     = regexp.MustCompile(`^[^\t]*?\[\d+\] ([A-Z]+):  (.*)$`)
	logStatement = regexp.MustCompile(`(?s)^(?:execute [^:]*|statement): (.*)$`)
	logParameter = regexp.MustCompile(`(?s)^(?:, )?\$(\d+) = (?:(NULL)|'((?:[^']|'')*)')`)
)

// parseLog returns the statements that a log of PostgreSQL holds, in order.
func parseLog(text string) ([]statement, error) {
	var all []statement
	severity, message := "", ""
	take := func() error {
		switch severity {
		case "LOG":
			if m := logStatement.FindStringSubmatch(message); m != nil {
				all = append(all, statement{sql: m[1]})
			}
		case "DETAIL":
			list, ok := strings.CutPrefix(message, "parameters: ")
			if !ok || len(all) == 0 {
				return nil
			}
			params, err := parseParameters(list)
			if err != nil {
				return err
			}
			all[len(all)-1].params = params
		}
		return nil
	}
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(line, "\n")
		if more, ok := strings.CutPrefix(line, "\t"); ok {
			message += "\n" + more
			continue
		}
		if err := take(); err != nil {
			return nil, err
		}
		severity, message = "", ""
		if m := logEntry.FindStringSubmatch(line); m != nil {
			severity, message = m[1], m[2]
		}
	}
	return all, take()
}

// parseParameters reads the list of a DETAIL entry: $1 = 'it”s', $2 = NULL.
func parseParameters(list string) ([]parameter, error) {
	var all []parameter
	for rest := list; rest != ""; {
		m := logParameter.FindStringSubmatch(rest)
		if m == nil || m[1] != fmt.Sprint(len(all)+1) {
			return nil, fmt.Errorf("the log's parameters can't be read at %.60q", rest)
		}
		all = append(all, parameter{text: strings.ReplaceAll(m[3], "''", "'"), null: m[2] != ""})
		rest = rest[len(m[0]):]
	}
	return all, nil
}

// sameStatements reports whether two lists hold the same statements, whatever
// is bound to them.
func sameStatements(a, b []statement) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i].sql != b[i].sql {
			return false
		}
	}
	return true
}
