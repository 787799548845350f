package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"solewright/reports/study"
)

// studySeed is where the replicates of the study begin.
const studySeed = 20261125

// proveStudy runs the coverage study, or the parts of it that were named, and
// writes each part as a table and as CSV to the folder study beside the proofs.
func proveStudy(l *lab) error {
	out := *l
	out.out = filepath.Join(filepath.Dir(l.out), "study")
	failed := 0
	for _, part := range study.Parts() {
		if len(l.parts) > 0 && !slices.Contains(l.parts, part) {
			continue
		}
		t := newTable("Coverage study: "+part, study.Head...)
		start := time.Now()
		rows, err := study.Run(l.ctx, study.Scenarios(part), study.Options{Seed: studySeed, Workers: runtime.NumCPU()})
		if err != nil {
			return err
		}
		t.note("seed %d; %s s; %d Monte Carlo standard errors allowed", studySeed, seconds(time.Since(start)), study.Tolerance)
		for i := range rows {
			t.row(rows[i].Cells()...)
			if rows[i].Verdict == study.Failed {
				failed++
			}
		}
		t.after = study.Remarks(rows)
		if err := out.write(part, t); err != nil {
			return err
		}
		text, err := study.CSV(rows)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(out.out, part+".csv"), text, 0o644); err != nil {
			return err
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d rows are off and don't say why", failed)
	}
	return nil
}
