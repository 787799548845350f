// Package tally computes one statistic of reports/stats over rows: Run is the
// command solewright tally NAME FILE, Compute the same over rows in memory.
//
// A file is CSV with a header and is read as a stream (RFC 4180); rows reduce to
// counts on distinct values, so memory grows with distinct values, not rows. A
// row with an empty or NA cell in a column that is read is dropped and counted;
// any other fault of the file is an error that names the line and the column.
// The result is one JSON object, or a readable table on a terminal.
package tally

import (
	"encoding/json"
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

var statistics = slices.Concat(
	shareStatistics, lifeStatistics, regressStatistics, chartStatistics, readingStatistics,
	misreadStatistics, poolStatistics, nearStatistics,
)

// job is one run of a statistic: what was asked, the file, and the result
// being built.
type job struct {
	options
	in  *input
	out object
}

// Result is what a statistic found, in the form that the command prints.
type Result struct{ text []byte }

// MarshalJSON returns what the command prints, without the line end.
func (r *Result) MarshalJSON() ([]byte, error) { return r.text, nil }

// Decode fills into, a pointer to a struct with the result's JSON keys.
func (r *Result) Decode(into any) error { return json.Unmarshal(r.text, into) }

// Compute computes one statistic over rows. args are the words of the command
// after tally, without a file: {"shares", "--of", "verdict", "--count", "n"}.
//
// rows may be nil for the run lengths that read none.
//
// Errors: a *UsageError where args are wrong; any other error is a fault of the
// rows, placed as if they stood in a file under the header. A statistic without
// value is no error: it is null beside a why.
func Compute(args []string, rows Rows) (*Result, error) {
	if len(args) == 0 {
		return nil, usage("which statistic? One of %s", names())
	}
	s, err := named(args[0])
	if err != nil {
		return nil, err
	}
	var j job
	files, err := j.parse(s, args[1:], io.Discard)
	switch {
	case err != nil:
		return nil, usage("%v", err)
	case len(files) > 0:
		return nil, usage("%s: the rows are given, a file cannot be", files[0])
	}
	if rows == nil {
		return j.compute(s, nil)
	}
	return j.compute(s, records{rows})
}

// Console is where the command reads and writes.
type Console struct {
	Stdin          io.Reader
	Stdout, Stderr io.Writer
	// Table says that people read Stdout.
	Table    bool
	Progress Progress // may be nil
}

// Progress shows how far a file was read.
type Progress interface {
	// Tell is told now and then, from the first second on, how many bytes were
	// read of how many, 0 where that is not known.
	Tell(read, size int64)
	// End is called before anything is printed.
	End()
}

// Run executes the command with args, the words after tally. The file - is
// standard input.
//
// Errors are those of Compute, and those of opening the file.
func Run(args []string, c Console) error {
	if len(args) == 0 {
		printOverview(c.Stderr)
		return usage("which statistic? One of %s", names())
	}
	if slices.Contains([]string{"--help", "-help", "-h", "help"}, args[0]) {
		printOverview(c.Stdout)
		return nil
	}
	s, err := named(args[0])
	if err != nil {
		return err
	}
	var j job
	files, err := j.parse(s, args[1:], c.Stdout)
	if errors.Is(err, flag.ErrHelp) {
		return nil
	}
	if err != nil {
		return err
	}
	from, done, err := j.open(files, c)
	if err != nil {
		return err
	}
	result, err := j.compute(s, from)
	done()
	if err != nil {
		return err
	}
	if c.Table && !j.json {
		return result.print(c.Stdout)
	}
	_, err = c.Stdout.Write(append(result.text, '\n'))
	return err
}

// compute runs the statistic over its rows and puts the head of the result first.
func (j *job) compute(s statistic, from scanner) (*Result, error) {
	j.in = &input{from: from, count: j.count, by: j.by, index: map[string]int{}}
	j.in.dropped.First = []droppedCell{}
	if from == nil && !j.readsNothing() {
		return nil, usage("%s: want rows", s.name)
	}
	if err := s.run(j); err != nil {
		// What rows can be wrong about was refused, with its line, as they were
		// read; what is left to stats to refuse is a flag.
		if errors.Is(err, stats.ErrBadInput) {
			return nil, usage("%s: %s", s.name, strings.TrimPrefix(err.Error(), stats.ErrBadInput.Error()+": "))
		}
		return nil, err
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
	text, err := head.appendJSON(nil)
	if err != nil {
		return nil, err
	}
	return &Result{explained(text)}, nil
}

func named(name string) (statistic, error) {
	i := slices.IndexFunc(statistics, func(s statistic) bool { return s.name == name })
	if i < 0 {
		return statistic{}, usage("unknown statistic %q: want one of %s", name, names())
	}
	return statistics[i], nil
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
	if o.bootstrap < 0 {
		return nil, usage("--bootstrap: %d: want 0 or more", o.bootstrap)
	}
	return files, nil
}

// readsNothing says that the run length asked for needs no rows.
func (o *options) readsNothing() bool { return o.kind == "normal" || o.kind == "bernoulli" }

// open opens the one file named; done closes it.
func (j *job) open(files []string, c Console) (from scanner, done func(), err error) {
	if len(files) == 0 && j.readsNothing() {
		return nil, func() {}, nil
	}
	if len(files) != 1 {
		return nil, nil, usage("want one FILE (- is standard input), got %d", len(files))
	}
	source, size, closed := c.Stdin, int64(0), func() {}
	if files[0] != "-" {
		f, err := os.Open(files[0])
		if err != nil {
			return nil, nil, err
		}
		source, closed = f, func() { f.Close() }
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			size = info.Size()
		}
	}
	f, err := newFile(source)
	if err != nil {
		closed()
		return nil, nil, err
	}
	if c.Progress == nil {
		return f, closed, nil
	}
	told := f.tell(func(read int64) { c.Progress.Tell(read, size) })
	return f, func() {
		told()
		c.Progress.End()
		closed()
	}, nil
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
