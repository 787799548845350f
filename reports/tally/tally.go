// Package tally computes one statistic of reports/stats over a CSV file: the
// logic of the command solewright tally NAME FILE.
//
// The file has a header and is read as a stream (RFC 4180); rows reduce to
// counts on distinct values, so memory grows with distinct values, not rows. A
// row with an empty or NA cell in a column that is read is dropped and counted;
// any other fault of the file is an error that names the line and the column.
// The result is one JSON object, or a readable table on a terminal.
package tally

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"solewright/reports/stats"
)

// UsageError says that the command was called wrongly: an unknown statistic or
// flag, or flags that do not go together.
type UsageError struct{ Message string }

func (e *UsageError) Error() string { return e.Message }

func usage(format string, args ...any) error {
	return &UsageError{Message: fmt.Sprintf(format, args...)}
}

// statistic is one NAME of the command.
type statistic struct {
	name    string
	help    string
	example string
	// flags are the statistic's own; the common ones are everyone's.
	flags []string
	run   func(j *job) error
}

var statistics = slices.Concat(shareStatistics, lifeStatistics, chartStatistics, readingStatistics)

// job is one run of a statistic: what was asked, the file, and the result
// being built.
type job struct {
	options
	in  *input
	out object
}

// Run executes the command with args, the words after tally. The file - is
// stdin; terminal says that stdout is one, so that people read the result.
//
// Errors: a *UsageError where args are wrong; any other error is a fault of the
// file. A statistic without value is no error: it is null beside a why.
func Run(args []string, stdin io.Reader, stdout, stderr io.Writer, terminal bool) error {
	if len(args) == 0 {
		printOverview(stderr)
		return usage("which statistic? One of %s", names())
	}
	if slices.Contains([]string{"--help", "-help", "-h", "help"}, args[0]) {
		printOverview(stdout)
		return nil
	}
	i := slices.IndexFunc(statistics, func(s statistic) bool { return s.name == args[0] })
	if i < 0 {
		return usage("unknown statistic %q: want one of %s", args[0], names())
	}
	s := statistics[i]
	var j job
	files, err := j.parse(s, args[1:], stdout)
	if errors.Is(err, flag.ErrHelp) {
		return nil
	}
	if err != nil {
		return err
	}
	if err := j.open(files, stdin); err != nil {
		return err
	}
	defer j.in.close()
	if err := s.run(&j); err != nil {
		return err
	}
	head := object{fields: []field{{"name", s.name}, {"n", j.in.n}, {"dropped", j.in.dropped}}}
	for _, f := range j.out.fields {
		if f.key != "n" { // the result's n is the number of pairs read
			head.fields = append(head.fields, f)
		}
	}
	head.why = j.out.why
	if j.in.n == 0 && j.in.dropped.Count > 0 {
		head.why = append(head.why, "every row was dropped")
	}
	if terminal && !j.json {
		return head.print(stdout)
	}
	text, err := head.MarshalJSON()
	if err != nil {
		return err
	}
	_, err = stdout.Write(append(text, '\n'))
	return err
}

func names() string {
	all := make([]string, len(statistics))
	for i, s := range statistics {
		all[i] = s.name
	}
	return strings.Join(all, ", ")
}

// parse reads the flags, which may stand before and after the file.
func (o *options) parse(s statistic, args []string, help io.Writer) (files []string, err error) {
	fs := flag.NewFlagSet(s.name, flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	o.register(fs, append(slices.Clone(commonFlags), s.flags...))
	for len(args) > 0 {
		if err := fs.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				printStatistic(help, s, fs)
				return nil, err
			}
			return nil, usage("%s: %v", s.name, err)
		}
		args = fs.Args()
		if len(args) > 0 {
			files, args = append(files, args[0]), args[1:]
		}
	}
	o.given = map[string]bool{}
	fs.Visit(func(f *flag.Flag) { o.given[f.Name] = true })
	if o.conf <= 0 || o.conf >= 1 {
		return nil, usage("--conf: %v: want a number between 0 and 1", o.conf)
	}
	return files, nil
}

// open opens the one file named; a run length that needs none reads nothing.
func (j *job) open(files []string, stdin io.Reader) error {
	if len(files) == 0 && (j.kind == "normal" || j.kind == "bernoulli") {
		j.in = &input{close: func() {}, dropped: droppedRows{First: []droppedCell{}}}
		return nil
	}
	if len(files) != 1 {
		return usage("want one FILE (- is standard input), got %d", len(files))
	}
	in := &input{count: j.count, by: j.by}
	from := stdin
	if files[0] != "-" {
		f, err := os.Open(files[0])
		if err != nil {
			return err
		}
		from, in.close = f, func() { f.Close() }
	}
	j.in = in
	return in.start(from)
}

// need returns a *UsageError unless all flags named were given.
func (o *options) need(flags ...string) error {
	for _, f := range flags {
		if !o.given[f] {
			return usage("--%s is missing: want --%s", f, strings.Join(flags, " --"))
		}
	}
	return nil
}

// reason splits an error of reports/stats: a *stats.Reason is an answer, to be
// printed as why; everything else is a fault.
func reason(err error) (why string, fault error) {
	if r, ok := errors.AsType[*stats.Reason](err); ok {
		return r.Detail, nil
	}
	return "", err
}

func printOverview(w io.Writer) {
	fmt.Fprint(w, "solewright tally computes one statistic over a CSV file with a header.\nThe result is JSON on a pipe and a readable table on a terminal.\n\n"+
		"Example: solewright tally shares --of verdict --by store readings.csv\n\nStatistics:\n")
	for _, s := range statistics {
		first, _, _ := strings.Cut(s.help, ". ")
		fmt.Fprintf(w, "  %-12s %s.\n", s.name, strings.TrimSuffix(first, "."))
	}
	fmt.Fprint(w, "\nsolewright tally NAME --help tells the flags of one.\n")
}

func printStatistic(w io.Writer, s statistic, fs *flag.FlagSet) {
	fmt.Fprintf(w, "%s\n\nExample: solewright tally %s %s\n\nFlags:\n", s.help, s.name, s.example)
	fs.VisitAll(func(f *flag.Flag) {
		kind, text := flag.UnquoteUsage(f)
		if f.DefValue != "" && f.DefValue != "false" && f.DefValue != "0" {
			text += " (default " + f.DefValue + ")"
		}
		fmt.Fprintf(w, "  --%-22s %s\n", strings.TrimSpace(f.Name+" "+kind), text)
	})
}
