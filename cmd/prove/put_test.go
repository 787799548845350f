package main

import (
	"testing"

	"solewright/reports/sim"
)

// A reading that takes a second person's secret would be refused, and end the proof.
func TestTheSamplesOfAPutTakeNoSecret(t *testing.T) {
	const n = 300
	fleet := sim.New(sim.Options{Seed: 16, Inspections: 5000, Judge: true})
	samples, signed := samplesOf(fleet, n), 0
	for r := range fleet.Inspections() {
		if takesSecret(r) {
			signed++
		}
	}
	if len(samples) != n || signed == 0 {
		t.Fatalf("%d samples, %d readings take a secret: want %d, and some", len(samples), signed, n)
	}
	for i, step := range copies(samples, n) {
		for at, s := range step {
			if s == nil {
				t.Errorf("reading %d of pair %d takes a secret", i+1, at+1)
			}
		}
	}
}
