package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"solewright/assess"
)

type judgeCmd struct {
	File  string `arg:"" help:"One reading as JSON, or a CSV of readings; - is standard input."`
	Rules string `type:"existingfile" placeholder:"FILE" help:"A rule set as JSON, in place of the house rules."`
}

// Run prints one line of JSON a reading. A bad row of a CSV gets a line of its
// errors on standard error, and the command fails at the end.
func (j *judgeCmd) Run(a *app) error {
	engine := assess.Default()
	if j.Rules != "" {
		text, err := os.ReadFile(j.Rules)
		if err != nil {
			return err
		}
		set, err := assess.ParseRuleSet(text)
		if err != nil {
			return fmt.Errorf("%s: %w", j.Rules, err)
		}
		if engine, err = assess.Compile(set); err != nil {
			return fmt.Errorf("%s: %w", j.Rules, err)
		}
	}
	file, err := a.input(j.File)
	if err != nil {
		return err
	}
	defer file.Close()
	in, out := bufio.NewReader(file), bufio.NewWriter(a.stdout)
	defer out.Flush()
	var result assess.Result
	var line []byte
	judge := func(r *assess.Record) {
		engine.Judge(&r.Reading, nil, &result)
		result.Margin = engine.Margin(&r.Reading, nil)
		line = append(assess.AppendResult(line[:0], &result), '\n')
		out.Write(line)
	}
	if isJSON(in) {
		text, err := io.ReadAll(in)
		if err != nil {
			return err
		}
		rec, err := assess.DecodeJSON(text)
		if err != nil {
			return fmt.Errorf("%s: %w", j.File, err)
		}
		judge(&rec)
		return nil
	}
	d, err := assess.NewCSVDecoder(in)
	if err != nil {
		return fmt.Errorf("%s: %w", j.File, err)
	}
	bad := 0
	for {
		var rec assess.Record
		err := d.Decode(&rec)
		var fields assess.FieldErrors
		switch {
		case err == io.EOF:
			if bad > 0 {
				return fmt.Errorf("%s: %d bad rows, the others were judged", j.File, bad)
			}
			return nil
		case errors.As(err, &fields):
			bad++
			for _, f := range fields {
				fmt.Fprintln(a.stderr, f)
			}
		case err != nil:
			return fmt.Errorf("%s: %w", j.File, err)
		default:
			judge(&rec)
		}
	}
}

// isJSON reports whether the first byte that is no space opens an object.
func isJSON(in *bufio.Reader) bool {
	for n := 1; ; n++ {
		head, err := in.Peek(n)
		if rest := bytes.TrimLeft(head, " \t\r\n\ufeff"); len(rest) > 0 {
			return rest[0] == '{'
		}
		if err != nil {
			return false
		}
	}
}
