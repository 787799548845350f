package main

import (
	"bytes"
	"fmt"
	"os/exec"
	"strconv"
	"strings"
)

// demoWithin is how long the demo may take until it is ready, in seconds.
const demoWithin = 30

// proveDemo measures the time from the start of `solewright demo` until it is
// ready, with its own number of readings.
func proveDemo(l *lab) error {
	t := newTable("The demo is ready soon", "run", "seconds until /readyz says so", "target s")
	t.note("`solewright demo` as it comes, 20,000 readings, on SQLite in an empty folder")
	for run := 1; run <= 3; run++ {
		s, err := l.serve("demo", "--data", l.path(fmt.Sprint("demo", run)))
		if err != nil {
			return err
		}
		s.kill()
		t.row(run, seconds(s.ready), fmt.Sprint("< ", demoWithin))
	}
	return l.write("demo", t)
}

// proveJudge runs the benchmark of judging.
func proveJudge(l *lab) error {
	t := newTable("Readings judged a second on one processor", "reading", "ns", "readings/s", "allocations")
	t.note("`go test -run '^$' -bench BenchmarkJudge -cpu 1 -benchtime 2s ./assess`: full readings of both shoes, with next to nothing and with a great deal to find")
	out, err := exec.CommandContext(l.ctx, "go", "test", "-run", "^$", "-bench", "BenchmarkJudge", "-cpu", "1", "-benchtime", "2s", "./assess").CombinedOutput()
	if err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	for line := range bytes.Lines(out) {
		words := strings.Fields(string(line))
		if len(words) < 4 || !strings.HasPrefix(words[0], "BenchmarkJudge/") {
			continue
		}
		value := func(unit string) string {
			for i := 1; i < len(words); i++ {
				if words[i] == unit {
					return words[i-1]
				}
			}
			return ""
		}
		ns, err := strconv.ParseFloat(value("ns/op"), 64)
		if err != nil {
			return fmt.Errorf("%s: %w", line, err)
		}
		t.row(strings.TrimPrefix(words[0], "BenchmarkJudge/"), value("ns/op"), fmt.Sprintf("%.0f", 1e9/ns), value("allocs/op"))
	}
	if len(t.rows) == 0 {
		return fmt.Errorf("no benchmark ran: %s", out)
	}
	return l.write("judge", t)
}
