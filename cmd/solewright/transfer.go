package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/schollz/progressbar/v3"

	"solewright/models"
	"solewright/models/exchange"
)

type importCmd struct {
	database
	Kind     string `arg:"" enum:"shoe-models,stores,staff,runners,fittings,inspections,sales,events" help:"shoe-models, stores, staff, runners, fittings, inspections, sales or events."`
	File     string `arg:"" help:"CSV (RFC 4180) with a header; - is standard input."`
	DryRun   bool   `help:"Check everything, store nothing."`
	JSON     bool   `name:"json" help:"Print the counts as one line of JSON."`
	KeepGood bool   `help:"Store the good rows though others are bad; the bad ones go to FILE.rejected.csv."`
}

func (i *importCmd) Run(a *app) error {
	if i.KeepGood && i.File == "-" {
		return usageError{errors.New("--keep-good needs a file: standard input can't be read twice")}
	}
	return i.use(a, func(db *models.DB) error {
		file, err := a.input(i.File)
		if err != nil {
			return err
		}
		defer file.Close()
		bar := a.progress("reading " + i.File)
		sum, err := exchange.Import(a.ctx, db, operator, i.Kind, bufio.NewReaderSize(file, 1<<20), exchange.Options{
			KeepGood: i.KeepGood, DryRun: i.DryRun, Progress: bar.set, Today: exchange.Today(a.now()), Name: filepath.Base(i.File),
		})
		bar.end()
		for _, bad := range sum.Bad {
			for line := range strings.SplitSeq(bad.Err.Error(), "\n") {
				if !strings.HasPrefix(line, "line ") { // an error of the database knows no place
					line = fmt.Sprintf("line %d: %s", bad.Line, line)
				}
				fmt.Fprintln(a.stderr, line)
			}
		}
		if errors.Is(err, exchange.ErrRefused) {
			return fmt.Errorf("%s: %d of %d rows are bad, nothing was stored (--keep-good stores the others)", i.File, len(sum.Bad), sum.Read)
		}
		if err != nil {
			return fmt.Errorf("%s: %w", i.File, err)
		}
		what := "stored"
		if i.DryRun {
			what = "would be stored"
		}
		if i.JSON {
			err = json.NewEncoder(a.stdout).Encode(map[string]any{
				"read": sum.Read, "stored": sum.Stored, "known": sum.Known, "bad": len(sum.Bad), "dry_run": i.DryRun,
			})
		} else {
			_, err = fmt.Fprintf(a.stdout, "%d rows read, %d %s, %d known already, %d bad\n", sum.Read, sum.Stored, what, sum.Known, len(sum.Bad))
		}
		if err != nil {
			return err
		}
		if len(sum.Bad) == 0 {
			return nil
		}
		if i.DryRun {
			return fmt.Errorf("%s: %d bad rows", i.File, len(sum.Bad))
		}
		return i.reject(sum)
	})
}

// reject writes the bad rows beside the file, and says so.
func (i *importCmd) reject(sum exchange.Summary) error {
	file, err := os.Open(i.File)
	if err != nil {
		return err
	}
	defer file.Close()
	name := i.File + ".rejected.csv"
	out, err := os.Create(name)
	if err != nil {
		return err
	}
	err = exchange.Rejected(i.Kind, file, sum.Bad, out)
	if err := errors.Join(err, out.Close()); err != nil {
		return err
	}
	return fmt.Errorf("%s: %d bad rows were left out, they stand in %s", i.File, len(sum.Bad), name)
}

type exportCmd struct {
	database
	Kind  string `arg:"" enum:"inspections,pairs,shoe-models,stores,staff,runners,fittings,sales,events" help:"inspections, pairs, shoe-models, stores, staff, runners, fittings, sales or events."`
	From  string `placeholder:"DAY" help:"First local day, YYYY-MM-DD."`
	To    string `placeholder:"DAY" help:"Last local day, YYYY-MM-DD."`
	Store string `placeholder:"CODE" help:"One store only."`
}

func (e *exportCmd) Run(a *app) error {
	for _, f := range []struct{ name, day string }{{"--from", e.From}, {"--to", e.To}} {
		if _, err := time.Parse(time.DateOnly, f.day); f.day != "" && err != nil {
			return usageError{fmt.Errorf("%s: %q: want a day such as 2026-10-05", f.name, f.day)}
		}
	}
	return e.use(a, func(db *models.DB) error {
		if e.Store != "" {
			if _, err := db.Store(a.ctx, e.Store); err != nil {
				return fmt.Errorf("--store: %w", err)
			}
		}
		out := bufio.NewWriterSize(a.stdout, 1<<18)
		err := exchange.Export(a.ctx, db, e.Kind, exchange.Asked{Scopes: models.Fleet, Store: e.Store, From: e.From, To: e.To},
			func(row []byte) error {
				_, err := out.Write(row)
				return err
			})
		return errors.Join(err, out.Flush())
	})
}

// input opens a file to read; - is standard input.
func (a *app) input(name string) (io.ReadCloser, error) {
	if name == "-" {
		return io.NopCloser(a.stdin), nil
	}
	return os.Open(name)
}

// bar shows how many rows were read, on a terminal only.
type bar struct{ *progressbar.ProgressBar }

func (a *app) progress(what string) bar {
	if f, ok := a.stderr.(*os.File); !ok || !isatty.IsTerminal(f.Fd()) {
		return bar{}
	}
	return bar{progressbar.NewOptions(-1, progressbar.OptionSetWriter(a.stderr), progressbar.OptionSetDescription(what),
		progressbar.OptionShowCount(), progressbar.OptionShowIts(), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(200*time.Millisecond))}
}

func (b bar) set(rows int) {
	if b.ProgressBar != nil {
		_ = b.Set(rows) // a bar that can't be drawn is no reason to stop
	}
}

func (b bar) end() {
	if b.ProgressBar != nil {
		_ = b.Finish()
	}
}
