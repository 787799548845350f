package main

import (
	"os"

	"github.com/mattn/go-isatty"

	"solewright/reports/tally"
)

type tallyCmd struct {
	Args []string `arg:"" optional:"" passthrough:"" help:"The statistic, its file and its flags."`
}

func (t *tallyCmd) Run(a *app) error {
	out, isFile := a.stdout.(*os.File)
	return tally.Run(t.Args, a.stdin, a.stdout, a.stderr, isFile && isatty.IsTerminal(out.Fd()))
}
