// Command prove runs the proofs that are too long for every test run, against
// the solewright binary as it is shipped, and writes what it measured to dated
// tables in testdata/proof. It runs on Linux, from the top of the project, by
// deploy/prove.sh.
//
//	kill    no acknowledged reading is lost to kill -9, of the server and of PostgreSQL
//	disk    a full disk, of either database and of the photos, loses nothing acknowledged
//	put     readings stored over HTTP a second, against pgbench with the same statements
//	import  a file of readings imported, against COPY of the same rows
//	export  readings exported a second
//	demo    seconds until the demo is ready
//	judge   readings judged a second
//	fleet   the fleet in memory at ten million readings; fleet-postgres and
//	        fleet-sqlite the same from a database
//	growth  what the fleet's questions take as it grows from one million to ten
//	columns the fleet's questions, against an embedded column engine
//	tally   statistics over ten million rows
//	signals what fleets raise that have nothing planted, and whether what is planted is found
//	study   how often intervals cover and tests err, in parts: study shares tests
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"

	"solewright/reports/study"
)

// proof is one proof by its name on the command line.
type proof struct {
	name string
	run  func(*lab) error
}

var proofs = []proof{
	{"kill", proveKill},
	{"disk", proveDisk},
	{"put", provePut},
	{"import", proveImport},
	{"export", proveExport},
	{"demo", proveDemo},
	{"judge", proveJudge},
	proveFleet("fleet", proveFleetInMemory),
	proveFleet("fleet-postgres", proveFleetOnPostgres),
	proveFleet("fleet-sqlite", proveFleetOnSQLite),
	{"growth", proveGrowth},
	{"columns", proveColumns},
	{"tally", proveTally},
	{"signals", proveSignals},
	{"study", proveStudy},
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "prove:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	l := &lab{ctx: ctx, args: args}
	flags := flag.NewFlagSet("prove", flag.ContinueOnError)
	flags.StringVar(&l.program, "binary", "bin/solewright", "the program to prove")
	flags.StringVar(&l.out, "out", "testdata/proof", "where the tables go")
	flags.IntVar(&l.rounds, "rounds", 0, "rounds of kill, put and import, where 0 is each one's own number")
	flags.IntVar(&l.rows, "rows", 1_000_000, "readings to import and export")
	if err := flags.Parse(args); err != nil {
		return err
	}
	var wanted []string
	for _, name := range flags.Args() {
		switch {
		case slices.ContainsFunc(proofs, func(p proof) bool { return p.name == name }):
			wanted = append(wanted, name)
		case slices.Contains(wanted, "study") && slices.Contains(study.Parts(), name):
			l.parts = append(l.parts, name)
		default:
			return fmt.Errorf("there is no proof %q", name)
		}
	}
	if err := adoptOrphans(); err != nil {
		return err
	}
	for _, p := range proofs {
		if len(wanted) > 0 && !slices.Contains(wanted, p.name) {
			continue
		}
		if err := l.prove(p); err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
	}
	return nil
}

// prove runs one proof in a scratch folder of its own.
func (l *lab) prove(p proof) error {
	scratch, err := os.MkdirTemp("", "solewright-prove-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)
	// A server of PostgreSQL runs as its own user, who has to get in.
	if err := os.Chmod(scratch, 0o711); err != nil {
		return err
	}
	l.scratch = scratch
	l.command = strings.TrimSpace("sh deploy/prove.sh " + strings.Join(l.args, " "))
	return p.run(l)
}
