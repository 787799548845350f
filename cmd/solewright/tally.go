package main

import (
	"os"

	"github.com/mattn/go-isatty"
	"github.com/schollz/progressbar/v3"

	"solewright/reports/tally"
)

type tallyCmd struct {
	Args []string `arg:"" optional:"" passthrough:"" help:"The statistic, its file and its flags."`
}

func (t *tallyCmd) Run(a *app) error {
	return tally.Run(t.Args, tally.Console{
		Stdin: a.stdin, Stdout: a.stdout, Stderr: a.stderr,
		Table: isTerminal(a.stdout), Progress: a.bytesRead("reading"),
	})
}

// bytesRead shows how much of a file was read, on a terminal only.
type bytesRead struct {
	what     string
	on       *os.File
	terminal bool
	bar      *progressbar.ProgressBar // from the first it is told
}

func (a *app) bytesRead(what string) *bytesRead {
	on, _ := a.stderr.(*os.File)
	return &bytesRead{what: what, on: on, terminal: isTerminal(a.stderr)}
}

func (b *bytesRead) Tell(read, size int64) {
	if !b.terminal {
		return
	}
	if b.bar == nil {
		if size == 0 {
			size = -1 // a pipe: no end to be seen
		}
		b.bar = progressbar.NewOptions64(size, progressbar.OptionSetWriter(b.on), progressbar.OptionSetDescription(b.what),
			progressbar.OptionShowBytes(true), progressbar.OptionClearOnFinish())
	}
	_ = b.bar.Set64(read) // a bar that can't be drawn is no reason to stop
}

func (b *bytesRead) End() {
	if b.bar != nil {
		_ = b.bar.Clear()
	}
}

// isTerminal says that people read what is written to w.
func isTerminal(w any) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}
