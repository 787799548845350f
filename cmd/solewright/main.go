// Command solewright judges worn running shoes: it serves the bench and its
// API, keeps the records, and imports, exports and checks them.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"solewright/reports/tally"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], os.Getenv, os.Stdin, os.Stdout, os.Stderr))
}

// Exit codes, part of the command's contract.
const (
	exitDone  = 0
	exitWrong = 1 // the input or the world is wrong
	exitUsage = 2 // the command line is wrong
)

// commands is the whole command line, one field a command.
type commands struct {
	Demo    demoCmd    `cmd:"" help:"Run everything on an embedded database with an invented retailer."`
	Serve   serveCmd   `cmd:"" help:"Run the service."`
	Migrate migrateCmd `cmd:"" help:"Bring the schema of the database up to date."`
	Import  importCmd  `cmd:"" help:"Import a CSV file."`
	Export  exportCmd  `cmd:"" help:"Export as CSV, to standard output."`
	Judge   judgeCmd   `cmd:"" help:"Judge readings from a JSON or CSV file; stores nothing."`
	Tally   tallyCmd   `cmd:"" help:"Compute one statistic on any CSV file; solewright tally --help lists them."`
	Verify  verifyCmd  `cmd:"" help:"Recount everything derived and say what differs."`
	Staff   staffCmd   `cmd:"" help:"Add, disable and list accounts; set their passwords."`
	Device  deviceCmd  `cmd:"" help:"Enrol, revoke and list store tablets."`
	Token   tokenCmd   `cmd:"" help:"Add, revoke and list API tokens."`
	Version versionCmd `cmd:"" help:"Print version, commit, schema and rule set."`
}

// app is what a command may use of the world around it.
type app struct {
	ctx            context.Context
	getenv         func(string) string
	stdin          io.Reader
	stdout, stderr io.Writer
	now            func() time.Time
}

// usageError is a wrong command line found after parsing.
type usageError struct{ error }

// run parses args, runs one command and returns the exit code. Everything it
// prints on failure is one line on stderr.
func run(ctx context.Context, args []string, getenv func(string) string, stdin io.Reader, stdout, stderr io.Writer) int {
	a := &app{ctx: ctx, getenv: getenv, stdin: stdin, stdout: stdout, stderr: stderr, now: time.Now}
	if len(args) > 0 && args[0] == "tally" { // its flags depend on the statistic
		return a.fail((&tallyCmd{Args: args[1:]}).Run(a))
	}
	helped := false
	parser, err := kong.New(&commands{},
		kong.Name("solewright"),
		kong.Description("Reads worn pairs of running shoes, keeps the record and shows the fleet."),
		kong.Writers(stdout, stderr),
		kong.Exit(func(int) { helped = true }),
		kong.Resolvers(environment(getenv)),
		kong.UsageOnError(),
		kong.Bind(a),
	)
	if err != nil {
		return a.fail(err)
	}
	parsed, err := parser.Parse(args)
	switch {
	case helped:
		return exitDone
	case err != nil:
		return a.fail(usageError{fmt.Errorf("%w (see solewright --help)", err)})
	}
	return a.fail(parsed.Run(a))
}

// fail says what went wrong, on one line, and returns the exit code for it.
func (a *app) fail(err error) int {
	if err == nil {
		return exitDone
	}
	fmt.Fprintln(a.stderr, "solewright:", strings.ReplaceAll(err.Error(), "\n", "; "))
	var statistic *tally.UsageError
	if errors.As(err, &usageError{}) || errors.As(err, &statistic) {
		return exitUsage
	}
	return exitWrong
}

// environment answers every flag from SOLEWRIGHT_FLAG_NAME, or from the file
// that SOLEWRIGHT_FLAG_NAME_FILE names, so that secrets need not stand in the
// environment. Flags on the command line win.
func environment(getenv func(string) string) kong.Resolver {
	return kong.ResolverFunc(func(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
		name := "SOLEWRIGHT_" + strings.ToUpper(strings.ReplaceAll(flag.Name, "-", "_"))
		if path := getenv(name + "_FILE"); path != "" {
			secret, err := os.ReadFile(path)
			if err != nil {
				return nil, fmt.Errorf("%s_FILE: %w", name, err)
			}
			return strings.TrimRight(string(secret), "\r\n"), nil
		}
		if v := getenv(name); v != "" {
			return v, nil
		}
		return nil, nil
	})
}
