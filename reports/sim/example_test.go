package sim_test

import (
	"fmt"

	"solewright/assess"
	"solewright/reports/sim"
)

// How often does a reading of a worn pair say so? Only a simulator can tell.
func Example() {
	fleet := sim.New(sim.Options{Seed: 1, Inspections: 5000, Judge: true})
	worn, said := 0, 0
	for rec, truth := range fleet.Inspections() {
		if rec.Kind == assess.Blind || !truth.Worn() {
			continue
		}
		worn++
		if rec.Advised == assess.ReplacePair || rec.Advised == assess.RetirePair {
			said++
		}
	}
	fmt.Printf("%d inspections at %d stores of %d models\n", fleet.Len(), len(fleet.Stores), len(fleet.Models))
	fmt.Println("most worn pairs are found:", said*10 > worn*8)
	// Output:
	// 5000 inspections at 24 stores of 40 models
	// most worn pairs are found: true
}
