package sim

import "fmt"

// sizeSystem is how a region's labels count.
type sizeSystem int

const (
	sizeUK sizeSystem = iota
	sizeEU
	sizeUS
	sizeSystems
)

// Sizes in mm of foot length (Mondopoint), five apart.
const minSize, maxSize, sizeStep = 200, 335, 5

// size returns the runner's size: the longer foot, the next step up.
func (r *runner) size() int {
	mm := int(max(r.length[0], r.length[1]))
	return min(max((mm+sizeStep-1)/sizeStep*sizeStep, minSize), maxSize)
}

// buildLabels writes every label once.
func (f *Fleet) buildLabels() {
	for system := range sizeSystems {
		for woman := range 2 {
			for mm := minSize; mm <= maxSize; mm += sizeStep {
				f.labels[system][woman] = append(f.labels[system][woman], sizeLabel(system, woman == 1, mm))
			}
		}
	}
}

// sizeLabel writes a label to the nearest half: EU = 0.15 mm + 2 and
// UK = 3 in − 23 of the foot, US one more than UK for men and two and a half
// more for women (common practice; there is no single US law).
func sizeLabel(system sizeSystem, woman bool, mm int) string {
	uk := (mm*60+127)/254 - 46 // halves
	halves, name := uk, "UK"
	switch {
	case system == sizeEU:
		halves, name = (3*mm+5)/10+4, "EU"
	case system == sizeUS && woman:
		halves, name = uk+5, "US W"
	case system == sizeUS:
		halves, name = uk+2, "US M"
	}
	if halves%2 != 0 {
		return fmt.Sprintf("%s %d.5", name, halves/2)
	}
	return fmt.Sprintf("%s %d", name, halves/2)
}

// label returns the label that a runner's size has in their region.
func (f *Fleet) label(r *runner, mm int) string {
	woman := 0
	if r.woman {
		woman = 1
	}
	return f.labels[regionPlans[f.stores[r.home].region].size][woman][(mm-minSize)/sizeStep]
}
